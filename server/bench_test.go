package server

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// asked is the page of a question, however it is sent.
func (b *bench) asked(kind string, q url.Values) (int, parsed) {
	b.t.Helper()
	k, err := benchKindOf(kind)
	require.NoError(b.t, err)
	var rec = b.get("/bench/" + kind + "?" + q.Encode())
	if k.private {
		rec = b.post("/bench/"+kind, q.Encode())
	}
	page := readPage(b.t, rec.Body.String())
	page.landmarks()
	return rec.Code, page
}

// What each page answers, by published or worked examples: threads of BS 84 and
// BS 811, the dynamo of 3/57, tyre 127, the film of a mudguard, a number with its
// check digit (49 CFR 565), two lists by Chapman, plane geometry, and published
// rules by their own numbers.
func TestTheBenchAnswers(t *testing.T) {
	b := drover(t)
	at := b.end()
	film := url.Values{"unit": {"µm"}, "instrument": {"gauge 1"}, "reference_id": {"under the saddle"}, "reference": {"78 84 91 80 88 83"}, "area_id": {"rear mudguard"}, "area": {"142 155 149\n138; 160 151"}}
	for _, c := range []struct {
		kind string
		q    url.Values
		says []string
	}{
		{"thread", url.Values{"od": {"6.27"}, "od_unit": {"mm"}, "pitch": {"26"}, "pitch_unit": {"tpi"}}, []string{"cannot tell which it is", "BSF 1/4", "BSC 1/4-26", "50 %", "flank angle", "Try by fingers, three turns, before any spanner.", "Attach as evidence"}},
		{"thread", url.Values{"od": {"6,27"}, "od_unit": {"mm"}, "pitch": {"26"}, "pitch_unit": {"tpi"}, "angle": {"55.5"}, "hand": {"left"}}, []string{"most likely BSF 1/4", "99 %", "slackens clockwise"}},
		{"thread", url.Values{"od": {"5/16"}, "od_unit": {"in"}, "pitch": {"22"}, "pitch_unit": {"tpi"}}, []string{"BSF 5/16"}},
		{"stamp", url.Values{"id": {"dynamo"}, "code": {"3/57"}, "scheme": {"month-year"}, "build": {"1957-06"}}, []string{"1957-03", "right age", "27.9 to 1", "not that it is the part"}},
		{"tyre", url.Values{"code": {"127"}}, []string{"week 12 of 1977 or 1987 or 1997"}},
		{"film", film, []string{"+65 µm", "17.7 to 1", "painted again", "1.78"}},
		{"colour", url.Values{"white": {"D65"}, "instrument": {"m"}, "reference_id": {"sheltered"}, "reference": {"50 2.6772 -79.7751"}, "area_id": {"top"}, "area": {"50 0 -82.7485"}}, []string{"2.0 (CIEDE2000)"}}, // pair 1 of Sharma, Wu and Dalal, 2005: 2.0425
		{"number", url.Values{"read_frame": {"SK6138"}, "read_engine": {"E6138"}, "record_frame": {"SK6138"}, "record_engine": {"E6138"}, "authentic": {"yes"}, "basis": {"seen"}}, []string{"Of the ladder hold: a, d, e.", "2 numbers agree"}},
		{"number", url.Values{"read_frame": {"SK6138"}, "altered_frame": {"yes"}}, []string{"Stop. A machine whose numbers"}},
		{"vin", url.Values{"number": {"1M8GDM9AXKP042788"}, "check_digit": {"used"}}, []string{"check digit: agrees"}},
		{"serial", url.Values{"serial": {"6138"}, "anchors": {"6049 1957-04-08\n6210 1957-07-07"}, "kind": {"dispatch"}, "batch": {"20"}}, []string{"about 1957-05-28", "49.8 ± 14.9"}},
		{"survivors", url.Values{"first_name": {"register"}, "first_count": {"38"}, "first_sources": {"owners"}, "second_name": {"sales"}, "second_count": {"29"}, "second_sources": {"auction lists"}, "both": {"11"}}, []string{"About 96 survive", "56 were seen", "Keen owners"}},
		{"survivors", url.Values{"numbers": {"19 40 42 60"}, "first": {"1"}}, []string{"About 74 were built"}},
		{"capacity", url.Values{"bore": {"73"}, "bore_unit": {"mm"}, "stroke": {"83"}, "stroke_unit": {"mm"}, "cylinders": {"1"}}, []string{"347.4 cm³"}},
		{"piston", url.Values{"stroke": {"83"}, "stroke_unit": {"mm"}, "rod": {"158"}, "rod_unit": {"mm"}, "crank": {"36"}}, []string{"9.820 mm", "(0.38661 in)"}},
		{"gearing", url.Values{"primary_driving": {"20"}, "primary_driven": {"40"}, "gearbox": {"1 3\n4 1"}, "final_driving": {"20"}, "final_driven": {"40"}, "diameter": {"636.62"}, "diameter_unit": {"mm"}, "rpm": {"3000"}}, []string{"4.00 to 1", "12.00 to 1", "90.0 km/h"}}, // 2·2 to 1; π·636.62 mm = 2 m; 750 a minute · 2 m
		{"torque", url.Values{"diameter": {"5/16"}, "diameter_unit": {"in"}, "pitch": {"22"}, "pitch_unit": {"tpi"}, "form": {"whitworth"}, "lubrication": {"oiled"}, "torque": {"12"}, "torque_unit": {"nm"}}, []string{"No torque is invented", "Tension at 12"}},
		{"criteria", url.Values{"rule": {"technical-code-2010-group-2"}}, []string{"No answer"}},
		{"points", url.Values{"rule": {"uk-radically-altered"}}, []string{"open, while items are unknown"}},
		{"age", url.Values{"rule": {"technical-code-2010-age"}, "first": {"1960/1961"}, "at": {"2026-03-02"}}, []string{"any of these classes: Post War, class F", "It is old enough."}},
		{"age", url.Values{"rule": {"germany-historic-plate"}, "first": {"1957-06"}, "at": {"2026-03-02"}, "changes": {"disc brake 1974\nwider bars 1966"}}, []string{"disc brake", "does not count as of the period", "counts as of the period"}},
		{"percentages", url.Values{"rule": {"aaca-original-features"}, "a-exterior": {"60"}, "a-interior": {"90"}, "a-chassis": {"70"}, "a-engine": {"39"}}, []string{"do not meet the rule", "64.75 to 64.75 %", "exterior, engine"}},
		{"percentages", url.Values{"rule": {"two-of-four-areas"}, "a-exterior": {"75"}, "a-interior": {"75"}}, []string{"These figures meet the rule", "Not judged"}},
		{"judging", url.Values{"rule": {"amca-judging"}, "lost-paint": {"5"}, "lost-engine": {"5"}}, []string{"90 of 100 points", "Junior First"}},
		{"judging", url.Values{"rule": {"amca-judging"}, "lost-paint": {"5"}}, []string{"95 of 100 points", "an award that must come before is lacking", "Senior"}},
		{"kappa", url.Values{"counts": {"20 5\n10 15"}, "settle": {"0.61"}}, []string{"Kappa is 0.40", "70 % of 50 items; chance alone would give 50 %", "Settle the wording first"}}, // Cohen, 1960: (.7 − .5)/(1 − .5)
	} {
		code, page := b.asked(c.kind, c.q)
		require.Equal(t, http.StatusOK, code, "%s: %s", c.kind, page.text())
		text := strings.ReplaceAll(page.text(), "\u00a0", " ")
		for _, s := range c.says {
			require.Contains(t, text, s, c.kind)
		}
		require.NotContains(t, text, "is safe")
	}
	require.Equal(t, at, b.end(), "asking records nothing")
}

