package catalog

import (
	"slices"
	"strconv"
	"time"

	"example.org/asfound/registry"
)

// Kinds of a published rule: which calculator of scoring works it out.
const (
	PublishedClasses     = "classes"     // age/1: a class for each span of time
	PublishedAge         = "age"         // age/1: so many years
	PublishedCriteria    = "criteria"    // criteria/1: one class by its criteria
	PublishedPoints      = "points"      // points/1
	PublishedPercentages = "percentages" // percentages/1
	PublishedJudging     = "judging"     // judging/1
)

// PublishedRule is a rule that somebody else publishes, in own words, of one
// edition. None is part of an index, and none can be awarded here.
type PublishedRule struct {
	ID      string `json:"id"`
	Title   string `json:"title"`
	Edition string `json:"edition"`
	Kind    string `json:"kind"`
	// Asks says in one sentence what the rule asks, and Silent what it does not
	// say, so that it is declared and not inferred.
	Asks   string   `json:"asks"`
	Silent []string `json:"silent,omitempty"`

	Classes     []PublishedClass     `json:"classes,omitempty"`
	LeastYears  int                  `json:"least_years,omitempty"`
	PeriodYears int                  `json:"period_years,omitempty"` // in which changes count as of the period
	Criteria    []PublishedCriterion `json:"criteria,omitempty"`
	Items       []PublishedItem      `json:"items,omitempty"`
	Must        []string             `json:"must,omitempty"` // items without which the points do not count
	Areas       []string             `json:"areas,omitempty"`
	By          string               `json:"by,omitempty"`    // of percentages: mean or count
	Least       float64              `json:"least,omitempty"` // points or per cent
	Count       int                  `json:"count,omitempty"` // of areas
	Categories  []PublishedCategory  `json:"categories,omitempty"`
	Step        float64              `json:"step,omitempty"`
	Awards      []PublishedAward     `json:"awards,omitempty"`
	Basis
}

// PublishedClass is a span of days, both ends in it; "" is an open end.
type PublishedClass struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	From  string `json:"from,omitempty"`
	To    string `json:"to,omitempty"`
}

// PublishedCriterion is one criterion of a class.
type PublishedCriterion struct {
	ID       string `json:"id"`
	Sentence string `json:"sentence"`
	// From says how a machine's record answers it; where it cannot, Help says in
	// a sentence what would.
	From *PublishedReading `json:"from,omitempty"`
	Help string            `json:"help,omitempty"`
}

// PublishedReading answers a criterion from the claims about components: it is
// met when at least a share of the weight is in one of the states.
type PublishedReading struct {
	Proposition string   `json:"proposition"` // origin, finish or specification
	States      []string `json:"states"`
	Of          string   `json:"of"` // see the parts below
	Components  []string `json:"components,omitempty"`
	Least       float64  `json:"least"` // of the weight, above 0 to 1
	// Assumption is what of this the rule itself does not say.
	Assumption string `json:"assumption"`
}

// The parts that a criterion may be about.
const (
	PartsAll        = "all"
	PartsWear       = "wear-parts"     // what the anatomy calls consumable
	PartsLasting    = "lasting-parts"  // what it does not
	PartsIdentity   = "identity-parts" // what identity hangs on
	PartsComponents = "components"     // those that are named
)

// PublishedItem is one item that brings points.
type PublishedItem struct {
	ID     string  `json:"id"`
	Title  string  `json:"title"`
	Points float64 `json:"points"`
}

// PublishedCategory is one line of a judging sheet.
type PublishedCategory struct {
	ID       string  `json:"id"`
	Points   float64 `json:"points"`
	MostLost float64 `json:"most_lost"`
}

// PublishedAward is one award line of a judging sheet.
type PublishedAward struct {
	ID    string   `json:"id"`
	Title string   `json:"title"`
	Least float64  `json:"least"`
	Needs []string `json:"needs,omitempty"`
}

func (p PublishedRule) key() string { return p.ID }

func (p PublishedRule) clone() PublishedRule {
	p.Silent, p.Classes, p.Criteria = slices.Clone(p.Silent), slices.Clone(p.Classes), slices.Clone(p.Criteria)
	p.Items, p.Must, p.Areas = slices.Clone(p.Items), slices.Clone(p.Must), slices.Clone(p.Areas)
	p.Categories, p.Awards = slices.Clone(p.Categories), slices.Clone(p.Awards)
	for i := range p.Criteria {
		if from := p.Criteria[i].From; from != nil {
			own := *from
			own.States, own.Components = slices.Clone(from.States), slices.Clone(from.Components)
			p.Criteria[i].From = &own
		}
	}
	for i := range p.Awards {
		p.Awards[i].Needs = slices.Clone(p.Awards[i].Needs)
	}
	return p
}

// PublishedRule gives one published rule, by id.
func (c *Catalog) PublishedRule(id string) (PublishedRule, bool) { return c.published.get(id) }

// PublishedRules lists all of them.
func (c *Catalog) PublishedRules() []PublishedRule { return c.published.all() }

func limitPublished(fs *faults, at place, old, now *PublishedRule) {
	fixed(fs, at, "/kind", old.Kind, now.Kind, "A rule keeps its kind, because records use it")
	if now.Edition == old.Edition {
		now.Silent = join(old.Silent, now.Silent)
	}
}

