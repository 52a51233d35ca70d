package workshop

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// benchFinding is what a computation says of a component.
type benchFinding struct {
	kind, cluster, says, limits, why string
	proposition                      registry.Proposition
	likelihood                       map[string]float64
	reliability                      float64
	withhold                         bool // the input holds a whole number
}

// benchReader reads one computation as evidence.
type benchReader struct {
	w      *Workshop
	d      *registry.Dossier
	asked  BenchEvidence
	answer BenchAnswer
}

// benchReadings says for each method what its result means for a component.
// A method that is not in it says nothing of any single one.
var benchReadings = map[string]func(*benchReader) (benchFinding, error){
	scoring.MethodThread:   (*benchReader).thread,
	scoring.MethodStamp:    (*benchReader).stamp,
	scoring.MethodTyre:     (*benchReader).tyre,
	scoring.MethodFilm:     (*benchReader).film,
	scoring.MethodColour:   (*benchReader).colour,
	scoring.MethodIdentity: (*benchReader).identity,
	scoring.MethodVIN:      (*benchReader).vin,
	scoring.MethodSerial:   (*benchReader).serial,
	scoring.MethodCapacity: (*benchReader).geometry,
	scoring.MethodPiston:   (*benchReader).geometry,
	scoring.MethodGearing:  (*benchReader).geometry,
	scoring.MethodTorque:   (*benchReader).geometry,
}

// mixed is a finding by two signs of the catalog: what was computed gives the
// probability share to the first and the rest to the second, so that
// P(seen | state) = share·P(first | state) + (1 − share)·P(second | state). With
// a share of 1 the second may be "". It refuses (CodeNotFound) a sign that the
// catalog in use lacks.
func (r *benchReader) mixed(share float64, first, second string) (benchFinding, error) {
	a, ok := r.w.sign(first)
	b := a
	if ok && share < 1 {
		b, ok = r.w.sign(second)
	}
	if !ok {
		return benchFinding{}, registry.Refuse(registry.CodeNotFound, "Lay on a catalog that has it.", "The catalog lacks the sign %s or %s, by which this is weighed", first, second)
	}
	f := benchFinding{kind: a.Evidence, cluster: a.Cluster, proposition: a.Proposition, reliability: min(a.Reliability, b.Reliability), likelihood: map[string]float64{}}
	for state, p := range a.Likelihood {
		f.likelihood[state] = float64(share*p) + float64((1-share)*b.Likelihood[state])
	}
	f.why = fmt.Sprintf("As the catalog’s sign %q.", first)
	if share < 1 {
		f.why = fmt.Sprintf("%.4g of the catalog’s sign %q and the rest of %q, as computed.", share, first, second)
	}
	return f, nil
}

// silent is a finding that moves nothing: as likely in every state.
func (r *benchReader) silent(kind, cluster string, p registry.Proposition, why string) benchFinding {
	f := benchFinding{kind: kind, cluster: cluster, proposition: p, likelihood: map[string]float64{}, why: why + " It is as likely in every state, and moves nothing."}
	for _, state := range registry.States(p) {
		f.likelihood[state] = 1
	}
	return f
}

func (r *benchReader) read(result any) error { return json.Unmarshal(r.answer.Result, result) }

// chosen finds the one that is meant among those that a result has.
func (r *benchReader) chosen(ids []string) (int, error) {
	if r.asked.Of == "" && len(ids) == 1 {
		return 0, nil
	}
	if i := slices.Index(ids, r.asked.Of); i >= 0 {
		return i, nil
	}
	return 0, &registry.Error{Code: registry.CodeInvalid, Message: "It is not said which reading is meant", Fields: []registry.Field{{Pointer: "/of", Found: fmt.Sprintf("%q", r.asked.Of),
		Allowed: strings.Join(ids, ", "), Message: "It is not said which reading is meant", Fix: "Name one of those that were given."}}}
}

