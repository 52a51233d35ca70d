package access

import (
	"context"
	"crypto/subtle"
	"io"
	"slices"
	"sync"
	"time"

	"example.org/asfound/registry"
)

// Codes of this package, besides those of registry.
const (
	CodeWrong   registry.Code = "wrong-credentials"
	CodeTooMany registry.Code = "too-many-attempts"
)

// How long things work.
const (
	SessionLimit = 30 * 24 * time.Hour // absolute
	SessionIdle  = 24 * time.Hour      // a day's work with its breaks
	SeenEvery    = 5 * time.Minute     // how exactly the last use is stored
	InviteFor    = 7 * 24 * time.Hour
	ResetFor     = 24 * time.Hour
	LinkFor      = 14 * 24 * time.Hour // when nothing else is said
)

// RecoveryCodes is how many are made at once.
const RecoveryCodes = 8

// Book is the people of a registry.
type Book struct {
	Store  Store
	Now    func() time.Time
	Random io.Reader
	// Required says that accounts are asked for even while there is none.
	Required bool

	throttle   throttle
	mu         sync.Mutex
	setUp      string // digest of the set-up code
	ceremonies map[string]ceremony
}

// On says whether visitors must sign in: there is an account, or accounts were
// asked for. Once there was an account it stays so.
func (b *Book) On() (bool, error) {
	s, err := b.Store.Read()
	if err != nil {
		return true, err
	}
	return b.Required || len(s.Accounts) > 0, nil
}

