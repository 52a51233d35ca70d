package workshop

import (
	"fmt"
	"reflect"
	"sync"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// The indices, and the question that each asks of every component.
var indexQuestion = map[string]registry.Proposition{
	"substance":   registry.PropositionOrigin,
	"surface":     registry.PropositionFinish,
	"correctness": registry.PropositionSpecification,
}

// seen is a machine's components with the answers to their questions: what the
// indices and the effects of options are computed from.
type seen struct {
	w          *Workshop
	d          *registry.Dossier
	standpoint standpoint
	answers    map[string]map[registry.Proposition]ClaimReport
	questions  map[string]map[registry.Proposition]question
	assemblies map[string]scoring.AssemblyResult
}

// look answers every question about every component of the machine's type.
func (w *Workshop) look(d *registry.Dossier, standpointID string) (*seen, error) {
	sp, err := w.standpoint(standpointID)
	if err != nil {
		return nil, err
	}
	s := &seen{w: w, d: d, standpoint: sp, answers: map[string]map[registry.Proposition]ClaimReport{}, questions: map[string]map[registry.Proposition]question{},
		assemblies: map[string]scoring.AssemblyResult{}}
	all := w.components()
	asked := make([]answered, len(all))
	w.known()
	var wait sync.WaitGroup
	var panicked [answerers]any
	for k := range answerers {
		wait.Go(func() {
			defer func() { panicked[k] = recover() }()
			for i := k; i < len(all); i += answerers {
				if !d.NotFitted(all[i].ID) {
					asked[i] = w.answers(d, all[i].ID)
				}
			}
		})
	}
	wait.Wait()
	for _, p := range panicked {
		if p != nil {
			panic(p) // where whoever asked can catch it
		}
	}
	for i, c := range all {
		if asked[i].err != nil {
			return nil, asked[i].err
		}
		if asked[i].answers != nil {
			s.answers[c.ID], s.questions[c.ID] = asked[i].answers, asked[i].questions
		}
	}
	return s, nil
}

// answerers is how many components are looked at side by side.
const answerers = 2

// answered is one component with the answers to its questions.
type answered struct {
	answers   map[registry.Proposition]ClaimReport
	questions map[registry.Proposition]question
	err       error
}

func (w *Workshop) answers(d *registry.Dossier, component string) answered {
	out := answered{answers: map[registry.Proposition]ClaimReport{}, questions: map[registry.Proposition]question{}}
	for _, name := range indexNames {
		p := indexQuestion[name]
		a, q, err := w.answer(d, component, p)
		if err != nil {
			out.err = fmt.Errorf("%s of %s: %w", p, component, err)
			return out
		}
		out.answers[p], out.questions[p] = a, q
	}
	return out
}

// state is how one question about one component counts in an index: the
// answer, and what work has made of it.
type state struct {
	// fixed is the distribution when it no longer hangs on the assembly: the
	// position is empty, or work replaced the part.
	fixed scoring.Distribution
	// keeps is the share of the credit that repairs have left, 0 to 1.
	keeps float64
	basis string
}

// stateOf is the state of a question now, or, when refitted, as if every kept
// part had gone back.
func (s *seen) stateOf(component string, p registry.Proposition, refitted bool) state {
	st := state{keeps: 1, basis: s.answers[component][p].Basis}
	if survey, ok := s.d.SurveyOf(component); ok {
		away := survey.Record.Custody != "" && survey.Record.Custody != "fitted"
		gone := away && !(refitted && survey.Record.Custody == "kept-with-machine")
		if survey.Record.Origin == "missing" || gone {
			st.basis = "seen"
			st.fixed = certain(missingState(p))
		}
	}
	for _, l := range s.d.Layers(component, p) {
		if refitted && l.Change.Removes && l.Custody == "kept-with-machine" && s.w.reversible(l.Work.Record.Treatment) {
			continue
		}
		st.basis = "work"
		if l.Change.After != nil {
			st.fixed, st.keeps = distribution(p, l.Change.After), 1
		} else {
			st.keeps *= *l.Change.Keeps
		}
	}
	return st
}

// missingState is how an empty position counts: there is no surface, and
// nothing there is as the catalogue says.
func missingState(p registry.Proposition) string {
	switch p {
	case registry.PropositionFinish:
		return "bare"
	case registry.PropositionSpecification:
		return "off-specification"
	}
	return "missing"
}

func certain(state string) scoring.Distribution {
	return scoring.Distribution{{Key: state, Value: 1}}
}

// distribution orders a table of states.
func distribution(p registry.Proposition, table map[string]float64) scoring.Distribution {
	var out scoring.Distribution
	for _, s := range append(registry.States(p), registry.StateOther) {
		if v, ok := table[s]; ok && v > 0 {
			out = append(out, scoring.Entry[float64]{Key: s, Value: v})
		}
	}
	return out
}

// scaled multiplies every credit.
func scaled(credit scoring.Distribution, by float64) scoring.Distribution {
	if by == 1 {
		return credit
	}
	out := make(scoring.Distribution, len(credit))
	for i, e := range credit {
		out[i] = scoring.Entry[float64]{Key: e.Key, Value: float64(e.Value * by)}
	}
	return out
}

// indexInput is what `calc index` takes for one index. Parts of one assembly
// stand together under its switch, whatever the question; a part that work has
// replaced, or whose place is empty, stands by itself.
func (s *seen) indexInput(name string, refitted bool) (scoring.IndexInput, error) {
	p := indexQuestion[name]
	var in scoring.IndexInput
	place := map[string]int{} // assembly id → index in the input
	for _, c := range s.w.components() {
		if s.d.NotFitted(c.ID) || c.weight(name) == 0 {
			continue
		}
		st := s.stateOf(c.ID, p, refitted)
		part := scoring.IndexPart{ID: c.ID, Weight: c.weight(name), Credit: scaled(s.standpoint.credit(p), st.keeps), IfIntact: st.fixed}
		alone := st.fixed != nil || s.stateOf(c.ID, registry.PropositionOrigin, refitted).fixed != nil
		if alone {
			if part.IfIntact == nil {
				part.IfIntact = s.answers[c.ID][p].Posterior
			}
			in.Assemblies = append(in.Assemblies, scoring.Assembly{ID: c.ID, Intact: 1, Parts: []scoring.IndexPart{part}})
			continue
		}
		a, err := s.assembly(c.Assembly, refitted)
		if err != nil {
			return in, err
		}
		part.IfIntact, part.IfSwapped = s.underSwitch(a, c, p)
		i, ok := place[c.Assembly]
		if !ok {
			i = len(in.Assemblies)
			place[c.Assembly] = i
			in.Assemblies = append(in.Assemblies, scoring.Assembly{ID: c.Assembly, Intact: a.Intact})
		}
		in.Assemblies[i].Parts = append(in.Assemblies[i].Parts, part)
	}
	return in, nil
}

// underSwitch gives the distributions of one question of one part, should its
// assembly be intact or swapped. Evidence on origin speaks to the switch;
// evidence on finish and specification is of the part as it is.
func (s *seen) underSwitch(a scoring.AssemblyResult, c component, p registry.Proposition) (intact, swapped scoring.Distribution) {
	if p != registry.PropositionOrigin {
		_, swapped := s.w.assemblyPrior(c.Assembly, p)
		return s.answers[c.ID][p].Posterior, swapped
	}
	for _, part := range a.Parts {
		if part.ID == c.ID {
			return part.IfIntact, part.IfSwapped
		}
	}
	return s.answers[c.ID][p].Posterior, s.answers[c.ID][p].Posterior
}

// assembly carries the evidence about an assembly's parts to its switch and
// back.
func (s *seen) assembly(id string, refitted bool) (scoring.AssemblyResult, error) {
	key := fmt.Sprint(id, refitted)
	if a, ok := s.assemblies[key]; ok {
		return a, nil
	}
	intact, swapped := s.w.assemblyPrior(id, registry.PropositionOrigin)
	in := scoring.AssemblyInput{Intact: intact}
	if about := s.w.evidenceOn(s.d, id, registry.PropositionAssembly); len(about) > 0 {
		states := registry.States(registry.PropositionAssembly)
		q := originInput(states, scoring.Distribution{{Key: states[0], Value: intact}, {Key: states[1], Value: 1 - intact}}, 0, about)
		l, err := scoring.LogLikelihood(q)
		if err != nil {
			return scoring.AssemblyResult{}, err
		}
		in.Switch = l
	}
	for _, c := range s.w.components() {
		if c.Assembly != id || s.w.priorIfIntact(c.ID) == nil || s.d.NotFitted(c.ID) || s.stateOf(c.ID, registry.PropositionOrigin, refitted).fixed != nil {
			continue
		}
		part := scoring.AssemblyPart{ID: c.ID, IfIntact: s.w.priorIfIntact(c.ID), IfSwapped: swapped}
		if q := s.questions[c.ID][registry.PropositionOrigin]; len(q.items) > 0 {
			l, err := scoring.LogLikelihood(q.input)
			if err != nil {
				return scoring.AssemblyResult{}, err
			}
			part.LogLikelihood = l
		}
		in.Parts = append(in.Parts, part)
	}
	a, err := scoring.UpdateAssembly(in)
	if err == nil {
		s.assemblies[key] = a
	}
	return a, err
}

// coverage is the share of an index's weight whose answers rest on more than
// the prior.
func (s *seen) coverage(name string) float64 {
	var covered, total float64
	for _, c := range s.w.components() {
		if s.d.NotFitted(c.ID) {
			continue
		}
		total += c.weight(name)
		if s.stateOf(c.ID, indexQuestion[name], false).basis != "prior" {
			covered += c.weight(name)
		}
	}
	if total == 0 {
		return 0
	}
	return covered / total
}

// incomplete says why there is no figure of an index, "" when there is one.
func (s *seen) incomplete(name string) string {
	covered := s.coverage(name)
	if covered >= s.standpoint.minimum {
		return ""
	}
	return fmt.Sprintf("Survey incomplete: the claims behind %s of the weight rest on nothing but the house prior; at least %s must rest on evidence. Survey the heaviest components that are still open.",
		scoring.Percent(1-covered), scoring.Percent(s.standpoint.minimum))
}

// index computes one index, or says why there is none.
func (s *seen) index(name string) (IndexReport, error) {
	r := IndexReport{Coverage: s.coverage(name)}
	now, err := s.indexInput(name, false)
	if err != nil {
		return r, err
	}
	r.parts = &now
	if r.Refused = s.incomplete(name); r.Refused != "" {
		return r, nil
	}
	result, err := s.w.scale(s.d.ID, name, now)
	if err != nil {
		return r, err
	}
	r.Now, r.Input = &result, &now
	back, err := s.indexInput(name, true)
	if err != nil {
		return r, err
	}
	r.Recoverable, r.BackInput = &result, &back
	if !reflect.DeepEqual(now, back) {
		again, err := s.w.scale(s.d.ID, name+":back", back)
		if err != nil {
			return r, err
		}
		r.Recoverable = &again
	}
	return r, nil
}

// marginal is the distribution of one question as it counts now, and the share
// of the credit that repairs have left.
func (s *seen) marginal(component string, p registry.Proposition) (scoring.Distribution, float64, error) {
	st := s.stateOf(component, p, false)
	if st.fixed != nil {
		return st.fixed, st.keeps, nil
	}
	c, _ := s.w.component(component)
	if s.stateOf(component, registry.PropositionOrigin, false).fixed != nil {
		return s.answers[component][p].Posterior, st.keeps, nil
	}
	a, err := s.assembly(c.Assembly, false)
	if err != nil {
		return nil, 1, err
	}
	intact, swapped := s.underSwitch(a, c, p)
	return mixture(a.Intact, intact, swapped), st.keeps, nil
}

// mixture is share·a + (1−share)·b.
func mixture(share float64, a, b scoring.Distribution) scoring.Distribution {
	var out scoring.Distribution
	for _, e := range a {
		other, _ := b.Get(e.Key)
		out = append(out, scoring.Entry[float64]{Key: e.Key, Value: float64(share*e.Value) + float64((1-share)*other)})
	}
	for _, e := range b {
		if _, there := a.Get(e.Key); !there {
			out = append(out, scoring.Entry[float64]{Key: e.Key, Value: float64((1 - share) * e.Value)})
		}
	}
	return out
}
