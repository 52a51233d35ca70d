package server

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/access"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// owners are the roles that decide by their own account.
var owners = []access.Role{access.Owner, access.CoOwner}

// hold opens what the visitor may decide on: by the link in the address, or by
// the account that is signed in.
func (s *Server) hold(r *http.Request) (workshop.Holding, error) {
	if token := chi.URLParam(r, "token"); token != "" {
		return s.Workshop.ByLink(token), nil
	}
	machine, who := chi.URLParam(r, "id"), infoOf(r).who
	if !s.accounts() || who == nil {
		return nil, registry.Refuse(registry.CodeRefused, "Open the owner’s link, or record how the answer came.", "In single-user mode nobody is signed in, so nobody decides by an account")
	}
	persons := who.PersonsAs(machine, owners...)
	if len(persons) == 0 {
		return nil, registry.Refuse(registry.CodeRefused, "Ask the keeper to say whom your account stands for, such as owner@"+machine+"=owner.", "Your account stands for nobody in the record of this machine")
	}
	return s.Workshop.ByAccount(machine, persons[0], who.Account), nil
}

// deskAddress is where the questions of a link or of an account stand.
func deskAddress(r *http.Request) string {
	if token := chi.URLParam(r, "token"); token != "" {
		return "/o/" + token
	}
	return "/machines/" + chi.URLParam(r, "id") + "/decide"
}

// Consent is what a page offers of passkeys, where a browser can use them: to
// confirm what stands on it, or to make the one to confirm it with.
type Consent struct {
	Nonce         string
	Confirm, Make string // what the browser is asked for, as JSON
	// Elsewhere is the host under which the passkey on record works.
	Elsewhere string
	// Here says that this page can use passkeys at all.
	Here bool
}

// nonceFor is how long a passkey may take.
const nonceFor = 5 * time.Minute

// newNonce makes a challenge's nonce for one purpose. It carries its end and a
// code by which this server knows it again, so that nothing has to be kept.
func (s *Server) newNonce(purpose string) string {
	raw := make([]byte, 16, 40)
	rand.Read(raw)
	raw = binary.BigEndian.AppendUint64(raw, uint64(s.Now().Add(nonceFor).Unix()))
	return base64.RawURLEncoding.EncodeToString(append(raw, s.nonceCode(purpose, raw)...))
}

func (s *Server) nonceCode(purpose string, raw []byte) []byte {
	mac := hmac.New(sha256.New, s.nonces)
	mac.Write(raw)
	mac.Write([]byte(purpose))
	return mac.Sum(nil)[:16]
}

// checkNonce takes back what newNonce made. CodeExpired for anything else.
func (s *Server) checkNonce(purpose, nonce string) ([]byte, error) {
	raw, err := base64.RawURLEncoding.DecodeString(nonce)
	if err != nil || len(raw) != 40 || !hmac.Equal(s.nonceCode(purpose, raw[:24]), raw[24:]) || s.Now().Unix() >= int64(binary.BigEndian.Uint64(raw[16:24])) {
		return nil, registry.Refuse(registry.CodeExpired, "Confirm it again; there are five minutes for it. Nothing was recorded, and what you typed is still here.", "The passkey took too long")
	}
	return raw, nil
}

// purposeOf ties a nonce to a person, a machine and a place.
func purposeOf(what string, h workshop.Held, p access.Place) string {
	return strings.Join([]string{what, h.Dossier.ID, h.To, h.Account, p.Origin}, "\n")
}

// userOf stands for a person in a device, and says nothing of them.
func userOf(h workshop.Held) []byte {
	sum := sha256.Sum256([]byte(strings.Join([]string{h.Dossier.ID, h.To}, "\n")))
	return sum[:]
}

// keysHere are the passkeys with which a person can confirm at a place: those
// on record, and those of their account that are not yet. Their names are the
// records', "" for the latter. elsewhere is the host of one that works there.
func (s *Server) keysHere(h workshop.Held, p access.Place) (keys []access.Key, records []string, elsewhere string, err error) {
	onRecord := map[string]bool{}
	for _, k := range registry.All[*registry.Passkey](h.Dossier) {
		onRecord[k.Record.Credential] = true
	}
	for _, k := range h.Dossier.PasskeysOf(h.To) {
		if k.Record.Host != p.Host {
			elsewhere = k.Record.Host
			continue
		}
		keys = append(keys, access.Key{Credential: k.Record.Credential, PublicKey: k.Record.PublicKey, Algorithm: k.Record.Algorithm})
		records = append(records, k.RecordID())
	}
	if h.Account == "" {
		return keys, records, elsewhere, nil
	}
	own, err := s.People.KeysOf(h.Account, p.Host)
	for _, k := range own {
		if !onRecord[k.Credential] {
			keys, records = append(keys, k), append(records, "")
		}
	}
	return keys, records, elsewhere, err
}

