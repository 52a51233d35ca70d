package server

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ClocksDrawing is the record over two clocks: to the right when something was
// so, downwards when it was learned. Each mark is a line of the list beside it,
// under the same number.
type ClocksDrawing struct {
	Height string
	Bottom string // y of the axis
	Came   string // x of the day when the machine came here
	Ticks  []Mark2
	Marks  []ClockMark
	Text   string
}

// Mark2 is a label at a place of an axis.
type Mark2 struct {
	At, Label string
	End       bool
}

// ClockMark is one mark and its line: records of one kind that were learned on
// one day and were so at one time.
type ClockMark struct {
	N       int
	Learned string // the day, in words
	Was     string // when it was so, in words
	Kind    string // in words
	Shape   string // seen, paper, done, decided, proved or refused
	Texts   []string
	More    int // texts that are not told one by one
	// X and Y are the place; Width is that of a span, "" for a moment.
	X, Y, Width string
	Label       string // x of the number
	New         bool   // the first of its day: the day stands beside it
	Short       string // the day, short
}

// Title says a mark in one sentence.
func (m ClockMark) Title() string {
	return fmt.Sprintf("%d: was so %s, learned on %s: %s", m.N, m.Was, m.Learned, m.First())
}

// First is what the line begins with.
func (m ClockMark) First() string {
	if n := len(m.Texts) + m.More; n > 1 {
		return plural(n, "record", "records") + " (" + m.Kind + ")"
	}
	return upperFirst(m.Texts[0])
}

// Many says that the line gathers several records.
func (m ClockMark) Many() bool { return len(m.Texts)+m.More > 1 }

// textsTold is how many records of one mark are told one by one.
const textsTold = 4

// The drawing of the two clocks lies between these positions. What was before
// the machine came has the left part, what was since the right one, each on a
// scale of its own.
const (
	clockLeft, clockCame, clockRight = 64.0, 250.0, 388.0
	clockTop, clockRow               = 14.0, 16.0
)

// clockShapes says which kinds of record are drawn, and how.
var clockShapes = map[registry.Kind]string{"survey": "seen", "photo": "seen", "measurement": "seen", "joint": "seen", "finding": "seen", "survey-seal": "seen",
	"evidence": "paper", "fitting": "paper", "opened": "done", "work": "done", "removed-part": "done", "part-move": "done", "decision": "decided",
	"check": "proved", "gate": "proved", "hand-back": "proved"}

// clockWords say what each shape stands for.
var clockWords = map[string]string{"seen": "seen or photographed", "paper": "told by a paper or a part", "done": "opened, done or taken off",
	"decided": "decided by the owner", "proved": "tried and passed", "refused": "refused, or done unapproved"}

// clockItem is one record with both times.
type clockItem struct {
	h           workshop.Happened
	when        registry.Date
	first, last time.Time
	open        bool // it has no known end
	shape       string
}

// drawClocks draws the record; nil when nothing in it has both times.
func drawClocks(report *workshop.Report) *ClocksDrawing {
	items, came := clockItems(report)
	if len(items) == 0 {
		return nil
	}
	groups := gatherClock(items)
	oldest, newest := came, came
	for _, i := range items {
		if !i.first.IsZero() && i.first.Before(oldest) {
			oldest = i.first
		}
		if i.last.After(newest) {
			newest = i.last
		}
	}
	oldest = time.Date(oldest.Year()/10*10, 1, 1, 0, 0, 0, 0, time.UTC)
	if !newest.After(came) {
		newest = came.AddDate(0, 1, 0)
	}
	x := func(t time.Time) float64 {
		if t.Before(came) {
			return clockLeft + (clockCame-clockLeft)*share(t, oldest, came)
		}
		return clockCame + (clockRight-clockCame)*share(t, came, newest)
	}
	d := &ClocksDrawing{Came: xText(clockCame)}
	day := ""
	for n, g := range groups {
		m := ClockMark{N: n + 1, Learned: dayWords(g[0].h.Recorded), Was: dayWords(g[0].when), Kind: plainWords(g[0].h.Kind), Shape: g[0].shape, Short: g[0].h.Recorded.UTC().Format("2 Jan 06")}
		m.New, day = day != m.Short, m.Short
		for i, it := range g {
			if i < textsTold || len(g) == textsTold+1 {
				m.Texts = append(m.Texts, it.h.Text)
			} else {
				m.More++
			}
		}
		y := clockTop + clockRow*float64(n)
		from, to := x(g[0].first), x(g[0].last)
		m.X, m.Y = xText(from), xText(y)
		if to-from > 6 {
			m.Width = xText(to - from)
		}
		m.Label = xText(to + 8)
		if to > clockRight-14 {
			m.Label = xText(from - 16)
		}
		d.Marks = append(d.Marks, m)
	}
	bottom := clockTop + clockRow*float64(len(groups))
	d.Bottom, d.Height = xText(bottom), xText(bottom+28)
	d.Ticks = clockTicks(oldest, came, newest, x)
	d.Text = fmt.Sprintf("%s. To the right: when it was so, from %d to the day the machine came here, then day by day. Downwards: when it was learned, from %s to %s.",
		plural(len(groups), "mark", "marks"), oldest.Year(), d.Marks[0].Learned, d.Marks[len(d.Marks)-1].Learned)
	return d
}

