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
		w.findings(x)
	}
	return x
}

// findings adds what can be found of it.
func (w *Workshop) findings(x *derived) {
	x.public, x.secret = w.gather(x.dossier, x.summary)
	x.terms = termsOf(x.public, x.secret)
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
func (w *Workshop) put(ctx context.Context, tx ViewTx, x *derived) error {
	x, err := w.asItStands(ctx, x)
	if err != nil || x.terms == nil {
		return err
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
	// aheadMachines is how many machines are worked out before they are written.
	aheadMachines = 64
	// fewMachines is up to how many machines are looked up among the histories
	// at hand. Of more, each is read once and none is kept.
	fewMachines = 16
)

// queue gives machines in order, worked out ahead.
type queue struct {
	left  []mention  // not yet written
	taken []*derived // of the first of them
	ready chan chan workedOut
	stop  func() // lets go of what is worked out and not taken
}

type workedOut struct {
	*derived
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
	q := &queue{left: order, ready: make(chan chan workedOut, aheadMachines)}
	side := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	q.stop = func() { cancel(); wait.Wait() }
	wait.Go(func() {
		defer close(q.ready)
		for _, m := range order {
			one := make(chan workedOut, 1)
			select {
			case q.ready <- one:
			case <-ctx.Done():
				return
			}
			side <- struct{}{}
			wait.Go(func() {
				var out workedOut
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
// The tables of counts are the exception. They are long, and every machine
// changes the same ones: when one update does not hold all machines, the changes
// are gathered and written at the end. A mark stands in the views meanwhile;
// whoever finds it after a stop counts anew from what each machine adds.
type viewsRun struct {
	w       *Workshop
	at, end registry.Position // of the checkpoint, and at the end
	blocks  heldBlocks
	changes tallies
	size    int    // keys in them
	mark    uint64 // 0 while the tables are not behind
}

// tallyBehind marks that tables of counts are behind, with the run's number
// among those that have begun since they were not.
const tallyBehind = "tally/behind"

// heldCounts is how many keys of tables are gathered before they are written.
const heldCounts = 200_000

// deriveAll writes the views of machines that the ledger names between two
// positions, and moves the checkpoint to the second. progress is told how many
// are done; it may be nil.
func (w *Workshop) deriveAll(ctx context.Context, order []mention, from, end registry.Position, progress func(done int)) error {
	r := &viewsRun{w: w, at: from, end: end, changes: tallies{}}
	if err := r.recount(ctx); err != nil {
		return err
	}
	q := w.queueUp(ctx, order)
	defer q.stop()
	for len(q.left) > 0 {
		if err := r.step(ctx, q); err != nil {
			return err
		}
		if progress != nil {
			progress(len(order) - len(q.left))
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
		var done int
		var count, mark uint64
		var counted *countedTx
		var changes tallies
		err := r.w.Views.Update(ctx, at, func(tx ViewTx) error {
			var err error
			if mark, err = r.found(tx); err != nil {
				return err
			}
			if count, err = countOf(tx); err != nil {
				return err
			}
			r.blocks.begin(count)
			done, counted, changes = 0, newCountedTx(tx), nil
			counted.blocks.held = &r.blocks
			for done < most && !counted.full() {
				x, err := q.at(ctx, done)
				if err != nil {
					return err
				}
				if err := r.w.put(ctx, counted, x); err != nil {
					return err
				}
				done++
			}
			if more := done < len(q.left); len(counted.tallies) > 0 && (more || mark > 0) {
				changes, counted.tallies = counted.tallies, nil
				if mark == 0 {
					mark = 1
					putMark(counted, mark)
				}
			}
			if err := counted.settle(); err != nil {
				return err
			}
			count, err = countOf(tx)
			return err
		})
		switch {
		case registry.CodeOf(err) != registry.CodeTooLarge:
			if err != nil {
				return err
			}
			q.written(done)
			r.at, r.mark = at, mark
			r.blocks.stored(counted.blocks, count)
			return r.gather(ctx, changes)
		case done > 1:
			most = done / 2
			continue
		}
		// One machine alone is too much.
		x, err := q.at(ctx, 0)
		if err != nil {
			return err
		}
		if err := r.w.putInParts(ctx, x, before); err != nil {
			return err
		}
		q.written(1)
		r.at, r.blocks = before, heldBlocks{}
		return nil
	}
}

// gather takes changes to tables in, to be written later.
func (r *viewsRun) gather(ctx context.Context, changes tallies) error {
	if r.size += r.changes.add(changes); r.size <= heldCounts {
		return nil
	}
	return r.writeTables(ctx)
}

func (r *viewsRun) writeTables(ctx context.Context) error {
	err := r.w.eachFits(ctx, r.at, slices.Sorted(maps.Keys(r.changes)), func(tx ViewTx, table string) error {
		if _, err := r.found(tx); err != nil {
			return err
		}
		return addTally(tx, table, r.changes[table])
	})
	r.changes, r.size = tallies{}, 0
	return err
}

// finish writes the tables that are behind, and moves the checkpoint to the end.
func (r *viewsRun) finish(ctx context.Context) error {
	if err := r.writeTables(ctx); err != nil || r.at == r.end && r.mark == 0 {
		return err
	}
	return r.w.Views.Update(ctx, r.end, func(tx ViewTx) error {
		_, err := r.found(tx)
		if r.mark > 0 {
			tx.Delete(tallyBehind)
		}
		return err
	})
}

// recount makes tables that were left behind anew, from what each machine adds.
// They are behind until the end of the run.
func (r *viewsRun) recount(ctx context.Context) error {
	raw, ok, err := r.w.Views.Get(ctx, tallyBehind)
	if err != nil || !ok {
		return err
	}
	left, _ := binary.Uvarint(raw)
	tables := []string{tallyAll}
	if err := r.w.Views.Scan(ctx, tallyModel, "", 0, func(key string, _ []byte) error {
		tables = append(tables, key)
		return nil
	}); err != nil {
		return err
	}
	r.mark = left + 1
	if err := r.w.eachFits(ctx, r.at, tables, func(tx ViewTx, table string) error {
		putMark(tx, r.mark)
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
		return r.gather(ctx, changes)
	})
}

func putMark(tx ViewTx, mark uint64) { tx.Put(tallyBehind, binary.AppendUvarint(nil, mark)) }

// found reads the mark of tables that are behind, and refuses that of another
// run.
func (r *viewsRun) found(tx ViewTx) (uint64, error) {
	raw, _, err := tx.Get(tallyBehind)
	mark, _ := binary.Uvarint(raw)
	if err == nil && mark != r.mark {
		err = registry.Refuse(registry.CodeConflict, "Read the checkpoint again.", "Somebody else brings the tables of counts up to date")
	}
	return mark, err
}

// countOf is how many machines have a number.
func countOf(tx ViewTx) (uint64, error) {
	raw, _, err := tx.Get(findCount)
	n, _ := binary.Uvarint(raw)
	return n, err
}
