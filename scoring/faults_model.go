package scoring

// The model of several faults at once, which faults/1 and next/1 share: causes
// that are there or not, each by itself with its prior; and observations by a
// noisy OR (Pearl, Probabilistic Reasoning in Intelligent Systems, 1988): an
// observation comes true when at least one present cause brings it about, each
// by itself with the probability of its link, or when something that is not
// listed does, with the probability of its leak.

// Limits of the model.
const (
	MaxCauses       = 200
	MaxObservations = 500
	// MaxTrueSeen is the largest number of observations seen true: memory and
	// time double with each. The number of causes is free below MaxCauses.
	MaxTrueSeen = 15
	// maxFaultWork bounds the steps of one answer; about half a second.
	maxFaultWork = 500_000_000
	// leastEvidence is the smallest probability of what was seen with which
	// doubles are trusted.
	leastEvidence = 1e-250
)

// FaultCause is one thing that may be wrong.
type FaultCause struct {
	ID    string  `json:"id"`
	Prior float64 `json:"prior"`
}

// FaultObservation is one thing that may be observed.
type FaultObservation struct {
	ID string `json:"id"`
	// Leak is the probability that it is true although no listed cause brings
	// it about.
	Leak float64 `json:"leak"`
	// Links gives for each cause the probability that the cause, being there,
	// brings it about; a cause that is not named does not.
	Links Distribution `json:"links"`
}

// noisyOr is a checked model with what was seen in it. Causes and observations
// stand in the order of the input.
type noisyOr struct {
	prior []float64
	leak  []float64
	link  [][]float64 // [observation][cause]
	seen  []sight     // [observation]
}

// sight is what is known of an observation.
type sight int8

const (
	unseen sight = iota
	seenFalse
	seenTrue
)

// model checks causes, observations and what was seen, and joins them.
func (fs *faults) model(causes []FaultCause, observations []FaultObservation, seen Ordered[bool]) *noisyOr {
	m := &noisyOr{seen: make([]sight, len(observations))}
	fs.count("/causes", len(causes), MaxCauses, "causes")
	fs.count("/observations", len(observations), MaxObservations, "observations")
	index, names := map[string]int{}, map[string]bool{}
	for i, c := range causes {
		here := at("/causes", i)
		fs.unique(here+"/id", c.ID, "A cause", names)
		fs.probability(here+"/prior", c.Prior, "The prior of a cause")
		index[c.ID] = i
		m.prior = append(m.prior, c.Prior)
	}
	place, names := map[string]int{}, map[string]bool{}
	for i, o := range observations {
		here := at("/observations", i)
		fs.unique(here+"/id", o.ID, "An observation", names)
		fs.probability(here+"/leak", o.Leak, "A leak")
		place[o.ID] = i
		m.leak = append(m.leak, o.Leak)
		links, linked := make([]float64, len(causes)), map[string]bool{}
		for _, l := range o.Links {
			there := key(here+"/links", l.Key)
			fs.unique(there, l.Key, "A link", linked)
			fs.probability(there, l.Value, "A link")
			if c, ok := index[l.Key]; ok {
				links[c] = l.Value
			} else {
				fs.add(there, quote(l.Key), "a cause of the list", "This link comes from a cause that is not listed", "Add the cause with its prior, or take the link out.")
			}
		}
		m.link = append(m.link, links)
	}
	names = map[string]bool{}
	for _, s := range seen {
		here := key("/seen", s.Key)
		fs.unique(here, s.Key, "What was seen", names)
		o, ok := place[s.Key]
		switch {
		case !ok:
			fs.add(here, quote(s.Key), "an observation of the list", "This was seen and is not in the model", "Add the observation with its leak and links, or leave it out.")
		case s.Value:
			m.seen[o] = seenTrue
		default:
			m.seen[o] = seenFalse
		}
	}
	if n := len(m.positive()); n > MaxTrueSeen {
		fs.count("/seen", n, MaxTrueSeen, "observations seen true")
	}
	return m
}

// positive lists the observations seen true.
func (m *noisyOr) positive() []int {
	var out []int
	for o, s := range m.seen {
		if s == seenTrue {
			out = append(out, o)
		}
	}
	return out
}

