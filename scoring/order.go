package scoring

import (
	"example.org/asfound/registry"
)

// MaxOrderCauses is the largest number of causes that are put in order: time
// and memory double with each, to about a tenth of a second.
const MaxOrderCauses = 18

// OrderInput asks in which order to repair and check when one of several causes
// is behind a complaint.
type OrderInput struct {
	// Causes exclude one another: their priors sum to 1, or to less when it may
	// be none of them.
	Causes   []OrderCause   `json:"causes"`
	Openings []FaultOpening `json:"openings,omitempty"`
	// MinutesPerPoint is how many minutes of work one point of the index lost
	// for good is worth; needed when something loses points.
	MinutesPerPoint *float64 `json:"minutes_per_point,omitempty"`
}

// OrderCause is one cause and the attempt to repair it, after which the
// complaint is checked.
type OrderCause struct {
	ID       string   `json:"id"`
	Prior    float64  `json:"prior"`
	Cure     float64  `json:"cure"`    // probability that the attempt cures, if this is the cause
	Minutes  float64  `json:"minutes"` // with the check
	Points   float64  `json:"points,omitempty"`
	Openings []string `json:"openings,omitempty"`
}

// OrderResult is the order with the least expected cost, in minutes.
type OrderResult struct {
	Order    []OrderStep `json:"order"`
	Expected float64     `json:"expected"` // minutes, with points turned into minutes
	Left     float64     `json:"left"`     // probability that all of it cures nothing
	// ByRatio takes at each step the cause with the largest chance of a cure for
	// its cost, openings included: the usual rule of thumb. Worst is the order
	// that costs most.
	ByRatio OrderAlternative `json:"by_ratio"`
	Worst   OrderAlternative `json:"worst"`
	Exact   bool             `json:"exact"`
}

// OrderStep is one attempt in its place.
type OrderStep struct {
	ID      string   `json:"id"`
	Reached float64  `json:"reached"` // probability that it comes to this
	Cost    float64  `json:"cost"`    // if it does, in minutes, with the openings
	Opens   []string `json:"opens"`   // not yet open before
}

// OrderAlternative is another order and its expected cost.
type OrderAlternative struct {
	Order    []string `json:"order"`
	Expected float64  `json:"expected"`
}

// Order finds the order of repairs with the least expected cost, given that the
// complaint has one cause and is checked after each attempt: Σ cost of a step ×
// probability that nothing before it cured. A cost is minutes + points ×
// minutes_per_point; an opening is paid by the first that needs it.
//
// Exact, by dynamic programming over the sets of what has been tried (Held and
// Karp, A dynamic programming approach to sequencing problems, 1962). Without
// openings that are shared the ratio of chance to cost orders best (Kadane and
// Simon, Optimal strategies for a class of constrained sequential problems,
// 1977); with them it need not.
//
// It refuses (CodeInvalid) priors that sum to more than 1, openings that are not
// listed, points without a price; (CodeInsufficient) an empty list; and
// (CodeTooLarge) more than 18 causes. It never approximates.
func Order(in OrderInput) (OrderResult, error) {
	q, err := readOrder(in)
	if err != nil {
		return OrderResult{}, err
	}
	best := q.extreme(func(a, b float64) bool { return a < b })
	worst := q.extreme(func(a, b float64) bool { return a > b })
	out := OrderResult{Exact: true, Order: []OrderStep{}, ByRatio: q.alternative(q.byRatio()), Worst: q.alternative(worst)}
	out.Order, out.Expected, out.Left = q.walk(best)
	return out, nil
}

// orderQuestion is a checked OrderInput.
type orderQuestion struct {
	ids      []string
	chance   []float64 // that this is the cause and the attempt cures it
	cost     []float64 // without openings
	opens    []uint64
	openings *openings
}

// extreme is the order that is best by better.
func (q *orderQuestion) extreme(better func(a, b float64) bool) (order []int) {
	n := len(q.ids)
	full := 1<<n - 1
	ahead, choice := make([]float64, full+1), make([]int8, full+1)
	open, left := q.sets()
	for set := full - 1; set >= 0; set-- {
		first := true
		for i := range n {
			if set>>i&1 == 1 {
				continue
			}
			cost := float64(left[set]*(q.cost[i]+q.openings.price(q.opens[i]&^open[set]))) + ahead[set|1<<i]
			if first || better(cost, ahead[set]) {
				first, ahead[set], choice[set] = false, cost, int8(i)
			}
		}
	}
	for set := 0; set != full; set |= 1 << choice[set] {
		order = append(order, int(choice[set]))
	}
	return order
}

// sets gives, for each set of causes tried, what is open then and the
// probability that nothing is cured.
func (q *orderQuestion) sets() (open []uint64, left []float64) {
	n := len(q.ids)
	open, left = make([]uint64, 1<<n), make([]float64, 1<<n)
	left[0] = 1
	for i := range n {
		for set := range 1 << i {
			open[1<<i|set] = open[set] | q.opens[i]
			left[1<<i|set] = max(0, left[set]-q.chance[i])
		}
	}
	return open, left
}

