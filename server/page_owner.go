package server

import (
	"context"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// OwnerPage is one question to the owner, and where it is answered.
type OwnerPage struct {
	Base
	Asked workshop.AskedReport
	// At begins every address of the question, Link is that of the link itself.
	// The token in them never stands in a text.
	At, Link string
	Expires  time.Time // of the offer
	Digest   string
	Gist     Gist
	Faults   []OwnerFault
	// Rivals says whether some fault has more than one option to choose from.
	Rivals   bool
	Cost     *CostView  // nil without a forecast
	Value    *ValueView // nil without a valuation
	Cautions []workshop.CautionReport
	// Talk are the owner's questions and the replies, Earlier is a standing "not
	// now".
	Talk    []workshop.AnswerReport
	Earlier *workshop.AnswerReport
	// TookBack is the last act when it took the answer before back.
	TookBack *workshop.AnswerReport
	Given    GivenAnswer
	Errors   []FormError
	Others   []QuestionView // what else stands at the link
	glossary *Glossary
	sums     map[string][]SumView
}

// Marked splits a text at the words that its section explains first.
func (p OwnerPage) Marked(section, text string) []Run { return p.glossary.In(section, text) }

// Words are the words that the page marked.
func (p OwnerPage) Words() []Word { return p.glossary.Used() }

// Sums opens the figures of an option, the cost, the value and the like.
func (p OwnerPage) Sums(of string) []SumView { return p.sums[of] }

// Assumptions are what the figures of the page rest on.
func (p OwnerPage) Assumptions() []Assumption { return assumptions(p.Asked.Offer) }

// Wrongly is what is wrong with a field, "" when nothing is.
func (p OwnerPage) Wrongly(field string) string {
	for _, e := range p.Errors {
		if e.Field == field {
			return e.Text
		}
	}
	return ""
}

// Gist is what fits on the first screen.
type Gist struct {
	Acts  []GistAct
	Cost  string
	Lost  string
	Value string
}

// GistAct is what is recommended for one fault.
type GistAct struct {
	Act   string
	Final bool // it cannot be undone
}

// OwnerFault is a fault with its rivals and its pictures.
type OwnerFault struct {
	FaultView
	Photos []workshop.PhotoReport
	Rivals []RivalView
}

// RivalView is one way to deal with a fault, in the few figures by which ways
// are compared.
type RivalView struct {
	OptionView
	ForGood, Now, Money, Cure string
}

// QuestionView is another question at the same link.
type QuestionView struct {
	To       string // address
	What     string
	Asked    time.Time
	State    string
	Waits    bool
	Replaced bool
}

// GivenAnswer is what the owner has typed so far.
type GivenAnswer struct {
	Answer     string
	Options    map[string]string // fault → chosen option
	Conditions string
	Reason     string
	Until      string // the day on which an approval ends, such as 2026-09-30
	TakesBack  string // the answer that no longer stands
}

// end is when an approval runs out: as that day ends, in UTC. CodeInvalid for
// what is no day.
func (g GivenAnswer) end() (*time.Time, error) {
	if g.Until == "" {
		return nil, nil
	}
	day, err := time.Parse(time.DateOnly, g.Until)
	if err != nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Choose a day, such as 2026-09-30, or none.", "Until when your approval counts is not a day")
	}
	day = day.AddDate(0, 0, 1)
	return &day, nil
}

// CheckAnswerPage shows the answer once more before it counts.
type CheckAnswerPage struct {
	Base
	Link    string
	Given   GivenAnswer
	Says    string // the answer in words
	Button  string
	Chosen  []OptionView
	Ceiling string
	Hidden  []Hidden
	Consent Consent
	Errors  []FormError
}

// ReceiptPage is the owner's receipt; it can be opened again by the same link.
type ReceiptPage struct {
	Base
	Receipt *workshop.OwnerReceipt
	At      string
	Link    string
	Expires time.Time // of the link
	Others  []QuestionView
	// TakeBack says that the answer can still be taken back.
	TakeBack bool
}

// DeskPage lists what stands at a link.
type DeskPage struct {
	Base
	Waiting, Before []QuestionView
	Expires         time.Time
}

// answerButtons name the act of each answer.
var answerButtons = map[string]string{
	"approve":                 "Approve this work",
	"approve-with-conditions": "Approve with these conditions",
	"refuse":                  "Refuse this work",
	"ask":                     "Send this question",
	"defer":                   "Say: not now",
	"take-back":               "Take my answer back",
}

