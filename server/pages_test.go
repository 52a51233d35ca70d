package server

import (
	"bytes"
	"context"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/workshop"
)

func TestPagesShowTheMachine(t *testing.T) {
	b := worked(t)
	m := "/machines/drover-1957"
	for _, c := range []struct {
		path string
		says []string
	}{
		{"/", []string{"Machines", "Skerrow Engineering Drover 350 1957", "working", "Take in a machine"}},
		{m, []string{"How original is it?", "Substance", "with a chance of 80 %", "As found", "Sealed on 2 March 2026", "What is uncertain, and what would settle it", "Next look", "Ignition",
			"It starts cold and dies when warm.", "110 GBP", "Polished the tank badges", "unapproved", "the old condenser", "D-014", "D350-2217", "Imogen Aske", "grant of probate", "Timeline", "160 records of survey", "PDF, public edition"}},
		{m + "?public=1", []string{"Public edition", "D3•••••17", "the executor", "See the private page"}},
		{m + "?timeline=all", []string{"Timeline"}},
		{m + "?as_of=1971-06-30&known_at=2026-03-02", []string{"earlier view", "30 June 1971"}},
		{m + "/components/ignition.magneto", []string{"Magneto or combined magneto-dynamo body", "Where did this part come from?", "The magneto body is stamped 3/57.", "Bought", "bits", "Without it", "the answer hangs on it", "What each kind of evidence says by itself", "moderate", "how to compute it yourself", "Magneto, drive side", "dirt line unbroken"}},
		{m + "/components/gearbox.shell", []string{"What sat here, and when", "gearbox shell under warranty", "10/59", "October 1959 onwards"}},
		{m + "/components/ignition.condenser", []string{"kept with machine", "Set a condenser under the tank rail."}},
		{m + "/components/ignition.contact-breaker", []string{"0.32 ± 0.02 mm"}},
		{m + "/options", []string{"Leave it as it is", "Rewind the armature", "cannot be undone", "can be undone", "in points of 1000", "for good", "18 GBP", "5 days", "It touches nothing", "Weigh again", "record work", "Chance of a cure 90 % an assumption"}},
		{m + "/options?fault=magneto", []string{"All faults"}},
		{m + "/propose", []string{"Options to offer", "Ceiling", "Until when it stands"}},
		{m + "/proposals/ask-magneto", []string{"approve", "Imogen Aske", "110 GBP", "kept nowhere"}},
		{m + "/work", []string{"approved", "Fitted at condenser", "marked 26 TO", "17.40 GBP", "It names neither", "spark gap 5.5 ± 0.5 mm", "Gates on the way to riding", "Move or refit"}},
		{m + "/work/entry", []string{"Already done", "Dust off"}},
		{m + "/work/entry?option=rewind", []string{"It is not approved", "Take care."}},
		{m + "/work/check", []string{"Outcome", "Plus or minus"}},
		{m + "/work/gate", []string{"arrived"}},
		{m + "/work/opening", []string{"as-found picture comes first"}},
		{m + "/work/removed", []string{"Tag that hangs on it"}},
		{m + "/work/move/old-condenser", []string{"Back on the machine", "D-014"}},
		{m + "/record", []string{"comparable-sale"}},
		{m + "/photos", []string{"JPEG, PNG or WebP"}},
		{m + "/seal", []string{"160 components are surveyed"}},
		{"/take-in", []string{"Short name for the record", "Why the owner may decide"}},
		{"/import", []string{"Only look", "Record the good rows"}},
	} {
		rec := b.get(c.path)
		require.Equal(t, http.StatusOK, rec.Code, c.path)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		text := strings.ReplaceAll(page.text(), "\u00a0", " ")
		for _, s := range c.says {
			require.Contains(t, text, s, c.path)
		}
		require.NotContains(t, text, "is safe", c.path)
		require.Less(t, rec.Body.Len()+len(stylesheet), 150<<10, "page weight of %s", c.path)
	}
}

func TestTheEmptyRegistrySaysHowToBegin(t *testing.T) {
	page := readPage(t, newBench(t).get("/").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "There is no machine here yet.")
	require.NotEmpty(t, page.all("a", "href", "/take-in", "class", "button"))
}

