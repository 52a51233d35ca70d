package registry

import (
	"cmp"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Date says when something was so, with no more precision than is known. It is
// written in a subset of the Extended Date/Time Format (ISO 8601-2:2019): a
// year (1957), a month (1957-06) or a day (1957-06-14); 195X and 19XX for a
// decade and a century; a trailing "~" (about), "?" (uncertain) or "%" (both);
// and two of these with "/" between for a span, where ".." stands for an open
// end (1957-06/1971, 1988/..).
type Date string

const dateForms = "1957, 1957-06, 1957-06-14, 195X, 1957~, 1957-06/1957-09, 1988/.."

// Span is the first and the last day that a Date can mean, both inclusive, in
// UTC. A zero First or Last is an open end.
type Span struct {
	First, Last time.Time
	// Approximate and Uncertain carry the marks "~" and "?".
	Approximate, Uncertain bool
}

// Span reads the date. The error is one sentence for a person.
func (d Date) Span() (Span, error) {
	from, to, isSpan := strings.Cut(string(d), "/")
	if !isSpan {
		return pointSpan(from)
	}
	if from == ".." && to == ".." {
		return Span{}, errors.New("A span needs a beginning or an end")
	}
	var span Span
	if from != ".." {
		p, err := pointSpan(from)
		if err != nil {
			return Span{}, err
		}
		span.First, span.Approximate, span.Uncertain = p.First, p.Approximate, p.Uncertain
	}
	if to != ".." {
		p, err := pointSpan(to)
		if err != nil {
			return Span{}, err
		}
		span.Last = p.Last
		span.Approximate = span.Approximate || p.Approximate
		span.Uncertain = span.Uncertain || p.Uncertain
	}
	if !span.First.IsZero() && !span.Last.IsZero() && span.Last.Before(span.First) {
		return Span{}, errors.New("The span ends before it begins")
	}
	return span, nil
}

// Before says whether d certainly ended before the day begins on which t lies.
func (d Date) Before(t time.Time) bool {
	span, err := d.Span()
	return err == nil && !span.Last.IsZero() && span.Last.Before(day(t))
}

// StartsBy says whether d may have begun on or before t's day. An empty date
// is unknown and so may have.
func (d Date) StartsBy(t time.Time) bool {
	if d == "" {
		return true
	}
	span, err := d.Span()
	return err == nil && !span.First.After(day(t))
}

// CompareDates orders dates by their first day, then by their last; an open
// end counts as before, respectively after, every day.
func CompareDates(a, b Date) int {
	x, _ := a.Span()
	y, _ := b.Span()
	if c := x.First.Compare(y.First); c != 0 {
		return c
	}
	if x.Last.IsZero() != y.Last.IsZero() {
		if x.Last.IsZero() {
			return 1
		}
		return -1
	}
	return cmp.Or(x.Last.Compare(y.Last), cmp.Compare(a, b))
}

// edges gives the last day on which d can have begun and the first on which it
// can have ended: with spans known to the month or year, what lies between is
// certain. A zero began is an open beginning, a zero ended an open end.
func (d Date) edges() (began, ended time.Time, err error) {
	if _, err = d.Span(); err != nil {
		return began, ended, err
	}
	from, to, isSpan := strings.Cut(string(d), "/")
	if !isSpan {
		to = from
	}
	if from != ".." {
		p, _ := pointSpan(from)
		began = p.Last
	}
	if to != ".." {
		p, _ := pointSpan(to)
		ended = p.First
	}
	return began, ended, nil
}

func day(t time.Time) time.Time {
	y, m, d := t.UTC().Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

func pointSpan(s string) (Span, error) {
	if y, m, d, ok := wholeDay(s); ok {
		at := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
		return Span{First: at, Last: at}, nil
	}
	return anyPointSpan(s)
}

func anyPointSpan(s string) (Span, error) {
	var span Span
	if n := len(s); n > 0 {
		switch s[n-1] {
		case '~':
			span.Approximate = true
		case '?':
			span.Uncertain = true
		case '%':
			span.Approximate, span.Uncertain = true, true
		}
		s = strings.TrimRight(s, "~?%")
		if n-len(s) > 1 {
			return Span{}, errors.New("A date carries one mark: ~, ? or %")
		}
	}
	parts := strings.Split(s, "-")
	if len(parts) > 3 || len(parts[0]) != 4 {
		return Span{}, errors.New("This is not a date that can be read")
	}
	first, last := strings.ReplaceAll(parts[0], "X", "0"), strings.ReplaceAll(parts[0], "X", "9")
	if strings.Contains(strings.TrimRight(parts[0], "X"), "X") || len(parts) > 1 && first != last {
		return Span{}, errors.New("X may stand only for the last figures of a year alone")
	}
	y1, err1 := number(first)
	y2, err2 := number(last)
	if err1 != nil || err2 != nil || y1 == 0 && y2 == 0 {
		return Span{}, errors.New("This is not a date that can be read")
	}
	m1, m2 := 1, 12
	d1, d2 := 1, 31
	if len(parts) > 1 {
		m, err := number(parts[1])
		if err != nil || len(parts[1]) != 2 || m < 1 || m > 12 {
			return Span{}, errors.New("There is no such month")
		}
		m1, m2 = m, m
	}
	d2 = daysIn(y2, m2)
	if len(parts) > 2 {
		d, err := number(parts[2])
		if err != nil || len(parts[2]) != 2 || d < 1 || d > daysIn(y1, m1) {
			return Span{}, errors.New("There is no such day in that month")
		}
		d1, d2 = d, d
	}
	span.First = time.Date(y1, time.Month(m1), d1, 0, 0, 0, 0, time.UTC)
	span.Last = time.Date(y2, time.Month(m2), d2, 0, 0, 0, 0, time.UTC)
	return span, nil
}

// wholeDay reads a date that is known to the day, as most are: 1957-06-14. It
// leaves the last days of a month, and whatever else it is not sure of, to
// anyPointSpan.
func wholeDay(s string) (year, month, day int, ok bool) {
	if len(s) != len("1957-06-14") || s[4] != '-' || s[7] != '-' {
		return 0, 0, 0, false
	}
	var n [8]int
	for i, at := range []int{0, 1, 2, 3, 5, 6, 8, 9} {
		if n[i] = int(s[at]) - '0'; n[i] < 0 || n[i] > 9 {
			return 0, 0, 0, false
		}
	}
	year, month, day = n[0]*1000+n[1]*100+n[2]*10+n[3], n[4]*10+n[5], n[6]*10+n[7]
	return year, month, day, year > 0 && month >= 1 && month <= 12 && day >= 1 && day <= 28
}

func number(s string) (int, error) {
	for _, c := range s {
		if c < '0' || c > '9' {
			return 0, errors.New("not a number")
		}
	}
	return strconv.Atoi(s)
}

func daysIn(year, month int) int {
	return time.Date(year, time.Month(month)+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// sortedKeys gives a map's keys in order, so that nothing depends on the order
// of iteration.
func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
