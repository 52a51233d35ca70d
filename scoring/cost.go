package scoring

import (
	"math"
	"strconv"
)

// Limits of a forecast.
const (
	MaxCostItems  = 500
	MaxCostPoints = 20_000 // of the grid
	costPoints    = 1000   // aimed at when no step is given
)

// CostInput asks what a job will cost, in any one unit: money, or hours.
type CostInput struct {
	Tasks []CostTask `json:"tasks,omitempty"`
	Finds []CostFind `json:"finds,omitempty"`
	// Ceiling is what must not be exceeded.
	Ceiling *float64 `json:"ceiling,omitempty"`
	// Step is the distance of grid points; if nil the smallest of 1, 2, 5, 10 …
	// (or their tenths and hundredths) that needs at most 1000 points.
	Step *float64 `json:"step,omitempty"`
	// Shared is one hidden cause behind all of them; nil is independence.
	Shared *CostShared `json:"shared,omitempty"`
}

// CostTask is certain work of uncertain cost: triangular between Low and High
// with its peak at Likely.
type CostTask struct {
	ID     string  `json:"id"`
	Low    float64 `json:"low"`
	Likely float64 `json:"likely"`
	High   float64 `json:"high"`
}

// CostFind is something that may turn up, and what it then costs.
type CostFind struct {
	ID     string  `json:"id"`
	Chance float64 `json:"chance"`
	Cost   float64 `json:"cost"`
}

// CostShared is a hidden cause, such as that everything is seized. With
// probability Chance the machine is a bad one. Each item then lies, with weight
// Strength, in the dearest Chance-share of its own distribution, and on a good
// machine in the remaining share; with weight 1 − Strength it does as it would
// by itself. Given the cause the items are independent. So every item keeps the
// distribution that was given, and the mean of the sum is the same; only the
// spread grows.
type CostShared struct {
	Chance   float64 `json:"chance"`   // 0 to 1
	Strength float64 `json:"strength"` // 0 to 1
}

// CostResult is the distribution of the sum on the grid.
type CostResult struct {
	Mean float64 `json:"mean"` // of the distribution on the grid
	// ExactMean is Σ (low + likely + high)/3 + Σ chance × cost, without a grid.
	// The two differ by what the grid rounds.
	ExactMean float64 `json:"exact_mean"`
	SD        float64 `json:"sd"`
	P50       float64 `json:"p50"` // the smallest value whose cumulative probability reaches 50 %
	P80       float64 `json:"p80"`
	P95       float64 `json:"p95"`
	// LikelySum is the sum of the most likely costs without any find, the
	// figure that is usually quoted; OverLikely is the chance to exceed it.
	LikelySum   float64    `json:"likely_sum"`
	OverLikely  float64    `json:"over_likely"`
	OverCeiling *float64   `json:"over_ceiling,omitempty"`
	AnyFind     float64    `json:"any_find"` // chance of at least one find
	Items       []CostItem `json:"items"`    // tasks, then finds
	Step        float64    `json:"step"`
	// Points are the values with a probability above 0 and that probability.
	Points [][2]float64 `json:"points"`
}

// CostItem is what one item adds, without a grid.
type CostItem struct {
	ID   string  `json:"id"`
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
}

// cells is a distribution on the grid: cells[k] at (first + k) steps.
type cells struct {
	first int
	p     []float64
}

// Cost gives the distribution of the sum of all tasks and finds. Each is put on
// a grid: a task gives every grid point the probability of the cell half a step
// to either side, a find goes to the nearest point. The sum is then exact:
// distributions are folded, nothing is sampled.
//
// It refuses (CodeInvalid) a task that is not low ≤ likely ≤ high, negative
// costs, chances outside [0,1]; (CodeTooLarge) a step that needs more than
// MaxCostPoints points; and (CodeInsufficient) an input without any item.
func Cost(in CostInput) (CostResult, error) {
	step, err := readCost(in)
	if err != nil {
		return CostResult{}, err
	}
	out := CostResult{Step: step, Items: []CostItem{}, Points: [][2]float64{}}
	var items, finds []cells
	for _, t := range in.Tasks {
		mean := (t.Low + t.Likely + t.High) / 3
		a, b := t.High-t.Low, t.Likely-t.Low
		variance := float64(a*a) - float64(a*b) + float64(b*b) // Johnson 1997, over 18
		out.Items = append(out.Items, CostItem{t.ID, mean, math.Sqrt(max(0, variance) / 18)})
		out.ExactMean += mean
		out.LikelySum += t.Likely
		items = append(items, t.cells(step))
	}
	for _, f := range in.Finds {
		mean := float64(f.Chance * f.Cost)
		out.Items = append(out.Items, CostItem{f.ID, mean, float64(f.Cost * math.Sqrt(float64(f.Chance*(1-f.Chance))))})
		out.ExactMean += mean
		at := int(math.Round(f.Cost / step))
		p := make([]float64, at+1)
		p[0] = 1 - f.Chance
		p[at] += f.Chance
		items = append(items, cells{0, p})
		finds = append(finds, cells{0, []float64{1 - f.Chance, f.Chance}})
	}
	whole := in.Shared.sum(items)
	out.describe(whole, step, in.Ceiling)
	none := 1.0
	if len(finds) > 0 {
		none = in.Shared.sum(finds).p[0]
	}
	out.AnyFind = min(1, max(0, 1-none))
	return out, nil
}

