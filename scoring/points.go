package scoring

import "slices"

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
	out := PointsResult{Rule: in.Rule, Least: in.Least, Lacking: []string{}, Unknown: []string{}, Statement: OnlyTheBody}
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
