package workshop

import (
	"slices"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// leadingFrom is the probability from which a state is named as the answer;
// below it the answer is "undetermined". An assumption.
const leadingFrom = 0.75

// item is one thing that speaks to one question.
type item struct {
	id, cluster string
	reliability float64
	likelihood  map[string]float64
}

// evidenceOn gathers everything live that bears on a question: the survey's
// readings and signs first, then evidence in the order of recording.
func (w *Workshop) evidenceOn(d *registry.Dossier, component string, p registry.Proposition) []item {
	var out []item
	if s, ok := d.SurveyOf(component); ok {
		out = w.surveyItems(s, p)
	}
	for e := range registry.EachLive[*registry.Evidence](d) {
		for _, b := range e.Record.Bears {
			if b.Component != component || b.Proposition != p {
				continue
			}
			it := item{id: e.RecordID(), cluster: e.Record.Cluster, reliability: 1, likelihood: b.Likelihood}
			if b.Sign != "" {
				sign, ok := w.sign(b.Sign)
				if !ok {
					continue // a sign of a pack that is no longer laid on
				}
				it.likelihood, it.reliability = sign.Likelihood, sign.Reliability
			}
			if e.Record.Reliability != nil {
				it.reliability = *e.Record.Reliability
			}
			out = append(out, it)
		}
	}
	return out
}

// surveyItems reads a survey entry as evidence, by the catalog's tables.
func (w *Workshop) surveyItems(s registry.Found[*registry.Survey], p registry.Proposition) []item {
	var out []item
	for _, seen := range s.Record.Signs {
		sign, ok := w.sign(seen.Sign)
		if !ok || sign.Proposition != p {
			continue
		}
		it := item{id: s.RecordID() + ":" + seen.Sign, cluster: sign.Cluster, reliability: sign.Reliability, likelihood: sign.Likelihood}
		if seen.Reliability != nil {
			it.reliability = *seen.Reliability
		}
		out = append(out, it)
	}
	read := map[registry.Proposition]string{
		registry.PropositionOrigin: s.Record.Origin, registry.PropositionFinish: s.Record.Finish,
		registry.PropositionSpecification: s.Record.Specification,
	}[p]
	if likelihood, reliability, ok := w.surveyReading(p, read); ok {
		out = append(out, item{id: s.RecordID() + ":" + string(p), cluster: "surveyor", reliability: reliability, likelihood: likelihood})
	}
	return out
}

// question is one question about one component with all that bears on it.
type question struct {
	input scoring.OriginInput
	items []string // evidence ids, in the order of the input
	claim *registry.Claim
}

// ask puts a question together: from the explicit claim when there is one,
// else from the catalog's prior and all evidence that bears on it.
func (w *Workshop) ask(d *registry.Dossier, component string, p registry.Proposition) question {
	for _, c := range registry.Live[*registry.Claim](d) {
		if c.Record.Component == component && c.Record.Proposition == p {
			return w.askClaim(d, c.Record)
		}
	}
	prior, other := w.prior(component, p)
	items := w.evidenceOn(d, component, p)
	return question{input: originInput(registry.States(p), prior, other, items), items: itemIDs(items)}
}

// askClaim puts the question of an explicit claim: its own prior, and only the
// evidence that it cites.
func (w *Workshop) askClaim(d *registry.Dossier, c *registry.Claim) question {
	prior, other := w.prior(c.Component, c.Proposition)
	states := registry.States(c.Proposition)
	if len(c.States) > 0 {
		states, prior = c.States, nil
		for i, s := range states {
			prior = append(prior, scoring.Entry[float64]{Key: s, Value: c.Prior[i]})
		}
	}
	var cited []item
	all := w.evidenceOn(d, c.Component, c.Proposition)
	for _, id := range c.Evidence {
		for _, it := range all {
			if it.id == id || strings.HasPrefix(it.id, id+":") {
				cited = append(cited, it)
			}
		}
	}
	return question{input: originInput(states, prior, other, cited), items: itemIDs(cited), claim: c}
}

func itemIDs(items []item) []string {
	var ids []string
	for _, it := range items {
		ids = append(ids, it.id)
	}
	return ids
}

// estimateClaim completes a claim with its estimate.
func (w *Workshop) estimateClaim(d *registry.Dossier, c *registry.Claim) error {
	q := w.askClaim(d, c)
	e, err := w.estimate(c.Component+"/"+string(c.Proposition), scoring.MethodOrigin, "", q.input, &scoring.OriginResult{})
	if err != nil {
		return err
	}
	c.Estimate = &e.Estimate
	return nil
}

func originInput(states []string, prior scoring.Distribution, other float64, items []item) scoring.OriginInput {
	in := scoring.OriginInput{States: states, Other: &other, Evidence: []scoring.EvidenceItem{}}
	sum := 0.0
	for _, s := range states {
		p, _ := prior.Get(s)
		in.Prior = append(in.Prior, p)
		sum += p
	}
	for i := range in.Prior {
		if sum > 0 {
			in.Prior[i] /= sum
		}
	}
	for _, it := range items {
		reliability := it.reliability
		e := scoring.EvidenceItem{ID: it.id, Cluster: it.cluster, Reliability: &reliability}
		for _, s := range states {
			e.Likelihood = append(e.Likelihood, likelihoodOf(it.likelihood, s))
		}
		in.Evidence = append(in.Evidence, e)
	}
	return in
}

// likelihoodOf is P(seen | state). A state that nobody gave a number for gets
// the mean of the others, so that the item says nothing about it.
func likelihoodOf(table map[string]float64, state string) float64 {
	if v, ok := table[state]; ok {
		return v
	}
	sum, n := 0.0, 0
	for _, s := range allStates {
		if v, ok := table[s]; ok {
			sum, n = sum+v, n+1
		}
	}
	if n == 0 {
		return 1
	}
	return sum / float64(n)
}

// allStates fixes the order in which a table is summed.
var allStates = slices.Concat(registry.States(registry.PropositionOrigin), registry.States(registry.PropositionFinish),
	registry.States(registry.PropositionSpecification), registry.States(registry.PropositionAssembly))

// answer computes how one question stands.
func (w *Workshop) answer(d *registry.Dossier, component string, p registry.Proposition) (ClaimReport, question, error) {
	q := w.ask(d, component, p)
	out := ClaimReport{Proposition: p, Basis: "prior", Evidence: q.items, Input: &q.input}
	if q.claim != nil {
		out.Claim, out.Statement = q.claim.ID, q.claim.Statement
	}
	if len(q.input.Prior) == 0 || !anyAbove(q.input.Prior, 0) {
		// Papers and deposits are evidence, not substance: nothing is asked of
		// them.
		out.Basis, out.Input, q.items = "not asked", nil, nil
		return out, q, nil
	}
	r, err := w.origin(d.ID, component+" "+string(p), q)
	if err != nil {
		return out, q, err
	}
	if len(q.items) > 0 {
		out.Basis = "evidence"
	}
	out.Posterior, out.Band, out.EntropyBits, out.Clusters = r.Posterior, &r.Band, r.EntropyBits, r.Clusters
	out.Without, out.Conflict, out.Caution = &r.Without, r.Conflict, r.Caution
	if s, ok := d.SurveyOf(component); ok {
		read := map[registry.Proposition]string{registry.PropositionOrigin: s.Record.Origin,
			registry.PropositionFinish: s.Record.Finish, registry.PropositionSpecification: s.Record.Specification}[p]
		out.Undetermined = read == "undetermined"
	}
	lead(&out)
	return out, q, nil
}

// lead names the state that stands out.
func lead(c *ClaimReport) {
	c.Leading, c.Probability = "", 0
	for _, e := range c.Posterior {
		if e.Value > c.Probability {
			c.Leading, c.Probability = e.Key, e.Value
		}
	}
	c.Shown = scoring.Percent(c.Probability)
	if c.Probability < leadingFrom || c.Leading == registry.StateOther {
		c.Leading = ""
	}
}

func anyAbove(p []float64, limit float64) bool {
	return slices.ContainsFunc(p, func(v float64) bool { return v > limit })
}