// describe fills in what follows from the distribution.
func (out *CostResult) describe(c cells, step float64, ceiling *float64) {
	value := func(k int) float64 { return roundTo(float64(float64(c.first+k)*step), step) }
	for k, p := range c.p {
		out.Mean += float64(p * value(k))
	}
	variance, sum := 0.0, 0.0
	quantiles := []struct {
		q  float64
		to *float64
	}{{0.50, &out.P50}, {0.80, &out.P80}, {0.95, &out.P95}}
	over := 0.0
	for k, p := range c.p {
		if p == 0 {
			continue
		}
		v := value(k)
		d := v - out.Mean
		variance += float64(p * float64(d*d))
		sum += p
		for len(quantiles) > 0 && sum >= quantiles[0].q-1e-12 {
			*quantiles[0].to = v
			quantiles = quantiles[1:]
		}
		if v > out.LikelySum+float64(step*1e-9) {
			out.OverLikely += p
		}
		if ceiling != nil && v > *ceiling+float64(step*1e-9) {
			over += p
		}
		out.Points = append(out.Points, [2]float64{v, p})
	}
	out.SD = math.Sqrt(variance)
	out.OverLikely = min(1, out.OverLikely)
	if over = min(1, over); ceiling != nil {
		out.OverCeiling = &over
	}
}

// roundTo takes the noise of a product off a multiple of step.
func roundTo(v, step float64) float64 {
	if step >= 1 && step == math.Trunc(step) {
		return v
	}
	return digits12(v)
}

// cells puts a triangular distribution on the grid.
func (t CostTask) cells(step float64) cells {
	first, last := int(math.Round(t.Low/step)), int(math.Round(t.High/step))
	c := cells{first, make([]float64, last-first+1)}
	below := 0.0
	for k := range c.p {
		upTo := 1.0
		if k < len(c.p)-1 {
			upTo = t.below(float64((float64(first+k) + 0.5) * step))
		}
		c.p[k] = max(0, upTo-below)
		below = upTo
	}
	return c
}

// below is the probability of at most x under the triangular distribution.
func (t CostTask) below(x float64) float64 {
	switch {
	case x >= t.High:
		return 1
	case x <= t.Low:
		return 0
	case x <= t.Likely:
		d := x - t.Low
		return float64((d / (t.High - t.Low)) * (d / (t.Likely - t.Low)))
	}
	d := t.High - x
	return 1 - float64((d/(t.High-t.Low))*(d/(t.High-t.Likely)))
}

// sum gives the distribution of the sum under the hidden cause.
func (s *CostShared) sum(items []cells) cells {
	if s == nil || s.Chance == 0 || s.Chance == 1 || s.Strength == 0 {
		return foldAll(items)
	}
	bad, good := make([]cells, len(items)), make([]cells, len(items))
	for i, c := range items {
		bad[i], good[i] = s.split(c)
	}
	b, g := foldAll(bad), foldAll(good)
	for k := range b.p { // both have the cells of the whole
		b.p[k] = float64(s.Chance*b.p[k]) + float64((1-s.Chance)*g.p[k])
	}
	return b
}

// split gives the distribution of one item on a bad and on a good machine.
func (s *CostShared) split(c cells) (bad, good cells) {
	bad, good = cells{c.first, make([]float64, len(c.p))}, cells{c.first, make([]float64, len(c.p))}
	cheap := 1 - s.Chance // what is left of the cheaper share
	for k, p := range c.p {
		low := min(p, cheap)
		cheap -= low
		good.p[k] = float64(s.Strength*(low/(1-s.Chance))) + float64((1-s.Strength)*p)
		bad.p[k] = float64(s.Strength*((p-low)/s.Chance)) + float64((1-s.Strength)*p)
	}
	return bad, good
}

