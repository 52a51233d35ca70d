package dossier

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/mod/sumdb/note"

	"example.org/asfound/registry"
)

// Checkpoint says how a machine's history stood: the C2SP tlog-checkpoint of
// one Merkle log, without extension lines.
type Checkpoint struct {
	Origin string // "registry name/machine"
	Size   int64  // number of events
	Root   string // root hash in base64, as registry.Tree gives it
}

// maxNoteBytes is the largest signed note that is read.
const maxNoteBytes = 64 << 10

// keyPrefix begins a secret key as golang.org/x/mod/sumdb/note writes it.
const keyPrefix = "PRIVATE+KEY+"

// algEd25519 is the signature type byte of an Ed25519 key in a signed note.
const algEd25519 = 1

// NewKey makes a registry's signing key from 32 random bytes: the signer, to be
// kept secret, and the verifier, to be given to everybody. Both are one line of
// text in the form of C2SP signed-note. The name stands before every machine in
// a checkpoint's origin, so it is best a domain and path of one's own, such as
// "registry.example/aldmouth". CodeInvalid for a name with a space or "+".
func NewKey(random io.Reader, name string) (signer, verifier string, err error) {
	if err := checkName(name); err != nil {
		return "", "", err
	}
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(random, seed); err != nil {
		return "", "", fmt.Errorf("make a signing key: %w", err)
	}
	verifier, err = note.NewEd25519VerifierKey(name, ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey))
	if err != nil {
		return "", "", err
	}
	hash := strings.Split(verifier, "+")[1]
	signer = keyPrefix + name + "+" + hash + "+" + base64.StdEncoding.EncodeToString(append([]byte{algEd25519}, seed...))
	return signer, verifier, nil
}

// VerifierOf gives the public line that belongs to a secret one. CodeInvalid
// when signer is not a key that NewKey made.
func VerifierOf(signer string) (string, error) {
	bad := registry.Refuse(registry.CodeInvalid, "Use the line that was made with the registry.", "The signing key cannot be read")
	if _, err := note.NewSigner(signer); err != nil {
		return "", bad
	}
	parts := strings.SplitN(strings.TrimPrefix(signer, keyPrefix), "+", 3)
	raw, err := base64.StdEncoding.DecodeString(parts[len(parts)-1])
	if err != nil || len(raw) != 1+ed25519.SeedSize || raw[0] != algEd25519 {
		return "", bad
	}
	return note.NewEd25519VerifierKey(parts[0], ed25519.NewKeyFromSeed(raw[1:]).Public().(ed25519.PublicKey))
}

// KeyName is the registry name in a verifier line; "" when it cannot be read.
func KeyName(verifier string) string {
	v, err := note.NewVerifier(verifier)
	if err != nil {
		return ""
	}
	return v.Name()
}

// Fingerprint is short enough to be read over the telephone: the first 16 hex
// figures of the SHA-256 of the verifier line, in fours.
func Fingerprint(verifier string) string {
	sum := sha256.Sum256([]byte(verifier))
	h := hex.EncodeToString(sum[:8])
	return h[:4] + " " + h[4:8] + " " + h[8:12] + " " + h[12:]
}

// Origin names one machine's history in one registry. CodeInvalid for a
// registry name or machine that a checkpoint cannot hold.
func Origin(registryName, machine string) (string, error) {
	if err := checkName(registryName); err != nil {
		return "", err
	}
	if err := registry.CheckID("/machine", machine); err != nil {
		return "", err
	}
	return registryName + "/" + machine, nil
}

func checkName(name string) error {
	if name == "" || len(name) > 200 || strings.HasSuffix(name, "/") || strings.ContainsFunc(name, unfitForNote) {
		return registry.Refuse(registry.CodeInvalid, "Choose one such as registry.example/aldmouth: no space, no \"+\", no \"/\" at the end.",
			"The registry name %q cannot be used", name)
	}
	return nil
}

// unfitForNote are the characters that a name in a signed note cannot have.
func unfitForNote(r rune) bool {
	return r == '+' || r == unicode.ReplacementChar || unicode.IsSpace(r) || !unicode.IsPrint(r)
}

// Text is the body that is signed: origin, size and root, a line each.
func (c Checkpoint) Text() string {
	return c.Origin + "\n" + strconv.FormatInt(c.Size, 10) + "\n" + c.Root + "\n"
}

