package scoring

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Sentences that stand beside a valuation: what was withheld or what to bear in
// mind, and what would help.

// shown writes a figure for a sentence.
func shown(v float64) string {
	if size := math.Abs(v); size >= 1000 {
		return strconv.FormatFloat(math.Round(v), 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'g', 3, 64)
}

// feature is how a column of Features is spoken of.
type feature struct {
	name, unit string
	of         func(f Features) float64
}

func spoken() []feature {
	return []feature{
		{"originality", "", func(f Features) float64 { return f.Originality }},
		{"condition", "", func(f Features) float64 { return f.Condition }},
		{"distance", " mi", func(f Features) float64 { return f.Distance }},
		{"tier", "", func(f Features) float64 { return f.Tier }},
	}
}

// outside says which features lie outside those of the sales.
func outside(sales []Sale, f Features) (said []string) {
	if len(sales) == 0 {
		return nil
	}
	for _, one := range spoken() {
		low, high := math.Inf(1), math.Inf(-1)
		for _, s := range sales {
			low, high = min(low, one.of(s.Features)), max(high, one.of(s.Features))
		}
		if v := one.of(f); v < low || v > high {
			said = append(said, fmt.Sprintf("%s %s%s (sales: %s to %s%s)", one.name, shown(v), one.unit, shown(low), shown(high), one.unit))
		}
	}
	return said
}

func (m *valuation) levelRefusals(in ValueInput, f Features, l LevelValue) []string {
	said := []string{}
	if len(in.Sales) == 0 {
		return append(said, "No level: there is no comparable sale, and the prior alone is no price. "+
			strconv.Itoa(int(MinEffectiveSales))+" or more sales of like machines would help.")
	}
	if l.NEffective < MinEffectiveSales {
		said = append(said, fmt.Sprintf("No level: it would rest on the weight of %.1f sales, and %g are needed. Sales of machines in like state would help.",
			l.NEffective, MinEffectiveSales))
	}
	if l.Leverage > MaxLeverage {
		said = append(said, fmt.Sprintf("No level: the machine is too unlike those sold (leverage %.2f, at most %g). Sales of machines more like it would help.",
			l.Leverage, MaxLeverage))
	}
	if out := outside(in.Sales, f); len(out) > 0 {
		said = append(said, "No level: outside the range of the sales: "+strings.Join(out, ", ")+". Sales beyond it would help.")
	}
	return said
}

func (m *valuation) ratioCautions(in ValueInput, a After, value AfterValue) []string {
	said := []string{}
	if value.MostlyPrior {
		said = append(said, fmt.Sprintf("The ratio is mostly prior: the sales took away %s of its prior variance. Sales that differ in what the act changes would help.",
			Percent(*value.FromSales)))
	}
	for _, one := range []struct {
		when string
		f    Features
	}{{"before", in.Before.Features}, {"after", a.Features}} {
		if out := outside(in.Sales, one.f); len(out) > 0 {
			said = append(said, "The ratio reaches beyond the sales "+one.when+" the act: "+strings.Join(out, ", ")+".")
		}
	}
	if p := value.ChanceOfFall.P; p < 0.01 || p > 0.99 {
		said = append(said, "The chance of a fall is that far from even only if the form of the model holds, which is assumed.")
	}
	return said
}

func (m *valuation) cautions(in ValueInput) []string {
	said := []string{}
	if len(in.Sales) == 0 {
		said = append(said, "There are no sales: every figure is the prior's.")
	}
	own, unnamed, others := 0, 0, []string{}
	for _, s := range in.Sales {
		switch {
		case s.Make == "":
			unnamed++
		case s.Make == in.Before.Make:
			own++
		case !slices.Contains(others, s.Make):
			others = append(others, s.Make)
		}
	}
	makers := len(others)
	if own > 0 {
		makers++
	}
	if len(in.Sales) > 0 && in.Makes != nil && in.Before.Make != "" && own == 0 {
		said = append(said, "No sale is of the make "+quote(in.Before.Make)+": the level is widened by what makes differ. The ratio is not touched by it. A sale of this make would help.")
	}
	if in.Makes != nil && unnamed > 0 {
		said = append(said, strconv.Itoa(unnamed)+" of the sales name no make and count as of a middling one. Naming it would help.")
	}
	if in.Makes == nil && (makers > 1 || in.Before.Make != "" && len(others) > 0) {
		said = append(said, "Makes differ among the sales, and no spread of makes is given: they are taken as alike.")
	}
	if m.share < 1 {
		said = append(said, "The ratio compares two sales of such machines, which share "+Percent(m.share)+" of what the features do not explain; with a share of 1 it would be what the act does to one machine.")
	}
	return said
}
