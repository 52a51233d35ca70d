package server

import (
	"net/http"
	"strconv"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ListedPage asks for one picture of the fixed as-found list.
type ListedPage struct {
	Base
	At       string // the address of the survey
	By       string // who takes it, as a query
	N, Of    int
	Picture  workshop.ListedPicture
	Shown    []string // names of the components on it
	Skip     string
	Photos   []PictureView
	Camera   Field
	Pictures Field
	Scale    Field
	ByField  Field
	Key      string
	Errors   []FormError
	Lost     bool // pictures were sent and must be chosen again
	Sealed   *workshop.SurveyReport
	Saved    *SavedView
}

// listedPage makes the page of the picture that the address names.
func (s *Server) listedPage(r *http.Request, by string) (*ListedPage, *workshop.Report, *workshop.SurveyWay, error) {
	report, way, base, err := s.surveyBasis(r, "")
	if err != nil {
		return nil, nil, nil, err
	}
	n, err := strconv.Atoi(chi.URLParam(r, "n"))
	if err != nil || n < 1 || n > len(way.Pictures) {
		return nil, nil, nil, registry.Refuse(registry.CodeNotFound, "Choose one of the list.", "The list of pictures ends at %d", len(way.Pictures))
	}
	d, err := s.Workshop.Load(r.Context(), report.Machine.ID, workshop.At{})
	if err != nil {
		return nil, nil, nil, err
	}
	page := &ListedPage{Base: base, At: surveyAt(report.Machine.ID), By: byQuery(report, by), N: n, Of: len(way.Pictures), Picture: way.Pictures[n-1], Key: newKey(), ByField: byField(report, "Who takes it"),
		Camera: Field{Name: "camera", Label: "Take a picture", Kind: "file", Accept: "image/*", Pointers: []string{"/camera"}},
		Pictures: Field{Name: "pictures", Label: "Or choose pictures", Kind: "file", Accept: pictureTypes, Multiple: true, Pointers: []string{"/pictures"},
			Hint: "JPEG, PNG or WebP, up to " + bytesWords(workshop.MaxPhotoBytes) + " each."},
		Scale: Field{Name: "scale", Label: "What gives the size", Kind: "short", Hint: "Such as “100 mm bar”. May stay empty.", Pointers: []string{"/scale"}}}
	page.Title = "Picture " + itoa(n) + ": " + page.Picture.Title
	page.Crumbs = []Crumb{{"As-found survey", page.At + page.By}}
	page.Skip = nextPicture(page.At, way, n, page.By)
	if page.By != "" {
		page.ByField.Value = by
	}
	for _, id := range page.Picture.Components {
		if !d.NotFitted(id) {
			page.Shown = append(page.Shown, s.anatomy.Of(id))
		}
	}
	page.Photos = pictureViews(d, report, func(p workshop.PhotoReport) bool { return p.Listed == page.Picture.ID })
	if report.Survey.Sealed {
		page.Sealed = &report.Survey
	}
	return page, report, way, nil
}

// nextPicture is the address of the next picture that nobody has taken, or that
// of the whole way when all are.
func nextPicture(at string, way *workshop.SurveyWay, after int, by string) string {
	if n, ok := way.NextPicture(after); ok {
		return at + "/pictures/" + itoa(n) + by
	}
	return at + by + "#pictures"
}

func pageSurveyPicture(s *Server, r *http.Request) (answer, error) {
	page, report, _, err := s.listedPage(r, r.URL.Query().Get("by"))
	if err != nil {
		return nil, err
	}
	page.Saved = s.saved(r, report)
	return htmlAnswer{name: "survey-picture", page: page}, nil
}

func pageSurveyPicturePost(s *Server, r *http.Request) (answer, error) {
	t, err := readUpload(r)
	if err != nil {
		return nil, err
	}
	defer r.MultipartForm.RemoveAll()
	page, report, way, err := s.listedPage(r, t.text("by"))
	if err != nil {
		return nil, err
	}
	listed := page.Picture
	var components []string
	for _, id := range listed.Components {
		if c, err := componentOf(report, id); err == nil && !c.NotFitted {
			components = append(components, id)
		}
	}
	pictures, done, err := s.readPictures(r, t, registry.Photo{Shows: "as-found", Listed: listed.ID, Caption: listed.Title, Components: components, Scale: t.text("scale"), Withhold: listed.Withhold, By: t.text("by")})
	defer done()
	if err != nil {
		return nil, err
	}
	if len(pictures) == 0 && len(t.faults) == 0 {
		t.fault("/camera", "", "No picture is chosen", "Take one, choose one, or choose Skip for now.")
	}
	if t.text("by") == "" {
		t.fault("/by", "", "It is not said who takes it", "Choose a person of the record.")
	}
	var visited workshop.Visited
	if err = t.err(); err == nil {
		visited, err = s.Workshop.RecordVisit(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Key: t.text("key")}, workshop.Visit{Pictures: pictures})
	}
	if err != nil {
		return page.again(r, t, err)
	}
	by := byQuery(report, t.text("by"))
	if t.text("then") == "stay" {
		return seeOther(withSaved(page.At+"/pictures/"+itoa(page.N)+by, visited)), nil
	}
	return seeOther(withSaved(nextPicture(page.At, way, page.N, by), visited)), nil
}

// again shows the form with what was wrong and what was typed.
func (p *ListedPage) again(r *http.Request, t *typed, err error) (answer, error) {
	if !mendable(err) {
		return nil, err
	}
	p.Scale.Value, p.ByField.Value = t.text("scale"), t.text("by")
	if key := t.text("key"); key != "" {
		p.Key = key
	}
	form := Form{Parts: []FormPart{{Fields: []Field{p.Camera, p.Pictures, p.Scale, p.ByField}}}}
	form.refuse(err)
	fields := form.Parts[0].Fields
	p.Camera, p.Pictures, p.Scale, p.ByField = fields[0], fields[1], fields[2], fields[3]
	p.Lost = sentFiles(r)
	p.Errors, p.Wrong = form.Summary(), true
	return htmlAnswer{status: rowOf(codeOf(err)).status, name: "survey-picture", page: p}, nil
}
