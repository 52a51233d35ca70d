package scoring

import (
	"strconv"
	"strings"
	"time"
)

// StampScheme is one way of writing a date on a part.
type StampScheme struct {
	ID string `json:"id"`
	// Fields are what the figures mean in their order: "month", "quarter",
	// "week", "year" (two figures, or four) or "letter" (a year by Letters).
	Fields []string `json:"fields"`
	// Century is that of a year of two figures, such as 1900.
	Century float64 `json:"century"`
	// Letters gives the year of each letter.
	Letters Distribution `json:"letters,omitempty"`
}

// monthSpan is the months that a code may mean, counted from year 0, both included.
type monthSpan struct{ from, to int }

// months writes the span as "1957-03" or "1957-01 to 1957-03".
func (s monthSpan) String() string {
	one := func(m int) string { return strconv.Itoa(m/12) + "-" + strconv.Itoa(100 + m%12 + 1)[1:] }
	if s.from == s.to {
		return one(s.from)
	}
	return one(s.from) + " to " + one(s.to)
}

// stampParts are the runs of figures and of letters.
func stampParts(code string) []string {
	var parts []string
	kind := func(c rune) int {
		switch {
		case c >= '0' && c <= '9':
			return 1
		case c >= 'A' && c <= 'Z':
			return 2
		}
		return 0
	}
	last := 0
	for _, c := range strings.ToUpper(code) {
		k := kind(c)
		switch {
		case k == 0:
		case k == last:
			parts[len(parts)-1] += string(c)
		default:
			parts = append(parts, string(c))
		}
		last = k
	}
	return parts
}

// read gives the months that a code means, or why it means none.
func (s *StampScheme) read(code string) (monthSpan, string) {
	parts := stampParts(code)
	if len(parts) == 1 && len(s.Fields) == 2 && s.Fields[1] == "year" && len(parts[0]) > 2 { // written without a stroke
		parts = []string{parts[0][:len(parts[0])-2], parts[0][len(parts[0])-2:]}
	}
	if len(parts) != len(s.Fields) {
		return monthSpan{}, "it does not have the form " + strings.Join(s.Fields, "/")
	}
	year, month, months, week := 0, 1, 12, 0
	for i, field := range s.Fields {
		if field == "letter" {
			y, ok := s.Letters.Get(parts[i])
			if !ok {
				return monthSpan{}, "the letter " + parts[i] + " stands for no year"
			}
			year = int(y)
			continue
		}
		v, err := strconv.Atoi(parts[i])
		if err != nil || len(parts[i]) > 4 {
			return monthSpan{}, parts[i] + " is no " + field
		}
		high := map[string]int{"month": 12, "quarter": 4, "week": 53}[field]
		switch {
		case field == "year" && len(parts[i]) == 2:
			year = int(s.Century) + v
		case field == "year" && len(parts[i]) == 4:
			year = v
		case field == "year":
			return monthSpan{}, parts[i] + " is no year of two or four figures"
		case v < 1 || v > high:
			return monthSpan{}, "there is no " + field + " " + parts[i]
		case field == "month":
			month, months = v, 1
		case field == "quarter":
			month, months = v+v+v-2, 3
		case field == "week":
			week = v
		}
	}
	if week > 0 {
		monday, ok := isoMonday(year, week)
		if !ok {
			return monthSpan{}, strconv.Itoa(year) + " has no week 53"
		}
		return monthSpan{monthOf(monday), monthOf(monday.AddDate(0, 0, 6))}, ""
	}
	first := 12*year + month - 1
	return monthSpan{first, first + months - 1}, ""
}

func monthOf(t time.Time) int {
	var year, month int = t.Year(), int(t.Month())
	return 12*year + month - 1
}

// isoMonday is the Monday of a week of ISO 8601.
func isoMonday(year, week int) (time.Time, bool) {
	fourth := time.Date(year, time.January, 4, 0, 0, 0, 0, time.UTC) // always in week 1
	monday := fourth.AddDate(0, 0, -(int(fourth.Weekday())+6)%7+7*(week-1))
	y, w := monday.ISOWeek()
	return monday, y == year && w == week
}

// misread is one thing that a code may be in truth, and the probability that
// the code would then be read.
type misread struct {
	code string
	p    float64
}

// maxMisreadings is how many ways a code may be read before it is too worn.
const maxMisreadings = 4096

// misreadings lists what a worn code may be, itself first.
func misreadings(code string, confusions []CharacterConfusion) []misread {
	out := []misread{{"", 1}}
	for _, c := range strings.ToUpper(code) {
		kept := 1.0
		var others []misread
		for _, x := range confusions {
			if i := strings.IndexRune(x.Characters, c); i >= 0 {
				kept -= x.P
				others = append(others, misread{x.Characters[1-i : 2-i], x.P})
			}
		}
		var next []misread
		for _, m := range out {
			next = append(next, misread{m.code + string(c), float64(m.p * max(0, kept))})
			for _, o := range others {
				next = append(next, misread{m.code + o.code, float64(m.p * o.p)})
			}
		}
		if len(next) > maxMisreadings {
			return nil
		}
		out = next
	}
	return out
}
