package workshop

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// HandOver records that a machine's record goes to another registry: under the
// owner's permission when there is one, and for a stated reason when there is
// none. Asked again, it records nothing more.
func (w *Workshop) HandOver(ctx context.Context, req Request, because string) (Receipt, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return Receipt{}, err
	}
	if last, moved := d.MovedTo(w.Registry); moved && last.Record.Direction == registry.TransferOut && last.Record.Registry == w.Registry {
		return Receipt{Machine: req.Machine, Version: d.Version(), Repeated: true}, nil
	}
	t := &registry.Transfer{Direction: registry.TransferOut, Registry: w.Registry, Because: strings.TrimSpace(because), By: req.Actor}
	if p, ok := d.Permitted(registry.ForTransfer); ok {
		t.Permission = p.RecordID()
	} else if t.Because == "" {
		return Receipt{}, registry.Refuse(registry.CodeNotApproved, "Record the owner's permission, or say with a reason why it goes without one.", "The owner has not permitted that the record of %s goes to another registry", req.Machine)
	}
	req.own = true
	return w.Record(ctx, req, t)
}

// TakeBackHandOver withdraws a handing over that nobody has answered.
func (w *Workshop) TakeBackHandOver(ctx context.Context, req Request, why string) (Receipt, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return Receipt{}, err
	}
	last, moved := d.MovedTo(w.Registry)
	switch {
	case !moved:
		return Receipt{}, registry.Refuse(registry.CodeNotFound, "", "The record of %s was not handed over", req.Machine)
	case last.Record.Direction == registry.TransferIn:
		return Receipt{}, registry.Refuse(registry.CodeRefused, "Ask that registry to hand it back.", "The record of %s was taken over by %s", req.Machine, last.Record.Registry)
	}
	req.own = true
	return w.Record(ctx, req, &registry.Withdrawal{Record: last.RecordID(), Why: why, By: req.Actor})
}

// Handed is a machine's record as another registry has handed it over, whose
// signatures and digests were checked before.
type Handed struct {
	Events [][]byte
	From   registry.Handover
}

// TakeOver appends a history that was handed over, byte for byte, and records
// where it came from. Pictures and withheld values must be in their stores
// before. What is there already is not appended again, so that an interrupted
// transfer can be repeated, and a finished one is a no-op. Codes: CodeConflict
// when the registry has another history of that name, CodeRefused for a record
// that was not handed over, CodeUnsupported for one of a newer program.
func (w *Workshop) TakeOver(ctx context.Context, req Request, h Handed) (Receipt, error) {
	d, err := registry.Replay(req.Machine, h.Events, time.Time{})
	if err != nil {
		return Receipt{}, err
	}
	in := &registry.Transfer{Direction: registry.TransferIn, Registry: w.Registry, From: &h.From, Lacks: w.lacks(d)}
	if _, ok := registry.Get[*registry.Person](d, req.Actor); ok {
		in.By = req.Actor
	}
	have, err := w.Events(ctx, req.Machine)
	if err != nil {
		return Receipt{}, err
	}
	same := 0
	for same < min(len(have), len(h.Events)) && bytes.Equal(have[same], h.Events[same]) {
		same++
	}
	req.Key = "taken over " + h.From.Root
	if len(have) > len(h.Events) && same == len(h.Events) {
		if before, ok, err := w.Recorded(ctx, req.Machine, req.Key); err != nil || ok {
			return before, err
		}
	}
	if same < len(have) {
		return Receipt{}, registry.Refuse(registry.CodeConflict, "Nothing was changed. Ask both registries which of the two is the machine's.",
			"This registry has another history of a machine %q: it differs from event %d on", req.Machine, same+1)
	}
	if last, out := d.MovedTo(w.Registry); out && last.Record.Registry == w.Registry && len(have) == len(h.Events) {
		return Receipt{}, registry.Refuse(registry.CodeRefused, "If no other registry has taken it over, take the handing over back instead.", "This registry has handed the record of %s over itself", req.Machine)
	}
	// Everything is decided before anything is written.
	trial := clone(in)
	registry.SetID(trial, "transfer-"+w.NewID())
	if err := registry.Decide(d, w.rules(), registry.Act{At: w.Now().UTC(), Actor: req.Actor, Body: trial}); err != nil {
		return Receipt{}, err
	}
	for rest := h.Events[same:]; len(rest) > 0; {
		n, size := 0, 0
		for n < len(rest) && size+len(rest[n]) <= registry.MaxCommitBytes {
			size += len(rest[n])
			n++
		}
		part := rest[:max(n, 1)]
		stored, err := w.Ledger.Append(ctx, registry.Commit{ID: registry.LeafHash(bytes.Join(part, []byte("\n"))), Machine: req.Machine, Expect: uint64(len(h.Events) - len(rest)), Events: part})
		if err != nil {
			return Receipt{}, err
		}
		if stored.Duplicate {
			return Receipt{}, registry.Refuse(registry.CodeConflict, "Repeat it.", "Somebody else is taking the same record over")
		}
		rest = rest[len(part):]
	}
	req.own = true
	return w.Record(ctx, req, in)
}

