package workshop

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// CriteriaReport holds a machine's record against the classes that others
// publish. It awards nothing and is no index.
type CriteriaReport struct {
	Machine   string        `json:"machine"`
	Version   uint64        `json:"version"`
	Catalog   string        `json:"catalog"`
	Rules     []RuleReading `json:"rules"`
	Statement string        `json:"statement"`
}

// RuleReading is one published rule by the record: by criteria, or by age.
type RuleReading struct {
	ID       string             `json:"id"`
	Title    string             `json:"title"`
	Edition  string             `json:"edition"`
	Source   string             `json:"source"`
	Asks     string             `json:"asks"`
	Silent   []string           `json:"silent,omitempty"`
	Criteria []CriterionReading `json:"criteria,omitempty"`
	// All is what the criteria say together, of the method criteria/1; nil where
	// none of them can be told.
	All *scoring.CriteriaResult `json:"all,omitempty"`
	Age *scoring.AgeResult      `json:"age,omitempty"`
	// Says is the answer in a sentence or two.
	Says string `json:"says"`
}

// CriterionReading is one criterion by the record.
type CriterionReading struct {
	ID       string `json:"id"`
	Sentence string `json:"sentence"`
	// Evidence is "supports", "does not support" or "unknown"; Probability is
	// that it is met, 0 to 1, nil where the record cannot say.
	Evidence    string   `json:"evidence"`
	Probability *float64 `json:"probability"`
	Printed     string   `json:"printed"`
	// From says from what it was worked out, Assumption what of that the rule
	// itself leaves open, Help what would help where it cannot be told.
	From       string `json:"from,omitempty"`
	Assumption string `json:"assumption,omitempty"`
	Help       string `json:"help,omitempty"`
	// Doubtful are the components, by id, that hold it back most.
	Doubtful []string `json:"doubtful,omitempty"`
}

// Criteria holds a machine's record against the published classes and ages of
// the catalog; rule picks one of them, "" all. CodeNotFound for a machine or a
// rule that is not there.
func (w *Workshop) Criteria(ctx context.Context, machine, rule string) (*CriteriaReport, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	s, err := w.look(d, "")
	if err != nil {
		return nil, err
	}
	out := &CriteriaReport{Machine: machine, Version: d.Version(), Catalog: w.catalogIdentity(), Rules: []RuleReading{}, Statement: scoring.OnlyTheBody}
	for _, r := range w.Catalog.PublishedRules() {
		if rule != "" && r.ID != rule {
			continue
		}
		reading := RuleReading{ID: r.ID, Title: r.Title, Edition: r.Edition, Source: r.Source, Asks: r.Asks, Silent: r.Silent}
		switch r.Kind {
		case catalog.PublishedCriteria:
			err = s.byCriteria(r, &reading)
		case catalog.PublishedAge, catalog.PublishedClasses:
			err = s.byAge(r, &reading)
		default:
			continue
		}
		if err != nil {
			return nil, err
		}
		out.Rules = append(out.Rules, reading)
	}
	if len(out.Rules) == 0 {
		return nil, registry.Refuse(registry.CodeNotFound, "See the list without naming one.", "The catalog has no rule %q that a record answers by criteria or by age", rule)
	}
	return out, nil
}

