package server

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"sort"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// ValuePage compares what the machine is worth before and after options.
type ValuePage struct {
	Base
	Report    *workshop.Report
	Form      Form
	Refused   string
	Shared    []workshop.SharedSale // what other machines offer
	Value     *workshop.ValueReport // nil while nothing was asked
	View      *ValueView
	SumTo     string // where the figures are taken apart
	Influence []InfluenceView
	// More is how many sales the table leaves out.
	More     int
	Cautions []string
}

// InfluenceView is what one sale does to the figures.
type InfluenceView struct {
	ID     string
	Level  string   // factor of the level without it
	Ratios []string // of each plan's ratio
	// X and Width are the bar of what the level would change without it, from
	// the middle line on.
	X, Width string
	most     float64
}

// influenceHalf is half the width of the drawing of an influence.
const influenceHalf = 60.0

// influencesListed is how many sales the page names, the most influential
// first.
const influencesListed = 20

// valueFields ask what a valuation needs; names begin with prefix.
func valueFields(prefix string) []Field {
	miles := []Choice{{"mi", "miles", ""}, {"km", "kilometres", ""}}
	yes := []Choice{{"yes", "Yes", ""}}
	return []Field{
		{Name: prefix + "distance", Label: "What the dial shows", Kind: "short", Pointers: []string{"/distance", "/before/distance"}},
		{Name: prefix + "unit", Label: "In", Kind: "radios", Value: "mi", Choices: miles},
		{Name: prefix + "condition", Label: "Condition as it stands", Kind: "short", Unit: "0 to 5", Hint: "Left empty, the mean of the survey.", Pointers: []string{"/condition_before", "/before/condition"}},
		{Name: prefix + "condition_after", Label: "Condition afterwards", Kind: "short", Unit: "0 to 5", Hint: "Left empty, as it stands.", Pointers: []string{"/condition_after", "/afters"}},
		{Name: prefix + "documented", Label: "Its papers are there", Kind: "checks", Choices: yes},
		{Name: prefix + "running", Label: "It runs as it stands", Kind: "checks", Choices: yes},
		{Name: prefix + "running_after", Label: "It runs afterwards", Kind: "checks", Choices: yes},
	}
}

// readValueFields reads them back. The distance is nil when it was left empty.
func readValueFields(t *typed, prefix string) workshop.ValueQuestion {
	read := func(name, pointer, unit string, low, high float64) *float64 {
		if t.text(prefix+name) == "" {
			return nil
		}
		before := len(t.faults)
		v := t.number(prefix+name, pointer, unit)
		if len(t.faults) == before && !(v >= low && v <= high) {
			t.fault(pointer, t.text(prefix+name), "This is outside what can be asked for", "Write a number from "+numberWords(low)+" to "+numberWords(high)+".")
		}
		return &v
	}
	q := workshop.ValueQuestion{Distance: read("distance", "/distance", "miles or kilometres", 1, 1e6), ConditionBefore: read("condition", "/condition_before", "steps of condition", 0, 5),
		ConditionAfter: read("condition_after", "/condition_after", "steps of condition", 0, 5), Documented: t.text(prefix+"documented") == "yes", Running: t.text(prefix+"running") == "yes"}
	if q.Distance != nil && t.text(prefix+"unit") == "km" {
		*q.Distance /= workshop.KilometresPerMile
	}
	if after := q.Running || t.text(prefix+"running_after") == "yes"; after {
		q.RunningAfter = &after
	}
	return q
}

func valueForm(report *workshop.Report) Form {
	options := Field{Name: "option", Label: "Options to value", Kind: "checks", Hint: "Each by itself, or all together as one plan.", Pointers: []string{"/options"}}
	for _, f := range report.Faults {
		for _, o := range f.Options {
			options.Choices = append(options.Choices, Choice{o.ID, upperFirst(o.Title), plainWords(f.ID)})
		}
	}
	fields := append([]Field{options, {Name: "together", Label: "As one plan", Kind: "checks", Choices: []Choice{{"yes", "Value them together", ""}}}}, valueFields("")...)
	fields = append(fields, Field{Name: "level", Label: "What a middling machine fetches", Kind: "short", Hint: "In the currency of the sales. Left empty, the catalog’s assumption.", Pointers: []string{"/level"}})
	fields = append(fields, Field{Name: "series", Label: "Price index", Kind: "area", Hint: "Needed when the sales lie years apart: a date, a comma and the index, one a line, such as “2024-06, 104.5”, from the oldest sale to today. Any base.", Pointers: []string{"/series"}})
	return Form{Action: "/machines/" + report.Machine.ID + "/value", Button: "Compare the values", Parts: []FormPart{{Fields: fields}}}
}

