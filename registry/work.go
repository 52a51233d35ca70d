package registry

import (
	"encoding/json"
	"errors"
	"fmt"
)

// Opened records that something was taken off. It needs a picture of its
// joints as found, and an approval that covers it.
type Opened struct {
	Common
	Opening string `json:"opening"`
	By      string `json:"by"`
	// AlreadyDone says that it happened before it could be recorded here. The
	// record takes it, and marks what was missing.
	AlreadyDone bool `json:"already_done,omitempty"`
	// Standing is set by Decide: how the act stands to the owner's word.
	Standing Standing `json:"standing,omitzero"`
}

// Standing is how an act stands to the owner's word.
type Standing struct {
	// Mark is approved, care (on the list of what may be done without asking),
	// make-safe, or unapproved.
	Mark     string   `json:"mark"`
	Decision string   `json:"decision,omitempty"`
	Why      []string `json:"why,omitempty"` // what was missing, when unapproved
}

func (*Opened) Kind() Kind { return "opened" }

func (o *Opened) check(fs *faults) {
	fs.id("/opening", o.Opening, false)
	fs.id("/by", o.By, false)
}

// Work is an entry of what was done.
type Work struct {
	Common
	// Option is the approved option that this carries out; empty for care, for
	// making safe, and for what nobody asked about.
	Option    string   `json:"option,omitempty"`
	Treatment string   `json:"treatment"`
	Did       string   `json:"did"`
	Changes   []Change `json:"changes,omitempty"`
	Openings  []string `json:"openings,omitempty"`
	Hours     float64  `json:"hours"`
	Spent     Money    `json:"spent,omitzero"`
	Fitted    []Fitted `json:"fitted,omitempty"`
	Photos    []string `json:"photos,omitempty"`
	By        string   `json:"by"`
	Second    string   `json:"second,omitempty"`
	// Care names the item of the care list, or says "make safe: …".
	Care string `json:"care,omitempty"`
	// AlreadyDone says that it happened without, or beyond, an approval. The
	// record takes it, marked unapproved, for ever.
	AlreadyDone bool     `json:"already_done,omitempty"`
	Standing    Standing `json:"standing,omitzero"` // set by Decide
}

// Fitted is a part that went on.
type Fitted struct {
	Component string   `json:"component"`
	Part      string   `json:"part"`
	Origin    string   `json:"origin"`
	Mark      string   `json:"mark,omitempty"` // the discreet date and initial on a new part
	Evidence  []string `json:"evidence,omitempty"`
	// Stock is the part in stock that it was.
	Stock string `json:"stock,omitempty"`
}

func (*Work) Kind() Kind { return "work" }

func (w *Work) check(fs *faults) {
	fs.id("/option", w.Option, true)
	fs.id("/treatment", w.Treatment, false)
	fs.need("/did", w.Did, "It is not said what was done", "One sentence.")
	checkChanges(fs, "/changes", w.Changes)
	fs.ids("/openings", w.Openings)
	fs.notNegative("/hours", w.Hours, "hours")
	fs.money("/spent", w.Spent)
	for i, f := range w.Fitted {
		p := at("/fitted", i)
		fs.id(p+"/component", f.Component, false)
		fs.need(p+"/part", f.Part, "It is not said which part was fitted", "")
		checkTerm(fs, p+"/origin", f.Origin, Origins())
		fs.id(p+"/stock", f.Stock, true)
	}
	fs.ids("/photos", w.Photos)
	fs.id("/by", w.By, false)
	fs.id("/second", w.Second, true)
}

// RemovedPart is an original that came off, tagged and stored.
type RemovedPart struct {
	Common
	Component string  `json:"component"`
	Work      string  `json:"work,omitempty"` // the entry that took it off
	Tag       string  `json:"tag"`
	What      string  `json:"what"`
	Custody   string  `json:"custody"`
	Place     Private `json:"place,omitzero"`
	Condition string  `json:"condition,omitempty"`
	Reason    string  `json:"reason"`
	// Fasteners are in the same bag.
	Fasteners string   `json:"fasteners,omitempty"`
	Photos    []string `json:"photos,omitempty"`
	By        string   `json:"by"`
}

func (*RemovedPart) Kind() Kind { return "removed-part" }

func (r *RemovedPart) check(fs *faults) {
	fs.id("/component", r.Component, false)
	fs.id("/work", r.Work, true)
	fs.need("/tag", r.Tag, "The part has no tag", "Write the tag that hangs on it.")
	fs.need("/what", r.What, "It is not said what the part is", "")
	fs.need("/reason", r.Reason, "It is not said why it came off", "")
	if r.Custody == "fitted" {
		fs.add("/custody", r.Custody, "kept-with-machine, evidence-only, elsewhere, lost, destroyed", "A removed part cannot also be fitted", "")
	} else {
		checkTerm(fs, "/custody", r.Custody, Custodies())
	}
	fs.ids("/photos", r.Photos)
	fs.id("/by", r.By, false)
}

