package workshop

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"maps"
	"runtime"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/semaphore"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
)

// The views of one machine are derived by the same steps as those of a hundred
// thousand. What a machine's record says by itself is worked out ahead, several
// machines side by side; what many of them change together, the lists of words
// and the tables of counts, is written once for as many as go into one update.

// mention is a machine, with the position at which the ledger first names it after
// the checkpoint.
type mention struct {
	machine  string
	position registry.Position
}

// derived is what the views are to hold of one machine. All but its number
// follows from its record alone.
type derived struct {
	dossier *registry.Dossier
	summary Summary
	links   []string // hashes of the tokens of its links
	public  findable
	secret  withheld
	terms   map[string]byte // nil for a machine that nothing is known of yet
}

// workOut derives what a dossier says by itself.
func (w *Workshop) workOut(d *registry.Dossier) *derived {
	x := &derived{dossier: d}
	known := false
	if x.summary, x.links, known = w.summary(d); known {
		x.public, x.secret = w.gather(d, x.summary)
		x.terms = termsOf(x.public, x.secret)
	}
	return x
}

// asItStands is what was worked out, or what follows from the record when more
// was recorded since.
func (w *Workshop) asItStands(ctx context.Context, x *derived) (*derived, error) {
	head, err := w.Ledger.Head(ctx, x.dossier.ID)
	if err != nil || head.Version == x.dossier.Version() {
		return x, err
	}
	d, err := w.replay(ctx, x.dossier.ID)
	if err != nil {
		return nil, err
	}
	return w.workOut(d), nil
}

// put writes the views of one machine.
func (w *Workshop) put(tx ViewTx, x *derived) error {
	if x.terms == nil {
		return nil
	}
	if err := x.putSummary(tx); err != nil {
		return err
	}
	return w.putTerms(tx, x)
}

// putSummary writes what a list shows of a machine and where its links lead, and
// notes that its indices are to be folded anew.
func (x *derived) putSummary(tx ViewTx) error {
	value, err := json.Marshal(x.summary)
	if err != nil {
		return err
	}
	for _, hash := range x.links {
		tx.Put(viewLink+hash, []byte(x.dossier.ID))
	}
	tx.Put(viewMachine+x.dossier.ID, value)
	markDue(tx, x.dossier.ID, x.dossier.Version())
	return nil
}

const (
	// aheadMachines is how many machines are worked out before they are written,
	// and aheadEvents how many events their records have together, and those of
	// the machines of one update; a longer record comes alone.
	aheadMachines = 64
	aheadEvents   = 30_000
	// fewMachines is up to how many machines are looked up among the histories
	// at hand. Of more, each is read once and none is kept.
	fewMachines = 16
)

// queue gives machines in order, worked out ahead.
type queue struct {
	left  []mention  // not yet written
	taken []*derived // of the first of them
	ready chan chan workedOut
	ahead *semaphore.Weighted // events of records that are worked out and not taken
	stop  func()              // lets go of what is worked out and not taken
}

type workedOut struct {
	*derived
	events   int64 // that were let through for it
	err      error
	panicked any
}

// queueUp begins to work machines out.
func (w *Workshop) queueUp(ctx context.Context, order []mention) *queue {
	replay := w.replay
	if len(order) > fewMachines {
		replay = w.replayAnew
	}
	ctx, cancel := context.WithCancel(ctx)
	q := &queue{left: order, ready: make(chan chan workedOut, aheadMachines), ahead: semaphore.NewWeighted(aheadEvents)}
	side := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	q.stop = func() { cancel(); wait.Wait() }
	wait.Go(func() {
		defer close(q.ready)
		for _, m := range order {
			// What is wrong with a head, reading the record says.
			head, _ := w.Ledger.Head(ctx, m.machine)
			events := int64(min(max(head.Version, 1), aheadEvents))
			if q.ahead.Acquire(ctx, events) != nil {
				return
			}
			one := make(chan workedOut, 1)
			select {
			case q.ready <- one:
			case <-ctx.Done():
				return
			}
			side <- struct{}{}
			wait.Go(func() {
				out := workedOut{events: events}
				defer func() { out.panicked = recover(); one <- out; <-side }()
				d, err := replay(ctx, m.machine)
				if out.err = err; err == nil {
					out.derived = w.workOut(d)
				}
			})
		}
	})
	return q
}

