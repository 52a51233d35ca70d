package registry

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Act is something that a person wants to record.
type Act struct {
	At    time.Time
	Actor string // person id
	Body  Body
}

// Decide says whether an act may be recorded on a dossier, and completes its
// body with what only the rules can say: digests, masks, how work stands to the
// owner's word. It changes nothing but the act's body. Codes: CodeInvalid,
// CodeNotFound for something named that is not there, CodeConflict for a stale
// or doubled record, CodeRefused and CodeNotApproved for the rules of the
// registry.
func Decide(d *Dossier, r *Rules, act Act) error {
	b := act.Body
	c := b.common()
	canonicalComponents(r, b)
	if err := CheckBody(b); err != nil {
		return err
	}
	if _, exists := d.Entry(c.ID); exists {
		return Refuse(CodeConflict, "Choose another identifier, or correct the earlier record by superseding it.", "A record %q is already there", c.ID)
	}
	if c.Supersedes != "" {
		old, ok := d.Entry(c.Supersedes)
		switch {
		case !ok:
			return Refuse(CodeNotFound, "", "The record %q, which this one corrects, is not there", c.Supersedes)
		case old.Kind != b.Kind():
			return Refuse(CodeInvalid, "", "%s cannot correct %q, which is of kind %q", Title(b.Kind()), c.Supersedes, string(old.Kind))
		case !old.Live():
			return Refuse(CodeConflict, "Correct the record that replaced it.", "The record %q is no longer in force", c.Supersedes)
		}
	}
	if _, taken := d.MachineRecord(); !taken && b.Kind() != "machine" {
		return Refuse(CodeNotFound, "Take the machine in first.", "The machine %q is not in the registry", d.ID)
	}
	for _, ref := range references(b) {
		if err := checkReference(d, r, ref); err != nil {
			return err
		}
	}
	if err := checkMoved(d, r, b); err != nil {
		return err
	}
	if hasHappened(b) && !c.Valid.StartsBy(act.At.Add(furthestAhead)) {
		return invalid(b, "/valid", string(c.Valid), "today or earlier", "The date lies in the future", "Record it when it has happened, or mend the date.")
	}
	switch b := b.(type) {
	case *Machine:
		if !b.Year.StartsBy(act.At) {
			return invalid(b, "/year", string(b.Year), "a year up to now", "The machine is from the future", "Mend the year.")
		}
		return decideMachine(d, b)
	case *CustodyAgreement:
		return decideOnce(d, b, "correct it by superseding it")
	case *Survey:
		setValid(c, act.At)
		return decideSurvey(d, r, b)
	case *SurveySeal:
		setValid(c, act.At)
		return decideSeal(d, b)
	case *Joint:
		setValid(c, act.At)
		return decideJoint(d, b)
	case *Evidence:
		return decideEvidence(r, b)
	case *Claim:
		return decideClaim(d, b)
	case *Fitting:
		return decideFitting(d, b)
	case *Option:
		return decideOption(d, r, b)
	case *Proposal:
		return decideOffer(d, r, act, b.To, &b.Offer, &b.Digest)
	case *ChangeRequest:
		return decideOffer(d, r, act, b.To, &b.Offer, &b.Digest)
	case *Decision:
		setValid(c, act.At)
		return decideDecision(d, act, b)
	case *OwnerLink:
		return decideOwnerLink(d, act.At, b)
	case *Passkey:
		return decidePasskey(d, b)
	case *SecondSignature:
		setValid(c, act.At)
		return d.CheckSecond(b)
	case *Reply:
		setValid(c, act.At)
		return decideReply(d, b)
	case *Opened:
		setValid(c, act.At)
		return decideOpened(d, act, b)
	case *Work:
		setValid(c, act.At)
		return decideWork(d, r, act, b)
	case *RemovedPart:
		setValid(c, act.At)
		return decideRemoved(d, b)
	case *PartMove:
		setValid(c, act.At)
		return decideMove(d, r, b)
	case *FastenerMap:
		setValid(c, act.At)
		return decideFastenerMap(d, b)
	case *Measurement, *Leaving, *Risk, *Search, *Step, *StockPart:
		setValid(c, act.At)
	case *Check:
		setValid(c, act.At)
		return decideCheck(r, b)
	case *Finding:
		setValid(c, act.At)
		return decideFinding(d, r, b)
	case *Acknowledgement:
		setValid(c, act.At)
		return decideAcknowledgement(d, r, b)
	case *Closed:
		setValid(c, act.At)
		return decideClosed(d, b)
	case *PartNumber:
		return decidePartNumber(d, b)
	case *Usage:
		setValid(c, act.At)
		return decideUsage(d, b)
	case *Gate:
		setValid(c, act.At)
		return decideGate(d, r, b)
	case *GateTakenBack:
		setValid(c, act.At)
		return decideGateTakenBack(d, r, b)
	case *Withdrawal:
		return decideWithdrawal(d, b)
	case *Erasure:
		setValid(c, act.At)
		return decideErasure(d, b)
	case *HandBack:
		setValid(c, act.At)
		return decideHandBack(d, b)
	case *Permission:
		setValid(c, act.At)
		return decidePermission(d, b)
	case *SharedNumber:
		setValid(c, act.At)
	case *Transfer:
		setValid(c, act.At)
		return decideTransfer(d, r, b)
	case *ComparableSale:
		if !b.Valid.StartsBy(act.At) {
			return invalid(b, "/valid", string(b.Valid), "today or earlier", "The sale lies in the future", "")
		}
	}
	return nil
}

