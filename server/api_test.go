package server

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"github.com/go-chi/chi/v5"
	"github.com/santhosh-tekuri/jsonschema/v5"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

const machineAPI = "/api/v1/machines/drover-1957"

// tag is the machine's ETag.
func (b *bench) tag() string { return versionTag(b.load().Version()) }

func problemIn(t *testing.T, rec *httptest.ResponseRecorder) Problem {
	t.Helper()
	require.Equal(t, "application/problem+json", rec.Header().Get("Content-Type"), rec.Body.String())
	var p Problem
	dec := json.NewDecoder(rec.Body)
	dec.DisallowUnknownFields()
	require.NoError(t, dec.Decode(&p))
	require.Equal(t, rec.Code, p.Status)
	require.Equal(t, rec.Header().Get("X-Request-Id"), p.Instance)
	require.True(t, strings.HasPrefix(p.Type, problemBase))
	require.NotEmpty(t, p.Detail)
	require.NotEmpty(t, p.Fix)
	return p
}

// document is the OpenAPI document as any reader would see it.
func document(t *testing.T, b *bench) map[string]any {
	t.Helper()
	rec := b.get("/api/v1/openapi.json")
	require.Equal(t, http.StatusOK, rec.Code)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &doc))
	return doc
}

// TestRouterAndDocumentAgree compares the router's own walk with the OpenAPI
// document, both ways.
func TestRouterAndDocumentAgree(t *testing.T) {
	b := newBench(t)
	doc := document(t, b)
	require.Equal(t, "3.1.0", doc["openapi"])
	written := map[string]bool{}
	ids := map[string]bool{}
	for path, methods := range doc["paths"].(map[string]any) {
		for method, op := range methods.(map[string]any) {
			written[strings.ToUpper(method)+" "+path] = true
			id := op.(map[string]any)["operationId"].(string)
			require.False(t, ids[id], "the operation %q stands twice", id)
			ids[id] = true
			require.NotEmpty(t, op.(map[string]any)["summary"])
		}
	}
	walked := map[string]bool{}
	require.NoError(t, chi.Walk(b.handler.(chi.Router), func(method, path string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if isAPI(path) {
			walked[method+" "+path] = true
		}
		return nil
	}))
	require.Equal(t, walked, written)
	require.Len(t, walked, 46)
	for name := range doc["components"].(map[string]any)["schemas"].(map[string]any) {
		require.Regexp(t, `^[a-zA-Z0-9._-]+$`, name, "OpenAPI 3.1, Components Object: validators refuse the whole document otherwise")
	}
}

// schemaAt compiles one schema of the document.
func schemaAt(t *testing.T, b *bench, pointer string) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.Draft = jsonschema.Draft2020
	require.NoError(t, c.AddResource("https://example.org/openapi.json", strings.NewReader(b.get("/api/v1/openapi.json").Body.String())))
	s, err := c.Compile("https://example.org/openapi.json#" + pointer)
	require.NoError(t, err, pointer)
	return s
}

func escaped(path string) string {
	return strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D").Replace(path)
}

