package workshop

import (
	"context"
	"slices"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// ProposeInput is what is put to the owner.
type ProposeInput struct {
	ID          string // may be empty
	To, By      string // person ids; the owner of the agreement and the actor when empty
	Options     []string
	Recommended []string
	// Ceiling is what may be spent in all; left out, it is what is enough with
	// a chance of 80 % by the forecast.
	Ceiling   registry.Money
	Expires   time.Time
	DoNothing string
	// Amends and Found make it a change request.
	Amends, Found string
	Supersedes    string
	// Value, when given, asks what the machine is worth before and after, and
	// the answer is shown with the offer. A question without options or plans
	// is of what is recommended, done together.
	Value *ValueQuestion
}

// Proposed is a proposal as it was made. Token is that of a link that was made
// with it, shown once and kept nowhere; "" where the person has a link already,
// at which the proposal appears.
type Proposed struct {
	ID      string    `json:"id"`
	Digest  string    `json:"digest"`
	Token   string    `json:"token"`
	Expires time.Time `json:"expires"`
	// Link is where the proposal is answered.
	Link GivenLink `json:"owner_link"`
	// Ceiling and Forecast are of what is recommended; there is no forecast
	// where nothing costs anything.
	Ceiling  registry.Money `json:"ceiling"`
	Forecast *CostReport    `json:"forecast,omitempty"`
	Value    *ValueReport   `json:"value,omitempty"`
	Receipt  Receipt        `json:"receipt"`
}

// Propose weighs options, freezes what comes out together with the options and
// openings themselves, and puts it to the owner under an unguessable link: the
// one that the owner has, or a new one.
func (w *Workshop) Propose(ctx context.Context, req Request, in ProposeInput) (Proposed, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return Proposed{}, err
	}
	if req.Expect != nil && *req.Expect != d.Version() {
		return Proposed{}, registry.Refuse(registry.CodeConflict, "Look at the machine as it stands now, and propose again.",
			"The proposal was made on version %d; the record is at %d", *req.Expect, d.Version())
	}
	if a, ok := d.Agreement(); ok && in.To == "" {
		in.To = a.Owner
	}
	if in.By == "" {
		in.By = req.Actor
	}
	s, err := w.look(d, "")
	if err != nil {
		return Proposed{}, err
	}
	offer := registry.Offer{Options: []registry.Option{}, Recommended: append([]string{}, in.Recommended...), Ceiling: in.Ceiling,
		Expires: in.Expires.UTC().Truncate(time.Second), DoNothing: in.DoNothing}
	for _, id := range in.Options {
		o, ok := registry.Get[*registry.Option](d, id)
		if !ok {
			return Proposed{}, registry.Refuse(registry.CodeNotFound, "List the faults and their options.", "There is no option %q", id)
		}
		offer.Options = append(offer.Options, *o.Record)
		effects, err := s.effects(o.Record)
		if err != nil {
			return Proposed{}, err
		}
		offer.Shown = append(offer.Shown, effects.Estimates...)
		for _, opening := range d.OpeningsNeeded(o.Record.Openings) {
			if !slices.ContainsFunc(offer.Openings, func(x registry.Opening) bool { return x.ID == opening }) {
				f, _ := registry.Get[*registry.Opening](d, opening)
				frozen := *f.Record
				frozen.ID = opening
				offer.Openings = append(offer.Openings, frozen)
			}
		}
		for _, c := range w.cautionsFor(*o.Record) {
			if !slices.Contains(offer.Cautions, c.ID) {
				offer.Cautions = append(offer.Cautions, c.ID)
			}
		}
	}
	forecast, err := w.forecast(d, &offer)
	if err != nil {
		return Proposed{}, err
	}
	if in.Value != nil {
		q, err := w.withShared(ctx, req.Machine, *in.Value)
		if err != nil {
			return Proposed{}, err
		}
		in.Value = &q
	}
	value, err := s.offerValue(in.Value, &offer)
	if err != nil {
		return Proposed{}, err
	}
	if err := s.outlookEstimates(&offer); err != nil {
		return Proposed{}, err
	}
	indices, err := s.indexEstimates()
	if err != nil {
		return Proposed{}, err
	}
	offer.Shown = append(offer.Shown, indices...)
	link, given, err := w.linkFor(d, in.To, in.By, offer.Expires)
	if err != nil {
		return Proposed{}, err
	}
	common := registry.Common{ID: in.ID, Supersedes: in.Supersedes}
	if common.ID == "" {
		common.ID = "proposal-" + w.NewID()
	}
	var body registry.Body = &registry.Proposal{Common: common, To: in.To, By: in.By, Offer: offer}
	if in.Amends != "" {
		body = &registry.ChangeRequest{Common: common, To: in.To, By: in.By, Amends: in.Amends, Found: in.Found, Offer: offer}
	}
	req.Expect, req.computed = version(d), true
	bodies := []registry.Body{body}
	if link != nil {
		bodies = []registry.Body{link, body}
	}
	receipt, err := w.Record(ctx, req, bodies...)
	if err != nil {
		return Proposed{}, err
	}
	if d, err = w.Load(ctx, req.Machine, At{}); err != nil {
		return Proposed{}, err
	}
	_, digest, _, _ := d.OfferOf(common.ID)
	token := given.Token
	given.Token = "" // it is told once
	return Proposed{ID: common.ID, Digest: digest, Token: token, Expires: offer.Expires, Link: given, Ceiling: offer.Ceiling, Forecast: forecast, Value: value, Receipt: receipt}, nil
}

