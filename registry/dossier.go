package registry

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"iter"
	"slices"
	"time"
)

// Entry is one record in a dossier.
type Entry struct {
	Meta
	Body Body
	// SupersededBy and WithdrawnBy name the records that took it out of force.
	SupersededBy string
	WithdrawnBy  string
}

// Live says whether the record still counts.
func (e *Entry) Live() bool { return e.SupersededBy == "" && e.WithdrawnBy == "" }

// RecordID is the record's own identifier.
func (e *Entry) RecordID() string { return e.Body.common().ID }

// Valid is when it was so.
func (e *Entry) Valid() Date { return e.Body.common().Valid }

// Note is the record's note.
func (e *Entry) Note() string { return e.Body.common().Note }

// Dossier is everything that is known of one machine, as of some moment. It is
// made by Replay and grows by Apply.
type Dossier struct {
	ID      string
	entries []*Entry
	byID    map[string]*Entry
	byKind  map[Kind][]*Entry
	version uint64
	last    string
}

// NewDossier makes the empty dossier of a machine that nothing is known of.
func NewDossier(machine string) *Dossier {
	return &Dossier{ID: machine, byID: map[string]*Entry{}, byKind: map[Kind][]*Entry{}}
}

// Replay reads a history. Events that were recorded after knownAt are checked
// and then left out; a zero knownAt leaves nothing out. CodeTampered when the
// bytes are not what was written, CodeUnsupported for kinds of a newer program.
func Replay(machine string, events [][]byte, knownAt time.Time) (*Dossier, error) {
	r := NewReplayer(machine)
	if err := r.Add(events...); err != nil {
		return nil, err
	}
	if knownAt.IsZero() {
		return r.dossier, nil
	}
	return r.dossier.Known(knownAt), nil
}

// Replayer reads a history, and can go on when more is appended.
type Replayer struct {
	history History
	dossier *Dossier
}

// NewReplayer begins the history of a machine.
func NewReplayer(machine string) *Replayer {
	return &Replayer{history: History{Machine: machine}, dossier: NewDossier(machine)}
}

// Version is the number of events read so far.
func (r *Replayer) Version() uint64 { return r.history.Version() }

// Add takes the next events' stored bytes; see Replay for the codes. Reading
// their JSON takes most of the time, so parts of many are read side by side.
func (r *Replayer) Add(events ...[]byte) error {
	const part = 128
	var parts []chan decodedPart
	for rest := events; len(rest) > 0; rest = rest[min(part, len(rest)):] {
		own, ready := rest[:min(part, len(rest))], make(chan decodedPart, 1)
		parts = append(parts, ready)
		if len(events) <= part {
			ready <- decodedPart{events: decodeEvents(own)}
		} else {
			go func() {
				var p decodedPart
				defer func() { p.panicked = recover(); ready <- p }()
				p.events = decodeEvents(own)
			}()
		}
	}
	for i, ready := range parts {
		p := <-ready
		if p.panicked != nil {
			panic(p.panicked) // where whoever asked can catch it
		}
		for k, e := range p.events {
			if err := r.apply(events[i*part+k], e); err != nil {
				return err
			}
		}
	}
	return nil
}

// decodedPart is what became of a part that was read beside others.
type decodedPart struct {
	events   []decodedEvent
	panicked any
}

// decodedEvent is an event as its bytes alone say it.
type decodedEvent struct {
	envelope Envelope
	body     Body
	// unread is why there is no envelope, and bodiless why there is no body.
	unread, bodiless error
}

func decodeEvents(events [][]byte) []decodedEvent {
	out := make([]decodedEvent, len(events))
	for i, event := range events {
		e := &out[i]
		if quick, ok := quickEnvelope(event); ok {
			e.envelope = quick
			if e.body, e.bodiless = DecodeBody(quick.Kind, quick.Schema, quick.Body); e.bodiless == nil {
				continue
			}
		}
		if e.envelope, e.unread = DecodeEvent(event); e.unread == nil {
			e.body, e.bodiless = DecodeBody(e.envelope.Kind, e.envelope.Schema, e.envelope.Body)
		}
	}
	return out
}

