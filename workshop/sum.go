package workshop

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// Figure is one figure with everything that it was made of: `calc` gives Result
// for Input, to the last digit.
type Figure struct {
	// ID names it among the figures of its machine, such as "index:substance".
	ID    string `json:"id"`
	Title string `json:"title"`
	// Method is that of the computation, such as "origin/1".
	Method     string          `json:"method"`
	Catalog    string          `json:"catalog"`
	Standpoint string          `json:"standpoint,omitempty"`
	Input      json.RawMessage `json:"input"`  // canonical JSON
	Result     json.RawMessage `json:"result"` // as `calc` prints it
	// Assumptions are what it rests on besides its input, in sentences.
	Assumptions []string `json:"assumptions"`
	// Words is the answer in a sentence or two, where the workshop has one.
	Words string `json:"words,omitempty"`
	// Currency is the unit of money in it; "" when there is none.
	Currency string `json:"currency,omitempty"`
	// Record and Recorded name the record that keeps it, zero for a figure that
	// is computed from the record as it stands.
	Record   string    `json:"record,omitempty"`
	Recorded time.Time `json:"recorded,omitzero"`
}

// FigureOf runs a method on an input and keeps both. Codes are those of the
// method.
func (w *Workshop) FigureOf(id, title, method string, input any, assumptions ...string) (*Figure, error) {
	raw, err := json.Marshal(input)
	if err != nil {
		return nil, err
	}
	if raw, err = registry.CanonicalJSON(json.RawMessage(raw)); err != nil {
		return nil, err
	}
	result, err := scoring.Run(method, raw)
	if err != nil {
		return nil, err
	}
	return &Figure{ID: id, Title: title, Method: method, Catalog: w.catalogIdentity(), Input: raw, Result: result, Assumptions: assumptions}, nil
}

// Figure finds a figure of a machine with its sum. The ids are
//
//	origin:COMPONENT, finish:COMPONENT, specification:COMPONENT
//	index:NAME, index:NAME:back
//	effect:OPTION:INDEX, risk:OPTION, wait:OPTION:NUMBER
//	leave:FAULT, causes:FAULT, next:FAULT
//	kept:RECORD:OF, any estimate that a record keeps
//
// CodeNotFound for an id that names none, CodeInsufficient when there is too
// little for the figure, CodeRefused when its input is withheld from the
// edition.
func (w *Workshop) Figure(ctx context.Context, r *Report, id string) (*Figure, error) {
	kind, rest, _ := strings.Cut(id, ":")
	f := figureFinder{w: w, ctx: ctx, r: r, id: id}
	switch kind {
	case "origin", "finish", "specification":
		return f.claim(rest, registry.Proposition(kind))
	case "index":
		return f.index(rest)
	case "effect":
		return f.effect(rest)
	case "risk", "wait":
		return f.option(kind, rest)
	case "leave":
		for _, x := range r.Faults {
			if x.ID == rest && x.Leaving != nil {
				out, err := w.FigureOf(id, "What time does if nothing is done about: "+x.Complaint, scoring.MethodLeave, x.Leaving.Input, "Source of the ranges: "+x.Leaving.Source+".")
				return worded(out, x.Leaving.Words), err
			}
		}
	case "causes", "next":
		if r.AsOf != "" || r.KnownAt != "" {
			return nil, registry.Refuse(registry.CodeRefused, "Open it from the fault's page, without a date.", "The search for a cause is reckoned on the record as it stands, and not as of a day")
		}
		return f.fault(kind, rest)
	case "kept":
		return f.kept(rest)
	}
	return nil, f.none()
}

func worded(f *Figure, words string) *Figure {
	if f != nil {
		f.Words = words
	}
	return f
}

type figureFinder struct {
	w   *Workshop
	ctx context.Context
	r   *Report
	id  string
}

func (f figureFinder) none() error {
	return registry.Refuse(registry.CodeNotFound, "Open it from a page that shows the figure.", "The machine has no figure %q", f.id)
}

// claim is the answer to one of the three questions about a component.
func (f figureFinder) claim(component string, p registry.Proposition) (*Figure, error) {
	for _, g := range f.r.Groups {
		for i := range g.Components {
			c := &g.Components[i]
			if c.ID != component || c.NotFitted {
				continue
			}
			for _, a := range c.Claims() {
				if a.Proposition == p && a.Input != nil {
					return f.w.FigureOf(f.id, fmt.Sprintf("%s: %s", c.Name, p), scoring.MethodOrigin, a.Input, f.w.claimAssumptions(component, p, a)...)
				}
			}
			return nil, registry.Refuse(registry.CodeInsufficient, "The component's page says what was done or seen.",
				"This answer follows from what was done or seen, and not from a computation")
		}
	}
	return nil, f.none()
}

