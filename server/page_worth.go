package server

import (
	"math"
	"net/http"
	"strconv"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// WorthPage asks whether a test is worth its price before a decision about one
// component, and answers it. It records nothing.
type WorthPage struct {
	Base
	Report    *workshop.Report
	Component *workshop.ComponentReport
	Asks      string
	Form      Form
	Now       string // how likely the state is now
	Refused   string
	Worth     *scoring.TestWorth
	Words     []string
}

// worthForm asks for the choice that hangs on it, and for the test.
func worthForm(report *workshop.Report, c *workshop.ComponentReport, claim *workshop.ClaimReport) Form {
	var states []Choice
	for _, e := range claim.Posterior {
		if e.Key != registry.StateOther {
			states = append(states, Choice{e.Key, upperFirst(plainWords(e.Key)), percentWords(e.Value)})
		}
	}
	chosen := claim.Leading
	if chosen == "" {
		chosen = claim.Posterior[0].Key
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/components/" + c.ID + "/test", Button: "Work it out", Hidden: []Hidden{{"about", string(claim.Proposition)}}, Parts: []FormPart{
		{Title: "What it hangs on", Fields: []Field{
			{Name: "state", Label: "Is it …?", Kind: "select", Choices: states, Value: chosen, Pointers: []string{"/states", "/prior"}},
			{Name: "first", Label: "One thing that could be done", Kind: "short", Value: "keep", Pointers: []string{"/actions/0/id"}},
			{Name: "first_yes", Label: "What that is worth if the answer is yes", Kind: "short", Pointers: []string{"/actions/0/payoff/0"}},
			{Name: "first_no", Label: "What that is worth if the answer is no", Kind: "short", Pointers: []string{"/actions/0/payoff/1"}},
			{Name: "second", Label: "The other thing", Kind: "short", Value: "refinish", Pointers: []string{"/actions/1/id"}},
			{Name: "second_yes", Label: "What the other thing is worth if the answer is yes", Kind: "short", Pointers: []string{"/actions/1/payoff/0"}},
			{Name: "second_no", Label: "What the other thing is worth if the answer is no", Kind: "short", Pointers: []string{"/actions/1/payoff/1"}},
		}},
		{Title: "The test", Fields: []Field{
			{Name: "says_yes", Label: "How often the test says yes when the answer is yes", Kind: "short", Hint: "0 to 1, such as 0.9.", Pointers: []string{"/results/0/likelihood/0", "/results"}},
			{Name: "says_no", Label: "How often the test says no when the answer is no", Kind: "short", Hint: "0 to 1, such as 0.85.", Pointers: []string{"/results/1/likelihood/1"}},
			{Name: "cost", Label: "What the test costs", Kind: "short", Value: "0", Hint: "In the same money as the worths above.", Pointers: []string{"/cost"}},
		}},
	}}
}

func pageTestWorth(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	c, err := componentOf(report, chi.URLParam(r, "component"))
	if err != nil {
		return nil, err
	}
	t := &typed{Values: r.URL.Query(), comma: decimalComma(r)}
	var claim *workshop.ClaimReport
	for _, x := range c.Claims() {
		if len(x.Posterior) > 0 && (claim == nil || string(x.Proposition) == t.text("about")) {
			claim = x
		}
	}
	if claim == nil {
		return nil, registry.Refuse(registry.CodeInsufficient, "Survey it first.", "Nothing is known of %s that a test could tell", c.Name)
	}
	page := WorthPage{Base: s.basis(report, "", "Is a test worth its price?"), Report: report, Component: c, Asks: asks[claim.Proposition], Form: worthForm(report, c, claim)}
	page.Crumbs = append(page.Crumbs, Crumb{c.Name, "/machines/" + report.Machine.ID + "/components/" + c.ID})
	if t.text("state") == "" && t.text("says_yes") == "" {
		return htmlAnswer{name: "worth", page: page}, nil
	}
	page.Form.fill(t.Values)
	in := worthInput(t, claim)
	wrong := t.err()
	if wrong == nil {
		var worth scoring.TestWorth
		if worth, wrong = scoring.WorthOfTest(in); wrong == nil {
			page.Worth, page.Words = &worth, worthWords(&worth, in)
			return htmlAnswer{name: "worth", page: page}, nil
		}
	}
	if !mendable(wrong) {
		return nil, wrong
	}
	page.Wrong = true
	page.Form.refuse(wrong)
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "worth", page: page}, nil
}

// worthInput is what `calc test` takes: two states, the one asked about and
// anything else, with the chances of the claim as it stands.
func worthInput(t *typed, claim *workshop.ClaimReport) scoring.TestInput {
	state := t.text("state")
	p, known := claim.Posterior.Get(state)
	if !known {
		t.fault("/states", state, "This is not one of its states", "Choose one of the list.")
	}
	payoff := func(name, pointer string) float64 { return t.given(name, pointer, "one currency throughout") }
	yes, no := t.given("says_yes", "/results/0/likelihood/0", "0 to 1"), t.given("says_no", "/results/1/likelihood/1", "0 to 1")
	in := scoring.TestInput{States: []string{state, "anything else"}, Prior: []float64{p, 1 - p},
		Actions: []scoring.TestAction{
			{ID: orWords(t.text("first"), "the first"), Payoff: []float64{payoff("first_yes", "/actions/0/payoff/0"), payoff("first_no", "/actions/0/payoff/1")}},
			{ID: orWords(t.text("second"), "the second"), Payoff: []float64{payoff("second_yes", "/actions/1/payoff/0"), payoff("second_no", "/actions/1/payoff/1")}}},
		Results: []scoring.TestResult{{ID: "yes", Likelihood: []float64{yes, 1 - no}}, {ID: "no", Likelihood: []float64{1 - yes, no}}}}
	if t.text("cost") != "" {
		in.Cost = t.number("cost", "/cost", "the same money")
	}
	return in
}

func orWords(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

// worthWords keeps the two answers apart: for the decision and for the record.
func worthWords(w *scoring.TestWorth, in scoring.TestInput) []string {
	money := func(v float64) string { return numberWords(math.Round(v*100) / 100) }
	bits := func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }
	out := []string{"Without the test, with " + percentWords(in.Prior[0]) + " for " + plainWords(in.States[0]) + ": " + w.Best + ", worth " + money(w.Mean) + " on average."}
	switch {
	case !w.Changes:
		out = append(out, "For the decision the test is worth nothing: whatever it says, the choice stays the same.")
	case w.Net > 0:
		out = append(out, "For the decision the test is worth "+money(w.Test)+", "+money(w.Net)+" more than it costs. Knowing for certain would be worth "+money(w.Perfect)+".")
	default:
		out = append(out, "For the decision the test is worth "+money(w.Test)+", less than it costs. Knowing for certain would be worth "+money(w.Perfect)+".")
	}
	for _, r := range w.Results {
		out = append(out, "If it says "+r.ID+" (chance "+percentWords(r.Chance)+"): "+r.Best+", worth "+money(r.Mean)+".")
	}
	if w.BreakEven != nil {
		out = append(out, "The choice turns at "+percentWords(*w.BreakEven)+" for "+plainWords(in.States[0])+".")
	}
	out = append(out, "For the record it buys "+bits(w.BitsBought)+" bits of "+bits(w.BitsBefore)+" that are open: that may be worth having even where the decision does not need it.")
	return out
}
