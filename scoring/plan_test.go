package scoring

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

func amount(v float64) *float64 { return &v }

// Worked example: eight faults of a machine that is to be ridden again. Counts
// and query are from an independent second implementation.
func TestPlanRoad(t *testing.T) {
	in := read[PlanInput](t, "road.plan.json")
	out, err := Plan(in)
	require.NoError(t, err)
	c := out.Counts
	require.Equal(t, []int64{4800, 1560, 3240, 2484, 0, 756 - 69},
		[]int64{c.Combinations.Int64(), c.Infeasible.Int64(), c.Feasible.Int64(), c.Gated.Int64(), c.OverLimit.Int64(), c.Dominated.Int64()})
	require.Equal(t, 69, c.Front)
	require.Len(t, out.Front, 69)
	first := out.Front[0]
	last := slices.MaxFunc(out.Front, func(a, b PlanChoice) int { return cmp.Compare(a.Works, b.Works) })
	require.Equal(t, []float64{1.3, 289}, []float64{first.ForGood, first.Money})
	near(t, 0.063, first.Works, 3)
	require.Equal(t, []float64{10.6, 1180, 28}, []float64{last.ForGood, last.Money, last.Now})
	near(t, 0.846, last.Works, 3)

	in.Limits = PlanLimits{Money: amount(700), Hours: amount(30), Works: amount(0.60)}
	in.Pick = ByForGood
	out, err = Plan(in)
	require.NoError(t, err)
	won := out.Front[out.Pick.Plan]
	require.Equal(t, []float64{534, 21.4, 14, 9.1, 5.5}, []float64{won.Money, won.Hours, won.Lead, won.Now, won.ForGood})
	near(t, 0.634, won.Works, 3)
	require.Equal(t, Ordered[string]{{"magneto", "condenser"}, {"tank", "solder"}, {"tank-paint", "keep"}, {"front-brake", "reproduction-shoes"},
		{"exhaust-valve", "lap"}, {"guide", "gauge"}, {"tyres", "new"}, {"wiring", "leave"}}, won.Options)
	require.Equal(t, []string{"tank-off", "wheel-out", "points-cap", "head-off"}, won.Openings)
	require.Equal(t, 10, out.Counts.Front)
}

// point is a plan in the three things that it is judged by.
type point struct{ forGood, money, works string }

func points(front []PlanChoice) []point {
	out := []point{}
	for _, c := range front {
		out = append(out, point{number(c.ForGood), number(c.Money), number(c.Works)})
	}
	return out
}

// tenth rounds to the tenths that the tests calculate in.
func tenth(v float64) float64 { return math.Round(v*10)/10 + 0 }

// enumerated is the front by trying every combination, written from the
// definitions alone.
func enumerated(in PlanInput) (front []point, feasible, gated, within int) {
	type plan struct{ forGood, money, hours, lead, works float64 }
	opening := map[string]PlanOpening{}
	for _, o := range in.Openings {
		opening[o.ID] = o
	}
	var plans []plan
	choice := make([]int, len(in.Faults))
	var down func(i int)
	down = func(i int) {
		if i < len(in.Faults) {
			for choice[i] = range in.Faults[i].Options {
				down(i + 1)
			}
			return
		}
		p, chosen, open := plan{works: 1}, map[string]bool{}, map[string]bool{}
		var pay func(id string)
		pay = func(id string) {
			if o := opening[id]; !open[id] {
				open[id] = true
				p.money, p.hours, p.forGood, p.lead = p.money+o.Money, p.hours+o.Hours, p.forGood+o.ForGood, max(p.lead, o.Lead)
				for _, need := range o.Needs {
					pay(need)
				}
			}
		}
		dead := false
		for f, o := range choice {
			x := in.Faults[f].Options[o]
			chosen[in.Faults[f].ID+"/"+x.ID] = true
			p.money, p.hours, p.forGood, p.lead = p.money+x.Money, p.hours+x.Hours, p.forGood+x.ForGood, max(p.lead, x.Lead)
			if x.Works != nil {
				p.works *= *x.Works
				dead = dead || in.Faults[f].Mandatory && *x.Works == 0
			}
			for _, id := range x.Opens {
				pay(id)
			}
		}
		for f, o := range choice {
			for _, id := range in.Faults[f].Options[o].Requires {
				if !chosen[id] && !open[id] {
					return
				}
			}
			for _, id := range in.Faults[f].Options[o].Excludes {
				if chosen[id] || open[id] {
					return
				}
			}
		}
		feasible++
		if dead {
			gated++
			return
		}
		p = plan{tenth(p.forGood), tenth(p.money), tenth(p.hours), p.lead, digits12(p.works)}
		l := in.Limits
		if l.Money != nil && p.money > *l.Money || l.Hours != nil && p.hours > *l.Hours || l.Lead != nil && p.lead > *l.Lead || l.Works != nil && p.works < *l.Works {
			return
		}
		plans = append(plans, p)
	}
	down(0)
	front = []point{}
	for i, p := range plans {
		beaten := false
		for j, b := range plans {
			better := b.forGood < p.forGood || b.money < p.money || b.works > p.works
			beaten = beaten || b.forGood <= p.forGood && b.money <= p.money && b.works >= p.works && (better || j < i)
		}
		if !beaten {
			front = append(front, point{number(p.forGood), number(p.money), number(p.works)})
		}
	}
	return front, feasible, gated, len(plans)
}