// PartMove says that a removed part changed its place. Custody "fitted" means
// that it went back where it came from: the work that took it off is undone.
type PartMove struct {
	Common
	Part    string  `json:"part"` // the removed part's record
	Custody string  `json:"custody"`
	Place   Private `json:"place,omitzero"`
	Why     string  `json:"why"`
	By      string  `json:"by"`
}

func (*PartMove) Kind() Kind { return "part-move" }

func (p *PartMove) check(fs *faults) {
	fs.id("/part", p.Part, false)
	checkTerm(fs, "/custody", p.Custody, Custodies())
	fs.need("/why", p.Why, "It is not said why", "")
	fs.id("/by", p.By, false)
}

// Check is a test after work, with its readings.
type Check struct {
	Common
	What       string    `json:"what"`
	Components []string  `json:"components"`
	Outcome    string    `json:"outcome"` // passed, failed, not-done
	Readings   []Reading `json:"readings,omitempty"`
	Work       string    `json:"work,omitempty"`
	// Of is the check of a gate that this is, Recheck the recheck that it does.
	Of      string   `json:"of,omitempty"`
	Recheck string   `json:"recheck,omitempty"`
	By      string   `json:"by"`
	Second  string   `json:"second,omitempty"`
	Photos  []string `json:"photos,omitempty"`
}

// Reading is a figure with unit, uncertainty and instrument.
type Reading struct {
	Quantity    string  `json:"quantity"`
	Value       float64 `json:"value"`
	Unit        string  `json:"unit"`
	Uncertainty float64 `json:"uncertainty,omitempty"` // plus or minus, same unit
	Instrument  string  `json:"instrument,omitempty"`
}

// Outcomes of a check.
func Outcomes() []Term {
	return []Term{{"passed", "as it should be"}, {"failed", "not as it should be"}, {"not-done", "could not be tried"}}
}

func (*Check) Kind() Kind { return "check" }

func (c *Check) check(fs *faults) {
	fs.need("/what", c.What, "It is not said what was checked", "")
	fs.ids("/components", c.Components)
	checkTerm(fs, "/outcome", c.Outcome, Outcomes())
	for i, r := range c.Readings {
		r.check(fs, at("/readings", i))
	}
	fs.id("/work", c.Work, true)
	fs.id("/of", c.Of, true)
	fs.id("/recheck", c.Recheck, true)
	fs.id("/by", c.By, false)
	fs.id("/second", c.Second, true)
	fs.ids("/photos", c.Photos)
}

// upcastCheck1 reads checks of schema version 1, which said "passed": true or
// false and held their reading as one line of text.
func upcastCheck1(data json.RawMessage) (json.RawMessage, error) {
	var old map[string]json.RawMessage
	if err := json.Unmarshal(data, &old); err != nil {
		return nil, err
	}
	if old == nil {
		return nil, errors.New("the body is not an object")
	}
	var passed bool
	if raw, ok := old["passed"]; ok {
		if err := json.Unmarshal(raw, &passed); err != nil {
			return nil, fmt.Errorf("passed: %w", err)
		}
	}
	delete(old, "passed")
	old["outcome"] = json.RawMessage(`"failed"`)
	if passed {
		old["outcome"] = json.RawMessage(`"passed"`)
	}
	if raw, ok := old["reading"]; ok {
		delete(old, "reading")
		var reading, note string
		if err := json.Unmarshal(raw, &reading); err != nil {
			return nil, fmt.Errorf("reading: %w", err)
		}
		if n, ok := old["note"]; ok {
			if err := json.Unmarshal(n, &note); err != nil {
				return nil, fmt.Errorf("note: %w", err)
			}
			note += " "
		}
		text, err := json.Marshal(note + "Reading as first recorded: " + reading)
		if err != nil {
			return nil, err
		}
		old["note"] = text
	}
	return json.Marshal(old)
}

// Gate is a step of the ladder towards riding, passed with evidence.
type Gate struct {
	Common
	Gate   string   `json:"gate"`
	Checks []string `json:"checks,omitempty"`
	Photos []string `json:"photos,omitempty"`
	By     string   `json:"by"`
	Second string   `json:"second,omitempty"`
}

func (*Gate) Kind() Kind { return "gate" }

func (g *Gate) check(fs *faults) {
	fs.id("/gate", g.Gate, false)
	fs.ids("/checks", g.Checks)
	fs.ids("/photos", g.Photos)
	fs.id("/by", g.By, false)
	fs.id("/second", g.Second, true)
	if g.Second != "" && g.Second == g.By {
		fs.add("/second", g.Second, "another person", "Both names are the same", "")
	}
}

// GateTakenBack takes a gate back, and with it every later one.
type GateTakenBack struct {
	Common
	Gate string `json:"gate"`
	Why  string `json:"why"`
	By   string `json:"by"`
}

