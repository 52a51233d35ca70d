package workshop

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// LeavingReport is what is expected if a fault is left as it is.
type LeavingReport struct {
	ID     string              `json:"id"`
	Then   string              `json:"then"`
	Money  registry.Money      `json:"money,omitzero"` // what that would cost
	Source string              `json:"source"`
	Input  scoring.LeaveInput  `json:"input"` // what `calc leave` takes
	Result scoring.LeaveResult `json:"result"`
	// Words is the answer in a sentence or two.
	Words string `json:"words"`
}

// RiskReport is how an act that cannot be undone may end.
type RiskReport struct {
	ID       string              `json:"id"`
	Source   string              `json:"source,omitempty"`
	Outcomes []RiskOutcomeReport `json:"outcomes"`
	// Result is nil when no figure can be given; Why says what would help.
	Currency string              `json:"currency,omitempty"`
	Input    *scoring.RiskInput  `json:"input,omitempty"`
	Result   *scoring.RiskResult `json:"result,omitempty"`
	Why      string              `json:"why,omitempty"`
	Words    string              `json:"words"`
}

// RiskOutcomeReport is one way in which it may end.
type RiskOutcomeReport struct {
	What      string         `json:"what"`
	Chance    *float64       `json:"chance,omitempty"`
	IndexLoss *float64       `json:"index_loss,omitempty"`
	Money     registry.Money `json:"money,omitzero"`
}

// Under these an offer keeps what leaving and risk came to.
const (
	leavingOf = "leaving:"
	riskOf    = "risk:"
)

func leaveInput(l *registry.Leaving) scoring.LeaveInput {
	var in scoring.LeaveInput
	span := func(x registry.Likely) scoring.LeaveRange { return scoring.LeaveRange(x) }
	if p := l.Pit; p != nil {
		in.Pit = &scoring.LeavePit{Depth: p.Depth, Error: p.Error, Wall: p.Wall, Age: p.Age, Exponent: span(p.Exponent)}
	}
	if h := l.Hazard; h != nil {
		in.Hazard = &scoring.LeaveHazard{PerYear: span(h.PerYear), Years: h.Years}
	}
	return in
}

// leaving is what was last said of leaving a fault; nil when nothing was, or
// when the figures allow no answer, which the record's own rules prevent but
// for a reading that is all error.
func leaving(d *registry.Dossier, fault string, reader Reader) *LeavingReport {
	var out *LeavingReport
	for _, l := range registry.Live[*registry.Leaving](d) {
		if l.Record.Fault != fault {
			continue
		}
		out = &LeavingReport{ID: l.RecordID(), Then: reader.Text(l.Record.Then), Money: l.Record.Money, Source: reader.Text(l.Record.Source), Input: leaveInput(l.Record)}
		r, err := scoring.Leave(out.Input)
		if err != nil {
			out.Words = "No figure: " + err.Error()
			continue
		}
		out.Result, out.Words = r, leavingWords(r)
	}
	return out
}

// leavingWords says what time does. Years are rounded: the law of growth is
// not known to the month.
func leavingWords(r scoring.LeaveResult) string {
	var out []string
	if p := r.Pit; p != nil {
		driver := map[string]string{
			"exponent": "What is least known is how rust slows down with time; a better gauge would not help much.",
			"reading":  "What is least known is the depth itself; a finer gauge would help.",
			"neither":  "",
		}[p.Driver]
		out = append(out, strings.TrimSpace(fmt.Sprintf("The deepest pit is through in %.0f to %.0f years from its reading, most likely %.0f, %s. %s", p.Low, p.High, p.Likely, p.Holds, driver)))
	}
	if h := r.Hazard; h != nil {
		out = append(out, fmt.Sprintf("Within %g years it happens with a chance of %s, between %s and %s.", h.Years, scoring.Percent(h.Likely), scoring.Percent(h.Low), scoring.Percent(h.High)))
	}
	return strings.Join(out, " ")
}

// worth is what the machine was last valued at, in an offer: it turns a loss of
// the index into money.
type worth struct {
	level, perIndex float64
	currency        string
}

// lastWorth reads the last valuation that the record holds.
func lastWorth(d *registry.Dossier) (worth, bool) {
	var out worth
	found := false
	for _, e := range d.Entries() {
		if offer, _, _, ok := d.OfferOf(e.RecordID()); ok {
			if w, ok := worthIn(offer); ok {
				out, found = w, true
			}
		}
	}
	return out, found
}

// worthIn is what an offer says that the machine is worth.
func worthIn(offer registry.Offer) (worth, bool) {
	for _, shown := range offer.Shown {
		var in scoring.ValueInput
		var r scoring.ValueResult
		if shown.Of != valueOf || json.Unmarshal(shown.Input, &in) != nil || json.Unmarshal(shown.Result, &r) != nil || r.Before.Level == nil {
			continue
		}
		slope, _ := r.Coefficients.Get("originality")
		cross, _ := r.Coefficients.Get("originality_condition")
		return worth{level: r.Before.Level.Median, perIndex: slope + float64(cross*(in.Before.Condition-3)), currency: offer.Ceiling.Currency}, true
	}
	return worth{}, false
}

// risk is what was last said of how an option may end; nil when nothing was.
func risk(d *registry.Dossier, option string, reader Reader) *RiskReport {
	w, valued := lastWorth(d)
	return riskAt(d, option, reader, w, valued)
}

func riskAt(d *registry.Dossier, option string, reader Reader, w worth, valued bool) *RiskReport {
	var out *RiskReport
	for _, r := range registry.Live[*registry.Risk](d) {
		if r.Record.Option == option {
			out = riskReport(r, reader, w, valued)
		}
	}
	return out
}

