package ledgertest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"example.org/asfound/registry"
)

func emptyThenHead(ctx context.Context, b *bench) error {
	l := b.ledger
	if h, err := l.Head(ctx, "drover"); err != nil || h != (registry.Head{}) {
		return fmt.Errorf("head of nothing: %+v, %v", h, err)
	}
	if end, err := l.End(ctx); err != nil || end != 0 {
		return fmt.Errorf("end of an empty ledger: %d, %v", end, err)
	}
	if records, err := collect(ctx, l, "drover", 0); err != nil || len(records) != 0 {
		return fmt.Errorf("reading nothing gave %d records, %v", len(records), err)
	}
	if err := nothingStored(ctx, l, 0, "a new ledger"); err != nil {
		return err
	}
	for version := uint64(0); version < 3; version++ {
		want, err := b.add(ctx, "drover", version, "event")
		if err != nil {
			return err
		}
		if want.Position == 0 {
			return errors.New("a stored commit has position 0, which means: before everything")
		}
		if h, err := l.Head(ctx, "drover"); err != nil || h != want {
			return fmt.Errorf("head %+v, %v; the receipt said %+v", h, err, want)
		}
		if end, err := l.End(ctx); err != nil || end != want.Position {
			return fmt.Errorf("end %d, %v; the receipt said %d", end, err, want.Position)
		}
	}
	if h, err := l.Head(ctx, "thirlbeck"); err != nil || h != (registry.Head{}) {
		return fmt.Errorf("head of another machine: %+v, %v", h, err)
	}
	return nil
}

func staleAndFuture(ctx context.Context, b *bench) error {
	before, err := b.add(ctx, "drover", 0, "1", "2", "3")
	if err != nil {
		return err
	}
	var refused registry.Commit
	for _, expect := range []uint64{0, 1, 2, 4, 99, 1 << 63} {
		refused = b.commit("drover", expect, "x")
		_, err := b.ledger.Append(ctx, refused)
		if err := wantCode(err, registry.CodeConflict, fmt.Sprintf("expecting version %d of 3", expect)); err != nil {
			return err
		}
	}
	_, err = b.ledger.Append(ctx, b.commit("thirlbeck", 1, "x"))
	if err := wantCode(err, registry.CodeConflict, "expecting version 1 of a new machine"); err != nil {
		return err
	}
	if h, err := b.ledger.Head(ctx, "drover"); err != nil || h != before {
		return fmt.Errorf("refused commits moved the head from %+v to %+v, %v", before, h, err)
	}
	if err := nothingStored(ctx, b.ledger, 1, "after refused commits"); err != nil {
		return err
	}
	// A refusal stores nothing, so it does not use the ID up either.
	refused.Expect = 3
	r, err := b.ledger.Append(ctx, refused)
	if err != nil || r.Duplicate || r.Head.Version != 4 {
		return fmt.Errorf("the refused commit with the right expectation: %+v, %v", r, err)
	}
	return nil
}

func storedWhole(ctx context.Context, b *bench) error {
	if _, err := b.add(ctx, "drover", 0, "one"); err != nil {
		return err
	}
	if _, err := b.add(ctx, "drover", 1, "two", "three", "four", "five", "six"); err != nil {
		return err
	}
	records, err := collect(ctx, b.ledger, "drover", 0)
	if err != nil {
		return err
	}
	if err := dense(records, "drover", 6); err != nil {
		return err
	}
	if len(records) != 2 {
		return fmt.Errorf("two commits came back as %d records", len(records))
	}
	r := records[1]
	if r.ID != "commit-2" || r.First != 2 || string(r.Events[4]) != "six" {
		return fmt.Errorf("the commit came back as %+v", r)
	}
	// One bad event among good ones: nothing of it may stay.
	_, err = b.ledger.Append(ctx, b.commit("drover", 6, "seven", "", "eight"))
	if err := wantCode(err, registry.CodeInvalid, "a commit with one empty event"); err != nil {
		return err
	}
	return nothingStored(ctx, b.ledger, 2, "after a half good commit")
}

