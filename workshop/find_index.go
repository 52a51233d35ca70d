package workshop

import (
	"bytes"
	"compress/flate"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"sync"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
)

// The key families of the index. A list holds the machines that have one word
// or facet, in blocks by the machines' numbers.
const (
	findCount  = "find/count"   // how many machines have a number
	findNumber = "find/number/" // machine id → its number
	findID     = "find/id/"     // number → machine id
	findText   = "find/text/"   // machine id → findable, packed
	findSecret = "find/secret/" // machine id → withheld, packed
	findHalf   = "find/half/"   // machine id → words of an update that was begun
	findList   = "find/list/"   // family, word, block → lookup.Block
)

// The families of lists.
const (
	inBoth    = "w/" // words that both editions show
	inPublic  = "o/" // words that the public edition alone shows: roles and masks
	inPrivate = "p/" // words that the private edition alone shows: names and numbers
	ofFacets  = "f/" // what filters ask for
	ofNumbers = "n/" // the same, in the private edition alone
)

// blockKey is where a block of a list stands. A word never holds byte 0, so no
// list begins with another.
func blockKey(term string, number uint32) string {
	return fmt.Sprintf("%s%s\x00%06x", findList, term, number/lookup.BlockSize)
}

// How much is written to the views at once: after so many entries or bytes no
// further machine is begun.
const (
	stepEntries = 4000
	stepBytes   = 400 << 10
)

// countedTx counts what an update writes. An entry that is written again, as
// the list of a common word is by every machine, counts once.
type countedTx struct {
	ViewTx
	sizes map[string]int
	bytes int
	// tallies are the changes to tables of counts, to be written by settle.
	tallies map[string]tally
}

func newCountedTx(tx ViewTx) *countedTx {
	return &countedTx{ViewTx: tx, sizes: map[string]int{}, tallies: map[string]tally{}}
}

// settle writes what was put off to the end of the update.
func (t *countedTx) settle() error {
	for table, by := range t.tallies {
		if err := addTally(t, table, by); err != nil {
			return err
		}
	}
	t.tallies = nil
	return nil
}

func (t *countedTx) count(key string, value []byte) {
	size := len(key) + len(value)
	t.bytes += size - t.sizes[key]
	t.sizes[key] = size
}

func (t *countedTx) Put(key string, value []byte) {
	t.count(key, value)
	t.ViewTx.Put(key, value)
}

func (t *countedTx) Delete(key string) {
	t.count(key, nil)
	t.ViewTx.Delete(key)
}

// deriveSome writes the views of the first machines of a list, and says of how
// many. The checkpoint moves to end with the last.
func (w *Workshop) deriveSome(ctx context.Context, machines []string, from, end registry.Position, held *heldBlocks) (int, error) {
	for most := len(machines); ; most = 1 {
		// How many will fit is not known before, so after several the checkpoint
		// moves in an update of its own.
		done, at := 0, from
		if len(machines) == 1 {
			at = end
		}
		err := w.Views.Update(ctx, at, func(tx ViewTx) error {
			done = 0
			held.begin()
			counted := newCountedTx(heldTx{tx, held})
			for _, machine := range machines[:most] {
				if err := w.derive(ctx, counted, machine); err != nil {
					return err
				}
				if done++; len(counted.sizes) > stepEntries || counted.bytes > stepBytes {
					break
				}
			}
			return counted.settle()
		})
		switch {
		case registry.CodeOf(err) == registry.CodeTooLarge && most > 1:
			continue
		case registry.CodeOf(err) == registry.CodeTooLarge:
			held.forget()
			done, at, err = 1, from, w.deriveInParts(ctx, machines[0], from)
		case err == nil:
			held.stored()
		}
		if err == nil && done == len(machines) && at < end {
			err = w.Views.Update(ctx, end, func(ViewTx) error { return nil })
		}
		return done, err
	}
}

// indexed is what stands in the index of one machine, and under which number.
type indexed struct {
	number uint32
	terms  map[string]byte
	// sure is false after an update that was begun and not ended: some of its
	// words may stand in the lists already.
	sure bool
}

