package server

import (
	"net/http"
	"slices"

	"example.org/asfound/workshop"
)

// CourierPage is a page that a script fills with what is kept on the phone.
type CourierPage struct{ Base }

func pageWaiting(s *Server, _ *http.Request) (answer, error) {
	return htmlAnswer{name: "waiting", page: CourierPage{Base{Title: "What waits on this phone", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}}}, nil
}

// pageOffline is what a browser shows with no signal, when it holds no copy of
// the page that was asked for.
func pageOffline(s *Server, _ *http.Request) (answer, error) {
	return htmlAnswer{name: "offline", page: CourierPage{Base{Title: "There is no signal", Version: s.Version}}}, nil
}

// KeepList names the pages of a machine that a phone keeps to work with no
// signal. The pictures on them are found on the pages themselves.
type KeepList struct {
	Machine string   `json:"machine"`
	Name    string   `json:"name"`
	Pages   []string `json:"pages"`
}

func pageKeep(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	list := keepList(report)
	if !report.Survey.Sealed {
		way, err := s.Workshop.SurveyWay(r.Context(), report.Machine.ID)
		if err != nil {
			return nil, err
		}
		list.Pages = append(list.Pages, surveyPages(report.Machine.ID, way)...)
	}
	return jsonAnswer{value: list}, nil
}

// surveyPages are those of the as-found survey: the way, each stop that is seen
// from outside, each picture of the list.
func surveyPages(machine string, way *workshop.SurveyWay) []string {
	at := surveyAt(machine)
	out := []string{at}
	for _, stop := range way.Stops {
		if !stop.Inside() {
			out = append(out, at+"/"+stop.ID)
		}
	}
	for i := range way.Pictures {
		out = append(out, at+"/pictures/"+itoa(i+1))
	}
	return out
}

// keepList names the pages on which something is recorded at the machine: the
// work and its cards as each person opens them, the maps, the forms.
func keepList(report *workshop.Report) KeepList {
	at := "/machines/" + report.Machine.ID
	out := KeepList{Machine: report.Machine.ID, Name: report.Machine.Name, Pages: []string{at, at + "/photos", at + "/work", at + "/work/entry"}}
	people := personChoices(report, "mechanic", "custodian", "second-signature")
	if len(people) == 0 {
		people = personChoices(report)
	}
	for _, f := range report.Faults {
		for _, o := range f.Options {
			if o.Standing != "approved" {
				continue
			}
			card := at + "/work/card/" + o.ID
			out.Pages = append(out.Pages, card, at+"/work/entry?option="+o.ID)
			for _, p := range people {
				out.Pages = append(out.Pages, card+"?by="+p.Value)
			}
			for _, opening := range o.Openings {
				out.Pages = append(out.Pages, at+"/work/fasteners/"+opening+"?option="+o.ID)
			}
		}
	}
	for _, o := range report.Openings {
		if o.Opened != "" && report.HandBack == nil {
			out.Pages = append(out.Pages, at+"/work/fasteners/"+o.ID)
		}
	}
	slices.Sort(out.Pages)
	out.Pages = slices.Compact(out.Pages)
	return out
}