func riskReport(r registry.Found[*registry.Risk], reader Reader, w worth, valued bool) *RiskReport {
	out := &RiskReport{ID: r.RecordID(), Source: reader.Text(r.Record.Source)}
	var names []string
	in := scoring.RiskInput{Source: out.Source}
	needsWorth := false
	for _, o := range r.Record.Outcomes {
		x := RiskOutcomeReport{What: reader.Text(o.What), Chance: o.Chance, IndexLoss: o.IndexLoss}
		outcome := scoring.Outcome{ID: o.What, IndexLoss: o.IndexLoss}
		if o.Chance != nil {
			outcome.Probability = *o.Chance
		}
		if o.Money != nil {
			x.Money = *o.Money
			v, _ := o.Money.Amount.Float64()
			outcome.Money = &v
			if out.Currency == "" {
				out.Currency = o.Money.Currency
			}
			if out.Currency != o.Money.Currency {
				out.Why = "The outcomes are priced in several currencies. Price them in one."
			}
		}
		needsWorth = needsWorth || o.IndexLoss != nil && *o.IndexLoss != 0
		names = append(names, x.What)
		in.Outcomes = append(in.Outcomes, outcome)
		out.Outcomes = append(out.Outcomes, x)
	}
	out.Words = "It may end so: " + strings.Join(names, "; ") + "."
	switch {
	case !r.Record.Weighed():
		out.Why = "Nobody has said how likely each is, so there is no figure. Give the chances and whose experience they are."
		return out
	case out.Why != "":
		return out
	case needsWorth:
		if !valued {
			out.Why = "What an outcome takes from the index can be turned into money only once the machine has been valued. Ask for the value with a proposal, or state the losses in money."
			return out
		}
		if out.Currency != "" && out.Currency != w.currency {
			out.Why = "The outcomes and the valuation are in different currencies. Price them in " + w.currency + "."
			return out
		}
		out.Currency, in.Value, in.PerIndex = w.currency, &w.level, &w.perIndex
	}
	result, err := scoring.Risk(in)
	if err != nil {
		out.Why = err.Error()
		return out
	}
	out.Input, out.Result, out.Words = &in, &result, riskWords(&result, out.Currency)
	return out
}

// riskWords puts the mean of the worst twentieth beside the mean.
func riskWords(r *scoring.RiskResult, currency string) string {
	money := func(v float64) string { return strings.TrimSpace(fmt.Sprintf("%.0f %s", math.Abs(v), currency)) }
	side := "a loss of "
	if r.Expected < 0 {
		side = "a gain of "
	}
	return fmt.Sprintf("On average %s%s; the worst twentieth of all such jobs loses %s on average. The chances are those of %s.", side, money(r.Expected), money(max(0, r.CVaR95)), r.Source)
}

// outlookEstimates are what leaving its faults, and what its options may end
// in, came to when an offer was made.
func (s *seen) outlookEstimates(offer *registry.Offer) error {
	reader := NewReader(s.d, false)
	done := map[string]bool{}
	worth, valued := worthIn(*offer)
	if !valued {
		worth, valued = lastWorth(s.d)
	}
	for _, o := range offer.Options {
		if l := leaving(s.d, o.Fault, reader); l != nil && !done[o.Fault] && (l.Result.Pit != nil || l.Result.Hazard != nil) {
			done[o.Fault] = true
			e, err := s.w.estimate(leavingOf+l.ID, scoring.MethodLeave, "", l.Input, &scoring.LeaveResult{})
			if err != nil {
				return err
			}
			offer.Shown = append(offer.Shown, e)
		}
		if r := riskAt(s.d, o.ID, reader, worth, valued); r != nil && r.Result != nil {
			e, err := s.w.estimate(riskOf+r.ID, scoring.MethodRisk, "", r.Input, &scoring.RiskResult{})
			if err != nil {
				return err
			}
			offer.Shown = append(offer.Shown, e)
		}
	}
	return nil
}

// shownLeaving and shownRisk are what an offer showed, whatever was recorded
// since: the figures from the offer, the words from the record as it was then.
func shownLeaving(d *registry.Dossier, offer registry.Offer, fault string, reader Reader) *LeavingReport {
	for _, e := range offer.Shown {
		id, ok := strings.CutPrefix(e.Of, leavingOf)
		if !ok {
			continue
		}
		entry, known := d.Entry(id)
		if !known {
			continue
		}
		l, is := entry.Body.(*registry.Leaving)
		if !is || l.Fault != fault {
			continue
		}
		out := &LeavingReport{ID: id, Then: reader.Text(l.Then), Money: l.Money, Source: reader.Text(l.Source), Input: leaveInput(l)}
		if json.Unmarshal(e.Result, &out.Result) == nil {
			out.Words = leavingWords(out.Result)
		}
		return out
	}
	return nil
}

func shownRisk(d *registry.Dossier, offer registry.Offer, option string, reader Reader) *RiskReport {
	for _, e := range offer.Shown {
		id, ok := strings.CutPrefix(e.Of, riskOf)
		if !ok {
			continue
		}
		entry, known := d.Entry(id)
		if !known {
			continue
		}
		r, is := entry.Body.(*registry.Risk)
		if !is || r.Option != option {
			continue
		}
		out := riskReport(registry.Found[*registry.Risk]{Entry: entry, Record: r}, reader, worth{}, false)
		if out.Currency == "" {
			out.Currency = offer.Ceiling.Currency
		}
		var result scoring.RiskResult
		var in scoring.RiskInput
		if json.Unmarshal(e.Result, &result) == nil && json.Unmarshal(e.Input, &in) == nil {
			out.Result, out.Input, out.Why, out.Words = &result, &in, "", riskWords(&result, out.Currency)
		}
		return out
	}
	return nil
}

// leaveTreatment is the rung of the ladder on which nothing is done.
const leaveTreatment = "leave"
