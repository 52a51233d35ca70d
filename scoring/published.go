package scoring

import "example.org/asfound/registry"

// The calculators of this file, like Criteria and Points, work out a rule that
// somebody publishes, by its own numbers. None of them is part of an index.

// PercentagesInput asks a rule that wants percentages of original substance in
// areas of the machine.
type PercentagesInput struct {
	Rule  PublishedRule    `json:"rule"`
	Areas []PercentageArea `json:"areas"`
	// By is "mean": the mean of all areas is at least Least; or "count": at
	// least Count areas reach Least.
	By    string  `json:"by"`
	Least float64 `json:"least"` // per cent
	Count int     `json:"count,omitempty"`
}

// PercentageArea is one area.
type PercentageArea struct {
	ID      string   `json:"id"`
	Percent *float64 `json:"percent,omitempty"` // absent when it was not judged
}

// PercentagesResult is the figure of the rule; Low and High differ when an area
// was not judged.
type PercentagesResult struct {
	Rule      PublishedRule `json:"rule"`
	By        string        `json:"by"`
	Low       float64       `json:"low"`  // the mean in per cent, or the number of areas that reach it
	High      float64       `json:"high"` // likewise
	Needed    float64       `json:"needed"`
	Outcome   string        `json:"outcome"` // meets, does not meet, cannot tell
	Below     []string      `json:"below"`   // areas under Least: what a mean hides
	Unknown   []string      `json:"unknown"`
	Statement string        `json:"statement"`
}

// Percentages works out a published rule on the percentages of areas: their
// mean, or how many reach a limit. An area that was not judged may be anything
// from 0 to 100.
//
// It refuses (CodeInsufficient) a rule without areas, and (CodeInvalid) a
// percentage outside 0 to 100 and a rule of neither kind.
func Percentages(in PercentagesInput) (PercentagesResult, error) {
	var fs faults
	fs.rule(in.Rule)
	fs.count("/areas", len(in.Areas), maxCriteria, "areas")
	fs.span("/least", in.Least, 0, 100, "The percentage asked for", "per cent")
	if in.By != "mean" && in.By != "count" {
		fs.add("/by", quote(in.By), "mean, count", "The rule is of no known kind", "Say whether it asks for a mean or counts areas.")
	}
	if in.By == "count" && (in.Count < 1 || in.Count > len(in.Areas)) || in.By == "mean" && in.Count != 0 {
		fs.add("/count", number(float64(in.Count)), "1 to the number of areas; none for a mean", "The number of areas asked for is out of range", "Correct it.")
	}
	out := PercentagesResult{Rule: in.Rule, By: in.By, Needed: in.Least, Below: []string{}, Unknown: []string{}, Statement: onlyTheBody}
	seen := map[string]bool{}
	low, high, reached, may := 0.0, 0.0, 0.0, 0.0
	for i, a := range in.Areas {
		here := at("/areas", i)
		fs.unique(here+"/id", a.ID, "The area "+quote(a.ID), seen)
		switch {
		case a.Percent == nil:
			out.Unknown = append(out.Unknown, a.ID)
			high += 100
			may++
			continue
		case *a.Percent >= in.Least:
			reached++
			may++
		default:
			out.Below = append(out.Below, a.ID)
		}
		fs.span(here+"/percent", *a.Percent, 0, 100, "A percentage", "per cent")
		low += *a.Percent
		high += *a.Percent
	}
	if err := fs.err("The percentages"); err != nil {
		return PercentagesResult{}, err
	}
	if len(in.Areas) == 0 {
		return PercentagesResult{}, insufficient("/areas", "The rule has no areas", "Copy them from the catalog.")
	}
	if out.Low, out.High = low/float64(len(in.Areas)), high/float64(len(in.Areas)); in.By == "count" {
		out.Low, out.High, out.Needed = reached, may, float64(in.Count)
	}
	out.Outcome = metOrNot(out.Low, out.High, out.Needed)
	return out, nil
}

// JudgingInput asks which award lines a judging sheet reaches.
type JudgingInput struct {
	Rule       PublishedRule     `json:"rule"`
	Categories []JudgingCategory `json:"categories"`
	Step       float64           `json:"step"` // the smallest deduction, in points
	Awards     []JudgingAward    `json:"awards"`
	Has        []string          `json:"has"` // awards that the machine has already
}

// JudgingCategory is one line of the sheet.
type JudgingCategory struct {
	ID       string  `json:"id"`
	Points   float64 `json:"points"`    // when nothing is deducted
	MostLost float64 `json:"most_lost"` // that may be deducted; may exceed Points where the rule says so
	Lost     float64 `json:"lost"`
}

// JudgingAward is one award line.
type JudgingAward struct {
	ID    string   `json:"id"`
	Least float64  `json:"least"`
	Needs []string `json:"needs,omitempty"` // awards that must have been won before
}

// JudgingResult is the score of the sheet.
type JudgingResult struct {
	Rule  PublishedRule `json:"rule"`
	Score float64       `json:"score"`
	Most  float64       `json:"most"`
	// Reached are the award lines that the score reaches with what they need;
	// Barred those that it reaches without. Highest is the last of Reached with
	// the highest line; "" when there is none.
	Reached   []string `json:"reached"`
	Barred    []string `json:"barred"`
	Highest   string   `json:"highest"`
	Statement string   `json:"statement"`
}

