package scoring

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// roadCost is the worked example: six tasks and four finds, in pounds.
func roadCost() CostInput {
	return CostInput{Tasks: []CostTask{{"magneto", 40, 58, 130}, {"tank", 60, 138, 260}, {"front-brake", 60, 92, 150},
		{"exhaust-valve", 30, 59, 180}, {"tyres", 190, 205, 240}, {"wiring", 15, 26, 70}},
		Finds:   []CostFind{{"stud", 0.12, 95}, {"wheel-bearing", 0.25, 38}, {"tank-seam", 0.15, 160}, {"spokes", 0.30, 85}},
		Ceiling: amount(700), Step: amount(5)}
}

// The figures are those of an independent second implementation.
func TestCostRoad(t *testing.T) {
	out, err := Cost(roadCost())
	require.NoError(t, err)
	require.Equal(t, 578.0, out.LikelySum)
	near(t, 738.6, out.Mean, 1)
	near(t, 738.1, out.ExactMean, 1)
	require.Equal(t, []float64{730, 820, 920}, []float64{out.P50, out.P80, out.P95})
	near(t, 0.973, out.OverLikely, 3)
	near(t, 0.605, *out.OverCeiling, 3)
	near(t, 0.607, out.AnyFind, 3)
	sum := 0.0
	for _, p := range out.Points {
		sum += p[1]
	}
	require.InDelta(t, 1, sum, 1e-12)

	// By itself the grid is finer and the means agree.
	in := roadCost()
	in.Step = nil
	fine, err := Cost(in)
	require.NoError(t, err)
	require.Equal(t, 2.0, fine.Step)
	require.InDelta(t, fine.ExactMean, fine.Mean, 0.5)
	require.InDelta(t, out.P80, fine.P80, 5)
}

// Sampling, which the forecast does without, must agree with it.
func TestCostAgreesWithSampling(t *testing.T) {
	for _, shared := range []*CostShared{nil, {0.3, 0.8}} {
		in := roadCost()
		in.Step, in.Shared = amount(1), shared
		out, err := Cost(in)
		require.NoError(t, err)
		r := rand.New(rand.NewPCG(1957, 6))
		const n = 200_000
		sums, over, found := make([]float64, n), 0, 0
		for i := range sums {
			bad := shared != nil && r.Float64() < shared.Chance
			u := func() float64 {
				if shared == nil || r.Float64() >= shared.Strength {
					return r.Float64()
				}
				if bad {
					return 1 - r.Float64()*shared.Chance
				}
				return r.Float64() * (1 - shared.Chance)
			}
			for _, x := range in.Tasks {
				v, f := u(), (x.Likely-x.Low)/(x.High-x.Low)
				if v < f {
					sums[i] += x.Low + math.Sqrt(v*(x.High-x.Low)*(x.Likely-x.Low))
				} else {
					sums[i] += x.High - math.Sqrt((1-v)*(x.High-x.Low)*(x.High-x.Likely))
				}
			}
			any := false
			for _, f := range in.Finds {
				if u() > 1-f.Chance {
					sums[i] += f.Cost
					any = true
				}
			}
			if any {
				found++
			}
			if sums[i] > 700 {
				over++
			}
		}
		slices.Sort(sums)
		require.InDelta(t, total(sums)/n, out.Mean, 1)
		require.InDelta(t, sums[n/2], out.P50, 2)
		require.InDelta(t, sums[n*8/10], out.P80, 2)
		require.InDelta(t, sums[n*95/100], out.P95, 3)
		require.InDelta(t, float64(over)/n, *out.OverCeiling, 0.005)
		require.InDelta(t, float64(found)/n, out.AnyFind, 0.005)
	}
}

// A shared cause widens the sum and leaves its mean alone; the distribution is
// one, lies between the lowest and the highest sum, and its quantiles rise.
func TestCostProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var in CostInput
		number := rapid.IntRange(0, 300)
		low, high := 0.0, 0.0
		for i := range rapid.IntRange(1, 5).Draw(t, "tasks") {
			v := []float64{float64(number.Draw(t, "a")), float64(number.Draw(t, "b")), float64(number.Draw(t, "c"))}
			slices.Sort(v)
			in.Tasks = append(in.Tasks, CostTask{stateNames[i], v[0], v[1], v[2]})
			low, high = low+v[0], high+v[2]
		}
		for i := range rapid.IntRange(0, 3).Draw(t, "finds") {
			f := CostFind{"find-" + stateNames[i], float64(rapid.IntRange(0, 20).Draw(t, "chance")) / 20, float64(number.Draw(t, "cost"))}
			in.Finds = append(in.Finds, f)
			high += f.Cost
		}
		out, err := Cost(in)
		require.NoError(t, err)
		room := out.Step * float64(len(out.Items))
		require.InDelta(t, out.ExactMean, out.Mean, room)
		require.LessOrEqual(t, out.P50, out.P80)
		require.LessOrEqual(t, out.P80, out.P95)
		require.GreaterOrEqual(t, out.Points[0][0], low-room)
		require.LessOrEqual(t, out.Points[len(out.Points)-1][0], high+room)
		in.Shared = &CostShared{float64(rapid.IntRange(1, 19).Draw(t, "bad")) / 20, float64(rapid.IntRange(0, 20).Draw(t, "strength")) / 20}
		shared, err := Cost(in)
		require.NoError(t, err)
		require.InDelta(t, out.Mean, shared.Mean, 1e-6)
		require.GreaterOrEqual(t, shared.SD, out.SD-1e-6)
		require.LessOrEqual(t, shared.AnyFind, out.AnyFind+1e-9)
	})
}

func TestCostRefusals(t *testing.T) {
	for input, pointer := range map[string]string{
		`{"tasks":[{"id":"a","low":2,"likely":1,"high":3}]}`:                                          "/tasks/0",
		`{"tasks":[{"id":"a","low":-2,"likely":1,"high":3}]}`:                                         "/tasks/0/low",
		`{"tasks":[{"id":"a","low":1,"likely":1,"high":3}],"finds":[{"id":"a","chance":1,"cost":3}]}`: "/finds/0/id",
		`{"finds":[{"id":"a","chance":12,"cost":3}]}`:                                                 "/finds/0/chance",
		`{"finds":[{"id":"a","chance":1,"cost":-3}]}`:                                                 "/finds/0/cost",
		`{"finds":[{"id":"a","chance":1,"cost":3}],"step":0}`:                                         "/step",
		`{"finds":[{"id":"a","chance":1,"cost":1e9}],"step":0.001}`:                                   "/step",
		`{"finds":[{"id":"a","chance":1,"cost":1}],"ceiling":-1}`:                                     "/ceiling",
		`{"finds":[{"id":"a","chance":1,"cost":1}],"shared":{"chance":2,"strength":1}}`:               "/shared/chance",
	} {
		_, err := Run(MethodCost, []byte(input))
		refused(t, err, registry.CodeInvalid, pointer)
	}
	_, err := Run(MethodCost, []byte(`{}`))
	refused(t, err, registry.CodeInsufficient, "/tasks")
	_, err = Cost(CostInput{Tasks: []CostTask{{"a", 1, math.NaN(), 3}}})
	refused(t, err, registry.CodeInvalid, "/tasks/0/likely")
}
