package catalog

import (
	"slices"

	"example.org/asfound/registry"
)

// The levels of a caution.
const (
	LevelNote        = "note"        // shown
	LevelAcknowledge = "acknowledge" // somebody says that they have read it
	LevelStop        = "stop"        // work stops until it is answered
)

// levelRank orders levels, the gravest highest.
func levelRank(level string) int {
	return slices.Index([]string{LevelNote, LevelAcknowledge, LevelStop}, level)
}

// Caution says what can hurt at a step, and what is usually done against it.
// It never says that anything is without danger.
type Caution struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	Level string `json:"level"`
	// Triggers say when it appears: when any of them fits the step.
	Triggers []Trigger `json:"triggers"`
	Text     string    `json:"text"`
	// Also holds sentences that packs have added.
	Also         []string `json:"also,omitempty"`
	Jurisdiction string   `json:"jurisdiction"`
	// Date is the year or day of the source, or of the wording.
	Date string `json:"date"`
	Basis
}

// Trigger fits a step when every list that is not empty shares something with
// it.
type Trigger struct {
	Components []string `json:"components,omitempty"`
	Groups     []string `json:"groups,omitempty"`
	Acts       []string `json:"acts,omitempty"`
	Treatments []string `json:"treatments,omitempty"`
	Gates      []string `json:"gates,omitempty"`
	Materials  []string `json:"materials,omitempty"`
}

// Step is what somebody is about to do. Any field may be empty.
type Step struct {
	Act        string   // of Acts
	Components []string // ids or codes
	Treatment  string
	Gate       string
	Materials  []string // of Materials
}

// Acts are the acts that a step can name.
func Acts() []registry.Term {
	return []registry.Term{
		{ID: "intake", Meaning: "taking the machine into custody"},
		{ID: "open", Meaning: "opening a joint or a cover"},
		{ID: "remove", Meaning: "taking a part off"},
		{ID: "fit", Meaning: "putting a part on"},
		{ID: "clean", Meaning: "cleaning"},
		{ID: "abrade", Meaning: "sanding, scraping, grinding, brushing with wire, blasting"},
		{ID: "heat", Meaning: "heating"},
		{ID: "solder", Meaning: "soldering, brazing or welding"},
		{ID: "drain", Meaning: "draining a liquid"},
		{ID: "fill", Meaning: "filling a liquid"},
		{ID: "inflate", Meaning: "filling a tyre"},
		{ID: "air-line", Meaning: "using compressed air"},
		{ID: "lift", Meaning: "lifting, or standing on a stand"},
		{ID: "charge", Meaning: "charging a battery"},
		{ID: "spark-test", Meaning: "looking for a spark"},
		{ID: "turn-over", Meaning: "turning the engine by hand"},
		{ID: "run", Meaning: "running the engine"},
		{ID: "ride", Meaning: "riding"},
		{ID: "stamp", Meaning: "stamping or altering a number"},
		{ID: "publish", Meaning: "showing to strangers"},
		{ID: "import", Meaning: "bringing into a country"},
		{ID: "register", Meaning: "registering with an authority"},
		{ID: "dispose", Meaning: "throwing away"},
	}
}

// Materials are the materials that a step can name.
func Materials() []registry.Term {
	return []registry.Term{
		{ID: "asbestos", Meaning: "asbestos, known or suspected"},
		{ID: "brake-lining", Meaning: "old brake or clutch lining"},
		{ID: "petrol", Meaning: "petrol and its vapour"},
		{ID: "oil", Meaning: "oil"},
		{ID: "electrolyte", Meaning: "battery acid"},
		{ID: "old-enamel", Meaning: "old paint"},
		{ID: "lead-solder", Meaning: "solder that holds lead"},
		{ID: "plating", Meaning: "cadmium, chrome or other plating"},
		{ID: "luminous-paint", Meaning: "luminous paint on a dial"},
		{ID: "dirt", Meaning: "dust, droppings, nests"},
		{ID: "condenser-oil", Meaning: "oil inside a condenser or ballast"},
		{ID: "spring", Meaning: "a spring under load"},
	}
}

func (c Caution) key() string { return c.ID }

func (c Caution) clone() Caution {
	c.Also = slices.Clone(c.Also)
	c.Triggers = slices.Clone(c.Triggers)
	for i, t := range c.Triggers {
		c.Triggers[i] = Trigger{slices.Clone(t.Components), slices.Clone(t.Groups), slices.Clone(t.Acts),
			slices.Clone(t.Treatments), slices.Clone(t.Gates), slices.Clone(t.Materials)}
	}
	return c
}

// Caution finds a caution.
func (c *Catalog) Caution(id string) (Caution, bool) { return c.cautions.get(id) }

// Cautions lists all cautions.
func (c *Catalog) Cautions() []Caution { return c.cautions.all() }

// CautionsFor lists what must be shown at a step, the gravest first. A
// treatment brings its acts along. Names that the catalog does not know match
// nothing.
func (c *Catalog) CautionsFor(step Step) []Caution {
	now := c.facets(step)
	var out []Caution
	for _, caution := range c.cautions.rows {
		if slices.ContainsFunc(caution.Triggers, now.meets) {
			out = append(out, caution.clone())
		}
	}
	sortByLevel(out)
	return out
}

// CautionsForOpening lists what must be shown before an opening: what opening
// the components behind it brings, and what the opening itself names.
func (c *Catalog) CautionsForOpening(id string) []Caution {
	opening, ok := c.openings.get(id)
	if !ok {
		return nil
	}
	out := c.CautionsFor(Step{Act: "open", Components: opening.Behind})
	for _, id := range opening.Cautions {
		if !slices.ContainsFunc(out, func(x Caution) bool { return x.ID == id }) {
			if caution, ok := c.cautions.get(id); ok {
				out = append(out, caution)
			}
		}
	}
	sortByLevel(out)
	return out
}

func sortByLevel(list []Caution) {
	slices.SortStableFunc(list, func(a, b Caution) int { return levelRank(b.Level) - levelRank(a.Level) })
}

// facets is a step with every name resolved, in the form of a trigger.
func (c *Catalog) facets(step Step) *Trigger {
	now := &Trigger{Materials: step.Materials}
	if step.Act != "" {
		now.Acts = append(now.Acts, step.Act)
	}
	if step.Treatment != "" {
		now.Treatments = append(now.Treatments, step.Treatment)
		if t, ok := c.treatments.get(step.Treatment); ok {
			now.Acts = append(now.Acts, t.Acts...)
		}
	}
	if step.Gate != "" {
		now.Gates = append(now.Gates, step.Gate)
	}
	for _, name := range step.Components {
		if component, ok := c.Component(name); ok {
			now.Components = append(now.Components, component.ID)
			now.Groups = append(now.Groups, component.Group)
		}
	}
	return now
}

// meets says whether a trigger fits.
func (now *Trigger) meets(t Trigger) bool {
	return shares(t.Components, now.Components) && shares(t.Groups, now.Groups) && shares(t.Acts, now.Acts) &&
		shares(t.Treatments, now.Treatments) && shares(t.Gates, now.Gates) && shares(t.Materials, now.Materials)
}

// shares is true when wanted is empty or has something in common with have.
func shares(wanted, have []string) bool {
	return len(wanted) == 0 || slices.ContainsFunc(wanted, func(w string) bool { return slices.Contains(have, w) })
}
