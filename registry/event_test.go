package registry

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const ledgers = "../testdata/ledgers"

// writeFixtures says whether the fixtures are to be made instead of compared:
// WRITE_FIXTURES=1. It never overwrites one that is there.
var writeFixtures = os.Getenv("WRITE_FIXTURES") == "1"

// frozen compares bytes with a fixture, which never changes.
func frozen(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join(ledgers, name)
	want, err := os.ReadFile(path)
	if os.IsNotExist(err) && writeFixtures {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
		return
	}
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), "%s is frozen: a change of these bytes is a change of the format", path)
}

// awkward holds everything that canonical JSON writes in a way of its own:
// numbers, signs that HTML would escape, control characters, letters beyond the
// basic plane, and keys whose order by UTF-16 differs from that by code point.
func awkward() *Measurement {
	return &Measurement{Common: Common{ID: "m-1", Valid: "2026-03-09", Note: "a \"quote\", a \\, <b>&</b>, tab\t, line\n, bell\a, \u2028, µ, €, 𝄞, é and e\u0301"},
		Component: "fuel.tank", Quantity: "film thickness", Value: 62.5e-3, Unit: "mm", Uncertainty: 1e-7, Instrument: "film gauge", By: "tamsin"}
}

func TestCanonicalEvent(t *testing.T) {
	at := time.Date(2026, 3, 9, 10, 0, 0, 123_999_999, time.FixedZone("east", 3600))
	events, err := Extend(0, "", Stamp{Machine: "drover", Recorded: at, Actor: "tamsin", NewID: func() string { return "ev-1" }}, []Body{awkward()})
	require.NoError(t, err)
	frozen(t, "canonical-event.json", events[0])
	require.Contains(t, string(events[0]), `"recorded":"2026-03-09T09:00:00.123Z"`, "UTC, cut to the millisecond")
	again, err := CanonicalJSON(json.RawMessage(events[0]))
	require.NoError(t, err)
	require.Equal(t, events[0], again, "canonical form is its own canonical form")
	e, err := DecodeEvent(events[0])
	require.NoError(t, err)
	body, err := DecodeBody(e.Kind, e.Schema, e.Body)
	require.NoError(t, err)
	require.Equal(t, awkward(), body)
}

// TestCanonicalJSON: the worked examples of RFC 8785, sections 3.2.2 to 3.2.4,
// and rows of its appendix B.
func TestCanonicalJSON(t *testing.T) {
	for in, want := range map[string]string{
		`{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],"string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}`:                                        `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`,
		`{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One","\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`: "{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\u0080\":\"Control\",\"ö\":\"Latin Small Letter O With Diaeresis\",\"€\":\"Euro Sign\",\"😀\":\"Emoji: Grinning Face\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}",
		`[-0,5e-324,1.7976931348623157e308,9007199254740992,295147905179352830000,9.999999999999997e22,1e23,1e21,0.000001,1e-7]`:                                                                                     `[0,5e-324,1.7976931348623157e+308,9007199254740992,295147905179352830000,9.999999999999997e+22,1e+23,1e+21,0.000001,1e-7]`,
	} {
		got, err := CanonicalJSON(json.RawMessage(in))
		require.NoError(t, err)
		require.Equal(t, want, string(got))
	}
	a, err := CanonicalJSON(json.RawMessage(`{"b":1.0,"a":{"y":[2,1],"x":null}}`))
	require.NoError(t, err)
	b, err := CanonicalJSON(json.RawMessage(" {\n \"a\": {\"x\":null, \"y\":[2,1]}, \"b\": 1 }"))
	require.NoError(t, err)
	require.Equal(t, a, b, "the order of keys and the space between them are immaterial")
}

func TestDecodeEvent(t *testing.T) {
	good := `{"actor":"tamsin","body":{},"format":1,"id":"e","kind":"check","machine":"drover","previous":"","recorded":"2026-03-09T09:00:00Z","schema":2,"version":1}`
	_, err := DecodeEvent([]byte(good))
	require.NoError(t, err)
	for name, c := range map[string]struct {
		event, word string
		code        Code
	}{
		"nothing":                   {"", "cannot be read", CodeTampered},
		"not JSON":                  {"{", "cannot be read", CodeTampered},
		"another type":              {"[]", "cannot be read", CodeTampered},
		"an unknown key":            {strings.Replace(good, `"id"`, `"colour":"red","id"`, 1), "colour", CodeTampered},
		"text after it":             {good + "{}", "more text", CodeTampered},
		"a time that is none":       {strings.Replace(good, "T09:00:00Z", "", 1), "cannot be read", CodeTampered},
		"a negative version":        {strings.Replace(good, `"version":1`, `"version":-1`, 1), "cannot be read", CodeTampered},
		"no format":                 {strings.Replace(good, `"format":1,`, "", 1), "format 0", CodeUnsupported},
		"a newer format":            {strings.Replace(good, `"format":1`, `"format":2`, 1), "format 2; this program reads 1", CodeUnsupported},
		"a newer format, with keys": {strings.Replace(good, `"format":1`, `"format":2,"colour":"red"`, 1), "format 2", CodeUnsupported},
	} {
		_, err := DecodeEvent([]byte(c.event))
		require.Equal(t, c.code, CodeOf(err), name)
		require.ErrorContains(t, err, c.word, name)
	}
}

