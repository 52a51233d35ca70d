package workshop

import (
	"bytes"
	"context"
	"errors"
	"slices"

	"example.org/asfound/registry"
)

// Request says on whose behalf, and on what, something is recorded.
type Request struct {
	Machine string
	Actor   string // person id
	// Expect is the version that the caller has seen; nil when it does not
	// matter. With a version, a record that has moved on is a conflict.
	Expect *uint64
	// Key makes a repeated request harmless: the same key is recorded once.
	// Empty means a fresh one.
	Key string

	own      bool // whoever it is recorded for did it themselves, or it comes from what does it; see ownActs
	computed bool // the figures were computed just now, by this very program
	trial    bool // it is only to be seen whether it may be recorded
	later    bool // the lists follow later, all at once
}

// Receipt says what was recorded.
type Receipt struct {
	Machine string          `json:"machine"`
	Version uint64          `json:"version"` // of the machine's record after it
	Records []RecordReceipt `json:"records"`
	// Repeated says that the same key had been recorded before.
	Repeated bool `json:"repeated,omitempty"`
	// Cautions are what somebody should look at, and hinder nothing: a number
	// that another machine has too.
	Cautions []string `json:"cautions,omitempty"`
}

// RecordReceipt names one record.
type RecordReceipt struct {
	Kind  registry.Kind `json:"kind"`
	ID    string        `json:"id"`
	Event string        `json:"event"`
	Hash  string        `json:"hash"`
}

// maxTries is how often an act is decided anew when somebody else was faster.
const maxTries = 8

// Record decides and appends bodies, all or none. Errors carry the codes of
// registry.Decide and of Ledger.Append.
func (w *Workshop) Record(ctx context.Context, req Request, bodies ...registry.Body) (Receipt, error) {
	if err := registry.CheckID("/machine", req.Machine); err != nil {
		return Receipt{}, err
	}
	given := req.Key != ""
	if !given {
		req.Key = w.NewID()
	}
	for try := 1; ; try++ {
		receipt, err := w.recordOnce(ctx, req, bodies)
		if registry.CodeOf(err) == registry.CodeConflict && errors.Is(err, errMoved) && req.Expect == nil && try < maxTries {
			continue
		}
		var refusal *registry.Error
		if given && errors.As(err, &refusal) {
			// Once recorded, a request no longer fits the record that it made.
			if before, ok, readErr := w.Recorded(ctx, req.Machine, req.Key); readErr != nil || ok {
				return before, readErr
			}
		}
		return receipt, err
	}
}

// Recorded looks for what a key has recorded on a machine, however long ago.
func (w *Workshop) Recorded(ctx context.Context, machine, key string) (receipt Receipt, found bool, err error) {
	id := commitID(machine, key)
	err = w.Ledger.Read(ctx, machine, 0, func(r registry.Record) error {
		if r.ID == id {
			found = true
			receipt = Receipt{Machine: machine, Version: r.First + uint64(len(r.Events)) - 1, Repeated: true}
		}
		return nil
	})
	return receipt, found, err
}

// errMoved marks a conflict that deciding anew can settle.
var errMoved = errors.New("the record has moved on")

func (w *Workshop) recordOnce(ctx context.Context, req Request, bodies []registry.Body) (Receipt, error) {
	d, err := w.replay(ctx, req.Machine)
	if err != nil {
		return Receipt{}, err
	}
	if req.Expect != nil && *req.Expect != d.Version() {
		return Receipt{}, registry.Refuse(registry.CodeConflict, "Read it again, and repeat what you want on what stands there now.",
			"The record of %q has moved on: you saw version %d, it is at %d", req.Machine, *req.Expect, d.Version())
	}
	expect := d.Version()
	batch, err := w.decideAll(ctx, d, req, secretsOf(d, bodies...), bodies)
	if err != nil {
		return Receipt{}, err
	}
	return w.appendBatch(ctx, req, expect, batch)
}

// batch is decided bodies as the bytes of their events.
type batch struct {
	events  [][]byte
	private []document // sealed documents that the events point at
	records []RecordReceipt
	size    int
}

// document is a sealed document and whose key is to seal it.
type document struct {
	Holder string
	Bytes  []byte
}

