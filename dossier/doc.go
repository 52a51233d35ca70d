// Package dossier exports a machine's record and checks such exports. It exists
// so that a stranger can hold the record in the hand: a PDF to read, and a
// bundle that proves itself.
//
// It promises that the same record gives the same bytes, that the public and
// the private edition carry the same events and so the same root hash, and that
// Verify needs nothing but the bundle and, to know who made it, the registry's
// public key. It refuses to read files, clocks or networks: it takes readers,
// writers and functions. A recorded figure is never replaced here; Verify only
// says whether the recorded method still gives it. docs/bundle-format.md
// describes the bundle well enough to check one without this program.
package dossier
