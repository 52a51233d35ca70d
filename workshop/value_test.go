package workshop

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// priced is the surveyed machine with its options and the fifteen invented
// sales, one of them an asking price.
func priced(t testingT) *bench {
	return stage(t, "priced", func() *bench {
		b := drafted(t)
		b.file("sales.csv")
		b.file("refinish-all.json")
		return b
	})
}

func (b *bench) value(q ValueQuestion) *ValueReport {
	b.t.Helper()
	r, err := b.Value(context.Background(), drover, q)
	require.NoError(b.t, err)
	// What is printed computes again to the last digit from its own input.
	raw, err := json.Marshal(r.Input)
	require.NoError(b.t, err)
	again, err := scoring.Run(scoring.MethodValue, raw)
	require.NoError(b.t, err)
	result, err := json.Marshal(r.Result)
	require.NoError(b.t, err)
	require.JSONEq(b.t, string(again), string(result))
	return r
}

func (b *bench) noValue(q ValueQuestion, code registry.Code, word string) {
	b.t.Helper()
	_, err := b.Value(context.Background(), drover, q)
	refused(b.t, err, code, word)
}

// asked is the question of most tests.
func asked() ValueQuestion {
	return ValueQuestion{Distance: ptr(21000.0), ConditionBefore: ptr(2.0)}
}

// aSale is one sale that can be used.
func aSale(id string, on registry.Date, amount, currency string) *registry.ComparableSale {
	price, err := registry.ParseMoney(amount, currency)
	if err != nil {
		panic(err)
	}
	return &registry.ComparableSale{Common: registry.Common{ID: id, Valid: on}, Source: "invented", PriceKind: "hammer", Price: price,
		Make: "Skerrow Engineering", Model: "Drover 350", Substance: ptr(0.8), Surface: ptr(0.8), Condition: ptr(3),
		Distance: ptr(20000.0), Unit: "mi", Running: ptr(true), Documented: ptr(false)}
}

func left(r *ValueReport) string {
	var out []string
	for _, l := range r.LeftOut {
		out = append(out, l.ID+": "+l.Why)
	}
	return strings.Join(out, "\n")
}

func nearTo(t testingT, want, got, by float64) {
	t.Helper()
	require.InDelta(t, want, got, by)
}

// The worked example of docs/value.md, with its own features, through the
// sales as they are imported and the catalog's assumptions. Levels and ratios
// were computed by two implementations in other languages, net figures by a
// quadrature in a third.
func TestValueWorkedExample(t *testing.T) {
	b := priced(t)
	r := b.value(asked())
	require.Len(t, r.Input.Sales, 14)
	require.Nil(t, r.Input.Makes, "they are all of one make")
	for i, want := range []float64{math.Log(4500), .90, .16, -.06, .30, .15} {
		require.Equal(t, want, r.Input.Prior.Mean[i])
	}
	require.Equal(t, []float64{.50, .45, .08, .06, .20, .20}, r.Input.Prior.SD)
	require.Equal(t, []float64{3, .22}, []float64{r.Input.Prior.Shape, r.Input.Prior.Sigma})

	in := r.Input
	in.Before.Features = scoring.Features{Originality: .92, Condition: 2, Distance: 21000}
	in.Afters = []scoring.After{
		{ID: "sympathetic", Features: scoring.Features{Originality: .90, Condition: 3, Distance: 21000}, Cost: ptr(1180.0)},
		{ID: "refinish", Features: scoring.Features{Originality: .62, Condition: 4, Distance: 21000}, Cost: ptr(3900.0)},
	}
	out, err := scoring.Value(in)
	require.NoError(t, err)
	for _, x := range []struct {
		want, got, by float64
	}{
		{3063, out.Before.Level.Low10, .5}, {3872, out.Before.Level.Median, .5}, {4896, out.Before.Level.High90, .5},
		{4852, out.Afters[0].Level.Median, .5}, {4872, out.Afters[1].Level.Median, .5},
		{1.181, out.Afters[0].Ratio.Low10, 5e-4}, {1.253, out.Afters[0].Ratio.Median, 5e-4}, {1.330, out.Afters[0].Ratio.High90, 5e-4},
		{1.258, out.Afters[1].Ratio.Median, 5e-4},
		{-502, out.Afters[0].Net.Low10, .5}, {-210, out.Afters[0].Net.Median, .5}, {154, out.Afters[0].Net.High90, .5},
		{-2913, out.Afters[1].Net.Median, .5},
	} {
		nearTo(t, x.want, x.got, x.by)
	}
	r.Result, r.Currency = out, "GBP"
	require.Equal(t, "As it stands about 3,870 (3,060–4,900) GBP, with a chance of 80 % inside the range. "+
		`The plan "sympathetic" multiplies it by 1.25 (1.18–1.33) but costs more than it adds: net −210 (−502 to +154) GBP for a cost of 1,180; chance of a loss 78 %. `+
		`The plan "refinish" multiplies it by 1.26 (1.11–1.42) but costs more than it adds, even at the upper end: net −2,910 (−3,440 to −2,300) GBP for a cost of 3,900; chance of a loss >99 %.`, r.words())
}