// furthestAhead is how far a place's clock runs ahead of UTC at most: a day
// that has begun there is not in the future.
const furthestAhead = 14 * time.Hour

// hasHappened says whether a record tells what was seen, said or done, which
// cannot lie in the future as an agreement's or an offer's dates may. A picture
// has its date from a camera, whose clock is often wrong.
func hasHappened(b Body) bool {
	switch b.(type) {
	case *Survey, *SurveySeal, *Joint, *Fitting, *Decision, *Reply, *Opened, *Work, *RemovedPart, *PartMove,
		*Check, *Measurement, *Leaving, *Risk, *Search, *Finding, *Acknowledgement, *Step, *FastenerMap, *Closed, *StockPart, *Usage, *Gate, *GateTakenBack, *HandBack, *Erasure, *SecondSignature, *Permission, *SharedNumber, *Transfer:
		return true
	}
	return false
}

// setValid gives an act without a date the day on which it is recorded.
func setValid(c *Common, at time.Time) {
	if c.Valid == "" {
		c.Valid = Date(at.UTC().Format(time.DateOnly))
	}
}

// invalid is a fault of one field.
func invalid(b Body, pointer, found, allowed, message, fix string) error {
	var fs faults
	fs.add(pointer, found, allowed, message, fix)
	return fs.err(Title(b.Kind()))
}

func decideMachine(d *Dossier, m *Machine) error {
	if _, taken := d.MachineRecord(); taken && m.Supersedes == "" {
		return Refuse(CodeConflict, "Choose another name for this one, or correct the record by superseding it.", "A machine %q is already in the registry", d.ID)
	}
	for i := range m.Numbers {
		if n := &m.Numbers[i]; n.AsRead.Value != "" {
			n.Masked = Mask(n.AsRead.Value)
		}
	}
	return nil
}

func decideOnce(d *Dossier, b Body, fix string) error {
	for _, e := range d.byKind[b.Kind()] {
		if e.Live() && e.RecordID() != b.common().Supersedes {
			return Refuse(CodeConflict, strings.ToUpper(fix[:1])+fix[1:]+".", "%s is already recorded as %q", Title(b.Kind()), e.RecordID())
		}
	}
	return nil
}

