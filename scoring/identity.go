package scoring

import (
	"slices"
	"strconv"
)

const (
	maxNumbers = 20
	maxSeries  = 1000
	maxRanges  = 2000 // of all series together
)

// IdentityInput asks how far the numbers of a machine bear each other out.
type IdentityInput struct {
	Make    string         `json:"make,omitempty"` // for the reader alone
	Type    string         `json:"type,omitempty"` // what the machine is said to be
	Year    *float64       `json:"year,omitempty"` // in which it is said to have been built
	Numbers []ReadNumber   `json:"numbers"`
	Series  []NumberSeries `json:"series,omitempty"` // what is known of the maker's numbers
	Record  *NumberRecord  `json:"record,omitempty"`
}

// ReadNumber is a number as it was read: "6[38]49" for one doubtful figure, "?"
// for one that cannot be read.
type ReadNumber struct {
	Where   string `json:"where"` // such as "frame" or "engine"
	Read    string `json:"read"`
	Altered bool   `json:"altered,omitempty"` // whether it looks restamped, ground or moved
}

// NumberSeries is one run of numbers of a maker.
type NumberSeries struct {
	ID    string `json:"id"`
	Where string `json:"where"`
	// Form is what such a number looks like: # a figure, @ a letter, a + at the
	// end more figures, anything else itself.
	Form   string        `json:"form"`
	Ranges []NumberRange `json:"ranges,omitempty"`
}

// NumberRange is the numbers of one type over some years.
type NumberRange struct {
	Type  string  `json:"type"`
	First float64 `json:"first"`
	Last  float64 `json:"last"`
	From  float64 `json:"from_year"`
	To    float64 `json:"to_year"`
}

// NumberRecord is what a works' or an authority's record says.
type NumberRecord struct {
	Numbers []RecordedNumber `json:"numbers"`
	// Authentic is whether the record itself is what it seems: "yes", "no" or
	// "unknown"; Basis is how that is known.
	Authentic string `json:"authentic"`
	Basis     string `json:"basis,omitempty"`
}

// RecordedNumber is one number of a record.
type RecordedNumber struct {
	Where  string `json:"where"`
	Number string `json:"number"`
}

// IdentityResult is the ladder, for each number and for the machine.
type IdentityResult struct {
	Ladder  []Rung           `json:"ladder"`
	Numbers []NumberIdentity `json:"numbers"`
	Stop    string           `json:"stop,omitempty"`
	Says    string           `json:"says"`
}

// Rung is one step of the ladder.
type Rung struct {
	Rung     string `json:"rung"` // a to e
	Question string `json:"question"`
	State    string `json:"state"` // "holds", "does not hold" or "unknown"
	Why      string `json:"why"`
}

// NumberIdentity is the first three rungs for one number.
type NumberIdentity struct {
	Where string `json:"where"`
	Read  string `json:"read"`
	// Possible is how many numbers the reading may stand for; Within lists those
	// that lie in the range of the type, if one is known.
	Possible int      `json:"possible"`
	Within   []string `json:"within,omitempty"`
	Rungs    []Rung   `json:"rungs"`
}

var rungQuestions = map[string]string{
	"a": "Can the number be read?",
	"b": "Is its form right for the period?",
	"c": "Does it lie within the range of the type?",
	"d": "Does the pair agree with the record?",
	"e": "Is the record itself authentic?",
}

const (
	identityStop = "Stop. A machine whose numbers were removed or altered may be unlawful to possess or to sell: tell the owner before anything else is done."
	identitySays = "Look, do not polish, and never restamp. A rung that holds says nothing of the rungs above it."
)

// Identity climbs the ladder of matching numbers: (a) readable, (b) form right
// for the period, (c) within the range of the type, (d) the pair agrees with the
// record, (e) the record is authentic. Each rung holds, does not hold, or is
// unknown; a doubtful character counts with all its candidates, so that a rung
// holds only if it holds for every one of them. The ladder is common practice
// of those who keep registers; the forms and ranges are the caller's.
//
// It refuses (CodeInvalid) a reading that cannot be taken apart, a place named
// twice, and a series that is not sound; and (CodeInsufficient) no numbers.
func Identity(in IdentityInput) (IdentityResult, error) {
	var fs faults
	in.check(&fs)
	possible := make([][]string, len(in.Numbers))
	out := IdentityResult{Ladder: []Rung{}, Numbers: []NumberIdentity{}, Says: identitySays}
	places := map[string]bool{}
	for i, n := range in.Numbers {
		here := at("/numbers", i)
		fs.unique(here+"/where", n.Where, "A place", places)
		list, doubtful, unreadable := fs.completions(here+"/read", n.Read)
		if list == nil {
			continue
		}
		possible[i] = list
		out.Numbers = append(out.Numbers, in.identify(n, list, doubtful, unreadable))
		if n.Altered {
			out.Stop = identityStop
		}
	}
	if err := fs.err("The identity"); err != nil {
		return IdentityResult{}, err
	}
	if len(in.Numbers) == 0 {
		return IdentityResult{}, insufficient("/numbers", "There is no number", "Read one by raking light, and write doubtful figures in brackets.")
	}
	for i, rung := range []string{"a", "b", "c"} {
		out.Ladder = append(out.Ladder, joined(rung, i, out.Numbers))
	}
	out.Ladder = append(out.Ladder, in.pair(possible), in.authentic())
	return out, nil
}

