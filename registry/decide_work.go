package registry

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

const askFirst = "Ask the owner with a proposal or a change request. If it has happened already, record it as already done: it will stand as unapproved."

const staysUnapproved = "Correct it as already done: what was done without the owner's word stays so."

// Lack is something that an act is missing, and the way forward.
type Lack struct {
	Why string `json:"why"`
	Fix string `json:"fix"`
}

// OpeningLacks says what keeps something from being opened at a moment, and how
// opening it would stand to the owner's word.
func (d *Dossier) OpeningLacks(id string, at time.Time) (Standing, []Lack) {
	var lacks []Lack
	if _, sealed := d.Seal(); !sealed {
		lacks = append(lacks, Lack{"the as-found survey is not sealed", "Seal the survey, or let the owner sign its gaps."})
	}
	if !d.hasAsFoundPicture(id) {
		lacks = append(lacks, Lack{"there is no as-found picture of its joints", "Take the picture first."})
	}
	if opening, ok := Get[*Opening](d, id); ok {
		for _, joint := range opening.Record.Joints {
			if !slices.ContainsFunc(Live[*Joint](d), func(f Found[*Joint]) bool { return f.Record.Joint == joint }) {
				lacks = append(lacks, Lack{fmt.Sprintf("the joint %q is not in the witness register", joint), "Record every joint as found first."})
			}
		}
		for _, need := range opening.Record.Needs {
			if !need.InHand && !d.InStock(need.What) {
				lacks = append(lacks, Lack{need.What + " is not in hand", "Order it, and open when it has arrived."})
			}
		}
		for _, first := range opening.Record.Requires {
			if !d.IsOpened(first) {
				lacks = append(lacks, Lack{fmt.Sprintf("%q has to be opened before it", first), "Open in order."})
			}
		}
	}
	standing := d.openingStanding(id, at)
	if standing.Mark == "unapproved" {
		lacks = append(lacks, Lack{"no approved option covers this opening", askFirst})
	}
	return standing, lacks
}

// decideOpened: no opening before its picture, its gasket and the owner's word.
// A refusal names every lack and every way forward.
func decideOpened(d *Dossier, act Act, o *Opened) error {
	standing, lacks := d.OpeningLacks(o.Opening, act.At)
	o.Standing = standing
	code := CodeRefused
	if old, ok := d.Entry(o.Supersedes); ok && standingOf(old.Body).Mark == "unapproved" {
		lacks = append(lacks, Lack{fmt.Sprintf("%q, which it corrects, stands as unapproved", o.Supersedes), staysUnapproved})
	}
	if len(lacks) == 1 && standing.Mark == "unapproved" {
		code = CodeNotApproved
	}
	if len(lacks) == 0 {
		return nil
	}
	var why, fix []string
	for _, l := range lacks {
		why = append(why, l.Why)
		if !slices.Contains(fix, l.Fix) {
			fix = append(fix, l.Fix)
		}
	}
	return settle(o.AlreadyDone, &o.Standing, code, strings.Join(fix, " "), fmt.Sprintf("%q cannot be opened", o.Opening), why)
}

// openingStanding is how opening something stands to the owner's word.
func (d *Dossier) openingStanding(opening string, at time.Time) Standing {
	for _, option := range All[*Option](d) {
		// What was approved may have been corrected since, when its parts came in.
		if _, stands := Get[*Option](d, option.RecordID()); !stands {
			continue
		}
		approval, _, ok := d.Covering(option.RecordID(), at)
		if ok && slices.ContainsFunc(d.OpeningsNeeded(approval.Option.Openings), func(id string) bool { return d.current(id) == d.current(opening) }) {
			return Standing{Mark: "approved", Decision: approval.Decision.RecordID()}
		}
	}
	if a, ok := d.Agreement(); ok && slices.Contains(a.Care, opening) {
		return Standing{Mark: "care"}
	}
	return Standing{Mark: "unapproved"}
}

// Covering is the approval under which something can be done now: what the
// owner agreed to in one stay of the machine does not cover the next.
func (d *Dossier) Covering(option string, at time.Time) (a Approval, why string, ok bool) {
	a, why, ok = d.Approval(option, at)
	if ok && d.handedBackSince(a.Decision.Entry) {
		return a, "the machine was handed back after the owner's answer", false
	}
	return a, why, ok
}