// at gives the one that comes so many after the first that is not yet written.
func (q *queue) at(ctx context.Context, i int) (*derived, error) {
	for len(q.taken) <= i {
		one, ok := <-q.ready
		if !ok {
			return nil, ctx.Err()
		}
		out := <-one
		q.ahead.Release(out.events)
		if out.panicked != nil {
			panic(out.panicked) // where whoever asked can catch it
		}
		if out.err != nil {
			return nil, out.err
		}
		q.taken = append(q.taken, out.derived)
	}
	return q.taken[i], nil
}

// written lets go of the first so many.
func (q *queue) written(n int) {
	q.left = q.left[n:]
	q.taken = slices.Delete(q.taken, 0, n)
}

// replayAnew is replay without a look at what is at hand, and keeps nothing.
func (w *Workshop) replayAnew(ctx context.Context, machine string) (*registry.Dossier, error) {
	events, err := w.Events(ctx, machine)
	if err != nil {
		return nil, err
	}
	d, err := registry.Replay(machine, events, time.Time{})
	if err != nil {
		return nil, err
	}
	return d, w.reveal(ctx, d)
}

// viewsRun brings the views of some machines up to the ledger. The checkpoint
// moves with what is written: every machine that the ledger names before it
// stands in the views, so that a stop costs no more than the update under way.
//
// Two things are the exception, because many machines change the same of them:
// the tables of counts, and the lists as far as machines come into them. When one
// update does not hold everything, what they change is gathered and written when
// a block of new machines is full, when much waits, and at the end. A mark stands
// in the views meanwhile; whoever finds it after a stop makes good what is missing.
type viewsRun struct {
	w       *Workshop
	at, end registry.Position // of the checkpoint, and at the end
	blocks  lateBlocks
	count   uint64 // machines with a number
	tables  tallies
	keys    int // in the tables
	mark    uint64
	// again is how many machines of an earlier run are to be put into the lists
	// before anything else, and missing the first block that they stand in.
	again   int
	missing uint32
}

// viewsBehind marks that lists and tables are behind: the run's number among
// those that have begun since they were not, and the first block that waits.
const viewsBehind = "behind"

// mostCounts is how many keys of tables are gathered before they are written. It
// is a variable for the tests.
var mostCounts = 200_000

// deriveAll writes the views of machines that the ledger names between two
// positions, and moves the checkpoint to the second. progress is told how many
// are done; it may be nil.
func (w *Workshop) deriveAll(ctx context.Context, order []mention, from, end registry.Position, progress func(done int)) error {
	r := &viewsRun{w: w, at: from, end: end, tables: tallies{}}
	again, err := r.makeGood(ctx)
	if err != nil {
		return err
	}
	q := w.queueUp(ctx, append(again, order...))
	defer q.stop()
	for len(q.left) > 0 {
		if err := r.step(ctx, q); err != nil {
			return err
		}
		if progress != nil {
			progress(max(0, len(order)-len(q.left)))
		}
	}
	return r.finish(ctx)
}

// step writes the views of as many machines as one update takes.
func (r *viewsRun) step(ctx context.Context, q *queue) error {
	before := max(r.at, q.left[0].position-1) // all that is written by now
	at := before
	if len(q.left) == 1 && r.mark == 0 {
		at = r.end
	}
	for most := len(q.left); ; {
		var f filled
		err := r.w.Views.Update(ctx, at, func(tx ViewTx) (err error) {
			f, err = r.fill(ctx, tx, q, most)
			return err
		})
		switch {
		case err == nil:
			q.written(f.done)
			r.at, r.mark, r.count, r.again = at, f.mark, f.count, max(0, r.again-f.done)
			return r.gather(ctx, f)
		case registry.CodeOf(err) != registry.CodeTooLarge:
			return err
		case f.done <= 1:
			return r.stepInParts(ctx, q, before)
		}
		most = f.done / 2
	}
}

