package server

import (
	"bytes"
	"context"
	"maps"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

const surveyPath = "/machines/drover-1957/survey"

// taken is a bench with a machine that has just been taken in.
func taken(t testing.TB) *bench {
	t.Helper()
	b := newBench(t)
	b.record(&registry.Machine{Common: id("machine"), Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true, NotFitted: []string{"tinware.panniers"}},
		&registry.Person{Common: id("imogen"), Role: "executor", Name: registry.Private{Value: "Imogen Aske"}},
		&registry.Person{Common: id("tamsin"), Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}},
		&registry.Person{Common: id("reuben"), Role: "mechanic", Name: registry.Private{Value: "Reuben Quill"}},
		&registry.CustodyAgreement{Common: id("agreement"), Owner: "imogen", Custodian: "tamsin", Authority: "grant of probate", Purpose: "occasional"})
	return b
}

// sentFile is a file as a form sends it.
type sentFile struct {
	field, name string
	content     []byte
}

// survey posts a form of the survey as a browser without script does.
func (b *bench) survey(path string, fields url.Values, files ...sentFile) *httptest.ResponseRecorder {
	b.t.Helper()
	b.clock.Add(60)
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for _, k := range slices.Sorted(maps.Keys(fields)) {
		for _, v := range fields[k] {
			require.NoError(b.t, w.WriteField(k, v))
		}
	}
	for _, f := range files {
		part, err := w.CreateFormFile(f.field, f.name)
		require.NoError(b.t, err)
		_, err = part.Write(f.content)
		require.NoError(b.t, err)
	}
	require.NoError(b.t, w.Close())
	r := httptest.NewRequest(http.MethodPost, path, &body)
	r.Header.Set("Content-Type", w.FormDataContentType())
	return b.ask(r)
}

// opened reads a form of the survey and gives what a browser would send of it
// unchanged: hidden fields, what is chosen and what is typed.
func (b *bench) opened(path string) (parsed, url.Values) {
	b.t.Helper()
	rec := b.get(path)
	require.Equal(b.t, http.StatusOK, rec.Code, path)
	page := readPage(b.t, rec.Body.String())
	page.landmarks()
	return page, page.values()
}

func (p parsed) values() url.Values {
	return filledIn(p.one("form", "data-keep", "survey"))
}

// filledIn is what a browser would send of a form unchanged.
func filledIn(form *html.Node) url.Values {
	v := url.Values{}
	for n := range form.Descendants() {
		name := attr(n, "name")
		switch n.Data {
		case "input":
			switch attr(n, "type") {
			case "file":
			case "radio", "checkbox":
				if hasAttr(n, "checked") {
					v.Add(name, attr(n, "value"))
				}
			default:
				v.Add(name, attr(n, "value"))
			}
		case "textarea":
			if n.FirstChild != nil {
				v.Add(name, n.FirstChild.Data)
			}
		case "select":
			for o := range n.Descendants() {
				if o.Data == "option" && hasAttr(o, "selected") {
					v.Add(name, attr(o, "value"))
				}
			}
		}
	}
	return v
}

func (b *bench) surveyOf(component string) *registry.Survey {
	b.t.Helper()
	s, ok := b.load().SurveyOf(component)
	require.True(b.t, ok, component)
	return s.Record
}