// drawPlan makes a small plan with everything in it.
func drawPlan(r *rand.Rand) PlanInput {
	var in PlanInput
	some := func(n int) bool { return r.IntN(n) == 0 }
	for i := range r.IntN(6) {
		o := PlanOpening{ID: fmt.Sprint("opening-", i), Money: float64(r.IntN(12)), Hours: float64(r.IntN(50)) / 10, Lead: float64(r.IntN(4) * 7), ForGood: float64(r.IntN(20)) / 10}
		for j := range i {
			if some(3) {
				o.Needs = append(o.Needs, fmt.Sprint("opening-", j))
			}
		}
		in.Openings = append(in.Openings, o)
	}
	faults := 1 + r.IntN(6)
	options := make([]int, faults)
	for f := range options {
		options[f] = 1 + r.IntN(4)
	}
	for f, n := range options {
		fault := PlanFault{ID: fmt.Sprint("fault-", f), Mandatory: some(4)}
		for o := range n {
			x := PlanOption{ID: fmt.Sprint("option-", o), Money: float64(r.IntN(30)), Hours: float64(r.IntN(40)) / 10, Lead: float64(r.IntN(3) * 5),
				Now: float64(r.IntN(30)) / 10, ForGood: float64(r.IntN(34)-4) / 10}
			if !some(4) {
				x.Works = amount(float64(r.IntN(11)) / 10)
			}
			other := func() string {
				if g := r.IntN(faults); g != f {
					return fmt.Sprint("fault-", g, "/option-", r.IntN(options[g]))
				}
				if len(in.Openings) > 0 {
					return fmt.Sprint("opening-", r.IntN(len(in.Openings)))
				}
				return ""
			}
			for i := range in.Openings {
				if some(4) {
					x.Opens = append(x.Opens, fmt.Sprint("opening-", i))
				}
			}
			if id := other(); some(5) && id != "" {
				x.Requires = append(x.Requires, id)
			}
			if id := other(); some(4) && id != "" {
				x.Excludes = append(x.Excludes, id)
			}
			fault.Options = append(fault.Options, x)
		}
		in.Faults = append(in.Faults, fault)
	}
	if some(2) {
		in.Limits.Money = amount(float64(r.IntN(20 * faults)))
	}
	if some(2) {
		in.Limits.Hours = amount(float64(r.IntN(40*faults)) / 10)
	}
	if some(4) {
		in.Limits.Lead = amount(float64(r.IntN(22)))
	}
	if some(4) {
		in.Limits.Works = amount(float64(r.IntN(6)) / 10)
	}
	in.Pick = []string{"", ByForGood, ByMoney, ByWorks}[r.IntN(4)]
	return in
}

