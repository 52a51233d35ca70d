package scoring

import (
	"cmp"
	"math"
	"slices"
)

// MaxLattice is the largest number of steps of an exact lattice. A finer input
// is quantised to QuantisedSteps steps, and the result says so.
const (
	MaxLattice     = 200_000
	QuantisedSteps = 50_000
)

// maxScale is the finest decimal that is tried: six places.
const maxScale = 1_000_000

// Lattice says on which grid a distribution was computed.
type Lattice struct {
	// Step is the distance of neighbouring grid points, in points of weight.
	Step float64 `json:"step"`
	// Exact is true when every value lies on the grid. Otherwise each value
	// was shared between its two neighbours so that its mean is kept; a
	// quantile may then be off by about one step for each part.
	Exact bool `json:"exact"`
}

// outcome is one value that a part may contribute, in points, and its
// probability.
type outcome struct{ value, p float64 }

// moments gives mean and variance.
func moments(out []outcome) (mean, variance float64) {
	for _, o := range out {
		mean += float64(o.p * o.value)
	}
	for _, o := range out {
		d := o.value - mean
		variance += float64(o.p * float64(d*d))
	}
	return mean, variance
}

// lump is probability at a number of lattice steps above a part's lowest value.
type lump struct {
	offset int
	p      float64
}

// grid is a common lattice for several parts. The lowest values of all parts
// together are its point 0.
type grid struct {
	scale float64   // lattice values are whole numbers of 1/scale points; 0 when quantised
	unit  int64     // and then whole multiples of unit above the lowest
	step  float64   // in points
	low   []float64 // the lowest value of each part, in points
	base  int64     // their sum in 1/scale points, when exact
	floor float64   // their sum in points
	size  int       // the number of lattice points
}

// fit finds the coarsest lattice that holds every value of every part.
func fit(parts [][]outcome) grid {
	g := grid{low: make([]float64, len(parts))}
	width := 0.0
	for i, out := range parts {
		low, high := out[0].value, out[0].value
		for _, o := range out {
			low, high = min(low, o.value), max(high, o.value)
		}
		g.low[i] = low
		g.floor += low
		width += high - low
	}
	for scale := 1.0; scale <= maxScale; scale = float64(scale * 10) {
		if g.exact(parts, scale) {
			return g
		}
	}
	g.scale, g.step = 0, width/QuantisedSteps
	if g.step < 1e-290 {
		g.step = 1 // all values of each part agree: any step will do
	}
	for i, out := range parts {
		high := out[0].value
		for _, o := range out {
			high = max(high, o.value)
		}
		g.size += int(math.Ceil((high-g.low[i])/g.step)) + 1
	}
	g.size++
	return g
}

// exact tries one scale and fills in the grid when it serves.
func (g *grid) exact(parts [][]outcome, scale float64) bool {
	var unit, base, width int64
	for i, out := range parts {
		low, ok := whole(g.low[i], scale)
		if !ok {
			return false
		}
		base += low
		high := low
		for _, o := range out {
			n, ok := whole(o.value, scale)
			if !ok {
				return false
			}
			unit = divisor(unit, n-low)
			high = max(high, n)
		}
		width += high - low
	}
	unit = max(unit, 1)
	if width/unit > MaxLattice {
		return false
	}
	g.scale, g.unit, g.base, g.step = scale, unit, base, float64(unit)/scale
	g.size = int(width/unit) + 1
	return true
}

// whole is value × scale when that is a whole number but for rounding.
func whole(value, scale float64) (int64, bool) {
	x := float64(value * scale)
	n := math.Round(x)
	if math.Abs(n) > 1<<40 || math.Abs(x-n) > float64(1e-12*max(1, math.Abs(x))) {
		return 0, false
	}
	return int64(n), true
}