func (b *builder) checkPublished() {
	for _, x := range b.c.published.rows {
		s := b.spot("published", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		if x.Source == "" {
			s.add("/source", "", "who publishes it", "A published rule has a source", "Name it; an assumption is none.")
		}
		s.text("/title", x.Title)
		s.text("/edition", x.Edition)
		s.warning("/asks", x.Asks)
		for i, t := range x.Silent {
			s.warning("/silent/"+strconv.Itoa(i), t)
		}
		s.between("/least", x.Least, 0, 1e6)
		s.between("/least_years", float64(x.LeastYears), 0, 200)
		s.between("/period_years", float64(x.PeriodYears), 0, 200)
		s.publishedBody(x)
	}
}

// reading holds how a record answers a criterion against the vocabulary and the
// anatomy. A criterion that says nothing of it stays unknown.
func (s spot) reading(at string, c PublishedCriterion) {
	f := c.From
	if c.Help != "" {
		s.warning(at+"/help", c.Help)
	}
	if f == nil {
		return
	}
	at += "/from"
	p := registry.Proposition(f.Proposition)
	s.oneOf(at+"/proposition", f.Proposition, string(registry.PropositionOrigin), string(registry.PropositionFinish), string(registry.PropositionSpecification))
	for i, state := range f.States {
		s.oneOf(at+"/states/"+strconv.Itoa(i), state, registry.States(p)...)
	}
	s.oneOf(at+"/of", f.Of, PartsAll, PartsWear, PartsLasting, PartsIdentity, PartsComponents)
	if (f.Of == PartsComponents) != (len(f.Components) > 0) || len(f.States) == 0 {
		s.add(at, "", "states, and components where they are asked for", "It is not said which components or states the criterion is about", "List them.")
	}
	for i, id := range f.Components {
		if _, ok := s.b.c.components.get(id); !ok {
			s.add(at+"/components/"+strconv.Itoa(i), quote(id), "a component of the anatomy", "There is no such component", "Correct the id.")
		}
	}
	s.between(at+"/least", f.Least, 0.01, 1)
	s.warning(at+"/assumption", f.Assumption)
}

// publishedBody wants what the kind of the rule needs.
func (s spot) publishedBody(x PublishedRule) {
	needs := func(pointer string, n int) {
		if n == 0 {
			s.add(pointer, "nothing", "at least one", "A rule of the kind "+x.Kind+" needs this", "Write it.")
		}
	}
	ids := func(pointer string, n int, id func(i int) string) []string {
		var seen []string
		for i := range n {
			at := pointer + "/" + strconv.Itoa(i)
			s.id(at, id(i))
			if slices.Contains(seen, id(i)) {
				s.add(at, quote(id(i)), "each once", "This stands twice in the rule", "")
			}
			seen = append(seen, id(i))
		}
		return seen
	}
	switch x.Kind {
	case PublishedClasses:
		needs("/classes", len(x.Classes))
		ids("/classes", len(x.Classes), func(i int) string { return x.Classes[i].ID })
		for i, c := range x.Classes {
			for pointer, day := range map[string]string{"/from": c.From, "/to": c.To} {
				if _, err := time.Parse(time.DateOnly, day); day != "" && err != nil {
					s.add("/classes/"+strconv.Itoa(i)+pointer, quote(day), "a day as 1945-12-31", "This is no day", "")
				}
			}
			if c.From != "" && c.To != "" && c.To < c.From {
				s.add("/classes/"+strconv.Itoa(i), quote(c.To), "after "+c.From, "The class ends before it begins", "")
			}
		}
	case PublishedAge:
		needs("/least_years", x.LeastYears+x.PeriodYears)
	case PublishedCriteria:
		needs("/criteria", len(x.Criteria))
		ids("/criteria", len(x.Criteria), func(i int) string { return x.Criteria[i].ID })
		for i, c := range x.Criteria {
			s.warning("/criteria/"+strconv.Itoa(i)+"/sentence", c.Sentence)
			s.reading("/criteria/"+strconv.Itoa(i), c)
		}
	case PublishedPoints:
		needs("/items", len(x.Items))
		known := ids("/items", len(x.Items), func(i int) string { return x.Items[i].ID })
		for i, item := range x.Items {
			s.between("/items/"+strconv.Itoa(i)+"/points", item.Points, 0, 1e6)
		}
		for i, id := range x.Must {
			s.oneOf("/must/"+strconv.Itoa(i), id, known...)
		}
	case PublishedPercentages:
		needs("/areas", len(x.Areas))
		ids("/areas", len(x.Areas), func(i int) string { return x.Areas[i] })
		s.oneOf("/by", x.By, "mean", "count")
		s.between("/least", x.Least, 0, 100)
		if x.By == "count" {
			s.between("/count", float64(x.Count), 1, float64(len(x.Areas)))
		}
	case PublishedJudging:
		needs("/categories", len(x.Categories))
		needs("/awards", len(x.Awards))
		s.between("/step", x.Step, 0.001, 100)
		ids("/categories", len(x.Categories), func(i int) string { return x.Categories[i].ID })
		known := ids("/awards", len(x.Awards), func(i int) string { return x.Awards[i].ID })
		for i, a := range x.Awards {
			for j, id := range a.Needs {
				s.oneOf("/awards/"+strconv.Itoa(i)+"/needs/"+strconv.Itoa(j), id, known...)
			}
		}
	default:
		s.oneOf("/kind", x.Kind, PublishedClasses, PublishedAge, PublishedCriteria, PublishedPoints, PublishedPercentages, PublishedJudging)
	}
}
