package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func aRule() PublishedRule { return PublishedRule{"a class", "a published rule book", "2010"} }

func criteriaExample(p ...float64) CriteriaInput {
	in := CriteriaInput{Rule: aRule(), Supports: 0.8, Against: 0.2}
	for i, v := range p {
		in.Criteria = append(in.Criteria, Criterion{ID: stateNames[i], Probability: amount(v)})
	}
	return in
}

// Worked example: .97, .92, .88 by Fréchet's bounds.
func TestCriteriaExample(t *testing.T) {
	out, err := Criteria(criteriaExample(0.97, 0.92, 0.88))
	require.NoError(t, err)
	near(t, 0.770, out.Low, 3)
	near(t, 0.880, out.High, 3)
	near(t, 0.785, *out.Product, 3)
	require.Equal(t, "c", out.Weakest)
	require.Contains(t, out.Statement, "Only the body")
	for _, c := range out.Criteria {
		require.Equal(t, "supports", c.Evidence)
	}
}

// A criterion of which nothing is known may hold or not: nothing is left of the
// lower bound, and no product can be named.
func TestUnknownCriteria(t *testing.T) {
	in := criteriaExample(0.97, 0.1, 0.5)
	in.Criteria = append(in.Criteria, Criterion{ID: "unseen"})
	out, err := Criteria(in)
	require.NoError(t, err)
	require.Zero(t, out.Low)
	require.Nil(t, out.Product)
	require.Equal(t, 0.1, out.High)
	require.Equal(t, []string{"unseen"}, out.Unknown)
	var said []string
	for _, c := range out.Criteria {
		said = append(said, c.Evidence)
	}
	require.Equal(t, []string{"supports", "does not support", "unknown", "unknown"}, said)
	require.Equal(t, "not known", out.Criteria[3].Printed)
}

func TestCriteriaRefusals(t *testing.T) {
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		_, err := Criteria(criteriaExample(0.5, p))
		refused(t, err, registry.CodeInvalid, "/criteria/1/probability")
	}
	_, err := Criteria(criteriaExample())
	refused(t, err, registry.CodeInsufficient, "/criteria")
	in := criteriaExample(0.5)
	in.Criteria = []Criterion{{ID: "a"}}
	_, err = Criteria(in)
	refused(t, err, registry.CodeInsufficient, "/criteria")
	in = criteriaExample(0.5, 0.5)
	in.Criteria[1].ID = "a"
	_, err = Criteria(in)
	refused(t, err, registry.CodeInvalid, "/criteria/1/id")
	in = criteriaExample(0.5)
	in.Rule.Edition = ""
	_, err = Criteria(in)
	refused(t, err, registry.CodeInvalid, "/rule/edition")
	in = criteriaExample(0.5)
	in.Against = 0.8
	_, err = Criteria(in)
	refused(t, err, registry.CodeInvalid, "/against")
}

func kept(v bool) *bool { return &v }

// What is not known makes a range, which holds the total for every way in which
// it may turn out; all ways are tried.
func TestPointsRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := PointsInput{Rule: aRule(), Least: float64(rapid.IntRange(0, 12).Draw(t, "least"))}
		for i := range 5 {
			item := PointsItem{ID: stateNames[i], Points: float64(rapid.IntRange(0, 5).Draw(t, "points"))}
			switch rapid.IntRange(0, 2).Draw(t, "kept") {
			case 0:
				item.Kept = kept(false)
			case 1:
				item.Kept = kept(true)
			}
			in.Items = append(in.Items, item)
		}
		in.Must = []string{"a"}
		out, err := Points(in)
		require.NoError(t, err)
		outcomes := map[string]bool{}
		for way := range 32 {
			whole := in
			whole.Items = nil
			skip := false
			for i, item := range in.Items {
				v := way&(1<<i) != 0
				skip = skip || item.Kept != nil && *item.Kept != v
				item.Kept = &v
				whole.Items = append(whole.Items, item)
			}
			if skip {
				continue
			}
			one, err := Points(whole)
			require.NoError(t, err)
			require.NotEqual(t, cannotTell, one.Outcome)
			require.True(t, out.Low <= one.Low && one.High <= out.High)
			outcomes[one.Outcome] = true
		}
		want := cannotTell
		if len(outcomes) == 1 {
			for o := range outcomes {
				want = o
			}
		}
		require.Equal(t, want, out.Outcome)
	})
}

