package scoring

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// wholeMachine is a plan of the size of a whole machine: faults with six
// options each and twelve shared openings, most faults behind one of two
// neighbouring openings, and some that require or exclude a neighbour's option.
// Options that cost more lose less or work better, as they do in a workshop.
func wholeMachine(faults, openings int, seed uint64) PlanInput {
	r := rand.New(rand.NewPCG(seed, 60))
	var in PlanInput
	for i := range openings {
		o := PlanOpening{ID: fmt.Sprint("opening-", i), Money: float64(5 * r.IntN(5)), Hours: float64(1+r.IntN(8)) / 2, ForGood: float64(r.IntN(3)) / 2}
		if i%4 == 3 {
			o.Needs = []string{fmt.Sprint("opening-", i-1)}
		}
		in.Openings = append(in.Openings, o)
	}
	for f := range faults {
		fault := PlanFault{ID: fmt.Sprint("fault-", f), Options: []PlanOption{{ID: "leave", Works: amount(math.Round(100-40*r.Float64()*r.Float64()) / 100)}}}
		near := f * openings / faults
		for o := 1; o < 6; o++ {
			x := PlanOption{ID: fmt.Sprint("option-", o), Money: float64(5 * (1 + r.IntN(3*o*o))), Hours: float64(1+r.IntN(8)) / 2,
				ForGood: float64(r.IntN(16-2*o)) / 2, Works: amount(math.Round(100-float64(12-2*o)*r.Float64()) / 100)}
			x.Now = x.ForGood + float64(r.IntN(6))/2
			if o > 1 {
				x.Opens = []string{fmt.Sprint("opening-", min(near+r.IntN(2), openings-1))}
			}
			if f > 0 && o == 3 && f%5 == 0 {
				x.Excludes = []string{fmt.Sprint("fault-", f-1, "/option-", 2)}
			}
			if f > 0 && o == 4 && f%7 == 0 {
				x.Requires = []string{fmt.Sprint("fault-", f-1, "/option-", 5)}
			}
			fault.Options = append(fault.Options, x)
		}
		in.Faults = append(in.Faults, fault)
	}
	return in
}

func BenchmarkPlanRoad(b *testing.B) {
	in := read[PlanInput](b, "road.plan.json")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Plan(in); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlanWhole(b *testing.B) {
	for _, c := range []struct {
		faults              int
		money, works, hours float64
	}{{10, 0, 0, 0}, {20, 0, 0, 0}, {30, 1200, 0.6, 0}, {60, 2000, 0.3, 0}, {60, 1200, 0.3, 0}, {60, 1200, 0.3, 100}, {60, 0, 0, 0}} {
		b.Run(fmt.Sprint(c), func(b *testing.B) {
			in := wholeMachine(c.faults, 12, 1)
			if c.money > 0 {
				in.Limits = PlanLimits{Money: &c.money, Works: &c.works}
			}
			if c.hours > 0 {
				in.Limits.Hours = &c.hours
			}
			b.ReportAllocs()
			for b.Loop() {
				out, err := Plan(in)
				b.ReportMetric(float64(len(out.Front)), "plans")
				if err != nil {
					b.Log(err)
				}
			}
		})
	}
}