// byCriteria answers the criteria of one class.
func (s *seen) byCriteria(r catalog.PublishedRule, out *RuleReading) error {
	in := scoring.CriteriaInput{Rule: scoring.PublishedRule{Title: r.Title, Source: r.Source, Edition: r.Edition}}
	for _, c := range r.Criteria {
		reading, err := s.criterion(c)
		if err != nil {
			return fmt.Errorf("criterion %s of %s: %w", c.ID, r.ID, err)
		}
		out.Criteria = append(out.Criteria, reading)
		in.Criteria = append(in.Criteria, scoring.Criterion{ID: c.ID, Sentence: c.Sentence, Probability: reading.Probability})
	}
	raw, err := json.Marshal(map[string]any{"rule": in.Rule, "criteria": in.Criteria})
	if err != nil {
		return err
	}
	a, err := s.w.Ask(scoring.MethodCriteria, raw)
	if registry.CodeOf(err) == registry.CodeInsufficient {
		out.Says = "The record answers none of these criteria yet."
		return nil
	}
	if err != nil {
		return err
	}
	if err := json.Unmarshal(a.Result, &out.All); err != nil {
		return err
	}
	supported := 0
	for i, c := range out.All.Criteria {
		out.Criteria[i].Evidence = c.Evidence
		if c.Evidence == "supports" {
			supported++
		}
		if c.Evidence == "unknown" && out.Criteria[i].Help == "" {
			out.Criteria[i].Help = s.settles(out.Criteria[i].Doubtful)
		}
	}
	weakest := out.Criteria[slices.IndexFunc(out.Criteria, func(c CriterionReading) bool { return c.ID == out.All.Weakest })].Sentence
	low, high := scoring.Percent(out.All.Low), scoring.Percent(out.All.High)
	switch {
	case len(out.Criteria) == 1:
		out.Says = fmt.Sprintf("The chance that its one criterion is met is %s.", high)
	case low == high:
		out.Says = fmt.Sprintf("The evidence supports %d of %d criteria. The weakest that can be told: “%s” That all of them are met together has a chance of %s.", supported, len(out.Criteria), weakest, high)
	default:
		out.Says = fmt.Sprintf("The evidence supports %d of %d criteria. The weakest that can be told: “%s” That all of them are met together has a chance of %s to %s, however they hang together.",
			supported, len(out.Criteria), weakest, low, high)
	}
	return nil
}

// settles says what would settle a criterion by a look at some components.
func (s *seen) settles(components []string) string {
	if len(components) == 0 {
		return ""
	}
	return fmt.Sprintf("Find out more of what holds it back most: %s.", s.names(components))
}

func (s *seen) names(components []string) string {
	var names []string
	for _, id := range components {
		c, _ := s.w.component(id)
		names = append(names, c.Name)
	}
	return strings.Join(names, ", ")
}

// doubtfulShown is how many components a criterion names.
const doubtfulShown = 3

// criterion answers one criterion from the claims about components: how likely
// is it that at least so much of the weight is in one of the states? Parts of
// one assembly stand together under its switch, as in an index. Where too
// little of that weight rests on evidence, nothing is said.
func (s *seen) criterion(c catalog.PublishedCriterion) (CriterionReading, error) {
	out := CriterionReading{ID: c.ID, Sentence: c.Sentence, Evidence: "unknown", Printed: "not known", Help: c.Help}
	f := c.From
	if f == nil {
		return out, nil
	}
	p := registry.Proposition(f.Proposition)
	index := ""
	for name, asks := range indexQuestion {
		if asks == p {
			index = name
		}
	}
	in, err := s.indexInput(index, false)
	if f.Of == catalog.PartsWear {
		in = s.wearParts(p)
	}
	if err != nil {
		return out, err
	}
	type doubt struct {
		component string
		points    float64
	}
	counts := scoring.Distribution{}
	for _, state := range append(registry.States(p), registry.StateOther) {
		v := 0.0
		if slices.Contains(f.States, state) {
			v = 1
		}
		counts = append(counts, scoring.Entry[float64]{Key: state, Value: v})
	}
	share := scoring.ShareInput{Least: f.Least}
	var weight, covered float64
	var doubts []doubt
	parts := 0
	for _, a := range in.Assemblies {
		kept := scoring.Assembly{ID: a.ID, Intact: a.Intact}
		for _, part := range a.Parts {
			known, _ := s.w.component(part.ID)
			if !concerns(f, known) {
				continue
			}
			parts++
			weight += part.Weight
			if s.stateOf(part.ID, p, false).basis != "prior" {
				covered += part.Weight
			}
			part.Credit = counts
			kept.Parts = append(kept.Parts, part)
			met := 0.0
			for _, e := range mixtureOf(a.Intact, part) {
				if slices.Contains(f.States, e.Key) {
					met += e.Value
				}
			}
			doubts = append(doubts, doubt{part.ID, float64(part.Weight * (1 - met))})
		}
		if len(kept.Parts) > 0 {
			share.Assemblies = append(share.Assemblies, kept)
		}
	}
	out.Assumption = f.Assumption
	if parts == 0 {
		out.Help = "This machine has none of the components that the criterion is about."
		return out, nil
	}
	slices.SortStableFunc(doubts, func(a, b doubt) int { return cmp.Compare(b.points, a.points) })
	for _, x := range doubts[:min(len(doubts), doubtfulShown)] {
		if x.points > 0 {
			out.Doubtful = append(out.Doubtful, x.component)
		}
	}
	if covered < s.standpoint.minimum*weight {
		out.From = fmt.Sprintf("The %s of %d components is asked for; evidence speaks for %s of their weight, and at least %s must rest on it.", p, parts, scoring.Percent(covered/weight), scoring.Percent(s.standpoint.minimum))
		out.Help = fmt.Sprintf("Survey what is still open, the heaviest first: %s.", s.names(out.Doubtful))
		return out, nil
	}
	r, err := scoring.Share(share)
	if err != nil {
		return out, err
	}
	out.Probability, out.Printed = &r.Probability, r.Printed
	out.From = fmt.Sprintf("From the %s of %d components, %.0f points of weight, of which evidence speaks for %s: %s count, expected are %s of the weight, and %s or more would meet it.",
		p, parts, weight, scoring.Percent(covered/weight), strings.ReplaceAll(strings.Join(f.States, ", "), "-", " "), scoring.Percent(r.Mean), shareWords(f.Least))
	return out, nil
}