// identify answers the first three rungs for one number.
func (in *IdentityInput) identify(n ReadNumber, list []string, doubtful, unreadable int) NumberIdentity {
	out := NumberIdentity{Where: n.Where, Read: n.Read, Possible: len(list)}
	rung := func(name, state, why string) {
		out.Rungs = append(out.Rungs, Rung{name, rungQuestions[name], state, why})
	}
	switch {
	case unreadable > 0:
		rung("a", rungNot, counted(unreadable, "figure")+" cannot be read")
	case doubtful > 0:
		rung("a", rungUnknown, "it may be "+listed(list))
	default:
		rung("a", rungHolds, "every character was read")
	}
	var series []NumberSeries
	for _, s := range in.Series {
		if s.Where == n.Where && s.covers(in.Year) {
			series = append(series, s)
		}
	}
	if len(series) == 0 {
		rung("b", rungUnknown, "no form of such numbers is known")
		rung("c", rungUnknown, "no range of such numbers is known")
		return out
	}
	state, which := holding(list, func(x string) bool {
		return slices.ContainsFunc(series, func(s NumberSeries) bool { _, ok := formed(s.Form, x); return ok })
	})
	rung("b", state, possibly(state, which, "the form of "+series[0].ID, "no known form of the period"))
	var ranges []rangeOf
	for _, s := range series {
		for _, r := range s.Ranges {
			if r.Type == in.Type && r.covers(in.Year) {
				ranges = append(ranges, rangeOf{s.Form, r})
			}
		}
	}
	if len(ranges) == 0 {
		why := "no range of the type " + quote(in.Type) + " is known"
		if in.Type == "" {
			why = "the type was not stated"
		}
		rung("c", rungUnknown, why)
		return out
	}
	state, out.Within = holding(list, func(x string) bool {
		return slices.ContainsFunc(ranges, func(r rangeOf) bool { return r.holds(x) })
	})
	rung("c", state, possibly(state, out.Within, "the range "+number(ranges[0].First)+" to "+number(ranges[0].Last)+" of the type", "no range of the type"))
	return out
}

// rangeOf is a range with the form of its numbers.
type rangeOf struct {
	form string
	NumberRange
}

func (r rangeOf) holds(x string) bool {
	figures, ok := formed(r.form, x)
	v, err := strconv.ParseFloat(figures, 64)
	return ok && err == nil && v >= r.First && v <= r.Last
}

func (r NumberRange) covers(year *float64) bool {
	return year == nil || *year >= r.From && *year <= r.To
}

// covers says whether a series was in use in a year, as far as its ranges tell.
func (s NumberSeries) covers(year *float64) bool {
	return len(s.Ranges) == 0 || slices.ContainsFunc(s.Ranges, func(r NumberRange) bool { return r.covers(year) })
}

// pair compares what was read with the record.
func (in *IdentityInput) pair(possible [][]string) Rung {
	r := Rung{"d", rungQuestions["d"], rungUnknown, "there is no record"}
	if in.Record == nil {
		return r
	}
	compared, agree := 0, 0
	for i, n := range in.Numbers {
		j := slices.IndexFunc(in.Record.Numbers, func(x RecordedNumber) bool { return x.Where == n.Where })
		if j < 0 {
			continue
		}
		var fs faults
		recorded, _, _ := fs.completions("", in.Record.Numbers[j].Number)
		state, _ := holding(possible[i], func(x string) bool { return slices.Contains(recorded, x) })
		if state == rungNot {
			r.State, r.Why = rungNot, n.Where+" was read as "+listed(possible[i])+", and the record has "+in.Record.Numbers[j].Number
			return r
		}
		compared++
		if state == rungHolds && len(recorded) == 1 {
			agree++
		}
	}
	switch {
	case compared < 2:
		r.Why = "fewer than two numbers stand both on the machine and in the record"
	case agree < compared:
		r.Why = "a doubtful character leaves it open"
	default:
		r.State, r.Why = rungHolds, counted(compared, "number")+" agree with the record"
	}
	return r
}

