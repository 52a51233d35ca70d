package workshop

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/asfound/scoring"
)

// figure writes an amount to three figures, thousands apart: 3,870. More would
// be invented.
func figure(v float64) string {
	if size := math.Abs(v); size >= 1000 {
		unit := math.Pow(10, math.Floor(math.Log10(size))-2)
		v = math.Round(v/unit) * unit
	}
	text := strconv.FormatFloat(math.Abs(math.Round(v)), 'f', 0, 64)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	if math.Round(v) < 0 {
		return "−" + text
	}
	return text
}

// signed is figure with the sign of a gain.
func signed(v float64) string {
	if math.Round(v) > 0 {
		return "+" + figure(v)
	}
	return figure(v)
}

// ValueSpan writes a level with its 80 % interval: 3,870 (3,060–4,900).
func ValueSpan(q scoring.Quantiles) string {
	return fmt.Sprintf("%s (%s–%s)", figure(q.Median), figure(q.Low10), figure(q.High90))
}

// RatioSpan writes a ratio with its 80 % interval: 1.25 (1.18–1.33).
func RatioSpan(q scoring.Quantiles) string {
	return fmt.Sprintf("%.2f (%.2f–%.2f)", q.Median, q.Low10, q.High90)
}

// NetSpan writes what is left over after the cost: −210 (−502 to +154).
func NetSpan(q scoring.Quantiles) string {
	return fmt.Sprintf("%s (%s to %s)", signed(q.Median), signed(q.Low10), signed(q.High90))
}

// words says the whole in a few sentences.
func (r *ValueReport) words() string {
	var out []string
	if level := r.Result.Before.Level; level != nil {
		out = append(out, fmt.Sprintf("As it stands about %s %s, with a chance of 80 %% inside the range.", ValueSpan(*level), r.Currency))
	} else {
		out = append(out, "There is no figure for what it would fetch as it stands. "+strings.Join(r.Result.Before.Refusals, " "))
	}
	for _, a := range r.Result.Afters {
		out = append(out, r.sentence(a))
	}
	return strings.Join(out, " ")
}

// sentence says what one plan does.
func (r *ValueReport) sentence(a scoring.AfterValue) string {
	plan := fmt.Sprintf("The plan %q", a.ID)
	if len(r.Result.Afters) == 1 {
		plan = "This plan"
	}
	said := plan + " multiplies it by " + RatioSpan(a.Ratio)
	if a.Ratio.Low10 == 1 && a.Ratio.High90 == 1 {
		said = plan + " changes nothing that the sales could price"
	}
	if a.MostlyPrior {
		said += " (mostly prior: few sales speak to it)"
	}
	switch {
	case a.Net != nil:
		verdict := ""
		switch {
		case a.Net.High90 < 0:
			verdict = "but costs more than it adds, even at the upper end"
		case a.Net.Median < 0:
			verdict = "but costs more than it adds"
		case a.Net.Low10 > 0:
			verdict = "and adds more than it costs, even at the lower end"
		default:
			verdict = "and adds more than it costs"
		}
		said += fmt.Sprintf(" %s: net %s %s for a cost of %s; chance of a loss %s", verdict, NetSpan(*a.Net), r.Currency, figure(*a.Cost), a.ChanceOfLoss.Printed)
	case a.Cost != nil:
		said += fmt.Sprintf("; what is left after its cost of %s %s cannot be said without a level before and after", figure(*a.Cost), r.Currency)
	}
	return said + "."
}
