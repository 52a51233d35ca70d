package access

import (
	"bytes"
	"encoding/json"
	"net"
	"slices"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"example.org/asfound/registry"
)

// Passkeys follow Web Authentication, Level 3: discoverable, so that nobody
// types a name, and with the person verified by their device.

// ceremonyFor is how long somebody may take over a passkey.
const ceremonyFor = 5 * time.Minute

// maxCeremonies is how many may be under way at once.
const maxCeremonies = 256

// Place is where a browser is: the host name of the page and its origin, such
// as "machines.example" and "https://machines.example:8350".
type Place struct{ Host, Origin string }

// TakesPasskeys says whether passkeys work at a host: they need a name, not an
// address.
func (p Place) TakesPasskeys() bool { return p.Host != "" && net.ParseIP(p.Host) == nil }

// ceremony is a passkey under way.
type ceremony struct {
	data    webauthn.SessionData
	place   Place
	account string // to be, or that there is; "" to sign in
	name    string
	code    string // of the set-up
	invite  string
	until   time.Time
}

// Asked is what a browser is asked for.
type Asked struct {
	Ceremony string `json:"ceremony"`
	Options  any    `json:"options"`
}

type passkeyUser struct {
	id, name    string
	credentials []webauthn.Credential
}

func (u passkeyUser) WebAuthnID() []byte                         { return []byte(u.id) }
func (u passkeyUser) WebAuthnName() string                       { return u.name }
func (u passkeyUser) WebAuthnDisplayName() string                { return u.name }
func (u passkeyUser) WebAuthnCredentials() []webauthn.Credential { return u.credentials }

func (a *Account) passkeyUser(host string) passkeyUser {
	u := passkeyUser{id: a.ID, name: a.Name}
	for _, k := range a.Passkeys {
		var c webauthn.Credential
		if k.Host == host && json.Unmarshal(k.Credential, &c) == nil {
			u.credentials = append(u.credentials, c)
		}
	}
	return u
}

func (p Place) party() (*webauthn.WebAuthn, error) {
	if !p.TakesPasskeys() {
		return nil, registry.Refuse(registry.CodeRefused, "Open the registry under a name, such as garage.local, or use a password.", "Passkeys need a host name; this page was opened under an address of figures")
	}
	return webauthn.New(&webauthn.Config{RPID: p.Host, RPDisplayName: "asfound", RPOrigins: []string{p.Origin},
		AuthenticatorSelection: protocol.AuthenticatorSelection{ResidentKey: protocol.ResidentKeyRequirementRequired, UserVerification: protocol.VerificationRequired}})
}

