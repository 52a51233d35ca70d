package server

import (
	"bytes"
	"encoding/json"
	"math"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// fuzzShop is a machine in the middle of its job that many requests change. When it
// has grown long it begins again.
type fuzzShop struct {
	*bench
	begun int
}

func (s *fuzzShop) ready(t testing.TB) {
	if s.bench != nil {
		s.t = t
	}
	if s.bench == nil || int(s.end()) > s.begun+40 {
		s.bench = worked(t)
		s.begun = int(s.end())
	}
}

// filled is the path of a route in the worked example.
func filled(pattern string, b *bench) string {
	return strings.NewReplacer("{id}", "drover-1957", "{component}", "ignition.magneto", "{fault}", "magneto", "{option}", "external-condenser",
		"{part}", "old-condenser", "{opening}", "magneto-off", "{proposal}", b.proposal, "{token}", b.token, "{n}", "1", "{kind}", "film",
		"{method}", "gearing", "{digest}", b.photo, "{record}", "spark-warm", "{proposition}", "origin").Replace(pattern)
}

// routesThat are the patterns of the routes that a test asks for, in order.
func routesThat(ask func(route) bool) (out []route) {
	for _, rt := range routes() {
		if ask(rt) {
			out = append(out, rt)
		}
	}
	return out
}

// answered sends a request that may be anything. The program may refuse, and
// then nothing is recorded; it may not fail, and a page says one thing first.
func (s *fuzzShop) answered(t *testing.T, r *http.Request) *httptest.ResponseRecorder {
	t.Helper()
	before := s.end()
	s.clock.Add(60)
	rec := s.ask(r)
	if rec.Code == http.StatusInternalServerError {
		log := strings.TrimSpace(s.log.String())
		t.Fatalf("%s %s fails: %s", r.Method, r.URL, log[strings.LastIndex(log, "\n")+1:])
	}
	if rec.Code >= 400 || r.Method == http.MethodGet {
		require.Equal(t, before, s.end(), "%s %s answers %d and records", r.Method, r.URL, rec.Code)
	}
	kind := rec.Header().Get("Content-Type")
	switch {
	case strings.HasPrefix(kind, "text/html") && rec.Code/100 != 3:
		require.Equal(t, 1, strings.Count(rec.Body.String(), "<h1"), "%s %s", r.Method, r.URL)
	case strings.HasPrefix(kind, "application/problem+json"):
		var p Problem
		require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &p))
		require.Equal(t, rec.Code, p.Status)
		require.NotEmpty(t, p.Title)
	case strings.Contains(kind, "json") && !strings.Contains(kind, "jsonl"):
		require.True(t, json.Valid(rec.Body.Bytes()), "%s %s", r.Method, r.URL)
	}
	return rec
}

// shown are the forms of every page of the worked example, as a browser would
// send them back: by path, what they hold.
func shown(f *testing.F, b *bench) map[string][]url.Values {
	out := map[string][]url.Values{}
	for _, rt := range routesThat(func(rt route) bool { return rt.method == http.MethodGet && rt.api == nil }) {
		path := filled(rt.pattern, b)
		if strings.ContainsAny(path, "{*") {
			continue
		}
		rec := b.get(path)
		if rec.Code != http.StatusOK || !strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") {
			continue
		}
		for n := range readPage(f, rec.Body.String()).root.Descendants() {
			if n.Data != "form" || attr(n, "method") != "post" {
				continue
			}
			v := filledIn(n)
			at, _, _ := strings.Cut(attr(n, "action"), "?")
			if at == "" {
				at = path
			}
			out[at] = append(out[at], v)
		}
	}
	return out
}

