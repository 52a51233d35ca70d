package scoring

import (
	"cmp"
	"math"
	"slices"

	"example.org/asfound/registry"
)

// The states of the switch of an assembly, as the registry names them.
const (
	StateIntact  = "intact"
	StateSwapped = "swapped"
)

// AssemblyInput asks what the evidence about the parts of one assembly says
// about the assembly and its parts.
type AssemblyInput struct {
	// Intact is the prior probability that the assembly came with the machine.
	Intact float64
	// Rho says how far the parts repeat one another about the switch: one
	// surveyor, one patina. DefaultRho when nil.
	Rho *float64
	// Switch is evidence about the assembly itself, such as matching numbers:
	// log-likelihoods of "intact" and "swapped" (LogLikelihood of a claim with
	// these states). Nil when there is none.
	Switch Distribution
	Parts  []AssemblyPart
}

// AssemblyPart is one part with its priors and its evidence.
type AssemblyPart struct {
	ID string
	// IfIntact and IfSwapped are the prior probabilities of the part's states
	// given the switch; each sums to 1 within 1e-9.
	IfIntact, IfSwapped Distribution
	// LogLikelihood is LogLikelihood of the part's claim; nil when there is no
	// evidence. A state that the claim does not list has the likelihood of
	// "other".
	LogLikelihood Distribution
}

// AssemblyResult is an assembly after the evidence, as Index takes it.
type AssemblyResult struct {
	Intact float64
	Parts  []AssemblyPosterior // in the order of the input
}

// AssemblyPosterior is one part after the evidence. States are in the order of
// the prior.
type AssemblyPosterior struct {
	ID                  string
	IfIntact, IfSwapped Distribution
	// SwitchRatio is the likelihood ratio of this part's evidence by itself,
	// intact over swapped, between 1e-12 and 1e12.
	SwitchRatio float64
}

// UpdateAssembly carries evidence on the parts to the assembly and back.
//
// Given the switch the parts are independent, so each part's own evidence
// updates its two distributions by Bayes' rule. For the switch, the evidence
// of part i has the log-likelihood ratio λᵢ = log Σ p(s|intact) Lₛ −
// log Σ p(s|swapped) Lₛ. Adding all λᵢ would treat the parts' evidence as
// independent; it is not, so they are combined by the ordered discount: those
// for "intact" among themselves and those for "swapped" among themselves, each
// list with the largest |λ| first and the weights 1, (1−ρ), (1−ρ)², … Adding a
// part never lowers the support for the side that it speaks for: inserting b at
// rank j adds (1−ρ)^(j−1)·b and pushes a tail of at most (1−ρ)^(j−1)·b/ρ down
// by the factor (1−ρ), and the other side's list stays as it is. Evidence on
// the switch itself is of another kind and counts in full.
//
// With evidence on one part only, that part's mixture π·intact + (1−π)·swapped
// is exactly the ordinary posterior under the mixed prior.
//
// It refuses (CodeInvalid) a malformed input and evidence that excludes both
// intact and swapped.
func UpdateAssembly(in AssemblyInput) (AssemblyResult, error) {
	var fs faults
	fs.probability("/intact", in.Intact, "The probability of being intact")
	rho := DefaultRho
	if in.Rho != nil {
		rho = *in.Rho
	}
	fs.probability("/rho", rho, "The dependence ρ")
	fs.count("/parts", len(in.Parts), MaxParts, "parts")
	if len(in.Switch) > 0 {
		fs.logLikelihoods("/switch", in.Switch, StateIntact, StateSwapped)
	}
	priors := make([][2]Distribution, len(in.Parts)) // sorted and scaled
	ids := map[string]bool{}
	for i, p := range in.Parts {
		here := at("/parts", i)
		fs.unique(here+"/id", p.ID, "A part", ids)
		priors[i] = [2]Distribution{
			fs.distribution(here+"/if_intact", p.IfIntact, "The distribution if intact"),
			fs.distribution(here+"/if_swapped", p.IfSwapped, "The distribution if swapped"),
		}
		if len(p.LogLikelihood) > 0 {
			fs.logLikelihoods(here+"/log_likelihood", p.LogLikelihood, registry.StateOther)
		}
	}
	if err := fs.err("The assembly"); err != nil {
		return AssemblyResult{}, err
	}

	var out AssemblyResult
	var forIntact, forSwapped []float64
	noIntact, noSwapped := in.Intact == 0, in.Intact == 1
	for i, p := range in.Parts {
		a, ratio := p.update(priors[i])
		switch {
		case math.IsNaN(ratio):
			fs.add(at("/parts", i), "", "a state that the evidence allows", "The evidence excludes every state of this part",
				"Give other a prior above 0, or lower the reliability of an item.")
		case math.IsInf(ratio, 1):
			noSwapped = true
		case math.IsInf(ratio, -1):
			noIntact = true
		case ratio > 0:
			forIntact = append(forIntact, ratio)
		case ratio < 0:
			forSwapped = append(forSwapped, -ratio)
		}
		out.Parts = append(out.Parts, a)
	}
	// Largest first; sorting the values makes the order of parts immaterial.
	largest := func(a, b float64) int { return cmp.Compare(b, a) }
	slices.SortFunc(forIntact, largest)
	slices.SortFunc(forSwapped, largest)
	ratio := discounted(forIntact, rho) - discounted(forSwapped, rho)
	if len(in.Switch) > 0 {
		intact, _ := in.Switch.Get(StateIntact)
		swapped, _ := in.Switch.Get(StateSwapped)
		switch {
		case !math.IsInf(intact, -1) && !math.IsInf(swapped, -1):
			ratio += intact - swapped
		default:
			noIntact = noIntact || math.IsInf(intact, -1)
			noSwapped = noSwapped || math.IsInf(swapped, -1)
		}
	}
	if noIntact && noSwapped {
		fs.add("", "", "a switch that the evidence allows", "The evidence excludes both intact and swapped",
			"Lower the reliability of the item you trust least, or take a prior between 0 and 1.")
	}
	if err := fs.err("The assembly"); err != nil {
		return AssemblyResult{}, err
	}
	switch {
	case noIntact:
		out.Intact = 0
	case noSwapped:
		out.Intact = 1
	default:
		// Both are possible, so both logarithms are finite.
		p, _ := shares([]float64{logarithm(in.Intact) + ratio, logarithm(1 - in.Intact)})
		out.Intact = p[0]
	}
	return out, nil
}