// TestPublicPagesKeepNamesBack walks the public edition: no name, no whole
// number.
func TestPublicPagesKeepNamesBack(t *testing.T) {
	b := worked(t)
	for _, p := range []string{"/machines/drover-1957?public=1&timeline=all", "/machines/drover-1957/components/ignition.magneto?public=1", "/api/v1/machines/drover-1957?public=true"} {
		body := b.get(p).Body.String()
		for _, secret := range []string{"Imogen", "Tamsin", "Reuben", "D350-2217", "shelf 3"} {
			require.NotContains(t, body, secret, p)
		}
	}
}

func TestStoredTextIsNeverMarkup(t *testing.T) {
	b := worked(t)
	body := b.get("/machines/drover-1957/components/ignition.condenser").Body.String()
	require.NotContains(t, body, "<script>alert")
	require.Contains(t, body, "&lt;script&gt;alert(1)&lt;/script&gt;")
}

func TestDrawingsHaveWords(t *testing.T) {
	page := readPage(t, drover(t).get("/machines/drover-1957").Body.String())
	drawn := page.all("svg", "role", "img")
	require.Len(t, drawn, 3)
	for _, svg := range drawn {
		require.NotEmpty(t, attr(svg, "aria-labelledby"))
	}
	require.Equal(t, "Substance on a scale from 0 to 1", textOf(page.one("title", "id", "scale-substance-t")))
	require.Contains(t, textOf(page.one("desc", "id", "scale-substance-d")), "As it stands 0.")
}