// TestTheWholeWayByHand goes round twelve components with a picture each, from
// page to page as the answers lead, and comes back later to go on.
func TestTheWholeWayByHand(t *testing.T) {
	b := taken(t)
	index := readPage(t, b.get(surveyPath).Body.String())
	index.landmarks()
	require.Contains(t, index.text(), "0 of 115 components seen from outside are surveyed")
	require.Contains(t, index.text(), "Begin with: handbook, tool roll, tyre pump")
	require.NotContains(t, index.text(), "panniers", "this machine never had them")
	at := attr(index.all("a", "class", "button wide")[0], "href")
	visited := map[string]bool{}
	for i := range 12 {
		page, form := b.opened(at)
		require.Empty(t, form.Get("there"), "nothing is chosen on a first visit")
		require.Empty(t, form.Get("condition"))
		require.Empty(t, form.Get("by"), "with two mechanics nobody is chosen")
		require.Len(t, page.all("input", "capture", "environment"), 1)
		require.Equal(t, "image/*", attr(page.one("input", "id", "f-camera"), "accept"))
		require.Equal(t, "image/jpeg,image/png,image/webp", attr(page.one("input", "id", "f-pictures"), "accept"))
		component := strings.TrimPrefix(strings.Split(at, "?")[0], surveyPath+"/")
		visited[component] = true
		form.Set("there", "there")
		form.Set("condition", itoa(i%6))
		form.Set("function", "not-tested")
		form.Set("finish", "worn")
		form.Set("by", "tamsin")
		form.Set("then", "on")
		rec := b.survey(strings.Split(at, "?")[0], form, sentFile{"camera", "image.jpg", picture(400+i, 300)})
		require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
		at = rec.Header().Get("Location")
		s := b.surveyOf(component)
		require.Equal(t, i%6, *s.Condition)
		require.Equal(t, "tamsin", s.By)
		require.Len(t, s.Photos, 1)
		photo, ok := registry.Get[*registry.Photo](b.load(), s.Photos[0])
		require.True(t, ok)
		require.Equal(t, []string{component}, photo.Record.Components, "the picture is tied to the component in hand")
		require.Equal(t, "as-found", photo.Record.Shows)
		at = strings.Split(at, "?")[0]
	}
	require.Len(t, visited, 12)
	later := readPage(t, b.get(surveyPath+"?by=tamsin").Body.String())
	require.Contains(t, later.text(), "12 of 115")
	go1 := later.all("a", "class", "button wide")[0]
	require.Equal(t, at+"?by=tamsin", attr(go1, "href"), "it goes on where it was left")
	require.Contains(t, textOf(go1), "Go on with:")
	_, form := b.opened(at + "?by=tamsin")
	require.Equal(t, "tamsin", form.Get("by"), "who looks is asked once")
}

// TestSavingAgainIsACorrection: what is on record is filled in, saving it as it
// is records nothing, and a change points at what it corrects.
func TestSavingAgainIsACorrection(t *testing.T) {
	b := taken(t)
	at := surveyPath + "/frame.number"
	b.record(&registry.Survey{Common: registry.Common{ID: "first", Valid: "2026-03-01", Note: "Shown by Imogen Aske."}, Component: "frame.number", Origin: "original", Finish: "worn", Condition: ptr(3), Function: "works",
		Signs: []registry.SignSeen{{Sign: "mark-form-right"}}, Read: registry.Private{Value: "D350-2217"}, By: "tamsin"})
	page, form := b.opened(at)
	require.Contains(t, page.text(), "Surveyed by Tamsin Orde. Saving again is a correction")
	for name, want := range map[string]string{"there": "there", "origin": "original", "finish": "worn", "condition": "3", "function": "works", "read": "D350-2217", "note": "Shown by Imogen Aske.", "seen": "first"} {
		require.Equal(t, want, form.Get(name), name)
	}
	version := b.load().Version()
	form.Set("by", "reuben")
	form.Set("then", "stay")
	same := b.survey(at, form)
	require.Equal(t, http.StatusSeeOther, same.Code, same.Body.String())
	require.Equal(t, version, b.load().Version(), "what says the same is not recorded again")
	require.Contains(t, b.get(same.Header().Get("Location")).Body.String(), "Nothing had changed")

	_, form = b.opened(at)
	form.Set("condition", "2")
	form.Set("by", "reuben")
	form.Set("then", "stay")
	rec := b.survey(at, form)
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	s := b.surveyOf("frame.number")
	require.Equal(t, "first", s.Supersedes)
	require.Equal(t, 2, *s.Condition)
	require.Equal(t, "mark-form-right", s.Signs[0].Sign, "a correction keeps what the form does not ask")
	require.Equal(t, registry.Date("2026-03-01"), s.Valid)
	require.Equal(t, "D350-2217", s.Read.Value)
	require.Equal(t, "Shown by [[imogen]].", s.Note)

	// It was a slip: the entry from before stands again, as a correction.
	page = readPage(t, b.get(rec.Header().Get("Location")).Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "Saved as a correction: frame number surface")
	undo := url.Values{"record": {s.ID}, "by": {"reuben"}, "key": {"u1"}}
	require.Equal(t, http.StatusSeeOther, b.post(surveyPath+"/undo", undo.Encode()).Code)
	back := b.surveyOf("frame.number")
	require.Equal(t, 3, *back.Condition)
	require.Equal(t, s.ID, back.Supersedes)
	require.Equal(t, "Shown by [[imogen]].", back.Note)
}