// The machine itself: what its own survey, options and forecast make of it.
func TestValueOfTheMachine(t *testing.T) {
	b := priced(t)
	q := asked()
	run := []string{"condenser-outside", "tank-solder", "brake-reline", "valve-head-off", "tyres-new"}
	q.Plans = []ValuePlan{{ID: "run", Options: run, Condition: ptr(3.0)}, {ID: "bright", Options: []string{"refinish-all"}, Condition: ptr(4.0)}}
	r := b.value(q)
	require.Equal(t, BasisBoth, r.Basis)
	report := b.report(ReportOptions{})
	substance, surface := report.Indices.Substance.Now.Mean, report.Indices.Surface.Now.Mean
	nearTo(t, substance/2+surface/2, r.Input.Before.Originality, 1e-12)

	// What a plan loses is the sum of what weighing shows, an opening that two
	// options share counted once.
	options, _, err := b.Weigh(context.Background(), request(), run, false)
	require.NoError(t, err)
	lost, opened := 0.0, map[string]bool{}
	for _, o := range options {
		for _, p := range o.Effects.Substance.Parts {
			lost += p.NowMean
		}
		for _, x := range o.Effects.Substance.Openings {
			if !opened[x.ID] {
				lost += x.Loss
			}
			opened[x.ID] = true
		}
	}
	nearTo(t, lost, r.Plans[0].SubstanceLost, 1e-12)
	nearTo(t, r.Input.Before.Originality-lost/2-r.Plans[0].SurfaceLost/2, r.Input.Afters[0].Originality, 1e-12)
	cost, err := b.Cost(context.Background(), drover, run, registry.Money{})
	require.NoError(t, err)
	nearTo(t, cost.Result.ExactMean, *r.Input.Afters[0].Cost, .005)

	require.Greater(t, r.Plans[1].SurfaceLost, 0.5, "nearly all the surface goes")
	require.Less(t, r.Input.Afters[1].Originality, r.Input.Before.Originality-0.25)
	require.Less(t, r.Result.Afters[1].Net.High90, 0.0, "refinishing burns money")
	require.Contains(t, strings.Join(r.Cautions, " "), "14 were judged from afar")
	require.Contains(t, left(r), "sale-15: it is an asking price")
	require.Len(t, r.LeftOut, 1)

	// Papers and running move the tier, for one plan alone.
	q.Documented, q.Plans[0].Running = true, ptr(true)
	r = b.value(q)
	require.Equal(t, []float64{.5, 1, .5}, []float64{r.Input.Before.Tier, r.Input.Afters[0].Tier, r.Input.Afters[1].Tier})

	// One by one, or together.
	q = asked()
	q.Options = run[:2]
	r = b.value(q)
	require.Len(t, r.Result.Afters, 2)
	require.Contains(t, strings.Join(r.Assumptions, " "), "Nothing is said of the condition after tank-solder")
	q.Together = true
	require.Len(t, b.value(q).Result.Afters, 1)

	// Without a word on the condition it is that of the survey.
	q.ConditionBefore = nil
	r = b.value(q)
	require.Contains(t, strings.Join(r.Assumptions, " "), "is the mean of the surveyed conditions")
	require.Greater(t, r.Input.Before.Condition, 2.0)
}

