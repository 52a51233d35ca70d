package server

import (
	"net/http"
	"sort"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// OwnerPage is where the owner decides.
type OwnerPage struct {
	Base
	Asked   workshop.AskedReport
	Faults  []FaultView
	Digest  string
	Expires time.Time
	// Token is part of every address on the page, never of its text.
	Token  string
	Words  []Word
	Given  GivenAnswer
	Errors []FormError
	// Earlier is an answer that leaves the question open: asked, or not now.
	Earlier *workshop.AnswerReport
	// RivalsOf says whether some fault has more than one option to choose from.
	Rivals bool
	Cost   *CostView  // nil without a forecast
	Value  *ValueView // nil without a valuation
	// Cautions of all options, each once.
	Cautions []workshop.CautionReport
}

// Word is a trade word with its meaning.
type Word struct{ Word, Meaning string }

// GivenAnswer is what the owner has typed so far.
type GivenAnswer struct {
	Answer     string
	Options    map[string]string // fault → chosen option
	Conditions string
	Reason     string
}

// CheckAnswerPage shows the answer once more before it counts.
type CheckAnswerPage struct {
	Base
	Asked   workshop.AskedReport
	Digest  string
	Token   string
	Given   GivenAnswer
	Says    string // the answer in words
	Button  string
	Chosen  []OptionView
	Ceiling string
	Hidden  []Hidden
}

// ReceiptPage is the owner's receipt; it can be opened again by the same link.
type ReceiptPage struct {
	Base
	Asked   workshop.AskedReport
	Answer  workshop.AnswerReport
	Says    string
	Chosen  []OptionView
	Digest  string
	Expires time.Time
}

// answerWords are the owner's answers as whole sentences.
var answerWords = map[string]string{
	"approve":                 "Go ahead",
	"approve-with-conditions": "Go ahead, if my conditions are kept",
	"refuse":                  "Do not do it",
	"ask":                     "Answer my question first",
	"defer":                   "Not now",
	"take-back":               "An earlier answer no longer stands",
}

// answerButtons name the act of each answer.
var answerButtons = map[string]string{
	"approve":                 "Approve this work",
	"approve-with-conditions": "Approve with these conditions",
	"refuse":                  "Refuse this work",
	"ask":                     "Send this question",
	"defer":                   "Say: not now",
}

// asked opens the link in the address.
func (s *Server) asked(r *http.Request) (workshop.Asked, workshop.AskedReport, error) {
	a, err := s.Workshop.OpenLink(r.Context(), chi.URLParam(r, "token"))
	if err != nil {
		return a, workshop.AskedReport{}, err
	}
	report, err := s.Workshop.AskedReport(r.Context(), a)
	return a, report, err
}

func ownerBase(s *Server, title string, m workshop.MachineReport) Base {
	return Base{Title: title, Version: s.Version, Owner: true, Machine: &MachineHead{ID: m.ID, Name: m.Name, Line: machineLine(m.Name, m.Make, m.Model, m.Year), Invented: m.Invented}}
}

func pageOwner(s *Server, r *http.Request) (answer, error) {
	a, report, err := s.asked(r)
	if err != nil {
		return nil, err
	}
	if a.Answered && settled(a.Answer.Record.Answer) {
		return htmlAnswer{name: "receipt", page: s.receiptPage(a, report)}, nil
	}
	return htmlAnswer{name: "owner", page: s.ownerPage(a, report, chi.URLParam(r, "token"), GivenAnswer{}, nil)}, nil
}

// settled says whether an answer closes the question.
func settled(answer string) bool { return answer != "ask" && answer != "defer" }

func (s *Server) ownerPage(a workshop.Asked, report workshop.AskedReport, token string, given GivenAnswer, errors []FormError) OwnerPage {
	page := OwnerPage{Base: ownerBase(s, "Your decision", report.Machine), Asked: report, Digest: a.Digest, Expires: a.Offer.Expires, Token: token, Given: given, Errors: errors}
	page.Wrong = len(errors) > 0
	page.Faults = offeredFaults(report.Offer, report.Faults, s.anatomy)
	seen := map[string]bool{}
	for _, f := range page.Faults {
		page.Rivals = page.Rivals || len(f.Options) > 1
		for i := range f.Options {
			o := &f.Options[i]
			o.Plain = plainly(o)
			for _, c := range o.Cautions {
				if !seen[c.ID] {
					seen[c.ID] = true
					page.Cautions = append(page.Cautions, c)
				}
			}
			o.Cautions = nil // shown once, for all options together
		}
	}
	page.Cost = costView(report.Offer.Cost, report.Offer.Offer.Ceiling)
	page.Value = valueView(report.Offer.Value, report.Offer.Offer.Ceiling.Currency, valueTitles)
	page.Words = s.wordsUsed(report)
	if a.Answered {
		page.Earlier = answerReport(a, report)
	}
	return page
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

// answerReport finds the standing answer among those that are shown.
func answerReport(a workshop.Asked, report workshop.AskedReport) *workshop.AnswerReport {
	for i := range report.Offer.Answers {
		if report.Offer.Answers[i].ID == a.Answer.RecordID() {
			return &report.Offer.Answers[i]
		}
	}
	return &workshop.AnswerReport{ID: a.Answer.RecordID(), Answer: a.Answer.Record.Answer, Recorded: a.Answer.Recorded, Digest: a.Answer.Record.Digest}
}

// wordsUsed keeps the trade words that the offer uses, in order.
func (s *Server) wordsUsed(report workshop.AskedReport) []Word {
	var b strings.Builder
	for _, f := range report.Faults {
		b.WriteString(f.Complaint + " " + f.Cause + " ")
	}
	for _, o := range report.Offer.Options {
		b.WriteString(o.Title + " " + o.Why + " " + o.TreatmentTitle + " " + o.Treatment + " " + o.Undo + " " + strings.Join(o.OpeningTitles, " ") + " " + strings.Join(o.First, " ") + " ")
	}
	for _, o := range report.Offer.Options {
		for _, c := range o.Changes {
			b.WriteString(s.anatomy.Of(c.Component) + " " + string(c.Proposition) + " ")
		}
		if len(o.OpeningTitles) > 0 {
			b.WriteString("opening witness loss ")
		}
	}
	b.WriteString(report.Offer.Offer.DoNothing)
	text := strings.ToLower(b.String())
	var out []Word
	for word, meaning := range report.Words {
		if word != "machine" && speaksOf(text, strings.ToLower(plainWords(word))) {
			out = append(out, Word{upperFirst(plainWords(word)), meaning})
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Word < out[j].Word })
	return out
}

// speaksOf says whether a text holds a word by itself, or its plural.
func speaksOf(text, word string) bool {
	for from := 0; ; {
		i := strings.Index(text[from:], word)
		if i < 0 {
			return false
		}
		start, end := from+i, from+i+len(word)
		if end < len(text) && text[end] == 's' {
			end++
		}
		if (start == 0 || !partOfWord(text[start-1])) && (end == len(text) || !partOfWord(text[end])) {
			return true
		}
		from = start + 1
	}
}

func partOfWord(c byte) bool {
	return c == '-' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 0x80
}

// givenAnswer reads what the owner typed, with what is wrong with it.
func givenAnswer(t *typed, report workshop.AskedReport) (GivenAnswer, []FormError) {
	g := GivenAnswer{Answer: t.text("answer"), Options: map[string]string{}, Conditions: t.text("conditions"), Reason: t.text("reason")}
	for _, f := range offeredFaults(report.Offer, report.Faults, nil) {
		if chosen := t.text("option-" + f.ID); chosen != "" {
			g.Options[f.ID] = chosen
		}
	}
	var errors []FormError
	switch g.Answer {
	case "approve", "refuse", "defer":
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
	if len(g.Conditions) > 4000 || len(g.Reason) > 4000 {
		errors = append(errors, FormError{"reason", "Shorten what you write to 4000 letters."})
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

// pageOwnerStep shows the choice again, or the answer to be checked. It
// records nothing.
func pageOwnerStep(check bool) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		a, report, err := s.asked(r)
		if err != nil {
			return nil, err
		}
		t, err := readForm(r)
		if err != nil {
			return nil, err
		}
		token := chi.URLParam(r, "token")
		if a.Answered && settled(a.Answer.Record.Answer) {
			return seeOther("/o/" + token), nil
		}
		if t.text("digest") != a.Digest {
			return nil, offerChanged()
		}
		given, errors := givenAnswer(t, report)
		if !check {
			return htmlAnswer{name: "owner", page: s.ownerPage(a, report, token, given, nil)}, nil
		}
		if len(errors) > 0 {
			return htmlAnswer{status: http.StatusUnprocessableEntity, name: "owner", page: s.ownerPage(a, report, token, given, errors)}, nil
		}
		return htmlAnswer{name: "check-answer", page: s.checkAnswerPage(a, report, token, given)}, nil
	}
}

func offerChanged() error {
	return registry.Refuse(registry.CodeConflict, "Open your link again: it shows the offer as it stands now. Nothing was recorded.",
		"The offer has changed since the page was opened")
}

func (s *Server) checkAnswerPage(a workshop.Asked, report workshop.AskedReport, token string, given GivenAnswer) CheckAnswerPage {
	page := CheckAnswerPage{Base: ownerBase(s, "Check your answer", report.Machine), Asked: report, Digest: a.Digest, Token: token, Given: given,
		Says: answerWords[given.Answer], Button: answerButtons[given.Answer], Ceiling: a.Offer.Ceiling.String()}
	if approves(given.Answer) {
		page.Chosen = optionsByID(report, given.chosenOptions(report))
	}
	page.Hidden = []Hidden{{"digest", a.Digest}, {"answer", given.Answer}, {"conditions", given.Conditions}, {"reason", given.Reason}}
	for _, f := range offeredFaults(report.Offer, report.Faults, nil) {
		if o := given.Options[f.ID]; o != "" {
			page.Hidden = append(page.Hidden, Hidden{"option-" + f.ID, o})
		}
	}
	return page
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

// pageOwnerAnswer records the owner's answer.
func pageOwnerAnswer(s *Server, r *http.Request) (answer, error) {
	a, report, err := s.asked(r)
	if err != nil {
		return nil, err
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	token := chi.URLParam(r, "token")
	given, errors := givenAnswer(t, report)
	if len(errors) > 0 {
		return htmlAnswer{status: http.StatusUnprocessableEntity, name: "owner", page: s.ownerPage(a, report, token, given, errors)}, nil
	}
	decision := registry.Decision{Digest: t.text("digest"), Answer: given.Answer, Reason: given.Reason}
	if approves(given.Answer) {
		decision.Options = given.chosenOptions(report)
	}
	if given.Answer == "approve-with-conditions" {
		for _, line := range strings.Split(given.Conditions, "\n") {
			if line = strings.TrimSpace(line); line != "" {
				decision.Conditions = append(decision.Conditions, line)
			}
		}
	}
	if _, _, err := s.Workshop.AnswerLink(r.Context(), token, decision); err != nil {
		return nil, err
	}
	return seeOther("/o/" + token), nil
}

func (s *Server) receiptPage(a workshop.Asked, report workshop.AskedReport) ReceiptPage {
	page := ReceiptPage{Base: ownerBase(s, "Your answer is recorded", report.Machine), Asked: report, Answer: *answerReport(a, report), Digest: a.Digest, Expires: a.Offer.Expires}
	page.Says = answerWords[page.Answer.Answer]
	if approves(page.Answer.Answer) {
		page.Chosen = optionsByID(report, page.Answer.Options)
	}
	return page
}

// pageOwnerPhoto shows a picture that belongs to the question.
func pageOwnerPhoto(s *Server, r *http.Request) (answer, error) {
	_, report, err := s.asked(r)
	if err != nil {
		return nil, err
	}
	digest, err := digestParam(r)
	if err != nil {
		return nil, err
	}
	return s.photoAnswer(r, report.Photos, digest, true)
}
