package server

import (
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ClosePage closes a cover by its map.
type ClosePage struct {
	Base
	At      string
	Opening workshop.OpeningReport
	Option  string
	Key     string
	Seen    string
	By      Field
	Map     MapView
	Rows    []CloseRow
	Left    string
	Gasket  string
	Already bool
	Errors  []FormError
}

// CloseRow is what went into one hole.
type CloseRow struct {
	N           int
	Hole        HoleView
	Back        string // own, none, new, or the hole that it came from
	New, Length string
	Others      []Choice
	Words       string
}

func (s *Server) closePage(r *http.Request, t *typed) (*ClosePage, *workshop.Report, *registry.FastenerMap, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, nil, nil, err
	}
	opening, err := openingAsked(report, chi.URLParam(r, "opening"))
	if err != nil {
		return nil, nil, nil, err
	}
	card, m, err := s.Workshop.FastenerMap(r.Context(), report.Machine.ID, opening.ID, t.text("map"))
	if err != nil {
		return nil, nil, nil, err
	}
	page := &ClosePage{Base: s.basis(report, "work", "Close: "+opening.Title), Opening: opening, Option: t.text("option"), Key: newKey(), Seen: itoa(report.Version),
		At: "/machines/" + report.Machine.ID + "/work/close/" + opening.ID, By: byField(report, "Who closed it"), Map: drawMap(report.Machine.ID, card, photosByID(report.Photos)[card.Photo]),
		Left: t.text("left"), Gasket: t.text("gasket"), Already: t.text("already_done") == "yes"}
	if t.Has("by") {
		page.By.Value = t.text("by")
	}
	for i, h := range page.Map.Holes {
		row := CloseRow{N: i, Hole: h, Back: t.text("back-" + itoa(i)), New: t.text("new-" + itoa(i)), Length: t.text("length-" + itoa(i))}
		if row.Back == "" {
			row.Back = "own"
		}
		for _, other := range page.Map.Holes {
			if other.Hole != h.Hole {
				row.Others = append(row.Others, Choice{"hole " + other.Hole, "the one of hole " + other.Hole, ""})
			}
		}
		if h.Length > 0 {
			row.Words = workshop.Reading(h.Length, 0, "mm")
		}
		row.Words = joinNonEmpty(", ", row.Words, h.Head, h.Flags)
		page.Rows = append(page.Rows, row)
	}
	return page, report, m, nil
}

func joinNonEmpty(between string, list ...string) string {
	var out []string
	for _, s := range list {
		if s != "" {
			out = append(out, s)
		}
	}
	return strings.Join(out, between)
}

func pageClose(s *Server, r *http.Request) (answer, error) {
	page, _, _, err := s.closePage(r, &typed{Values: r.URL.Query(), comma: decimalComma(r)})
	if registry.CodeOf(err) == registry.CodeNotFound && r.URL.Query().Get("map") == "" {
		if report, reportErr := s.machineReport(r); reportErr == nil {
			if o, askErr := openingAsked(report, chi.URLParam(r, "opening")); askErr == nil {
				return seeOther("/machines/" + report.Machine.ID + "/work/fasteners/" + o.ID), nil
			}
		}
	}
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "close", page: page}, nil
}

func pageClosePost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	page, report, m, err := s.closePage(r, t)
	if err != nil {
		return nil, err
	}
	c := &registry.Closed{Opening: page.Opening.ID, Map: m.ID, LeftOver: int(t.number("left", "/left_over", "fasteners")), Gasket: page.Gasket, By: t.text("by"), AlreadyDone: page.Already}
	for _, row := range page.Rows {
		b := registry.FastenerBack{Hole: row.Hole.Hole}
		switch {
		case row.Back == "none":
			continue
		case row.Back == "own":
			b.From = row.Hole.Hole
		case row.Back == "new":
			b.New, b.Length = row.New, t.number("length-"+itoa(row.N), "/back/"+itoa(row.N)+"/length", "mm")
			if b.New == "" {
				t.fault("/back", "", "It is not said what the new fastener in hole "+row.Hole.Hole+" is", "A few words, such as cheese head, and its length.")
			}
		default:
			b.From = strings.TrimPrefix(row.Back, "hole ")
		}
		c.Back = append(c.Back, b)
	}
	err = t.err()
	if err == nil {
		err = movedOn(report, t.seen())
	}
	if err == nil {
		_, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")}, c)
	}
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		form := Form{Parts: []FormPart{{Fields: []Field{{Name: "by", Kind: "select", Pointers: []string{"/by", "/actor"}}, {Name: "left", Kind: "short", Pointers: []string{"/left_over"}}}}}}
		form.refuse(err)
		page.Errors, page.Wrong, page.Key = form.Summary(), true, t.text("key")
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "close", page: page}, nil
	}
	return seeOther(cardOrWork(report, page.Option)), nil
}
