package workshop

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// place is one text of a machine's record that can be found, and where it
// stands. Names and numbers are tokens in it, except in private places.
type place struct {
	Kind      string `json:"k"`
	Record    string `json:"r,omitempty"`
	Component string `json:"c,omitempty"`
	Text      string `json:"t"`
}

// placeWeights is how much a word counts in each kind of place. A person can
// tell from the kind why one machine stands before another.
var placeWeights = map[string]byte{
	"machine": 8, "number": 8, "tag": 6, "fault": 5, "option": 4, "removed-part": 4, "needed-part": 4, "stock-part": 4, "part-number": 4, "work": 4,
	"evidence": 3, "claim": 3, "check": 3, "story": 3, "person": 3, "finding": 3, "kept-at": 3, "agreement": 2, "fitting": 2, "component": 2, "joint": 2, "photo": 2, "note": 1,
}

// PlaceKinds are the kinds of place with the weight of a word there, highest
// first.
func PlaceKinds() []PlaceKind {
	var out []PlaceKind
	for _, k := range slices.Sorted(maps.Keys(placeWeights)) {
		out = append(out, PlaceKind{k, int(placeWeights[k])})
	}
	slices.SortStableFunc(out, func(a, b PlaceKind) int { return b.Weight - a.Weight })
	return out
}

// PlaceKind is a kind of place in which words are found.
type PlaceKind struct {
	Kind   string `json:"kind"`
	Weight int    `json:"weight"`
}

// findable is what can be found of one machine.
type findable struct {
	// Number is the machine's place in the lists, by the order in which the
	// ledger first names the machines.
	Number uint32  `json:"n"`
	Places []place `json:"p,omitempty"`
	// Facets are what the filters ask for.
	Facets []string `json:"f,omitempty"`
	// Shown are the tokens with what the public edition shows in their place.
	Shown []string `json:"s,omitempty"`
}

// withheld is what can be found of one machine in the private edition alone.
type withheld struct {
	Places []place  `json:"p,omitempty"`
	Facets []string `json:"f,omitempty"`
	Shown  []string `json:"s,omitempty"`
}

// gatherer collects the places and facets of one machine.
type gatherer struct {
	d      *registry.Dossier
	w      *Workshop
	public findable
	secret withheld
}

func (g *gatherer) add(kind, record, component string, texts ...string) {
	if p, ok := placeOf(kind, record, component, texts); ok {
		g.public.Places = append(g.public.Places, p)
	}
}

func (g *gatherer) addSecret(kind, record, component string, texts ...string) {
	if p, ok := placeOf(kind, record, component, texts); ok {
		g.secret.Places = append(g.secret.Places, p)
	}
}

// maxPlace is how much of one text can be found, in bytes.
const maxPlace = 8 << 10

func placeOf(kind, record, component string, texts []string) (place, bool) {
	texts = slices.DeleteFunc(texts, func(s string) bool { return strings.TrimSpace(s) == "" })
	text := strings.Join(texts, "; ")
	if len(text) > maxPlace {
		text = strings.ToValidUTF8(text[:maxPlace], "")
	}
	return place{kind, record, component, text}, len(texts) > 0
}

func (g *gatherer) facet(parts ...string) {
	g.public.Facets = append(g.public.Facets, strings.Join(parts, "/"))
}

// gather reads what can be found out of a dossier. Nothing of it is computed
// with the catalog's figures, which may change while the record does not.
func (w *Workshop) gather(d *registry.Dossier, s Summary) (findable, withheld) {
	g := gatherer{d: d, w: w}
	g.public.Shown, g.secret.Shown = NewReader(d, true).pairs, NewReader(d, false).pairs
	m, _ := d.MachineRecord()
	g.machine(m, s)
	for _, e := range d.Entries() {
		if e.Live() {
			g.record(e)
		}
	}
	g.components()
	slices.Sort(g.public.Facets)
	g.public.Facets = slices.Compact(g.public.Facets)
	return g.public, g.secret
}