// Bad input is said beside its field; what was typed is kept.
func TestTheBenchSaysWhatIsWrong(t *testing.T) {
	b := drover(t)
	for _, c := range []struct {
		kind, field, says string
		q                 url.Values
	}{
		{"thread", "f-od", "not a number", url.Values{"od": {"quarter"}, "od_unit": {"mm"}, "pitch": {"26"}, "pitch_unit": {"tpi"}}},
		{"thread", "f-od", "outside diameter", url.Values{"od": {"0"}, "od_unit": {"mm"}, "pitch": {"26"}, "pitch_unit": {"tpi"}}},
		{"thread", "f-pitch", "unit is missing", url.Values{"od": {"6.27"}, "od_unit": {"mm"}, "pitch": {"26"}, "pitch_unit": {"furlong"}}},
		{"thread", "f-od", "", url.Values{"pitch": {"26"}, "pitch_unit": {"tpi"}}},
		{"stamp", "f-code", "month 13", url.Values{"code": {"13/57"}, "scheme": {"month-year"}, "build": {"1957-06"}}},
		{"stamp", "f-build", "month", url.Values{"code": {"3/57"}, "scheme": {"month-year"}, "build": {"summer"}}},
		{"tyre", "f-code", "no week 62", url.Values{"code": {"6212"}}},
		{"film", "f-area", "not a number", url.Values{"unit": {"µm"}, "instrument": {"g"}, "reference_id": {"a"}, "reference": {"80 81 82"}, "area_id": {"b"}, "area": {"80 thick 82"}}},
		{"colour", "f-area", "cannot be read", url.Values{"white": {"D65"}, "instrument": {"m"}, "reference_id": {"a"}, "reference": {"1 2 3"}, "area_id": {"b"}, "area": {"50 0"}}},
		{"number", "f-read_frame", "", url.Values{"read_frame": {"SK[6"}}},
		{"vin", "f-number", "seventeen characters", url.Values{"number": {"1HGCM8263OA00435"}, "check_digit": {"used"}}},
		{"serial", "f-anchors", "cannot be read", url.Values{"serial": {"6138"}, "anchors": {"spring 1957"}}},
		{"serial", "f-anchors", "", url.Values{"serial": {"9999"}, "anchors": {"6049 1957-04-08\n6210 yesterday"}, "kind": {"dispatch"}}},
		{"survivors", "f-first_count", "not a number", url.Values{"first_count": {"many"}}},
		{"capacity", "f-bore", "", url.Values{"stroke": {"83"}, "stroke_unit": {"mm"}, "cylinders": {"1"}}},
		{"piston", "f-stroke", "not a number", url.Values{"stroke": {"1/0"}, "stroke_unit": {"mm"}}},
		{"gearing", "f-gearbox", "cannot be read", url.Values{"gearbox": {"top"}}},
		{"torque", "f-form", "", url.Values{"diameter": {"8"}, "diameter_unit": {"mm"}, "pitch": {"1.25"}, "pitch_unit": {"mm"}, "form": {"square"}, "lubrication": {"oiled"}}},
		{"criteria", "f-rule", "No rule", url.Values{"rule": {"none"}}},
		{"points", "f-rule", "No rule", url.Values{"rule": {"none"}}},
		{"age", "f-rule", "No rule", url.Values{"rule": {"none"}}},
		{"age", "f-first", "", url.Values{"rule": {"amca-age"}, "first": {"last summer"}, "at": {"2026-03-02"}}},
		{"age", "f-changes", "cannot be read", url.Values{"rule": {"germany-historic-plate"}, "first": {"1957"}, "at": {"2026-03-02"}, "changes": {"1974"}}},
		{"percentages", "f-a-engine", "out of range", url.Values{"rule": {"aaca-original-features"}, "a-engine": {"140"}}},
		{"judging", "f-lost-paint", "no such step", url.Values{"rule": {"amca-judging"}, "lost-paint": {"1.1"}}},
		{"kappa", "f-counts", "not a whole number", url.Values{"counts": {"20 5\n10 few"}, "settle": {"0.61"}}},
		{"kappa", "f-counts", "square", url.Values{"counts": {"20 5"}, "settle": {"0.61"}}},
	} {
		code, page := b.asked(c.kind, c.q)
		require.Equal(t, http.StatusUnprocessableEntity, code, "%s %v: %s", c.kind, c.q, page.text())
		require.True(t, strings.HasPrefix(page.title(), "Error: "), c.kind)
		summary := page.one("div", "id", "summary")
		require.Contains(t, textOf(summary), c.says, c.kind)
		require.NotEmpty(t, page.all("a", "href", "#"+c.field), "%s: %s", c.kind, textOf(summary))
		require.NotContains(t, page.text(), "The answer")
	}
	require.Equal(t, http.StatusNotFound, b.get("/bench/luck").Code)
	code, page := b.asked("thread", url.Values{"od": {"6.6"}, "od_unit": {"mm"}, "pitch": {"1.1"}, "pitch_unit": {"mm"}})
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, page.text(), "Nothing fits.")
	require.Contains(t, page.text(), "Try by fingers")
	require.NotContains(t, page.text(), "Attach as evidence")
	_, page = b.asked("survivors", url.Values{"first_name": {"a"}, "first_count": {"38"}, "first_sources": {"owners"}, "second_name": {"b"}, "second_count": {"29"}, "second_sources": {"owners"}, "both": {"11"}})
	require.Contains(t, page.text(), "No answer:")
	require.Contains(t, page.text(), "share the source")
}