func malformed(ctx context.Context, b *bench) error {
	good := registry.Commit{ID: "id", Machine: "drover", Events: [][]byte{[]byte("x")}}
	for what, spoil := range map[string]func(*registry.Commit){
		"no ID":            func(c *registry.Commit) { c.ID = "" },
		"an ID of 65":      func(c *registry.Commit) { c.ID = strings.Repeat("i", 65) },
		"no machine":       func(c *registry.Commit) { c.Machine = "" },
		"a machine of 65":  func(c *registry.Commit) { c.Machine = strings.Repeat("m", 65) },
		"no events":        func(c *registry.Commit) { c.Events = nil },
		"zero events":      func(c *registry.Commit) { c.Events = [][]byte{} },
		"only empty event": func(c *registry.Commit) { c.Events = [][]byte{{}} },
		"a nil event":      func(c *registry.Commit) { c.Events = [][]byte{[]byte("x"), nil} },
	} {
		c := good
		spoil(&c)
		_, err := b.ledger.Append(ctx, c)
		if err := wantCode(err, registry.CodeInvalid, what); err != nil {
			return err
		}
	}
	if err := nothingStored(ctx, b.ledger, 0, "after malformed commits"); err != nil {
		return err
	}
	if end, err := b.ledger.End(ctx); err != nil || end != 0 {
		return fmt.Errorf("malformed commits moved the end to %d, %v", end, err)
	}
	return nil
}

func oneWinner(ctx context.Context, b *bench) error {
	const writers, rounds = 8, 20
	for round := uint64(0); round < rounds; round++ {
		errs := make([]error, writers)
		commits := make([]registry.Commit, writers)
		for w := range commits {
			commits[w] = b.commit("drover", round, fmt.Sprintf("round %d writer %d", round, w))
		}
		var wait sync.WaitGroup
		start := make(chan struct{})
		for w := range commits {
			wait.Go(func() {
				<-start
				_, errs[w] = b.ledger.Append(ctx, commits[w])
			})
		}
		close(start)
		wait.Wait()
		winners := 0
		for _, err := range errs {
			if err == nil {
				winners++
			} else if err := wantCode(err, registry.CodeConflict, "a loser of the race"); err != nil {
				return err
			}
		}
		if winners != 1 {
			return fmt.Errorf("round %d has %d winners", round, winners)
		}
	}
	records, err := collect(ctx, b.ledger, "drover", 0)
	if err != nil {
		return err
	}
	return dense(records, "drover", rounds)
}

func noLostUpdate(ctx context.Context, b *bench) error {
	const writers, each = 4, 10
	errs := make(chan error, writers)
	for w := range writers {
		go func() {
			for n := range each {
				for try := 0; ; try++ {
					records, err := collect(ctx, b.ledger, "drover", 0)
					if err != nil {
						errs <- err
						return
					}
					var seen uint64
					for _, r := range records {
						seen += uint64(len(r.Events))
					}
					_, err = b.ledger.Append(ctx, registry.Commit{
						ID: fmt.Sprintf("w%d-n%d-t%d", w, n, try), Machine: "drover", Expect: seen,
						Events: [][]byte{fmt.Appendf(nil, "%d", seen+1)}})
					if err == nil {
						break
					}
					if registry.CodeOf(err) != registry.CodeConflict {
						errs <- err
						return
					}
				}
			}
			errs <- nil
		}()
	}
	for range writers {
		if err := <-errs; err != nil {
			return err
		}
	}
	records, err := collect(ctx, b.ledger, "drover", 0)
	if err != nil {
		return err
	}
	for i, r := range records {
		if want := fmt.Sprint(i + 1); string(r.Events[0]) != want {
			return fmt.Errorf("event %d says that it is number %s: an update was lost", i+1, r.Events[0])
		}
	}
	return dense(records, "drover", writers*each)
}

func sameIDImmediately(ctx context.Context, b *bench) error {
	c := b.commit("drover", 0, "a", "b")
	first, err := b.ledger.Append(ctx, c)
	if err != nil {
		return err
	}
	return again(ctx, b, c, first.Head, 1)
}

// again repeats a stored commit in several ways; each must answer with the
// first head and store nothing.
func again(ctx context.Context, b *bench, c registry.Commit, first registry.Head, commits int) error {
	other := c
	other.Expect = c.Expect + 1
	elsewhere := c
	elsewhere.Machine, elsewhere.Expect = "elsewhere", 0
	for what, c := range map[string]registry.Commit{
		"the same commit": c, "the same ID with another expectation": other,
		"the same ID on another machine": elsewhere,
	} {
		r, err := b.ledger.Append(ctx, c)
		if err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		if !r.Duplicate || r.Head != first {
			return fmt.Errorf("%s was answered with %+v, want a duplicate with head %+v", what, r, first)
		}
	}
	return nothingStored(ctx, b.ledger, commits, "after repeats")
}

