package scoring

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// Custody of a removed part, as far as it decides whether the part can go
// back. The words are the registry's; CustodyNone says that nothing is entered,
// as an absent custody does.
const (
	CustodyKept         = "kept-with-machine"
	CustodyElsewhere    = "elsewhere"
	CustodyEvidenceOnly = "evidence-only"
	CustodyLost         = "lost"
	CustodyDestroyed    = "destroyed"
	CustodyNone         = "none"
)

var custodies = [...]string{CustodyKept, CustodyElsewhere, CustodyEvidenceOnly, CustodyLost, CustodyDestroyed, CustodyNone}

// EffectInput asks what an intervention does to one index: only the parts and
// openings that it touches are listed.
type EffectInput struct {
	// TotalWeight is the weight of the whole machine in points, as IndexResult
	// gives it; the parts cannot weigh more.
	TotalWeight float64      `json:"total_weight"`
	Parts       []EffectPart `json:"parts,omitempty"`
	Openings    []Opening    `json:"openings,omitempty"`
}

// EffectPart is one component that the intervention touches.
type EffectPart struct {
	ID     string  `json:"id"`
	Weight float64 `json:"weight"` // points
	// Credit is what a state counts, 0 to 1.
	Credit Distribution `json:"credit"`
	// Before and After are the probabilities of the states.
	Before Distribution `json:"before"`
	After  Distribution `json:"after"`
	// SamePart says that Before and After are of one object, which was worked
	// on: what is probably original stays so. They are then paired level by
	// level (the quantile of the one with the same quantile of the other), so
	// that equal distributions mean no change at all. Otherwise they are two
	// objects and independent.
	SamePart bool `json:"same_part,omitempty"`
	// Reversible says whether the act can be undone if the removed part is
	// there. An irreversible act gets no discount, whatever else is given.
	Reversible bool `json:"reversible"`
	// Custody is where the removed part will be: one of the Custody words.
	// Only CustodyKept and CustodyElsewhere let it come back.
	Custody string `json:"custody,omitempty"`
	// LossPerYear is the rate at which parts so kept are lost, per year, 0 to
	// 10. Years is the time looked ahead, 0 to 1000. RefitChance is the
	// probability that the part can go back as it was if it is there. All
	// three are needed for a reversible act with a custody that lets the part
	// come back.
	LossPerYear *float64 `json:"loss_per_year,omitempty"`
	Years       *float64 `json:"years,omitempty"`
	RefitChance *float64 `json:"refit_chance,omitempty"`
}

// Opening is something taken off to reach what is behind. Its witness (the sign
// that the joint was never apart) is lost once, for good, however many jobs
// share it. The same identifier is the same opening.
type Opening struct {
	ID            string  `json:"id"`
	WitnessPoints float64 `json:"witness_points"` // points of the machine's total weight
}

// EffectResult is what the intervention takes from the index. Losses are
// positive, gains negative, in units of the index (0.0219 is 2.19 hundredths).
type EffectResult struct {
	// Now is the change as the machine stands afterwards.
	Now Summary `json:"now"`
	// ForGood is the part of it that cannot come back.
	ForGood Summary `json:"for_good"`
	// Parts are in the order of the input.
	Parts []PartEffect `json:"parts"`
	// Openings are those that were counted, each once, in the order in which
	// they first appear.
	Openings []OpeningEffect `json:"openings"`
}

// Summary describes an exact distribution in units of the index.
type Summary struct {
	Mean    float64 `json:"mean"`
	SD      float64 `json:"sd"`
	Median  float64 `json:"median"`
	Low80   float64 `json:"low80"` // 10 % lie below
	High80  float64 `json:"high80"`
	Lattice Lattice `json:"lattice"`
}

// PartEffect is the share of one part in the mean losses.
type PartEffect struct {
	ID          string  `json:"id"`
	NowMean     float64 `json:"now_mean"`
	ForGoodMean float64 `json:"for_good_mean"`
	// Survival is S = exp(−loss per year × years), the chance that the removed
	// part is still there; left out when its custody does not let it come back.
	Survival *float64 `json:"survival,omitempty"`
}

// OpeningEffect is the loss of one opening's witness, now and for good alike.
type OpeningEffect struct {
	ID   string  `json:"id"`
	Loss float64 `json:"loss"`
}

// Survival is S = exp(−h·T): the chance that a kept part is still there after
// some years when parts so kept are lost at a constant rate per year.
func Survival(lossPerYear, years float64) float64 {
	return exponential(-float64(lossPerYear * years))
}

