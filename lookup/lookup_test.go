package lookup

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

func TestWords(t *testing.T) {
	for text, want := range map[string][]string{
		"":                         nil,
		"Dust, rust & oil.":        {"dust", "rust", "oil"},
		"Émaillé à la brosse":      {"emaille", "a", "la", "brosse"},
		"E\u0301maille":            {"emaille"}, // the accent as a letter of its own
		"Straße, Ørsted, Łódź":     {"strasse", "orsted", "lodz"},
		"the owner's; the ’57":     {"the", "owner", "s", "the", "57"},
		"D350-2217":                {"d350", "2217", "d3502217"},
		"well-worn":                {"well", "worn"},
		"6.27 mm":                  {"6", "27", "627", "mm"},
		"AB 12-34, x":              {"ab", "12", "34", "1234", "x"},
		strings.Repeat("aé", 40):   {strings.Repeat("ae", 32)[:64]},
		"ΣΟΦΟΣ ﬁle Ⅳ":              {"σοφοσ", "file", "iv"},
		"[[owner]] said\tso\nhere": {"owner", "said", "so", "here"},
	} {
		var got []string
		for _, w := range Words(text) {
			got = append(got, w.Text)
			require.True(t, 0 <= w.From && w.From < w.To && w.To <= len(text), "%q", text)
		}
		require.Equal(t, want, got, "%q", text)
	}
	require.Equal(t, "ab1234", Plain(" AB 12-34 "))
	require.Equal(t, "", Plain(" - "))
}

func TestFoldTwiceIsFoldOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "text")
		once := Fold(s)
		require.LessOrEqual(t, len(once), MaxWord)
		require.Equal(t, once, Fold(once))
	})
}

func TestParse(t *testing.T) {
	word := func(s string) Clause { return Clause{Words: []string{s}} }
	for text, want := range map[string][]Clause{
		"":                    nil,
		"  \t ":               nil,
		"Rust":                {word("rust")},
		"rust AND dust":       {word("rust"), word("dust")},
		"rust & dust":         {word("rust"), word("dust")},
		"and":                 {word("and")},
		`"paint bridge" tank`: {{Words: []string{"paint", "bridge"}}, word("tank")},
		`“paint bridge”tank`:  {{Words: []string{"paint", "bridge"}}, word("tank")},
		`«dirt line»`:         {{Words: []string{"dirt", "line"}}},
		"cond*":               {{Words: []string{"cond"}, Prefix: true}},
		"D350-2217":           {{Words: []string{"d350", "2217"}, Joined: "d3502217"}},
		"D350-22*":            {{Words: []string{"d35022"}, Prefix: true}},
		`"frame D350-2217"`:   {{Words: []string{"frame", "d350", "2217"}}},
		"well-worn":           {{Words: []string{"well", "worn"}}},
		"ÉMAILLÉ owner’s":     {word("emaille"), {Words: []string{"owner", "s"}}},
	} {
		q, err := Parse(text)
		require.NoError(t, err, "%q", text)
		require.Equal(t, want, q.Clauses, "%q", text)
	}
	for text, says := range map[string]string{
		`"paint bridge`:             "not closed",
		"a*":                        "Too little",
		"*":                         "Too little",
		"con*ser":                   "at the end of a word",
		"con**":                     "at the end of a word",
		`"paint br*"`:               "within quotation marks",
		"well-wo*":                  "after several words",
		"&":                         "no word in",
		`""`:                        "no word in",
		strings.Repeat("a ", 13):    "More is asked for",
		strings.Repeat("word", 101): "too long",
	} {
		_, err := Parse(text)
		require.Error(t, err, "%q", text)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
		require.Contains(t, err.Error(), says, "%q", text)
	}
}

// What is asked for in the words of a text is found in it, and is marked.
func TestMarks(t *testing.T) {
	for _, row := range []struct{ query, text, marked string }{
		{"rust", "Rust under the rust-trap.", "[Rust] under the [rust]-trap."},
		{`"paint bridge"`, "A paint  bridge; paint on the bridge.", "A [paint  bridge]; paint on the bridge."},
		{"cond*", "The CONDENSER's condition.", "The [CONDENSER]'s [condition]."},
		{"d3502217", "Frame D350-2217.", "Frame [D350-2217]."},
		{"D350-2217", "Frame D3502217, not D350 or 2217.", "Frame [D3502217], not D350 or 2217."},
		{"D350-22*", "Frame D350-2217.", "Frame [D350-2217]."},
		{"emaille", "Émaillé.", "[Émaillé]."},
		{"tank", "Nothing.", ""},
	} {
		q, err := Parse(row.query)
		require.NoError(t, err)
		marks, met := q.Marks(row.text)
		require.Equal(t, []bool{row.marked != ""}, met, row.query)
		if row.marked == "" {
			require.Empty(t, marks)
			continue
		}
		var b strings.Builder
		at := 0
		for _, m := range marks {
			b.WriteString(row.text[at:m[0]] + "[" + row.text[m[0]:m[1]] + "]")
			at = m[1]
		}
		require.Equal(t, row.marked, b.String()+row.text[at:], row.query)
	}
}

// A block behaves as a table of weights would.
func TestBlock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b Block
		want := map[byte]byte{}
		for range rapid.IntRange(0, 60).Draw(t, "steps") {
			place, weight := rapid.Byte().Draw(t, "place"), rapid.ByteRange(0, 3).Draw(t, "weight")
			before := append(Block(nil), b...)
			old := b
			b = b.With(place, weight)
			require.Equal(t, before, append(Block(nil), old...), "the old block was changed")
			want[place] = weight
			if weight == 0 {
				delete(want, place)
			}
		}
		got, last := map[byte]byte{}, -1
		b.Each(func(place, weight byte) {
			require.Greater(t, int(place), last)
			last = int(place)
			got[place] = weight
		})
		require.Equal(t, want, got)
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{`rust "paint bridge" cond*`, "“a", "D350-2217", "«x»y*", "\xff\"", "AND AND", "’57 Ⅳ* \u0301"} {
		f.Add(s, "A paint bridge on D350-2217.")
	}
	f.Fuzz(func(t *testing.T, query, text string) {
		q, err := Parse(query)
		if err != nil {
			if registry.CodeOf(err) != registry.CodeInvalid {
				t.Fatalf("%q: %v", query, err)
			}
			return
		}
		if len(q.Clauses) > MaxClauses {
			t.Fatalf("%q has %d clauses", query, len(q.Clauses))
		}
		at := 0
		marks, met := q.Marks(text)
		for _, m := range marks {
			if m[0] < at || m[1] <= m[0] || m[1] > len(text) {
				t.Fatalf("%q in %q: marks %v", query, text, marks)
			}
			at = m[1]
		}
		for i, c := range q.Clauses {
			if len(c.Words) == 0 || met[i] != c.Meets(text) {
				t.Fatalf("%q in %q: clause %d", query, text, i)
			}
		}
	})
}