func decideSurvey(d *Dossier, r *Rules, s *Survey) error {
	if seal, sealed := d.Seal(); sealed && s.Supersedes == "" {
		return Refuse(CodeRefused, "Record what you see now as a measurement, a check or evidence, or correct the entry by superseding it.",
			"The as-found survey is sealed (%s); entries cannot be added", seal.RecordID())
	}
	if _, sealed := d.Seal(); sealed {
		if old, ok := Get[*Survey](d, s.Supersedes); ok && old.Record.Component != s.Component {
			return Refuse(CodeRefused, "Correct the entry for the component that it was made for; what else you see now is evidence.",
				"The as-found survey is sealed; a correction cannot move the entry from %s to %s", old.Record.Component, s.Component)
		}
	}
	if old, ok := d.SurveyOf(s.Component); ok && old.RecordID() != s.Supersedes {
		return Refuse(CodeConflict, "Correct the earlier entry by superseding it.", "Two parts cannot sit in one position: %s is already surveyed as %q", s.Component, old.RecordID())
	}
	for i, sign := range s.Signs {
		if _, ok := r.Signs[sign.Sign]; !ok {
			return invalid(s, at("/signs", i)+"/sign", sign.Sign, "the signs of the catalog", "The catalog has no such sign", "Record it as evidence with a likelihood of its own.")
		}
	}
	return nil
}

func decideSeal(d *Dossier, s *SurveySeal) error {
	if err := decideOnce(d, s, "a sealed survey stays sealed; later findings are evidence"); err != nil {
		return err
	}
	if len(Live[*Survey](d)) == 0 {
		return Refuse(CodeRefused, "Survey the components first.", "There is nothing to seal")
	}
	s.Digest = d.SurveyDigest()
	return nil
}

func decideJoint(d *Dossier, j *Joint) error {
	for _, f := range Live[*Joint](d) {
		if f.Record.Joint == j.Joint && f.RecordID() != j.Supersedes {
			return Refuse(CodeConflict, "Correct the earlier record by superseding it.", "The joint %q is already recorded as %q", j.Joint, f.RecordID())
		}
	}
	return nil
}

func decideEvidence(r *Rules, e *Evidence) error {
	for i, b := range e.Bears {
		p := at("/bears", i)
		if b.Sign != "" {
			prop, ok := r.Signs[b.Sign]
			if !ok {
				return invalid(e, p+"/sign", b.Sign, "the signs of the catalog", "The catalog has no such sign", "Give a likelihood of your own.")
			}
			if prop != b.Proposition {
				return invalid(e, p+"/proposition", string(b.Proposition), string(prop), "The sign speaks to another question", "")
			}
		}
		if b.Proposition == PropositionAssembly {
			if !r.Assemblies[b.Component] {
				return invalid(e, p+"/component", b.Component, "the assemblies of the catalog", "There is no such assembly", "")
			}
		} else if _, _, ok := r.Component(b.Component); !ok {
			return unknownComponent(e, p+"/component", b.Component)
		}
	}
	return nil
}

func unknownComponent(b Body, pointer, found string) error {
	return invalid(b, pointer, found, "the components of the catalog", "The catalog has no such component", "Look it up in the anatomy, or let a pack add it.")
}

func decideClaim(d *Dossier, c *Claim) error {
	for i, id := range c.Evidence {
		e, ok := d.Entry(id)
		if !ok {
			return invalid(c, at("/evidence", i), id, "evidence that is already recorded", "The claim cites evidence that is not recorded, or is recorded later than the claim itself", "Record the evidence first.")
		}
		bears := false
		switch b := e.Body.(type) {
		case *Evidence:
			bears = slices.ContainsFunc(b.Bears, func(x Bearing) bool { return x.Component == c.Component && x.Proposition == c.Proposition })
		case *Survey:
			bears = b.Component == c.Component
		}
		if !bears || !e.Live() {
			return invalid(c, at("/evidence", i), id, "live evidence on the same question", "The record cited does not speak to this question", "")
		}
	}
	for _, f := range Live[*Claim](d) {
		if f.Record.Component == c.Component && f.Record.Proposition == c.Proposition && f.RecordID() != c.Supersedes && !slices.Contains(c.Resolves, f.RecordID()) {
			return Refuse(CodeConflict, "Supersede it, or name it under resolves and say why.", "The question is already claimed by %q", f.RecordID())
		}
	}
	return nil
}