// Effect computes the change of one index by an intervention, as the machine
// then stands and for good, from the exact distributions of the touched parts,
// which are taken as independent of one another.
//
// Now: wᵢ (c_before − c_after)/W for each part, and the witness points of each
// opening over W. For good, for each part:
//
//   - irreversible: the same as now, whatever is typed;
//   - reversible, and on average a loss: with probability S·r nothing is lost
//     for good (the removed part is there and goes back), otherwise the loss
//     of now; S·r is 0 unless the custody lets the part come back. Its mean is
//     now·(1 − S·r);
//   - reversible, and on average a gain: 0. What can be undone is no lasting
//     gain, and it must not hide another part's loss.
//
// Witness loss is always for good. So for good is never above now for
// reversible losses, and leaving out parts or openings never loses more for
// good unless what was left out is an irreversible gain.
//
// It refuses (CodeInvalid) a malformed input, parts that weigh more than the
// machine, one opening with two witness losses, and a part to come back
// without the figures for it; and (CodeInsufficient) an input that touches
// nothing.
func Effect(in EffectInput) (EffectResult, error) {
	parts, openings, err := readEffect(in)
	if err != nil {
		return EffectResult{}, err
	}
	total := in.TotalWeight
	out := EffectResult{Parts: []PartEffect{}, Openings: []OpeningEffect{}}
	now, forGood := make([][]outcome, 0, len(parts)), make([][]outcome, 0, len(parts))
	for _, p := range parts {
		after := p.lasting()
		meanNow, _ := moments(p.loss)
		meanForGood, _ := moments(after)
		out.Parts = append(out.Parts, PartEffect{p.id, plain(meanNow / total), plain(meanForGood / total), p.survival})
		now, forGood = append(now, p.loss), append(forGood, after)
	}
	for _, o := range openings {
		out.Openings = append(out.Openings, OpeningEffect{o.ID, o.WitnessPoints / total})
		witness := []outcome{{o.WitnessPoints, 1}}
		now, forGood = append(now, witness), append(forGood, witness)
	}
	out.Now, out.ForGood = summarise(now, total), summarise(forGood, total)
	return out, nil
}

// plain turns −0 into 0.
func plain(v float64) float64 { return v + 0 }

// touched is a checked EffectPart.
type touched struct {
	id         string
	loss       []outcome // points lost as the machine then stands
	reversible bool
	back       float64 // S·r, the chance that it comes back
	survival   *float64
}

// lasting is the loss for good, in points.
func (t *touched) lasting() []outcome {
	if !t.reversible {
		return t.loss
	}
	if mean, _ := moments(t.loss); mean < 0 {
		return []outcome{{0, 1}}
	}
	if t.back == 0 {
		return t.loss
	}
	out := make([]outcome, 0, len(t.loss)+1)
	for _, o := range t.loss {
		out = append(out, outcome{o.value, float64(o.p * (1 - t.back))})
	}
	return append(out, outcome{0, t.back})
}

func readEffect(in EffectInput) ([]touched, []Opening, error) {
	var fs faults
	if fs.weight("/total_weight", in.TotalWeight, "The weight of the machine"); in.TotalWeight == 0 {
		fs.add("/total_weight", "0", "above 0", "The weight of the machine is needed", "Give the total that the index was computed with.")
	}
	fs.count("/parts", len(in.Parts), MaxParts, "parts")
	fs.count("/openings", len(in.Openings), MaxOpenings, "openings")
	var parts []touched
	ids := map[string]bool{}
	weight := 0.0
	for i, p := range in.Parts {
		here := at("/parts", i)
		fs.unique(here+"/id", p.ID, "A part", ids)
		fs.weight(here+"/weight", p.Weight, "A weight")
		credit := fs.table(here+"/credit", p.Credit, "A credit")
		before := fs.credited(here+"/before", p.Before, credit, "The distribution before")
		after := fs.credited(here+"/after", p.After, credit, "The distribution after")
		t := touched{id: p.ID, reversible: p.Reversible}
		fs.custody(here, p, &t)
		if len(fs) == 0 {
			t.loss = losses(before, after, p.Weight, p.SamePart)
		}
		weight += p.Weight
		parts = append(parts, t)
	}
	if len(fs) == 0 && weight > float64(in.TotalWeight*(1+sumTolerance)) {
		fs.add("/total_weight", number(in.TotalWeight), "at least the parts' "+number(weight)+" points",
			"The parts weigh more than the machine", "Give the total that the index was computed with.")
	}
	var openings []Opening
	for i, o := range in.Openings {
		here := at("/openings", i)
		fs.name(here+"/id", o.ID, "An opening")
		fs.weight(here+"/witness_points", o.WitnessPoints, "A witness loss")
		if first := slices.IndexFunc(openings, func(e Opening) bool { return e.ID == o.ID }); first < 0 {
			openings = append(openings, o)
		} else if openings[first].WitnessPoints != o.WitnessPoints {
			fs.add(here+"/witness_points", number(o.WitnessPoints), number(openings[first].WitnessPoints)+", as before",
				"One opening cannot have two witness losses", "Give the same number, or name another opening.")
		}
	}
	if err := fs.err("The effect"); err != nil {
		return nil, nil, err
	}
	if len(parts) == 0 && len(openings) == 0 {
		return nil, nil, insufficient("", "Nothing is touched, so there is no effect", "List the parts and openings.")
	}
	return parts, openings, nil
}

