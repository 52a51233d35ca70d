package drawing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// layouts are all that can be drawn.
func layouts() []Layout {
	var out []Layout
	for _, side := range []string{Left, Right} {
		for _, engine := range []string{Single, Twin} {
			for _, rear := range []string{Rigid, Plunger, Swinging} {
				for _, front := range []string{Telescopic, Girder} {
					out = append(out, Layout{side, engine, rear, front})
				}
			}
		}
	}
	return out
}

// byGroup draws a layout.
func byGroup(t *testing.T, l Layout) map[string]Region {
	t.Helper()
	out := map[string]Region{}
	for _, r := range Draw(l) {
		require.NotContains(t, out, r.Group)
		out[r.Group] = r
	}
	return out
}

// TestEveryGroupHasAPlace asks that each group of the anatomy that sits
// somewhere is drawn and can be touched on one side or the other, whatever the
// machine. A rigid rear end has no suspension; finishes, transfers, fixings and
// papers are everywhere and nowhere.
func TestEveryGroupHasAPlace(t *testing.T) {
	for _, l := range layouts() {
		l.Side = Left
		one := byGroup(t, l)
		l.Side = Right
		other := byGroup(t, l)
		require.Len(t, one, 17)
		for _, group := range order {
			places := len(one[group].Touch) + len(other[group].Touch)
			shapes := len(one[group].Shapes) + len(other[group].Shapes)
			if group == "finishes" || group == "rear-suspension" && l.Rear == Rigid {
				require.Zero(t, places+shapes, "%s %v", group, l)
				continue
			}
			require.NotZero(t, places, "%s cannot be touched: %v", group, l)
			require.NotZero(t, shapes, "%s is not drawn: %v", group, l)
		}
	}
}

// TestFieldsAreAFingerWide: 44 px of a view that is 390 px wide (WCAG 2.2,
// 2.5.5), and no other group's field takes any of it away.
func TestFieldsAreAFingerWide(t *testing.T) {
	require.GreaterOrEqual(t, FingerSize*390/View.W, 44.0)
	for _, l := range layouts() {
		regions := Draw(l)
		for i, r := range regions {
			if len(r.Touch) == 0 {
				continue
			}
			main := r.Touch[0]
			require.GreaterOrEqual(t, main.W, FingerSize, "%s %v", r.Group, l)
			require.GreaterOrEqual(t, main.H, FingerSize, "%s %v", r.Group, l)
			require.True(t, within(main), "%s leaves the view: %v", r.Group, l)
			require.True(t, drawnIn(r, main), "%s is touched where nothing of it is drawn: %v", r.Group, l)
			for k, other := range regions {
				for _, f := range other.Touch {
					require.False(t, k != i && meet(main, f), "%s takes room from %s: %v", other.Group, r.Group, l)
				}
			}
		}
	}
}

func within(r Rect) bool {
	return r.X >= View.X && r.Y >= View.Y && r.X+r.W <= View.X+View.W && r.Y+r.H <= View.Y+View.H
}

func meet(a, b Rect) bool { return a.X < b.X+b.W && b.X < a.X+a.W && a.Y < b.Y+b.H && b.Y < a.Y+a.H }

func drawnIn(r Region, f Rect) bool {
	for _, s := range r.Shapes {
		for _, line := range s.Path.Lines() {
			for i := range line[1:] {
				for t := range 10 {
					a, b, share := line[i], line[i+1], float64(t)/10
					if f.Contains(Point{a.X + (b.X-a.X)*share, a.Y + (b.Y-a.Y)*share}) {
						return true
					}
				}
			}
		}
	}
	return false
}

// TestShapesStayInView: no point of any shape is cut off.
func TestShapesStayInView(t *testing.T) {
	for _, l := range layouts() {
		for _, r := range Draw(l) {
			for i, s := range r.Shapes {
				for _, line := range s.Path.Lines() {
					for _, p := range line {
						require.True(t, View.Contains(p), "%s %d at %v: %v", r.Group, i, p, l)
					}
				}
			}
		}
	}
}

