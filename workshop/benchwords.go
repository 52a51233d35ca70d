package workshop

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"example.org/asfound/scoring"
)

// BenchWords is a computation at the bench in words: the answer first, then the
// figures, then what to mind and what to do.
type BenchWords struct {
	Says string
	// Nothing says that nothing fits: then no candidate is an answer.
	Nothing bool
	Stop    string
	Figures []BenchFigure
	Notes   []string
	Then    string
}

// BenchFigure is one figure with its name.
type BenchFigure struct{ Name, Value string }

func (b *BenchWords) figure(name, form string, args ...any) {
	b.Figures = append(b.Figures, BenchFigure{name, fmt.Sprintf(form, args...)})
}

// Words says an answer of one of the bench's methods in words; that of another
// method stays empty.
func (a BenchAnswer) Words() (BenchWords, error) {
	say, ok := benchSayings[a.Method]
	if !ok {
		return BenchWords{}, nil
	}
	return say(a.Result)
}

var benchSayings = map[string]func([]byte) (BenchWords, error){
	scoring.MethodThread:    saying(threadWords),
	scoring.MethodStamp:     saying(stampWords),
	scoring.MethodTyre:      saying(tyreWords),
	scoring.MethodFilm:      saying(filmWords),
	scoring.MethodColour:    saying(colourWords),
	scoring.MethodCard:      saying(cardWords),
	scoring.MethodIdentity:  saying(identityWords),
	scoring.MethodVIN:       saying(vinWords),
	scoring.MethodSerial:    saying(serialWords),
	scoring.MethodSurvivors: saying(survivorsWords),
	scoring.MethodCapacity:  saying(capacityWords),
	scoring.MethodPiston:    saying(pistonWords),
	scoring.MethodGearing:   saying(gearingWords),
	scoring.MethodTorque:    saying(torqueWords),
	scoring.MethodCriteria:  saying(criteriaWords),
	scoring.MethodPoints:    saying(pointsWords),

	scoring.MethodAge:         saying(ageWords),
	scoring.MethodPercentages: saying(percentagesWords),
	scoring.MethodJudging:     saying(judgingWords),
	scoring.MethodKappa:       saying(kappaWords),
}

// saying reads a result and says it.
func saying[T any](say func(*T) BenchWords) func([]byte) (BenchWords, error) {
	return func(raw []byte) (BenchWords, error) {
		var result T
		if err := json.Unmarshal(raw, &result); err != nil {
			return BenchWords{}, err
		}
		return say(&result), nil
	}
}

func threadNames(c *scoring.ThreadCandidate) []string {
	names := []string{c.String()}
	for _, also := range c.Also {
		names = append(names, also.String())
	}
	return names
}

func threadWords(r *scoring.ThreadResult) BenchWords {
	b := BenchWords{Notes: r.Notes, Then: r.Then}
	switch {
	case !r.Fits:
		b.Nothing = true
		b.Says = fmt.Sprintf("Nothing fits. The nearest is %s, and it is no match: its fit is %.1f, where a match is above −8.", r.Nearest.ThreadName, r.Fit)
		b.Notes = append(b.Notes, "Measure again over clean turns. A stretched, re-cut or plated thread may fit nothing.")
	case len(r.Candidates) == 1:
		b.Says = "It fits one thread: " + strings.Join(threadNames(&r.Candidates[0]), ", which is the same as ") + "."
	case r.Verdict == "one thread":
		b.Says = "It is most likely " + strings.Join(threadNames(&r.Candidates[0]), ", which is the same as ") + "."
	default:
		b.Says = "These readings cannot tell which it is."
	}
	for _, c := range r.Candidates {
		b.figure(strings.Join(threadNames(&c), " = "), "%s; %s, pitch %.4g mm (%.4g to the inch), %g degrees, core %s",
			scoring.Percent(c.Probability), measured("%.4g", c.Major, "mm"), c.Pitch, 25.4/c.Pitch, c.Angle, measured("%.4g", c.Core, "mm"))
	}
	for _, t := range r.Tell {
		b.Notes = append(b.Notes, fmt.Sprintf("To tell them apart: %s. It settles %s of the doubt.", t.Measure, scoring.Percent(t.Settles)))
	}
	for _, x := range r.Confusions {
		b.Notes = append(b.Notes, "Beware: "+x.Text)
	}
	return b
}