// lacks are the catalogs behind a record's figures that this registry does not
// have in the same version.
func (w *Workshop) lacks(d *registry.Dossier) []string {
	var out []string
	ours := strings.Split(w.catalogIdentity(), ", ")
	for _, e := range d.Entries() {
		for _, x := range registry.Estimates(e.Body) {
			for _, part := range strings.Split(x.Catalog, ", ") {
				if !strings.HasPrefix(part, "sha256:") && part != "" && !slices.Contains(ours, part) && !slices.Contains(out, part) {
					out = append(out, part)
				}
			}
		}
	}
	slices.Sort(out)
	return out
}

// TakenOver appends the event with which another registry has taken a record
// over, so that this copy says so and is not taken back. root and size are what
// that registry signed. CodeRefused when they are not of this history and the
// event.
func (w *Workshop) TakenOver(ctx context.Context, machine string, event []byte, size uint64, root string) (Receipt, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return Receipt{}, err
	}
	events, err := w.Events(ctx, machine)
	if err != nil {
		return Receipt{}, err
	}
	if n := len(events); n > 0 && bytes.Equal(events[n-1], event) {
		return Receipt{Machine: machine, Version: d.Version(), Repeated: true}, nil
	}
	history := registry.History{Machine: machine}
	notOfThis := registry.Refuse(registry.CodeRefused, "Ask the other registry for its receipt again.", "The receipt is not of this history")
	for i, e := range append(slices.Clone(events), event) {
		if _, err := history.Add(e); err != nil && i == len(events) {
			return Receipt{}, notOfThis
		} else if err != nil {
			return Receipt{}, err
		}
	}
	got, err := history.Tree().Root(history.Tree().Size())
	if err != nil {
		return Receipt{}, err
	}
	if got != root || history.Version() != size {
		return Receipt{}, notOfThis
	}
	e, err := registry.DecodeEvent(event)
	if err != nil {
		return Receipt{}, err
	}
	body, err := registry.DecodeBody(e.Kind, e.Schema, e.Body)
	if err != nil {
		return Receipt{}, err
	}
	t, ok := body.(*registry.Transfer)
	last, moved := d.MovedTo(w.Registry)
	if !ok || t.Direction != registry.TransferIn || !moved || last.Record.Direction != registry.TransferOut {
		return Receipt{}, registry.Refuse(registry.CodeRefused, "", "The receipt is of no record that was handed over here")
	}
	stored, err := w.Ledger.Append(ctx, registry.Commit{ID: registry.LeafHash(event), Machine: machine, Expect: d.Version(), Events: [][]byte{event}})
	if err != nil {
		return Receipt{}, err
	}
	_ = w.refresh(ctx) // the next look catches up
	return Receipt{Machine: machine, Version: stored.Head.Version, Records: []RecordReceipt{{Kind: e.Kind, ID: registry.IDOf(body), Event: e.ID, Hash: registry.LeafHash(event)}}}, nil
}
