package scoring

import (
	"math"
	"slices"
)

// maxPayoff is the largest payoff, either way.
const maxPayoff = 1e12

// TestInput asks whether a test is worth its price before a decision.
type TestInput struct {
	States  []string     `json:"states"`
	Prior   []float64    `json:"prior"` // probability of each state; sums to 1
	Actions []TestAction `json:"actions"`
	// Results are what the test may say. The likelihoods of one state over all
	// results sum to 1.
	Results []TestResult `json:"results"`
	Cost    float64      `json:"cost,omitempty"` // of the test, in the unit of the payoffs
}

// TestAction is one choice and what it is worth in each state.
type TestAction struct {
	ID     string    `json:"id"`
	Payoff []float64 `json:"payoff"`
}

// TestResult is one thing that the test may say, and its probability in each
// state.
type TestResult struct {
	ID         string    `json:"id"`
	Likelihood []float64 `json:"likelihood"`
}

// TestWorth keeps two answers apart: what the test is worth to the decision,
// and what it tells for the record.
type TestWorth struct {
	Best string  `json:"best"` // action without the test; the first of several as good
	Mean float64 `json:"mean"` // payoff of it
	// Perfect is what knowing the state would be worth (the expected value of
	// perfect information), Test what this test is worth, before its cost (of
	// sample information). 0 ≤ Test ≤ Perfect.
	Perfect float64 `json:"perfect"`
	Test    float64 `json:"test"`
	Net     float64 `json:"net"`     // Test less its cost
	Changes bool    `json:"changes"` // whether some result changes the choice
	// BreakEven is, for two states and two actions of which neither is always
	// at least as good, the probability of the first state at which they are
	// equal.
	BreakEven *float64     `json:"break_even,omitempty"`
	Results   []TestAnswer `json:"results"`
	// BitsBefore and BitsAfter are the uncertainty about the state in bits,
	// after being the mean over the results; BitsBought is the difference. A
	// test that is worth nothing to the decision may still be worth having for
	// the record.
	BitsBefore float64 `json:"bits_before"`
	BitsAfter  float64 `json:"bits_after"`
	BitsBought float64 `json:"bits_bought"`
}

// TestAnswer is what to do upon one result.
type TestAnswer struct {
	ID        string       `json:"id"`
	Chance    float64      `json:"chance"`
	Best      string       `json:"best"`
	Mean      float64      `json:"mean"`      // payoff of it
	Posterior Distribution `json:"posterior"` // empty for a result that never comes
}

// WorthOfTest computes the expected value of perfect and of sample information
// (Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961), and the
// entropy that the test removes (Lindley, On a measure of the information
// provided by an experiment, 1956).
//
// It refuses (CodeInvalid) distributions that do not sum to 1, lists of unequal
// length, and a negative cost; and (CodeInsufficient) fewer than two states or
// actions, for then there is nothing to decide.
func WorthOfTest(in TestInput) (TestWorth, error) {
	prior, err := readTest(&in)
	if err != nil {
		return TestWorth{}, err
	}
	// joint is the prior times the likelihood of a result: choosing by joint
	// sums is choosing by the posterior.
	best := func(joint []float64) (int, float64) {
		at, top := 0, math.Inf(-1)
		for a := range in.Actions {
			if v := in.Actions[a].mean(joint); v > top {
				at, top = a, v
			}
		}
		return at, top
	}
	usual, mean := best(prior)
	out := TestWorth{Best: in.Actions[usual].ID, Mean: mean, Results: []TestAnswer{}, BitsBefore: entropyBits(prior), BreakEven: in.breakEven()}
	for s, p := range prior {
		top := in.Actions[usual].Payoff[s]
		for _, a := range in.Actions {
			top = max(top, a.Payoff[s])
		}
		out.Perfect += float64(p * (top - in.Actions[usual].Payoff[s]))
	}
	for _, r := range in.Results {
		joint, chance := make([]float64, len(prior)), 0.0
		for s, p := range prior {
			joint[s] = float64(p * r.Likelihood[s])
			chance += joint[s]
		}
		answer := TestAnswer{ID: r.ID, Chance: min(1, chance), Posterior: Distribution{}, Best: in.Actions[usual].ID, Mean: mean}
		if chance > 0 {
			a, top := best(joint)
			stay := in.Actions[usual].mean(joint)
			if top <= stay {
				a, top = usual, stay
			}
			out.Test += top - stay
			out.Changes = out.Changes || a != usual
			answer.Best, answer.Mean = in.Actions[a].ID, top/chance
			posterior := make([]float64, len(prior))
			for s := range joint {
				posterior[s] = joint[s] / chance
				answer.Posterior = append(answer.Posterior, Entry[float64]{in.States[s], posterior[s]})
			}
			out.BitsAfter += float64(chance * entropyBits(posterior))
		}
		out.Results = append(out.Results, answer)
	}
	out.Test = min(out.Test, out.Perfect) // but for rounding it is
	out.Net = out.Test - in.Cost
	out.BitsAfter = min(out.BitsAfter, out.BitsBefore)
	out.BitsBought = out.BitsBefore - out.BitsAfter
	return out, nil
}