// consentTo offers a passkey for an answer.
func (s *Server) consentTo(r *http.Request, h workshop.Held, answer registry.Decision) (Consent, error) {
	c, p := Consent{Here: s.takesPasskeys(r)}, s.place(r)
	if !c.Here {
		return c, nil
	}
	keys, _, elsewhere, err := s.keysHere(h, p)
	if err != nil {
		return c, err
	}
	var asked map[string]any
	switch {
	case len(keys) > 0:
		c.Nonce = s.newNonce(purposeOf("confirm", h, p))
		challenge, err := s.Workshop.Challenge(h, answer, c.Nonce)
		if err != nil {
			return c, err
		}
		asked = p.AskConfirm(challenge, keys)
	case elsewhere != "":
		c.Elsewhere = elsewhere
		return c, nil
	default:
		c.Nonce = s.newNonce(purposeOf("make", h, p))
		challenge, err := s.checkNonce(purposeOf("make", h, p), c.Nonce)
		if err != nil {
			return c, err
		}
		m := s.Workshop.HeldMachine(h)
		asked = p.AskKey(challenge, userOf(h), m.Name)
	}
	text, err := json.Marshal(asked)
	if c.Confirm = string(text); len(keys) == 0 {
		c.Confirm, c.Make = "", c.Confirm
	}
	return c, err
}

// confirmed puts what a passkey gave into an answer, and gives the key that has
// to be bound first, if it is one of the account's. What the signature is worth
// is registry.Decide's to say; that it was asked for here and now is known here
// alone.
func (s *Server) confirmed(r *http.Request, h workshop.Held, answer *registry.Decision, nonce, given string) (*registry.Passkey, error) {
	p := s.place(r)
	if _, err := s.checkNonce(purposeOf("confirm", h, p), nonce); err != nil {
		return nil, err
	}
	c, err := access.ReadConfirmed([]byte(given))
	if err != nil {
		return nil, err
	}
	if c.Origin() != p.Origin {
		return nil, registry.Refuse(registry.CodeRefused, "Confirm it again on this page. Nothing was recorded.", "The passkey confirmed something on another page")
	}
	keys, records, _, err := s.keysHere(h, p)
	if err != nil {
		return nil, err
	}
	for i, k := range keys {
		if k.Credential != c.ID {
			continue
		}
		answer.Assertion = &registry.Assertion{Passkey: records[i], Credential: k.Credential, PublicKey: k.PublicKey, Nonce: nonce,
			AuthenticatorData: c.Response.AuthenticatorData, ClientData: c.Response.ClientData, Signature: c.Response.Signature}
		if records[i] != "" {
			return nil, nil
		}
		answer.Assertion.Passkey = "passkey-" + s.Workshop.NewID()
		return passkeyRecord(answer.Assertion.Passkey, k, p), nil
	}
	return nil, registry.Refuse(registry.CodeRefused, "Use the passkey that was made for this, or answer without it.", "That passkey is not bound to you here")
}

func passkeyRecord(id string, k access.Key, p access.Place) *registry.Passkey {
	return &registry.Passkey{Common: registry.Common{ID: id}, Host: p.Host, Credential: k.Credential, PublicKey: k.PublicKey, Algorithm: k.Algorithm}
}

// pageOwnerPasskey binds the passkey that a browser made, and shows the answer
// again, to be confirmed with it.
func pageOwnerPasskey(s *Server, r *http.Request) (answer, error) {
	f, err := s.ownerForm(r)
	if err != nil {
		return nil, err
	}
	if len(f.errors) > 0 {
		return s.ownerAgain(r, f), nil
	}
	p := s.place(r)
	challenge, err := s.checkNonce(purposeOf("make", f.held, p), f.typed.text("nonce"))
	if err != nil {
		return s.checkAgain(r, f, err)
	}
	key, err := p.MadeKey(challenge, userOf(f.held), []byte(f.typed.text("made")))
	if err == nil {
		_, err = s.Workshop.BindPasskey(r.Context(), f.hold, *passkeyRecord("", key, p))
	}
	if err != nil {
		return s.checkAgain(r, f, err)
	}
	s.security(r, "passkey-bound")
	if f.held, err = f.hold(r.Context()); err != nil {
		return nil, err
	}
	page, err := s.checkAnswerPage(r, f)
	page.Notice = "The passkey is on record. Your answer is not recorded yet: confirm it with the passkey, or send it without."
	return htmlAnswer{name: "check-answer", page: page}, err
}

// checkAgain shows the answer once more, with what went wrong with its passkey.
func (s *Server) checkAgain(r *http.Request, f *ownerForm, wrong error) (answer, error) {
	if !mendable(wrong) && codeOf(wrong) != registry.CodeExpired && codeOf(wrong) != access.CodeWrong || workshop.WhyOver(wrong) != "" {
		return nil, wrong
	}
	s.security(r, "passkey-refused", "code", string(codeOf(wrong)))
	page, err := s.checkAnswerPage(r, f)
	if err != nil {
		return nil, err
	}
	p := problemOf(wrong, "")
	page.Wrong, page.Errors = true, []FormError{{"confirm", sentence(p.Detail, p.Fix)}}
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "check-answer", page: page}, nil
}