// stepInParts writes the views of one machine that is too much for an update.
func (r *viewsRun) stepInParts(ctx context.Context, q *queue, at registry.Position) error {
	if err := r.writeBlocks(ctx, true); err != nil {
		return err
	}
	x, err := q.at(ctx, 0)
	if err != nil {
		return err
	}
	if err := r.w.putInParts(ctx, x, at); err != nil {
		return err
	}
	q.written(1)
	r.at, r.again = at, max(0, r.again-1)
	return nil
}

// filled is what an update holds, and what it leaves to be written later.
type filled struct {
	done   int    // machines
	count  uint64 // machines with a number after it
	mark   uint64
	blocks map[uint32]map[string]*openBlock
	tables tallies
}

// fill fills an update with the views of at most so many machines.
func (r *viewsRun) fill(ctx context.Context, tx ViewTx, q *queue, most int) (f filled, err error) {
	if err := r.stillMine(tx); err != nil {
		return f, err
	}
	if err := r.begin(tx); err != nil {
		return f, err
	}
	end, err := r.w.Ledger.End(ctx)
	if err != nil {
		return f, err
	}
	counted := newCountedTx(tx)
	counted.blocks.late = &r.blocks
	for events := uint64(0); f.done < most && events < aheadEvents && !counted.full(); f.done++ {
		x, err := q.at(ctx, f.done)
		if err == nil && end != r.end {
			x, err = r.w.asItStands(ctx, x)
		}
		if err == nil {
			err = r.w.put(counted, x)
		}
		if err != nil {
			return f, err
		}
		events += x.dossier.Version()
	}
	if f.mark = r.mark; f.mark > 0 || f.done < len(q.left) {
		f.blocks, f.tables = counted.blocks.take(), counted.tallies
		counted.tallies = nil
	}
	if f.mark > 0 || len(f.blocks) > 0 || len(f.tables) > 0 {
		f.mark = max(f.mark, 1)
		r.putMark(counted, f.mark, f.blocks)
	}
	if err := counted.settle(); err != nil {
		return f, err
	}
	f.count, err = countOf(tx)
	return f, err
}

// begin looks how many machines have a number. When others were given since the
// last update, nothing is known any more of what the lists hold.
func (r *viewsRun) begin(tx ViewTx) error {
	count, err := countOf(tx)
	if err != nil || r.blocks.by != nil && count == r.count {
		return err
	}
	if len(r.blocks.by) > 0 {
		return overtaken()
	}
	r.count = count
	r.blocks.begin(count)
	return nil
}

// gather takes in what an update leaves, and writes what is full or too much.
func (r *viewsRun) gather(ctx context.Context, f filled) error {
	r.blocks.keep(f.blocks)
	if err := r.writeBlocks(ctx, r.blocks.bytes > mostLate); err != nil {
		return err
	}
	if r.keys += r.tables.add(f.tables); r.keys <= mostCounts {
		return nil
	}
	return r.writeTables(ctx)
}

// writeBlocks writes the blocks that are full, or all.
func (r *viewsRun) writeBlocks(ctx context.Context, all bool) error {
	for _, of := range slices.Sorted(maps.Keys(r.blocks.by)) {
		terms := r.blocks.by[of]
		if full := of >= r.blocks.from && uint64(of+1)*lookup.BlockSize <= r.count; !all && !full {
			continue
		}
		if err := r.w.eachFits(ctx, r.at, slices.Collect(maps.Keys(terms)), r.stillMine, func(tx ViewTx, term string) error {
			putBlock(tx, term, of, terms[term])
			return nil
		}); err != nil {
			return err
		}
		for term, b := range terms {
			r.blocks.bytes -= len(term) + len(b) + 100
		}
		delete(r.blocks.by, of)
		r.blocks.from = max(r.blocks.from, of+1)
	}
	return nil
}

func (r *viewsRun) writeTables(ctx context.Context) error {
	err := r.w.eachFits(ctx, r.at, slices.Sorted(maps.Keys(r.tables)), r.stillMine, func(tx ViewTx, table string) error {
		return addTally(tx, table, r.tables[table])
	})
	r.tables, r.keys = tallies{}, 0
	return err
}

