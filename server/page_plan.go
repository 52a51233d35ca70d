package server

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"example.org/asfound/language"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// PlanPage shows the plans that no other plan beats.
type PlanPage struct {
	Base
	Report *workshop.Report
	Form   Form
	// Reading shows the plans as sentences instead of as a table; Other is the
	// address of the other way.
	Reading bool
	Other   string
	// Refused says why there is no plan, and what to do.
	Refused string
	Plan    *workshop.PlanReport
	SumTo   string // where the plans are taken apart
	Counts  string
	Explain [][]PlanPiece
	Drawing *PlanDrawing
	Plans   []PlanView
	Left    int // plans on the front that are not listed
	Settled []string
	Names   []PlanName
	// Offer are the options of the planned faults and Recommend those of the
	// picked plan, to be put to the owner.
	Offer, Recommend []string
}

// PlanPiece is a piece of an explanation; Plan is the number of a plan that is
// listed, -1 for plain text.
type PlanPiece struct {
	Text string
	Plan int
}

// PlanName is a short name with its words.
type PlanName struct{ ID, Words string }

// PlanView is one plan as it is shown. N is its place on the front, by which
// the explanation names it.
type PlanView struct {
	scoring.PlanChoice
	N       int
	Picked  bool
	Choices []PlanChosen
	Opens   []string // in words
	Money   string   // with its currency
	Text    string   // the plan in sentences
}

// PlanChosen is what a plan does about one fault.
type PlanChosen struct {
	Fault, Words string
	Differs      bool // from the picked plan
}

// plansListed is how many plans a page lists at most.
const plansListed = 200

// planForm asks for the limits and for what matters most.
func planForm(machine, currency string) Form {
	unit := currency
	if unit == "" {
		unit = "in the currency of the options"
	}
	short := func(name, label, unit, hint string, pointers ...string) Field {
		return Field{Name: name, Label: label, Kind: "short", Unit: unit, Hint: hint, Pointers: pointers}
	}
	return Form{Action: "/machines/" + machine + "/plan", Button: "Show the plans", Parts: []FormPart{{Fields: []Field{
		short("money", "Money at most", unit, "", "/limits/money"),
		short("hours", "Work at most", "hours", "", "/limits/hours"),
		short("lead", "Waiting at most", "days", "", "/limits/lead"),
		short("chance", "Chance that all of it works, at least", "%", "", "/limits/works"),
		{Name: "by", Label: "What matters most", Kind: "radios", Value: scoring.ByForGood, Pointers: []string{"/pick"}, Choices: []Choice{
			{scoring.ByForGood, "The least loss for good", ""}, {scoring.ByMoney, "The least money", ""}, {scoring.ByWorks, "The best chance that all works", ""}}},
	}}}}
}

// readPlanForm reads the page's query.
func readPlanForm(t *typed) (workshop.PlanRequest, error) {
	read := func(name, pointer, unit string, top float64) *float64 {
		if t.text(name) == "" {
			return nil
		}
		before := len(t.faults)
		v := t.number(name, pointer, unit)
		if len(t.faults) == before && !(v >= 0 && v <= top) {
			t.fault(pointer, t.text(name), "This is outside what can be asked for", "Write a number from 0 to "+numberWords(top)+".")
		}
		return &v
	}
	req := workshop.PlanRequest{Pick: t.text("by"), Limits: scoring.PlanLimits{Money: read("money", "/limits/money", "money", 1e9),
		Hours: read("hours", "/limits/hours", "hours", 1e6), Lead: read("lead", "/limits/lead", "days", 1e5), Works: read("chance", "/limits/works", "per cent", 100)}}
	if w := req.Limits.Works; w != nil {
		*w = math.Round(*w*1e4) / 1e6
	}
	switch req.Pick {
	case "":
		req.Pick = scoring.ByForGood
	case scoring.ByForGood, scoring.ByMoney, scoring.ByWorks:
	default:
		t.fault("/pick", req.Pick, "This is nothing to prefer", "Choose one of the three.")
	}
	return req, t.err()
}