// handedBackSince says whether the machine went back after a record was made.
func (d *Dossier) handedBackSince(e *Entry) bool {
	return slices.ContainsFunc(Live[*HandBack](d), func(h Found[*HandBack]) bool { return h.Version > e.Version })
}

// settle refuses an act for which something was missing, or, when it has
// happened already, lets the record say so for ever.
func settle(alreadyDone bool, s *Standing, code Code, fix, what string, why []string) error {
	if len(why) == 0 {
		return nil
	}
	if !alreadyDone {
		return Refuse(code, fix, "%s: %s", what, strings.Join(why, "; "))
	}
	*s = Standing{Mark: "unapproved", Why: why}
	return nil
}

func (d *Dossier) hasAsFoundPicture(opening string) bool {
	return slices.ContainsFunc(Live[*Photo](d), func(p Found[*Photo]) bool {
		return p.Record.Shows == "as-found" && slices.ContainsFunc(p.Record.Openings, func(x string) bool { return d.current(x) == d.current(opening) })
	})
}

// OpeningsNeeded lists openings with all that have to come before them, each
// once, those asked for first.
func (d *Dossier) OpeningsNeeded(openings []string) []string {
	var out []string
	var need func(id string)
	need = func(id string) {
		if slices.Contains(out, id) {
			return
		}
		out = append(out, id)
		if opening, ok := Get[*Opening](d, id); ok {
			for _, r := range opening.Record.Requires {
				need(r)
			}
		}
	}
	for _, id := range openings {
		need(id)
	}
	return out
}

// IsOpened says whether an opening has been made.
func (d *Dossier) IsOpened(opening string) bool {
	return slices.ContainsFunc(Live[*Opened](d), func(f Found[*Opened]) bool { return d.current(f.Record.Opening) == d.current(opening) })
}

// decideWork: only what the owner approved, what is on the care list, or what
// makes the machine harmless; everything else stands as unapproved.
func decideWork(d *Dossier, r *Rules, act Act, w *Work) error {
	t, ok := r.Treatments[w.Treatment]
	if !ok {
		return invalid(w, "/treatment", w.Treatment, "the treatments of the catalog", "There is no such treatment", "")
	}
	var why []string
	code, fix := CodeNotApproved, askFirst
	if _, sealed := d.Seal(); !sealed {
		why, code, fix = append(why, "the as-found survey is not sealed"), CodeRefused, "Seal the survey, or let the owner sign its gaps."
	}
	w.Standing = Standing{}
	switch {
	case w.Option != "":
		why = append(why, coverWork(d, r, act, w)...)
	case w.Care != "":
		why = append(why, careWork(d, w, t)...)
	default:
		why = append(why, "it names neither an approved option nor an item of the care list")
	}
	if old, ok := d.Entry(w.Supersedes); ok && standingOf(old.Body).Mark == "unapproved" {
		why, fix = append(why, fmt.Sprintf("%q, which it corrects, stands as unapproved", w.Supersedes)), staysUnapproved
	}
	for _, id := range w.Openings {
		if !d.IsOpened(id) {
			why = append(why, fmt.Sprintf("the opening %q is not recorded", id))
		}
	}
	for i, c := range w.Changes {
		if c.Keep != nil {
			return invalid(w, at("/changes", i)+"/keep", "", "", "Work done makes no promise", "Record the removed part with its tag and place.")
		}
		if err := checkIdentity(r, w, c.Component); err != nil {
			return err
		}
	}
	for _, f := range w.Fitted {
		if err := checkIdentity(r, w, f.Component); err != nil {
			return err
		}
		if lack := d.unproven(f); lack != "" {
			if len(why) == 0 {
				code, fix = CodeRefused, "Record what speaks for where it is from, and name that evidence."
			}
			why = append(why, lack)
		}
	}
	return settle(w.AlreadyDone, &w.Standing, code, fix, "The work cannot be recorded as agreed", why)
}