// FuzzForms: whatever is sent in place of a form, in English or German, with or
// without a key, is answered; see answered.
func FuzzForms(f *testing.F) {
	var s fuzzShop
	s.ready(f)
	list := routesThat(func(rt route) bool { return rt.takes == formType || rt.takes == multipartType })
	forms := shown(f, s.bench)
	for i, rt := range list {
		for _, v := range forms[filled(rt.pattern, s.bench)] {
			f.Add(uint8(i), v.Encode(), i%2 == 0)
		}
		f.Add(uint8(i), "key=K&version=1&by=tamsin", true)
	}
	f.Fuzz(func(t *testing.T, which uint8, body string, german bool) {
		s.ready(t)
		rt := list[int(which)%len(list)]
		var r *http.Request
		if rt.takes == multipartType {
			values, err := url.ParseQuery(body)
			if err != nil {
				return
			}
			r = parted(t, filled(rt.pattern, s.bench), values, "")
		} else {
			r = httptest.NewRequest(http.MethodPost, filled(rt.pattern, s.bench), strings.NewReader(body))
			r.Header.Set("Content-Type", formType)
		}
		if german {
			r.Header.Set("Accept-Language", "de")
		}
		s.answered(t, r)
	})
}

// parted is a form as a browser sends it with files.
func parted(t *testing.T, path string, values url.Values, boundary string) *http.Request {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	if boundary != "" {
		require.NoError(t, w.SetBoundary(boundary))
	}
	for name, list := range values {
		for _, v := range list {
			if name == "camera" || name == "pictures" || name == "photos" {
				part, err := w.CreateFormFile(name, "a.jpg")
				require.NoError(t, err)
				_, _ = part.Write([]byte(v))
				continue
			}
			require.NoError(t, w.WriteField(name, v))
		}
	}
	require.NoError(t, w.Close())
	r := httptest.NewRequest(http.MethodPost, path, &b)
	r.Header.Set("Content-Type", w.FormDataContentType())
	return r
}

// FuzzAPI: whatever JSON, or none, is sent to the programs' interface.
func FuzzAPI(f *testing.F) {
	var s fuzzShop
	s.ready(f)
	list := routesThat(func(rt route) bool { return rt.api != nil && rt.takes == jsonType })
	for i, rt := range list {
		for _, body := range []string{`{}`, `{"record":"check","id":"c","what":"x","outcome":"passed","by":"tamsin"}`, `[{"record":"usage"}]`, `{"options":["rewind"],"record":true}`,
			`{"method":"gearing","component":"ignition.magneto","input":{}}`, `{"numbers":["1","2"],"make":"x"}`} {
			f.Add(uint8(i), []byte(body), "")
		}
		f.Add(uint8(i), []byte(rt.pattern), `"1"`)
	}
	f.Fuzz(func(t *testing.T, which uint8, body []byte, match string) {
		s.ready(t)
		r := httptest.NewRequest(http.MethodPost, filled(list[int(which)%len(list)].pattern, s.bench), bytes.NewReader(body))
		r.Header.Set("Content-Type", jsonType)
		if match != "" {
			r.Header["If-Match"] = []string{match}
		}
		s.answered(t, r)
	})
}

// FuzzQueries: whatever a page or the programs' interface is asked by a query,
// and in whatever language.
func FuzzQueries(f *testing.F) {
	var s fuzzShop
	s.ready(f)
	list := routesThat(func(rt route) bool {
		return rt.method == http.MethodGet && !strings.ContainsAny(filled(rt.pattern, s.bench), "{*") && !strings.HasSuffix(rt.pattern, "/events/follow")
	})
	for i, rt := range list {
		f.Add(uint16(i), "", "de-CH, en;q=0.5")
		if rt.api != nil && len(rt.api.query) > 0 {
			q := url.Values{}
			for _, p := range rt.api.query {
				q.Set(p.name, map[string]string{"integer": "1", "number": "0.5", "boolean": "true"}[p.kind])
			}
			f.Add(uint16(i), q.Encode(), "")
			f.Add(uint16(i), strings.ReplaceAll(q.Encode(), "0.5", "NaN"), "")
		}
	}
	at := uint16(slices.IndexFunc(list, func(rt route) bool { return rt.pattern == "/" }))
	f.Add(at, "q=rust+%22paint+bridge%22+cond*&index=substance&index_from=NaN&limit=100", "*")
	f.Add(at, "language=de&%zz", "en-GB;q=x")
	f.Fuzz(func(t *testing.T, which uint16, query, accept string) {
		s.ready(t)
		r := httptest.NewRequest(http.MethodGet, filled(list[int(which)%len(list)].pattern, s.bench), nil)
		r.URL.RawQuery = query
		r.Header["Accept-Language"] = []string{accept}
		r.Header["Cookie"] = []string{languageCookie + "=" + accept}
		rec := s.answered(t, r)
		if strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") && rec.Code/100 != 3 {
			require.True(t, strings.Contains(rec.Body.String(), `lang="en-GB"`) || strings.Contains(rec.Body.String(), `lang="de"`))
		}
	})
}

