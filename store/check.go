package store

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"

	"example.org/asfound/registry"
)

// Finding is one thing that is wrong.
type Finding struct {
	Where string `json:"where"` // a machine, a position, a commit ID or a file
	What  string `json:"what"`  // one sentence
}

func (f Finding) String() string { return f.Where + ": " + f.What }

// maxFindings ends a check early: after so many the answer is known.
const maxFindings = 1000

// Check looks for damage. Without full it compares the totals with the end of
// the ledger and the head file. With full it reads every stored byte: it
// recomputes each machine's Merkle root and compares it with the head, checks
// that versions and positions are unbroken, that each commit is found by its
// position and by its ID and no others are, and lets Badger verify the
// checksums of its tables. The error is for a check that could not be done.
func (s *Store) Check(ctx context.Context, full bool) ([]Finding, error) {
	c := &checker{ctx: ctx, store: s}
	err := s.view(ctx, "checking the ledger", func(txn *badger.Txn) error {
		// A write may fall between the two, so the head file is read first.
		head, _, ok, err := readHead(headPath(s.dir))
		if err != nil {
			c.report(headName, err)
		} else if !ok {
			c.find(headName, "the file is missing")
		}
		fresh := s.db.NewTransaction(false)
		defer fresh.Discard()
		c.txn = fresh
		c.ends(head, ok)
		if full && c.err == nil {
			c.all()
		}
		return c.err
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return c.findings, err
}

var errEnough = errors.New("enough findings")

type checker struct {
	ctx      context.Context
	store    *Store
	txn      *badger.Txn
	totals   totals
	findings []Finding
	err      error // why the check stops
}

func (c *checker) find(where, format string, args ...any) {
	c.findings = append(c.findings, Finding{where, fmt.Sprintf(format, args...)})
	if len(c.findings) >= maxFindings {
		c.err = errEnough
	}
}

// report turns damage into a finding and any other error into the end of the
// check. It says whether there was an error.
func (c *checker) report(where string, err error) bool {
	var known *registry.Error
	switch {
	case err == nil:
		return false
	case errors.As(err, &known) && known.Code == registry.CodeTampered:
		c.find(where, "%s", known.Message)
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded), errors.Is(err, errClosed):
		c.err = err
	default:
		c.find(where, "%s", firstLine(err))
	}
	return true
}

// ends compares the totals, the last position and the head file.
func (c *checker) ends(head headLine, ok bool) {
	var err error
	if c.totals, err = getTotals(c.txn); c.report("totals", err) {
		return
	}
	last, err := lastPosition(c.txn)
	if !c.report("positions", err) && last != c.totals.Position {
		c.find("positions", "the last commit stands at position %d, but the ledger counts %d", last, c.totals.Position)
	}
	if !ok {
		return
	}
	if c.totals.Position < head.Position || c.totals.Events < head.Events || c.totals.Machines < head.Machines {
		c.find(headName, "the ledger had reached position %d with %d machines and %d events; it holds position %d, %d and %d",
			head.Position, head.Machines, head.Events, c.totals.Position, c.totals.Machines, c.totals.Events)
	} else if head.Position > 0 {
		r, err := recordAt(c.txn, head.Position)
		if !c.report(headName, err) && hex.EncodeToString([]byte(r.ID)) != head.Commit {
			c.find(headName, "the commit at position %d is not the one that was written there", head.Position)
		}
	}
}

// all reads everything.
func (c *checker) all() {
	c.report("tables", guarded("Verifying the tables", c.store.db.VerifyChecksum))
	var commits, events, machines uint64
	heads := map[string]bool{}
	c.report("heads", c.eachKey(prefixHead, func(key []byte) {
		name := string(key[1:])
		heads[name] = true
		head, err := getHead(c.txn, name)
		if err == nil && head.version == 0 {
			err = damaged("the head cannot belong to a machine")
		}
		if c.report(name, err) {
			return
		}
		machines++
		n := c.machine(name, head)
		commits += n
		events += head.version
	}))
	// Entries of a kind that belong to nothing, or are missing, show as counts.
	counted := uint64(0)
	c.report("commits", c.eachKey(prefixCommit, func(key []byte) {
		machine, _, part, ok := splitCommitKey(key)
		if !ok || !heads[machine] {
			c.find(describe(key), "the entry belongs to no machine")
		}
		if part == 0 {
			counted++
		}
	}))
	c.equal("machines", "heads", machines, c.totals.Machines)
	c.equal("events", "events", events, c.totals.Events)
	c.equal("commits", "commits under their machines", commits, uint64(c.totals.Position))
	c.equal("commits", "commit entries", counted, uint64(c.totals.Position))
	for _, f := range []struct {
		prefix byte
		name   string
	}{{prefixPosition, "positions"}, {prefixID, "commit IDs"}} {
		n := uint64(0)
		c.report(f.name, c.eachKey(f.prefix, func([]byte) { n++ }))
		c.equal(f.name, f.name, n, uint64(c.totals.Position))
	}
}

func (c *checker) equal(where, what string, got, want uint64) {
	if c.err == nil && got != want {
		c.find(where, "there are %d %s, but the totals count %d", got, what, want)
	}
}

// machine reads one machine's history and gives the number of its commits.
func (c *checker) machine(name string, head machineHead) (commits uint64) {
	w, err := startWalk(c.txn, name, 1)
	if c.report(name, err) {
		return 0
	}
	defer w.close()
	var tree machineHead
	for c.err == nil {
		if c.report(name, c.store.goOn(c.ctx)) {
			return commits
		}
		r, err := w.next()
		if errors.Is(err, errNoEntry) {
			break
		}
		if c.report(name, err) {
			return commits
		}
		commits++
		if r.First != tree.version+1 {
			c.find(name, "version %d follows version %d", r.First, tree.version)
		}
		if r.Position <= tree.position {
			c.find(name, "position %d follows position %d", r.Position, tree.position)
		}
		for _, e := range r.Events {
			tree.add(e)
		}
		tree.position = r.Position
		c.indexed(r)
	}
	if c.err != nil {
		return commits
	}
	if tree.version != head.version || tree.position != head.position {
		c.find(name, "the history ends at version %d, position %d, but the head says version %d, position %d",
			tree.version, tree.position, head.version, head.position)
	} else if tree.root() != head.root() {
		c.find(name, "the Merkle root of the stored events is not the one that was kept when they were written")
	}
	return commits
}

// indexed checks that a commit is found by its position and by its ID.
func (c *checker) indexed(r registry.Record) {
	where := fmt.Sprintf("position %d", r.Position)
	v, err := get(c.txn, positionKey(r.Position))
	if errors.Is(err, errNoEntry) {
		c.find(where, "the commit of %s from version %d is not found by its position", r.Machine, r.First)
	} else if !c.report(where, err) {
		if machine, first, ok := splitPositionValue(v); !ok || machine != r.Machine || first != r.First {
			c.find(where, "the position leads to %s version %d, not to %s version %d", machine, first, r.Machine, r.First)
		}
	}
	where = fmt.Sprintf("commit ID %q", r.ID)
	head, ok, err := getID(c.txn, r.ID)
	if !c.report(where, err) {
		want := registry.Head{Position: r.Position, Version: r.First + uint64(len(r.Events)) - 1}
		if !ok {
			c.find(where, "the commit of %s from version %d is not found by its ID", r.Machine, r.First)
		} else if head != want {
			c.find(where, "the ID leads to position %d, version %d, not to %d, %d", head.Position, head.Version, want.Position, want.Version)
		}
	}
}

// eachKey calls fn with a copy of each key of a family, until the check stops.
func (c *checker) eachKey(prefix byte, fn func(key []byte)) error {
	return eachKey(c.ctx, c.txn, []byte{prefix}, func(key []byte) error {
		fn(key)
		if c.err != nil {
			return errEnough
		}
		return c.store.goOn(c.ctx)
	})
}

func eachKey(ctx context.Context, txn *badger.Txn, prefix []byte, fn func(key []byte) error) error {
	return guarded("Listing entries", func() error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: prefix})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := fn(it.Item().KeyCopy(nil)); err != nil {
				return err
			}
		}
		return nil
	})
}

// countAll compares the number of commits, in both orders, with the totals.
func countAll(ctx context.Context, txn *badger.Txn, t totals) error {
	for _, prefix := range []byte{prefixPosition, prefixCommit, prefixID} {
		var n registry.Position
		err := eachKey(ctx, txn, []byte{prefix}, func(key []byte) error {
			if _, _, part, ok := splitCommitKey(key); !ok || part == 0 {
				n++
			}
			return nil
		})
		if err != nil {
			return err
		}
		if n != t.Position {
			return damaged("The ledger holds %d of the %d commits that it counts", n, t.Position)
		}
	}
	return nil
}
