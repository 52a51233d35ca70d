package registry

import (
	"encoding/json"
)

// Evidence is a thing that speaks for or against claims. It says what each
// state would lead one to expect, never what to believe.
type Evidence struct {
	Common
	Evidence string    `json:"evidence"` // kind of evidence, of EvidenceKinds
	Bears    []Bearing `json:"bears"`
	// Made is when the thing itself was made; MadeBy by whom (a role or firm in
	// general words; names belong in Private records).
	Made   Date   `json:"made,omitempty"`
	MadeBy string `json:"made_by,omitempty"`
	// Recollected marks what was remembered later rather than made at the time.
	Recollected bool `json:"recollected,omitempty"`
	// Cluster groups evidence that is not independent: the same patina, the
	// same maker's stamps, the same witness.
	Cluster string `json:"cluster"`
	// Reliability is the chance that the item is what it seems, 0 to 1.
	Reliability *float64 `json:"reliability,omitempty"`
	Says        string   `json:"says"`
	// Limits is what it cannot show.
	Limits string   `json:"limits,omitempty"`
	Photos []string `json:"photos,omitempty"`
	By     string   `json:"by"` // who judged it
	// Estimate is the computation that the likelihoods rest on, where there is
	// one: a thread, a date stamp, a film that was measured.
	Estimate *Estimate `json:"estimate,omitempty"`
	// EstimateWithheld is the same, as JSON, where the input holds what must not
	// travel, such as a whole frame number. At most one of the two is given.
	EstimateWithheld Private `json:"estimate_withheld,omitzero"`
}

// Bearing is what one piece of evidence says about one question.
type Bearing struct {
	Component   string      `json:"component"` // a component, or an assembly for PropositionAssembly
	Proposition Proposition `json:"proposition"`
	// Sign names the catalog's likelihood table; Likelihood gives the numbers
	// P(seen | state) outright. Exactly one of them is given.
	Sign       string             `json:"sign,omitempty"`
	Likelihood map[string]float64 `json:"likelihood,omitempty"`
	// Why is the sentence behind numbers of one's own.
	Why string `json:"why,omitempty"`
}

func (*Evidence) Kind() Kind { return "evidence" }

func (e *Evidence) check(fs *faults) {
	checkTerm(fs, "/evidence", e.Evidence, EvidenceKinds())
	fs.date("/made", e.Made)
	fs.id("/cluster", e.Cluster, false)
	if e.Reliability != nil {
		fs.probability("/reliability", *e.Reliability)
	}
	fs.need("/says", e.Says, "It is not said what the evidence says", "One sentence.")
	fs.id("/by", e.By, false)
	fs.ids("/photos", e.Photos)
	if len(e.Bears) == 0 {
		fs.add("/bears", "", "", "The evidence bears on nothing", "Name the component and the question it speaks to.")
	}
	for i, b := range e.Bears {
		p := at("/bears", i)
		fs.id(p+"/component", b.Component, false)
		if !checkProposition(fs, p+"/proposition", b.Proposition) {
			continue
		}
		switch {
		case b.Sign == "" && len(b.Likelihood) == 0:
			fs.add(p, "", "", "There is neither a sign of the catalog nor a likelihood", "Name the sign, or give P(seen | state) for each state.")
		case b.Sign != "" && len(b.Likelihood) > 0:
			fs.add(p, "", "", "There are both a sign of the catalog and a likelihood", "Keep one of them.")
		case b.Sign != "":
			fs.id(p+"/sign", b.Sign, false)
		default:
			fs.shares(p+"/likelihood", b.Proposition, b.Likelihood)
			fs.need(p+"/why", b.Why, "Numbers of one's own need a reason", "Write the sentence behind them.")
		}
	}
	if e.Estimate != nil {
		e.Estimate.check(fs, "/estimate")
		if !e.EstimateWithheld.IsZero() {
			fs.add("/estimate_withheld", "", "", "The estimate is given both openly and withheld", "Keep one of them.")
		}
	}
	if e.EstimateWithheld.Value != "" {
		if w, ok := e.withheldEstimate(); ok {
			w.check(fs, "/estimate_withheld")
		} else {
			fs.add("/estimate_withheld", "", "", "The withheld estimate cannot be read", "Write it as JSON text with method, catalog, input and result.")
		}
	}
}

// withheldEstimate reads the withheld estimate where its value is known.
func (e *Evidence) withheldEstimate() (*Estimate, bool) {
	var out Estimate
	if e.EstimateWithheld.Value == "" || strictJSON([]byte(e.EstimateWithheld.Value), &out) != nil {
		return nil, false
	}
	return &out, true
}

