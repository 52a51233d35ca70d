package importers

import (
	"errors"
	"math"
	"strconv"
	"strings"
)

// parseNumber reads a number with a decimal point or a decimal comma, and a
// percentage as the share that it means. What could be read in two ways, such
// as 1,234, is an error. A workbook stores its numbers with a decimal point, so
// stored settles the point.
func parseNumber(s string, stored bool) (float64, error) {
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
	plain, err := plainNumber(s, stored)
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
func plainNumber(s string, stored bool) (string, error) {
	for _, r := range s {
		if (r < '0' || r > '9') && !strings.ContainsRune("+-.,eE", r) {
			return "", errors.New("This is not a number")
		}
	}
	switch strings.Count(s, ",") + strings.Count(s, ".") {
	case 0:
		return s, nil
	case 1:
		i := strings.IndexAny(s, ".,")
		whole, rest := strings.TrimLeft(s[:i], "+-"), s[i+1:]
		ambiguous := s[i] == ',' || !stored
		if ambiguous && len(rest) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole != "0" {
			return "", errors.New("This number can be read in two ways, with thousands or with decimals")
		}
		return s[:i] + "." + rest, nil
	}
	return "", errors.New("This number has more than one point or comma, so it can be read in two ways")
}

// parseCount reads a whole number; 3.0 is one.
func parseCount(s string, stored bool) (int, error) {
	v, err := parseNumber(s, stored)
	if err != nil {
		return 0, err
	}
	if v != math.Trunc(v) || math.Abs(v) > 1e9 {
		return 0, errors.New("This is not a whole number")
	}
	return int(v), nil
}
