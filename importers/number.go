package importers

import (
	"errors"
	"math"
	"strconv"
	"strings"
)

// decimal is what is known of the sign before the decimals.
type decimal int

const (
	typedDecimal  decimal = iota // a point or a comma, as people type
	storedDecimal                // a point, as a workbook stores
	pointDecimal                 // a point, and commas between thousands
	commaDecimal                 // a comma, and points between thousands
)

// parseNumber reads a number with a decimal point or a decimal comma, and a
// percentage as the share that it means. What could be read in two ways, such
// as 1,234, is an error. A workbook stores its numbers with a decimal point,
// and a mapping may say which sign it is, which settles it.
func parseNumber(s string, d decimal) (float64, error) {
	s = strings.Map(func(r rune) rune {
		switch r {
		case ' ', '\u00a0', '\u202f', '\u2009', '\'', '’':
			return -1
		case '−':
			return '-'
		}
		return r
	}, s)
	percent := strings.HasSuffix(s, "%")
	s = strings.TrimSuffix(s, "%")
	plain, err := plainNumber(s, d)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, errors.New("This is not a number")
	}
	if percent {
		v /= 100
	}
	return v, nil
}

// plainNumber gives the number with a decimal point.
func plainNumber(s string, d decimal) (string, error) {
	for _, r := range s {
		if (r < '0' || r > '9') && !strings.ContainsRune("+-.,eE", r) {
			return "", errors.New("This is not a number")
		}
	}
	if sign, thousands := ".", ","; d == pointDecimal || d == commaDecimal {
		if d == commaDecimal {
			sign, thousands = thousands, sign
		}
		whole, rest, _ := strings.Cut(s, sign)
		if strings.Contains(rest, sign) || strings.Contains(rest, thousands) || !grouped(whole, thousands) {
			return "", errors.New("This number does not fit the decimal " + map[decimal]string{pointDecimal: "point", commaDecimal: "comma"}[d] + " of the mapping")
		}
		plain := strings.ReplaceAll(whole, thousands, "")
		if rest != "" {
			plain += "." + rest
		}
		return plain, nil
	}
	switch strings.Count(s, ",") + strings.Count(s, ".") {
	case 0:
		return s, nil
	case 1:
		i := strings.IndexAny(s, ".,")
		whole, rest := strings.TrimLeft(s[:i], "+-"), s[i+1:]
		ambiguous := s[i] == ',' || d != storedDecimal
		if ambiguous && len(rest) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole != "0" {
			return "", errors.New("This number can be read in two ways, with thousands or with decimals")
		}
		return s[:i] + "." + rest, nil
	}
	return "", errors.New("This number has more than one point or comma, so it can be read in two ways")
}

// grouped says whether thousands are parted by a sign as they should be.
func grouped(whole, sign string) bool {
	groups := strings.Split(strings.TrimLeft(whole, "+-"), sign)
	for i, g := range groups {
		if len(groups) > 1 && (i > 0 && len(g) != 3 || i == 0 && (g == "" || len(g) > 3)) {
			return false
		}
	}
	return true
}

// parseCount reads a whole number; 3.0 is one.
func parseCount(s string, d decimal) (int, error) {
	v, err := parseNumber(s, d)
	if err != nil {
		return 0, err
	}
	if v != math.Trunc(v) || math.Abs(v) > 1e9 {
		return 0, errors.New("This is not a whole number")
	}
	return int(v), nil
}