// claimAssumptions are the catalog's sentences behind one answer.
func (w *Workshop) claimAssumptions(component string, p registry.Proposition, a *ClaimReport) []string {
	var out []string
	if prior, ok := w.Catalog.Prior(component, p); ok {
		out = appendSentence(out, "Before any evidence", prior.Source, prior.Assumption)
	}
	signs := map[catalog.Basis][]string{}
	var order []catalog.Basis
	for _, id := range a.Evidence {
		_, what, ok := strings.Cut(id, ":")
		if !ok {
			continue
		}
		sign, ok := w.Catalog.Sign(what)
		basis, name := sign.Basis, "“"+strings.ReplaceAll(what, "-", " ")+"”"
		if table, found := w.Catalog.Survey(p); !ok && found {
			basis, name = table.Basis, "the surveyor’s reading"
		}
		if signs[basis] == nil {
			order = append(order, basis)
		}
		signs[basis] = append(signs[basis], name)
	}
	for _, b := range order {
		out = appendSentence(out, "How likely each finding is in each state: "+strings.Join(signs[b], ", "), b.Source, b.Assumption)
	}
	if a.Basis == "work" {
		out = append(out, "Work has changed the part since; this is what the evidence says of it as it was.")
	}
	return out
}

// appendSentence adds what a number of the catalog rests on.
func appendSentence(list []string, what, source, assumption string) []string {
	switch {
	case assumption != "":
		return append(list, what+". Assumed: "+strings.TrimSuffix(assumption, ".")+".")
	case source != "":
		return append(list, what+". From a published source: "+strings.TrimSuffix(source, ".")+".")
	}
	return list
}

func (f figureFinder) index(rest string) (*Figure, error) {
	name, back, _ := strings.Cut(rest, ":")
	var found *Figure
	err := f.none()
	f.r.Indices.Each(func(n string, x *IndexReport) {
		if n != name || back != "" && back != "back" {
			return
		}
		in, title := x.Input, "Index of "+name+", as the machine stands"
		if back == "back" {
			in, title = x.BackInput, "Index of "+name+", with every kept part back on it"
		}
		if in == nil {
			err = registry.Refuse(registry.CodeInsufficient, "Survey the heaviest components that are still open.", "There is no figure of the index. %s", x.Refused)
			return
		}
		found, err = f.w.FigureOf(f.id, title, scoring.MethodIndex, in, f.w.standpointAssumptions(f.r.Standpoint, name)...)
	})
	if found != nil {
		found.Standpoint = f.r.Standpoint
	}
	return found, err
}

// standpointAssumptions are the sentences behind weights and credits.
func (w *Workshop) standpointAssumptions(id, index string) []string {
	var out []string
	if s, ok := w.Catalog.Standpoint(id); ok {
		out = append(out, s.Sentence, s.Limits)
		out = appendSentence(out, "What each state counts under the standpoint “"+s.Title+"”", s.Source, s.Assumption)
	}
	return append(out, "Weights are the catalog’s points of each component in the index of "+index+"; each may be off by 30 %, and the band of weights shows what that does.")
}

// effect is what an option takes from an index, as it was weighed last.
func (f figureFinder) effect(rest string) (*Figure, error) {
	option, index, _ := strings.Cut(rest, ":")
	for _, fault := range f.r.Faults {
		for _, o := range fault.Options {
			if o.ID != option || o.Effects == nil {
				continue
			}
			for _, e := range o.Effects.Estimates {
				if e.Of == option+"/"+index {
					return f.estimate(e, o.Title+": what it takes from the "+index, "", time.Time{}), nil
				}
			}
		}
	}
	return nil, f.none()
}

func (f figureFinder) estimate(e registry.NamedEstimate, title, record string, recorded time.Time) *Figure {
	out := &Figure{ID: f.id, Title: title, Method: e.Method, Catalog: e.Catalog, Standpoint: e.Standpoint, Input: json.RawMessage(e.Input), Result: json.RawMessage(e.Result), Record: record, Recorded: recorded}
	switch e.Method {
	case scoring.MethodCost:
		out.Assumptions = []string{costAssumption}
	case scoring.MethodValue:
		out.Assumptions = []string{"What was thought of prices before any sale was looked at is the catalog’s, and stands in the file as the prior."}
	}
	if e.Standpoint != "" {
		if _, index, ok := strings.Cut(e.Of, "/"); ok {
			out.Assumptions = f.w.standpointAssumptions(e.Standpoint, index)
		} else {
			out.Assumptions = f.w.standpointAssumptions(e.Standpoint, e.Of)
		}
	}
	return out
}

