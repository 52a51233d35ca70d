package lookup

import "strings"

// alike are characters that look like one another on a stamping or in a
// handwriting, each with the one that stands for them. The figures that wear
// into one another, such as 3 and 8, are not among them: in a run of numbers
// nearly every machine has a neighbour that differs by these.
var alike = strings.NewReplacer("o", "0", "q", "0", "d", "0", "i", "1", "l", "1", "j", "1", "z", "2", "s", "5", "g", "6", "b", "8", "u", "v")

// Alike is Plain with one character in the place of all that look like it: two
// numbers that may be one have it in common.
func Alike(number string) string { return alike.Replace(Plain(number)) }

// Apart is in how many places two numbers of one Alike differ; -1 when they do
// not have it in common.
func Apart(a, b string) int {
	if Alike(a) != Alike(b) {
		return -1
	}
	x, y := []rune(Plain(a)), []rune(Plain(b))
	if len(x) != len(y) {
		return -1
	}
	n := 0
	for i := range x {
		if x[i] != y[i] {
			n++
		}
	}
	return n
}