// index brings the lists up to a machine's record.
func (w *Workshop) index(tx ViewTx, d *registry.Dossier, s Summary) error {
	old, err := indexedOf(tx, d.ID)
	if err != nil {
		return err
	}
	public, secret := w.gather(d, s)
	if err := w.noteRegister(tx, d, public.Facets); err != nil {
		return err
	}
	public.Number = old.number
	terms := termsOf(public, secret)
	for _, term := range changedTerms(old, terms) {
		if err := setTerm(tx, term, old.number, terms[term]); err != nil {
			return err
		}
	}
	return putIndexed(tx, d.ID, public, secret)
}

// deriveInParts writes the views of a machine whose words are too many for one
// update. What was begun is noted, so that a stop in between, or somebody else,
// leaves no word behind that the machine no longer has.
func (w *Workshop) deriveInParts(ctx context.Context, machine string, at registry.Position) error {
	var old indexed
	var public findable
	var secret withheld
	var terms map[string]byte
	var note []byte
	// Everything but the lists, with the texts as they were.
	err := w.Views.Update(ctx, at, func(tx ViewTx) error {
		d, err := w.replay(ctx, machine)
		if err != nil {
			return err
		}
		if old, err = indexedOf(tx, machine); err != nil {
			return err
		}
		s, ok, err := w.summarize(tx, d)
		if err != nil || !ok {
			return err
		}
		markDue(tx, machine, d.Version())
		public, secret = w.gather(d, s)
		if err := w.noteRegister(tx, d, public.Facets); err != nil {
			return err
		}
		public.Number = old.number
		terms = termsOf(public, secret)
		begun := maps.Clone(terms)
		if !old.sure {
			maps.Copy(begun, old.terms)
		}
		if note, err = pack(slices.Sorted(maps.Keys(begun))); err != nil {
			return err
		}
		tx.Put(findHalf+machine, note)
		return nil
	})
	if err != nil || terms == nil {
		return err
	}
	size := stepEntries
	for left := changedTerms(old, terms); len(left) > 0; {
		part := left[:min(size, len(left))]
		err := w.Views.Update(ctx, at, func(tx ViewTx) error {
			if err := stillMine(tx, machine, note); err != nil {
				return err
			}
			for _, term := range part {
				if err := setTerm(tx, term, old.number, terms[term]); err != nil {
					return err
				}
			}
			return nil
		})
		switch {
		case registry.CodeOf(err) == registry.CodeTooLarge && len(part) > 1:
			size = len(part) / 2
		case err != nil:
			return err
		default:
			left = left[len(part):]
		}
	}
	return w.Views.Update(ctx, at, func(tx ViewTx) error {
		if err := stillMine(tx, machine, note); err != nil {
			return err
		}
		return putIndexed(tx, machine, public, secret)
	})
}

func stillMine(tx ViewTx, machine string, note []byte) error {
	found, _, err := tx.Get(findHalf + machine)
	if err == nil && !bytes.Equal(found, note) {
		err = registry.Refuse(registry.CodeConflict, "Read the checkpoint again.", "Somebody else brought the index of %s up to date", machine)
	}
	return err
}

// indexedOf reads what the index holds of a machine, and gives it a number when
// it has none.
func indexedOf(tx ViewTx, machine string) (indexed, error) {
	out := indexed{sure: true}
	raw, ok, err := tx.Get(findNumber + machine)
	if err != nil {
		return out, err
	}
	if !ok {
		count, _, err := tx.Get(findCount)
		if err != nil {
			return out, err
		}
		n, _ := binary.Uvarint(count)
		out.number = uint32(n)
		tx.Put(findCount, binary.AppendUvarint(nil, n+1))
		tx.Put(findNumber+machine, binary.AppendUvarint(nil, n))
		tx.Put(idKey(out.number), []byte(machine))
		return out, nil
	}
	n, _ := binary.Uvarint(raw)
	out.number = uint32(n)
	public, secret, _, err := readIndexed(tx.Get, machine)
	if err != nil {
		return out, err
	}
	out.terms = termsOf(public, secret)
	half, ok, err := tx.Get(findHalf + machine)
	if err != nil || !ok {
		return out, err
	}
	out.sure = false
	var begun []string
	if err := unpack(half, &begun); err != nil {
		return out, err
	}
	for _, t := range begun {
		if out.terms[t] == 0 {
			out.terms[t] = 1
		}
	}
	return out, nil
}

func idKey(number uint32) string { return fmt.Sprintf("%s%08x", findID, number) }