// A sister that never left its crate, of the same make and metal: worked
// example, leverage 2.87 at 40 miles.
func TestValueOfACratedSisterIsRefused(t *testing.T) {
	b := priced(t)
	r := b.value(ValueQuestion{Distance: ptr(40.0), ConditionBefore: ptr(3.0), Documented: true, Running: true})
	nearTo(t, 2.87, r.Result.Before.Leverage, .01)
	require.Nil(t, r.Result.Before.Level)
	require.Contains(t, r.Words, "There is no figure for what it would fetch as it stands.")
	require.Contains(t, r.Words, "too unlike those sold")
}

func TestValueQuestionsThatCannotBeRead(t *testing.T) {
	b := priced(t)
	for _, c := range []struct {
		spoil func(q *ValueQuestion)
		code  registry.Code
		word  string
	}{
		{func(q *ValueQuestion) { q.Distance = nil }, registry.CodeInvalid, "how far the machine has run"},
		{func(q *ValueQuestion) { q.Distance = ptr(0.0) }, registry.CodeInvalid, "distance"},
		{func(q *ValueQuestion) { q.ConditionBefore = ptr(7.0) }, registry.CodeInvalid, "condition"},
		{func(q *ValueQuestion) { q.ResidualShare = ptr(2.0) }, registry.CodeInvalid, "residual"},
		{func(q *ValueQuestion) { q.PriceKind = "asking" }, registry.CodeInvalid, "no kind of price that was paid"},
		{func(q *ValueQuestion) { q.Level = ptr(-1.0) }, registry.CodeInvalid, "no level of prices"},
		{func(q *ValueQuestion) { q.Options = []string{"prayer"} }, registry.CodeNotFound, "prayer"},
		{func(q *ValueQuestion) { q.Plans = []ValuePlan{{ID: "x"}} }, registry.CodeInvalid, "no options"},
		{func(q *ValueQuestion) { q.Options, q.Together = []string{"condenser-outside", "armature-rewind"}, true }, registry.CodeInvalid, "rivals"},
		{func(q *ValueQuestion) {
			q.Plans = []ValuePlan{{ID: "x", Options: []string{"tyres-new"}}, {ID: "x", Options: []string{"tank-solder"}}}
		}, registry.CodeInvalid, "x"},
	} {
		q := asked()
		c.spoil(&q)
		b.noValue(q, c.code, c.word)
	}
	_, err := b.Value(context.Background(), "nobody", asked())
	refused(t, err, registry.CodeNotFound, "nobody")
	takenIn(t).noValue(asked(), registry.CodeInsufficient, "Survey incomplete")
}

// What cannot be used is listed with the reason, and never dropped in silence.
func TestSalesLeftOut(t *testing.T) {
	b := priced(t)
	bare := func(id string, spoil func(s *registry.ComparableSale)) *registry.ComparableSale {
		s := aSale(id, "2025-06-01", "5000", "GBP")
		spoil(s)
		return s
	}
	before := b.value(asked())
	b.do(
		bare("no-index", func(s *registry.ComparableSale) { s.Substance = nil }),
		bare("no-condition", func(s *registry.ComparableSale) { s.Condition = nil }),
		bare("no-distance", func(s *registry.ComparableSale) { s.Distance, s.Unit = nil, "" }),
		bare("no-tier", func(s *registry.ComparableSale) { s.Running, s.Documented = nil, nil }),
		bare("new", func(s *registry.ComparableSale) { s.Distance = ptr(0.2) }),
		bare("endless", func(s *registry.ComparableSale) { s.Valid = "../2025" }),
		aSale("old", "2020", "900", "GBP"),
	)
	r := b.value(asked())
	require.Equal(t, asJSON(t, before.Result), asJSON(t, r.Result))
	for _, why := range []string{"no-index: it lacks an index of originality", "no-condition: it lacks a condition", "no-distance: it lacks a distance",
		"no-tier: it lacks whether it ran, whether its papers were there", "new: its distance is below one mile", "endless: its date cannot be placed",
		"old: it is older than 5 years"} {
		require.Contains(t, left(r), why)
	}
	// A withdrawn sale does not count, and is not listed.
	b.do(&registry.Withdrawal{Record: "old", Why: "typed wrongly", By: "mechanic"})
	require.NotContains(t, left(b.value(asked())), "old:")
}

