package workshop

import (
	"context"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// List is a list as a sheet: headings that name the unit where there is one,
// and rows of texts and numbers. Dates are ISO 8601, as precise as they are
// known.
type List struct {
	Name     string
	Headings []string
	// Each calls fn for each row: string, float64, int, or nil for nothing.
	Each func(fn func(cells []any) error) error
}

// ListKind is one list of a machine.
type ListKind struct {
	Name  string // in the file's name and the address
	Title string
}

// ListsOf are the lists of a machine that can be had as sheets, in an edition.
func ListsOf(public bool) []ListKind {
	out := []ListKind{
		{"components", "The components, with what is thought of each"},
		{"faults", "The faults"},
		{"removed-parts", "The removed parts, and where they are"},
		{"evidence", "The evidence"},
		{"work", "The work done"},
	}
	if !public {
		// It tells where parts are had, and from whom.
		out = append(out, ListKind{partsNeeded, "What must be in hand"})
	}
	return out
}

const partsNeeded = "parts-needed"

// listStep is how many machines are read at once for a list.
const listStep = 500

// ListMachines is the list of all machines.
func (w *Workshop) ListMachines(ctx context.Context) List {
	return List{Name: "machines", Headings: append(summaryHeadings(), "questions that wait for the owner (count)"), Each: func(fn func([]any) error) error {
		for after := ""; ; {
			page, err := w.Machines(ctx, after, listStep)
			if err != nil {
				return err
			}
			for _, m := range page {
				if err := fn(append(summaryCells(m), m.Waiting)); err != nil {
					return err
				}
			}
			if len(page) < listStep {
				return nil
			}
			after = page[len(page)-1].ID
		}
	}}
}

func summaryHeadings() []string {
	return []string{"machine", "name", "make", "model", "year (ISO 8601 or EDTF)", "phase", "records (count)", "last recorded (UTC)", "invented"}
}

func summaryCells(m Summary) []any {
	return []any{m.ID, m.Name, m.Make, m.Model, string(m.Year), m.Phase, int(m.Version), m.Recorded.UTC().Format(time.RFC3339), yesNo(m.Invented)}
}

// ListFound is what a search finds, all pages of it.
func (w *Workshop) ListFound(ctx context.Context, q FindQuestion) (List, error) {
	q.Limit, q.After = MaxHits, ""
	// What is wrong with the question is told before anything is written.
	first, err := w.Find(ctx, q)
	if err != nil {
		return List{}, err
	}
	return List{Name: "found", Headings: append(summaryHeadings(), "score (points)", "found in", "text", "further places (count)"), Each: func(fn func([]any) error) error {
		for page := first; ; {
			for _, h := range page.Hits {
				cells := append(summaryCells(h.Machine), h.Score)
				if len(h.Places) > 0 {
					cells = append(cells, h.Places[0].Kind, plainPieces(h.Places[0].Text), h.More+len(h.Places)-1)
				} else {
					cells = append(cells, nil, nil, nil)
				}
				if err := fn(cells); err != nil {
					return err
				}
			}
			if page.Next == "" {
				return nil
			}
			q.After = page.Next
			var err error
			if page, err = w.Find(ctx, q); err != nil {
				return err
			}
		}
	}}, nil
}

func plainPieces(pieces []Piece) string {
	var b strings.Builder
	for _, p := range pieces {
		b.WriteString(p.Text)
	}
	return b.String()
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// ListOf is one list of a machine. CodeNotFound when there is no such list or
// machine.
func (w *Workshop) ListOf(ctx context.Context, machine, name string, o ReportOptions) (List, error) {
	if o.Public && name == partsNeeded {
		return List{}, registry.Refuse(registry.CodeRefused, "Ask for the private edition.", "What must be in hand is no part of the public edition: it tells where parts are had")
	}
	if !slices.ContainsFunc(ListsOf(o.Public), func(k ListKind) bool { return k.Name == name }) {
		return List{}, registry.Refuse(registry.CodeNotFound, "The page of the machine names the lists that there are.", "There is no list %q", name)
	}
	r, err := w.Report(ctx, machine, o)
	if err != nil {
		return List{}, err
	}
	names := map[string]string{}
	for _, g := range r.Groups {
		for _, c := range g.Components {
			names[c.ID] = c.Name
		}
	}
	rows := [][]any{}
	add := func(cells ...any) { rows = append(rows, cells) }
	l := List{Name: name}
	switch name {
	case "components":
		l.Headings = []string{"component", "code", "name", "group", "weight (points)", "surveyed", "condition (0 to 5)", "function", "custody",
			"origin", "origin probability (0 to 1)", "origin rests on", "finish", "finish probability (0 to 1)", "finish rests on",
			"specification", "specification probability (0 to 1)", "specification rests on", "note"}
		for _, g := range r.Groups {
			for _, c := range g.Components {
				if c.NotFitted {
					continue
				}
				cells := []any{c.ID, c.Code, c.Name, c.Group, c.Points, yesNo(c.Surveyed), whole(c.Condition), c.Function, c.Custody}
				for _, claim := range c.Claims() {
					var p any
					if claim.Leading != "" {
						p = claim.Probability
					}
					cells = append(cells, claim.Leading, p, claim.Basis)
				}
				add(append(cells, c.Note)...)
			}
		}
	case "faults":
		d, err := w.Load(ctx, machine, o.At)
		if err != nil {
			return List{}, err
		}
		l.Headings = []string{"fault", "complaint", "cause", "components", "could hurt someone", "something was done", "options (count)"}
		for _, f := range r.Faults {
			add(f.ID, f.Complaint, f.Cause, named(f.Components, names), yesNo(f.Grave), yesNo(settled(d, f.ID)), len(f.Options))
		}
	case "removed-parts":
		l.Headings = []string{"part", "tag", "what", "component", "custody", "place", "condition", "why", "fasteners", "removed on (ISO 8601 or EDTF)"}
		for _, p := range r.Removed {
			add(p.ID, p.Tag, p.What, named([]string{p.Component}, names), p.Custody, p.Place, p.Condition, p.Reason, p.Fasteners, string(p.Valid))
		}
	case partsNeeded:
		parts, err := w.Parts(ctx, machine, 0)
		if err != nil {
			return List{}, err
		}
		l.Headings = []string{"what", "count", "unit of the count", "price", "currency", "time to arrive (days)", "source", "needed for", "in hand", "approved"}
		for _, p := range parts.Parts {
			var price, days any
			if !p.Money.IsZero() {
				price, _ = p.Money.Amount.Float64()
			}
			if p.LeadDays > 0 {
				days = p.LeadDays
			}
			add(p.What, p.Count, p.Unit, price, p.Money.Currency, days, p.Source, p.Title, yesNo(p.InHand), yesNo(p.Approved))
		}
	case "evidence":
		l.Headings = []string{"evidence", "kind", "says", "limits", "made (ISO 8601 or EDTF)", "bears on", "cluster", "reliability (0 to 1)", "recollected", "recorded (UTC)", "by", "in force"}
		for _, e := range r.Evidence {
			var bears []string
			for _, b := range e.Bears {
				bears = append(bears, b.Component+" ("+string(b.Proposition)+")")
			}
			var reliability any
			if e.Reliability != nil {
				reliability = *e.Reliability
			}
			add(e.ID, e.Kind, e.Says, e.Limits, string(e.Made), strings.Join(bears, "; "), e.Cluster, reliability, yesNo(e.Recollected), e.Recorded.UTC().Format(time.RFC3339), e.By, yesNo(e.Live))
		}
	case "work":
		l.Headings = []string{"work", "done on (ISO 8601 or EDTF)", "treatment", "what was done", "time (h)", "spent (amount and currency)", "by", "second", "standing", "undone since"}
		for _, x := range r.Work {
			add(x.ID, string(x.Valid), x.TreatmentTitle, x.Did, x.Hours, x.Spent, x.By, x.Second, x.Standing.Mark, yesNo(x.Undone))
		}
	}
	l.Each = func(fn func([]any) error) error {
		for _, row := range rows {
			if err := fn(row); err != nil {
				return err
			}
		}
		return nil
	}
	return l, nil
}

func whole(n *int) any {
	if n == nil {
		return nil
	}
	return *n
}

func named(components []string, names map[string]string) string {
	out := make([]string, len(components))
	for i, c := range components {
		if out[i] = names[c]; out[i] == "" {
			out[i] = c
		}
	}
	return strings.Join(out, "; ")
}
