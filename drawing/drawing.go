package drawing

import "slices"

// The sides from which the machine is seen.
const (
	Left  = "left"
	Right = "right"
)

// The engines that are drawn.
const (
	Single = "single"
	Twin   = "twin" // two cylinders side by side
)

// The rear ends that are drawn.
const (
	Rigid    = "rigid"
	Plunger  = "plunger"
	Swinging = "swinging-fork"
)

// The front forks that are drawn.
const (
	Telescopic = "telescopic"
	Girder     = "girder"
)

// Layout says which machine is drawn, and from which side.
type Layout struct{ Side, Engine, Rear, Front string }

// Settled replaces what is not known here by what is drawn when nobody says
// otherwise: the right side of a single with a rigid frame and a telescopic
// fork.
func (l Layout) Settled() Layout {
	settle := func(word *string, first string, others ...string) {
		if !slices.Contains(others, *word) {
			*word = first
		}
	}
	settle(&l.Side, Right, Left)
	settle(&l.Engine, Single, Twin)
	settle(&l.Rear, Rigid, Plunger, Swinging)
	settle(&l.Front, Telescopic, Girder)
	return l
}

// Kind says how a shape is drawn.
type Kind int

const (
	// Area is filled with the shade of its group, and outlined.
	Area Kind = iota
	// Line is drawn in ink, as thick as an outline.
	Line
	// Fine is a thin line: fins, spokes, seams.
	Fine
)

// Shape is one thing that is drawn.
type Shape struct {
	Kind Kind
	Path Path
}

// Rect is a field, in mm.
type Rect struct{ X, Y, W, H float64 }

// Contains says whether a point lies within.
func (r Rect) Contains(p Point) bool {
	return p.X >= r.X && p.X <= r.X+r.W && p.Y >= r.Y && p.Y <= r.Y+r.H
}

// Region is a group of the anatomy as it is drawn. Later regions lie over
// earlier ones.
type Region struct {
	Group  string
	Shapes []Shape
	// Touch are the fields that stand for the group under a finger, the main
	// one first; none for a group that has no place of its own on this side.
	Touch []Rect
}

// View is the field that is drawn.
var View = Rect{14, 75, 2132, 1085}

// FingerSize is the least side of a field to touch, in mm of the machine: 44 px
// when the view is 390 px wide.
const FingerSize = 241.0

// mirror turns the right side into the left one.
const mirror = 2*14 + 2132

// Draw gives the regions in the order in which they are drawn. What is not
// known in the layout is settled.
func Draw(l Layout) []Region {
	l = l.Settled()
	var out []Region
	for _, group := range order {
		r := Region{Group: group}
		for _, row := range tables[group] {
			if row.when.holds(l) {
				r.Shapes = append(r.Shapes, Shape{row.kind, row.path})
			}
		}
		for _, row := range touch[group] {
			if row.when.holds(l) {
				r.Touch = append(r.Touch, row.field)
			}
		}
		if l.Side == Left {
			r.flip()
		}
		out = append(out, r)
	}
	return out
}

// flip mirrors a region.
func (r *Region) flip() {
	for i, s := range r.Shapes {
		r.Shapes[i].Path = s.Path.mapped(func(p Point) Point { return Point{mirror - p.X, p.Y} })
	}
	for i, t := range r.Touch {
		r.Touch[i].X = mirror - t.X - t.W
	}
}

// only says for which layouts a row of a table is drawn: an empty list allows
// every word.
type only []string

func (o only) holds(l Layout) bool {
	for _, aspect := range [...]struct {
		is    string
		words []string
	}{{l.Side, []string{Left, Right}}, {l.Engine, []string{Single, Twin}}, {l.Rear, []string{Rigid, Plunger, Swinging}}, {l.Front, []string{Telescopic, Girder}}} {
		asked := func(w string) bool { return slices.Contains(aspect.words, w) }
		if slices.ContainsFunc(o, asked) && !slices.Contains(o, aspect.is) {
			return false
		}
	}
	return true
}

// row is one row of a table of shapes.
type row struct {
	kind Kind
	when only
	path Path
}

// field is one row of the table of fields to touch.
type field struct {
	when  only
	field Rect
}