// checkIdentity asks for two people and pictures where work touches what the
// machine is known by.
func checkIdentity(r *Rules, w *Work, component string) error {
	if _, rule, _ := r.Component(component); !rule.IdentityBearing {
		return nil
	}
	if w.Second == "" || w.Second == w.By {
		return invalid(w, "/second", w.Second, "a second person", fmt.Sprintf("%s bears identity: a second signature is needed", component), "")
	}
	if len(w.Photos) == 0 {
		return invalid(w, "/photos", "", "", fmt.Sprintf("%s bears identity: pictures before and after are needed", component), "")
	}
	return nil
}

// coverWork says what keeps the owner's approval from covering the work, and
// sets its standing when nothing does.
func coverWork(d *Dossier, r *Rules, act Act, w *Work) (why []string) {
	approval, missing, ok := d.Covering(w.Option, act.At)
	if !ok {
		return []string{missing}
	}
	if approval.Option.Treatment != w.Treatment {
		why = append(why, fmt.Sprintf("the owner approved %q, not %q", approval.Option.Treatment, w.Treatment))
	}
	for _, c := range w.Changes {
		if !slices.ContainsFunc(approval.Option.Changes, func(x Change) bool { return x.Component == c.Component && x.Proposition == c.Proposition }) {
			why = append(why, fmt.Sprintf("a change to the %s of %s was not part of what the owner approved", c.Proposition, c.Component))
		}
	}
	for _, f := range w.Fitted {
		_, rule, _ := r.Component(f.Component)
		if !rule.Consumable && !slices.ContainsFunc(approval.Option.Changes, func(x Change) bool { return x.Component == f.Component }) {
			why = append(why, fmt.Sprintf("a part on %s was not part of what the owner approved", f.Component))
		}
	}
	for _, id := range w.Openings {
		if !slices.Contains(d.OpeningsNeeded(approval.Option.Openings), id) {
			why = append(why, fmt.Sprintf("the opening %q was not part of what the owner approved", id))
		}
	}
	for _, n := range approval.Option.Needs {
		if !n.InHand && !d.inHand(w.Option, n.What) {
			why = append(why, n.What+" is not in hand")
		}
	}
	spent, err := d.spentOn(approval.Decision.Record.On, w.Supersedes)
	if err == nil {
		spent, err = spent.Add(w.Spent)
	}
	if err != nil {
		return append(why, err.Error())
	}
	if spent.Exceeds(approval.Offer.Ceiling) {
		why = append(why, fmt.Sprintf("%s would be spent, above the ceiling of %s", spent, approval.Offer.Ceiling))
	}
	if len(why) == 0 {
		w.Standing = Standing{Mark: "approved", Decision: approval.Decision.RecordID()}
	}
	return why
}

// inHand looks in the live option and in the stock for a need that has arrived
// since the offer.
func (d *Dossier) inHand(option, what string) bool {
	o, ok := Get[*Option](d, option)
	return ok && slices.ContainsFunc(o.Record.Needs, func(n Need) bool { return n.What == what && n.InHand }) || d.InStock(what)
}

// careWork says what keeps work from being care or making safe.
func careWork(d *Dossier, w *Work, t TreatmentRule) (why []string) {
	if t.OwnApproval || !t.Reversible && len(w.Changes) > 0 {
		return []string{"what cannot be undone is never done without asking"}
	}
	if rest, ok := strings.CutPrefix(w.Care, "make safe:"); ok && strings.TrimSpace(rest) != "" {
		w.Standing = Standing{Mark: "make-safe"}
		return nil
	}
	if a, ok := d.Agreement(); ok && slices.Contains(a.Care, w.Care) {
		w.Standing = Standing{Mark: "care"}
		return nil
	}
	return []string{fmt.Sprintf("%q is not on the care list", w.Care)}
}

func decideRemoved(d *Dossier, p *RemovedPart) error {
	if p.Work == "" {
		return nil
	}
	w, _ := Get[*Work](d, p.Work)
	if !slices.ContainsFunc(w.Record.Changes, func(c Change) bool { return c.Component == p.Component && c.Removes }) {
		return invalid(p, "/work", p.Work, "the work entry that took this part off", "That work took nothing off this position", "")
	}
	if other, taken := d.removedBy(p.Work, p.Component); taken && other != p.Supersedes {
		return Refuse(CodeConflict, "", "The part that %q took off %s is already recorded as %q", p.Work, p.Component, other)
	}
	return nil
}

