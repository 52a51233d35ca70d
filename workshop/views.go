package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"example.org/asfound/registry"
)

// Views keeps what is derived from the ledger and can be thrown away. Update
// stores entries and the position up to which they hold together.
type Views interface {
	Checkpoint(ctx context.Context) (registry.Position, int, error)
	Update(ctx context.Context, position registry.Position, fn func(tx ViewTx) error) error
	Get(ctx context.Context, key string) ([]byte, bool, error)
	Scan(ctx context.Context, prefix, after string, limit int, fn func(key string, value []byte) error) error
	Reset(ctx context.Context, version int) error
}

// ViewTx is what an Update works on.
type ViewTx = interface {
	Get(key string) ([]byte, bool, error)
	Put(key string, value []byte)
	Delete(key string)
}

// ViewVersion is the version of the derived data. Raise it when the code below
// derives something else; every registry then rebuilds at its next start.
const ViewVersion = 7

// The key families of the views.
const (
	viewMachine = "machine/" // machine id → Summary
	viewLink    = "link/"    // hash of a link's token → machine id
)

// Summary is what a list shows of one machine.
type Summary struct {
	ID       string        `json:"id"`
	Name     string        `json:"name"`
	Make     string        `json:"make"`
	Model    string        `json:"model"`
	Year     registry.Date `json:"year"`
	Invented bool          `json:"invented,omitempty"`
	// Phase is how far the job has come; see PhaseOf.
	Phase    string    `json:"phase"`
	Version  uint64    `json:"version"`
	Recorded time.Time `json:"recorded"` // last event
	// Waiting counts offers that the owner has not answered.
	Waiting int `json:"waiting_for_owner"`
	// Elsewhere says that the record was handed over to another registry.
	Elsewhere bool `json:"kept_elsewhere,omitempty"`
}

