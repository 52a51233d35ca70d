package schema

import (
	"slices"
	"strings"
)

// nearest finds the word that was probably meant: the same word in other
// letters or with other dashes, the first of those that differ in the fewest
// places, at most two, one in short words, or the only one that begins so. ""
// when none is near.
func nearest(found string, words []string) string {
	given := plain(found)
	if given == "" || len(given) > 60 {
		return ""
	}
	limit := 2
	if len([]rune(given)) < 5 {
		limit = 1
	}
	best := ""
	if begins := slices.DeleteFunc(slices.Clone(words), func(w string) bool { return !strings.HasPrefix(w, given) }); len(begins) == 1 && len(given) > 2 {
		best = begins[0]
	}
	for _, word := range words {
		if d := distance([]rune(given), []rune(plain(word))); d <= limit {
			best, limit = word, d-1
		}
	}
	return best
}

var dashes = strings.NewReplacer(" ", "-", "_", "-")

// plain takes out what people vary without meaning anything by it.
func plain(word string) string {
	return dashes.Replace(strings.ToLower(strings.TrimSpace(word)))
}

// distance counts the letters to put in, take out or change, and the
// neighbours to swap, that turn a into b (optimal string alignment).
func distance(a, b []rune) int {
	before, last := make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := range a {
		row := make([]int, len(b)+1)
		row[0] = i + 1
		for j := range b {
			change := last[j]
			if a[i] != b[j] {
				change++
			}
			row[j+1] = min(change, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last = last, row
	}
	return last[len(b)]
}