// decideMove: a part can go back only where it came from, only if nothing has
// been done there since, and only if taking it off could be undone.
func decideMove(d *Dossier, r *Rules, m *PartMove) error {
	part, _ := Get[*RemovedPart](d, m.Part)
	switch now := d.custodyWithout(m.Part, m.Supersedes); {
	case now == "destroyed":
		return Refuse(CodeRefused, "Correct the record of its destruction if that was wrong.", "The part %q is recorded as destroyed", m.Part)
	case now == m.Custody && m.Place.IsZero():
		return Refuse(CodeConflict, "", "The part %q is already %q", m.Part, now)
	}
	if corrected, ok := Get[*PartMove](d, m.Supersedes); ok && corrected.Record.Custody == m.Custody {
		return nil // something else about the same move is corrected
	}
	if d.custodyWithout(m.Part, m.Supersedes) == "fitted" {
		return Refuse(CodeRefused, "Record the work that takes it off, and the part under a tag of its own.", "The part %q is on the machine again", m.Part)
	}
	if m.Custody != "fitted" {
		return nil
	}
	if part.Record.Work == "" {
		return Refuse(CodeRefused, "Record the work that fits it.", "The part %q arrived loose: no work of this record took it off", m.Part)
	}
	w, _ := Get[*Work](d, part.Record.Work)
	if !r.Treatments[w.Record.Treatment].Reversible {
		return Refuse(CodeRefused, "", "%q cannot be undone", r.Treatments[w.Record.Treatment].Title)
	}
	for _, c := range w.Record.Changes {
		if c.Component != part.Record.Component {
			continue
		}
		layers := d.Layers(c.Component, c.Proposition)
		if len(layers) == 0 || layers[len(layers)-1].Work.RecordID() != w.RecordID() {
			return Refuse(CodeRefused, "Undo the later work first.", "Something else has been done to %s since", c.Component)
		}
	}
	return nil
}

func decideGate(d *Dossier, r *Rules, g *Gate) error {
	i := slices.IndexFunc(r.Gates, func(x GateRule) bool { return x.ID == g.Gate })
	if i < 0 {
		return invalid(g, "/gate", g.Gate, "the gates of the catalog", "There is no such gate", "")
	}
	if g.Supersedes != "" {
		return Refuse(CodeRefused, "Take it back and pass it again.", "A gate is not corrected: others rest on it")
	}
	rule := r.Gates[i]
	passed := map[string]bool{}
	for _, p := range d.GatesPassed(r) {
		passed[p.Record.Gate] = true
	}
	if passed[g.Gate] {
		return Refuse(CodeConflict, "Take it back first if it has to be passed again.", "The gate %q is passed already", rule.Title)
	}
	if rule.Instead != "" && passed[rule.Instead] || slices.ContainsFunc(r.Gates, func(x GateRule) bool { return x.Instead == g.Gate && passed[x.ID] }) {
		return Refuse(CodeRefused, "Take the other gate back first.", "The ladder has been ended another way")
	}
	for _, before := range r.Gates[:i] {
		if !passed[before.ID] && before.Instead != g.Gate && rule.Instead == "" {
			return Refuse(CodeRefused, "Pass the gates in their order.", "The gate %q comes before %q and is not passed", before.Title, rule.Title)
		}
	}
	var why []string
	if as := Live[*CustodyAgreement](d); len(as) > 0 && d.handedBackSince(as[len(as)-1].Entry) {
		why = append(why, "the machine has been handed back")
	}
	if _, sealed := d.Seal(); rule.Seal && !sealed {
		why = append(why, "the as-found survey is not sealed")
	}
	if rule.Picture && len(g.Photos) == 0 {
		why = append(why, "there is no picture")
	}
	if rule.SecondName && g.Second == "" {
		why = append(why, "a second name is needed")
	}
	good := map[string]bool{}
	for _, id := range g.Checks {
		c, _ := Get[*Check](d, id)
		switch {
		case c.Record.Outcome != "passed":
			why = append(why, fmt.Sprintf("the check %q did not pass", id))
		case len(rule.Kinds) == 0:
			good[id] = true
		case !slices.Contains(rule.Kinds, c.Record.Of):
			why = append(why, fmt.Sprintf("the check %q is none of this gate's (%s)", id, strings.Join(rule.Kinds, ", ")))
		default:
			good[c.Record.Of] = true
		}
	}
	if len(good) < rule.Checks {
		why = append(why, fmt.Sprintf("%d passed checks are needed, %d are named", rule.Checks, len(good)))
	}
	for _, c := range rule.Sound {
		if d.NotFitted(c) {
			continue
		}
		if f := d.FunctionOf(c); f != "works" && f != "within-limits" {
			why = append(why, fmt.Sprintf("%s is recorded as %q", c, f))
		}
	}
	if len(why) > 0 {
		return Refuse(CodeRefused, "Put it right, check it, and name the check.", "The gate %q cannot be passed: %s", rule.Title, strings.Join(why, "; "))
	}
	return nil
}

