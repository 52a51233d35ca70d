package server

import (
	"cmp"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// MapView is a fastener map as it is drawn: over a picture, or over a blank
// outline.
type MapView struct {
	workshop.CardMap
	Source string // address of the picture, "" for a blank outline
	Height float64
	Holes  []HoleView
	Title  string
}

// mapWidth is the width of a drawn map, and of the picture that is tapped, in
// pixels. The height follows the picture.
const mapWidth = 280.0

// HoleView is one hole of a drawn map.
type HoleView struct {
	registry.Fastener
	AtX, AtY       float64
	Left, Stripped bool
	Flags          string
}

func drawMap(machine string, m workshop.CardMap, photo workshop.PhotoReport) MapView {
	v := MapView{CardMap: m, Height: mapHeight(photo), Source: previewAt(machine, photo), Title: plural(len(m.Fasteners), "hole", "holes") + " of map " + m.ID}
	for _, f := range m.Fasteners {
		v.Holes = append(v.Holes, HoleView{Fastener: f, AtX: tenth(f.X * mapWidth), AtY: tenth(f.Y * v.Height), Left: f.Hand == "left", Stripped: f.Felt == "stripped",
			Flags: strings.Join(m.Flags(f.Hole), ", ")})
	}
	return v
}

func tenth(v float64) float64 { return float64(int(v*10+0.5)) / 10 }

func mapHeight(photo workshop.PhotoReport) float64 {
	if photo.Width > 0 && photo.Height > 0 && photo.Preview != "" {
		return tenth(min(mapWidth*float64(photo.Height)/float64(photo.Width), 2*mapWidth))
	}
	return mapWidth * 3 / 4
}

func previewAt(machine string, photo workshop.PhotoReport) string {
	if photo.Preview == "" {
		return ""
	}
	return "/machines/" + machine + "/photos/" + hexOf(photo.Preview)
}

// FastenersPage records where each fastener of a cover was.
type FastenersPage struct {
	Base
	At      string
	Opening workshop.OpeningReport
	// Option is the card to go back to, "" for the work page.
	Option string
	// Replaces is the map that this one corrects, "" for the first.
	Replaces string
	Key      string
	Seen     string // version
	Photo    string
	Photos   []Choice
	By       Field
	Rows     []FastenerRow
	Drawing  MapView
	// Tapped is the picture on which holes are placed by tapping.
	Tapped string
	Errors []FormError
	Hands  []registry.Term
	Felts  []registry.Term
}

// FastenerRow is one hole as it was typed.
type FastenerRow struct {
	N                                                             int
	Hole, X, Y, Length, Head, Washer, Thread, Hand, Felt, Comment string
}

// BlankRow is a row of the form, or the one from which a script makes others.
type BlankRow struct {
	FastenerRow
	Blank bool
}

// WithBlank gives the rows, and after them the blank one.
func (p FastenersPage) WithBlank() []BlankRow {
	var out []BlankRow
	for _, r := range p.Rows {
		out = append(out, BlankRow{r, false})
	}
	return append(out, BlankRow{FastenerRow{N: len(p.Rows)}, true})
}

// maxHoles is how many holes a map may have.
const maxHoles = 60

func (s *Server) fastenersPage(r *http.Request, t *typed) (*FastenersPage, *workshop.Report, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, nil, err
	}
	opening, err := openingAsked(report, chi.URLParam(r, "opening"))
	if err != nil {
		return nil, nil, err
	}
	page := &FastenersPage{Base: s.basis(report, "work", "Fasteners: "+opening.Title), Opening: opening, Key: newKey(), Seen: itoa(report.Version),
		At: "/machines/" + report.Machine.ID + "/work/fasteners/" + opening.ID, By: byField(report, "Who mapped them"), Hands: registry.Hands(), Felts: registry.Felts()}
	page.Option = t.text("option")
	for _, p := range report.Photos {
		if p.Preview != "" {
			page.Photos = append(page.Photos, Choice{p.ID, upperFirst(cmp.Or(p.Caption, p.ID)), ""})
			if page.Photo == "" && contains(p.Openings, opening.ID) && !t.Has("photo") {
				page.Photo = p.ID
			}
		}
	}
	if t.Has("photo") {
		page.Photo = t.text("photo")
	}
	if t.Has("by") {
		page.By.Value = t.text("by")
	}
	page.Rows, page.Replaces = typedRows(t), t.text("replaces")
	if !t.Has("key") {
		card, _, err := s.Workshop.FastenerMap(r.Context(), report.Machine.ID, opening.ID, "")
		if err == nil {
			page.begin(card)
		} else if registry.CodeOf(err) != registry.CodeNotFound {
			return nil, nil, err
		}
	}
	s.redraw(page, report)
	return page, report, nil
}

