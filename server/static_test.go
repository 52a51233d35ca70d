package server

import (
	"net/http"
	"net/http/httptest"
	"path"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/language"
)

var stylesheet = assets()["asfound.css"].body

func TestAssetsAreKeptForGoodOnlyUnderTheirHash(t *testing.T) {
	b := newBench(t)
	for name, a := range assets() {
		at, err := assetAddress(name)
		require.NoError(t, err)
		if name == workerName {
			require.Equal(t, http.StatusNotFound, b.get(at).Code, "the worker has an address of its own")
			continue
		}
		kept := b.get(at)
		require.Equal(t, http.StatusOK, kept.Code, name)
		require.Contains(t, kept.Header().Get("Cache-Control"), "immutable", name)
		require.Equal(t, assetTypes[path.Ext(name)], kept.Header().Get("Content-Type"), name)
		for _, other := range []string{"/static/" + name, "/static/" + name + "?v=0000000000000000"} {
			rec := b.get(other)
			require.Equal(t, "private, no-cache", rec.Header().Get("Cache-Control"), other)
			require.Equal(t, `"`+a.hash+`"`, rec.Header().Get("ETag"), other)
			r := httptest.NewRequest(http.MethodGet, other, nil)
			r.Header.Set("If-None-Match", rec.Header().Get("ETag"))
			require.Equal(t, http.StatusNotModified, b.ask(r).Code, other)
		}
	}
	for _, name := range []string{"none.css", "..%2frender.go", "asfound.css.bak"} {
		require.Equal(t, http.StatusNotFound, b.get("/static/"+name).Code, name)
	}
}

// TestScriptsImportByHash: a script that is kept for good must not load another
// that is not the one it was written with.
func TestScriptsImportByHash(t *testing.T) {
	body := string(assets()["courier.js"].body)
	require.Contains(t, body, `"./queue.js?v=`+assets()["queue.js"].hash+`"`)
	require.NotContains(t, body, `"./queue.js"`)
}

func TestTheWorkerMayFetchAndKnowsItsFiles(t *testing.T) {
	b := newBench(t)
	rec := b.get("/worker.js")
	require.Equal(t, http.StatusOK, rec.Code)
	require.Equal(t, "text/javascript; charset=utf-8", rec.Header().Get("Content-Type"))
	require.Equal(t, "private, no-cache", rec.Header().Get("Cache-Control"), "a worker that is kept for good is never mended")
	require.Contains(t, rec.Header().Get("Content-Security-Policy"), "connect-src 'self'")
	require.NotContains(t, rec.Header().Get("Content-Security-Policy"), "sandbox")
	for _, at := range append([]string{"/static/asfound.css?v=" + assets()["asfound.css"].hash}, workerPages...) {
		require.Contains(t, rec.Body.String(), `"`+at+`"`)
	}
	require.True(t, strings.HasPrefix(rec.Body.String(), `const build = "`+b.s.build+`"`))
}

var (
	saidInScripts  = regexp.MustCompile(`say\((?:[^()]*\? )?"(\w+)"[,)]`)
	namedInScripts = regexp.MustCompile(`"(\w+)"`)
)

// TestScriptsSayWhatThereIsToSay: every sentence that a script names is there,
// in every language, and none is there for nothing.
func TestScriptsSayWhatThereIsToSay(t *testing.T) {
	// These are said by a name that is put together.
	named := map[string]bool{"state_waiting": true, "state_held": true, "state_refused": true}
	for name, a := range assets() {
		if path.Ext(name) != ".js" || name != "words.js" && strings.HasPrefix(name, "words.") {
			continue
		}
		for _, m := range saidInScripts.FindAllStringSubmatch(string(a.body), -1) {
			require.Contains(t, courierWords, m[1], name)
		}
		for _, m := range namedInScripts.FindAllStringSubmatch(string(a.body), -1) {
			named[m[1]] = true
		}
	}
	for name := range courierWords {
		require.True(t, named[name], "nothing says %q", name)
	}
	for _, l := range language.All() {
		require.Contains(t, string(assets()[wordsName(l)].body), `"waitsMany":`)
	}
}
