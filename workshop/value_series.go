package workshop

import (
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/asfound/registry"
)

// PricePoint is one value of a price index, of any base. A date that is known
// only to the month or year stands for its middle.
type PricePoint struct {
	Date  registry.Date `json:"date"`
	Value float64       `json:"value"` // above 0
}

// priceSeries is an index of prices in order of time. Between its points the
// index changes at a constant rate: a straight line in its logarithm. It says
// nothing of days before the first point and after the last.
type priceSeries struct {
	points []seriesPoint
	// first and last are the days between which it speaks: those that its
	// first and its last point may mean.
	first, last time.Time
}

type seriesPoint struct {
	at  time.Time
	log float64
}

// newPriceSeries orders the points. CodeInvalid, with a pointer each, for what
// is no point of a series; nil for no points at all.
func newPriceSeries(points []PricePoint) (*priceSeries, error) {
	if len(points) == 0 {
		return nil, nil
	}
	var faults []registry.Field
	fault := func(i int, member, found, allowed, message string) {
		faults = append(faults, registry.Field{Pointer: fmt.Sprintf("/series/%d/%s", i, member), Found: found, Allowed: allowed, Message: message})
	}
	s := &priceSeries{}
	seen := map[time.Time]bool{}
	for i, p := range points {
		span, at, err := middle(p.Date)
		switch {
		case err != nil:
			fault(i, "date", string(p.Date), "a day, a month or a year, such as 2026-03", err.Error())
			continue
		case seen[at]:
			fault(i, "date", string(p.Date), "each once", "This date stands twice")
		}
		seen[at] = true
		if !(p.Value > 0) || math.IsInf(p.Value, 0) {
			fault(i, "value", fmt.Sprint(p.Value), "above 0", "This is no value of a price index")
			continue
		}
		s.points = append(s.points, seriesPoint{at, math.Log(p.Value)})
		if s.first.IsZero() || span.First.Before(s.first) {
			s.first = span.First
		}
		if span.Last.After(s.last) {
			s.last = span.Last
		}
	}
	if len(faults) == 0 && len(points) < 2 {
		fault(0, "date", "one point", "two or more", "A series has more than one point")
	}
	if len(faults) > 0 {
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: "The price series cannot be used: " + faults[0].String(), Fix: "Mend the rows listed.", Fields: faults}
	}
	slices.SortFunc(s.points, func(a, b seriesPoint) int { return a.at.Compare(b.at) })
	return s, nil
}

// log is the logarithm of the index on a day, and whether the series speaks of
// that day at all.
func (s *priceSeries) log(t time.Time) (float64, bool) {
	if t.Before(s.first) || t.After(s.last) {
		return 0, false
	}
	i, _ := slices.BinarySearchFunc(s.points, t, func(p seriesPoint, t time.Time) int { return p.at.Compare(t) })
	switch {
	case i == 0:
		return s.points[0].log, true
	case i == len(s.points):
		return s.points[i-1].log, true
	}
	from, to := s.points[i-1], s.points[i]
	share := float64(t.Sub(from.at)) / float64(to.at.Sub(from.at))
	return from.log + float64(share*(to.log-from.log)), true
}

// middle is the middle day of what a date can mean. A span with an open end has
// none.
func middle(d registry.Date) (registry.Span, time.Time, error) {
	span, err := d.Span()
	if err != nil {
		return span, time.Time{}, err
	}
	if span.First.IsZero() || span.Last.IsZero() {
		return span, time.Time{}, fmt.Errorf("The date has an open end")
	}
	return span, dayOf(span.First.Add(span.Last.Sub(span.First) / 2)), nil
}

func dayOf(t time.Time) time.Time { return t.UTC().Truncate(24 * time.Hour) }

// years between two days.
func years(from, to time.Time) float64 { return to.Sub(from).Hours() / 24 / 365.25 }