func decideFitting(d *Dossier, f *Fitting) error {
	began, ended, err := f.Valid.edges()
	if err != nil {
		return invalid(f, "/valid", string(f.Valid), dateForms, err.Error(), "")
	}
	for _, other := range d.FittingsOf(f.Component) {
		if other.RecordID() == f.Supersedes {
			continue
		}
		otherBegan, otherEnded, err := other.Record.Valid.edges()
		if err != nil {
			continue
		}
		// The day, month or year in which one part gives way to the next
		// belongs to both.
		if certainlyBefore(began, otherEnded) && certainlyBefore(otherBegan, ended) {
			return Refuse(CodeConflict, "Shorten one of the spans, or supersede the earlier record.",
				"Two parts cannot sit in one position: %q (%s) overlaps with %q (%s)", f.Part, f.Valid, other.Record.Part, other.Record.Valid)
		}
	}
	return nil
}

// certainlyBefore says whether a beginning lies before an end, where an open
// beginning is before everything and an open end after.
func certainlyBefore(began, ended time.Time) bool {
	return began.IsZero() || ended.IsZero() || began.Before(ended)
}

func decideOption(d *Dossier, r *Rules, o *Option) error {
	t, ok := r.Treatments[o.Treatment]
	if !ok {
		return invalid(o, "/treatment", o.Treatment, "the treatments of the catalog", "There is no such treatment", "")
	}
	if !t.Reversible && o.Undo == "" {
		o.Undo = "cannot be undone"
	}
	return nil
}

// decideOffer completes a proposal or a change request.
func decideOffer(d *Dossier, r *Rules, act Act, to string, o *Offer, digest *string) error {
	b := act.Body
	if !d.MayDecide(to) {
		return invalid(b, "/to", to, "an owner or executor on record", "This person may not decide for this machine", "Ask the owner of record.")
	}
	if !o.Expires.After(act.At) {
		return invalid(b, "/offer/expires", o.Expires.Format(time.RFC3339), "a time to come", "The offer would be over before it is made", "")
	}
	o.Irreversible = nil
	faultOf := map[string]string{}
	for i, option := range o.Options {
		p := at("/offer/options", i)
		recorded, ok := Get[*Option](d, option.ID)
		if !ok || recorded.RecordID() != option.ID {
			return Refuse(CodeConflict, "Weigh the options again and propose anew.", "The option %q is not recorded, or was corrected since", option.ID)
		}
		same, err := sameJSON(recorded.Record, option)
		if err != nil {
			return err
		}
		if !same {
			return Refuse(CodeConflict, "Weigh the options again and propose anew.", "The option %q differs from what is recorded (%s)", option.ID, p)
		}
		if !r.Treatments[option.Treatment].Reversible {
			o.Irreversible = append(o.Irreversible, option.ID)
		}
		for _, id := range option.Openings {
			if !slices.ContainsFunc(o.Openings, func(x Opening) bool { return x.ID == id }) {
				return invalid(b, "/offer/openings", id, "", "An opening that an option needs is not in the offer", "Propose through the program, which gathers them.")
			}
		}
	}
	for i, id := range o.Recommended {
		option, _ := o.Option(id)
		p := at("/offer/recommended", i)
		if other, taken := faultOf[option.Fault]; taken {
			return invalid(b, p, id, "one option for each fault", fmt.Sprintf("%q and %q are rivals for the same fault", other, id), "Recommend one of them.")
		}
		faultOf[option.Fault] = id
		if err := checkTogether(b, p, o, o.Recommended, option); err != nil {
			return err
		}
	}
	sum, err := o.Digest()
	if err != nil {
		return err
	}
	if *digest != "" && *digest != sum {
		return Refuse(CodeConflict, "Propose anew; the digest follows from what is offered.", "The digest given does not belong to this offer")
	}
	*digest = sum
	return nil
}

