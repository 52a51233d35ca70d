package scoring

import (
	"slices"
	"strings"
)

const maxCriteria = 100

// onlyTheBody stands beside every answer about a rule that somebody else
// publishes.
const onlyTheBody = "Only the body that publishes the rule can award or refuse it, after looking at the machine. This says what the evidence supports, is no index of this program, and is not mixed with one."

// PublishedRule says whose words are applied. Editions differ, so it is needed.
type PublishedRule struct {
	Title   string `json:"title"`
	Source  string `json:"source"`
	Edition string `json:"edition"`
}

func (fs *faults) rule(rule PublishedRule) {
	fs.published("/rule/title", rule.Title, "The rule has no title")
	fs.published("/rule/source", rule.Source, "It is not said who publishes the rule")
	fs.published("/rule/edition", rule.Edition, "It is not said which edition of the rule is used")
}

func (fs *faults) published(pointer, s, message string) {
	if strings.TrimSpace(s) == "" || len(s) > 2000 {
		fs.add(pointer, quote(s), "1 to 2000 bytes", message, "Copy it from the catalog, or write it.")
	}
}

func (r *reader) rule(to *PublishedRule) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		r.object(n, pointer,
			member{"title", true, r.text(&to.Title)},
			member{"source", true, r.text(&to.Source)},
			member{"edition", true, r.text(&to.Edition)},
		)
	}
}

// CriteriaInput asks whether the evidence supports the criteria of one
// published class.
type CriteriaInput struct {
	Rule     PublishedRule `json:"rule"`
	Criteria []Criterion   `json:"criteria"`
	// From Supports up a probability supports a criterion, from Against down it
	// does not.
	Supports float64 `json:"supports"`
	Against  float64 `json:"against"`
}

// Criterion is one of the class's criteria.
type Criterion struct {
	ID       string `json:"id"`
	Sentence string `json:"sentence,omitempty"`
	// Probability that it is met; without one nothing is known.
	Probability *float64 `json:"probability,omitempty"`
}

// CriteriaResult is what the evidence says of each criterion and of all.
type CriteriaResult struct {
	Rule     PublishedRule     `json:"rule"`
	Criteria []CriterionResult `json:"criteria"`
	// Low and High bound the probability that all are met when nothing is known
	// of how the criteria hang together; Product is it if they were independent,
	// and is there only when every criterion has a probability.
	Low     float64  `json:"low"`
	High    float64  `json:"high"`
	Product *float64 `json:"product,omitempty"`
	// Weakest is the least probable criterion of those that have a probability.
	Weakest   string   `json:"weakest"`
	Unknown   []string `json:"unknown"` // criteria without a probability
	Statement string   `json:"statement"`
}

// CriterionResult is what the evidence says of one criterion.
type CriterionResult struct {
	ID          string   `json:"id"`
	Sentence    string   `json:"sentence,omitempty"`
	Probability *float64 `json:"probability,omitempty"`
	Evidence    string   `json:"evidence"` // "supports", "does not support" or "unknown"
	Printed     string   `json:"printed"`
}

// Criteria says for each criterion of a published class whether the evidence
// supports it, and bounds the probability that all are met (Fréchet's bounds,
// see Bounds). A criterion without a probability may be met or not, so the lower
// bound is then 0.
//
// It awards nothing. It refuses (CodeInsufficient) a class without criteria or
// without any probability, and (CodeInvalid) a probability outside 0 to 1.
func Criteria(in CriteriaInput) (CriteriaResult, error) {
	var fs faults
	fs.rule(in.Rule)
	fs.count("/criteria", len(in.Criteria), maxCriteria, "criteria")
	fs.probability("/supports", in.Supports, "The probability that supports")
	fs.probability("/against", in.Against, "The probability that does not support")
	if len(fs) == 0 && !(in.Against < in.Supports) {
		fs.add("/against", number(in.Against), "below "+number(in.Supports), "The two limits leave no room for what is unknown", "Lower this one.")
	}
	seen := map[string]bool{}
	out := CriteriaResult{Rule: in.Rule, Criteria: []CriterionResult{}, Unknown: []string{}, Statement: onlyTheBody}
	var known []float64
	var names []string
	for i, c := range in.Criteria {
		here := at("/criteria", i)
		fs.unique(here+"/id", c.ID, "The criterion "+quote(c.ID), seen)
		fs.optionalProbability(here+"/probability", c.Probability, "The probability of a criterion")
		r := CriterionResult{c.ID, c.Sentence, c.Probability, "unknown", "not known"}
		if p := c.Probability; p == nil {
			out.Unknown = append(out.Unknown, c.ID)
		} else {
			known, names, r.Printed = append(known, *p), append(names, c.ID), Percent(*p)
			switch {
			case *p >= in.Supports:
				r.Evidence = "supports"
			case *p <= in.Against:
				r.Evidence = "does not support"
			}
		}
		out.Criteria = append(out.Criteria, r)
	}
	if err := fs.err("The criteria"); err != nil {
		return CriteriaResult{}, err
	}
	if len(known) == 0 {
		return CriteriaResult{}, insufficient("/criteria", "No criterion has a probability", "Survey what the criteria ask for, and give the probability of each.")
	}
	all, err := Bounds(known)
	if err != nil {
		return CriteriaResult{}, err
	}
	out.High, out.Weakest = all.High, names[all.Weakest]
	if len(out.Unknown) == 0 {
		out.Low, out.Product = all.Low, &all.Product
	}
	return out, nil
}

