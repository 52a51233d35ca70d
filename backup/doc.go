// Package backup copies a registry into a folder, piece by piece and encrypted
// to keys that the registry does not hold, and brings it back. It exists so
// that a disk, a thief or a fire takes nothing but the machine it happened to.
//
// A backup is a chain of pieces. Each holds what came since the one before:
// commits, pictures, private values. A piece is encrypted with age to the
// recipients, brought to the disk, read back and decrypted before it counts.
// The registry goes on being written to meanwhile: a piece holds the ledger as
// it stood when the piece was begun. A backup that stops half way leaves the
// chain as it was.
//
// docs/backup.md describes the files well enough to bring a backup back with
// the age command and a short program.
package backup
