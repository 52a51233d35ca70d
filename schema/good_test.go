package schema

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// judged is what the reader and the validator say of a text.
func judged(t testing.TB, e *entry, data []byte) bool {
	value, fields := read(data)
	if len(fields) > 0 {
		return false
	}
	compiled, err := e.compile()
	require.NoError(t, err)
	return compiled.Validate(value) == nil
}

// agrees holds what is known to be good against the validator.
func agrees(t testing.TB, e *entry, data []byte) {
	if e.knownGood(data) && !judged(t, e, data) {
		t.Fatalf("%s: the validator refuses what was taken for good: %s", e.name, data)
	}
}

// samples are the texts that are kept as examples of every schema, good and bad.
func samples(t testing.TB, s *Set) map[string][][]byte {
	out := map[string][][]byte{}
	names, err := filepath.Glob("testdata/*/*.json")
	require.NoError(t, err)
	for _, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		of := filepath.Base(filepath.Dir(name)) + suffix
		require.Contains(t, s.entries, of)
		out[of] = append(out[of], data)
	}
	for _, e := range s.entries {
		document, err := e.document()
		require.NoError(t, err)
		examples, _ := document["examples"].([]any)
		for _, x := range examples {
			data, err := json.Marshal(x)
			require.NoError(t, err)
			out[e.name] = append(out[e.name], data)
		}
	}
	return out
}

// Ensure that nothing is taken for good that the validator refuses, whatever
// is done to a record: pieces of others put in, taken out, put twice.
func TestWhatIsKnownToBeGoodIsGood(t *testing.T) {
	s, err := Compile()
	require.NoError(t, err)
	all := samples(t, s)
	rnd := rand.New(rand.NewPCG(1, 1))
	pieces := []string{"0", "-1", "1", "1.0", "1e2", "0.5", "2", "1000000000000000000000", "00", "-", "true", "false", "null", `""`, `" "`, `"x"`, `"origin"`, `"…"`, `"\ud800"`, `"\u0041"`,
		`"A B"`, "{}", "[]", `["a"]`, `["a","a"]`, `{"a":1}`, "[1,]", ",", ":", "}", "]", "{", "[", `"`, "\\", "\x00", "\xff", " ", `"id":"x",`, `"2026-02-30"`, `"2026-03-01"`,
		`"` + strings.Repeat("n", 70) + `"`, `"` + strings.Repeat("é", 600) + `"`, strings.Repeat("[", 70)}
	tried, refused, known := 0, 0, 0
	for _, e := range s.entries {
		if e.name == "common.v1"+suffix {
			continue
		}
		for _, data := range all[e.name] {
			if judged(t, e, data) && e.knownGood(data) {
				known++
			}
			agrees(t, e, data)
			marks := structure(data)
			for range 120 {
				changed := append([]byte(nil), data...)
				from := marks[rnd.IntN(len(marks))]
				to := marks[min(len(marks)-1, rnd.IntN(4)+indexOf(marks, from))]
				piece := pieces[rnd.IntN(len(pieces))]
				if rnd.IntN(4) == 0 { // a piece of the record itself
					a := rnd.IntN(len(marks))
					piece = string(data[marks[a]:marks[min(len(marks)-1, a+1+rnd.IntN(5))]])
				}
				changed = append(append(changed[:from:from], piece...), data[to:]...)
				agrees(t, e, changed)
				tried++
				if !judged(t, e, changed) {
					refused++
				}
			}
		}
	}
	require.Greater(t, tried, 10_000)
	require.Greater(t, refused, tried/4)
	require.Less(t, refused, tried)
	require.Greater(t, known, 100)
}

// structure is where values and names of a text begin and end, about.
func structure(data []byte) []int {
	out := []int{0}
	quoted := false
	for i, b := range data {
		if b == '"' && (i == 0 || data[i-1] != '\\') {
			if quoted = !quoted; quoted {
				out = append(out, i)
			} else {
				out = append(out, i+1)
			}
		}
		if !quoted && strings.IndexByte("{}[],:", b) >= 0 {
			out = append(out, i, i+1)
		}
	}
	return append(out, len(data))
}

func indexOf(list []int, x int) int {
	for i, y := range list {
		if x == y {
			return i
		}
	}
	return 0
}

// Ensure that the good records that are kept as examples are known to be good,
// or the way round the validator would be of no use. Those with a keyword that
// is left to it, or a number that is, are named.
func TestGoodRecordsAreKnown(t *testing.T) {
	s, err := Compile()
	require.NoError(t, err)
	var left []string
	for name, list := range samples(t, s) {
		e := s.entries[name]
		for _, data := range list {
			if judged(t, e, data) && !e.knownGood(data) {
				left = append(left, name)
				t.Logf("%s: %.300s", name, data)
			}
		}
	}
	require.Empty(t, left)
}

func TestScan(t *testing.T) {
	for text, want := range map[string]bool{
		`{}`: true, `[]`: true, ` { "a" : [ 1 , -2.50 , "x" , true , false , null ] } `: true, `"\n\u00e9"`: true, `0`: true, `-0.0`: true, `{"a":{"b":{}},"b":[[]]}`: true,
		``: false, `{`: false, `[1,]`: false, `[1,] 2]`: false, `[,1]`: false, `{"a":1,}`: false, `{"a" 1}`: false, `{"a":1 "b":2}`: false, `[1 2]`: false, `01`: false, `1.`: false, `.5`: false,
		`+1`: false, `1e3`: false, `tru`: false, `nul`: false, `{"a":1,"a":2}`: false, `{"a":1,"\u0061":2}`: false, `{"":1}`: false, `{1:2}`: false, `[]]`: false, `{} {}`: false,
		"\"\t\"": false, `"\ud800"`: false, `"\x"`: false, "\"\xff\"": false, `"a`: false, `"a\`: false, `"a\"`: false, `-`: false, `[}`: false, `{]`: false, "\ufeff{}": false, "\v1": false,
		strings.Repeat("[", plainDepth+1) + strings.Repeat("]", plainDepth+1): false,
	} {
		var s scanned
		require.Equal(t, want, s.scan([]byte(text)), text)
		if want {
			require.True(t, json.Valid([]byte(text)), text)
			_, fields := read([]byte(text))
			require.Empty(t, fields, text)
		}
	}
}

func FuzzKnownGood(f *testing.F) {
	s, err := Compile()
	require.NoError(f, err)
	var names []string
	for _, e := range s.entries {
		if e.name != "common.v1"+suffix {
			names = append(names, e.name)
		}
	}
	for name, list := range samples(f, s) {
		for i, n := range names {
			if n == name {
				for _, data := range list {
					f.Add(uint(i), data)
				}
			}
		}
	}
	f.Fuzz(func(t *testing.T, which uint, data []byte) {
		agrees(t, s.entries[names[which%uint(len(names))]], data)
	})
}

// What one survey entry costs, known good and by the validator.
func BenchmarkGood(b *testing.B) {
	s, err := Compile()
	require.NoError(b, err)
	e := s.entries["survey.v2"+suffix]
	data := []byte(`{"id":"sv-kit.handbook-tools","valid":"2026-03-01","note":"htpaint1230 evweld464 gqweld156 syweld188","component":"kit.handbook-tools","origin":"undetermined","finish":"cleaned","specification":"to-catalogue","condition":4,"by":"mechanic"}`)
	require.True(b, e.knownGood(data))
	b.Run("known", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			e.knownGood(data)
		}
	})
	b.Run("validated", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			judged(b, e, data)
		}
	})
}