// readIndexed reads the texts of a machine.
func readIndexed(get func(string) ([]byte, bool, error), machine string) (public findable, secret withheld, ok bool, err error) {
	raw, ok, err := get(findText + machine)
	if err != nil || !ok {
		return public, secret, false, err
	}
	hidden, _, err := get(findSecret + machine)
	if err != nil {
		return public, secret, false, err
	}
	return public, secret, true, errors.Join(unpack(raw, &public), unpack(hidden, &secret))
}

func putIndexed(tx ViewTx, machine string, public findable, secret withheld) error {
	raw, err := pack(public)
	if err != nil {
		return err
	}
	hidden, err := pack(secret)
	if err != nil {
		return err
	}
	tx.Put(findText+machine, raw)
	tx.Put(findSecret+machine, hidden)
	tx.Delete(findHalf + machine)
	return nil
}

// setTerm puts a machine into one list with a weight, or takes it out with 0.
func setTerm(tx ViewTx, term string, number uint32, weight byte) error {
	key := blockKey(term, number)
	old, _, err := tx.Get(key)
	if err != nil {
		return err
	}
	switch block := lookup.Block(old).With(byte(number%lookup.BlockSize), weight); {
	case len(block) == 0:
		tx.Delete(key)
	case !bytes.Equal(block, old):
		tx.Put(key, block)
	}
	return nil
}

// changedTerms lists the words whose lists have to change, in order.
func changedTerms(old indexed, terms map[string]byte) []string {
	var out []string
	for t, weight := range terms {
		if !old.sure || old.terms[t] != weight {
			out = append(out, t)
		}
	}
	for t := range old.terms {
		if terms[t] == 0 {
			out = append(out, t)
		}
	}
	slices.Sort(out)
	return out
}

// termsOf lists the words and facets of a machine with their families and the
// highest weight that each has.
func termsOf(public findable, secret withheld) map[string]byte {
	out := map[string]byte{}
	add := func(family, word, kind string) {
		term := family + word
		out[term] = max(out[term], placeWeights[kind])
	}
	masked, whole := Reader{public.Shown}, Reader{secret.Shown}
	for _, p := range public.Places {
		if !strings.Contains(p.Text, "[[") {
			for _, w := range lookup.Words(p.Text) {
				add(inBoth, w.Text, p.Kind)
			}
			continue
		}
		shown := map[string]bool{}
		for _, w := range lookup.Words(masked.Text(p.Text)) {
			shown[w.Text] = true
		}
		for _, w := range lookup.Words(whole.Text(p.Text)) {
			if shown[w.Text] {
				add(inBoth, w.Text, p.Kind)
				delete(shown, w.Text)
			} else {
				add(inPrivate, w.Text, p.Kind)
			}
		}
		for w := range shown {
			// A word that stands twice may have gone to both editions already.
			if out[inBoth+w] == 0 {
				add(inPublic, w, p.Kind)
			}
		}
	}
	for _, p := range secret.Places {
		for _, w := range lookup.Words(p.Text) {
			add(inPrivate, w.Text, p.Kind)
		}
	}
	for _, f := range public.Facets {
		out[ofFacets+f] = 1
	}
	for _, f := range secret.Facets {
		out[ofNumbers+f] = 1
	}
	return out
}

// pack writes a value small, and unpack reads it.
func pack(v any) ([]byte, error) {
	raw, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	z := packers.Get().(*flate.Writer)
	defer packers.Put(z)
	z.Reset(&b)
	if _, err = z.Write(raw); err == nil {
		err = z.Close()
	}
	return b.Bytes(), err
}

// packers are kept for the next value: making one takes longer than most values
// do.
var packers = sync.Pool{New: func() any {
	z, err := flate.NewWriter(nil, flate.BestSpeed)
	if err != nil {
		panic(err) // the level is one of the package's own
	}
	return z
}}

func unpack(data []byte, v any) error {
	if len(data) == 0 {
		return nil
	}
	raw, err := io.ReadAll(flate.NewReader(bytes.NewReader(data)))
	if err == nil {
		err = json.Unmarshal(raw, v)
	}
	if err != nil {
		return registry.Refuse(registry.CodeTampered, "Compute the views again; the ledger itself is not touched by this.", "The index cannot be read: %v", err)
	}
	return nil
}
