package scoring

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
	out := PercentagesResult{Rule: in.Rule, By: in.By, Needed: in.Least, Below: []string{}, Unknown: []string{}, Statement: OnlyTheBody}
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
