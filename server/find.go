package server

import (
	"io"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/tabular"
	"example.org/asfound/workshop"
)

// findQuery are the parameters of a search, of the page and of the interface
// for programs alike.
var findQuery = []parameter{
	{"q", "string", `Words, all of which must be found; "words in quotation marks" side by side; a star for the rest of a word.`},
	{"make", "string", "Words of the make."}, {"model", "string", "Words of the model."},
	{"year_from", "integer", "May have been built in this year or later."}, {"year_to", "integer", "May have been built in this year or earlier."},
	{"phase", "string", "How far the job has come: " + strings.Join(workshop.Phases(), ", ") + "."},
	{"component", "string", "What origin, finish and condition are asked of; any component when left out."},
	{"origin", "string", "Origin as surveyed, or as work has left it."}, {"finish", "string", "Finish as surveyed, or as work has left it."},
	{"condition_most", "integer", "Condition as surveyed at most, 0 to 5; the worst one when no component is named."},
	{"condition_least", "integer", "Condition as surveyed at least, 0 to 5; the worst one when no component is named."},
	{"open_fault", "boolean", "With a fault for which nothing was done."}, {"unapproved", "boolean", "With work or an opening without approval."},
	{"waiting", "boolean", "With a question that the owner has not answered."},
	{"survey", "string", "none, begun, sealed, or unsealed, which is none or begun."}, {"gate_open", "string", "With this gate not passed, by its id."},
	{"index", "string", "substance, surface or correctness, as found when the survey was sealed."},
	{"index_from", "number", "The median of that index at least, 0 to 1."}, {"index_to", "number", "The median of that index at most, 0 to 1."},
	{"number", "string", "A stamped number, with or without spaces and hyphens. Finds nothing in the public edition."},
	{"public", "boolean", "Look in what the public edition shows alone."},
	{"after", "string", "Continue after the place that an answer gave as next."}, {"limit", "integer", "How many at most, 1 to 100; 20 when left out."},
}

// readFind reads a search out of a query. What is wrong with it is told by the
// name of the parameter.
func readFind(q url.Values) (workshop.FindQuestion, error) {
	var fields []registry.Field
	wrong := func(name, allowed, message string) {
		fields = append(fields, registry.Field{Pointer: "/" + name, Found: quoted(q.Get(name)), Allowed: allowed, Message: message})
	}
	text := func(name string) string { return strings.TrimSpace(q.Get(name)) }
	number := func(name string) *int {
		if text(name) == "" {
			return nil
		}
		n, err := strconv.Atoi(text(name))
		if err != nil {
			wrong(name, "a whole number", "This is not a whole number")
			return nil
		}
		return &n
	}
	share := func(name string) *float64 {
		if text(name) == "" {
			return nil
		}
		v, err := strconv.ParseFloat(strings.Replace(text(name), ",", ".", 1), 64)
		if err != nil {
			wrong(name, "0 to 1", "This is not a number")
			return nil
		}
		return &v
	}
	flag := func(name string) bool {
		switch text(name) {
		case "", "0", "false":
			return false
		case "1", "true", "yes":
			return true
		}
		wrong(name, "true or false", "This is neither yes nor no")
		return false
	}
	plain := func(n *int) int {
		if n == nil {
			return 0
		}
		return *n
	}
	out := workshop.FindQuestion{Text: text("q"), Public: flag("public"), After: text("after"), Limit: plain(number("limit")), Filters: workshop.FindFilters{
		Make: text("make"), Model: text("model"), YearFrom: plain(number("year_from")), YearTo: plain(number("year_to")),
		Phase: text("phase"), Component: text("component"), Origin: text("origin"), Finish: text("finish"),
		ConditionMost: number("condition_most"), ConditionLeast: number("condition_least"),
		OpenFault: flag("open_fault"), Unapproved: flag("unapproved"), Waiting: flag("waiting"),
		Survey: text("survey"), GateOpen: text("gate_open"), Index: text("index"), IndexLow: share("index_from"), IndexHigh: share("index_to"), Number: text("number")}}
	if out.Limit < 0 || out.Limit > workshop.MaxHits || q.Has("limit") && out.Limit == 0 {
		wrong("limit", "1 to 100", "The limit cannot be used")
	}
	if len(fields) > 0 {
		return out, &registry.Error{Code: registry.CodeInvalid, Message: "The search cannot be read", Fix: "Correct what is named, or leave it out.", Fields: fields}
	}
	return out, nil
}

