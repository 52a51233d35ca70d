package server

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const photosAt = "/machines/drover-1957/photos"

// courier sends a request as the script does that keeps forms on a phone.
func courier(b *bench, r *http.Request, key string) *httptest.ResponseRecorder {
	r.Header.Set(keyHeader, key)
	r.Header.Set("Accept", "application/json, text/html;q=0.9")
	return b.ask(r)
}

func form(path string, values url.Values) *http.Request {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(values.Encode()))
	r.Header.Set("Content-Type", formType)
	return r
}

// TestAnUploadIsDoneOnceAKey: each try has another boundary and, later, no
// version; it is the same upload.
func TestAnUploadIsDoneOnceAKey(t *testing.T) {
	b := drover(t)
	fields := map[string]string{"shows": "work", "components": "fuel.tank", "by": "tamsin", "caption": "Tap", "key": "K", "version": "3"}
	send := func(original []byte) *httptest.ResponseRecorder {
		return courier(b, uploaded(t, photosAt, fields, "photos", "tap.jpg", original), "K")
	}
	version := b.load().Version()
	first := send(picture(500, 300))
	require.Equal(t, http.StatusCreated, first.Code, first.Body.String())
	var yes Recorded
	require.NoError(t, json.Unmarshal(first.Body.Bytes(), &yes))
	require.Contains(t, yes.To, "/machines/drover-1957?recorded=")
	delete(fields, "version")
	again := send(picture(500, 300))
	require.Equal(t, first.Body.String(), again.Body.String(), "the very same answer")
	require.Equal(t, version+1, b.load().Version())

	other := send(picture(501, 300))
	require.Equal(t, http.StatusUnprocessableEntity, other.Code, "another file under the key")
	require.Contains(t, other.Body.String(), "The key belongs to another request")
	fields["caption"] = "Filler cap"
	require.Equal(t, http.StatusUnprocessableEntity, send(picture(500, 300)).Code, "another caption under the key")
	require.Equal(t, version+1, b.load().Version())
}

// TestWhatWaitedForLongIsNotRefusedForItsOwnRecord: a step is undone once, the
// answer is lost, and the registry has forgotten the first try.
func TestWhatWaitedForLongIsNotRefusedForItsOwnRecord(t *testing.T) {
	b := worked(t)
	code, page := tap(b, cardAt+"/step", "did", "slackened the nut")
	require.Equal(t, http.StatusSeeOther, code)
	step := attr(page.all("input", "name", "step")[0], "value")
	undo := url.Values{"by": {"tamsin"}, "key": {"U"}, "step": {step}}
	require.Equal(t, http.StatusCreated, courier(b, form(cardAt+"/undo", undo), "U").Code)
	version := b.load().Version()
	b.s.answers = newRemembered(b.s.Now)
	late := courier(b, form(cardAt+"/undo", undo), "U")
	require.Equal(t, http.StatusCreated, late.Code, late.Body.String())
	require.Equal(t, version, b.load().Version())
	undo.Set("key", "V")
	refused := courier(b, form(cardAt+"/undo", undo), "V")
	require.Equal(t, http.StatusConflict, refused.Code, "another act is refused as ever")
	require.Contains(t, refused.Body.String(), "it was undone already")
}

// TestOnlyTheScriptIsAnsweredWithJSON: a browser that sends the form itself is
// sent on to a page.
func TestOnlyTheScriptIsAnsweredWithJSON(t *testing.T) {
	b := worked(t)
	rec := b.ask(form(cardAt+"/step", url.Values{"by": {"tamsin"}, "key": {"S"}, "did": {"looked"}}))
	require.Equal(t, http.StatusSeeOther, rec.Code)
	require.NotEmpty(t, rec.Header().Get("Location"))
}

func TestTheKeepListNamesWhereWorkIsRecorded(t *testing.T) {
	b := worked(t)
	rec := b.get("/machines/drover-1957/keep.json")
	require.Equal(t, "no-store", rec.Header().Get("Cache-Control"))
	var list KeepList
	require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &list))
	for _, at := range []string{"/machines/drover-1957/photos", "/machines/drover-1957/work", cardAt, cardAt + "?by=tamsin", "/machines/drover-1957/work/fasteners/magneto-off?option=external-condenser"} {
		require.Contains(t, list.Pages, at)
	}
	for _, at := range list.Pages {
		require.Equal(t, http.StatusOK, b.get(at).Code, at)
		require.NotContains(t, at, "/o/")
	}
}

// TestWhoAsksSecondTriesItself when the first left in the middle: a page that
// was sending is closed, and the next page sends the same again at once.
func TestWhoAsksSecondTriesItself(t *testing.T) {
	m := newRemembered(func() time.Time { return begin })
	began, leave, second := make(chan struct{}), make(chan struct{}), make(chan answer)
	go m.do("k", "body", func() (answer, error) {
		close(began)
		<-leave
		return nil, context.Canceled
	})
	<-began
	go func() {
		a, err := m.do("k", "body", func() (answer, error) { return seeOther("/recorded"), nil })
		if err != nil {
			t.Error(err)
		}
		second <- a
	}()
	close(leave)
	require.Equal(t, seeOther("/recorded"), <-second)
}
