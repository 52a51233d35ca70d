package server

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/workshop"
)

func TestTheOwnersPage(t *testing.T) {
	b := drover(t)
	at := b.end()
	rec := b.get("/o/" + b.token)
	require.Equal(t, http.StatusOK, rec.Code)
	page := readPage(t, rec.Body.String())
	page.landmarks()
	text := strings.ReplaceAll(page.text(), "\u00a0", " ")
	for _, s := range []string{"Tamsin Orde asks you", "It starts cold and dies when warm.", "the condenser leaks when warm", "Leave it as it is", "Set a condenser outside", "Rewind the armature", "recommended", "cannot be undone",
		"What the points mean", "for good", "It cannot be ridden further than a mile.", "At most 110 GBP", "Magneto, drive side", "What whoever does the work must mind", "What this link can do", "Not now", "Touches condenser"} {
		require.Contains(t, text, s)
	}
	require.NotContains(t, text, b.token)
	require.NotContains(t, text, "D350-2217", "a link may be read by others")
	require.Empty(t, page.all("a", "href", "/"), "the page leads nowhere else")
	require.NotContains(t, rec.Body.String(), " checked", "no answer is chosen beforehand")
	require.Equal(t, "no-store", rec.Header().Get("Cache-Control"))
	require.Equal(t, "same-origin", rec.Header().Get("Referrer-Policy"))
	require.Equal(t, "noindex", rec.Header().Get("X-Robots-Tag"))
	require.Less(t, rec.Body.Len()+len(stylesheet), 100<<10)

	picture := b.get("/o/" + b.token + "/photos/" + b.photo)
	require.Equal(t, http.StatusOK, picture.Code)
	require.Equal(t, "no-store", picture.Header().Get("Cache-Control"))
	report, _ := b.s.reportOf(httptest.NewRequest(http.MethodGet, "/", nil), "drover-1957", workshop.ReportOptions{})
	require.Equal(t, http.StatusNotFound, b.get("/o/"+b.token+"/photos/"+hexOf(report.Photos[0].Digest)).Code, "originals stay in the workshop")
	require.Equal(t, at, b.end(), "looking changes nothing")
}

