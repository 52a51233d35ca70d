package workshop

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// The questions by which a drawing of the machine is shaded, group by group.
const (
	ShadeKnown     = "known"     // how much rests on evidence
	ShadeSure      = "sure"      // how sure the answers to origin are
	ShadeOrigin    = "origin"    // the substance index of each group
	ShadeFinish    = "finish"    // the surface index of each group
	ShadeCondition = "condition" // as surveyed
	ShadeLoss      = "loss"      // what options destroy for good
)

// Shades lists the questions in the order in which they are offered.
func Shades() []string {
	return []string{ShadeKnown, ShadeSure, ShadeOrigin, ShadeFinish, ShadeCondition, ShadeLoss}
}

// Levels of a shade that are no figure. Figures have the levels 1 to 5.
const (
	LevelNothing = -1 // it counts nothing in this question
	LevelUnknown = 0  // there is too little to say
)

// The words of those levels.
const (
	UnknownWords = "not known"
	NothingWords = "counts nothing here"
)

// Shading answers one question for each group of the anatomy.
type Shading struct {
	Show     string
	Title    string // the question in a few words
	Question string // the question as a sentence
	// Figure heads the column of figures, and Basis says what they rest on.
	Figure, Basis string
	// Levels say which figures each level stands for, from 1 up.
	Levels [5]string
	Groups []GroupShade
	// Refused says why there is no figure at all, and what would help.
	Refused string
	// Options are those whose loss is shown, and Openings the loss of their
	// witnesses, which belongs to joints and not to groups.
	Options  []string
	Openings []OpeningShade
}

// GroupShade is the answer for one group.
type GroupShade struct {
	Group, Name string
	Level       int
	// Value is the figure in the unit of its question; see Shown for words.
	Value, Low, High float64
	Shown            string // with its unit; "not known" without a figure
	Range            string // the interval in words, "" where there is none
	// Weight is what the group counts in this question, in points, and Rests
	// the share of it that rests on more than the prior, 0 to 1.
	Weight, Rests float64
	// Help says what would help where there is no figure.
	Help string
}

// OpeningShade is an opening and what is lost for good with its witness, in
// units of the index.
type OpeningShade struct {
	Title string
	Loss  float64
}

