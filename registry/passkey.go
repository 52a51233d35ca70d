package registry

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"net/url"
	"strings"
	"time"
)

// Passkey binds a public key to a person who may decide. The private half never
// leaves that person's device. What it proves begins with this record: who held
// the link, or the account, on that day bound it, and nobody asked further.
type Passkey struct {
	Common
	Person string `json:"person"`
	// Host is the name of the pages under which it was made, and the only one
	// under which it signs: the relying party of Web Authentication, Level 3.
	Host string `json:"host"`
	// Credential is the device's own name for it, in base64url.
	Credential string `json:"credential"`
	// PublicKey is its SubjectPublicKeyInfo (RFC 5280) in base64url, Algorithm how
	// it signs: a number of the COSE register (RFC 9053).
	PublicKey string `json:"public_key"`
	Algorithm int    `json:"algorithm"`
	// Means is how its person was known when it was bound: link or account, and
	// then Account is which.
	Means   string `json:"means"`
	Account string `json:"account,omitempty"`
}

// The algorithms that a passkey may sign with, by their COSE numbers.
const (
	AlgorithmES256 = -7   // ECDSA on P-256 with SHA-256
	AlgorithmEdDSA = -8   // Ed25519
	AlgorithmRS256 = -257 // RSASSA-PKCS1-v1_5 with SHA-256
)

// leastModulus is the shortest RSA key that is taken, in bits (NIST SP 800-57),
// and mostModulus the longest: a bundle of a stranger's must not keep whoever
// checks it busy for minutes.
const leastModulus, mostModulus = 2048, 8192

func (*Passkey) Kind() Kind { return "passkey" }

func (p *Passkey) check(fs *faults) {
	fs.id("/person", p.Person, false)
	fs.need("/host", p.Host, "It is not said under which host name the passkey works", "")
	fs.encoded("/credential", p.Credential)
	if usable, _ := p.signs(nil, nil); !usable {
		fs.add("/public_key", p.PublicKey, "a key for ES256 (-7), EdDSA (-8) or RS256 (-257) in base64url", "The public key cannot be used", "Let the program read it from the device.")
	}
	switch {
	case p.Means != "link" && p.Means != "account":
		fs.add("/means", p.Means, "link, account", "It is not said how the person of the passkey was known", "")
	case p.Means == "account":
		fs.id("/account", p.Account, false)
	}
}

// mostEncoded is how long the bytes of a device may be, in characters.
const mostEncoded = 16384

// encoded wants bytes in base64url without padding.
func (fs *faults) encoded(pointer, text string) {
	if raw, err := base64.RawURLEncoding.DecodeString(text); err != nil || len(raw) == 0 || len(text) > mostEncoded {
		fs.add(pointer, text, "base64url without padding", "The bytes are missing or malformed", "Let the program read them from the device.")
	}
}

// signs says whether a key can be used at all, and whether a signature over a
// message is its own.
func (p *Passkey) signs(message, signature []byte) (usable, good bool) {
	der, err := base64.RawURLEncoding.DecodeString(p.PublicKey)
	if err != nil {
		return false, false
	}
	key, err := x509.ParsePKIXPublicKey(der)
	if err != nil {
		return false, false
	}
	sum := sha256.Sum256(message)
	switch key := key.(type) {
	case *ecdsa.PublicKey:
		usable = p.Algorithm == AlgorithmES256 && key.Curve == elliptic.P256()
		return usable, usable && ecdsa.VerifyASN1(key, sum[:], signature)
	case ed25519.PublicKey:
		usable = p.Algorithm == AlgorithmEdDSA
		return usable, usable && ed25519.Verify(key, message, signature)
	case *rsa.PublicKey:
		usable = p.Algorithm == AlgorithmRS256 && key.N.BitLen() >= leastModulus && key.N.BitLen() <= mostModulus
		return usable, usable && rsa.VerifyPKCS1v15(key, crypto.SHA256, sum[:], signature) == nil
	}
	return false, false
}