func TestDecodeBody(t *testing.T) {
	for name, c := range map[string]struct {
		kind    Kind
		version int
		body    string
		code    Code
	}{
		"good":                 {"person", 1, `{"id":"x","role":"owner","name":"Imogen Aske"}`, ""},
		"an unknown key":       {"person", 1, `{"id":"x","role":"owner","name":"Imogen Aske","age":40}`, CodeInvalid},
		"an unknown key below": {"machine", 1, `{"id":"x","numbers":[{"where":"frame","as_read":"1","colour":"red"}]}`, CodeInvalid},
		"an unknown kind":      {"poem", 1, `{}`, CodeUnsupported},
		"a newer version":      {"person", 2, `{}`, CodeUnsupported},
		"version nought":       {"person", 0, `{}`, CodeUnsupported},
		"nothing":              {"person", 1, ``, CodeInvalid},
		"a list":               {"person", 1, `[]`, CodeInvalid},
		"text after it":        {"person", 1, `{} {}`, CodeInvalid},
		"money as words":       {"work", 1, `{"spent":{"amount":"ten","currency":"GBP"}}`, CodeInvalid},
	} {
		_, err := DecodeBody(c.kind, c.version, json.RawMessage(c.body))
		require.Equal(t, c.code, CodeOf(err), "%s: %v", name, err)
	}
}

// TestUpcastCheck: a check of schema version 1 said "passed" and held its
// reading as a line of text; it is read as the latest version, and nothing of it is lost.
func TestUpcastCheck(t *testing.T) {
	require.Equal(t, 3, SchemaVersion("check"))
	for old, want := range map[string]*Check{
		`{"id":"c","what":"spark","components":["ignition.magneto"],"passed":true,"by":"tamsin"}`: {
			Common: Common{ID: "c"}, What: "spark", Components: []string{"ignition.magneto"}, Outcome: "passed", By: "tamsin"},
		`{"id":"c","what":"spark","components":[],"passed":false,"by":"tamsin","second":"reuben"}`: {
			Common: Common{ID: "c"}, What: "spark", Components: []string{}, Outcome: "failed", By: "tamsin", Second: "reuben"},
		`{"id":"c","what":"spark","components":[],"passed":true,"reading":"jumps 5.5 mm","by":"tamsin"}`: {
			Common: Common{ID: "c", Note: "Reading as first recorded: jumps 5.5 mm"}, What: "spark", Components: []string{}, Outcome: "passed", By: "tamsin"},
		`{"id":"c","note":"Cold.","what":"spark","components":[],"passed":true,"reading":"5 mm","by":"tamsin"}`: {
			Common: Common{ID: "c", Note: "Cold. Reading as first recorded: 5 mm"}, What: "spark", Components: []string{}, Outcome: "passed", By: "tamsin"},
	} {
		got, err := DecodeBody("check", 1, json.RawMessage(old))
		require.NoError(t, err)
		require.Equal(t, want, got)
		require.NoError(t, CheckBody(got))
	}
	for _, bad := range []string{`null`, `[]`, `{"passed":"yes"}`, `{"passed":true,"reading":5}`, `{"passed":true,"reading":"5","note":1}`, `{"passed":true,"readings":"5"}`} {
		_, err := DecodeBody("check", 1, json.RawMessage(bad))
		require.Error(t, err, bad)
	}
	_, err := DecodeBody("check", 2, json.RawMessage(`{"id":"c","passed":true}`))
	require.Equal(t, CodeInvalid, CodeOf(err), "the old shape is not read as the new version")
}

func TestSameRecord(t *testing.T) {
	b := newBench(t)
	weighed(b)
	stood, _ := b.d.Entry("swap")
	same, err := SameRecord(stood.Body, swapMagneto())
	require.NoError(t, err)
	require.True(t, same)
	same, err = SameRecord(stood.Body, with(swapMagneto(), func(o *Option) { o.Hours = 4 })(b))
	require.NoError(t, err)
	require.False(t, same)
	stood, _ = b.d.Entry("survey-fuel.tank")
	same, err = SameRecord(stood.Body, aSurvey("fuel.tank"))
	require.NoError(t, err)
	require.True(t, same, "the date that Decide gave it does not count")
}