// Small random plans against the enumeration.
func TestPlanEqualsEnumeration(t *testing.T) {
	r := rand.New(rand.NewPCG(1957, 350))
	answered, limited, fronts := 0, 0, 0
	for answered < 400 {
		in := drawPlan(r)
		out, err := Plan(in)
		front, feasible, gated, within := enumerated(in)
		if err != nil {
			var e *registry.Error
			require.ErrorAs(t, err, &e)
			if feasible > 0 && !strings.Contains(e.Message, "This option excludes what it needs") {
				t.Fatalf("refused though %d plans are feasible: %v\n%s", feasible, err, text(t, in))
			}
			continue
		}
		answered++
		require.ElementsMatch(t, front, points(out.Front), text(t, in))
		c := out.Counts
		require.Equal(t, []int64{int64(feasible), int64(gated), int64(feasible - gated - within), int64(within - len(front))},
			[]int64{c.Feasible.Int64(), c.Gated.Int64(), c.OverLimit.Int64(), c.Dominated.Int64()}, text(t, in))
		if c.OverLimit.Sign() > 0 {
			limited++
		}
		if len(front) > 3 {
			fronts++
		}
		for _, p := range out.Front {
			onePlan(t, in, p)
		}
		if in.Pick != "" && len(front) > 0 {
			for i := range out.Front {
				require.GreaterOrEqual(t, prefer(in.Pick, &out.Front[i], &out.Front[out.Pick.Plan]), 0)
			}
		}
	}
	require.Greater(t, limited, 50)
	require.Greater(t, fronts, 50)
}

// onePlan checks the figures of a plan by planning with its options alone.
func onePlan(t *testing.T, in PlanInput, want PlanChoice) {
	alone := PlanInput{Openings: in.Openings}
	for i, f := range in.Faults {
		for _, o := range f.Options {
			if o.ID == want.Options[i].Value {
				o.Requires, o.Excludes = nil, nil
				alone.Faults = append(alone.Faults, PlanFault{ID: f.ID, Options: []PlanOption{o}})
			}
		}
	}
	got, err := Plan(alone)
	require.NoError(t, err)
	require.Equal(t, []PlanChoice{want}, got.Front)
	front, _, _, _ := enumerated(alone)
	require.Equal(t, front, points(got.Front))
}

// The order of faults, options and openings in the input changes no front.
func TestPlanDoesNotDependOnOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(1958, 11))
	for answered := 0; answered < 100; {
		in := drawPlan(r)
		out, err := Plan(in)
		if err != nil {
			continue
		}
		answered++
		slices.Reverse(in.Faults)
		slices.Reverse(in.Openings)
		for i := range in.Faults {
			slices.Reverse(in.Faults[i].Options)
		}
		again, err := Plan(in)
		require.NoError(t, err)
		require.Equal(t, points(out.Front), points(again.Front))
		require.Equal(t, out.Counts.Feasible, again.Counts.Feasible)
	}
}

func checkValues(t testing.TB, name string, to any) {
	raw, err := os.ReadFile(filepath.Join("..", "testdata", "checkvalues", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, to))
}

// knapsack turns "pack what profits most" into "lose least": each item is a
// fault, to take it costs its weight in hours, to leave it costs its first
// profit in points for good and its second in money; the capacity is the limit
// on hours.
func knapsack(weights, profit, second []float64, capacity float64) PlanInput {
	in := PlanInput{Limits: PlanLimits{Hours: &capacity}}
	for i, w := range weights {
		leave := PlanOption{ID: "leave", ForGood: profit[i], Now: profit[i]}
		if second != nil {
			leave.Money = second[i]
		}
		in.Faults = append(in.Faults, PlanFault{ID: fmt.Sprint("item-", i), Options: []PlanOption{{ID: "take", Hours: w}, leave}})
	}
	return in
}

func total(v []float64) (sum float64) {
	for _, x := range v {
		sum += x
	}
	return sum
}

// Published fronts of two bi-objective knapsacks of 50 items: vOptLib (MIT
// licence), instances of Gandibleux and Fréville 2000.
func TestPlanBiObjectiveKnapsack(t *testing.T) {
	for _, name := range []string{"voptlib_2KP50-11.json", "voptlib_2KP50-92.json"} {
		var v struct {
			C1, C2, W []float64
			Capacity  float64 `json:"-"`
			Pareto    [][2]float64
		}
		var raw map[string]json.RawMessage
		checkValues(t, name, &raw)
		for key, to := range map[string]any{"c1": &v.C1, "c2": &v.C2, "w": &v.W, "W": &v.Capacity, "pareto": &v.Pareto} {
			require.NoError(t, json.Unmarshal(raw[key], to))
		}
		result, err := Run(MethodPlan, []byte(text(t, knapsack(v.W, v.C1, v.C2, v.Capacity))))
		require.NoError(t, err)
		var out PlanResult
		require.NoError(t, json.Unmarshal(result, &out))
		var got [][2]float64
		for _, p := range out.Front {
			got = append(got, [2]float64{total(v.C1) - p.ForGood, total(v.C2) - p.Money})
		}
		require.ElementsMatch(t, v.Pareto, got)
		require.Nil(t, out.Counts.Dominated, "2^50 combinations are not counted one by one")
		require.Equal(t, "1125899906842624", out.Counts.Combinations.String())
	}
}