func TestTakingBackAFirstEntryAndAPicture(t *testing.T) {
	b := taken(t)
	at := surveyPath + "/fuel.tank"
	rec := b.survey(at, url.Values{"there": {"there"}, "by": {"tamsin"}, "key": {"k"}, "then": {"stay"}}, sentFile{"pictures", "a.jpg", picture(40, 30)})
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	s := b.surveyOf("fuel.tank")
	undo := func(record string) *httptest.ResponseRecorder {
		return b.post(surveyPath+"/undo", url.Values{"record": {record}, "by": {"tamsin"}, "key": {newKey()}}.Encode())
	}
	require.Equal(t, at+"?by=tamsin", undo(s.ID).Header().Get("Location"))
	_, ok := b.load().SurveyOf("fuel.tank")
	require.False(t, ok)
	require.Equal(t, at+"?by=tamsin", undo(s.Photos[0]).Header().Get("Location"))
	require.Empty(t, registry.Live[*registry.Photo](b.load()))
	require.Equal(t, http.StatusNotFound, undo(s.ID).Code, "it was taken back already")
	require.Equal(t, http.StatusNotFound, undo("tamsin").Code, "a person is not taken back here")
}

// TestNothingIsHalfWritten: a picture that cannot be read keeps the answers off
// the record, and what was typed comes back.
func TestNothingIsHalfWritten(t *testing.T) {
	b := taken(t)
	at := surveyPath + "/engine.head"
	typed := url.Values{"there": {"there"}, "condition": {"4"}, "note": {"Two fins are broken."}, "read": {"E350 <9>"}, "witness-head-joint": {"undisturbed"}, "sign-head-joint": {"paint bridge"}, "by": {"tamsin"}, "key": {"k"}}
	with := func(changes ...string) url.Values {
		v := maps.Clone(typed)
		for i := 0; i < len(changes); i += 2 {
			v[changes[i]] = []string{changes[i+1]}
		}
		return v
	}
	good := sentFile{"camera", "good.jpg", picture(40, 30)}
	for _, c := range []struct {
		name  string
		form  url.Values
		files []sentFile
		says  string
		leads string
	}{
		{"no picture at all", with(), []sentFile{good, {"pictures", "notes.txt", []byte("hello")}}, "notes.txt is not a picture", "#f-pictures"},
		{"an empty file", with(), []sentFile{{"camera", "image.jpg", nil}}, "The picture is empty", "#f-camera"},
		{"nobody", with("by", ""), []sentFile{good}, "It is not said who looks", "#f-by"},
		{"an unknown word", with("finish", "shiny"), []sentFile{good}, "This word is not in the vocabulary", "#f-finish"},
		{"no answer on presence", with("there", ""), nil, "It is not said whether the part is there", "#f-there-0"},
		{"missing and good", with("there", "missing"), nil, "You say that it is missing, and also", "#f-there-0"},
		{"a joint without its sign", with("sign-head-joint", ""), nil, "It is not said by what sign", "#f-sign-head-joint"},
		{"a sign without its joint", with("witness-head-joint", ""), nil, "A sign is given, and not what it tells", "#f-witness-head-joint-0"},
		{"nothing chosen", url.Values{"by": {"tamsin"}, "key": {"k"}}, nil, "Nothing is chosen, and no picture is taken", "#f-there-0"},
	} {
		before := b.end()
		rec := b.survey(at, c.form, c.files...)
		require.Equal(t, http.StatusUnprocessableEntity, rec.Code, c.name)
		require.Equal(t, before, b.end(), c.name)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		require.True(t, strings.HasPrefix(page.title(), "Error: "), c.name)
		require.Contains(t, textOf(page.one("div", "id", "summary")), c.says, c.name)
		require.NotEmpty(t, page.all("a", "href", c.leads), c.name)
		back := page.values()
		for name, want := range c.form {
			if want[0] == "shiny" {
				continue // no choice of the list has that word
			}
			require.Equal(t, want[0], back.Get(name), "%s: %s", c.name, name)
		}
		require.Equal(t, len(c.files) > 0, strings.Contains(page.text(), "The pictures must be chosen again"), c.name)
	}
	many := make([]sentFile, maxPictures+1)
	for i := range many {
		many[i] = sentFile{"pictures", "x.jpg", picture(10, 10)}
	}
	require.Contains(t, b.survey(at, with(), many...).Body.String(), "These are 13 pictures")
	require.Equal(t, http.StatusSeeOther, b.survey(at, with(), good).Code, "mended, it goes in under the same key")
	require.Equal(t, "E350 <9>", b.surveyOf("engine.head").Read.Value)
	joint, ok := workshop.JointOf(b.load(), "head-joint")
	require.True(t, ok)
	require.Equal(t, []string{"engine.head"}, joint.Record.Components)
}

