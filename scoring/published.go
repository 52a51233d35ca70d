package scoring

import "strings"

// Some methods work out a rule that somebody else publishes, by its own numbers:
// Criteria, Points, Percentages, Judging and Age. None of them is part of an index.

const maxCriteria = 100

// OnlyTheBody stands beside every answer about a rule that somebody else
// publishes.
const OnlyTheBody = "Only the body that publishes the rule can award or refuse it, after looking at the machine. This says what the evidence supports, is no index of this program, and is not mixed with one."

// PublishedRule says whose words are applied. Editions differ, so it is needed.
type PublishedRule struct {
	Title   string `json:"title"`
	Source  string `json:"source"`
	Edition string `json:"edition"`
}

func (fs *faults) rule(rule PublishedRule) {
	fs.published("/rule/title", rule.Title, "The rule has no title")
	fs.published("/rule/source", rule.Source, "It is not said who publishes the rule")
	fs.published("/rule/edition", rule.Edition, "It is not said which edition of the rule is used")
}

func (fs *faults) published(pointer, s, message string) {
	if strings.TrimSpace(s) == "" || len(s) > 2000 {
		fs.add(pointer, quote(s), "1 to 2000 bytes", message, "Copy it from the catalog, or write it.")
	}
}

func (r *reader) rule(to *PublishedRule) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		r.object(n, pointer,
			member{"title", true, r.text(&to.Title)},
			member{"source", true, r.text(&to.Source)},
			member{"edition", true, r.text(&to.Edition)},
		)
	}
}

// Outcomes of a published rule.
const (
	ruleMet    = "meets"
	ruleNotMet = "does not meet"
)

// metOrNot is the outcome when the figure asked for lies between low and high.
func metOrNot(low, high, least float64) string {
	switch {
	case low >= least:
		return ruleMet
	case high < least:
		return ruleNotMet
	}
	return cannotTell
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
