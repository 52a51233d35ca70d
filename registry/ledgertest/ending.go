package ledgertest

import (
	"context"
	"errors"
	"fmt"

	"example.org/asfound/registry"
)

func cancelled(ctx context.Context, b *bench) error {
	if _, err := b.add(ctx, "drover", 0, "x"); err != nil {
		return err
	}
	gone, cancel := context.WithCancel(ctx)
	cancel()
	none := func(registry.Record) error { return errors.New("the reader was called") }
	_, headErr := b.ledger.Head(gone, "drover")
	_, endErr := b.ledger.End(gone)
	_, appendErr := b.ledger.Append(gone, b.commit("drover", 1, "never"))
	for what, err := range map[string]error{
		"Append": appendErr, "Head": headErr, "End": endErr,
		"Read":    b.ledger.Read(gone, "drover", 0, none),
		"ReadAll": b.ledger.ReadAll(gone, 0, none),
		"Follow":  b.ledger.Follow(gone, 0, none),
	} {
		if !errors.Is(err, context.Canceled) {
			return fmt.Errorf("%s with a cancelled context gave %v, want context.Canceled", what, err)
		}
	}
	if err := nothingStored(ctx, b.ledger, 1, "after a cancelled append"); err != nil {
		return err
	}
	// Cancelled between two records.
	if _, err := b.add(ctx, "drover", 1, "y"); err != nil {
		return err
	}
	for what, read := range map[string]func(context.Context, func(registry.Record) error) error{
		"Read": func(ctx context.Context, fn func(registry.Record) error) error {
			return b.ledger.Read(ctx, "drover", 0, fn)
		},
		"ReadAll": func(ctx context.Context, fn func(registry.Record) error) error {
			return b.ledger.ReadAll(ctx, 0, fn)
		},
	} {
		inner, cancel := context.WithCancel(ctx)
		calls := 0
		err := read(inner, func(registry.Record) error { calls++; cancel(); return nil })
		cancel()
		if !errors.Is(err, context.Canceled) || calls != 1 {
			return fmt.Errorf("%s cancelled after one record gave %v after %d", what, err, calls)
		}
	}
	return nil
}

func survivesReopening(ctx context.Context, b *bench) error {
	if b.reopen == nil {
		return errSkip
	}
	first := b.commit("drover", 0, "a", "b", "c")
	receipt, err := b.ledger.Append(ctx, first)
	if err != nil {
		return err
	}
	for v := uint64(0); v < 20; v++ {
		if _, err := b.add(ctx, "thirlbeck", v, "x"); err != nil {
			return err
		}
	}
	before, err := collectAll(ctx, b.ledger, 0)
	if err != nil {
		return err
	}
	for round := range 3 {
		b.ledger = b.reopen(b.ledger)
		after, err := collectAll(ctx, b.ledger, 0)
		if err != nil {
			return err
		}
		if len(after) != len(before) {
			return fmt.Errorf("%d commits before reopening, %d after", len(before), len(after))
		}
		for i := range after {
			if !same(after[i], before[i]) {
				return fmt.Errorf("commit %d changed from %+v to %+v", i, before[i], after[i])
			}
		}
		if h, err := b.ledger.Head(ctx, "drover"); err != nil || h != receipt.Head {
			return fmt.Errorf("the head is %+v, %v after reopening, want %+v", h, err, receipt.Head)
		}
		r, err := b.ledger.Append(ctx, first)
		if err != nil || !r.Duplicate || r.Head != receipt.Head {
			return fmt.Errorf("the first commit again after reopening: %+v, %v", r, err)
		}
		h, err := b.add(ctx, "thirlbeck", uint64(20+round), "after reopening")
		if err != nil {
			return err
		}
		if last := before[len(before)-1].Position; h.Position <= last {
			return fmt.Errorf("after reopening position %d follows %d", h.Position, last)
		}
		if before, err = collectAll(ctx, b.ledger, 0); err != nil {
			return err
		}
	}
	return nil
}

func closedFails(ctx context.Context, b *bench) error {
	l := b.ledger
	if _, err := b.add(ctx, "drover", 0, "x"); err != nil {
		return err
	}
	records, ended := followed(ctx, l, 0)
	if _, err := next(ctx, records, ended); err != nil {
		return err
	}
	if err := l.Close(); err != nil {
		return fmt.Errorf("closing: %w", err)
	}
	select {
	case err := <-ended:
		if err == nil {
			return errors.New("following ended without an error when the ledger was closed")
		}
	case <-ctx.Done():
		return errors.New("following did not end when the ledger was closed")
	}
	none := func(registry.Record) error { return nil }
	_, appendErr := l.Append(ctx, b.commit("drover", 1, "never"))
	_, headErr := l.Head(ctx, "drover")
	_, endErr := l.End(ctx)
	for what, err := range map[string]error{
		"Append": appendErr, "Head": headErr, "End": endErr, "Read": l.Read(ctx, "drover", 0, none),
		"ReadAll": l.ReadAll(ctx, 0, none), "Follow": l.Follow(ctx, 0, none),
	} {
		if err == nil {
			return fmt.Errorf("%s of a closed ledger gave no error", what)
		}
	}
	_ = l.Close() // a second Close may give an error, and must not panic
	return nil
}
