package server

import (
	"net/http"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

// PeoplePage lists who may sign in, and invites others.
type PeoplePage struct {
	Base
	People  []PersonView
	Invites []access.Invite
	Form    Form
	// Made is the address of an invitation that was made just now; it is shown
	// once.
	Made, For string
	Until     time.Time
}

// PersonView is an account with the form that changes it.
type PersonView struct {
	access.Account
	Roles  []RoleView
	Gone   bool
	Change Form
}

// roleWords says what each role may do.
var roleWords = map[access.Role]string{
	access.Keeper:   "invites people and gives roles, and whatever a mechanic does; always for the whole registry",
	access.Mechanic: "records surveys, work and checks, and asks the owner",
	access.Second:   "reads, and signs checks and gates",
	access.Owner:    "reads the private edition; decides by a link of their own",
	access.CoOwner:  "the same, for whoever owns a share",
	access.Reader:   "reads the private edition",
}

func roleChoices() []Choice {
	var out []Choice
	for _, r := range access.Roles() {
		out = append(out, Choice{string(r), upperFirst(plainWords(string(r))), roleWords[r]})
	}
	return out
}

// everyMachine is the choice of all machines; nobody is given them by leaving a
// field empty.
const everyMachine = "*"

func (s *Server) inviteForm(r *http.Request) (Form, error) {
	machine, _, err := s.machineField(r, Choice{everyMachine, "Every machine", ""})
	if err != nil {
		return Form{}, err
	}
	if machine.Label = "On which machine"; machine.Kind == "select" {
		machine.Hint = "A keeper is always one of every machine."
	} else {
		machine.Hint = "Its id, as the list of machines shows it, or a star for every machine. A keeper is always one of every machine."
	}
	return Form{Action: "/people", Button: "Invite", Key: newKey(), Parts: []FormPart{{Fields: []Field{
		{Name: "name", Label: "Name to sign in with", Kind: "text", Pointers: []string{"/name"}},
		{Name: "role", Label: "Role", Kind: "radios", Choices: roleChoices(), Pointers: []string{"/role"}},
		machine,
		{Name: "person", Label: "Whom they stand for in its record", Hint: "The id of a person there, such as mechanic. They then record under that person alone. Left empty, their account itself is recorded beside whoever is named.", Kind: "text", Pointers: []string{"/person"}}}}}}, nil
}

func changeForm(a access.Account) Form {
	var lines []string
	for _, g := range a.Grants {
		lines = append(lines, g.String())
	}
	return Form{Action: "/people/change", Button: "Set these roles", Key: newKey(), Hidden: []Hidden{{"name", a.Name}, {"act", "roles"}}, Parts: []FormPart{{Fields: []Field{
		{Name: "roles", Of: a.ID, Label: "Roles, one a line", Kind: "area", Value: strings.Join(lines, "\n"), Pointers: []string{"/role"},
			Hint: "A role; then @ and a machine, or every machine without; then = and a person of its record. Such as mechanic, or owner@drover=owner."}}}}}
}

func (s *Server) peoplePage(r *http.Request) (*PeoplePage, error) {
	if !s.accounts() {
		return nil, noAccounts()
	}
	state, err := s.People.Store.Read()
	if err != nil {
		return nil, err
	}
	page := &PeoplePage{Base: Base{Title: "People", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}}
	for _, a := range state.Accounts {
		page.People = append(page.People, PersonView{a, roleViews(a.Grants), !a.Revoked.IsZero(), changeForm(a)})
	}
	for _, i := range state.Invites {
		if s.Now().Before(i.Expires) {
			page.Invites = append(page.Invites, i)
		}
	}
	page.Form, err = s.inviteForm(r)
	return page, err
}

func pagePeople(s *Server, r *http.Request) (answer, error) {
	page, err := s.peoplePage(r)
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "people", page: page}, nil
}

func pagePeoplePost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	if !s.accounts() {
		return nil, noAccounts()
	}
	g := access.Grant{Role: access.Role(t.text("role")), Machine: t.text("machine"), Person: t.text("person")}
	switch {
	case g.Machine == everyMachine || g.Role == access.Keeper:
		g.Machine = ""
	case g.Machine == "":
		t.fault("/machine", "", "It is not said on which machine", "Choose one, or every machine.")
	default:
		if _, err := s.headOf(r, g.Machine); codeOf(err) == registry.CodeNotFound {
			t.fault("/machine", quoted(g.Machine), "There is no such machine", "Look at its id in the list of machines.")
		} else if err != nil {
			return nil, err
		}
	}
	secret, err := "", t.err()
	if err == nil {
		secret, err = s.People.Invite(t.text("name"), []access.Grant{g})
	}
	return s.peopleAnswer(r, t, "invited", secret, access.InviteFor, err)
}

// pagePeopleChange changes one account: its roles, a new way in, or its end.
func pagePeopleChange(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	if !s.accounts() {
		return nil, noAccounts()
	}
	secret, name := "", t.text("name")
	switch t.text("act") {
	case "roles":
		var grants []access.Grant
		for _, line := range t.lines("roles") {
			g, parseErr := access.ParseGrant(line)
			if parseErr != nil {
				err = parseErr
			}
			grants = append(grants, g)
		}
		if err == nil {
			err = s.People.Regrant(name, grants)
		}
	case "reset":
		secret, err = s.People.Reset(name)
	case "revoke":
		err = s.People.Revoke(name)
	default:
		err = registry.Refuse(registry.CodeInvalid, "Use the buttons of the page.", "It is not said what to change")
	}
	return s.peopleAnswer(r, t, "people-"+t.text("act"), secret, access.ResetFor, err)
}

