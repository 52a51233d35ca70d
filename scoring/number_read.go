package scoring

import (
	"slices"
	"strconv"
	"strings"
)

// maxCompletions is how many numbers a reading may stand for.
const maxCompletions = 1000

// completions lists what a number may be as it was read: "6[38]49" is 6349 or
// 6849, and "?" a figure that cannot be read. Spaces do not count, nor does the
// case of letters. doubtful tells characters with candidates from none at all.
func (fs *faults) completions(pointer, read string) (list []string, doubtful, unreadable int) {
	list = []string{""}
	text := strings.ToUpper(strings.ReplaceAll(read, " ", ""))
	bad := func(message string) ([]string, int, int) {
		fs.add(pointer, quote(read), "such as 6[38]49, or 6?49", message, "Write each doubtful figure's candidates in square brackets, and ? for one that cannot be read.")
		return nil, 0, 0
	}
	for i := 0; i < len(text); i++ {
		options := text[i : i+1]
		switch c := text[i]; {
		case c == '[':
			end := strings.IndexByte(text[i:], ']')
			if end < 3 {
				return bad("The brackets do not hold two or more candidates")
			}
			options = text[i+1 : i+end]
			i += end
			doubtful++
		case c == '?':
			options = "0123456789"
			unreadable++
		}
		if j := strings.IndexFunc(options, func(c rune) bool {
			return !(c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || (c == '-' || c == '/' || c == '.' || c == '*') && len(options) == 1)
		}); j >= 0 {
			return bad("This character cannot stand in a number")
		}
		if len(list) > maxCompletions/len(options) {
			return bad("The number may be more than " + strconv.Itoa(maxCompletions) + " others")
		}
		next := []string(nil)
		for _, l := range list {
			for k := range len(options) {
				if strings.IndexByte(options, options[k]) == k { // each once
					next = append(next, l+options[k:k+1])
				}
			}
		}
		list = next
	}
	if text == "" {
		return bad("There is no number")
	}
	return list, doubtful, unreadable
}

// formed matches a number against a form: # is a figure, @ a letter, a + at the
// end stands for more figures, anything else for itself. It gives the figures.
func formed(form, number string) (figures string, ok bool) {
	form, more := strings.CutSuffix(strings.ToUpper(strings.ReplaceAll(form, " ", "")), "+")
	if len(number) < len(form) || len(number) > len(form) && !more {
		return "", false
	}
	for i := range len(number) {
		c := number[i]
		figure, letter := c >= '0' && c <= '9', c >= 'A' && c <= 'Z'
		switch {
		case i >= len(form) && figure, i < len(form) && form[i] == '#' && figure:
			figures += string(c)
		case i < len(form) && (form[i] == '@' && letter || form[i] == c && c != '#' && c != '@'):
		default:
			return "", false
		}
	}
	return figures, true
}

// What is said of a rung.
const (
	rungHolds   = "holds"
	rungNot     = "does not hold"
	rungUnknown = "unknown"
)

// holding sums up over all possibilities.
func holding(list []string, holds func(string) bool) (state string, which []string) {
	for _, x := range list {
		if holds(x) {
			which = append(which, x)
		}
	}
	switch len(which) {
	case 0:
		return rungNot, nil
	case len(list):
		return rungHolds, which
	}
	return rungUnknown, which
}

// listed writes a few of the possibilities.
func listed(list []string) string {
	if len(list) > 8 {
		return strings.Join(list[:8], ", ") + " and " + strconv.Itoa(len(list)-8) + " more"
	}
	return strings.Join(slices.Clone(list), ", ")
}
