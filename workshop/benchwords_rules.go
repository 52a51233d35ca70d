package workshop

import (
	"fmt"
	"strings"

	"example.org/asfound/scoring"
)

func ageWords(r *scoring.AgeResult) BenchWords {
	b := BenchWords{Notes: []string{r.Statement}}
	var said []string
	switch len(r.Classes) {
	case 0:
	case 1:
		said = append(said, fmt.Sprintf("It falls in the class “%s”.", r.Classes[0]))
	default:
		said = append(said, fmt.Sprintf("It may fall in any of these classes: %s. A closer date would tell.", strings.Join(r.Classes, ", ")))
	}
	if say, ok := map[string]string{"yes": "It is old enough.", "no": "It is not old enough.", "cannot tell": "It cannot be told whether it is old enough; a closer date would tell."}[r.OldEnough]; ok {
		said = append(said, say)
	}
	if len(said) == 0 {
		said = append(said, "It falls in none of the classes.")
	}
	b.Says = strings.Join(said, " ")
	for _, c := range r.Changes {
		b.figure(c.ID, "%s", map[string]string{"yes": "counts as of the period", "no": "does not count as of the period", "cannot tell": "cannot be told; a closer date would tell"}[c.OfPeriod])
	}
	return b
}

// outcomeWords says whether a rule is met.
var outcomeWords = map[string]string{"meets": "These figures meet the rule.", "does not meet": "These figures do not meet the rule.", "cannot tell": "It is open, while areas are not judged."}

func percentagesWords(r *scoring.PercentagesResult) BenchWords {
	b := BenchWords{Says: outcomeWords[r.Outcome], Notes: []string{r.Statement}}
	if r.By == "count" {
		b.figure("Areas that reach it", "%g to %g, and %g are needed", r.Low, r.High, r.Needed)
	} else {
		b.figure("Mean of the areas", "%.4g to %.4g %%, and %.4g %% are needed", r.Low, r.High, r.Needed)
	}
	if len(r.Below) > 0 {
		b.figure("Below the percentage asked for", "%s", strings.Join(r.Below, ", "))
	}
	if len(r.Unknown) > 0 {
		b.figure("Not judged", "%s", strings.Join(r.Unknown, ", "))
	}
	return b
}

func judgingWords(r *scoring.JudgingResult) BenchWords {
	b := BenchWords{Says: fmt.Sprintf("The sheet adds up to %g of %g points, and reaches no award line.", r.Score, r.Most), Notes: []string{r.Statement}}
	if r.Highest != "" {
		b.Says = fmt.Sprintf("The sheet adds up to %g of %g points. The highest award line that it reaches: %s.", r.Score, r.Most, r.Highest)
		b.figure("Lines that it reaches", "%s", strings.Join(r.Reached, ", "))
	}
	if len(r.Barred) > 0 {
		b.figure("Reached by points, but an award that must come before is lacking", "%s", strings.Join(r.Barred, ", "))
	}
	return b
}

func kappaWords(r *scoring.AgreementResult) BenchWords {
	b := BenchWords{Says: fmt.Sprintf("Kappa is %.2f.", r.Kappa), Notes: append([]string{}, r.Cautions...), Then: r.Advice}
	if r.SE != nil {
		b.Says = fmt.Sprintf("Kappa is %.2f, between %.2f and %.2f with a chance of 95 %%.", r.Kappa, *r.Low95, *r.High95)
		b.figure("Standard error", "%.3f", *r.SE)
	}
	b.figure("Alike for both", "%.0f %% of %d items; chance alone would give %.0f %%", 100*r.Observed, r.Items, 100*r.Chance)
	return b
}