func decideGateTakenBack(d *Dossier, r *Rules, g *GateTakenBack) error {
	if !slices.ContainsFunc(d.GatesPassed(r), func(p Found[*Gate]) bool { return p.Record.Gate == g.Gate }) {
		return Refuse(CodeConflict, "", "The gate %q is not passed", g.Gate)
	}
	return nil
}

// standingOf is how work or an opening stands to the owner's word.
func standingOf(b Body) Standing {
	switch b := b.(type) {
	case *Work:
		return b.Standing
	case *Opened:
		return b.Standing
	}
	return Standing{}
}

// decideWithdrawal: what others rest on has a way of its own to be undone, and
// what was done without the owner's word stays on record.
func decideWithdrawal(d *Dossier, w *Withdrawal) error {
	e, _ := d.Entry(w.Record)
	switch e.Kind {
	case "decision":
		return Refuse(CodeRefused, "Let the owner take the answer back, or answer anew.", "An answer of the owner is kept for ever and is not withdrawn")
	case "erasure":
		return Refuse(CodeRefused, "Record the person anew, if the person wishes it.", "What was erased cannot be brought back")
	case "survey-seal":
		return Refuse(CodeRefused, "Record later findings as evidence.", "A sealed survey stays sealed")
	case "survey":
		if seal, sealed := d.Seal(); sealed {
			return Refuse(CodeRefused, "Correct the entry by superseding it; what it said stays readable.", "The as-found survey is sealed (%s); entries cannot be taken out", seal.RecordID())
		}
	case "gate":
		return Refuse(CodeRefused, "Take the gate back, and with it every later one.", "A gate is not withdrawn: others rest on it")
	}
	if standingOf(e.Body).Mark == "unapproved" {
		return Refuse(CodeRefused, "Correct the entry by superseding it; the mark stays.", "What was done without the owner's word stays on record as unapproved")
	}
	return nil
}

// decideHandBack: what came must go back, be on the machine, or be accounted for.
func decideHandBack(d *Dossier, h *HandBack) error {
	agreement, ok := d.Agreement()
	if !ok {
		return Refuse(CodeRefused, "Record the agreement under which it is held first.", "There is no custody agreement to hand back under")
	}
	var why []string
	back := map[string]int{}
	for _, item := range h.Inventory {
		back[item.ID] = item.Count
	}
	for _, item := range agreement.Inventory {
		n, listed := back[item.ID]
		if h.Accounted[item.ID] == "" && (!listed || n != item.Count) {
			why = append(why, fmt.Sprintf("%d of %q came in, %d go back", item.Count, item.What, n))
		}
		delete(back, item.ID)
	}
	for _, id := range sortedKeys(back) {
		if h.Accounted[id] == "" {
			why = append(why, fmt.Sprintf("%q goes back but never came in", id))
		}
	}
	for _, p := range Live[*RemovedPart](d) {
		held := d.Custody(p.RecordID())
		if handed := slices.Contains(h.RemovedParts, p.RecordID()); handed == (held == "kept-with-machine" || held == "evidence-only") {
			continue
		} else if handed {
			why = append(why, fmt.Sprintf("the removed part %q is recorded as %q and cannot be handed over", p.RecordID(), held))
		} else if h.Accounted[p.RecordID()] == "" {
			why = append(why, fmt.Sprintf("the removed part %q (tag %s) is %q and is not handed over", p.RecordID(), p.Record.Tag, held))
		}
	}
	if len(why) > 0 {
		return Refuse(CodeRefused, "Find it, or account for it by id with the reason.", "The hand-back does not balance: %s", strings.Join(why, "; "))
	}
	return nil
}