func sameIDLater(ctx context.Context, b *bench) error {
	c := b.commit("drover", 0, "a", "b")
	first, err := b.ledger.Append(ctx, c)
	if err != nil {
		return err
	}
	for v := uint64(2); v < 40; v++ {
		if _, err := b.add(ctx, "drover", v, "later"); err != nil {
			return err
		}
	}
	return again(ctx, b, c, first.Head, 39)
}

func sameIDTogether(ctx context.Context, b *bench) error {
	for round := uint64(0); round < 10; round++ {
		c := b.commit("drover", round, "once")
		var wait sync.WaitGroup
		receipts, errs := make([]registry.Receipt, 6), make([]error, 6)
		start := make(chan struct{})
		for i := range receipts {
			wait.Go(func() {
				<-start
				receipts[i], errs[i] = b.ledger.Append(ctx, c)
			})
		}
		close(start)
		wait.Wait()
		fresh := 0
		for i, r := range receipts {
			if errs[i] != nil {
				return fmt.Errorf("the same commit from six goroutines: %w", errs[i])
			}
			if !r.Duplicate {
				fresh++
			}
			if r.Head != receipts[0].Head || r.Head.Version != round+1 {
				return fmt.Errorf("the heads differ: %+v and %+v", r.Head, receipts[0].Head)
			}
		}
		if fresh != 1 {
			return fmt.Errorf("%d of six goroutines were told that they stored the commit", fresh)
		}
	}
	return nothingStored(ctx, b.ledger, 10, "after ten rounds")
}

func cancelAndRetry(ctx context.Context, b *bench) error {
	random := rand.New(rand.NewPCG(1957, 350))
	for n := uint64(0); n < 40; n++ {
		c := b.commit("drover", n, "exactly once")
		short, cancel := context.WithTimeout(ctx, time.Duration(random.IntN(1500))*time.Microsecond)
		_, _ = b.ledger.Append(short, c)
		cancel()
		r, err := b.ledger.Append(ctx, c)
		if err != nil {
			return fmt.Errorf("the retry of commit %d: %w", n, err)
		}
		if r.Head.Version != n+1 {
			return fmt.Errorf("the retry of commit %d was answered with version %d", n, r.Head.Version)
		}
	}
	records, err := collect(ctx, b.ledger, "drover", 0)
	if err != nil {
		return err
	}
	return dense(records, "drover", 40)
}

func sizeLimit(ctx context.Context, b *bench) error {
	full := make([]byte, registry.MaxCommitBytes)
	for i := range full {
		full[i] = byte(i * 7)
	}
	var many [][]byte
	for at := 0; at < len(full); at += 900 {
		many = append(many, full[at:min(at+900, len(full))])
	}
	for i, events := range [][][]byte{{full}, many} {
		c := b.commit("drover", 0)
		c.Machine, c.Events = fmt.Sprintf("full-%d", i), events
		if _, err := b.ledger.Append(ctx, c); err != nil {
			return fmt.Errorf("a commit of exactly %d bytes in %d events: %w", len(full), len(events), err)
		}
		records, err := collect(ctx, b.ledger, c.Machine, 0)
		if err != nil {
			return err
		}
		if err := dense(records, c.Machine, uint64(len(events))); err != nil {
			return err
		}
		at := 0
		for _, e := range records[0].Events {
			if string(e) != string(full[at:at+len(e)]) {
				return errors.New("the largest commit came back changed")
			}
			at += len(e)
		}
	}
	for what, events := range map[string][][]byte{
		"one byte over in one event":  {append(full[:len(full):len(full)], 'x')},
		"one byte over in two events": {full, {'x'}},
	} {
		c := b.commit("over", 0)
		c.Events = events
		_, err := b.ledger.Append(ctx, c)
		if err := wantCode(err, registry.CodeTooLarge, what); err != nil {
			return err
		}
	}
	return nothingStored(ctx, b.ledger, 2, "after commits over the limit")
}
