package scoring

import "math/bits"

// MaxFaultOpenings is the largest number of openings in one question about
// faults.
const MaxFaultOpenings = 64

// maxFaultFigure is the largest number of minutes, points or money of one line.
const maxFaultFigure = 1e6

// FaultOpening is what is taken off to get at causes, paid once for all that
// lies behind it.
type FaultOpening struct {
	ID      string   `json:"id"`
	Minutes float64  `json:"minutes"`
	Points  float64  `json:"points,omitempty"` // lost for good, of the index
	Needs   []string `json:"needs,omitempty"`  // openings that come before it
}

// openings are a checked list of FaultOpening: what each costs, and how to get
// from names to sets.
type openings struct {
	ids   []string
	cost  []float64
	index map[string]int
	needs []uint64 // with itself and all that those need
}

// openings checks a list; price turns minutes and points into one cost.
func (fs *faults) openings(list []FaultOpening, price func(minutes, points float64) float64) *openings {
	fs.count("/openings", len(list), MaxFaultOpenings, "openings")
	o := &openings{index: map[string]int{}}
	if len(*fs) > 0 {
		return o
	}
	seen := map[string]bool{}
	for i, x := range list {
		here := at("/openings", i)
		fs.unique(here+"/id", x.ID, "An opening", seen)
		fs.span(here+"/minutes", x.Minutes, 0, maxFaultFigure, "The time for an opening", "minutes")
		fs.span(here+"/points", x.Points, 0, maxFaultFigure, "What an opening loses", "points")
		o.ids, o.cost, o.index[x.ID] = append(o.ids, x.ID), append(o.cost, price(x.Minutes, x.Points)), i
	}
	for i, x := range list {
		o.needs = append(o.needs, 1<<i|fs.named(at("/openings", i)+"/needs", x.Needs, o))
	}
	for range list { // far enough for the longest chain
		for i := range o.needs {
			o.needs[i] = o.closure(o.needs[i])
		}
	}
	for i, x := range list {
		if fs.named("", x.Needs, o)>>i&1 == 1 {
			fs.add(at("/openings", i)+"/needs", quote(x.ID), "other openings", "An opening cannot need itself", "Take it out.")
		}
	}
	return o
}

// named is the set of some openings by name.
func (fs *faults) named(pointer string, names []string, o *openings) (set uint64) {
	for i, name := range names {
		if j, ok := o.index[name]; ok {
			set |= 1 << j
		} else {
			fs.add(at(pointer, i), quote(name), "an opening of the list", "This opening is not listed", "Add it with its minutes, or take the name out.")
		}
	}
	return set
}

// closure is a set with all that its members need.
func (o *openings) closure(set uint64) uint64 {
	all := set
	for rest := set; rest != 0; rest &= rest - 1 {
		if i := bits.TrailingZeros64(rest); i < len(o.needs) {
			all |= o.needs[i]
		}
	}
	return all
}

// price is the cost of a set of openings.
func (o *openings) price(set uint64) float64 {
	sum := 0.0
	for ; set != 0; set &= set - 1 {
		sum += o.cost[bits.TrailingZeros64(set)]
	}
	return sum
}

// list names a set.
func (o *openings) list(set uint64) []string {
	out := []string{}
	for ; set != 0; set &= set - 1 {
		out = append(out, o.ids[bits.TrailingZeros64(set)])
	}
	return out
}

func (r *reader) openings(to *[]FaultOpening) func(n *node, pointer string) {
	return r.array(func(n *node, pointer string) {
		var o FaultOpening
		r.object(n, pointer,
			member{"id", true, r.text(&o.ID)},
			member{"minutes", true, r.number(&o.Minutes)},
			member{"points", false, r.number(&o.Points)},
			member{"needs", false, r.texts(&o.Needs)},
		)
		*to = append(*to, o)
	})
}

// opening reads one name where a list of one is meant.
func (r *reader) opening(to *[]string) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		var s string
		r.text(&s)(n, pointer)
		*to = append(*to, s)
	}
}
