package registry

import (
	"encoding/base64"
	"encoding/hex"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// LeafHash is the RFC 6962 leaf hash of an event's stored bytes, in hex.
func LeafHash(event []byte) string {
	h := tlog.RecordHash(event)
	return hex.EncodeToString(h[:])
}

// Tree is the Merkle log of one machine's events, in memory.
type Tree struct {
	hashes []tlog.Hash // stored hashes in tlog's order
	size   int64
}

// Add appends one event's stored bytes.
func (t *Tree) Add(event []byte) { t.AddLeaf(tlog.RecordHash(event)) }

// AddLeaf appends one leaf hash.
func (t *Tree) AddLeaf(leaf [32]byte) {
	// StoredHashesForRecordHash fails only when its reader does, and this one
	// holds every hash that is asked for.
	added, err := tlog.StoredHashesForRecordHash(t.size, leaf, t)
	if err != nil {
		panic("registry: merkle tree lost a hash: " + err.Error())
	}
	t.hashes = append(t.hashes, added...)
	t.size++
}

// ReadHashes serves tlog.
func (t *Tree) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, at := range indexes {
		if at < 0 || at >= int64(len(t.hashes)) {
			return nil, fmt.Errorf("hash %d is not in the tree", at)
		}
		out[i] = t.hashes[at]
	}
	return out, nil
}

// Size is the number of events.
func (t *Tree) Size() int64 { return t.size }

// Root is the tree's root hash over its first n events, in base64 as a
// checkpoint writes it; n must not be above Size.
func (t *Tree) Root(n int64) (string, error) {
	h, err := tlog.TreeHash(n, t)
	if err != nil {
		return "", err
	}
	return base64.StdEncoding.EncodeToString(h[:]), nil
}

// Prove gives the consistency proof that the tree of size n begins with the
// tree of size m, 1 <= m <= n <= Size, as base64 hashes (RFC 6962 §2.1.2).
func (t *Tree) Prove(m, n int64) ([]string, error) {
	proof, err := tlog.ProveTree(n, m, t)
	if err != nil {
		return nil, err
	}
	out := make([]string, len(proof))
	for i, h := range proof {
		out[i] = base64.StdEncoding.EncodeToString(h[:])
	}
	return out, nil
}