func TestMoney(t *testing.T) {
	for in, want := range map[string]string{
		`{"amount":"110.50","currency":"GBP"}`: `{"amount":"110.50","currency":"GBP"}`,
		`{"amount":110.50,"currency":"GBP"}`:   `{"amount":"110.50","currency":"GBP"}`,
		`{"amount":"0","currency":"GBP"}`:      `{"amount":"0","currency":"GBP"}`,
	} {
		var m Money
		require.NoError(t, json.Unmarshal([]byte(in), &m), in)
		out, err := json.Marshal(m)
		require.NoError(t, err)
		require.JSONEq(t, want, string(out))
		require.Contains(t, string(out), strings.Split(want, ",")[0][1:], "no digit is lost")
	}
	for _, bad := range []string{`{"amount":"1,5","currency":"GBP"}`, `{"amount":"","currency":"GBP"}`, `{"amount":null,"currency":"GBP"}`, `{"amount":"1","currency":"GBP","rate":2}`, `{"currency":"GBP"}`, `"1 GBP"`, `{"amount":" 1","currency":"GBP"}`} {
		require.Error(t, json.Unmarshal([]byte(bad), new(Money)), bad)
	}
	sum, err := pounds("0.10").Add(pounds("0.20"))
	require.NoError(t, err)
	require.Equal(t, "0.30 GBP", sum.String(), "tenths add up as they are written")
	_, err = pounds("1").Add(money("1", "EUR"))
	require.Equal(t, CodeInvalid, CodeOf(err))
	sum, err = Money{}.Add(money("1", "EUR"))
	require.NoError(t, err)
	require.Equal(t, "1 EUR", sum.String())
	for _, c := range []struct {
		amount, limit Money
		exceeds       bool
	}{
		{pounds("110"), pounds("110.00"), false}, {pounds("110.01"), pounds("110"), true}, {pounds("1"), pounds("0"), true},
		{money("1", "EUR"), pounds("110"), true}, {money("0", "EUR"), pounds("0"), false}, {Money{}, pounds("0"), false},
		{pounds("1"), Money{}, true},
	} {
		require.Equal(t, c.exceeds, c.amount.Exceeds(c.limit), "%s over %s", c.amount, c.limit)
	}
}

func TestPrivate(t *testing.T) {
	sealedForm := `{"withheld":"sha256:` + zeros + `"}`
	for in, out := range map[string]string{`"Imogen Aske"`: `"Imogen Aske"`, sealedForm: sealedForm, ` ` + sealedForm: sealedForm, `""`: `""`} {
		var p Private
		require.NoError(t, json.Unmarshal([]byte(in), &p))
		got, err := json.Marshal(p)
		require.NoError(t, err)
		require.Equal(t, out, string(got))
	}
	raw, err := json.Marshal(Private{Digest: "sha256:" + zeros, Value: "Imogen Aske"})
	require.NoError(t, err)
	require.NotContains(t, string(raw), "Aske", "what is sealed never goes out in plain text")
	require.Error(t, json.Unmarshal([]byte(`{"withheld":"x","value":"Imogen Aske"}`), new(Private)))
	require.Error(t, json.Unmarshal([]byte(`7`), new(Private)))

	for s, ok := range map[string]bool{"sha256:" + zeros: true, "sha256:" + zeros[1:]: false, "sha256:" + strings.Repeat("A", 64): false, zeros: false, "": false, "sha256:" + strings.Repeat("g", 64): false, "sha512:" + zeros: false} {
		require.Equal(t, ok, CheckDigest(s), s)
	}
	for number, masked := range map[string]string{"SD57-1138": "SD•••••38", "123456": "12••56", "12345": "1••••", "1": "1", "": "", "№123456": "№1•••56"} {
		require.Equal(t, masked, Mask(number), number)
	}
}

func TestCheckID(t *testing.T) {
	for _, id := range []string{"a", "0", "drover-1957", "brakes.front.linings", "a_b", strings.Repeat("a", MaxIDLength)} {
		require.NoError(t, CheckID("/id", id), id)
	}
	for _, id := range []string{"", "A", "ä", "a b", "a/b", "..", "a..b", ".a", "-a", "_a", "a\x00", strings.Repeat("a", MaxIDLength+1)} {
		err := CheckID("/id", id)
		require.Equal(t, CodeInvalid, CodeOf(err), id)
		var e *Error
		require.ErrorAs(t, err, &e)
		require.Equal(t, "/id", e.Fields[0].Pointer)
		require.LessOrEqual(t, len([]rune(e.Fields[0].Found)), 63)
	}
}

// FuzzDecodeEvent: no bytes make it panic, and what is read has a code or is an
// envelope of this format whose body can be tried.
func FuzzDecodeEvent(f *testing.F) {
	b := newBench(f)
	tagged(b)
	for _, e := range b.events {
		f.Add(e)
	}
	f.Add([]byte(`{"format":2}`))
	f.Add([]byte(`{"actor":"a","body":null,"format":1,"id":"e","kind":"check","machine":"m","previous":"","recorded":"2026-03-09T09:00:00Z","schema":1,"version":1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		e, err := DecodeEvent(data)
		if err != nil {
			if c := CodeOf(err); c != CodeTampered && c != CodeUnsupported {
				t.Fatalf("code %q", c)
			}
			return
		}
		if e.Format != EnvelopeFormat {
			t.Fatal("another format was read")
		}
		body, err := DecodeBody(e.Kind, e.Schema, e.Body)
		if err != nil {
			return
		}
		_ = CheckBody(body)
		_ = Estimates(body)
		if _, err := CanonicalJSON(body); err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
	})
}
