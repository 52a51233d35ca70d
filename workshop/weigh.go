package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// Weigh computes what options do to each index of the machine as it stands.
// With record, the result is kept as a weighing, inputs and all. CodeNotFound
// for an option that is not on record, CodeInsufficient when the survey is too
// thin for a figure.
func (w *Workshop) Weigh(ctx context.Context, req Request, options []string, record bool) ([]OptionReport, Receipt, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return nil, Receipt{}, err
	}
	if len(options) == 0 {
		for _, o := range registry.Live[*registry.Option](d) {
			options = append(options, o.RecordID())
		}
	}
	s, err := w.look(d, "")
	if err != nil {
		return nil, Receipt{}, err
	}
	var out []OptionReport
	weighing := &registry.Weighing{Options: options, By: req.Actor}
	for _, id := range options {
		o, ok := registry.Get[*registry.Option](d, id)
		if !ok {
			return nil, Receipt{}, registry.Refuse(registry.CodeNotFound, "List the faults and their options.", "There is no option %q", id)
		}
		effects, err := s.effects(o.Record)
		if err != nil {
			return nil, Receipt{}, err
		}
		report := w.optionReport(d, *o.Record, NewReader(d, false))
		report.Effects = effects
		reader := NewReader(d, false)
		report.Risk = risk(d, id, reader)
		if o.Record.Treatment == leaveTreatment {
			report.Leaving = leaving(d, o.Record.Fault, reader)
		}
		out = append(out, report)
		weighing.Effects = append(weighing.Effects, effects.Estimates...)
	}
	if !record {
		return out, Receipt{}, nil
	}
	if req.Expect == nil {
		req.Expect = version(d)
	}
	req.computed = true
	receipt, err := w.Record(ctx, req, weighing)
	return out, receipt, err
}

func version(d *registry.Dossier) *uint64 {
	v := d.Version()
	return &v
}

// effects computes what one option does to each index.
func (s *seen) effects(o *registry.Option) (*Effects, error) {
	var out Effects
	var err error
	out.Each(func(name string, to *scoring.EffectResult) {
		if err != nil {
			return
		}
		var in scoring.EffectInput
		if in, err = s.effectInput(o, name); err != nil {
			return
		}
		if len(in.Parts) == 0 && len(in.Openings) == 0 {
			return // nothing of this index is touched: no loss, and nothing to estimate
		}
		if why := s.incomplete(name); why != "" {
			err = registry.Refuse(registry.CodeInsufficient, "Survey first, and weigh then.", "What %q does to the %s index cannot be said yet. %s", o.ID, name, why)
			return
		}
		var estimate registry.NamedEstimate
		if estimate, err = s.w.estimate(o.ID+"/"+name, "effect/1", s.standpoint.id, in, to); err == nil {
			out.Estimates = append(out.Estimates, estimate)
		}
	})
	var refusal *registry.Error
	if errors.As(err, &refusal) {
		return nil, refusal
	}
	if err != nil {
		return nil, fmt.Errorf("weigh %s: %w", o.ID, err)
	}
	return &out, nil
}

// effectInput is what `calc effect` takes for one option and index.
func (s *seen) effectInput(o *registry.Option, name string) (scoring.EffectInput, error) {
	p := indexQuestion[name]
	in := scoring.EffectInput{}
	for _, c := range s.w.components() {
		if !s.d.NotFitted(c.ID) {
			in.TotalWeight += c.weight(name)
		}
	}
	for _, change := range o.Changes {
		c, ok := s.w.component(change.Component)
		if !ok || change.Proposition != p || c.weight(name) == 0 {
			continue
		}
		before, keeps, err := s.marginal(c.ID, p)
		if err != nil {
			return in, err
		}
		part := scoring.EffectPart{ID: c.ID, Weight: c.weight(name), Before: before, Reversible: s.w.reversible(o.Treatment)}
		credit := scaled(s.standpoint.credit(p), keeps)
		if change.After != nil {
			// What comes is another thing, or another surface: it counts by
			// its own credit, whatever repairs had left of the old one's.
			part.After = relabelled(distribution(p, change.After))
			part.Credit = append(credit, relabelled(s.standpoint.credit(p))...)
		} else {
			part.SamePart = true
			for _, e := range before {
				now, _ := credit.Get(e.Key)
				part.After = append(part.After, scoring.Entry[float64]{Key: e.Key + afterwards, Value: e.Value})
				credit = append(credit, scoring.Entry[float64]{Key: e.Key + afterwards, Value: float64(now * *change.Keeps)})
			}
			part.Credit = credit
		}
		if change.Removes && change.Keep != nil {
			part.Custody = change.Keep.Custody
			part.LossPerYear, part.Years, part.RefitChance = &change.Keep.LossPerYear, &change.Keep.Years, &change.Keep.RefitChance
		}
		in.Parts = append(in.Parts, part)
	}
	if name == "substance" {
		for _, id := range s.openingsOf(o) {
			opening, _ := registry.Get[*registry.Opening](s.d, id)
			in.Openings = append(in.Openings, scoring.Opening{ID: id, WitnessPoints: opening.Record.WitnessPoints})
		}
	}
	return in, nil
}

// afterwards marks a state as it counts after the act.
const afterwards = ", afterwards"

func relabelled(dist scoring.Distribution) scoring.Distribution {
	out := make(scoring.Distribution, len(dist))
	for i, e := range dist {
		out[i] = scoring.Entry[float64]{Key: e.Key + afterwards, Value: e.Value}
	}
	return out
}

// openingsOf lists the openings that an option needs and that have not been
// made yet, with those that come before them, each once.
func (s *seen) openingsOf(o *registry.Option) []string {
	return slices.DeleteFunc(s.d.OpeningsNeeded(o.Openings), s.d.IsOpened)
}

// estimate runs a method on an input, as `calc` would, and keeps both.
func (w *Workshop) estimate(of, method, standpoint string, input, result any) (registry.NamedEstimate, error) {
	raw, err := json.Marshal(input)
	if err != nil {
		return registry.NamedEstimate{}, err
	}
	// The record keeps canonical JSON, so the figure is computed from that.
	if raw, err = registry.CanonicalJSON(json.RawMessage(raw)); err != nil {
		return registry.NamedEstimate{}, err
	}
	printed, err := scoring.Run(method, raw)
	if err != nil {
		return registry.NamedEstimate{}, err
	}
	if err := json.Unmarshal(printed, result); err != nil {
		return registry.NamedEstimate{}, err
	}
	return registry.NamedEstimate{Of: of, Estimate: registry.Estimate{Method: method, Catalog: w.catalogIdentity(),
		Standpoint: standpoint, Input: raw, Result: printed}}, nil
}
