package scoring

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// noSpark is the worked example: no spark, one cause, two openings.
func noSpark(perPoint float64) OrderInput {
	return OrderInput{MinutesPerPoint: &perPoint,
		Causes: []OrderCause{
			{ID: "cut-out-wire", Prior: 0.10, Cure: 1, Minutes: 5},
			{ID: "plug-and-lead", Prior: 0.16, Cure: 1, Minutes: 10},
			{ID: "points", Prior: 0.26, Cure: 0.9, Minutes: 20, Points: 0.2, Openings: []string{"cap"}},
			{ID: "brush", Prior: 0.14, Cure: 0.9, Minutes: 20, Points: 0.2},
			{ID: "condenser", Prior: 0.22, Cure: 0.9, Minutes: 40, Points: 0.8, Openings: []string{"cap"}},
			{ID: "armature", Prior: 0.12, Cure: 0.97, Minutes: 120, Points: 3, Openings: []string{"magneto"}},
		},
		Openings: []FaultOpening{{ID: "cap", Minutes: 5}, {ID: "magneto", Minutes: 150, Points: 1.6}}}
}

func names0(steps []OrderStep) (out []string) {
	for _, s := range steps {
		out = append(out, s.ID)
	}
	return out
}

// Worked example: 190.38, the same order for 0, 20, 60 and 200 minutes per
// point, the worst order 672 with the armature first.
func TestOrderNoSpark(t *testing.T) {
	want := []string{"cut-out-wire", "plug-and-lead", "points", "brush", "condenser", "armature"}
	for _, perPoint := range []float64{0, 20, 60, 200} {
		out, err := Order(noSpark(perPoint))
		require.NoError(t, err)
		require.Equal(t, want, names0(out.Order))
		if perPoint == 60 {
			near(t, 190.38, out.Expected, 2)
			near(t, 672, out.Worst.Expected, 0)
			require.Equal(t, "armature", out.Worst.Order[0])
			require.Equal(t, want, out.ByRatio.Order)
			require.Equal(t, []string{"cap"}, out.Order[2].Opens)
			require.Empty(t, out.Order[4].Opens, "the cap is off already")
			require.InDelta(t, 1-0.10-0.16-0.26*0.9-0.14*0.9-0.22*0.9-0.12*0.97, out.Left, 1e-12)
		}
	}
}

// Published rule (Kalagnanam and Henrion 1990; Heckerman, Breese and Rommelse
// 1995): by falling chance for cost, 11.20; by chance alone 15.65, by cost alone
// 11.90, at worst 16.35.
func TestOrderByRatio(t *testing.T) {
	in := OrderInput{Causes: []OrderCause{{ID: "1", Prior: 0.20, Cure: 1, Minutes: 2}, {ID: "2", Prior: 0.25, Cure: 1, Minutes: 8},
		{ID: "3", Prior: 0.40, Cure: 1, Minutes: 10}, {ID: "4", Prior: 0.15, Cure: 1, Minutes: 1}}}
	out, err := Order(in)
	require.NoError(t, err)
	require.Equal(t, []string{"4", "1", "3", "2"}, names0(out.Order))
	near(t, 11.20, out.Expected, 9)
	near(t, 11.20, out.ByRatio.Expected, 9)
	near(t, 16.35, out.Worst.Expected, 9)
	q, err := readOrder(in)
	require.NoError(t, err)
	near(t, 15.65, q.alternative([]int{2, 1, 0, 3}).Expected, 9)
	near(t, 11.90, q.alternative([]int{3, 0, 1, 2}).Expected, 9)
}

// A case by hand in which the rule of thumb loses: two causes behind one dear
// opening, each by itself worse than the third, together better.
//
// Ratio: third (.2/50), then first with the opening, then second:
// 50 + .8·110 + .4·10 = 142; the opening first: 110 + .6·10 + .2·50 = 126.
func TestOrderRatioRuleFails(t *testing.T) {
	out, err := Order(OrderInput{Openings: []FaultOpening{{ID: "cover", Minutes: 100}}, Causes: []OrderCause{
		{ID: "first", Prior: 0.4, Cure: 1, Minutes: 10, Openings: []string{"cover"}},
		{ID: "second", Prior: 0.4, Cure: 1, Minutes: 10, Openings: []string{"cover"}},
		{ID: "third", Prior: 0.2, Cure: 1, Minutes: 50}}})
	require.NoError(t, err)
	require.Equal(t, []string{"third", "first", "second"}, out.ByRatio.Order)
	near(t, 142, out.ByRatio.Expected, 9)
	require.Equal(t, []string{"first", "second", "third"}, names0(out.Order))
	near(t, 126, out.Expected, 9)
}

// randomOrder has causes in sixteenths behind shared openings, some of which
// need another.
func randomOrder(r *rand.Rand, causes, openings int) OrderInput {
	in := OrderInput{MinutesPerPoint: amount(float64(20 * r.IntN(5)))}
	for o := range openings {
		x := FaultOpening{ID: fmt.Sprint("opening-", o), Minutes: float64(r.IntN(150)), Points: float64(r.IntN(3)) / 4}
		if o > 0 && r.IntN(3) == 0 {
			x.Needs = []string{fmt.Sprint("opening-", r.IntN(o))}
		}
		in.Openings = append(in.Openings, x)
	}
	weights, sum := make([]float64, causes), 0.0
	for i := range weights {
		weights[i] = float64(1 + r.IntN(8))
		sum += weights[i]
	}
	for i, w := range weights {
		c := OrderCause{ID: fmt.Sprint("cause-", i), Prior: w / sum, Cure: float64(12+r.IntN(5)) / 16, Minutes: float64(r.IntN(60)), Points: float64(r.IntN(4)) / 4}
		for range r.IntN(3) {
			if openings > 0 {
				c.Openings = append(c.Openings, fmt.Sprint("opening-", r.IntN(openings)))
			}
		}
		in.Causes = append(in.Causes, c)
	}
	return in
}