func ownerBase(s *Server, r *http.Request, title string, m workshop.MachineReport) Base {
	return Base{Title: title, Version: s.Version, Owner: true, ByAccount: chi.URLParam(r, "token") == "", Machine: &MachineHead{ID: m.ID, Name: m.Name, Line: machineLine(m.Name, m.Make, m.Model, m.Year), Invented: m.Invented}}
}

// held opens what the visitor may decide on.
func (s *Server) held(r *http.Request) (workshop.Held, error) {
	hold, err := s.hold(r)
	if err != nil {
		return workshop.Held{}, err
	}
	return hold(r.Context())
}

// asked is held, with the question in the address.
func (s *Server) asked(r *http.Request) (workshop.Held, workshop.Asked, error) {
	h, err := s.held(r)
	if err != nil {
		return h, workshop.Asked{}, err
	}
	a, err := h.Question(chi.URLParam(r, "offer"))
	return h, a, err
}

// question finds the question that a request names, or that comes first.
func question(h workshop.Held, offer string) (workshop.Asked, error) {
	if offer != "" {
		return h.Question(offer)
	}
	return h.First()
}

// pageOwner opens a link: at the only question that waits, at the receipt of
// the only one there is, or at the list.
func pageOwner(s *Server, r *http.Request) (answer, error) {
	h, err := s.held(r)
	if err != nil {
		return nil, err
	}
	if waiting := h.Waiting(); len(waiting) == 1 {
		return s.questionAnswer(r, h, waiting[0])
	}
	if len(h.Questions) == 1 {
		return s.questionAnswer(r, h, h.Questions[0])
	}
	return s.deskAnswer(r, h)
}

func pageOwnerQuestion(s *Server, r *http.Request) (answer, error) {
	h, a, err := s.asked(r)
	if err != nil {
		return nil, err
	}
	return s.questionAnswer(r, h, a)
}

// questionAnswer shows a question, its receipt, or why it is over.
func (s *Server) questionAnswer(r *http.Request, h workshop.Held, a workshop.Asked) (answer, error) {
	err := a.Over()
	if workshop.WhyOver(err) == workshop.LinkAnswered {
		return htmlAnswer{name: "receipt", page: s.receiptPage(r, h, a)}, nil
	}
	if err != nil {
		return nil, err
	}
	report, err := s.Workshop.AskedReport(r.Context(), a)
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "owner", page: s.ownerPage(r, h, a, report, GivenAnswer{}, nil)}, nil
}

func (s *Server) deskAnswer(r *http.Request, h workshop.Held) (answer, error) {
	title := "Nothing waits for your answer"
	if n := len(h.Waiting()); n > 0 {
		title = fmt.Sprintf("%d questions wait for your answer", n)
	}
	page := DeskPage{Base: ownerBase(s, r, title, s.Workshop.HeldMachine(h)), Expires: h.Expires}
	for _, q := range s.questionViews(r, h, "") {
		if q.Waits {
			page.Waiting = append(page.Waiting, q)
		} else {
			page.Before = append(page.Before, q)
		}
	}
	return htmlAnswer{name: "owner-desk", page: page}, nil
}

// questionViews lists the questions of a link but for one, newest first.
func (s *Server) questionViews(r *http.Request, h workshop.Held, but string) []QuestionView {
	var out []QuestionView
	for _, q := range slices.Backward(h.Questions) {
		id := q.Entry.RecordID()
		if id == but {
			continue
		}
		v := QuestionView{To: deskAddress(r) + "/q/" + id, What: upperFirst(s.Workshop.WhatWasAsked(q)), Asked: q.Entry.Recorded, Waits: q.Waits(), Replaced: !q.Entry.Live()}
		switch {
		case v.Replaced:
			v.State = "replaced by another question"
		case v.Waits && q.Answered && q.Answer.Record.Answer == "ask":
			v.State = "you asked something; your decision is open"
		case v.Waits:
			v.State = "waits for your answer until " + dayWords(q.Offer.Expires)
		case q.Settled():
			v.State = "you answered: " + workshop.AnswerWords[q.Answer.Record.Answer]
		default:
			v.State = "ran out on " + dayWords(q.Offer.Expires) + " without an answer"
		}
		out = append(out, v)
	}
	return out
}

