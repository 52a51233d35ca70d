package server

import (
	"strconv"
	"strings"
	"time"

	"example.org/asfound/catalog"
	"example.org/asfound/scoring"
)

// rulesKinds are pages for published rules by dates, percentages and points lost,
// and for two surveyors; see benchKinds.
var rulesKinds = []benchKind{
	{"age", "Which age class, and is it old enough?", "By the date on which it was built or first registered, as a published rule asks.", "Published rules", scoring.MethodAge, false, ageFields, readAge},
	{"percentages", "Do the percentages of its areas meet a rule?", "Only the body that publishes a rule awards it.", "Published rules", scoring.MethodPercentages, false, percentagesFields, readPercentages},
	{"judging", "Which award lines does a judging sheet reach?", "Only the body that publishes a rule awards it.", "Published rules", scoring.MethodJudging, false, judgingFields, readJudging},
	{"kappa", "How far do two surveyors agree?", "Beyond what chance would give: both judge the same items on their own.", "Two people", scoring.MethodKappa, false, kappaFields, readKappa},
}

// ruleChoice offers the rules of one of several kinds.
func ruleChoice(s *Server, kinds ...string) Field {
	f := ruleField(s, kinds[0])
	for _, kind := range kinds[1:] {
		f.Choices = append(f.Choices, ruleField(s, kind).Choices...)
	}
	return f
}

func ageRule(s *Server, t *typed) (catalog.PublishedRule, bool) {
	if r, ok := chosenRule(s, t, catalog.PublishedClasses); ok {
		return r, true
	}
	return chosenRule(s, t, catalog.PublishedAge)
}

func ageFields(s *Server, t *typed) []FormPart {
	rule := ruleChoice(s, catalog.PublishedClasses, catalog.PublishedAge)
	rule.Hint = ""
	fields := []Field{rule,
		brief("first", "Built or first registered", "", "As much as is known: 1957, 1957-06, 195X, 1957~ (about), 1957-06/1957-09.", "/first"),
		{Name: "at", Label: "On the day", Kind: "date", Value: s.Now().UTC().Format(time.DateOnly), Pointers: []string{"/at"}},
		{Name: "changes", Label: "Changes to the machine", Kind: "area", Hint: "For a rule that asks whether changes are of the period. One a line, what and when: disc brake 1974.", Pointers: []string{"/changes", "/period_years"}}}
	return one(fields...)
}

func readAge(s *Server, t *typed, in benchInput) {
	r, ok := ageRule(s, t)
	if !ok {
		t.fault("/rule", t.text("rule"), "No rule was chosen", "Choose one.")
		return
	}
	ruleInput(in, r)
	in["first"], in["at"] = t.text("first"), t.text("at")
	if r.LeastYears > 0 {
		in["least_years"] = r.LeastYears
	}
	if r.PeriodYears > 0 {
		in["period_years"] = r.PeriodYears
	}
	classes := []any{}
	for _, c := range r.Classes {
		// The answer names classes by their id: here it is what the rule calls them.
		classes = append(classes, map[string]any{"id": c.Title, "from": c.From, "to": c.To})
	}
	in["classes"] = classes
	changes := []any{}
	for i, line := range t.lines("changes") {
		cut := strings.LastIndex(line, " ")
		if cut < 1 {
			t.fault("/changes", line, "Line "+itoa(i+1)+" cannot be read", "Write what was changed, a space and when, such as disc brake 1974.")
			continue
		}
		changes = append(changes, map[string]any{"id": strings.TrimSpace(line[:cut]), "date": line[cut+1:]})
	}
	in["changes"] = changes
}

func percentagesFields(s *Server, t *typed) []FormPart {
	fields := []Field{ruleField(s, catalog.PublishedPercentages)}
	if r, ok := chosenRule(s, t, catalog.PublishedPercentages); ok {
		for i, a := range r.Areas {
			fields = append(fields, brief("a-"+a, upperFirst(plainWords(a))+": how much of it is original", "%", "0 to 100. Empty means that it was not judged.", "/areas/"+itoa(i)+"/percent", "/areas/"+itoa(i)))
		}
	}
	return one(fields...)
}