// TestSentTwiceIsRecordedOnce: a lost answer is sent again with the same key.
func TestSentTwiceIsRecordedOnce(t *testing.T) {
	b := taken(t)
	form := url.Values{"there": {"there"}, "condition": {"4"}, "by": {"tamsin"}, "key": {"phone-1"}, "witness-tank-mounts": {"cannot-tell"}}
	file := sentFile{"camera", "a.jpg", picture(40, 30)}
	for range 3 {
		rec := b.survey(surveyPath+"/fuel.tank", form, file)
		require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	}
	require.Len(t, registry.All[*registry.Survey](b.load()), 1)
	require.Len(t, registry.All[*registry.Photo](b.load()), 1)
	require.Len(t, registry.All[*registry.Joint](b.load()), 1)
}

// TestTwoPhonesAtOnce survey different components from pages that were opened
// before any of it was saved.
func TestTwoPhonesAtOnce(t *testing.T) {
	b := taken(t)
	list := b.w.Catalog.ComponentsRound()[:20]
	forms := make([]url.Values, len(list))
	for i, c := range list {
		_, forms[i] = b.opened(surveyPath + "/" + c.ID)
		forms[i].Set("there", "there")
		forms[i].Set("by", []string{"tamsin", "reuben"}[i%2])
	}
	var phones sync.WaitGroup
	codes := make([]int, len(list))
	for phone := range 2 {
		phones.Go(func() {
			for i := phone; i < len(list); i += 2 {
				codes[i] = b.survey(surveyPath+"/"+list[i].ID, forms[i], sentFile{"camera", "image.jpg", picture(50+i, 40)}).Code
			}
		})
	}
	phones.Wait()
	for i, code := range codes {
		require.Equal(t, http.StatusSeeOther, code, list[i].ID)
	}
	require.Len(t, registry.Live[*registry.Survey](b.load()), len(list))
	require.Len(t, registry.Live[*registry.Photo](b.load()), len(list))
}

// TestTwoOnOneComponent: the second sees both answers, has lost neither words
// nor pictures, and saves theirs as a correction or leaves it.
func TestTwoOnOneComponent(t *testing.T) {
	b := taken(t)
	at := surveyPath + "/fuel.tank"
	_, one := b.opened(at)
	_, two := b.opened(at)
	one.Set("there", "there")
	one.Set("condition", "3")
	one.Set("finish", "worn")
	one.Set("note", "Lining whole.")
	one.Set("by", "tamsin")
	require.Equal(t, http.StatusSeeOther, b.survey(at, one).Code)
	two.Set("there", "there")
	two.Set("condition", "2")
	two.Set("note", "A seam weeps.")
	two.Set("by", "reuben")
	two.Set("then", "stay")
	rec := b.survey(at, two, sentFile{"camera", "seam.jpg", picture(64, 48)})
	require.Equal(t, http.StatusConflict, rec.Code)
	page := readPage(t, rec.Body.String())
	page.landmarks()
	text := page.text()
	require.Contains(t, text, "Tamsin Orde has recorded this component since you opened it")
	require.Contains(t, text, "On record: 3 of 5: fair")
	require.Contains(t, text, "Yours: 2 of 5: poor")
	require.Contains(t, text, "On record: Lining whole. Yours: A seam weeps.")
	require.NotContains(t, text, "Yours: no answer", "a question left open is no second answer")
	require.Contains(t, text, "1 picture that you sent is kept with this component")
	require.NotContains(t, text, "must be chosen again")
	require.Equal(t, 3, *b.surveyOf("fuel.tank").Condition)
	require.Len(t, registry.Live[*registry.Photo](b.load()), 1)

	again := page.values()
	require.Equal(t, "2", again.Get("condition"))
	first := b.surveyOf("fuel.tank").ID
	require.Equal(t, first, again.Get("seen"))
	require.NotEqual(t, two.Get("key"), again.Get("key"))
	require.Equal(t, http.StatusSeeOther, b.survey(at, again).Code)
	require.Equal(t, first, b.surveyOf("fuel.tank").Supersedes)
	require.Equal(t, "Lining whole.\nA seam weeps.", b.surveyOf("fuel.tank").Note, "neither note is lost")
	require.Equal(t, "worn", b.surveyOf("fuel.tank").Finish, "what the second left open stays as the first answered it")

	// Two who say the same do not disagree.
	_, third := b.opened(surveyPath + "/fuel.cap")
	third.Set("there", "missing")
	third.Set("by", "tamsin")
	fourth := maps.Clone(third)
	fourth["by"], fourth["key"] = []string{"reuben"}, []string{"other"}
	require.Equal(t, http.StatusSeeOther, b.survey(surveyPath+"/fuel.cap", third).Code)
	require.Equal(t, http.StatusSeeOther, b.survey(surveyPath+"/fuel.cap", fourth).Code)
	require.Equal(t, "missing", b.surveyOf("fuel.cap").Origin)
}