// foldAll gives the distribution of the sum of independent items.
func foldAll(items []cells) cells {
	sum := cells{0, []float64{1}}
	for _, c := range items {
		p := make([]float64, len(sum.p)+len(c.p)-1)
		for i, a := range c.p {
			if a == 0 {
				continue
			}
			to := p[i:][:len(sum.p)]
			for j, b := range sum.p {
				to[j] += float64(a * b)
			}
		}
		sum = cells{sum.first + c.first, p}
	}
	return sum
}

// readCost checks an input and settles the step.
func readCost(in CostInput) (float64, error) {
	var fs faults
	fs.count("/tasks", len(in.Tasks), MaxCostItems, "tasks")
	fs.count("/finds", len(in.Finds), MaxCostItems, "finds")
	const unit = "units"
	seen := map[string]bool{}
	width := 0.0
	for i, t := range in.Tasks {
		here := at("/tasks", i)
		fs.unique(here+"/id", t.ID, "A task", seen)
		for _, f := range []struct {
			name string
			v    float64
		}{{"low", t.Low}, {"likely", t.Likely}, {"high", t.High}} {
			fs.span(here+"/"+f.name, f.v, 0, 1e9, "A cost", unit)
		}
		if !(t.Low <= t.Likely && t.Likely <= t.High) {
			fs.add(here, number(t.Low)+", "+number(t.Likely)+", "+number(t.High), "low ≤ likely ≤ high", "The three costs are not in order", "Put the smallest first.")
		}
		width += t.High - t.Low
	}
	for i, f := range in.Finds {
		here := at("/finds", i)
		fs.unique(here+"/id", f.ID, "A find", seen)
		fs.probability(here+"/chance", f.Chance, "The chance of a find")
		fs.span(here+"/cost", f.Cost, 0, 1e9, "A cost", unit)
		width += f.Cost
	}
	if in.Ceiling != nil {
		fs.span("/ceiling", *in.Ceiling, 0, 1e12, "A ceiling", unit)
	}
	if in.Shared != nil {
		fs.probability("/shared/chance", in.Shared.Chance, "The chance of a bad machine")
		fs.probability("/shared/strength", in.Shared.Strength, "The strength of the shared cause")
	}
	if in.Step != nil {
		fs.span("/step", *in.Step, 0.001, 1e9, "A step", unit)
	}
	if err := fs.err("The forecast"); err != nil {
		return 0, err
	}
	if len(in.Tasks)+len(in.Finds) == 0 {
		return 0, insufficient("/tasks", "There is nothing to cost", "List the tasks with their three figures.")
	}
	if in.Step == nil {
		for size := 0.01; ; size = roundTo(float64(size*10), 0.01) {
			for _, m := range []float64{1, 2, 5} {
				if step := roundTo(float64(m*size), 0.01); width <= float64(costPoints*step) {
					return step, nil
				}
			}
		}
	}
	if points := width / *in.Step; points > MaxCostPoints {
		fs.add("/step", number(*in.Step), "at least "+number(width/MaxCostPoints), "This step is too fine: more than "+strconv.Itoa(MaxCostPoints)+" points", "Take a larger step, or leave it out.")
	}
	return *in.Step, fs.err("The forecast")
}

func readCostInput(r *reader, n *node) (in CostInput) {
	r.object(n, "",
		member{"tasks", false, r.array(func(n *node, pointer string) {
			var t CostTask
			r.object(n, pointer,
				member{"id", true, r.text(&t.ID)},
				member{"low", true, r.number(&t.Low)},
				member{"likely", true, r.number(&t.Likely)},
				member{"high", true, r.number(&t.High)},
			)
			in.Tasks = append(in.Tasks, t)
		})},
		member{"finds", false, r.array(func(n *node, pointer string) {
			var f CostFind
			r.object(n, pointer,
				member{"id", true, r.text(&f.ID)},
				member{"chance", true, r.number(&f.Chance)},
				member{"cost", true, r.number(&f.Cost)},
			)
			in.Finds = append(in.Finds, f)
		})},
		member{"ceiling", false, r.optional(&in.Ceiling)},
		member{"step", false, r.optional(&in.Step)},
		member{"shared", false, func(n *node, pointer string) {
			in.Shared = &CostShared{}
			r.object(n, pointer,
				member{"chance", true, r.number(&in.Shared.Chance)},
				member{"strength", true, r.number(&in.Shared.Strength)},
			)
		}},
	)
	return in
}
