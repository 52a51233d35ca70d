package server

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// Sum is a figure taken apart: what went in, by which method and assumptions,
// what came out, and how anybody computes it again.
type Sum struct {
	*workshop.Figure
	Question string
	// Answer is the result in sentences, Meaning what its interval says.
	Answer  []string
	Meaning string
	Inputs  []SumTable
	Results []SumTable
	Keys    *Block // what the keys of the input mean
	// File is the name of the input, Command what computes the figure from it,
	// Download where it is got, and Explained where the method is.
	File, Command, Download, Explained string
}

// SumTable is one table of numbers. More is how many rows it leaves out.
type SumTable struct {
	Caption string
	Head    []string
	Rows    [][]string
	Foot    []string
	More    int
}

// SumPage shows a sum on a page of its own.
type SumPage struct {
	Base
	Sum  *Sum
	Back string
}

// SumLink leads from a figure to its sum.
type SumLink struct{ To, Words string }

// sumLink is the link from a figure of a report.
func sumLink(r *workshop.Report, words, id string) SumLink {
	to := "/machines/" + r.Machine.ID + "/sum/" + id
	if r.Public {
		to += "?public=1"
	}
	return SumLink{to, words}
}

// queryFigures are computed from a question on a page, and not from the record
// alone; the query holds the question.
var queryFigures = map[string]func(s *Server, r *http.Request, report *workshop.Report) (*workshop.Figure, error){
	"value": valueFigure, "plan": planFigure, "cost": costFigure, "waiting": waitingFigure, "buy": buyFigure,
}

func pageSum(s *Server, r *http.Request) (answer, error) {
	report, figure, err := s.figure(r)
	if err != nil {
		return nil, err
	}
	back := "/machines/" + report.Machine.ID
	if report.Public {
		back += "/story"
	}
	sum := newSum(report, figure, r.URL.RawQuery)
	page := SumPage{Base: s.basis(report, "", upperFirst(sum.Title)), Sum: sum, Back: back}
	return htmlAnswer{name: "sum-page", page: page}, nil
}

// downloadSum sends the input of a figure, as calc takes it.
func downloadSum(s *Server, r *http.Request) (answer, error) {
	report, figure, err := s.figure(r)
	if err != nil {
		return nil, err
	}
	return bytesAnswer{mediaType: jsonType, body: append(bytes.Clone(figure.Input), '\n'), attachment: sumFile(report, figure)}, nil
}

func sumFile(report *workshop.Report, f *workshop.Figure) string {
	return report.Machine.ID + "-" + strings.ReplaceAll(workshop.FigureSlug(f.ID), ":", "-") + ".json"
}

func (s *Server) figure(r *http.Request) (*workshop.Report, *workshop.Figure, error) {
	id, err := machineID(r)
	if err != nil {
		return nil, nil, err
	}
	o, err := edition(r.URL.Query())
	if err != nil {
		return nil, nil, err
	}
	report, err := s.reportOf(r, id, o)
	if err != nil {
		return nil, nil, err
	}
	name := chi.URLParam(r, "figure")
	if plain, err := url.PathUnescape(name); err == nil {
		name = plain
	}
	if ask := queryFigures[name]; ask != nil && !publicOnly(r, id) {
		f, err := ask(s, r, report)
		return report, f, err
	}
	f, err := s.Workshop.Figure(r.Context(), report, name)
	return report, f, err
}

func valueFigure(s *Server, r *http.Request, report *workshop.Report) (*workshop.Figure, error) {
	t := &typed{Values: r.URL.Query(), comma: decimalComma(r)}
	q := readValueQuery(t)
	if err := t.err(); err != nil {
		return nil, err
	}
	v, err := s.Workshop.Value(r.Context(), report.Machine.ID, q)
	if err != nil {
		return nil, err
	}
	f, err := s.Workshop.FigureOf("value", "What the machine is worth before and after", scoring.MethodValue, v.Input, slices.Concat(v.Assumptions, v.Prior)...)
	if f != nil {
		f.Currency = v.Currency
	}
	return f, err
}