func (r *Replayer) apply(event []byte, e decodedEvent) error {
	env, err := r.history.take(event, e.envelope, e.unread)
	if err != nil {
		return err
	}
	if e.bodiless != nil {
		return e.bodiless
	}
	r.dossier.Apply(Meta{Version: env.Version, ID: env.ID, Recorded: env.Recorded, Actor: env.Actor, Kind: env.Kind, Hash: r.history.Last()}, e.body)
	return nil
}

// Dossier is a copy of what has been read so far. The copy may grow by itself;
// the bodies of its records are shared and must not be changed.
func (r *Replayer) Dossier() *Dossier { return r.dossier.where(func(*Entry) bool { return true }) }

// where copies a dossier with those records for which keep says yes.
func (d *Dossier) where(keep func(*Entry) bool) *Dossier {
	out := NewDossier(d.ID)
	for _, e := range d.entries {
		if keep(e) {
			out.Apply(e.Meta, e.Body)
		}
	}
	out.version, out.last = d.version, d.last
	return out
}

// Known is the dossier as far as was known at a moment: what was recorded later
// is left out.
func (d *Dossier) Known(at time.Time) *Dossier {
	return d.where(func(e *Entry) bool { return !e.Recorded.After(at) })
}

// Apply adds a record that was decided or stored.
func (d *Dossier) Apply(m Meta, b Body) {
	e := &Entry{Meta: m, Body: b}
	if m.Version > d.version {
		d.version, d.last = m.Version, m.Hash
	}
	c := b.common()
	if old := d.byID[c.Supersedes]; old != nil {
		old.SupersededBy = c.ID
	}
	if w, ok := b.(*Withdrawal); ok {
		if old := d.byID[w.Record]; old != nil {
			old.WithdrawnBy = c.ID
		}
	}
	d.entries = append(d.entries, e)
	d.byID[c.ID] = e
	d.byKind[m.Kind] = append(d.byKind[m.Kind], e)
}

// Version is the number of events in the whole history, including those that
// a known-at date left out.
func (d *Dossier) Version() uint64 { return d.version }

// Last is the leaf hash of the history's last event.
func (d *Dossier) Last() string { return d.last }

// Entries lists every record in the order of recording. The caller must not
// change the slice.
func (d *Dossier) Entries() []*Entry { return d.entries }

// Entry finds a record by its id, whether or not it is live.
func (d *Dossier) Entry(id string) (*Entry, bool) {
	e, ok := d.byID[id]
	return e, ok
}

// AsOf is the dossier as the machine stood on a day: records whose validity
// certainly begins later are left out. Records without a date, and everything
// that is said about the past as such, stay.
func (d *Dossier) AsOf(t time.Time) *Dossier {
	return d.where(func(e *Entry) bool { return e.Valid().StartsBy(t) })
}

// Found is a record of one kind with its entry.
type Found[T Body] struct {
	*Entry
	Record T
}

// Live lists the live records of one kind, oldest first.
func Live[T Body](d *Dossier) []Found[T] { return slices.Collect(EachLive[T](d)) }

// EachLive goes through what Live lists.
func EachLive[T Body](d *Dossier) iter.Seq[Found[T]] { return records[T](d, true) }

// All lists the records of one kind, those out of force too, oldest first.
func All[T Body](d *Dossier) []Found[T] { return slices.Collect(records[T](d, false)) }

func records[T Body](d *Dossier, live bool) iter.Seq[Found[T]] {
	return func(yield func(Found[T]) bool) {
		var zero T
		for _, e := range d.byKind[zero.Kind()] {
			if b, ok := e.Body.(T); ok && (!live || e.Live()) && !yield(Found[T]{e, b}) {
				return
			}
		}
	}
}

