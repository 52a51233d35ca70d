package scoring

import "example.org/asfound/registry"

// AgeInput asks a rule that goes by dates. All dates are as registry.Date
// writes them, with as much as is known.
type AgeInput struct {
	Rule  PublishedRule `json:"rule"`
	First registry.Date `json:"first"` // built or first registered, as the rule says
	At    string        `json:"at"`    // the day of asking, 2006-01-02
	// LeastYears is the age asked for; PeriodYears how long after First a change
	// counts as of the period. Each may be left out.
	LeastYears  *float64    `json:"least_years,omitempty"`
	PeriodYears *float64    `json:"period_years,omitempty"`
	Changes     []AgeChange `json:"changes,omitempty"`
	Classes     []AgeClass  `json:"classes,omitempty"`
	// AboutYears is how far a date marked "~" or "?" may be off either way; 5 if
	// nil, an assumption.
	AboutYears *float64 `json:"about_years,omitempty"`
}

const defaultAboutYears = 5.0

// AgeChange is a change that was made to the machine.
type AgeChange struct {
	ID   string        `json:"id"`
	Date registry.Date `json:"date"`
}

// AgeClass is one class of a rule, from and to inclusive; "" is an open end.
type AgeClass struct {
	ID   string `json:"id"`
	From string `json:"from,omitempty"`
	To   string `json:"to,omitempty"`
}

// AgeResult is what follows from the dates.
type AgeResult struct {
	Rule PublishedRule `json:"rule"`
	// OldEnough is "yes", "no" or "cannot tell"; "" when no age was asked for.
	OldEnough string `json:"old_enough,omitempty"`
	// Classes are those that the date may fall in: one, several or none.
	Classes   []string          `json:"classes"`
	Changes   []AgeChangeResult `json:"changes"`
	Statement string            `json:"statement"`
}

// AgeChangeResult says whether a change counts as of the period: "yes", "no" or
// "cannot tell".
type AgeChangeResult struct {
	ID       string `json:"id"`
	OfPeriod string `json:"of_period"`
}

// Age works out a published rule that goes by dates: the class of a date, the
// age on a day, and whether a change was made within so many years. A date that
// is not known to the day may touch several classes; all are named.
//
// It refuses (CodeInvalid) dates that are none, and (CodeInsufficient) a machine
// without a date.
func Age(in AgeInput) (AgeResult, error) {
	var fs faults
	fs.rule(in.Rule)
	asked := fs.date("/at", in.At)
	out := AgeResult{Rule: in.Rule, Classes: []string{}, Changes: []AgeChangeResult{}, Statement: OnlyTheBody}
	if in.First == "" {
		return out, insufficient("/first", "It is not known when the machine was built or first registered", "Give what is known, such as 195X or 1957~.")
	}
	about := defaultAboutYears
	if in.AboutYears != nil {
		about = *in.AboutYears
	}
	first := fs.when("/first", in.First, about)
	fs.count("/classes", len(in.Classes), maxCriteria, "classes")
	fs.count("/changes", len(in.Changes), maxCriteria, "changes")
	for _, years := range []struct {
		pointer string
		v       *float64
	}{{"/least_years", in.LeastYears}, {"/period_years", in.PeriodYears}, {"/about_years", in.AboutYears}} {
		if years.v != nil && !(*years.v >= 0 && *years.v <= 200 && *years.v == float64(int(*years.v))) {
			fs.add(years.pointer, number(*years.v), "a whole number, 0 to 200", "The number of years is out of range", "Write whole years.")
		}
	}
	seen := map[string]bool{}
	for i, c := range in.Classes {
		here := at("/classes", i)
		fs.unique(here+"/id", c.ID, "The class "+quote(c.ID), seen)
		var span registry.Span
		if c.From != "" {
			span.First = fs.date(here+"/from", c.From)
		}
		if c.To != "" {
			span.Last = fs.date(here+"/to", c.To)
		}
		if touch(span, first) {
			out.Classes = append(out.Classes, c.ID)
		}
	}
	changes := map[string]bool{}
	for i, c := range in.Changes {
		here := at("/changes", i)
		fs.unique(here+"/id", c.ID, "The change "+quote(c.ID), changes)
		made := fs.when(here+"/date", c.Date, about)
		if in.PeriodYears == nil {
			fs.add("/period_years", "", "years", "It is not said how long changes count as of the period", "Give the years, or no changes.")
			break
		}
		out.Changes = append(out.Changes, AgeChangeResult{c.ID, within(first, made, int(*in.PeriodYears))})
	}
	if err := fs.err("The age"); err != nil {
		return AgeResult{}, err
	}
	if in.LeastYears != nil {
		out.OldEnough = opposite(within(first, registry.Span{First: asked.AddDate(0, 0, 1), Last: asked.AddDate(0, 0, 1)}, int(*in.LeastYears)))
	}
	return out, nil
}

// within says whether b lies at most so many years after a.
func within(a, b registry.Span, years int) string {
	// The latest b after the earliest a is within: all are. The earliest b after
	// the latest a is not: none is.
	switch {
	case !b.Last.IsZero() && !a.First.IsZero() && !b.Last.After(a.First.AddDate(years, 0, 0)):
		return "yes"
	case !b.First.IsZero() && !a.Last.IsZero() && b.First.After(a.Last.AddDate(years, 0, 0)):
		return "no"
	}
	return cannotTell
}

func opposite(s string) string {
	switch s {
	case "yes":
		return "no"
	case "no":
		return "yes"
	}
	return s
}

// touch says whether two spans share a day.
func touch(a, b registry.Span) bool {
	ends := func(x, y registry.Span) bool { return !x.Last.IsZero() && !y.First.IsZero() && x.Last.Before(y.First) }
	return !ends(a, b) && !ends(b, a)
}

// when reads a date of the registry; one that is about or uncertain is widened.
func (fs *faults) when(pointer string, d registry.Date, about float64) registry.Span {
	span, err := d.Span()
	if err != nil {
		fs.add(pointer, quote(string(d)), "1957, 1957-06, 1957-06-14, 195X, 1957~, 1957-06/1957-09", err.Error(), "Write as much as is known.")
	}
	if span.Approximate || span.Uncertain {
		if !span.First.IsZero() {
			span.First = span.First.AddDate(-int(about), 0, 0)
		}
		if !span.Last.IsZero() {
			span.Last = span.Last.AddDate(int(about), 0, 0)
		}
	}
	return span
}

func (r *reader) dateText(to *registry.Date) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		var s string
		r.text(&s)(n, pointer)
		*to = registry.Date(s)
	}
}

func readAgeInput(r *reader, n *node) (in AgeInput) {
	r.object(n, "",
		member{"rule", true, r.rule(&in.Rule)},
		member{"first", true, r.dateText(&in.First)},
		member{"at", true, r.text(&in.At)},
		member{"least_years", false, r.optional(&in.LeastYears)},
		member{"period_years", false, r.optional(&in.PeriodYears)},
		member{"about_years", false, r.optional(&in.AboutYears)},
		member{"changes", false, r.array(func(n *node, pointer string) {
			var c AgeChange
			r.object(n, pointer, member{"id", true, r.text(&c.ID)}, member{"date", true, r.dateText(&c.Date)})
			in.Changes = append(in.Changes, c)
		})},
		member{"classes", false, r.array(func(n *node, pointer string) {
			var c AgeClass
			r.object(n, pointer, member{"id", true, r.text(&c.ID)}, member{"from", false, r.text(&c.From)}, member{"to", false, r.text(&c.To)})
			in.Classes = append(in.Classes, c)
		})},
	)
	return in
}
