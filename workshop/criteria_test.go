package workshop

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

func (b *bench) criteria(rule string) RuleReading {
	b.t.Helper()
	out, err := b.Criteria(context.Background(), drover, rule)
	require.NoError(b.t, err)
	require.Len(b.t, out.Rules, 1)
	require.Contains(b.t, out.Statement, "Only the body that publishes the rule can award")
	return out.Rules[0]
}

// A criterion is worked out from the claims; what the record cannot say stays
// unknown with what would help; all together are bounded by Fréchet's bounds.
func TestCriteriaByTheRecord(t *testing.T) {
	b := drafted(t)
	r := b.criteria("technical-code-2010-group-3")
	by := map[string]CriterionReading{}
	low, high := 1.0, 1.0
	for _, c := range r.Criteria {
		by[c.ID] = c
		if c.Probability != nil {
			high = math.Min(high, *c.Probability)
		} else {
			low = 0
		}
	}
	require.Nil(t, by["taken-apart"].Probability)
	require.Equal(t, "unknown", by["taken-apart"].Evidence)
	require.Contains(t, by["taken-apart"].Help, "joints were disturbed")
	require.InDelta(t, high, r.All.High, 1e-12)
	require.InDelta(t, low, r.All.Low, 1e-12)
	require.Nil(t, r.All.Product)

	// Its identity hangs on the frame and its number, under one switch: between
	// the bounds of two events whose chances the claims give.
	frame, number := b.chance("frame.main", registry.PropositionOrigin, "original"), b.chance("frame.number", registry.PropositionOrigin, "original")
	p := *by["identity"].Probability
	require.GreaterOrEqual(t, p, frame+number-1-1e-3)
	require.LessOrEqual(t, p, min(frame, number)+1e-3)
	require.Contains(t, by["identity"].From, "From the origin of 2 components")
}

// Nobody has looked: nothing is said of the criterion. A tank that was found
// painted anew makes it less likely that the machine was never restored.
func TestCriteriaFollowTheRecord(t *testing.T) {
	empty := takenIn(t)
	r := empty.criteria("technical-code-2010-group-2")
	require.Nil(t, r.All)
	require.Equal(t, "The record answers none of these criteria yet.", r.Says)
	require.Nil(t, r.Criteria[0].Probability)
	require.Contains(t, r.Criteria[0].Help, "Survey what is still open")
	require.Contains(t, r.Criteria[0].From, "at least 60 % must rest on it")

	b := drafted(t)
	before := *b.criteria("technical-code-2010-group-2").Criteria[0].Probability
	b.do(&registry.Evidence{Common: registry.Common{ID: "ev-again"}, Evidence: "physical-trait", Cluster: "layers", Says: "Filler under the enamel.", By: "mechanic",
		Bears: []registry.Bearing{{Component: "fuel.tank-finish", Proposition: registry.PropositionFinish, Likelihood: map[string]float64{"untouched": 0.05, "worn": 0.05, "cleaned": 0.05, "consolidated": 0.05, "touched-in": 0.05, "refinished-period": 0.3, "refinished": 0.9, "bare": 0.05, "other": 0.05}, Why: "seen at the chip"}}})
	after := *b.criteria("technical-code-2010-group-2").Criteria[0].Probability
	require.Less(t, after, before)

	out, err := b.Criteria(context.Background(), drover, "")
	require.NoError(t, err)
	require.Greater(t, len(out.Rules), 8)

	_, err = b.Criteria(context.Background(), drover, "no-such-rule")
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
	_, err = b.Criteria(context.Background(), "nobody", "")
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
}

// 1957 is of the class from 1946 to 1960 of the technical code, and 35 years old.
func TestAgeByTheRecord(t *testing.T) {
	b := drafted(t)
	require.Contains(t, b.criteria("technical-code-2010-age").Says, "“Post War”")
	r := b.criteria("amca-age")
	require.Equal(t, "By the date 1957 on record it is at least 35 years old.", r.Says)
	require.Equal(t, scoring.OnlyTheBody, r.Age.Statement)
}
