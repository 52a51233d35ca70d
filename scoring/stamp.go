package scoring

import (
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

const (
	maxStamps  = 100
	maxSchemes = 200
	// stampSure is the probability from which a part is called of the right age,
	// and one minus it that up to which it is called not with the machine.
	stampSure = 0.9
)

const stampSays = "A date stamp says that the part is the right age, not that it is the part. Stamps of one maker are one kind of evidence."

// StampInput asks whether dated parts can have left the factory on a machine.
type StampInput struct {
	Build  string  `json:"build"` // month in which the machine was built, such as 1957-06
	Prior  float64 `json:"prior"` // probability, before the stamp is read, that a part came with the machine
	Stamps []Stamp `json:"stamps"`
	Lag    Lag     `json:"lag"`
	// Schemes are the ways of writing a date; Confusions what worn characters
	// are taken for.
	Schemes    []StampScheme        `json:"schemes"`
	Confusions []CharacterConfusion `json:"confusions,omitempty"`
}

// Stamp is one code as it was read.
type Stamp struct {
	ID     string `json:"id"`
	Code   string `json:"code"`
	Scheme string `json:"scheme"`
	Worn   bool   `json:"worn,omitempty"` // whether characters may be misread
}

// Lag is the months from the stamp to the building of the machine, for a part
// that came with it: negative binomial with this shape and mean. Leak is the
// probability of any other month of the span in which such parts were made;
// a part fitted later is from any month of it.
type Lag struct {
	Shape float64 `json:"shape"`
	Mean  float64 `json:"mean_months"`
	Leak  float64 `json:"leak"`
	Span  float64 `json:"span_months"`
}

// CharacterConfusion is two characters that are taken for one another.
type CharacterConfusion struct {
	Characters string  `json:"characters"` // two of them
	P          float64 `json:"p"`          // that one is read where the other stands
}

// StampResult is what the stamps say.
type StampResult struct {
	Stamps []StampAnswer `json:"stamps"`
	Says   string        `json:"says"`
}

// StampAnswer is what one stamp says.
type StampAnswer struct {
	ID     string `json:"id"`
	Months string `json:"months"` // of the likeliest reading
	// Lag is months from the end of that reading to the build; below 0 the part
	// is younger than the machine.
	Lag int `json:"lag_months"`
	// Ratio is the likelihood ratio of "came with the machine" to "fitted
	// later"; Factory the probability of the first.
	Ratio    float64        `json:"ratio"`
	Factory  float64        `json:"factory"`
	Verdict  string         `json:"verdict"` // "right age", "undetermined" or "not with the machine"
	Readings []StampReading `json:"readings"`
}

// StampReading is one thing that the code may say in truth.
type StampReading struct {
	Code        string  `json:"code"`
	Months      string  `json:"months"`
	Probability float64 `json:"probability"`
}

// DateStamps weighs the date stamps of parts against the month in which the
// machine was built.
//
// A part that came with the machine was made Lag months before: its month has
// the probability (1−ε)·nb(lag) + ε/span, nb being the negative binomial
// distribution of the given shape and mean, 0 for a part younger than the
// machine, and ε the leak. A part fitted later is from any month of the span.
// A code of a quarter, a week or a year stands for all its months. A worn code
// is summed over what it may be in truth. The shape of the lag is the caller's
// assumption.
//
// It refuses (CodeInvalid) a code that no reading makes a date of, such as
// month 13; an unknown scheme; figures out of range.
func DateStamps(in StampInput) (StampResult, error) {
	var fs faults
	build := fs.month("/build", in.Build)
	fs.probability("/prior", in.Prior, "The prior")
	fs.span("/lag/shape", in.Lag.Shape, 0.1, 100, "The shape", "as a pure number")
	fs.span("/lag/mean_months", in.Lag.Mean, 0.01, 600, "The mean lag", "months")
	fs.span("/lag/leak", in.Lag.Leak, 0.0001, 0.5, "The leak", "as a probability")
	fs.span("/lag/span_months", in.Lag.Span, 1, 2400, "The span", "months")
	fs.schemes(in.Schemes)
	fs.confusions(in.Confusions)
	fs.count("/stamps", len(in.Stamps), maxStamps, "stamps")
	ids := map[string]bool{}
	for i, s := range in.Stamps {
		fs.unique(at("/stamps", i)+"/id", s.ID, "A stamp", ids)
		fs.name(at("/stamps", i)+"/code", s.Code, "A stamp")
	}
	out := StampResult{Stamps: []StampAnswer{}, Says: stampSays}
	if len(fs) == 0 {
		chances := in.Lag.chances()
		for i := range in.Stamps {
			if a, ok := in.weigh(&fs, i, build, chances); ok {
				out.Stamps = append(out.Stamps, a)
			}
		}
	}
	if err := fs.err("The date stamps"); err != nil {
		return StampResult{}, err
	}
	if len(in.Stamps) == 0 {
		return StampResult{}, insufficient("/stamps", "There is no stamp", "Give the codes as they were read.")
	}
	return out, nil
}

// weigh answers one stamp.
func (in *StampInput) weigh(fs *faults, i, build int, chances []float64) (StampAnswer, bool) {
	s, here := in.Stamps[i], at("/stamps", i)
	n := slices.IndexFunc(in.Schemes, func(x StampScheme) bool { return x.ID == s.Scheme })
	if n < 0 {
		var known []string
		for _, x := range in.Schemes {
			known = append(known, x.ID)
		}
		fs.add(here+"/scheme", quote(s.Scheme), strings.Join(known, ", "), "This way of writing a date is not known", "Use one of the listed ways, or describe it under schemes.")
		return StampAnswer{}, false
	}
	scheme := &in.Schemes[n]
	_, why := scheme.read(s.Code)
	readings := []misread{{s.Code, 1}}
	if s.Worn {
		if readings = misreadings(s.Code, in.Confusions); readings == nil {
			fs.add(here+"/code", quote(s.Code), "", "This code can be misread in too many ways", "Look again under raking light, or leave it out.")
			return StampAnswer{}, false
		}
	}
	a := StampAnswer{ID: s.ID}
	factory, later, all := 0.0, 0.0, 0.0
	var spans []monthSpan
	for _, m := range readings {
		months, wrong := scheme.read(m.code)
		if wrong != "" || m.p == 0 {
			continue
		}
		f, l := 0.0, 0.0
		for t := months.from; t <= months.to; t++ {
			f += in.Lag.Leak / in.Lag.Span
			if lag := build - t; lag >= 0 && lag < maxLag {
				f += float64((1 - in.Lag.Leak) * chances[lag])
			}
			l += 1 / in.Lag.Span
		}
		factory += float64(m.p * f)
		later += float64(m.p * l)
		weight := float64(m.p * (float64(in.Prior*f) + float64((1-in.Prior)*l)))
		all += weight
		a.Readings = append(a.Readings, StampReading{m.code, months.String(), weight})
		spans = append(spans, months)
	}
	if len(a.Readings) == 0 {
		fs.add(here+"/code", quote(s.Code), "a date of the form "+strings.Join(scheme.Fields, "/"), "This is no date: "+why, "Look again, or choose another scheme.")
		return a, false
	}
	best := 0
	for i := range a.Readings {
		a.Readings[i].Probability /= all
		if a.Readings[i].Probability > a.Readings[best].Probability {
			best = i
		}
	}
	a.Months, a.Lag = a.Readings[best].Months, build-spans[best].to
	slices.SortStableFunc(a.Readings, func(x, y StampReading) int {
		switch {
		case x.Probability > y.Probability:
			return -1
		case x.Probability < y.Probability:
			return 1
		}
		return 0
	})
	a.Ratio = factory / later
	a.Factory = float64(in.Prior*factory) / (float64(in.Prior*factory) + float64((1-in.Prior)*later))
	switch {
	case a.Factory >= stampSure:
		a.Verdict = "right age"
	case a.Factory <= 1-stampSure:
		a.Verdict = "not with the machine"
	default:
		a.Verdict = "undetermined"
	}
	return a, true
}

// maxLag is how many months before the machine a stamp may lie.
const maxLag = 3600

// chances are the negative binomial probabilities of a lag of 0, 1, … months.
func (l Lag) chances() []float64 {
	success := l.Shape / (l.Shape + l.Mean)
	logP, other := float64(l.Shape*logarithm(success)), logarithm(1-success)
	p := make([]float64, maxLag)
	for k := range p {
		p[k] = exponential(logP)
		logP += logarithm((float64(k)+l.Shape)/float64(k+1)) + other
	}
	return p
}

// month reads a month as 1957-06, or a day of it.
func (fs *faults) month(pointer, s string) int {
	for _, form := range []string{"2006-01", "2006-01-02"} {
		if t, err := time.Parse(form, s); err == nil && t.Year() >= 1800 && t.Year() <= 2100 {
			return monthOf(t)
		}
	}
	fs.add(pointer, quote(s), "a month as 1957-06, 1800 to 2100", "This is no month of a machine", "Write year and month.")
	return 0
}

var stampFields = []string{"month", "quarter", "week", "year", "letter"}

func (fs *faults) schemes(list []StampScheme) {
	fs.count("/schemes", len(list), maxSchemes, "schemes")
	seen := map[string]bool{}
	for i, s := range list {
		here := at("/schemes", i)
		fs.unique(here+"/id", s.ID, "A scheme", seen)
		fs.span(here+"/century", s.Century, 1800, 2100, "The century", "as its first year")
		years := 0
		for j, f := range s.Fields {
			if !slices.Contains(stampFields, f) {
				fs.add(at(here+"/fields", j), quote(f), strings.Join(stampFields, ", "), "This field is not known", "Use one of the listed ones.")
			}
			if f == "year" || f == "letter" {
				years++
			}
		}
		if years != 1 || len(s.Fields) > 2 {
			fs.add(here+"/fields", strings.Join(s.Fields, ", "), "one year or letter, and at most one other field", "A scheme names one year", "Mend the fields.")
		}
		for _, l := range s.Letters {
			fs.span(key(here+"/letters", l.Key), l.Value, 1800, 2100, "The year of a letter", "as a year")
		}
	}
}

func (fs *faults) confusions(list []CharacterConfusion) {
	fs.count("/confusions", len(list), maxSchemes, "confusions")
	for i, c := range list {
		here := at("/confusions", i)
		if len(c.Characters) != 2 || utf8.RuneCountInString(c.Characters) != 2 || c.Characters[0] == c.Characters[1] {
			fs.add(here+"/characters", quote(c.Characters), "two figures or capital letters", "A confusion is of two characters", "Write both, such as 38.")
		}
		fs.span(here+"/p", c.P, 0, 0.5, "The probability of a misreading", "as a probability")
	}
}

func readStampInput(r *reader, n *node) (in StampInput) {
	r.object(n, "",
		member{"build", true, r.text(&in.Build)},
		member{"prior", true, r.number(&in.Prior)},
		member{"stamps", true, r.array(func(n *node, pointer string) {
			var s Stamp
			r.object(n, pointer,
				member{"id", true, r.text(&s.ID)},
				member{"code", true, r.text(&s.Code)},
				member{"scheme", true, r.text(&s.Scheme)},
				member{"worn", false, r.flag(&s.Worn)},
			)
			in.Stamps = append(in.Stamps, s)
		})},
		member{"lag", true, func(n *node, pointer string) {
			r.object(n, pointer,
				member{"shape", true, r.number(&in.Lag.Shape)},
				member{"mean_months", true, r.number(&in.Lag.Mean)},
				member{"leak", true, r.number(&in.Lag.Leak)},
				member{"span_months", true, r.number(&in.Lag.Span)},
			)
		}},
		member{"schemes", true, r.array(func(n *node, pointer string) {
			var s StampScheme
			r.object(n, pointer,
				member{"id", true, r.text(&s.ID)},
				member{"fields", true, r.texts(&s.Fields)},
				member{"century", true, r.number(&s.Century)},
				member{"letters", false, r.table(&s.Letters)},
			)
			in.Schemes = append(in.Schemes, s)
		})},
		member{"confusions", false, r.characterConfusions(&in.Confusions)},
	)
	return in
}

func (r *reader) characterConfusions(to *[]CharacterConfusion) func(n *node, pointer string) {
	return r.array(func(n *node, pointer string) {
		var c CharacterConfusion
		r.object(n, pointer,
			member{"characters", true, r.text(&c.Characters)},
			member{"p", true, r.number(&c.P)},
		)
		*to = append(*to, c)
	})
}