func (s *Server) peopleAnswer(r *http.Request, t *typed, what, secret string, within time.Duration, wrong error) (answer, error) {
	page, err := s.peoplePage(r)
	if err != nil {
		return nil, err
	}
	if wrong != nil {
		if !mendable(wrong) && codeOf(wrong) != registry.CodeNotFound {
			return nil, wrong
		}
		page.Form.fill(t.Values)
		form := &page.Form
		for i := range page.People {
			if t.text("act") != "" && page.People[i].Name == t.text("name") {
				form = &page.People[i].Change
				form.fill(t.Values)
			}
		}
		form.refuse(wrong)
		page.Wrong = true
		return htmlAnswer{status: rowOf(codeOf(wrong)).status, name: "people", page: page}, nil
	}
	s.security(r, what)
	page.Notice = "Done."
	if secret != "" {
		page.Notice, page.Made, page.For, page.Until = "", s.base(r)+"/join/"+secret, t.text("name"), s.Now().Add(within)
	}
	return htmlAnswer{name: "people", page: page}, nil
}

// ReadersPage lists the links by which a machine can be read, and makes and
// ends them.
type ReadersPage struct {
	Base
	Links []ReaderView
	Form  Form
	Made  string
}

// ReaderView is a reading link with whether it works.
type ReaderView struct {
	access.Link
	Works bool
	End   Form
}

func (s *Server) readersPage(r *http.Request) (*ReadersPage, error) {
	if !s.accounts() {
		return nil, noAccounts()
	}
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	state, err := s.People.Store.Read()
	if err != nil {
		return nil, err
	}
	at := "/machines/" + report.Machine.ID + "/readers"
	page := &ReadersPage{Base: s.basis(report, "", "Links to read with")}
	for _, l := range state.Links {
		if l.Machine == report.Machine.ID {
			page.Links = append(page.Links, ReaderView{l, l.Revoked.IsZero() && s.Now().Before(l.Expires),
				Form{Action: at + "/end", Button: "End this link", Key: newKey(), Hidden: []Hidden{{"link", l.ID}}, Parts: []FormPart{{}}}})
		}
	}
	page.Form = Form{Action: at, Button: "Make a link", Key: newKey(), Parts: []FormPart{{Fields: []Field{
		{Name: "about", Label: "For whom or what", Kind: "text", Pointers: []string{"/name"}},
		{Name: "edition", Label: "What it shows", Kind: "radios", Value: "public", Choices: []Choice{{"public", "The public edition", "names, places and numbers masked; withheld pictures left out"}, {"private", "The private edition", "everything on record"}}},
		{Name: "expires", Label: "Until when it works", Kind: "date", Value: s.Now().Add(access.LinkFor).UTC().Format(time.DateOnly), Pointers: []string{"/expires"}}}}}}
	return page, nil
}

func pageReaders(s *Server, r *http.Request) (answer, error) {
	page, err := s.readersPage(r)
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "readers", page: page}, nil
}

func pageReadersPost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	page, err := s.readersPage(r)
	if err != nil {
		return nil, err
	}
	day, parseErr := time.Parse(time.DateOnly, t.text("expires"))
	if parseErr != nil {
		t.fault("/expires", t.text("expires"), "This is not a day", "Write year, month and day, such as 2026-03-14.")
	}
	secret, err := "", t.err()
	if err == nil {
		secret, err = s.People.NewLink(chi.URLParam(r, "id"), t.text("about"), t.text("edition") != "private", day.Add(24*time.Hour-time.Second))
	}
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		page.Form.fill(t.Values)
		page.Form.refuse(err)
		page.Wrong = true
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "readers", page: page}, nil
	}
	s.security(r, "reading-link-made")
	if page, err = s.readersPage(r); err != nil {
		return nil, err
	}
	page.Made = s.base(r) + "/r/" + secret
	return htmlAnswer{name: "readers", page: page}, nil
}

func pageReaderEnd(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	page, err := s.readersPage(r)
	if err != nil {
		return nil, err
	}
	for _, l := range page.Links {
		if l.ID == t.text("link") && l.Works {
			if err := s.People.Withdraw(l.ID); err != nil {
				return nil, err
			}
			s.security(r, "reading-link-ended", "link", l.ID)
			return seeOther("/machines/" + chi.URLParam(r, "id") + "/readers"), nil
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Choose one of the list.", "There is no such link")
}

// ReadPage says what a reading link opens.
type ReadPage struct {
	Base
	Link   access.Link
	Action string
}

func (s *Server) readingLink(r *http.Request) (access.Link, error) {
	if s.People != nil {
		if who, link, err := s.People.RecogniseLink(chi.URLParam(r, "token")); who != nil || err != nil {
			return link, err
		}
	}
	return access.Link{}, registry.Refuse(registry.CodeExpired, "Ask whoever gave it to you for a new one.", "This link has run out, or was taken back")
}

// pageRead shows what a link is for; opening it takes a button, so that a
// preview of the link in a chat changes nothing in anybody's browser.
func pageRead(s *Server, r *http.Request) (answer, error) {
	link, err := s.readingLink(r)
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "read", page: ReadPage{Base{Title: "A machine to read about", Version: s.Version, Owner: true}, link, r.URL.Path}}, nil
}

// pageReadOpen gives the browser the link's secret as a cookie, so that it is in
// no further address.
func pageReadOpen(s *Server, r *http.Request) (answer, error) {
	link, err := s.readingLink(r)
	if err != nil {
		return nil, err
	}
	s.security(r, "reading-link-opened", "link", link.ID)
	c := s.cookie(r, readingCookie, chi.URLParam(r, "token"))
	c.MaxAge = int(link.Expires.Sub(s.Now()).Seconds())
	return headed{answer: seeOther("/machines/" + link.Machine), cookies: []*http.Cookie{c}}, nil
}