func TestARefusedFigureIsSaidInWords(t *testing.T) {
	b := newBench(t)
	rec := b.post("/take-in", takeInValues().Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	page := readPage(t, b.get("/machines/drover-1957").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "No figure yet for the substance")
	require.Contains(t, page.text(), "Read a survey sheet")
}

func takeInValues() url.Values {
	return url.Values{"id": {"drover-1957"}, "make": {"Skerrow Engineering"}, "model": {"Drover 350"}, "year": {"1957"}, "frame": {"D350-2217"}, "owner_name": {"Imogen Aske"}, "owner_role": {"executor"},
		"custodian_name": {"Tamsin Orde"}, "authority": {"grant of probate"}, "purpose": {"occasional"}, "care": {"dust off\r\nturn the wheels"}, "inventory": {"2 keys\nlog book"}, "key": {"K1"}, "invented": {"yes"}}
}

func TestTakingIn(t *testing.T) {
	b := newBench(t)
	rec := b.post("/take-in", takeInValues().Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Equal(t, "/machines/drover-1957", rec.Header().Get("Location"))
	agreement, ok := b.load().Agreement()
	require.True(t, ok)
	require.Equal(t, []string{"dust off", "turn the wheels"}, agreement.Care)
	require.Equal(t, 2, agreement.Inventory[0].Count)
	require.Equal(t, "log book", agreement.Inventory[1].What)
	version := b.load().Version()
	require.EqualValues(t, 4, version)

	again := b.post("/take-in", takeInValues().Encode())
	require.Equal(t, http.StatusSeeOther, again.Code, "the same key is the same act")
	require.Equal(t, version, b.load().Version())

	other := takeInValues()
	other.Set("key", "K2")
	rec = b.post("/take-in", other.Encode())
	require.Equal(t, http.StatusConflict, rec.Code)
	require.Contains(t, rec.Body.String(), "A machine of that name is in the registry already")
}

// TestFormsKeepWhatWasTyped: an error is summed up, stands beside its field,
// and nothing that was typed is lost.
func TestFormsKeepWhatWasTyped(t *testing.T) {
	b := newBench(t)
	v := takeInValues()
	v.Set("year", "last summer")
	v.Set("make", "")
	v.Set("owner_name", "")
	rec := b.post("/take-in", v.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	page := readPage(t, rec.Body.String())
	page.landmarks()
	require.True(t, strings.HasPrefix(page.title(), "Error: "))
	summary := page.one("div", "id", "summary")
	require.Contains(t, textOf(summary), "There is a problem")
	require.Len(t, page.all("a", "href", "#f-year"), 1)
	require.Len(t, page.all("a", "href", "#f-make"), 1)
	require.Len(t, page.all("a", "href", "#f-owner_name"), 1)
	require.Equal(t, "last summer", attr(page.one("input", "name", "year"), "value"))
	require.Equal(t, "true", attr(page.one("input", "name", "year"), "aria-invalid"))
	require.Equal(t, "Drover 350", attr(page.one("input", "name", "model"), "value"))
	require.Contains(t, rec.Body.String(), `value="occasional" checked`)
	require.Contains(t, page.text(), "This is not a date that can be read")
	require.Zero(t, b.end())
}

// hidden reads the hidden fields of a page's form.
func hidden(page parsed, into url.Values) url.Values {
	for _, name := range []string{"key", "version"} {
		into.Set(name, attr(page.all("input", "name", name)[0], "value"))
	}
	return into
}

func TestAFormOfAnEarlierVersionIsAConflict(t *testing.T) {
	b := worked(t)
	path := "/machines/drover-1957/work/check"
	form := hidden(readPage(t, b.get(path).Body.String()), url.Values{"what": {"Lever play"}, "components": {"ign-046\nfuel.tank"}, "outcome": {"passed"}, "by": {"tamsin"}, "quantity": {"play"}, "value": {"1,5"}, "unit": {"mm"}})
	first := b.post(path, form.Encode())
	require.Equal(t, http.StatusSeeOther, first.Code, first.Body.String())
	require.Regexp(t, `^/machines/drover-1957/work\?recorded=check-`, first.Header().Get("Location"))
	version := b.load().Version()
	require.Contains(t, b.get(first.Header().Get("Location")).Body.String(), "Recorded as check-")

	double := b.post(path, form.Encode())
	require.Equal(t, first.Header().Get("Location"), double.Header().Get("Location"), "a double click is one act")
	require.Equal(t, version, b.load().Version())

	form.Set("key", "another")
	stale := b.post(path, form.Encode())
	require.Equal(t, http.StatusConflict, stale.Code)
	page := readPage(t, stale.Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "The record has moved on since you opened this form")
	require.Equal(t, "Lever play", attr(page.one("input", "name", "what"), "value"))
	require.Equal(t, itoa(version), attr(page.one("input", "name", "version"), "value"))

	form.Set("version", itoa(version))
	form.Set("key", "third")
	form.Set("components", "no such thing")
	bad := b.post(path, form.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, bad.Code)
	require.Contains(t, bad.Body.String(), "There is no such component")
}

func TestWorkThroughForms(t *testing.T) {
	b := drover(t)
	m := "/machines/drover-1957"
	post := func(path string, v url.Values) *httptest.ResponseRecorder {
		t.Helper()
		b.clock.Add(60)
		return b.post(path, hidden(readPage(t, b.get(path).Body.String()), v).Encode())
	}
	early := post(m+"/work/entry", url.Values{"option": {"external-condenser"}, "did": {"Set it"}, "hours": {"2"}, "by": {"tamsin"}, "changes": {"0"}})
	require.Equal(t, http.StatusConflict, early.Code)
	require.Contains(t, early.Body.String(), "the owner has not answered")
	require.Contains(t, early.Body.String(), "Set it", "what was typed stays")

	b.approve()
	require.Equal(t, http.StatusSeeOther, post(m+"/work/opening", url.Values{"opening": {"magneto-off"}, "by": {"tamsin"}}).Code)
	done := post(m+"/work/entry", url.Values{"option": {"external-condenser"}, "did": {"Set it under the rail"}, "hours": {"2.2"}, "spent": {"17.40"}, "spent_currency": {"gbp"}, "openings": {"magneto-off"}, "by": {"tamsin"}, "changes": {"0"}})
	require.Equal(t, http.StatusSeeOther, done.Code, done.Body.String())
	work := b.load()
	require.NotNil(t, work)
	report, err := b.w.Report(context.Background(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	require.Equal(t, "approved", report.Work[0].Standing.Mark)
	require.Equal(t, "17.40 GBP", report.Work[0].Spent)

	kept := post(m+"/work/removed", url.Values{"component": {"condenser"}, "work": {report.Work[0].ID}, "tag": {"D-014"}, "what": {"old condenser"}, "custody": {"kept-with-machine"}, "place": {"shelf 3"}, "reason": {"leaks warm"}, "by": {"tamsin"}})
	require.Equal(t, http.StatusSeeOther, kept.Code, kept.Body.String())
	part := regexp.MustCompile(`recorded=(.+)$`).FindStringSubmatch(kept.Header().Get("Location"))[1]
	back := post(m+"/work/move/"+part, url.Values{"custody": {"fitted"}, "why": {"tried it once more"}, "by": {"tamsin"}})
	require.Equal(t, http.StatusSeeOther, back.Code, back.Body.String())
	require.Contains(t, b.get(m+"/work").Body.String(), "undone since")

	wild := post(m+"/work/entry", url.Values{"treatment": {"clean"}, "did": {"Polished it"}, "hours": {"1"}, "by": {"tamsin"}, "already_done": {"yes"}})
	require.Equal(t, http.StatusSeeOther, wild.Code, wild.Body.String())
	require.Contains(t, b.get(m+"/work").Body.String(), "unapproved")

	gate := post(m+"/work/gate", url.Values{"gate": {"road"}, "by": {"tamsin"}})
	require.Equal(t, http.StatusConflict, gate.Code)
	require.Contains(t, gate.Body.String(), "comes before")
	require.Equal(t, http.StatusSeeOther, post(m+"/work/gate", url.Values{"gate": {"arrived"}, "by": {"tamsin"}, "photos": {"photo-magneto"}}).Code)
}

func TestWeighingAndProposingThroughForms(t *testing.T) {
	b := drover(t)
	m := "/machines/drover-1957"
	page := readPage(t, b.get(m+"/options?fault=magneto").Body.String())
	form := hidden(page, url.Values{"by": {"tamsin"}, "fault": {"magneto"}})
	for _, n := range page.all("input", "name", "options", "type", "hidden") {
		form.Add("options", attr(n, "value"))
	}
	rec := b.post(m+"/options", form.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Contains(t, rec.Header().Get("Location"), "&fault=magneto")

	ask := hidden(readPage(t, b.get(m+"/propose?options=leave-it&options=rewind").Body.String()), url.Values{"to": {"imogen"}, "by": {"tamsin"}, "options": {"leave-it", "rewind"}, "recommended-magneto": {"rewind"}, "expires": {"2026-04-01"}, "ceiling": {"240"}, "ceiling_currency": {"GBP"}})
	empty := url.Values{"key": {"none"}, "version": ask["version"], "expires": {"soon"}}
	rec = b.post(m+"/propose", empty.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "This is not a day")

	rec = b.post(m+"/propose", ask.Encode())
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	require.Equal(t, "no-store", rec.Header().Get("Cache-Control"))
	page = readPage(t, rec.Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "It appears at the link that")
	require.Empty(t, page.all("input", "id", "owner-link"))
	again := b.post(m+"/propose", ask.Encode())
	require.Equal(t, rec.Body.String(), again.Body.String(), "a double click says the same")
	require.Contains(t, b.get("/o/"+b.token).Body.String(), "2 questions wait for your answer")
}

func TestRecordingAnything(t *testing.T) {
	b := drover(t)
	path := "/machines/drover-1957/record"
	form := hidden(readPage(t, b.get(path).Body.String()), url.Values{"by": {"tamsin"}, "records": {`[{"record":"fault","id":"horn","complaint":"It croaks.","components":["electrical.horn"],"by":"tamsin"},{"record":"fault","id":"x","complaint":7,"components":[],"by":"tamsin"}]`}})
	bad := b.post(path, form.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, bad.Code)
	require.Contains(t, bad.Body.String(), "/1/complaint")
	form.Set("records", `{"record":"fault","id":"horn","complaint":"It croaks.","components":["electrical.horn"],"by":"tamsin"}`)
	good := b.post(path, form.Encode())
	require.Equal(t, http.StatusSeeOther, good.Code, good.Body.String())
	require.Equal(t, "/machines/drover-1957?recorded=horn", good.Header().Get("Location"))
}

// uploaded makes a multipart request.
func uploaded(t *testing.T, path string, fields map[string]string, file, name string, content []byte) *http.Request {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for k, v := range fields {
		require.NoError(t, w.WriteField(k, v))
	}
	if file != "" {
		part, err := w.CreateFormFile(file, name)
		require.NoError(t, err)
		_, err = part.Write(content)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	r := httptest.NewRequest(http.MethodPost, path, &body)
	r.Header.Set("Content-Type", w.FormDataContentType())
	return r
}

func TestImportPage(t *testing.T) {
	b := newBench(t)
	require.Equal(t, http.StatusSeeOther, b.post("/take-in", takeInValues().Encode()).Code)
	sheet := []byte("component,origin\nfuel.tank,original\nno.such,original\nelectrical.horn,=bad\n")
	at := b.end()
	look := b.ask(uploaded(t, "/import", map[string]string{"machine": "drover-1957", "by": "custodian", "how": "look"}, "sheet", "survey.csv", sheet))
	require.Equal(t, http.StatusUnprocessableEntity, look.Code)
	require.Equal(t, at, b.end(), "looking records nothing")
	good := b.ask(uploaded(t, "/import", map[string]string{"machine": "drover-1957", "by": "custodian", "how": "good"}, "sheet", "survey.csv", sheet))
	require.Equal(t, http.StatusOK, good.Code, good.Body.String())
	page := readPage(t, good.Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "3 rows read: 1 recorded, 0 there already, 2 cannot be recorded.")
	var rejected string
	for _, a := range page.all("a") {
		if strings.HasPrefix(attr(a, "href"), "/import/rejected/") {
			rejected = attr(a, "href")
		}
	}
	file := b.get(rejected)
	require.Contains(t, file.Header().Get("Content-Disposition"), "attachment")
	require.Contains(t, file.Body.String(), "row,what is wrong,component,origin")
	require.Contains(t, file.Body.String(), "no.such,original")
	require.Contains(t, file.Body.String(), ",'=bad", "a spreadsheet must not take it for a formula")
	none := b.ask(uploaded(t, "/import", map[string]string{"machine": "drover-1957"}, "", "", nil))
	require.Equal(t, http.StatusUnprocessableEntity, none.Code)
	require.Contains(t, none.Body.String(), "Choose a file.")
}

func TestPhotoPages(t *testing.T) {
	b := drover(t)
	path := "/machines/drover-1957/photos"
	original := picture(500, 300)
	rec := b.ask(uploaded(t, path, map[string]string{"shows": "as-found", "components": "fuel.tank", "by": "tamsin", "caption": "Tank, left", "key": "P"}, "photos", "tank.jpg", original))
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	version := b.load().Version()
	b.ask(uploaded(t, path, map[string]string{"shows": "as-found", "components": "fuel.tank", "by": "tamsin", "caption": "Tank, left", "key": "P"}, "photos", "tank.jpg", original))
	require.Equal(t, version, b.load().Version(), "the same upload is one picture")
	bad := b.ask(uploaded(t, path, map[string]string{"shows": "as-found", "by": "tamsin"}, "photos", "note.txt", []byte("hello")))
	require.Equal(t, http.StatusUnsupportedMediaType, bad.Code)
	require.Contains(t, bad.Body.String(), "note.txt is not a picture")

	shown := b.get(path + "/" + b.photo)
	require.Equal(t, http.StatusOK, shown.Code)
	require.Equal(t, "image/jpeg", shown.Header().Get("Content-Type"))
	require.Empty(t, shown.Header().Get("Content-Disposition"))
	require.Contains(t, shown.Header().Get("Cache-Control"), "immutable")
	require.Equal(t, fileCSP, shown.Header().Get("Content-Security-Policy"))
	report, err := b.w.Report(context.Background(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	first := b.get(path + "/" + hexOf(report.Photos[0].Digest))
	require.Contains(t, first.Header().Get("Content-Disposition"), "attachment", "an original is only ever a file")
	require.Equal(t, http.StatusNotFound, b.get(path+"/"+strings.Repeat("0", 64)).Code)
	require.Equal(t, http.StatusNotFound, b.get("/machines/nobody/photos/"+b.photo).Code)
}

func TestPagesAreAnsweredFromWhatTheBrowserHolds(t *testing.T) {
	b := drover(t)
	first := b.get("/machines/drover-1957")
	tag := first.Header().Get("ETag")
	require.NotEmpty(t, tag)
	r := httptest.NewRequest(http.MethodGet, "/machines/drover-1957", nil)
	r.Header.Set("If-None-Match", tag)
	rec := b.ask(r)
	require.Equal(t, http.StatusNotModified, rec.Code)
	require.Zero(t, rec.Body.Len())
	b.approve()
	require.NotEqual(t, tag, b.get("/machines/drover-1957").Header().Get("ETag"))
}
