package workshop

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

// NewFault is a fault as somebody complains of it.
type NewFault struct {
	ID         string
	Complaints []string // of the library, seen
	Words      string   // in one's own; the complaint's title when empty
	Components []string // where it shows; guessed from the complaint when empty
	Grave      bool
	By         string
	Valid      registry.Date
}

// AddFault records a fault, and its complaints as seen, in one commit.
// CodeInvalid when no complaint is named, or one that the library does not have.
func (w *Workshop) AddFault(ctx context.Context, req Request, f NewFault) (string, Receipt, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return "", Receipt{}, err
	}
	if len(f.Complaints) == 0 {
		return "", Receipt{}, &registry.Error{Code: registry.CodeInvalid, Message: "It is not said what is wrong",
			Fields: []registry.Field{{Pointer: "/complaint", Allowed: "the complaints of the symptom library", Message: "No complaint is named", Fix: "Choose the one that comes nearest; the words may say more."}}}
	}
	fault := &registry.Fault{Common: registry.Common{ID: f.ID, Valid: f.Valid}, Complaint: f.Words, Components: f.Components, Grave: f.Grave, By: f.By}
	bodies := []registry.Body{fault}
	for i, id := range f.Complaints {
		c, ok := w.Catalog.Complaint(id)
		if !ok {
			return "", Receipt{}, &registry.Error{Code: registry.CodeInvalid, Message: fmt.Sprintf("There is no complaint %q", id),
				Fields: []registry.Field{{Pointer: "/complaint", Found: id, Allowed: "the complaints of the symptom library", Message: "There is no such complaint", Fix: "List the complaints to see their names."}}}
		}
		if fault.ID == "" {
			fault.ID = w.unused(d, id)
		}
		if i == 0 {
			fault.Complaint = orWord(fault.Complaint, c.Title)
		}
		if len(f.Components) == 0 {
			fault.Components = w.shows(d, c)
		}
		bodies = append(bodies, &registry.Finding{Common: registry.Common{Valid: f.Valid}, Fault: fault.ID, Observation: c.Observation, Seen: true, By: f.By})
	}
	receipt, err := w.Record(ctx, req, bodies...)
	return fault.ID, receipt, err
}

// unused makes a name that no record has.
func (w *Workshop) unused(d *registry.Dossier, name string) string {
	for n := 1; ; n++ {
		id := name
		if n > 1 {
			id = fmt.Sprintf("%s-%d", name, n)
		}
		if _, taken := d.Entry(id); !taken {
			return id
		}
	}
}

// shows guesses where a complaint shows: the part in which its likeliest cause
// sits, of those that the machine has.
func (w *Workshop) shows(d *registry.Dossier, c catalog.Complaint) []string {
	o, _ := w.Catalog.Observation(c.Observation)
	var best []string
	most := 0.0
	for _, id := range sortedNames(o.Links) {
		cause, _ := w.Catalog.Cause(id)
		if part := fittedPart(d, cause.Components); part != "" && cause.Prior*o.Links[id] > most {
			best, most = []string{part}, cause.Prior*o.Links[id]
		}
	}
	return best
}

// fittedPart is the first of some components that the machine has; "" when it
// has none.
func fittedPart(d *registry.Dossier, components []string) string {
	i := slices.IndexFunc(components, func(id string) bool { return !d.NotFitted(id) })
	if i < 0 {
		return ""
	}
	return components[i]
}

// OptionDrafts are what could be done about a cause: starting values, to be
// looked at, mended and weighed.
type OptionDrafts struct {
	Machine   string  `json:"machine"`
	Version   uint64  `json:"version"`
	Fault     string  `json:"fault"`
	Cause     NamedID `json:"cause"`
	Confirmed bool    `json:"confirmed"`
	Component NamedID `json:"component"`
	// Options begin with "leave"; the least invasive is next.
	Options []DraftOption `json:"options"`
	// Openings are those of the catalog that the options need and the machine's
	// record does not have yet.
	Openings []*registry.Opening `json:"openings"`
	Notes    []string            `json:"notes"`
}

// DraftOption is a drafted option with what is to be known of its treatment.
type DraftOption struct {
	registry.Option
	TreatmentTitle string          `json:"treatment_title"`
	Reversible     bool            `json:"reversible"`
	OwnApproval    bool            `json:"own_approval"` // the owner must approve the treatment by name
	When           string          `json:"when"`         // go there when
	OpeningTitles  []string        `json:"opening_titles"`
	Cautions       []CautionReport `json:"cautions"`
}