// impossible adds a fault for every observation that cannot be as it was seen.
// A noisy OR only ever gains from more causes, so the case in which every
// cause that nothing rules out is there decides.
func (fs *faults) impossible(m *noisyOr, causes []FaultCause, observations []FaultObservation) {
	ruledOut := make([]string, len(causes)) // by which observation, or by its prior
	for c, p := range m.prior {
		if p == 0 {
			ruledOut[c] = "its prior of 0"
		}
	}
	for o, s := range m.seen {
		if s != seenFalse {
			continue
		}
		here := key("/seen", observations[o].ID)
		if m.leak[o] == 1 {
			fs.add(here, "false", "true", "By the model this is true always", "Mend its leak, or look again.")
		}
		for c, q := range m.link[o] {
			if q < 1 {
				continue
			}
			if m.prior[c] == 1 {
				fs.add(here, "false", "true", quote(causes[c].ID)+" is certain and always brings it about", "Mend the prior or the link, or look again.")
			}
			if ruledOut[c] == "" {
				ruledOut[c] = quote(observations[o].ID) + " seen false"
			}
		}
	}
	for _, o := range m.positive() {
		if m.leak[o] > 0 {
			continue
		}
		why, can := "", false
		for c, q := range m.link[o] {
			if q == 0 {
				continue
			}
			can = can || ruledOut[c] == ""
			why += ", and " + quote(causes[c].ID) + " is ruled out by " + ruledOut[c]
		}
		if !can {
			fs.add(key("/seen", observations[o].ID), "true", "false", "By the model this cannot be: it has no leak"+why,
				"Look again at what was seen, or give it a leak: something not listed may bring it about.")
		}
	}
}

// weights are the causes with everything that was seen false put in. Such an
// observation speaks on each cause by itself.
type weights struct {
	off, on []float64   // weight of each cause's absence and presence
	rest    float64     // probability that no leak brought about what was seen false
	pull    [][]float64 // [cause][positive]: probability that it brings it about; nil when none
	stay    []float64   // [positive]: its leak
}

// weigh takes the seen-true observations in the order given.
func (m *noisyOr) weigh(positive []int) weights {
	w := weights{off: make([]float64, len(m.prior)), on: make([]float64, len(m.prior)), rest: 1, pull: make([][]float64, len(m.prior))}
	for c, p := range m.prior {
		w.off[c], w.on[c] = 1-p, p
	}
	for o, s := range m.seen {
		if s == seenFalse {
			w.rest = float64(w.rest * (1 - m.leak[o]))
			for c, q := range m.link[o] {
				w.on[c] = float64(w.on[c] * (1 - q))
			}
		}
	}
	for c := range m.prior {
		row, some := make([]float64, len(positive)), false
		for j, o := range positive {
			row[j] = m.link[o][c]
			some = some || row[j] > 0
		}
		if some {
			w.pull[c] = row
		}
	}
	for _, o := range positive {
		w.stay = append(w.stay, m.leak[o])
	}
	return w
}

// A cover is, for each set of positive observations, the weight of all cases in
// which the causes gone through so far bring about exactly that set. Causes are
// taken in one after the other, so the answer is a sum over all combinations of
// causes without listing them, and every term is positive: nothing cancels.

// raise takes a cause that is there into a cover: an observation that it brings
// about with q moves that share of each set without it to the set with it. Two
// observations go at a time, for the sake of memory.
func raise(v, pull []float64) {
	for j := 0; j < len(pull); j += 2 {
		half, p := 1<<j, pull[j]
		if j+1 == len(pull) {
			none, first := v[:half], v[half:]
			for i, x := range none {
				first[i] += float64(p * x)
				none[i] = float64((1 - p) * x)
			}
			continue
		}
		q := pull[j+1]
		if p == 0 && q == 0 {
			continue
		}
		for base := 0; base < len(v); base += 4 * half {
			none, first, second, both := quarters(v[base:], half)
			for i, x := range none {
				f, s := first[i]+float64(p*x), second[i]
				x = float64((1 - p) * x)
				b := both[i] + float64(p*s)
				s = float64((1 - p) * s)
				none[i], second[i] = float64((1-q)*x), s+float64(q*x)
				first[i], both[i] = float64((1-q)*f), b+float64(q*f)
			}
		}
	}
}

// quarters are the next four runs of the same length.
func quarters(v []float64, n int) (none, first, second, both []float64) {
	return v[:n], v[n:][:n], v[2*n:][:n], v[3*n:][:n]
}