// Judging adds up a judging sheet by a published rule: points less deductions,
// and the award lines that the score reaches.
//
// It refuses (CodeInsufficient) a sheet without categories, and (CodeInvalid)
// deductions that are no multiple of the step or more than a category may lose,
// and awards that need one that does not exist.
func Judging(in JudgingInput) (JudgingResult, error) {
	var fs faults
	fs.rule(in.Rule)
	fs.count("/categories", len(in.Categories), maxCriteria, "categories")
	fs.count("/awards", len(in.Awards), maxCriteria, "awards")
	fs.span("/step", in.Step, 0.001, 100, "The step", "points")
	out := JudgingResult{Rule: in.Rule, Reached: []string{}, Barred: []string{}, Statement: onlyTheBody}
	seen := map[string]bool{}
	for i, c := range in.Categories {
		here := at("/categories", i)
		fs.unique(here+"/id", c.ID, "The category "+quote(c.ID), seen)
		fs.span(here+"/points", c.Points, 0, 1000, "The points of a category", "points")
		fs.span(here+"/most_lost", c.MostLost, 0, 1000, "The largest deduction", "points")
		if !(c.Lost >= 0 && c.Lost <= c.MostLost) {
			fs.add(here+"/lost", number(c.Lost), "0 to "+number(c.MostLost), "The deduction is more than this category may lose, or less than nothing", "Correct it.")
		} else if steps := c.Lost / in.Step; in.Step > 0 && steps != float64(int64(steps)) {
			fs.add(here+"/lost", number(c.Lost), "steps of "+number(in.Step), "The sheet has no such step", "Round the deduction.")
		}
		out.Most += c.Points
		out.Score += c.Points - c.Lost
	}
	awards, has := map[string]bool{}, map[string]bool{}
	for i, a := range in.Awards {
		fs.unique(at("/awards", i)+"/id", a.ID, "The award "+quote(a.ID), awards)
		fs.span(at("/awards", i)+"/least", a.Least, 0, 1e6, "The line of an award", "points")
	}
	known := func(pointer string, ids []string) {
		for i, id := range ids {
			if !awards[id] {
				fs.add(at(pointer, i), quote(id), "the ids of the awards", "There is no such award", "Correct the id.")
			}
		}
	}
	known("/has", in.Has)
	for _, id := range in.Has {
		has[id] = true
	}
	for i, a := range in.Awards {
		known(at("/awards", i)+"/needs", a.Needs)
	}
	if err := fs.err("The judging sheet"); err != nil {
		return JudgingResult{}, err
	}
	if len(in.Categories) == 0 {
		return JudgingResult{}, insufficient("/categories", "The sheet has no categories", "Copy them from the catalog.")
	}
	line := 0.0
	for _, a := range in.Awards {
		if out.Score < a.Least {
			continue
		}
		barred := false
		for _, id := range a.Needs {
			barred = barred || !has[id]
		}
		if barred {
			out.Barred = append(out.Barred, a.ID)
			continue
		}
		out.Reached = append(out.Reached, a.ID)
		if a.Least >= line {
			line, out.Highest = a.Least, a.ID
		}
	}
	return out, nil
}

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
	out := AgeResult{Rule: in.Rule, Classes: []string{}, Changes: []AgeChangeResult{}, Statement: onlyTheBody}
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

// wholeNumber reads a whole number.
func (r *reader) wholeNumber(to *int) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		var v float64
		r.number(&v)(n, pointer)
		if *to = int(min(max(v, -1e9), 1e9)); float64(*to) != v {
			r.add(pointer, number(v), "a whole number", "This is not a whole number", "Round it.")
		}
	}
}

func readPercentagesInput(r *reader, n *node) (in PercentagesInput) {
	r.object(n, "",
		member{"rule", true, r.rule(&in.Rule)},
		member{"areas", true, r.array(func(n *node, pointer string) {
			var a PercentageArea
			r.object(n, pointer, member{"id", true, r.text(&a.ID)}, member{"percent", false, r.optional(&a.Percent)})
			in.Areas = append(in.Areas, a)
		})},
		member{"by", true, r.text(&in.By)},
		member{"least", true, r.number(&in.Least)},
		member{"count", false, r.wholeNumber(&in.Count)},
	)
	return in
}

func readJudgingInput(r *reader, n *node) (in JudgingInput) {
	r.object(n, "",
		member{"rule", true, r.rule(&in.Rule)},
		member{"categories", true, r.array(func(n *node, pointer string) {
			var c JudgingCategory
			r.object(n, pointer,
				member{"id", true, r.text(&c.ID)},
				member{"points", true, r.number(&c.Points)},
				member{"most_lost", true, r.number(&c.MostLost)},
				member{"lost", true, r.number(&c.Lost)},
			)
			in.Categories = append(in.Categories, c)
		})},
		member{"step", true, r.number(&in.Step)},
		member{"awards", true, r.array(func(n *node, pointer string) {
			var a JudgingAward
			r.object(n, pointer,
				member{"id", true, r.text(&a.ID)},
				member{"least", true, r.number(&a.Least)},
				member{"needs", false, r.texts(&a.Needs)},
			)
			in.Awards = append(in.Awards, a)
		})},
		member{"has", false, r.texts(&in.Has)},
	)
	return in
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