func (f figureFinder) option(kind, rest string) (*Figure, error) {
	option, number, _ := strings.Cut(rest, ":")
	for _, fault := range f.r.Faults {
		for _, o := range fault.Options {
			if o.ID != option {
				continue
			}
			if kind == "risk" {
				if o.Risk == nil || o.Risk.Input == nil {
					return nil, f.none()
				}
				out, err := f.w.FigureOf(f.id, o.Title+": how it may end", scoring.MethodRisk, o.Risk.Input, "Source of the outcomes: "+o.Risk.Source+".")
				if out != nil {
					out.Currency = o.Risk.Currency
				}
				return worded(out, o.Risk.Words), err
			}
			n, err := strconv.Atoi(number)
			if err != nil || n < 0 || n >= len(o.Parts) || o.Parts[n].Search == nil || o.Parts[n].Search.Input == nil {
				return nil, f.none()
			}
			out, err := f.w.FigureOf(f.id, o.Parts[n].What+": waiting for it", scoring.MethodWait, o.Parts[n].Search.Input,
				"Sightings come by chance, as often in future as in the log.")
			return worded(out, o.Parts[n].Search.Words), err
		}
	}
	return nil, f.none()
}

func (f figureFinder) fault(kind, fault string) (*Figure, error) {
	s, err := f.w.FaultSearch(f.ctx, f.r.Machine.ID, fault, FaultQuestion{})
	if err != nil {
		return nil, err
	}
	if s.Input == nil {
		return nil, f.none()
	}
	words := s.Words
	if f.r.Public {
		words = fault
		for _, x := range f.r.Faults {
			if x.ID == fault {
				words = x.Complaint
			}
		}
	}
	if kind == "causes" {
		out, err := f.w.FigureOf(f.id, "What may cause: "+words, scoring.MethodFaults, s.Input.FaultsInput, s.Assumptions...)
		if len(s.Causes) > 0 {
			worded(out, fmt.Sprintf("The likeliest cause is “%s”, with a probability of %s.", s.Causes[0].Title, s.Causes[0].Shown))
		}
		return out, err
	}
	out, err := f.w.FigureOf(f.id, "Which test comes next for: "+words, scoring.MethodNext, s.Input, s.Assumptions...)
	switch {
	case s.Next != nil:
		worded(out, fmt.Sprintf("The next test is “%s”.", s.Next.Title))
	case s.Stop != nil:
		worded(out, s.Stop.Say)
	}
	return out, err
}

// kept is an estimate as a record keeps it.
func (f figureFinder) kept(rest string) (*Figure, error) {
	record, of, _ := strings.Cut(rest, ":")
	d, err := f.w.Load(f.ctx, f.r.Machine.ID, At{})
	if err != nil {
		return nil, err
	}
	for _, e := range d.Entries() {
		if e.RecordID() != record || e.Version > f.r.Version {
			continue // unknown, or recorded after what is looked at
		}
		evidence, isEvidence := e.Body.(*registry.Evidence)
		if isEvidence && f.r.Public && evidence.Estimate == nil {
			return nil, registry.Refuse(registry.CodeRefused, "Whoever may see the private edition can open it there.", "The input of this figure is withheld from the public edition")
		}
		for _, x := range registry.Estimates(e.Body) {
			if FigureSlug(x.Of) == of || isEvidence {
				out := f.estimate(x, estimateTitle(x), record, e.Recorded)
				out.Currency = offerCurrency(e.Body)
				return out, nil
			}
		}
	}
	return nil, f.none()
}

func offerCurrency(b registry.Body) string {
	switch b := b.(type) {
	case *registry.Proposal:
		return b.Offer.Ceiling.Currency
	case *registry.ChangeRequest:
		return b.Offer.Ceiling.Currency
	}
	return ""
}

// estimateTitle says of what an estimate is, by its method.
func estimateTitle(e registry.NamedEstimate) string {
	switch of, index, _ := strings.Cut(e.Of, "/"); {
	case e.Of == costOf:
		return "What it is likely to cost, as it was put to the owner"
	case e.Of == valueOf:
		return "What it does to the value, as it was put to the owner"
	case strings.HasPrefix(e.Of, leavingOf), strings.HasPrefix(e.Of, riskOf), index == "":
	default:
		return of + ": what it takes from the " + index + ", as it was shown"
	}
	for _, m := range scoring.Methods() {
		if m.Name == e.Method {
			return m.Question
		}
	}
	return e.Of
}

var notInFigure = regexp.MustCompile(`[^A-Za-z0-9._-]+`)

// FigureSlug is what an estimate is of, as it stands in the id of its figure.
func FigureSlug(of string) string { return notInFigure.ReplaceAllString(of, ":") }

// ReportOf shows a dossier that came from elsewhere, such as a verified bundle,
// with the catalog that is in use here. CodeNotFound for a standpoint that is
// not there.
func (w *Workshop) ReportOf(d *registry.Dossier, o ReportOptions) (*Report, error) {
	return w.report(d, o)
}