func pagePlan(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	tag := s.pageTag(r, report.Version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	q := r.URL.Query()
	page := PlanPage{Base: s.basis(report, "plan", "Plans"), Report: report, Reading: q.Get("read") == "1", Form: planForm(report.Machine.ID, "")}
	page.SumTo = strings.TrimSuffix("/machines/"+report.Machine.ID+"/sum/plan?"+q.Encode(), "?")
	page.Other = otherReading(r.URL.Path, q, page.Reading)
	if page.Reading {
		page.Form.Hidden = []Hidden{{"read", "1"}}
	}
	req, wrong := readPlanForm(&typed{Values: q, comma: decimalComma(r)})
	var plan *workshop.PlanReport
	if wrong == nil {
		plan, err = s.Workshop.Plan(r.Context(), report.Machine.ID, req)
	}
	if plan != nil {
		hidden := page.Form.Hidden
		page.Form = planForm(report.Machine.ID, plan.Currency)
		page.Form.Hidden = hidden
	}
	page.Form.fill(q)
	switch {
	case wrong != nil:
	case err == nil:
		page.show(plan)
		return htmlAnswer{name: "plan", page: page, etag: tag}, nil
	case codeOf(err) == registry.CodeInvalid && len(fieldsOf(err)) > 0:
		wrong = err
	case codeOf(err) == registry.CodeInvalid, codeOf(err) == registry.CodeInsufficient, codeOf(err) == registry.CodeTooLarge:
		var e *registry.Error
		errors.As(err, &e)
		page.Refused = sentence(e.Message, e.Fix)
		return htmlAnswer{name: "plan", page: page, etag: tag}, nil
	default:
		return nil, err
	}
	page.Wrong = true
	page.Form.refuse(wrong)
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "plan", page: page}, nil
}

// otherReading is the address of the same plans, as sentences or as a table.
func otherReading(path string, q url.Values, reading bool) string {
	other := url.Values{}
	for k, v := range q {
		other[k] = v
	}
	if reading {
		other.Del("read")
	} else {
		other.Set("read", "1")
	}
	return strings.TrimSuffix(path+"?"+other.Encode(), "?") + "#h-plans"
}

// show puts a plan report on the page.
func (p *PlanPage) show(plan *workshop.PlanReport) {
	p.Plan, p.Counts = plan, countsWords(plan.Result.Counts)
	front := plan.Result.Front
	picked := -1
	if plan.Result.Pick != nil {
		picked = plan.Result.Pick.Plan
	}
	listed := map[int]bool{}
	every := (len(front) + plansListed - 2) / (plansListed - 1)
	for i := range front {
		if len(front) <= plansListed || i%every == 0 || i == picked {
			listed[i] = true
		}
	}
	p.Left = len(front) - len(listed)
	for i := range front {
		if listed[i] {
			p.Plans = append(p.Plans, planView(plan, i, picked))
		}
	}
	if plan.Result.Pick != nil {
		for _, line := range plan.Result.Pick.Explain {
			p.Explain = append(p.Explain, pieces(line, listed))
		}
	}
	if len(p.Plans) > 0 {
		p.Drawing = drawPlans(p.Plans, plan.Currency)
	}
	for _, f := range plan.Input.Faults {
		p.Names = append(p.Names, PlanName{f.ID, plan.Titles[f.ID]})
		for _, o := range f.Options {
			p.Names = append(p.Names, PlanName{o.ID, plan.Titles[o.ID]})
			p.Offer = append(p.Offer, o.ID)
		}
	}
	if picked >= 0 {
		for _, c := range front[picked].Options {
			p.Recommend = append(p.Recommend, c.Value)
		}
	}
	for _, id := range plan.Settled {
		p.Settled = append(p.Settled, plainWords(id))
		for _, f := range p.Report.Faults {
			if f.ID == id {
				p.Settled[len(p.Settled)-1] = f.Complaint
			}
		}
	}
}