func apiFind(s *Server, r *http.Request) (answer, error) {
	q, err := readFind(r.URL.Query())
	if err != nil {
		return nil, err
	}
	found, err := s.Workshop.Find(r.Context(), q)
	if err != nil {
		return nil, err
	}
	a := jsonAnswer{value: found}
	if found.Next != "" {
		a.link = "<" + "/api/v1/search?" + withValue(r.URL.Query(), "after", found.Next) + `>; rel="next"`
	}
	return a, nil
}

// withValue is a query with one of its parameters set anew.
func withValue(q url.Values, name, value string) string {
	out := url.Values{}
	for k, v := range q {
		if v[0] != "" {
			out[k] = v[:1]
		}
	}
	out.Del(name)
	if value != "" {
		out.Set(name, value)
	}
	return out.Encode()
}

// FindPage is a search with what it found.
type FindPage struct {
	Base
	Ask    Form
	Text   string
	Asked  bool // something was asked for
	Open   bool // a filter is set
	Public bool
	Found  *workshop.Found
	Hits   []HitView
	// Next and the sheets are addresses.
	Next, CSV, XLSX string
	Kinds           []PlaceKindView
}

// HitView is a machine that was found, with where.
type HitView struct {
	workshop.Hit
	Places []HitPlaceView
}

// HitPlaceView is one place where words were found, with the way to it.
type HitPlaceView struct {
	workshop.HitPlace
	Where, To string
}

// PlaceKindView says what a word counts in one kind of place.
type PlaceKindView struct {
	Where  string
	Weight int
}

// placeWords say in words where something was found.
var placeWords = map[string]string{
	"machine": "In its name", "number": "In a stamped number", "tag": "On a tag", "fault": "In a fault", "option": "In an option", "removed-part": "In a removed part",
	"needed-part": "In what must be in hand", "stock-part": "In a part in stock", "part-number": "In a part number", "work": "In work done", "evidence": "In evidence",
	"claim": "In a claim", "check": "In a check", "story": "In its story", "person": "In a name", "finding": "In a finding", "kept-at": "In where it is kept",
	"agreement": "In the custody agreement", "fitting": "In what was fitted", "component": "At a component", "joint": "At a joint", "photo": "In a picture's caption", "note": "In a note",
}

// placeAddress leads to where something stands.
func placeAddress(machine string, p workshop.HitPlace, public bool) string {
	base, tail := "/machines/"+machine, ""
	switch p.Kind {
	case "component", "evidence", "claim", "joint", "fitting", "photo":
		if p.Component != "" {
			tail = "/components/" + p.Component
		}
	case "fault":
		tail = "/faults/" + p.Record
	case "option":
		tail = "/options"
	case "work", "check", "removed-part", "tag":
		tail = "/work"
	case "needed-part", "stock-part", "part-number":
		tail = "/parts"
	}
	if public {
		if strings.HasPrefix(tail, "/components/") {
			return base + tail + "?public=1"
		}
		return base + "?public=1"
	}
	if tail == "/options" {
		return base + tail + "#option-" + p.Record
	}
	if tail == "/work" {
		return base + tail + "#" + p.Record
	}
	return base + tail
}

func pageFind(s *Server, r *http.Request) (answer, error) {
	q := r.URL.Query()
	page := FindPage{Base: Base{Title: "Find", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}, Text: q.Get("q"), Ask: s.findForm()}
	for _, k := range workshop.PlaceKinds() {
		page.Kinds = append(page.Kinds, PlaceKindView{placeWords[k.Kind], k.Weight})
	}
	page.Ask.fill(q)
	for name, values := range q {
		set := values[0] != ""
		page.Asked = page.Asked || set
		page.Open = page.Open || set && !contains([]string{"q", "after", "limit"}, name)
	}
	if !page.Asked {
		return htmlAnswer{name: "found", page: page}, nil
	}
	question, err := readFind(q)
	if err == nil {
		page.Public = question.Public
		page.Found, err = s.Workshop.Find(r.Context(), question)
	}
	if err != nil {
		if !mendable(err) && codeOf(err) != registry.CodeTooLarge {
			return nil, err
		}
		page.Wrong = true
		page.Ask.refuse(err)
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "found", page: page}, nil
	}
	for _, h := range page.Found.Hits {
		v := HitView{Hit: h}
		for _, p := range h.Places {
			v.Places = append(v.Places, HitPlaceView{p, placeWords[p.Kind], placeAddress(h.Machine.ID, p, question.Public)})
		}
		page.Hits = append(page.Hits, v)
	}
	if page.Found.Next != "" {
		page.Next = "/find?" + withValue(q, "after", page.Found.Next)
	}
	page.CSV, page.XLSX = "/lists/found.csv?"+withValue(q, "after", ""), "/lists/found.xlsx?"+withValue(q, "after", "")
	return htmlAnswer{name: "found", page: page}, nil
}