// TestExamplesAndAnswersFitTheDocument sends every example of the document and
// holds bodies and answers against its schemas.
func TestExamplesAndAnswersFitTheDocument(t *testing.T) {
	b := newBench(t)
	fits := func(pointer string, body []byte) {
		t.Helper()
		var v any
		require.NoError(t, json.Unmarshal(body, &v))
		require.NoError(t, schemaAt(t, b, pointer).Validate(v), "%s: %s", pointer, body)
	}
	send := func(path, pattern, example, status string, headers ...string) []byte {
		t.Helper()
		b.clock.Add(60)
		fits("/paths/"+escaped(pattern)+"/post/requestBody/content/application~1json/schema", []byte(example))
		rec := b.send(path, example, headers...)
		require.Equal(t, status, itoa(rec.Code), rec.Body.String())
		if rec.Code < 400 && pattern != "/api/v1/calc/{method}" {
			fits("/paths/"+escaped(pattern)+"/post/responses/"+status+"/content/application~1json/schema", rec.Body.Bytes())
		}
		return rec.Body.Bytes()
	}
	send("/api/v1/machines", "/api/v1/machines", exampleTakeIn, "201")
	fits("/components/schemas/Problem", send("/api/v1/machines", "/api/v1/machines", exampleTakeIn, "409"))
	one := "/api/v1/machines/{id}"
	send(machineAPI+"/records", one+"/records", exampleRecords, "201", "If-Match", b.tag())
	send(machineAPI+"/records", one+"/records", `{"record":"survey","component":"fuel.tank","origin":"original","by":"custodian"}`, "201", "If-Match", b.tag())
	send(machineAPI+"/survey-seal", one+"/survey-seal", `{"by":"custodian"}`, "201", "If-Match", b.tag())
	send(machineAPI+"/weighings", one+"/weighings", `{"options":["leave-it"],"record":false}`, "200")
	send(machineAPI+"/bench-evidence", one+"/bench-evidence", exampleBenchEvidence, "201", "If-Match", b.tag())
	send("/api/v1/calc/origin", "/api/v1/calc/{method}", exampleOrigin, "200")
	proposed := send(machineAPI+"/proposals", one+"/proposals", exampleProposal, "201", "If-Match", b.tag())
	require.Contains(t, string(proposed), `"link":"http://127.0.0.1:8350/o/`)

	// The examples above are those of the table.
	for _, rt := range routes() {
		if rt.api != nil && rt.takes == jsonType {
			require.NotEmpty(t, rt.api.example, rt.pattern)
		}
	}
	full := worked(t)
	for path, pattern := range map[string]string{"/api/v1/machines": "/api/v1/machines", machineAPI: one, machineAPI + "/components/ignition.magneto": one + "/components/{component}"} {
		rec := full.get(path)
		require.Equal(t, http.StatusOK, rec.Code)
		fits("/paths/"+escaped(pattern)+"/get/responses/200/content/application~1json/schema", rec.Body.Bytes())
	}
}

func TestIfMatchGuardsTheRecord(t *testing.T) {
	b := drover(t)
	body := `{"record":"fault","id":"horn","complaint":"It croaks.","components":["electrical.horn"],"by":"tamsin"}`
	at := b.end()
	for _, path := range []string{"/records", "/survey-seal", "/proposals"} {
		rec := b.send(machineAPI+path, body)
		require.Equal(t, http.StatusPreconditionRequired, rec.Code, path)
		require.Equal(t, problemBase+"version-required", problemIn(t, rec).Type)
		rec = b.send(machineAPI+path, body, "If-Match", `"1"`)
		require.Equal(t, http.StatusPreconditionFailed, rec.Code, path)
		require.Equal(t, problemBase+"stale", problemIn(t, rec).Type)
		require.Equal(t, http.StatusPreconditionFailed, b.send(machineAPI+path, body, "If-Match", "W/"+b.tag()).Code, "only strong tags count")
	}
	require.Equal(t, http.StatusPreconditionRequired, b.send(machineAPI+"/weighings", `{"options":[],"record":true}`).Code)
	require.Equal(t, at, b.end())

	rec := b.send(machineAPI+"/records", body, "If-Match", b.tag())
	require.Equal(t, http.StatusCreated, rec.Code, rec.Body.String())
	require.Equal(t, b.tag(), rec.Header().Get("ETag"))
	read := b.get(machineAPI)
	require.Equal(t, b.tag(), read.Header().Get("ETag"))
	r := httptest.NewRequest(http.MethodGet, machineAPI, nil)
	r.Header.Set("If-None-Match", b.tag())
	require.Equal(t, http.StatusNotModified, b.ask(r).Code)
}

// TestTwoWritersOneWins: both saw the same version.
func TestTwoWritersOneWins(t *testing.T) {
	b := drover(t)
	tag := b.tag()
	var wait sync.WaitGroup
	codes := make([]int, 8)
	for i := range codes {
		wait.Go(func() {
			r := httptest.NewRequest(http.MethodPost, machineAPI+"/records", strings.NewReader(`{"record":"fault","complaint":"It croaks.","components":["electrical.horn"],"by":"tamsin"}`))
			r.Header.Set("Content-Type", jsonType)
			r.Header.Set("If-Match", tag)
			r.Host = "localhost"
			rec := httptest.NewRecorder()
			b.handler.ServeHTTP(rec, r)
			codes[i] = rec.Code
		})
	}
	wait.Wait()
	won := 0
	for _, code := range codes {
		if code == http.StatusCreated {
			won++
		} else {
			require.Equal(t, http.StatusPreconditionFailed, code)
		}
	}
	require.Equal(t, 1, won)
}

