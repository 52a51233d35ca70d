package workshop

import (
	"bytes"
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

	"github.com/klauspost/compress/flate"

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
func blockKey(term string, of uint32) string {
	suffix := [blockSuffix]byte{}
	for i := len(suffix) - 1; i > 0; i-- {
		suffix[i] = "0123456789abcdef"[of&15]
		of >>= 4
	}
	return findList + term + string(suffix[:])
}

const blockSuffix = 7 // bytes after the term: 0, and the number in hex

// How much is written to the views at once, in entries and bytes.
const (
	stepEntries = 8000
	stepBytes   = 500 << 10
)

// full says that nothing further is to be begun in an update.
func full(entries, bytes int) bool { return entries > stepEntries || bytes > stepBytes }

// countedTx counts what an update writes. An entry that is written again, as
// that of a common model is by every machine, counts once. What many machines
// change together, the lists of words and the tables of counts, is put off to
// settle.
type countedTx struct {
	ViewTx
	sizes map[string]int
	bytes int
	// blocks are those of lists as this update will leave them.
	blocks openBlocks
	// tallies are the changes to tables of counts.
	tallies tallies
	// fresh is a machine of which nothing stands in the views yet, "" for none.
	fresh string
}

func newCountedTx(tx ViewTx) *countedTx {
	return &countedTx{ViewTx: tx, sizes: map[string]int{}, blocks: openBlocks{by: map[uint32]map[string]*openBlock{}}, tallies: tallies{}}
}

// settle writes what was put off to the end of the update.
func (t *countedTx) settle() error {
	t.blocks.write(t.ViewTx)
	for table, by := range t.tallies {
		if err := addTally(t, table, by); err != nil {
			return err
		}
	}
	t.tallies = nil
	return nil
}

func (t *countedTx) full() bool {
	return full(len(t.sizes)+t.blocks.entries, t.bytes+t.blocks.bytes)
}

// Get does not look for what a machine that was given its number just now has
// added to the register.
func (t *countedTx) Get(key string) ([]byte, bool, error) {
	if of, own := strings.CutSuffix(key, t.fresh); own && t.fresh != "" {
		switch of {
		case tallyOf, numberOf, numberSaid, saleOf:
			return nil, false, nil
		}
	}
	return t.ViewTx.Get(key)
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

// eachFits calls fn for every item, in as many updates as they take, each of
// which begins with check. An item has keys of its own.
func (w *Workshop) eachFits(ctx context.Context, at registry.Position, items []string, check func(tx ViewTx) error, fn func(tx ViewTx, item string) error) error {
	for most := len(items); len(items) > 0; {
		done := 0
		err := w.Views.Update(ctx, at, func(tx ViewTx) error {
			if err := check(tx); err != nil {
				return err
			}
			done = 0
			summed := &summedTx{ViewTx: tx}
			for done < min(most, len(items)) && !full(summed.entries, summed.bytes) {
				if err := fn(summed, items[done]); err != nil {
					return err
				}
				done++
			}
			return nil
		})
		switch {
		case registry.CodeOf(err) == registry.CodeTooLarge && done > 1:
			most = done / 2
		case err != nil:
			return err
		default:
			items = items[done:]
		}
	}
	return nil
}

// summedTx counts what an update writes when it writes each key once.
type summedTx struct {
	ViewTx
	entries, bytes int
}

func (t *summedTx) Put(key string, value []byte) {
	t.entries++
	t.bytes += len(key) + len(value)
	t.ViewTx.Put(key, value)
}

func (t *summedTx) Delete(key string) {
	t.entries++
	t.bytes += len(key)
	t.ViewTx.Delete(key)
}

// indexed is what stands in the index of one machine, and under which number.
type indexed struct {
	number uint32
	terms  map[string]byte
	// sure is false after an update that was begun and not ended: some of its
	// words may stand in the lists already.
	sure bool
	// fresh says that it was given the number just now.
	fresh bool
}

// index brings the lists up to a machine's record.
func (w *Workshop) index(tx ViewTx, d *registry.Dossier, s Summary) error {
	x := &derived{dossier: d, summary: s}
	w.findings(x)
	return w.putTerms(tx, x)
}

// putTerms brings the lists up to what was worked out.
func (w *Workshop) putTerms(tx ViewTx, x *derived) error {
	old, err := indexedOf(tx, x.dossier.ID)
	if err != nil {
		return err
	}
	if c, ok := tx.(*countedTx); ok && old.fresh {
		c.fresh = x.dossier.ID
		defer func() { c.fresh = "" }()
	}
	if err := w.noteRegister(tx, x.dossier, x.public.Facets); err != nil {
		return err
	}
	for _, term := range changedTerms(old, x.terms) {
		if err := setTerm(tx, term, old.number, x.terms[term]); err != nil {
			return err
		}
	}
	return putIndexed(tx, old.number, x)
}

// putInParts writes the views of a machine whose words are too many for one
// update. What was begun is noted, so that a stop in between, or somebody else,
// leaves no word behind that the machine no longer has.
func (w *Workshop) putInParts(ctx context.Context, x *derived, at registry.Position) error {
	var old indexed
	var note []byte
	machine := x.dossier.ID
	// Everything but the lists, with the texts as they were.
	err := w.Views.Update(ctx, at, func(tx ViewTx) error {
		var err error
		if x, err = w.asItStands(ctx, x); err != nil {
			return err
		}
		if old, err = indexedOf(tx, machine); err != nil || x.terms == nil {
			return err
		}
		if err := x.putSummary(tx); err != nil {
			return err
		}
		if err := w.noteRegister(tx, x.dossier, x.public.Facets); err != nil {
			return err
		}
		begun := maps.Clone(x.terms)
		if !old.sure {
			maps.Copy(begun, old.terms)
		}
		if note, err = pack(slices.Sorted(maps.Keys(begun))); err != nil {
			return err
		}
		tx.Put(findHalf+machine, note)
		return nil
	})
	if err != nil || x.terms == nil {
		return err
	}
	check := func(tx ViewTx) error { return stillMine(tx, machine, note) }
	if err := w.eachFits(ctx, at, changedTerms(old, x.terms), check, func(tx ViewTx, term string) error {
		return setTerm(tx, term, old.number, x.terms[term])
	}); err != nil {
		return err
	}
	return w.Views.Update(ctx, at, func(tx ViewTx) error {
		if err := check(tx); err != nil {
			return err
		}
		return putIndexed(tx, old.number, x)
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
		out.number, out.fresh = uint32(n), true
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

func putIndexed(tx ViewTx, number uint32, x *derived) error {
	public, machine := x.public, x.dossier.ID
	public.Number = number
	raw, err := pack(public)
	if err != nil {
		return err
	}
	hidden, err := pack(x.secret)
	if err != nil {
		return err
	}
	tx.Put(findText+machine, raw)
	tx.Put(findSecret+machine, hidden)
	tx.Delete(findHalf + machine)
	return nil
}

// changedTerms lists the words whose lists have to change, in any order.
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
	return out
}

// termsOf lists the words and facets of a machine with their families and the
// highest weight that each has.
func termsOf(public findable, secret withheld) map[string]byte {
	out := map[string]byte{}
	var key []byte
	add := func(family, word string, weight byte) {
		key = append(append(key[:0], family...), word...)
		if before, ok := out[string(key)]; !ok || before < weight {
			out[string(key)] = weight
		}
	}
	masked, whole := Reader{public.Shown}, Reader{secret.Shown}
	for _, p := range public.Places {
		weight := placeWeights[p.Kind]
		if !strings.Contains(p.Text, "[[") {
			for _, w := range lookup.Words(p.Text) {
				add(inBoth, w.Text, weight)
			}
			continue
		}
		shown := map[string]bool{}
		for _, w := range lookup.Words(masked.Text(p.Text)) {
			shown[w.Text] = true
		}
		for _, w := range lookup.Words(whole.Text(p.Text)) {
			if shown[w.Text] {
				add(inBoth, w.Text, weight)
				delete(shown, w.Text)
			} else {
				add(inPrivate, w.Text, weight)
			}
		}
		for w := range shown {
			// A word that stands twice may have gone to both editions already.
			if out[inBoth+w] == 0 {
				add(inPublic, w, weight)
			}
		}
	}
	for _, p := range secret.Places {
		for _, w := range lookup.Words(p.Text) {
			add(inPrivate, w.Text, placeWeights[p.Kind])
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

// unpackers are kept too: a new one takes 40 KB.
var unpackers = sync.Pool{New: func() any { return flate.NewReader(bytes.NewReader(nil)) }}

func unpack(data []byte, v any) error {
	if len(data) == 0 {
		return nil
	}
	z := unpackers.Get().(io.ReadCloser)
	defer unpackers.Put(z)
	err := z.(flate.Resetter).Reset(bytes.NewReader(data), nil)
	var raw []byte
	if err == nil {
		raw, err = io.ReadAll(z)
	}
	if err == nil {
		err = json.Unmarshal(raw, v)
	}
	if err != nil {
		return registry.Refuse(registry.CodeTampered, "Compute the views again; the ledger itself is not touched by this.", "The index cannot be read: %v", err)
	}
	return nil
}
