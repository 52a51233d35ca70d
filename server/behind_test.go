package server

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestBehind serves a registry whose ledger cannot be reached: what is shown
// says so and how old it is, and no browser keeps it as if it were current.
func TestBehind(t *testing.T) {
	b := drover(t)
	const page, record = "/machines/drover-1957", "/api/v1/machines/drover-1957"
	tag := b.get(page).Header().Get("ETag")
	require.Empty(t, b.get(page).Header().Get("Age"))
	why := error(nil)
	since := b.s.Now().Add(-7*time.Minute - 30*time.Second)
	b.s.Config.Behind = func() (time.Time, error) { return since, why }
	require.NotContains(t, b.get(page).Body.String(), "cannot be reached")
	require.Equal(t, http.StatusOK, b.get("/readyz").Code)

	why = errors.New("the cluster does not answer")
	r := httptest.NewRequest(http.MethodGet, page, nil)
	r.Header.Set("If-None-Match", tag)
	answer := b.ask(r)
	require.Equal(t, http.StatusOK, answer.Code, "what the browser holds does not say how old it is")
	require.Contains(t, answer.Body.String(), "What you see is how it stood 7 min ago, on ")
	require.Equal(t, "450", answer.Header().Get("Age"))
	require.Empty(t, answer.Header().Get("ETag"))
	require.Equal(t, "no-store", answer.Header().Get("Cache-Control"))

	answer = b.get(record)
	require.Equal(t, http.StatusOK, answer.Code)
	require.Equal(t, "450", answer.Header().Get("Age"))
	require.Equal(t, b.tag(), answer.Header().Get("ETag"))

	answer = b.get("/readyz")
	require.Equal(t, http.StatusServiceUnavailable, answer.Code)
	require.Contains(t, answer.Body.String(), "The ledger cannot be reached")
	require.Equal(t, http.StatusOK, b.get("/healthz").Code)

	// Nobody keeps such a page: the next one says an older age, and afterwards it
	// is as it was.
	since = since.Add(-time.Minute)
	require.Contains(t, b.get(page).Body.String(), "how it stood 8 min ago")
	asked := 0
	old := b.s.Config.Behind
	b.s.Config.Behind = func() (time.Time, error) { // lost while the page is made
		if asked++; asked < 3 { // for the header, and for what is kept
			return since, nil
		}
		return since, why
	}
	other := page + "/story"
	require.Contains(t, b.get(other).Body.String(), "cannot be reached")
	b.s.Config.Behind, why = old, nil
	for _, path := range []string{page, other} {
		require.NotContains(t, b.get(path).Body.String(), "cannot be reached", path)
	}
	why = errors.New("the cluster does not answer")

	// A program that started meanwhile does not know how old its copy is.
	since = time.Time{}
	answer = b.get(page)
	require.Contains(t, answer.Body.String(), "What you see may be out of date.")
	require.Empty(t, answer.Header().Get("Age"))
}