func TestIdempotencyKeys(t *testing.T) {
	b := drover(t)
	body := `{"record":"fault","complaint":"It croaks.","components":["electrical.horn"],"by":"tamsin"}`
	tag := b.tag()
	version := b.load().Version()
	first := b.send(machineAPI+"/records", body, "If-Match", tag, keyHeader, "k1")
	require.Equal(t, http.StatusCreated, first.Code)
	again := b.send(machineAPI+"/records", body, "If-Match", tag, keyHeader, "k1")
	require.Equal(t, http.StatusCreated, again.Code, "a retry with the old tag gets the first answer")
	require.Equal(t, first.Body.String(), again.Body.String())
	require.Equal(t, version+1, b.load().Version())
	other := b.send(machineAPI+"/records", strings.Replace(body, "croaks", "sings", 1), "If-Match", tag, keyHeader, "k1")
	require.Equal(t, http.StatusUnprocessableEntity, other.Code)
	require.Equal(t, problemBase+"key-reused", problemIn(t, other).Type)

	bad := b.send(machineAPI+"/records", `{"record":"fault"}`, "If-Match", b.tag(), keyHeader, "k2")
	require.Equal(t, http.StatusUnprocessableEntity, bad.Code)
	mended := b.send(machineAPI+"/records", body, "If-Match", b.tag(), keyHeader, "k2")
	require.Equal(t, http.StatusCreated, mended.Code, "a refusal does not use the key up")

	proposal := strings.NewReplacer("custodian", "tamsin", `"owner"`, `"imogen"`, "2027", "2026", "01-31", "03-31").Replace(exampleProposal)
	tag = b.tag()
	one := b.send(machineAPI+"/proposals", proposal, "If-Match", tag, keyHeader, "k3")
	require.Equal(t, http.StatusCreated, one.Code, one.Body.String())
	require.Equal(t, "no-store", one.Header().Get("Cache-Control"))
	two := b.send(machineAPI+"/proposals", proposal, "If-Match", tag, keyHeader, "k3")
	require.Equal(t, one.Body.String(), two.Body.String())
	b.clock.Add(3600)
	require.NotEqual(t, http.StatusCreated, b.send(machineAPI+"/proposals", proposal, "If-Match", tag, keyHeader, "k3").Code, "the link is not kept for long")
}

func TestRecordsAreAllOrNothing(t *testing.T) {
	b := drover(t)
	version := b.load().Version()
	rec := b.send(machineAPI+"/records", `[{"record":"fault","id":"a","complaint":"It croaks.","components":["electrical.horn"],"by":"tamsin"},
		{"record":"fault","id":"b","complaint":3,"components":["electrical.horn"],"by":"tamsin"},{"record":"wheel"},{"record":"fault","by":"tamsin","colour":"red"}]`, "If-Match", b.tag())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	p := problemIn(t, rec)
	pointers := map[string]bool{}
	for _, f := range p.Errors {
		pointers[f.Pointer] = true
	}
	require.True(t, pointers["/1/complaint"], "%v", pointers)
	require.True(t, pointers["/2/record"], "%v", pointers)
	require.Equal(t, version, b.load().Version())

	refused := b.send(machineAPI+"/records", `[{"record":"fault","id":"a","complaint":"It croaks.","components":["electrical.horn"],"by":"tamsin"},{"record":"opened","opening":"magneto-off","by":"tamsin"}]`, "If-Match", b.tag())
	require.Equal(t, http.StatusConflict, refused.Code)
	require.Equal(t, problemBase+"not-approved", problemIn(t, refused).Type)
	require.Equal(t, version, b.load().Version())
}