// mean is the sum of payoffs weighted by p.
func (a *TestAction) mean(p []float64) float64 {
	sum := 0.0
	for s, v := range a.Payoff {
		sum += float64(p[s] * v)
	}
	return sum
}

// breakEven is the probability of the first of two states at which two actions
// are as good.
func (in *TestInput) breakEven() *float64 {
	if len(in.States) != 2 || len(in.Actions) != 2 {
		return nil
	}
	first := in.Actions[0].Payoff[0] - in.Actions[1].Payoff[0]
	second := in.Actions[1].Payoff[1] - in.Actions[0].Payoff[1]
	if !(first > 0 && second > 0 || first < 0 && second < 0) {
		return nil
	}
	p := second / (first + second)
	return &p
}

// readTest checks an input; it gives the prior scaled to 1 and scales the
// likelihoods of each state, in a copy.
func readTest(in *TestInput) ([]float64, error) {
	var fs faults
	fs.count("/states", len(in.States), MaxStates, "states")
	fs.count("/actions", len(in.Actions), MaxStates, "actions")
	fs.count("/results", len(in.Results), MaxEvidence, "results")
	seen := map[string]bool{}
	for i, s := range in.States {
		fs.unique(at("/states", i), s, "A state", seen)
	}
	fs.oneEach("/prior", len(in.Prior), len(in.States))
	prior := slices.Clone(in.Prior)
	fs.scaled("/prior", prior, "The prior")
	seen = map[string]bool{}
	for i, a := range in.Actions {
		here := at("/actions", i)
		fs.unique(here+"/id", a.ID, "An action", seen)
		fs.oneEach(here+"/payoff", len(a.Payoff), len(in.States))
		for j, v := range a.Payoff {
			fs.span(at(here+"/payoff", j), v, -maxPayoff, maxPayoff, "A payoff", "units")
		}
	}
	seen = map[string]bool{}
	results := slices.Clone(in.Results)
	for i, r := range results {
		here := at("/results", i)
		fs.unique(here+"/id", r.ID, "A result", seen)
		fs.oneEach(here+"/likelihood", len(r.Likelihood), len(in.States))
		for j, v := range r.Likelihood {
			fs.probability(at(here+"/likelihood", j), v, "The probability of a result")
		}
		results[i].Likelihood = slices.Clone(r.Likelihood)
	}
	fs.span("/cost", in.Cost, 0, maxPayoff, "The cost of a test", "units")
	if len(fs) == 0 {
		for s := range in.States {
			column := make([]float64, len(results))
			for i := range results {
				column[i] = results[i].Likelihood[s]
			}
			fs.scaled("/results", column, "The probabilities of all results for "+quote(in.States[s]))
			for i := range results {
				results[i].Likelihood[s] = column[i]
			}
		}
	}
	if err := fs.err("The worth of the test"); err != nil {
		return nil, err
	}
	if len(in.States) < 2 || len(in.Actions) < 2 {
		return nil, insufficient("/actions", "With fewer than two states or two actions there is nothing to decide", "List what may be the case, and what may be done.")
	}
	in.Results = results
	return prior, nil
}

// scaled adds faults unless p are probabilities that sum to 1 within 1e-9; it
// scales them to 1.
func (fs *faults) scaled(pointer string, p []float64, what string) {
	sum := 0.0
	for i, v := range p {
		fs.probability(at(pointer, i), v, what)
		sum += v
	}
	if len(*fs) > 0 {
		return
	}
	if math.Abs(sum-1) > sumTolerance {
		fs.add(pointer, "a sum of "+number(sum), "a sum of 1 within 1e-9", what+" must sum to 1", "Add what is missing, or scale them.")
		return
	}
	for i := range p {
		p[i] /= sum
	}
}

func readTestInput(r *reader, n *node) (in TestInput) {
	r.object(n, "",
		member{"states", true, r.texts(&in.States)},
		member{"prior", true, r.numbers(&in.Prior)},
		member{"actions", true, r.array(func(n *node, pointer string) {
			var a TestAction
			r.object(n, pointer,
				member{"id", true, r.text(&a.ID)},
				member{"payoff", true, r.numbers(&a.Payoff)},
			)
			in.Actions = append(in.Actions, a)
		})},
		member{"results", true, r.array(func(n *node, pointer string) {
			var t TestResult
			r.object(n, pointer,
				member{"id", true, r.text(&t.ID)},
				member{"likelihood", true, r.numbers(&t.Likelihood)},
			)
			in.Results = append(in.Results, t)
		})},
		member{"cost", false, r.number(&in.Cost)},
	)
	return in
}