// DraftOptions drafts an option for each treatment of a cause, "leave" first.
// CodeNotFound for a fault or cause that is not there, CodeRefused for a cause
// that was ruled out, CodeInvalid for one in a part that the machine never had.
func (w *Workshop) DraftOptions(ctx context.Context, machine, fault, cause, by string) (*OptionDrafts, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	return w.draftOptions(d, fault, cause, by)
}

func (w *Workshop) draftOptions(d *registry.Dossier, fault, id, by string) (*OptionDrafts, error) {
	f, ok := registry.Get[*registry.Fault](d, fault)
	if !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "List the machine's faults to see their names.", "There is no fault %q", fault)
	}
	cause, ok := w.Catalog.Cause(id)
	if !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "Show the fault to see its causes.", "There is no cause %q", id)
	}
	part := fittedPart(d, cause.Components)
	if part == "" {
		return nil, registry.Refuse(registry.CodeInvalid, "Correct the machine record if it did.", "The machine never had the part in which %q sits", cause.Title)
	}
	out := &OptionDrafts{Machine: d.ID, Version: d.Version(), Fault: f.RecordID(), Cause: NamedID{id, cause.Title}, Component: w.named([]string{part})[0],
		Options: []DraftOption{}, Openings: []*registry.Opening{}, Notes: []string{}}
	for _, x := range d.Findings(fault) {
		if x.Record.Cause == id && !x.Record.Seen {
			return nil, registry.Refuse(registry.CodeRefused, "Correct that finding first, if it was wrong.", "%q was looked for and is ruled out, by %q", cause.Title, x.RecordID())
		}
		out.Confirmed = out.Confirmed || x.Record.Cause == id
	}
	if !out.Confirmed {
		out.Notes = append(out.Notes, "The cause is not confirmed: nobody has recorded that it was seen itself.")
	}
	dr := drafter{search: &search{w: w, d: d, fault: f}, cause: cause, part: part, by: by, out: out}
	cures := slices.Clone(cause.Cures)
	slices.SortStableFunc(cures, func(a, b catalog.Cure) int {
		return w.known().treatments[a.Treatment].Rung - w.known().treatments[b.Treatment].Rung
	})
	dr.draft(catalog.Cure{Treatment: "leave"})
	for _, c := range cures {
		dr.draft(c)
	}
	out.Notes = append(out.Notes, "Hours, money and chances are the catalog's assumptions for a machine that gives way: look at each, mend it, and then weigh.")
	return out, nil
}

type drafter struct {
	*search
	cause catalog.Cause
	part  string
	by    string
	out   *OptionDrafts
}

func (dr *drafter) draft(cure catalog.Cure) {
	t, ok := dr.w.Catalog.Treatment(cure.Treatment)
	if !ok {
		return
	}
	if slices.ContainsFunc(registry.Live[*registry.Option](dr.d), func(o registry.Found[*registry.Option]) bool {
		of, ok := registry.Get[*registry.Fault](dr.d, o.Record.Fault)
		return ok && of.RecordID() == dr.out.Fault && o.Record.Treatment == t.ID
	}) {
		dr.out.Notes = append(dr.out.Notes, fmt.Sprintf("An option to %s is on record for this fault already, and is not drafted again.", t.Title))
		return
	}
	works := cure.Chance
	o := registry.Option{Common: registry.Common{ID: dr.w.unused(dr.d, dr.out.Fault+"-"+t.ID)}, Fault: dr.out.Fault, Treatment: t.ID,
		Title: t.Title + ": " + dr.out.Component.Name, Why: t.Sentence, Undo: t.Undo, By: dr.by, Changes: dr.changes(t)}
	switch trial, tried := dr.trial(t.ID); {
	case t.ID == "leave":
		o.Works, o.Undo = &works, "" // it cures nothing
	case tried:
		o.Title, o.Why, o.Hours, o.Money = trial.Title, trial.How, hundredths(trial.Minutes/60), trial.Money
		for _, what := range trial.Consumables {
			o.Needs = append(o.Needs, registry.Need{What: what})
		}
		dr.open(&o, trial.Openings)
	default:
		dr.out.Notes = append(dr.out.Notes, fmt.Sprintf("The catalog does not say how long it takes to %s: the hours are to be filled in.", t.Title))
		if slices.Contains(t.Acts, "open") || t.ReplacesPart {
			dr.open(&o, dr.behind())
		}
	}
	if t.ID != "leave" {
		for _, what := range t.InHandFirst {
			o.Needs = append(o.Needs, registry.Need{What: strings.TrimSuffix(what, ".")})
		}
		if cure.Chance > 0 {
			o.Works = &works
		} else {
			dr.out.Notes = append(dr.out.Notes, fmt.Sprintf("Nobody says how likely it is that to %s cures it: give a chance before you plan.", t.Title))
		}
	}
	x := DraftOption{Option: o, TreatmentTitle: t.Title, Reversible: dr.w.reversible(t.ID), OwnApproval: t.NeedsOwnApproval, When: t.When, OpeningTitles: []string{},
		Cautions: dr.w.cautionsFor(o)}
	for _, id := range o.Openings {
		x.OpeningTitles = append(x.OpeningTitles, dr.openingRecord(id).Title)
	}
	dr.out.Options = append(dr.out.Options, x)
}