// latest gives the last live record of one kind.
func latest[T Body](d *Dossier) (last T, found bool) {
	entries := d.byKind[last.Kind()]
	for i := len(entries) - 1; i >= 0; i-- {
		if b, ok := entries[i].Body.(T); ok && entries[i].Live() {
			return b, true
		}
	}
	return last, false
}

// Get finds a record of one kind by id, following supersession to the live one.
func Get[T Body](d *Dossier, id string) (Found[T], bool) {
	e := d.byID[id]
	for e != nil && e.SupersededBy != "" {
		e = d.byID[e.SupersededBy]
	}
	if e == nil || e.WithdrawnBy != "" {
		return Found[T]{}, false
	}
	b, ok := e.Body.(T)
	return Found[T]{e, b}, ok
}

// MachineRecord gives the live machine record; false before the take-in.
func (d *Dossier) MachineRecord() (*Machine, bool) {
	return latest[*Machine](d)
}

// Agreement gives the live custody agreement; false when there is none.
func (d *Dossier) Agreement() (*CustodyAgreement, bool) {
	return latest[*CustodyAgreement](d)
}

// Seal gives the seal of the as-found survey; false while it is open.
func (d *Dossier) Seal() (Found[*SurveySeal], bool) {
	ss := Live[*SurveySeal](d)
	if len(ss) == 0 {
		return Found[*SurveySeal]{}, false
	}
	return ss[0], true
}

// SurveyOf gives the live survey entry of a component.
func (d *Dossier) SurveyOf(component string) (Found[*Survey], bool) {
	for _, e := range d.byKind["survey"] {
		if s, ok := e.Body.(*Survey); ok && s.Component == component && e.Live() {
			return Found[*Survey]{e, s}, true
		}
	}
	return Found[*Survey]{}, false
}

// SurveyDigest is "sha256:…" over the leaf hashes of the live survey entries
// and joints, in the order of recording.
func (d *Dossier) SurveyDigest() string {
	h := sha256.New()
	for _, e := range d.entries {
		switch e.Body.(type) {
		case *Survey, *Joint:
			if e.Live() {
				h.Write([]byte(e.Hash + "\n"))
			}
		}
	}
	return "sha256:" + hex.EncodeToString(h.Sum(nil))
}

// NotFitted says whether this type of machine never had the component.
func (d *Dossier) NotFitted(component string) bool {
	m, ok := d.MachineRecord()
	if !ok {
		return false
	}
	for _, c := range m.NotFitted {
		if c == component {
			return true
		}
	}
	return false
}

// current follows a record's corrections to the identifier of the last one.
func (d *Dossier) current(id string) string {
	for e := d.byID[id]; e != nil && e.SupersededBy != ""; e = d.byID[id] {
		id = e.SupersededBy
	}
	return id
}

