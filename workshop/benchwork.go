package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// BenchAnswer is one computation at the bench, with exactly what it was computed
// from: the tables of the catalog stand in the input.
type BenchAnswer struct {
	Method  string          `json:"method"`
	Catalog string          `json:"catalog"`
	Input   json.RawMessage `json:"input"`
	Result  json.RawMessage `json:"result"`
}

// Ask runs a method, such as "thread" or "thread/1", on an input to which the
// catalog adds the tables that it leaves out. Nothing is recorded. CodeNotFound
// for a method that is not known; else the codes of the method.
func (w *Workshop) Ask(method string, input []byte) (BenchAnswer, error) {
	name := methodNamed(method)
	if name == "" {
		return BenchAnswer{}, registry.Refuse(registry.CodeNotFound, "See docs/scoring.md for their names.", "There is no method %q", method)
	}
	if len(input) <= scoring.MaxInputBytes {
		full, err := w.Catalog.Supply(name, input)
		if err != nil {
			return BenchAnswer{}, err
		}
		input = full
	}
	// A computation on the raw input says where the input cannot be read; the
	// record keeps canonical JSON, so the figure is computed from that.
	result, err := scoring.Run(name, input)
	if err != nil {
		return BenchAnswer{}, err
	}
	raw, err := registry.CanonicalJSON(json.RawMessage(input))
	if err != nil {
		return BenchAnswer{}, err
	}
	if string(raw) != string(input) {
		if result, err = scoring.Run(name, raw); err != nil {
			return BenchAnswer{}, err
		}
	}
	return BenchAnswer{Method: name, Catalog: w.catalogIdentity(), Input: raw, Result: result}, nil
}

// methodNamed is the full name of a method; without a version, the newest.
func methodNamed(asked string) string {
	name := ""
	for _, m := range scoring.Methods() {
		if base, _, _ := strings.Cut(m.Name, "/"); m.Name == asked || base == asked {
			name = m.Name
		}
	}
	return name
}

// BenchEvidence is a computation to be kept as evidence on a component.
type BenchEvidence struct {
	Component string          `json:"component"` // id, code or name
	Method    string          `json:"method"`
	Input     json.RawMessage `json:"input"`
	// Of names the stamp or area that is meant, where the input has several.
	Of string `json:"of,omitempty"`
	// Listed is the thread that the maker's list gives, such as "BSF 1/4".
	Listed string `json:"listed,omitempty"`
	// Photos show what was measured.
	Photos []string `json:"photos,omitempty"`
	Note   string   `json:"note,omitempty"`
	By     string   `json:"by,omitempty"` // who measured; the actor when left out
}

// ofInput puts the faults of an input where it stands in the request.
func ofInput(err error) error {
	var e *registry.Error
	if !errors.As(err, &e) {
		return err
	}
	moved := *e
	moved.Fields = nil
	for _, f := range e.Fields {
		f.Pointer = "/input" + f.Pointer
		moved.Fields = append(moved.Fields, f)
	}
	return &moved
}

// evidenceMethod is the method of the computation behind evidence, "" when there
// is none or it is withheld and its value is not known.
func evidenceMethod(e *registry.Evidence) string {
	for _, x := range registry.Estimates(e) {
		return x.Method
	}
	return ""
}

// BearsOnComponents says whether what a method answers can be evidence on a
// component; it goes by its full name.
func BearsOnComponents(method string) bool {
	_, ok := benchReadings[method]
	return ok
}

// AttachedEvidence is the record that was made, with its receipt.
type AttachedEvidence struct {
	Receipt  Receipt            `json:"receipt"`
	Evidence *registry.Evidence `json:"evidence"`
}

// AttachEvidence computes once more and records the result as evidence on a
// component: its likelihood, cluster and limits, the input with its tables, the
// result, the method's version and the catalog's.
//
// The likelihood is that of the catalog's signs, mixed by what was computed, so
// that no reading says more than its sign: a stamp of the right age stays far
// from proof that it is the part. A result that does not tell is kept with equal
// likelihoods and moves nothing. Whole numbers are withheld.
//
// Codes of Ask and Record; CodeNotFound for a component that the anatomy lacks,
// CodeRefused for a method that says nothing of a component, and for a thread
// that nothing fits.
func (w *Workshop) AttachEvidence(ctx context.Context, req Request, b BenchEvidence) (AttachedEvidence, error) {
	c, ok := w.component(b.Component)
	if !ok {
		return AttachedEvidence{}, &registry.Error{Code: registry.CodeNotFound, Message: fmt.Sprintf("The anatomy has no component %q", b.Component), Fix: "Write its code, name or id.",
			Fields: []registry.Field{{Pointer: "/component", Message: "There is no such component", Fix: "Write its code, name or id."}}}
	}
	name := methodNamed(b.Method)
	read, ok := benchReadings[name]
	if name != "" && !ok {
		return AttachedEvidence{}, registry.Refuse(registry.CodeRefused, "Keep it in a note, or make a claim of your own.", "What %s says is of no single component", b.Method)
	}
	if name == scoring.MethodTyre && !strings.Contains(c.ID, "tyre") {
		return AttachedEvidence{}, registry.Refuse(registry.CodeRefused, "Name the tyre that bears it.", "A tyre's code says nothing of %s", c.Name)
	}
	a, err := w.Ask(b.Method, b.Input)
	if err != nil {
		return AttachedEvidence{}, ofInput(err)
	}
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return AttachedEvidence{}, err
	}
	found, err := read(&benchReader{w: w, d: d, asked: b, answer: a})
	if err != nil {
		return AttachedEvidence{}, err
	}
	if name == scoring.MethodThread {
		left := 0
		if a, left, err = nearThreads(a); err != nil {
			return AttachedEvidence{}, err
		}
		found.limits += leftOutWords(left)
	}
	if b.By == "" {
		b.By = req.Actor
	}
	e := &registry.Evidence{Common: registry.Common{Note: b.Note}, Evidence: found.kind, Cluster: found.cluster, Says: found.says, Limits: found.limits, Photos: b.Photos, By: b.By,
		Bears: []registry.Bearing{{Component: c.ID, Proposition: found.proposition, Likelihood: found.likelihood, Why: found.why}}}
	if found.reliability > 0 {
		e.Reliability = &found.reliability
	}
	estimate := registry.Estimate{Method: a.Method, Catalog: a.Catalog, Input: a.Input, Result: a.Result}
	secret := found.withhold
	for _, s := range secretsOf(d) {
		secret = secret || strings.Contains(string(a.Input), s.value) || strings.Contains(string(a.Result), s.value)
	}
	if !secret {
		e.Estimate = &estimate
	} else {
		text, err := registry.CanonicalJSON(estimate)
		if err != nil {
			return AttachedEvidence{}, err
		}
		e.EstimateWithheld = registry.Private{Value: string(text)}
	}
	w.name(e)
	req.computed = true
	receipt, err := w.Record(ctx, req, e)
	return AttachedEvidence{Receipt: receipt, Evidence: e}, err
}