func (s *Server) ownerPage(r *http.Request, h workshop.Held, a workshop.Asked, report workshop.AskedReport, given GivenAnswer, errors []FormError) OwnerPage {
	link := deskAddress(r)
	page := OwnerPage{Base: ownerBase(s, r, "Shall this be done?", report.Machine), Asked: report, At: link + "/q/" + report.Offer.ID, Link: link, Digest: a.Digest, Expires: a.Offer.Expires,
		Given: given, Errors: errors, Others: s.questionViews(r, h, report.Offer.ID), glossary: newGlossary(report.Words)}
	page.Wrong = len(errors) > 0
	seen, shown := map[string]bool{}, map[string]bool{}
	for _, f := range offeredFaults(report.Offer, report.Faults, s.anatomy) {
		of := OwnerFault{FaultView: f}
		about := slices.Clone(f.Components)
		page.Rivals = page.Rivals || len(f.Options) > 1
		for _, o := range f.Options {
			for _, c := range o.Cautions {
				if !seen[c.ID] {
					seen[c.ID] = true
					page.Cautions = append(page.Cautions, c)
				}
			}
			for _, c := range o.Changes {
				about = append(about, c.Component)
			}
			o.Cautions = nil // shown once, for all options together
			o.Plain = plainly(&o)
			of.Rivals = append(of.Rivals, rivalView(o))
		}
		for _, p := range report.Photos {
			if !shown[p.ID] && slices.ContainsFunc(p.Components, func(c string) bool { return slices.Contains(about, c) }) {
				shown[p.ID] = true
				of.Photos = append(of.Photos, p)
			}
		}
		page.Faults = append(page.Faults, of)
	}
	page.Cost = costView(report.Offer.Cost, report.Offer.Offer.Ceiling)
	page.Value = valueView(report.Offer.Value, report.Offer.Offer.Ceiling.Currency, valueTitles)
	page.sums = sumViews(report.Offer, report.Machine.ID, page.At, s.anatomy)
	page.Gist = gistOf(report, page.Faults)
	for i, x := range report.Offer.Answers {
		page.TookBack = nil
		if x.Answer == "take-back" {
			page.TookBack = &report.Offer.Answers[i]
		}
		if x.Answer == "ask" && !x.TakenBack {
			page.Talk = append(page.Talk, x)
		}
		if a.Answered && x.ID == a.Answer.RecordID() && x.Answer == "defer" {
			page.Earlier = &report.Offer.Answers[i]
		}
	}
	return page
}

// gistOf gathers what the first screen says.
func gistOf(report workshop.AskedReport, faults []OwnerFault) Gist {
	o := report.Offer
	var g Gist
	var lost [3]float64
	for _, f := range faults {
		for _, x := range f.Rivals {
			if !x.Recommended {
				continue
			}
			g.Acts = append(g.Acts, GistAct{x.Title, !x.Reversible && !x.Nothing})
			if e := x.Effects; e != nil && !x.Nothing {
				for i, r := range []scoring.EffectResult{e.Substance, e.Surface, e.Correctness} {
					lost[i] += r.ForGood.Mean
				}
			}
		}
	}
	currency := o.Offer.Ceiling.Currency
	g.Cost = fmt.Sprintf("At most %s.", o.Offer.Ceiling)
	if c := o.Cost; c != nil {
		g.Cost = fmt.Sprintf("Half of the time at most %s, four times in five at most %s. The ceiling is %s.", wholeMoney(math.Round(c.P50), c.P50, currency), wholeMoney(math.Ceil(c.P80), c.P80, currency), o.Offer.Ceiling)
	}
	g.Lost = "Nothing."
	var of []string
	for i, name := range []string{"substance", "surface", "correctness"} {
		if lost[i] > 0.00005 {
			of = append(of, pointsWords(lost[i])+" of "+name)
		}
	}
	if of != nil {
		g.Lost = fmt.Sprintf("On average, in points of 1000: %s.", strings.Join(of, ", "))
	}
	if v := o.Value; v != nil && len(v.Afters) > 0 {
		g.Value = ratioSaid(v.Afters[0])
	}
	return g
}

