package server

import (
	"errors"
	"net/http"
	"net/url"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// SurveyPage is the way round the machine, and how far it has been gone.
type SurveyPage struct {
	Base
	At       string // the address of the survey
	By       string // who looks, as a query
	Survey   workshop.SurveyReport
	Seen     int // surveyed of those that are seen from outside
	Of       int
	Inside   int // surveyed of those that only an opening shows
	InsideOf int
	Go       *workshop.Stop // where to go on, nil when nothing is left outside
	Begun    bool
	Stations []StationView
	Groups   []SurveyGroup
	Pictures []workshop.ListedPicture
	Taken    int
	Picture  int // the next that nobody has taken, from 1; 0 when all are
	Saved    *SavedView
}

// StationView is one part of the way.
type StationView struct {
	Title  string
	Done   int
	Stops  []workshop.Stop
	Inside bool
}

// SurveyGroup is one group of the anatomy as far as it is surveyed.
type SurveyGroup struct {
	Name     string
	Done, Of int
	Inside   int // of those that are left, only an opening shows so many
}

// SavedView says what was saved just now, and how to take it back.
type SavedView struct {
	Text   string
	Record string // "" when it cannot be taken back
	Undo   string // the address
	By     string
	Key    string
}

func surveyAt(machine string) string { return "/machines/" + machine + "/survey" }

// surveyBasis is what the pages of the survey have in common.
func (s *Server) surveyBasis(r *http.Request, title string) (*workshop.Report, *workshop.SurveyWay, Base, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, nil, Base{}, err
	}
	way, err := s.Workshop.SurveyWay(r.Context(), report.Machine.ID)
	if err != nil {
		return nil, nil, Base{}, err
	}
	b := s.basis(report, "survey", title)
	b.Crumbs = []Crumb{{report.Machine.Name, "/machines/" + report.Machine.ID}}
	return report, way, b, nil
}

func pageSurvey(s *Server, r *http.Request) (answer, error) {
	report, way, base, err := s.surveyBasis(r, "As-found survey")
	if err != nil {
		return nil, err
	}
	page := SurveyPage{Base: base, At: surveyAt(report.Machine.ID), By: byQuery(report, r.URL.Query().Get("by")), Survey: report.Survey, Begun: way.Last != "", Pictures: way.Pictures,
		Saved: s.saved(r, report)}
	if stop, ok := way.Next(way.Last); ok {
		page.Go = &stop
	}
	page.Picture, _ = way.NextPicture(0)
	page.count(way)
	return htmlAnswer{name: "survey", page: page}, nil
}

// count sums the stops up by station and by group.
func (p *SurveyPage) count(way *workshop.SurveyWay) {
	groups := map[string]int{}
	for _, term := range catalog.Stations() {
		view := StationView{Title: term.Meaning, Inside: term.ID == catalog.StationInside}
		for _, stop := range way.Stops {
			if stop.Station == term.ID {
				view.Stops = append(view.Stops, stop)
				if stop.Surveyed {
					view.Done++
				}
			}
		}
		if len(view.Stops) == 0 {
			continue
		}
		if view.Inside {
			p.Inside, p.InsideOf = view.Done, len(view.Stops)
		} else {
			p.Seen, p.Of = p.Seen+view.Done, p.Of+len(view.Stops)
		}
		p.Stations = append(p.Stations, view)
	}
	for _, stop := range way.Stops {
		i, ok := groups[stop.GroupName]
		if !ok {
			i = len(p.Groups)
			groups[stop.GroupName] = i
			p.Groups = append(p.Groups, SurveyGroup{Name: stop.GroupName})
		}
		p.Groups[i].Of++
		if stop.Surveyed {
			p.Groups[i].Done++
		} else if stop.Inside() {
			p.Groups[i].Inside++
		}
	}
	for _, picture := range p.Pictures {
		if picture.Taken > 0 {
			p.Taken++
		}
	}
}

// byQuery carries who looks from page to page, as "?by=…"; "" when it is not a
// person of the record.
func byQuery(report *workshop.Report, by string) string {
	for _, p := range report.People {
		if p.ID == by {
			return "?" + url.Values{"by": {by}}.Encode()
		}
	}
	return ""
}

// saved says what the page before has saved.
func (s *Server) saved(r *http.Request, report *workshop.Report) *SavedView {
	id := r.URL.Query().Get("saved")
	if id == "" {
		return nil
	}
	if id == "same" {
		return &SavedView{Text: "Nothing had changed: it stands on record as it was."}
	}
	d, err := s.Workshop.Load(r.Context(), report.Machine.ID, workshop.At{})
	if err != nil {
		return nil
	}
	e, ok := d.Entry(id)
	if !ok || !e.Live() {
		return nil
	}
	view := &SavedView{Record: id, Undo: surveyAt(report.Machine.ID) + "/undo", Key: newKey(), By: personOr(report, e.Actor)}
	switch b := e.Body.(type) {
	case *registry.Survey:
		view.Text = "Saved: " + s.anatomy.Of(b.Component) + "."
		if b.Supersedes != "" {
			view.Text = "Saved as a correction: " + s.anatomy.Of(b.Component) + ". What stood there before stays readable."
		}
	case *registry.Joint:
		view.Text = "Saved: " + plainWords(b.Joint) + "."
	case *registry.Photo:
		view.Text = "The picture is kept."
	default:
		return nil
	}
	if report.Survey.Sealed {
		view.Record = ""
	}
	return view
}

