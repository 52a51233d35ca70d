package cli

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// demoHouse is the demonstration, served without a network.
type demoHouse struct {
	t       *testing.T
	o       *opened
	handler http.Handler
	dir     string
	reports map[bool]*workshop.Report
	asked   map[string]bool // methods that the command has computed
}

// newDemoHouse tells the demonstration into a fresh folder.
func newDemoHouse(t *testing.T) *demoHouse {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "registry")
	status, _, failed := typed(dir, "", "demo", "--no-serve")
	require.Zero(t, status, failed)
	c := &call{app: &app{Env: Env{Stdin: strings.NewReader(""), Stdout: io.Discard, Stderr: io.Discard, Getenv: func(string) string { return "" }, Random: rand.Reader,
		Now: func() time.Time { return time.Date(2026, 6, 28, 12, 0, 0, 0, time.UTC) }}}, ctx: context.Background(), line: &commandLine{}}
	c.line.Dir = dir
	o, err := c.open()
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, o.store.Close()) })
	handler, err := c.handler(o, &way{}, slog.DiscardHandler)
	require.NoError(t, err)
	return &demoHouse{t, o, handler, dir, map[bool]*workshop.Report{}, map[string]bool{}}
}

// TestTheDemonstrationForABuyer reads the demonstration as a buyer would who
// believes nothing.
func TestTheDemonstrationForABuyer(t *testing.T) {
	h := newDemoHouse(t)
	for name, test := range map[string]func(*testing.T, *demoHouse){"story and sums": theStoryAndItsSums, "verify": theVerifyPage, "fork": theVerifyPageSeesAFork, "condition": theConditionReport} {
		t.Run(name, func(t *testing.T) { h.t = t; test(t, h) })
	}
}

func (h *demoHouse) ask(r *http.Request) *httptest.ResponseRecorder {
	r.Host = "127.0.0.1:8350"
	rec := httptest.NewRecorder()
	h.handler.ServeHTTP(rec, r)
	return rec
}

func (h *demoHouse) get(path string) string {
	h.t.Helper()
	rec := h.ask(httptest.NewRequest(http.MethodGet, path, nil))
	require.Equal(h.t, http.StatusOK, rec.Code, "%s: %s", path, rec.Body)
	return rec.Body.String()
}

var (
	sumLinks = regexp.MustCompile(`href="(/machines/drover/sum/[^"]+)"`)
	tags     = regexp.MustCompile(`<[^>]*>`)
)

// report is an edition of the demonstration's report, made once.
func (h *demoHouse) report(public bool) *workshop.Report {
	h.t.Helper()
	if h.reports[public] == nil {
		r, err := h.o.Report(context.Background(), "drover", workshop.ReportOptions{Public: public})
		require.NoError(h.t, err)
		h.reports[public] = r
	}
	return h.reports[public]
}

// secrets are what the demonstration's private edition holds and no public page
// may show.
func (h *demoHouse) secrets() []string {
	private := h.report(false)
	out := []string{"SD57-1138", "G59-S-0417", "Post box 7"}
	for _, p := range private.People {
		out = append(out, p.Name)
	}
	for _, p := range private.Photos {
		if p.Withheld {
			out = append(out, p.Caption, p.Preview, strings.TrimPrefix(p.Preview, "sha256:"))
		}
	}
	for _, p := range private.Removed {
		out = append(out, p.Place)
	}
	out = slices.DeleteFunc(out, func(s string) bool { return s == "" })
	require.Greater(h.t, len(out), 12, "the demonstration has names, numbers, places and withheld pictures")
	return out
}

