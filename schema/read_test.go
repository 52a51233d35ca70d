package schema_test

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"

	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"github.com/stretchr/testify/require"
)

func fieldsOfError(t testing.TB, err error) []registry.Field {
	t.Helper()
	var refusal *registry.Error
	require.True(t, errors.As(err, &refusal), "%v", err)
	require.Equal(t, registry.CodeInvalid, refusal.Code)
	require.NotEmpty(t, refusal.Fields)
	return refusal.Fields
}

func nested(levels int) string {
	return `{"of":"x","method":"m","catalog":"","result":0,"input":` + strings.Repeat("[", levels) + strings.Repeat("]", levels) + `}`
}

// Ensure that text is refused which JSON or its common reader lets pass.
func TestStrictReading(t *testing.T) {
	s := set(t)
	survey := func(rest string) string { return `{"component":"fuel.tank","by":"per-tamsin"` + rest + `}` }
	weighing := func(effect string) string { return `{"options":[],"by":"per-tamsin","effects":[` + effect + `]}` }
	for name, c := range map[string]struct {
		kind          registry.Kind
		data          string
		pointer, says string
	}{
		"key twice":             {"survey", survey(`,"by":"per-reuben"`), "/by", "This key stands twice"},
		"key twice by escape":   {"survey", survey(`,"\u0062y":"per-reuben"`), "/by", "This key stands twice"},
		"key twice deep inside": {"survey", survey(`,"signs":[{"sign":"a","sign":"b"}]`), "/signs/0/sign", "This key stands twice"},
		"key twice, escaped":    {"survey", survey(`,"a/b~c":1,"a/b~c":2`), "/a~1b~0c", "This key stands twice"},
		"no key":                {"survey", survey(`,"":1`), "/", "A key has no name"},
		"not UTF-8":             {"survey", survey(`,"note":"` + "\xff" + `"`), "", "The text is not UTF-8 (line 1, column 52)"},
		"half a character":      {"survey", survey(`,"note":"\ud83d"`), "", "The text holds half a character"},
		"other half":            {"survey", survey(`,"note":"\\ud83d \uDE00"`), "", "The text holds half a character"},
		"byte order mark":       {"survey", "\ufeff" + survey(""), "", "The text begins with a byte order mark"},
		"nothing":               {"survey", " \n", "", "There is no text"},
		"broken off":            {"survey", "{\n  \"component\": \"fuel.tank\",\n", "", "The text is not JSON (line 2, column 28)"},
		"trailing comma":        {"survey", "{\n  \"by\": \"a\",\n}", "", "The text is not JSON (line 3, column 1)"},
		"two values":            {"survey", survey("") + survey(""), "", "The text is not JSON (line 1, column 44)"},
		"NaN":                   {"measurement", `{"value":NaN}`, "", "The text is not JSON (line 1, column 10)"},
		"too deep":              {"weighing", weighing(nested(62)), "/effects/0/input" + strings.Repeat("/0", 61), "Lists and objects nest too deep here"},
		"number beyond":         {"weighing", weighing(strings.Replace(nested(1), "[]", "1e999", 1)), "/effects/0/input", "This number cannot be kept"},
		"number below":          {"weighing", weighing(strings.Replace(nested(1), "[]", "1e-999999999", 1)), "/effects/0/input", "This number cannot be kept"},
		"endless exponent":      {"weighing", weighing(strings.Replace(nested(1), "[]", "0e99999999999999999999", 1)), "/effects/0/input", "This number cannot be kept"},
		"endless number":        {"weighing", weighing(strings.Replace(nested(1), "[]", strings.Repeat("1", 101), 1)), "/effects/0/input", "This number cannot be kept"},
	} {
		t.Run(name, func(t *testing.T) {
			fields := fieldsOfError(t, s.Validate(c.kind, 1, []byte(c.data)))
			require.Len(t, fields, 1)
			require.Equal(t, c.pointer, fields[0].Pointer)
			require.Equal(t, c.says, fields[0].Message)
			require.NotEmpty(t, fields[0].Fix)
		})
	}
	require.NoError(t, s.Validate("survey", 1, []byte(survey(`,"note":"\\ud83d \ud83d\ude00 😀"`))))
	require.NoError(t, s.Validate("weighing", 1, []byte(weighing(nested(61)))))
	require.NoError(t, s.Validate("weighing", 1, []byte(weighing(strings.Replace(nested(1), "[]", "-1.5e-300", 1)))))
}

// Ensure that values decoded elsewhere are held to the same.
func TestDecodedValues(t *testing.T) {
	s := set(t)
	body := func(value any) map[string]any {
		return map[string]any{"component": "engine.barrel", "quantity": "bore", "value": value, "unit": "mm", "instrument": "gauge", "by": "per-tamsin"}
	}
	for _, good := range []any{json.Number("72.06"), 72.06, 72, int64(72), uint8(72), float32(72.5)} {
		require.NoError(t, s.ValidateDecoded("measurement", 1, body(good)), "%T", good)
	}
	for _, bad := range []any{math.NaN(), math.Inf(1), json.Number("1e999"), json.Number("1e-99999999"), nil, true, "72.06"} {
		require.Equal(t, "/value", fieldsOfError(t, s.ValidateDecoded("measurement", 1, body(bad)))[0].Pointer, "%v", bad)
	}
	for _, impossible := range []any{json.Number(""), json.Number("abc"), json.Number("null"), json.Number("1/2"), []string{"a"}, struct{}{}, json.RawMessage("1")} {
		require.Equal(t, registry.CodeInternal, registry.CodeOf(s.ValidateDecoded("measurement", 1, body(impossible))), "%#v", impossible)
	}
	text := body(1)
	text["unit"] = "m\xffm"
	require.Equal(t, "The text is not UTF-8", fieldsOfError(t, s.ValidateDecoded("measurement", 1, text))[0].Message)
	var deep any = []any{}
	for range 70 {
		deep = []any{deep}
	}
	require.Equal(t, "Lists and objects nest too deep here", fieldsOfError(t, s.ValidateDecoded("measurement", 1, body(deep)))[0].Message)
}

