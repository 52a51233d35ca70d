package workshop

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// ValueQuestion asks what a machine is worth as it stands and after options.
// What is left out is assumed, and the assumption is said.
type ValueQuestion struct {
	// Options are valued each by itself, or with Together as one plan.
	Options  []string `json:"options,omitempty"`
	Together bool     `json:"together,omitempty"`
	// Plans are combinations with names, beside Options.
	Plans []ValuePlan `json:"plans,omitempty"`
	// ConditionBefore is 0 to 5; the mean of the surveyed conditions, weighted
	// by points, when nil. ConditionAfter is that of every plan that names none;
	// as before when nil.
	ConditionBefore *float64 `json:"condition_before,omitempty"`
	ConditionAfter  *float64 `json:"condition_after,omitempty"`
	// Distance is what the dial shows, in miles, 1 to 1e6. It is needed.
	Distance *float64 `json:"distance"`
	// Documented and Running are as it stands; afterwards as before when nil.
	Documented      bool  `json:"documented"`
	Running         bool  `json:"running"`
	DocumentedAfter *bool `json:"documented_after,omitempty"`
	RunningAfter    *bool `json:"running_after,omitempty"`
	// Currency and PriceKind, when given, leave all other sales out.
	Currency  string `json:"currency,omitempty"`
	PriceKind string `json:"price_kind,omitempty"`
	// Series is a price index from the oldest sale to today.
	Series []PricePoint `json:"series,omitempty"`
	// Level is what a middling machine fetches, in the currency of the sales;
	// the catalog's when nil.
	Level *float64 `json:"level,omitempty"`
	// ResidualShare is scoring.ValueInput's.
	ResidualShare *float64 `json:"residual_share,omitempty"`
	// Shared are sales on other machines' records, whose owners permit it, to be
	// used beside those on this one's; see SharedSales.
	Shared []string `json:"shared,omitempty"`

	taken []*registry.ComparableSale // the sales that Shared names
}

// ValuePlan is a combination of options under a name.
type ValuePlan struct {
	ID         string   `json:"id"`
	Options    []string `json:"options"`
	Condition  *float64 `json:"condition,omitempty"`
	Documented *bool    `json:"documented,omitempty"`
	Running    *bool    `json:"running,omitempty"`
}

// What originality is made of in a valuation.
const (
	BasisSubstance = "substance"
	BasisBoth      = "substance-and-surface"
)

// ValueReport is the answer, with exactly the input that `calc value` takes.
type ValueReport struct {
	Currency string `json:"currency"`
	On       string `json:"on"`    // the day for which it speaks
	Basis    string `json:"basis"` // BasisSubstance or BasisBoth
	// Words is the answer in a few sentences.
	Words  string              `json:"words"`
	Input  scoring.ValueInput  `json:"input"`
	Result scoring.ValueResult `json:"result"`
	Plans  []ValuedPlan        `json:"plans"` // in the order of Result.Afters
	// LeftOut are sales on record that were not used.
	LeftOut []LeftOut `json:"left_out"`
	// Cautions are beside those of Result and of its Afters.
	Cautions []string `json:"cautions"`
	// Assumptions are of this question, Prior what was thought of prices before
	// any sale was looked at; all in sentences.
	Assumptions []string `json:"assumptions"`
	Prior       []string `json:"prior"`
}

// ValuedPlan says what a plan consists of and what it does to the indices; the
// losses are means, in index units from 0 to 1.
type ValuedPlan struct {
	ID            string   `json:"id"`
	Options       []string `json:"options"`
	SubstanceLost float64  `json:"substance_lost"`
	SurfaceLost   float64  `json:"surface_lost"`
	Condition     float64  `json:"condition"`
	Documented    bool     `json:"documented"`
	Running       bool     `json:"running"`
}

// Value compares what a machine is worth as it stands with what it would be
// worth after options, by the comparable sales on its record and the catalog's
// assumptions: the ratio first, then the level, net of cost. It records
// nothing.
//
// CodeInsufficient when the survey is too thin, when sales lie too far apart in
// time without a series or beyond the one given, and when there is no level of
// prices in their currency; CodeInvalid for a question that cannot be read,
// several currencies, or rivals in one plan; CodeNotFound for an option that is
// not on record. What scoring withholds stands as sentences in Result.
func (w *Workshop) Value(ctx context.Context, machine string, q ValueQuestion) (*ValueReport, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	s, err := w.look(d, "")
	if err != nil {
		return nil, err
	}
	if q, err = w.withShared(ctx, machine, q); err != nil {
		return nil, err
	}
	return s.value(q)
}

