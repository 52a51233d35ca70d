package store

import (
	"context"
	"encoding/binary"
	"errors"
	"runtime"
	"time"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"

	"example.org/asfound/registry"
)

// Group commit. Badger brings every transaction to stable storage on its own,
// so writers that wait side by side gain nothing from each other. Here one
// goroutine takes whatever is waiting, writes it as one transaction, and then
// answers all of it: one wait for the disk for up to batchLimit commits.

// batchLimit is the largest number of jobs in one transaction.
const batchLimit = 256

// job is one thing to write: a commit, or a change of the views.
type job struct {
	commit *prepared
	view   []entry
	done   chan answer // holds one
}

// prepared is a commit with the work done that needs nothing but its bytes.
// The writers do it side by side, and the committer has less to do.
type prepared struct {
	id, machine string
	expect      uint64
	record      []byte // encoded, but for the position
	leaves      []tlog.Hash
	idKey       []byte
	headKey     []byte
}

func prepare(c registry.Commit) *prepared {
	p := &prepared{id: c.ID, machine: c.Machine, expect: c.Expect,
		record: EncodeCommit(c.ID, c.Events), leaves: make([]tlog.Hash, len(c.Events)),
		idKey: idKey(c.ID), headKey: headKey(c.Machine)}
	for i, e := range c.Events {
		p.leaves[i] = tlog.RecordHash(e)
	}
	return p
}

type answer struct {
	receipt registry.Receipt
	err     error
}

// entry is one key with its sealed value, or the removal of a key.
type entry struct {
	key, value []byte
	remove     bool
}

// cost is what the entry takes of a transaction, in bytes, rounded up.
func (e entry) cost() int64 { return int64(len(e.key)+len(e.value)) + 40 }

// submit hands a job to the committer and waits for the answer. sent says
// whether it may have been written when the error is the context's.
func (s *Store) submit(ctx context.Context, j *job) (a answer, sent bool) {
	if err := s.hand(ctx, j); err != nil {
		return answer{err: err}, false
	}
	return j.wait(ctx)
}