// A price of nothing, and a sale that is still to come, are not recorded.
func TestSalesThatAreNoSales(t *testing.T) {
	b := priced(t)
	for _, c := range []struct {
		sale *registry.ComparableSale
		word string
	}{{aSale("free", "2025-06-01", "0", "GBP"), "A sale has a price"}, {aSale("future", "2026-12-24", "5000", "GBP"), "future"}} {
		_, err := b.Record(context.Background(), request(), c.sale)
		refused(t, err, registry.CodeInvalid, c.word)
	}
}

func TestSalesInSeveralCurrencies(t *testing.T) {
	b := priced(t)
	b.do(aSale("abroad-1", "2025-06-01", "6000", "EUR"), aSale("abroad-2", "2025-07-01", "6100", "EUR"))
	b.noValue(asked(), registry.CodeInvalid, "14 GBP, 2 EUR")
	q := asked()
	q.Currency = "GBP"
	r := b.value(q)
	require.Len(t, r.Input.Sales, 14)
	require.Contains(t, left(r), "abroad-2: its price is in EUR")
	// No level of prices is known for the other.
	q.Currency = "EUR"
	b.noValue(q, registry.CodeInsufficient, "no level of prices in EUR, only in GBP")
	q.Level = ptr(5200.0)
	r = b.value(q)
	require.Equal(t, "EUR", r.Currency)
	require.Equal(t, math.Log(5200), r.Input.Prior.Mean[0])
	require.Contains(t, r.Prior[0], "5,200 EUR")
	q.Options = []string{"condenser-outside"}
	b.noValue(q, registry.CodeInvalid, "priced in GBP, and the sales in EUR")
}

func TestKindsOfPrices(t *testing.T) {
	b := priced(t)
	with := aSale("with", "2025-06-01", "6000", "GBP")
	with.PriceKind = "with-premium"
	b.do(with)
	require.Contains(t, strings.Join(b.value(asked()).Cautions, " "), "14 hammer, 1 with-premium")
	q := asked()
	q.PriceKind = "hammer"
	r := b.value(q)
	require.Len(t, r.Input.Sales, 14)
	require.Contains(t, left(r), "with: its price is of the kind with-premium")
}

// Sales that lie far apart need a series, and it is carried no further than it
// reaches.
func TestSalesFarApart(t *testing.T) {
	b := priced(t)
	b.do(aSale("early", "2021-06-01", "2500", "GBP"))
	b.noValue(asked(), registry.CodeInsufficient, "4.7 years apart")
	q := asked()
	q.Series = []PricePoint{{"2021", 100}, {"2026", 200}}
	r := b.value(q)
	require.Len(t, r.Input.Sales, 15)
	sale := r.Input.Sales[14]
	require.Equal(t, "early", sale.ID)
	// A straight line in the logarithm between the middles of 2021 and 2026;
	// today lies before the middle of 2026.
	from, to := time.Date(2021, 7, 2, 0, 0, 0, 0, time.UTC), time.Date(2026, 7, 2, 0, 0, 0, 0, time.UTC)
	today := dayOf(b.Now())
	log := func(day time.Time) float64 {
		return math.Log(2) * max(0, day.Sub(from).Hours()) / to.Sub(from).Hours()
	}
	nearTo(t, log(time.Date(2021, 6, 1, 0, 0, 0, 0, time.UTC))-log(today), *sale.LogIndex, 1e-12)
	require.Less(t, *sale.LogIndex, 0.0, "prices have risen, so an early price counts for more")

	for word, series := range map[string][]PricePoint{
		"early, 2021-06-01":                     {{"2022", 100}, {"2026", 200}},
		"today, " + today.Format(time.DateOnly): {{"2021", 100}, {"2025", 200}},
	} {
		q.Series = series
		b.noValue(q, registry.CodeInsufficient, word)
	}
	for word, series := range map[string][]PricePoint{
		"/series/1/value": {{"2021", 100}, {"2026", 0}}, "/series/0/value": {{"2021", math.NaN()}, {"2026", 1}},
		"/series/1/date": {{"2021", 100}, {"2021", 101}}, "/series/0/date": {{"last year", 1}, {"2026", 1}}, "more than one point": {{"2026", 1}},
	} {
		q.Series = series
		b.noValue(q, registry.CodeInvalid, word)
	}
	// With a series no sale is too old.
	b.do(aSale("older", "2019-03", "2500", "GBP"))
	q.Series = []PricePoint{{"2019", 90}, {"2021", 100}, {"2026", 200}}
	require.NotContains(t, left(b.value(q)), "older")
}

