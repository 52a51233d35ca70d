package server

import (
	"net/http"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

func recheckForm(report *workshop.Report) Form {
	return Form{Action: "/machines/" + report.Machine.ID + "/work/recheck", Button: "Plan this recheck", Key: newKey(),
		Intro: "Usual: head, exhaust and unions after the first heat cycle; chain, brake cables and spokes after 5 miles (8 km); all of it after 50 and 250 (80 and 400 km), then by the calendar. Whichever comes first counts.",
		Parts: []FormPart{{Fields: []Field{
			{Name: "what", Label: "What to look at", Kind: "area", Pointers: []string{"/what", ""}},
			componentsField("Components", "May stay empty."),
			{Name: "after", Label: "After a distance", Kind: "short", Hint: "Counted from now.", Pointers: []string{"/after_distance"}},
			{Name: "unit", Label: "In", Kind: "radios", Value: "mi", Choices: distanceChoices, Pointers: []string{"/distance_unit"}},
			{Name: "cycles", Label: "After a number of heat cycles", Kind: "short", Hint: "Hot and cold again, counted from now.", Pointers: []string{"/after_heat_cycles"}},
			{Name: "on", Label: "On a date", Kind: "short", Hint: "Such as 2027-03.", Pointers: []string{"/on"}},
			byField(report, "Who plans it"),
		}}}}
}

var distanceChoices = []Choice{{"mi", "miles", ""}, {"km", "kilometres", ""}}

func usageForm(report *workshop.Report) Form {
	form := Form{Action: "/machines/" + report.Machine.ID + "/work/usage", Button: "Record this", Key: newKey(),
		Intro: "Both are counted from the day the machine was taken in, and only grow.", Parts: []FormPart{{Fields: []Field{
			{Name: "distance", Label: "Distance since it was taken in", Kind: "short", Pointers: []string{"/distance"}},
			{Name: "unit", Label: "In", Kind: "radios", Value: "mi", Choices: distanceChoices, Pointers: []string{"/distance_unit"}},
			{Name: "cycles", Label: "How often it has been hot and cold again", Kind: "short", Pointers: []string{"/heat_cycles"}},
			validField, byField(report, "Who records it"),
		}}}}
	return form
}

// whole reads a whole number; empty is 0.
func (t *typed) whole(name, pointer, unit string) int {
	v := t.number(name, pointer, unit)
	if v != float64(int(v)) {
		t.fault(pointer, t.text(name), "This is not a whole number", "Write a whole number of "+unit+".")
	}
	return int(v)
}

func pageRecheckForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "work", "Plan a recheck", recheckForm(report), 0), nil
}

func pageRecheckPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	b := &registry.RecheckDue{What: t.text("what"), Components: t.components("components", "/components", report), AfterDistance: t.number("after", "/after_distance", "miles or kilometres"),
		AfterHeatCycles: t.whole("cycles", "/after_heat_cycles", "heat cycles"), On: registry.Date(t.text("on")), By: t.text("by")}
	if b.AfterDistance != 0 {
		b.DistanceUnit = t.text("unit")
	}
	return s.recordForm(r, report, t, "work", "Plan a recheck", recheckForm(report), "/machines/"+report.Machine.ID+"/work", b)
}

func pageUsageForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "work", "What it has done", usageForm(report), 0), nil
}

func pageUsagePost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	b := &registry.Usage{Common: registry.Common{Valid: registry.Date(t.text("valid"))}, Distance: t.given("distance", "/distance", "miles or kilometres"), DistanceUnit: t.text("unit"),
		HeatCycles: t.whole("cycles", "/heat_cycles", "heat cycles"), By: t.text("by")}
	return s.recordForm(r, report, t, "work", "What it has done", usageForm(report), "/machines/"+report.Machine.ID+"/work", b)
}