// The buyer's page is the public edition: neither it nor any sum behind it
// shows a name, a whole number, a place or a withheld picture. Every figure
// opens its sum, and calc gives it again from what can be downloaded there.
func theStoryAndItsSums(t *testing.T, h *demoHouse) {
	secrets := h.secrets()
	hidden := func(path, page string) {
		for _, s := range secrets {
			require.NotContains(t, page, s, path)
		}
	}
	require.Contains(t, h.get("/machines/drover"), "SD57-1138", "the private page does show it, so that the search can fail")
	story := h.get("/machines/drover/story")
	hidden("the story", story)
	require.Less(t, len(story)+len(h.get("/static/asfound.css")), 150<<10)
	require.NotContains(t, strings.ToLower(story), "is safe")
	for _, said := range []string{"she painted round what she loved", "unapproved", "The horn always sounded like that.", "Speaks against", "T-04", "Known limits", "not passed", "What would settle it"} {
		require.Contains(t, story, said)
	}

	pages := []string{"/machines/drover", "/machines/drover/components/fuel.tank", "/machines/drover/components/tinware.rear-mudguard", "/machines/drover/options", "/machines/drover/plan",
		"/machines/drover/proposals/proposal-run", "/machines/drover/value?distance=21000&unit=mi&condition=2&option=tank-solder", "/machines/drover/faults/magneto"}
	seen, methods := map[string]bool{}, map[string]bool{}
	follow := func(page string, public bool) {
		for _, m := range sumLinks.FindAllStringSubmatch(page, -1) {
			path := strings.ReplaceAll(m[1], "&amp;", "&")
			if seen[path] {
				continue
			}
			seen[path] = true
			require.Equal(t, public, strings.Contains(path, "public=1"), path)
			sum := h.get(path)
			require.Less(t, len(sum), 150<<10, path)
			if public {
				hidden(path, sum)
			}
			methods[h.again(path, sum, public, secrets)] = true
		}
	}
	follow(story, true)
	require.Greater(t, len(seen), 100, "the story opens the sum of every figure by evidence")
	for _, p := range pages {
		follow(h.get(p), false)
	}
	for _, m := range []string{"origin/1", "index/1", "effect/1", "cost/1", "value/1", "plan/1", "risk/1", "leave/1", "wait/1", "faults/1", "next/1"} {
		require.True(t, methods[m], "no page opened a sum of %s; opened were %v", m, methods)
	}
}

// again downloads what went into a figure, computes it by the command, and
// holds the result against what the figure says. It gives the method.
func (h *demoHouse) again(path, sum string, public bool, secrets []string) string {
	h.t.Helper()
	command := regexp.MustCompile(`asfound calc ([a-z]+/\d+) &lt; `).FindStringSubmatch(sum)
	require.NotNil(h.t, command, path)
	file := regexp.MustCompile(`href="([^"]+)" download=`).FindStringSubmatch(sum)
	require.NotNil(h.t, file, path)
	input := h.get(strings.ReplaceAll(file[1], "&amp;", "&"))
	if public {
		for _, s := range secrets {
			require.NotContains(h.t, input, s, path)
		}
	}
	out := h.calc(command[1], input)
	report := h.report(public)
	id, _, _ := strings.Cut(strings.TrimPrefix(path, "/machines/drover/sum/"), "?")
	same := func(shown any) {
		raw, err := json.Marshal(shown)
		require.NoError(h.t, err)
		a, err := registry.CanonicalJSON(json.RawMessage(raw))
		require.NoError(h.t, err)
		b, err := registry.CanonicalJSON(json.RawMessage(out))
		require.NoError(h.t, err)
		require.Equal(h.t, string(a), string(b), path)
	}
	switch kind, rest, _ := strings.Cut(id, ":"); kind {
	case "index":
		report.Indices.Each(func(name string, x *workshop.IndexReport) {
			switch rest {
			case name:
				same(x.Now)
			case name + ":back":
				same(x.Recoverable)
			}
		})
	case "origin", "finish", "specification":
		var c *workshop.ComponentReport
		for g := range report.Groups {
			for i := range report.Groups[g].Components {
				if report.Groups[g].Components[i].ID == rest {
					c = &report.Groups[g].Components[i]
				}
			}
		}
		require.NotNil(h.t, c, path)
		var result struct{ Posterior map[string]float64 }
		require.NoError(h.t, json.Unmarshal([]byte(out), &result))
		for _, a := range c.Claims() {
			if string(a.Proposition) == kind && a.Basis == "evidence" {
				for _, e := range a.Posterior {
					require.Equal(h.t, e.Value, result.Posterior[e.Key], "%s %s", path, e.Key)
				}
			}
		}
	default:
		f, err := h.o.Figure(context.Background(), report, id)
		if err == nil { // figures of a question are computed on their page
			same(f.Result)
		}
	}
	return command[1]
}

// calc computes by the command, the first time that a method is asked for, and
// by the interface for programs from then on, which is quicker.
func (h *demoHouse) calc(method, input string) string {
	h.t.Helper()
	if h.asked[method] {
		base, _, _ := strings.Cut(method, "/")
		r := httptest.NewRequest(http.MethodPost, "/api/v1/calc/"+base, strings.NewReader(input))
		r.Header.Set("Content-Type", "application/json")
		rec := h.ask(r)
		require.Equal(h.t, http.StatusOK, rec.Code, rec.Body)
		require.Equal(h.t, method, rec.Header().Get("Asfound-Method"))
		return rec.Body.String()
	}
	h.asked[method] = true
	status, out, failed := typed(h.dir, input, "calc", method)
	require.Zero(h.t, status, failed)
	return out
}