// Ensure that kinds and versions that are not there are refused as such.
func TestUnknownKinds(t *testing.T) {
	s := set(t)
	for kind, version := range map[registry.Kind]int{"survey": 3, "check": 4, "common": 1, "": 1, "../event": 1, "gate": 0, "claim": -1} {
		require.Equal(t, registry.CodeUnsupported, registry.CodeOf(s.Validate(kind, version, []byte("{}"))), kind)
		require.Equal(t, registry.CodeUnsupported, registry.CodeOf(s.ValidateDecoded(kind, version, map[string]any{})), kind)
	}
}

// Ensure that a refusal lists no more than it can show, and counts the rest.
func TestManyFaults(t *testing.T) {
	list := strings.TrimSuffix(strings.Repeat(`"No Name",`, 500), ",")
	err := set(t).Validate("survey", 1, []byte(`{"component":"fuel.tank","by":"per-tamsin","photos":[`+list+`]}`))
	fields := fieldsOfError(t, err)
	require.Len(t, fields, schema.MaxFields)
	require.Equal(t, "/photos/2", fields[2].Pointer) // by number, not by letter
	require.Equal(t, "/photos/10", fields[10].Pointer)
	require.Contains(t, err.Error(), "500 fields are wrong")
}

// Ensure that withheld values are not repeated in a refusal.
func TestRefusalsKeepSecrets(t *testing.T) {
	s := set(t)
	for _, data := range []string{
		`{"role":"owner","name":["Winifred Aske"]}`,
		`{"role":"owner","name":{"withheld":"Winifred Aske"}}`,
		`{"role":"owner","name":"` + strings.Repeat("Winifred Aske ", 1000) + `"}`,
		`{"role":"owner","name":{"withheld":["Winifred Aske"],"x":"Winifred Aske"}}`,
	} {
		err := s.Validate("person", 1, []byte(data))
		all, merr := json.Marshal(err)
		require.NoError(t, merr)
		require.NotContains(t, err.Error()+string(all), "Winifred", data)
	}
}

// Ensure that one set serves many at once and gives them the same answer.
func TestConcurrentUse(t *testing.T) {
	names := records(t, "bad-")
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			s, err := schema.Compile()
			if err != nil {
				t.Error(err)
				return
			}
			for _, name := range names[:20] {
				kind, version := kindAndVersion(t, strings.Split(name, "/")[1])
				if s.Validate(kind, version, readFile(t, name)) == nil {
					t.Errorf("%s passed", name)
				}
			}
		})
	}
	wg.Wait()
}

// Ensure that no text makes Validate panic, and that what it takes, the
// registry can read.
func FuzzValidate(f *testing.F) {
	for _, name := range records(f, "") {
		kind, version := kindAndVersion(f, strings.Split(name, "/")[1])
		f.Add(string(kind), version, readFile(f, name))
	}
	f.Add("measurement", 1, []byte(`{"value":1e-99999999}`))
	f.Add("event", 1, []byte(`{"format":{"a":[[]]},"":0,"%2F":"\ud800"}`))
	f.Add("evidence", 1, []byte(`{"bears":[{"proposition":"finish","likelihood":{"%":2,"a/b":1,"~":"x"}}]}`))
	s := set(f)
	f.Fuzz(func(t *testing.T, kind string, version int, data []byte) {
		err := s.Validate(registry.Kind(kind), version, data)
		code := registry.CodeOf(err)
		if code == registry.CodeInternal {
			t.Fatalf("%v", err)
		}
		if err != nil || registry.SchemaVersion(registry.Kind(kind)) == 0 {
			return
		}
		if _, err := registry.DecodeBody(registry.Kind(kind), version, data); err != nil && registry.CodeOf(err) != registry.CodeInvalid {
			t.Fatalf("the schema takes it, the registry does not: %v", err)
		}
	})
}

func BenchmarkValidateSurvey(b *testing.B) {
	s, data := set(b), readFile(b, "testdata/survey.v1/good-full.json")
	require.NoError(b, s.Validate("survey", 1, data))
	b.ReportAllocs()
	for b.Loop() {
		if err := s.Validate("survey", 1, data); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkValidateDecodedSurvey(b *testing.B) {
	s, value := set(b), decoded(b, readFile(b, "testdata/survey.v1/good-full.json"))
	require.NoError(b, s.ValidateDecoded("survey", 1, value))
	b.ReportAllocs()
	for b.Loop() {
		if err := s.ValidateDecoded("survey", 1, value); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRefuseSurvey(b *testing.B) {
	s, data := set(b), readFile(b, "testdata/survey.v1/bad-typos.json")
	b.ReportAllocs()
	for b.Loop() {
		if s.Validate("survey", 1, data) == nil {
			b.Fatal("it passed")
		}
	}
}