// inPlace lists live entries of some kinds in the order in which things
// happened here: a correction stands where the record stood that it corrects.
func (d *Dossier) inPlace(ks ...Kind) []*Entry {
	place := func(e *Entry) uint64 {
		for old := d.byID[e.Body.common().Supersedes]; old != nil && old.Version < e.Version; old = d.byID[e.Body.common().Supersedes] {
			e = old
		}
		return e.Version
	}
	var out []*Entry
	for _, k := range ks {
		for _, e := range d.byKind[k] {
			if e.Live() {
				out = append(out, e)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *Entry) int { return cmp.Compare(place(a), place(b)) })
	return out
}

// Custody says where a removed part is now; "" when there is no such part.
func (d *Dossier) Custody(part string) string { return d.custodyWithout(part, "") }

// custodyWithout is Custody as it would be without one move.
func (d *Dossier) custodyWithout(part, move string) string {
	r, ok := Get[*RemovedPart](d, part)
	if !ok {
		return ""
	}
	custody := r.Record.Custody
	for _, e := range d.inPlace("part-move") {
		if m := e.Body.(*PartMove); d.current(m.Part) == r.RecordID() && m.ID != move {
			custody = m.Custody
		}
	}
	return custody
}

// Layer is one change that work made to a component and that still stands.
type Layer struct {
	Work    Found[*Work]
	Change  Change
	Removed string // the removed part's record, "" when nothing was tagged
	Custody string // where that part is now
}

// Layers lists the changes to one question about one component, oldest first.
// Work whose removed part went back is undone and no longer among them.
func (d *Dossier) Layers(component string, p Proposition) []Layer {
	var out []Layer
	for _, w := range Live[*Work](d) {
		for _, c := range w.Record.Changes {
			if c.Component != component || c.Proposition != p {
				continue
			}
			layer := Layer{Work: w, Change: c}
			if part, ok := d.removedBy(w.RecordID(), component); ok {
				layer.Removed, layer.Custody = part, d.Custody(part)
				if layer.Custody == "fitted" {
					continue
				}
			}
			out = append(out, layer)
		}
	}
	return out
}

// removedBy finds the part that one work entry took off one component.
func (d *Dossier) removedBy(work, component string) (string, bool) {
	for _, r := range Live[*RemovedPart](d) {
		if d.current(r.Record.Work) == d.current(work) && r.Record.Component == component {
			return r.RecordID(), true
		}
	}
	return "", false
}

// FunctionOf is how a component works by the latest survey entry or check that
// speaks of it, "not-tested" when none does. Work that fits a part, and a part
// that goes back, set it back to "not-tested".
func (d *Dossier) FunctionOf(component string) string {
	return cmp.Or(d.Functions()[component], "not-tested")
}

// Functions is FunctionOf of every component that anything speaks of, by id.
func (d *Dossier) Functions() map[string]string {
	out := map[string]string{}
	for _, e := range d.inPlace("survey", "work", "check", "part-move") {
		switch b := e.Body.(type) {
		case *Survey:
			if b.Function != "" {
				out[b.Component] = b.Function
			}
		case *Work:
			for _, f := range b.Fitted {
				out[f.Component] = "not-tested"
			}
		case *PartMove:
			if part, ok := Get[*RemovedPart](d, b.Part); ok && b.Custody == "fitted" {
				out[part.Record.Component] = "not-tested"
			}
		case *Check:
			for _, c := range b.Components {
				switch b.Outcome {
				case "passed":
					out[c] = "works"
				case "failed":
					out[c] = "fails"
				}
			}
		}
	}
	return out
}

// FittingsOf lists the live fittings of a component in order of time.
func (d *Dossier) FittingsOf(component string) []Found[*Fitting] {
	var out []Found[*Fitting]
	for _, f := range Live[*Fitting](d) {
		if f.Record.Component != component {
			continue
		}
		i := len(out)
		for i > 0 && CompareDates(f.Record.Valid, out[i-1].Record.Valid) < 0 {
			i--
		}
		out = append(out[:i], append([]Found[*Fitting]{f}, out[i:]...)...)
	}
	return out
}

// FittedOn gives the fitting that covers a day, if one is known.
func (d *Dossier) FittedOn(component string, t time.Time) (Found[*Fitting], bool) {
	for _, f := range d.FittingsOf(component) {
		span, err := f.Record.Valid.Span()
		if err == nil && !span.First.After(day(t)) && (span.Last.IsZero() || !span.Last.Before(day(t))) {
			return f, true
		}
	}
	return Found[*Fitting]{}, false
}

// GatesPassed lists the gates that stand, in the order of passing.
func (d *Dossier) GatesPassed(r *Rules) []Found[*Gate] {
	order := map[string]int{}
	for i, g := range r.Gates {
		order[g.ID] = i
	}
	var out []Found[*Gate]
	for _, e := range d.entries {
		if !e.Live() {
			continue
		}
		switch b := e.Body.(type) {
		case *Gate:
			out = append(out, Found[*Gate]{e, b})
		case *GateTakenBack:
			var kept []Found[*Gate]
			for _, g := range out {
				if order[g.Record.Gate] < order[b.Gate] {
					kept = append(kept, g)
				}
			}
			out = kept
		}
	}
	return out
}