func (s *Server) findForm() Form {
	field := func(name, label, kind, hint string, c ...Choice) Field {
		return Field{Name: name, Label: label, Kind: kind, Hint: hint, Choices: c, Pointers: []string{"/" + name}}
	}
	same := func(values ...string) (out []Choice) {
		for _, v := range values {
			out = append(out, Choice{v, upperFirst(v), ""})
		}
		return out
	}
	check := func(name, label string) Field { return field(name, label, "checks", "", Choice{"1", "Yes", ""}) }
	var gates, components []Choice
	for _, g := range s.Workshop.Catalog.Gates() {
		gates = append(gates, Choice{g.ID, upperFirst(g.Title), ""})
	}
	for _, c := range s.Workshop.Catalog.ComponentsInWalk() {
		components = append(components, Choice{c.ID, c.Name, ""})
	}
	return Form{Parts: []FormPart{
		{Fields: []Field{field("q", "Words or numbers", "text", `All of them must be found. “Words in quotation marks” stand side by side; a star stands for the rest of a word: cond*.`)}},
		{Title: "The machine", Fields: []Field{field("make", "Make", "short", ""), field("model", "Model", "short", ""), field("year_from", "Built in or after", "short", ""), field("year_to", "Built in or before", "short", ""),
			field("number", "Stamped number", "short", "With or without spaces and hyphens."), field("phase", "How far the job has come", "select", "", same(workshop.Phases()...)...),
			field("survey", "As-found survey", "select", "", Choice{"none", "Not begun", ""}, Choice{"begun", "Begun, not sealed", ""}, Choice{"unsealed", "Not sealed", ""}, Choice{"sealed", "Sealed", ""})}},
		{Title: "Its components", Hint: "Without a component, any one that is so; for the condition, the worst one.", Fields: []Field{field("component", "Component", "select", "", components...),
			field("origin", "Origin", "select", "", choices(registry.Origins())...), field("finish", "Finish", "select", "", choices(registry.Finishes())...),
			field("condition_most", "Condition at most", "select", "", same("0", "1", "2", "3", "4", "5")...), field("condition_least", "Condition at least", "select", "", same("0", "1", "2", "3", "4", "5")...)}},
		{Title: "What is open", Fields: []Field{check("open_fault", "A fault for which nothing was done"), check("unapproved", "Work or an opening without approval"), check("waiting", "The owner has not answered"),
			field("gate_open", "Gate not passed", "select", "", gates...)}},
		{Title: "How original it was found", Hint: "The median of an index as it was recorded when the survey was sealed, from 0 to 1.", Fields: []Field{field("index", "Index", "select", "", same("substance", "surface", "correctness")...),
			field("index_from", "At least", "short", ""), field("index_to", "At most", "short", "")}},
		{Fields: []Field{check("public", "Look in the public edition alone")}},
	}}
}

// listAnswer is a list as a sheet, written as it is read.
type listAnswer struct {
	list         workshop.List
	name, format string
}

func (a listAnswer) write(_ *Server, w http.ResponseWriter, r *http.Request) error {
	setFileHeaders(w.Header(), tabular.MediaTypes[a.format], a.name+"."+a.format)
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusOK)
	out := io.Writer(w)
	if r.Method == http.MethodHead {
		out = io.Discard
	}
	if err := tabular.Write(out, a.format, a.list); err != nil {
		// The header is out: a cut connection is the only honest answer.
		panic(http.ErrAbortHandler)
	}
	return nil
}

// listFile reads the name of a list and its format out of the address.
func listFile(r *http.Request) (name, format string, err error) {
	file := chi.URLParam(r, "file")
	name, format = strings.TrimSuffix(file, path.Ext(file)), strings.TrimPrefix(path.Ext(file), ".")
	if tabular.MediaTypes[format] == "" {
		return "", "", registry.Refuse(registry.CodeNotFound, "Lists end in .csv or .xlsx.", "There is no list %q", file)
	}
	return name, format, nil
}

