package scoring

import (
	"cmp"
	"math"
	"slices"

	"example.org/asfound/registry"
)

// Defaults of OriginInput. Assumptions: an "other" of 2 % stops certainty by
// exhaustion, and ρ = 0.75 is near what items that share one hidden cause
// imply (0.77 to 0.79 for two to five items, by enumeration).
const (
	DefaultOther = 0.02
	DefaultRho   = 0.75
)

// The band is reported over this range of ρ.
const (
	bandLow   = 0.5
	bandHigh  = 1.0
	bandSteps = 100
)

// maxRatio stands for any likelihood ratio above it.
const maxRatio = 1e12

// OriginInput asks which of several states a part is in: where it came from,
// or what finish it wears.
type OriginInput struct {
	// States are the possibilities, at most MaxStates, without "other".
	States []string `json:"states"`
	// Prior is the probability of each state before any evidence. It sums to
	// 1, or to 1 − Other, within 1e-9; either way the states share 1 − Other.
	Prior []float64 `json:"prior"`
	// Other is the prior probability that none of the states holds, 0 to 0.99.
	// DefaultOther when nil.
	Other *float64 `json:"other,omitempty"`
	// Rho says how far items of one cluster repeat one another: 0 not at all,
	// 1 wholly. DefaultRho when nil.
	Rho *float64 `json:"rho,omitempty"`
	// Evidence may be empty; then nothing moves.
	Evidence []EvidenceItem `json:"evidence,omitempty"`
}

// EvidenceItem is one thing that speaks for or against the states.
type EvidenceItem struct {
	ID string `json:"id"`
	// Cluster names the kind of evidence: items of one cluster may repeat one
	// another, clusters are taken as independent.
	Cluster string `json:"cluster"`
	// Reliability is the probability that the item is what it seems to be; 1
	// when nil.
	Reliability *float64 `json:"reliability,omitempty"`
	// Likelihood is the probability of finding the item, for each state.
	Likelihood []float64 `json:"likelihood"`
}

// OriginResult is what the evidence makes of the states.
type OriginResult struct {
	// Posterior sums to 1 over the states and "other".
	Posterior Distribution `json:"posterior"`
	// Band is the lowest and highest posterior of each state over ρ from 0.5
	// to 1 in steps of 0.005, and the ρ that was asked for. The posterior may
	// turn inside the range, so the ends alone would not do.
	Band Ordered[[2]float64] `json:"band"`
	// Without is the posterior when one item is left out, for each item.
	Without Ordered[Distribution] `json:"without"`
	// EntropyBits is the uncertainty before any evidence and after the first,
	// second, … item in the order of the input, in bits.
	EntropyBits []float64 `json:"entropy_bits"`
	// Clusters says what each kind of evidence says by itself, in the order in
	// which the clusters first appear.
	Clusters []ClusterFinding `json:"clusters"`
	// Conflict: some state is favoured more than 10 : 1 against the field by
	// one cluster and disfavoured more than 1 : 10 by another.
	Conflict bool `json:"conflict"`
	// ConflictBetween names those two clusters, the favouring one first; of
	// several pairs the one whose weaker side is strongest.
	ConflictBetween []string `json:"conflict_between,omitempty"`
	// ConflictOver is the state about which they quarrel.
	ConflictOver string `json:"conflict_over,omitempty"`
	// Moved says whether the evidence changed any probability.
	Moved bool `json:"moved"`
	// Caution is a sentence to print beside the posterior; often empty.
	Caution string `json:"caution,omitempty"`
}

// ClusterFinding is the combined likelihood ratio of one cluster's items.
type ClusterFinding struct {
	ID    string `json:"id"`
	Items int    `json:"items"`
	// Favours is the state with the greatest combined likelihood, the first
	// in the declared order of several; empty when all are equal.
	Favours string `json:"favours,omitempty"`
	// Ratio is its likelihood over that of the field: the mean over all other
	// states and "other", weighted by the prior. 1e12 stands for anything
	// larger.
	Ratio float64 `json:"ratio"`
	// Words is the verbal scale for Ratio; see Verbal.
	Words string `json:"words"`
}

// Verbal puts a likelihood ratio in the words of the scale used in forensic
// reporting: limited to 10, moderate to 100, moderately strong to 1000, strong
// to 10 000, extremely strong above; "none" at 1. The words describe the
// evidence, never the posterior. Published versions of the scale differ at the
// lowest step.
func Verbal(ratio float64) string {
	switch {
	case !(ratio > 1):
		return "none"
	case ratio < 10:
		return "limited"
	case ratio < 100:
		return "moderate"
	case ratio < 1000:
		return "moderately strong"
	case ratio < 10000:
		return "strong"
	}
	return "extremely strong"
}

