// Package passkeytest is a device in software that holds a passkey, for tests
// alone. It does what it is told, the wrong things too, so that a test can see
// each of them refused.
package passkeytest

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
)

// Device is a device with one passkey, under one host name, such as "localhost"
// with the origin "http://localhost:8350".
type Device struct {
	Host, Origin string
	Credential   []byte
	Algorithm    int // of the COSE register
	// Flags, Type and CrossOrigin are what it says of each act: 0x05 (present
	// and verified) and webauthn.get unless a test wants otherwise.
	Flags       byte
	Type        string
	CrossOrigin bool

	key   crypto.Signer
	count uint32
}

// New makes a device that signs with ES256 (-7), EdDSA (-8) or RS256 (-257).
func New(host, origin string, algorithm int) *Device {
	d := &Device{Host: host, Origin: origin, Algorithm: algorithm, Flags: 0x05, Type: "webauthn.get", Credential: make([]byte, 16)}
	rand.Read(d.Credential)
	var err error
	switch algorithm {
	case -7:
		d.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	case -8:
		_, d.key, err = ed25519.GenerateKey(rand.Reader)
	case -257:
		d.key, err = rsa.GenerateKey(rand.Reader, 2048)
	default:
		err = fmt.Errorf("the device knows no algorithm %d", algorithm)
	}
	if err != nil {
		panic(err)
	}
	return d
}

// Text is base64url without padding, as browsers write bytes.
func Text(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// PublicKey is the SubjectPublicKeyInfo in base64url.
func (d *Device) PublicKey() string {
	der, err := x509.MarshalPKIXPublicKey(d.key.Public())
	if err != nil {
		panic(err)
	}
	return Text(der)
}

// Sign confirms a challenge: authenticator data, client data and signature, each
// in base64url.
func (d *Device) Sign(challenge []byte) (data, client, signature string) {
	rawData, rawClient := d.data(nil), d.client(d.Type, challenge)
	sum := sha256.Sum256(rawClient)
	message, options := append(rawData[:len(rawData):len(rawData)], sum[:]...), crypto.SignerOpts(crypto.SHA256)
	if d.Algorithm == -8 {
		options = crypto.Hash(0)
	} else {
		digest := sha256.Sum256(message)
		message = digest[:]
	}
	sig, err := d.key.Sign(rand.Reader, message, options)
	if err != nil {
		panic(err)
	}
	return Text(rawData), Text(rawClient), Text(sig)
}

// Confirm is Sign as a browser gives it to a page.
func (d *Device) Confirm(challenge []byte) string {
	data, client, signature := d.Sign(challenge)
	return d.response(map[string]any{"authenticatorData": data, "clientDataJSON": client, "signature": signature})
}

// Make is the passkey's making as a browser gives it to a page, without any
// attestation.
func (d *Device) Make(challenge []byte) string {
	// {"fmt": "none", "attStmt": {}, "authData": …} in CBOR.
	attested := d.data(d.attested())
	object := append([]byte{0xa3, 0x63}, "fmt"...)
	object = append(append(object, 0x64), "none"...)
	object = append(append(object, 0x67), "attStmt"...)
	object = append(append(object, 0xa0, 0x68), "authData"...)
	object = append(append(object, 0x59, byte(len(attested)>>8), byte(len(attested))), attested...)
	return d.response(map[string]any{"attestationObject": Text(object), "clientDataJSON": Text(d.client("webauthn.create", challenge))})
}

func (d *Device) response(inner map[string]any) string {
	return string(encode(map[string]any{"id": Text(d.Credential), "rawId": Text(d.Credential), "type": "public-key", "response": inner, "clientExtensionResults": map[string]any{}}))
}

func encode(v any) []byte {
	raw, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return raw
}

func (d *Device) client(what string, challenge []byte) []byte {
	return encode(map[string]any{"type": what, "challenge": Text(challenge), "origin": d.Origin, "crossOrigin": d.CrossOrigin})
}

// data is authenticator data: the hash of the host, flags, a counter, and the
// key where one is made.
func (d *Device) data(attested []byte) []byte {
	host := sha256.Sum256([]byte(d.Host))
	flags := d.Flags
	if attested != nil {
		flags |= 0x40
	}
	d.count++
	out := binary.BigEndian.AppendUint32(append(host[:], flags), d.count)
	return append(out, attested...)
}

// attested is the credential with its key as a COSE map; ES256 alone.
func (d *Device) attested() []byte {
	point, err := d.key.Public().(*ecdsa.PublicKey).Bytes()
	if err != nil {
		panic(err)
	}
	out := append(make([]byte, 16), byte(len(d.Credential)>>8), byte(len(d.Credential)))
	out = append(out, d.Credential...)
	out = append(out, 0xa5, 0x01, 0x02, 0x03, 0x26, 0x20, 0x01, 0x21, 0x58, 32)
	out = append(append(out, point[1:33]...), 0x22, 0x58, 32)
	return append(out, point[33:]...)
}
