package server

import (
	"net/http"
	"net/url"
	"slices"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// StopPage asks about one component of the as-found survey, on one screen.
type StopPage struct {
	Base
	At        string // the address of the survey
	By        string // who looks, as a query
	Component catalog.Component
	Station   string
	N, Of     int // its place on the way
	Skip      string
	Cautions  []LookCaution
	Photos    []PictureView
	Form      *SurveyForm
	Withheld  bool
	// Record is the entry on record, nil on a first visit; Answers is what it
	// says, in words.
	Record  *registry.Survey
	Answers []Answer
	Who     string
	Joints  []JointView
	// Differ is what somebody else has recorded since the form was opened; Yours
	// what was sent, where it can no longer be recorded.
	Differ []Difference
	Yours  []Answer
	Kept   int  // pictures that were kept by themselves
	Lost   bool // pictures were sent and must be chosen again
	Sealed *workshop.SurveyReport
	Saved  *SavedView
}

// LookCaution is a caution for somebody who looks. Now says that it belongs to
// looking and handling; the others belong to cleaning, which comes later.
type LookCaution struct {
	Level, Title, Text string
	Now                bool
}

// PictureView is a picture on record that can be taken back.
type PictureView struct {
	workshop.PhotoReport
	By, Key string
}

// JointView is a joint of the component as it stands on record.
type JointView struct{ Joint, Witness, Sign string }

// stopPage makes the page with the form as it stands on record, and gives the
// dossier that it was made from.
func (s *Server) stopPage(r *http.Request, by string) (*StopPage, *workshop.Report, *workshop.SurveyWay, *registry.Dossier, error) {
	report, way, base, err := s.surveyBasis(r, "")
	if err != nil {
		return nil, nil, nil, nil, err
	}
	page := &StopPage{Base: base, At: surveyAt(report.Machine.ID), By: byQuery(report, by)}
	if !page.find(way, chi.URLParam(r, "component")) {
		return nil, nil, nil, nil, registry.Refuse(registry.CodeNotFound, "Choose one of the way round.", "The survey of this machine has no component %s", quoted(chi.URLParam(r, "component")))
	}
	d, err := s.Workshop.Load(r.Context(), report.Machine.ID, workshop.At{})
	if err != nil {
		return nil, nil, nil, nil, err
	}
	c := page.Component
	page.Title = c.Name
	page.Crumbs = []Crumb{{"As-found survey", page.At + page.By}}
	page.Skip = nextStop(page.At, way, c.ID, page.By)
	page.Withheld = withholds(c)
	for _, x := range s.Workshop.Catalog.CautionsForLooking(c.ID) {
		now := slices.ContainsFunc(s.Workshop.Catalog.CautionsFor(catalog.Step{Act: "intake", Components: []string{c.ID}}), func(y catalog.Caution) bool { return y.ID == x.ID })
		page.Cautions = append(page.Cautions, LookCaution{x.Level, x.Title, x.Text, now})
	}
	reader := workshop.NewReader(d, false)
	page.Form = surveyForm(report, c, s.Workshop.Catalog.Conditions(), jointNames(s.Workshop.Catalog, d, c.ID))
	if page.By != "" {
		page.Form.By.Value = by
	}
	if live, ok := d.SurveyOf(c.ID); ok {
		page.Record, page.Who = live.Record, workshop.PersonName(d, live.Record.By, false)
		page.Answers = answersOf(live.Record, s.Workshop.Catalog.Conditions(), reader.Text(live.Record.Note))
		page.Form.record(live.Record, reader)
	}
	for i := range page.Form.Joints {
		j := &page.Form.Joints[i]
		if live, ok := workshop.JointOf(d, j.Joint); ok {
			j.Seen, j.Witness.Value, j.Sign.Value = live.RecordID(), live.Record.Witness, reader.Text(live.Record.Sign)
			page.Joints = append(page.Joints, JointView{j.Joint, j.Witness.Value, j.Sign.Value})
		}
	}
	page.Photos = pictureViews(d, report, func(p workshop.PhotoReport) bool { return contains(p.Components, c.ID) && p.Listed == "" })
	if report.Survey.Sealed {
		page.Sealed = &report.Survey
	}
	return page, report, way, d, nil
}

// find looks the component up on the way.
func (p *StopPage) find(way *workshop.SurveyWay, id string) bool {
	for _, stop := range way.Stops {
		if !stop.Inside() {
			p.Of++
		}
		if stop.ID != id {
			continue
		}
		p.Component = stop.Component
		if !stop.Inside() {
			p.N = p.Of
		}
		for _, t := range catalog.Stations() {
			if t.ID == stop.Station {
				p.Station = t.Meaning
			}
		}
	}
	return p.Component.ID != ""
}

// nextStop is the address of the next component to survey, or that of the whole
// way when none is left.
func nextStop(at string, way *workshop.SurveyWay, after, by string) string {
	if next, ok := way.Next(after); ok {
		return at + "/" + next.ID + by
	}
	return at + by
}

// jointNames lists the joints that are looked at on a component: those of the
// catalog, and those that were recorded there under other names.
func jointNames(c *catalog.Catalog, d *registry.Dossier, component string) []string {
	out := c.JointsAt(component)
	for _, j := range registry.Live[*registry.Joint](d) {
		if contains(j.Record.Components, component) && !contains(out, j.Record.Joint) {
			out = append(out, j.Record.Joint)
		}
	}
	return out
}

// pictureViews lists the pictures in force that show something.
func pictureViews(d *registry.Dossier, report *workshop.Report, shows func(workshop.PhotoReport) bool) []PictureView {
	var out []PictureView
	for _, p := range report.Photos {
		if e, ok := d.Entry(p.ID); ok && e.Live() && shows(p) {
			out = append(out, PictureView{p, personOr(report, e.Actor), newKey()})
		}
	}
	return out
}

func pageSurveyStop(s *Server, r *http.Request) (answer, error) {
	page, report, _, _, err := s.stopPage(r, r.URL.Query().Get("by"))
	if err != nil {
		return nil, err
	}
	page.Saved = s.saved(r, report)
	return htmlAnswer{name: "survey-stop", page: page}, nil
}

func pageSurveyStopPost(s *Server, r *http.Request) (answer, error) {
	t, err := readUpload(r)
	if err != nil {
		return nil, err
	}
	defer r.MultipartForm.RemoveAll()
	page, report, way, _, err := s.stopPage(r, t.text("by"))
	if err != nil {
		return nil, err
	}
	c := page.Component
	page.Form.typed(t)
	visit := workshop.Visit{Survey: page.Form.answers(t, c.ID), Joints: page.Form.joints(t, c.ID, s.Workshop.Catalog.MeetAt)}
	pictures, done, err := s.readPictures(r, t, registry.Photo{Shows: "as-found", Components: []string{c.ID}, Withhold: page.Withheld || t.text("withhold") == "yes", By: t.text("by")})
	defer done()
	if err != nil {
		return nil, err
	}
	visit.Pictures = pictures
	if visit.Survey == nil && len(pictures) == 0 && len(t.faults) == 0 {
		t.fault("/there", "", "Nothing is chosen, and no picture is taken", "Say whether the part is there, take a picture, or choose Skip for now.")
	}
	if t.text("by") == "" {
		t.fault("/by", "", "It is not said who looks", "Choose a person of the record.")
	}
	var visited workshop.Visited
	if err = t.err(); err == nil {
		visited, err = s.Workshop.RecordVisit(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Key: t.text("key")}, visit)
	}
	if err != nil {
		return s.stopAgain(r, t, visit, visited, err)
	}
	by := byQuery(report, t.text("by"))
	if t.text("then") == "stay" {
		return seeOther(withSaved(page.At+"/"+c.ID+by, visited)), nil
	}
	return seeOther(withSaved(nextStop(page.At, way, c.ID, by), visited)), nil
}