// decideAll decides bodies one after another on a dossier that grows with
// them, and encodes them without what is known to be secret. The dossier is the
// caller's to throw away.
func (w *Workshop) decideAll(ctx context.Context, d *registry.Dossier, req Request, known []secret, bodies []registry.Body) (batch, error) {
	var out batch
	var err error
	if req.Actor, err = actor(ctx, req, d, bodies); err != nil {
		return batch{}, err
	}
	rules := w.rules()
	version, last := d.Version(), d.Last()
	for _, given := range bodies {
		b := clone(given)
		now := w.Now().UTC()
		w.name(b)
		if err := ownWithheld(d, req.Machine, b); err != nil {
			return batch{}, err
		}
		docs, err := w.seal(b)
		if err != nil {
			return batch{}, err
		}
		if b, err = withhold(b, known); err != nil {
			return batch{}, err
		}
		if err := registry.Decide(d, rules, registry.Act{At: now, Actor: req.Actor, Body: b}); err != nil {
			return batch{}, err
		}
		if c, ok := b.(*registry.Claim); ok && c.Estimate == nil {
			if err := w.estimateClaim(d, c); err != nil {
				return batch{}, err
			}
		} else if !req.computed {
			if err := checkEstimates(b); err != nil {
				return batch{}, err
			}
		}
		if req.trial {
			version++
			d.Apply(registry.Meta{Version: version, Recorded: now, Actor: req.Actor, Kind: b.Kind()}, b)
			continue
		}
		for _, doc := range docs {
			out.private = append(out.private, document{registry.HolderOf(d, req.Machine, b), doc})
		}
		eventID := w.NewID()
		event, hash, err := registry.Next(version, last, registry.Stamp{Machine: req.Machine, Recorded: now, Actor: req.Actor, NewID: func() string { return eventID }}, b)
		if err != nil {
			return batch{}, err
		}
		version++
		last = hash
		d.Apply(registry.Meta{Version: version, ID: eventID, Recorded: now, Actor: req.Actor, Kind: b.Kind(), Hash: last}, b)
		out.events = append(out.events, event)
		out.size += len(event)
		out.records = append(out.records, RecordReceipt{Kind: b.Kind(), ID: registry.IDOf(b), Event: eventID, Hash: last})
	}
	return out, nil
}

func (w *Workshop) appendBatch(ctx context.Context, req Request, expect uint64, b batch) (Receipt, error) {
	receipt := Receipt{Machine: req.Machine, Records: b.records}
	if len(b.events) == 0 {
		receipt.Version = expect
		return receipt, nil
	}
	for _, doc := range b.private {
		if _, _, err := w.Private.PutFor(ctx, doc.Holder, bytes.NewReader(doc.Bytes), maxPrivate); err != nil {
			return Receipt{}, err
		}
	}
	stored, err := w.Ledger.Append(ctx, registry.Commit{ID: commitID(req.Machine, req.Key), Machine: req.Machine, Expect: expect, Events: b.events})
	if registry.CodeOf(err) == registry.CodeConflict {
		return Receipt{}, &moved{err}
	}
	if err != nil {
		return Receipt{}, err
	}
	receipt.Version, receipt.Repeated = stored.Head.Version, stored.Duplicate
	if stored.Duplicate {
		receipt.Records = nil // what stands is what the first try recorded
	}
	// The record stands, whether or not the lists can follow at once.
	if !req.later && w.follow(ctx) && slices.ContainsFunc(receipt.Records, func(r RecordReceipt) bool { return r.Kind == "machine" }) {
		if shared, err := w.DuplicatesOf(ctx, req.Machine); err == nil {
			receipt.Cautions = shared.Cautions(req.Machine)
		}
	}
	return receipt, nil
}

// moved is a ledger's conflict that Record may settle by deciding anew.
type moved struct{ error }

func (m *moved) Unwrap() []error { return []error{m.error, errMoved} }

// commitID keeps a caller's key within what a ledger takes.
func commitID(machine, key string) string {
	return registry.LeafHash([]byte(machine + "\n" + key))
}

// name gives a record without an identifier one.
func (w *Workshop) name(b registry.Body) {
	if registry.IDOf(b) == "" {
		registry.SetID(b, string(b.Kind())+"-"+w.NewID())
	}
}

// Decode reads a record as a person or a program gives it: an object with its
// kind under "record", optionally its schema version under "schema", and the
// body's fields. It is checked against the schema of its kind.
func (w *Workshop) Decode(kind registry.Kind, data []byte) (registry.Body, error) {
	version := registry.SchemaVersion(kind)
	if version == 0 {
		return nil, registry.Refuse(registry.CodeInvalid, "Use one of the kinds that the documentation lists.", "There are no records of kind %q", string(kind))
	}
	if err := w.Schemas.Validate(kind, version, data); err != nil {
		return nil, err
	}
	return registry.DecodeBody(kind, version, data)
}