// begin goes on with the map as it stands, to be corrected.
func (p *FastenersPage) begin(m workshop.CardMap) {
	p.Replaces = m.ID
	if m.Photo != "" {
		p.Photo = m.Photo
	}
	percent := func(v float64) string { return numberWords(tenth(100 * v)) }
	for i, f := range m.Fasteners {
		row := FastenerRow{N: i, Hole: f.Hole, X: percent(f.X), Y: percent(f.Y), Head: f.Head, Washer: f.Washer, Thread: f.Thread, Hand: f.Hand, Felt: f.Felt, Comment: f.Note}
		if f.Length > 0 {
			row.Length = numberWords(f.Length)
		}
		p.Rows = append(p.Rows, row)
	}
}

// redraw draws the rows as they stand.
func (s *Server) redraw(page *FastenersPage, report *workshop.Report) {
	photo := photosByID(report.Photos)[page.Photo]
	m, _ := page.readRows()
	for i := range m {
		if m[i].Hole == "" {
			m[i].Hole = page.Rows[i].Hole
		}
	}
	page.Drawing = drawMap(report.Machine.ID, workshop.CardMap{ID: "as typed", Fasteners: m}, photo)
	page.Tapped = page.Drawing.Source
	if page.Tapped == "" {
		page.Tapped, _ = assetAddress("outline.svg")
	}
}

func openingAsked(report *workshop.Report, id string) (workshop.OpeningReport, error) {
	for _, o := range report.Openings {
		if o.ID == id {
			return o, nil
		}
	}
	return workshop.OpeningReport{}, registry.Refuse(registry.CodeNotFound, "The work page lists them.", "There is no opening %s", quoted(id))
}

// typedRows reads the rows that have anything in them.
func typedRows(t *typed) []FastenerRow {
	var out []FastenerRow
	for i := range maxHoles {
		n := "-" + itoa(i)
		row := FastenerRow{Hole: t.text("hole" + n), X: t.text("x" + n), Y: t.text("y" + n), Length: t.text("length" + n), Head: t.text("head" + n), Washer: t.text("washer" + n),
			Thread: t.text("thread" + n), Hand: t.text("hand" + n), Felt: t.text("felt" + n), Comment: t.text("note" + n)}
		if row.X != "" || row.Y != "" || row.Length != "" || row.Head != "" || row.Comment != "" {
			row.N = len(out)
			out = append(out, row)
		}
	}
	return out
}

// readRows reads what was typed as fasteners.
func (p *FastenersPage) readRows() ([]registry.Fastener, *typed) {
	t := &typed{Values: map[string][]string{}}
	var out []registry.Fastener
	for i, r := range p.Rows {
		at := "/fasteners/" + itoa(i)
		t.Set("x", r.X)
		t.Set("y", r.Y)
		t.Set("length", r.Length)
		f := registry.Fastener{Hole: r.Hole, X: t.number("x", at+"/x", "per cent") / 100, Y: t.number("y", at+"/y", "per cent") / 100, Length: t.number("length", at+"/length", "mm"),
			Head: r.Head, Washer: r.Washer, Thread: r.Thread, Hand: r.Hand, Felt: r.Felt, Note: r.Comment}
		if f.Hand == "" {
			f.Hand = "not-tried"
		}
		if f.Felt == "" {
			f.Felt = "not-tried"
		}
		out = append(out, f)
	}
	return out, t
}