// trial is the test of the library that tries a treatment of the cause.
func (dr *drafter) trial(treatment string) (catalog.FaultTest, bool) {
	for _, t := range dr.w.Catalog.FaultTests() {
		if t.Repairs != nil && t.Repairs.Cause == dr.cause.ID && t.Repairs.Treatment == treatment {
			return t, true
		}
	}
	return catalog.FaultTest{}, false
}

// changes are what a treatment does to the part, for the questions that count
// there: the states after it, or the middle of the share that it keeps.
func (dr *drafter) changes(t catalog.Treatment) []registry.Change {
	var out []registry.Change
	part, _ := dr.w.component(dr.part)
	for _, name := range indexNames {
		p := indexQuestion[name]
		if part.weight(name) == 0 {
			continue
		}
		c := registry.Change{Component: part.ID, Proposition: p, Removes: t.ReplacesPart}
		if after, ok := t.After[p]; ok {
			c.After = after
			if t.ReplacesPart {
				c.Keep = t.Promise()
			}
		} else if keeps, ok := t.Keeps[p]; ok && len(keeps) == 2 && keeps[0]+keeps[1] < 2 {
			middle := (keeps[0] + keeps[1]) / 2
			c.Keeps = &middle
		} else {
			continue
		}
		out = append(out, c)
	}
	return out
}

// behind is the least work that lays the part open.
func (dr *drafter) behind() []string {
	var best catalog.Opening
	for _, o := range dr.w.Catalog.Openings() {
		if slices.Contains(o.Behind, dr.part) && (best.ID == "" || o.Hours < best.Hours) {
			best = o
		}
	}
	if best.ID == "" {
		return nil
	}
	return []string{best.ID}
}

// open sets the openings of an option, and lists those that the machine's record
// lacks.
func (dr *drafter) open(o *registry.Option, openings []string) {
	var lack func(id string)
	lack = func(id string) {
		if _, ok := registry.Get[*registry.Opening](dr.d, id); ok || slices.ContainsFunc(dr.out.Openings, func(x *registry.Opening) bool { return x.ID == id }) {
			return
		}
		opening := dr.openingRecord(id)
		if opening == nil {
			return
		}
		for _, before := range opening.Requires {
			lack(before)
		}
		dr.out.Openings = append(dr.out.Openings, opening)
	}
	for _, id := range openings {
		lack(id)
	}
	o.Openings = slices.Clone(openings)
}

// Bodies are the drafts as records, with the openings that they need first.
// pick chooses and mends them; nil takes all.
func (o *OptionDrafts) Bodies(pick func(*registry.Option) bool) []registry.Body {
	var options []registry.Body
	needed := map[string]bool{}
	for _, x := range o.Options {
		option := x.Option
		if pick != nil && !pick(&option) {
			continue
		}
		options = append(options, &option)
		for _, id := range option.Openings {
			needed[id] = true
		}
	}
	var out []registry.Body
	for i := len(o.Openings) - 1; i >= 0; i-- { // what comes before stands before
		if opening := o.Openings[i]; needed[opening.ID] {
			for _, before := range opening.Requires {
				needed[before] = true
			}
		}
	}
	for _, opening := range o.Openings {
		if needed[opening.ID] {
			out = append(out, opening)
		}
	}
	return append(out, options...)
}