// FuzzJSON: what is taken as JSON is JSON for another reader too, in which no
// key stands twice; what is refused is malformed, and never for its content.
func FuzzJSON(f *testing.F) {
	for _, s := range []string{`{"a":1}`, `{"a":1,"a":2}`, `[1,2] 3`, strings.Repeat("[", 70) + strings.Repeat("]", 70), `{"a":{"b":[{"c":null}]}}`, `"\ud800"`, `1e999`, ``, `{"":1,"\u0000":2}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		err := checkJSON(data)
		if err == nil {
			require.True(t, json.Valid(data))
			var v any
			dec := json.NewDecoder(bytes.NewReader(data))
			dec.UseNumber()
			require.NoError(t, dec.Decode(&v))
			raw, err := json.Marshal(v)
			require.NoError(t, err)
			require.NoError(t, checkJSON(raw))
			return
		}
		require.Equal(t, codeMalformed, codeOf(err))
	})
}

// FuzzFigures: a number that is typed in either way of writing is finite, and
// what a form is filled in with is read as the same.
func FuzzFigures(f *testing.F) {
	for _, s := range []string{"1.5", "1,5", "1.234", "1.234,5", "1’234.5", "−2", "1e3", "NaN", "Inf", "0x1p4", "1_0", "1 1/8", "1-1/8", "1/0", "", "+", "1e400", "12.345.678"} {
		f.Add(s, 1234.5)
	}
	f.Fuzz(func(t *testing.T, given string, v float64) {
		for _, comma := range []bool{false, true} {
			in := &typed{comma: comma}
			for _, read := range []func(string) (float64, error){in.figure, in.fraction} {
				if v, err := read(given); err == nil {
					require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%q is read as %v", given, v)
				}
			}
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return
		}
		plain := shortNumber(v)
		got, err := (&typed{}).figure(plain)
		require.NoError(t, err, plain)
		require.Equal(t, v, got)
		got, err = (&typed{comma: true}).figure(commaFilledIn(plain))
		require.NoError(t, err, commaFilledIn(plain))
		require.Equal(t, v, got, commaFilledIn(plain))
	})
}

// FuzzSent: what waits on a phone is known again by its digest: with another
// boundary and without the version it is the same, with any other field it is
// another.
func FuzzSent(f *testing.F) {
	f.Add("key=K&there=there&note=a&version=3", "note", "b")
	f.Add("pictures=x&pictures=y&by=tamsin", "pictures", "z")
	f.Add("a=1&a=2", "version", "9")
	f.Fuzz(func(t *testing.T, form, name, value string) {
		values, err := url.ParseQuery(form)
		if err != nil || len(values) == 0 {
			return
		}
		digest := func(values url.Values, boundary string) (sent, bool) {
			got, err := readSentParts(parted(t, "/", values, boundary))
			if err != nil {
				require.Equal(t, codeMalformed, codeOf(err))
				return got, false
			}
			return got, true
		}
		first, ok := digest(values, "")
		if !ok {
			return
		}
		require.Equal(t, values.Get("key"), first.key)
		later := url.Values{}
		for k, v := range values {
			if k != "version" {
				later[k] = v
			}
		}
		again, ok := digest(later, "another-boundary")
		require.True(t, ok)
		require.Equal(t, first.digest, again.digest)
		if name == "version" || name == "" {
			return
		}
		later[name] = append(slices.Clone(later[name]), value)
		if changed, ok := digest(later, ""); ok {
			require.NotEqual(t, first.digest, changed.digest, "%q", name)
		}
	})
}