func checkProposition(fs *faults, pointer string, p Proposition) bool {
	if States(p) != nil {
		return true
	}
	fs.add(pointer, string(p), "origin, finish, specification, assembly", "There is no such question", "")
	return false
}

// Claim is a stated answer to one question about one component, with the prior
// and the evidence that it rests on and the estimate that came out. Without
// one, the question stands open on all evidence that bears on it.
type Claim struct {
	Common
	Component   string      `json:"component"`
	Proposition Proposition `json:"proposition"`
	Statement   string      `json:"statement"`
	// States are those that are weighed; with Prior over them. Empty means the
	// catalog's.
	States      []string  `json:"states,omitempty"`
	Prior       []float64 `json:"prior,omitempty"`
	PriorSource string    `json:"prior_source,omitempty"`
	// Evidence cited, by record id, in the order in which it was found.
	Evidence []string `json:"evidence"`
	// Resolves names claims or evidence that contradict, when this claim says
	// why; nothing is deleted.
	Resolves []string  `json:"resolves,omitempty"`
	Estimate *Estimate `json:"estimate,omitempty"`
	By       string    `json:"by"`
}

func (*Claim) Kind() Kind { return "claim" }

func (c *Claim) check(fs *faults) {
	fs.id("/component", c.Component, false)
	if checkProposition(fs, "/proposition", c.Proposition) {
		known := map[string]bool{}
		for _, s := range States(c.Proposition) {
			known[s] = true
		}
		for i, s := range c.States {
			if !known[s] {
				fs.add(at("/states", i), s, "the states of "+string(c.Proposition), "This state does not belong to the proposition", "")
			}
			known[s] = false
		}
	}
	if len(c.States) != len(c.Prior) {
		fs.add("/prior", itoa(len(c.Prior))+" numbers", itoa(len(c.States))+" numbers", "The prior needs one number per state", "")
	}
	for i, p := range c.Prior {
		fs.probability(at("/prior", i), p)
	}
	if len(c.Prior) > 0 {
		fs.need("/prior_source", c.PriorSource, "A prior of one's own needs a source", "Write where the numbers come from.")
	}
	fs.need("/statement", c.Statement, "The claim says nothing", "One sentence.")
	fs.ids("/evidence", c.Evidence)
	fs.ids("/resolves", c.Resolves)
	if len(c.Evidence) == 0 {
		fs.add("/evidence", "", "", "The claim cites no evidence", "A claim without evidence moves nothing; record the evidence first.")
	}
	if c.Estimate != nil {
		c.Estimate.check(fs, "/estimate")
	}
	fs.id("/by", c.By, false)
}

// Estimate is a computed figure, kept with exactly what it was computed from.
type Estimate struct {
	Method     string          `json:"method"`               // name and version, such as "origin/1"
	Catalog    string          `json:"catalog"`              // house version, packs and digest
	Standpoint string          `json:"standpoint,omitempty"` // the policy that set weights and credits
	Input      json.RawMessage `json:"input"`                // what `calc` takes
	Result     json.RawMessage `json:"result"`               // what `calc` prints
}

func (e *Estimate) check(fs *faults, pointer string) {
	fs.need(pointer+"/method", e.Method, "The estimate has no method", "")
	if !json.Valid(e.Input) || !json.Valid(e.Result) {
		fs.add(pointer, "", "", "The estimate has no input or no result", "")
	}
}

// NamedEstimate is an estimate with what it is of.
type NamedEstimate struct {
	Of string `json:"of"` // such as "substance", or "magneto-condenser/substance"
	Estimate
}

func checkEstimates(fs *faults, pointer string, es []NamedEstimate) {
	for i := range es {
		fs.need(at(pointer, i)+"/of", es[i].Of, "It is not said what the estimate is of", "")
		es[i].Estimate.check(fs, at(pointer, i))
	}
}

// Estimates lists the estimates that a record holds, a withheld one where its
// value is known.
func Estimates(b Body) []NamedEstimate {
	switch b := b.(type) {
	case *Claim:
		if b.Estimate != nil {
			return []NamedEstimate{{Of: b.Component + "/" + string(b.Proposition), Estimate: *b.Estimate}}
		}
	case *Evidence:
		if b.Estimate != nil {
			return []NamedEstimate{{Of: b.ID, Estimate: *b.Estimate}}
		}
		if e, ok := b.withheldEstimate(); ok {
			return []NamedEstimate{{Of: b.ID, Estimate: *e}}
		}
	case *SurveySeal:
		return b.Indices
	case *Weighing:
		return b.Effects
	case *Proposal:
		return b.Offer.Shown
	case *ChangeRequest:
		return b.Offer.Shown
	}
	return nil
}
