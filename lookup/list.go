package lookup

import (
	"cmp"
	"slices"
	"unicode"
	"unicode/utf8"
)

func firstRune(s string) (rune, int) { return utf8.DecodeRuneInString(s) }
func isSpace(r rune) bool            { return unicode.IsSpace(r) }

// merged sorts spans and makes one of those that touch or overlap.
func merged(spans [][2]int) [][2]int {
	slices.SortFunc(spans, func(a, b [2]int) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(b[1], a[1])) })
	var out [][2]int
	for _, s := range spans {
		if n := len(out); n > 0 && s[0] <= out[n-1][1] {
			out[n-1][1] = max(out[n-1][1], s[1])
			continue
		}
		out = append(out, s)
	}
	return out
}

// BlockSize is how many machines share one block of a list.
const BlockSize = 256

// Block is what is kept of one word for BlockSize machines: two bytes for each
// that has the word, its place in the block and the weight of the word in it,
// in order of place.
type Block []byte

// With gives the block with a machine's weight set, 0 to take it out.
func (b Block) With(place, weight byte) Block {
	at := 0
	for at < len(b) && b[at] < place {
		at += 2
	}
	found := at < len(b) && b[at] == place
	switch {
	case weight == 0 && !found:
		return b
	case weight == 0:
		return slices.Delete(slices.Clone(b), at, at+2)
	case found:
		b = slices.Clone(b)
		b[at+1] = weight
		return b
	}
	return slices.Insert(slices.Clone(b), at, place, weight)
}

// Each calls fn for each machine of the block.
func (b Block) Each(fn func(place, weight byte)) {
	for i := 0; i+1 < len(b); i += 2 {
		fn(b[i], b[i+1])
	}
}