// thread: is it the one that the maker lists? The probability of the listed
// thread among all that fit says how far.
func (r *benchReader) thread() (benchFinding, error) {
	var t scoring.ThreadResult
	if err := r.read(&t); err != nil {
		return benchFinding{}, err
	}
	if !t.Fits {
		return benchFinding{}, registry.Refuse(registry.CodeRefused, "Measure again, over clean turns; it may be stretched, re-cut or plated.", "Nothing fits these readings, so they say nothing of the part")
	}
	says, p, known := "", 0.0, false
	for i, c := range t.Candidates {
		names := threadNames(&c)
		if i > 0 {
			says += ", or "
		}
		says += strings.Join(names, " = ") + " " + scoring.Percent(c.Probability)
		if slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(n, strings.TrimSpace(r.asked.Listed)) }) {
			p = c.Probability
		}
	}
	says = "The thread measures as " + says + "."
	const limits = "It says which thread it has, not when it was cut. Stretched, re-cut and plated threads mislead."
	if r.asked.Listed == "" {
		f := r.silent("measurement", "thread", registry.PropositionSpecification, "It is not said which thread the maker lists.")
		f.says, f.limits = says, limits
		return f, nil
	}
	for _, x := range r.w.Catalog.Threads() {
		known = known || strings.EqualFold(x.Series+" "+x.Designation, strings.TrimSpace(r.asked.Listed))
	}
	if !known {
		return benchFinding{}, &registry.Error{Code: registry.CodeInvalid, Message: fmt.Sprintf("There is no thread %q in the table", r.asked.Listed), Fields: []registry.Field{{Pointer: "/listed",
			Found: fmt.Sprintf("%q", r.asked.Listed), Message: "There is no such thread in the table", Fix: "Write series and size as the table has them, such as BSF 1/4."}}}
	}
	f, err := r.mixed(p, "thread-as-listed", "thread-not-as-listed")
	f.says, f.limits = says+" The maker lists "+strings.TrimSpace(r.asked.Listed)+".", limits
	return f, err
}

// stamp: the ratio of “came with the machine” to “fitted later” becomes a share
// by even odds; the signs of the catalog hold what a right or wrong age is worth.
func (r *benchReader) stamp() (benchFinding, error) {
	var in scoring.StampInput
	var out scoring.StampResult
	if err := r.read(&out); err != nil {
		return benchFinding{}, err
	}
	if err := json.Unmarshal(r.answer.Input, &in); err != nil {
		return benchFinding{}, err
	}
	var ids []string
	for _, s := range out.Stamps {
		ids = append(ids, s.ID)
	}
	i, err := r.chosen(ids)
	if err != nil {
		return benchFinding{}, err
	}
	s, other := out.Stamps[i], "stamp-too-early"
	if s.Lag < 0 {
		other = "stamp-too-late"
	}
	f, err := r.mixed(evenOdds(s.Ratio), "stamp-fits", other)
	f.says = fmt.Sprintf("The stamp %s reads as %s, for a machine built in %s: %s.", in.Stamps[i].Code, s.Months, in.Build, s.Verdict)
	f.limits = out.Says
	return f, err
}

// evenOdds is the probability of the first of two, of which nothing was known,
// after a likelihood ratio.
func evenOdds(ratio float64) float64 { return ratio / (1 + ratio) }

// tyre: made after the machine in each year that the code may mean, it cannot
// have left the factory on it.
func (r *benchReader) tyre() (benchFinding, error) {
	var out scoring.TyreResult
	if err := r.read(&out); err != nil {
		return benchFinding{}, err
	}
	var years []string
	for _, y := range out.Years {
		years = append(years, fmt.Sprint(y))
	}
	says := fmt.Sprintf("The tyre was made in week %d of %s.", out.Week, strings.Join(years, " or "))
	m, _ := r.d.MachineRecord()
	span, err := m.Year.Span()
	if err == nil && !span.Last.IsZero() && len(out.Years) > 0 && slices.Min(out.Years) > span.Last.Year() {
		f, err := r.mixed(1, "stamp-too-late", "")
		f.says, f.limits = says+" The machine is older.", out.Says
		return f, err
	}
	f := r.silent("date-stamp", "stamp", registry.PropositionOrigin, "The code may mean a year before the machine was built, or the machine’s year is not known.")
	f.says, f.limits = says, out.Says
	return f, nil
}

// film: the tempered ratio of a repaint to the first coat; an area that is much
// thinner than the reference by the catalog's own sign.
func (r *benchReader) film() (benchFinding, error) {
	var in scoring.FilmInput
	var out scoring.FilmResult
	if err := r.read(&out); err != nil {
		return benchFinding{}, err
	}
	if err := json.Unmarshal(r.answer.Input, &in); err != nil {
		return benchFinding{}, err
	}
	var ids []string
	for _, a := range out.Areas {
		ids = append(ids, a.ID)
	}
	i, err := r.chosen(ids)
	if err != nil {
		return benchFinding{}, err
	}
	a := out.Areas[i]
	var f benchFinding
	if a.Difference < float64(-2*in.Assumed.PanelSD) {
		f, err = r.mixed(1, "film-much-thinner", "")
	} else {
		f, err = r.mixed(evenOdds(a.Tempered), "film-much-thicker", "film-like-sheltered")
	}
	f.says = fmt.Sprintf("%s carries %.0f µm of film, %s %.0f µm: %+.0f ± %.0f µm.", a.ID, a.Mean, out.Reference.ID, out.Reference.Mean, a.Difference, a.DifferenceSE)
	f.limits = strings.Join(out.Cautions, " ")
	return f, err
}