// forecast puts the cost of what is recommended into an offer, and its ceiling
// where none was named. What costs nothing has no forecast.
func (w *Workshop) forecast(d *registry.Dossier, offer *registry.Offer) (*CostReport, error) {
	r, err := w.cost(d, offer.Recommended, offer.Ceiling)
	if registry.CodeOf(err) == registry.CodeInsufficient {
		if offer.Ceiling.IsZero() && offer.Ceiling.Currency == "" {
			return nil, registry.Refuse(registry.CodeInvalid, "Name a ceiling.", "Nothing recommended has a price, so there is no forecast to take the ceiling from")
		}
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if offer.Ceiling.Currency == "" {
		if offer.Ceiling, err = r.p80(); err != nil {
			return nil, err
		}
		if r, err = w.cost(d, offer.Recommended, offer.Ceiling); err != nil {
			return nil, err
		}
	}
	estimate, err := w.estimate(costOf, scoring.MethodCost, "", r.Input, &scoring.CostResult{})
	if err != nil {
		return nil, err
	}
	offer.Shown = append(offer.Shown, estimate)
	return r, nil
}

// SealSurvey closes the as-found survey with the indices as they stand.
func (w *Workshop) SealSurvey(ctx context.Context, req Request, seal registry.SurveySeal) (Receipt, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return Receipt{}, err
	}
	s, err := w.look(d, "")
	if err != nil {
		return Receipt{}, err
	}
	if seal.Indices, err = s.indexEstimates(); err != nil {
		return Receipt{}, err
	}
	if seal.ID == "" {
		seal.ID = "seal-" + w.NewID()
	}
	if req.Expect == nil {
		req.Expect = version(d)
	}
	req.computed = true
	return w.Record(ctx, req, &seal)
}

// indexEstimates are the indices as they stand, to be recorded. An index of
// which the survey says too little has none.
func (s *seen) indexEstimates() ([]registry.NamedEstimate, error) {
	var out []registry.NamedEstimate
	for _, name := range indexNames {
		if s.incomplete(name) != "" {
			continue
		}
		in, err := s.indexInput(name, false)
		if err != nil {
			return nil, err
		}
		estimate, err := s.w.estimate(name, scoring.MethodIndex, s.standpoint.id, in, &scoring.IndexResult{})
		if err != nil {
			return nil, err
		}
		out = append(out, estimate)
	}
	return out, nil
}
