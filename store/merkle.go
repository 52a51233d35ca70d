package store

import (
	"crypto/sha256"
	"encoding/binary"
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"

	"example.org/asfound/registry"
)

// machineHead is what the store keeps about the end of one machine's history.
// Of the machine's Merkle tree (RFC 6962 §2.1) it holds the hashes of the
// complete subtrees that the leaves 0 to version-1 fall into, largest first:
// one for each 1 in the binary form of the version. They are enough to add the
// next event and to compute the root; proofs are made from the events.
type machineHead struct {
	version  uint64
	position registry.Position
	subtrees []tlog.Hash
}

// add appends one event's stored bytes to the tree.
func (h *machineHead) add(event []byte) { h.addLeaf(tlog.RecordHash(event)) }

// addLeaf appends one leaf hash.
func (h *machineHead) addLeaf(hash tlog.Hash) {
	for n := h.version; n&1 == 1; n >>= 1 {
		last := len(h.subtrees) - 1
		hash = tlog.NodeHash(h.subtrees[last], hash)
		h.subtrees = h.subtrees[:last]
	}
	h.subtrees = append(h.subtrees, hash)
	h.version++
}

// root is the RFC 6962 root hash; of no events it is the hash of nothing.
func (h *machineHead) root() tlog.Hash {
	if len(h.subtrees) == 0 {
		return tlog.Hash(sha256.Sum256(nil))
	}
	root := h.subtrees[len(h.subtrees)-1]
	for i := len(h.subtrees) - 2; i >= 0; i-- {
		root = tlog.NodeHash(h.subtrees[i], root)
	}
	return root
}

func (h *machineHead) encode() []byte {
	b := make([]byte, 0, 16+(1+len(h.subtrees))*tlog.HashSize+checksumBytes)
	b = append(b, pair(h.version, uint64(h.position))...)
	root := h.root()
	b = append(b, root[:]...)
	for _, s := range h.subtrees {
		b = append(b, s[:]...)
	}
	return b
}

// decodeHead is the reverse; it refuses a root that the subtrees do not give.
func decodeHead(machine string, b []byte) (machineHead, error) {
	const fixed = 16 + tlog.HashSize
	if len(b) < fixed || (len(b)-fixed)%tlog.HashSize != 0 {
		return machineHead{}, damaged("The head of %s has %d bytes", machine, len(b))
	}
	h := machineHead{version: binary.BigEndian.Uint64(b), position: registry.Position(binary.BigEndian.Uint64(b[8:]))}
	for at := fixed; at < len(b); at += tlog.HashSize {
		h.subtrees = append(h.subtrees, tlog.Hash(b[at:at+tlog.HashSize]))
	}
	if len(h.subtrees) != bits.OnesCount64(h.version) || h.version == 0 || h.root() != tlog.Hash(b[16:fixed]) {
		return machineHead{}, damaged("The head of %s does not match its own hashes", machine)
	}
	return h, nil
}
