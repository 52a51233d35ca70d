package server

import (
	_ "embed"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

// SignInPage lets somebody in: with a name and a password, with a passkey, by
// an invitation, or with the code of the first start.
type SignInPage struct {
	Base
	Form Form
	// Carried are the fields of a form that was sent without being signed in.
	Carried []Hidden
	// Files is how many files that form had; they cannot be kept.
	Files     int
	Multipart bool
	Expired   bool // something was sent, and nobody was signed in
	To        string
	Passkeys  bool   // a browser takes them here
	Ask       string // what the script asks for: sign-in or new
	Off       bool   // there are no accounts
	Says      string // what the page is for
	Invite    string
	As        string // the name that an invitation is for
}

// keptPrefix begins the names of carried fields.
const keptPrefix = "kept."

// Kept are the hidden fields with which a page carries what was typed.
func (p SignInPage) Kept() []Hidden {
	out := []Hidden{{"to", p.To}}
	for _, h := range p.Carried {
		out = append(out, Hidden{keptPrefix + h.Name, h.Value})
	}
	if p.Multipart {
		out = append(out, Hidden{"multipart", "1"}, Hidden{"files", itoa(p.Files)})
	}
	return out
}

// place is where the browser is, for passkeys.
func (s *Server) place(r *http.Request) access.Place {
	scheme := "http"
	if infoOf(r).https {
		scheme = "https"
	}
	return access.Place{Host: hostOf(r.Host), Origin: scheme + "://" + strings.ToLower(r.Host)}
}

func (s *Server) takesPasskeys(r *http.Request) bool {
	return s.arrivalOf(r).Secure && s.place(r).TakesPasskeys()
}

func (s *Server) signInPage(r *http.Request, to string) SignInPage {
	p := SignInPage{Base: Base{Title: "Sign in", Version: s.Version}, To: localPath(to), Passkeys: s.takesPasskeys(r), Ask: "sign-in", Off: !s.accounts()}
	p.Form = Form{Action: "/sign-in", Button: "Sign in", Parts: []FormPart{{Fields: []Field{
		{Name: "name", Label: "Your name here", Kind: "text", Auto: "username", Pointers: []string{"/name"}},
		{Name: "password", Label: "Password", Kind: "password", Auto: "current-password", Hint: "A recovery code works in its place, once.", Pointers: []string{"/password"}}}}}}
	return p
}

// carriedOf takes the carried fields out of a form.
func (p *SignInPage) carriedOf(t *typed) {
	for _, name := range slices.Sorted(maps.Keys(t.Values)) {
		if kept, ok := strings.CutPrefix(name, keptPrefix); ok {
			for _, v := range t.Values[name] {
				p.Carried = append(p.Carried, Hidden{kept, v})
			}
		}
	}
	p.To, p.Multipart = localPath(t.text("to")), t.text("multipart") == "1"
	p.Files = int(t.number("files", "/files", "files"))
	p.Expired = len(p.Carried) > 0
}

func pageSignIn(s *Server, r *http.Request) (answer, error) {
	if s.People != nil && s.People.NeedsSetUp() {
		return seeOther("/set-up"), nil
	}
	return htmlAnswer{name: "sign-in", page: s.signInPage(r, r.URL.Query().Get("to"))}, nil
}

func pageSignInPost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	if !s.accounts() {
		return nil, noAccounts()
	}
	page := s.signInPage(r, "/")
	page.carriedOf(t)
	secret, err := s.People.SignIn(r.Context(), t.text("name"), t.Get("password"), addressOf(r), r.UserAgent())
	if err != nil {
		s.security(r, "sign-in-failed", "code", string(codeOf(err)))
		return s.refusedSignIn(page, t, err)
	}
	return s.signedIn(r, secret, page, "password")
}

// refusedSignIn shows the form again, with what is wrong.
func (s *Server) refusedSignIn(page SignInPage, t *typed, err error) (answer, error) {
	if code := codeOf(err); !mendable(err) && code != access.CodeWrong && code != access.CodeTooMany {
		return nil, err
	}
	page.Form.fill(t.Values)
	page.Form.refuse(err)
	page.Wrong = true
	a := headed{answer: htmlAnswer{status: rowOf(codeOf(err)).status, name: "sign-in", page: page}}
	var wait *access.TooMany
	if errors.As(err, &wait) {
		a.header = map[string]string{"Retry-After": itoa(wait.Seconds())}
	}
	return a, nil
}

