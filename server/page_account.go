package server

import (
	"net/http"
	"strings"
	"time"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

// AccountPage is somebody's own account.
type AccountPage struct {
	Base
	Account  access.Account
	Roles    []RoleView
	Sessions []SessionView
	Password Form
	Recovery Form
	Codes    []string // told once
	Left     int      // recovery codes not used yet
	Passkeys bool
	Fault    []FormError
}

// RoleView is a grant in words.
type RoleView struct{ Role, Machine, Person string }

// SessionView is a browser that is signed in.
type SessionView struct {
	access.Session
	Here bool
	Ends time.Time
}

// BrowserWords names a browser and its system, as far as it says so itself.
func (x SessionView) BrowserWords() string {
	first := func(names []string) string {
		for _, name := range names {
			mark, called, _ := strings.Cut(name, "=")
			if strings.Contains(x.Browser, mark) {
				return called
			}
		}
		return ""
	}
	// The order matters: many a browser claims to be others as well.
	browser := first([]string{"Firefox/=Firefox", "Edg/=Edge", "OPR/=Opera", "Chrome/=Chromium or Chrome", "Safari/=Safari"})
	system := first([]string{"Android=Android", "iPhone=iPhone", "iPad=iPad", "Windows=Windows", "Mac OS X=Mac", "Linux=Linux"})
	return strings.Trim(browser+", "+system, ", ")
}

func roleViews(grants []access.Grant) []RoleView {
	var out []RoleView
	for _, g := range grants {
		out = append(out, RoleView{string(g.Role), g.Machine, g.Person})
	}
	return out
}

func (s *Server) accountPage(r *http.Request, who *access.Who) (*AccountPage, error) {
	state, err := s.People.Store.Read()
	if err != nil {
		return nil, err
	}
	a := state.Named(who.Name)
	if a == nil {
		return nil, noAccounts()
	}
	page := &AccountPage{Base: Base{Title: "Your account", Version: s.Version}, Account: *a, Roles: roleViews(a.Grants), Left: len(a.Recovery), Passkeys: s.takesPasskeys(r)}
	sessions, err := s.People.SessionsOf(who.Account)
	if err != nil {
		return nil, err
	}
	for _, x := range sessions {
		page.Sessions = append(page.Sessions, SessionView{x, x.ID == who.Session, x.Ends()})
	}
	old := Field{Name: "old", Label: "Your password now", Kind: "password", Auto: "current-password", Pointers: []string{"/old"}}
	page.Password = Form{Action: "/account/password", Button: "Set this password", Intro: "Every other session of yours is ended by it.", Parts: []FormPart{{Fields: []Field{newPasswordField()}}}}
	page.Recovery = Form{Action: "/account/recovery", Button: "Make new recovery codes", Intro: "A code lets you in once when a device or the password is lost. New ones end those before.", Parts: []FormPart{{}}}
	if a.Password != "" {
		page.Password.Parts[0].Fields = append([]Field{old}, page.Password.Parts[0].Fields...)
		old.Of = "recovery"
		page.Recovery.Parts[0].Fields = []Field{old}
	}
	return page, nil
}

func pageAccount(s *Server, r *http.Request) (answer, error) {
	who, err := s.me(r)
	if err != nil {
		return nil, err
	}
	page, err := s.accountPage(r, who)
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "account", page: page}, nil
}

// accountAct does something to one's own account and shows it again.
func accountAct(name string, do func(s *Server, r *http.Request, who *access.Who, t *typed, page *AccountPage) error) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		who, err := s.me(r)
		if err != nil {
			return nil, err
		}
		t, err := readForm(r)
		if err != nil {
			return nil, err
		}
		fresh := &AccountPage{}
		wrong := do(s, r, who, t, fresh)
		page, err := s.accountPage(r, who)
		if err != nil {
			return nil, err
		}
		page.Codes = fresh.Codes
		status := 0
		if wrong != nil {
			if !mendable(wrong) && codeOf(wrong) != access.CodeTooMany && codeOf(wrong) != registry.CodeNotFound {
				return nil, wrong
			}
			form := &Form{}
			switch name {
			case "password":
				form = &page.Password
			case "recovery":
				form = &page.Recovery
			}
			form.refuse(wrong)
			page.Fault, page.Wrong, status = form.Summary(), true, rowOf(codeOf(wrong)).status
		} else {
			s.security(r, "account-"+name)
			if page.Codes == nil {
				page.Notice = "Done."
			}
		}
		return htmlAnswer{status: status, name: "account", page: page}, nil
	}
}

var pageAccountPassword = accountAct("password", func(s *Server, r *http.Request, who *access.Who, t *typed, _ *AccountPage) error {
	return s.People.ChangePassword(r.Context(), who, t.Get("old"), t.Get("password"), addressOf(r))
})

var pageAccountRecovery = accountAct("recovery", func(s *Server, r *http.Request, who *access.Who, t *typed, page *AccountPage) (err error) {
	page.Codes, err = s.People.NewRecoveryCodes(r.Context(), who, t.Get("old"), addressOf(r))
	return err
})

var pageAccountSession = accountAct("session-ended", func(s *Server, _ *http.Request, who *access.Who, t *typed, _ *AccountPage) error {
	return s.People.EndSession(who.Account, t.text("session"))
})

var pageAccountPasskey = accountAct("passkey-dropped", func(s *Server, _ *http.Request, who *access.Who, t *typed, _ *AccountPage) error {
	return s.People.DropPasskey(who, t.text("passkey"))
})
