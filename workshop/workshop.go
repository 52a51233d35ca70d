// Package workshop is the application: what a person can do with the registry,
// once, for the command line, the pages and the interface for programs alike.
// It loads a dossier, asks scoring for figures, lets registry decide, and
// appends. It promises that nothing is half written: every act is checked in
// full before one append, and what an owner is shown is recorded with its
// inputs. It takes its ledger, stores, catalog, clock and randomness from its
// caller, and knows nothing of HTTP, files or terminals.
package workshop

import (
	"context"
	"io"
	"sync"
	"time"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
)

// Blobs keeps bytes under their digest ("sha256:…"). Put is idempotent; Get
// gives CodeTampered when what was stored no longer has its digest.
type Blobs interface {
	Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	Has(ctx context.Context, digest string) (bool, error)
}

// Documents keeps sealed documents of withheld values, each under the digest of
// its plain bytes and with the key of its holder (registry.HolderOf). Get gives
// CodeNotFound of one that is not stored or whose key is gone.
type Documents interface {
	PutFor(ctx context.Context, holder string, r io.Reader, limit int64) (digest string, size int64, err error)
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	// Has says whether the document is stored, be it readable or not.
	Has(ctx context.Context, digest string) (bool, error)
	// Seal seals a document that is stored plain, from before there were keys.
	Seal(ctx context.Context, digest, holder string) error
	// Erasing notes, on stable storage, that something of a machine is being
	// erased, or no longer.
	Erasing(machine string, on bool) error
	// Destroy destroys the keys of these documents, for good, and then the
	// documents. It may be repeated.
	Destroy(ctx context.Context, digests []string) error
}

// Workshop holds what the application works with. All fields but
// Registry must be set.
type Workshop struct {
	Ledger  registry.Ledger
	Photos  Blobs     // originals and previews
	Private Documents // of withheld values
	Views   Views
	Catalog *catalog.Catalog
	Schemas *schema.Set
	// Registry is the name of this registry, as its key has it; it tells a
	// record that is kept here from one that was handed over. May be empty.
	Registry string
	Now      func() time.Time
	// NewID makes identifiers of events and of records that were given none:
	// rising with time, unique.
	NewID func() string
	// Random is where salts and link tokens come from.
	Random io.Reader
	// Scratch gives an import room for what it has decided; may be nil, and then
	// an import decides twice.
	Scratch func() (Scratch, error)

	knowledge knowledge
	histories histories
	searches  searches

	erasing    sync.Mutex // held while something is erased
	refreshing sync.Mutex // held while the views are brought up to the ledger
}

// At asks for a dossier as it was. The zero At is now, as far as is known.
type At struct {
	// KnownAt leaves out what was recorded later.
	KnownAt time.Time
	// AsOf leaves out what became so later.
	AsOf time.Time
}

// IsZero reports whether the dossier is wanted as it stands.
func (a At) IsZero() bool { return a.KnownAt.IsZero() && a.AsOf.IsZero() }

// Load reads a machine's dossier with its withheld values opened where they
// are still kept. CodeNotFound when the registry has no such machine.
func (w *Workshop) Load(ctx context.Context, machine string, at At) (*registry.Dossier, error) {
	if err := MaySee(ctx, machine); err != nil {
		return nil, err
	}
	d, err := w.replay(ctx, machine)
	if err != nil {
		return nil, err
	}
	if _, taken := d.MachineRecord(); !taken {
		return nil, noMachine(machine)
	}
	if !at.KnownAt.IsZero() {
		d = d.Known(at.KnownAt)
		if _, taken := d.MachineRecord(); !taken {
			return nil, registry.Refuse(registry.CodeNotFound, "Ask for a later day.", "Nothing was known of %q on %s", machine, at.KnownAt.UTC().Format("2 January 2006"))
		}
	}
	if !at.AsOf.IsZero() {
		d = d.AsOf(at.AsOf)
	}
	return d, nil
}

// Events reads the bytes of a machine's history as they are stored.
func (w *Workshop) Events(ctx context.Context, machine string) ([][]byte, error) {
	var events [][]byte
	err := w.Ledger.Read(ctx, machine, 0, func(r registry.Record) error {
		events = append(events, r.Events...)
		return nil
	})
	return events, err
}
