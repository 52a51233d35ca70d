// Package jetstream keeps a registry on a cluster of NATS servers with
// JetStream: the ledger in one replicated stream, photographs and private
// values in object stores. It exists so that a register can outlive any one
// machine; which replica holds what, who leads and how a node catches up is the
// servers' work and never this package's.
//
// It promises what registry.Ledger promises, tested by ledgertest.Run, as long
// as the servers sync each write (sync_interval: always). It only attaches: the
// stream is made once, by Init, and a stream that is missing, cut or set up in
// another way is refused. docs/cluster.md says what lies where.
package jetstream