// ParseCheckpoint reads the body of a checkpoint, signed or not, without
// looking at signatures. CodeInvalid when it is not one.
func ParseCheckpoint(text []byte) (Checkpoint, error) {
	body, _, _ := strings.Cut(string(text), "\n\n")
	lines := strings.Split(strings.TrimSuffix(body, "\n"), "\n")
	bad := func(why string) (Checkpoint, error) {
		return Checkpoint{}, registry.Refuse(registry.CodeInvalid, "", "The checkpoint cannot be read: %s", why)
	}
	if len(lines) != 3 {
		return bad("it has " + strconv.Itoa(len(lines)) + " lines before the signatures, not three")
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil || size < 0 || strconv.FormatInt(size, 10) != lines[1] {
		return bad("its size is not a whole number")
	}
	root, err := base64.StdEncoding.Strict().DecodeString(lines[2])
	if err != nil || len(root) != sha256.Size || base64.StdEncoding.EncodeToString(root) != lines[2] {
		return bad("its root is not a SHA-256 in base64")
	}
	c := Checkpoint{Origin: lines[0], Size: size, Root: lines[2]}
	if strings.ContainsFunc(c.Origin, unfitForNote) || c.Origin == "" {
		return bad("its origin is empty, or has a space, \"+\" or what is not printed")
	}
	return c, nil
}

// SignCheckpoint signs a checkpoint with secret keys as a C2SP signed note.
func SignCheckpoint(c Checkpoint, signers ...string) ([]byte, error) {
	if _, err := ParseCheckpoint([]byte(c.Text())); err != nil {
		return nil, err
	}
	return signNote(c.Text(), signers...)
}

// OpenCheckpoint checks that at least one of the verifiers signed and that no
// signature of theirs is false, and reads the checkpoint. signed lists the
// verifier lines that did sign. CodeTampered otherwise.
func OpenCheckpoint(text []byte, verifiers ...string) (c Checkpoint, signed []string, err error) {
	body, signed, err := openNote(text, verifiers...)
	if err != nil {
		return Checkpoint{}, nil, err
	}
	c, err = ParseCheckpoint([]byte(body))
	return c, signed, err
}

// Cosign adds a witness's signature to a checkpoint that one of the verifiers
// has signed. What it is worth is for the witness to have checked before: that
// the history continues what the witness saw the last time.
func Cosign(text []byte, signer string, verifiers ...string) ([]byte, error) {
	if _, _, err := OpenCheckpoint(text, verifiers...); err != nil {
		return nil, err
	}
	witness, err := note.NewSigner(signer)
	if err != nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Use the line that was made with the registry.", "The signing key cannot be read")
	}
	var list []note.Verifier
	for _, line := range verifiers {
		v, err := note.NewVerifier(strings.TrimSpace(line))
		if err != nil {
			return nil, err
		}
		list = append(list, v)
	}
	n, err := note.Open(text, note.VerifierList(list...))
	if err != nil {
		return nil, err
	}
	return note.Sign(n, witness)
}

func signNote(text string, signers ...string) ([]byte, error) {
	var keys []note.Signer
	for _, s := range signers {
		key, err := note.NewSigner(s)
		if err != nil {
			return nil, registry.Refuse(registry.CodeInvalid, "Use the line that was made with the registry.", "The signing key cannot be read")
		}
		keys = append(keys, key)
	}
	return note.Sign(&note.Note{Text: text}, keys...)
}

func openNote(text []byte, verifiers ...string) (body string, signed []string, err error) {
	if len(text) > maxNoteBytes {
		return "", nil, registry.Refuse(registry.CodeTooLarge, "", "The signed note has more than %d kB", maxNoteBytes>>10)
	}
	var list []note.Verifier
	lineOf := map[[2]string]string{}
	for _, line := range verifiers {
		v, err := note.NewVerifier(strings.TrimSpace(line))
		if err != nil {
			return "", nil, registry.Refuse(registry.CodeInvalid, "It is one line: name, hash and key, with \"+\" between.", "A public key cannot be read")
		}
		id := [2]string{v.Name(), fmt.Sprintf("%08x", v.KeyHash())}
		if lineOf[id] == "" { // the same key twice is one key
			lineOf[id] = strings.TrimSpace(line)
			list = append(list, v)
		}
	}
	n, err := note.Open(text, note.VerifierList(list...))
	var unverified *note.UnverifiedNoteError
	var invalid *note.InvalidSignatureError
	switch {
	case errors.As(err, &unverified):
		return "", nil, registry.Refuse(registry.CodeTampered, "Ask the registry for its public key, over another way than this copy.", "None of the given keys signed it")
	case errors.As(err, &invalid):
		return "", nil, registry.Refuse(registry.CodeTampered, "Do not trust this copy.", "The signature of %q does not fit what is signed", invalid.Name)
	case err != nil:
		return "", nil, registry.Refuse(registry.CodeTampered, "Do not trust this copy.", "It is not a signed note")
	}
	for _, s := range append(slices.Clone(n.Sigs), n.UnverifiedSigs...) {
		// One way only to write a signature: no bits to spare in its base64.
		if _, err := base64.StdEncoding.Strict().DecodeString(s.Base64); err != nil {
			return "", nil, registry.Refuse(registry.CodeTampered, "Do not trust this copy.", "The signature of %q is not written in the one right way", s.Name)
		}
	}
	for _, s := range n.Sigs {
		signed = append(signed, lineOf[[2]string{s.Name, fmt.Sprintf("%08x", s.Hash)}])
	}
	return n.Text, signed, nil
}