// wearParts are the consumables, one point each: they weigh nothing in an index.
func (s *seen) wearParts(p registry.Proposition) (in scoring.IndexInput) {
	for _, c := range s.w.components() {
		if !c.Consumable || s.d.NotFitted(c.ID) {
			continue
		}
		states := s.stateOf(c.ID, p, false).fixed
		if states == nil {
			states = s.answers[c.ID][p].Posterior
		}
		in.Assemblies = append(in.Assemblies, scoring.Assembly{ID: c.ID, Intact: 1, Parts: []scoring.IndexPart{{ID: c.ID, Weight: 1, IfIntact: states}}})
	}
	return in
}

// shareWords writes a share that was stated, which may be the whole.
func shareWords(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }

// mixtureOf is how a part counts, whether or not its assembly is intact.
func mixtureOf(intact float64, part scoring.IndexPart) scoring.Distribution {
	if len(part.IfSwapped) == 0 {
		return part.IfIntact
	}
	return mixture(intact, part.IfIntact, part.IfSwapped)
}

// concerns says whether a criterion is about a component.
func concerns(f *catalog.PublishedReading, c component) bool {
	switch f.Of {
	case catalog.PartsWear:
		return c.Consumable
	case catalog.PartsLasting:
		return !c.Consumable
	case catalog.PartsIdentity:
		return c.Identity
	case catalog.PartsComponents:
		return slices.Contains(f.Components, c.ID)
	}
	return true
}

// byAge answers a rule that goes by dates, from the year on the machine's
// record, for the day of asking.
func (s *seen) byAge(r catalog.PublishedRule, out *RuleReading) error {
	m, _ := s.d.MachineRecord()
	in := scoring.AgeInput{Rule: scoring.PublishedRule{Title: r.Title, Source: r.Source, Edition: r.Edition}, First: m.Year, At: s.w.Now().UTC().Format(time.DateOnly)}
	if r.LeastYears > 0 {
		years := float64(r.LeastYears)
		in.LeastYears = &years
	}
	title := map[string]string{}
	for _, c := range r.Classes {
		in.Classes = append(in.Classes, scoring.AgeClass{ID: c.ID, From: c.From, To: c.To})
		title[c.ID] = c.Title
	}
	age, err := scoring.Age(in)
	if err != nil {
		return err
	}
	out.Age = &age
	var classes []string
	for _, id := range age.Classes {
		classes = append(classes, title[id])
	}
	switch {
	case len(r.Classes) == 0:
	case len(classes) == 0:
		out.Says = fmt.Sprintf("The date %s on record falls in none of its classes.", m.Year)
	case len(classes) == 1:
		out.Says = fmt.Sprintf("The date %s on record falls in the class “%s”.", m.Year, classes[0])
	default:
		out.Says = fmt.Sprintf("The date %s on record may fall in any of these classes: %s. A closer date would tell.", m.Year, strings.Join(classes, ", "))
	}
	if in.LeastYears != nil {
		out.Says = strings.TrimSpace(out.Says + " " + fmt.Sprintf(map[string]string{"yes": "By the date %s on record it is at least %d years old.", "no": "By the date %s on record it is not yet %d years old.",
			"cannot tell": "By the date %s on record it cannot be told whether it is %d years old; a closer date would tell."}[age.OldEnough], m.Year, r.LeastYears))
	}
	return nil
}