// Origin turns evidence into a posterior over states.
//
// Reliability: L′ₛ = r·Lₛ + (1−r)·L̄, where L̄ is the mean of L over the
// states. "other" has the likelihood L̄, so that nothing is certain by
// exhaustion. Dependence: inside a cluster the items are ordered by the
// variance of log L′ weighted by the prior (over the states and "other"), the
// largest first, ties in input order, and count with the exponents 1, (1−ρ),
// (1−ρ)², … Then log posterior = log prior + Σ exponent · log L′.
//
// For two states and items of one sign, adding an item never lowers support:
// inserting b at rank j changes the sum by (1−ρ)^(j−1)·b − ρT, where T is the
// tail that it displaces, and T ≤ (1−ρ)^(j−1)·b/ρ. With more states this is
// tested, not proved.
//
// It refuses (CodeInvalid) a malformed input, an item that no state could
// produce, and evidence that together excludes every state.
func Origin(in OriginInput) (OriginResult, error) {
	c, err := readClaim(in)
	if err != nil {
		return OriginResult{}, err
	}
	all := c.items(-1)
	posterior, err := c.posterior(all, c.rho)
	if err != nil {
		return OriginResult{}, err
	}
	out := OriginResult{Posterior: c.named(posterior), Without: Ordered[Distribution]{}}
	for i, p := range posterior {
		if math.Abs(p-c.prior[i]) > 1e-12 {
			out.Moved = true
		}
	}
	if out.Band, err = c.band(posterior); err != nil {
		return OriginResult{}, err
	}
	for i, e := range in.Evidence {
		p, err := c.posterior(c.items(i), c.rho)
		if err != nil {
			return OriginResult{}, err
		}
		out.Without = append(out.Without, Entry[Distribution]{e.ID, c.named(p)})
	}
	for n := 0; n <= len(in.Evidence); n++ {
		p, err := c.posterior(all[:n], c.rho)
		if err != nil {
			return OriginResult{}, err
		}
		out.EntropyBits = append(out.EntropyBits, entropyBits(p))
	}
	c.judge(&out)
	return out, nil
}

// LogLikelihood is the combined, tempered log-likelihood of all the evidence
// for each state and, last, for "other": what Assembly needs of a claim. The
// prior of the claim only orders the items of a cluster. A state that the
// evidence excludes has −Inf. It refuses what Origin refuses as malformed.
func LogLikelihood(in OriginInput) (Distribution, error) {
	c, err := readClaim(in)
	if err != nil {
		return nil, err
	}
	return c.named(c.logLikelihood(c.items(-1), c.rho)), nil
}

// claim is a checked OriginInput. "other" is the last state throughout.
type claim struct {
	states   []string
	prior    []float64
	rho      float64
	logs     [][]float64 // log L′ of each item and state
	spread   []float64   // its variance, weighted by the prior
	cluster  []int       // the cluster of each item
	clusters []string    // in order of first appearance
}

