package server

import (
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// LinksPage lists the links by which owners decide on a machine, and makes and
// ends them.
type LinksPage struct {
	Base
	Links    []LinkView
	Passkeys []PasskeyView
	Form     Form
	// Made is the address of a link that was made just now; it is shown once.
	Made  string
	Given workshop.GivenLink
}

// LinkView is a link with whether it works, and the form that ends it.
type LinkView struct {
	workshop.LinkReport
	Works bool
	End   Form
}

// PasskeyView is a passkey of an owner, and the form that withdraws it.
type PasskeyView struct {
	workshop.PasskeyReport
	End Form
}

// endForm withdraws a link or a passkey.
func endForm(report *workshop.Report, id, button, label, why string) Form {
	return Form{Action: "/machines/" + report.Machine.ID + "/links/end", Button: button, Key: newKey(), Version: itoa(report.Version), Hidden: []Hidden{{"link", id}},
		Parts: []FormPart{{Fields: []Field{{Name: "why", Of: id, Label: label, Value: why}}}}}
}

func (s *Server) linksForm(report *workshop.Report) Form {
	owners := personChoices(report, "owner", "executor")
	to := Field{Name: "to", Label: "For whom", Kind: "select", Choices: owners, Pointers: []string{"/to"}}
	if len(owners) == 1 {
		to.Value = owners[0].Value
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/links", Button: "Make a link", Key: newKey(),
		Intro: "Whatever waits for that person appears at it: proposals, change requests, your replies. A new link ends the one before.",
		Parts: []FormPart{{Fields: []Field{to,
			{Name: "expires", Label: "Until when it works", Kind: "date", Value: s.Now().AddDate(0, 0, 14).UTC().Format(time.DateOnly), Pointers: []string{"/link/expires"}},
			byField(report, "Who makes it")}}}}
}

func (s *Server) linksPage(report *workshop.Report, form Form) LinksPage {
	form.Version = itoa(report.Version)
	page := LinksPage{Base: s.basis(report, "proposals", "Owners’ links"), Form: form}
	page.Wrong = len(form.Summary()) > 0
	for _, l := range report.Links {
		page.Links = append(page.Links, LinkView{l, l.Works(s.Now()), endForm(report, l.ID, "End this link", "Why this link is ended", "no longer needed")})
	}
	for _, p := range report.Passkeys {
		page.Passkeys = append(page.Passkeys, PasskeyView{p, endForm(report, p.ID, "Withdraw this passkey", "Why this passkey is withdrawn", "the device is lost")})
	}
	return page
}

func pageLinks(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "links", page: s.linksPage(report, s.linksForm(report))}, nil
}

func pageLinksPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	form := s.linksForm(report)
	form.fill(t.Values)
	day, parseErr := time.Parse(time.DateOnly, t.text("expires"))
	if parseErr != nil {
		t.fault("/link/expires", t.text("expires"), "This is not a day", "Write year, month and day, such as 2026-03-14.")
	}
	var given workshop.GivenLink
	if err = t.err(); err == nil {
		given, err = s.Workshop.GiveLink(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")},
			workshop.LinkInput{To: t.text("to"), By: t.text("by"), Expires: day.Add(24*time.Hour - time.Second)})
	}
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		form.refuse(err)
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "links", page: s.linksPage(report, form)}, nil
	}
	if report, err = s.reportOf(r, report.Machine.ID, workshop.ReportOptions{}); err != nil {
		return nil, err
	}
	page := s.linksPage(report, s.linksForm(report))
	if !given.Receipt.Repeated {
		page.Made, page.Given = s.ownerLink(r, given.Token), given
	}
	return htmlAnswer{name: "links", page: page}, nil
}

// pageLinkEnd takes a link back, or withdraws a passkey.
func pageLinkEnd(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, l := range report.Links {
		ids = append(ids, l.ID)
	}
	for _, p := range report.Passkeys {
		ids = append(ids, p.ID)
	}
	if id := t.text("link"); contains(ids, id) {
		return s.recordForm(r, report, t, "proposals", "Owners’ links", s.linksForm(report), "/machines/"+report.Machine.ID+"/links",
			&registry.Withdrawal{Record: id, Why: t.text("why"), By: byField(report, "").Value})
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Choose one of the list.", "There is no such link")
}

// replyForm asks for the reply to a question of the owner.
func replyForm(report *workshop.Report, offer string, q workshop.AnswerReport) Form {
	by := byField(report, "Who replies")
	by.Of = q.ID
	return Form{Action: "/machines/" + report.Machine.ID + "/proposals/" + offer + "/reply", Button: "Send this reply", Key: newKey(), Version: itoa(report.Version), Hidden: []Hidden{{"question", q.ID}},
		Parts: []FormPart{{Fields: []Field{{Name: "says", Of: q.ID, Label: "Your reply", Kind: "area", Hint: "It appears at the owner’s link, and stays in the record.", Pointers: []string{"/says"}}, by}}}}
}

// pageReply records a reply to a question of the owner.
func pageReply(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	id := chi.URLParam(r, "proposal")
	for _, o := range report.Offers {
		for _, q := range o.Answers {
			if o.ID == id && q.ID == t.text("question") {
				return s.recordForm(r, report, t, "proposals", "Reply to a question", replyForm(report, id, q), "/machines/"+report.Machine.ID+"/proposals/"+id,
					&registry.Reply{Question: q.ID, Says: t.text("says"), By: t.text("by")})
			}
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Open the proposal again.", "There is no such question")
}