// rivalView puts an option into the few figures of the comparison.
func rivalView(o OptionView) RivalView {
	v := RivalView{OptionView: o, ForGood: "not weighed", Now: "not weighed", Money: o.Money.String(), Cure: "not said"}
	if o.Nothing {
		v.ForGood, v.Now = "nothing", "nothing"
	} else if e := o.Effects; e != nil {
		v.ForGood, v.Now = lossWords(e, func(r scoring.EffectResult) float64 { return r.ForGood.Median }), lossWords(e, func(r scoring.EffectResult) float64 { return r.Now.Median })
	}
	if o.Money.IsZero() {
		v.Money = "no outlay"
	}
	if !o.MoneyLow.IsZero() || !o.MoneyHigh.IsZero() {
		v.Money = fmt.Sprintf("%s (%s to %s)", o.Money, o.MoneyLow.Amount, o.MoneyHigh.Amount)
	}
	if l := o.Leaving; l != nil && !l.Money.IsZero() {
		v.Money = fmt.Sprintf("no outlay now; %s if it comes to the worst named below", l.Money)
	}
	switch {
	case o.Nothing:
		v.Cure = "none is tried"
	case o.Works != nil:
		v.Cure = percentWords(o.Works)
	}
	return v
}

// lossWords names what is lost of each index, in points of 1000.
func lossWords(e *workshop.Effects, of func(scoring.EffectResult) float64) string {
	var out []string
	e.Each(func(name string, r *scoring.EffectResult) {
		if v := of(*r); v > 0.00005 {
			out = append(out, pointsWords(v)+" "+name)
		} else if v < -0.00005 {
			out = append(out, "gains "+pointsWords(-v)+" "+name)
		}
	})
	if out == nil {
		return "nothing"
	}
	return strings.Join(out, ", ")
}

// plainly says in a sentence what an option takes.
func plainly(o *OptionView) string {
	if o.Nothing || o.Effects == nil {
		return ""
	}
	now, good := o.Effects.Substance.Now.Median, o.Effects.Substance.ForGood.Median
	if now <= 0.00005 && good <= 0.00005 {
		return "Of the 1000 points of substance nothing would be lost."
	}
	return "Of the 1000 points of substance about " + pointsWords(now) + " would be gone from the machine, and " + pointsWords(good) + " for good."
}

// givenAnswer reads what the owner typed, with what is wrong with it.
func givenAnswer(t *typed, report workshop.AskedReport) (GivenAnswer, []FormError) {
	g := GivenAnswer{Answer: t.text("answer"), Options: map[string]string{}, Conditions: t.text("conditions"), Reason: t.text("reason"), Until: t.text("until"), TakesBack: t.text("takes_back")}
	var errors []FormError
	for _, f := range offeredFaults(report.Offer, report.Faults, nil) {
		chosen := t.text("option-" + f.ID)
		if chosen == "" {
			continue
		}
		g.Options[f.ID] = chosen
		if !slices.ContainsFunc(f.Options, func(o OptionView) bool { return o.ID == chosen }) {
			errors = append(errors, FormError{"h-answer", "What was chosen for “" + f.Complaint + "” was not offered. Choose one of the ways that stand there."})
		}
	}
	switch g.Answer {
	case "approve", "refuse", "defer", "take-back":
	case "approve-with-conditions":
		if g.Conditions == "" {
			errors = append(errors, FormError{"conditions", "Write your conditions, or choose “Approve”."})
		}
	case "ask":
		if g.Reason == "" {
			errors = append(errors, FormError{"reason", "Write your question."})
		}
	default:
		errors = append(errors, FormError{"answer-approve", "Choose your answer."})
	}
	if _, err := g.end(); err != nil && approves(g.Answer) {
		errors = append(errors, FormError{"until", err.Error()})
	}
	for _, x := range [...]struct{ field, text, message string }{
		{"conditions", g.Conditions, "Shorten your conditions to 4000 letters."}, {"reason", g.Reason, "Shorten your question or reason to 4000 letters."}} {
		if len([]rune(x.text)) > 4000 {
			errors = append(errors, FormError{x.field, x.message})
		}
	}
	return g, errors
}

// chosenOptions are the options that an approval would cover: what was chosen
// for each fault, and what is recommended where nothing was.
func (g GivenAnswer) chosenOptions(report workshop.AskedReport) []string {
	var out []string
	for _, f := range offeredFaults(report.Offer, report.Faults, nil) {
		chosen := g.Options[f.ID]
		for _, o := range f.Options {
			if chosen == o.ID || chosen == "" && o.Recommended {
				out = append(out, o.ID)
			}
		}
	}
	return out
}

