package scoring

import (
	"cmp"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// The defaults of the gate that says "no cause in the library explains this".
const (
	// defaultUnexplained: more likely than not.
	defaultUnexplained = 0.5
	// defaultRarer: a cause that brings an observation about with .99 and did not
	// may cost as much, and that happens.
	defaultRarer = 100
)

const (
	maxLeaders = 5
	// maxSpeaking is the largest number of observations seen true at which each
	// observation is taken out once to see what it speaks for.
	maxSpeaking = 10
)

// FaultsInput asks what is wrong.
type FaultsInput struct {
	Causes       []FaultCause       `json:"causes"`
	Observations []FaultObservation `json:"observations"`
	Seen         Ordered[bool]      `json:"seen"` // what was observed, true or false
	// Source says whose experience the numbers are, and of when.
	Source string `json:"source,omitempty"`
	// Unexplained is the probability above which an observation counts as
	// brought about by nothing in the list; 0.5 if nil. Rarer is how many times
	// rarer than by their single rates observations may be together before they
	// count as not going together; 100 if nil.
	Unexplained *float64 `json:"unexplained_above,omitempty"`
	Rarer       *float64 `json:"rarer_than,omitempty"`
}

// FaultsResult is what is wrong, as far as what was seen tells.
type FaultsResult struct {
	// Posterior is the probability that each cause is there, in the declared
	// order. They do not sum to 1: several may be.
	Posterior Distribution `json:"posterior"`
	// Leaders are the most probable causes, at most five.
	Leaders   []FaultLeader `json:"leaders"`
	None      float64       `json:"p_none"`        // probability that no listed cause is there
	TwoOrMore float64       `json:"p_two_or_more"` // that more than one is
	Evidence  float64       `json:"evidence"`      // probability of what was seen, before it was
	Expected  Distribution  `json:"expected"`      // of each unseen observation to be true
	// Unexplained is, for each observation seen true, the probability that no
	// listed cause brought it about.
	Unexplained Distribution `json:"unexplained"`
	// Rarer is how many times rarer the observations are together than if they
	// came independently of one another, each at its own rate.
	Rarer    float64  `json:"rarer"`
	Conflict bool     `json:"conflict"`
	Cautions []string `json:"cautions"`
}

// FaultLeader is one probable cause and the observations that speak most for
// and against it, where any does.
type FaultLeader struct {
	ID          string       `json:"id"`
	Probability float64      `json:"probability"`
	For         *FaultSpeaks `json:"for,omitempty"`
	Against     *FaultSpeaks `json:"against,omitempty"`
}

// FaultSpeaks is an observation and the probability of the cause without it.
type FaultSpeaks struct {
	Observation string  `json:"observation"`
	Without     float64 `json:"without"`
}

// Faults computes what is wrong when several things may be: causes with
// independent priors, observations by a noisy OR, exact.
//
// An observation seen false changes each cause by itself. For those seen true
// the causes are taken in one after the other, with the weight of every set of
// observations that they bring about (2ⁿ sets for n seen true). That is the sum
// over all combinations of causes, as in the quickscore algorithm (Heckerman, A
// tractable inference algorithm for diagnosing multiple diseases, 1989), but
// without its differences, so that improbable observations lose no digits.
//
// The gate: a conflict is printed when some observation seen true was more
// likely than not brought about by nothing in the list; or when the
// observations are more than 100 times rarer together than if each came at its
// own rate independently (Jensen, Chamberlain, Nordahl and Jensen, Analysis in
// HUGIN of data conflict, 1990). Both limits are in the input.
//
// It refuses (CodeInvalid) an observation that is not in the model, a link from
// an unknown cause, and what cannot be by the model, naming it; (CodeInsufficient)
// a list without causes, and observations too improbable for any answer; and
// (CodeTooLarge) more than 15 observations seen true. It never approximates.
func Faults(in FaultsInput) (FaultsResult, error) {
	m, err := readFaults(in)
	if err != nil {
		return FaultsResult{}, err
	}
	positive := m.positive()
	w := m.weigh(positive)
	leaks := w.leaks()
	cover, evidence, present := w.presence(leaks)
	if evidence < leastEvidence {
		return FaultsResult{}, tooImprobable(evidence)
	}
	out := FaultsResult{Posterior: Distribution{}, Leaders: []FaultLeader{}, Evidence: min(1, evidence),
		Expected: Distribution{}, Unexplained: Distribution{}, Cautions: []string{}}
	for c, p := range present {
		out.Posterior = append(out.Posterior, Entry[float64]{in.Causes[c].ID, min(1, p/evidence)})
	}
	out.None, out.TwoOrMore = w.few(evidence)

	for o, id := range in.Observations {
		if m.seen[o] == unseen {
			out.Expected = append(out.Expected, Entry[float64]{id.ID, m.expect(o, w, leaks, evidence)})
		}
	}
	for j, o := range positive {
		alone := 0.0
		for set, v := range cover {
			if set>>j&1 == 0 {
				alone += float64(v * leaks[set])
			}
		}
		out.Unexplained = append(out.Unexplained, Entry[float64]{in.Observations[o].ID, min(1, alone/evidence)})
	}
	out.Rarer = m.singly() / evidence
	out.lead(in, m)
	out.gate(in)
	return out, nil
}

// few gives the probabilities that no cause is there, and that more than one is.
func (w *weights) few(evidence float64) (none, more float64) {
	// before[c] and after[c] are the weights that no cause before, or from, c is
	// there.
	n := len(w.off)
	after := make([]float64, n+1)
	after[n] = 1
	for c := n - 1; c >= 0; c-- {
		after[c] = float64(after[c+1] * w.off[c])
	}
	leaks := w.rest
	for _, l := range w.stay {
		leaks = float64(leaks * l)
	}
	none = float64(leaks * after[0])
	one, before := 0.0, w.rest
	for c := range n {
		weight := float64(float64(before*w.on[c]) * after[c+1])
		for j, l := range w.stay {
			shown := l
			if w.pull[c] != nil {
				shown += float64((1 - l) * w.pull[c][j])
			}
			weight = float64(weight * shown)
		}
		one += weight
		before = float64(before * w.off[c])
	}
	return min(1, none/evidence), min(1, max(0, 1-(none+one)/evidence))
}

// expect is the probability that an unseen observation is true.
func (m *noisyOr) expect(o int, w weights, leaks []float64, evidence float64) float64 {
	missing := w
	missing.on = make([]float64, len(w.on))
	for c, v := range w.on {
		missing.on[c] = float64(v * (1 - m.link[o][c]))
	}
	is := float64((1 - m.leak[o]) * (missing.total(leaks) / evidence))
	return min(1, max(0, 1-is))
}

// singly is the probability of what was seen if every observation came at its
// own rate, independently of the others.
func (m *noisyOr) singly() float64 {
	p := 1.0
	for o, s := range m.seen {
		if s == unseen {
			continue
		}
		missing := 1 - m.leak[o]
		for c, q := range m.link[o] {
			missing = float64(missing * (1 - float64(m.prior[c]*q)))
		}
		if s == seenTrue {
			missing = 1 - missing
		}
		p = float64(p * missing)
	}
	return p
}

// lead picks the most probable causes and what speaks for and against them: the
// observations without which each would be least and most probable.
func (out *FaultsResult) lead(in FaultsInput, m *noisyOr) {
	order := make([]int, len(in.Causes))
	for c := range order {
		order[c] = c
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(out.Posterior[b].Value, out.Posterior[a].Value) })
	order = order[:min(len(order), maxLeaders)]
	for _, c := range order {
		out.Leaders = append(out.Leaders, FaultLeader{ID: in.Causes[c].ID, Probability: out.Posterior[c].Value})
	}
	if len(m.positive()) > maxSpeaking {
		out.Cautions = append(out.Cautions, "So many observations were seen true that it was not computed which speaks most for or against a cause.")
		return
	}
	for o, s := range m.seen {
		if s == unseen {
			continue
		}
		m.seen[o] = unseen
		w := m.weigh(m.positive())
		_, total, present := w.presence(w.leaks())
		m.seen[o] = s
		for i, c := range order {
			l, without := &out.Leaders[i], min(1, present[c]/total)
			// Differences in the last digits are rounding, not evidence.
			if without < l.Probability-1e-12 && (l.For == nil || without < l.For.Without) {
				l.For = &FaultSpeaks{in.Observations[o].ID, without}
			}
			if without > l.Probability+1e-12 && (l.Against == nil || without > l.Against.Without) {
				l.Against = &FaultSpeaks{in.Observations[o].ID, without}
			}
		}
	}
}