// custody checks where the removed part will be, and works out the chance that
// it comes back.
func (fs *faults) custody(here string, p EffectPart, t *touched) {
	if p.Custody != "" && !slices.Contains(custodies[:], p.Custody) {
		fs.add(here+"/custody", quote(p.Custody), strings.Join(custodies[:], ", "), "This is no custody of a removed part",
			"Use one of the listed words, or leave it out.")
	}
	for _, f := range []struct {
		name, what, unit string
		v                *float64
		high             float64
	}{
		{"loss_per_year", "The yearly loss", "per year", p.LossPerYear, 10},
		{"years", "The time looked ahead", "years", p.Years, 1000},
		{"refit_chance", "The chance of refitting", "as a probability", p.RefitChance, 1},
	} {
		returns := p.Custody == CustodyKept || p.Custody == CustodyElsewhere
		if f.v != nil {
			fs.span(here+"/"+f.name, *f.v, 0, f.high, f.what, f.unit)
		} else if returns && p.Reversible {
			fs.add(here+"/"+f.name, "", number(0)+" to "+number(f.high)+" "+f.unit, f.what+" is missing, and the part is meant to come back",
				"Give it, or leave the custody out; then nothing is discounted.")
		}
	}
	if (p.Custody == CustodyKept || p.Custody == CustodyElsewhere) && p.LossPerYear != nil && p.Years != nil {
		s := Survival(*p.LossPerYear, *p.Years)
		t.survival = &s
		if p.Reversible && p.RefitChance != nil {
			t.back = float64(s * *p.RefitChance)
		}
	}
}

// losses is the distribution of weight × (credit before − credit after).
func losses(before, after []outcome, weight float64, paired bool) []outcome {
	var out []outcome
	add := func(b, a outcome, p float64) {
		if p > 0 {
			out = append(out, outcome{plain(float64(weight * (b.value - a.value))), p})
		}
	}
	if !paired {
		for _, b := range before {
			for _, a := range after {
				add(b, a, float64(b.p*a.p))
			}
		}
		return out
	}
	byCredit := func(a, b outcome) int { return cmp.Compare(a.value, b.value) }
	before, after = slices.Clone(before), slices.Clone(after)
	slices.SortStableFunc(before, byCredit)
	slices.SortStableFunc(after, byCredit)
	for i, j := 0, 0; i < len(before) && j < len(after); {
		p := min(before[i].p, after[j].p)
		add(before[i], after[j], p)
		before[i].p -= p
		after[j].p -= p
		if before[i].p == 0 {
			i++
		}
		if j < len(after) && after[j].p == 0 {
			j++
		}
	}
	return out
}

// summarise gives the distribution of the sum of independent losses.
func summarise(parts [][]outcome, total float64) Summary {
	var mean, variance float64
	for _, p := range parts {
		m, v := moments(p)
		mean += m
		variance += v
	}
	g := fit(parts)
	groups := make([]group, len(parts))
	for i, p := range parts {
		groups[i] = group{p: 1, first: [][]lump{g.place(i, p)}}
	}
	s := spreadOf(g, groups)
	q := s.quantiles(0.10, 0.50, 0.90)
	return Summary{Mean: plain(mean / total), SD: math.Sqrt(variance) / total,
		Low80: q[0] / total, Median: q[1] / total, High80: q[2] / total, Lattice: g.lattice()}
}
