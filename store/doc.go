// Package store keeps a registry on one disk: the ledger of every machine, its
// photos and private values, and the views that are computed from the ledger.
// It exists so that nothing above it needs to know how bytes reach a disk.
//
// It promises what registry.Ledger promises, tested by ledgertest.Run: an
// acknowledged commit is on stable storage. It further promises to notice when
// stored bytes were lost or changed: partly when it is opened and on every
// read, and wholly by Check. It refuses to work in a directory that another
// process uses, that a different format number marks, that was damaged, or on a
// disk that is nearly full; each refusal is a registry.Error in plain words.
//
// It does not judge what an event says, and it never repairs: a damaged record
// is reported, and what is lost comes back from a copy.
//
// docs/store-layout.md describes every file and key well enough to write a
// reader without this package.
package store
