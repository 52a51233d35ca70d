package ledgertest

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/asfound/registry"
)

// followed starts a Follow and gives what it delivers and how it ended.
func followed(ctx context.Context, l registry.Ledger, after registry.Position) (<-chan registry.Record, <-chan error) {
	records, ended := make(chan registry.Record, 1000), make(chan error, 1)
	go func() {
		ended <- l.Follow(ctx, after, func(r registry.Record) error {
			records <- r
			return nil
		})
	}()
	return records, ended
}

// next waits for one delivery.
func next(ctx context.Context, records <-chan registry.Record, ended <-chan error) (registry.Record, error) {
	select {
	case r := <-records:
		return r, nil
	case err := <-ended:
		return registry.Record{}, fmt.Errorf("following ended early: %w", err)
	case <-ctx.Done():
		return registry.Record{}, errors.New("following delivered nothing in time")
	}
}

func followLive(ctx context.Context, b *bench) error {
	var skip registry.Position
	for v := uint64(0); v < 10; v++ {
		h, err := b.add(ctx, "drover", v, "old")
		if err != nil {
			return err
		}
		if v == 3 {
			skip = h.Position
		}
	}
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	records, ended := followed(inner, b.ledger, skip)
	version := uint64(5) // versions 1 to 4 lie before the position
	take := func(n int) error {
		for range n {
			r, err := next(ctx, records, ended)
			if err != nil {
				return err
			}
			if r.First != version {
				return fmt.Errorf("following delivered version %d, want %d", r.First, version)
			}
			version++
		}
		return nil
	}
	if err := take(6); err != nil {
		return err
	}
	for v := uint64(10); v < 30; v++ {
		if _, err := b.add(ctx, "drover", v, "live"); err != nil {
			return err
		}
		if v%3 == 0 { // sometimes one by one, sometimes several at once
			if err := take(int(v + 2 - version)); err != nil {
				return err
			}
		}
	}
	if err := take(int(31 - version)); err != nil {
		return err
	}
	select {
	case r := <-records:
		return fmt.Errorf("following delivered version %d a second time", r.First)
	case <-time.After(20 * time.Millisecond):
		return nil
	}
}

func followersAgree(ctx context.Context, b *bench) error {
	const writers, each, followers = 4, 10, 3
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	var deliveries []<-chan registry.Record
	var ends []<-chan error
	for range followers {
		records, ended := followed(inner, b.ledger, 0)
		deliveries, ends = append(deliveries, records), append(ends, ended)
	}
	errs := make(chan error, writers)
	for w := range writers {
		go func() {
			version := uint64(0)
			for n := range each {
				events := [][]byte{[]byte("x"), []byte("y")}[:1+n%2]
				if _, err := b.ledger.Append(ctx, registry.Commit{ID: fmt.Sprintf("%d-%d", w, n),
					Machine: fmt.Sprint("machine-", w), Expect: version, Events: events}); err != nil {
					errs <- err
					return
				}
				version += uint64(len(events))
			}
			errs <- nil
		}()
	}
	for range writers {
		if err := <-errs; err != nil {
			return err
		}
	}
	all, err := collectAll(ctx, b.ledger, 0)
	if err != nil {
		return err
	}
	for f := range deliveries {
		for i := range all {
			r, err := next(ctx, deliveries[f], ends[f])
			if err != nil {
				return err
			}
			if !same(r, all[i]) {
				return fmt.Errorf("follower %d got position %d as number %d, want %d", f, r.Position, i, all[i].Position)
			}
		}
	}
	return nil
}

func followContext(ctx context.Context, b *bench) error {
	if _, err := b.add(ctx, "drover", 0, "x"); err != nil {
		return err
	}
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	records, ended := followed(inner, b.ledger, 0)
	if _, err := next(ctx, records, ended); err != nil {
		return err
	}
	cancel()
	select {
	case err := <-ended:
		if !errors.Is(err, context.Canceled) {
			return fmt.Errorf("following ended with %v, want context.Canceled", err)
		}
		return nil
	case <-ctx.Done():
		return errors.New("following did not stop with its context")
	}
}

func followError(ctx context.Context, b *bench) error {
	enough := errors.New("the reader has enough")
	ended := make(chan error, 1)
	go func() {
		calls := 0
		ended <- b.ledger.Follow(ctx, 0, func(registry.Record) error {
			if calls++; calls == 3 {
				return enough
			}
			return nil
		})
	}()
	for v := uint64(0); v < 4; v++ {
		if _, err := b.add(ctx, "drover", v, "x"); err != nil {
			return err
		}
	}
	select {
	case err := <-ended:
		if !errors.Is(err, enough) {
			return fmt.Errorf("following ended with %v, want the reader's error", err)
		}
		return nil
	case <-ctx.Done():
		return errors.New("following did not stop with the reader's error")
	}
}
