package scoring

import "math"

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
	out := JudgingResult{Rule: in.Rule, Reached: []string{}, Barred: []string{}, Statement: OnlyTheBody}
	seen := map[string]bool{}
	for i, c := range in.Categories {
		here := at("/categories", i)
		fs.unique(here+"/id", c.ID, "The category "+quote(c.ID), seen)
		fs.span(here+"/points", c.Points, 0, 1000, "The points of a category", "points")
		fs.span(here+"/most_lost", c.MostLost, 0, 1000, "The largest deduction", "points")
		if !(c.Lost >= 0 && c.Lost <= c.MostLost) {
			fs.add(here+"/lost", number(c.Lost), "0 to "+number(c.MostLost), "The deduction is more than this category may lose, or less than nothing", "Correct it.")
		} else if steps := c.Lost / in.Step; in.Step > 0 && math.Abs(steps-math.Round(steps)) > 1e-9 {
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
