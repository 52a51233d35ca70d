package server

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// keptAddresses are a page of each kept pattern.
var keptAddresses = map[string]string{
	"/machines/{id}":                        "",
	"/api/v1/machines/{id}":                 "/api/v1/machines/drover-1957",
	"/machines/{id}/drawing":                "/drawing",
	"/machines/{id}/groups/{group}":         "/groups/fuel",
	"/machines/{id}/components/{component}": "/components/ignition.magneto",
	"/machines/{id}/story":                  "/story",
	"/machines/{id}/work":                   "/work",
	"/machines/{id}/plan":                   "/plan",
	"/machines/{id}/criteria":               "/criteria",
	"/machines/{id}/sum/{figure}":           "/sum/index:substance",
	"/":                                     "/",
	"/find":                                 "/find?q=magneto",
	"/compare":                              "/compare?machine=drover-1957",
}

// emptied is a server that has kept nothing.
func emptied(b *bench) { b.s.kept.by, b.s.kept.order, b.s.kept.held = nil, nil, 0 }

// TestAKeptPageIsTheOneThatWouldBeMade for the same reader, and another one for
// another language, after another record, and when what it says may have run out.
func TestAKeptPageIsTheOneThatWouldBeMade(t *testing.T) {
	b := worked(t)
	for i, pattern := range append(keptOfAll, keptPages...) {
		at, ok := keptAddresses[pattern]
		require.True(t, ok, "%s has no page in this test", pattern)
		if strings.HasPrefix(pattern, "/machines/") {
			at = "/machines/drover-1957" + at
		}
		emptied(b)
		first := b.get(at)
		require.Equal(t, http.StatusOK, first.Code, at)
		require.Len(t, b.s.kept.by, 1, at)
		again := b.get(at)
		require.Equal(t, first.Body.String(), again.Body.String(), at)
		require.Equal(t, first.Header().Values("Vary"), again.Header().Values("Vary"), at)
		require.Equal(t, first.Header().Get("ETag"), again.Header().Get("ETag"), at)
		emptied(b)
		require.Equal(t, first.Body.String(), b.get(at).Body.String(), at)
		german := httptest.NewRequest(http.MethodGet, at, nil)
		german.Header.Set("Accept-Language", "de")
		require.Equal(t, strings.HasPrefix(at, "/api/"), first.Body.String() == b.ask(german).Body.String(), at)
		require.Len(t, b.s.kept.by, 2, at)
		b.clock.Add(int64(freshFor.Seconds()))
		b.get(at)
		require.Len(t, b.s.kept.by, 3, at)
		b.record(&registry.Check{Common: id("more" + itoa(i)), What: "The lamp burns", Components: []string{"electrical.horn"}, Outcome: "passed", By: "tamsin"})
		b.get(at)
		require.Len(t, b.s.kept.by, 4, at)
	}
}

// TestAPageForOneReaderIsNotKept: a form's key is for one reader, and a page
// that is wrong is to be mended.
func TestAPageForOneReaderIsNotKept(t *testing.T) {
	require.False(t, mayKeep(finishedAnswer{status: http.StatusOK, body: []byte(`<input type="hidden" name="key" value="x">`)}))
	require.False(t, mayKeep(finishedAnswer{status: http.StatusUnprocessableEntity, body: []byte("wrong")}))
	require.False(t, mayKeep(seeOther("/")))
	require.True(t, mayKeep(finishedAnswer{status: http.StatusOK, body: []byte("page")}))
	b := worked(t)
	require.Equal(t, http.StatusUnprocessableEntity, b.get("/machines/drover-1957?as_of=never").Code)
	require.Equal(t, http.StatusOK, b.get("/machines/drover-1957?recorded="+strings.Repeat("x", keptAddress)).Code)
	require.Empty(t, b.s.kept.by)
}

// TestKeptPagesAreForTheirReader: who may see the public edition alone never
// gets what was kept for the keeper.
func TestKeptPagesAreForTheirReader(t *testing.T) {
	b := withPeople(t)
	keeper := b.join("Tamsin", "keeper")
	for range 2 {
		require.Contains(t, b.askAs(keeper, http.MethodGet, "/machines/drover-1957", "", "").Body.String(), "Imogen Aske")
	}
	public, _ := b.readingLink(keeper, "public")
	for range 2 {
		page := b.askAs(public, http.MethodGet, "/machines/drover-1957", "", "")
		require.Equal(t, http.StatusOK, page.Code)
		require.NotContains(t, page.Body.String(), "Imogen Aske")
	}
	require.Len(t, b.s.kept.by, 2)
	require.Equal(t, http.StatusSeeOther, b.askAs(nil, http.MethodGet, "/machines/drover-1957", "", "").Code)
}

// TestWhatIsKeptIsBounded by size, the oldest first.
func TestWhatIsKeptIsBounded(t *testing.T) {
	c := latest[string]{most: 10, size: func(s string) int { return len(s) }}
	c.put("a", "1234")
	c.put("b", "1234")
	c.put("b", "12345")
	c.put("c", "1234")
	_, there := c.get("a")
	require.False(t, there)
	v, there := c.get("b")
	require.True(t, there)
	require.Equal(t, "12345", v)
	require.Equal(t, 9, c.held)
	c.put("d", strings.Repeat("x", 11))
	require.Empty(t, c.by)
	require.Zero(t, c.held)
}

// TestManyAskersAndOneMaker: what forty readers ask for at once is made once.
func TestManyAskersAndOneMaker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var c latest[string]
		var made, got atomic.Int64
		release := make(chan struct{})
		for range 40 {
			go func() {
				v, err := c.find("page", func() (string, bool, error) {
					made.Add(1)
					<-release
					return "text", true, nil
				})
				if err == nil && v == "text" {
					got.Add(1)
				}
			}()
		}
		synctest.Wait()
		close(release)
		synctest.Wait()
		require.EqualValues(t, 1, made.Load())
		require.EqualValues(t, 40, got.Load())
	})
}

func TestWhoReadsPackedText(t *testing.T) {
	for given, want := range map[string]bool{"": false, "gzip": true, "br, gzip;q=0.5": true, "gzip;q=0": false, "gzip; q=0.0": false, "deflate": false, "xgzip": false} {
		r := &http.Request{Header: http.Header{"Accept-Encoding": {given}}, URL: &url.URL{}}
		require.Equal(t, want, takesPacked(r), given)
	}
}

// BenchmarkKeptPages gives a page that is kept, as a browser takes it.
func BenchmarkKeptPages(b *testing.B) {
	x := worked(b)
	for _, name := range []string{"", "/story", "/work"} {
		b.Run("machine"+name, func(b *testing.B) {
			for b.Loop() {
				r := httptest.NewRequest(http.MethodGet, "/machines/drover-1957"+name, nil)
				r.Header.Set("Accept-Encoding", "gzip")
				x.ask(r)
			}
		})
	}
}