// One form makes it evidence; the component's page shows it.
func TestAttachingFromThePage(t *testing.T) {
	b := drover(t)
	_, page := b.asked("stamp", url.Values{"id": {"dynamo"}, "code": {"3/57"}, "scheme": {"month-year"}, "build": {"1957-06"}, "machine": {"drover-1957"}, "component": {"electrical.dynamo"}})
	require.Equal(t, "electrical.dynamo", attr(page.one("input", "id", "f-component"), "value"))
	sent := url.Values{"component": {"electrical.dynamo"}, "machine": {"drover-1957"}}
	form := page.one("form", "action", "/bench/attach")
	for _, in := range page.all("input", "type", "hidden") {
		if in.Parent == form {
			sent.Set(attr(in, "name"), attr(in, "value"))
		}
	}
	at := b.end()
	for _, wrong := range []struct{ key, value, says string }{{"component", "wings", "no such component"}, {"component", "", "No component was chosen"}, {"machine", "", "No machine was chosen"}} {
		bad := url.Values{}
		for k, v := range sent {
			bad[k] = v
		}
		bad.Set(wrong.key, wrong.value)
		bad.Set("key", "bad "+wrong.key+wrong.value)
		rec := b.post("/bench/attach", bad.Encode())
		require.GreaterOrEqual(t, rec.Code, 400)
		require.Contains(t, textOf(readPage(t, rec.Body.String()).one("div", "id", "summary")), wrong.says)
		require.Contains(t, rec.Body.String(), "right age", "the answer is still there")
	}
	require.Equal(t, at, b.end())
	rec := b.post("/bench/attach", sent.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Equal(t, rec.Header().Get("Location"), b.post("/bench/attach", sent.Encode()).Header().Get("Location"), "sent twice, recorded once")
	shown := readPage(t, b.get(rec.Header().Get("Location")).Body.String()).text()
	require.Contains(t, shown, "The stamp 3/57 reads as 1957-03")
	require.Contains(t, shown, "computed by stamp/1")
	require.Contains(t, shown, "Recorded as evidence-")
}

func TestAttachingByTheInterfaceForPrograms(t *testing.T) {
	b := drover(t)
	path := machineAPI + "/bench-evidence"
	body := strings.Replace(exampleBenchEvidence, "custodian", "tamsin", 1)
	require.Equal(t, http.StatusPreconditionRequired, b.send(path, body).Code)
	rec := b.send(path, body, "If-Match", b.tag())
	require.Equal(t, http.StatusCreated, rec.Code, rec.Body.String())
	var out workshop.AttachedEvidence
	require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &out))
	require.Equal(t, scoring.MethodStamp, out.Evidence.Estimate.Method)
	require.Equal(t, registry.PropositionOrigin, out.Evidence.Bears[0].Proposition)
	rec = b.send(path, strings.Replace(body, "3/57", "13/57", 1), "If-Match", b.tag())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code, rec.Body.String())
	require.Contains(t, rec.Body.String(), `"/input/stamps/0/code"`)
}

