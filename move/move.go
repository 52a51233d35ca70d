package move

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"example.org/asfound/registry"
)

// Files are stored files, named by what they hold. Get gives CodeNotFound for
// what is not there, and ends with CodeTampered in place of io.EOF when the
// bytes do not match the digest.
type Files interface {
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	Each(ctx context.Context, fn func(digest string, size int64) error) error
}

// Blobs take files too.
type Blobs interface {
	Files
	Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
}

// Vault keeps private values, sealed with keys that can be destroyed; see
// store.Vault. Values and keys are carried over as they are stored.
type Vault interface {
	Files
	GetStored(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	PutStored(ctx context.Context, digest string, r io.Reader, size int64) error
	EachKey(ctx context.Context, fn func(name string, raw []byte) error) error
	PutKey(ctx context.Context, name string, raw []byte) error
	Destroy(ctx context.Context, digests []string) error
}

// Side is one end of a move.
type Side struct {
	Name    string // as people know it, for messages
	Ledger  registry.Ledger
	Photos  Blobs
	Private Vault
}

// Options of a move. The zero Options are right for use.
type Options struct {
	// Mark is a position in the source; Report.Mark is the same place in the
	// target.
	Mark registry.Position
	// Begin is called when the target was found fit and before the first
	// write to it; nil does nothing.
	Begin func() error
	// Progress is told now and then what was gone through; nil is silent.
	Progress func(Count)
}

// Count is how much there is of each thing.
type Count struct {
	Commits int `json:"commits"`
	Events  int `json:"events"`
	Photos  int `json:"photos"`
	Private int `json:"private"`
}

// Report says what was moved. All of it has been read back from the target.
type Report struct {
	Machines []Machine `json:"machines"`
	// Digest stands for all machines: the SHA-256, in hex, of one line each,
	// "machine version root" and a line feed, in the order of Machines.
	Digest string `json:"digest"`
	Added  Count  `json:"added"` // by this run
	There  Count  `json:"there"` // in the target before this run
	Erased int    `json:"erased,omitempty"`
	// Mark is the place of Options.Mark in the target.
	Mark registry.Position `json:"-"`
}

// All copies everything from one side to the other: pictures and private values
// first, then the ledger in its order, so that no record ever names a picture
// that is not there. Before it writes, it reads the source through and holds
// what the target has of the same machines against it; at the end it reads the
// target back. Private values that the record says were erased are removed from
// the target, where an earlier run may have brought them.
//
// Codes: CodeTampered when a side is damaged, with the name of the machine or
// file; CodeConflict when the target holds another history of a machine, or a
// side was written to meanwhile. What was copied stays, and the same move can
// be started again.
func All(ctx context.Context, from, to Side, o Options) (Report, error) {
	m := &mover{from: from, to: to, options: o, known: map[string]Machine{}, erased: map[string]bool{}}
	end, err := from.Ledger.End(ctx)
	if err == nil {
		err = m.survey(ctx)
	}
	if err == nil && o.Begin != nil {
		err = o.Begin()
	}
	if err == nil {
		err = m.files(ctx, "picture", from.Photos, to.Photos, from.Photos.Get, m.putPhoto, &m.report.Added.Photos, &m.report.There.Photos)
	}
	if err == nil {
		err = m.keys(ctx)
	}
	if err == nil {
		err = m.files(ctx, "private value", from.Private, to.Private, from.Private.GetStored, to.Private.PutStored, &m.report.Added.Private, &m.report.There.Private)
	}
	if err == nil {
		err = m.commits(ctx, end)
	}
	if err == nil {
		err = m.readBack(ctx)
	}
	if err != nil {
		return m.report, err
	}
	if now, err := from.Ledger.End(ctx); err != nil || now != end {
		return m.report, orElse(err, registry.Refuse(registry.CodeConflict, "Stop whoever works there, and start the move again: it adds what is missing.",
			"%s was written to while it was moved", from.Name))
	}
	return m.report, nil
}

func orElse(err, other error) error {
	if err != nil {
		return err
	}
	return other
}

// mover is one move under way.
type mover struct {
	from, to Side
	options  Options
	report   Report
	known    map[string]Machine // by the source
	erased   map[string]bool    // digests of private values that are gone for good
}

func (m *mover) told() {
	if m.options.Progress != nil {
		a, b := m.report.Added, m.report.There
		m.options.Progress(Count{a.Commits + b.Commits, a.Events + b.Events, a.Photos + b.Photos, a.Private + b.Private})
	}
}

// survey reads the source machine by machine, and what the target has of each.
func (m *mover) survey(ctx context.Context) error {
	var names []string
	if err := m.from.Ledger.ReadAll(ctx, 0, func(r registry.Record) error {
		if r.First == 1 {
			names = append(names, r.Machine)
		}
		return nil
	}); err != nil {
		return m.from.trouble(err)
	}
	var differ []string
	sum := sha256.New()
	for _, name := range names {
		there, err := m.to.history(ctx, name, 0, nil)
		if err != nil {
			return err
		}
		var common Machine
		whole, err := m.from.history(ctx, name, there.Version, &common)
		if err != nil {
			return err
		}
		if common != there.Machine {
			differ = append(differ, name)
			continue
		}
		m.known[name] = whole.Machine
		for _, digest := range whole.erased {
			m.erased[digest] = true
		}
		m.report.Machines = append(m.report.Machines, whole.Machine)
		fmt.Fprintf(sum, "%s %d %s\n", name, whole.Version, whole.Root)
	}
	m.report.Digest = hex.EncodeToString(sum.Sum(nil))
	if len(differ) > 0 {
		return registry.Refuse(registry.CodeConflict, "Choose a target that holds none of them, or find out which of the two is the true record. Nothing was written.",
			"%s holds another history than %s of: %s", m.to.Name, m.from.Name, few(differ))
	}
	return nil
}

// few lists names, and no more than a person will read.
func few(names []string) string {
	const most = 10
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

// keys carries the keys of the private values over, before the values, and
// destroys in the target what was erased.
func (m *mover) keys(ctx context.Context) error {
	if err := m.from.Private.EachKey(ctx, func(name string, raw []byte) error {
		return m.to.Private.PutKey(ctx, name, raw)
	}); err != nil {
		return err
	}
	var gone []string
	if err := m.to.Private.Each(ctx, func(digest string, _ int64) error {
		if m.erased[digest] {
			gone = append(gone, digest)
		}
		return nil
	}); err != nil {
		return m.to.trouble(err)
	}
	if len(gone) == 0 {
		return nil
	}
	m.report.Erased = len(gone)
	return m.to.Private.Destroy(ctx, gone)
}

// putPhoto stores a picture in the target.
func (m *mover) putPhoto(ctx context.Context, digest string, r io.Reader, size int64) error {
	stored, _, err := m.to.Photos.Put(ctx, r, size)
	if err == nil && stored != digest {
		err = fmt.Errorf("it was stored as %s", stored)
	}
	return err
}

// files copies what the target does not hold sound.
func (m *mover) files(ctx context.Context, kind string, from, to Files, get func(context.Context, string) (io.ReadCloser, int64, error),
	put func(context.Context, string, io.Reader, int64) error, added, there *int) error {
	held := map[string]bool{}
	if err := to.Each(ctx, func(digest string, _ int64) error { held[digest] = true; return nil }); err != nil {
		return m.to.trouble(err)
	}
	return from.Each(ctx, func(digest string, _ int64) error {
		if m.erased[digest] {
			return nil
		}
		defer m.told()
		if held[digest] && sound(ctx, to, digest) == nil {
			*there++
			return nil
		}
		r, size, err := get(ctx, digest)
		if registry.CodeOf(err) == registry.CodeNotFound {
			return nil // removed meanwhile
		}
		if err != nil {
			return m.from.file(kind, digest, err)
		}
		// The reader ends with CodeTampered when the source's copy was changed,
		// and then nothing of it is kept.
		err = put(ctx, digest, r, size)
		if closed := r.Close(); err == nil {
			err = closed
		}
		switch {
		case registry.CodeOf(err) == registry.CodeTampered:
			return m.from.file(kind, digest, err)
		case err != nil:
			return m.to.file(kind, digest, err)
		}
		*added++
		return nil
	})
}

// sound reads a stored file through its digest.
func sound(ctx context.Context, blobs Files, digest string) error {
	r, _, err := blobs.Get(ctx, digest)
	if err != nil {
		return err
	}
	_, err = io.Copy(io.Discard, r)
	if closed := r.Close(); err == nil {
		err = closed
	}
	return err
}

// tries is how often a commit is repeated whose answer was lost.
const tries = 3

// commits appends every commit up to the source's end, in the order of the
// ledger. One that is there already is answered as a duplicate.
func (m *mover) commits(ctx context.Context, end registry.Position) error {
	return m.from.Ledger.ReadAll(ctx, 0, func(r registry.Record) error {
		if r.Position > end {
			return nil
		}
		c := registry.Commit{ID: r.ID, Machine: r.Machine, Expect: r.First - 1, Events: r.Events}
		receipt, err := m.to.Ledger.Append(ctx, c)
		for i := 1; i < tries && registry.CodeOf(err) == registry.CodeUnknown; i++ {
			receipt, err = m.to.Ledger.Append(ctx, c)
		}
		if err != nil {
			return m.to.record(r.Machine, err)
		}
		count := &m.report.Added
		if receipt.Duplicate {
			count = &m.report.There
		}
		count.Commits++
		count.Events += len(r.Events)
		if r.Position <= m.options.Mark {
			m.report.Mark = receipt.Head.Position
		}
		m.told()
		return nil
	})
}

// readBack holds the target against what the survey found.
func (m *mover) readBack(ctx context.Context) error {
	for name, want := range m.known {
		got, err := m.to.history(ctx, name, 0, nil)
		if err != nil {
			return err
		}
		if got.Machine != want {
			return registry.Refuse(registry.CodeConflict, "See that nobody works there before the move is done, and start it again.",
				"The record of %s in %s stands at version %d and not, as in %s, at version %d with the same root hash", name, m.to.Name, got.Version, m.from.Name, want.Version)
		}
	}
	for _, x := range []struct {
		kind     string
		from, to Files
	}{{"picture", m.from.Photos, m.to.Photos}, {"private value", m.from.Private, m.to.Private}} {
		if err := x.from.Each(ctx, func(digest string, _ int64) error {
			if m.erased[digest] {
				return nil
			}
			err := sound(ctx, x.to, digest)
			if registry.CodeOf(err) == registry.CodeNotFound && registry.CodeOf(sound(ctx, x.from, digest)) == registry.CodeNotFound {
				return nil // its key is not in the source either
			}
			if err != nil {
				return m.to.file(x.kind, digest, err)
			}
			return nil
		}); err != nil {
			return err
		}
	}
	return nil
}