func TestPresenceComesBackAsItWasSaid(t *testing.T) {
	b := taken(t)
	for said, want := range map[string]string{"there": "", "missing": "missing", "cannot-tell": "undetermined"} {
		at := surveyPath + "/" + map[string]string{"there": "fuel.tank", "missing": "fuel.cap", "cannot-tell": "fuel.pipe"}[said]
		require.Equal(t, http.StatusSeeOther, b.survey(at, url.Values{"there": {said}, "by": {"tamsin"}, "key": {said}}).Code)
		require.Equal(t, want, b.surveyOf(strings.TrimPrefix(at, surveyPath+"/")).Origin)
		_, form := b.opened(at)
		require.Equal(t, said, form.Get("there"))
	}
}

// TestThePictureList fills two places of the fixed list and skips one.
func TestThePictureList(t *testing.T) {
	b := taken(t)
	at := surveyPath + "/pictures/12"
	page, form := b.opened(at)
	require.Contains(t, page.text(), "Picture 12 of 45")
	require.Contains(t, page.text(), "Raking light from two sides, nothing cleaned.")
	require.Contains(t, page.text(), "kept out of public copies")
	require.NotEmpty(t, page.all("a", "href", surveyPath+"/pictures/13"), "Skip for now")
	form.Set("by", "tamsin")
	form.Set("scale", "100 mm bar")
	none := b.survey(at, form)
	require.Equal(t, http.StatusUnprocessableEntity, none.Code)
	require.Contains(t, none.Body.String(), "No picture is chosen")
	require.Equal(t, "100 mm bar", readPage(t, none.Body.String()).values().Get("scale"))
	rec := b.survey(at, form, sentFile{"pictures", "l.jpg", picture(41, 30)}, sentFile{"pictures", "r.jpg", picture(42, 30)})
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Regexp(t, `^`+surveyPath+`/pictures/13\?by=tamsin&saved=`, rec.Header().Get("Location"))
	photos := registry.Live[*registry.Photo](b.load())
	require.Len(t, photos, 2)
	require.Equal(t, "frame-number", photos[0].Record.Listed)
	require.Equal(t, "Frame number", photos[0].Record.Caption)
	require.Equal(t, []string{"frame.number"}, photos[0].Record.Components)
	require.True(t, photos[0].Record.Withhold, "a number is kept out of public copies without asking")
	require.Equal(t, "100 mm bar", photos[0].Record.Scale)
	require.Contains(t, readPage(t, b.get(surveyPath).Body.String()).text(), "1 of 45 pictures of the list are taken")
	require.Equal(t, http.StatusNotFound, b.get(surveyPath+"/pictures/46").Code)
	require.Equal(t, http.StatusNotFound, b.get(surveyPath+"/tinware.panniers").Code, "this machine never had them")
}

