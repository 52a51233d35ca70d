package server

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"example.org/asfound/registry"
)

// Mappings keeps the column mappings of tables with headings of their own. All
// fields must be set.
type Mappings struct {
	Sheets []MappableSheet
	List   func() ([]Mapping, error)
	Save   func(Mapping) error // CodeInvalid names the places of a Mapping's JSON
	Remove func(name string) error
}

// MappableSheet is a sheet that a table can be read as.
type MappableSheet struct {
	Name, Title string
	Columns     []MappableColumn
}

// MappableColumn is one of its columns, and what it takes.
type MappableColumn struct {
	Heading, Takes string
	Needed         bool
}

// Mapping is a saved mapping as the pages show it; see importers.Mapping.
type Mapping struct {
	Name, Sheet, About, Separator, Encoding, Decimal, Dates string
	Skip                                                    int
	NoHeadings                                              bool
	Columns                                                 []string // "reading: R1; R2" or "unit = µm"
}

// MappingPage lists the mappings, with a form to save one.
type MappingPage struct {
	Base
	Form     Form
	Mappings []Mapping
	Sheets   []MappableSheet
	Saved    string // the mapping that was saved or removed just now
	Removed  bool
}

// mappingField offers the saved mappings for an import; without a choice it
// does not show.
func (s *Server) mappingField() (Field, error) {
	f := Field{Name: "mapping", Label: "Columns", Kind: "select", Hint: "Leave it open for a sheet with this program’s own headings.", Pointers: []string{"/mapping"}}
	if s.Mappings == nil {
		return f, nil
	}
	list, err := s.Mappings.List()
	for _, m := range list {
		label := m.Name
		if m.About != "" {
			label += ": " + m.About
		}
		f.Choices = append(f.Choices, Choice{m.Name, label, ""})
	}
	return f, err
}

func (s *Server) mappingForm() Form {
	var sheets []Choice
	for _, x := range s.Mappings.Sheets {
		sheets = append(sheets, Choice{x.Name, x.Title, ""})
	}
	choice := func(name, label string, choices ...Choice) Field {
		return Field{Name: name, Label: label, Kind: "select", Choices: choices, Pointers: []string{"/" + name}}
	}
	return Form{Action: "/import/mappings", Button: "Save these columns", Key: newKey(), Parts: []FormPart{{Fields: []Field{
		{Name: "name", Label: "Name", Kind: "short", Hint: "Small letters, figures and hyphens, such as gauge-b. A mapping of that name is replaced.", Pointers: []string{"/name"}},
		{Name: "about", Label: "Which instrument or program writes such tables", Kind: "text", Pointers: []string{"/about"}},
		{Name: "sheet", Label: "What its rows are", Kind: "select", Value: "film", Choices: sheets, Pointers: []string{"/sheet"}},
		{Name: "columns", Label: "What fills which column", Kind: "code", Pointers: []string{"/columns"},
			Hint: "One a line. “reading: Value” takes a column of the table by its heading, “reading: #3” the third column. “reading: R1; R2; R3” takes readings across the row. “unit = µm” gives every row the same."},
	}}, {Title: "How the file is written", Hint: "Leave open what the file shows by itself.", Fields: []Field{
		{Name: "skip", Label: "Rows above the headings", Kind: "short", Unit: "rows", Pointers: []string{"/skip"}},
		yes("no_headings", "The table has no headings", "its columns then go by number, such as #3"),
		choice("separator", "Between the cells stands", Choice{";", "a semicolon", ""}, Choice{",", "a comma", ""}, Choice{"tab", "a tab", ""}, Choice{"|", "an upright stroke", ""}),
		choice("decimal", "Before the decimals stands", Choice{"comma", "a comma", ""}, Choice{"point", "a point", ""}),
		choice("dates", "Dates in figures are written", Choice{"day-month-year", "day, month, year", ""}, Choice{"month-day-year", "month, day, year", ""}, Choice{"year-month-day", "year, month, day", ""}),
		{Name: "encoding", Label: "Encoding", Kind: "short", Hint: "Only where the file is not UTF-8, such as windows-1252.", Pointers: []string{"/encoding"}},
	}}}}
}

// typedOf is a mapping as it would be typed.
func typedOf(m Mapping) url.Values {
	v := url.Values{"name": {m.Name}, "about": {m.About}, "sheet": {m.Sheet}, "columns": {joinLines(m.Columns)}, "skip": {strconv.Itoa(m.Skip)},
		"separator": {m.Separator}, "decimal": {m.Decimal}, "dates": {m.Dates}, "encoding": {m.Encoding}}
	if m.NoHeadings {
		v.Set("no_headings", "yes")
	}
	return v
}

func joinLines(lines []string) string {
	out := ""
	for i, l := range lines {
		if i > 0 {
			out += "\n"
		}
		out += l
	}
	return out
}

func (s *Server) mappingPage(form Form) (MappingPage, error) {
	list, err := s.Mappings.List()
	return MappingPage{Base: Base{Title: "Columns of other tables", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}, {"Take in a survey sheet", "/import"}}}, Form: form, Mappings: list, Sheets: s.Mappings.Sheets}, err
}

func pageMappings(s *Server, r *http.Request) (answer, error) {
	if s.Mappings == nil {
		return nil, notOffered("Mapping columns")
	}
	form := s.mappingForm()
	page, err := s.mappingPage(form)
	if err != nil {
		return nil, err
	}
	q := r.URL.Query()
	if name := q.Get("change"); name != "" {
		i := slices.IndexFunc(page.Mappings, func(m Mapping) bool { return m.Name == name })
		if i < 0 {
			return nil, registry.Refuse(registry.CodeNotFound, "Choose one from the list.", "There is no mapping %s", quoted(name))
		}
		page.Form.fill(typedOf(page.Mappings[i]))
	}
	if page.Saved = q.Get("saved"); page.Saved == "" {
		page.Saved, page.Removed = q.Get("removed"), q.Get("removed") != ""
	}
	return htmlAnswer{name: "mappings", page: page}, nil
}

func pageMappingPost(s *Server, r *http.Request) (answer, error) {
	if s.Mappings == nil {
		return nil, notOffered("Mapping columns")
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	m := Mapping{Name: t.text("name"), Sheet: t.text("sheet"), About: t.text("about"), Separator: t.text("separator"), Encoding: t.text("encoding"), Decimal: t.text("decimal"), Dates: t.text("dates"),
		NoHeadings: t.text("no_headings") == "yes", Columns: t.lines("columns")}
	if given := t.text("skip"); given != "" {
		if m.Skip, err = strconv.Atoi(given); err != nil {
			t.fault("/skip", given, "This is not a whole number", "Count the rows above the headings.")
		}
	}
	if err = t.err(); err == nil {
		err = s.Mappings.Save(m)
	}
	if err == nil {
		return seeOther("/import/mappings?saved=" + url.QueryEscape(m.Name)), nil
	}
	if !mendable(err) {
		return nil, err
	}
	form := s.mappingForm()
	form.fill(t.Values)
	form.refuse(err)
	page, wrong := s.mappingPage(form)
	page.Wrong = true
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "mappings", page: page}, wrong
}

func pageMappingRemove(s *Server, r *http.Request) (answer, error) {
	if s.Mappings == nil {
		return nil, notOffered("Mapping columns")
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	name := t.text("name")
	if err := s.Mappings.Remove(name); err != nil {
		return nil, err
	}
	return seeOther("/import/mappings?removed=" + url.QueryEscape(name)), nil
}
