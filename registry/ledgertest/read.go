package ledgertest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"example.org/asfound/registry"
)

func neverPart(ctx context.Context, b *bench) error {
	const size, commits = 7, 25
	events := make([]string, size)
	for i := range events {
		events[i] = fmt.Sprint("event ", i)
	}
	stop := make(chan struct{})
	errs := make(chan error, 3)
	whole := func(r registry.Record) error {
		if len(r.Events) != size || r.First%size != 1 {
			return fmt.Errorf("a reader saw %d of %d events from version %d", len(r.Events), size, r.First)
		}
		return nil
	}
	readers := []func() error{
		func() error { return b.ledger.ReadAll(ctx, 0, whole) },
		func() error {
			before, err := b.ledger.Head(ctx, "drover")
			if err != nil {
				return err
			}
			if before.Version%size != 0 {
				return fmt.Errorf("a head shows version %d, inside a commit of %d", before.Version, size)
			}
			var seen uint64
			err = b.ledger.Read(ctx, "drover", 0, func(r registry.Record) error {
				seen += uint64(len(r.Events))
				return whole(r)
			})
			if err == nil && seen < before.Version {
				err = fmt.Errorf("a read gave %d events after the head had shown %d", seen, before.Version)
			}
			return err
		},
		func() error {
			end, err := b.ledger.End(ctx)
			if err != nil {
				return err
			}
			var last registry.Position
			err = b.ledger.ReadAll(ctx, 0, func(r registry.Record) error {
				last = r.Position
				return nil
			})
			if err == nil && last < end {
				err = fmt.Errorf("the end was %d, and then only %d could be read", end, last)
			}
			return err
		},
	}
	for _, read := range readers {
		go func() {
			for {
				if err := read(); err != nil {
					errs <- err
					return
				}
				select {
				case <-stop:
					errs <- nil
					return
				default:
				}
			}
		}()
	}
	var failed error
	for n := uint64(0); n < commits && failed == nil; n++ {
		for _, machine := range []string{"drover", "thirlbeck"} {
			if _, err := b.add(ctx, machine, n*size, events...); err != nil {
				failed = err
			}
		}
	}
	close(stop)
	for range readers {
		failed = errors.Join(failed, <-errs)
	}
	return failed
}

func readYourWrite(ctx context.Context, b *bench) error {
	const writers, each = 6, 15
	errs := make(chan error, writers)
	for w := range writers {
		go func() {
			machine := fmt.Sprint("machine-", w)
			for n := uint64(0); n < each; n++ {
				r, err := b.ledger.Append(ctx, registry.Commit{ID: fmt.Sprintf("%d-%d", w, n),
					Machine: machine, Expect: n, Events: [][]byte{[]byte("mine")}})
				if err != nil {
					errs <- err
					return
				}
				if h, err := b.ledger.Head(ctx, machine); err != nil || h != r.Head {
					errs <- fmt.Errorf("after the receipt %+v the head is %+v, %v", r.Head, h, err)
					return
				}
				if end, err := b.ledger.End(ctx); err != nil || end < r.Head.Position {
					errs <- fmt.Errorf("after the receipt %+v the end is %d, %v", r.Head, end, err)
					return
				}
				records, err := collect(ctx, b.ledger, machine, n)
				if err != nil || len(records) != 1 || records[0].Position != r.Head.Position {
					errs <- fmt.Errorf("after the receipt %+v reading gave %+v, %v", r.Head, records, err)
					return
				}
				all, err := collectAll(ctx, b.ledger, r.Head.Position-1)
				if err != nil || len(all) == 0 || all[0].ID != records[0].ID {
					errs <- fmt.Errorf("the commit at %d is not in the whole ledger: %v", r.Head.Position, err)
					return
				}
			}
			errs <- nil
		}()
	}
	var failed error
	for range writers {
		failed = errors.Join(failed, <-errs)
	}
	return failed
}

