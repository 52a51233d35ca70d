package access

import (
	"slices"
	"time"

	"example.org/asfound/registry"
)

// Who is somebody who was recognised.
type Who struct {
	// Account is the id of the account, of the token or of the reading link.
	Account, Name string
	Grants        []Grant
	Session       string // id of the session; "" for tokens and links
}

// Has says whether a role was granted for a machine. For the machine "" the
// grant must be for all machines.
func (w *Who) Has(machine string, roles ...Role) bool {
	return w != nil && slices.ContainsFunc(w.Grants, func(g Grant) bool { return g.covers(machine) && slices.Contains(roles, g.Role) })
}

// HasAnywhere says whether a role was granted for any machine at all.
func (w *Who) HasAnywhere(roles ...Role) bool {
	return w != nil && slices.ContainsFunc(w.Grants, func(g Grant) bool { return slices.Contains(roles, g.Role) })
}

// Sees says whether a machine may be known to be there.
func (w *Who) Sees(machine string) bool {
	return w != nil && slices.ContainsFunc(w.Grants, func(g Grant) bool { return g.covers(machine) })
}

// Persons are whom somebody stands for in a machine's record; none when they
// stand for nobody in particular. A grant for the machine itself goes before
// one for all.
func (w *Who) Persons(machine string) []string { return w.PersonsAs(machine, Roles()...) }

// PersonsAs are those among them for whom somebody stands in some roles.
func (w *Who) PersonsAs(machine string, roles ...Role) []string {
	var own, wide []string
	if w == nil {
		return nil
	}
	for _, g := range w.Grants {
		switch {
		case g.Person == "" || !g.covers(machine) || !slices.Contains(roles, g.Role):
		case g.Machine != "":
			own = append(own, g.Person)
		default:
			wide = append(wide, g.Person)
		}
	}
	return append(own, wide...)
}

func (b *Book) newSession(s *State, account, browser string) (secret string, err error) {
	if secret, err = newSecret(b.Random); err != nil {
		return "", err
	}
	x := Session{Digest: digestOf(secret), Account: account, Made: b.now(), Seen: b.now(), Browser: cut(browser, 200)}
	if x.ID, err = newID("session-", b.Random); err != nil {
		return "", err
	}
	s.Sessions = slices.DeleteFunc(s.Sessions, func(old Session) bool { return !b.alive(old) })
	s.Sessions = append(s.Sessions, x)
	return secret, nil
}

func cut(text string, n int) string {
	if r := []rune(text); len(r) > n {
		return string(r[:n])
	}
	return text
}

func (b *Book) alive(x Session) bool {
	now := b.Now()
	return now.Before(x.Made.Add(SessionLimit)) && now.Before(x.Seen.Add(SessionIdle))
}

// endSessions ends the sessions of an account but for one.
func (s *State) endSessions(account, but string) {
	s.Sessions = slices.DeleteFunc(s.Sessions, func(x Session) bool { return x.Account == account && x.ID != but })
}

// Recognise finds who a session's secret belongs to; nil when nobody's.
func (b *Book) Recognise(secret string) (*Who, error) {
	s, err := b.Store.Read()
	if err != nil {
		return nil, err
	}
	digest := digestOf(secret)
	i := slices.IndexFunc(s.Sessions, func(x Session) bool { return x.Digest == digest })
	if i < 0 || !b.alive(s.Sessions[i]) {
		return nil, nil
	}
	x := s.Sessions[i]
	a := s.byID(x.Account)
	if a == nil || !a.Revoked.IsZero() {
		return nil, nil
	}
	if b.Now().Sub(x.Seen) >= SeenEvery {
		if err := b.Store.Update(func(s *State) error {
			for i := range s.Sessions {
				if s.Sessions[i].ID == x.ID {
					s.Sessions[i].Seen = b.now()
				}
			}
			return nil
		}); err != nil && registry.CodeOf(err) != registry.CodeBusy { // that it cannot be noted just now keeps nobody out
			return nil, err
		}
	}
	return &Who{Account: a.ID, Name: a.Name, Grants: a.Grants, Session: x.ID}, nil
}

// RecogniseToken finds what a program's token stands for; nil when for nothing.
func (b *Book) RecogniseToken(secret string) (*Who, error) {
	s, err := b.Store.Read()
	if err != nil {
		return nil, err
	}
	digest := digestOf(plain(secret))
	for _, t := range s.Tokens {
		if t.Digest == digest && t.Revoked.IsZero() && (t.Expires.IsZero() || b.Now().Before(t.Expires)) {
			return &Who{Account: t.ID, Name: t.About, Grants: []Grant{t.Grant}}, nil
		}
	}
	return nil, nil
}

// RecogniseLink finds what a reading link opens; nil when nothing.
func (b *Book) RecogniseLink(secret string) (*Who, Link, error) {
	s, err := b.Store.Read()
	if err != nil {
		return nil, Link{}, err
	}
	digest := digestOf(plain(secret))
	for _, l := range s.Links {
		if l.Digest == digest && l.Revoked.IsZero() && b.Now().Before(l.Expires) {
			role := Reader
			if l.Public {
				role = PublicReader
			}
			return &Who{Account: l.ID, Name: l.About, Grants: []Grant{{Role: role, Machine: l.Machine}}}, l, nil
		}
	}
	return nil, Link{}, nil
}

// EndSession ends one session of an account. It is no error when it is over.
func (b *Book) EndSession(account, id string) error {
	return b.Store.Update(func(s *State) error {
		s.Sessions = slices.DeleteFunc(s.Sessions, func(x Session) bool { return x.Account == account && x.ID == id })
		return nil
	})
}

// SessionsOf lists the sessions of an account that still work.
func (b *Book) SessionsOf(account string) ([]Session, error) {
	s, err := b.Store.Read()
	if err != nil {
		return nil, err
	}
	var out []Session
	for _, x := range s.Sessions {
		if x.Account == account && b.alive(x) {
			out = append(out, x)
		}
	}
	return out, nil
}

// Ends is when a session ends however much it is used.
func (x Session) Ends() time.Time { return x.Made.Add(SessionLimit) }
