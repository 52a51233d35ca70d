// Package ledgertest holds every promise of registry.Ledger as a test, so that
// any engine that is to carry a ledger is measured with the same rule: Run.
//
// It also holds real implementations in memory, which pass that test and serve
// the tests of everything above the store: NewMemory, NewMemoryBlobs and
// NewMemoryViews. They are correct and keep nothing after the process ends.
//
// The package imports testing, so only tests import it.
package ledgertest

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"testing"
	"time"

	"example.org/asfound/registry"
)

// caseDeadline is the longest that one case may take. A ledger that never
// answers fails its case; it does not hang the test run.
const caseDeadline = 30 * time.Second

// Run tests a ledger. open gives a new and empty one for each case and arranges
// its clean-up with t.Cleanup. reopen closes the ledger that it is given and
// opens the same data again; it may be nil for an engine that keeps nothing.
func Run(t *testing.T, open func(t *testing.T) registry.Ledger,
	reopen func(t *testing.T, l registry.Ledger) registry.Ledger) {
	t.Helper()
	for _, c := range cases() {
		t.Run(c.name, func(t *testing.T) {
			b := &bench{ledger: open(t)}
			if reopen != nil {
				b.reopen = func(l registry.Ledger) registry.Ledger { return reopen(t, l) }
			}
			err := c.try(b, caseDeadline)
			if errors.Is(err, errSkip) {
				t.Skip("this ledger cannot be reopened")
			}
			if err != nil {
				t.Fatal(err)
			}
		})
	}
}

// bench is what one case works on.
type bench struct {
	ledger registry.Ledger
	reopen func(registry.Ledger) registry.Ledger // nil when there is no reopening
	count  int
}

// commit makes a commit with an ID that no other commit of this bench has.
func (b *bench) commit(machine string, expect uint64, events ...string) registry.Commit {
	b.count++
	c := registry.Commit{ID: fmt.Sprintf("commit-%d", b.count), Machine: machine, Expect: expect}
	for _, e := range events {
		c.Events = append(c.Events, []byte(e))
	}
	return c
}

// add appends and fails on any error or duplicate.
func (b *bench) add(ctx context.Context, machine string, expect uint64, events ...string) (registry.Head, error) {
	c := b.commit(machine, expect, events...)
	r, err := b.ledger.Append(ctx, c)
	if err != nil {
		return registry.Head{}, fmt.Errorf("append of %s at version %d: %w", machine, expect, err)
	}
	if r.Duplicate {
		return registry.Head{}, fmt.Errorf("the new commit %s was answered as a duplicate", c.ID)
	}
	if want := expect + uint64(len(events)); r.Head.Version != want {
		return registry.Head{}, fmt.Errorf("the receipt says version %d, want %d", r.Head.Version, want)
	}
	return r.Head, nil
}

// testCase is one promise. It answers with an error instead of failing a
// testing.T, so that the suite itself can be tested on broken ledgers.
type testCase struct {
	name string
	run  func(ctx context.Context, b *bench) error
}

var errSkip = errors.New("not for this ledger")

// try runs the case with a deadline. A case that does not come back is left
// behind in its goroutine.
func (c testCase) try(b *bench, limit time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	done := make(chan error, 1)
	go func() {
		defer func() {
			if p := recover(); p != nil {
				done <- fmt.Errorf("panic: %v\n%s", p, debug.Stack())
			}
		}()
		done <- c.run(ctx, b)
	}()
	select {
	case err := <-done:
		return err
	case <-time.After(limit + 2*time.Second):
		return fmt.Errorf("the case did not end within %s", limit)
	}
}

// cases lists every case in reading order.
func cases() []testCase {
	return []testCase{
		{"empty then head", emptyThenHead},
		{"stale and future expectations are refused", staleAndFuture},
		{"a commit of several events is stored whole", storedWhole},
		{"malformed commits are refused", malformed},
		{"one winner in a race", oneWinner},
		{"no lost update", noLostUpdate},
		{"a reader never sees part of a commit", neverPart},
		{"same ID immediately", sameIDImmediately},
		{"same ID after the history moved on", sameIDLater},
		{"same ID from six goroutines", sameIDTogether},
		{"cancel and retry stores once", cancelAndRetry},
		{"read your write", readYourWrite},
		{"total order", totalOrder},
		{"read after a version inside a commit", insideCommit},
		{"reads stop with the reader's error", readerError},
		{"every byte value", everyByte},
		{"buffers are not shared", buffersApart},
		{"hostile machine names", hostileMachines},
		{"hostile commit IDs", hostileIDs},
		{"size limit", sizeLimit},
		{"follow catches up and goes live", followLive},
		{"followers see one order", followersAgree},
		{"follow stops with its context", followContext},
		{"follow stops with the reader's error", followError},
		{"a cancelled context is honoured", cancelled},
		{"survives reopening", survivesReopening},
		{"a closed ledger fails cleanly", closedFails},
	}
}

// collect reads one machine's commits after a version.
func collect(ctx context.Context, l registry.Ledger, machine string, after uint64) ([]registry.Record, error) {
	var out []registry.Record
	err := l.Read(ctx, machine, after, func(r registry.Record) error {
		out = append(out, r)
		return nil
	})
	return out, err
}

// collectAll reads the whole ledger after a position.
func collectAll(ctx context.Context, l registry.Ledger, after registry.Position) ([]registry.Record, error) {
	var out []registry.Record
	err := l.ReadAll(ctx, after, func(r registry.Record) error {
		out = append(out, r)
		return nil
	})
	return out, err
}

// dense checks that the records are one machine's unbroken history from
// version 1 up to the given version, in rising position.
func dense(records []registry.Record, machine string, upTo uint64) error {
	next, last := uint64(1), registry.Position(0)
	for _, r := range records {
		switch {
		case r.Machine != machine:
			return fmt.Errorf("a record of %q came when %q was read", r.Machine, machine)
		case r.First != next:
			return fmt.Errorf("a record begins at version %d, want %d", r.First, next)
		case r.Position <= last:
			return fmt.Errorf("position %d follows %d", r.Position, last)
		case len(r.Events) == 0:
			return fmt.Errorf("the record at version %d has no events", r.First)
		}
		next += uint64(len(r.Events))
		last = r.Position
	}
	if next-1 != upTo {
		return fmt.Errorf("the history ends at version %d, want %d", next-1, upTo)
	}
	return nil
}

// wantCode checks an error's code.
func wantCode(err error, code registry.Code, what string) error {
	if got := registry.CodeOf(err); got != code {
		return fmt.Errorf("%s: got code %q (%v), want %q", what, got, err, code)
	}
	return nil
}

// nothingStored checks that the whole ledger still holds n commits.
func nothingStored(ctx context.Context, l registry.Ledger, n int, what string) error {
	all, err := collectAll(ctx, l, 0)
	if err != nil {
		return err
	}
	if len(all) != n {
		return fmt.Errorf("%s: the ledger holds %d commits, want %d", what, len(all), n)
	}
	return nil
}