func totalOrder(ctx context.Context, b *bench) error {
	machines := []string{"a", "ab", "a.b", "b"}
	var wait sync.WaitGroup
	errs := make([]error, len(machines))
	for i, machine := range machines {
		wait.Go(func() {
			version := uint64(0)
			for n := 0; n < 12 && errs[i] == nil; n++ {
				c := registry.Commit{ID: fmt.Sprint(machine, n), Machine: machine, Expect: version}
				for e := 0; e <= n%3; e++ {
					c.Events = append(c.Events, fmt.Appendf(nil, "%s %d", machine, version+uint64(e)))
				}
				version += uint64(len(c.Events))
				_, errs[i] = b.ledger.Append(ctx, c)
			}
		})
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		return err
	}
	all, err := collectAll(ctx, b.ledger, 0)
	if err != nil {
		return err
	}
	if len(all) != 48 {
		return fmt.Errorf("48 commits went in, %d came out", len(all))
	}
	end, err := b.ledger.End(ctx)
	if err != nil || end != all[len(all)-1].Position {
		return fmt.Errorf("the end is %d, %v; the last commit stands at %d", end, err, all[len(all)-1].Position)
	}
	for i := 1; i < len(all); i++ {
		if all[i].Position <= all[i-1].Position {
			return fmt.Errorf("position %d follows %d", all[i].Position, all[i-1].Position)
		}
	}
	// From every position the rest comes, and nothing else.
	for i, r := range all {
		for _, after := range []registry.Position{r.Position - 1, r.Position} {
			rest, err := collectAll(ctx, b.ledger, after)
			if err != nil {
				return err
			}
			want := all[i:]
			if after == r.Position {
				want = all[i+1:]
			}
			if len(rest) != len(want) || len(rest) > 0 && !same(rest[0], want[0]) {
				return fmt.Errorf("after position %d came %d commits, want %d", after, len(rest), len(want))
			}
		}
	}
	for _, machine := range machines {
		var want []registry.Record
		for _, r := range all {
			if r.Machine == machine {
				want = append(want, r)
			}
		}
		got, err := collect(ctx, b.ledger, machine, 0)
		if err != nil {
			return err
		}
		if err := dense(got, machine, 24); err != nil {
			return fmt.Errorf("%s: %w", machine, err)
		}
		for i := range got {
			if i >= len(want) || !same(got[i], want[i]) {
				return fmt.Errorf("%s: what is read for the machine is not what stands in the whole ledger", machine)
			}
		}
	}
	return nil
}

// same compares two records to the byte.
func same(a, b registry.Record) bool {
	if a.Position != b.Position || a.ID != b.ID || a.Machine != b.Machine || a.First != b.First ||
		len(a.Events) != len(b.Events) {
		return false
	}
	for i := range a.Events {
		if !bytes.Equal(a.Events[i], b.Events[i]) {
			return false
		}
	}
	return true
}

