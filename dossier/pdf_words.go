package dossier

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// whenWords writes a date of the Extended Date/Time Format in words.
func whenWords(d registry.Date) string {
	from, to, span := strings.Cut(string(d), "/")
	switch {
	case d == "":
		return ""
	case !span:
		return pointWords(from)
	case from == "..":
		return "until " + pointWords(to)
	case to == "..":
		return "from " + pointWords(from)
	}
	return pointWords(from) + " to " + pointWords(to)
}

func pointWords(s string) string {
	mark := ""
	if n := len(s); n > 0 && strings.ContainsRune("~?%", rune(s[n-1])) {
		mark, s = s[n-1:], s[:n-1]
	}
	switch {
	case strings.HasSuffix(s, "XX"):
		s = strings.Replace(s, "XX", "00s", 1)
	case strings.HasSuffix(s, "X"):
		s = strings.Replace(s, "X", "0s", 1)
	}
	switch mark {
	case "~":
		return "about " + s
	case "?":
		return s + " (uncertain)"
	case "%":
		return "about " + s + " (uncertain)"
	}
	return s
}

// indexFigure writes an index from 0 to 1.
func indexFigure(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }

// points writes a change of an index in points: thousandths of the index.
// Losses are positive.
func points(v float64) string {
	p := v * 1000
	switch {
	case math.Abs(p) < 0.05 && p != 0:
		return "less than 0.1"
	case math.Abs(p) < 9.95:
		return strconv.FormatFloat(p, 'f', 1, 64)
	}
	return strconv.FormatFloat(p, 'f', 0, 64)
}

// lossWords writes what an option takes from an index, with its interval.
func lossWords(s scoring.Summary) string {
	if s.Mean == 0 && s.Low80 == 0 && s.High80 == 0 {
		return "none"
	}
	if max(math.Abs(s.Low80), math.Abs(s.High80), math.Abs(s.Mean)) < 0.00005 {
		return points(s.Mean)
	}
	if points(s.Low80) == points(s.High80) && points(s.Low80) == points(s.Mean) {
		if s.Mean < 0 {
			return "gain " + points(-s.Mean)
		}
		return points(s.Mean) // nothing hangs on chance
	}
	if s.Mean < 0 {
		return fmt.Sprintf("gain %s (%s to %s)", points(-s.Mean), points(-s.High80), points(-s.Low80))
	}
	return fmt.Sprintf("%s (%s to %s)", points(s.Mean), points(s.Low80), points(s.High80))
}

// humpWords says that an index has more than one likely value, likeliest first.
func (l Language) humpWords(modes []scoring.Hump) string {
	if len(modes) < 2 {
		return ""
	}
	order := append([]scoring.Hump(nil), modes...)
	for i := range order { // a handful at most
		for j := i + 1; j < len(order); j++ {
			if order[j].Mass > order[i].Mass {
				order[i], order[j] = order[j], order[i]
			}
		}
	}
	words := make([]string, len(order))
	for i, h := range order {
		words[i] = l.filled("near %s with %s", indexFigure(h.At), scoring.Percent(h.Mass))
	}
	if len(order) == 2 {
		return l.filled("There are two likely answers, not one: %s. Some question of the record would settle which.", strings.Join(words, ", "))
	}
	return l.filled("There are %s likely answers, not one: %s. Some question of the record would settle which.", strconv.Itoa(len(order)), strings.Join(words, ", "))
}

// standingWords says how an act stands to the owner's word.
func standingWords(s registry.Standing) string {
	switch s.Mark {
	case "approved":
		return "approved by the owner"
	case "care":
		return "care, as agreed"
	case "make-safe":
		return "emergency, to prevent harm"
	case "unapproved":
		return word("UNAPPROVED")
	case "":
		return "not said"
	}
	return s.Mark
}

// answerWords gives an owner's answer in the words of the vocabulary.
func answerWords(answer string) string {
	switch answer {
	case "approve":
		return word("Approved")
	case "approve-with-conditions":
		return "Approved with conditions"
	case "refuse":
		return word("REFUSED")
	case "ask":
		return "Asked a question first"
	case "defer":
		return "Deferred: not now"
	case "take-back":
		return "Took an earlier answer back"
	}
	return answer
}

// words turns an identifier of the vocabulary into words.
func words(id string) string { return strings.ReplaceAll(id, "-", " ") }

// sentence begins with a capital letter.
func sentence(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}

// number writes a reading without needless figures.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// reading writes a value with its uncertainty and unit.
func reading(value, uncertainty float64, unit string) string {
	said := workshop.Reading(value, uncertainty, unit)
	if unit == "" {
		return said
	}
	return strings.ReplaceAll(said, " "+unit, "\u00a0"+unit)
}

// joined is the non-empty parts with a separator between.
func joined(separator string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, separator)
}

// hours writes a time of work.
func hours(v float64) string {
	if v == 1 {
		return "1 hour"
	}
	return number(v) + " hours"
}

// amount writes money, and nothing where none is given.
func amount(m registry.Money) string {
	if m.IsZero() {
		return ""
	}
	return m.String()
}
