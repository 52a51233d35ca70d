package scoring

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
	out := CriteriaResult{Rule: in.Rule, Criteria: []CriterionResult{}, Unknown: []string{}, Statement: OnlyTheBody}
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