func readPercentages(s *Server, t *typed, in benchInput) {
	r, ok := readRule(s, t, in, catalog.PublishedPercentages)
	if !ok {
		return
	}
	list := []any{}
	for i, a := range r.Areas {
		row := map[string]any{"id": a}
		if v, ok := t.amount("a-"+a, "/areas/"+itoa(i)+"/percent"); ok {
			row["percent"] = v
		}
		list = append(list, row)
	}
	in["areas"], in["by"], in["least"] = list, r.By, r.Least
	if r.Count > 0 {
		in["count"] = r.Count
	}
}

func judgingFields(s *Server, t *typed) []FormPart {
	fields := []Field{ruleField(s, catalog.PublishedJudging)}
	r, ok := chosenRule(s, t, catalog.PublishedJudging)
	if !ok {
		return one(fields...)
	}
	won := Field{Name: "has", Label: "Awards that it has already", Kind: "checks", Pointers: []string{"/has"}}
	for _, a := range r.Awards {
		won.Choices = append(won.Choices, Choice{a.ID, a.Title, "from " + numberWords(a.Least) + " points"})
	}
	lost := FormPart{Title: "Points lost", Hint: "In steps of " + numberWords(r.Step) + " points. Empty means none."}
	for i, c := range r.Categories {
		lost.Fields = append(lost.Fields, brief("lost-"+c.ID, upperFirst(plainWords(c.ID))+", of "+numberWords(c.Points), "points", "", "/categories/"+itoa(i)+"/lost", "/categories/"+itoa(i)))
	}
	return []FormPart{{Fields: append(fields, won)}, lost}
}

func readJudging(s *Server, t *typed, in benchInput) {
	r, ok := readRule(s, t, in, catalog.PublishedJudging)
	if !ok {
		return
	}
	categories, awards := []any{}, []any{}
	for i, c := range r.Categories {
		row := map[string]any{"id": c.ID, "points": c.Points, "most_lost": c.MostLost, "lost": 0}
		if v, ok := t.amount("lost-"+c.ID, "/categories/"+itoa(i)+"/lost"); ok {
			row["lost"] = v
		}
		categories = append(categories, row)
	}
	// The answer names awards by their id: here it is what the club calls them.
	title := map[string]string{}
	for _, a := range r.Awards {
		title[a.ID] = a.Title
	}
	titles := func(ids []string) []string {
		out := []string{}
		for _, id := range ids {
			out = append(out, title[id])
		}
		return out
	}
	for _, a := range r.Awards {
		awards = append(awards, map[string]any{"id": a.Title, "least": a.Least, "needs": titles(a.Needs)})
	}
	in["categories"], in["awards"], in["step"], in["has"] = categories, awards, r.Step, titles(t.list("has"))
}

// settleBelow is the kappa below which the page says that the words are settled
// first, unless another is typed. An assumption: J. Landis and G. Koch, 1977, call
// agreement from 0.61 on substantial.
const settleBelow = "0.61"

func kappaFields(*Server, *typed) []FormPart {
	return one(Field{Name: "counts", Label: "How often each pair of answers came", Kind: "area", Pointers: []string{"/counts"},
		Hint: "A row for each class of the first person, a column for each of the second, in the same order: 20 5 on one line and 10 15 on the next."},
		Field{Name: "settle", Label: "Settle the wording first below a kappa of", Kind: "short", Value: settleBelow, Pointers: []string{"/settle"}, Hint: "0 to 1."})
}

func readKappa(_ *Server, t *typed, in benchInput) {
	counts := [][]int{}
	for i, line := range t.lines("counts") {
		row := []int{}
		for _, f := range strings.Fields(strings.ReplaceAll(line, ";", " ")) {
			n, err := strconv.Atoi(f)
			if err != nil {
				t.fault("/counts", f, "Line "+itoa(i+1)+" holds something that is not a whole number", "Write counts, apart by spaces.")
				continue
			}
			row = append(row, n)
		}
		counts = append(counts, row)
	}
	in["counts"] = counts
	in.number(t, "settle", "settle")
}