// Published optima of 0/1 knapsacks of 5 to 24 items (Florida State University,
// data set KNAPSACK_01, and the 22 items of Rosetta Code).
func TestPlanKnapsack(t *testing.T) {
	var all map[string]struct {
		Capacity         float64
		Weights, Profits []float64
		Optimum, Weight  float64
	}
	checkValues(t, "knapsack01.json", &all)
	require.Len(t, all, 9)
	for name, k := range all {
		out, err := Plan(knapsack(k.Weights, k.Profits, nil, k.Capacity))
		require.NoError(t, err, name)
		require.Len(t, out.Front, 1, name)
		require.Equal(t, []float64{k.Optimum, k.Weight}, []float64{total(k.Profits) - out.Front[0].ForGood, out.Front[0].Hours}, name)
	}
}

// An integer program finds the least weighted sum of loss, money and −log of
// the chance, for one set of weights at a time. Each answer must lie on the
// front, and most of the front is never found so: it lies off the hull.
func TestPlanAgainstIntegerProgramming(t *testing.T) {
	solver, err := exec.LookPath("glpsol")
	if err != nil {
		t.Skip("glpsol is not installed")
	}
	in := read[PlanInput](t, "road.plan.json")
	out, err := Plan(in)
	require.NoError(t, err)
	found := map[point]bool{}
	for _, weights := range [][2]float64{{1, 1}, {10, 1}, {60, 1}, {1, 300}, {10, 300}, {40, 300}, {100, 300}, {1, 1000}, {30, 1000}, {100, 1000},
		{30, 3000}, {200, 3000}, {1, 3000}} {
		file, answer := filepath.Join(t.TempDir(), "plan.lp"), filepath.Join(t.TempDir(), "answer.txt")
		require.NoError(t, os.WriteFile(file, []byte(program(in, weights[0], weights[1])), 0o600))
		log, err := exec.Command(solver, "--lp", file, "-o", answer).CombinedOutput()
		require.NoError(t, err, "%s", log)
		solution, err := os.ReadFile(answer)
		require.NoError(t, err)
		alone := PlanInput{Openings: in.Openings}
		for f, fault := range in.Faults {
			for o, option := range fault.Options {
				if regexp.MustCompile(fmt.Sprintf(`(?m)^ *[0-9]+ x%d_%d +\* +1 `, f, o)).Match(solution) {
					option.Requires, option.Excludes = nil, nil
					alone.Faults = append(alone.Faults, PlanFault{ID: fault.ID, Options: []PlanOption{option}})
				}
			}
		}
		require.Len(t, alone.Faults, len(in.Faults), "%s", solution)
		one, err := Plan(alone)
		require.NoError(t, err)
		found[points(one.Front)[0]] = true
	}
	for p := range found {
		require.Contains(t, points(out.Front), p)
	}
	require.Greater(t, len(found), 5)
	require.Less(t, len(found), len(out.Front)/2)
}

// program writes a plan as an integer program in CPLEX LP format.
func program(in PlanInput, perPoint, perLog float64) string {
	var b strings.Builder
	var aim, rules, names []string
	name := map[string]string{}
	use := func(n string, forGood, money, works float64) {
		aim, names = append(aim, fmt.Sprintf("%+.9f %s", perPoint*forGood+money-perLog*math.Log(works), n)), append(names, n)
	}
	for i, o := range in.Openings {
		name[o.ID] = fmt.Sprint("y", i)
		use(name[o.ID], o.ForGood, o.Money, 1)
	}
	for f, fault := range in.Faults {
		var one []string
		for o, x := range fault.Options {
			n, works := fmt.Sprintf("x%d_%d", f, o), 1.0
			name[fault.ID+"/"+x.ID] = n
			if x.Works != nil {
				works = max(*x.Works, 1e-9)
			}
			use(n, x.ForGood, x.Money, works)
			one = append(one, n)
			if fault.Mandatory && works == 1e-9 {
				rules = append(rules, n+" = 0")
			}
		}
		rules = append(rules, strings.Join(one, " + ")+" = 1")
	}
	for _, o := range in.Openings {
		for _, need := range o.Needs {
			rules = append(rules, name[o.ID]+" - "+name[need]+" <= 0")
		}
	}
	for _, fault := range in.Faults {
		for _, x := range fault.Options {
			n := name[fault.ID+"/"+x.ID]
			for _, id := range append(slices.Clone(x.Opens), x.Requires...) {
				rules = append(rules, n+" - "+name[id]+" <= 0")
			}
			for _, id := range x.Excludes {
				rules = append(rules, n+" + "+name[id]+" <= 1")
			}
		}
	}
	fmt.Fprintf(&b, "Minimize\n aim: %s\nSubject To\n", strings.Join(aim, " "))
	for i, r := range rules {
		fmt.Fprintf(&b, " r%d: %s\n", i, r)
	}
	fmt.Fprintf(&b, "Binary\n %s\nEnd\n", strings.Join(names, " "))
	return b.String()
}

