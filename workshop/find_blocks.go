package workshop

import (
	"bytes"

	"example.org/asfound/lookup"
)

// openBlocks are the blocks of lists that an update changes, by their number and
// their term. Each is read once and written once, however many machines it is to
// hold.
type openBlocks struct {
	by      map[uint32]map[string]*openBlock
	held    *heldBlocks // nil when every block is read from the views
	entries int         // that they will be
	bytes   int         // of their keys and values
}

// openBlock is a block as it is stored, and as the update will leave it.
type openBlock struct{ was, now lookup.Block }

// setTerm puts a machine into one list with a weight, or takes it out with 0: at
// once, or at the end of an update of many machines.
func setTerm(tx ViewTx, term string, number uint32, weight byte) error {
	if c, ok := tx.(*countedTx); ok {
		return c.blocks.set(c.ViewTx, term, number, weight)
	}
	blocks := openBlocks{by: map[uint32]map[string]*openBlock{}}
	if err := blocks.set(tx, term, number, weight); err != nil {
		return err
	}
	blocks.write(tx)
	return nil
}

func (o *openBlocks) set(tx ViewTx, term string, number uint32, weight byte) error {
	of := number / lookup.BlockSize
	terms := o.by[of]
	if terms == nil {
		terms = map[string]*openBlock{}
		o.by[of] = terms
	}
	b := terms[term]
	if b == nil {
		was, err := o.held.block(tx, term, of)
		if err != nil {
			return err
		}
		b = &openBlock{was: was, now: was[:len(was):len(was)]}
		terms[term] = b
		o.entries++
		o.bytes += len(findList) + len(term) + len(blockSuffix(0)) + len(was)
	}
	o.bytes -= len(b.now)
	place := byte(number % lookup.BlockSize)
	if n := len(b.now); weight > 0 && (n == 0 || b.now[n-2] < place) {
		b.now = append(b.now, place, weight) // machines come in order of their numbers, most of them
	} else {
		b.now = b.now.With(place, weight)
	}
	o.bytes += len(b.now)
	return nil
}

// write puts the blocks that have changed into the views.
func (o *openBlocks) write(tx ViewTx) {
	for of, terms := range o.by {
		suffix := blockSuffix(of)
		for term, b := range terms {
			switch {
			case bytes.Equal(b.now, b.was):
			case len(b.now) == 0:
				tx.Delete(findList + term + suffix)
			default:
				tx.Put(findList+term+suffix, b.now)
			}
		}
	}
}

// heldBlocks keeps the blocks of lists in memory from one update of a run to the
// next: the list of a common word changes with every machine. Whoever uses it
// holds Workshop.refreshing, so that nobody else writes them meanwhile.
type heldBlocks struct {
	by    map[uint32]map[string]lookup.Block // as they are stored
	bytes int
	// count is how many machines have a number, and fresh the first block of
	// which everything that is stored is held, because its machines got their
	// numbers since.
	count uint64
	fresh uint32
}

// heldBytes is how much is kept, in bytes of terms and blocks and what a table
// of them takes.
const heldBytes = 16 << 20

// begin says how many machines have a number before an update. What is held of a
// register that somebody else has changed is let go.
func (h *heldBlocks) begin(count uint64) {
	if h.by == nil || count != h.count {
		h.forget(count)
	}
}

// forget lets go of everything, when so many machines have a number.
func (h *heldBlocks) forget(count uint64) {
	*h = heldBlocks{by: map[uint32]map[string]lookup.Block{}, count: count, fresh: uint32((count + lookup.BlockSize - 1) / lookup.BlockSize)}
}

// block is a block as it is stored; empty when there is none.
func (h *heldBlocks) block(tx ViewTx, term string, of uint32) (lookup.Block, error) {
	if h != nil {
		b, ok := h.by[of][term]
		if ok || of >= h.fresh {
			return b, nil
		}
	}
	raw, _, err := tx.Get(findList + term + blockSuffix(of))
	return raw, err
}

// stored keeps what an update has written, after which so many machines have a
// number. Too much is let go, but for the block that the next machines go into.
func (h *heldBlocks) stored(written openBlocks, count uint64) {
	for of, terms := range written.by {
		held := h.by[of]
		if held == nil {
			held = make(map[string]lookup.Block, len(terms))
			h.by[of] = held
		}
		for term, b := range terms {
			h.bytes += heldSize(term, b.now)
			if was, ok := held[term]; ok {
				h.bytes -= heldSize(term, was)
			}
			held[term] = b.now
		}
	}
	if h.count = count; h.bytes <= heldBytes {
		return
	}
	at := uint32(count / lookup.BlockSize)
	last, fresh := h.by[at], max(h.fresh, at)
	h.forget(count)
	for term, b := range last {
		h.bytes += heldSize(term, b)
	}
	if h.by[at], h.fresh = last, fresh; h.bytes > heldBytes {
		h.forget(count)
	}
}

// heldSize is what a held block takes, its place in a table included, in bytes.
func heldSize(term string, b lookup.Block) int { return len(term) + len(b) + 100 }