// ownerForm is a posted answer with the question that it belongs to.
type ownerForm struct {
	typed  *typed
	hold   workshop.Holding
	held   workshop.Held
	asked  workshop.Asked
	report workshop.AskedReport
	given  GivenAnswer
	errors []FormError
}

func (s *Server) ownerForm(r *http.Request) (*ownerForm, error) {
	hold, err := s.hold(r)
	if err != nil {
		return nil, err
	}
	h, err := hold(r.Context())
	if err != nil {
		return nil, err
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	f := &ownerForm{typed: t, hold: hold, held: h}
	if f.asked, err = question(h, t.text("on")); err != nil {
		return nil, err
	}
	if f.report, err = s.Workshop.AskedReport(r.Context(), f.asked); err != nil {
		return nil, err
	}
	f.given, f.errors = givenAnswer(t, f.report)
	return f, nil
}

// pageOwnerStep shows the choice again, or the answer to be checked. It
// records nothing.
func pageOwnerStep(check bool) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		f, err := s.ownerForm(r)
		if err != nil {
			return nil, err
		}
		back := f.given.Answer == "take-back"
		if err := f.asked.Over(); err != nil && !(back && workshop.WhyOver(err) == workshop.LinkAnswered) {
			return s.overAnswer(r, f.asked, err)
		}
		if back && (!f.asked.Settled() || f.given.TakesBack != f.asked.Answer.RecordID()) {
			return seeOther(deskAddress(r) + "/q/" + f.asked.Entry.RecordID()), nil
		}
		if f.typed.text("digest") != f.asked.Digest {
			return nil, offerChanged()
		}
		if !check {
			return htmlAnswer{name: "owner", page: s.ownerPage(r, f.held, f.asked, f.report, f.given, nil)}, nil
		}
		if len(f.errors) > 0 {
			return s.ownerAgain(r, f), nil
		}
		page, err := s.checkAnswerPage(r, f)
		return htmlAnswer{name: "check-answer", page: page}, err
	}
}

func (s *Server) ownerAgain(r *http.Request, f *ownerForm) answer {
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "owner", page: s.ownerPage(r, f.held, f.asked, f.report, f.given, f.errors)}
}

// overAnswer leads to the receipt where the question was answered, and says why
// it is over otherwise.
func (s *Server) overAnswer(r *http.Request, a workshop.Asked, err error) (answer, error) {
	if workshop.WhyOver(err) == workshop.LinkAnswered {
		return seeOther(deskAddress(r) + "/q/" + a.Entry.RecordID()), nil
	}
	return nil, err
}

func offerChanged() error {
	return registry.Refuse(registry.CodeConflict, "Open the question again: it shows the offer as it stands now. Nothing was recorded.",
		"The offer has changed since the page was opened")
}

func (s *Server) checkAnswerPage(r *http.Request, f *ownerForm) (CheckAnswerPage, error) {
	page := CheckAnswerPage{Base: ownerBase(s, r, "Check your answer", f.report.Machine), Link: deskAddress(r), Given: f.given,
		Says: workshop.AnswerWords[f.given.Answer], Button: answerButtons[f.given.Answer], Ceiling: f.asked.Offer.Ceiling.String()}
	if approves(f.given.Answer) {
		page.Chosen = optionsByID(f.report, f.given.chosenOptions(f.report))
	}
	page.Hidden = []Hidden{{"on", f.asked.Entry.RecordID()}, {"digest", f.asked.Digest}, {"answer", f.given.Answer}, {"conditions", f.given.Conditions}, {"reason", f.given.Reason}, {"until", f.given.Until}, {"takes_back", f.given.TakesBack}}
	for _, x := range offeredFaults(f.report.Offer, f.report.Faults, nil) {
		if o := f.given.Options[x.ID]; o != "" {
			page.Hidden = append(page.Hidden, Hidden{"option-" + x.ID, o})
		}
	}
	var err error
	page.Consent, err = s.consentTo(r, f.held, f.decision())
	return page, err
}

// decision is the answer that was typed, as it is recorded.
func (f *ownerForm) decision() registry.Decision {
	d := registry.Decision{On: f.asked.Entry.RecordID(), Digest: f.typed.text("digest"), Answer: f.given.Answer, Reason: f.given.Reason}
	if approves(f.given.Answer) {
		d.Options = f.given.chosenOptions(f.report)
		d.Until, _ = f.given.end() // looked at with the rest of what was typed
	}
	if f.given.Answer == "approve-with-conditions" {
		for _, line := range strings.Split(f.given.Conditions, "\n") {
			if line = strings.TrimSpace(line); line != "" {
				d.Conditions = append(d.Conditions, line)
			}
		}
	}
	if f.given.Answer == "take-back" {
		d.TakesBack = f.given.TakesBack
	}
	return d
}