// valuer puts a valuation together.
type valuer struct {
	*seen
	q      ValueQuestion
	out    *ValueReport
	series *priceSeries
	make   string
	// substance and surface are the means of the indices as they stand; surface
	// is nil when it is not known.
	substance float64
	surface   *float64
	// blend says that originality is substance and surface together.
	blend bool
}

func (s *seen) value(q ValueQuestion) (*ValueReport, error) {
	v := &valuer{seen: s, q: q, out: &ValueReport{On: s.w.Now().UTC().Format("2006-01-02"), LeftOut: []LeftOut{}, Cautions: []string{},
		Assumptions: []string{}, Prior: []string{}, Plans: []ValuedPlan{},
		Input: scoring.ValueInput{Sales: []scoring.Sale{}, Afters: []scoring.After{}, ResidualShare: q.ResidualShare}}}
	if m, ok := s.d.MachineRecord(); ok {
		v.make = strings.TrimSpace(m.Make)
	}
	if err := v.readQuestion(); err != nil {
		return nil, err
	}
	for _, step := range []func() error{v.indices, v.sales, v.before, v.plans, v.prior} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	var err error
	if v.out.Result, err = scoring.Value(v.out.Input); err != nil {
		return nil, err
	}
	v.out.Words = v.out.words()
	return v.out, nil
}

func (v *valuer) assume(format string, args ...any) {
	v.out.Assumptions = append(v.out.Assumptions, fmt.Sprintf(format, args...))
}

// assumed is one of the catalog's numbers behind valuations.
func (v *valuer) assumed(id string) float64 {
	a, _ := v.w.Catalog.ValueAssumption(id)
	return a.Value
}

// readQuestion checks what no other step does.
func (v *valuer) readQuestion() error {
	var err error
	if v.series, err = newPriceSeries(v.q.Series); err != nil {
		return err
	}
	if v.q.Distance == nil {
		return registry.Refuse(registry.CodeInvalid, "Write what the dial shows, with its unit.", "It is not said how far the machine has run")
	}
	if v.q.PriceKind != "" && (v.q.PriceKind == "asking" || !slices.ContainsFunc(registry.PriceKinds(), func(t registry.Term) bool { return t.ID == v.q.PriceKind })) {
		return registry.Refuse(registry.CodeInvalid, "Choose hammer, with-premium or private.", "%q is no kind of price that was paid", v.q.PriceKind)
	}
	if v.q.Level != nil && !(*v.q.Level > 0 && *v.q.Level <= 1e12) {
		return registry.Refuse(registry.CodeInvalid, "Write what a middling machine fetches, above 0.", "%g is no level of prices", *v.q.Level)
	}
	return nil
}

// indices takes the indices as they stand.
func (v *valuer) indices() error {
	if why := v.incomplete("substance"); why != "" {
		return registry.Refuse(registry.CodeInsufficient, "Survey first, and value then.", "What the machine is worth cannot be said yet. %s", why)
	}
	substance, err := v.index("substance")
	if err != nil {
		return err
	}
	v.substance = substance.Now.Mean
	surface, err := v.index("surface")
	if err == nil && surface.Now != nil {
		v.surface = &surface.Now.Mean
	}
	return err
}

// before is the machine as it stands. It comes after the sales, which decide
// what originality is made of.
func (v *valuer) before() error {
	condition, err := v.conditionBefore()
	if err != nil {
		return err
	}
	v.out.Input.Before = scoring.Subject{Make: v.make, Features: scoring.Features{Originality: v.originality(v.substance, v.surface),
		Condition: condition, Distance: *v.q.Distance, Tier: v.tier(v.q.Documented, v.q.Running)}}
	v.assume("As it stands it counts as %s and %s.", either(v.q.Documented, "documented", "not documented"), either(v.q.Running, "running", "not running"))
	return nil
}

