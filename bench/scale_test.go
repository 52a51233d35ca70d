package bench

import (
	"container/heap"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What docs/scale.md assumes of ten million machines. Nothing of it was
// measured; the document says so, and says what hangs on it.
const (
	planMachines  = 10_000_000
	planParts     = 40    // partitions
	eventsTakenIn = 200   // events of a machine's survey
	eventsAYear   = 30    // events of a machine in each later year
	pagesAYear    = 100   // pages looked at of each machine
	secondsAYear  = 7.2e6 // 2,000 working hours
	peak          = 5.0   // times the mean, in the busiest hour
	freshShare    = 0.1   // of the pages are asked for first after a change
	photosEach    = 60    // of a machine
	photoMB       = 3.0   // each, with its preview
	ssdPrice      = 0.10  // a gigabyte and month, in whatever money
	objectPrice   = 0.02  // the same for stores of large objects
)

// committer is the engine's writer: it takes whatever waits, up to a limit, and
// writes it as one group.
type committer struct {
	fixed, each float64 // seconds a group takes, and each record in it more
	most        int
}

// waits simulates writers that come by chance, and gives how long each of them
// waited for its acknowledgement, in seconds.
func (c committer) waits(rnd *rand.Rand, perSecond float64, n int) []float64 {
	arrivals, at := make([]float64, n), 0.0
	for i := range arrivals {
		at += rnd.ExpFloat64() / perSecond
		arrivals[i] = at
	}
	out := make([]float64, 0, n)
	free := 0.0
	for next := 0; next < n; {
		begin := max(free, arrivals[next])
		group := next
		for group < n && group-next < c.most && arrivals[group] <= begin {
			group++
		}
		free = begin + c.fixed + c.each*float64(group-next)
		for ; next < group; next++ {
			out = append(out, free-arrivals[next])
		}
	}
	return out
}

// freeAt are the moments at which processors are free, as a heap.
type freeAt []float64

func (f freeAt) Len() int           { return len(f) }
func (f freeAt) Less(i, j int) bool { return f[i] < f[j] }
func (f freeAt) Swap(i, j int)      { f[i], f[j] = f[j], f[i] }
func (f *freeAt) Push(x any)        { *f = append(*f, x.(float64)) }
func (f *freeAt) Pop() any {
	last := len(*f) - 1
	x := (*f)[last]
	*f = (*f)[:last]
	return x
}

// timesThere simulates readers that come by chance to processors that work through
// one line, and gives how long each was there, in seconds. service gives the
// time that one takes.
func timesThere(rnd *rand.Rand, perSecond float64, processors, n int, service func() float64) []float64 {
	free := make(freeAt, processors)
	heap.Init(&free)
	out, at := make([]float64, n), 0.0
	for i := range out {
		at += rnd.ExpFloat64() / perSecond
		done := max(at, free[0]) + service()
		free[0] = done
		heap.Fix(&free, 0)
		out[i] = done - at
	}
	return out
}

// estimate is the mean of several simulations and the half width of its 95 %
// interval, by Student's t with nine degrees of freedom (2.262).
type estimate struct{ mean, half float64 }

const simulations = 10

func simulated(one func(rnd *rand.Rand) float64) estimate {
	var values [simulations]float64
	e := estimate{}
	for k := range values {
		values[k] = one(rand.New(rand.NewPCG(uint64(k), 17)))
		e.mean += values[k] / simulations
	}
	for _, v := range values {
		e.half += (v - e.mean) * (v - e.mean)
	}
	e.half = 2.262 * math.Sqrt(e.half/(simulations-1)/simulations)
	return e
}

func (e estimate) String() string {
	return fmt.Sprintf("%s (%s to %s)", figureWords(e.mean), figureWords(max(e.mean-e.half, 0)), figureWords(e.mean+e.half))
}

func quantileOf(v []float64, share float64) float64 {
	slices.Sort(v)
	return v[min(len(v)-1, int(share*float64(len(v))))]
}

// committerOf fits the writer to the appends a second at one writer and at 256
// that wait for it together.
func committerOf(one, many float64) committer {
	each := max((256/many-1/one)/255, 0)
	return committer{fixed: 1/one - each, each: each, most: 256}
}

// measureScale computes what ten million machines would ask for from the
// figures measured before it.
func measureScale(t *testing.T, x *results) {
	f := x.figures
	perPart := float64(planMachines) / planParts
	f["ledger_tb"] = float64(planMachines) * (eventsTakenIn + 10*eventsAYear) * f["event_bytes"] / 1e12
	f["ledger_part_gb"] = f["ledger_tb"] * 1000 / planParts
	f["photos_tb"] = planMachines * photosEach * photoMB / 1e6
	f["photos_share"] = 100 * f["photos_tb"] / (f["photos_tb"] + f["ledger_tb"])
	f["cost_ledger"] = f["ledger_tb"] * 1000 * ssdPrice * 12
	f["cost_photos"] = f["photos_tb"] * 1000 * objectPrice * 12
	f["cost_machine"] = (f["cost_ledger"] + f["cost_photos"]) / planMachines
	f["writes_s"] = float64(planMachines) * eventsAYear / secondsAYear
	f["writes_peak_s"] = f["writes_s"] * peak
	f["writes_part_peak_s"] = f["writes_peak_s"] / planParts
	f["pages_peak_s"] = float64(planMachines) * pagesAYear / secondsAYear * peak
	f["pages_part_peak_s"] = f["pages_peak_s"] / planParts
	f["rebuild_one_h"] = planMachines * f["rebuild_ms"] / 1000 / 3600
	f["rebuild_part_min"] = perPart * f["rebuild_ms"] / 1000 / 60
	f["fold_one_h"] = planMachines * f["fold_ms"] / 1000 / 3600
	f["rescore_one_s"] = planMachines * f["rescore_us"] / 1e6
	f["rescore_part_s"] = perPart * f["rescore_us"] / 1e6
	// A search looks at two bytes of every machine for each word; it is the page
	// that leaves its 50 ms first. What it takes among a few comes before.
	f["search_breaks_at"] = 1000 * max(50-f["search_ms"], 0) / f["search_us_machine"]
	f["search_part_ms"] = f["search_ms"] + perPart*f["search_us_machine"]/1000
	f["writer_breaks_at"] = f["appends_64"] / (eventsAYear / secondsAYear * peak)
	f["survey_machines_s"] = f["import_rows_s"] / eventsTakenIn
	f["intake_days"] = planMachines / f["survey_machines_s"] / 86400

	c := committerOf(1000/f["append_1_ms"], f["appends_256"])
	f["group_fixed_ms"], f["group_each_us"] = c.fixed*1000, c.each*1e6
	n := sized(2_000, 100_000)
	var b strings.Builder
	b.WriteString("\n| writes a second to one partition | of what it can take | half acknowledged within, ms | 99 of 100 within, ms |\n| --- | --- | --- | --- |\n")
	most := 256 / (c.fixed + 256*c.each)
	for _, rate := range []float64{f["writes_part_peak_s"], 10 * f["writes_part_peak_s"], 0.5 * most, 0.9 * most} {
		at := func(share float64) estimate {
			return simulated(func(rnd *rand.Rand) float64 { return 1000 * quantileOf(c.waits(rnd, rate, n), share) })
		}
		fmt.Fprintf(&b, "| %s | %.1f %% | %s | %s |\n", figureWords(rate), 100*rate/most, at(0.5), at(0.99))
	}
	x.texts["simulated_writes"] = b.String()
	b.Reset()
	service := func(rnd *rand.Rand) func() float64 {
		return func() float64 {
			mean := f["page_ms"]
			if rnd.Float64() < freshShare {
				mean = f["page_first_ms"]
			}
			return mean / 1000 * rnd.ExpFloat64()
		}
	}
	can := 2000 / ((1-freshShare)*f["page_ms"] + freshShare*f["page_first_ms"])
	b.WriteString("\n| pages a second of one partition | of what two cores can make | half made within, ms | 99 of 100 within, ms |\n| --- | --- | --- | --- |\n")
	for _, rate := range []float64{f["pages_part_peak_s"], 0.5 * can, 0.8 * can, 0.95 * can} {
		at := func(share float64) estimate {
			return simulated(func(rnd *rand.Rand) float64 {
				return 1000 * quantileOf(timesThere(rnd, rate, 2, n, service(rnd)), share)
			})
		}
		fmt.Fprintf(&b, "| %s | %.1f %% | %s | %s |\n", figureWords(rate), 100*rate/can, at(0.5), at(0.99))
	}
	x.texts["simulated_pages"] = b.String()
}

// TestSimulationsAgreeWithTheory holds them against formulas of queueing
// theory (D. Gross and C. Harris, Fundamentals of Queueing Theory): the mean
// time in an M/M/1 queue, 1/(μ−λ), and in an M/M/2 queue, by Erlang's C.
func TestSimulationsAgreeWithTheory(t *testing.T) {
	mean := func(v []float64) (m float64) {
		for _, x := range v {
			m += x / float64(len(v))
		}
		return m
	}
	const rate, each = 60.0, 0.01
	for processors, want := range map[int]float64{
		1: 1 / (1/each - rate),
		2: each + erlangC(2, rate*each)*each/(2-rate*each),
	} {
		e := simulated(func(rnd *rand.Rand) float64 {
			return mean(timesThere(rnd, rate, processors, 50_000, func() float64 { return each * rnd.ExpFloat64() }))
		})
		require.InDelta(t, want, e.mean, 2*e.half+0.01*want, "%d processors", processors)
	}
	// One at a time and always as long: M/D/1, each·(1 + ρ/(2(1−ρ))).
	e := simulated(func(rnd *rand.Rand) float64 { return mean(committer{fixed: each, most: 1}.waits(rnd, rate, 50_000)) })
	require.InDelta(t, each*(1+0.6/(2*0.4)), e.mean, 2*e.half+0.0001)
	// In groups nobody waits for more than two of them.
	grouped := committer{fixed: each, most: 1 << 20}.waits(rand.New(rand.NewPCG(1, 1)), 10_000, 20_000)
	require.LessOrEqual(t, slices.Max(grouped), 2*each+1e-9)
}

// erlangC is the chance of having to wait for one of c servers under a load of
// a of them.
func erlangC(c int, a float64) float64 {
	sum, term := 0.0, 1.0
	for k := range c {
		sum += term
		term *= a / float64(k+1)
	}
	last := term * float64(c) / (float64(c) - a)
	return last / (sum + last)
}

// asksForWhatIsMeasured holds the places of docs/scale.md against the names of
// figures.
func asksForWhatIsMeasured(t *testing.T, x *results) {
	raw, err := os.ReadFile(filepath.Join("..", "docs", "scale.md"))
	require.NoError(t, err)
	places := regexp.MustCompile(`<!-- ([a-z0-9_]+) -->`).FindAllStringSubmatch(string(raw), -1)
	require.NotEmpty(t, places)
	for _, m := range places {
		_, isFigure := x.figures[m[1]]
		_, isText := x.texts[m[1]]
		require.True(t, isFigure || isText || m[1] == "date" || m[1] == "end", "docs/scale.md asks for %q, which nothing measures", m[1])
	}
}
