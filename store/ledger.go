package store

import (
	"context"
	"errors"

	"github.com/dgraph-io/badger/v4"

	"example.org/asfound/registry"
)

var _ registry.Ledger = (*Store)(nil)

// Append implements registry.Ledger.
func (s *Store) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if err := c.Check(); err != nil {
		return registry.Receipt{}, err
	}
	if err := s.begin(ctx); err != nil {
		return registry.Receipt{}, err
	}
	defer s.end()
	if err := s.refuseBroken(); err != nil {
		return registry.Receipt{}, err
	}
	// A caller that gives up waiting may use its buffers again: what is prepared
	// shares nothing with them.
	p := prepare(c)
	if err := CheckEncoded(len(c.Events), p.record); err != nil {
		return registry.Receipt{}, err
	}
	p.record = packed(p.record)
	a, sent := s.submit(ctx, &job{commit: p})
	if sent && a.err != nil && a.err == ctx.Err() {
		return registry.Receipt{}, registry.Refuse(registry.CodeUnknown, "Repeat the same commit.",
			"The answer was not waited for, so the commit is perhaps stored and perhaps not")
	}
	return a.receipt, a.err
}

// CheckEncoded refuses, with CodeTooLarge, a commit whose events are so many
// that their lengths take too much.
func CheckEncoded(events int, encoded []byte) error {
	if len(encoded) > MaxEncodedBytes {
		return registry.Refuse(registry.CodeTooLarge, "Spread the events over several commits.",
			"The commit holds %d events, which take %d bytes with their lengths; a commit may take %d",
			events, len(encoded), MaxEncodedBytes)
	}
	return nil
}

// view runs fn on a snapshot of the ledger.
func (s *Store) view(ctx context.Context, doing string, fn func(txn *badger.Txn) error) error {
	if err := s.begin(ctx); err != nil {
		return err
	}
	defer s.end()
	// A reader's own panic is not damage, so only Badger's calls are guarded.
	txn := s.db.NewTransaction(false)
	defer txn.Discard()
	return internal(doing, fn(txn))
}

// Head implements registry.Ledger.
func (s *Store) Head(ctx context.Context, machine string) (registry.Head, error) {
	h, err := s.machineHead(ctx, machine)
	return registry.Head{Position: h.position, Version: h.version}, err
}

// Root gives the size and the RFC 6962 root hash of the machine's Merkle tree
// as they are kept with its head.
func (s *Store) Root(ctx context.Context, machine string) (size uint64, root [32]byte, err error) {
	h, err := s.machineHead(ctx, machine)
	return h.version, h.root(), err
}

func (s *Store) machineHead(ctx context.Context, machine string) (h machineHead, err error) {
	err = s.view(ctx, "reading the head of "+machine, func(txn *badger.Txn) error {
		h, err = getHead(txn, machine)
		return err
	})
	return h, err
}

// End implements registry.Ledger.
func (s *Store) End(ctx context.Context) (registry.Position, error) {
	if err := s.begin(ctx); err != nil {
		return 0, err
	}
	defer s.end()
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.totals.Position, nil
}

// Read implements registry.Ledger. Versions that are missing are an error of
// CodeTampered, never a shorter history.
func (s *Store) Read(ctx context.Context, machine string, after uint64, fn func(registry.Record) error) error {
	return s.view(ctx, "reading "+machine, func(txn *badger.Txn) error {
		head, err := getHead(txn, machine)
		if err != nil || after >= head.version {
			return err
		}
		walk, err := startWalk(txn, machine, after+1)
		if err != nil {
			return err
		}
		defer walk.close()
		for version := uint64(0); version < head.version; {
			if err := s.goOn(ctx); err != nil {
				return err
			}
			r, err := walk.next()
			if errors.Is(err, errNoEntry) {
				return damaged("The record of %s ends at version %d, but its head stands at %d", machine, version, head.version)
			}
			if err != nil {
				return err
			}
			if version == 0 && r.First > after+1 || version > 0 && r.First != version+1 {
				return damaged("Version %d of %s is missing", max(version, after)+1, machine)
			}
			version = r.First + uint64(len(r.Events)) - 1
			if version > head.version {
				return damaged("The record of %s goes on to version %d, but its head stands at %d", machine, version, head.version)
			}
			if version <= after {
				return damaged("Version %d of %s is missing", after+1, machine)
			}
			if err := fn(r); err != nil {
				return err
			}
		}
		return nil
	})
}

// ReadAll implements registry.Ledger. A position that is missing is an error of
// CodeTampered.
func (s *Store) ReadAll(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	return s.eachPosition(ctx, after, func(txn *badger.Txn, p registry.Position) error {
		r, err := recordAt(txn, p)
		if err != nil {
			return err
		}
		return fn(r)
	})
}

// Mentions tells whose record grew at every position after one, without reading
// what was recorded. A position that is missing is an error of CodeTampered.
func (s *Store) Mentions(ctx context.Context, after registry.Position, fn func(p registry.Position, machine string) error) error {
	return s.eachPosition(ctx, after, func(txn *badger.Txn, p registry.Position) error {
		machine, _, err := placeAt(txn, p)
		if err != nil {
			return err
		}
		return fn(p, machine)
	})
}

func (s *Store) eachPosition(ctx context.Context, after registry.Position, fn func(txn *badger.Txn, p registry.Position) error) error {
	return s.view(ctx, "reading the ledger", func(txn *badger.Txn) error {
		t, err := getTotals(txn)
		if err != nil {
			return err
		}
		for p := after; p < t.Position; {
			p++
			if err := s.goOn(ctx); err != nil {
				return err
			}
			if err := fn(txn, p); err != nil {
				return err
			}
		}
		return nil
	})
}

// goOn says whether a long read should go on.
func (s *Store) goOn(ctx context.Context) error {
	select {
	case <-s.gone:
		return errClosed
	default:
		return ctx.Err()
	}
}

// Follow implements registry.Ledger.
func (s *Store) Follow(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	for {
		s.mu.Lock()
		grown := s.grown
		s.mu.Unlock()
		err := s.ReadAll(ctx, after, func(r registry.Record) error {
			after = r.Position
			return fn(r)
		})
		if err != nil {
			return err
		}
		select {
		case <-grown:
		case <-s.gone:
			return errClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
