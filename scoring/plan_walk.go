package scoring

import (
	"math"
	"slices"
	"strconv"

	"example.org/asfound/registry"
)

// planWalk goes through the faults one by one. What was chosen before matters
// later only through a situation: plans in one situation can be continued in
// the same ways at the same cost.
type planWalk struct {
	q       *planQuestion
	allowed []uint64 // options of each fault that may be taken
	order   []int
	layers  []planLayer
	slot    []int   // place of each fault in situation.left, or -1
	bears   [][]int // the faults whose options each fault bears on
}

// planLayer says what matters after a fault has been decided.
type planLayer struct {
	openable uint64 // openings that a later fault may still make
	watched  uint64 // openings for which it matters later whether they are open
}

// situation is what the later faults need to know.
type situation struct {
	open, need, shut uint64
	// left is what earlier choices leave of the options of the faults that
	// others bear on; all for a fault that has been decided.
	left []uint64
}

func (s *situation) key() string {
	b := make([]byte, 0, 24+8*len(s.left))
	add := func(v uint64) {
		for range 8 {
			b = append(b, byte(v))
			v >>= 8
		}
	}
	add(s.open)
	add(s.need)
	add(s.shut)
	for _, v := range s.left {
		add(v)
	}
	return string(b)
}

// walk prepares a walk over the allowed options. Without paid, openings matter
// only where something requires or excludes them.
func (q *planQuestion) walk(allowed []uint64, paid bool) *planWalk {
	w := &planWalk{q: q, allowed: allowed, slot: make([]int, len(q.faults)), bears: make([][]int, len(q.faults))}
	for k := range q.fits {
		w.bears[k[0]] = append(w.bears[k[0]], k[1])
	}
	slots := 0
	for f := range w.bears {
		slices.Sort(w.bears[f])
		if w.slot[f] = -1; len(w.bears[f]) > 0 {
			w.slot[f] = slots
			slots++
		}
	}
	var costly uint64
	for i, o := range q.openings {
		if paid && (o.money != 0 || o.hours != 0 || o.forGood != 0) {
			costly |= 1 << i
		}
	}
	opens, asks := make([]uint64, len(q.faults)), make([]uint64, len(q.faults))
	for f := range q.faults {
		for o, x := range q.faults[f].options {
			if allowed[f]&(1<<o) != 0 {
				opens[f] |= x.opens
				asks[f] |= x.need | x.shut
			}
		}
	}
	width := func(decided []bool) int {
		var openBefore, openLater, asksBefore, asksLater uint64
		n := 0
		for f := range q.faults {
			if !decided[f] {
				openLater |= opens[f]
				asksLater |= asks[f]
				continue
			}
			openBefore |= opens[f]
			asksBefore |= asks[f]
			if slices.ContainsFunc(w.bears[f], func(g int) bool { return !decided[g] }) {
				n++
			}
		}
		return n + members(openBefore&(openLater&costly|asksLater)) + members(asksBefore&openLater)
	}
	decided := make([]bool, len(q.faults))
	for range q.faults {
		best, least := -1, 0
		for f := range q.faults {
			if decided[f] {
				continue
			}
			decided[f] = true
			n := width(decided)
			decided[f] = false
			if best < 0 || n < least {
				best, least = f, n
			}
		}
		decided[best] = true
		w.order = append(w.order, best)
	}
	w.layers = make([]planLayer, len(w.order))
	var openable, asked uint64
	for i := len(w.order) - 1; i >= 0; i-- {
		w.layers[i] = planLayer{openable: openable, watched: openable&costly | asked}
		openable |= opens[w.order[i]]
		asked |= asks[w.order[i]]
	}
	return w
}

func (w *planWalk) start() situation {
	var s situation
	for f, slot := range w.slot {
		if slot >= 0 {
			s.left = append(s.left, w.allowed[f])
		}
	}
	return s
}

// next takes option o of the fault at place i. It gives the situation after
// that, the openings that are newly made, and whether it is possible.
func (w *planWalk) next(i int, s *situation, o int) (after situation, newly uint64, ok bool) {
	f, layer := w.order[i], &w.layers[i]
	x := &w.q.faults[f].options[o]
	if w.allowed[f]&(1<<o) == 0 || x.opens&s.shut != 0 || x.shut&(s.open|s.need) != 0 || x.need&s.shut != 0 {
		return after, 0, false
	}
	open, left := s.open|x.opens, s.left
	if slot := w.slot[f]; slot >= 0 {
		if left[slot]&(1<<o) == 0 {
			return after, 0, false
		}
		left = slices.Clone(left)
		left[slot] = math.MaxUint64
		for _, g := range w.bears[f] {
			if to := &left[w.slot[g]]; *to != math.MaxUint64 {
				if *to &= w.q.fits[[2]int{f, g}][o]; *to == 0 {
					return after, 0, false
				}
			}
		}
	}
	after = situation{open: open & layer.watched, need: (s.need | x.need) &^ open, shut: (s.shut | x.shut) & layer.openable, left: left}
	if after.need&^layer.openable != 0 {
		return after, 0, false
	}
	return after, x.opens &^ s.open, true
}

// tooLarge refuses what would not be exact.
func (q *planQuestion) tooLarge(format string, args ...any) error {
	return registry.Refuse(registry.CodeTooLarge, "Set or tighten a limit on money, hours or works, decide some faults beforehand, or plan in two parts.",
		format, args...)
}

// members is the number of members of a set.
func members(set uint64) int {
	n := 0
	for ; set != 0; set &= set - 1 {
		n++
	}
	return n
}

// firstOf is the first member of a set that has one.
func firstOf(set uint64) int { return members(set&-set - 1) }

// grouped writes a whole number in groups of three digits.
func grouped(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + " " + s[i:]
	}
	return s
}

// options gives the options of each fault that may be taken: all; or those that
// put a mandatory fault right; and none that waits longer than lead.
func (q *planQuestion) options(gated bool, lead int64) []uint64 {
	allowed := make([]uint64, len(q.faults))
	for f := range q.faults {
		for o, x := range q.faults[f].options {
			wait := x.lead
			for i, opening := range q.openings {
				if x.opens&(1<<i) != 0 {
					wait = max(wait, opening.lead)
				}
			}
			if wait <= lead && !(gated && q.faults[f].mandatory && x.works == 0) {
				allowed[f] |= 1 << o
			}
		}
	}
	return allowed
}