// divisor is the greatest common divisor.
func divisor(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// value is the value of a lattice point, in points of weight.
func (g *grid) value(point int) float64 {
	if g.scale == 0 {
		return g.floor + float64(float64(point)*g.step)
	}
	return float64(g.base+int64(point)*g.unit) / g.scale
}

func (g *grid) lattice() Lattice { return Lattice{Step: g.step, Exact: g.scale != 0} }

// place puts the outcomes of part i on the lattice: sorted, merged, without
// zeros.
func (g *grid) place(i int, out []outcome) []lump {
	lumps := make([]lump, 0, len(out)+1)
	var low int64
	if g.scale != 0 {
		low, _ = whole(g.low[i], g.scale)
	}
	for _, o := range out {
		if g.scale != 0 {
			n, _ := whole(o.value, g.scale)
			lumps = append(lumps, lump{int((n - low) / g.unit), o.p})
			continue
		}
		x := (o.value - g.low[i]) / g.step
		below := math.Floor(x)
		lumps = append(lumps, lump{int(below), float64(o.p * (1 - (x - below)))},
			lump{int(below) + 1, float64(o.p * (x - below))})
	}
	return merged(lumps)
}

// group is parts that stand or fall together: with probability p each is as in
// first, otherwise each is as in second. A part by itself is a group with p = 1.
type group struct {
	p             float64
	first, second [][]lump
}

// strip is a distribution being built: probability of point low+k at
// cells[pad+k]. The pad before it is always zero, so that a part can be folded
// in without a test for the edge.
type strip struct {
	cells []float64
	n     int
	low   int
}

// folder folds parts, to and fro between two strips.
type folder struct {
	pad       int
	to, spare *strip
}

// convolve gives the exact distribution of the sum of all groups: the lattice
// point of p[0], and the probabilities.
//
// It folds the sparse parts into one dense strip. Both states of a switched
// group are folded into copies of the strip and the copies are mixed, which
// costs far less than a product of two dense strips. Groups that add little
// length for much work come first (Smith's rule for weighted completion
// times), ties in input order, so the order of every sum follows from the
// input alone.
func convolve(groups []group, size int) (low int, p []float64) {
	pad := 0
	for i, g := range groups {
		groups[i] = single(g)
		for _, l := range groups[i].first {
			pad = max(pad, span(l))
		}
		for _, l := range groups[i].second {
			pad = max(pad, span(l))
		}
	}
	slices.SortStableFunc(groups, func(a, b group) int {
		lengthA, workA := effort(a)
		lengthB, workB := effort(b)
		return cmp.Compare(lengthA*workB, lengthB*workA)
	})
	strip := func() *strip { return &strip{cells: make([]float64, pad+size+pad)} }
	one := folder{pad: pad, to: strip(), spare: strip()}
	// A switched group leaves its first answer in a strip of one folder while
	// the other works.
	var two *folder
	now := strip()
	now.cells[pad] = 1
	now.n = 1
	for _, g := range groups {
		switch g.p {
		case 1:
			now = one.foldInto(now, g.first)
		case 0:
			now = one.foldInto(now, g.second)
		default:
			if two == nil {
				two = &folder{pad: pad, to: strip(), spare: strip()}
			}
			mix(now, pad, g.p, one.fold(now, g.first), two.fold(now, g.second))
		}
	}
	return now.low, now.cells[pad : pad+now.n]
}

// single turns a switched group of one part into a part by itself, and sorts
// the parts of a larger one.
func single(g group) group {
	if len(g.first) == 1 && len(g.second) == 1 {
		lumps := make([]lump, 0, len(g.first[0])+len(g.second[0]))
		for _, l := range g.first[0] {
			lumps = append(lumps, lump{l.offset, float64(g.p * l.p)})
		}
		for _, l := range g.second[0] {
			lumps = append(lumps, lump{l.offset, float64((1 - g.p) * l.p)})
		}
		return group{p: 1, first: [][]lump{merged(lumps)}}
	}
	for _, parts := range [][][]lump{g.first, g.second} {
		slices.SortStableFunc(parts, func(a, b []lump) int { return cmp.Compare(span(a)*len(b), span(b)*len(a)) })
	}
	return g
}

// merged sorts lumps by offset, adds up those at one offset and drops zeros.
func merged(lumps []lump) []lump {
	slices.SortStableFunc(lumps, func(a, b lump) int { return cmp.Compare(a.offset, b.offset) })
	kept := lumps[:0]
	for _, l := range lumps {
		switch {
		case l.p == 0:
		case len(kept) > 0 && kept[len(kept)-1].offset == l.offset:
			kept[len(kept)-1].p += l.p
		default:
			kept = append(kept, l)
		}
	}
	return kept
}

// span is the length that a part adds.
func span(part []lump) int { return part[len(part)-1].offset - part[0].offset }

// effort is how much length a group adds, and the work for one cell.
func effort(g group) (length, work int) {
	for _, parts := range [][][]lump{g.first, g.second} {
		own := 0
		for _, l := range parts {
			own += l[len(l)-1].offset
			work += len(l)
		}
		length = max(length, own)
	}
	return length, work
}

// fold folds parts into a copy of from, which stays as it is. The answer is one
// of the folder's own strips.
func (f *folder) fold(from *strip, parts [][]lump) *strip {
	now, shift := from, 0
	for _, part := range parts {
		if len(part) == 1 && part[0].p == 1 {
			shift += part[0].offset // a certain value only moves the strip
			continue
		}
		first, last := part[0].offset, part[len(part)-1].offset
		f.to.low, f.to.n = now.low+first, now.n+last-first
		clear(now.cells[f.pad+now.n : f.pad+f.to.n]) // read below, and a strip may have held more before
		out := f.to.cells[f.pad : f.pad+f.to.n]
		for i := 0; i < len(part); i += 8 {
			gather(out, now.cells, f.pad+first, part[i:min(i+8, len(part))], i > 0)
		}
		now = f.to
		f.to, f.spare = f.spare, f.to
	}
	if now == from {
		f.to.low, f.to.n = from.low, from.n
		copy(f.to.cells[f.pad:f.pad+f.to.n], from.cells[f.pad:])
		now = f.to
		f.to, f.spare = f.spare, f.to
	}
	now.low += shift
	return now
}

// foldInto is fold when from is needed no more: it becomes one of the folder's
// strips in exchange for the answer.
func (f *folder) foldInto(from *strip, parts [][]lump) *strip {
	now := f.fold(from, parts)
	f.spare = from // fold left its answer there
	return now
}

// gather sets out[k], or adds to it, Σ p·cells[start+k−offset] over up to eight
// lumps. Missing lumps count with probability 0. The sum has one fixed shape.
func gather(out, cells []float64, start int, part []lump, add bool) {
	if add {
		for _, l := range part {
			from := cells[start-l.offset:][:len(out)]
			for k := range out {
				out[k] += float64(l.p * from[k])
			}
		}
		return
	}
	var p [8]float64
	var s [8][]float64
	for j := range s {
		at := start - part[0].offset
		if j < len(part) {
			p[j] = part[j].p
			at = start - part[j].offset
		}
		s[j] = cells[at:][:len(out)]
	}
	gather8(out, &s, &p, gatherWide(out, &s, &p))
}

// gather8 does the cells from k on. It is where an index spends its time, so
// processors that can do several cells at once do most of them in gatherWide,
// with the same bits.
func gather8(out []float64, s *[8][]float64, p *[8]float64, k int) {
	n := len(out)
	a, b, c, d := s[0][:n], s[1][:n], s[2][:n], s[3][:n]
	e, f, g, h := s[4][:n], s[5][:n], s[6][:n], s[7][:n]
	pa, pb, pc, pd, pe, pf, pg, ph := p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7]
	for ; k < n; k++ {
		out[k] = ((float64(pa*a[k]) + float64(pb*b[k])) + (float64(pc*c[k]) + float64(pd*d[k]))) +
			((float64(pe*e[k]) + float64(pf*f[k])) + (float64(pg*g[k]) + float64(ph*h[k])))
	}
}

