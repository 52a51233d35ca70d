package workshop

import (
	"slices"
	"strings"
	"sync"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// knowledge is what the catalog says, in the shape in which scoring and registry
// take it. It is made once.
type knowledge struct {
	once        sync.Once
	rules       *registry.Rules
	components  []component
	byID        map[string]component
	surveys     map[registry.Proposition]catalog.SurveyTable
	signs       map[string]catalog.Sign
	treatments  map[string]catalog.Treatment
	priors      map[string]questionPrior // component id and proposition
	ifIntact    map[string]scoring.Distribution
	assemblies  map[string]catalog.Assembly
	catalogName string
}

// component is one position of the anatomy with its weights.
type component struct {
	ID, Code, Name, Group, GroupName, Assembly, FirstCheck string
	Points                                                 float64
	Identity, Consumable, Safety                           bool
	weights                                                catalog.Weights
}

// weight is the component's weight in an index, in points.
func (c component) weight(index string) float64 { return c.weights.Of(index) }

// questionPrior is what is thought of a question before anything is looked at.
type questionPrior struct {
	dist  scoring.Distribution // over the states, summing to 1
	other float64
}

func (w *Workshop) known() *knowledge {
	k := &w.knowledge
	k.once.Do(func() { k.read(w.Catalog); k.rules.Registry = w.Registry })
	return k
}

func (k *knowledge) read(c *catalog.Catalog) {
	k.rules, k.catalogName = c.Rules(), c.Identity().String()
	k.byID, k.priors, k.ifIntact = map[string]component{}, map[string]questionPrior{}, map[string]scoring.Distribution{}
	k.surveys, k.signs = map[registry.Proposition]catalog.SurveyTable{}, map[string]catalog.Sign{}
	k.treatments, k.assemblies = map[string]catalog.Treatment{}, map[string]catalog.Assembly{}
	for _, s := range c.Signs() {
		k.signs[s.ID] = s
	}
	for _, t := range c.Treatments() {
		k.treatments[t.ID] = t
	}
	for _, a := range c.Assemblies() {
		k.assemblies[a.ID] = a
	}
	for _, p := range indexQuestion {
		if t, ok := c.Survey(p); ok {
			k.surveys[p] = t
		}
	}
	for _, x := range c.ComponentsInWalk() {
		row := component{ID: x.ID, Code: x.Code, Name: x.Name, Group: x.Group, GroupName: x.GroupName, Assembly: x.Assembly, FirstCheck: x.FirstCheck,
			Points: x.Points, Identity: x.IdentityBearing, Consumable: x.Consumable == "consumable", Safety: x.SafetyCritical, weights: x.Indices}
		k.components = append(k.components, row)
		k.byID[x.ID] = row
		for _, p := range indexQuestion {
			k.readPrior(c, row, p)
		}
	}
}

// readPrior makes the prior of one question about one component: its class's
// shares if the assembly is intact, the assembly's if it was swapped, mixed by
// the chance of either.
func (k *knowledge) readPrior(c *catalog.Catalog, row component, p registry.Proposition) {
	class, ok := c.Prior(row.ID, p)
	if !ok {
		return
	}
	intact := ordered(class.States, class.P)
	mixed := intact
	if a, ok := k.assemblies[row.Assembly]; ok {
		mixed = mixture(a.Intact, intact, distribution(p, a.IfSwapped[p]))
	}
	k.priors[row.ID+" "+string(p)] = questionPrior{dist: mixed, other: class.Other}
	if p == registry.PropositionOrigin {
		k.ifIntact[row.ID] = withOther(intact, class.Other)
	}
}

func ordered(states []string, p []float64) scoring.Distribution {
	out := make(scoring.Distribution, len(states))
	for i, s := range states {
		out[i] = scoring.Entry[float64]{Key: s, Value: p[i]}
	}
	return out
}

// withOther sets a share aside for what nobody has thought of.
func withOther(d scoring.Distribution, other float64) scoring.Distribution {
	return append(scaled(d, 1-other), scoring.Entry[float64]{Key: registry.StateOther, Value: other})
}

func (w *Workshop) rules() *registry.Rules   { return w.known().rules }
func (w *Workshop) components() []component  { return w.known().components }
func (w *Workshop) catalogIdentity() string  { return w.known().catalogName }
func (w *Workshop) words() map[string]string { return explained(w.Catalog) }

// component finds a component by id, code or full name.
func (w *Workshop) component(name string) (component, bool) {
	k := w.known()
	if id, ok := k.rules.Aliases[name]; ok {
		name = id
	}
	if c, ok := k.byID[name]; ok {
		return c, true
	}
	i := slices.IndexFunc(k.components, func(c component) bool { return strings.EqualFold(c.Name, name) })
	if i < 0 {
		return component{}, false
	}
	return k.components[i], true
}

// prior is what is thought of a question before anything is looked at.
func (w *Workshop) prior(subject string, p registry.Proposition) (scoring.Distribution, float64) {
	if p == registry.PropositionAssembly {
		a := w.known().assemblies[subject]
		return scoring.Distribution{{Key: "intact", Value: a.Intact}, {Key: "swapped", Value: 1 - a.Intact}}, 0
	}
	q := w.known().priors[subject+" "+string(p)]
	return q.dist, q.other
}

func (w *Workshop) priorIfIntact(component string) scoring.Distribution {
	return w.known().ifIntact[component]
}

// assemblyPrior is the chance that an assembly is intact, and how a question
// about its parts would stand if it were not.
func (w *Workshop) assemblyPrior(id string, p registry.Proposition) (float64, scoring.Distribution) {
	a := w.known().assemblies[id]
	return a.Intact, distribution(p, a.IfSwapped[p])
}

// surveyReading is the likelihood of a surveyor's word.
func (w *Workshop) surveyReading(p registry.Proposition, word string) (map[string]float64, float64, bool) {
	t, ok := w.known().surveys[p]
	if !ok || word == "" || word == "undetermined" || slices.Contains(t.Facts, word) {
		return nil, 0, false
	}
	likelihood, ok := t.Likelihood(word)
	return likelihood, t.Reliability, ok
}

func (w *Workshop) sign(id string) (catalog.Sign, bool) {
	s, ok := w.known().signs[id]
	return s, ok
}

func (w *Workshop) reversible(treatment string) bool {
	return w.known().rules.Treatments[treatment].Reversible
}

func (w *Workshop) treatmentTitle(id string) string {
	if t, ok := w.known().treatments[id]; ok {
		return t.Title
	}
	return id
}

func (w *Workshop) conditionWords(step int) string {
	c, _ := w.Catalog.Condition(step)
	return c.Sentence
}

// standpoint is a policy for scoring.
type standpoint struct {
	id      string
	minimum float64 // coverage below which there is no figure
	credits map[registry.Proposition]scoring.Distribution
}

func (s standpoint) credit(p registry.Proposition) scoring.Distribution {
	return slices.Clone(s.credits[p])
}

func (w *Workshop) standpoint(id string) (standpoint, error) {
	sp, ok := w.Catalog.Standpoint(id)
	if !ok {
		return standpoint{}, registry.Refuse(registry.CodeNotFound, "Leave it out to take the house's own.", "The catalog has no standpoint %q", id)
	}
	out := standpoint{id: sp.ID + " " + sp.Version, minimum: sp.Coverage, credits: map[registry.Proposition]scoring.Distribution{}}
	for _, p := range indexQuestion {
		out.credits[p] = credits(p, sp.Credit(p))
	}
	return out, nil
}

// credits orders a table of credits; a state without one counts nothing.
func credits(p registry.Proposition, table map[string]float64) scoring.Distribution {
	var out scoring.Distribution
	for _, s := range append(registry.States(p), registry.StateOther) {
		out = append(out, scoring.Entry[float64]{Key: s, Value: table[s]})
	}
	return out
}

func (w *Workshop) gates() []GateReport {
	var out []GateReport
	for _, g := range w.Catalog.Gates() {
		report := GateReport{ID: g.ID, Title: g.Title, Others: g.LeftToOthers, Checks: []GateCheckReport{}, Least: g.LeastChecks}
		for _, c := range g.Checks {
			report.Checks = append(report.Checks, GateCheckReport{c.ID, c.What})
		}
		out = append(out, report)
	}
	return out
}

func cautionReports(list []catalog.Caution) []CautionReport {
	var out []CautionReport
	for _, c := range list {
		source := c.Source
		if source == "" {
			source = c.Assumption
		}
		out = append(out, CautionReport{ID: c.ID, Level: c.Level, Text: c.Text, Source: source})
	}
	return out
}

// cautionsFor lists the cautions that an option's steps call for, once each.
func (w *Workshop) cautionsFor(o registry.Option) []CautionReport {
	var touched []string
	for _, c := range o.Changes {
		touched = append(touched, c.Component)
	}
	list := w.Catalog.CautionsFor(catalog.Step{Treatment: o.Treatment, Components: touched})
	for _, id := range o.Openings {
		for _, c := range w.Catalog.CautionsForOpening(id) {
			if !slices.ContainsFunc(list, func(x catalog.Caution) bool { return x.ID == c.ID }) {
				list = append(list, c)
			}
		}
	}
	return cautionReports(list)
}

// optionReport dresses an option for showing, without its effects.
func (w *Workshop) optionReport(d *registry.Dossier, o registry.Option, reader Reader) OptionReport {
	t := w.known().treatments[o.Treatment]
	out := OptionReport{Option: o, TreatmentTitle: t.Title, Rung: t.Rung, Reversible: w.reversible(o.Treatment), Cautions: w.cautionsFor(o)}
	out.Title, out.Why, out.Undo, out.Note = reader.Text(o.Title), reader.Text(o.Why), reader.Text(o.Undo), reader.Text(o.Note)
	if out.Undo == "" {
		out.Undo = t.Undo
	}
	for _, n := range o.Needs {
		if !n.InHand && !d.InStock(n.What) {
			out.First = append(out.First, n.What)
		}
	}
	for _, id := range d.OpeningsNeeded(o.Openings) {
		opening, ok := registry.Get[*registry.Opening](d, id)
		if !ok {
			continue
		}
		out.OpeningTitles = append(out.OpeningTitles, opening.Record.Title)
		for _, n := range opening.Record.Needs {
			if !n.InHand && !d.InStock(n.What) {
				out.First = append(out.First, n.What)
			}
		}
	}
	return out
}

func explained(c *catalog.Catalog) map[string]string {
	out := map[string]string{}
	for _, word := range c.Words() {
		out[word.Word] = word.Explanation
	}
	return out
}