func (in *IdentityInput) authentic() Rung {
	r := Rung{"e", rungQuestions["e"], rungUnknown, "there is no record"}
	if in.Record == nil {
		return r
	}
	switch in.Record.Authentic {
	case "yes":
		r.State, r.Why = rungHolds, in.Record.Basis
	case "no":
		r.State, r.Why = rungNot, in.Record.Basis
	default:
		r.Why = "nobody has said how the record is known to be what it seems"
	}
	return r
}

// joined is a rung for all numbers: it holds if it holds for each.
func joined(name string, i int, numbers []NumberIdentity) Rung {
	r := Rung{name, rungQuestions[name], rungHolds, "for every number"}
	for _, n := range numbers {
		if x := n.Rungs[i]; x.State == rungNot || x.State == rungUnknown && r.State == rungHolds {
			r.State, r.Why = x.State, n.Where+": "+x.Why
		}
	}
	return r
}

func possibly(state string, which []string, what, none string) string {
	switch state {
	case rungHolds:
		return "it has " + what
	case rungNot:
		return "it has " + none
	}
	return "only as " + listed(which) + " has it " + what
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func (in *IdentityInput) check(fs *faults) {
	fs.count("/numbers", len(in.Numbers), maxNumbers, "numbers")
	fs.count("/series", len(in.Series), maxSeries, "series")
	if in.Year != nil {
		fs.span("/year", *in.Year, 1880, 2100, "A year", "as a year")
	}
	seen, ranges := map[string]bool{}, 0
	for i, s := range in.Series {
		here := at("/series", i)
		fs.unique(here+"/id", s.ID, "A series", seen)
		fs.name(here+"/where", s.Where, "A place")
		fs.name(here+"/form", s.Form, "A form")
		ranges += len(s.Ranges)
		for j, r := range s.Ranges {
			here := at(here+"/ranges", j)
			fs.name(here+"/type", r.Type, "A type")
			fs.serial(here+"/first", r.First)
			fs.serial(here+"/last", r.Last)
			if r.First > r.Last || r.From > r.To {
				fs.add(here, number(r.First)+" to "+number(r.Last)+", "+number(r.From)+" to "+number(r.To), "the smaller first", "The range ends before it begins", "Turn it round.")
			}
		}
	}
	fs.count("/series", ranges, maxRanges, "ranges")
	if in.Record == nil {
		return
	}
	fs.count("/record/numbers", len(in.Record.Numbers), maxNumbers, "numbers")
	seen = map[string]bool{}
	for i, n := range in.Record.Numbers {
		fs.unique(at("/record/numbers", i)+"/where", n.Where, "A place", seen)
		fs.completions(at("/record/numbers", i)+"/number", n.Number)
	}
	switch in.Record.Authentic {
	case "yes", "no":
		fs.name("/record/basis", in.Record.Basis, "What is said of a record")
	case "unknown":
	default:
		fs.add("/record/authentic", quote(in.Record.Authentic), "yes, no, unknown", "A record is authentic, or not, or nobody knows", "Use one of the words.")
	}
}

func readIdentityInput(r *reader, n *node) (in IdentityInput) {
	r.object(n, "",
		member{"make", false, r.text(&in.Make)},
		member{"type", false, r.text(&in.Type)},
		member{"year", false, r.optional(&in.Year)},
		member{"numbers", true, r.array(func(n *node, pointer string) {
			var x ReadNumber
			r.object(n, pointer,
				member{"where", true, r.text(&x.Where)},
				member{"read", true, r.text(&x.Read)},
				member{"altered", false, r.flag(&x.Altered)},
			)
			in.Numbers = append(in.Numbers, x)
		})},
		member{"series", false, r.array(func(n *node, pointer string) {
			var s NumberSeries
			r.object(n, pointer,
				member{"id", true, r.text(&s.ID)},
				member{"where", true, r.text(&s.Where)},
				member{"form", true, r.text(&s.Form)},
				member{"ranges", false, r.array(func(n *node, pointer string) {
					var x NumberRange
					r.object(n, pointer,
						member{"type", true, r.text(&x.Type)},
						member{"first", true, r.number(&x.First)},
						member{"last", true, r.number(&x.Last)},
						member{"from_year", true, r.number(&x.From)},
						member{"to_year", true, r.number(&x.To)},
					)
					s.Ranges = append(s.Ranges, x)
				})},
			)
			in.Series = append(in.Series, s)
		})},
		member{"record", false, func(n *node, pointer string) {
			in.Record = &NumberRecord{}
			r.object(n, pointer,
				member{"numbers", true, r.array(func(n *node, pointer string) {
					var x RecordedNumber
					r.object(n, pointer,
						member{"where", true, r.text(&x.Where)},
						member{"number", true, r.text(&x.Number)},
					)
					in.Record.Numbers = append(in.Record.Numbers, x)
				})},
				member{"authentic", true, r.text(&in.Record.Authentic)},
				member{"basis", false, r.text(&in.Record.Basis)},
			)
		}},
	)
	return in
}
