package server

import (
	"net/http"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ProposalPage shows a proposal or change request and what became of it.
type ProposalPage struct {
	Base
	Report *workshop.Report
	Offer  workshop.OfferReport
	Faults []FaultView
	Names  names
	Cost   *CostView // nil without a forecast
	Value  *ValueView
	// Replies are the forms for the owner's questions, by question.
	Replies map[string]Form
}

// AskedPage shows a new proposal's link, once.
type AskedPage struct {
	Base
	Proposed workshop.Proposed
	Link     string
	To       string
	Back     string // address of the machine
	Cost     *CostView
	// Repeated says that it had been recorded before: its link was shown then.
	Repeated bool
}

func pageProposal(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	id := chi.URLParam(r, "proposal")
	for _, o := range report.Offers {
		if o.ID == id {
			return htmlAnswer{name: "proposal", page: s.proposalPage(report, o)}, nil
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "The machine's page lists them.", "There is no proposal %s", quoted(id))
}

func (s *Server) proposalPage(report *workshop.Report, o workshop.OfferReport) ProposalPage {
	page := ProposalPage{Base: s.basis(report, "proposals", proposalTitle(o)), Report: report, Offer: o, Names: namesOf(report)}
	known := map[string]workshop.FaultReport{}
	for _, f := range report.Faults {
		known[f.ID] = f
	}
	page.Faults = offeredFaults(o, known, page.Names)
	page.Replies = map[string]Form{}
	for _, q := range o.Answers {
		if q.Answer == "ask" {
			page.Replies[q.ID] = replyForm(report, o.ID, q)
		}
	}
	page.Cost = costView(o.Cost, o.Offer.Ceiling)
	page.Value = valueView(o.Value, o.Offer.Ceiling.Currency, valueTitles)
	return page
}

// valueTitles are the words of the plan that an offer values.
var valueTitles = map[string]string{"recommended": "what is recommended, together"}

func proposalTitle(o workshop.OfferReport) string {
	if o.Kind == "change-request" {
		return "Change request of " + dayWords(o.Recorded)
	}
	return "Proposal of " + dayWords(o.Recorded)
}

// offeredFaults gathers an offer's options under their faults, as they were
// shown.
func offeredFaults(o workshop.OfferReport, known map[string]workshop.FaultReport, n names) []FaultView {
	views := optionViews(o.Options, o.Recommended, n)
	var out []FaultView
	at := map[string]int{}
	for _, v := range views {
		i, ok := at[v.Fault]
		if !ok {
			i = len(out)
			at[v.Fault] = i
			f, there := known[v.Fault]
			if !there {
				f = workshop.FaultReport{ID: v.Fault, Complaint: v.Fault}
			}
			out = append(out, FaultView{FaultReport: f})
			for _, c := range f.Components {
				if out[i].Places != "" {
					out[i].Places += ", "
				}
				out[i].Places += n.Of(c)
			}
		}
		out[i].Options = append(out[i].Options, v)
		out[i].Leave = out[i].Leave || v.Treatment == "leave"
	}
	return out
}

// proposeForm asks for everything that a proposal needs.
func (s *Server) proposeForm(report *workshop.Report) Form {
	form := Form{Action: "/machines/" + report.Machine.ID + "/propose", Button: "Put this to the owner", Key: newKey(),
		Intro: "The options are frozen as they stand, with their effects weighed now. Changing anything later makes another offer, which this approval does not cover."}
	worked := map[string]bool{}
	for _, w := range report.Work {
		worked[w.Option] = worked[w.Option] || !w.Undone
	}
	for _, f := range report.Faults {
		part := FormPart{Title: upperFirst(f.Complaint)}
		offer := Field{Name: "options", Of: f.ID, Label: "Options to offer", Hint: "Offer the rivals too, and “leave” among them.", Kind: "checks"}
		recommend := Field{Name: "recommended-" + f.ID, Label: "Which of them you recommend", Kind: "radios", Pointers: []string{"/offer/recommended"}}
		for _, o := range f.Options {
			hint := "can be undone"
			switch {
			case worked[o.ID] && o.Reversible:
				hint = "can be undone; work on it is on record already"
			case worked[o.ID]:
				hint = "cannot be undone; work on it is on record already"
			case !o.Reversible:
				hint = "cannot be undone"
			}
			offer.Choices = append(offer.Choices, Choice{o.ID, o.Title, hint})
			recommend.Choices = append(recommend.Choices, Choice{o.ID, o.Title, ""})
		}
		if len(offer.Choices) == 0 {
			continue
		}
		recommend.Choices = append(recommend.Choices, Choice{"", "None of them", ""})
		part.Fields = []Field{offer, recommend}
		form.Parts = append(form.Parts, part)
	}
	owners := personChoices(report, "owner", "executor")
	to := Field{Name: "to", Label: "To whom", Kind: "select", Choices: owners, Pointers: []string{"/to"}}
	if len(owners) == 1 {
		to.Value = owners[0].Value
	}
	form.Parts = append(form.Parts, FormPart{Title: "The offer", Fields: []Field{
		to,
		{Name: "ceiling", Label: "Ceiling: what may be spent in all", Kind: "money", Hint: "Left empty, the forecast of what you recommend sets it: what is enough with a chance of 80 %. 0 when nothing may be spent. More than this is a new question.", Pointers: []string{"/offer/ceiling"}},
		{Name: "expires", Label: "Until when it stands", Kind: "date", Value: s.Now().AddDate(0, 0, 14).UTC().Format(time.DateOnly), Pointers: []string{"/offer/expires"}},
		{Name: "do_nothing", Label: "What happens if nothing is done", Kind: "area", Pointers: []string{"/offer/do_nothing"}},
		byField(report, "Who proposes"),
	}})
	form.Parts = append(form.Parts, FormPart{Title: "What it does to the value", Hint: "Left empty, the owner is shown nothing of it. It needs comparable sales on record to say much.", Fields: valueFields("value_")})
	var amends []Choice
	for _, o := range report.Offers {
		if !o.Superseded && (o.Standing == "approve" || o.Standing == "approve-with-conditions") {
			amends = append(amends, Choice{o.ID, proposalTitle(o), ""})
		}
	}
	if len(amends) > 0 {
		form.Parts = append(form.Parts, FormPart{Title: "If something was found during work", Hint: "“While we are in there” is a question of its own.", Fields: []Field{
			{Name: "amends", Label: "Which approved proposal it goes beyond", Kind: "select", Choices: amends, Pointers: []string{"/amends"}},
			{Name: "found", Label: "What was found", Kind: "area", Pointers: []string{"/found"}},
		}})
	}
	var standing []Choice
	for _, o := range report.Offers {
		if !o.Superseded && o.Standing == "" {
			standing = append(standing, Choice{o.ID, proposalTitle(o), ""})
		}
	}
	if len(standing) > 0 {
		form.Parts = append(form.Parts, FormPart{Title: "If it replaces an earlier one", Fields: []Field{
			{Name: "supersedes", Label: "Which unanswered one it replaces", Hint: "The link to that one stops working.", Kind: "select", Choices: standing, Pointers: []string{"/supersedes"}},
		}})
	}
	return form
}

func pageProposeForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	form := s.proposeForm(report)
	if len(report.Faults) == 0 {
		form.Errors = append(form.Errors, FormError{"", "There is no fault with options on record yet. Record them first."})
	}
	// A link from the pages of options and plans names what to offer.
	options, recommended := r.URL.Query()["options"], r.URL.Query()["recommended"]
	for i := range form.Parts {
		for j := range form.Parts[i].Fields {
			f := &form.Parts[i].Fields[j]
			if f.Name == "options" {
				f.Values = options
			}
			for _, c := range f.Choices {
				if strings.HasPrefix(f.Name, "recommended-") && contains(recommended, c.Value) {
					f.Value = c.Value
				}
			}
		}
	}
	return s.formAnswer(report, "proposals", "Make a proposal", form, 0), nil
}

func pagePropose(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	form := s.proposeForm(report)
	form.fill(t.Values)
	in := workshop.ProposeInput{To: t.text("to"), By: t.text("by"), Options: t.list("options"), Recommended: []string{}, DoNothing: t.text("do_nothing"),
		Amends: t.text("amends"), Found: t.text("found"), Supersedes: t.text("supersedes")}
	for _, f := range report.Faults {
		if chosen := t.text("recommended-" + f.ID); chosen != "" {
			in.Recommended = append(in.Recommended, chosen)
		}
	}
	in.Ceiling = t.money("ceiling", "/offer/ceiling")
	if day, err := time.Parse(time.DateOnly, t.text("expires")); err == nil {
		in.Expires = day.Add(24*time.Hour - time.Second)
	} else {
		t.fault("/offer/expires", t.text("expires"), "This is not a day", "Write year, month and day, such as 2026-03-14.")
	}
	if len(in.Options) == 0 {
		t.fault("/offer/options", "", "Nothing is offered", "Choose at least one option, and “leave” beside it.")
	}
	if q := readValueFields(t, "value_"); q.Distance != nil {
		in.Value = &q
	}
	err = t.err()
	if err == nil {
		err = movedOn(report, t.seen())
	}
	var made workshop.Proposed
	if err == nil {
		made, err = s.Workshop.Propose(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: in.By, Expect: t.seen(), Key: t.text("key")}, in)
	}
	if err != nil {
		return s.formAgain(report, "proposals", "Make a proposal", form, err)
	}
	page := AskedPage{Base: s.basis(report, "proposals", "The owner is asked"), Proposed: made, Back: "/machines/" + report.Machine.ID, Repeated: made.Receipt.Repeated}
	if made.Token != "" {
		page.Title, page.Link = "Send this link to the owner", s.ownerLink(r, made.Token)
	}
	if made.Forecast != nil {
		page.Cost = costView(&made.Forecast.Result, made.Ceiling)
	}
	for _, p := range report.People {
		if p.ID == in.To {
			page.To = p.Name
		}
	}
	return htmlAnswer{name: "asked", page: page}, nil
}

// ownerLink is the whole address of the owner's page.
func (s *Server) ownerLink(r *http.Request, token string) string {
	return s.base(r) + "/o/" + token
}