func TestWhatCannotBeRead(t *testing.T) {
	b := drover(t)
	for body, want := range map[string]int{`{"record":`: 400, `{"record":"fault","record":"fault"}`: 400, `{} {}`: 400, `[]`: 422, `7`: 422, ``: 400} {
		rec := b.send(machineAPI+"/records", body, "If-Match", b.tag())
		require.Equal(t, want, rec.Code, body)
		problemIn(t, rec)
	}
	rec := b.send("/api/v1/machines", `{"machine":"x","by":"y","records":[],"colour":"red"}`)
	require.Equal(t, http.StatusBadRequest, rec.Code)
	require.Contains(t, problemIn(t, rec).Detail, "colour")

	r := httptest.NewRequest(http.MethodPost, machineAPI+"/records", strings.NewReader("{}"))
	r.Header.Set("Content-Type", "text/plain")
	require.Equal(t, http.StatusUnsupportedMediaType, b.ask(r).Code)
	r = httptest.NewRequest(http.MethodGet, machineAPI, nil)
	r.Header.Set("Accept", "text/html")
	rec = b.ask(r)
	require.Equal(t, http.StatusNotAcceptable, rec.Code)
	problemIn(t, rec)
	r = httptest.NewRequest(http.MethodDelete, machineAPI, nil)
	rec = b.ask(r)
	require.Equal(t, http.StatusMethodNotAllowed, rec.Code)
	require.Equal(t, "GET, HEAD", rec.Header().Get("Allow"))
	problemIn(t, rec)
	require.Equal(t, http.StatusNotFound, b.get("/api/v1/machines/nobody").Code)
	require.Equal(t, http.StatusNotFound, b.get(machineAPI+"/components/wing").Code)
	require.Equal(t, http.StatusUnprocessableEntity, b.get(machineAPI+"?as_of=soon").Code)
	require.Equal(t, http.StatusNotFound, b.get("/api/v1/schemas/..%2fgo.mod").Code)
}