// Shade answers one question for each group, weighted by points. Options are
// those whose loss is asked for; empty stands for those that were last
// recommended to the owner. CodeInvalid for an unknown question, CodeNotFound
// for an option that is not on record.
func (r *Report) Shade(show string, options []string) (*Shading, error) {
	out := &Shading{Show: show}
	s := shader{r: r, out: out}
	var err error
	switch show {
	case ShadeKnown:
		s.known()
	case ShadeSure:
		s.sure()
	case ShadeOrigin:
		err = s.index(&r.Indices.Substance, 0)
	case ShadeFinish:
		err = s.index(&r.Indices.Surface, 1)
	case ShadeCondition:
		s.condition()
	case ShadeLoss:
		err = s.loss(options)
	default:
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: "There is no such question", Fields: []registry.Field{{Pointer: "/show", Found: strconv.Quote(show),
			Allowed: strings.Join(Shades(), ", "), Message: "There is no such question", Fix: "Choose one of those that are offered."}}}
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

// shader fills a Shading.
type shader struct {
	r   *Report
	out *Shading
}

// Where the levels of each question begin, from the second up. Those of
// probabilities and indices lie close at the top, where machines worth asking
// about differ.
var (
	countSteps = [4]float64{0.25, 0.5, 0.75, 1}
	indexSteps = [4]float64{0.5, 0.75, 0.9, 0.97}
	stepSteps  = [4]float64{1, 2, 3, 4}
)

// levelOf counts the steps that a figure has reached, as it is printed: to
// hundredths.
func levelOf(v float64, steps [4]float64) int {
	level := 1
	for _, s := range steps {
		if math.Round(v*100)/100 >= s {
			level++
		}
	}
	return level
}

// each makes the shade of each group with its weight in an index, 0 for
// substance and 1 for surface, and how much of it rests on evidence.
func (s *shader) each(index int, fn func(g *GroupReport, shade *GroupShade)) {
	for i := range s.r.Groups {
		g := &s.r.Groups[i]
		shade := GroupShade{Group: g.ID, Name: g.Name, Shown: UnknownWords}
		for k := range g.Components {
			c := &g.Components[k]
			if c.NotFitted {
				continue
			}
			w := c.weights.Of(indexNames[index])
			shade.Weight += w
			if c.Claims()[index].Basis != "prior" {
				shade.Rests += w
			}
		}
		if shade.Weight == 0 {
			shade.Level, shade.Shown = LevelNothing, NothingWords
		} else {
			shade.Rests /= shade.Weight
			fn(g, &shade)
		}
		s.out.Groups = append(s.out.Groups, shade)
	}
}

// heaviest names up to three components of a group for which open says yes,
// the heaviest first.
func heaviest(g *GroupReport, open func(*ComponentReport) bool) string {
	var list []*ComponentReport
	for i := range g.Components {
		if c := &g.Components[i]; !c.NotFitted && c.Points > 0 && open(c) {
			list = append(list, c)
		}
	}
	slices.SortStableFunc(list, func(a, b *ComponentReport) int { return cmp.Compare(b.Points, a.Points) })
	var names []string
	for _, c := range list[:min(len(list), 3)] {
		names = append(names, c.Name)
	}
	return strings.Join(names, "; ")
}

// enough says whether a group's figure rests on enough evidence; if not, it
// leaves the words for what would help.
func (s *shader) enough(g *GroupReport, shade *GroupShade, index int) bool {
	if shade.Rests >= s.r.minimum {
		return true
	}
	shade.Level, shade.Shown = LevelUnknown, UnknownWords
	shade.Help = fmt.Sprintf("Evidence speaks for %s of its points, and at least %s must. Survey first: %s.", scoring.Percent(shade.Rests), scoring.Percent(s.r.minimum),
		heaviest(g, func(c *ComponentReport) bool { return c.Claims()[index].Basis == "prior" }))
	return false
}

func (s *shader) known() {
	s.out.Title, s.out.Figure = "What is known", "Rests on evidence"
	s.out.Question = "How much of each group has its origin told by evidence, and not by what is usual for the type?"
	s.out.Basis = "The share of the points of the substance whose origin rests on more than the prior, counted in per cent. It is counted, not estimated, and so has no interval."
	s.out.Levels = [5]string{"under 25 %", "25 to 50 %", "50 to 75 %", "75 % and more, not all", "all"}
	s.each(0, func(g *GroupReport, shade *GroupShade) {
		shade.Value, shade.Low, shade.High = shade.Rests, shade.Rests, shade.Rests
		if shade.Rests == 0 {
			shade.Level, shade.Shown = LevelUnknown, UnknownWords
			shade.Help = fmt.Sprintf("Nothing but the prior speaks. Survey first: %s.", heaviest(g, func(*ComponentReport) bool { return true }))
			return
		}
		shade.Level, shade.Shown = levelOf(math.Floor(shade.Rests*100+1e-9)/100, countSteps), countedPercent(shade.Rests)
	})
}

// countedPercent writes a share that was counted: unlike a probability it may
// be all or nothing.
func countedPercent(v float64) string {
	switch {
	case v >= 1-1e-9:
		return "all"
	case v <= 0:
		return "none"
	}
	return strconv.Itoa(int(math.Floor(v*100+1e-9))) + " %"
}

func (s *shader) sure() {
	s.out.Title, s.out.Figure = "How sure", "Probability of the likeliest origin"
	s.out.Question = "How likely is the likeliest origin of the parts of each group?"
	s.out.Basis = "The mean over the parts, weighted by their points of substance; the range is from the least certain to the most certain part. A group for which too little evidence speaks has no figure."
	s.out.Levels = [5]string{"under 50 %", "50 to 75 %", "75 to 90 %", "90 to 97 %", "97 % and more"}
	s.each(0, func(g *GroupReport, shade *GroupShade) {
		if !s.enough(g, shade, 0) {
			return
		}
		shade.Low, shade.High = 1, 0
		for i := range g.Components {
			c := &g.Components[i]
			w := c.weights.Substance
			if c.NotFitted || w == 0 {
				continue
			}
			shade.Value += w * c.Origin.Probability
			shade.Low, shade.High = min(shade.Low, c.Origin.Probability), max(shade.High, c.Origin.Probability)
		}
		shade.Value /= shade.Weight
		shade.Level, shade.Shown = levelOf(shade.Value, indexSteps), scoring.Percent(shade.Value)
		shade.Range = fmt.Sprintf("%s to %s, from part to part", scoring.Percent(shade.Low), scoring.Percent(shade.High))
	})
}

func (s *shader) index(of *IndexReport, index int) error {
	s.out.Title, s.out.Figure = "Origin", "Substance, 0 to 1"
	s.out.Question = "How much of each group is the same metal that left the works?"
	if index == 1 {
		s.out.Title, s.out.Figure = "Finish", "Surface, 0 to 1"
		s.out.Question = "How much of each group still wears the skin that it left the works with?"
	}
	s.out.Basis = fmt.Sprintf("The index of the group by itself, the median with its 80 %% interval, under the standpoint “%s”. Parts that came or went together are reckoned together. A group for which too little evidence speaks, or whose interval is wider than %s, has no figure.", s.r.Standpoint, twoDigits(openFrom))
	s.out.Levels = [5]string{"under 0.50", "0.50 to 0.75", "0.75 to 0.90", "0.90 to 0.97", "0.97 and more"}
	var wrong error
	s.each(index, func(g *GroupReport, shade *GroupShade) {
		if wrong != nil || of.parts == nil || !s.enough(g, shade, index) {
			return
		}
		var result scoring.IndexResult
		if result, wrong = scoring.Index(partsOf(of.parts, g)); wrong != nil {
			wrong = fmt.Errorf("the %s index of the group %s: %w", indexNames[index], g.ID, wrong)
			return
		}
		shade.Value, shade.Low, shade.High = result.Median, result.Low80, result.High80
		shade.Range = fmt.Sprintf("80 %%: %s to %s", twoDigits(result.Low80), twoDigits(result.High80))
		if result.High80-result.Low80 > openFrom {
			shade.Level, shade.Shown = LevelUnknown, "left open"
			shade.Help = fmt.Sprintf("The evidence leaves it open. Look again at: %s.", heaviest(g, func(c *ComponentReport) bool {
				return c.weights.Of(indexNames[index]) > 0 && c.Claims()[index].Probability < settledFrom
			}))
			return
		}
		shade.Level, shade.Shown = levelOf(result.Median, indexSteps), twoDigits(result.Median)
	})
	return wrong
}

// openFrom is the width of an 80 % interval of an index above which a group is
// left open: a figure in its middle would say more than is known. An
// assumption.
const openFrom = 0.5

func twoDigits(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }

// partsOf leaves of an index what belongs to one group; an assembly that
// reaches into several groups keeps its switch.
func partsOf(in *scoring.IndexInput, g *GroupReport) scoring.IndexInput {
	out := scoring.IndexInput{WeightSpread: in.WeightSpread}
	for _, a := range in.Assemblies {
		kept := scoring.Assembly{ID: a.ID, Intact: a.Intact}
		for _, p := range a.Parts {
			if inGroup(g, p.ID) {
				kept.Parts = append(kept.Parts, p)
			}
		}
		if len(kept.Parts) > 0 {
			out.Assemblies = append(out.Assemblies, kept)
		}
	}
	return out
}

func inGroup(g *GroupReport, component string) bool {
	return slices.ContainsFunc(g.Components, func(c ComponentReport) bool { return c.ID == component })
}

func (s *shader) condition() {
	s.out.Title, s.out.Figure = "Condition", "Mean step, 0 to 5"
	s.out.Question = "In what condition are the parts of each group, whatever their origin?"
	s.out.Basis = "The mean of the steps that the survey gives, weighted by points; 0 is gone, 5 is as when new. The range is from the worst to the best part. A group of which too little was surveyed has no figure."
	s.out.Levels = [5]string{"under 1", "1 to 2", "2 to 3", "3 to 4", "4 and more"}
	for i := range s.r.Groups {
		s.out.Groups = append(s.out.Groups, s.conditionOf(&s.r.Groups[i]))
	}
}

func (s *shader) conditionOf(g *GroupReport) GroupShade {
	shade := GroupShade{Group: g.ID, Name: g.Name, Weight: g.Points, Low: 5}
	for i := range g.Components {
		c := &g.Components[i]
		if c.NotFitted || c.Condition == nil || c.Points == 0 {
			continue
		}
		step := float64(*c.Condition)
		shade.Rests += c.Points
		shade.Value += c.Points * step
		shade.Low, shade.High = min(shade.Low, step), max(shade.High, step)
	}
	if g.Points == 0 {
		shade.Level, shade.Shown = LevelNothing, NothingWords
		return shade
	}
	if shade.Rests > 0 {
		shade.Value /= shade.Rests
	}
	if shade.Rests /= g.Points; shade.Rests < s.r.minimum {
		shade.Level, shade.Shown = LevelUnknown, UnknownWords
		shade.Help = fmt.Sprintf("The condition is recorded for %s of its points, and at least %s are needed. Survey first: %s.", countedPercent(shade.Rests), scoring.Percent(s.r.minimum),
			heaviest(g, func(c *ComponentReport) bool { return c.Condition == nil }))
		return shade
	}
	shade.Level = levelOf(shade.Value, stepSteps)
	shade.Shown = strconv.FormatFloat(shade.Value, 'f', 1, 64) + " of 5"
	shade.Range = fmt.Sprintf("%.0f to %.0f, from part to part", shade.Low, shade.High)
	return shade
}

// Losses are told apart at these points of 1000.
var lossSteps = [...]float64{0, 1, 3, 10}

func lossLevel(loss float64) int {
	level := 1
	for _, step := range lossSteps {
		if loss*1000 > step+1e-9 {
			level++
		}
	}
	return level
}

func (s *shader) loss(options []string) error {
	s.out.Title, s.out.Figure = "Loss for good", "Points of 1000 lost for good"
	s.out.Question = "What of each group would these options destroy for good?"
	s.out.Basis = "The mean loss of substance and surface together, as the options were last weighed, in points of 1000 of the whole machine. The interval holds it with a chance of 80 %; over several options and both indices the ends are added as if all went well or ill together."
	s.out.Levels = [5]string{"none", "up to 1 point", "1 to 3 points", "3 to 10 points", "more than 10 points"}
	all := s.r.optionReports()
	if len(options) == 0 {
		options = s.r.recommended()
	}
	var chosen []OptionReport
	for _, id := range options {
		i := slices.IndexFunc(all, func(o OptionReport) bool { return o.ID == id })
		if i < 0 {
			return registry.Refuse(registry.CodeNotFound, "Choose among the options on record.", "There is no option %q", id)
		}
		s.out.Options = append(s.out.Options, id)
		chosen = append(chosen, all[i])
	}
	for _, o := range chosen {
		if o.Effects == nil {
			s.out.Refused = fmt.Sprintf("The option “%s” has not been weighed. Weigh it on the page of faults and options, and its loss is shown here.", o.Title)
		}
	}
	if len(chosen) == 0 {
		s.out.Refused = "No option is chosen, and none has been recommended to the owner. Choose an option, and its loss is shown here."
	}
	for i := range s.r.Groups {
		shade, err := s.lossOf(&s.r.Groups[i], chosen)
		if err != nil {
			return err
		}
		s.out.Groups = append(s.out.Groups, shade)
	}
	if s.out.Refused == "" {
		s.openings(chosen)
	}
	return nil
}

func (s *shader) lossOf(g *GroupReport, chosen []OptionReport) (GroupShade, error) {
	shade := GroupShade{Group: g.ID, Name: g.Name, Weight: g.Points, Level: LevelUnknown, Shown: UnknownWords}
	if s.out.Refused != "" {
		return shade, nil
	}
	touched := false
	for _, o := range chosen {
		for _, e := range o.Effects.Estimates {
			if strings.HasSuffix(e.Of, "/correctness") {
				continue
			}
			var in scoring.EffectInput
			if err := json.Unmarshal(e.Input, &in); err != nil {
				return shade, fmt.Errorf("read the weighing of %s: %w", e.Of, err)
			}
			in.Openings = nil
			in.Parts = slices.DeleteFunc(in.Parts, func(p scoring.EffectPart) bool { return !inGroup(g, p.ID) })
			if len(in.Parts) == 0 {
				continue
			}
			result, err := scoring.Effect(in)
			if err != nil {
				return shade, fmt.Errorf("the loss of %s by %s: %w", g.ID, e.Of, err)
			}
			touched = true
			shade.Value += result.ForGood.Mean
			shade.Low += result.ForGood.Low80
			shade.High += result.ForGood.High80
		}
	}
	shade.Level, shade.Shown = lossLevel(shade.Value), thousandths(shade.Value)
	if touched {
		shade.Range = fmt.Sprintf("80 %%: %s to %s", thousandths(shade.Low), thousandths(shade.High))
	}
	return shade, nil
}

// thousandths writes a loss in points of 1000 of the index; a gain is called
// one.
func thousandths(v float64) string {
	p := v * 1000
	switch a := math.Abs(p); {
	case a < 0.0005:
		return "0 points"
	case p < 0:
		return "a gain of " + strconv.FormatFloat(a, 'f', 1, 64) + " points"
	case a < 0.1:
		return "under 0.1 points"
	}
	return strconv.FormatFloat(p, 'f', 1, 64) + " points"
}

// openings adds the witnesses that the options take, each once.
func (s *shader) openings(chosen []OptionReport) {
	seen := map[string]bool{}
	for _, o := range chosen {
		for _, e := range o.Effects.Substance.Openings {
			if seen[e.ID] {
				continue
			}
			seen[e.ID] = true
			title := e.ID
			if i := slices.IndexFunc(s.r.Openings, func(x OpeningReport) bool { return x.ID == e.ID }); i >= 0 {
				title = s.r.Openings[i].Title
			}
			s.out.Openings = append(s.out.Openings, OpeningShade{Title: title, Loss: e.Loss})
		}
	}
}

// Shown is the loss in words.
func (o OpeningShade) Shown() string { return thousandths(o.Loss) }

// optionReports are all options on record.
func (r *Report) optionReports() []OptionReport {
	var out []OptionReport
	for _, f := range r.Faults {
		out = append(out, f.Options...)
	}
	return out
}

// recommended are the options of the last offer in force that recommends any
// which are still on record.
func (r *Report) recommended() []string {
	all := r.optionReports()
	for i := len(r.Offers) - 1; i >= 0; i-- {
		if o := r.Offers[i]; !o.Superseded && len(o.Recommended) > 0 {
			return slices.DeleteFunc(slices.Clone(o.Recommended), func(id string) bool {
				return !slices.ContainsFunc(all, func(x OptionReport) bool { return x.ID == id })
			})
		}
	}
	return nil
}