func planFigure(s *Server, r *http.Request, report *workshop.Report) (*workshop.Figure, error) {
	req, err := readPlanForm(&typed{Values: r.URL.Query(), comma: decimalComma(r)})
	if err != nil {
		return nil, err
	}
	p, err := s.Workshop.Plan(r.Context(), report.Machine.ID, req)
	if err != nil {
		return nil, err
	}
	f, err := s.Workshop.FigureOf("plan", "Which plans no other beats", scoring.MethodPlan, p.Input, p.Assumptions...)
	if f != nil {
		f.Currency = p.Currency
	}
	return f, err
}

func costFigure(s *Server, r *http.Request, report *workshop.Report) (*workshop.Figure, error) {
	c, err := s.Workshop.Cost(r.Context(), report.Machine.ID, r.URL.Query()["option"], registry.Money{})
	if err != nil {
		return nil, err
	}
	f, err := s.Workshop.FigureOf("cost", "What it is likely to cost", scoring.MethodCost, c.Input, c.Assumptions...)
	if f != nil {
		f.Currency = c.Currency
	}
	return f, err
}

// byChance is what a search log is thought to say of the years to come.
const byChance = "Sightings come by chance, as often in future as in the log."

// waitingFigure is how likely a part that is needed turns up.
func waitingFigure(s *Server, r *http.Request, report *workshop.Report) (*workshop.Figure, error) {
	parts, err := s.Workshop.Parts(r.Context(), report.Machine.ID, 0)
	if err != nil {
		return nil, err
	}
	what := r.URL.Query().Get("what")
	for _, p := range parts.Parts {
		if p.What == what && p.Search != nil && p.Search.Input != nil {
			f, err := s.Workshop.FigureOf("waiting", p.What+": waiting for it", scoring.MethodWait, p.Search.Input, byChance)
			if f != nil {
				f.Words = p.Search.Words
			}
			return f, err
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Open it from the parts page.", "Nothing can be said of waiting for %s", quoted(what))
}

// buyFigure is up to what price to buy a part.
func buyFigure(s *Server, r *http.Request, report *workshop.Report) (*workshop.Figure, error) {
	t := &typed{Values: r.URL.Query()}
	q := readBuyForm(t)
	if err := t.err(); err != nil {
		return nil, err
	}
	b, err := s.Workshop.Buy(r.Context(), report.Machine.ID, q)
	if err != nil {
		return nil, err
	}
	f, err := s.Workshop.FigureOf("buy", q.What+": up to what price to buy it", scoring.MethodWait, b.Input, byChance, "Each price in the log is as likely as another.")
	if f != nil {
		f.Words, f.Currency = b.Words, b.Asked[0].Currency
	}
	return f, err
}

// newSum takes a figure apart for its page.
func newSum(report *workshop.Report, f *workshop.Figure, query string) *Sum {
	base, _, _ := strings.Cut(f.Method, "/")
	s := &Sum{Figure: f, File: sumFile(report, f), Explained: "/methods/" + base}
	s.Command = "asfound calc " + f.Method + " < " + s.File
	s.Download = "/machines/" + report.Machine.ID + "/sum/" + f.ID + "/input.json"
	if query != "" {
		s.Download += "?" + query
	}
	for _, m := range scoring.Methods() {
		if m.Name == f.Method {
			s.Question = m.Question
		}
	}
	if m, ok := methodText(f.Method); ok {
		s.Keys = m.keys()
	}
	say := sayer{names: namesOf(report), evidence: map[string]string{}, currency: f.Currency}
	for _, e := range report.Evidence {
		say.evidence[e.ID] = e.Says
	}
	switch f.Method {
	case scoring.MethodOrigin:
		say.origin(s)
	case scoring.MethodIndex:
		say.index(s)
	default:
		s.Inputs = say.tables(f.Input)
		say.other(s)
	}
	s.Results = append(s.Results, say.tables(f.Result)...)
	if f.Words != "" {
		s.Answer = append(s.Answer, f.Words)
	}
	return s
}

// sayer writes numbers and names as people read them.
type sayer struct {
	names    names
	evidence map[string]string
	currency string // of every sum of money
}

// name says a component by its name and evidence by what it says.
func (y sayer) name(id string) string {
	if c, ok := y.names[id]; ok {
		return c.Name
	}
	if says := y.evidence[id]; says != "" {
		return id + ": " + says
	}
	if option, index, ok := strings.Cut(id, "/"); ok && y.names[option] != nil {
		return y.names[option].Name + ", " + index
	}
	if _, sign, ok := strings.Cut(id, ":"); ok && strings.HasPrefix(id, "sv-") {
		if asks[registry.Proposition(sign)] != "" {
			return "the surveyor’s own reading"
		}
		return "seen at the survey: " + plainWords(sign)
	}
	return id
}

const eighty = "The interval is where the figure lies with a chance of 80 %, as far as the stated assumptions hold: in one case of five it lies outside."

// origin tells of an answer by evidence: prior, posterior and band for each
// state, then how likely each finding is in each state.
func (y sayer) origin(s *Sum) {
	var in scoring.OriginInput
	var out scoring.OriginResult
	if json.Unmarshal(s.Input, &in) != nil || json.Unmarshal(s.Result, &out) != nil {
		return
	}
	top, shown := leading(out.Posterior)
	s.Answer = append(s.Answer, fmt.Sprintf("The likeliest answer is “%s”, with a probability of %s.", plainWords(top), shown))
	if b, ok := out.Band.Get(top); ok && scoring.Percent(b[0]) != scoring.Percent(b[1]) {
		s.Answer = append(s.Answer, fmt.Sprintf("It lies between %s and %s when pieces of evidence repeat one another more, or less, than assumed.", scoring.Percent(b[0]), scoring.Percent(b[1])))
	}
	s.Meaning = "The band says how far the answer hangs on the assumption that pieces of one kind of evidence partly repeat one another. It is no margin of error of the evidence itself."
	states := SumTable{Caption: "Each state, in per cent", Head: []string{"State", "Before any evidence", "After it", "Band"}}
	for i, state := range in.States {
		p, _ := out.Posterior.Get(state)
		band := "–"
		if b, ok := out.Band.Get(state); ok {
			band = "steady"
			if scoring.Percent(b[0]) != scoring.Percent(b[1]) {
				band = scoring.Percent(b[0]) + " to " + scoring.Percent(b[1])
			}
		}
		states.Rows = append(states.Rows, []string{plainWords(state), scoring.Percent(in.Prior[i]), scoring.Percent(p), band})
	}
	if other, ok := out.Posterior.Get(registry.StateOther); ok {
		prior := scoring.DefaultOther
		if in.Other != nil {
			prior = *in.Other
		}
		states.Rows = append(states.Rows, []string{"none of these", scoring.Percent(prior), scoring.Percent(other), "–"})
	}
	found := SumTable{Caption: "How likely each finding is, should the part be in that state (0 to 1)", Head: append([]string{"Finding", "Kind of evidence", "Trusted at"}, spaced(in.States)...)}
	for _, e := range in.Evidence {
		trust := 1.0
		if e.Reliability != nil {
			trust = *e.Reliability
		}
		row := []string{y.name(e.ID), plainWords(e.Cluster), scoring.Percent(trust)}
		for _, l := range e.Likelihood {
			row = append(row, numberWords(l))
		}
		found.Rows = append(found.Rows, row)
	}
	s.Inputs = []SumTable{states}
	if len(found.Rows) > 0 {
		s.Inputs = append(s.Inputs, found)
	}
}

func spaced(list []string) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = plainWords(x)
	}
	return out
}