func (g *gatherer) machine(m *registry.Machine, s Summary) {
	g.add("machine", m.ID, "", strings.TrimSpace(m.Nickname), strings.TrimSpace(m.Make+" "+m.Model+" "+string(m.Year)))
	g.add("story", m.ID, "", m.Story)
	for _, n := range m.Numbers {
		g.add("note", m.ID, "", n.Note)
		if n.AsRead.Value == "" {
			continue
		}
		g.addSecret("number", m.ID, "", n.Where+" "+n.AsRead.Value)
		for _, reading := range readings(n) {
			g.secret.Facets = append(g.secret.Facets, "number/"+lookup.Plain(reading))
		}
	}
	for _, w := range lookup.Words(m.Make) {
		g.facet("make", w.Text)
	}
	for _, w := range lookup.Words(m.Model) {
		g.facet("model", w.Text)
	}
	for _, y := range buildYears(m.Year) {
		g.facet("year", fmt.Sprint(y))
	}
	g.facet("phase", s.Phase)
	g.facet("all")
	if s.Waiting > 0 {
		g.facet("waiting")
	}
	survey := "none"
	if seal, ok := g.d.Seal(); ok {
		survey = "sealed"
		for _, e := range seal.Record.Indices {
			var r scoring.IndexResult
			if json.Unmarshal(e.Result, &r) == nil {
				g.facet("index", e.Of, fmt.Sprintf("%03d", int(math.Round(r.Median*100))))
			}
		}
	} else if len(registry.Live[*registry.Survey](g.d)) > 0 {
		survey = "begun"
	}
	g.facet("survey", survey)
	for _, p := range g.d.GatesPassed(g.w.rules()) {
		g.facet("gate", p.Record.Gate)
	}
	for _, f := range registry.Live[*registry.Fault](g.d) {
		if !settled(g.d, f.RecordID()) {
			g.facet("open-fault")
		}
	}
}

// maxReadings is in how many ways a number with doubtful characters is looked
// up, at most.
const maxReadings = 16

// readings are the ways in which a number can be read.
func readings(n registry.Number) []string {
	out := []string{n.AsRead.Value}
	for _, d := range n.Doubtful {
		for _, base := range slices.Clone(out) {
			r := []rune(base)
			if d.Place < 1 || d.Place > len(r) {
				continue
			}
			for _, other := range d.Readings {
				v := string(r[:d.Place-1]) + other + string(r[d.Place:])
				if !slices.Contains(out, v) && len(out) < maxReadings {
					out = append(out, v)
				}
			}
		}
	}
	return out
}

// The years that can be asked for. A span with an open end is taken to end
// after openYears.
const (
	firstYear = 1860
	lastYear  = 2100
	openYears = 60
)

// buildYears are those in which a machine may have been built.
func buildYears(d registry.Date) []int {
	span, err := d.Span()
	if err != nil {
		return nil
	}
	from, to := span.First.Year(), span.Last.Year()
	switch {
	case span.First.IsZero():
		from = to - openYears
	case span.Last.IsZero():
		to = from + openYears
	}
	var out []int
	for y := max(from, firstYear); y <= min(to, lastYear); y++ {
		out = append(out, y)
	}
	return out
}

