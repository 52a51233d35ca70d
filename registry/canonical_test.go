package registry

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// sameAsLibrary holds what is put in order here against the library.
func sameAsLibrary(t require.TestingT, raw []byte) bool {
	got, ok := appendCanonical([]byte("before"), raw)
	if !ok {
		return false
	}
	want, err := jcs.Transform(raw)
	require.NoError(t, err, "%s", raw)
	require.Equal(t, "before"+string(want), string(got))
	return true
}

func TestCanonicalIsTheLibrarys(t *testing.T) {
	for text, want := range map[string]bool{
		`{}`: true, `[]`: true, `{"b":1,"a":[{"d":true,"c":null},"x",-5,0,false]}`: true, `{"b":{"b":1,"a":2},"a":{"b":1,"a":2},"":0}`: true,
		`{"a":"\"\\\n\t\b\f\r"}`: true, `{"a":"é 𝄞 \u2028"}`: false, `{"a":"é 𝄞"}`: true, `[123456789012345]`: true,
		`{"ab":1,"a":2,"B":3,"a-":4,"a_":5}`: true,
		// What is left to the library, or is no JSON.
		`[1234567890123456]`: false, `[1.5]`: false, `[1e3]`: false, `[-0]`: false, `[01]`: false, `[-]`: false, `{"é":1}`: false, `{"a\n":1}`: false, `{"a":1,"a":2}`: false, `{"b":0,"a":1,"a":2}`: false,
		`{"a":"\u003c"}`: false, `{"a":"\/"}`: false, `{"a": 1}`: false, `[1,]`: false, `{"a":1,}`: false, `[`: false, `{`: false, `[1`: false, `{"a"`: false, `{"a":`: false, `"a`: false, `"\`: false,
		`[]]`: false, `{}{}`: false, ``: false, "[\"\x01\"]": false, `tru`: false, `{1:2}`: false, `[1}`: false, `{"a":1]`: false,
		strings.Repeat("[", mostLevels+1) + strings.Repeat("]", mostLevels+1): false,
	} {
		require.Equal(t, want, sameAsLibrary(t, []byte(text)), text)
	}
	var many []string
	for i := range mostMembers + 1 {
		many = append(many, fmt.Sprintf(`"k%d":%d`, i*7919%101, i))
	}
	require.True(t, sameAsLibrary(t, []byte("{"+strings.Join(many[:mostMembers], ",")+"}")))
	require.False(t, sameAsLibrary(t, []byte("{"+strings.Join(many, ",")+"}")))
}

func TestAnyJSONIsPutInOrderAsTheLibraryDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var value func(level int) any
		value = func(level int) any {
			switch kind := rapid.IntRange(0, 6).Draw(t, "kind"); {
			case kind == 0 && level < 4:
				return rapid.MapOfN(rapid.StringOf(rapid.SampledFrom([]rune("abAB_-. !\"\\é1"))), rapid.Just(0), 0, 5).Draw(t, "names")
			case kind <= 2 && level < 4:
				out := map[string]any{}
				for _, name := range rapid.SliceOfN(rapid.StringMatching("[a-cA-C_1. !-]{0,3}"), 0, 6).Draw(t, "names") {
					out[name] = value(level + 1)
				}
				return out
			case kind == 3 && level < 4:
				out := []any{}
				for range rapid.IntRange(0, 4).Draw(t, "length") {
					out = append(out, value(level+1))
				}
				return out
			case kind == 4:
				return rapid.Int64().Draw(t, "number")
			case kind == 5:
				return rapid.SampledFrom([]any{true, false, nil, 0.5, 0, -1}).Draw(t, "word")
			}
			return rapid.String().Draw(t, "text")
		}
		raw, err := json.Marshal(value(0))
		require.NoError(t, err)
		sameAsLibrary(t, raw)
	})
}

// Every event that was ever written in a frozen ledger comes out as the same bytes,
// its envelope put around its body anew.
func TestFrozenEventsAreWrittenTheSame(t *testing.T) {
	names, err := filepath.Glob(ledgers + "/*/*.jsonl")
	require.NoError(t, err)
	quick, all := 0, 0
	for _, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		for line := range strings.Lines(string(data)) {
			line = strings.TrimSpace(line)
			e, err := DecodeEvent([]byte(line))
			if err != nil {
				continue // a line of another kind
			}
			want, err := CanonicalJSON(e)
			require.NoError(t, err)
			require.Equal(t, line, string(want))
			sameAsLibrary(t, []byte(line))
			if got, ok := appendEvent(nil, e); ok {
				require.Equal(t, line, string(got))
				quick++
			}
			all++
		}
	}
	require.Greater(t, quick, all/2, "of %d", all)
}

func TestEnvelopesWithAnythingInThem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := func(name string) string {
			return rapid.OneOf(rapid.StringMatching("[a-z0-9.-]{0,20}"), rapid.String()).Draw(t, name)
		}
		e := Envelope{Format: 1, Machine: text("machine"), Version: rapid.Uint64Range(0, 1<<53).Draw(t, "version"), ID: text("id"), Actor: text("actor"), Kind: Kind(text("kind")),
			Schema: rapid.IntRange(0, 9).Draw(t, "schema"), Previous: text("previous"), Body: json.RawMessage(`{"b":1,"a":"x"}`),
			Recorded: time.UnixMilli(rapid.Int64Range(-100_000_000_000_000, 300_000_000_000_000).Draw(t, "recorded")).UTC()}
		got, ok := appendEvent(nil, e)
		if !ok {
			return
		}
		raw, err := json.Marshal(e)
		require.NoError(t, err)
		want, err := jcs.Transform(raw)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got))
	})
}

func BenchmarkNext(b *testing.B) {
	condition := 4
	s := &Survey{Common: Common{ID: "sv-kit.handbook-tools", Valid: "2026-03-01", Note: "htpaint1230 evweld464 gqweld156 syweld188"}, Component: "kit.handbook-tools",
		Origin: "undetermined", Finish: "cleaned", Specification: "to-catalogue", Condition: &condition, By: "mechanic"}
	stamp := Stamp{Machine: "drover", Recorded: time.Unix(0, 0), Actor: "mechanic", NewID: func() string { return "01jq8z3v4x5n6p7r8s9t0v1w2x" }}
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := Next(4, strings.Repeat("7b", 32), stamp, s); err != nil {
			b.Fatal(err)
		}
	}
}