// A series only changes what prices are worth: everything doubled since is
// everything doubled.
func TestSeriesMovesThePrices(t *testing.T) {
	b := priced(t)
	plain := b.value(asked())
	q := asked()
	q.Series = []PricePoint{{"2024", 50}, {"2025", 50}, {"2026-02", 50}, {"2026-03", 100}}
	moved := b.value(q)
	for i, s := range moved.Input.Sales {
		in := *plain.Result.Before.Level
		require.InDelta(t, plain.Input.Sales[i].Price, s.Price, 0)
		require.LessOrEqual(t, *s.LogIndex, 0.0, s.ID)
		require.Greater(t, moved.Result.Before.Level.Median, 1.5*in.Median, "the prior holds some of it back")
	}
}

func TestDuplicateSalesAreListed(t *testing.T) {
	b := priced(t)
	b.do(aSale("twice-1", "2025-06-01", "5000", "GBP"), aSale("twice-2", "2025-06-01", "5000", "GBP"))
	r := b.value(asked())
	require.Equal(t, [][]string{{"twice-1", "twice-2"}}, r.Result.Duplicates)
	require.Len(t, r.Input.Sales, 16, "they count until somebody withdraws one")
}

func TestFewSalesAndNone(t *testing.T) {
	b := drafted(t)
	q := asked()
	q.Options, q.ConditionAfter = []string{"condenser-outside"}, ptr(3.0)
	r := b.value(q)
	require.True(t, r.Result.PriorOnly)
	require.Empty(t, r.Input.Sales)
	require.Equal(t, "GBP", r.Currency)
	require.Nil(t, r.Result.Before.Level)
	require.NotZero(t, r.Result.Afters[0].Ratio.Median)
	require.Contains(t, r.Words, "there is no comparable sale")
	require.Contains(t, r.Words, "mostly prior")
	require.Contains(t, r.Words, "cannot be said without a level")

	for i := range 4 {
		b.do(aSale(fmt.Sprint("sale-", i), "2025-06-01", fmt.Sprint(4000+100*i), "GBP"))
	}
	r = b.value(q)
	require.Nil(t, r.Result.Before.Level)
	require.Nil(t, r.Result.Afters[0].Net)
	require.True(t, r.Result.Afters[0].MostlyPrior)
	require.Contains(t, strings.Join(r.Result.Before.Refusals, " "), "No level")
}

// Where the sales say nothing of surface, it is said that a loss of surface is
// not in the figures.
func TestSalesWithoutSurface(t *testing.T) {
	b := priced(t)
	bare := aSale("bare", "2025-06-01", "5000", "GBP")
	bare.Surface = nil
	b.do(bare)
	q := asked()
	q.Options = []string{"refinish-all", "condenser-outside"}
	r := b.value(q)
	require.Equal(t, BasisSubstance, r.Basis)
	require.InDelta(t, b.report(ReportOptions{}).Indices.Substance.Now.Mean, r.Input.Before.Originality, 1e-12)
	said := strings.Join(r.Cautions, " ")
	require.Contains(t, said, "refinish-all takes 0.")
	require.Contains(t, said, "likely worse than shown")
	require.NotContains(t, said, "condenser-outside takes")
	require.Contains(t, strings.Join(r.Assumptions, " "), "1 of the 15 sales say nothing of surface")
}

// Other makes let makes differ; the unit of a distance is minded.
func TestOtherMakesAndUnits(t *testing.T) {
	b := priced(t)
	other := aSale("other", "2025-06-01", "5000", "GBP")
	other.Make, other.Distance, other.Unit = "Thirlbeck", ptr(1609.344), "km"
	same := aSale("same", "2025-06-01", "5000", "GBP")
	same.Make = "SKERROW engineering "
	b.do(same)
	require.Nil(t, b.value(asked()).Input.Makes)
	b.do(other)
	r := b.value(asked())
	require.Equal(t, &scoring.MakeSpread{Tau: .25, Sigma: .16}, r.Input.Makes)
	require.Equal(t, "Skerrow Engineering", r.Input.Sales[14].Make)
	require.InDelta(t, 1000, r.Input.Sales[15].Distance, 1e-9)
	require.Contains(t, strings.Join(r.Prior, " "), "Two makes of the same kind")
}

