package workshop

import (
	"bytes"
	"maps"
	"strings"
)

// heldBlocks keeps the blocks of lists in memory while many machines are put
// into them: the list of a common word changes with every machine. Whoever uses
// it holds Workshop.refreshing, so that nobody else writes them meanwhile.
type heldBlocks struct {
	blocks map[string][]byte // as they are stored; nil for none
	fresh  map[string][]byte // as the update under way will leave them
	bytes  int
}

// heldBytes is how much is kept, in bytes of keys and blocks.
const heldBytes = 32 << 20

func (h *heldBlocks) begin() { h.fresh = map[string][]byte{} }

// stored says that the update under way is written.
func (h *heldBlocks) stored() {
	for k, v := range h.fresh {
		h.bytes += len(k) + len(v)
	}
	if h.bytes > heldBytes || h.blocks == nil {
		h.forget()
	}
	maps.Copy(h.blocks, h.fresh)
	h.fresh = nil
}

func (h *heldBlocks) forget() { h.blocks, h.bytes = map[string][]byte{}, 0 }

// heldTx reads blocks of lists from memory where they are held.
type heldTx struct {
	ViewTx
	*heldBlocks
}

func (t heldTx) Get(key string) ([]byte, bool, error) {
	if !strings.HasPrefix(key, findList) {
		return t.ViewTx.Get(key)
	}
	block, ok := t.fresh[key]
	if !ok {
		block, ok = t.blocks[key]
	}
	if ok {
		return bytes.Clone(block), len(block) > 0, nil
	}
	return t.ViewTx.Get(key)
}

func (t heldTx) Put(key string, value []byte) {
	if strings.HasPrefix(key, findList) {
		t.fresh[key] = bytes.Clone(value)
	}
	t.ViewTx.Put(key, value)
}

func (t heldTx) Delete(key string) {
	if strings.HasPrefix(key, findList) {
		t.fresh[key] = nil
	}
	t.ViewTx.Delete(key)
}