// lower is raise seen from the other end: it takes a cause out of the worth of
// each set, the worth being the weight of all that may still come.
func lower(u, pull []float64) {
	for j := 0; j < len(pull); j += 2 {
		half, p := 1<<j, pull[j]
		if j+1 == len(pull) {
			none, first := u[:half], u[half:]
			for i, x := range none {
				none[i] = float64((1-p)*x) + float64(p*first[i])
			}
			continue
		}
		q := pull[j+1]
		if p == 0 && q == 0 {
			continue
		}
		for base := 0; base < len(u); base += 4 * half {
			none, first, second, both := quarters(u[base:], half)
			for i, x := range none {
				f, s, b := first[i], second[i], both[i]
				x = float64((1-p)*x) + float64(p*f)
				s = float64((1-p)*s) + float64(p*b)
				none[i] = float64((1-q)*x) + float64(q*s)
				first[i], second[i] = float64((1-q)*f)+float64(q*b), s
			}
		}
	}
}

// absorb takes a cause that is there or not into a cover, and puts the cover
// that results into next.
func absorb(next, v, pull []float64, off, on float64) {
	copy(next, v)
	raise(next, pull)
	for i, x := range next {
		next[i] = float64(off*v[i]) + float64(on*x)
	}
}

// idle is the weight of everything that no positive observation hangs on.
func (w *weights) idle() float64 {
	weight := w.rest
	for c, pull := range w.pull {
		if pull == nil {
			weight = float64(weight * (w.off[c] + w.on[c]))
		}
	}
	return weight
}

// leaks is for each set the probability that leaks bring about what is missing.
func (w *weights) leaks() []float64 {
	u := make([]float64, 1<<len(w.stay))
	u[len(u)-1] = 1
	for set := len(u) - 2; set >= 0; set-- {
		j := 0
		for set>>j&1 == 1 {
			j++
		}
		u[set] = float64(w.stay[j] * u[set|1<<j])
	}
	return u
}

// total is the weight of everything, from the worth of each set.
func (w *weights) total(worth []float64) float64 {
	v, next := make([]float64, len(worth)), make([]float64, len(worth))
	v[0] = w.idle()
	for c, pull := range w.pull {
		if pull != nil {
			absorb(next, v, pull, w.off[c], w.on[c])
			v, next = next, v
		}
	}
	return dot(v, worth)
}

// presence gives, from the worth of each set, the cover by all causes, and the
// weight of everything and for each cause the weight of the cases in which it is
// there.
func (w *weights) presence(worth []float64) (cover []float64, total float64, present []float64) {
	var linked []int
	for c, pull := range w.pull {
		if pull != nil {
			linked = append(linked, c)
		}
	}
	// covers[i] is the cover before the linked cause i.
	covers := make([][]float64, len(linked)+1)
	block, size := make([]float64, (len(linked)+1)*len(worth)), len(worth)
	for i := range covers {
		covers[i] = block[i*size:][:size]
	}
	covers[0][0] = w.idle()
	for i, c := range linked {
		absorb(covers[i+1], covers[i], w.pull[c], w.off[c], w.on[c])
	}
	cover = covers[len(linked)]
	total = dot(cover, worth)

	present = make([]float64, len(w.pull))
	for c := range present {
		if both := w.off[c] + w.on[c]; both > 0 {
			present[c] = float64(total * (w.on[c] / both)) // unless it is linked
		}
	}
	u, with := append([]float64(nil), worth...), make([]float64, size)
	for i := len(linked) - 1; i >= 0; i-- {
		c := linked[i]
		copy(with, u)
		lower(with, w.pull[c])
		present[c] = float64(w.on[c] * dot(covers[i], with))
		for j, x := range with {
			u[j] = float64(w.off[c]*u[j]) + float64(w.on[c]*x)
		}
	}
	return cover, total, present
}

func (r *reader) causes(to *[]FaultCause) func(n *node, pointer string) {
	return r.array(func(n *node, pointer string) {
		var c FaultCause
		r.object(n, pointer,
			member{"id", true, r.text(&c.ID)},
			member{"prior", true, r.number(&c.Prior)},
		)
		*to = append(*to, c)
	})
}

func (r *reader) observations(to *[]FaultObservation) func(n *node, pointer string) {
	return r.array(func(n *node, pointer string) {
		var o FaultObservation
		r.object(n, pointer,
			member{"id", true, r.text(&o.ID)},
			member{"leak", true, r.number(&o.Leak)},
			member{"links", true, r.table(&o.Links)},
		)
		*to = append(*to, o)
	})
}

func (r *reader) flags(to *Ordered[bool]) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		if !r.wants(n, pointer, "an object") {
			return
		}
		*to = Ordered[bool]{}
		for i, name := range n.keys {
			var v bool
			r.flag(&v)(n.values[i], key(pointer, name))
			*to = append(*to, Entry[bool]{name, v})
		}
	}
}
