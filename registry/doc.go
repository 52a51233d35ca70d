// Package registry is the domain: what is recorded about a machine, what the
// rules allow, and how the record is read back. It is pure: it does no I/O,
// reads no clock and makes no identifiers; time, identifiers and the rules of
// the catalog are handed in.
//
// A machine's record is a history of events. Replay turns a history into a
// Dossier. Decide takes a Dossier and one act (something that a person wants to
// record) and answers with the records to append, or with a refusal in words.
// History checks the stored bytes themselves: each event carries the hash of
// the one before, and all of them form a Merkle log.
//
// The package never computes a probability or an index: an estimate that was
// shown to somebody is recorded with its inputs and is read back as it was.
package registry