func stampWords(r *scoring.StampResult) BenchWords {
	b := BenchWords{Notes: []string{r.Says}}
	for _, s := range r.Stamps {
		says := map[string]string{"right age": "is of the right age to have come with the machine", "undetermined": "leaves open whether the part came with the machine",
			"not with the machine": "did not leave the factory on this machine, as far as its date goes"}[s.Verdict]
		b.Says = strings.TrimSpace(b.Says + " " + fmt.Sprintf("%s reads as %s and %s.", s.ID, s.Months, says))
		b.figure(s.ID+": months before the machine", "%d", s.Lag)
		b.figure(s.ID+": came with it against fitted later", "%.3g to 1", s.Ratio)
		b.figure(s.ID+": chance that it came with it, by its date alone", "%s", scoring.Percent(s.Factory))
		for _, x := range s.Readings[:min(len(s.Readings), 6)] {
			if len(s.Readings) > 1 {
				b.figure(s.ID+" read as "+x.Code, "%s, %s", x.Months, scoring.Percent(x.Probability))
			}
		}
	}
	return b
}

func tyreWords(r *scoring.TyreResult) BenchWords {
	var years []string
	for _, y := range r.Years {
		years = append(years, fmt.Sprint(y))
	}
	b := BenchWords{Says: fmt.Sprintf("Made in week %d of %s.", r.Week, strings.Join(years, " or ")), Notes: []string{r.Says, "Age is counted from making, not from fitting. Rubber hardens unseen: age alone is reason to look for cracks before it is ridden on."}}
	if r.OldestYears != nil {
		b.figure("Age", "%.0f to %.0f years", math.Floor(*r.YoungestYears), math.Ceil(*r.OldestYears))
	}
	return b
}

func filmWords(r *scoring.FilmResult) BenchWords {
	b := BenchWords{Notes: append([]string{}, r.Cautions...)}
	b.figure(r.Reference.ID, "%.0f µm, from %d readings that scatter by %.0f µm", r.Reference.Mean, r.Reference.Readings, r.Reference.SD)
	for _, a := range r.Areas {
		word := "The readings favour neither a repaint nor the first coat."
		if a.Favours != "neither" {
			word = fmt.Sprintf("That is %s support for “%s”.", a.Words, map[string]string{"repaint": "painted again", "as made": "as it was made"}[a.Favours])
		}
		b.Says = strings.TrimSpace(b.Says + " " + fmt.Sprintf("%s carries %+.0f µm against %s. %s", a.ID, a.Difference, r.Reference.ID, word))
		b.figure(a.ID, "%.0f µm, from %d readings that scatter by %.0f µm", a.Mean, a.FilmMean.Readings, a.SD)
		b.figure(a.ID+" less "+r.Reference.ID, "%.0f ± %.0f µm, %.2f ± %.2f times", a.Difference, a.DifferenceSE, a.Ratio, a.RatioSE)
		b.figure(a.ID+": painted again against as made", "%.3g to 1", a.Tempered)
		b.Notes = append(b.Notes, a.Cautions...)
	}
	return b
}

func colourWords(r *scoring.ColourResult) BenchWords {
	d := r.Direction
	b := BenchWords{Notes: r.Cautions, Says: fmt.Sprintf("Against %s, %s differs by %.1f (CIEDE2000). Lightness: %s. Chroma: %s. Hue: %s. Of fading: %s.", r.Reference.ID, r.Area.ID, r.DeltaE00, d.Lightness, d.Chroma, d.Hue, d.Fading)}
	for _, x := range []struct {
		name  string
		shift scoring.ColourShift
	}{{"Lightness ΔL", r.DeltaL}, {"Chroma ΔC", r.DeltaC}, {"Hue ΔH", r.DeltaH}} {
		if x.shift.SE == nil {
			b.figure(x.name, "%+.2f", x.shift.Value)
		} else {
			b.figure(x.name, "%+.2f ± %.2f", x.shift.Value, *x.shift.SE)
		}
	}
	for _, m := range []scoring.ColourMean{r.Reference, r.Area} {
		b.figure(m.ID, "L %.1f, a %.1f, b %.1f (%s), from %d", m.Mean.L, m.Mean.A, m.Mean.B, r.White, m.Readings)
	}
	return b
}

