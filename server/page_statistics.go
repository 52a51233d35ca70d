package server

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"example.org/asfound/figure"
	"example.org/asfound/workshop"
)

// StatisticsPage shows figures over the machines on record.
type StatisticsPage struct {
	Base
	Statistics *workshop.Statistics // nil when there are too few
	Refused    string
	Decades    *CountsDrawing
	Spreads    []CountsDrawing
	Groups     []ShareGroupView
}

// CountsDrawing is a row of bars with the same in words and in a table.
type CountsDrawing struct {
	ID, Title string
	Text      string
	Bars      []CountBar
}

// CountBar is one bar, what it is of, and how many.
type CountBar struct {
	X, Y, Width, Height, Middle string
	Label                       string // under the bar
	Name                        string // in the table
	Count                       int
}

// ShareGroupView is a group of components with their shares drawn.
type ShareGroupView struct {
	workshop.ShareGroup
	Rows []ShareRow
}

// ShareRow is one component.
type ShareRow struct {
	Name             string
	Original, Finish *ShareView
}

// ShareView is a share with its interval, in words and as a bar.
type ShareView struct {
	Count, Looked    int
	Share, Low, High float64
	X, Width, At     string
}

// The bars of counts are drawn between these positions; y runs downwards.
const (
	countsLeft, countsWidth = 8.0, 384.0
	countsTop, countsHeight = 14.0, 96.0
)

// drawCounts draws counts with a label each; names say the same in the table.
func drawCounts(id, title string, counts []int, labels, names []string) *CountsDrawing {
	d := &CountsDrawing{ID: id, Title: title}
	sum := 0
	for i, b := range figure.OfCounts(counts) {
		h := countsHeight * b.Height
		d.Bars = append(d.Bars, CountBar{X: xText(countsLeft + countsWidth*b.Left), Width: xText(countsWidth * (b.Right - b.Left)), Y: xText(countsTop + countsHeight - h), Height: xText(h),
			Middle: xText(countsLeft + countsWidth*(b.Left+b.Right)/2), Label: labels[i], Name: names[i], Count: counts[i]})
		sum += counts[i]
	}
	d.Text = plural(sum, "machine", "machines")
	return d
}

// tenthNames are the tenths of a figure from 0 to 1.
func tenthNames() (labels, names []string) {
	for i := range 10 {
		labels = append(labels, strconv.FormatFloat(float64(i)/10, 'f', 1, 64))
		names = append(names, fmt.Sprintf("%.1f to %.1f", float64(i)/10, float64(i+1)/10))
	}
	return labels, names
}

func spreadDrawing(id, title string, s workshop.Spread) []CountsDrawing {
	if s.Tenths == nil {
		return nil
	}
	labels, names := tenthNames()
	return []CountsDrawing{*drawCounts(id, title, s.Tenths, labels, names)}
}

// decadesDrawing draws the decades, those without a machine too; nil when some
// may not be told, since a gap would say that there is none.
func decadesDrawing(groups []workshop.Group) *CountsDrawing {
	at := map[int]int{}
	first, last := 0, 0
	for _, g := range groups {
		decade, err := strconv.Atoi(g.Name)
		switch {
		case g.Together > 0:
			return nil
		case err != nil:
			continue
		case first == 0:
			first = decade
		}
		at[decade], last = g.Machines, decade
	}
	if len(at) < 2 {
		return nil
	}
	var counts []int
	var labels []string
	for decade := first; decade <= last; decade += 10 {
		counts, labels = append(counts, at[decade]), append(labels, itoa(decade))
	}
	return drawCounts("decades", "Machines by the decade in which they were built", counts, labels, labels)
}

func shareView(c workshop.CountOf, low, high, share float64) *ShareView {
	return &ShareView{Count: c.Count, Looked: c.Looked, Share: share, Low: low, High: high,
		X: xText(120 * low), Width: xText(max(1, 120*(high-low))), At: xText(120 * share)}
}

func shareGroups(groups []workshop.ShareGroup) []ShareGroupView {
	var out []ShareGroupView
	for _, g := range groups {
		v := ShareGroupView{ShareGroup: g}
		for _, c := range g.Components {
			row := ShareRow{Name: c.Name}
			if s := c.Share; s != nil {
				row.Original = shareView(c.Original, s.Low, s.High, s.Share)
			}
			if s := c.Finish; s != nil {
				row.Finish = shareView(c.Untouched, s.Low, s.High, s.Share)
			}
			v.Rows = append(v.Rows, row)
		}
		out = append(out, v)
	}
	return out
}

// statisticsQuestion reads a query. Whoever does not keep the registry, where
// people are told apart, is told of no small group.
func (s *Server) statisticsQuestion(r *http.Request) workshop.StatisticsQuestion {
	q := workshop.StatisticsQuestion{Make: strings.TrimSpace(r.URL.Query().Get("make")), Model: strings.TrimSpace(r.URL.Query().Get("model"))}
	if s.accounts() && !infoOf(r).who.Has("", keepers...) {
		q.Least = workshop.LeastCell
	}
	return q
}

func pageStatistics(s *Server, r *http.Request) (answer, error) {
	q := s.statisticsQuestion(r)
	page := StatisticsPage{Base: Base{Title: "What the register holds", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}}
	out, err := s.Workshop.Statistics(r.Context(), q)
	switch {
	case err == nil:
	case mendable(err):
		page.Refused = sentence(messageOf(err))
		return htmlAnswer{name: "statistics", page: page}, nil
	default:
		return nil, err
	}
	page.Statistics, page.Groups, page.Decades = out, shareGroups(out.Groups), decadesDrawing(out.Decades)
	if out.Model != "" {
		page.Crumbs = append(page.Crumbs, Crumb{"What the register holds", "/statistics"})
	}
	page.Spreads = append(page.Spreads, spreadDrawing("substance", "Index of substance as found, when the survey was sealed", out.Substance)...)
	page.Spreads = append(page.Spreads, spreadDrawing("surface", "Index of surface as found, when the survey was sealed", out.Surface)...)
	page.Spreads = append(page.Spreads, spreadDrawing("correctness", "Index of correctness as found, when the survey was sealed", out.Correctness)...)
	page.Spreads = append(page.Spreads, spreadDrawing("covered", "Share of the components surveyed, of surveys that have begun", out.Covered)...)
	return htmlAnswer{name: "statistics", page: page}, nil
}

// ModelLink leads to the figures of one model.
func (p StatisticsPage) ModelLink(g workshop.Group) string {
	return "/statistics?make=" + strings.ReplaceAll(url.QueryEscape(g.Make), "+", "%20") + "&model=" + strings.ReplaceAll(url.QueryEscape(g.Model), "+", "%20")
}

var statisticsQuery = []parameter{{"make", "string", "Of this make and model alone."}, {"model", "string", "Of this make and model alone."}}

func apiStatistics(s *Server, r *http.Request) (answer, error) {
	out, err := s.Workshop.Statistics(r.Context(), s.statisticsQuestion(r))
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: out}, nil
}