// pageSurveyUndo takes back what was saved by slip.
func pageSurveyUndo(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	d, err := s.Workshop.Load(r.Context(), report.Machine.ID, workshop.At{})
	if err != nil {
		return nil, err
	}
	back := surveyAt(report.Machine.ID)
	if e, ok := d.Entry(t.text("record")); ok {
		back += stopOf(s.Workshop.Catalog, e.Body)
	}
	_, err = s.Workshop.TakeBack(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Key: t.text("key")}, t.text("record"), t.text("by"))
	if err != nil {
		return nil, err
	}
	return seeOther(back + byQuery(report, t.text("by"))), nil
}

// stopOf is the page on which an entry of the survey was made, below the survey.
func stopOf(c *catalog.Catalog, b registry.Body) string {
	switch b := b.(type) {
	case *registry.Survey:
		return "/" + b.Component
	case *registry.Joint:
		return "/" + b.Components[0]
	case *registry.Photo:
		for i, p := range c.PictureList() {
			if b.Listed == p.ID {
				return "/pictures/" + itoa(i+1)
			}
		}
		if len(b.Components) > 0 {
			return "/" + b.Components[0]
		}
	}
	return ""
}

// maxPictures is how many pictures one form may send.
const maxPictures = 12

// surveyUpload is the largest form of the survey, in bytes. It is so large that
// a single picture which is too large is still told from its neighbours.
const surveyUpload = 4*workshop.MaxPhotoBytes + 1<<20

// readPictures looks at every picture that a form sent, and gives the photos as
// they are to be recorded. A picture that cannot be used is a fault of the
// field under which it came. The files are open until done is called.
func (s *Server) readPictures(r *http.Request, t *typed, as registry.Photo) (pictures []workshop.NewPicture, done func(), err error) {
	var open []interface{ Close() error }
	done = func() {
		for _, f := range open {
			f.Close()
		}
	}
	for _, field := range []string{"camera", "pictures"} {
		files := r.MultipartForm.File[field]
		if len(files) > maxPictures {
			t.fault("/"+field, "", "These are "+itoa(len(files))+" pictures, and one form takes "+itoa(maxPictures), "Send the first "+itoa(maxPictures)+", choose Save and stay, and send the others.")
			continue
		}
		for _, file := range files {
			if file.Size == 0 {
				t.fault("/"+field, file.Filename, "The picture is empty", "Take it again, or choose another.")
				continue
			}
			if file.Size > workshop.MaxPhotoBytes {
				t.fault("/"+field, file.Filename, "The picture must be smaller than "+bytesWords(workshop.MaxPhotoBytes), "Choose a smaller size on the phone, and keep the large one.")
				continue
			}
			if s.ReadPhoto == nil {
				return nil, done, notOffered("Taking in pictures")
			}
			f, err := file.Open()
			if err != nil {
				return nil, done, err
			}
			open = append(open, f)
			picture, err := s.ReadPhoto(r.Context(), f, file.Filename)
			if code := codeOf(err); code == registry.CodeTooLarge || code == registry.CodeUnsupported {
				message, fix := messageOf(err)
				t.fault("/"+field, "", message, fix)
				continue
			}
			if err == nil {
				_, err = f.Seek(0, 0)
			}
			if err != nil {
				return nil, done, err
			}
			p := as
			p.MediaType, p.Width, p.Height, p.Taken, p.FileName = picture.MediaType, picture.Width, picture.Height, picture.Taken, file.Filename
			pictures = append(pictures, workshop.NewPicture{Photo: &p, Original: f, Preview: picture.Preview})
		}
	}
	return pictures, done, nil
}

// readUpload reads a form of the survey with its pictures.
func readUpload(r *http.Request) (*typed, error) {
	if err := r.ParseMultipartForm(8 << 20); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, registry.Refuse(registry.CodeTooLarge, "Go back: the browser keeps what you typed. Choose fewer pictures or a smaller size, and send it again.",
				"The pictures are larger than %s together, and nothing was saved", bytesWords(surveyUpload))
		}
		return nil, readFailed(err)
	}
	return &typed{Values: r.MultipartForm.Value, comma: decimalComma(r)}, nil
}

// sentFiles says whether a form came with files.
func sentFiles(r *http.Request) bool {
	return r.MultipartForm != nil && len(r.MultipartForm.File["camera"])+len(r.MultipartForm.File["pictures"]) > 0
}