// signedIn gives the browser its session, ends the one that it had, and goes on
// to where somebody wanted to go.
func (s *Server) signedIn(r *http.Request, secret string, page SignInPage, how string) (answer, error) {
	old := infoOf(r).who
	who, err := s.People.Recognise(secret)
	if err != nil {
		return nil, err
	}
	if who == nil {
		return nil, registry.Refuse(codeSignIn, "Sign in again.", "The session ended before it began")
	}
	if old != nil && old.Session != "" {
		if err := s.People.EndSession(old.Account, old.Session); err != nil {
			return nil, err
		}
	}
	infoOf(r).who = who
	s.security(r, "signed-in", "how", how)
	return headed{answer: onward(s, page), cookies: []*http.Cookie{s.cookie(r, sessionCookie, secret)}}, nil
}

// onward is the page from which a kept form is sent, or the address that was
// wanted.
func onward(s *Server, page SignInPage) answer {
	if len(page.Carried) == 0 {
		return seeOther(page.To)
	}
	page.Base = Base{Title: "Send what you typed", Version: s.Version}
	return htmlAnswer{name: "onward", page: page}
}

func pageOnward(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	var page SignInPage
	page.carriedOf(t)
	return onward(s, page), nil
}

// headed is an answer with more headers and with cookies.
type headed struct {
	answer
	header  map[string]string
	cookies []*http.Cookie
}

func (a headed) write(s *Server, w http.ResponseWriter, r *http.Request) error {
	for k, v := range a.header {
		w.Header().Set(k, v)
	}
	for _, c := range a.cookies {
		http.SetCookie(w, c)
	}
	return a.answer.write(s, w, r)
}

func noAccounts() error {
	return registry.Refuse(registry.CodeNotFound, "Start it with \"asfound serve --accounts\" to have accounts.", "This registry runs in single-user mode, without accounts")
}

// me is who is signed in.
func (s *Server) me(r *http.Request) (*access.Who, error) {
	if !s.accounts() {
		return nil, noAccounts()
	}
	if who := infoOf(r).who; who != nil && who.Session != "" {
		return who, nil
	}
	return nil, registry.Refuse(codeSignIn, "Sign in.", "Nobody is signed in")
}

func pageSignOut(s *Server, r *http.Request) (answer, error) {
	who, err := s.me(r)
	if err != nil {
		return nil, err
	}
	if err := s.People.EndSession(who.Account, who.Session); err != nil {
		return nil, err
	}
	s.security(r, "signed-out")
	return headed{answer: seeOther("/sign-in"), header: map[string]string{"Clear-Site-Data": `"cache"`}, cookies: []*http.Cookie{s.cookie(r, sessionCookie, "")}}, nil
}

func newPasswordField() Field {
	return Field{Name: "password", Label: "New password", Kind: "password", Auto: "new-password", Pointers: []string{"/password"},
		Hint: "8 characters at least; 15 or more are better. Four words that have nothing to do with each other are easy to keep. Anything may stand in it, and it does not run out."}
}

func (s *Server) setUpPage(r *http.Request) SignInPage {
	p := SignInPage{Base: Base{Title: "Set the registry up", Version: s.Version}, To: "/account", Passkeys: s.takesPasskeys(r), Ask: "new",
		Says: "You become the keeper: you see every machine, invite people and give them their roles. The code was printed in the terminal in which the program was started; it works once."}
	p.Form = Form{Action: "/set-up", Button: "Become the keeper", Parts: []FormPart{{Fields: []Field{
		{Name: "code", Label: "Set-up code", Kind: "text", Auto: "off", Pointers: []string{"/code"}},
		{Name: "name", Label: "Your name here", Kind: "text", Auto: "username", Pointers: []string{"/name"}},
		newPasswordField()}}}}
	return p
}

func pageSetUp(s *Server, r *http.Request) (answer, error) {
	if s.People == nil || !s.People.NeedsSetUp() {
		return seeOther("/sign-in"), nil
	}
	return htmlAnswer{name: "sign-in", page: s.setUpPage(r)}, nil
}

func pageSetUpPost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	if s.People == nil || !s.People.NeedsSetUp() {
		return seeOther("/sign-in"), nil
	}
	page := s.setUpPage(r)
	secret, err := s.People.SetUp(r.Context(), t.text("code"), t.text("name"), t.Get("password"), r.UserAgent())
	if err != nil {
		s.security(r, "set-up-failed", "code", string(codeOf(err)))
		return s.refusedSignIn(page, t, err)
	}
	return s.signedIn(r, secret, page, "set-up")
}

func (s *Server) joinPage(r *http.Request, i access.Invite) SignInPage {
	p := SignInPage{Base: Base{Title: "Join the registry", Version: s.Version}, Invite: chi.URLParam(r, "token"), As: i.Name, To: "/account", Passkeys: s.takesPasskeys(r), Ask: "new",
		Says: "The keeper invited you. Choose how you sign in from now on; this page works once."}
	if i.Account != "" {
		p.Title, p.Says = "A new way in", "Choose how you sign in from now on. Whoever is signed in under your name now is signed out by it."
	}
	p.Form = Form{Action: "/join/" + chi.URLParam(r, "token"), Button: "Sign in with this password", Hidden: []Hidden{{"name", i.Name}}, Parts: []FormPart{{Fields: []Field{
		newPasswordField()}}}}
	return p
}

