package drawing

import (
	"math"
	"slices"
)

// Hatch gives the lines that hatch an area, at an angle in degrees against the
// clock from level, so many mm apart. The distance is more than 0. Lines of all
// areas lie on one grid, so that neighbours of one shade run into each other.
func (p Path) Hatch(angle, apart float64) [][2]Point {
	a := angle * math.Pi / 180
	cos, sin := math.Cos(a), math.Sin(a)
	// Turned until the lines lie level.
	turn := func(q Point) Point { return Point{q.X*cos - q.Y*sin, q.X*sin + q.Y*cos} }
	back := func(q Point) Point { return Point{q.X*cos + q.Y*sin, -q.X*sin + q.Y*cos} }
	var edges [][2]Point
	low, high := math.Inf(1), math.Inf(-1)
	for _, line := range p.Lines() {
		for i := range line {
			// An open part is closed, as when it is filled.
			from, to := turn(line[i]), turn(line[(i+1)%len(line)])
			edges = append(edges, [2]Point{from, to})
			low, high = min(low, from.Y), max(high, from.Y)
		}
	}
	var out [][2]Point
	if len(edges) == 0 {
		return out
	}
	for n := math.Ceil(low/apart - 0.5); (n+0.5)*apart < high; n++ {
		y := (n + 0.5) * apart
		var cuts []float64
		for _, e := range edges {
			if (e[0].Y <= y) != (e[1].Y <= y) {
				cuts = append(cuts, e[0].X+(e[1].X-e[0].X)*(y-e[0].Y)/(e[1].Y-e[0].Y))
			}
		}
		slices.Sort(cuts)
		for i := 0; i+1 < len(cuts); i += 2 {
			out = append(out, [2]Point{back(Point{cuts[i], y}), back(Point{cuts[i+1], y})})
		}
	}
	return out
}

// Dots gives places on a staggered grid within an area, so many mm apart and at
// least so many mm from its edge to each side, above and below.
func (p Path) Dots(apart, edge float64) []Point {
	var out []Point
	for _, line := range p.Hatch(0, apart) {
		y := line[0].Y
		shift := 0.25
		if int(math.Floor(y/apart))%2 == 0 {
			shift = 0.75
		}
		for n := math.Ceil((line[0].X+edge)/apart - shift); (n+shift)*apart <= line[1].X-edge; n++ {
			q := Point{(n + shift) * apart, y}
			if p.contains(Point{q.X, y - edge}) && p.contains(Point{q.X, y + edge}) {
				out = append(out, q)
			}
		}
	}
	return out
}

// contains says whether a point lies within an area, by the even-odd rule.
func (p Path) contains(q Point) bool {
	inside := false
	for _, line := range p.Lines() {
		for i, a := range line {
			b := line[(i+1)%len(line)]
			if (a.Y <= q.Y) != (b.Y <= q.Y) && q.X < a.X+(b.X-a.X)*(q.Y-a.Y)/(b.Y-a.Y) {
				inside = !inside
			}
		}
	}
	return inside
}