// hand gives a job to the committer, which works in the order of coming.
func (s *Store) hand(ctx context.Context, j *job) error {
	j.done = make(chan answer, 1)
	select {
	case s.jobs <- j:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (j *job) wait(ctx context.Context) (a answer, sent bool) {
	select {
	case a = <-j.done:
		return a, true
	case <-ctx.Done():
	}
	select {
	case a = <-j.done:
		return a, true
	default:
		return answer{err: ctx.Err()}, true
	}
}

// committer is the one goroutine that writes.
func (s *Store) committer() {
	var late <-chan time.Time // when the head file must be synced
	for {
		select {
		case j, open := <-s.jobs:
			if !open {
				return
			}
			for j != nil {
				j = s.write(j)
				if s.head != nil && s.head.dirty && late == nil {
					late = time.After(headSyncEvery)
				}
				select {
				case <-late: // however many are waiting
					late = nil
					s.syncHead()
				default:
				}
			}
		case <-late:
			late = nil
			s.syncHead()
		}
	}
}

func (s *Store) syncHead() {
	if err := s.head.sync(); err != nil {
		s.warn("the head file cannot be brought to the disk: " + err.Error())
	}
}

// next gives a job that is waiting, and nil when there is none. It lets other
// goroutines run before it says so: those that were answered a moment ago are
// about to hand in their next job.
func (s *Store) next() *job {
	for yielded := false; ; yielded = true {
		select {
		case j := <-s.jobs: // nil when the store closes
			return j
		default:
			if yielded {
				return nil
			}
			runtime.Gosched()
		}
	}
}

// write writes a job, and as many more that are waiting as one transaction
// takes, and answers them. It gives back the one that did not fit, or that made
// staging fail. What comes while it stages is staged too, beside the writers that
// prepare more.
func (s *Store) write(first *job) (rest *job) {
	if err := s.refuseBroken(); err != nil {
		first.done <- answer{err: err}
		return nil
	}
	if len(s.heads) > headsKept {
		clear(s.heads)
	}
	g := &group{store: s, totals: s.totals}
	rest = first
	err := guarded("Writing to the ledger", func() error {
		g.noRoom = s.space.check(0)
		g.txn = s.db.NewTransaction(true)
		defer g.txn.Discard()
		g.limit = s.db.MaxBatchSize() - 4096
		g.most = s.db.MaxBatchCount() - 16
		for rest != nil && len(g.staged) < batchLimit && g.stage(rest) {
			rest = s.next()
		}
		if g.commits > 0 {
			if err := g.set(sealed(totalsKey, g.totals.encode())); err != nil {
				return err
			}
		}
		if g.entries == 0 {
			return nil
		}
		return g.txn.Commit()
	})
	if err != nil {
		s.fail(err)
		// Nothing is known about what was staged. What was refused stays refused.
		unknown := registry.Refuse(registry.CodeUnknown, "Restart asfound and repeat the same commit.",
			"Writing to %s did not end well, so the commit is perhaps stored and perhaps not", s.dir)
		for i := range g.staged {
			if g.answers[i].err == nil {
				g.answers[i] = answer{err: unknown}
			}
		}
	} else if g.commits > 0 {
		s.mu.Lock()
		s.totals = g.totals
		close(s.grown)
		s.grown = make(chan struct{})
		s.mu.Unlock()
		s.head.write(g.totals, g.lastID)
	}
	for i, j := range g.staged {
		j.done <- g.answers[i]
	}
	return rest
}

// fail stops all further writing: after a write that failed, nobody knows what
// the disk holds until the ledger has been opened and compared again.
func (s *Store) fail(err error) {
	s.warn("writing stopped: " + err.Error())
	s.mu.Lock()
	defer s.mu.Unlock()
	s.broken = err
}

func (s *Store) refuseBroken() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.broken == nil {
		return nil
	}
	if registry.CodeOf(s.broken) == registry.CodeTampered {
		return s.broken
	}
	return registry.Refuse(registry.CodeBusy, "Look at the disk, restart asfound and repeat the change.",
		"An earlier write to %s failed, so nothing more is written; this change was not stored", s.dir)
}

// group is one transaction in the making.
type group struct {
	store   *Store
	txn     *badger.Txn
	noRoom  error // why new commits are refused
	limit   int64 // bytes that the transaction may take
	most    int64 // entries that it may hold
	size    int64
	entries int64
	commits int
	totals  totals
	lastID  string
	staged  []*job
	answers []answer
}

// stage puts a job into the transaction with its answer. It gives false when
// the transaction is full; the job then opens the next one.
func (g *group) stage(j *job) bool {
	var a answer
	var fits bool
	if j.commit != nil {
		a, fits = g.stageCommit(j.commit)
	} else {
		a, fits = g.stageView(j.view)
	}
	if fits {
		g.staged = append(g.staged, j)
		g.answers = append(g.answers, a)
	}
	return fits
}

func (g *group) stageView(entries []entry) (answer, bool) {
	if g.noRoom != nil {
		return answer{err: g.noRoom}, true
	}
	var size int64
	for _, e := range entries {
		size += e.cost()
	}
	if !g.room(size, int64(len(entries))) {
		if g.entries > 0 {
			return answer{}, false
		}
		return answer{err: registry.Refuse(registry.CodeTooLarge, "Update the views in smaller steps.",
			"One update of the views holds %d bytes in %d entries; it may hold %d bytes in %d entries",
			size, len(entries), g.limit, g.most)}, true
	}
	for _, e := range entries {
		if err := g.set(e); err != nil {
			return answer{err: err}, true
		}
	}
	return answer{}, true
}

func (g *group) stageCommit(c *prepared) (answer, bool) {
	// The transaction shows what it holds itself, so earlier commits of this
	// group are found as well.
	if head, ok, err := getID(g.txn, c.id); err != nil {
		return answer{err: err}, true
	} else if ok {
		return answer{receipt: registry.Receipt{Head: head, Duplicate: true}}, true
	}
	head, err := g.machine(c.machine)
	if err != nil {
		return answer{err: err}, true
	}
	if head.version != c.expect {
		return answer{err: MovedOn(registry.Commit{Machine: c.machine, Expect: c.expect}, head.version)}, true
	}
	if g.noRoom != nil {
		return answer{err: g.noRoom}, true
	}
	position := g.totals.Position + 1
	record := binary.BigEndian.AppendUint64(c.record, uint64(position))
	const heads = 64*32 + 1024 // the largest machine head with the small entries
	if !g.room(int64(len(record))+heads, 8) {
		return answer{}, false
	}
	first := head.version + 1
	for _, leaf := range c.leaves {
		head.addLeaf(leaf)
	}
	head.position = position
	now := registry.Head{Position: position, Version: head.version}
	for i, part := range parts(record) {
		g.must(commitKey(c.machine, first, byte(i)), part)
	}
	g.must(positionKey(position), positionValue(c.machine, first))
	g.must(c.idKey, pair(uint64(now.Position), now.Version))
	g.must(c.headKey, head.encode())
	if first == 1 {
		g.totals.Machines++
	}
	g.totals.Position, g.totals.Events = position, g.totals.Events+uint64(len(c.leaves))
	g.lastID = c.id
	g.commits++
	return answer{receipt: registry.Receipt{Head: now}}, true
}

// sealed makes an entry with its checksum.
func sealed(key, value []byte) entry { return entry{key: key, value: seal(key, value)} }

// room says whether so much more fits. Even an empty transaction is asked.
func (g *group) room(size, entries int64) bool {
	return g.size+size <= g.limit && g.entries+entries <= g.most
}

func (g *group) set(e entry) error {
	g.size += e.cost()
	g.entries++
	if e.remove {
		return g.txn.Delete(e.key)
	}
	return g.txn.Set(e.key, e.value)
}

// must sets an entry of a commit. Half of a commit must not be written, so it
// panics, which write catches.
func (g *group) must(key, value []byte) {
	if err := g.set(sealed(key, value)); err != nil {
		panic(err)
	}
}

// headsKept is how many machines' heads the committer remembers. They hold
// what is stored or staged; when a transaction fails nothing more is written,
// so a head that is ahead of the disk is never used.
const headsKept = 1024

// machine gives the head that the next commit of the machine builds on.
func (g *group) machine(name string) (*machineHead, error) {
	if head, ok := g.store.heads[name]; ok {
		return head, nil
	}
	head, err := getHead(g.txn, name)
	if err != nil {
		return nil, err
	}
	g.store.heads[name] = &head
	return &head, nil
}

var errNoEntry = errors.New("no such entry")