func readCriteriaInput(r *reader, n *node) (in CriteriaInput) {
	r.object(n, "",
		member{"rule", true, r.rule(&in.Rule)},
		member{"criteria", true, r.array(func(n *node, pointer string) {
			var c Criterion
			r.object(n, pointer,
				member{"id", true, r.text(&c.ID)},
				member{"sentence", false, r.text(&c.Sentence)},
				member{"probability", false, r.optional(&c.Probability)},
			)
			in.Criteria = append(in.Criteria, c)
		})},
		member{"supports", true, r.number(&in.Supports)},
		member{"against", true, r.number(&in.Against)},
	)
	return in
}

// Outcomes of a published rule.
const (
	ruleMet    = "meets"
	ruleNotMet = "does not meet"
)

// metOrNot is the outcome when the figure asked for lies between low and high.
func metOrNot(low, high, least float64) string {
	switch {
	case low >= least:
		return ruleMet
	case high < least:
		return ruleNotMet
	}
	return cannotTell
}

// PointsInput asks a rule that gives points to what is kept and wants a total.
type PointsInput struct {
	Rule  PublishedRule `json:"rule"`
	Items []PointsItem  `json:"items"`
	Least float64       `json:"least"` // the total that is needed
	// Must names items without which the total does not count.
	Must []string `json:"must"`
}

// PointsItem is one item of the rule.
type PointsItem struct {
	ID     string  `json:"id"`
	Points float64 `json:"points"`
	Kept   *bool   `json:"kept,omitempty"` // absent when it is not known
}

// PointsResult is the total.
type PointsResult struct {
	Rule    PublishedRule `json:"rule"`
	Low     float64       `json:"low"`  // what is kept for certain
	High    float64       `json:"high"` // with what may be
	Most    float64       `json:"most"` // that the rule can give
	Least   float64       `json:"least"`
	Outcome string        `json:"outcome"` // meets, does not meet, cannot tell
	Lacking []string      `json:"lacking"` // items that must be kept and are not
	Unknown []string      `json:"unknown"`
	// Statement says what the figure is not.
	Statement string `json:"statement"`
}

// Points adds the points of what is kept and holds them against the total that
// a published rule asks for, with the items that must be among them. What is not
// known makes a range.
//
// It refuses (CodeInvalid) a rule without source or edition, an item twice, and
// points out of range; and (CodeInsufficient) a rule without items.
func Points(in PointsInput) (PointsResult, error) {
	var fs faults
	fs.rule(in.Rule)
	fs.count("/items", len(in.Items), maxCriteria, "items")
	fs.span("/least", in.Least, 0, 1e6, "The total asked for", "points")
	out := PointsResult{Rule: in.Rule, Least: in.Least, Lacking: []string{}, Unknown: []string{}, Statement: onlyTheBody}
	seen := map[string]bool{}
	open := false // something that must be kept is not known
	for i, item := range in.Items {
		here := at("/items", i)
		fs.unique(here+"/id", item.ID, "The item "+quote(item.ID), seen)
		fs.span(here+"/points", item.Points, 0, 1e6, "The points of an item", "points")
		must := slices.Contains(in.Must, item.ID)
		out.Most += item.Points
		switch {
		case item.Kept == nil:
			out.Unknown = append(out.Unknown, item.ID)
			out.High += item.Points
			open = open || must
		case *item.Kept:
			out.Low += item.Points
			out.High += item.Points
		case must:
			out.Lacking = append(out.Lacking, item.ID)
		}
	}
	for i, id := range in.Must {
		if !seen[id] {
			fs.add(at("/must", i), quote(id), "the ids of the items", "There is no such item", "Correct the id.")
		}
	}
	if err := fs.err("The points"); err != nil {
		return PointsResult{}, err
	}
	if len(in.Items) == 0 {
		return PointsResult{}, insufficient("/items", "The rule has no items", "Copy them from the catalog.")
	}
	out.Outcome = metOrNot(out.Low, out.High, in.Least)
	if out.Outcome == ruleMet && open {
		out.Outcome = cannotTell
	}
	if len(out.Lacking) > 0 {
		out.Outcome = ruleNotMet
	}
	return out, nil
}

func readPointsInput(r *reader, n *node) (in PointsInput) {
	r.object(n, "",
		member{"rule", true, r.rule(&in.Rule)},
		member{"items", true, r.array(func(n *node, pointer string) {
			var item PointsItem
			r.object(n, pointer,
				member{"id", true, r.text(&item.ID)},
				member{"points", true, r.number(&item.Points)},
				member{"kept", false, func(n *node, pointer string) {
					item.Kept = new(bool)
					r.flag(item.Kept)(n, pointer)
				}},
			)
			in.Items = append(in.Items, item)
		})},
		member{"least", true, r.number(&in.Least)},
		member{"must", false, r.texts(&in.Must)},
	)
	return in
}
