package server

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// cardKind is the page that reads colours from a photograph; it takes a file, so
// that it has its own way in.
var cardKind = benchKind{id: "card", title: "Which colour is it, by a photograph?", lead: "With a reference card in the same picture and the same light. Without one a picture says nothing of colour.",
	method: scoring.MethodCard, private: true, fields: cardFields}

func cardFields(*Server, *typed) []FormPart {
	return one(Field{Name: "picture", Label: "The picture", Kind: "file", Accept: "image/jpeg,image/png,image/webp", Hint: "JPEG, PNG or WebP, up to " + bytesWords(workshop.MaxPhotoBytes) + ". It is looked at and not kept: add it to the machine’s pictures to keep it."},
		Field{Name: "white", Label: "White that the card’s figures are counted from", Kind: "radios", Value: "D50", Choices: whites, Pointers: []string{"/white"}},
		Field{Name: "patches", Label: "Patches of the card", Kind: "area", Pointers: []string{"/patches"}, Hint: "One a line: name, left edge, upper edge, width and height as shares of the picture, then the card’s own L, a and b. Such as “grey-1 0.05 0.10 0.04 0.06 50 0 0”. At least twelve."},
		Field{Name: "areas", Label: "Parts whose colour is asked for", Kind: "area", Pointers: []string{"/areas"}, Hint: "One a line: name, left edge, upper edge, width and height. The sheltered one first, if two are to be compared."})
}

func pageBenchCard(s *Server, r *http.Request) (answer, error) {
	return htmlAnswer{name: "bench", page: s.colourCardPage(&typed{Values: r.URL.Query(), comma: decimalComma(r)})}, nil
}

func (s *Server) colourCardPage(t *typed) BenchPage {
	page := s.benchPage(cardKind, t)
	page.Form.Kind = "multipart"
	return page
}

func pageBenchCardPost(s *Server, r *http.Request) (answer, error) {
	if s.ReadLight == nil {
		return nil, notOffered("Reading colours from pictures")
	}
	if err := r.ParseMultipartForm(8 << 20); err != nil {
		return nil, readFailed(err)
	}
	defer r.MultipartForm.RemoveAll()
	t := &typed{Values: r.MultipartForm.Value, comma: decimalComma(r)}
	page := s.colourCardPage(t)
	page.Form.fill(t.Values)
	patchNames, patches := t.rows("patches", "/patches", 7, true)
	areaNames, areas := t.rows("areas", "/areas", 4, true)
	files := r.MultipartForm.File["picture"]
	if len(files) == 0 {
		page.Form.Parts[0].Fields[0].Error = "Choose a picture."
	}
	if err := t.err(); err != nil || len(files) == 0 {
		page.Wrong = true
		page.Form.refuse(err)
		return htmlAnswer{status: http.StatusUnprocessableEntity, name: "bench", page: page}, nil
	}
	var marks []Mark
	mark := func(name string, v []float64) { marks = append(marks, Mark{name, v[0], v[1], v[2], v[3]}) }
	for i := range patches {
		mark(patchNames[i], patches[i])
	}
	for i := range areas {
		mark(areaNames[i], areas[i])
	}
	f, err := files[0].Open()
	if err != nil {
		return nil, err
	}
	defer f.Close()
	light, err := s.ReadLight(f, files[0].Filename, marks)
	if err != nil {
		return page.finished(err)
	}
	in := benchInput{"white": t.text("white")}
	withLab, plain := []any{}, []any{}
	for i, x := range light {
		row := map[string]any{"id": x.ID, "pixels": x.Pixels, "linear": x.Linear, "sd": x.SD, "clipped": x.Clipped}
		if i < len(patches) {
			row["lab"] = labOf(patches[i][4:])
			withLab = append(withLab, row)
		} else {
			plain = append(plain, row)
		}
	}
	in["patches"], in["areas"] = withLab, plain
	wrong := s.answerBench(r, &page, scoring.MethodCard, in.json(), t, nil)
	if wrong == nil && len(areas) == 2 {
		a, err := s.Workshop.Ask(scoring.MethodCard, []byte(in.json()))
		if err != nil {
			return nil, err
		}
		if page.Compare, err = compareCard(a); err != nil {
			return nil, err
		}
	}
	return page.finished(wrong)
}

// compareCard leads to the page that compares two colours, filled in.
func compareCard(a workshop.BenchAnswer) (string, error) {
	var out scoring.CardResult
	if err := json.Unmarshal(a.Result, &out); err != nil {
		return "", err
	}
	three := func(l scoring.Lab) string {
		var s []string
		for _, v := range []float64{l.L, l.A, l.B} {
			s = append(s, strconv.FormatFloat(v, 'f', 2, 64))
		}
		return strings.Join(s, " ")
	}
	q := url.Values{"white": {out.White}, "instrument": {"one photograph with a card"}}
	for i, key := range []string{"reference", "area"} {
		q.Set(key+"_id", out.Areas[i].ID)
		q.Set(key, three(out.Areas[i].Lab))
		q.Set(key+"_sd", three(out.Areas[i].Uncertainty))
	}
	return "/bench/colour?" + q.Encode(), nil
}
