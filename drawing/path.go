package drawing

import (
	"math"
	"strconv"
	"strings"
)

// Point is a place on the drawing, in mm.
type Point struct{ X, Y float64 }

// Step is one step of a path: M moves, L draws a line, C a cubic curve, Z
// closes. The last point that a step has is where it ends.
type Step struct {
	Op byte
	P  [3]Point
}

// Path is a line or an area. Where its parts overlap, the even-odd rule says
// what is inside.
type Path []Step

// points is how many points a step has.
func (s Step) points() int {
	switch s.Op {
	case 'C':
		return 3
	case 'M', 'L':
		return 1
	}
	return 0
}

// read reads a path of the tables, written as in SVG with the absolute steps
// M, L, C and Z alone. The tables are part of the program: what cannot be read
// is a fault of it, and panics.
func read(data string) Path {
	var out Path
	fields := strings.Fields(data)
	for i := 0; i < len(fields); {
		s := Step{Op: fields[i][0]}
		if strings.IndexByte("MLCZ", s.Op) < 0 || len(fields[i]) > 1 {
			panic("drawing: no such step: " + fields[i] + " in " + data)
		}
		i++
		for k := range s.points() {
			x, errX := strconv.ParseFloat(fields[i], 64)
			y, errY := strconv.ParseFloat(fields[i+1], 64)
			if errX != nil || errY != nil {
				panic("drawing: not a place: " + fields[i] + " " + fields[i+1])
			}
			s.P[k] = Point{x, y}
			i += 2
		}
		out = append(out, s)
		// As in SVG, what follows without a letter goes on in the same way.
		for s.Op == 'L' && i < len(fields) && !strings.ContainsAny(fields[i], "MLCZ") {
			x, _ := strconv.ParseFloat(fields[i], 64)
			y, _ := strconv.ParseFloat(fields[i+1], 64)
			out = append(out, Step{Op: 'L', P: [3]Point{{x, y}}})
			i += 2
		}
	}
	return out
}

// Data writes a path as SVG does, to the millimetre. What follows a move is
// counted from the point before, which is shorter; the points are rounded
// before, so that nothing adds up.
func (p Path) Data() string {
	var b []byte
	round := func(v float64) int64 { return int64(math.Round(v)) }
	number := func(v int64, first bool) {
		if !first && v >= 0 {
			b = append(b, ' ')
		}
		b = strconv.AppendInt(b, v, 10)
	}
	var x, y int64
	op := byte(0)
	for _, s := range p {
		n := s.points()
		first := true
		switch {
		case s.Op == 'M', s.Op == 'Z':
			b = append(b, s.Op)
			x, y = 0, 0
		case s.Op != op:
			b = append(b, s.Op+'a'-'A')
		default:
			first = false // goes on as before
		}
		op = s.Op
		for k := range n {
			number(round(s.P[k].X)-x, first && k == 0)
			number(round(s.P[k].Y)-y, false)
		}
		if n > 0 {
			x, y = round(s.P[n-1].X), round(s.P[n-1].Y)
		}
	}
	return string(b)
}

// mapped gives the path with every point moved.
func (p Path) mapped(to func(Point) Point) Path {
	out := make(Path, len(p))
	for i, s := range p {
		for k := range s.points() {
			s.P[k] = to(s.P[k])
		}
		out[i] = s
	}
	return out
}

// curveSteps is in how many lines a curve is cut where lines are needed.
const curveSteps = 10

// Lines cuts a path into lines: one list of points for each of its parts.
func (p Path) Lines() [][]Point {
	var out [][]Point
	for _, s := range p {
		if s.Op == 'M' {
			out = append(out, []Point{s.P[0]})
			continue
		}
		last := len(out) - 1
		from := out[last][len(out[last])-1]
		switch s.Op {
		case 'L':
			out[last] = append(out[last], s.P[0])
		case 'Z':
			out[last] = append(out[last], out[last][0])
		case 'C':
			for k := 1; k <= curveSteps; k++ {
				out[last] = append(out[last], cubic(from, s.P, float64(k)/curveSteps))
			}
		}
	}
	return out
}

func cubic(from Point, p [3]Point, t float64) Point {
	u := 1 - t
	a, b, c, d := u*u*u, 3*u*u*t, 3*u*t*t, t*t*t
	return Point{a*from.X + b*p[0].X + c*p[1].X + d*p[2].X, a*from.Y + b*p[0].Y + c*p[1].Y + d*p[2].Y}
}