// finish writes what is left, and moves the checkpoint to the end.
func (r *viewsRun) finish(ctx context.Context) error {
	if r.at == r.end && r.mark == 0 {
		return nil
	}
	if err := r.writeBlocks(ctx, true); err != nil {
		return err
	}
	if err := r.writeTables(ctx); err != nil {
		return err
	}
	return r.w.Views.Update(ctx, r.end, func(tx ViewTx) error {
		err := r.stillMine(tx)
		if r.mark > 0 {
			tx.Delete(viewsBehind)
		}
		return err
	})
}

// makeGood looks for the mark of a run that was stopped, whose gathered changes
// are lost, and puts its own in the place. It gives the machines that are to be
// put into the lists again.
func (r *viewsRun) makeGood(ctx context.Context) ([]mention, error) {
	raw, ok, err := r.w.Views.Get(ctx, viewsBehind)
	if err != nil || !ok {
		return nil, err
	}
	mark, n := binary.Uvarint(raw)
	from, _ := binary.Uvarint(raw[max(n, 0):])
	r.mark, r.missing, r.blocks.from = mark, uint32(from), uint32(from)
	if err := r.w.Views.Update(ctx, r.at, func(tx ViewTx) error {
		err := r.stillMine(tx)
		r.putMark(tx, mark+1, nil)
		return err
	}); err != nil {
		return nil, err
	}
	r.mark++
	again, err := r.unlisted(ctx)
	if err != nil {
		return nil, err
	}
	return again, r.recount(ctx)
}

// unlisted gives the machines that stand in blocks that were late, and notes of
// each that the lists may lack it.
func (r *viewsRun) unlisted(ctx context.Context) ([]mention, error) {
	var again []mention
	var ids []string
	after := ""
	if first := r.missing * lookup.BlockSize; first > 0 {
		after = idKey(first - 1)
	}
	if err := r.w.Views.Scan(ctx, findID, after, 0, func(_ string, machine []byte) error {
		again = append(again, mention{string(machine), r.at + 1})
		ids = append(ids, string(machine))
		return nil
	}); err != nil {
		return nil, err
	}
	r.again = len(again)
	return again, r.w.eachFits(ctx, r.at, ids, r.stillMine, func(tx ViewTx, machine string) error {
		if _, noted, err := tx.Get(findHalf + machine); err != nil || noted {
			return err
		}
		nothing, err := pack([]string{}) // more than its texts say
		tx.Put(findHalf+machine, nothing)
		return err
	})
}

// recount makes the tables of counts anew from what each machine adds.
func (r *viewsRun) recount(ctx context.Context) error {
	tables := []string{tallyAll}
	if err := r.w.Views.Scan(ctx, tallyModel, "", 0, func(key string, _ []byte) error {
		tables = append(tables, key)
		return nil
	}); err != nil {
		return err
	}
	if err := r.w.eachFits(ctx, r.at, tables, r.stillMine, func(tx ViewTx, table string) error {
		tx.Delete(table)
		return nil
	}); err != nil {
		return err
	}
	return r.w.Views.Scan(ctx, tallyOf, "", 0, func(_ string, value []byte) error {
		var c contribution
		if err := unpack(value, &c); err != nil {
			return err
		}
		changes := tallies{}
		changes.count(c, 1)
		return r.gather(ctx, filled{tables: changes})
	})
}

func (r *viewsRun) putMark(tx ViewTx, mark uint64, more map[uint32]map[string]*openBlock) {
	from := r.blocks.first()
	for of := range more {
		from = min(from, of)
	}
	if r.again > 0 {
		from = min(from, r.missing)
	}
	tx.Put(viewsBehind, binary.AppendUvarint(binary.AppendUvarint(nil, mark), uint64(from)))
}

// stillMine refuses to go on when another run has left its mark.
func (r *viewsRun) stillMine(tx ViewTx) error {
	raw, _, err := tx.Get(viewsBehind)
	if mark, _ := binary.Uvarint(raw); err == nil && mark != r.mark {
		return overtaken()
	}
	return err
}

func overtaken() error {
	return registry.Refuse(registry.CodeConflict, "Read the checkpoint again.", "Somebody else brings the views up to date")
}

// countOf is how many machines have a number.
func countOf(tx ViewTx) (uint64, error) {
	raw, _, err := tx.Get(findCount)
	n, _ := binary.Uvarint(raw)
	return n, err
}