// checkTogether refuses an option whose requirements or exclusions are not met
// by the options chosen with it.
func checkTogether(b Body, pointer string, o *Offer, chosen []string, option Option) error {
	for _, need := range option.Requires {
		if !slices.Contains(chosen, need) {
			return invalid(b, pointer, option.ID, "", fmt.Sprintf("%q requires %q", option.ID, need), "Choose both or neither.")
		}
	}
	for _, bar := range option.Excludes {
		if slices.Contains(chosen, bar) {
			return invalid(b, pointer, option.ID, "", fmt.Sprintf("%q and %q exclude each other", option.ID, bar), "Choose one of them.")
		}
	}
	return nil
}

func sameJSON(a, b any) (bool, error) {
	x, err := CanonicalJSON(a)
	if err != nil {
		return false, err
	}
	y, err := CanonicalJSON(b)
	return bytes.Equal(x, y), err
}

// OfferOf finds the live proposal or change request with its offer and digest.
func (d *Dossier) OfferOf(id string) (offer Offer, digest, to string, ok bool) {
	if p, found := Get[*Proposal](d, id); found && p.RecordID() == id {
		return p.Record.Offer, p.Record.Digest, p.Record.To, true
	}
	if c, found := Get[*ChangeRequest](d, id); found && c.RecordID() == id {
		return c.Record.Offer, c.Record.Digest, c.Record.To, true
	}
	return Offer{}, "", "", false
}

func decideDecision(d *Dossier, act Act, b *Decision) error {
	offer, digest, to, ok := d.OfferOf(b.On)
	if !ok {
		return Refuse(CodeConflict, "Decide on the offer that stands.", "There is no standing proposal or change request %q", b.On)
	}
	if b.Digest != digest {
		return Refuse(CodeConflict, "Look at the offer as it stands now and decide again.", "The offer has changed since it was shown: its digest is another one")
	}
	if b.Person != to && !d.MayDecide(b.Person) {
		return Refuse(CodeRefused, "Ask the owner of record.", "%q may not decide for this machine", b.Person)
	}
	if old, ok := Get[*Decision](d, b.Supersedes); ok && (old.Record.Channel == "link" || old.Record.Channel == "account") && b.Channel != old.Record.Channel {
		return Refuse(CodeRefused, "Let the owner take it back and answer anew.", "The owner gave the answer %q themselves, so that nobody corrects it for them", b.Supersedes)
	}
	if b.Answer == "take-back" {
		return decideTakeBack(d, b)
	}
	if b.Approves() {
		if b.Until != nil && !b.Until.After(act.At) {
			return invalid(b, "/until", b.Until.UTC().Format(time.RFC3339), "a time to come", "The approval would be over before it is given", "Choose a later day, or none.")
		}
		if !act.At.Before(offer.Expires) {
			return Refuse(CodeExpired, "Ask for a new offer.", "The offer ran out on %s", offer.Expires.UTC().Format("2 January 2006"))
		}
		chosen := b.Options
		if len(chosen) == 0 {
			chosen = offer.Recommended
		}
		faultOf := map[string]string{}
		for i, id := range chosen {
			option, ok := offer.Option(id)
			if !ok {
				return invalid(b, at("/options", i), id, "an option of the offer", "The option was not offered", "")
			}
			if other, taken := faultOf[option.Fault]; taken {
				return invalid(b, at("/options", i), id, "one option for each fault", fmt.Sprintf("%q and %q are rivals for the same fault", other, id), "Choose one of them.")
			}
			faultOf[option.Fault] = id
			if err := checkTogether(b, at("/options", i), &offer, chosen, option); err != nil {
				return err
			}
		}
		b.Options = chosen
	}
	if last, answered := d.Answer(b.On); answered && last.RecordID() != b.Supersedes && last.Record.Answer == b.Answer && slices.Equal(last.Record.Options, b.Options) && (b.Answer != "ask" || last.Record.Reason == b.Reason) {
		return Refuse(CodeConflict, "The earlier answer stands; take it back first to give another.", "This has been answered already, on %s", last.Recorded.UTC().Format("2 January 2006"))
	}
	return d.CheckAssertion(b)
}