// The picked plan and the reasons are words for people; this pins them.
func TestPlanExplains(t *testing.T) {
	in := read[PlanInput](t, "road.plan.json")
	in.Limits = PlanLimits{Money: amount(700), Hours: amount(30), Works: amount(0.60)}
	in.Pick = ByForGood
	out, err := Plan(in)
	require.NoError(t, err)
	require.Equal(t, []string{
		"Of 10 plans on the front this one loses least for good: 5.5 points for good, 9.1 points now, money 534, 21.4 h of work, 14 days of waiting, chance that all works 63 %.",
		"The next (plan 1) lost: 0.1 points more for good, 26 more money, 3.5 h more work, for a larger chance (0.662 against 0.634). It differs in wiring: repair instead of leave.",
		"The next (plan 2) lost: 1.1 points more for good, 18 more money, 0.8 h more work, for a larger chance (0.654 against 0.634). It differs in front-brake: reline instead of reproduction-shoes.",
		"The cheapest (plan 4) lost: 4.3 points more for good, a smaller chance (0.613 against 0.634), for 46 less money, 0.4 h less work. It differs in tank: liner instead of solder.",
		"The surest (plan 9) lost: 6.8 points more for good, 151 more money, 5.2 h more work, for a larger chance (0.693 against 0.634). It differs in magneto: donor instead of condenser, tank: liner instead of solder, wiring: repair instead of leave.",
		"Without the limit on money (700) the best would be 4.5 points for good, 21 points now, money 748, 21.8 h of work, 14 days of waiting, chance that all works 67 %. It is 48 over.",
		"Without the limit on work (30 h) nothing better would be found: the limit costs nothing.",
		"Without the limit on the chance (0.6) the best would be 1.3 points for good, 1.4 points now, money 289, 13.4 h of work, 0 days of waiting, chance that all works 6 %. It is 0.537 short.",
	}, out.Pick.Explain)

	in.Limits = PlanLimits{Money: amount(200), Lead: amount(10)}
	in.Pick = ByWorks
	out, err = Plan(in)
	require.NoError(t, err)
	require.Empty(t, out.Front)
	require.Equal(t, -1, out.Pick.Plan)
	require.Equal(t, "No plan keeps all the limits.", out.Pick.Explain[0])
	require.Contains(t, out.Pick.Explain[1], "Without the limit on money (200) the best would be")
	require.Equal(t, "Without the limit on waiting (10 days) there would still be no plan.", out.Pick.Explain[2])
}

// Limits on money and chance cut the front and change nothing else, although
// they throw partial plans away early.
func TestPlanLimitsCutTheFront(t *testing.T) {
	in := wholeMachine(14, 6, 3)
	r := rand.New(rand.NewPCG(1959, 10))
	for f := range in.Faults {
		for o := 1; o < len(in.Faults[f].Options); o++ {
			x := &in.Faults[f].Options[o]
			x.Money += float64(r.IntN(100)) / 100
			x.ForGood = math.Round(x.ForGood / 4)
		}
	}
	all, err := Plan(in)
	require.NoError(t, err)
	for range 6 {
		limit := all.Front[r.IntN(len(all.Front))]
		var want []point
		for _, p := range all.Front {
			if p.Money <= limit.Money && p.Works >= limit.Works {
				want = append(want, points([]PlanChoice{p})...)
			}
		}
		in.Limits = PlanLimits{Money: &limit.Money, Works: &limit.Works}
		out, err := Plan(in)
		require.NoError(t, err)
		require.Equal(t, want, points(out.Front))
	}
}

