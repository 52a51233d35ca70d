package server

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"mime"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/access"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// sessionCookie and readingCookie hold the secret of a session and of a reading
// link. In a secure context their names begin with hostPrefix, which a browser
// only lets this very host set, encrypted; without one it refuses such a
// cookie, and the plain name is all there is.
const (
	sessionCookie = "asfound"
	readingCookie = "asfound-reading"
	hostPrefix    = "__Host-"
)

func (s *Server) cookieName(r *http.Request, name string) string {
	if s.arrivalOf(r).Secure {
		return hostPrefix + name
	}
	return name
}

// cookie makes the cookie for a secret; with an empty one it is taken away.
func (s *Server) cookie(r *http.Request, name, secret string) *http.Cookie {
	c := &http.Cookie{Name: s.cookieName(r, name), Value: secret, Path: "/", HttpOnly: true, Secure: s.arrivalOf(r).Secure, SameSite: http.SameSiteLaxMode,
		MaxAge: int(access.SessionLimit.Seconds())}
	if secret == "" {
		c.MaxAge = -1
	}
	return c
}

// addressOf is where a visitor comes from, for counting wrong passwords: an
// address, or the network that one IPv6 subscriber has.
func addressOf(r *http.Request) string {
	host := hostOf(r.RemoteAddr)
	ip, err := netip.ParseAddr(host)
	if err != nil || ip.Unmap().Is4() {
		return host
	}
	network, err := ip.WithZone("").Prefix(64)
	if err != nil {
		return host
	}
	return network.String()
}

// accounts says whether visitors are asked who they are. When the accounts
// cannot be read, they are asked, and nobody gets in.
func (s *Server) accounts() bool {
	if s.People == nil {
		return false
	}
	on, err := s.People.On()
	return on || err != nil
}

// recognise notes who the visitor is, by token or cookie.
func (s *Server) recognise(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s.accounts() {
			who, err := s.visitor(r)
			if err != nil {
				s.fail(w, r, err)
				return
			}
			infoOf(r).who = who
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) visitor(r *http.Request) (*access.Who, error) {
	if given := r.Header.Get("Authorization"); given != "" && isAPI(r.URL.Path) {
		scheme, secret, _ := strings.Cut(given, " ")
		if !strings.EqualFold(scheme, "Bearer") {
			return nil, nil
		}
		return s.People.RecogniseToken(secret)
	}
	// Browsers say where a request comes from. One that does not is a program,
	// and a program has a token.
	if isAPI(r.URL.Path) && r.Method == http.MethodPost && r.Header.Get("Sec-Fetch-Site") == "" && r.Header.Get("Origin") == "" {
		return nil, nil
	}
	if c, err := r.Cookie(s.cookieName(r, sessionCookie)); err == nil {
		if who, err := s.People.Recognise(c.Value); who != nil || err != nil {
			return who, err
		}
	}
	if c, err := r.Cookie(s.cookieName(r, readingCookie)); err == nil && r.Method != http.MethodPost {
		who, _, err := s.People.RecogniseLink(c.Value)
		return who, err
	}
	return nil, nil
}

// admit holds a request against the table of permissions. It gives the request
// with what its visitor may see and record, or the answer to give instead.
func (s *Server) admit(rt route, r *http.Request) (*http.Request, answer, error) {
	if !s.accounts() {
		return r, nil, nil
	}
	p, who, machine := permissionOf(rt), infoOf(r).who, chi.URLParam(r, "id")
	switch p.judge(who, machine) {
	case unknown:
		instead, err := s.askWho(rt, r)
		return r, instead, err
	case unseen:
		s.security(r, "hidden")
		if p.reach == forNobody {
			return r, nil, registry.Refuse(registry.CodeNotFound, "", "There is no page of that address")
		}
		return r, nil, noMachine(machine)
	case denied:
		s.security(r, "forbidden")
		return r, nil, registry.Refuse(codeForbidden, "", "Your account was not given what this needs")
	}
	if p.reach == forAnybody {
		return r, nil, nil // an owner's link decides for itself
	}
	infoOf(r).admitted, infoOf(r).persons = true, who.Persons(machine)
	return r.WithContext(workshop.WithActing(r.Context(), actingFor(who))), nil, nil
}

// actingFor says under whom somebody records: a person that they stand for, or
// else their account.
func actingFor(who *access.Who) *workshop.Acting {
	return &workshop.Acting{Sees: who.Sees, As: func(machine, named string, fresh bool) (string, error) {
		persons := who.Persons(machine)
		switch {
		case len(persons) == 0:
			return who.Account, nil
		case contains(persons, named):
			return named, nil
		case fresh:
			return persons[0], nil
		}
		return "", &registry.Error{Code: registry.CodeRefused, Message: "Your account does not stand for that person", Fix: "Choose yourself, or ask the keeper to let you stand for them.",
			Fields: []registry.Field{{Pointer: "/by", Found: quoted(named), Allowed: strings.Join(persons, ", "), Message: "Your account does not stand for that person", Fix: "Choose yourself, or ask the keeper to let you stand for them."}}}
	}}
}

// actingOn is a report for its reader. The kept one is left as it is.
func actingOn(r *http.Request, report *workshop.Report) *workshop.Report {
	info := infoOf(r)
	if persons := info.who.Persons(report.Machine.ID); info.admitted && len(persons) > 0 {
		mine := *report
		mine.Acting = persons
		return &mine
	}
	return report
}

// publicOnly says that the visitor may see the public edition of a machine
// alone.
func publicOnly(r *http.Request, machine string) bool {
	info := infoOf(r)
	return info.admitted && info.who.Has(machine, access.PublicReader) && !info.who.Has(machine, access.Roles()...)
}

// visitorTag keeps what is shown to one visitor from being taken for another's,
// or for their own of when they had other roles.
func (s *Server) visitorTag(r *http.Request) string {
	switch who := infoOf(r).who; {
	case who != nil:
		sum := sha256.Sum256([]byte(fmt.Sprint(who.Grants)))
		return "." + who.Account + "-" + hex.EncodeToString(sum[:6])
	case s.accounts():
		return ".x"
	}
	return ""
}

// security logs what concerns who gets in, by the ids of accounts and without
// names, addresses and secrets.
func (s *Server) security(r *http.Request, what string, more ...any) {
	if s.Watch != nil {
		s.Watch.Event(what)
	}
	info := infoOf(r)
	attrs := []any{"event", what, "request", info.id, "route", info.route}
	if info.who != nil {
		attrs = append(attrs, "account", info.who.Account)
	}
	s.Logger.Info("security", append(attrs, more...)...)
}

// localPath is an address within these pages, "/" when it is none.
func localPath(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n\t") {
		return "/"
	}
	return to
}

