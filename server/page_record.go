package server

import (
	"net/http"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// jsonForm takes records of any kind as JSON.
func jsonForm(report *workshop.Report) Form {
	var kinds []string
	for _, k := range registry.Kinds() {
		if !workshop.OnlyByItself(k) {
			kinds = append(kinds, string(k))
		}
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/record", Button: "Record this", Key: newKey(),
		Intro: "For every kind of record, those without a form of their own too. All of what is sent is recorded, or nothing.", Parts: []FormPart{{Fields: []Field{
			{Name: "records", Label: "One record, or a list of them, as JSON", Kind: "code", Pointers: []string{"/records"},
				Hint: "Each names its kind under “record”: " + strings.Join(kinds, ", ") + ". The shapes are under /api/v1/schemas/."},
			byField(report, "Who records it"),
		}}}}
}

func pageRecordForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "record", "Record anything", jsonForm(report), 0), nil
}

func pageRecordPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	form := jsonForm(report)
	bodies, err := s.readRecords([]byte(t.text("records")))
	if err == nil && t.text("by") == "" {
		t.fault("/by", "", "It is not said who records it", "Choose a person of the record.")
		err = t.err()
	}
	if err != nil {
		form.fill(t.Values)
		return s.formAgain(report, "record", "Record anything", form, err)
	}
	return s.recordForm(r, report, t, "record", "Record anything", form, "/machines/"+report.Machine.ID, bodies...)
}

// sealForm closes the as-found survey.
func sealForm(report *workshop.Report, way *workshop.SurveyWay) Form {
	return Form{Action: "/machines/" + report.Machine.ID + "/seal", Button: "Seal the survey", Key: newKey(),
		Intro: plural(report.Survey.Surveyed, "component is", "components are") + " surveyed of " + itoa(report.Survey.Of) + ". Sealing keeps the indices as they stand; later findings are evidence, not survey.",
		Parts: []FormPart{{Fields: []Field{
			{Name: "gaps", Label: "What was left out, and why", Kind: "area", Value: gapLines(way), Hint: "One a line: component, a colon, the reason. What is not surveyed yet stands here; write a reason behind each, or survey it.", Pointers: []string{"/gaps"}},
			{Name: "gaps_signed_by", Label: "Who accepts the gaps", Hint: "Needed when there are any.", Kind: "select", Choices: personChoices(report), Pointers: []string{"/gaps_signed_by"}},
			byField(report, "Who seals it"),
		}}}}
}

// gapLines lists what is not surveyed, as the form takes it. What only an
// opening shows has its reason already; for the rest somebody must give one.
func gapLines(way *workshop.SurveyWay) string {
	var out strings.Builder
	for _, stop := range way.Stops {
		switch {
		case stop.Surveyed:
		case stop.Inside():
			out.WriteString(stop.Name + ": only an opening would show it\n")
		default:
			out.WriteString(stop.Name + ": \n")
		}
	}
	return out.String()
}

func pageSealForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	way, err := s.Workshop.SurveyWay(r.Context(), report.Machine.ID)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "overview", "Seal the as-found survey", sealForm(report, way), 0), nil
}

func pageSealPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	way, err := s.Workshop.SurveyWay(r.Context(), report.Machine.ID)
	if err != nil {
		return nil, err
	}
	form := sealForm(report, way)
	form.fill(t.Values)
	seal := registry.SurveySeal{By: t.text("by"), GapsSignedBy: t.text("gaps_signed_by")}
	for i, line := range t.lines("gaps") {
		name, why, _ := strings.Cut(line, ":")
		c, err := componentOf(report, strings.TrimSpace(name))
		if err != nil {
			t.fault("/gaps/"+itoa(i), name, "There is no such component", "Write its code, name or id, a colon, and the reason.")
			continue
		}
		if strings.TrimSpace(why) == "" {
			t.fault("/gaps/"+itoa(i), c.Name, "There is no reason behind the colon", "Write why it could not be surveyed.")
			continue
		}
		seal.Gaps = append(seal.Gaps, registry.SurveyGap{Component: c.ID, Why: strings.TrimSpace(why)})
	}
	err = t.err()
	if err == nil {
		err = movedOn(report, t.seen())
	}
	if err == nil {
		_, err = s.Workshop.SealSurvey(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")}, seal)
	}
	if err != nil {
		return s.formAgain(report, "overview", "Seal the as-found survey", form, err)
	}
	return seeOther("/machines/" + report.Machine.ID), nil
}