func cardWords(r *scoring.CardResult) BenchWords {
	b := BenchWords{Notes: append([]string{}, r.Cautions...)}
	var said []string
	for _, a := range r.Areas {
		said = append(said, fmt.Sprintf("%s is L %.1f, a %.1f, b %.1f", a.ID, a.Lab.L, a.Lab.A, a.Lab.B))
		b.figure(a.ID, "L %.1f ± %.1f, a %.1f ± %.1f, b %.1f ± %.1f (%s)", a.Lab.L, a.Uncertainty.L, a.Lab.A, a.Uncertainty.A, a.Lab.B, a.Uncertainty.B, r.White)
		b.Notes = append(b.Notes, a.Cautions...)
	}
	b.Says = "By the card in the picture, " + strings.Join(said, "; ") + "."
	b.figure("Patches left out of the fit are missed by", "%.1f in the mean, %.1f at worst (%s), CIEDE2000", r.LeftOut.Mean, r.LeftOut.Worst, r.LeftOut.Patch)
	return b
}

func identityWords(r *scoring.IdentityResult) BenchWords {
	b := BenchWords{Notes: []string{r.Says}, Stop: r.Stop}
	holds, open := []string{}, []string{}
	for _, x := range r.Ladder {
		switch x.State {
		case "holds":
			holds = append(holds, x.Rung)
		case "unknown":
			open = append(open, x.Rung)
		default:
			b.Says += " Rung " + x.Rung + " does not hold."
		}
		b.figure(x.Rung+". "+x.Question, "%s: %s", x.State, x.Why)
	}
	said := "No rung of the ladder holds."
	if len(holds) > 0 {
		said = "Of the ladder hold: " + strings.Join(holds, ", ") + "."
	}
	if len(open) > 0 {
		said += " Unknown: " + strings.Join(open, ", ") + "."
	}
	b.Says = said + b.Says
	return b
}

func vinWords(r *scoring.VINResult) BenchWords {
	b := BenchWords{Notes: []string{r.Says}}
	for i, n := range r.Numbers {
		if i == 0 {
			b.Says = "Its check digit: " + n.Verdict + "."
		}
		var years []string
		for _, y := range n.ModelYears {
			years = append(years, fmt.Sprint(y))
		}
		b.figure(n.Number, "check digit %s, expected %s: %s; model year %s; last six %s", n.Found, n.Expected, n.Verdict, strings.Join(years, " or "), n.Serial)
	}
	return b
}

func serialWords(r *scoring.SerialResult) BenchWords {
	b := BenchWords{Says: fmt.Sprintf("It was built about %s, between %s and %s with a chance of %s.", r.Date, r.From, r.To, scoring.Percent(r.Level)),
		Notes: []string{"It holds while the numbers of the run were used in their order. Days of dispatch and of building differ by what stood in the works."}}
	b.figure("Between", "number %.0f of %s and number %.0f of %s", r.Between[0].Serial, r.Between[0].Date, r.Between[1].Serial, r.Between[1].Date)
	b.figure("Days after the first of them", "%.1f ± %.1f", r.Day, r.SD)
	return b
}

func survivorsWords(r *scoring.SurvivorsResult) BenchWords {
	b := BenchWords{Notes: r.Warnings}
	var said []string
	if s := r.Survivors; s != nil {
		said = append(said, fmt.Sprintf("About %.0f survive, between %.0f and %.0f with a chance of 95 %%; %.0f were seen.", s.Count, s.Low, s.High, s.Seen))
		b.figure("Standard error", "%.1f", s.SE)
	}
	if s := r.Built; s != nil {
		said = append(said, fmt.Sprintf("About %.0f were built, and hardly more than %.0f.", s.Count, s.Bound))
		b.figure("With a flat prior", "%.1f ± %.1f, middle %.0f, 95 %% below %.0f", s.Mean, s.SD, s.Median, s.High)
	}
	b.Says = strings.Join(said, " ")
	return b
}