// askWho asks a stranger to sign in. What they typed into a form travels on
// through the pages, and is sent when they are known.
func (s *Server) askWho(rt route, r *http.Request) (answer, error) {
	switch {
	case rt.api != nil || isAPI(rt.pattern):
		return nil, registry.Refuse(codeSignIn, "", "The request carries no token that works here")
	case rt.method == http.MethodPost:
		kept, files, err := keptFields(rt, r)
		if err != nil {
			return nil, err
		}
		page := s.signInPage(r, r.URL.RequestURI())
		page.Carried, page.Files, page.Multipart, page.Expired = kept, files, rt.takes == multipartType, true
		return htmlAnswer{status: http.StatusUnauthorized, name: "sign-in", page: page}, nil
	case s.People.NeedsSetUp():
		return seeOther("/set-up"), nil
	}
	return seeOther("/sign-in?to=" + url.QueryEscape(r.URL.RequestURI())), nil
}

// secretFields are never carried through a page.
var secretFields = []string{"password", "old", "code"}

// keptFields reads what was typed, and how many files were chosen, which cannot
// be kept.
func keptFields(rt route, r *http.Request) (kept []Hidden, files int, err error) {
	values := url.Values{}
	switch {
	case rt.takes == multipartType:
		values, files, err = typedParts(r)
	case rt.takes == formType:
		r.Body = http.MaxBytesReader(nil, r.Body, formLimit)
		err = r.ParseForm()
		values = r.PostForm
	}
	if err != nil {
		return nil, 0, readFailed(err)
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if contains(secretFields, name) {
			continue
		}
		for _, v := range values[name] {
			kept = append(kept, Hidden{name, v})
		}
	}
	return kept, files, nil
}

// typedParts reads the fields of a form with files, and lets the files go.
func typedParts(r *http.Request) (values url.Values, files int, err error) {
	values = url.Values{}
	if media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || media != multipartType {
		return values, 0, nil
	}
	r.Body = http.MaxBytesReader(nil, r.Body, photoTotal)
	parts, err := r.MultipartReader()
	if err != nil {
		return values, 0, nil // nothing can be read, and nothing was typed
	}
	room := int64(formLimit)
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			return values, files, nil
		}
		if err != nil {
			return nil, 0, err
		}
		if part.FileName() != "" {
			files++
			continue
		}
		text, err := io.ReadAll(io.LimitReader(part, room))
		if err != nil {
			return nil, 0, err
		}
		if room -= int64(len(text)); room <= 0 {
			return nil, 0, registry.Refuse(registry.CodeTooLarge, "", "The form is larger than can be kept")
		}
		if part.Header.Get("Content-Type") == "" { // an empty choice of a file has one
			values.Add(part.FormName(), string(text))
		}
	}
}
