// Package node serves a registry that a cluster keeps. It exists so that a
// server answers as fast as from its own disk, and goes on answering while the
// cluster cannot be reached.
//
// A node holds a copy of the whole ledger, in a store of its own, commit by
// commit at the same positions, and of the private values. Writing goes to the
// cluster alone. Before a read a node asks the cluster how far the ledger goes
// and copies what is new, so that whoever has written through one node reads it
// through every other. While the cluster does not answer, reads are served from
// the copy, and State says since when it may be out of date. The copy can be
// thrown away at any time.
//
// A cluster that ends before the copy, or holds another commit where the copy
// ends, has lost something that was acknowledged: the node says so and writes
// nothing more.
package node