// tryAll goes through every order of causes, straight from the definition.
func tryAll(in OrderInput) (best, worst float64) {
	best, worst = math.Inf(1), math.Inf(-1)
	byID := map[string]FaultOpening{}
	for _, o := range in.Openings {
		byID[o.ID] = o
	}
	var try func(tried []bool, open map[string]bool, left, cost float64)
	try = func(tried []bool, open map[string]bool, left, cost float64) {
		if !slices.Contains(tried, false) {
			best, worst = min(best, cost), max(worst, cost)
		}
		for i, c := range in.Causes {
			if tried[i] {
				continue
			}
			now, price := map[string]bool{}, c.Minutes+c.Points**in.MinutesPerPoint
			for id := range open {
				now[id] = true
			}
			var take func(id string)
			take = func(id string) {
				if !now[id] {
					now[id] = true
					price += byID[id].Minutes + byID[id].Points**in.MinutesPerPoint
					for _, n := range byID[id].Needs {
						take(n)
					}
				}
			}
			for _, id := range c.Openings {
				take(id)
			}
			after := slices.Clone(tried)
			after[i] = true
			try(after, now, left-c.Prior*c.Cure, cost+left*price)
		}
	}
	try(make([]bool, len(in.Causes)), nil, 1, 0)
	return best, worst
}

// The best and the worst of all orders; the rule of thumb is never better, and
// among 200 cases with openings it does miss.
func TestOrderAgainstEveryOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 3))
	missed := 0
	for range 200 {
		in := randomOrder(r, 1+r.IntN(6), r.IntN(4))
		out, err := Order(in)
		require.NoError(t, err)
		best, worst := tryAll(in)
		require.InDelta(t, best, out.Expected, 1e-9)
		require.InDelta(t, worst, out.Worst.Expected, 1e-9)
		require.GreaterOrEqual(t, out.ByRatio.Expected, out.Expected-1e-9)
		if out.ByRatio.Expected > out.Expected+1e-9 {
			missed++
		}
		require.NotContains(t, text(t, out), "null")
	}
	require.Greater(t, missed, 10)
}

func TestOrderRefusals(t *testing.T) {
	for input, pointer := range map[string]string{
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1},{"id":"b","prior":0.6,"cure":1,"minutes":1}]}`:                                          "/causes",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1},{"id":"a","prior":0.2,"cure":1,"minutes":1}]}`:                                          "/causes/1/id",
		`{"causes":[{"id":"a","prior":0.6,"cure":1.1,"minutes":1}]}`:                                                                                    "/causes/0/cure",
		`{"causes":[{"id":"a","prior":0.6,"minutes":1}]}`:                                                                                               "/causes/0/cure",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":-1}]}`:                                                                                     "/causes/0/minutes",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1,"points":1}]}`:                                                                           "/minutes_per_point",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1}],"openings":[{"id":"x","minutes":1,"points":1}]}`:                                       "/minutes_per_point",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1,"opening":"cap"}]}`:                                                                      "/causes/0/openings/0",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1}],"openings":[{"id":"x","minutes":1,"needs":["y"]}]}`:                                    "/openings/0/needs/0",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1}],"openings":[{"id":"x","minutes":1,"needs":["x"]}]}`:                                    "/openings/0/needs",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1}],"openings":[{"id":"x","minutes":1},{"id":"x","minutes":1}]}`:                           "/openings/1/id",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1}],"minutes_per_point":-1}`:                                                               "/minutes_per_point",
		`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1}],"openings":[{"id":"x","minutes":1,"needs":["y"]},{"id":"y","minutes":1,"points":-1}]}`: "/openings/1/points",
	} {
		_, err := Run(MethodOrder, []byte(input))
		refused(t, err, registry.CodeInvalid, pointer)
	}
	_, err := Run(MethodOrder, []byte(`{"causes":[]}`))
	refused(t, err, registry.CodeInsufficient, "/causes")
	_, err = Order(randomOrder(rand.New(rand.NewPCG(1, 1)), MaxOrderCauses+1, 3))
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
}

// One opening may be named instead of a list.
func TestOrderReadsOneOpening(t *testing.T) {
	one, err := Run(MethodOrder, []byte(`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1,"opening":"cap"}],"openings":[{"id":"cap","minutes":5}]}`))
	require.NoError(t, err)
	list, err := Run(MethodOrder, []byte(`{"causes":[{"id":"a","prior":0.6,"cure":1,"minutes":1,"openings":["cap"]}],"openings":[{"id":"cap","minutes":5}]}`))
	require.NoError(t, err)
	require.Equal(t, string(list), string(one))
	require.Contains(t, string(one), `"expected":6`)
}

func BenchmarkOrder(b *testing.B) {
	for _, n := range []int{6, 15, MaxOrderCauses} {
		b.Run(fmt.Sprint("causes=", n), func(b *testing.B) {
			in := randomOrder(rand.New(rand.NewPCG(7, 7)), n, 6)
			for b.Loop() {
				if _, err := Order(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