// next adds an empty row with the next number; x and y are in per cent.
func (p *FastenersPage) next(x, y string) {
	if len(p.Rows) >= maxHoles {
		p.Errors = append(p.Errors, FormError{"", "A map holds at most " + itoa(maxHoles) + " holes. Split the cover into two maps."})
		return
	}
	used := map[string]bool{}
	for _, r := range p.Rows {
		used[r.Hole] = true
	}
	n := 1
	for used[itoa(n)] {
		n++
	}
	row := FastenerRow{N: len(p.Rows), Hole: itoa(n), X: x, Y: y}
	if n := len(p.Rows); n > 0 { // a cover's fasteners are mostly alike
		row.Head, row.Thread = p.Rows[n-1].Head, p.Rows[n-1].Thread
	}
	p.Rows = append(p.Rows, row)
}

func pageFasteners(s *Server, r *http.Request) (answer, error) {
	page, _, err := s.fastenersPage(r, &typed{Values: r.URL.Query(), comma: decimalComma(r)})
	if err != nil {
		return nil, err
	}
	page.Notice = noticeOf(r)
	return htmlAnswer{name: "fasteners", page: page}, nil
}

// pageFastenersTap records nothing: it adds a hole where the picture was
// tapped, or an empty row, and shows the form again.
func pageFastenersTap(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	page, report, err := s.fastenersPage(r, t)
	if err != nil {
		return nil, err
	}
	switch {
	case t.text("tap.x") != "":
		x, y := t.number("tap.x", "/x", "pixels")/mapWidth, t.number("tap.y", "/y", "pixels")/page.Drawing.Height
		page.next(numberWords(tenth(100*min(max(x, 0), 1))), numberWords(tenth(100*min(max(y, 0), 1))))
	case t.text("add") != "":
		page.next("", "")
	}
	s.redraw(page, report)
	return htmlAnswer{name: "fasteners", page: page}, nil
}

func pageFastenersPost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	page, report, err := s.fastenersPage(r, t)
	if err != nil {
		return nil, err
	}
	list, read := page.readRows()
	m := &registry.FastenerMap{Common: registry.Common{Supersedes: page.Replaces}, Opening: page.Opening.ID, Photo: page.Photo, Fasteners: list, By: t.text("by")}
	err = read.err()
	if err == nil {
		err = movedOn(report, t.seen())
	}
	if err == nil {
		_, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")}, m)
	}
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		page.Errors, page.Wrong, page.Key = mapErrors(page, err), true, t.text("key")
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "fasteners", page: page}, nil
	}
	return seeOther(cardOrWork(report, page.Option)), nil
}

// mapErrors leads each fault to the hole that it is about.
func mapErrors(page *FastenersPage, err error) []FormError {
	form := Form{Parts: []FormPart{{Fields: []Field{{Name: "by", Kind: "select", Pointers: []string{"/by", "/actor"}}, {Name: "photo", Kind: "select", Pointers: []string{"/photo"}}}}}}
	for _, row := range page.Rows {
		at := "/fasteners/" + itoa(row.N)
		for _, name := range []string{"hole", "x", "y", "length", "head", "hand", "felt", "note"} {
			form.Parts[0].Fields = append(form.Parts[0].Fields, Field{Name: name + "-" + itoa(row.N), Kind: "short", Pointers: []string{at + "/" + name}})
		}
	}
	form.refuse(err)
	out := form.Summary()
	for i := range out {
		if _, n, ok := strings.Cut(strings.TrimPrefix(out[i].Field, "f-"), "-"); ok {
			for _, row := range page.Rows {
				if itoa(row.N) == n {
					out[i].Text = "Hole " + row.Hole + ": " + out[i].Text
				}
			}
		}
	}
	return out
}

// cardOrWork is where to go on: the card, if one was asked from.
func cardOrWork(report *workshop.Report, option string) string {
	if findOption(report, option) != nil {
		return "/machines/" + report.Machine.ID + "/work/card/" + option + "#openings"
	}
	return "/machines/" + report.Machine.ID + "/work"
}