// byRatio is the rule of thumb.
func (q *orderQuestion) byRatio() (order []int) {
	tried, open := make([]bool, len(q.ids)), uint64(0)
	for range q.ids {
		next, chance, cost := -1, 0.0, 0.0
		for i := range q.ids {
			c := q.cost[i] + q.openings.price(q.opens[i]&^open)
			if !tried[i] && (next < 0 || float64(q.chance[i]*cost) > float64(chance*c)) {
				next, chance, cost = i, q.chance[i], c
			}
		}
		order, tried[next], open = append(order, next), true, open|q.opens[next]
	}
	return order
}

// walk goes through an order.
func (q *orderQuestion) walk(order []int) (steps []OrderStep, expected, left float64) {
	left = 1
	open := uint64(0)
	for _, i := range order {
		opens := q.opens[i] &^ open
		cost := q.cost[i] + q.openings.price(opens)
		steps = append(steps, OrderStep{q.ids[i], left, cost, q.openings.list(opens)})
		expected += float64(left * cost)
		left = max(0, left-q.chance[i])
		open |= opens
	}
	return steps, expected, left
}

func (q *orderQuestion) alternative(order []int) OrderAlternative {
	out := OrderAlternative{Order: []string{}}
	for _, i := range order {
		out.Order = append(out.Order, q.ids[i])
	}
	_, out.Expected, _ = q.walk(order)
	return out
}

// readOrder checks an input.
func readOrder(in OrderInput) (*orderQuestion, error) {
	if len(in.Causes) == 0 {
		return nil, insufficient("/causes", "There is no cause to try", "List what may be wrong.")
	}
	if len(in.Causes) > MaxOrderCauses {
		return nil, registry.Refuse(registry.CodeTooLarge, "Leave out the least probable, or ask for the next step only.",
			"%d causes are too many to put in order exactly; at most %d are", len(in.Causes), MaxOrderCauses)
	}
	var fs faults
	perPoint := fs.perPoint("/minutes_per_point", in.MinutesPerPoint)
	price := func(minutes, points float64) float64 { return minutes + float64(points*perPoint) }
	q := &orderQuestion{openings: fs.openings(in.Openings, price)}
	loses := false
	for _, o := range in.Openings {
		loses = loses || o.Points > 0
	}
	seen, sum := map[string]bool{}, 0.0
	for i, c := range in.Causes {
		here := at("/causes", i)
		fs.unique(here+"/id", c.ID, "A cause", seen)
		fs.probability(here+"/prior", c.Prior, "The prior of a cause")
		fs.probability(here+"/cure", c.Cure, "The chance of a cure")
		fs.span(here+"/minutes", c.Minutes, 0, maxFaultFigure, "The time for an attempt", "minutes")
		fs.span(here+"/points", c.Points, 0, maxFaultFigure, "What an attempt loses", "points")
		loses = loses || c.Points > 0
		sum += c.Prior
		q.ids, q.chance = append(q.ids, c.ID), append(q.chance, float64(c.Prior*c.Cure))
		q.cost = append(q.cost, price(c.Minutes, c.Points))
		q.opens = append(q.opens, q.openings.closure(fs.named(here+"/openings", c.Openings, q.openings)))
	}
	if sum > 1+sumTolerance {
		fs.add("/causes", "a sum of "+number(sum), "a sum of at most 1", "The causes exclude one another, so their priors sum to at most 1",
			"Scale them; when several may be there at once, ask for the next step instead.")
	}
	if loses && in.MinutesPerPoint == nil {
		fs.add("/minutes_per_point", "", "", "Something loses points, and what a point is worth is missing", "Say how many minutes of work one point is worth.")
	}
	if err := fs.err("The order"); err != nil {
		return nil, err
	}
	return q, nil
}

// perPoint checks what a point is worth; 0 when it is not said.
func (fs *faults) perPoint(pointer string, v *float64) float64 {
	if v == nil {
		return 0
	}
	fs.span(pointer, *v, 0, maxFaultFigure, "What a point is worth", "minutes")
	return *v
}

func readOrderInput(r *reader, n *node) (in OrderInput) {
	r.object(n, "",
		member{"causes", true, r.array(func(n *node, pointer string) {
			var c OrderCause
			var one []string
			r.object(n, pointer,
				member{"id", true, r.text(&c.ID)},
				member{"prior", true, r.number(&c.Prior)},
				member{"cure", true, r.number(&c.Cure)},
				member{"minutes", true, r.number(&c.Minutes)},
				member{"points", false, r.number(&c.Points)},
				member{"opening", false, r.opening(&one)},
				member{"openings", false, r.texts(&c.Openings)},
			)
			c.Openings = append(c.Openings, one...)
			in.Causes = append(in.Causes, c)
		})},
		member{"openings", false, r.openings(&in.Openings)},
		member{"minutes_per_point", false, r.optional(&in.MinutesPerPoint)},
	)
	return in
}
