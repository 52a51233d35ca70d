package workshop

import (
	"encoding/json"
	"slices"
	"strings"

	"example.org/asfound/catalog"
	"example.org/asfound/lookup"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// NumberLadder holds a machine's numbers against the runs of its maker's numbers
// that the catalog knows (identity/1, without a record to compare with). known is
// false where the catalog knows none, where no number is recorded that a maker
// gives, and for the public edition, which shows none. Codes of the method, such
// as CodeInvalid for a reading that may be too many numbers.
func (w *Workshop) NumberLadder(r *Report) (words BenchWords, known bool, err error) {
	m := r.Machine
	ofMaker := func(n catalog.NumberSeries) bool { return n.Make == m.Make }
	if r.Public || !slices.ContainsFunc(w.Catalog.NumberSeriesList(), ofMaker) {
		return BenchWords{}, false, nil
	}
	in := struct {
		Make    string               `json:"make"`
		Type    string               `json:"type,omitempty"`
		Year    int                  `json:"year,omitempty"`
		Numbers []scoring.ReadNumber `json:"numbers"`
	}{Make: m.Make, Type: m.Model}
	if span, err := m.Year.Span(); err == nil && !span.First.IsZero() && span.First.Year() == span.Last.Year() {
		in.Year = span.First.Year()
	}
	for _, n := range m.Numbers {
		if lookup.Plain(n.Where) != everyMake && n.Shown != "" {
			in.Numbers = append(in.Numbers, scoring.ReadNumber{Where: strings.ToLower(strings.TrimSpace(n.Where)), Read: bracketed(n.Shown, n.Doubtful)})
		}
	}
	if len(in.Numbers) == 0 {
		return BenchWords{}, false, nil
	}
	raw, err := json.Marshal(in)
	if err != nil {
		return BenchWords{}, false, err
	}
	answer, err := w.Ask(scoring.MethodIdentity, raw)
	if err != nil {
		return BenchWords{}, true, err
	}
	words, err = answer.Words()
	return words, true, err
}

// bracketed writes a reading as the methods take it: the candidates of a doubtful
// character in brackets, such as 6[38]49.
func bracketed(read string, doubtful []registry.DoubtfulCharacter) string {
	var b strings.Builder
	for i, c := range []rune(read) {
		candidates := string(c)
		for _, d := range doubtful {
			for _, other := range d.Readings {
				if d.Place == i+1 && len([]rune(other)) == 1 && !strings.Contains(candidates, other) {
					candidates += other
				}
			}
		}
		if candidates != string(c) {
			candidates = "[" + candidates + "]"
		}
		b.WriteString(candidates)
	}
	return b.String()
}