// withSaved adds to an address what was saved: the entry rather than its
// pictures.
func withSaved(address string, v workshop.Visited) string {
	id := "same"
	for _, r := range v.Records {
		if id == "same" || r.Kind == "survey" {
			id = r.ID
		}
	}
	if v.Repeated {
		return address
	}
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	q := u.Query()
	q.Set("saved", id)
	u.RawQuery = q.Encode()
	return u.String()
}

// stopAgain shows the form with what was wrong and everything that was typed,
// on the record as it stands by now.
func (s *Server) stopAgain(r *http.Request, t *typed, visit workshop.Visit, visited workshop.Visited, err error) (answer, error) {
	if !mendable(err) {
		return nil, err
	}
	page, _, _, d, loadErr := s.stopPage(r, t.text("by"))
	if loadErr != nil {
		return nil, loadErr
	}
	onRecord := *page.Form
	onRecord.Joints = append([]JointForm{}, page.Form.Joints...)
	page.Form.typed(t)
	page.Form.refuse(err)
	page.Wrong, page.Kept = true, visited.Kept
	page.Lost = visited.Kept == 0 && sentFiles(r)
	var yours []Answer
	if visit.Survey != nil {
		yours = answersOf(visit.Survey, s.Workshop.Catalog.Conditions(), visit.Survey.Note)
	}
	for _, j := range visit.Joints {
		yours = append(yours, jointAnswer(j.Joint, j.Witness, j.Sign))
	}
	switch {
	case page.Sealed != nil:
		page.Yours = yours
	case codeOf(err) == registry.CodeConflict:
		reader, on := workshop.NewReader(d, false), page.Answers
		for _, j := range page.Joints {
			on = append(on, jointAnswer(j.Joint, j.Witness, reader.Text(j.Sign)))
		}
		page.Differ = slices.DeleteFunc(differences(on, yours), func(d Difference) bool { return d.Yours == "" })
		page.Form.complete(&onRecord)
		// Sending it again is a correction of what stands there now.
		page.Form.Seen, page.Form.Key = onRecord.Seen, newKey()
		for i := range page.Form.Joints {
			page.Form.Joints[i].Seen = onRecord.Joints[i].Seen
		}
		page.Form.Errors = []FormError{{"differ", "This component has been recorded from another page since you opened it. What you answered is kept below and is not on record yet."}}
	}
	return htmlAnswer{status: rowOf(codeOf(err)).status, name: "survey-stop", page: page}, nil
}

func jointAnswer(joint, witness, sign string) Answer {
	return Answer{upperFirst(plainWords(joint)), plainWords(witness) + ", " + sign}
}