// A bound that is thinned never asks for more than is needed.
func TestPlanBoundIsThinnedOnTheSideOfHope(t *testing.T) {
	fault := PlanFault{ID: "fault"}
	for o := range 50 {
		fault.Options = append(fault.Options, PlanOption{ID: fmt.Sprint("option-", o), Money: float64(o), Works: amount(0.995 + float64(o)/10000)})
	}
	q, err := readPlan(PlanInput{Faults: []PlanFault{fault}})
	require.NoError(t, err)
	w := q.walk(q.options(true, noLimits().lead), true)
	var after, whole stairs
	for i := range 150 { // 150 × 50 stairs, none of which another makes needless
		after = append(after, stair{int64(50 * i), 0.2 * math.Pow(1.01, float64(i))})
	}
	for _, s := range after {
		for o := range 50 {
			whole = append(whole, stair{s.money + int64(o), s.works * (0.995 + float64(o)/10000)})
		}
	}
	thin := w.bound(after, 0, noLimits().money, func(x *planOption) int64 { return x.money })
	for i := 0; i < len(thin); i++ {
		require.True(t, i == 0 || thin[i].works > thin[i-1].works && thin[i].money > thin[i-1].money)
	}
	for _, s := range whole {
		m, ok := thin.least(s.works)
		require.True(t, ok)
		require.LessOrEqual(t, m, s.money)
	}
	_, ok := thin.least(0.95)
	require.False(t, ok)
	require.LessOrEqual(t, len(thin), maxBound)
	require.Greater(t, len(thin), maxBound/2)
}

// A limit on waiting is a limit on the longest wait, not on the sum.
func TestPlanLeadIsTheLongestWait(t *testing.T) {
	in := PlanInput{Faults: []PlanFault{
		{ID: "seat", Options: []PlanOption{{ID: "sent-away", Lead: 8}}},
		{ID: "valve", Options: []PlanOption{{ID: "lap", Opens: []string{"head"}}, {ID: "soak", Money: 5}}}},
		Openings: []PlanOpening{{ID: "tank", Lead: 12}, {ID: "head", Lead: 3, Needs: []string{"tank"}}}, Limits: PlanLimits{Lead: amount(12)}}
	out, err := Plan(in)
	require.NoError(t, err)
	require.Equal(t, 12.0, out.Front[0].Lead)
	in.Limits.Lead = amount(11)
	out, err = Plan(in)
	require.NoError(t, err)
	require.Equal(t, []string{"soak"}, []string{out.Front[0].Options[1].Value})
	require.Equal(t, 8.0, out.Front[0].Lead)
}

// What would not be exact is refused in so many words, never shortened.
func TestPlanTooLarge(t *testing.T) {
	q, err := readPlan(wholeMachine(60, 12, 1))
	require.NoError(t, err)
	_, err = q.front(noLimits(), 100_000)
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
	require.ErrorContains(t, err, "partial plans")

	// Each of eight faults has ten plans that none dominates, each a hundred
	// times the last: 10^8 on the front.
	var in PlanInput
	for f, unit := 0, 1.0; f < 8; f, unit = f+1, unit*10 {
		fault := PlanFault{ID: fmt.Sprint("fault-", f)}
		for o := range 10 {
			fault.Options = append(fault.Options, PlanOption{ID: fmt.Sprint("option-", o), Money: float64(o) * unit, ForGood: float64(9-o) * unit})
		}
		in.Faults = append(in.Faults, fault)
	}
	in.Faults = in.Faults[:5]
	_, err = Plan(in)
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
	require.ErrorContains(t, err, "The front has 100 000 plans; at most 20 000")

	// Sixteen faults, each of which bears on its own one of sixteen others and,
	// by an opening that must stay shut, on all others.
	in = PlanInput{}
	for f := range 32 {
		fault := PlanFault{ID: fmt.Sprint("fault-", f), Options: []PlanOption{{ID: "a"}, {ID: "b"}, {ID: "c"}}}
		for g := 16; f < 16 && g < 32; g++ {
			fault.Options[0].Excludes = append(fault.Options[0].Excludes, fmt.Sprint("fault-", g, "/", string("ab"[(g>>(f%4))%2])))
			if g-16 == f {
				fault.Options[1].Excludes = append(fault.Options[1].Excludes, fmt.Sprint("fault-", g, "/c"))
			}
		}
		in.Faults = append(in.Faults, fault)
	}
	_, err = Plan(in)
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
	require.ErrorContains(t, err, "more than 20 000 situations")
}