// share is where a moment lies between two others, from 0 to 1.
func share(t, from, to time.Time) float64 {
	if span := to.Sub(from); span > 0 {
		return min(max(float64(t.Sub(from))/float64(span), 0), 1)
	}
	return 0
}

// clockItems are the records that have both times, and the day on which the
// machine came.
func clockItems(report *workshop.Report) ([]clockItem, time.Time) {
	made := map[string]registry.Date{}
	for _, e := range report.Evidence {
		made[e.ID] = e.Made
	}
	var came time.Time
	var out []clockItem
	for _, h := range report.Timeline {
		if came.IsZero() {
			came = h.Recorded.UTC().Truncate(24 * time.Hour)
		}
		shape := clockShapes[h.Kind]
		if h.Mark == "refused" || h.Mark == "unapproved" {
			shape = "refused"
		}
		it := clockItem{h: h, when: h.Valid, shape: shape}
		if h.Kind == "evidence" {
			it.when = made[h.Record]
		}
		span, err := it.when.Span()
		if shape == "" || it.when == "" || err != nil || h.Mark == "superseded" || h.Mark == "withdrawn" {
			continue
		}
		it.first, it.last = span.First, span.Last
		if it.last.IsZero() {
			it.open, it.last = true, h.Recorded.UTC()
		}
		if it.first.IsZero() {
			it.first = it.last
		}
		out = append(out, it)
	}
	return out, came
}

// gatherClock puts records of one kind together that were learned on one day
// and were so at one time, in the order in which they were learned, and within
// a day by when they were so.
func gatherClock(items []clockItem) [][]clockItem {
	var out [][]clockItem
	at := map[string]int{}
	for _, i := range items {
		key := i.h.Recorded.UTC().Format(time.DateOnly) + " " + string(i.when) + " " + string(i.h.Kind) + " " + i.h.Mark
		n, ok := at[key]
		if !ok {
			n = len(out)
			at[key] = n
			out = append(out, nil)
		}
		out[n] = append(out[n], i)
	}
	slices.SortStableFunc(out, func(a, b []clockItem) int {
		return cmp.Or(cmp.Compare(a[0].h.Recorded.UTC().Format(time.DateOnly), b[0].h.Recorded.UTC().Format(time.DateOnly)), a[0].first.Compare(b[0].first))
	})
	return out
}

// clockTicks are the decades before the machine came and the months since.
func clockTicks(oldest, came, newest time.Time, x func(time.Time) float64) []Mark2 {
	var out []Mark2
	step := 10
	for (came.Year()-oldest.Year())/step > 4 {
		step += 10
	}
	for y := oldest.Year(); y < came.Year(); y += step {
		at := x(time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC))
		if at < clockCame-40 {
			out = append(out, Mark2{At: xText(at), Label: itoa(y)})
		}
	}
	out = append(out, Mark2{At: xText(clockCame), Label: came.Format("Jan 06")})
	if at := x(newest); at > clockCame+60 {
		out = append(out, Mark2{At: xText(at), Label: newest.Format("Jan 06"), End: true})
	}
	return out
}
