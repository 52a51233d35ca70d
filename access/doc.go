// Package access says who a visitor is and what was granted to them: accounts,
// roles, passwords, passkeys, sessions, tokens and reading links. It exists so
// that this is decided in one place, without pages, files or a clock of its
// own: the caller hands in where people are stored, the time and the
// randomness.
//
// Secrets are stored as digests alone. A password is hashed with Argon2id
// (RFC 9106); every other secret is 128 random bits, for which SHA-256 is enough.
package access