// send posts the form of the verify page.
func (h *demoHouse) send(bundle []byte, texts map[string]string, older []byte) (int, string) {
	h.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	put := func(name string, data []byte) {
		part, err := w.CreateFormFile(name, name+".zip")
		require.NoError(h.t, err)
		_, err = part.Write(data)
		require.NoError(h.t, err)
	}
	if bundle != nil {
		put("bundle", bundle)
	}
	if older != nil {
		put("older", older)
	}
	for k, v := range texts {
		require.NoError(h.t, w.WriteField(k, v))
	}
	require.NoError(h.t, w.Close())
	r := httptest.NewRequest(http.MethodPost, "/verify", &b)
	r.Header.Set("Content-Type", w.FormDataContentType())
	rec := h.ask(r)
	require.NotContains(h.t, rec.Body.String(), "zip:", "no message of a library")
	require.NotContains(h.t, rec.Body.String(), "json:")
	if key := texts["expected"]; rec.Code == http.StatusUnprocessableEntity {
		require.Contains(h.t, rec.Body.String(), `value="`+key+`"`, "what was typed stays")
	}
	return rec.Code, strings.Join(strings.Fields(tags.ReplaceAllString(rec.Body.String(), " ")), " ")
}

// repacked is a bundle with one file changed, packed as it was.
func repacked(t *testing.T, bundle []byte, change func(name string, data []byte) []byte) []byte {
	t.Helper()
	r, err := zip.NewReader(bytes.NewReader(bundle), int64(len(bundle)))
	require.NoError(t, err)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, f := range r.File {
		in, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(in)
		require.NoError(t, err)
		if data = change(f.Name, data); data == nil {
			continue
		}
		head := f.FileHeader
		out, err := w.CreateHeader(&zip.FileHeader{Name: head.Name, Method: zip.Store, Modified: head.Modified})
		require.NoError(t, err)
		_, err = out.Write(data)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

func theVerifyPage(t *testing.T, h *demoHouse) {
	t.Setenv("TMPDIR", t.TempDir())
	read := func(name string) []byte {
		data, err := os.ReadFile(filepath.Join(h.dir, "dossiers", name))
		require.NoError(t, err)
		return data
	}
	good, older := read("drover-public.zip"), read("drover-at-decision.zip")
	fingerprint := dossier.Fingerprint(h.o.verifier)
	temporary := func() int {
		found, err := filepath.Glob(filepath.Join(os.TempDir(), "asfound-verify-*"))
		require.NoError(t, err)
		return len(found)
	}
	before := temporary()
	checkpoint := ""
	repacked(t, older, func(name string, data []byte) []byte {
		if name == "checkpoint.txt" {
			checkpoint = string(data)
		}
		return data
	})
	at := bytes.Index(good, []byte("Condenser fitted outside"))
	require.Positive(t, at)
	flipped := slices.Clone(good)
	flipped[at] = 'K'
	cases := []struct {
		name   string
		bundle []byte
		texts  map[string]string
		older  []byte
		status int
		says   []string
		never  []string
	}{
		{name: "good", bundle: good, status: 200, says: []string{"Unchanged since it was signed. Who signed it, you must still find out.", fingerprint, "It is not proved that what was written is true", "62 components are told as original", "Skerrow Engineering", "Invented demonstration data"}, never: []string{"CHANGED", "Imogen", "SD57-1138"}},
		{name: "fingerprint", bundle: good, texts: map[string]string{"expected": strings.ToUpper(fingerprint)}, status: 200, says: []string{"every byte is as the registry that you know made and signed it", "the key that you expect"}},
		{name: "key", bundle: good, texts: map[string]string{"expected": h.o.verifier}, status: 200, says: []string{"that you know made and signed it"}},
		{name: "other fingerprint", bundle: good, texts: map[string]string{"expected": "0123 4567 89ab cdef"}, status: 200, says: []string{"CHANGED: do not rely on it", "another registry has made this bundle, or a forger"}, never: []string{"Skerrow Engineering Drover 350, 1957"}},
		{name: "no key", bundle: good, texts: map[string]string{"expected": "hello", "checkpoint": checkpoint}, status: 422, says: []string{"neither a public key nor a fingerprint", "/drover " + strings.Split(checkpoint, "\n")[1]}},
		{name: "an event", bundle: flipped, status: 200, says: []string{"CHANGED: do not rely on it", "(work)", "was changed after it was written"}, never: []string{"What the bundle says of the machine"}},
		{name: "a picture", bundle: repacked(t, good, func(name string, data []byte) []byte {
			if strings.HasPrefix(name, "photos/") {
				data = append(slices.Clone(data[:len(data)-2]), 0, 0)
			}
			return data
		}), status: 200, says: []string{"CHANGED", "failed Each picture is the one that was recorded", "photos/"}},
		{name: "an event left out", bundle: repacked(t, good, func(name string, data []byte) []byte {
			if name == "events.jsonl" {
				lines := bytes.SplitAfter(data, []byte("\n"))
				data = bytes.Join(slices.Delete(lines, 200, 201), nil)
			}
			return data
		}), status: 200, says: []string{"CHANGED", "failed The history is whole and in order"}},
		{name: "a file left out", bundle: repacked(t, good, func(name string, data []byte) []byte {
			if name == "checkpoint.txt" {
				return nil
			}
			return data
		}), status: 200, says: []string{"CHANGED", "checkpoint.txt"}},
		{name: "not a zip", bundle: []byte("%PDF-1.4 and so on"), status: 200, says: []string{"Not a bundle", "It is a PDF, which is the dossier to read"}},
		{name: "cut short", bundle: good[:len(good)/2], status: 200, says: []string{"Not a bundle", "it was cut short"}},
		{name: "nothing", status: 422, says: []string{"Choose the bundle"}},
		{name: "continues", bundle: good, older: older, status: 200, says: []string{"Unchanged", "passed It continues the older copy", "The older copy ends with event"}},
		{name: "the wrong way round", bundle: older, older: good, status: 200, says: []string{"CHANGED", "failed It continues the older copy", "the wrong way round"}},
		{name: "continues a checkpoint", bundle: good, texts: map[string]string{"checkpoint": strings.ReplaceAll(checkpoint, "\n", "\r\n")}, status: 200, says: []string{"Unchanged", "passed It continues the older copy"}},
		{name: "a forged checkpoint", bundle: good, texts: map[string]string{"checkpoint": strings.Replace(checkpoint, "\n2", "\n1", 1)}, status: 200, says: []string{"CHANGED", "the earlier checkpoint", "has not signed it"}},
		{name: "no checkpoint", bundle: good, texts: map[string]string{"checkpoint": "hello"}, status: 200, says: []string{"It is not the text of a checkpoint"}},
		{name: "both", bundle: good, older: older, texts: map[string]string{"checkpoint": checkpoint}, status: 422, says: []string{"and not both"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			status, text := h.send(c.bundle, c.texts, c.older)
			require.Equal(t, c.status, status, text)
			for _, s := range c.says {
				require.Contains(t, text, s)
			}
			for _, s := range c.never {
				require.NotContains(t, text, s)
			}
		})
	}
	require.Equal(t, before, temporary(), "nothing that was sent is kept")
}

// A registry that signed two histories of one machine is caught by either.
func theVerifyPageSeesAFork(t *testing.T, h *demoHouse) {
	bundle := func() []byte {
		var b bytes.Buffer
		require.NoError(t, h.o.writeBundle(context.Background(), &b, "drover", true, false))
		return b.Bytes()
	}
	good := bundle()
	events, err := h.o.Events(context.Background(), "drover")
	require.NoError(t, err)
	// The same registry signs a shorter history with another ending.
	last, err := registry.DecodeEvent(events[len(events)-2])
	require.NoError(t, err)
	require.NotEmpty(t, last.ID)
	check, err := dossier.SignCheckpoint(dossier.Checkpoint{Origin: dossier.KeyName(h.o.verifier) + "/drover", Size: int64(len(events) - 1), Root: "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="}, h.o.signer)
	require.NoError(t, err)
	status, text := h.send(good, map[string]string{"checkpoint": string(check)}, nil)
	require.Equal(t, 200, status)
	require.Contains(t, text, "The history is forked")
	require.Contains(t, text, "CHANGED")
}

func theConditionReport(t *testing.T, h *demoHouse) {
	public, private := h.get("/machines/drover/condition.pdf?edition=public"), h.get("/machines/drover/condition.pdf")
	require.True(t, strings.HasPrefix(public, "%PDF-"))
	require.NotEqual(t, public, private)
	require.Equal(t, public, h.get("/machines/drover/condition.pdf?edition=public"), "the same record gives the same bytes")
}
