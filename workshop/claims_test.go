package workshop

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

// tankEvidence is the worked example of a petrol tank: what five finds would
// lead one to expect of each state, and how far each is to be trusted.
func tankEvidence() []registry.Body {
	item := func(id, cluster string, reliability float64, l ...float64) registry.Body {
		likelihood := map[string]float64{}
		for i, s := range tankStates {
			likelihood[s] = l[i]
		}
		return &registry.Evidence{Common: registry.Common{ID: id}, Evidence: "physical-trait", Cluster: cluster, Reliability: &reliability, Says: id + ".", By: "mechanic",
			Bears: []registry.Bearing{{Component: "fuel.tank", Proposition: registry.PropositionOrigin, Likelihood: likelihood, Why: "worked example"}}}
	}
	return []registry.Body{
		item("press-mark", "mark", 0.95, 0.90, 0.90, 0.85, 0.90, 0.05),
		item("film-layers", "patina", 0.90, 0.60, 0.25, 0.10, 0.12, 0.02),
		item("fret-marks", "patina", 0.90, 0.80, 0.50, 0.15, 0.25, 0.10),
		item("tide-line", "patina", 0.90, 0.70, 0.60, 0.20, 0.60, 0.05),
		item("photo-1959", "photo", 0.95, 0.50, 0.05, 0.005, 0.01, 0.001),
	}
}

var tankStates = []string{"original", "period-service", "new-old-stock", "donor", "reproduction"}

func tankClaim(id string, cites ...string) *registry.Claim {
	return &registry.Claim{Common: registry.Common{ID: id}, Component: "fuel.tank", Proposition: registry.PropositionOrigin, Statement: "It is the first one.",
		States: tankStates, Prior: []float64{0.70, 0.06, 0.03, 0.15, 0.06}, PriorSource: "worked example", Evidence: cites, By: "mechanic"}
}

func (b *bench) origin(component string) ClaimReport {
	b.t.Helper()
	_, c, err := b.Component(context.Background(), drover, component, ReportOptions{})
	require.NoError(b.t, err)
	return c.Origin
}

// The expected figures are the worked example's, to its four places.
func TestTheTank(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	b.do(tankEvidence()...)
	b.do(tankClaim("cl-1", "press-mark", "film-layers", "fret-marks", "tide-line", "photo-1959"))
	expect := func(want ...float64) {
		t.Helper()
		c := b.origin("fuel.tank")
		for i, s := range append(tankStates, registry.StateOther) {
			got, ok := c.Posterior.Get(s)
			require.True(t, ok, s)
			require.InDelta(t, want[i], got, 0.00005, s)
		}
	}
	expect(0.9933, 0.0037, 0.0001, 0.0012, 0.0000, 0.0017)
	require.Equal(t, "original", b.origin("fuel.tank").Leading)

	// Without the photograph, by a claim that does not cite it.
	second := tankClaim("cl-2", "press-mark", "film-layers", "fret-marks", "tide-line")
	second.Supersedes = "cl-1"
	b.do(second)
	expect(0.9226, 0.0308, 0.0048, 0.0347, 0.0003, 0.0068)

	// And by one whose photograph turned out to be of another machine.
	third := tankClaim("cl-3", "press-mark", "film-layers", "fret-marks", "tide-line", "photo-1959")
	third.Supersedes = "cl-2"
	b.do(third)
	expect(0.9933, 0.0037, 0.0001, 0.0012, 0.0000, 0.0017)
	b.do(&registry.Withdrawal{Record: "photo-1959", Why: "the print shows another machine", By: "mechanic"})
	expect(0.9226, 0.0308, 0.0048, 0.0347, 0.0003, 0.0068)
}

func TestAClaimWithoutEvidenceMovesNothing(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	before := asJSON(t, b.origin("fuel.tank"))
	_, err := b.Record(context.Background(), request(), tankClaim("cl-1"))
	refused(t, err, registry.CodeInvalid, "cites no evidence")
	require.Equal(t, before, asJSON(t, b.origin("fuel.tank")))

	// Nor does one whose evidence is gone: what stands is its prior alone.
	b.do(tankEvidence()...)
	claim := &registry.Claim{Common: registry.Common{ID: "cl-1"}, Component: "fuel.tank", Proposition: registry.PropositionOrigin, Statement: "It is the first one.",
		Evidence: []string{"photo-1959"}, By: "mechanic"}
	b.do(claim, &registry.Withdrawal{Record: "photo-1959", Why: "another machine", By: "mechanic"})
	after := b.origin("fuel.tank")
	require.Equal(t, "prior", after.Basis)
	prior, other := b.prior("fuel.tank", registry.PropositionOrigin)
	for _, e := range prior {
		got, _ := after.Posterior.Get(e.Key)
		require.InDelta(t, e.Value*(1-other), got, 1e-12, e.Key)
	}
	require.Zero(t, b.report(ReportOptions{}).Coverage)
}