func TestPagingLosesNothing(t *testing.T) {
	b := newBench(t)
	for _, name := range []string{"a", "b", "c", "d", "e"} {
		require.Equal(t, http.StatusCreated, b.send("/api/v1/machines", strings.Replace(exampleTakeIn, "drover-1957", name, 1)).Code)
	}
	var got []string
	next := "/api/v1/machines?limit=2"
	for next != "" {
		rec := b.get(next)
		var page MachineList
		require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &page))
		for _, m := range page.Machines {
			got = append(got, m.ID)
		}
		link := rec.Header().Get("Link")
		next = ""
		if link != "" {
			require.True(t, strings.HasSuffix(link, `>; rel="next"`))
			next = strings.TrimSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`)
		}
		if len(got) == 2 {
			require.Equal(t, http.StatusCreated, b.send("/api/v1/machines", strings.Replace(exampleTakeIn, "drover-1957", "aa", 1)).Code, "inserted while paging")
		}
	}
	require.Equal(t, []string{"a", "b", "c", "d", "e"}, got)
	require.Equal(t, http.StatusUnprocessableEntity, b.get("/api/v1/machines?limit=0").Code)
}

func TestEventsAreTheStoredBytes(t *testing.T) {
	b := drover(t)
	stored, err := b.w.Events(t.Context(), "drover-1957")
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSuffix(b.get(machineAPI+"/events").Body.String(), "\n"), "\n")
	require.Len(t, lines, len(stored))
	var h registry.History
	for i, line := range lines {
		require.Equal(t, string(stored[i]), line)
		_, err := h.Add([]byte(line))
		require.NoError(t, err)
	}
	rest := b.get(machineAPI + "/events?after=" + itoa(len(stored)-2)).Body.String()
	require.Equal(t, 2, strings.Count(rest, "\n"))
}

func TestPhotosThroughTheAPI(t *testing.T) {
	b := drover(t)
	original := picture(300, 200)
	rec := b.ask(uploaded(t, machineAPI+"/photos", map[string]string{"photo": `{"id":"tank-left","shows":"general","components":["fuel.tank"],"by":"tamsin"}`}, "file", "tank.jpg", original))
	require.Equal(t, http.StatusCreated, rec.Code, rec.Body.String())
	photo, ok := registry.Get[*registry.Photo](b.load(), "tank-left")
	require.True(t, ok)
	require.Equal(t, 300, photo.Record.Width)
	read := b.get("/api/v1/photos/" + photo.Record.Digest)
	require.Equal(t, original, read.Body.Bytes())
	require.Contains(t, read.Header().Get("Content-Disposition"), "attachment")
	require.Equal(t, "application/octet-stream", read.Header().Get("Content-Type"))
	other := b.ask(uploaded(t, machineAPI+"/photos", map[string]string{"photo": `{"shows":"general","by":"tamsin","digest":"` + photo.Record.Digest + `"}`}, "file", "x.jpg", picture(30, 20)))
	require.Equal(t, http.StatusInternalServerError, other.Code, "other bytes than announced")
	require.Equal(t, problemBase+"tampered", problemIn(t, other).Type)
}

func TestFilesAndFigures(t *testing.T) {
	b := drover(t)
	pdf := b.get(machineAPI + "/dossier.pdf?edition=public")
	require.Equal(t, "%PDF drover-1957 true", pdf.Body.String())
	require.Equal(t, `attachment; filename="drover-1957-public.pdf"`, pdf.Header().Get("Content-Disposition"))
	require.Equal(t, "PK drover-1957 false", b.get("/machines/drover-1957/bundle.zip").Body.String())
	require.Equal(t, http.StatusUnprocessableEntity, b.get(machineAPI+"/bundle.zip?edition=secret").Code)

	rec := b.send("/api/v1/calc/origin", exampleOrigin)
	require.Equal(t, http.StatusOK, rec.Code)
	require.Equal(t, "origin/1", rec.Header().Get("Asfound-Method"))
	require.Contains(t, rec.Body.String(), `"posterior":{"original":0.9`)
	rec = b.send("/api/v1/calc/thread", `{"od_mm":6.27,"tpi":26}`)
	require.Equal(t, http.StatusOK, rec.Code, "the catalog gives the table")
	require.Contains(t, rec.Body.String(), `"verdict":"cannot tell"`)
	require.Equal(t, http.StatusNotFound, b.send("/api/v1/calc/luck", `{}`).Code)
	rec = b.send("/api/v1/calc/origin", `{"states":["a"],"prior":[2]}`)
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.NotEmpty(t, problemIn(t, rec).Errors)

	r := httptest.NewRequest(http.MethodPost, "/api/v1/verify", strings.NewReader("PK"))
	r.Header.Set("Content-Type", "application/zip")
	require.JSONEq(t, `{"bytes":2}`, b.ask(r).Body.String())
	// What was sent is at fault then, not what is stored here.
	given := b.s.Verify
	b.s.Verify = func(context.Context, io.ReaderAt, int64) (any, error) {
		return nil, registry.Refuse(registry.CodeTampered, "", "It is no bundle")
	}
	r = httptest.NewRequest(http.MethodPost, "/api/v1/verify", strings.NewReader("no zip"))
	r.Header.Set("Content-Type", "application/zip")
	rec = b.ask(r)
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "It is no bundle")
	b.s.Verify = given

	schema := b.get("/api/v1/schemas/survey.v1.schema.json")
	require.Equal(t, "application/schema+json", schema.Header().Get("Content-Type"))
	require.Contains(t, schema.Body.String(), "2020-12")

	b.s.PDF, b.s.Verify = nil, nil
	require.Equal(t, http.StatusNotImplemented, b.get(machineAPI+"/dossier.pdf").Code)
}

func TestDamageIsNeverNotFound(t *testing.T) {
	b := drover(t)
	photo, _ := registry.Get[*registry.Photo](b.load(), "photo-magneto")
	b.w.Photos.(interface{ Damage(string) }).Damage(photo.Record.Digest)
	rec := b.get("/api/v1/photos/" + photo.Record.Digest)
	require.Equal(t, http.StatusInternalServerError, rec.Code)
	require.Equal(t, problemBase+"tampered", problemIn(t, rec).Type)
}

// A misspelt parameter is not passed over: the private edition would go out in
// place of the public one.
func TestAMisspeltParameterIsRefused(t *testing.T) {
	b := worked(t)
	rec := b.get("/api/v1/machines/drover-1957?pubic=true")
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "as_of, known_at, public")
	require.Equal(t, http.StatusUnprocessableEntity, b.get("/api/v1/machines/drover-1957/parts?years=3").Code)
	var list SchemaList
	require.NoError(t, json.Unmarshal(b.get("/api/v1/schemas").Body.Bytes(), &list))
	require.Contains(t, list.Schemas, "survey.v1.schema.json")
}