// A photograph with a card: the light is that of the worked example in
// docs/scoring.md, whose colours the page must give.
func TestColoursFromAPhotograph(t *testing.T) {
	b := drover(t)
	doc, err := os.ReadFile("../docs/scoring.md")
	require.NoError(t, err)
	example := func(what string, to any) {
		_, rest, ok := strings.Cut(string(doc), "```json card/1 "+what)
		require.True(t, ok)
		text, _, _ := strings.Cut(rest, "```")
		require.NoError(t, json.Unmarshal([]byte(text), to))
	}
	var in scoring.CardInput
	var want scoring.CardResult
	example("input", &in)
	example("result", &want)
	light := map[string]scoring.CardSample{}
	fields := map[string]string{"white": in.White}
	for _, p := range in.Patches {
		light[p.ID] = p.CardSample
		fields["patches"] += strings.Join([]string{p.ID, "0.1 0.1 0.05 0.05", numberJSON(p.Lab.L), numberJSON(p.Lab.A), numberJSON(p.Lab.B)}, " ") + "\n"
	}
	for _, a := range in.Areas {
		light[a.ID] = a
		fields["areas"] += a.ID + " 0.5 0.5 0.1 0.1\n"
	}
	require.Equal(t, http.StatusNotImplemented, b.ask(uploaded(t, "/bench/card", fields, "picture", "tank.jpg", picture(60, 45))).Code)
	b.s.ReadLight = func(_ io.ReadSeeker, name string, marks []Mark) ([]scoring.CardSample, error) {
		out := []scoring.CardSample{}
		for _, m := range marks {
			require.Equal(t, "tank.jpg", name)
			require.Greater(t, m.Width, 0.0)
			x := light[m.ID]
			x.ID = m.ID
			out = append(out, x)
		}
		return out, nil
	}
	rec := b.ask(uploaded(t, "/bench/card", fields, "picture", "tank.jpg", picture(60, 45)))
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	page := readPage(t, rec.Body.String())
	page.landmarks()
	for _, a := range want.Areas {
		require.Contains(t, page.text(), fmt.Sprintf("L %.1f ± %.1f, a %.1f ± %.1f", a.Lab.L, a.Uncertainty.L, a.Lab.A, a.Uncertainty.A))
	}
	if len(want.Areas) == 2 {
		var to string
		for _, a := range page.all("a") {
			if strings.HasPrefix(attr(a, "href"), "/bench/colour?") {
				to = attr(a, "href")
			}
		}
		require.Contains(t, readPage(t, b.get(to).Body.String()).text(), "CIEDE2000")
	}
	fields["areas"] = "tank 0.5 0.5 wide 0.1"
	rec = b.ask(uploaded(t, "/bench/card", fields, "picture", "tank.jpg", picture(60, 45)))
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "Line 1 cannot be read")
	require.Equal(t, http.StatusUnprocessableEntity, b.ask(uploaded(t, "/bench/card", fields, "", "", nil)).Code)
}