// TestSealingWithGaps: the sealing page lists what is missing, and after it the
// survey can be read and no longer changed.
func TestSealingWithGaps(t *testing.T) {
	b := taken(t)
	require.Equal(t, http.StatusSeeOther, b.survey(surveyPath+"/fuel.tank", url.Values{"there": {"there"}, "condition": {"3"}, "by": {"tamsin"}, "key": {"k"}}).Code)
	_, open := b.opened(surveyPath + "/fuel.cap")
	open.Set("there", "there")
	open.Set("note", "Sent from the shed, too late.")
	open.Set("by", "reuben")

	seal := readPage(t, b.get("/machines/drover-1957/seal").Body.String())
	gaps := seal.one("textarea", "name", "gaps")
	require.Contains(t, textOf(gaps), "piston rings: only an opening would show it")
	require.NotContains(t, textOf(gaps), "petrol tank: ")
	require.Contains(t, textOf(gaps), "wiring loom: dual seat", "for the rest somebody must give a reason")
	v := hidden(seal, url.Values{"by": {"tamsin"}, "gaps_signed_by": {"imogen"}, "gaps": {"fuel.cap: "}})
	rec := b.post("/machines/drover-1957/seal", v.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "There is no reason behind the colon")
	v.Set("gaps", strings.ReplaceAll(gaps.FirstChild.Data, ": \n", ": no time\n"))
	rec = b.post("/machines/drover-1957/seal", v.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	sealed, ok := b.load().Seal()
	require.True(t, ok)
	require.Len(t, sealed.Record.Gaps, 158, "160 components, one of them surveyed and one never fitted")

	page := readPage(t, b.get(surveyPath+"/fuel.tank").Body.String())
	page.landmarks()
	require.Empty(t, page.all("form"))
	require.Contains(t, page.text(), "What you see now is recorded as a measurement, a check or evidence")
	require.Contains(t, page.text(), "3 of 5: fair")
	require.Empty(t, readPage(t, b.get(surveyPath).Body.String()).all("a", "class", "button wide"))

	// What was sent too late is refused by the registry, shown, and its picture kept.
	late := b.survey(surveyPath+"/fuel.cap", open, sentFile{"camera", "late.jpg", picture(30, 30)})
	require.Equal(t, http.StatusConflict, late.Code)
	page = readPage(t, late.Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "The as-found survey is sealed")
	require.Contains(t, page.text(), "Sent from the shed, too late.")
	require.Len(t, registry.Live[*registry.Photo](b.load()), 1)
	undo := b.post(surveyPath+"/undo", url.Values{"record": {b.surveyOf("fuel.tank").ID}, "by": {"tamsin"}, "key": {"u"}}.Encode())
	require.Equal(t, http.StatusConflict, undo.Code)
	require.Contains(t, undo.Body.String(), "entries cannot be taken out")
}

func TestReadNumbersStayPrivate(t *testing.T) {
	b := taken(t)
	require.Equal(t, http.StatusSeeOther, b.survey(surveyPath+"/engine.crankcase-drive", url.Values{"there": {"there"}, "read": {"E35-77104"}, "by": {"tamsin"}, "key": {"k"}}).Code)
	private := b.get("/machines/drover-1957/components/engine.crankcase-drive").Body.String()
	require.Contains(t, private, "E35-77104")
	public := b.get("/machines/drover-1957/components/engine.crankcase-drive?public=1").Body.String()
	require.NotContains(t, public, "E35-77104")
	require.NotContains(t, public, "<form")
	events, err := b.w.Events(context.Background(), "drover-1957")
	require.NoError(t, err)
	require.NotContains(t, string(bytes.Join(events, nil)), "77104")
}

func TestSurveyPagesAreLight(t *testing.T) {
	b := taken(t)
	for _, c := range append([]string{"", "/pictures/1"}, "/engine.head", "/fuel.tank", "/electrical.battery", "/engine.piston") {
		rec := b.get(surveyPath + c)
		require.Equal(t, http.StatusOK, rec.Code, c)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		require.NotContains(t, page.text(), "is safe", c)
		require.Less(t, rec.Body.Len()+len(stylesheet), 100<<10, c)
	}
	require.Contains(t, readPage(t, b.get(surveyPath+"/engine.piston").Body.String()).text(), "the survey opens nothing")
	require.Contains(t, readPage(t, b.get(surveyPath+"/electrical.battery").Body.String()).text(), "Battery acid blinds and burns")
	require.Contains(t, readPage(t, b.get(surveyPath+"/frame.number").Body.String()).text(), "Before you clean it: Numbers")
}