// circle is a circle of four curves.
func circle(x, y, r float64) Path {
	return append(arc(x, y, r, 0, 360, true), Step{Op: 'Z'})
}

// ring is the area between two circles.
func ring(x, y, outer, inner float64) Path {
	return append(circle(x, y, outer), circle(x, y, inner)...)
}

// at is a place on a circle; degrees run against the clock from the right.
func at(x, y, r, degrees float64) Point {
	a := degrees * math.Pi / 180
	return Point{x + r*math.Cos(a), y - r*math.Sin(a)}
}

// arc is a part of a circle, from one angle to another in degrees; start says
// that it begins a path, and does not go on with a line.
func arc(x, y, r, from, to float64, start bool) Path {
	parts := math.Ceil(math.Abs(to-from) / 90)
	step := (to - from) / parts
	k := 4.0 / 3 * math.Tan(step*math.Pi/720) * r
	p := at(x, y, r, from)
	out := Path{{Op: 'L', P: [3]Point{p}}}
	if start {
		out[0].Op = 'M'
	}
	for i := range int(parts) {
		a, b := from+float64(i)*step, from+float64(i+1)*step
		p, q := at(x, y, r, a), at(x, y, r, b)
		ta, tb := at(0, 0, k, a+90), at(0, 0, k, b+90)
		out = append(out, Step{Op: 'C', P: [3]Point{{p.X + ta.X, p.Y + ta.Y}, {q.X - tb.X, q.Y - tb.Y}, q}})
	}
	return out
}

// band is a part of a ring, from one angle to another in degrees.
func band(x, y, outer, inner, from, to float64) Path {
	out := append(arc(x, y, outer, from, to, true), arc(x, y, inner, to, from, false)...)
	return append(out, Step{Op: 'Z'})
}

// tube is the outline of a bar of one width along a path without corners.
func tube(width float64, along string) Path { return taper(width, width, along) }

// taper is a tube whose width changes evenly from one end to the other.
func taper(from, to float64, along string) Path {
	line := read(along).Lines()[0]
	left, right := make(Path, 0, 2*len(line)+1), make([]Point, 0, len(line))
	for i, p := range line {
		a, b := line[max(i-1, 0)], line[min(i+1, len(line)-1)]
		long := math.Hypot(b.X-a.X, b.Y-a.Y)
		half := (from + (to-from)*float64(i)/float64(len(line)-1)) / 2
		dx, dy := -(b.Y-a.Y)/long*half, (b.X-a.X)/long*half
		left = append(left, Step{Op: 'L', P: [3]Point{{p.X + dx, p.Y + dy}}})
		right = append(right, Point{p.X - dx, p.Y - dy})
	}
	left[0].Op = 'M'
	for i := len(right) - 1; i >= 0; i-- {
		left = append(left, Step{Op: 'L', P: [3]Point{right[i]}})
	}
	return append(left, Step{Op: 'Z'})
}

// lines is a path of separate lines, four numbers each.
func lines(ends ...float64) Path {
	var out Path
	for i := 0; i+3 < len(ends); i += 4 {
		out = append(out, Step{Op: 'M', P: [3]Point{{ends[i], ends[i+1]}}}, Step{Op: 'L', P: [3]Point{{ends[i+2], ends[i+3]}}})
	}
	return out
}

// spokes are crossed spokes between a hub and a rim.
func spokes(x, y, hub, rim float64, pairs int) Path {
	var out Path
	for i := range pairs {
		a := 360 * float64(i) / float64(pairs)
		for _, lean := range []float64{-42, 42} {
			out = append(out, Step{Op: 'M', P: [3]Point{at(x, y, hub, a+lean)}}, Step{Op: 'L', P: [3]Point{at(x, y, rim, a)}})
			a += 180 / float64(pairs)
		}
	}
	return out
}

// coil is a spring seen from the side, as a line from one point to another.
func coil(a, b Point, width float64, turns int) Path {
	long := math.Hypot(b.X-a.X, b.Y-a.Y)
	dx, dy := -(b.Y-a.Y)/long*width/2, (b.X-a.X)/long*width/2
	out := Path{{Op: 'M', P: [3]Point{a}}}
	for i := range 2 * turns {
		t := (float64(i) + 0.5) / float64(2*turns)
		sign := float64(1 - 2*(i%2))
		out = append(out, Step{Op: 'L', P: [3]Point{{a.X + (b.X-a.X)*t + sign*dx, a.Y + (b.Y-a.Y)*t + sign*dy}}})
	}
	return append(out, Step{Op: 'L', P: [3]Point{b}})
}
