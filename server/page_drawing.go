package server

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/drawing"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// DrawingPage is the drawing of a machine, large.
type DrawingPage struct {
	Base
	Report  *workshop.Report
	Drawing *MachineDrawing
	Shows   []Turn // the questions by which it can be shaded
	Sides   []Turn
	Form    Form // how it is drawn, and which options are meant
	// Chosen are the titles of the options whose loss is shown.
	Chosen []string
}

// Turn is a way to another view of the same page.
type Turn struct {
	Name, To string
	Here     bool
}

// GroupPage is one group of the anatomy with its components.
type GroupPage struct {
	Base
	Report *workshop.Report
	Group  GroupView
	// Shades are the answers to each question, those of losses left out.
	Shades []GroupAnswer
}

// GroupAnswer is the answer to one question about a group.
type GroupAnswer struct {
	Title, Question string
	workshop.GroupShade
}

// shadeTitles are the questions in a word or two.
var shadeTitles = map[string]string{workshop.ShadeKnown: "What is known", workshop.ShadeSure: "How sure", workshop.ShadeOrigin: "Origin",
	workshop.ShadeFinish: "Finish", workshop.ShadeCondition: "Condition", workshop.ShadeLoss: "Loss for good"}

// oneOf reads a word of the query, "" when it is not there.
func oneOf(q url.Values, name string, words ...string) (string, error) {
	v := q.Get(name)
	if v == "" || slices.Contains(words, v) {
		return v, nil
	}
	return "", &registry.Error{Code: registry.CodeInvalid, Message: "The drawing cannot be asked for in this way", Fields: []registry.Field{{Pointer: "/" + name, Found: quoted(v),
		Allowed: strings.Join(words, ", "), Message: "This is nothing to choose", Fix: "Choose one of those that are offered."}}}
}

// readLayout reads what was chosen of the layout.
func readLayout(q url.Values) (l drawing.Layout, err error) {
	for _, word := range []struct {
		to    *string
		name  string
		words []string
	}{{&l.Side, "side", []string{drawing.Left, drawing.Right}}, {&l.Engine, "engine", []string{drawing.Single, drawing.Twin}},
		{&l.Rear, "rear", []string{drawing.Rigid, drawing.Plunger, drawing.Swinging}}, {&l.Front, "front", []string{drawing.Telescopic, drawing.Girder}}} {
		if *word.to, err = oneOf(q, word.name, word.words...); err != nil {
			return l, err
		}
	}
	return l, nil
}

func pageDrawing(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	tag := s.pageTag(r, report.Version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	q := r.URL.Query()
	chosen, err := readLayout(q)
	if err != nil {
		return nil, err
	}
	show := q.Get("show")
	if show == "" {
		show = workshop.ShadeKnown
	}
	shading, err := report.Shade(show, slices.DeleteFunc(slices.Clone(q["option"]), func(id string) bool { return id == "" }))
	if err != nil {
		return nil, err
	}
	layout, as := layoutOf(report, chosen)
	page := DrawingPage{Base: s.basis(report, "drawing", "The machine drawn"), Report: report, Drawing: drawMachine(report.Machine.ID, layout, shading)}
	page.Drawing.As = as
	page.turns(r.URL.Path, q, show, layout.Side)
	page.Form = drawingForm(report, layout, shading)
	for _, f := range report.Faults {
		for _, o := range f.Options {
			if slices.Contains(shading.Options, o.ID) {
				page.Chosen = append(page.Chosen, upperFirst(o.Title))
			}
		}
	}
	return htmlAnswer{name: "drawing", page: page, etag: tag}, nil
}

// turns makes the ways to the other questions and the other side.
func (p *DrawingPage) turns(path string, q url.Values, show, side string) {
	to := func(name, value string) string {
		out := url.Values{}
		for _, known := range []string{"show", "side", "engine", "rear", "front", "option"} {
			out[known] = slices.DeleteFunc(slices.Clone(q[known]), func(v string) bool { return v == "" })
		}
		out.Set(name, value)
		return path + "?" + out.Encode()
	}
	for _, x := range workshop.Shades() {
		p.Shows = append(p.Shows, Turn{shadeTitles[x], to("show", x), x == show})
	}
	p.Sides = []Turn{{"Left side", to("side", drawing.Left), side == drawing.Left}, {"Right side", to("side", drawing.Right), side == drawing.Right}}
}

// drawingForm asks how the machine is to be drawn, and of a loss, by which
// options.
func drawingForm(report *workshop.Report, l drawing.Layout, shading *workshop.Shading) Form {
	words := func(list ...string) []Choice {
		var out []Choice
		for _, w := range list {
			out = append(out, Choice{Value: w, Label: upperFirst(workshop.DrawnWords(w))})
		}
		return out
	}
	form := Form{Action: "/machines/" + report.Machine.ID + "/drawing", Button: "Draw it so", Hidden: []Hidden{{"show", shading.Show}, {"side", l.Side}}}
	fields := []Field{
		{Name: "engine", Label: "Engine", Kind: "radios", Value: l.Engine, Choices: words(drawing.Single, drawing.Twin)},
		{Name: "rear", Label: "Rear", Kind: "radios", Value: l.Rear, Choices: words(drawing.Rigid, drawing.Plunger, drawing.Swinging)},
		{Name: "front", Label: "Front fork", Kind: "radios", Value: l.Front, Choices: words(drawing.Telescopic, drawing.Girder)},
	}
	if shading.Show == workshop.ShadeLoss {
		options := Field{Name: "option", Label: "Options whose loss is shown", Kind: "checks", Values: shading.Options}
		for _, f := range report.Faults {
			for _, o := range f.Options {
				options.Choices = append(options.Choices, Choice{o.ID, upperFirst(o.Title), plainWords(f.ID)})
			}
		}
		fields = append([]Field{options}, fields...)
	} else {
		for _, id := range shading.Options {
			form.Hidden = append(form.Hidden, Hidden{"option", id})
		}
	}
	form.Parts = []FormPart{{Fields: fields}}
	return form
}

func pageGroup(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	tag := s.pageTag(r, report.Version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	id := chi.URLParam(r, "group")
	i := slices.IndexFunc(report.Groups, func(g workshop.GroupReport) bool { return g.ID == id })
	if i < 0 {
		return nil, registry.Refuse(registry.CodeNotFound, "Choose one from the drawing.", "The anatomy has no group %s", quoted(id))
	}
	page := GroupPage{Base: s.basis(report, "", report.Groups[i].Name), Report: report, Group: groupView(report.Groups[i])}
	page.Crumbs = append(page.Crumbs, Crumb{"The machine drawn", "/machines/" + report.Machine.ID + "/drawing"})
	for _, show := range workshop.Shades() {
		if show == workshop.ShadeLoss {
			continue
		}
		shading, err := report.Shade(show, nil)
		if err != nil {
			return nil, err
		}
		page.Shades = append(page.Shades, GroupAnswer{shading.Title, shading.Question, shading.Groups[i]})
	}
	return htmlAnswer{name: "group", page: page, etag: tag}, nil
}
