package language

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// format is how numbers and dates are written somewhere.
type format struct {
	decimal, thousands string
	day, month         func(time.Time) string
	timeOfDay          string // layout
}

var british = format{decimal: ".", thousands: ",",
	day:       func(t time.Time) string { return t.Format("2 January 2006") },
	month:     func(t time.Time) string { return t.Format("January 2006") },
	timeOfDay: "15:04"}

var germanMonths = [...]string{"Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November", "Dezember"}

var german = format{decimal: ",", thousands: ".",
	day: func(t time.Time) string {
		return strconv.Itoa(t.Day()) + ". " + germanMonths[t.Month()-1] + " " + strconv.Itoa(t.Year())
	},
	month:     func(t time.Time) string { return germanMonths[t.Month()-1] + " " + strconv.Itoa(t.Year()) },
	timeOfDay: "15:04"}

var (
	// A number as the program writes it, with what may stand around it.
	number = regexp.MustCompile(`^([−+±<>≤≥~ -]*)(\d+)(?:\.(\d+))?( ?(?:%|‰|°|°C|[A-Z]{3}|mm|cm|m|km|kg|g|h|N·m|N|kN|bar|kPa|MPa|kV|V|A|Ω|kΩ|MΩ|µm|s|ms|ml|l|cm³|MB|kB|bits?|J|W|rpm|/min|lbf·ft|psi|in|mph|tpi|days?)?)$`)
	span   = regexp.MustCompile(`^(\S.*?\S|\S) (to|and|±) (\S.*?\S|\S)$`)
	dated  = regexp.MustCompile(`^(\d{1,2} )?(January|February|March|April|May|June|July|August|September|October|November|December) (\d{4})(, \d\d:\d\d(?: UTC)?)?$`)
)

// value says a number, a number with a unit, a span of numbers, or a date.
func (f format) value(s string) (string, bool) {
	if m := number.FindStringSubmatch(s); m != nil {
		return m[1] + f.Number(m[2], m[3]) + unitIn(f, m[4]), true
	}
	if m := dated.FindStringSubmatch(s); m != nil {
		layout, write := "January 2006", f.month
		if m[1] != "" {
			layout, write = "2 January 2006", f.day
		}
		if t, err := time.Parse(layout, m[1]+m[2]+" "+m[3]); err == nil {
			return write(t) + m[4], true
		}
	}
	return "", false
}

// Number writes the digits before and after the point.
func (f format) Number(whole, fraction string) string {
	if fraction == "" {
		return whole
	}
	return whole + f.decimal + fraction
}

// unitIn writes the few units that are words.
func unitIn(f format, unit string) string {
	if f.decimal == "." {
		return unit
	}
	switch strings.TrimSpace(unit) {
	case "day":
		return " Tag"
	case "days":
		return " Tage"
	case "bit", "bits":
		return " Bit"
	}
	return unit
}