// A question without a claim stands open on all evidence that bears on it.
func TestEvidenceSpeaksWithoutAClaim(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	before := b.origin("fuel.tank")
	require.Equal(t, "prior", before.Basis)
	b.do(someEvidence("ev-1", "fuel.tank"))
	after := b.origin("fuel.tank")
	require.Equal(t, "evidence", after.Basis)
	require.Equal(t, []string{"ev-1"}, after.Evidence)
	require.Greater(t, after.Probability, before.Probability)
	// Evidence on one part says nothing of another, nor of another question.
	require.Equal(t, "prior", b.origin("frame.main").Basis)
	_, c, err := b.Component(context.Background(), drover, "fuel.tank", ReportOptions{})
	require.NoError(t, err)
	require.Equal(t, "prior", c.Finish.Basis)
	// The survey's own words are evidence, "undetermined" is not.
	s := aSurvey("fuel.tank")
	s.Origin, s.Finish, s.Specification = "undetermined", "worn", ""
	b.do(s)
	_, c, err = b.Component(context.Background(), drover, "fuel.tank", ReportOptions{})
	require.NoError(t, err)
	require.Equal(t, after.Probability, c.Origin.Probability)
	require.True(t, c.Origin.Undetermined)
	require.Equal(t, []string{"sv-fuel.tank:finish"}, c.Finish.Evidence)
	require.Equal(t, "prior", c.Specification.Basis)
}

func TestContradictionIsPrintedAsConflict(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	against := func(id, cluster string, original, reproduction float64) registry.Body {
		return &registry.Evidence{Common: registry.Common{ID: id}, Evidence: "opinion", Cluster: cluster, Says: id + ".", By: "mechanic",
			Bears: []registry.Bearing{{Component: "fuel.tank", Proposition: registry.PropositionOrigin, Why: "worked example",
				Likelihood: map[string]float64{"original": original, "period-service": original, "new-old-stock": original, "donor": original, "period-accessory": original,
					"reproduction": reproduction, "substitute": reproduction, "missing": original}}}}
	}
	b.do(against("for", "one", 0.9, 0.001), against("against", "two", 0.001, 0.9))
	c := b.origin("fuel.tank")
	require.True(t, c.Conflict)
	found := false
	for _, u := range b.report(ReportOptions{}).Uncertain {
		found = found || u.Component == "fuel.tank" && u.Why == "the evidence contradicts itself"
	}
	require.True(t, found)
}

// What is printed is never more certain than two figures allow, and the
// posterior is a distribution whatever the evidence.
func TestAnswersAreDistributions(t *testing.T) {
	fewer(t, 40)
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t)
		b.do(people()...)
		n := rapid.IntRange(0, 4).Draw(t, "items")
		for range n {
			likelihood := map[string]float64{}
			for _, s := range rapid.SliceOfNDistinct(rapid.SampledFrom(registry.States(registry.PropositionOrigin)), 1, -1, rapid.ID[string]).Draw(t, "states") {
				likelihood[s] = rapid.Float64Range(0.001, 1).Draw(t, s)
			}
			b.do(&registry.Evidence{Evidence: "opinion", Cluster: rapid.SampledFrom([]string{"a", "b"}).Draw(t, "cluster"), Says: "x.", By: "mechanic",
				Reliability: ptr(rapid.Float64Range(0, 1).Draw(t, "reliability")),
				Bears:       []registry.Bearing{{Component: "fuel.tank", Proposition: registry.PropositionOrigin, Likelihood: likelihood, Why: "drawn"}}})
		}
		d, err := b.Load(context.Background(), drover, At{})
		require.NoError(t, err)
		c, _, err := b.answer(d, "fuel.tank", registry.PropositionOrigin)
		require.NoError(t, err)
		sum := 0.0
		for _, e := range c.Posterior {
			require.True(t, e.Value >= 0 && e.Value <= 1)
			sum += e.Value
		}
		require.InDelta(t, 1, sum, 1e-9)
		require.False(t, math.IsNaN(c.Probability))
		require.NotContains(t, c.Shown, "100")
	})
}