func countsWords(c scoring.PlanCounts) string {
	words := fmt.Sprintf("The options can be combined in %s ways", c.Combinations)
	if c.Infeasible.Sign() > 0 {
		words += fmt.Sprintf("; in %s one option needs or rules out another", c.Infeasible)
	}
	if c.Gated.Sign() > 0 {
		words += fmt.Sprintf("; %s leave what must be put right", c.Gated)
	}
	if c.OverLimit != nil && c.OverLimit.Sign() > 0 {
		words += fmt.Sprintf("; %s go beyond a limit", c.OverLimit)
	}
	if c.Dominated != nil && c.Dominated.Sign() > 0 {
		words += fmt.Sprintf("; %s are no better than another in loss for good, money and chance", c.Dominated)
	}
	return words + "; " + plural(c.Front, "is left.", "are left, each the best of its kind.")
}

// planNumber finds the plans that an explanation names.
var planNumber = regexp.MustCompile(`[pP]lan \d+`)

// explainedIn says explanations, each as a whole, and cuts them again.
func explainedIn(l *language.Language, lines [][]PlanPiece) [][]PlanPiece {
	if l == language.English {
		return lines
	}
	var out [][]PlanPiece
	for _, line := range lines {
		whole, listed := "", map[int]bool{}
		for _, p := range line {
			whole += p.Text
			listed[p.Plan] = p.Plan >= 0
		}
		out = append(out, pieces(l.Text(whole), listed))
	}
	return out
}

// pieces cuts an explanation where it names a plan that is listed.
func pieces(line string, listed map[int]bool) []PlanPiece {
	var out []PlanPiece
	from := 0
	for _, at := range planNumber.FindAllStringIndex(line, -1) {
		n, err := strconv.Atoi(line[at[0]+len("plan ") : at[1]])
		if err != nil || !listed[n] {
			continue
		}
		out = append(out, PlanPiece{line[from:at[0]], -1}, PlanPiece{line[at[0]:at[1]], n})
		from = at[1]
	}
	return append(out, PlanPiece{line[from:], -1})
}

func planView(plan *workshop.PlanReport, i, picked int) PlanView {
	c := plan.Result.Front[i]
	v := PlanView{PlanChoice: c, N: i, Picked: i == picked, Money: moneyWords(c.Money, plan.Currency)}
	for k, o := range c.Options {
		v.Choices = append(v.Choices, PlanChosen{Fault: plainWords(o.Key), Words: titleOf(plan, o.Value),
			Differs: picked >= 0 && o.Value != plan.Result.Front[picked].Options[k].Value})
	}
	for _, id := range c.Openings {
		v.Opens = append(v.Opens, titleOf(plan, id))
	}
	v.Text = v.sentences()
	return v
}

func titleOf(plan *workshop.PlanReport, id string) string {
	if title := plan.Titles[id]; title != "" {
		return title
	}
	return plainWords(id)
}

// moneyWords writes an amount with its currency.
func moneyWords(v float64, currency string) string {
	return strings.TrimSpace(numberWords(math.Round(v*100)/100) + " " + currency)
}

// planPoints writes points of 1000.
func planPoints(v float64) string { return pointsWords(v / 1000) }

// sentences says a plan in words.
func (v *PlanView) sentences() string {
	waiting := "nothing has to be waited for"
	if v.Lead > 0 {
		waiting = daysWords(v.Lead) + " of waiting"
	}
	said := fmt.Sprintf("It costs %s and %s h of work; %s. Of the points %s are gone from the machine as it then stands, and %s for good. All of it works with a chance of %s.",
		v.Money, numberWords(v.Hours), waiting, planPoints(v.Now), planPoints(v.ForGood), scoring.Percent(v.Works))
	if len(v.Opens) > 0 {
		said += " Opened for it: " + strings.Join(v.Opens, ", ") + "."
	}
	return said
}