// index tells of an index as a sum over the components: weight times what the
// component counts.
func (y sayer) index(s *Sum) {
	var in scoring.IndexInput
	var out scoring.IndexResult
	if json.Unmarshal(s.Input, &in) != nil || json.Unmarshal(s.Result, &out) != nil {
		return
	}
	s.Answer = append(s.Answer, fmt.Sprintf("The index is %s on a scale from 0 to 1, and with a chance of 80 %% between %s and %s.", indexWords(out.Median), indexWords(out.Low80), indexWords(out.High80)))
	s.Meaning = eighty
	type line struct {
		name             string
		weight, mean, of float64
	}
	var lines []line
	var weight, points float64
	for _, a := range in.Assemblies {
		for _, p := range a.Parts {
			mean := expected(p.IfIntact, p.Credit)
			if len(p.IfSwapped) > 0 {
				mean = a.Intact*mean + (1-a.Intact)*expected(p.IfSwapped, p.Credit)
			}
			lines = append(lines, line{y.name(p.ID), p.Weight, mean, p.Weight * mean})
			weight += p.Weight
			points += p.Weight * mean
		}
	}
	slices.SortStableFunc(lines, func(a, b line) int { return cmp.Compare(b.weight-b.of, a.weight-a.of) })
	t := SumTable{Caption: "Component by component, those first that take most away", Head: []string{"Component", "Weight, points", "Counts, 0 to 1", "Adds, points", "Takes away, points"}}
	for _, l := range lines {
		t.Rows = append(t.Rows, []string{l.name, fmt.Sprintf("%.1f", l.weight), fmt.Sprintf("%.3f", l.mean), fmt.Sprintf("%.1f", l.of), fmt.Sprintf("%.1f", l.weight-l.of)})
	}
	if weight > 0 {
		t.Foot = []string{"Together", fmt.Sprintf("%.1f", weight), fmt.Sprintf("%.3f", points/weight), fmt.Sprintf("%.1f", points), fmt.Sprintf("%.1f", weight-points)}
		s.Answer = append(s.Answer, fmt.Sprintf("Its mean is the sum below: %.1f of %.1f points, which is %.3f.", points, weight, points/weight))
	}
	s.Inputs = []SumTable{t}
}