// Machines lists the machines of the registry in order of id, at most limit
// (0: all) after the given id.
func (w *Workshop) Machines(ctx context.Context, after string, limit int) ([]Summary, error) {
	if err := w.refresh(ctx); err != nil {
		return nil, err
	}
	if after != "" {
		after = viewMachine + after
	}
	out := []Summary{}
	scanned := limit
	if actingIn(ctx) != nil {
		scanned = 0 // those that are hidden do not count
	}
	err := w.Views.Scan(ctx, viewMachine, after, scanned, func(key string, value []byte) error {
		if MaySee(ctx, key[len(viewMachine):]) != nil {
			return nil
		}
		var s Summary
		if err := json.Unmarshal(value, &s); err != nil {
			return err
		}
		if out = append(out, s); len(out) == limit {
			return errEnough
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return out, err
}

func (w *Workshop) linkMachine(ctx context.Context, hash string) (string, bool, error) {
	if err := w.refresh(ctx); err != nil {
		return "", false, err
	}
	machine, ok, err := w.Views.Get(ctx, viewLink+hash)
	return string(machine), ok, err
}

// Rebuild throws the derived data away and derives it from the ledger again.
// progress is told the number of machines done; it may be nil.
func (w *Workshop) Rebuild(ctx context.Context, progress func(done int)) error {
	w.refreshing.Lock()
	defer w.refreshing.Unlock()
	if err := w.Views.Reset(ctx, ViewVersion); err != nil {
		return err
	}
	return w.catchUp(ctx, progress)
}

// refresh brings the views up to the ledger as it stands at the call. One
// caller does so at a time: while many write, each would otherwise overtake the
// others for ever, and those who wait find the work done.
func (w *Workshop) refresh(ctx context.Context) error {
	end, err := w.Ledger.End(ctx)
	if err != nil {
		return err
	}
	if behind, _, err := w.behind(ctx, end); err != nil || !behind {
		return err
	}
	w.refreshing.Lock()
	defer w.refreshing.Unlock()
	return w.refreshTo(ctx, end)
}

// follow brings the views up to the ledger unless somebody else is at it, who
// may have a whole register before them: every look at the views refreshes
// them anyway, and what was recorded need not wait for it. It says whether the
// views have come so far.
func (w *Workshop) follow(ctx context.Context) bool {
	end, err := w.Ledger.End(ctx)
	if err != nil || !w.refreshing.TryLock() {
		return false
	}
	defer w.refreshing.Unlock()
	return w.refreshTo(ctx, end) == nil // the next look says what is wrong with them
}

// behind says whether the views lack something of what the ledger tells up to a
// position, and gives their version.
func (w *Workshop) behind(ctx context.Context, end registry.Position) (behind bool, version int, err error) {
	at, version, err := w.Views.Checkpoint(ctx)
	if err != nil || version != ViewVersion || at < end {
		return true, version, err
	}
	_, behind, err = w.Views.Get(ctx, viewsBehind)
	return behind, version, err
}

func (w *Workshop) refreshTo(ctx context.Context, end registry.Position) error {
	behind, version, err := w.behind(ctx, end)
	if err != nil || !behind {
		return err
	}
	if version != ViewVersion {
		if err := w.Views.Reset(ctx, ViewVersion); err != nil {
			return err
		}
	}
	return w.catchUp(ctx, nil)
}

// catchUp brings the views up to the ledger. Whoever is overtaken on the way
// begins again from where the other has brought them.
func (w *Workshop) catchUp(ctx context.Context, progress func(done int)) error {
	for try := 1; ; try++ {
		err := w.catchUpOnce(ctx, progress)
		if registry.CodeOf(err) != registry.CodeConflict || try == maxTries {
			return err
		}
	}
}

func (w *Workshop) catchUpOnce(ctx context.Context, progress func(done int)) error {
	from, _, err := w.Views.Checkpoint(ctx)
	if err != nil {
		return err
	}
	end, err := w.Ledger.End(ctx)
	if err != nil || end <= from {
		return err
	}
	ctx = registry.AsItStands(ctx) // as of this end
	var order []mention
	touched := map[string]bool{}
	if err := w.mentions(ctx, from, func(p registry.Position, machine string) error {
		if !touched[machine] {
			touched[machine] = true
			order = append(order, mention{machine, p})
		}
		end = max(end, p)
		return nil
	}); err != nil {
		return err
	}
	return w.deriveAll(ctx, order, from, end, progress)
}

// mentions tells whose record grew at every position after one. Some ledgers
// tell it without reading what was recorded.
func (w *Workshop) mentions(ctx context.Context, after registry.Position, fn func(p registry.Position, machine string) error) error {
	if quick, ok := w.Ledger.(interface {
		Mentions(context.Context, registry.Position, func(registry.Position, string) error) error
	}); ok {
		return quick.Mentions(ctx, after, fn)
	}
	return w.Ledger.ReadAll(ctx, after, func(r registry.Record) error { return fn(r.Position, r.Machine) })
}

// summary is what a list shows of one machine, with the hashes of the tokens of
// its links; false for a machine that nothing is known of yet.
func (w *Workshop) summary(d *registry.Dossier) (Summary, []string, bool) {
	m, ok := d.MachineRecord()
	if !ok {
		return Summary{}, nil, false
	}
	var links []string
	s := Summary{ID: d.ID, Name: m.Name(), Make: m.Make, Model: m.Model, Year: m.Year, Invented: m.Invented,
		Phase: PhaseOf(d), Version: d.Version()}
	_, s.Elsewhere = d.MovedTo(w.Registry)
	for _, e := range d.Entries() {
		s.Recorded = e.Recorded
		var link *registry.Link
		switch b := e.Body.(type) {
		case *registry.Proposal:
			link = b.Link
		case *registry.ChangeRequest:
			link = b.Link
		case *registry.OwnerLink:
			links = append(links, b.Link.TokenHash)
			continue
		default:
			continue
		}
		if link != nil {
			links = append(links, link.TokenHash)
		}
		if _, answered := d.Answer(e.RecordID()); e.Live() && !answered {
			s.Waiting++
		}
	}
	return s, links, true
}

// noteRegister brings what the register knows of many machines together up to
// one machine's record: shared numbers, counts and shared sales.
func (w *Workshop) noteRegister(tx ViewTx, d *registry.Dossier, facets []string) error {
	m, ok := d.MachineRecord()
	if !ok {
		return nil
	}
	return errors.Join(w.noteNumbers(tx, d, m), w.noteCounts(tx, d, m, facets), w.noteSales(tx, d))
}

// PhaseOf says how far the job has come, in words: taken in, surveying,
// surveyed, asking, approved, working, or handed back.
func PhaseOf(d *registry.Dossier) string {
	asked, approved := false, false
	for _, e := range d.Entries() {
		switch e.Body.(type) {
		case *registry.Proposal, *registry.ChangeRequest:
			asked = true
			if a, ok := d.Answer(e.RecordID()); ok && a.Record.Approves() {
				approved = true
			}
		}
	}
	_, sealed := d.Seal()
	switch {
	case len(registry.Live[*registry.HandBack](d)) > 0:
		return "handed back"
	case len(registry.Live[*registry.Work](d)) > 0:
		return "working"
	case approved:
		return "approved"
	case asked:
		return "asking"
	case sealed:
		return "surveyed"
	case len(registry.Live[*registry.Survey](d)) > 0:
		return "surveying"
	}
	return "taken in"
}