// update applies a part's evidence to its two priors, which come sorted, and
// gives the log-likelihood ratio for the switch: ±Inf when one side is
// excluded, NaN when both are. A side that is excluded keeps its prior.
func (p *AssemblyPart) update(prior [2]Distribution) (AssemblyPosterior, float64) {
	var side [2]Distribution
	var marginal [2]float64
	for i, d := range prior {
		side[i], marginal[i] = bayes(d, p.LogLikelihood)
	}
	a := AssemblyPosterior{ID: p.ID, IfIntact: inOrder(side[0], p.IfIntact), IfSwapped: inOrder(side[1], p.IfSwapped)}
	ratio := marginal[0] - marginal[1] // −Inf − −Inf is NaN
	a.SwitchRatio = min(max(exponential(ratio), 1/maxRatio), maxRatio)
	return a, ratio
}

// bayes gives the posterior of a prior and the logarithm of Σ p L.
func bayes(prior, logLikelihood Distribution) (Distribution, float64) {
	if len(logLikelihood) == 0 {
		return prior, 0
	}
	other, _ := logLikelihood.Get(registry.StateOther)
	top := math.Inf(-1)
	logs := make([]float64, len(prior))
	for i, e := range prior {
		l, listed := logLikelihood.Get(e.Key)
		if !listed {
			l = other
		}
		logs[i] = logarithm(e.Value) + l
		top = max(top, logs[i])
	}
	p, ok := shares(logs)
	if !ok {
		return prior, math.Inf(-1)
	}
	posterior := slices.Clone(prior)
	sum := 0.0
	for i := range posterior {
		posterior[i].Value = p[i]
		sum += exponential(logs[i] - top)
	}
	return posterior, top + logarithm(sum)
}

// inOrder gives d the order of its prior.
func inOrder(d, order Distribution) Distribution {
	out := slices.Clone(order)
	for i := range out {
		out[i].Value, _ = d.Get(out[i].Key)
	}
	return out
}

// logLikelihoods adds faults unless d has the needed keys and holds numbers
// that can be logarithms of likelihoods: −Inf, or −1e6 to 1e6.
func (fs *faults) logLikelihoods(pointer string, d Distribution, needed ...string) {
	fs.count(pointer, len(d), MaxStates+1, "states")
	seen := map[string]bool{}
	for _, e := range d {
		fs.unique(key(pointer, e.Key), e.Key, "The state "+quote(e.Key), seen)
		if !math.IsInf(e.Value, -1) {
			fs.span(key(pointer, e.Key), e.Value, -1e6, 1e6, "A log-likelihood", "as a natural logarithm")
		}
	}
	for _, s := range needed {
		if !seen[s] {
			fs.add(key(pointer, s), "", "", "The state "+quote(s)+" is missing", "Add its log-likelihood.")
		}
	}
}