func either(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

func (v *valuer) conditionBefore() (float64, error) {
	if v.q.ConditionBefore != nil {
		return *v.q.ConditionBefore, nil
	}
	var sum, points float64
	for _, c := range v.w.components() {
		if s, ok := v.d.SurveyOf(c.ID); ok && s.Record.Condition != nil && !v.d.NotFitted(c.ID) {
			sum += float64(c.Points * float64(*s.Record.Condition))
			points += c.Points
		}
	}
	if points == 0 {
		return 0, registry.Refuse(registry.CodeInsufficient, "Say what it is, 0 to 5.", "The survey says nothing of the condition of any component that counts")
	}
	condition := hundredths(sum / points)
	v.assume("The condition as it stands, %.2f, is the mean of the surveyed conditions, weighted by points.", condition)
	return condition, nil
}

// plans values each combination of options.
func (v *valuer) plans() error {
	all := slices.Clone(v.q.Plans)
	switch {
	case v.q.Together && len(v.q.Options) > 0:
		all = append(all, ValuePlan{ID: "together", Options: v.q.Options})
	default:
		for _, id := range v.q.Options {
			all = append(all, ValuePlan{ID: id, Options: []string{id}})
		}
	}
	for _, p := range all {
		if err := v.plan(p); err != nil {
			return err
		}
	}
	if len(all) > 0 {
		v.assume("Originality afterwards is that of now less the means of what weighing shows, openings paid once; gains count too.")
	}
	return nil
}

func (v *valuer) plan(p ValuePlan) error {
	before := v.out.Input.Before.Features
	options, err := v.optionsOf(p)
	if err != nil {
		return err
	}
	valued := ValuedPlan{ID: p.ID, Options: p.Options, Documented: v.q.Documented, Running: v.q.Running, Condition: before.Condition}
	for _, said := range []*bool{v.q.DocumentedAfter, p.Documented} {
		if said != nil {
			valued.Documented = *said
		}
	}
	for _, said := range []*bool{v.q.RunningAfter, p.Running} {
		if said != nil {
			valued.Running = *said
		}
	}
	switch {
	case p.Condition != nil:
		valued.Condition = *p.Condition
	case v.q.ConditionAfter != nil:
		valued.Condition = *v.q.ConditionAfter
	default:
		v.assume("Nothing is said of the condition after %s: it is taken as it stands.", p.ID)
	}
	if valued.SubstanceLost, err = v.lost(options, "substance"); err != nil {
		return err
	}
	if v.surface != nil {
		if valued.SurfaceLost, err = v.lost(options, "surface"); err != nil {
			return err
		}
	}
	after := scoring.After{ID: p.ID, Features: scoring.Features{Condition: valued.Condition, Distance: before.Distance, Tier: v.tier(valued.Documented, valued.Running)}}
	after.Originality = v.originality(within(v.substance-valued.SubstanceLost), v.surfaceAfter(valued.SurfaceLost))
	if !v.blend && math.Abs(valued.SurfaceLost) >= 0.005 {
		v.out.Cautions = append(v.out.Cautions, fmt.Sprintf("%s takes %.2f from the surface index, and no figure here knows of it: the sales say too little of surface. What it really does to the price is likely worse than shown.", p.ID, valued.SurfaceLost))
	}
	if after.Cost, err = v.costOf(p); err != nil {
		return err
	}
	v.out.Plans = append(v.out.Plans, valued)
	v.out.Input.Afters = append(v.out.Input.Afters, after)
	return nil
}

func (v *valuer) surfaceAfter(lost float64) *float64 {
	if v.surface == nil {
		return nil
	}
	after := within(*v.surface - lost)
	return &after
}

// within keeps an index between 0 and 1.
func within(index float64) float64 { return min(1, max(0, index)) }

// optionsOf finds a plan's options and refuses rivals.
func (v *valuer) optionsOf(p ValuePlan) ([]*registry.Option, error) {
	if len(p.Options) == 0 {
		return nil, registry.Refuse(registry.CodeInvalid, "Name its options.", "The plan %q has no options", p.ID)
	}
	var out []*registry.Option
	for _, id := range p.Options {
		o, ok := registry.Get[*registry.Option](v.d, id)
		if !ok {
			return nil, registry.Refuse(registry.CodeNotFound, "List the faults and their options.", "There is no option %q", id)
		}
		for _, other := range out {
			if other.Fault == o.Record.Fault || slices.Contains(o.Record.Excludes, other.ID) || slices.Contains(other.Excludes, id) {
				return nil, registry.Refuse(registry.CodeInvalid, "Put them into different plans.", "%q and %q cannot both be done: they are rivals", other.ID, id)
			}
		}
		if slices.ContainsFunc(registry.Live[*registry.Work](v.d), func(w registry.Found[*registry.Work]) bool { return w.Record.Option == id }) {
			v.out.Cautions = append(v.out.Cautions, fmt.Sprintf("Work is on record for %s already: the figures are of doing it once more.", id))
		}
		out = append(out, o.Record)
	}
	return out, nil
}

// lost is the mean of what options take from an index together, each opening
// counted once.
func (v *valuer) lost(options []*registry.Option, name string) (float64, error) {
	sum := 0.0
	opened := map[string]bool{}
	for _, o := range options {
		in, err := v.effectInput(o, name)
		if err != nil {
			return 0, err
		}
		in.Openings = slices.DeleteFunc(in.Openings, func(x scoring.Opening) bool {
			twice := opened[x.ID]
			opened[x.ID] = true
			return twice
		})
		if len(in.Parts) == 0 && len(in.Openings) == 0 {
			continue
		}
		r, err := scoring.Effect(in)
		if err != nil {
			return 0, err
		}
		sum += r.Now.Mean
	}
	return sum, nil
}

// costOf is the mean of the forecast of a plan's cost; nil when nothing in it
// has a price.
func (v *valuer) costOf(p ValuePlan) (*float64, error) {
	r, err := v.w.cost(v.d, p.Options, registry.Money{})
	if registry.CodeOf(err) == registry.CodeInsufficient {
		v.assume("Nothing in %s has a price, so that there is no net figure.", p.ID)
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if v.out.Currency == "" {
		v.out.Currency = r.Currency
	}
	if r.Currency != v.out.Currency {
		return nil, registry.Refuse(registry.CodeInvalid, "Price the options in the currency of the sales. Nothing is converted here.",
			"The options of %s are priced in %s, and the sales in %s", p.ID, r.Currency, v.out.Currency)
	}
	cost := hundredths(r.Result.ExactMean)
	v.assume("The cost of %s, %s %s, is the mean of its forecast, finds included; hours count only where its prices include them.", p.ID, figure(cost), r.Currency)
	return &cost, nil
}

// prior puts the catalog's assumptions in, each with its sentence.
func (v *valuer) prior() error {
	house := v.w.Catalog
	if v.out.Currency == "" {
		v.out.Currency = house.PriceCurrencies()[0]
	}
	level, known := house.PriceLevel(v.out.Currency)
	switch {
	case v.q.Level != nil:
		if !known {
			level, _ = house.PriceLevel(house.PriceCurrencies()[0])
		}
		level.Value = *v.q.Level
		v.out.Prior = append(v.out.Prior, fmt.Sprintf("The level of %s %s for a middling machine is yours, believed as firmly as the catalog believes its own.", figure(level.Value), v.out.Currency))
	case !known:
		return registry.Refuse(registry.CodeInsufficient, "Say what a middling machine fetches (originality 0.70, condition 3, 20,000 miles, neither documented nor running).",
			"The catalog knows of no level of prices in %s, only in %s", v.out.Currency, strings.Join(house.PriceCurrencies(), ", "))
	default:
		v.out.Prior = append(v.out.Prior, level.Sentence())
	}
	p := scoring.CoefficientPrior{Mean: []float64{math.Log(level.Value)}, SD: []float64{level.SD}}
	take := func(id string) catalog.ValueAssumption {
		a, _ := house.ValueAssumption(id)
		v.out.Prior = append(v.out.Prior, a.Sentence())
		return a
	}
	for _, id := range []string{catalog.ValueOriginality, catalog.ValueCondition, catalog.ValueDistance, catalog.ValueTier, catalog.ValueOriginalityCondition} {
		a := take(id)
		p.Mean, p.SD = append(p.Mean, a.Value), append(p.SD, a.SD)
	}
	p.Sigma, p.Shape = take(catalog.ValueResidual).Value, take(catalog.ValueResidualShape).Value
	take(catalog.ValueRunningShare)
	if v.blend {
		take(catalog.ValueSurfaceShare)
	}
	if slices.ContainsFunc(v.out.Input.Sales, func(s scoring.Sale) bool { return s.Make != v.make }) {
		v.out.Input.Makes = &scoring.MakeSpread{Tau: take(catalog.ValueMakeSpread).Value, Sigma: take(catalog.ValueMakeResidual).Value}
	}
	v.out.Input.Prior = p
	return nil
}

// valueOf is the estimate under which an offer keeps its valuation.
const valueOf = "value"

// offerValue puts a valuation into an offer; nil when none was asked for.
func (s *seen) offerValue(q *ValueQuestion, offer *registry.Offer) (*ValueReport, error) {
	if q == nil {
		return nil, nil
	}
	asked := *q
	if len(asked.Options) == 0 && len(asked.Plans) == 0 && len(offer.Recommended) > 0 {
		asked.Plans = []ValuePlan{{ID: "recommended", Options: offer.Recommended}}
	}
	r, err := s.value(asked)
	if err != nil {
		return nil, err
	}
	if r.Currency != offer.Ceiling.Currency {
		return nil, registry.Refuse(registry.CodeInvalid, "Ask in the currency of the sales, or leave the valuation out.",
			"The sales are in %s and the ceiling is in %s", r.Currency, offer.Ceiling.Currency)
	}
	estimate, err := s.w.estimate(valueOf, scoring.MethodValue, s.standpoint.id, r.Input, &scoring.ValueResult{})
	if err != nil {
		return nil, err
	}
	offer.Shown = append(offer.Shown, estimate)
	return r, nil
}

// offerValue reads an offer's valuation; nil when it has none.
func offerValue(offer registry.Offer) *scoring.ValueResult {
	for _, e := range offer.Shown {
		var r scoring.ValueResult
		if e.Of == valueOf && json.Unmarshal(e.Result, &r) == nil {
			return &r
		}
	}
	return nil
}