func (b *Book) keep(c ceremony) (string, error) {
	id, err := newSecret(b.Random)
	if err != nil {
		return "", err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ceremonies == nil {
		b.ceremonies = map[string]ceremony{}
	}
	var oldest string
	for key, old := range b.ceremonies {
		if b.Now().After(old.until) {
			delete(b.ceremonies, key)
		} else if oldest == "" || old.until.Before(b.ceremonies[oldest].until) {
			oldest = key
		}
	}
	if len(b.ceremonies) >= maxCeremonies {
		delete(b.ceremonies, oldest)
	}
	c.until = b.Now().Add(ceremonyFor)
	b.ceremonies[id] = c
	return id, nil
}

// take gives a ceremony once.
func (b *Book) take(id string) (ceremony, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	c, ok := b.ceremonies[id]
	delete(b.ceremonies, id)
	if !ok || b.Now().After(c.until) {
		return c, registry.Refuse(registry.CodeExpired, "Begin again; there are five minutes for it.", "The passkey took too long")
	}
	return c, nil
}

// AskPasskey asks a browser for a passkey to sign in with.
func (b *Book) AskPasskey(p Place) (Asked, error) {
	party, err := p.party()
	if err != nil {
		return Asked{}, err
	}
	options, data, err := party.BeginDiscoverableLogin(webauthn.WithUserVerification(protocol.VerificationRequired))
	if err != nil {
		return Asked{}, err
	}
	id, err := b.keep(ceremony{data: *data, place: p})
	return Asked{id, options.Response}, err
}

// AskNewPasskey asks a browser to make a passkey: for who is signed in; or, when
// w is nil, for whoever holds an invitation, or the set-up code and a name.
func (b *Book) AskNewPasskey(p Place, w *Who, invite, code, name string) (Asked, error) {
	party, err := p.party()
	if err != nil {
		return Asked{}, err
	}
	c, user, err := b.newcomer(p, w, invite, code, name)
	if err != nil {
		return Asked{}, err
	}
	var known []protocol.CredentialDescriptor
	for _, k := range user.credentials {
		known = append(known, k.Descriptor())
	}
	options, data, err := party.BeginRegistration(user, webauthn.WithExclusions(known))
	if err != nil {
		return Asked{}, err
	}
	c.data = *data
	id, err := b.keep(c)
	return Asked{id, options.Response}, err
}

// newcomer says for whom a passkey is made.
func (b *Book) newcomer(p Place, w *Who, invite, code, name string) (c ceremony, u passkeyUser, err error) {
	c = ceremony{place: p, invite: invite, code: code}
	s, err := b.Store.Read()
	if err != nil {
		return c, u, err
	}
	switch {
	case w != nil:
		c.account = w.Account
	case invite != "":
		i, err := b.Invited(invite)
		if err != nil {
			return c, u, err
		}
		c.account, c.name = i.Account, i.Name
	default:
		if err := b.rightSetUp(code); err != nil {
			return c, u, err
		}
		if c.name, err = checkName(name); err != nil {
			return c, u, err
		}
	}
	if a := s.byID(c.account); a != nil {
		return c, a.passkeyUser(p.Host), nil
	}
	c.account, err = newID("account-", b.Random)
	return c, passkeyUser{id: c.account, name: c.name}, err
}

// MakePasskey takes the passkey that a browser made. For an invitation or the
// set-up it makes the account and signs in; the secret is "" for who was
// signed in already.
func (b *Book) MakePasskey(w *Who, id string, response []byte, label, browser string) (secret string, err error) {
	c, err := b.take(id)
	if err != nil {
		return "", err
	}
	party, err := c.place.party()
	if err != nil {
		return "", err
	}
	parsed, err := protocol.ParseCredentialCreationResponseBody(bytes.NewReader(response))
	if err != nil {
		return "", badPasskey()
	}
	made, err := party.CreateCredential(passkeyUser{id: c.account, name: c.name}, c.data, parsed)
	if err != nil {
		return "", badPasskey()
	}
	raw, err := json.Marshal(made)
	if err != nil {
		return "", err
	}
	key := Passkey{Label: cut(label, maxName), Host: c.place.Host, Made: b.now(), Credential: raw}
	if key.ID, err = newID("passkey-", b.Random); err != nil {
		return "", err
	}
	put := func(a *Account) { a.Passkeys = append(a.Passkeys, key) }
	switch {
	case w != nil && w.Account == c.account:
		return "", b.change(w, func(_ *State, a *Account) error { put(a); return nil })
	case c.invite != "":
		return b.join(c.invite, func(a *Account) { a.ID = c.account; put(a) }, browser)
	case c.code != "":
		return b.firstKeeper(c.code, c.name, func(a *Account) { a.ID = c.account; put(a) }, browser)
	}
	return "", badPasskey()
}

func badPasskey() error {
	return registry.Refuse(CodeWrong, "Begin again, or use the password.", "The passkey does not open this registry")
}

// SignInByPasskey lets in whoever holds a passkey.
func (b *Book) SignInByPasskey(id string, response []byte, browser string) (secret string, err error) {
	c, err := b.take(id)
	if err != nil {
		return "", err
	}
	party, err := c.place.party()
	if err != nil {
		return "", err
	}
	parsed, err := protocol.ParseCredentialRequestResponseBody(bytes.NewReader(response))
	if err != nil || c.account != "" {
		return "", badPasskey()
	}
	return secret, b.Store.Update(func(s *State) error {
		var a *Account
		used, err := party.ValidateDiscoverableLogin(func(_, handle []byte) (webauthn.User, error) {
			if a = s.byID(string(handle)); a == nil || !a.Revoked.IsZero() {
				return nil, badPasskey()
			}
			return a.passkeyUser(c.place.Host), nil
		}, c.data, parsed)
		// A counter that went back may be a copied key.
		if err != nil || used.Authenticator.CloneWarning {
			return badPasskey()
		}
		for i := range a.Passkeys {
			var old webauthn.Credential
			if json.Unmarshal(a.Passkeys[i].Credential, &old) == nil && bytes.Equal(old.ID, used.ID) {
				if a.Passkeys[i].Credential, err = json.Marshal(used); err != nil {
					return err
				}
				a.Passkeys[i].Used = b.now()
			}
		}
		secret, err = b.newSession(s, a.ID, browser)
		return err
	})
}

// DropPasskey takes a passkey off an account that can still sign in without it.
func (b *Book) DropPasskey(w *Who, id string) error {
	return b.change(w, func(_ *State, a *Account) error {
		n := len(a.Passkeys)
		a.Passkeys = slices.DeleteFunc(a.Passkeys, func(k Passkey) bool { return k.ID == id })
		if len(a.Passkeys) < n && len(a.Passkeys) == 0 && a.Password == "" {
			return registry.Refuse(registry.CodeRefused, "Set a password or make another passkey first.", "Nothing would be left to sign in with")
		}
		return nil
	})
}