// Assertion is what a passkey's device gave when its person confirmed a
// decision: enough to check it with nothing but the record.
type Assertion struct {
	Passkey    string `json:"passkey"` // the record that binds the key
	Credential string `json:"credential"`
	PublicKey  string `json:"public_key"`
	// Nonce makes the challenge one of its own, so that no signature serves twice.
	Nonce string `json:"nonce"`
	// AuthenticatorData, ClientData and Signature are the device's bytes as they
	// came, in base64url (Web Authentication, Level 3, sections 6.1 and 5.8.1).
	AuthenticatorData string `json:"authenticator_data"`
	ClientData        string `json:"client_data"`
	Signature         string `json:"signature"`
}

func (a *Assertion) check(fs *faults) {
	fs.id("/assertion/passkey", a.Passkey, false)
	for _, x := range [...]struct{ pointer, text string }{{"credential", a.Credential}, {"public_key", a.PublicKey}, {"nonce", a.Nonce},
		{"authenticator_data", a.AuthenticatorData}, {"client_data", a.ClientData}, {"signature", a.Signature}} {
		fs.encoded("/assertion/"+x.pointer, x.text)
	}
}

// statement is all of a decision that its person answers for.
type statement struct {
	Statement  string     `json:"statement"`
	Machine    string     `json:"machine"`
	On         string     `json:"on"`
	Digest     string     `json:"digest"`
	Answer     string     `json:"answer"`
	Options    []string   `json:"options,omitempty"`
	Conditions []string   `json:"conditions,omitempty"`
	Reason     string     `json:"reason,omitempty"`
	Until      *time.Time `json:"until,omitempty"`
	TakesBack  string     `json:"takes_back,omitempty"`
	Person     string     `json:"person"`
	Channel    string     `json:"channel"`
	Account    string     `json:"account,omitempty"`
	Witness    string     `json:"witness,omitempty"`
	Supersedes string     `json:"supersedes,omitempty"`
	Note       string     `json:"note,omitempty"`
	Nonce      string     `json:"nonce"`
}

// Challenge is what a passkey signs to confirm a decision on a machine: the
// SHA-256 of the canonical JSON of its statement.
func (d *Decision) Challenge(machine, nonce string) ([]byte, error) {
	text, err := CanonicalJSON(statement{"asfound decision 1", machine, d.On, d.Digest, d.Answer, d.Options, d.Conditions, d.Reason, d.Until, d.TakesBack,
		d.Person, d.Channel, d.Account, d.Witness, d.Supersedes, d.Note, nonce})
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(text)
	return sum[:], nil
}

// Flags of authenticator data: somebody touched the device, and the device knows
// that it was its person.
const (
	flagPresent  = 1 << 0
	flagVerified = 1 << 2
)

// CheckAssertion says why a passkey's signature does not hold for a decision on
// the dossier as it stood before it; nil when it holds, or when there is none.
// Everything it needs stands in the record. CodeRefused otherwise.
func (d *Dossier) CheckAssertion(b *Decision) error {
	a := b.Assertion
	if a == nil {
		return nil
	}
	e, ok := d.Entry(a.Passkey)
	if !ok || !e.Live() || e.Kind != "passkey" {
		return badSignature("its passkey %q is not on record, or was withdrawn before", a.Passkey)
	}
	key := e.Body.(*Passkey)
	if key.Person != b.Person {
		return badSignature("the passkey is bound to %q, and %q decides", key.Person, b.Person)
	}
	if key.Credential != a.Credential || key.PublicKey != a.PublicKey {
		return badSignature("it names another key than the one that is bound to %q", key.Person)
	}
	for _, other := range All[*Decision](d) {
		if o := other.Record.Assertion; o != nil && (o.Nonce == a.Nonce || o.Signature == a.Signature) {
			return badSignature("it has been used before, for %q", other.RecordID())
		}
	}
	challenge, err := b.Challenge(d.ID, a.Nonce)
	if err != nil {
		return err
	}
	return key.checkAssertion(a, challenge)
}