// expected is what a component counts on average.
func expected(states, credit scoring.Distribution) float64 {
	sum := 0.0
	for _, e := range states {
		c, _ := credit.Get(e.Key)
		sum += e.Value * c
	}
	return sum
}

// other says the answers of the methods that are told in a sentence.
func (y sayer) other(s *Sum) {
	switch s.Method {
	case scoring.MethodEffect:
		var e scoring.EffectResult
		if json.Unmarshal(s.Result, &e) == nil {
			s.Answer = append(s.Answer,
				fmt.Sprintf("As the machine then stands it takes %s points of 1000, and with a chance of 80 %% between %s and %s.", pointsWords(e.Now.Median), pointsWords(e.Now.Low80), pointsWords(e.Now.High80)),
				fmt.Sprintf("For good it takes %s points of 1000, and with a chance of 80 %% between %s and %s.", pointsWords(e.ForGood.Median), pointsWords(e.ForGood.Low80), pointsWords(e.ForGood.High80)))
			s.Meaning = eighty + " In the file a loss is a part of the index, from 0 to 1; a point is a thousandth of it."
		}
	case scoring.MethodCost:
		var c scoring.CostResult
		if json.Unmarshal(s.Result, &c) == nil {
			s.Answer = append(s.Answer, fmt.Sprintf("%s is enough with a chance of 50 %%, %s with a chance of 80 %%, and %s with a chance of 95 %%.", together(moneyWords(c.P50, s.Currency)), together(moneyWords(c.P80, s.Currency)), together(moneyWords(c.P95, s.Currency))))
			s.Meaning = "It is the whole spread of what the cost may come to, by the mechanic’s least, likeliest and most for each piece of work and by what may be found."
		}
	case scoring.MethodValue:
		var v scoring.ValueResult
		if json.Unmarshal(s.Result, &v) == nil {
			for _, a := range v.Afters {
				s.Answer = append(s.Answer, upperFirst(plainWords(a.ID))+": "+ratioSaid(a))
			}
			s.Meaning = eighty
		}
	}
}

// rowsShown is how many rows of a table a page shows.
const rowsShown = 60