// Hours that are limited count while plans are compared, or the only plan that
// fits would be thrown away: here the cheaper way leaves no time for the rest.
func TestPlanHoursCountWhenLimited(t *testing.T) {
	in := PlanInput{Faults: []PlanFault{
		{ID: "tank", Options: []PlanOption{{ID: "by-hand", Money: 10, Hours: 9}, {ID: "sent-away", Money: 90, Hours: 1}}},
		{ID: "loom", Options: []PlanOption{{ID: "repair", Money: 5, Hours: 4}}}}, Limits: PlanLimits{Hours: amount(6)}}
	out, err := Plan(in)
	require.NoError(t, err)
	require.Len(t, out.Front, 1)
	require.Equal(t, "sent-away", out.Front[0].Options[0].Value)
	require.Equal(t, int64(1), out.Counts.OverLimit.Int64())
	in.Limits = PlanLimits{}
	out, err = Plan(in)
	require.NoError(t, err)
	require.Len(t, out.Front, 1)
	require.Equal(t, "by-hand", out.Front[0].Options[0].Value)

	// A limit that is just met is met.
	in.Limits = PlanLimits{Money: amount(95), Hours: amount(5), Lead: amount(0), Works: amount(1)}
	out, err = Plan(in)
	require.NoError(t, err)
	require.Len(t, out.Front, 1)
}