func approves(answer string) bool { return answer == "approve" || answer == "approve-with-conditions" }

func optionsByID(report workshop.AskedReport, ids []string) []OptionView {
	var out []OptionView
	for _, v := range optionViews(report.Offer.Options, report.Offer.Recommended, nil) {
		if contains(ids, v.ID) {
			out = append(out, v)
		}
	}
	return out
}

// pageOwnerAnswer records the owner's answer. What was settled before, by the
// same or another answer, leads to its receipt: a question is decided once.
func pageOwnerAnswer(s *Server, r *http.Request) (answer, error) {
	f, err := s.ownerForm(r)
	if err != nil {
		return nil, err
	}
	if len(f.errors) > 0 {
		return s.ownerAgain(r, f), nil
	}
	decision := f.decision()
	var bind *registry.Passkey
	given := f.typed.text("assertion")
	if given != "" {
		if bind, err = s.confirmed(r, f.held, &decision, f.typed.text("nonce"), given); err != nil {
			return s.checkAgain(r, f, err)
		}
	}
	if _, _, err := s.Workshop.Answer(r.Context(), f.hold, decision, bind); err != nil {
		if given != "" {
			return s.checkAgain(r, f, err)
		}
		return nil, err
	}
	return seeOther(deskAddress(r) + "/q/" + decision.On), nil
}

func (s *Server) receiptPage(r *http.Request, h workshop.Held, a workshop.Asked) ReceiptPage {
	receipt := s.Workshop.ReceiptOf(a)
	link := deskAddress(r)
	return ReceiptPage{Base: ownerBase(s, r, "Your answer is recorded", receipt.Machine), Receipt: receipt, TakeBack: receipt.Answer.Underway == "", At: link + "/q/" + receipt.Offer, Link: link, Expires: h.Expires, Others: s.questionViews(r, h, receipt.Offer)}
}

// downloadReceipt prints the receipt of an answer.
func downloadReceipt(s *Server, r *http.Request) (answer, error) {
	_, a, err := s.asked(r)
	if err != nil {
		return nil, err
	}
	if !a.Answered {
		return nil, registry.Refuse(registry.CodeNotFound, "Open your link and answer first.", "There is no receipt yet")
	}
	if s.Receipt == nil {
		return nil, notOffered("A printed receipt")
	}
	receipt := s.Workshop.ReceiptOf(a)
	body, err := produced(printedFor(r), func(ctx context.Context, out io.Writer) error { return s.Receipt(ctx, out, receipt) })
	if err != nil {
		return nil, err
	}
	return bytesAnswer{mediaType: "application/pdf", header: inLanguage, body: body, attachment: receipt.Machine.ID + "-" + receipt.Offer + "-receipt.pdf"}, nil
}

// downloadOwnerSum is the exact input of one figure that was shown, for whoever
// wants to reckon it again.
func downloadOwnerSum(s *Server, r *http.Request) (answer, error) {
	h, a, err := s.asked(r)
	if err != nil {
		return nil, err
	}
	i, err := strconv.Atoi(strings.TrimSuffix(chi.URLParam(r, "sum"), ".json"))
	if err != nil || i < 0 || i >= len(a.Offer.Shown) {
		return nil, registry.Refuse(registry.CodeNotFound, "Choose one from the page.", "The question holds no such figure")
	}
	return bytesAnswer{mediaType: "application/json", body: a.Offer.Shown[i].Input, attachment: ownerSumFile(h.Dossier.ID, a.Entry.RecordID(), i)}, nil
}

// pageOwnerPhoto shows a picture that belongs to a question at the link.
func pageOwnerPhoto(s *Server, r *http.Request) (answer, error) {
	h, err := s.held(r)
	if err != nil {
		return nil, err
	}
	digest, err := digestParam(r)
	if err != nil {
		return nil, err
	}
	var photos []workshop.PhotoReport
	for _, q := range h.Questions {
		if q.Entry.Live() {
			photos = append(photos, s.Workshop.AskedPhotos(q)...)
		}
	}
	return s.photoAnswer(r, photos, digest, true)
}