func insideCommit(ctx context.Context, b *bench) error {
	for _, step := range []struct {
		expect uint64
		events []string
	}{{0, []string{"1", "2"}}, {2, []string{"3", "4", "5"}}, {5, []string{"6"}}} {
		if _, err := b.add(ctx, "drover", step.expect, step.events...); err != nil {
			return err
		}
	}
	// Each commit that holds a version after the given one comes, and whole.
	for after, firsts := range [][]uint64{{1, 3, 6}, {1, 3, 6}, {3, 6}, {3, 6}, {3, 6}, {6}, {}, {}} {
		records, err := collect(ctx, b.ledger, "drover", uint64(after))
		if err != nil {
			return err
		}
		var got []uint64
		for _, r := range records {
			got = append(got, r.First)
			if r.First == 3 && len(r.Events) != 3 {
				return fmt.Errorf("after version %d the commit came with %d of 3 events", after, len(r.Events))
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(firsts) {
			return fmt.Errorf("after version %d came the commits from %v, want %v", after, got, firsts)
		}
	}
	return nil
}

func readerError(ctx context.Context, b *bench) error {
	for v := uint64(0); v < 5; v++ {
		if _, err := b.add(ctx, "drover", v, "x"); err != nil {
			return err
		}
	}
	enough := errors.New("the reader has enough")
	calls := 0
	stop := func(registry.Record) error {
		if calls++; calls == 2 {
			return enough
		}
		return nil
	}
	if err := b.ledger.Read(ctx, "drover", 0, stop); !errors.Is(err, enough) || calls != 2 {
		return fmt.Errorf("Read gave %v after %d calls", err, calls)
	}
	calls = 0
	if err := b.ledger.ReadAll(ctx, 0, stop); !errors.Is(err, enough) || calls != 2 {
		return fmt.Errorf("ReadAll gave %v after %d calls", err, calls)
	}
	return nil
}

func everyByte(ctx context.Context, b *bench) error {
	all := make([]byte, 256)
	c := b.commit("drover", 0)
	for i := range all {
		all[i] = byte(i)
		c.Events = append(c.Events, []byte{byte(i)})
	}
	c.Events = append(c.Events, all, bytes.Repeat([]byte{0}, 5000), []byte("\xff\xfe not UTF-8 \x80"), []byte("\r\n\r\n"))
	if _, err := b.ledger.Append(ctx, c); err != nil {
		return err
	}
	records, err := collect(ctx, b.ledger, "drover", 0)
	if err != nil {
		return err
	}
	if len(records) != 1 || len(records[0].Events) != len(c.Events) {
		return fmt.Errorf("%d events came back in %d records", len(c.Events), len(records))
	}
	for i, e := range records[0].Events {
		if !bytes.Equal(e, c.Events[i]) {
			return fmt.Errorf("event %d came back as %q, want %q", i, e, c.Events[i])
		}
	}
	return nil
}

func buffersApart(ctx context.Context, b *bench) error {
	mine := []byte("as found")
	c := b.commit("drover", 0)
	c.Events = [][]byte{mine}
	if _, err := b.ledger.Append(ctx, c); err != nil {
		return err
	}
	copy(mine, "XXXXXXXX")
	for range 2 {
		for _, read := range []func() ([]registry.Record, error){
			func() ([]registry.Record, error) { return collect(ctx, b.ledger, "drover", 0) },
			func() ([]registry.Record, error) { return collectAll(ctx, b.ledger, 0) },
		} {
			records, err := read()
			if err != nil {
				return err
			}
			if got := string(records[0].Events[0]); got != "as found" {
				return fmt.Errorf("a change in somebody's buffer changed the ledger to %q", got)
			}
			copy(records[0].Events[0], "YYYYYYYY")
			_ = append(records[0].Events[0], '!')
		}
	}
	return nil
}

// hostileMachines holds names that mean something to a file system, a key
// range, a message subject or a query. Each is refused with CodeInvalid or kept
// apart from all others; those that registry.CheckID allows must be taken.
func hostileMachines(ctx context.Context, b *bench) error {
	names := []string{"a", "ab", "a.b", "a-b", "a_b", "a.", "0", "a0", strings.Repeat("z", 64),
		strings.Repeat("z", 63), "*", ">", "a.*", "a.>", "a\x00b", "a\x00", "\x00", "a/b", "../a", "..", ".", "a b",
		"$JS.API", "'; --", `"`, "\\", "A", "ä", "\xff", "a\xff", "a\n", " a", "%00", "{}", "a:b", "a|b", "a\x01"}
	stored := map[string]string{}
	for i, name := range names {
		event := fmt.Sprintf("event of name %d", i)
		_, err := b.ledger.Append(ctx, b.commit(name, 0, event))
		allowed := registry.CheckID("/machine", name) == nil
		switch {
		case err == nil:
			stored[name] = event
		case allowed:
			return fmt.Errorf("the allowed name %q was refused: %w", name, err)
		default:
			if err := wantCode(err, registry.CodeInvalid, fmt.Sprintf("the name %q", name)); err != nil {
				return err
			}
		}
	}
	for _, name := range names {
		records, err := collect(ctx, b.ledger, name, 0)
		event, ok := stored[name]
		if !ok {
			if len(records) != 0 {
				return fmt.Errorf("the refused name %q has records", name)
			}
			continue
		}
		if err != nil {
			return err
		}
		if len(records) != 1 || records[0].Machine != name || string(records[0].Events[0]) != event {
			return fmt.Errorf("the name %q reads as %+v", name, records)
		}
	}
	return nothingStored(ctx, b.ledger, len(stored), "hostile names")
}

func hostileIDs(ctx context.Context, b *bench) error {
	ids := []string{"a", "ab", "a\x00", "a\x00b", "\x00", "\xff", strings.Repeat("\xff", 64), "*", ">", "a.b", "a/b", "../a",
		" ", "ä", "A", "'; --", "\n"}
	for i, id := range ids {
		c := b.commit("drover", uint64(i), "x")
		c.ID = id
		if r, err := b.ledger.Append(ctx, c); err != nil || r.Duplicate {
			return fmt.Errorf("the commit ID %q: %+v, %v", id, r, err)
		}
	}
	records, err := collect(ctx, b.ledger, "drover", 0)
	if err != nil {
		return err
	}
	for i, r := range records {
		if r.ID != ids[i] {
			return fmt.Errorf("the commit ID %q came back as %q", ids[i], r.ID)
		}
		again, err := b.ledger.Append(ctx, registry.Commit{ID: r.ID, Machine: "drover", Expect: uint64(i), Events: r.Events})
		if err != nil || !again.Duplicate || again.Head.Position != r.Position {
			return fmt.Errorf("the commit ID %q again: %+v, %v", r.ID, again, err)
		}
	}
	return dense(records, "drover", uint64(len(ids)))
}
