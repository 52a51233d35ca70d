package server

import (
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// leavingForm asks what leaving a fault leads to.
func leavingForm(report *workshop.Report, f *workshop.FaultReport) Form {
	form := Form{Action: "/machines/" + report.Machine.ID + "/faults/" + f.ID + "/leaving", Button: "Record this", Key: newKey(),
		Intro: "What happens if “" + f.Complaint + "” is left as it is. Give the pit that was measured, or how often a thing like this happens, or both. The figures go on every list of options beside it.",
		Parts: []FormPart{
			{Title: "What it leads to", Fields: []Field{
				{Name: "then", Label: "In a sentence", Kind: "area", Pointers: []string{"/then"}},
				{Name: "money", Label: "What that would cost", Hint: "May stay empty.", Kind: "money", Pointers: []string{"/money"}},
				{Name: "source", Label: "Whose figures these are", Hint: "Such as “pit gauge, deepest of five” or a named practitioner.", Kind: "text", Pointers: []string{"/source"}},
			}},
			{Title: "A rust pit", Hint: "Leave it empty when there is none.", Fields: []Field{
				{Name: "depth", Label: "Depth of the deepest pit", Kind: "short", Unit: "mm", Pointers: []string{"/pit/depth", "/pit"}},
				{Name: "error", Label: "Plus or minus, of the reading", Kind: "short", Unit: "mm", Pointers: []string{"/pit/error"}},
				{Name: "wall", Label: "Wall where it is sound", Kind: "short", Unit: "mm", Pointers: []string{"/pit/wall"}},
				{Name: "age", Label: "Years in which it grew", Kind: "short", Unit: "years", Pointers: []string{"/pit/age"}},
				{Name: "exponents", Label: "How growth slows: lowest, likely and highest exponent", Kind: "short", Value: "0.3, 0.5, 0.7", Hint: "Depth grows with a power of time; 0.3 to 0.7 is usual for steel (Romanoff, 1957).", Pointers: []string{"/pit/exponent"}},
			}},
			{Title: "Something that may happen in any year", Hint: "Leave it empty when there is none.", Fields: []Field{
				{Name: "rates", Label: "How often a year: lowest, likely and highest", Kind: "short", Hint: "Such as “0.01, 0.02, 0.05” for once in a hundred, fifty or twenty years.", Pointers: []string{"/hazard/per_year", "/hazard"}},
				{Name: "years", Label: "Years to look ahead", Kind: "short", Unit: "years", Pointers: []string{"/hazard/years"}},
			}},
			{Title: "Who", Fields: []Field{byField(report, "Who records it")}},
		}}
	if f.Leaving != nil {
		form.Hidden = append(form.Hidden, Hidden{"supersedes", f.Leaving.ID})
	}
	return form
}

// likely reads three numbers with commas between them, or semicolons.
func (t *typed) likely(name, pointer, what string) registry.Likely {
	between := ","
	if strings.Contains(t.text(name), ";") {
		between = ";"
	}
	parts := strings.Split(t.text(name), between)
	var v [3]float64
	ok := len(parts) == 3
	for i := range v {
		if ok {
			var err error
			v[i], err = t.figure(parts[i])
			ok = err == nil
		}
	}
	if !ok {
		t.fault(pointer, t.text(name), "These are not three numbers", "Write the lowest, the likely and the highest "+what+", with commas or semicolons between them.")
	}
	return registry.Likely{Low: v[0], Likely: v[1], High: v[2]}
}

// faultOf finds the fault of the path.
func faultOf(report *workshop.Report, r *http.Request) (*workshop.FaultReport, error) {
	for i := range report.Faults {
		if report.Faults[i].ID == chi.URLParam(r, "fault") {
			return &report.Faults[i], nil
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Choose one from the faults and options.", "There is no fault %s", quoted(chi.URLParam(r, "fault")))
}

// optionOf finds the option of the path.
func optionOf(report *workshop.Report, r *http.Request) (*workshop.OptionReport, error) {
	for _, f := range report.Faults {
		for i := range f.Options {
			if f.Options[i].ID == chi.URLParam(r, "option") {
				return &f.Options[i], nil
			}
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Choose one from the faults and options.", "There is no option %s", quoted(chi.URLParam(r, "option")))
}

func leavingTitle(f *workshop.FaultReport) string {
	return "What leaving it leads to: " + f.Complaint
}

func riskTitle(o *workshop.OptionReport) string { return "How it may end: " + o.Title }

func pageLeavingForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	f, err := faultOf(report, r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "options", leavingTitle(f), leavingForm(report, f), 0), nil
}

func pageLeavingPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	f, err := faultOf(report, r)
	if err != nil {
		return nil, err
	}
	l := &registry.Leaving{Common: registry.Common{Supersedes: t.text("supersedes")}, Fault: f.ID, Then: t.text("then"), Source: t.text("source"), By: t.text("by")}
	if t.text("money") != "" {
		l.Money = t.money("money", "/money")
	}
	if t.text("depth") != "" || t.text("wall") != "" || t.text("age") != "" {
		l.Pit = &registry.Pit{Depth: t.given("depth", "/pit/depth", "mm"), Wall: t.given("wall", "/pit/wall", "mm"), Age: t.given("age", "/pit/age", "years"),
			Exponent: t.likely("exponents", "/pit/exponent", "exponent")}
		if t.text("error") != "" {
			l.Pit.Error = t.number("error", "/pit/error", "mm")
		}
	}
	if t.text("rates") != "" {
		l.Hazard = &registry.Hazard{PerYear: t.likely("rates", "/hazard/per_year", "rate"), Years: t.given("years", "/hazard/years", "years")}
	}
	return s.recordForm(r, report, t, "options", leavingTitle(f), leavingForm(report, f), "/machines/"+report.Machine.ID+"/options", l)
}

// riskForm asks how an act may end.
func riskForm(report *workshop.Report, o *workshop.OptionReport) Form {
	form := Form{Action: "/machines/" + report.Machine.ID + "/options/" + o.ID + "/risk", Button: "Record this", Key: newKey(),
		Intro: "How “" + o.Title + "” may end. The mean hides the rare bad end, so the worst twentieth is shown beside it.",
		Parts: []FormPart{{Fields: []Field{
			{Name: "outcomes", Label: "Every outcome, one a line", Kind: "area",
				Hint:     "What happens; its chance; what it costs. The cost is money such as “85 GBP”, or what it takes from the index of originality such as “0.02”. Such as “finish lost; 0.04; 0.085”. The chances add up to 1. Without chances the outcomes are only listed.",
				Pointers: []string{"/outcomes"}},
			{Name: "source", Label: "Whose experience the chances are", Hint: "Your own log, or a named practitioner. Without it no figure is computed.", Kind: "text", Pointers: []string{"/source"}},
			byField(report, "Who records it"),
		}}}}
	if o.Risk != nil {
		form.Hidden = append(form.Hidden, Hidden{"supersedes", o.Risk.ID})
	}
	return form
}

func pageRiskForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	o, err := optionOf(report, r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "options", riskTitle(o), riskForm(report, o), 0), nil
}

func pageRiskPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	o, err := optionOf(report, r)
	if err != nil {
		return nil, err
	}
	body := &registry.Risk{Common: registry.Common{Supersedes: t.text("supersedes")}, Option: o.ID, Source: t.text("source"), By: t.text("by")}
	for i, line := range t.lines("outcomes") {
		body.Outcomes = append(body.Outcomes, t.outcome(i, line))
	}
	return s.recordForm(r, report, t, "options", riskTitle(o), riskForm(report, o), "/machines/"+report.Machine.ID+"/options", body)
}

// outcome reads "what; chance; loss".
func (t *typed) outcome(i int, line string) registry.RiskOutcome {
	parts := strings.Split(line, ";")
	out := registry.RiskOutcome{What: strings.TrimSpace(parts[0])}
	wrong := func(found, message, fix string) {
		t.fault("/outcomes", found, "Line "+itoa(i+1)+": "+message, fix)
	}
	if len(parts) > 3 {
		wrong(line, "there are more than three parts", "Write what happens, its chance and what it costs, with ; between them.")
		return out
	}
	if len(parts) > 1 {
		v, err := t.figure(parts[1])
		if err != nil {
			wrong(parts[1], "the chance is not a number", "Write 0.04 for 4 in a hundred.")
		}
		out.Chance = &v
	}
	if len(parts) > 2 {
		amount, currency, money := strings.Cut(strings.TrimSpace(parts[2]), " ")
		if money {
			var m registry.Money
			plain, err := pointed(amount, t.comma)
			if err == nil {
				m, err = registry.ParseMoney(plain, strings.ToUpper(strings.TrimSpace(currency)))
			}
			if err != nil {
				wrong(parts[2], "this is not an amount of money", "Write the amount, a space and the currency, such as 85 GBP.")
			}
			out.Money = &m
		} else {
			v, err := t.figure(amount)
			if err != nil {
				wrong(parts[2], "the loss is not a number", "Write 0.02 of the index, or 85 GBP.")
			}
			out.IndexLoss = &v
		}
	}
	return out
}
