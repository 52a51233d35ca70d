package server

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// addresses fills every pattern of the table with something that is there.
func (b *bench) address(pattern string) string {
	path := pattern
	for from, to := range map[string]string{"{id}": "drover-1957", "{cause}": "condenser-failed", "{option}": "external-condenser", "{opening}": "magneto-off", "{fault}": "magneto", "{component}": "ignition.magneto", "{n}": "1", "{figure}": "origin:ignition.magneto", "{group}": "ignition", "{proposal}": "ask-magneto", "{part}": "old-condenser", "{digest}": b.photo,
		"{token}": b.token, "{offer}": "ask-magneto", "{sum}": "0.json", "{file}": "none", "{asset}": "asfound.css", "{method}": "origin", "{kind}": "thread", "{format}": "prov", "{name}": "survey.v1.schema.json"} {
		path = strings.ReplaceAll(path, from, to)
	}
	return path
}

// TestEveryAnswerCarriesItsHeaders walks the whole table, and what is not in it.
func TestEveryAnswerCarriesItsHeaders(t *testing.T) {
	b := worked(t)
	check := func(what string, rec *httptest.ResponseRecorder) {
		t.Helper()
		h := rec.Header()
		require.Contains(t, h.Get("Content-Security-Policy"), "default-src 'none'", what)
		require.Contains(t, h.Get("Content-Security-Policy"), "frame-ancestors 'none'", what)
		require.NotContains(t, h.Get("Content-Security-Policy"), "unsafe", what)
		require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), what)
		require.Equal(t, "same-origin", h.Get("Referrer-Policy"), what)
		require.NotEmpty(t, h.Get("Cache-Control"), what)
		require.NotContains(t, h.Get("Cache-Control"), "public", what)
		require.NotEmpty(t, h.Get("X-Request-Id"), what)
		if rec.Body.Len() > 0 {
			require.NotEmpty(t, h.Get("Content-Type"), what)
		}
		require.NotEqual(t, http.StatusInternalServerError, rec.Code, what)
	}
	for _, rt := range routes() {
		path := b.address(rt.pattern)
		r := httptest.NewRequest(rt.method, path, strings.NewReader(""))
		if rt.takes != "" {
			r.Header.Set("Content-Type", rt.takes)
		}
		rec := b.ask(r)
		check(rt.method+" "+path, rec)
		if rt.method == http.MethodGet {
			head := b.ask(httptest.NewRequest(http.MethodHead, path, nil))
			require.Equal(t, rec.Code, head.Code, "HEAD %s", path)
			put := b.ask(httptest.NewRequest(http.MethodPut, path, nil))
			require.Equal(t, http.StatusMethodNotAllowed, put.Code, path)
			require.Contains(t, put.Header().Get("Allow"), "GET", path)
			check("PUT "+path, put)
		}
	}
	for _, path := range []string{"/nowhere", "/.git/config", "/debug/pprof/", "/static/", "/api/v1/nowhere", "/machines/../x", "/machines/nobody", "/api/v1/machines/nobody", "/machines/%00"} {
		rec := b.get(path)
		require.Equal(t, http.StatusNotFound, rec.Code, path)
		check(path, rec)
	}
	require.Equal(t, http.StatusMethodNotAllowed, b.ask(httptest.NewRequest(http.MethodTrace, "/", nil)).Code)
}

// TestReadingChangesNothing follows every link that any page has, and every GET
// of the table.
func TestReadingChangesNothing(t *testing.T) {
	b := worked(t)
	at := b.end()
	queue := []string{"/", "/o/" + b.token}
	for _, rt := range routes() {
		if rt.method == http.MethodGet && !ofPeople(rt) {
			queue = append(queue, b.address(rt.pattern))
		}
	}
	seen := map[string]bool{}
	for len(queue) > 0 {
		path := queue[0]
		queue = queue[1:]
		if seen[path] || len(seen) > 300 {
			continue
		}
		seen[path] = true
		rec := b.get(path)
		// What only a record has that was handed over or taken over is refused here.
		if !strings.HasSuffix(path, "/none") && !strings.HasSuffix(path, "/handed-over.zip") && !strings.HasSuffix(path, "/receipt.json") && !strings.Contains(path, "/transfer/") {
			require.Less(t, rec.Code, 400, path)
		}
		b.ask(httptest.NewRequest(http.MethodHead, path, nil))
		if !strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") {
			continue
		}
		page := readPage(t, rec.Body.String())
		for _, a := range page.all("a") {
			u, err := url.Parse(attr(a, "href"))
			require.NoError(t, err)
			require.Empty(t, u.Host, "%s leads away", path)
			if u.Path != "" {
				u.Fragment = ""
				queue = append(queue, u.String())
			}
		}
		for _, img := range page.all("img") {
			queue = append(queue, attr(img, "src"))
		}
		for _, f := range page.all("form", "method", "get") {
			queue = append(queue, attr(f, "action"))
		}
	}
	require.Greater(t, len(seen), 150, "the crawl reached the components")
	require.Equal(t, at, b.end())
}