func TestPublishedRulesRefuse(t *testing.T) {
	_, err := Points(PointsInput{Rule: aRule(), Items: []PointsItem{{ID: "a", Points: 1}}, Must: []string{"b"}})
	refused(t, err, registry.CodeInvalid, "/must/0")
	_, err = Points(PointsInput{Rule: aRule()})
	refused(t, err, registry.CodeInsufficient, "/items")
	_, err = Percentages(PercentagesInput{Rule: aRule(), By: "mean", Areas: []PercentageArea{{"a", amount(101)}}})
	refused(t, err, registry.CodeInvalid, "/areas/0/percent")
	_, err = Percentages(PercentagesInput{Rule: aRule(), By: "sum", Areas: []PercentageArea{{"a", amount(1)}}})
	refused(t, err, registry.CodeInvalid, "/by")
	_, err = Percentages(PercentagesInput{Rule: aRule(), By: "count", Count: 2, Areas: []PercentageArea{{"a", amount(1)}}})
	refused(t, err, registry.CodeInvalid, "/count")
	_, err = Percentages(PercentagesInput{Rule: aRule(), By: "mean"})
	refused(t, err, registry.CodeInsufficient, "/areas")
	sheet := JudgingInput{Rule: aRule(), Step: 0.25, Categories: []JudgingCategory{{"paint", 4, 6, 0.3}}}
	_, err = Judging(sheet)
	refused(t, err, registry.CodeInvalid, "/categories/0/lost")
	sheet.Categories[0].Lost = 6.25
	_, err = Judging(sheet)
	refused(t, err, registry.CodeInvalid, "/categories/0/lost")
	sheet.Step, sheet.Categories[0].Lost = 0.1, 0.3 // whose quotient is not 3 to the last bit
	_, err = Judging(sheet)
	require.NoError(t, err)
	sheet.Step, sheet.Categories[0].Lost, sheet.Has = 0.25, 6, []string{"first"}
	_, err = Judging(sheet)
	refused(t, err, registry.CodeInvalid, "/has/0")
	_, err = Judging(JudgingInput{Rule: aRule(), Step: 1})
	refused(t, err, registry.CodeInsufficient, "/categories")
	_, err = Age(AgeInput{Rule: aRule(), At: "2026-03-11"})
	refused(t, err, registry.CodeInsufficient, "/first")
	_, err = Age(AgeInput{Rule: aRule(), First: "1957-13", At: "now"})
	refused(t, err, registry.CodeInvalid, "/first")
	refused(t, err, registry.CodeInvalid, "/at")
	_, err = Age(AgeInput{Rule: aRule(), First: "1957", At: "2026-03-11", Changes: []AgeChange{{"tank", "1960"}}})
	refused(t, err, registry.CodeInvalid, "/period_years")
}

// An area that was not judged may be anything: a mean of 65 asked for.
func TestPercentagesRange(t *testing.T) {
	in := PercentagesInput{Rule: aRule(), By: "mean", Least: 65, Areas: []PercentageArea{{"a", amount(60)}, {"b", amount(90)}, {"c", amount(70)}, {"d", nil}}}
	out, err := Percentages(in)
	require.NoError(t, err)
	require.Equal(t, [2]float64{55, 80}, [2]float64{out.Low, out.High})
	require.Equal(t, cannotTell, out.Outcome)
	require.Equal(t, []string{"a"}, out.Below)
}

// Dates by hand: a machine of 1957 known to the year.
func TestAgeByHand(t *testing.T) {
	at := func(first registry.Date, day string) AgeResult {
		out, err := Age(AgeInput{Rule: aRule(), First: first, At: day, LeastYears: amount(30), PeriodYears: amount(10),
			Changes: []AgeChange{{"tank", "1966"}, {"seat", "1967"}, {"lamp", "1968"}},
			Classes: []AgeClass{{"before", "", "1956-12-31"}, {"middle", "1957-01-01", "1960-12-31"}, {"after", "1961-01-01", ""}}})
		require.NoError(t, err)
		return out
	}
	out := at("1957", "1987-12-30")
	require.Equal(t, cannotTell, out.OldEnough, "built on 31 December it is not 30 yet")
	require.Equal(t, "yes", at("1957", "1987-12-31").OldEnough)
	require.Equal(t, "no", at("1957", "1986-12-31").OldEnough)
	require.Equal(t, []string{"middle"}, out.Classes)
	require.Equal(t, []AgeChangeResult{{"tank", "yes"}, {"seat", cannotTell}, {"lamp", "no"}}, out.Changes)
	require.Equal(t, []string{"before", "middle"}, at("195X", "2026-01-01").Classes)
	require.Equal(t, []string{"middle", "after"}, at("1960/1962", "2026-01-01").Classes)
	// About 1957 may be 1952 to 1962.
	out = at("1957~", "2026-01-01")
	require.Equal(t, []string{"before", "middle", "after"}, out.Classes)
	require.Equal(t, "yes", out.OldEnough)
	require.Equal(t, cannotTell, out.Changes[0].OfPeriod)
	require.Equal(t, cannotTell, at("1957~", "1990-01-01").OldEnough)
}
