package access

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"math/big"
	"slices"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/protocol/webauthncose"
	"github.com/go-webauthn/webauthn/webauthn"

	"example.org/asfound/registry"
)

// Key is a passkey without its device, as a record can hold it: credential and
// SubjectPublicKeyInfo in base64url, and the algorithm by its COSE number.
type Key struct {
	Credential, PublicKey string
	Algorithm             int
}

// keyAlgorithms are those that a record can be checked by.
var keyAlgorithms = []int{registry.AlgorithmES256, registry.AlgorithmEdDSA, registry.AlgorithmRS256}

// AskKey is what a browser is asked for to make a passkey that confirms
// decisions. user is any bytes that stand for its person and say nothing.
func (p Place) AskKey(challenge, user []byte, name string) map[string]any {
	var params []map[string]any
	for _, alg := range keyAlgorithms {
		params = append(params, map[string]any{"type": "public-key", "alg": alg})
	}
	return map[string]any{"challenge": encoded(challenge), "rp": map[string]any{"id": p.Host, "name": "asfound"}, "user": map[string]any{"id": encoded(user), "name": name, "displayName": name},
		"pubKeyCredParams": params, "attestation": "none", "timeout": ceremonyFor.Milliseconds(),
		"authenticatorSelection": map[string]any{"residentKey": "preferred", "userVerification": "required"}}
}

// AskConfirm is what a browser is asked for to confirm a decision with one of
// some keys.
func (p Place) AskConfirm(challenge []byte, keys []Key) map[string]any {
	var allow []map[string]any
	for _, k := range keys {
		allow = append(allow, map[string]any{"type": "public-key", "id": k.Credential})
	}
	return map[string]any{"challenge": encoded(challenge), "rpId": p.Host, "allowCredentials": allow, "userVerification": "required", "timeout": ceremonyFor.Milliseconds()}
}

func encoded(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// MadeKey reads a passkey that a browser made for a challenge. CodeWrong when it
// does not belong to it, to this place, or is of a kind that cannot be kept.
func (p Place) MadeKey(challenge, user, response []byte) (Key, error) {
	party, err := p.party()
	if err != nil {
		return Key{}, err
	}
	parsed, err := protocol.ParseCredentialCreationResponseBody(bytes.NewReader(response))
	if err != nil {
		return Key{}, badKey()
	}
	var params []protocol.CredentialParameter
	for _, alg := range keyAlgorithms {
		params = append(params, protocol.CredentialParameter{Type: protocol.PublicKeyCredentialType, Algorithm: webauthncose.COSEAlgorithmIdentifier(alg)})
	}
	made, err := party.CreateCredential(passkeyUser{id: string(user)}, webauthn.SessionData{Challenge: encoded(challenge), UserID: user, UserVerification: protocol.VerificationRequired, CredParams: params}, parsed)
	if err != nil {
		return Key{}, badKey()
	}
	return keyOf(made)
}

// KeysOf are the passkeys with which an account signs in at a host, as records
// can hold them.
func (b *Book) KeysOf(account, host string) ([]Key, error) {
	s, err := b.Store.Read()
	if err != nil {
		return nil, err
	}
	a := s.byID(account)
	if a == nil || !a.Revoked.IsZero() {
		return nil, nil
	}
	var out []Key
	for _, c := range a.passkeyUser(host).credentials {
		if k, err := keyOf(&c); err == nil {
			out = append(out, k)
		}
	}
	return out, nil
}

// keyOf brings a credential's COSE key (RFC 9052) into the form of certificates.
func keyOf(c *webauthn.Credential) (Key, error) {
	parsed, err := webauthncose.ParsePublicKey(c.PublicKey)
	if err != nil {
		return Key{}, badKey()
	}
	var public any
	var algorithm int64
	switch k := parsed.(type) {
	case webauthncose.EC2PublicKeyData:
		if public, err = ecdsa.ParseUncompressedPublicKey(elliptic.P256(), slices.Concat([]byte{4}, k.XCoord, k.YCoord)); err != nil {
			return Key{}, badKey()
		}
		algorithm = k.Algorithm
	case webauthncose.OKPPublicKeyData:
		public, algorithm = ed25519.PublicKey(k.XCoord), k.Algorithm
	case webauthncose.RSAPublicKeyData:
		public, algorithm = &rsa.PublicKey{N: new(big.Int).SetBytes(k.Modulus), E: int(new(big.Int).SetBytes(k.Exponent).Int64())}, k.Algorithm
	}
	if !slices.Contains(keyAlgorithms, int(algorithm)) {
		return Key{}, badKey()
	}
	der, err := x509.MarshalPKIXPublicKey(public)
	if err != nil {
		return Key{}, badKey()
	}
	return Key{encoded(c.ID), encoded(der), int(algorithm)}, nil
}

func badKey() error {
	return registry.Refuse(CodeWrong, "Make it again here, or answer without one.", "The passkey that was made cannot be kept")
}

// Confirmed is what a browser gave when a passkey confirmed something.
type Confirmed struct {
	ID       string `json:"id"`
	Response struct {
		AuthenticatorData string `json:"authenticatorData"`
		ClientData        string `json:"clientDataJSON"`
		Signature         string `json:"signature"`
	} `json:"response"`
}

// ReadConfirmed reads it; what it is worth is for registry.Decide to say.
// CodeWrong for anything else.
func ReadConfirmed(response []byte) (Confirmed, error) {
	var c Confirmed
	if err := json.Unmarshal(response, &c); err != nil || c.ID == "" || c.Response.Signature == "" {
		return c, registry.Refuse(CodeWrong, "Confirm it again, or answer without the passkey.", "The passkey’s answer cannot be read")
	}
	return c, nil
}

// Origin of what a passkey confirmed, "" when it cannot be read.
func (c Confirmed) Origin() string {
	raw, err := base64.RawURLEncoding.DecodeString(c.Response.ClientData)
	var said struct {
		Origin string `json:"origin"`
	}
	if err != nil || json.Unmarshal(raw, &said) != nil {
		return ""
	}
	return said.Origin
}