func TestOtherHostsAreNotAnswered(t *testing.T) {
	b := drover(t)
	for host, want := range map[string]int{"127.0.0.1:8350": 200, "127.0.0.5": 200, "localhost:1": 200, "LOCALHOST": 200, "[::1]:8350": 200, "evil.example": 421, "127.0.0.1.evil.example:80": 421, "": 421, "192.168.1.7:8350": 421} {
		for _, path := range []string{"/healthz", "/api/v1/machines"} {
			r := httptest.NewRequest(http.MethodGet, path, nil)
			r.Host = host
			rec := httptest.NewRecorder()
			b.handler.ServeHTTP(rec, r)
			require.Equal(t, want, rec.Code, "%s at %q", path, host)
		}
	}
	b.s.host, b.s.Hosts = "registry.example", []string{"workshop.example"}
	for _, host := range []string{"registry.example", "workshop.example:8350"} {
		require.True(t, b.s.isOurHost(host))
	}
}

func TestOtherSitesCannotAct(t *testing.T) {
	b := drover(t)
	at := b.end()
	for _, header := range [][2]string{{"Sec-Fetch-Site", "cross-site"}, {"Origin", "http://evil.example"}} {
		for _, path := range []string{"/take-in", "/o/" + b.token + "/answer", "/api/v1/machines/drover-1957/records"} {
			r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(b.decision("approve").Encode()))
			r.Header.Set("Content-Type", formType)
			r.Header.Set(header[0], header[1])
			require.Equal(t, http.StatusForbidden, b.ask(r).Code, path)
		}
	}
	require.Equal(t, at, b.end())
}

func TestBodiesHaveLimits(t *testing.T) {
	b := drover(t)
	big := strings.Repeat("a", formLimit+1)
	require.Equal(t, http.StatusRequestEntityTooLarge, b.post("/take-in", "make="+big).Code)
	require.Equal(t, http.StatusRequestEntityTooLarge, b.post("/o/"+b.token+"/check", "reason="+big).Code)
	rec := b.send("/api/v1/machines/drover-1957/records", `"`+strings.Repeat("a", jsonLimit)+`"`, "If-Match", b.tag())
	require.Equal(t, http.StatusRequestEntityTooLarge, rec.Code)
	require.Contains(t, rec.Body.String(), "larger than 4 MB")
	deep := strings.Repeat("[", 100) + strings.Repeat("]", 100)
	require.Equal(t, http.StatusBadRequest, b.send("/api/v1/machines/drover-1957/records", deep, "If-Match", b.tag()).Code)
}

// TestEveryCodeHasAStatus walks the closed list of reasons.
func TestEveryCodeHasAStatus(t *testing.T) {
	for _, code := range registry.AllCodes() {
		row, ok := problemTable[code]
		require.True(t, ok, "the code %q has no status", code)
		require.GreaterOrEqual(t, row.status, 400)
		require.NotEmpty(t, row.title)
		require.NotEmpty(t, row.fix)
		p := problemOf(registry.Refuse(code, "", "It went wrong"), "r1")
		require.Equal(t, row.status, p.Status)
		require.Equal(t, problemBase+string(code), p.Type)
	}
	for code, row := range problemTable {
		require.NotEmpty(t, http.StatusText(row.status), code)
		require.Equal(t, row.status == http.StatusServiceUnavailable, row.retry > 0, "Retry-After of %s", code)
	}
}

func TestInternalErrorsKeepTheirSecrets(t *testing.T) {
	for _, err := range []error{errors.New("open /home/tamsin/registry.key"), registry.Refuse(registry.CodeInternal, "look in /home", "open /home/tamsin")} {
		p := problemOf(err, "r1")
		require.Equal(t, 500, p.Status)
		require.NotContains(t, p.Detail+p.Fix, "/home")
	}
}

func TestAPanicIsAnswered(t *testing.T) {
	b := newBench(t)
	m := chi.NewRouter()
	m.Use(b.s.observe, secure)
	m.Get("/boom", func(http.ResponseWriter, *http.Request) { panic("a secret value") })
	rec := httptest.NewRecorder()
	m.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/boom", nil))
	require.Equal(t, http.StatusInternalServerError, rec.Code)
	require.NotContains(t, rec.Body.String(), "secret")
	require.Contains(t, b.log.String(), "a secret value")
}

func TestTheServerHasDeadlines(t *testing.T) {
	h := NewHTTPServer("127.0.0.1:0", http.NotFoundHandler())
	require.NotZero(t, h.ReadHeaderTimeout)
	require.NotZero(t, h.ReadTimeout)
	require.NotZero(t, h.WriteTimeout)
	require.NotZero(t, h.IdleTimeout)
	require.Equal(t, 32<<10, h.MaxHeaderBytes)
}

func TestNewRefusesAHalfConfiguration(t *testing.T) {
	_, err := New(Config{})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	b := newBench(t)
	c := b.s.Config
	c.BaseURL = "ftp://x"
	_, err = New(c)
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}