func (*GateTakenBack) Kind() Kind { return "gate-taken-back" }

func (g *GateTakenBack) check(fs *faults) {
	fs.id("/gate", g.Gate, false)
	fs.need("/why", g.Why, "It is not said why", "")
	fs.id("/by", g.By, false)
}

// HandBack returns the machine. Its inventory, with the removed parts, balances
// against what was taken in.
type HandBack struct {
	Common
	To        string          `json:"to"`
	By        string          `json:"by"`
	Inventory []InventoryItem `json:"inventory"`
	// Accounted explains each item whose count differs, by item id.
	Accounted    map[string]string `json:"accounted,omitempty"`
	RemovedParts []string          `json:"removed_parts,omitempty"` // handed over, by record id
	KnownLimits  []string          `json:"known_limits,omitempty"`
	Instructions []string          `json:"instructions,omitempty"`
	Fluids       []string          `json:"fluids,omitempty"`
	Rechecks     []Recheck         `json:"rechecks,omitempty"`
	Open         []string          `json:"open_questions,omitempty"`
}

// Recheck is something to look at again later.
type Recheck struct {
	What string `json:"what"`
	Due  string `json:"due"` // a date, a distance or a number of heat cycles, with its unit
}

func (*HandBack) Kind() Kind { return "hand-back" }

func (h *HandBack) check(fs *faults) {
	fs.id("/to", h.To, false)
	fs.id("/by", h.By, false)
	checkInventory(fs, "/inventory", h.Inventory)
	fs.ids("/removed_parts", h.RemovedParts)
	for i, r := range h.Rechecks {
		fs.need(at("/rechecks", i)+"/what", r.What, "It is not said what to look at", "")
		fs.need(at("/rechecks", i)+"/due", r.Due, "It is not said when", "")
	}
}

// ComparableSale is a sale of a like machine, as somebody recorded it.
type ComparableSale struct {
	Common
	Source    string   `json:"source"`
	Venue     string   `json:"venue,omitempty"`
	PriceKind string   `json:"price_kind"`
	Price     Money    `json:"price"`
	Make      string   `json:"make"`
	Model     string   `json:"model"`
	Year      Date     `json:"year,omitempty"`
	Substance *float64 `json:"substance,omitempty"` // index, 0 to 1
	Surface   *float64 `json:"surface,omitempty"`
	// Judged marks indices that whoever typed the sale judged from afar.
	Judged     bool     `json:"judged,omitempty"`
	Condition  *int     `json:"condition,omitempty"`
	Distance   *float64 `json:"distance,omitempty"` // as shown on the dial
	Unit       string   `json:"distance_unit,omitempty"`
	Running    *bool    `json:"running,omitempty"`
	Documented *bool    `json:"documented,omitempty"`
}

// PriceKinds say what a price is. An asking price is not a sale.
func PriceKinds() []Term {
	return []Term{{"hammer", "the bid, without premium"}, {"with-premium", "the bid with the buyer's premium"},
		{"private", "paid between private persons"}, {"asking", "asked, not paid: never a sale"}}
}

func (*ComparableSale) Kind() Kind { return "comparable-sale" }

func (s *ComparableSale) check(fs *faults) {
	fs.need("/source", s.Source, "The source is missing", "Write who published it and where.")
	fs.need("/valid", string(s.Valid), "The date of the sale is missing", "")
	checkTerm(fs, "/price_kind", s.PriceKind, PriceKinds())
	fs.money("/price", s.Price)
	if s.Price.Amount.Sign() <= 0 {
		fs.add("/price/amount", s.Price.Amount.String(), "more than 0", "A sale has a price", "")
	}
	fs.need("/make", s.Make, "The make is missing", "")
	fs.need("/model", s.Model, "The model is missing", "")
	fs.date("/year", s.Year)
	if s.Substance != nil {
		fs.probability("/substance", *s.Substance)
	}
	if s.Surface != nil {
		fs.probability("/surface", *s.Surface)
	}
	if s.Condition != nil && (*s.Condition < 0 || *s.Condition > 5) {
		fs.add("/condition", itoa(*s.Condition), "0 to 5", "The condition is outside the scale", "")
	}
	if s.Distance != nil {
		fs.notNegative("/distance", *s.Distance, "km or mi")
		if s.Unit != "km" && s.Unit != "mi" {
			fs.add("/distance_unit", s.Unit, "km, mi", "The distance has no unit", "")
		}
	}
}

// Withdrawal says that a record should not have been made. It stays readable
// and no longer counts.
type Withdrawal struct {
	Common
	Record string `json:"record"`
	Why    string `json:"why"`
	By     string `json:"by"`
}

func (*Withdrawal) Kind() Kind { return "withdrawal" }

func (w *Withdrawal) check(fs *faults) {
	fs.id("/record", w.Record, false)
	fs.need("/why", w.Why, "It is not said why", "")
	fs.id("/by", w.By, false)
}