// gate says when the list explains badly what was seen.
func (out *FaultsResult) gate(in FaultsInput) {
	limit, rarer := in.unexplainedAbove(), float64(defaultRarer)
	if in.Rarer != nil {
		rarer = *in.Rarer
	}
	var not []string
	for _, u := range out.Unexplained {
		if u.Value > limit {
			not = append(not, quote(u.Key))
		}
	}
	if len(not) > 0 {
		out.Conflict = true
		out.Cautions = append(out.Cautions, "No cause in the library explains "+strings.Join(not, ", ")+
			": more probably than the limit allows, something that is not listed brought it about. Look for a cause that is missing, or ask a specialist.")
	}
	if out.Rarer > rarer {
		out.Conflict = true
		out.Cautions = append(out.Cautions, "No cause in the library explains all of what was seen: together the observations are far rarer than each by itself. Look again at each, or ask a specialist.")
	}
	if len(out.Unexplained) == 0 {
		out.Cautions = append(out.Cautions, "Nothing was seen true, so there is no complaint to explain.")
	}
	if in.Source == "" {
		out.Cautions = append(out.Cautions, noSource)
	}
}

func (in *FaultsInput) unexplainedAbove() float64 {
	if in.Unexplained != nil {
		return *in.Unexplained
	}
	return defaultUnexplained
}