// colour: alike, as far as the catalog lets a photograph's record of paint miss,
// or changed against the way of fading. What went the way of fading may have faded
// or may be another paint, and says nothing.
func (r *benchReader) colour() (benchFinding, error) {
	var out scoring.ColourResult
	if err := r.read(&out); err != nil {
		return benchFinding{}, err
	}
	alike, _ := r.w.Catalog.MeasureAssumption("card-largest-residual")
	var f benchFinding
	var err error
	switch {
	case out.DeltaE00 <= alike.Value:
		f, err = r.mixed(1, "colour-under-fittings-same", "")
	case out.Direction.Fading == "against the direction of fading":
		f, err = r.mixed(1, "colour-under-fittings-differs", "")
	default:
		f = r.silent("comparison", "film", registry.PropositionFinish, "The colours differ as they would by fading, or in no clear direction.")
	}
	f.says = fmt.Sprintf("%s against %s: CIEDE2000 %.1f; lightness %+.1f, chroma %+.1f, hue %+.1f; of fading: %s.", out.Area.ID, out.Reference.ID, out.DeltaE00,
		out.DeltaL.Value, out.DeltaC.Value, out.DeltaH.Value, out.Direction.Fading)
	f.limits = "Lamps, gloss, dirt and polish change a colour. Film and colour of one surface are one kind of evidence."
	return f, err
}

// identity: whether the numbers agree with a record that nobody doubts. The
// numbers themselves are withheld, and no word of them is said.
func (r *benchReader) identity() (benchFinding, error) {
	var out scoring.IdentityResult
	if err := r.read(&out); err != nil {
		return benchFinding{}, err
	}
	state, says := map[string]string{}, []string{}
	for _, rung := range out.Ladder {
		state[rung.Rung] = rung.State
		says = append(says, strings.TrimSuffix(rung.Question, "?")+": "+rung.State)
	}
	f := r.silent("factory-record", "record", registry.PropositionOrigin, "The ladder leaves open whether the numbers agree with a record that is what it seems.")
	var err error
	switch {
	case out.Stop != "":
		f = r.silent("physical-trait", "record", registry.PropositionOrigin, "A number looks altered: what it agrees with says nothing.")
	case state["e"] == "does not hold":
	case state["d"] == "holds":
		f, err = r.mixed(1, "number-agrees-with-record", "")
	case state["d"] == "does not hold":
		f, err = r.mixed(1, "number-disagrees-with-record", "")
	}
	f.says, f.limits, f.withhold = strings.Join(says, ". ")+".", strings.TrimSpace(out.Says+" "+out.Stop), true
	return f, err
}

func (r *benchReader) vin() (benchFinding, error) {
	var out scoring.VINResult
	if err := r.read(&out); err != nil {
		return benchFinding{}, err
	}
	f := r.silent("part-number", "record", registry.PropositionOrigin, "A check digit says whether a number was read right.")
	f.says, f.limits, f.withhold = fmt.Sprintf("The number of seventeen characters was read; its check digit: %s.", out.Numbers[0].Verdict), out.Says, true
	return f, nil
}

func (r *benchReader) serial() (benchFinding, error) {
	var out scoring.SerialResult
	if err := r.read(&out); err != nil {
		return benchFinding{}, err
	}
	f := r.silent("part-number", "record", registry.PropositionOrigin, "A date between dated numbers says when the number was used.")
	f.says, f.withhold = fmt.Sprintf("By numbers that are dated it was built about %s, between %s and %s.", out.Date, out.From, out.To), true
	return f, nil
}

// geometry keeps a reckoning with the part that it is of.
func (r *benchReader) geometry() (benchFinding, error) {
	f := r.silent("measurement", "geometry", registry.PropositionSpecification, "A reckoning is no sign by itself: hold it against the maker’s list.")
	words, err := r.answer.Words()
	f.says = words.Says
	return f, err
}