// MayDecide says whether a person is an owner or executor on record.
func (d *Dossier) MayDecide(person string) bool {
	if a, ok := d.Agreement(); ok && a.Owner == person {
		return true
	}
	p, ok := Get[*Person](d, person)
	return ok && (p.Record.Role == "owner" || p.Record.Role == "executor")
}

// Answer is the last answer to an offer that has not been taken back.
func (d *Dossier) Answer(on string) (Found[*Decision], bool) {
	var out []Found[*Decision]
	for _, x := range Live[*Decision](d) {
		if x.Record.On != on {
			continue
		}
		if x.Record.Answer == "take-back" {
			out = slices.DeleteFunc(out, func(o Found[*Decision]) bool { return o.RecordID() == x.Record.TakesBack })
			continue
		}
		out = append(out, x)
	}
	if len(out) == 0 {
		return Found[*Decision]{}, false
	}
	return out[len(out)-1], true
}

// Approval is a standing yes to one option.
type Approval struct {
	Decision Found[*Decision]
	Offer    Offer
	Option   Option
}

// Approval finds the standing approval of an option at a moment. When there is
// none, why says so in words, and names what is missing.
func (d *Dossier) Approval(option string, at time.Time) (a Approval, why string, ok bool) {
	why = fmt.Sprintf("the owner has not been asked about %q", option)
	for _, e := range d.entries {
		switch e.Body.(type) {
		case *Proposal, *ChangeRequest:
		default:
			continue
		}
		offer, digest, _, live := d.OfferOf(e.RecordID())
		o, offered := offer.Option(option)
		if !live || !offered {
			continue
		}
		answer, answered := d.Answer(e.RecordID())
		switch {
		case !answered:
			why = fmt.Sprintf("the owner has not answered %q yet", e.RecordID())
		case !answer.Record.Approves():
			why = fmt.Sprintf("the owner's answer to %q was %q", e.RecordID(), answer.Record.Answer)
			ok = false
		case !slices.Contains(answer.Record.Options, option):
			why = fmt.Sprintf("the owner approved %s, not %q", strings.Join(answer.Record.Options, ", "), option)
			ok = false
		case answer.Record.Digest != digest:
			why = fmt.Sprintf("the approval covers another offer than %q as it stands", e.RecordID())
			ok = false
		case answer.Record.Until != nil && !at.Before(*answer.Record.Until):
			why = fmt.Sprintf("the approval ran out on %s", answer.Record.Until.UTC().Format("2 January 2006, 15:04 UTC"))
			ok = false
		default:
			a, why, ok = Approval{Decision: answer, Offer: offer, Option: o}, "", true
		}
	}
	return a, why, ok
}

// spentOn sums what work has spent under all decisions on one offer, but for
// one work entry that is being corrected.
func (d *Dossier) spentOn(offer, corrected string) (Money, error) {
	var sum Money
	for _, w := range Live[*Work](d) {
		decision, ok := d.byID[w.Record.Standing.Decision]
		if !ok || w.RecordID() == corrected {
			continue
		}
		if x, isDecision := decision.Body.(*Decision); !isDecision || x.On != offer {
			continue
		}
		var err error
		if sum, err = sum.Add(w.Record.Spent); err != nil {
			return Money{}, err
		}
	}
	return sum, nil
}

// SpentOn sums what work has spent under all decisions on one offer.
func (d *Dossier) SpentOn(offer string) (Money, error) { return d.spentOn(offer, "") }

// SpentUnder sums what work has spent under one decision.
func (d *Dossier) SpentUnder(decision string) (Money, error) {
	var sum Money
	for _, w := range Live[*Work](d) {
		if w.Record.Standing.Decision != decision {
			continue
		}
		var err error
		if sum, err = sum.Add(w.Record.Spent); err != nil {
			return Money{}, err
		}
	}
	return sum, nil
}