// The owner is shown a valuation, which is recorded and computes again.
func TestProposalWithAValuation(t *testing.T) {
	b := priced(t)
	ctx := context.Background()
	b.pass(time.Minute)
	q := asked()
	q.ConditionAfter = ptr(3.0)
	p, err := b.Propose(ctx, request(), ProposeInput{ID: "proposal-1", Options: []string{"condenser-outside", "armature-rewind", "tyres-new"},
		Recommended: []string{"condenser-outside", "tyres-new"}, Expires: b.Now().AddDate(0, 0, 14), Value: &q})
	require.NoError(t, err)
	require.Equal(t, "recommended", p.Value.Result.Afters[0].ID)
	require.Equal(t, []string{"condenser-outside", "tyres-new"}, p.Value.Plans[0].Options)
	r := b.report(ReportOptions{})
	require.JSONEq(t, asJSON(t, p.Value.Result), asJSON(t, r.Offers[0].Value))
	d, err := b.Load(ctx, drover, At{})
	require.NoError(t, err)
	e, ok := d.Entry("proposal-1")
	require.True(t, ok)
	again, err := b.Recalc(ctx, e.ID)
	require.NoError(t, err)
	found := false
	for _, x := range again {
		require.True(t, x.Same, x.Of)
		found = found || x.Of == "value"
	}
	require.True(t, found)

	euros, err := registry.ParseMoney("900", "EUR")
	require.NoError(t, err)
	_, err = b.Propose(ctx, request(), ProposeInput{ID: "proposal-2", Options: []string{"magneto-leave"}, Recommended: []string{"magneto-leave"},
		Ceiling: euros, Expires: b.Now().AddDate(0, 0, 14), Value: &q})
	refused(t, err, registry.CodeInvalid, "the ceiling is in EUR")
	plain := b.propose("proposal-3", "100", "condenser-outside")
	require.Nil(t, plain.Value)
}

func TestFigures(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.4: "0", -0.4: "0", 7: "7", 999: "999", 3872.4: "3,870", -2913: "−2,910", 999.6: "1,000", 1234567: "1,230,000", -45: "−45"} {
		require.Equal(t, want, figure(v))
	}
	require.Equal(t, "+154", signed(154))
	require.Equal(t, "−502", signed(-502))
	require.Equal(t, "0", signed(0))
}

// Between its points a series lies between their values, and beyond its ends it
// says nothing.
func TestPriceSeries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
		var points []PricePoint
		day, low, high := start, math.Inf(1), math.Inf(-1)
		for i := range rapid.IntRange(2, 6).Draw(t, "points") {
			if i > 0 {
				day = day.AddDate(0, 0, rapid.IntRange(1, 900).Draw(t, "days"))
			}
			v := rapid.Float64Range(0.1, 1000).Draw(t, "value")
			low, high = min(low, math.Log(v)), max(high, math.Log(v))
			points = append(points, PricePoint{registry.Date(day.Format(time.DateOnly)), v})
		}
		s, err := newPriceSeries(points)
		require.NoError(t, err)
		at := start.AddDate(0, 0, rapid.IntRange(-10, 5000).Draw(t, "at"))
		got, ok := s.log(at)
		require.Equal(t, !at.Before(start) && !at.After(day), ok)
		if ok {
			require.True(t, got >= low-1e-12 && got <= high+1e-12)
		}
		last, ok := s.log(day)
		require.True(t, ok)
		require.InDelta(t, math.Log(points[len(points)-1].Value), last, 1e-12)
	})
}

// The fourteen sales are those of the documentation.
func TestTheDocumentedSales(t *testing.T) {
	page, err := os.ReadFile("../docs/value.md")
	require.NoError(t, err)
	for _, s := range priced(t).value(asked()).Input.Sales {
		require.Contains(t, string(page), fmt.Sprintf("| %s | %.0f | %.2f | %.0f | %.0f |", s.ID, s.Price, s.Originality, s.Condition, s.Distance))
	}
}
