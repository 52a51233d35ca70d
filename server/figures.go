package server

import (
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"

	"example.org/asfound/language"
)

// decimalComma says whether whoever types here writes a comma before decimals.
func decimalComma(r *http.Request) bool { return languageOf(r) == language.German }

// twoReadings is the error of a number that can be read in two ways.
type twoReadings struct{ large, small string }

func (e twoReadings) Error() string { return "This number can be read in two ways" }

// fix says how each of both is written.
func (e twoReadings) fix() string {
	return fmt.Sprintf("Write %s for the large one, or %s for the small one.", e.large, e.small)
}

var errNoNumber = errors.New("This is not a number")

// pointed gives a typed number with a point before its decimals and nothing
// between thousands. A point and a comma are both understood; which of them
// stands before decimals is told by the reader's habit only where nothing else
// tells: 1,5 is one and a half to everybody, 1.234,5 has its thousands parted,
// and 1.234 is told apart by nobody who writes decimal commas, so that it is
// refused with both ways of writing it.
func pointed(typed string, comma bool) (string, error) {
	s := strings.Map(func(r rune) rune {
		switch r {
		case ' ', '\u00a0', '\u202f', '\'', '’':
			return -1
		case '−':
			return '-'
		}
		return r
	}, typed)
	if strings.Trim(s, "+-.,0123456789eE") != "" || !strings.ContainsAny(s, "0123456789") { // NaN, Inf and 0x10 are numbers to a program alone
		return "", errNoNumber
	}
	home, away := ".", ","
	if comma {
		home, away = away, home
	}
	homes, aways := strings.Count(s, home), strings.Count(s, away)
	switch {
	case homes+aways == 0:
		return s, nil
	case homes == 1 && aways == 0:
		return strings.Replace(s, home, ".", 1), nil
	case aways == 1 && homes == 0:
		whole, rest, _ := strings.Cut(s, away)
		if digits := strings.TrimLeft(whole, "+-"); len(rest) == 3 && len(digits) >= 1 && len(digits) <= 3 && digits != "0" {
			return "", twoReadings{whole + rest, whole + home + rest + "0"}
		}
		return whole + "." + rest, nil
	}
	decimal, thousands := home, away
	if strings.LastIndex(s, away) > strings.LastIndex(s, home) {
		decimal, thousands = away, home
	}
	if homes == 0 || aways == 0 {
		decimal, thousands = "none", decimal // several of one sign part thousands
	}
	whole, rest, decimals := strings.Cut(s, decimal)
	for i, group := range strings.Split(strings.TrimLeft(whole, "+-"), thousands) {
		if group == "" || len(group) > 3 || i > 0 && len(group) != 3 {
			return "", errNoNumber
		}
	}
	whole = strings.ReplaceAll(whole, thousands, "")
	if decimals {
		if strings.ContainsAny(rest, ".,") {
			return "", errNoNumber
		}
		whole += "." + rest
	}
	return whole, nil
}

// readTwice is a filled-in number that would be refused when it comes back from
// a reader who writes decimal commas.
var readTwice = regexp.MustCompile(`^([-−+]?[1-9]\d{0,2})\.(\d{3})$`)

// commaFilledIn writes a number in a form so that it can be read in one way.
func commaFilledIn(value string) string { return readTwice.ReplaceAllString(value, "$1,$2") }

// figure reads a typed number.
func (t *typed) figure(given string) (float64, error) {
	s, err := pointed(strings.TrimSpace(given), t.comma)
	if err != nil {
		return 0, err
	}
	return strconv.ParseFloat(s, 64)
}

// noFigure says why a number could not be read; fix is what to do about what is
// no number at all.
func (t *typed) noFigure(pointer, given, fix string, err error) {
	var two twoReadings
	if errors.As(err, &two) {
		t.fault(pointer, given, two.Error(), two.fix())
		return
	}
	t.fault(pointer, given, "This is not a number", fix)
}
