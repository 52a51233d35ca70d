package scoring

import (
	"math"
	"slices"
	"strconv"
	"time"
)

const (
	maxAnchors = 1000
	maxSerial  = 1e9
)

// SerialInput asks when a number was built, between numbers whose dates are
// known.
type SerialInput struct {
	Series  string   `json:"series,omitempty"` // the run of numbers, for the reader alone
	Serial  float64  `json:"serial"`
	Anchors []Anchor `json:"anchors"`
	// Batch is how many were built together: numbers of one batch do not keep
	// the order of their dates. 1 if each was built by itself.
	Batch float64 `json:"batch"`
	Level float64 `json:"level"` // of the interval, such as 0.9
}

// Anchor is a number of the same run with the day on which it left the works.
type Anchor struct {
	Serial float64 `json:"serial"`
	Date   string  `json:"date"`
	// Kind is "dispatch" or "build". A registration comes any time after and
	// cannot anchor anything.
	Kind string `json:"kind"`
}

// SerialResult is an interval of days.
type SerialResult struct {
	Between [2]Anchor `json:"between"`
	// Day is the mean, in days after the earlier anchor, and SD its standard
	// deviation.
	Day   float64 `json:"day"`
	SD    float64 `json:"sd_days"`
	Date  string  `json:"date"`
	Level float64 `json:"level"`
	From  string  `json:"from"`
	To    string  `json:"to"`
	// FromDay and ToDay are the same in days after the earlier anchor.
	FromDay float64 `json:"from_day"`
	ToDay   float64 `json:"to_day"`
}

// DateFromSerial dates a number between two dated numbers.
//
// If n numbers were built at independent, evenly spread moments between two
// anchors and numbered in their order, the k-th is an order statistic: its
// place between the anchors is Beta(k, n−k+1) (David and Nagaraja, Order
// Statistics, 2003). Machines are built in batches, so that there are fewer
// independent moments than machines: both parameters are divided by the batch.
// The mean is then that of a straight line between the anchors; the spread is
// not.
//
// It refuses (CodeInsufficient) fewer than two anchors and a number outside
// them, for nothing is extrapolated; and (CodeInvalid) anchors whose dates fall
// while their numbers rise, which is what a restarted numbering looks like, two
// dates for one number, and anchors of registrations.
func DateFromSerial(in SerialInput) (SerialResult, error) {
	var fs faults
	fs.serial("/serial", in.Serial)
	fs.span("/batch", in.Batch, 1, 1e6, "A batch", "machines")
	fs.span("/level", in.Level, 0.01, 0.999, "The level of an interval", "as a probability")
	fs.count("/anchors", len(in.Anchors), maxAnchors, "anchors")
	type dated struct {
		Anchor
		at    time.Time
		index int
	}
	list := make([]dated, len(in.Anchors))
	for i, a := range in.Anchors {
		here := at("/anchors", i)
		fs.serial(here+"/serial", a.Serial)
		list[i] = dated{a, fs.date(here+"/date", a.Date), i}
		if a.Kind != "dispatch" && a.Kind != "build" {
			fs.add(here+"/kind", quote(a.Kind), "dispatch, build", "Only the day on which a machine left the works anchors a number", "Leave registrations and sales out: they come weeks or years after.")
		}
	}
	slices.SortStableFunc(list, func(a, b dated) int {
		switch {
		case a.Serial < b.Serial:
			return -1
		case a.Serial > b.Serial:
			return 1
		}
		return 0
	})
	for i := 1; i < len(list) && len(fs) == 0; i++ {
		a, b := list[i-1], list[i]
		here := at("/anchors", b.index)
		if a.Serial == b.Serial && a.Date != b.Date {
			fs.add(here, number(b.Serial)+" on "+b.Date, a.Date, "One number has two dates", "Keep the one that the better source gives.")
		} else if b.at.Before(a.at) {
			fs.add(here, number(b.Serial)+" on "+b.Date, "not before "+a.Date+", when number "+number(a.Serial)+" left", "The dates fall while the numbers rise: the numbering restarted, or an anchor is wrong", "Give the anchors of one run of numbers alone.")
		}
	}
	if err := fs.err("The date"); err != nil {
		return SerialResult{}, err
	}
	if len(list) < 2 {
		return SerialResult{}, insufficient("/anchors", "Between fewer than two dated numbers nothing can be dated", "Find a dated number on either side.")
	}
	if in.Serial < list[0].Serial || in.Serial > list[len(list)-1].Serial {
		return SerialResult{}, insufficient("/serial", "The number lies outside the dated ones, "+number(list[0].Serial)+" to "+number(list[len(list)-1].Serial)+", and nothing is extrapolated", "Find a dated number on the other side.")
	}
	low, high := list[0], list[len(list)-1]
	for _, a := range list {
		if a.Serial <= in.Serial {
			low = a
		}
	}
	for _, a := range slices.Backward(list) {
		if a.Serial >= in.Serial {
			high = a
		}
	}
	out := SerialResult{Between: [2]Anchor{low.Anchor, high.Anchor}, Level: in.Level}
	if days := high.at.Sub(low.at).Hours() / 24; days > 0 && high.Serial > low.Serial {
		a, b := (in.Serial-low.Serial)/in.Batch, (high.Serial-in.Serial)/in.Batch
		out.Day = float64(days * (a / (a + b)))
		out.SD = float64(days*math.Sqrt(float64(a*b)/(a+b+1))) / (a + b)
		tail := (1 - in.Level) / 2
		out.FromDay = float64(days * betaQuantile(tail, a, b))
		out.ToDay = float64(days * betaQuantile(1-tail, a, b))
	}
	day := func(d float64) string { return low.at.AddDate(0, 0, int(d)).Format(time.DateOnly) }
	out.Date, out.From, out.To = day(math.Round(out.Day)), day(math.Floor(out.FromDay)), day(math.Ceil(out.ToDay))
	return out, nil
}

// serial adds a fault unless v is a whole number.
func (fs *faults) serial(pointer string, v float64) {
	if !(v >= 0 && v <= maxSerial && v == math.Trunc(v)) {
		fs.add(pointer, number(v), "a whole number, 0 to "+strconv.FormatFloat(maxSerial, 'f', 0, 64), "A number is counted in ones", "Give the figures without prefix and suffix.")
	}
}

func readSerialInput(r *reader, n *node) (in SerialInput) {
	r.object(n, "",
		member{"series", false, r.text(&in.Series)},
		member{"serial", true, r.number(&in.Serial)},
		member{"anchors", true, r.array(func(n *node, pointer string) {
			var a Anchor
			r.object(n, pointer,
				member{"serial", true, r.number(&a.Serial)},
				member{"date", true, r.text(&a.Date)},
				member{"kind", true, r.text(&a.Kind)},
			)
			in.Anchors = append(in.Anchors, a)
		})},
		member{"batch", true, r.number(&in.Batch)},
		member{"level", true, r.number(&in.Level)},
	)
	return in
}