// OpenSetUp makes the code with which the first keeper is made, "" when there
// is an account already. A new one ends the one before.
func (b *Book) OpenSetUp() (string, error) {
	s, err := b.Store.Read()
	if err != nil || len(s.Accounts) > 0 {
		return "", err
	}
	code, err := newSecret(b.Random)
	if err != nil {
		return "", err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.setUp = digestOf(code)
	return grouped(code), nil
}

// NeedsSetUp says that the first keeper is still to be made.
func (b *Book) NeedsSetUp() bool {
	s, err := b.Store.Read()
	return err == nil && b.Required && len(s.Accounts) == 0
}

func (b *Book) rightSetUp(code string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.setUp == "" || subtle.ConstantTimeCompare([]byte(b.setUp), []byte(digestOf(plain(code)))) != 1 {
		return field("/code", "", "This is not the set-up code", "Copy it from the terminal in which the program was started.")
	}
	return nil
}

// credential puts what an account signs in with onto it.
type credential func(*Account)

// password checks and hashes a password.
func (b *Book) password(ctx context.Context, password, name string) (credential, error) {
	if err := checkPassword(password, name); err != nil {
		return nil, err
	}
	hash, err := hashPassword(ctx, b.Random, password)
	return func(a *Account) { a.Password = hash }, err
}

// SetUp makes the first keeper, once, by the code of OpenSetUp, and signs them
// in. person is whom they stand for in the records, "" for nobody.
func (b *Book) SetUp(ctx context.Context, code, name, password, browser string) (secret string, err error) {
	if err := b.rightSetUp(code); err != nil {
		return "", err
	}
	name, err = checkName(name)
	if err != nil {
		return "", err
	}
	c, err := b.password(ctx, password, name)
	if err != nil {
		return "", err
	}
	return b.firstKeeper(code, name, c, browser)
}

func (b *Book) firstKeeper(code, name string, c credential, browser string) (secret string, err error) {
	err = b.Store.Update(func(s *State) error {
		if len(s.Accounts) > 0 {
			return registry.Refuse(registry.CodeConflict, "Sign in, or ask the keeper for an invitation.", "The registry has been set up already")
		}
		if err := b.rightSetUp(code); err != nil {
			return err
		}
		a, err := b.newAccount(s, name, []Grant{{Role: Keeper}})
		if err != nil {
			return err
		}
		c(a)
		secret, err = b.newSession(s, a.ID, browser)
		return err
	})
	if err == nil {
		b.mu.Lock()
		b.setUp = ""
		b.mu.Unlock()
	}
	return secret, err
}

func (b *Book) newAccount(s *State, name string, grants []Grant) (*Account, error) {
	name, err := checkName(name)
	if err != nil {
		return nil, err
	}
	if s.Named(name) != nil {
		return nil, field("/name", "", "Somebody has this name already", "Take another one; names of revoked accounts are not given away.")
	}
	for _, g := range grants {
		if err := g.check(); err != nil {
			return nil, err
		}
	}
	id, err := newID("account-", b.Random)
	if err != nil {
		return nil, err
	}
	s.Accounts = append(s.Accounts, Account{ID: id, Name: name, Made: b.now(), Grants: grants})
	return &s.Accounts[len(s.Accounts)-1], nil
}

// now is the time as it is stored: UTC, whole seconds.
func (b *Book) now() time.Time { return b.Now().UTC().Truncate(time.Second) }

// Invite lets a person make an account of this name, once, within InviteFor.
func (b *Book) Invite(name string, grants []Grant) (secret string, err error) {
	if name, err = checkName(name); err != nil {
		return "", err
	}
	if len(grants) == 0 {
		return "", field("/role", "", "No role was chosen", "Choose what the person may do.")
	}
	for _, g := range grants {
		if err := g.check(); err != nil {
			return "", err
		}
	}
	return secret, b.Store.Update(func(s *State) (err error) {
		if s.Named(name) != nil {
			return field("/name", "", "Somebody has this name already", "Take another one; names of revoked accounts are not given away.")
		}
		secret, err = b.addInvite(s, Invite{Name: name, Grants: grants}, InviteFor)
		return err
	})
}

// Reset lets a person set a new password, once, within ResetFor. What they have
// still works until then; afterwards every session of theirs is ended.
func (b *Book) Reset(name string) (secret string, err error) {
	return secret, b.Store.Update(func(s *State) (err error) {
		a := s.Named(name)
		if a == nil || !a.Revoked.IsZero() {
			return noAccount(name)
		}
		secret, err = b.addInvite(s, Invite{Name: a.Name, Account: a.ID}, ResetFor)
		return err
	})
}

func noAccount(name string) error {
	return registry.Refuse(registry.CodeNotFound, "List the people to see their names.", "There is nobody of the name %.80q who can sign in", name)
}

func (b *Book) addInvite(s *State, i Invite, within time.Duration) (secret string, err error) {
	if secret, err = newSecret(b.Random); err != nil {
		return "", err
	}
	if i.ID, err = newID("invite-", b.Random); err != nil {
		return "", err
	}
	i.Digest, i.Made, i.Expires = digestOf(secret), b.now(), b.now().Add(within)
	s.Invites = slices.DeleteFunc(s.Invites, func(old Invite) bool {
		return fold(old.Name) == fold(i.Name) || !b.now().Before(old.Expires)
	})
	s.Invites = append(s.Invites, i)
	return secret, nil
}

// Invited looks at an invitation without using it. CodeExpired when it was
// used, ran out, or never was.
func (b *Book) Invited(secret string) (Invite, error) {
	s, err := b.Store.Read()
	if err != nil {
		return Invite{}, err
	}
	i, err := b.invite(s, secret)
	if err != nil {
		return Invite{}, err
	}
	return s.Invites[i], nil
}

func (b *Book) invite(s *State, secret string) (int, error) {
	digest := digestOf(plain(secret))
	i := slices.IndexFunc(s.Invites, func(i Invite) bool { return i.Digest == digest })
	if i < 0 || !b.now().Before(s.Invites[i].Expires) {
		return 0, registry.Refuse(registry.CodeExpired, "Ask the keeper of the registry for a new one.", "This invitation was used, or has run out, or was taken back")
	}
	return i, nil
}

// Join uses an invitation and signs the person in.
func (b *Book) Join(ctx context.Context, secret, password, browser string) (string, error) {
	i, err := b.Invited(secret)
	if err != nil {
		return "", err
	}
	c, err := b.password(ctx, password, i.Name)
	if err != nil {
		return "", err
	}
	return b.join(secret, c, browser)
}

func (b *Book) join(secret string, c credential, browser string) (session string, err error) {
	return session, b.Store.Update(func(s *State) error {
		n, err := b.invite(s, secret)
		if err != nil {
			return err
		}
		i := s.Invites[n]
		if s.keepers() == 0 && !slices.ContainsFunc(i.Grants, func(g Grant) bool { return g.Role == Keeper }) {
			return registry.Refuse(registry.CodeRefused, "Come back when the keeper is there; the invitation is not used up.", "The registry has no keeper yet, and the keeper comes first")
		}
		s.Invites = slices.Delete(s.Invites, n, n+1)
		a := s.byID(i.Account)
		switch {
		case i.Account == "":
			if a, err = b.newAccount(s, i.Name, i.Grants); err != nil {
				return err
			}
		case a == nil || !a.Revoked.IsZero():
			return noAccount(i.Name)
		default:
			s.endSessions(a.ID, "")
		}
		c(a)
		session, err = b.newSession(s, a.ID, browser)
		return err
	})
}

// Revoke takes everything from a person at once: sessions, passkeys, password
// and grants. The last keeper cannot be revoked.
func (b *Book) Revoke(name string) error {
	return b.Store.Update(func(s *State) error {
		a := s.Named(name)
		if a == nil || !a.Revoked.IsZero() {
			n := len(s.Invites)
			s.Invites = slices.DeleteFunc(s.Invites, func(i Invite) bool { return fold(i.Name) == fold(name) })
			if len(s.Invites) < n {
				return nil
			}
			return noAccount(name)
		}
		if a.keeps() && s.keepers() == 1 {
			return lastKeeper()
		}
		a.Revoked, a.Password, a.Passkeys, a.Recovery, a.Grants = b.now(), "", nil, nil, []Grant{}
		s.endSessions(a.ID, "")
		s.Invites = slices.DeleteFunc(s.Invites, func(i Invite) bool { return i.Account == a.ID })
		return nil
	})
}

// Regrant gives a person other roles.
func (b *Book) Regrant(name string, grants []Grant) error {
	for _, g := range grants {
		if err := g.check(); err != nil {
			return err
		}
	}
	return b.Store.Update(func(s *State) error {
		a := s.Named(name)
		if a == nil || !a.Revoked.IsZero() {
			return noAccount(name)
		}
		was := a.keeps()
		a.Grants = grants
		if was && s.keepers() == 0 {
			return lastKeeper()
		}
		return nil
	})
}

func lastKeeper() error {
	return registry.Refuse(registry.CodeRefused, "Make another keeper first.", "The registry would be left without a keeper")
}

func (a Account) keeps() bool {
	return a.Revoked.IsZero() && slices.ContainsFunc(a.Grants, func(g Grant) bool { return g.Role == Keeper })
}

func (s *State) keepers() int {
	n := 0
	for _, a := range s.Accounts {
		if a.keeps() {
			n++
		}
	}
	return n
}

// SignIn lets a person in by name and password, or by a recovery code in place
// of the password. CodeWrong, the same for everything that is wrong; a *TooMany
// when it was wrong too often.
func (b *Book) SignIn(ctx context.Context, name, password, address, browser string) (secret string, err error) {
	who := fold(name)
	if err := b.throttle.begin(who, address, b.Now()); err != nil {
		return "", err
	}
	s, err := b.Store.Read()
	if err != nil {
		return "", err
	}
	a, stored := s.Named(name), ""
	if a != nil && a.Revoked.IsZero() {
		stored = a.Password
	}
	ok, err := matches(ctx, stored, password)
	if err != nil {
		return "", err
	}
	code := digestOf(plain(password))
	recovered := a != nil && a.Revoked.IsZero() && slices.Contains(a.Recovery, code)
	if !ok && !recovered {
		return "", errWrong()
	}
	err = b.Store.Update(func(s *State) error {
		a := s.Named(name)
		if a == nil || !a.Revoked.IsZero() || a.Password != stored {
			return errWrong()
		}
		if recovered {
			n := len(a.Recovery)
			if a.Recovery = slices.DeleteFunc(a.Recovery, func(d string) bool { return d == code }); len(a.Recovery) == n {
				return errWrong() // used by somebody else in between
			}
		}
		secret, err = b.newSession(s, a.ID, browser)
		return err
	})
	if err == nil {
		b.throttle.success(who, address, b.Now())
	}
	return secret, err
}

// ChangePassword sets another password and ends every session but the one it
// is done from.
func (b *Book) ChangePassword(ctx context.Context, w *Who, old, next, address string) error {
	if err := b.confirm(ctx, w, old, address); err != nil {
		return err
	}
	c, err := b.password(ctx, next, w.Name)
	if err != nil {
		return err
	}
	return b.change(w, func(s *State, a *Account) error {
		c(a)
		s.endSessions(a.ID, w.Session)
		return nil
	})
}

// confirm asks for the password again; an account without one is not asked.
func (b *Book) confirm(ctx context.Context, w *Who, password, address string) error {
	s, err := b.Store.Read()
	if err != nil {
		return err
	}
	a := s.byID(w.Account)
	if a == nil || a.Password == "" {
		return nil
	}
	if err := b.throttle.begin(fold(a.Name), address, b.Now()); err != nil {
		return err
	}
	ok, err := matches(ctx, a.Password, password)
	if err != nil {
		return err
	}
	if !ok {
		return field("/old", "", "This is not your password", "Type the one that you sign in with.")
	}
	b.throttle.success(fold(a.Name), address, b.Now())
	return nil
}

// change runs fn on the account of who is signed in.
func (b *Book) change(w *Who, fn func(*State, *Account) error) error {
	return b.Store.Update(func(s *State) error {
		a := s.byID(w.Account)
		if a == nil || !a.Revoked.IsZero() {
			return errWrong()
		}
		return fn(s, a)
	})
}

// NewRecoveryCodes makes codes in place of those before. They are told once.
func (b *Book) NewRecoveryCodes(ctx context.Context, w *Who, password, address string) (codes []string, err error) {
	if err := b.confirm(ctx, w, password, address); err != nil {
		return nil, err
	}
	var digests []string
	for range RecoveryCodes {
		code, err := newSecret(b.Random)
		if err != nil {
			return nil, err
		}
		codes, digests = append(codes, grouped(code)), append(digests, digestOf(code))
	}
	return codes, b.change(w, func(_ *State, a *Account) error { a.Recovery = digests; return nil })
}

// NewToken makes a token for a program; it is told once. within 0 is for ever.
func (b *Book) NewToken(about string, g Grant, within time.Duration) (secret string, err error) {
	if about, err = checkName(about); err != nil {
		return "", err
	}
	if err := g.check(); err != nil {
		return "", err
	}
	return secret, b.Store.Update(func(s *State) error {
		if secret, err = newSecret(b.Random); err != nil {
			return err
		}
		t := Token{Digest: digestOf(secret), About: about, Grant: g, Made: b.now()}
		if within > 0 {
			t.Expires = b.now().Add(within)
		}
		if t.ID, err = newID("token-", b.Random); err != nil {
			return err
		}
		s.Tokens = append(s.Tokens, t)
		return nil
	})
}

// NewLink makes a link that reads one machine; its secret is told once.
func (b *Book) NewLink(machine, about string, public bool, expires time.Time) (secret string, err error) {
	if about, err = checkName(about); err != nil {
		return "", err
	}
	if !expires.After(b.Now()) {
		return "", field("/expires", "", "The link would have run out already", "Choose a day that is still to come.")
	}
	return secret, b.Store.Update(func(s *State) error {
		if secret, err = newSecret(b.Random); err != nil {
			return err
		}
		l := Link{Digest: digestOf(secret), Machine: machine, Public: public, About: about, Made: b.now(), Expires: expires.UTC().Truncate(time.Second)}
		if l.ID, err = newID("reading-", b.Random); err != nil {
			return err
		}
		s.Links = append(s.Links, l)
		return nil
	})
}

// Withdraw takes back a token or a reading link by its id.
func (b *Book) Withdraw(id string) error {
	return b.Store.Update(func(s *State) error {
		for i := range s.Tokens {
			if t := &s.Tokens[i]; t.ID == id && t.Revoked.IsZero() {
				t.Revoked = b.now()
				return nil
			}
		}
		for i := range s.Links {
			if l := &s.Links[i]; l.ID == id && l.Revoked.IsZero() {
				l.Revoked = b.now()
				return nil
			}
		}
		return registry.Refuse(registry.CodeNotFound, "List them to see which there are.", "There is no token or link %.80q that still works", id)
	})
}