// mix puts p·a + (1−p)·b into to.
func mix(to *strip, pad int, p float64, a, b *strip) {
	to.low = min(a.low, b.low)
	to.n = max(a.low+a.n, b.low+b.n) - to.low
	out := to.cells[pad : pad+to.n]
	from, until := a.low-to.low, a.low-to.low+a.n
	clear(out[:from])
	clear(out[until:])
	for k, v := range a.cells[pad : pad+a.n] {
		out[from+k] = float64(p * v)
	}
	rest := out[b.low-to.low:]
	for k, v := range b.cells[pad : pad+b.n] {
		rest[k] += float64((1 - p) * v)
	}
}

// spread is a finished distribution on a grid.
type spread struct {
	grid
	first int // the lattice point of p[0]
	p     []float64
	count int // points with probability above 0
}

func spreadOf(g grid, groups []group) spread {
	low, p := convolve(groups, g.size)
	s := spread{grid: g, first: low, p: p}
	for _, v := range p {
		if v > 0 {
			s.count++
		}
	}
	return s
}

// at is the value of p[k], in points.
func (s *spread) at(k int) float64 { return s.value(s.first + k) }

// quantiles gives, for each q in rising order, the smallest value whose
// cumulative probability reaches q. 1e-12 is allowed for rounding, so that two
// halves reach one half.
func (s *spread) quantiles(q ...float64) []float64 {
	out := make([]float64, 0, len(q))
	sum, last := 0.0, 0
	for k, v := range s.p {
		if v == 0 {
			continue
		}
		sum += v
		last = k
		for len(out) < len(q) && sum >= q[len(out)]-1e-12 {
			out = append(out, s.at(k))
		}
	}
	for len(out) < len(q) {
		out = append(out, s.at(last))
	}
	return out
}