func badSignature(format string, args ...any) error {
	return Refuse(CodeRefused, "Open the question again and confirm it anew, or answer without the passkey.", "The passkey’s signature does not stand for this answer: "+format, args...)
}

// checkAssertion follows Web Authentication, Level 3, section 7.2, as far as it
// can be followed without the page that asked.
func (p *Passkey) checkAssertion(a *Assertion, challenge []byte) error {
	var raw [3][]byte
	for i, text := range [...]string{a.AuthenticatorData, a.ClientData, a.Signature} {
		var err error
		if raw[i], err = base64.RawURLEncoding.DecodeString(text); err != nil {
			return badSignature("its bytes are malformed")
		}
	}
	data, client, signature := raw[0], raw[1], raw[2]
	var said struct {
		Type        string `json:"type"`
		Challenge   string `json:"challenge"`
		Origin      string `json:"origin"`
		CrossOrigin bool   `json:"crossOrigin"`
	}
	if err := json.Unmarshal(client, &said); err != nil || said.Type != "webauthn.get" {
		return badSignature("it was not given to confirm something")
	}
	if given, err := base64.RawURLEncoding.DecodeString(said.Challenge); err != nil || !bytes.Equal(given, challenge) {
		return badSignature("it was given for something else")
	}
	if said.CrossOrigin || !originOf(said.Origin, p.Host) {
		return badSignature("it was given on a page of %q, and the passkey is for %q", said.Origin, p.Host)
	}
	host := sha256.Sum256([]byte(p.Host))
	if len(data) < 37 || !bytes.Equal(data[:32], host[:]) {
		return badSignature("the device signed for another host than %q", p.Host)
	}
	if data[32]&(flagPresent|flagVerified) != flagPresent|flagVerified {
		return badSignature("the device did not verify its person")
	}
	sum := sha256.Sum256(client)
	if _, good := p.signs(append(bytes.Clone(data), sum[:]...), signature); !good {
		return badSignature("it was not made by the key on record")
	}
	return nil
}

// originOf says whether an origin is a page that a passkey of a host works on:
// encrypted, or on this computer.
func originOf(origin, host string) bool {
	u, err := url.Parse(origin)
	return err == nil && u.Hostname() == host && (u.Scheme == "https" || u.Scheme == "http" && (host == "localhost" || strings.HasSuffix(host, ".localhost")))
}

// PasskeysOf lists the passkeys of a person that may sign now.
func (d *Dossier) PasskeysOf(person string) []Found[*Passkey] {
	var out []Found[*Passkey]
	for _, p := range Live[*Passkey](d) {
		if p.Record.Person == person {
			out = append(out, p)
		}
	}
	return out
}

// decidePasskey: only who may decide gets one bound, and a link binds the first
// alone: whoever finds a link later cannot bind theirs beside it.
func decidePasskey(d *Dossier, p *Passkey) error {
	if !d.MayDecide(p.Person) {
		return Refuse(CodeRefused, "Ask the owner of record.", "%q may not decide for this machine", p.Person)
	}
	if p.Supersedes != "" {
		return Refuse(CodeRefused, "Withdraw it and let its person make a new one.", "A passkey is not corrected: signatures rest on it")
	}
	for _, other := range All[*Passkey](d) {
		if other.Record.Credential == p.Credential {
			return Refuse(CodeConflict, "Sign with it, or make another.", "This passkey is on record already, as %q", other.RecordID())
		}
	}
	if bound := d.PasskeysOf(p.Person); p.Means == "link" && len(bound) > 0 {
		return Refuse(CodeRefused, "Sign with that one. If its device is lost, tell the workshop, which withdraws it; then the link takes a new one.",
			"A passkey of this person was bound on %s already", bound[0].Recorded.UTC().Format("2 January 2006"))
	}
	return nil
}
