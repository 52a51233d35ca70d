package workshop

import (
	"bytes"
	"context"
	"encoding/json"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// Recalculated is one recorded estimate, computed again from its own input.
type Recalculated struct {
	Of         string          `json:"of"`
	Method     string          `json:"method"`
	Catalog    string          `json:"catalog"`
	Standpoint string          `json:"standpoint,omitempty"`
	Input      json.RawMessage `json:"input"`
	Recorded   json.RawMessage `json:"recorded"`
	Again      json.RawMessage `json:"again"`
	Same       bool            `json:"same"` // to the last digit
}

// Recalc computes every estimate of one event again. The event is named by its
// id, or as machine/version. CodeNotFound when there is none, CodeRefused when
// the event holds no estimate.
func (w *Workshop) Recalc(ctx context.Context, event string) ([]Recalculated, error) {
	body, err := w.findEvent(ctx, event)
	if err != nil {
		return nil, err
	}
	for _, p := range registry.Privates(body) {
		if p.Digest == "" {
			continue
		}
		if p.Value, err = w.open(ctx, p.Digest); err != nil {
			return nil, err
		}
	}
	estimates := registry.Estimates(body)
	if len(estimates) == 0 {
		return nil, registry.Refuse(registry.CodeRefused, "Estimates are in claims, evidence from the bench, the seal of the survey, weighings, proposals and change requests.",
			"%s of event %q holds no estimate", registry.Title(body.Kind()), event)
	}
	var out []Recalculated
	for _, e := range estimates {
		r, err := recalculate(e)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

func recalculate(e registry.NamedEstimate) (Recalculated, error) {
	again, err := scoring.Run(e.Method, e.Input)
	if err != nil {
		return Recalculated{}, err
	}
	a, err := registry.CanonicalJSON(json.RawMessage(again))
	if err != nil {
		return Recalculated{}, err
	}
	b, err := registry.CanonicalJSON(e.Result)
	if err != nil {
		return Recalculated{}, err
	}
	return Recalculated{Of: e.Of, Method: e.Method, Catalog: e.Catalog, Standpoint: e.Standpoint,
		Input: e.Input, Recorded: b, Again: a, Same: bytes.Equal(a, b)}, nil
}

// checkEstimates refuses figures that their input does not give: what is
// recorded must be what anybody can compute again.
func checkEstimates(b registry.Body) error {
	for _, e := range registry.Estimates(b) {
		r, err := recalculate(e)
		if err != nil {
			return err
		}
		if !r.Same {
			return registry.Refuse(registry.CodeInvalid, "Leave the figures out; the program computes them.", "The estimate of %s is not what its input gives", e.Of)
		}
	}
	return nil
}

func (w *Workshop) findEvent(ctx context.Context, event string) (registry.Body, error) {
	var found registry.Body
	try := func(data []byte) error {
		e, err := registry.DecodeEvent(data)
		if err != nil {
			return err
		}
		machine, v, _ := strings.Cut(event, "/")
		if e.ID == event || e.Machine == machine && strconv.FormatUint(e.Version, 10) == v {
			found, err = registry.DecodeBody(e.Kind, e.Schema, e.Body)
		}
		return err
	}
	each := func(r registry.Record) error {
		for _, data := range r.Events {
			if err := try(data); err != nil {
				return err
			}
		}
		return nil
	}
	var err error
	if machine, _, ok := strings.Cut(event, "/"); ok {
		err = w.Ledger.Read(ctx, machine, 0, each)
	} else {
		err = w.Ledger.ReadAll(ctx, 0, each)
	}
	if err == nil && found == nil {
		err = registry.Refuse(registry.CodeNotFound, "Events are named in the timeline, by id or as machine/version.", "There is no event %q", event)
	}
	return found, err
}
