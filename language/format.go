package language

import (
	"regexp"
	"strings"
	"time"
)

// format is how numbers and dates are written somewhere, as the Unicode Common
// Locale Data Repository has it. Thousands are parted nowhere: the program
// writes none so, and a point between them could be read as a decimal one.
type format struct {
	decimal string
	// Dates: layouts in which Month and Mon stand for the month's names.
	day, month, shortDay, shortMonth string
	months, shortMonths              [12]string
	words                            map[string]string // units and joining words
}

var german = format{decimal: ",", day: "2. Month 2006", month: "Month 2006", shortDay: "2. Mon 06", shortMonth: "Mon 06",
	months:      [12]string{"Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November", "Dezember"},
	shortMonths: [12]string{"Jan.", "Feb.", "März", "Apr.", "Mai", "Juni", "Juli", "Aug.", "Sept.", "Okt.", "Nov.", "Dez."},
	words: map[string]string{"to": "bis", "and": "und", "or": "oder", "day": "Tag", "days": "Tage", "hour": "Stunde", "hours": "Stunden", "year": "Jahr", "years": "Jahre",
		"bit": "Bit", "bits": "Bit", "in": "Zoll", "inch": "Zoll", "mi": "Meilen", "miles": "Meilen", "tpi": "Gänge/Zoll", "rpm": "U/min"}}

// A figure is a number as the program writes it, with its unit; figures may
// stand in a row with brackets, signs and a few words between them. A number
// with two points is none, such as a version or an address.
const (
	unitPart   = `(?:%|‰|°C|°|[A-Z]{3}|mm²|mm|µm|cm³|cm|km/h|km|m|kg|g|oz|lb|ft|in³|UK pt|UK fl oz|h|N·m|Nm|N m|N|kN|lbf·ft|lbf ft|ft lbf|lbf|bar|kPa|MPa|psi|kV|V|A|Ω|kΩ|MΩ|ms|s|mL|ml|L|l|cc|kB|MB|GB|J|W|rpm|/min|inch|in|mph|miles|mi|tpi|bits?|days?|hours?|years?)`
	figurePart = `[−+±<>≤≥~-]? ?\d+(?:\.\d+)?(?:[ \x{a0}]?` + unitPart + `)?`
	jointPart  = `(?: to | and | or |; |: |, | ?[–×·/] ?| ± | )`
)

var (
	figures = regexp.MustCompile(`^\(?` + figurePart + `\)?(?:` + jointPart + `\(?` + figurePart + `\)?)*$`)
	pointed = regexp.MustCompile(`(\d)\.(\d)`)
	letters = regexp.MustCompile(`[a-z]+`)
	dated   = regexp.MustCompile(`^((?:\d{1,2} )?(?:January|February|March|April|May|June|July|August|September|October|November|December) \d{4})(, \d\d:\d\d(?: UTC)?)?$`)
	short   = regexp.MustCompile(`^(?:\d{1,2} )?(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) \d\d$`)
)

// value says figures or a date.
func (f format) value(s string) (string, bool) {
	if figures.MatchString(s) {
		return letters.ReplaceAllStringFunc(pointed.ReplaceAllString(s, "${1}"+f.decimal+"${2}"), func(word string) string {
			if said, ok := f.words[word]; ok {
				return said
			}
			return word
		}), true
	}
	if m := dated.FindStringSubmatch(s); m != nil {
		for layout, write := range map[string]string{"2 January 2006": f.day, "January 2006": f.month} {
			if t, err := time.Parse(layout, m[1]); err == nil {
				return f.date(write, t) + m[2], true
			}
		}
	}
	if short.MatchString(s) {
		for layout, write := range map[string]string{"2 Jan 06": f.shortDay, "Jan 06": f.shortMonth} {
			if t, err := time.Parse(layout, s); err == nil {
				return f.date(write, t), true
			}
		}
	}
	return "", false
}

// date writes a date in one of the layouts of the format.
func (f format) date(layout string, t time.Time) string {
	const full, brief = "\x01", "\x02"
	layout = strings.NewReplacer("Month", full, "Mon", brief).Replace(layout)
	m := t.Month() - 1
	return strings.NewReplacer(full, f.months[m], brief, f.shortMonths[m]).Replace(t.Format(layout))
}