// TestProportions holds the machine to the measures that it is said to have: a
// wheelbase of 1400 mm, and tyres of a 19 inch rim, which is 483 mm across the
// bead seat, with some 80 mm of tyre all round.
func TestProportions(t *testing.T) {
	require.InDelta(t, 1400, frontX-rearX, 30)
	require.InDelta(t, 483+2*80, 2*tyreR, 15)
}

// TestSidesAreMirrored: the same machine from the other side, with what differs.
func TestSidesAreMirrored(t *testing.T) {
	l := Layout{Engine: Single, Rear: Plunger, Front: Girder}
	l.Side = Right
	right := byGroup(t, l)
	l.Side = Left
	left := byGroup(t, l)
	mid := View.X + View.W/2
	require.Greater(t, right["electrical"].Touch[0].X, mid, "the head lamp is to the right")
	require.Less(t, left["electrical"].Touch[0].X, mid)
	for _, group := range []string{"lubrication", "ignition", "exhaust"} {
		require.NotEmpty(t, right[group].Shapes, group)
		require.Empty(t, left[group].Shapes, group)
	}
	require.NotEmpty(t, left["primary"].Shapes)
	require.Empty(t, right["primary"].Shapes)
	l.Engine = Twin
	require.NotEmpty(t, byGroup(t, l)["exhaust"].Shapes, "a twin has a pipe on either side")
	// The tables are not touched by drawing.
	l.Engine, l.Side = Single, Right
	require.Equal(t, right, byGroup(t, l))
}

func TestSettled(t *testing.T) {
	require.Equal(t, Layout{Right, Single, Rigid, Telescopic}, Layout{Side: "up", Engine: "six", Rear: "?"}.Settled())
	require.Equal(t, Layout{Left, Twin, Swinging, Girder}, Layout{Left, Twin, Swinging, Girder}.Settled())
}

func TestData(t *testing.T) {
	require.Equal(t, "M1 2l2 2 2-1c-4-4-3-3-2-2ZM-9 9l1 1", read("M 1 2 L 3 4 5 3 C 1 -1 2 0 3 1.2 Z M -9 9 L -8 10").Data())
	for _, wrong := range []string{"Q 1 2 3 4", "M 1", "M 1 x", "ML 1 2"} {
		require.Panics(t, func() { read(wrong) }, wrong)
	}
}

// TestCircle: four curves stay within 0.03 % of the radius (the known error of
// a quarter circle by one cubic curve is 0.027 %).
func TestCircle(t *testing.T) {
	for _, p := range circle(10, 20, 1000).Lines()[0] {
		require.InDelta(t, 1000, math.Hypot(p.X-10, p.Y-20), 0.3)
	}
}

// TestHatch: the lines across a square of 100 mm at every 10 mm are ten of
// 100 mm, and those across a ring miss its hole.
func TestHatch(t *testing.T) {
	square := read("M 0 0 L 100 0 L 100 100 L 0 100 Z")
	require.InDelta(t, 1000, length(square.Hatch(0, 10)), 1)
	require.InDelta(t, 1000, length(square.Hatch(90, 10)), 1)
	// Slanting, they cover area over distance: 100·100/10.
	require.InDelta(t, 1000, length(square.Hatch(45, 10)), 20)
	// π(50² − 30²)/2 = 2513.
	require.InDelta(t, 2513, length(ring(0, 0, 50, 30).Hatch(45, 2)), 40)
	require.Empty(t, Path(nil).Hatch(45, 10))
	require.Len(t, square.Dots(10, 2), 100, "ten rows of ten")
	for _, p := range ring(0, 0, 50, 30).Dots(4, 2) {
		require.True(t, math.Hypot(p.X, p.Y) > 30 && math.Hypot(p.X, p.Y) < 50, "%v lies outside", p)
	}
}

func length(list [][2]Point) float64 {
	sum := 0.0
	for _, s := range list {
		sum += math.Hypot(s[1].X-s[0].X, s[1].Y-s[0].Y)
	}
	return sum
}

func BenchmarkDraw(b *testing.B) {
	for b.Loop() {
		if len(Draw(Layout{})) == 0 {
			b.Fatal("nothing is drawn")
		}
	}
}