func readClaim(in OriginInput) (*claim, error) {
	var fs faults
	other, rho := DefaultOther, DefaultRho
	if in.Other != nil {
		other = *in.Other
	}
	if in.Rho != nil {
		rho = *in.Rho
	}
	if !(other >= 0 && other <= 0.99) {
		fs.add("/other", number(other), "0 to 0.99", "The prior of other is out of range", "0.02 is usual.")
	}
	fs.probability("/rho", rho, "The dependence ρ")
	fs.count("/states", len(in.States), MaxStates, "states")
	fs.count("/evidence", len(in.Evidence), MaxEvidence, "items of evidence")
	if len(in.States) == 0 {
		fs.add("/states", "[]", "at least one state", "There is nothing to choose from", "List the states.")
	}
	seen := map[string]bool{}
	for i, s := range in.States {
		if s == registry.StateOther {
			fs.add(at("/states", i), quote(s), "any other name", "other is always there and is not listed", "Take it out; its prior stands in /other.")
		}
		fs.unique(at("/states", i), s, "A state", seen)
	}
	fs.oneEach("/prior", len(in.Prior), len(in.States))
	total := 0.0
	for i, p := range in.Prior {
		fs.probability(at("/prior", i), p, "A prior")
		total += p
	}
	if len(fs) == 0 && math.Abs(total-1) > sumTolerance && math.Abs(total-(1-other)) > sumTolerance {
		fs.add("/prior", "a sum of "+number(total), "a sum of 1, or of 1 − other = "+number(1-other), "The prior does not sum to 1", "Add what is missing, or scale it.")
	}
	ids := map[string]bool{}
	for i, e := range in.Evidence {
		here := at("/evidence", i)
		fs.unique(here+"/id", e.ID, "An item of evidence", ids)
		fs.name(here+"/cluster", e.Cluster, "A cluster")
		fs.optionalProbability(here+"/reliability", e.Reliability, "The reliability")
		fs.oneEach(here+"/likelihood", len(e.Likelihood), len(in.States))
		possible := len(e.Likelihood) == 0
		for j, l := range e.Likelihood {
			fs.probability(at(here+"/likelihood", j), l, "A likelihood")
			possible = possible || l != 0
		}
		if !possible {
			fs.add(here+"/likelihood", "only zeros", "at least one above 0", "By these likelihoods no state could show this item, yet it was found",
				"Give each state the chance of showing it, however small.")
		}
	}
	if err := fs.err("The posterior"); err != nil {
		return nil, err
	}

	c := &claim{states: append(slices.Clone(in.States), registry.StateOther), rho: rho}
	for _, p := range in.Prior {
		c.prior = append(c.prior, float64(p/total*(1-other)))
	}
	c.prior = append(c.prior, other)
	for _, e := range in.Evidence {
		c.add(e)
	}
	return c, nil
}

// oneEach adds a fault unless a list has one number for each state.
func (fs *faults) oneEach(pointer string, n, states int) {
	if n != states {
		fs.add(pointer, number(float64(n))+" numbers", number(float64(states)), "One number is needed for each state", "Keep the order of the states.")
	}
}

// add mixes an item with its reliability and notes its logarithms.
func (c *claim) add(e EvidenceItem) {
	mean := 0.0
	for _, l := range e.Likelihood {
		mean += l
	}
	mean /= float64(len(e.Likelihood))
	r := 1.0
	if e.Reliability != nil {
		r = *e.Reliability
	}
	logs := make([]float64, 0, len(c.states))
	for _, l := range e.Likelihood {
		logs = append(logs, logarithm(float64(r*l)+float64((1-r)*mean)))
	}
	logs = append(logs, logarithm(mean))
	cluster := slices.Index(c.clusters, e.Cluster)
	if cluster < 0 {
		cluster = len(c.clusters)
		c.clusters = append(c.clusters, e.Cluster)
	}
	c.logs = append(c.logs, logs)
	c.cluster = append(c.cluster, cluster)
	c.spread = append(c.spread, variance(c.prior, logs))
}

// variance of values under weights that sum to 1; +Inf when a value that
// carries weight is −Inf.
func variance(weights, values []float64) float64 {
	mean := 0.0
	for i, w := range weights {
		mean += scaled(w, values[i])
	}
	if math.IsInf(mean, -1) {
		return math.Inf(1)
	}
	sum := 0.0
	for i, w := range weights {
		if w > 0 {
			d := values[i] - mean
			sum += float64(w * float64(d*d))
		}
	}
	return sum
}

// items lists the places of all items but one; -1 leaves none out.
func (c *claim) items(without int) []int {
	list := make([]int, 0, len(c.logs))
	for i := range c.logs {
		if i != without {
			list = append(list, i)
		}
	}
	return list
}

// logLikelihood combines items, for each state.
func (c *claim) logLikelihood(items []int, rho float64) []float64 {
	sum := make([]float64, len(c.states))
	for cluster := range c.clusters {
		for s, l := range c.clusterLog(cluster, items, rho) {
			sum[s] += l
		}
	}
	return sum
}

// clusterLog combines those items that belong to one cluster.
func (c *claim) clusterLog(cluster int, items []int, rho float64) []float64 {
	var own []int
	for _, i := range items {
		if c.cluster[i] == cluster {
			own = append(own, i)
		}
	}
	slices.SortStableFunc(own, func(a, b int) int { return cmp.Compare(c.spread[b], c.spread[a]) })
	sum := make([]float64, len(c.states))
	values := make([]float64, len(own))
	for s := range sum {
		for j, i := range own {
			values[j] = c.logs[i][s]
		}
		sum[s] = discounted(values, rho)
	}
	return sum
}