func TestPlanRefusals(t *testing.T) {
	for _, c := range []struct{ name, input, pointer, says string }{
		{"nothing", `{"faults":[]}`, "/faults", "nothing to plan"},
		{"no option", `{"faults":[{"id":"f","options":[]}]}`, "/faults/0/options", "no option"},
		{"negative cost", `{"faults":[{"id":"f","options":[{"id":"a","money":-1}]}]}`, "/faults/0/options/0/money", "never negative"},
		{"negative hours", `{"faults":[{"id":"f","options":[{"id":"a","hours":-0.5}]}]}`, "/faults/0/options/0/hours", "never negative"},
		{"negative opening", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"openings":[{"id":"o","for_good":-1}]}`, "/openings/0/for_good", "never negative"},
		{"negative limit", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"limits":{"lead":-1}}`, "/limits/lead", "never negative"},
		{"too large", `{"faults":[{"id":"f","options":[{"id":"a","money":1e12}]}]}`, "/faults/0/options/0/money", "out of range"},
		{"too fine", `{"faults":[{"id":"f","options":[{"id":"a","money":0.1234567}]}]}`, "/faults/0/options/0/money", "too many digits"},
		{"works above 1", `{"faults":[{"id":"f","options":[{"id":"a","works":1.1}]}]}`, "/faults/0/options/0/works", "between 0 and 1"},
		{"works below 0", `{"faults":[{"id":"f","options":[{"id":"a","works":-0.1}]}]}`, "/faults/0/options/0/works", "between 0 and 1"},
		{"limit above 1", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"limits":{"works":60}}`, "/limits/works", "between 0 and 1"},
		{"an opening that needs itself", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"openings":[{"id":"o","needs":["o"]}]}`, "/openings/0/needs", "needs itself"},
		{"openings in a circle", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"openings":[{"id":"o","needs":["p"]},{"id":"p","needs":["o"]}]}`, "/openings/0/needs", `by way of "p"`},
		{"unknown opening", `{"faults":[{"id":"f","options":[{"id":"a","opens":["o"]}]}]}`, "/faults/0/options/0/opens/0", "no such opening"},
		{"unknown need", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"openings":[{"id":"o","needs":["x"]}]}`, "/openings/0/needs/0", "no such opening"},
		{"unknown option", `{"faults":[{"id":"f","options":[{"id":"a","requires":["g/b"]}]}]}`, "/faults/0/options/0/requires/0", "no such option"},
		{"its own fault", `{"faults":[{"id":"f","options":[{"id":"a","excludes":["f/b"]},{"id":"b"}]}]}`, "/faults/0/options/0/excludes/0", "one option only"},
		{"excludes what it opens", `{"faults":[{"id":"f","options":[{"id":"a","opens":["o"],"excludes":["o"]}]}],"openings":[{"id":"o"}]}`, "/faults/0/options/0/excludes", "excludes what it needs"},
		{"two faults", `{"faults":[{"id":"f","options":[{"id":"a"}]},{"id":"f","options":[{"id":"a"}]}]}`, "/faults/1/id", "twice"},
		{"two options", `{"faults":[{"id":"f","options":[{"id":"a"},{"id":"a"}]}]}`, "/faults/0/options/1/id", "twice"},
		{"two openings", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"openings":[{"id":"o"},{"id":"o"}]}`, "/openings/1/id", "twice"},
		{"a stroke", `{"faults":[{"id":"f/g","options":[{"id":"a"}]}]}`, "/faults/0/id", "joins fault and option"},
		{"unknown aim", `{"faults":[{"id":"f","options":[{"id":"a"}]}],"pick":"speed"}`, "/pick", "not picked"},
		{"not a number", `{"faults":[{"id":"f","options":[{"id":"a","money":NaN}]}]}`, "", "not JSON"},
		{"impossible fault", `{"faults":[{"id":"f","options":[{"id":"a","excludes":["g/x"]},{"id":"b","requires":["g/y"]}]},{"id":"g","options":[{"id":"x","excludes":["f/b"]}]}]}`,
			"/faults/0/options/1/requires/0", "no such option"},
		{"excluded pair", `{"faults":[{"id":"f","options":[{"id":"a","excludes":["g/x"]},{"id":"b","excludes":["g/x"]}]},{"id":"g","options":[{"id":"x"}]}]}`,
			"/faults/0/options", `"f" can be taken`},
		{"required away", `{"faults":[{"id":"f","options":[{"id":"a","requires":["o"]}]}],"openings":[{"id":"o"}]}`, "/faults", "No combination"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Run(MethodPlan, []byte(c.input))
			refused(t, err, registry.CodeInvalid, c.pointer)
			require.Contains(t, err.Error(), c.says)
		})
	}
	_, err := Run(MethodPlan, []byte(`{"faults":[{"id":"f","options":[{"id":"a","excludes":["g/x"]},{"id":"b","excludes":["g/x"]}]},{"id":"g","options":[{"id":"x"}]}]}`))
	require.ErrorContains(t, err, `"f/a" goes with no option of "g": not "x"; "f/b" goes with no option of "g": not "x"`)
	_, err = Plan(PlanInput{Faults: []PlanFault{{ID: "f", Options: []PlanOption{{ID: "a", Money: math.NaN()}}}}})
	refused(t, err, registry.CodeInvalid, "/faults/0/options/0/money")
	_, err = Plan(PlanInput{Faults: []PlanFault{{ID: "f", Options: []PlanOption{{ID: "a", Works: amount(math.NaN())}}}}})
	refused(t, err, registry.CodeInvalid, "/faults/0/options/0/works")
}

// An option of another fault is named by its own name, or with its fault where
// several faults have one of that name.
func TestPlanNamesOptionsShortly(t *testing.T) {
	input := func(excludes string) string {
		return `{"faults":[
		 {"id":"a","options":[{"id":"x","money":1,"excludes":["` + excludes + `"]},{"id":"leave","works":0.5}]},
		 {"id":"b","options":[{"id":"y","money":2},{"id":"leave","works":0.5}]},
		 {"id":"c","options":[{"id":"leave"}]}]}`
	}
	short, err := Run(MethodPlan, []byte(input("y")))
	require.NoError(t, err)
	long, err := Run(MethodPlan, []byte(input("b/y")))
	require.NoError(t, err)
	require.Equal(t, string(long), string(short))
	_, err = Run(MethodPlan, []byte(input("leave")))
	require.ErrorContains(t, err, "Several faults have an option of this name")
	_, err = Run(MethodPlan, []byte(input("z")))
	require.ErrorContains(t, err, "There is no such option or opening")
}

// Which pair keeps every plan from being made is said.
func TestPlanNamesThePairThatShutsEverythingOut(t *testing.T) {
	_, err := Run(MethodPlan, []byte(`{"faults":[{"id":"a","options":[{"id":"x","excludes":["y"]}]},{"id":"b","options":[{"id":"y"}]}]}`))
	require.Error(t, err)
	require.ErrorContains(t, err, `"a/x" goes with no option of "b": not "y"`)
}
