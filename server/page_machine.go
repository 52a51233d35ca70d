package server

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"example.org/asfound/drawing"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// MachinePage is everything about one machine at a glance.
type MachinePage struct {
	Base
	Report   *workshop.Report
	Scales   []Scale
	Groups   []GroupView
	Names    names
	Timeline []TimelineEntry
	// Next is where the lines go on.
	Next string
	// More says that older lines of the timeline are on a page of their own.
	More    int
	AsOf    string
	KnownAt string
	// Then says that the page shows an earlier state.
	Then bool
	// Asked is the offer that says most of money: the last in force with a
	// valuation, or else with a forecast. Cost and Value are its figures.
	Asked *workshop.OfferReport
	Cost  *CostView
	Value *ValueView
	// Waiting are the offers that the owner has not answered.
	Waiting []workshop.OfferReport
	// Shared counts the numbers that other machines have too and of which nothing
	// is said; for those who survey and keep the machine.
	Shared  int
	Clocks  Form // with what is wrong with the dates
	Drawing *MachineDrawing
	// Decides says that the visitor decides on the machine by their own account.
	Decides bool
	// Lists can be had as sheets.
	Lists []workshop.ListKind
}

// GroupView is a group of components with its sum.
type GroupView struct {
	workshop.GroupReport
	Shown    []workshop.ComponentReport // those that this type has
	Open     int                        // whose origin is not told by evidence
	Surveyed int
}

// TimelineEntry is one line of the timeline: a record, or a run of records of
// the same kind on the same day by the same person.
type TimelineEntry struct {
	workshop.Happened
	Count int
	Last  time.Time
}

// timelineShown is how many lines the machine's page shows.
const timelineShown = 25

// timelineWhole is how many lines a page of nothing left out shows: a record
// grows for decades, and a page must not.
const timelineWhole = 100

func pageMachine(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	q := r.URL.Query()
	o, wrong := edition(q)
	shared, err := s.sharedNumbers(r, id, o)
	if err != nil {
		return nil, err
	}
	tag := s.pageTag(r, version)
	if shared > 0 {
		tag = strings.TrimSuffix(tag, `"`) + "." + itoa(shared) + `"`
	}
	if wrong == nil && hasTag(r, tag) {
		return notModified(tag), nil
	}
	report, err := s.reportOf(r, id, o)
	if err != nil {
		return nil, err
	}
	page, err := s.machinePage(report, q.Get("timeline"))
	if err != nil {
		return nil, err
	}
	page.AsOf, page.KnownAt = q.Get("as_of"), q.Get("known_at")
	page.Then = !o.At.IsZero()
	page.Notice, page.Shared, page.Decides = noticeOf(r), shared, !report.Public && len(infoOf(r).who.PersonsAs(id, owners...)) > 0
	status := 0
	if wrong != nil {
		page.Wrong, status, tag = true, http.StatusUnprocessableEntity, ""
		page.Clocks.refuse(wrong)
	}
	return htmlAnswer{status: status, name: "machine", page: page, etag: tag}, nil
}

// pageTag is the tag of a page that follows from the record and the quarter of
// an hour alone.
func (s *Server) pageTag(r *http.Request, version uint64) string {
	return `"` + itoa(version) + "." + s.freshUntil() + "." + s.build + "." + languageOf(r).Tag + s.visitorTag(r) + `"`
}

// noticeOf is the line about what was just recorded.
func noticeOf(r *http.Request) string {
	if id := r.URL.Query().Get("recorded"); id != "" && registry.CheckID("", id) == nil {
		return "Recorded as " + id + "."
	}
	return ""
}

func (s *Server) machinePage(report *workshop.Report, timeline string) (MachinePage, error) {
	page := MachinePage{Base: s.basis(report, "overview", report.Machine.Name), Report: report, Names: namesOf(report), Lists: workshop.ListsOf(report.Public)}
	report.Indices.Each(func(name string, r *workshop.IndexReport) { page.Scales = append(page.Scales, drawIndex(name, r)) })
	for i := range report.Offers {
		o := &report.Offers[i]
		if !o.Superseded && o.Cost != nil && (page.Asked == nil || o.Value != nil || page.Asked.Value == nil) {
			page.Asked = o
		}
	}
	if o := page.Asked; o != nil {
		page.Cost, page.Value = costView(o.Cost, o.Offer.Ceiling), valueView(o.Value, o.Offer.Ceiling.Currency, valueTitles)
	}
	for _, g := range report.Groups {
		if view := groupView(g); len(view.Shown) > 0 {
			page.Groups = append(page.Groups, view)
		}
	}
	for _, o := range report.Offers {
		if (o.Standing == "" || o.Standing == "ask" || o.Standing == "defer") && !o.Superseded {
			page.Waiting = append(page.Waiting, o)
		}
	}
	page.Timeline = gathered(report.Timeline)
	from, shown := 0, timelineShown
	if timeline != "" {
		from, _ = strconv.Atoi(timeline) // "all" begins at the newest too
		from, shown = min(max(from, 0), len(page.Timeline)), timelineWhole
	}
	page.Timeline = page.Timeline[from:]
	if len(page.Timeline) > shown {
		page.More, page.Next = len(page.Timeline)-shown, strconv.Itoa(from+shown)
		page.Timeline = page.Timeline[:shown]
	}
	if timeline == "" {
		page.Next = "all"
	}
	shading, err := report.Shade(workshop.ShadeKnown, nil)
	if err != nil {
		return page, err
	}
	layout, _ := layoutOf(report, drawing.Layout{})
	page.Drawing = drawMachine(report.Machine.ID, layout, shading)
	return page, nil
}

// groupView sums a group up.
func groupView(g workshop.GroupReport) GroupView {
	view := GroupView{GroupReport: g}
	for _, c := range g.Components {
		if c.NotFitted {
			continue
		}
		view.Shown = append(view.Shown, c)
		if c.Surveyed {
			view.Surveyed++
		}
		if c.Origin.Basis == "prior" || c.Origin.Leading == "" {
			view.Open++
		}
	}
	return view
}

// gathered puts the newest first and makes one line of a run of like records.
func gathered(list []workshop.Happened) []TimelineEntry {
	var out []TimelineEntry
	for i := len(list) - 1; i >= 0; i-- {
		h := list[i]
		if n := len(out); n > 0 {
			last := &out[n-1]
			if last.Kind == h.Kind && last.By == h.By && last.Mark == h.Mark && h.Mark == "" && manyOf(h.Kind) &&
				last.Last.UTC().Format(time.DateOnly) == h.Recorded.UTC().Format(time.DateOnly) {
				last.Count++
				last.Last = h.Recorded
				last.Record = h.Record
				continue
			}
		}
		out = append(out, TimelineEntry{Happened: h, Count: 1, Last: h.Recorded})
	}
	return out
}

// manyOf says whether records of a kind come in runs that nobody reads one by
// one.
func manyOf(k registry.Kind) bool {
	switch k {
	case "survey", "joint", "measurement", "photo", "fitting", "evidence", "person", "option", "opening", "comparable-sale":
		return true
	}
	return false
}