// tables lays JSON out as tables: what stands alone in one, each list of
// objects in its own.
func (y sayer) tables(raw json.RawMessage) []SumTable {
	var tree map[string]any
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	if dec.Decode(&tree) != nil {
		return nil
	}
	alone := SumTable{Head: []string{"What", "Figure"}}
	var out []SumTable
	var walk func(prefix string, v map[string]any)
	walk = func(prefix string, v map[string]any) {
		for _, key := range slices.Sorted(maps.Keys(v)) {
			name := keyWords(key) + y.unit(key)
			if c, ok := y.names[key]; ok {
				name = c.Name
			}
			if prefix != "" {
				name = prefix + ", " + name
			}
			switch x := v[key].(type) {
			case map[string]any:
				walk(name, x)
			case []any:
				if len(x) > 0 && isObject(x[0]) {
					out = append(out, y.list(upperFirst(name), x))
				} else {
					alone.Rows = append(alone.Rows, []string{upperFirst(name), y.cell(x)})
				}
			default:
				alone.Rows = append(alone.Rows, []string{upperFirst(name), y.cell(x)})
			}
		}
	}
	walk("", tree)
	if len(alone.Rows) > 0 {
		out = append([]SumTable{alone.cut()}, out...)
	}
	return out
}

func isObject(v any) bool { _, ok := v.(map[string]any); return ok }

// list is a list of objects as a table, the names first.
func (y sayer) list(caption string, list []any) SumTable {
	t := SumTable{Caption: caption}
	var keys []string
	for _, x := range list {
		if o, ok := x.(map[string]any); ok {
			for _, k := range slices.Sorted(maps.Keys(o)) {
				if !slices.Contains(keys, k) {
					keys = append(keys, k)
				}
			}
		}
	}
	slices.SortStableFunc(keys, func(a, b string) int { return cmp.Compare(keyRank(a), keyRank(b)) })
	for _, k := range keys {
		t.Head = append(t.Head, upperFirst(keyWords(k))+y.unit(k))
	}
	for _, x := range list {
		o, ok := x.(map[string]any)
		if !ok {
			continue
		}
		row := make([]string, len(keys))
		for i, k := range keys {
			row[i] = y.cell(o[k])
		}
		t.Rows = append(t.Rows, row)
	}
	return t.cut()
}

// keyRank puts names first, and what is likeliest between the least and the
// most.
func keyRank(key string) int {
	if i := slices.Index([]string{"id", "low", "likely", "high"}, key); i >= 0 {
		return i
	}
	return 9
}

// unit is the unit of a key, after a comma; "" for one that the list of keys
// explains.
func (y sayer) unit(key string) string {
	switch key {
	case "low", "likely", "high", "cost", "ceiling", "money", "price", "p50", "p80", "p95", "likely_sum", "exact_mean":
		if y.currency != "" {
			return ", " + y.currency
		}
	case "chance", "reliability", "intact", "works":
		return ", 0 to 1"
	case "weight":
		return ", points"
	case "hours":
		return ", h"
	case "lead":
		return ", days"
	}
	return ""
}

func (t SumTable) cut() SumTable {
	if t.More = max(len(t.Rows)-rowsShown, 0); t.More > 0 {
		t.Rows = t.Rows[:rowsShown]
	}
	return t
}

// keyWords turns a key of JSON into words: "low80", "for_good".
func keyWords(key string) string {
	switch key {
	case "id":
		return "which"
	case "low80":
		return "least, of 80 %"
	case "high80":
		return "most, of 80 %"
	case "p50", "p80", "p95":
		return "enough in " + key[1:] + " % of cases"
	case "sd":
		return "standard deviation"
	}
	return strings.ReplaceAll(plainWords(key), "_", " ")
}

// cellMost is how much of a list a cell shows.
const cellMost = 12

func (y sayer) cell(v any) string {
	switch x := v.(type) {
	case nil:
		return "–"
	case bool:
		if x {
			return "yes"
		}
		return "no"
	case json.Number:
		f, err := x.Float64()
		if err != nil {
			return x.String()
		}
		if w := numberWords(f); w != "0" || f == 0 {
			return minus(w)
		}
		return minus(fmt.Sprintf("%.2g", f))
	case string:
		return y.name(x)
	case []any:
		var parts []string
		for i, e := range x {
			if i == cellMost {
				parts = append(parts, fmt.Sprintf("and %d more", len(x)-i))
				break
			}
			parts = append(parts, y.cell(e))
		}
		return strings.Join(parts, "; ")
	case map[string]any:
		var parts []string
		for _, k := range slices.Sorted(maps.Keys(x)) {
			parts = append(parts, keyWords(k)+" "+y.cell(x[k]))
		}
		return strings.Join(parts, ", ")
	}
	return ""
}