func (c *claim) posterior(items []int, rho float64) ([]float64, error) {
	if len(items) == 0 {
		return slices.Clone(c.prior), nil
	}
	logs := c.logLikelihood(items, rho)
	for s, p := range c.prior {
		logs[s] += logarithm(p)
	}
	p, ok := shares(logs)
	if !ok {
		var fs faults
		fs.add("/evidence", "", "a state that every item allows", "Together the items exclude every state",
			"Lower the reliability of the item you trust least, or give other a prior above 0.")
		return nil, fs.err("The posterior")
	}
	return p, nil
}

// band is the range of each state's posterior over ρ.
func (c *claim) band(chosen []float64) (Ordered[[2]float64], error) {
	low, high := slices.Clone(chosen), slices.Clone(chosen)
	all := c.items(-1)
	steps := bandSteps
	if len(c.clusters) == len(c.logs) {
		steps = -1 // one item a cluster: ρ discounts nothing
	}
	for step := 0; step <= steps; step++ {
		rho := bandLow + float64((bandHigh-bandLow)*float64(step))/bandSteps
		p, err := c.posterior(all, rho)
		if err != nil {
			return nil, err
		}
		for s, v := range p {
			low[s], high[s] = min(low[s], v), max(high[s], v)
		}
	}
	out := make(Ordered[[2]float64], len(c.states))
	for s, state := range c.states {
		out[s] = Entry[[2]float64]{state, [2]float64{low[s], high[s]}}
	}
	return out, nil
}

func (c *claim) named(values []float64) Distribution {
	d := make(Distribution, len(values))
	for s, v := range values {
		d[s] = Entry[float64]{c.states[s], v}
	}
	return d
}

// judge fills in what each cluster says, and whether they contradict.
func (c *claim) judge(out *OriginResult) {
	all := c.items(-1)
	out.Clusters = []ClusterFinding{}
	field := make([][]float64, len(c.clusters))
	for k, id := range c.clusters {
		logs := c.clusterLog(k, all, c.rho)
		f := ClusterFinding{ID: id, Ratio: 1}
		for _, of := range c.cluster {
			if of == k {
				f.Items++
			}
		}
		field[k] = c.againstField(logs)
		best := 0
		for s := range logs {
			if logs[s] > logs[best] {
				best = s
			}
		}
		if field[k][best] > 1 {
			f.Favours, f.Ratio = c.states[best], field[k][best]
		}
		f.Words = Verbal(f.Ratio)
		out.Clusters = append(out.Clusters, f)
	}
	strongest := 10.0
	for s := range len(c.states) - 1 { // nobody quarrels over "other"
		for a := range field {
			for b := range field {
				if weaker := min(field[a][s], 1/field[b][s]); weaker > strongest {
					strongest = weaker
					out.Conflict, out.ConflictOver = true, c.states[s]
					out.ConflictBetween = []string{c.clusters[a], c.clusters[b]}
				}
			}
		}
	}
	switch {
	case out.Conflict:
		out.Caution = "two kinds of evidence contradict each other: " + out.ConflictBetween[0] + " speaks for " +
			out.ConflictOver + ", " + out.ConflictBetween[1] + " against it"
	case len(c.clusters) == 1:
		out.Caution = "rests on one kind of evidence only"
	}
}

// againstField is, for each state, its likelihood over the mean likelihood of
// all the others, weighted by the prior; between 1/maxRatio and maxRatio. It
// is 1 when the others have no prior, for then there is no field.
func (c *claim) againstField(logs []float64) []float64 {
	top := math.Inf(-1)
	for _, l := range logs {
		top = max(top, l)
	}
	ratios := make([]float64, len(logs))
	for s := range logs {
		ratios[s] = 1
		weight, sum := 0.0, 0.0
		for t, p := range c.prior {
			if t != s {
				weight += p
				sum += float64(p * exponential(logs[t]-top))
			}
		}
		if weight == 0 || math.IsInf(top, -1) {
			continue
		}
		own := exponential(logs[s] - top)
		if field := sum / weight; own < float64(maxRatio*field) {
			ratios[s] = max(own/field, 1/maxRatio)
		} else if own > 0 {
			ratios[s] = maxRatio
		}
	}
	return ratios
}

// entropyBits is −Σ p log₂ p.
func entropyBits(p []float64) float64 {
	sum := 0.0
	for _, v := range p {
		if v > 0 {
			sum -= float64(v*logarithm(v)) / math.Ln2
		}
	}
	return max(sum, 0)
}