func capacityWords(r *scoring.CapacityResult) BenchWords {
	b := BenchWords{Says: fmt.Sprintf("The capacity is %s.", measured("%.1f", r.Capacity, "cm³"))}
	b.figure("Each cylinder", "%s", measured("%.2f", r.PerCylinder, "cm³"))
	b.figure("Together", "%s", measured("%.2f", r.Capacity, "cm³"))
	if r.Clearance != nil && r.Ratio != nil {
		b.figure("Compression", "%.2f to 1, with %s above the piston", *r.Ratio, measured("%.2f", *r.Clearance, "cm³"))
	}
	return b
}

func pistonWords(r *scoring.PistonResult) BenchWords {
	b := BenchWords{Says: fmt.Sprintf("The piston stands %s below top dead centre at %.2f degrees of the crank.", measured("%.3f", r.Drop, "mm"), r.Crank)}
	b.figure("Drop", "%s", measured("%.3f", r.Drop, "mm"))
	b.figure("At a shaft of half engine speed", "%.2f degrees", r.HalfSpeed)
	if r.CrankError != nil {
		b.figure("Error of the crank by that of the stick", "%.2f degrees either way", *r.CrankError)
	}
	return b
}

func gearingWords(r *scoring.GearingResult) BenchWords {
	b := BenchWords{Notes: []string{r.Note}}
	for _, g := range r.Gears {
		b.figure("Gear "+g.ID, "%.2f to 1 overall; %.0f revolutions a minute at %s", g.Overall, g.RPM, measured("%.1f", g.KMH, "km/h"))
		b.Says = fmt.Sprintf("In gear %s it turns %.2f times for one of the wheel.", g.ID, g.Overall)
	}
	b.figure("Tyre reckoned with", "%s across", measured("%.0f", r.Diameter, "mm"))
	return b
}

func torqueWords(r *scoring.TorqueResult) BenchWords {
	b := BenchWords{Says: "No torque is invented here.", Notes: []string{r.Says}}
	b.figure("Tensile stress area", "%.1f mm²", r.Area)
	if r.Ceiling != nil {
		b.Says = fmt.Sprintf("Never above %s, and that is a ceiling and not a torque to tighten to.", measured("%.1f", *r.Ceiling, "N·m"))
		b.figure("Ceiling", "%s", measured("%.1f", *r.Ceiling, "N·m"))
	}
	if t := r.Tension; t != nil {
		b.figure(fmt.Sprintf("Tension at %s", measured("%.3g", t.Torque, "N·m")), "%.1f to %.1f kN", t.Low/1000, t.High/1000)
		if t.HighShare != nil {
			b.figure("Of the proof load", "%.0f to %.0f %%", 100**t.LowShare, 100**t.HighShare)
		}
	}
	return b
}

func criteriaWords(r *scoring.CriteriaResult) BenchWords {
	b := BenchWords{Notes: []string{r.Statement}}
	supported := 0
	for _, c := range r.Criteria {
		if c.Evidence == "supports" {
			supported++
		}
		name := c.Sentence
		if name == "" {
			name = c.ID
		}
		b.figure(name, "evidence: %s; %s", c.Evidence, c.Printed)
	}
	b.Says = fmt.Sprintf("The evidence supports %d of %d criteria; the weakest is %s.", supported, len(r.Criteria), r.Weakest)
	b.figure("All of them together", "%s to %s, whatever hangs together", scoring.Percent(r.Low), scoring.Percent(r.High))
	return b
}

func pointsWords(r *scoring.PointsResult) BenchWords {
	b := BenchWords{Says: fmt.Sprintf("By its points the rule is: %s.", map[string]string{"meets": "met", "does not meet": "not met", "cannot tell": "open, while items are unknown"}[r.Outcome]), Notes: []string{r.Statement}}
	b.figure("Points", "%g to %g of %g; %g are needed", r.Low, r.High, r.Most, r.Least)
	if len(r.Lacking) > 0 {
		b.figure("Must be kept and is not", "%s", strings.Join(r.Lacking, ", "))
	}
	return b
}