func pageValue(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	shared, err := s.Workshop.SharedSales(r.Context(), report.Machine.ID)
	if err != nil {
		return nil, err
	}
	page := ValuePage{Base: s.basis(report, "plan", "What it does to the value"), Report: report, Form: valueForm(report), Shared: shared}
	page.Form.Parts[0].Fields = append(page.Form.Parts[0].Fields, sharedField(shared)...)
	// What sales say of today changes with the day, and what others offer at any
	// time.
	tag := strings.TrimSuffix(s.pageTag(r, report.Version), `"`) + "." + s.Now().UTC().Format(time.DateOnly) + "." + offeredTag(shared) + `"`
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	t := &typed{Values: r.URL.Query(), comma: decimalComma(r)}
	if len(t.Values) == 0 {
		return htmlAnswer{name: "value", page: page, etag: tag}, nil
	}
	page.Form.fill(t.Values)
	q := readValueQuery(t)
	wrong := t.err()
	if wrong == nil {
		page.Value, err = s.Workshop.Value(r.Context(), report.Machine.ID, q)
	}
	switch {
	case wrong != nil:
	case err == nil:
		page.show()
		page.SumTo = "/machines/" + report.Machine.ID + "/sum/value?" + r.URL.RawQuery
		return htmlAnswer{name: "value", page: page, etag: tag}, nil
	case !mendable(err) && codeOf(err) != registry.CodeTooLarge:
		return nil, err
	case codeOf(err) == registry.CodeInvalid:
		wrong = err
	default:
		var e *registry.Error
		errors.As(err, &e)
		page.Refused = sentence(e.Message, e.Fix)
		return htmlAnswer{name: "value", page: page, etag: tag}, nil
	}
	page.Wrong = true
	page.Form.refuse(wrong)
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "value", page: page}, nil
}

// readValueQuery reads the whole question of the page.
func readValueQuery(t *typed) workshop.ValueQuestion {
	q := readValueFields(t, "")
	q.Shared = t.list("shared")
	q.Options, q.Together = t.list("option"), t.text("together") == "yes"
	if t.text("level") != "" {
		level := t.number("level", "/level", "money")
		q.Level = &level
	}
	q.Series = readSeries(t)
	if q.Distance == nil && len(t.faults) == 0 {
		t.fault("/distance", "", "It is not said how far the machine has run", "Write what the dial shows.")
	}
	return q
}

// readSeries reads a price index, one point a line.
func readSeries(t *typed) []workshop.PricePoint {
	var out []workshop.PricePoint
	for i, line := range t.lines("series") {
		date, value, ok := strings.Cut(line, ",")
		v, err := t.figure(value)
		if !ok || err != nil {
			t.fault("/series", line, "Line "+itoa(i+1)+" is not a date and an index", "Write a date, a comma and a number with a point, such as 2024-06, 104.5.")
			continue
		}
		out = append(out, workshop.PricePoint{Date: registry.Date(strings.TrimSpace(date)), Value: v})
	}
	return out
}

// show puts the valuation on the page.
func (p *ValuePage) show() {
	v := p.Value
	titles := map[string]string{"together": "all of them together"}
	for _, f := range p.Report.Faults {
		for _, o := range f.Options {
			titles[o.ID] = o.Title
		}
	}
	p.View = valueView(&v.Result, v.Currency, titles)
	p.Cautions = append(p.Cautions, v.Cautions...)
	p.Cautions = append(p.Cautions, p.View.Cautions...)
	p.View.Cautions = nil // said once
	for _, twins := range v.Result.Duplicates {
		p.Cautions = append(p.Cautions, "These may be one sale, recorded twice; both count until one is withdrawn: "+strings.Join(twins, ", ")+".")
	}
	for _, o := range v.Result.Outliers {
		p.Cautions = append(p.Cautions, "Look at "+o.ID+" again: "+strings.Join(o.Why, "; ")+".")
	}
	p.Influence = influenceViews(v.Result.Influence)
	if p.More = len(p.Influence) - influencesListed; p.More > 0 {
		p.Influence = p.Influence[:influencesListed]
	}
}

// influenceViews puts the most influential sale first.
func influenceViews(list []scoring.Influence) []InfluenceView {
	var out []InfluenceView
	for _, i := range list {
		v := InfluenceView{ID: i.ID, Level: fmt.Sprintf("%.2f", i.Level), most: math.Abs(math.Log(i.Level))}
		for _, r := range i.Ratios {
			v.Ratios = append(v.Ratios, fmt.Sprintf("%.3f", r))
			v.most = max(v.most, math.Abs(math.Log(r)))
		}
		out = append(out, v)
	}
	top := 0.0
	for _, i := range list {
		top = max(top, math.Abs(math.Log(i.Level)))
	}
	for k := range out {
		reach := 0.0
		if top > 0 {
			reach = influenceHalf * math.Log(list[k].Level) / top
		}
		out[k].X, out[k].Width = xText(influenceHalf+min(reach, 0)), xText(max(math.Abs(reach), 0.5))
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].most > out[b].most })
	return out
}