func pageJoin(s *Server, r *http.Request) (answer, error) {
	if s.People == nil {
		return nil, noAccounts()
	}
	i, err := s.People.Invited(chi.URLParam(r, "token"))
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "sign-in", page: s.joinPage(r, i)}, nil
}

func pageJoinPost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	if s.People == nil {
		return nil, noAccounts()
	}
	token := chi.URLParam(r, "token")
	i, err := s.People.Invited(token)
	if err != nil {
		s.security(r, "invitation-refused")
		return nil, err
	}
	page := s.joinPage(r, i)
	secret, err := s.People.Join(r.Context(), token, t.Get("password"), r.UserAgent())
	if err != nil {
		return s.refusedSignIn(page, t, err)
	}
	return s.signedIn(r, secret, page, "invitation")
}

// passkeyRequest is what the script on the pages sends.
type passkeyRequest struct {
	Ceremony string          `json:"ceremony"`
	Response json.RawMessage `json:"response"`
	Invite   string          `json:"invite"`
	Code     string          `json:"code"`
	Name     string          `json:"name"`
}

func (s *Server) readPasskey(r *http.Request) (q passkeyRequest, response []byte, err error) {
	if !s.accounts() {
		return q, nil, noAccounts()
	}
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return q, nil, readFailed(err)
	}
	err = decodeStrict(body, &q)
	return q, q.Response, err
}

// passkeyAnswer tells the script what happened; a refusal in words that it
// shows.
func (s *Server) passkeyAnswer(r *http.Request, value any, err error) (answer, error) {
	if err != nil {
		s.security(r, "passkey-refused", "code", string(codeOf(err)))
		p := problemOf(err, infoOf(r).id)
		for _, f := range p.Errors {
			p.Detail, p.Fix = f.Detail, f.Fix
		}
		l := languageOf(r)
		return jsonAnswer{status: p.Status, value: map[string]string{"says": l.Text(sentence(p.Detail, p.Fix))}, secret: true}, nil
	}
	return jsonAnswer{value: value, secret: true}, nil
}

func passkeyAsk(s *Server, r *http.Request) (answer, error) {
	_, _, err := s.readPasskey(r)
	if err != nil {
		return s.passkeyAnswer(r, nil, err)
	}
	asked, err := s.People.AskPasskey(s.place(r))
	return s.passkeyAnswer(r, asked, err)
}

func passkeySignIn(s *Server, r *http.Request) (answer, error) {
	q, response, err := s.readPasskey(r)
	if err != nil {
		return s.passkeyAnswer(r, nil, err)
	}
	secret, err := s.People.SignInByPasskey(q.Ceremony, response, r.UserAgent())
	return s.passkeyDone(r, secret, err)
}

func passkeyAskNew(s *Server, r *http.Request) (answer, error) {
	q, _, err := s.readPasskey(r)
	if err != nil {
		return s.passkeyAnswer(r, nil, err)
	}
	var who *access.Who
	if q.Invite == "" && q.Code == "" && !s.People.NeedsSetUp() {
		if who, err = s.me(r); err != nil {
			return s.passkeyAnswer(r, nil, err)
		}
	}
	asked, err := s.People.AskNewPasskey(s.place(r), who, q.Invite, q.Code, q.Name)
	return s.passkeyAnswer(r, asked, err)
}

func passkeyMake(s *Server, r *http.Request) (answer, error) {
	q, response, err := s.readPasskey(r)
	if err != nil {
		return s.passkeyAnswer(r, nil, err)
	}
	who, _ := s.me(r)
	secret, err := s.People.MakePasskey(who, q.Ceremony, response, s.Now().UTC().Format("2 January 2006, 15:04"), r.UserAgent())
	if err == nil && secret == "" {
		s.security(r, "passkey-made")
		return s.passkeyAnswer(r, map[string]bool{"done": true}, nil)
	}
	return s.passkeyDone(r, secret, err)
}

func (s *Server) passkeyDone(r *http.Request, secret string, err error) (answer, error) {
	if err != nil {
		return s.passkeyAnswer(r, nil, err)
	}
	in, err := s.signedIn(r, secret, SignInPage{To: "/"}, "passkey")
	if err != nil {
		return s.passkeyAnswer(r, nil, err)
	}
	h := in.(headed)
	h.answer = jsonAnswer{value: map[string]bool{"done": true}, secret: true}
	return h, nil
}

// passkeyLimit is the largest answer of a browser about a passkey, in bytes.
const passkeyLimit = 64 << 10