func (b *bench) decision(answer string, more ...string) url.Values {
	page := readPage(b.t, b.get("/o/"+b.token).Body.String())
	v := url.Values{"digest": {attr(page.all("input", "name", "digest")[0], "value")}, "answer": {answer}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v
}

// resend gathers the hidden fields of the page that checks an answer.
func resend(page parsed) url.Values {
	v := url.Values{}
	for _, n := range page.all("input", "type", "hidden") {
		v.Add(attr(n, "name"), attr(n, "value"))
	}
	return v
}

func TestTheOwnerDecidesInThreeSteps(t *testing.T) {
	b := drover(t)
	at := b.end()
	none := b.post("/o/"+b.token+"/check", b.decision("").Encode())
	require.Equal(t, http.StatusUnprocessableEntity, none.Code)
	require.Contains(t, none.Body.String(), "Choose your answer.")
	half := b.post("/o/"+b.token+"/check", b.decision("approve-with-conditions", "reason", "because").Encode())
	require.Equal(t, http.StatusUnprocessableEntity, half.Code)
	page := readPage(t, half.Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "Write your conditions")
	require.Contains(t, half.Body.String(), "because</textarea>", "what was typed stays")

	check := b.post("/o/"+b.token+"/check", b.decision("approve-with-conditions", "conditions", "keep the old one\nshow me first", "option-magneto", "rewind").Encode())
	require.Equal(t, http.StatusOK, check.Code, check.Body.String())
	page = readPage(t, check.Body.String())
	page.landmarks()
	for _, s := range []string{"Check your answer", "Go ahead, if my conditions are kept", "Rewind the armature", "cannot be undone", "110 GBP", "show me first", "Approve with these conditions", "Nothing is recorded yet."} {
		require.Contains(t, page.text(), s)
	}
	change := b.post("/o/"+b.token+"/choose", resend(page).Encode())
	require.Contains(t, change.Body.String(), "keep the old one")
	require.Contains(t, change.Body.String(), `value="rewind" checked`)
	require.Equal(t, at, b.end(), "nothing is recorded before the last step")

	b.clock.Add(60)
	done := b.post("/o/"+b.token+"/answer", resend(page).Encode())
	require.Equal(t, http.StatusSeeOther, done.Code, done.Body.String())
	receipt := b.get(done.Header().Get("Location"))
	page = readPage(t, receipt.Body.String())
	page.landmarks()
	for _, s := range []string{"Your answer is recorded", "show me first", "Rewind the armature", "The workshop may begin", "can be opened again by the same link"} {
		require.Contains(t, page.text(), s)
	}
	require.Contains(t, page.text(), digestOf(t, b))
	answer, ok := b.load().Answer("ask-magneto")
	require.True(t, ok)
	require.Equal(t, []string{"rewind"}, answer.Record.Options)
	require.Equal(t, []string{"keep the old one", "show me first"}, answer.Record.Conditions)
	require.Equal(t, "link", answer.Record.Channel)
	require.Equal(t, "imogen", answer.Record.Person)
}

func digestOf(t *testing.T, b *bench) string {
	t.Helper()
	_, digest, _, ok := b.load().OfferOf("ask-magneto")
	require.True(t, ok)
	return digest
}

func TestAQuestionLeavesTheDecisionOpen(t *testing.T) {
	b := drover(t)
	require.Equal(t, http.StatusUnprocessableEntity, b.post("/o/"+b.token+"/answer", b.decision("ask").Encode()).Code)
	b.clock.Add(60)
	require.Equal(t, http.StatusSeeOther, b.post("/o/"+b.token+"/answer", b.decision("ask", "reason", "How loud is it?").Encode()).Code)
	page := readPage(t, b.get("/o/"+b.token).Body.String())
	require.Contains(t, page.text(), "You asked a question")
	b.clock.Add(60)
	require.Equal(t, http.StatusSeeOther, b.post("/o/"+b.token+"/answer", b.decision("refuse").Encode()).Code)
	require.Contains(t, b.get("/o/"+b.token).Body.String(), "The workshop will not do this")
}

// TestTwentyApprovalsAtOnceAreOne sends the same approval from twenty tabs.
func TestTwentyApprovalsAtOnceAreOne(t *testing.T) {
	b := drover(t)
	before := b.load().Version()
	form := b.decision("approve").Encode()
	b.clock.Add(60)
	var wait sync.WaitGroup
	codes := make([]int, 20)
	for i := range codes {
		wait.Go(func() {
			r := httptest.NewRequest(http.MethodPost, "/o/"+b.token+"/answer", strings.NewReader(form))
			r.Header.Set("Content-Type", formType)
			r.Host = "localhost"
			rec := httptest.NewRecorder()
			b.handler.ServeHTTP(rec, r)
			codes[i] = rec.Code
		})
	}
	wait.Wait()
	for _, code := range codes {
		require.Equal(t, http.StatusSeeOther, code)
	}
	require.Equal(t, before+1, b.load().Version())
}

func TestLinksThatNoLongerDecide(t *testing.T) {
	b := drover(t)
	unknown := b.get("/o/" + strings.Repeat("a", 32))
	require.Equal(t, http.StatusNotFound, unknown.Code)
	require.Contains(t, unknown.Body.String(), "This link leads nowhere")

	stale := b.decision("approve")
	stale.Set("digest", "sha256:"+strings.Repeat("0", 64))
	for _, step := range []string{"check", "answer"} {
		rec := b.post("/o/"+b.token+"/"+step, stale.Encode())
		require.Equal(t, http.StatusConflict, rec.Code, step)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		require.Contains(t, page.text(), "offer has changed", step)
	}
	b.clock.Add(15 * 24 * 3600)
	for _, rec := range []*httptest.ResponseRecorder{b.get("/o/" + b.token), b.post("/o/"+b.token+"/answer", stale.Encode())} {
		require.Equal(t, http.StatusGone, rec.Code)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		require.Contains(t, page.text(), "This link ran out on")
		require.Contains(t, page.text(), "The workshop can make a new link.")
	}
}

// TestNoTokenInTheLog: not of pages, answers, pictures or failures.
func TestNoTokenInTheLog(t *testing.T) {
	b := drover(t)
	b.get("/o/" + b.token)
	b.get("/o/" + b.token + "/photos/" + b.photo)
	b.get("/o/" + b.token + "x?why=" + b.token)
	b.get("/o/" + b.token + "/nowhere")
	b.post("/o/"+b.token+"/answer", b.decision("refuse", "reason", "because of Imogen").Encode())
	log := b.log.String()
	require.Contains(t, log, `"route":"/o/{token}"`)
	require.NotContains(t, log, b.token)
	for _, private := range []string{"Imogen", "imogen", "why="} {
		require.NotContains(t, log, private)
	}
}
