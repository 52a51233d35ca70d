package workshop

import (
	"fmt"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// timeline tells the record as a story, in the order in which it was learned.
func (b *builder) timeline() {
	b.r.Timeline = []Happened{}
	if last, moved := b.d.MovedTo(b.w.Registry); moved {
		on := last.Recorded.UTC().Format("2 January 2006")
		b.r.Elsewhere = fmt.Sprintf("The record of this machine was handed over on %s, and is kept on elsewhere. This is a copy, which takes no more.", on)
		if last.Record.Direction == registry.TransferIn {
			b.r.Elsewhere = fmt.Sprintf("The record of this machine was taken over on %s by %s, and is kept on there. This is a copy, which takes no more.", on, last.Record.Registry)
		}
	}
	for _, e := range b.d.Entries() {
		b.r.Changed = e.Recorded
		h := Happened{Recorded: e.Recorded, Valid: e.Valid(), Version: e.Version, Kind: e.Kind, Record: e.RecordID(),
			Text: b.text(b.tell(e)), By: b.person(e.Actor)}
		switch {
		case e.WithdrawnBy != "":
			h.Mark = "withdrawn"
		case e.SupersededBy != "":
			h.Mark = "superseded"
		}
		switch x := e.Body.(type) {
		case *registry.Work:
			if x.Standing.Mark == "unapproved" {
				h.Mark = "unapproved"
			}
		case *registry.Opened:
			if x.Standing.Mark == "unapproved" {
				h.Mark = "unapproved"
			}
		case *registry.Decision:
			if x.Answer == "refuse" {
				h.Mark = "refused"
			}
		}
		b.r.Timeline = append(b.r.Timeline, h)
	}
}

func (b *builder) name(component string) string {
	if c, ok := b.w.component(component); ok {
		return c.Name
	}
	return component
}

func (b *builder) names(components []string) string {
	out := make([]string, len(components))
	for i, c := range components {
		out[i] = b.name(c)
	}
	return strings.Join(out, ", ")
}

// tell says in one sentence what a record recorded.
func (b *builder) tell(e *registry.Entry) string {
	switch x := e.Body.(type) {
	case *registry.Machine:
		return fmt.Sprintf("%s taken in", x.Name())
	case *registry.Person:
		return fmt.Sprintf("[[%s]] entered as %s", x.ID, strings.ReplaceAll(x.Role, "-", " "))
	case *registry.CustodyAgreement:
		return fmt.Sprintf("custody agreed; %d things came with the machine", len(x.Inventory))
	case *registry.Survey:
		return "surveyed as found: " + b.name(x.Component) + surveyWords(x)
	case *registry.SurveySeal:
		return fmt.Sprintf("as-found survey sealed, with %d named gaps", len(x.Gaps))
	case *registry.Claim:
		return fmt.Sprintf("claim on the %s of %s: %s", x.Proposition, b.name(x.Component), x.Statement)
	case *registry.Evidence:
		return fmt.Sprintf("evidence (%s): %s", strings.ReplaceAll(x.Evidence, "-", " "), x.Says)
	case *registry.Joint:
		return fmt.Sprintf("joint %s %s: %s", x.Joint, strings.ReplaceAll(x.Witness, "-", " "), x.Sign)
	case *registry.Measurement:
		return fmt.Sprintf("measured on %s: %s %s", b.name(x.Component), x.Quantity, Reading(x.Value, x.Uncertainty, x.Unit))
	case *registry.Photo:
		return strings.TrimSpace(fmt.Sprintf("picture (%s) %s", strings.ReplaceAll(x.Shows, "-", " "), b.caption(x)))
	case *registry.Fitting:
		return fmt.Sprintf("%s: %s sat there %s", b.name(x.Component), x.Part, x.Valid)
	case *registry.Fault:
		return fmt.Sprintf("fault on %s: %s", b.names(x.Components), x.Complaint)
	case *registry.Opening:
		return fmt.Sprintf("opening described: %s, which would lose %g points of witness for good", x.Title, x.WitnessPoints)
	case *registry.Opened:
		return fmt.Sprintf("opened: %s (%s)", b.openingTitle(x.Opening), x.Standing.Mark)
	case *registry.Option:
		return fmt.Sprintf("option drafted: %s (%s)", x.Title, b.w.treatmentTitle(x.Treatment))
	case *registry.Finding, *registry.Acknowledgement, *registry.Step, *registry.FastenerMap, *registry.Closed:
		return b.tellBench(e)
	case *registry.Leaving:
		return fmt.Sprintf("if %s is left: %s", x.Fault, x.Then)
	case *registry.Risk:
		return fmt.Sprintf("how %s may end: %d outcomes", x.Option, len(x.Outcomes))
	case *registry.Search, *registry.StockPart, *registry.PartNumber:
		return tellPart(e)
	case *registry.RecheckDue:
		return "to look at again: " + x.What
	case *registry.Usage:
		return fmt.Sprintf("it has done %s and %d heat cycles since it was taken in", Reading(x.Distance, 0, x.DistanceUnit), x.HeatCycles)
	case *registry.Weighing:
		return fmt.Sprintf("weighed: %s", strings.Join(x.Options, ", "))
	case *registry.Proposal:
		return fmt.Sprintf("proposed to [[%s]]: %s, ceiling %s", x.To, strings.Join(x.Offer.Recommended, ", "), x.Offer.Ceiling)
	case *registry.ChangeRequest:
		return fmt.Sprintf("change requested of [[%s]], because %s", x.To, x.Found)
	case *registry.OwnerLink:
		return fmt.Sprintf("a link to decide with was made for [[%s]]; it works until %s", x.To, x.Link.Expires.UTC().Format("2 January 2006"))
	case *registry.Passkey:
		return fmt.Sprintf("a passkey was bound to [[%s]], to confirm answers with", x.Person)
	case *registry.SecondSignature:
		return fmt.Sprintf("[[%s]] signed %s as the second person, by an account of their own", x.By, x.On)
	case *registry.Reply:
		return fmt.Sprintf("[[%s]] replied to %s: %s", x.By, x.Question, x.Says)
	case *registry.Decision:
		return b.tellDecision(x)
	case *registry.Work:
		return fmt.Sprintf("%s (%s)", x.Did, x.Standing.Mark)
	case *registry.RemovedPart:
		return fmt.Sprintf("taken off %s: %s, tag %s, %s", b.name(x.Component), x.What, x.Tag, strings.ReplaceAll(x.Custody, "-", " "))
	case *registry.PartMove:
		if x.Custody == "fitted" {
			return fmt.Sprintf("part %s went back where it came from: %s", x.Part, x.Why)
		}
		return fmt.Sprintf("part %s is now %s: %s", x.Part, strings.ReplaceAll(x.Custody, "-", " "), x.Why)
	case *registry.Check:
		return fmt.Sprintf("check %s: %s", strings.ReplaceAll(x.Outcome, "-", " "), x.What)
	case *registry.Gate:
		return fmt.Sprintf("gate passed: %s", x.Gate)
	case *registry.GateTakenBack:
		return fmt.Sprintf("gate taken back: %s, because %s", x.Gate, x.Why)
	case *registry.Erasure:
		if x.Means == registry.MeansKey {
			return fmt.Sprintf("what was withheld of %s was erased, and the key that opens its copies destroyed: %s", PersonName(b.d, x.Person, true), x.Why)
		}
		return fmt.Sprintf("what was withheld of %s was erased: %s", PersonName(b.d, x.Person, true), x.Why)
	case *registry.HandBack:
		return fmt.Sprintf("handed back to [[%s]]; the inventory balances", x.To)
	case *registry.ComparableSale:
		return fmt.Sprintf("comparable sale: %s %s, %s (%s)", x.Make, x.Model, x.Price, x.PriceKind)
	case *registry.Permission, *registry.SharedNumber, *registry.Transfer:
		return tellRegister(x)
	case *registry.Withdrawal:
		return fmt.Sprintf("record %s withdrawn: %s", x.Record, x.Why)
	}
	return string(e.Kind)
}

// tellRegister says what concerns the register as a whole.
func tellRegister(body registry.Body) string {
	switch x := body.(type) {
	case *registry.Permission:
		if x.For == registry.ForTransfer {
			return fmt.Sprintf("[[%s]] permitted that the record goes to another registry: %s", x.GivenBy, x.How)
		}
		return fmt.Sprintf("[[%s]] permitted that the sales on this record are used for other machines: %s", x.GivenBy, x.How)
	case *registry.SharedNumber:
		switch x.Says {
		case "same-machine":
			return fmt.Sprintf("number shared with another entry of the register (%s): it is one machine that stands there twice: %s", x.Where, x.Why)
		case "different-machines":
			return fmt.Sprintf("number shared with another machine (%s): both truly bear it: %s", x.Where, x.Why)
		}
		return fmt.Sprintf("number shared with another machine (%s): one of the two is wrong: %s", x.Where, x.Why)
	case *registry.Transfer:
		if x.Direction == registry.TransferIn {
			return fmt.Sprintf("the record was taken over by %s, from %s with %d events", x.Registry, x.From.Origin, x.From.Size)
		}
		if x.Because != "" {
			return fmt.Sprintf("the record was handed over by %s without the owner’s permission, because %s", x.Registry, x.Because)
		}
		return fmt.Sprintf("the record was handed over by %s, under the owner’s permission", x.Registry)
	}
	return ""
}

func surveyWords(s *registry.Survey) string {
	var words []string
	for _, w := range []string{s.Origin, s.Finish, s.Specification, s.Function} {
		if w != "" {
			words = append(words, strings.ReplaceAll(w, "-", " "))
		}
	}
	if s.Condition != nil {
		words = append(words, fmt.Sprintf("condition %d of 5", *s.Condition))
	}
	if len(words) == 0 {
		return ""
	}
	return " (" + strings.Join(words, ", ") + ")"
}

// caption keeps a withheld picture's caption out of the public edition.
func (b *builder) caption(p *registry.Photo) string {
	if b.public && p.Withhold {
		return "withheld"
	}
	return p.Caption
}

func (b *builder) openingTitle(id string) string {
	if o, ok := registry.Get[*registry.Opening](b.d, id); ok {
		return o.Record.Title
	}
	return id
}

func (b *builder) tellDecision(x *registry.Decision) string {
	text := fmt.Sprintf("[[%s]] answered %s: %s", x.Person, x.On, strings.ReplaceAll(x.Answer, "-", " "))
	if x.Approves() && len(x.Options) > 0 {
		text += " (" + strings.Join(x.Options, ", ") + ")"
	}
	if len(x.Conditions) > 0 {
		text += ", on condition: " + strings.Join(slices.Clone(x.Conditions), "; ")
	}
	if x.Reason != "" {
		text += ", because " + x.Reason
	}
	if x.Assertion != nil {
		text += " (signed with a passkey)"
	}
	return text
}