// record adds what one live record says.
func (g *gatherer) record(e *registry.Entry) {
	id := e.RecordID()
	note := e.Note()
	switch b := e.Body.(type) {
	case *registry.Machine, *registry.Survey:
		// With the machine, and with its components.
		if _, ok := b.(*registry.Machine); !ok {
			note = ""
		}
	case *registry.Person:
		g.addSecret("person", id, "", b.Name.Value)
	case *registry.CustodyAgreement:
		texts := append(append([]string{b.Authority}, b.Care...), b.Stop...)
		for _, item := range b.Inventory {
			texts = append(texts, item.What)
		}
		g.add("agreement", id, "", texts...)
		g.addSecret("kept-at", id, "", b.Place.Value)
	case *registry.Evidence:
		component := ""
		if len(b.Bears) > 0 {
			component = b.Bears[0].Component
		}
		texts := []string{b.Says, b.Limits, b.MadeBy}
		for _, x := range b.Bears {
			texts = append(texts, x.Why)
		}
		g.add("evidence", id, component, texts...)
	case *registry.Claim:
		g.add("claim", id, b.Component, b.Statement)
	case *registry.Joint:
		g.add("joint", id, first(b.Components), b.Sign)
	case *registry.Photo:
		if b.Withhold {
			g.addSecret("photo", id, first(b.Components), b.Caption, note)
			note = ""
		} else {
			g.add("photo", id, first(b.Components), b.Caption)
		}
	case *registry.Fitting:
		g.add("fitting", id, b.Component, b.Part, b.Stamp)
	case *registry.Fault:
		g.add("fault", id, first(b.Components), b.Complaint, b.Cause)
	case *registry.Option:
		g.add("option", id, "", b.Title, b.Why)
		g.needs(id, b.Needs)
	case *registry.Opening:
		g.needs(id, b.Needs)
	case *registry.StockPart:
		g.add("stock-part", id, b.Component, b.What, b.Number, b.Stamp, b.Source)
	case *registry.PartNumber:
		g.add("part-number", id, first(b.Fits), b.Number, b.What, b.ReplacedBy)
	case *registry.Work:
		g.add("work", id, "", append([]string{b.Did}, fittedParts(b)...)...)
		if b.Standing.Mark == "unapproved" {
			g.facet("unapproved")
		}
	case *registry.Opened:
		if b.Standing.Mark == "unapproved" {
			g.facet("unapproved")
		}
	case *registry.RemovedPart:
		g.add("removed-part", id, b.Component, b.What, b.Condition, b.Reason, b.Fasteners)
		g.add("tag", id, b.Component, b.Tag)
		g.addSecret("kept-at", id, b.Component, b.Place.Value)
	case *registry.PartMove:
		g.addSecret("kept-at", b.Part, "", b.Place.Value)
	case *registry.Check:
		g.add("check", id, first(b.Components), b.What)
	}
	g.add("note", id, "", note)
}

func (g *gatherer) needs(owner string, needs []registry.Need) {
	for _, n := range needs {
		g.add("needed-part", owner, "", n.What, n.Source)
	}
}

func fittedParts(w *registry.Work) (out []string) {
	for _, f := range w.Fitted {
		out = append(out, f.Part, f.Mark)
	}
	return out
}

func first(list []string) string {
	if len(list) == 0 {
		return ""
	}
	return list[0]
}

// components adds the survey's notes, and what it and later work say of origin,
// finish and condition.
func (g *gatherer) components() {
	worst := -1
	changed := map[string]bool{}
	for _, w := range registry.Live[*registry.Work](g.d) {
		for _, c := range w.Record.Changes {
			changed[c.Component] = true
		}
	}
	for _, s := range registry.Live[*registry.Survey](g.d) {
		c := s.Record.Component
		g.add("component", s.RecordID(), c, componentWords(c), s.Record.Note)
		origin, finish := s.Record.Origin, s.Record.Finish
		if changed[c] {
			origin = g.after(c, registry.PropositionOrigin, origin)
			finish = g.after(c, registry.PropositionFinish, finish)
		}
		for _, x := range [][2]string{{"origin", origin}, {"finish", finish}} {
			if x[1] != "" {
				g.facet(x[0], x[1], "")
				g.facet(x[0], x[1], c)
			}
		}
		if s.Record.Condition != nil {
			n := *s.Record.Condition
			g.facet("condition", c, fmt.Sprint(n))
			if worst < 0 || n < worst {
				worst = n
			}
		}
	}
	if worst >= 0 {
		g.facet("condition", "", fmt.Sprint(worst))
	}
}

// componentWords are the words of a component's id: the name in the anatomy may
// change, the id does not.
func componentWords(id string) string { return strings.NewReplacer(".", " ", "-", " ").Replace(id) }

// after is how a question stands after the work that still stands: the most
// probable state of the last change that replaced the states.
func (g *gatherer) after(component string, p registry.Proposition, state string) string {
	for _, l := range g.d.Layers(component, p) {
		best := 0.0
		for _, s := range registry.States(p) {
			if v := l.Change.After[s]; v > best {
				best, state = v, s
			}
		}
	}
	return state
}