// downloadList sends a list of the whole register.
func downloadList(s *Server, r *http.Request) (answer, error) {
	name, format, err := listFile(r)
	if err != nil {
		return nil, err
	}
	switch name {
	case "machines":
		return listAnswer{s.Workshop.ListMachines(r.Context()), "machines", format}, nil
	case "found":
		q, err := readFind(r.URL.Query())
		if err != nil {
			return nil, err
		}
		list, err := s.Workshop.ListFound(r.Context(), q)
		return listAnswer{list, "found-" + editionName(q.Public), format}, err
	}
	return nil, registry.Refuse(registry.CodeNotFound, "There are the lists machines and found.", "There is no list %q", name)
}

// downloadMachineList sends a list of one machine.
func downloadMachineList(s *Server, r *http.Request) (answer, error) {
	id, err := machineID(r)
	if err != nil {
		return nil, err
	}
	name, format, err := listFile(r)
	if err != nil {
		return nil, err
	}
	o, err := edition(r.URL.Query())
	if err != nil {
		return nil, err
	}
	o.Public = o.Public || publicOnly(r, id)
	list, err := s.Workshop.ListOf(r.Context(), id, name, o)
	if err != nil {
		return nil, err
	}
	return listAnswer{list, id + "-" + name + "-" + editionName(o.Public), format}, nil
}

// ComparePage sets two machines side by side.
type ComparePage struct {
	Base
	Machines []workshop.Summary // to choose from
	A, B     string
	Pair     *workshop.Comparison
	Scales   [2][]Scale
	All      bool
	Public   bool
	// Other is the same comparison with all components, or without.
	Other string
	// Refused says why two machines cannot be compared.
	Refused string
}

func pageCompare(s *Server, r *http.Request) (answer, error) {
	q := r.URL.Query()
	page := ComparePage{Base: Base{Title: "Side by side", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}, A: q.Get("a"), B: q.Get("b"), All: q.Get("all") == "1"}
	o, err := edition(q)
	if err != nil {
		return nil, err
	}
	page.Public = o.Public
	if page.Machines, err = s.Workshop.Machines(r.Context(), "", machinesPerPage); err != nil {
		return nil, err
	}
	if page.A == "" || page.B == "" {
		// The other one is offered first.
		for _, m := range page.Machines {
			if page.B == "" && m.ID != page.A && (page.A != "" || m.ID != page.Machines[0].ID) {
				page.B = m.ID
			}
		}
		return htmlAnswer{name: "compare", page: page}, nil
	}
	if page.A == page.B {
		page.Wrong, page.Refused = true, "A machine cannot be set beside itself. Choose another one."
		return htmlAnswer{status: http.StatusUnprocessableEntity, name: "compare", page: page}, nil
	}
	a, err := s.reportOf(r, page.A, o)
	if err != nil {
		return nil, err
	}
	b, err := s.reportOf(r, page.B, o)
	if err != nil {
		return nil, err
	}
	// The chosen ones are among those to choose from, however long the list is.
	for _, report := range []*workshop.Report{b, a} {
		if !slices.ContainsFunc(page.Machines, func(m workshop.Summary) bool { return m.ID == report.Machine.ID }) {
			page.Machines = append([]workshop.Summary{{ID: report.Machine.ID, Name: report.Machine.Name}}, page.Machines...)
		}
	}
	page.Pair = workshop.Compare(a, b, page.All)
	for k, report := range []*workshop.Report{a, b} {
		report.Indices.Each(func(name string, x *workshop.IndexReport) {
			page.Scales[k] = append(page.Scales[k], drawIndex(name, x))
		})
	}
	all := "1"
	if page.All {
		all = ""
	}
	page.Other = "/compare?" + withValue(q, "all", all)
	return htmlAnswer{name: "compare", page: page}, nil
}

// SideView is one machine's side of a component.
type SideView struct {
	C       *workshop.ComponentReport
	State   bool // condition and place are shown
	Answers []AnswerView
}

// AnswerView is one answer with its question.
type AnswerView struct {
	Question string
	Claim    workshop.ClaimReport
}

// Side is what is shown of one side of a pair: what differs, or all of a
// component that does not.
func (p ComparePage) Side(row workshop.ComponentPair, side int) SideView {
	c := row.A
	if side == 1 {
		c = row.B
	}
	v := SideView{C: c}
	if c == nil {
		return v
	}
	shown := func(question string) bool {
		return contains(row.Asked, question) || !row.Different || contains(row.Asked, "fitted")
	}
	v.State = shown("condition") || shown("custody")
	for _, claim := range c.Claims() {
		if shown(string(claim.Proposition)) && len(claim.Posterior) > 0 {
			v.Answers = append(v.Answers, AnswerView{upperFirst(string(claim.Proposition)), *claim})
		}
	}
	return v
}