func TestTheTableOfThreads(t *testing.T) {
	page := readPage(t, drover(t).get("/bench/table").Body.String())
	page.landmarks()
	rows := map[string]string{}
	for _, table := range page.all("table") {
		caption := ""
		for n := range table.Descendants() {
			if n.Data == "caption" {
				caption = strings.Fields(textOf(n))[0]
			}
			if n.Data == "tr" {
				cells := strings.Fields(textOf(n))
				rows[caption+" "+cells[0]] = strings.Join(cells, " ")
			}
		}
	}
	// BS 84: a quarter of an inch at 26; ISO 261: M6; BS 93: 2 BA is 4.7 mm at 0.81.
	require.Contains(t, rows["BSF 1/4"], "1/4 6.35 0.250 0.977 26 5.10")
	require.Contains(t, rows["metric M6"], "M6 6.00 0.236 1.000")
	require.Contains(t, rows["BA 2BA"], "4.70 0.185 0.810 31.4")
}

// Who measured is chosen by name, and a grade is named as people call it.
func TestTheBenchSpeaksInNames(t *testing.T) {
	b := drover(t)
	_, page := b.asked("tyre", url.Values{"code": {"127"}})
	by := page.one("select", "id", "f-by")
	require.Contains(t, textOf(by), "(mechanic)")
	require.NotContains(t, textOf(by), "the mechanic", "people are named")
	_, page = b.asked("torque", url.Values{})
	grades := textOf(page.one("select", "id", "f-grade"))
	require.Contains(t, grades, "SAE grade 2, unified")
	require.Contains(t, grades, "Property class 8.8, metric")
	require.NotContains(t, grades, "sae-2")
}