const noSource = "The probabilities name nobody's experience: do not act on them before somebody stands for them."

func tooImprobable(evidence float64) error {
	return registry.Refuse(registry.CodeInsufficient, "Look again at what was seen, or mend the smallest leaks and links.",
		"By the model what was seen has a probability of %s, too small to reckon from", number(evidence))
}

// readFaults checks an input and joins it to a model.
func readFaults(in FaultsInput) (*noisyOr, error) {
	if len(in.Causes) == 0 {
		return nil, insufficient("/causes", "There is no cause to weigh", "List what may be wrong.")
	}
	var fs faults
	m := fs.model(in.Causes, in.Observations, in.Seen)
	fs.optionalProbability("/unexplained_above", in.Unexplained, "The limit for what is not explained")
	if in.Rarer != nil {
		fs.span("/rarer_than", *in.Rarer, 1, 1e12, "The limit for what does not go together", "times")
	}
	if len(in.Source) > maxNameBytes {
		fs.name("/source", in.Source, "The source")
	}
	if err := fs.err("What is wrong"); err != nil {
		return nil, err
	}
	if err := m.fits(); err != nil {
		return nil, err
	}
	fs.impossible(m, in.Causes, in.Observations)
	if err := fs.err("What is wrong"); err != nil {
		return nil, err
	}
	return m, nil
}

// fits refuses what would take too long; it never cuts the question down.
func (m *noisyOr) fits() error {
	positive := len(m.positive())
	left := 0
	for _, s := range m.seen {
		if s == unseen || positive <= maxSpeaking {
			left++
		}
	}
	work := len(m.prior) * (positive + 1) * (left + 2) << positive
	if work > maxFaultWork {
		return registry.Refuse(registry.CodeTooLarge, "Leave out causes that cannot be meant, or observations that nobody will make.",
			"%d causes and %d observations, %d of them seen true, are too many for an exact answer", len(m.prior), len(m.seen), positive)
	}
	return nil
}

func readFaultsInput(r *reader, n *node) (in FaultsInput) {
	r.object(n, "",
		member{"causes", true, r.causes(&in.Causes)},
		member{"observations", true, r.observations(&in.Observations)},
		member{"seen", true, r.flags(&in.Seen)},
		member{"source", false, r.text(&in.Source)},
		member{"unexplained_above", false, r.optional(&in.Unexplained)},
		member{"rarer_than", false, r.optional(&in.Rarer)},
	)
	return in
}
