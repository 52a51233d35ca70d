package workshop

import (
	"context"

	"example.org/asfound/registry"
)

// Erase destroys what is withheld of a person of one machine: the person's key,
// and name and address in every version of the record. The record itself says
// so and stays as it was; where the name stood in a text, the role stands.
// Pictures and texts in which somebody wrote the name otherwise are for a person
// to look through. What a stop of the program leaves half done is finished by
// FinishErasures. CodeNotFound without such a person or when nothing is stored
// any more.
func (w *Workshop) Erase(ctx context.Context, req Request, person, why string) (Receipt, error) {
	w.erasing.Lock()
	defer w.erasing.Unlock()
	d, err := w.replay(ctx, req.Machine)
	if err != nil {
		return Receipt{}, err
	}
	holders := registry.Holders(d, req.Machine)
	var stored []string
	for _, digest := range registry.PersonDigests(d, person) {
		has, err := w.Private.Has(ctx, digest)
		if err != nil {
			return Receipt{}, err
		}
		if has {
			stored = append(stored, digest)
			err = w.Private.Seal(ctx, digest, holders[digest])
		}
		if err != nil {
			return Receipt{}, err
		}
	}
	if len(stored) == 0 {
		return Receipt{}, registry.Refuse(registry.CodeNotFound, "The machine's page lists its people.", "Nothing is stored of a person %q of this machine", person)
	}
	if err := w.Private.Erasing(req.Machine, true); err != nil {
		return Receipt{}, err
	}
	req.own = true
	receipt, err := w.Record(ctx, req, &registry.Erasure{Person: person, Digests: stored, Means: registry.MeansKey, Why: why, By: req.Actor})
	if err != nil {
		return receipt, err // whether it stands is seen when the registry is opened next
	}
	return receipt, w.forget(ctx, req.Machine, stored)
}

// forget destroys documents with their keys, and what was read of them.
func (w *Workshop) forget(ctx context.Context, machine string, digests []string) error {
	if err := w.Private.Destroy(ctx, digests); err != nil {
		return err
	}
	w.histories.drop(machine)
	w.refreshing.Lock()
	defer w.refreshing.Unlock()
	at, _, err := w.Views.Checkpoint(ctx)
	if err != nil {
		return err
	}
	if err := w.deriveAll(ctx, []mention{{machine, at + 1}}, at, at, nil); err != nil {
		return err
	}
	return w.Private.Erasing(machine, false)
}

// FinishErasures destroys what a record says was erased and is still stored, as
// after bringing a backup back. After an erasure that was interrupted, which a
// note of Documents.Erasing tells, the views are derived anew even when nothing
// is stored any more.
func (w *Workshop) FinishErasures(ctx context.Context, machine string, interrupted bool) error {
	w.erasing.Lock()
	defer w.erasing.Unlock()
	d, err := w.replay(ctx, machine)
	if err != nil {
		return err
	}
	var left []string
	for digest := range registry.Erased(d) {
		if has, err := w.Private.Has(ctx, digest); err != nil {
			return err
		} else if has || interrupted {
			left = append(left, digest)
		}
	}
	if len(left) == 0 {
		return w.Private.Erasing(machine, false)
	}
	return w.forget(ctx, machine, left)
}

// SealPrivate seals what a machine's record withholds and is still stored plain.
func (w *Workshop) SealPrivate(ctx context.Context, machine string) error {
	d, err := w.replay(ctx, machine)
	if err != nil {
		return err
	}
	for digest, holder := range registry.Holders(d, machine) {
		if err := w.Private.Seal(ctx, digest, holder); err != nil {
			return err
		}
	}
	return nil
}

// PersonData is all that is kept of one person of a machine.
type PersonData struct {
	Machine string        `json:"machine"`
	Person  string        `json:"person"`
	Role    string        `json:"role"`
	Name    string        `json:"name"`
	Contact string        `json:"contact,omitempty"`
	Erased  bool          `json:"erased,omitempty"`
	Records []PersonEntry `json:"records"`
}

// PersonEntry is one record that names a person.
type PersonEntry struct {
	Event string `json:"event"`
	Kind  string `json:"kind"`
	Says  string `json:"says"`
	On    string `json:"on"`
}

// PersonData gathers what the record of a machine holds of a person, for the
// person to have: the values, and every record by or about them. CodeNotFound
// without such a person.
func (w *Workshop) PersonData(ctx context.Context, machine, person string) (PersonData, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return PersonData{}, err
	}
	p, ok := registry.Get[*registry.Person](d, person)
	if !ok {
		return PersonData{}, registry.Refuse(registry.CodeNotFound, "The machine's page lists its people.", "There is no person %q on this machine's record", person)
	}
	out := PersonData{Machine: machine, Person: person, Role: p.Record.Role, Name: p.Record.Name.Value, Contact: p.Record.Contact.Value, Records: []PersonEntry{}}
	erased := registry.Erased(d)
	out.Erased = erased[p.Record.Name.Digest]
	report, err := w.Report(ctx, machine, ReportOptions{})
	if err != nil {
		return PersonData{}, err
	}
	says := map[uint64]string{}
	for _, l := range report.Timeline {
		says[l.Version] = l.Text
	}
	for _, e := range d.Entries() {
		if e.Actor == person || registry.NamesPerson(e.Body, person) {
			out.Records = append(out.Records, PersonEntry{e.ID, string(e.Kind), says[e.Version], e.Recorded.UTC().Format("2006-01-02T15:04:05Z")})
		}
	}
	return out, nil
}
