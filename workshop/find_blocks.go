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
	late    *lateBlocks // nil when every block is read from the views
	entries int         // that they will be
	bytes   int         // of their keys and values
}

// openBlock is a block as it was, and as the update will leave it.
type openBlock struct {
	was, now lookup.Block
	less     bool // something was taken out of it
}

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
		was, err := o.late.block(tx, term, of)
		if err != nil {
			return err
		}
		b = &openBlock{was: was, now: was[:len(was):len(was)]}
		terms[term] = b
		o.size(len(findList)+len(term)+blockSuffix+len(was), 1)
	}
	before := len(b.now)
	b.less = b.less || weight == 0
	place := byte(number % lookup.BlockSize)
	if n := len(b.now); weight > 0 && (n == 0 || b.now[n-2] < place) {
		b.now = append(b.now, place, weight) // machines come in order of their numbers, most of them
	} else {
		b.now = b.now.With(place, weight)
	}
	o.size(len(b.now)-before, 0)
	return nil
}

// size counts what will be written.
func (o *openBlocks) size(bytes, entries int) {
	if o.late == nil {
		o.bytes += bytes
		o.entries += entries
	}
}

// write puts the blocks that have changed into the views.
func (o *openBlocks) write(tx ViewTx) {
	for of, terms := range o.by {
		for term, b := range terms {
			if !bytes.Equal(b.now, b.was) {
				putBlock(tx, term, of, b.now)
			}
		}
	}
}

func putBlock(tx ViewTx, term string, of uint32, b lookup.Block) {
	if key := blockKey(term, of); len(b) > 0 {
		tx.Put(key, b)
	} else {
		tx.Delete(key)
	}
}

// lateBlocks are blocks that wait to be written, since the list of a common word
// changes with every machine. Nothing is stored of those whose machines all get
// their numbers in one run: they are written when they are full. The others are
// written when much waits. Only what is taken out of a list is taken out at once:
// a machine that is put into its lists again, after a stop, does not say what it
// is to be taken out of.
type lateBlocks struct {
	from  uint32 // the number of the first of which nothing is stored
	by    map[uint32]map[string]lookup.Block
	bytes int // of terms and blocks, and what a table of them takes
}

// mostLate is how much waits to be written, in bytes. It is a variable for the
// tests.
var mostLate = 16 << 20

// begin makes those late that no machine stands in, when so many have a number.
func (l *lateBlocks) begin(count uint64) {
	*l = lateBlocks{from: uint32((count + lookup.BlockSize - 1) / lookup.BlockSize), by: map[uint32]map[string]lookup.Block{}}
}

// block is a block as it stands; empty when there is none.
func (l *lateBlocks) block(tx ViewTx, term string, of uint32) (lookup.Block, error) {
	if l != nil {
		if b, waits := l.by[of][term]; waits || of >= l.from {
			return b, nil
		}
	}
	raw, _, err := tx.Get(blockKey(term, of))
	return raw, err
}

// take takes all blocks from an update, and leaves it those that it is to write
// nevertheless.
func (o *openBlocks) take() map[uint32]map[string]*openBlock {
	all := o.by
	o.by = map[uint32]map[string]*openBlock{}
	for of, terms := range all {
		now := map[string]*openBlock{}
		for term, b := range terms {
			if b.less {
				now[term] = b
			}
		}
		o.by[of] = now
	}
	return all
}

// first is the number of the first block that waits, or may be begun.
func (l *lateBlocks) first() uint32 {
	first := l.from
	for of := range l.by {
		first = min(first, of)
	}
	return first
}

// keep keeps what was taken from an update that is stored.
func (l *lateBlocks) keep(taken map[uint32]map[string]*openBlock) {
	for of, terms := range taken {
		if l.by[of] == nil {
			l.by[of] = make(map[string]lookup.Block, len(terms))
		}
		for term, b := range terms {
			before, waits := l.by[of][term]
			if !waits {
				l.bytes += len(term) + 100
			}
			l.bytes += len(b.now) - len(before)
			l.by[of][term] = b.now
		}
	}
}
