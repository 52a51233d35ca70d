package server

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// templateFuncs are the ways in which figures and words are written.
var templateFuncs = template.FuncMap{
	"asset":      assetAddress,
	"percent":    percentWords,
	"points":     pointsWords,
	"planpoints": planPoints,
	"number":     numberWords,
	"reading":    workshop.Reading,
	"round":      func(v float64) int { return int(math.Round(v)) },
	"hours":      func(h float64) string { return numberWords(h) + " h" },
	"days":       daysWords,
	"identity": func(s string) string {
		name, digest, _ := strings.Cut(s, ", sha256:")
		if digest == "" {
			return name
		}
		return name + " (" + shortDigest(digest) + ")"
	},
	"top": func(d scoring.Distribution) string {
		state, _ := leading(d)
		return state
	},
	"line":       machineLine,
	"undo":       undoWords,
	"bits":       func(b float64) string { return minus(strconv.FormatFloat(b, 'f', 2, 64)) },
	"when":       whenWords,
	"day":        dayWords,
	"camera":     cameraWords,
	"words":      plainWords,
	"mark":       markOf,
	"meaning":    meaningOf,
	"hex":        hexOf,
	"short":      shortDigest,
	"lower":      strings.ToLower,
	"join":       func(list []string) string { return strings.Join(list, ", ") },
	"plural":     plural,
	"upper":      upperFirst,
	"add":        func(a, b int) int { return a + b },
	"ratio":      ratioWords,
	"sumof":      sumLink,
	"clockwords": func() map[string]string { return clockWords },
	"slug":       workshop.FigureSlug,
	"strip": func(machine string, photos []workshop.PhotoReport) PhotoStrip {
		return PhotoStrip{"/machines/" + machine + "/photos", photos, true}
	},
	"ownerstrip": func(link string, photos []workshop.PhotoReport) PhotoStrip {
		return PhotoStrip{link + "/photos", photos, false}
	},
}

// PhotoStrip is a row of pictures under one address.
type PhotoStrip struct {
	Prefix    string
	Photos    []workshop.PhotoReport
	Originals bool // with links to the originals
}

// percentWords is scoring.Percent for a number or a pointer to one.
func percentWords(p any) string {
	switch p := p.(type) {
	case float64:
		return scoring.Percent(p)
	case *float64:
		if p != nil {
			return scoring.Percent(*p)
		}
	}
	return scoring.Percent(math.NaN())
}

// indexWords writes an index from 0 to 1 with two digits.
func indexWords(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }

// pointsWords writes a part of an index in points of 1000.
func pointsWords(v float64) string {
	p := v * 1000
	switch a := math.Abs(p); {
	case a < 0.0005:
		return "0"
	case a < 0.1:
		return "under 0.1"
	case a < 10:
		return minus(strconv.FormatFloat(p, 'f', 1, 64))
	}
	return minus(strconv.FormatFloat(p, 'f', 0, 64))
}

// minus writes a negative number with its proper sign.
func minus(s string) string { return strings.Replace(s, "-", "−", 1) }

// numberWords writes a number without needless digits.
func numberWords(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
}

func daysWords(v float64) string {
	if v == 1 {
		return "1 day"
	}
	return numberWords(v) + " days"
}

func ratioWords(v float64) string {
	switch {
	case v >= 10_000:
		return "more than 10 000 : 1"
	case v >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64) + " : 1"
	}
	return strconv.FormatFloat(v, 'f', 1, 64) + " : 1"
}

func whenWords(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2 January 2006, 15:04 UTC")
}

// cameraWords writes what the clock of a camera said, or leaves it as it stands.
func cameraWords(s string) string {
	if t, err := time.Parse("2006-01-02T15:04:05", s); err == nil {
		return t.Format("2 January 2006, 15:04")
	}
	return s
}

// dayWords writes a day, or a date of less precision as it stands.
func dayWords(d any) string {
	var s string
	switch d := d.(type) {
	case time.Time:
		if d.IsZero() {
			return ""
		}
		return d.UTC().Format("2 January 2006")
	case registry.Date:
		s = string(d)
	case string:
		s = d
	}
	if t, err := time.Parse(time.DateOnly, s); err == nil {
		return t.Format("2 January 2006")
	}
	if t, err := time.Parse("2006-01", s); err == nil {
		return t.Format("January 2006")
	}
	if about, ok := strings.CutSuffix(s, "~"); ok && !strings.Contains(about, "/") {
		return "about " + dayWords(about)
	}
	from, to, isSpan := strings.Cut(s, "/")
	switch {
	case !isSpan:
		return s
	case to == "..":
		return dayWords(from) + " onwards"
	case from == "..":
		return "until " + dayWords(to)
	}
	return dayWords(from) + " to " + dayWords(to)
}

// machineLine is make, model and year, or "" when the name is just that.
func machineLine(name, maker, model string, year registry.Date) string {
	if name == (&registry.Machine{Make: maker, Model: model, Year: year}).Name() {
		return ""
	}
	return maker + " " + model + ", " + dayWords(year)
}

// plainWords turns a word of the vocabulary into words: "kept-with-machine".
func plainWords(s any) string { return strings.ReplaceAll(fmt.Sprint(s), "-", " ") }

func upperFirst(s string) string {
	if s == "" {
		return ""
	}
	r := []rune(s)
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

// meaningOf explains a word of the vocabulary.
func meaningOf(word string) string {
	for _, terms := range [][]registry.Term{registry.Origins(), registry.Finishes(), registry.Specifications(), registry.AssemblyStates(),
		registry.Functions(), registry.Custodies(), registry.Witnesses(), registry.EvidenceKinds(), registry.Answers()} {
		for _, t := range terms {
			if t.ID == word {
				return t.Meaning
			}
		}
	}
	return ""
}

// markOf chooses the style of a state, from sound to gone. It never stands
// alone: the word and a sign stand beside it.
func markOf(state string) string {
	switch state {
	case "original", "untouched", "worn", "to-catalogue", "intact", "undisturbed", "works", "approved", "approve", "approve-with-conditions", "passed", "fitted", "kept-with-machine":
		return "own"
	case "period-service", "new-old-stock", "donor", "period-accessory", "cleaned", "consolidated", "touched-in", "refinished-period", "catalogue-option", "period-change", "within-limits", "care", "make-safe", "evidence-only", "elsewhere":
		return "near"
	case "reproduction", "substitute", "refinished", "off-specification", "swapped", "disturbed":
		return "new"
	case "missing", "bare", "fails", "failed", "unsafe", "unapproved", "refused", "refuse", "lost", "destroyed", "withdrawn", "superseded":
		return "gone"
	}
	return "open"
}

// undoWords is how something is undone, without saying again that it cannot be.
func undoWords(s string) string {
	const cannot = "cannot be undone"
	if len(s) >= len(cannot) && strings.EqualFold(s[:len(cannot)], cannot) {
		s = strings.TrimLeft(s[len(cannot):], ".;:, ")
	}
	return s
}

// hexOf is a digest without its prefix, as it stands in addresses.
func hexOf(digest string) string { return strings.TrimPrefix(digest, "sha256:") }

// shortDigest is enough of a digest to compare by eye.
func shortDigest(digest string) string {
	h := hexOf(digest)
	if len(h) < 16 {
		return h
	}
	return h[:4] + " " + h[4:8] + " " + h[8:12] + " " + h[12:16]
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return itoa(n) + " " + many
}

func bytesWords(n int64) string {
	switch {
	case n >= 1<<20:
		return itoa(n>>20) + " MB"
	case n >= 1<<10:
		return itoa(n>>10) + " kB"
	}
	return itoa(n) + " bytes"
}
