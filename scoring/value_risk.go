package scoring

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// MaxOutcomes is how many outcomes of one act are weighed.
const MaxOutcomes = 200

// RiskInput asks what an irreversible act may cost if it goes wrong.
type RiskInput struct {
	// Source says whose experience the probabilities are: the workshop's own
	// log, a named practitioner. Without one nothing is computed.
	Source   string    `json:"source"`
	Outcomes []Outcome `json:"outcomes"`
	// Value is the machine's value before, above 0 to 1e12 in any currency,
	// and PerIndex the coefficient of the index in the logarithm of the value.
	// Both are needed by outcomes that state an index loss.
	Value    *float64 `json:"value,omitempty"`
	PerIndex *float64 `json:"per_index,omitempty"` // −10 to 10
}

// Outcome is one way the act may end: a probability and either of two losses.
// A negative loss is a gain.
type Outcome struct {
	ID          string  `json:"id"`
	Probability float64 `json:"probability"` // they sum to 1 within 1e-9
	// IndexLoss is taken from the index of originality, −1 to 1; it costs
	// value × (1 − exp(−per_index × loss)).
	IndexLoss *float64 `json:"index_loss,omitempty"`
	Money     *float64 `json:"money,omitempty"` // up to 1e12 either way
}

// RiskResult is in the currency of the input. VaR95 is the smallest loss that
// is not passed with 95 %; CVaR95 the mean of the worst 5 %, an outcome across
// the edge counted with the part of it that lies beyond.
type RiskResult struct {
	Expected float64      `json:"expected"`
	VaR95    float64      `json:"var95"`
	CVaR95   float64      `json:"cvar95"`
	VaR99    float64      `json:"var99"`
	Losses   Distribution `json:"losses"` // of each outcome
	Source   string       `json:"source"`
	Caution  string       `json:"caution"`
}

// Risk weighs the outcomes of an act. Source for the tail mean of a
// distribution with steps: R. Rockafellar and S. Uryasev, Conditional
// value-at-risk for general loss distributions, 2002.
//
// It refuses (CodeInsufficient) probabilities without a source, for which the
// outcomes are better listed without numbers, and (CodeInvalid) a malformed
// input.
func Risk(in RiskInput) (RiskResult, error) {
	losses, err := readRisk(in)
	if err != nil {
		return RiskResult{}, err
	}
	out := RiskResult{Source: in.Source, Caution: "The mean hides the rare bad end: read it beside the mean of the worst 5 %."}
	type term struct{ loss, p float64 }
	terms := make([]term, len(losses))
	total := 0.0
	for _, o := range in.Outcomes {
		total += o.Probability
	}
	for i, o := range in.Outcomes {
		terms[i] = term{losses[i], o.Probability / total}
		out.Losses = append(out.Losses, Entry[float64]{o.ID, losses[i]})
		out.Expected += float64(terms[i].loss * terms[i].p)
	}
	slices.SortStableFunc(terms, func(a, b term) int { return cmp.Compare(b.loss, a.loss) })
	// From the worst down: a loss is passed with the probability before it.
	worst := func(share float64) (edge, mean float64) {
		left := share
		for _, t := range terms {
			if t.p == 0 {
				continue
			}
			edge = t.loss
			part := min(t.p, left)
			mean += float64(part * t.loss)
			left -= part
			if left <= sumTolerance {
				break
			}
		}
		return edge, mean / (share - left)
	}
	out.VaR95, out.CVaR95 = worst(0.05)
	out.VaR99, _ = worst(0.01)
	return out, nil
}

// readRisk checks an input and gives the losses in money.
func readRisk(in RiskInput) ([]float64, error) {
	if strings.TrimSpace(in.Source) == "" {
		return nil, &registry.Error{Code: registry.CodeInsufficient,
			Message: "The probabilities have no source, so no figure can be given",
			Fix:     "Say whose experience they are: your own log, a named practitioner. Otherwise list the outcomes without numbers.",
			Fields: []registry.Field{{Pointer: "/source", Message: "The source of the probabilities is missing",
				Fix: "Say whose experience they are."}}}
	}
	var fs faults
	fs.count("/outcomes", len(in.Outcomes), MaxOutcomes, "outcomes")
	if in.Value != nil {
		fs.money("/value", *in.Value, 1e-6, "The value before")
	}
	if in.PerIndex != nil {
		fs.span("/per_index", *in.PerIndex, -10, 10, "The coefficient of the index", "of a logarithm for one unit of the index")
	}
	seen, sum := map[string]bool{}, 0.0
	losses := make([]float64, len(in.Outcomes))
	for i, o := range in.Outcomes {
		here := at("/outcomes", i)
		fs.unique(here+"/id", o.ID, "An outcome", seen)
		fs.probability(here+"/probability", o.Probability, "The probability of an outcome")
		sum += o.Probability
		switch {
		case (o.Money == nil) == (o.IndexLoss == nil):
			fs.add(here, "", "money or index_loss, one of them", "An outcome states its loss in one way", "Give one of the two; 0 for no harm.")
		case o.Money != nil:
			fs.span(here+"/money", *o.Money, -1e12, 1e12, "A loss", "the currency of the value")
			losses[i] = *o.Money
		default:
			fs.span(here+"/index_loss", *o.IndexLoss, -1, 1, "A loss of the index", "units of the index")
			if in.Value == nil || in.PerIndex == nil {
				fs.add(here+"/index_loss", number(*o.IndexLoss), "value and per_index beside it", "A loss of the index cannot be turned into money", "Give the value before and what the index counts, or state the loss as money.")
				continue
			}
			losses[i] = 0 - float64(*in.Value*exponentialMinusOne(float64(-*in.PerIndex**o.IndexLoss)))
		}
	}
	if len(in.Outcomes) == 0 {
		fs.add("/outcomes", "[]", "at least one outcome", "There are no outcomes", "List what may happen, no harm included.")
	} else if math.Abs(sum-1) > sumTolerance {
		fs.add("/outcomes", "a sum of "+number(sum), "a sum of 1 within 1e-9", "The probabilities must sum to 1", "Add what is missing: often that nothing happens.")
	}
	return losses, fs.err("The risk")
}

func readRiskInput(r *reader, n *node) (in RiskInput) {
	r.object(n, "",
		member{"source", false, r.text(&in.Source)}, // its want is told by Risk
		member{"outcomes", true, r.array(func(n *node, pointer string) {
			var o Outcome
			r.object(n, pointer,
				member{"id", true, r.text(&o.ID)},
				member{"probability", true, r.number(&o.Probability)},
				member{"index_loss", false, r.optional(&o.IndexLoss)},
				member{"money", false, r.optional(&o.Money)},
			)
			in.Outcomes = append(in.Outcomes, o)
		})},
		member{"value", false, r.optional(&in.Value)},
		member{"per_index", false, r.optional(&in.PerIndex)},
	)
	return in
}
