package registry

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
)

// Private is a value that must not travel with the public record: a name, an
// address, a storage place, a whole frame number. The event holds only the
// digest of a small salted document, PrivateDocument; the document itself is
// kept apart. So the public edition of a record is the same bytes, with the
// same hashes, and a value that has been erased leaves a record that verifies.
type Private struct {
	// Digest is "sha256:…" of the PrivateDocument; empty until it is sealed.
	Digest string
	// Value is the value itself, where it is known. It is never marshalled
	// once there is a digest.
	Value string
}

// PrivateDocument is what a Private points at.
type PrivateDocument struct {
	Salt  string `json:"salt"` // 128 random bits in hex: the value cannot be guessed from its digest
	Value string `json:"value"`
}

// IsZero reports whether there is no value and no digest.
func (p Private) IsZero() bool { return p.Digest == "" && p.Value == "" }

// MarshalJSON writes {"withheld": digest}. An unsealed value is written as the
// plain string that the user gave.
func (p Private) MarshalJSON() ([]byte, error) {
	if p.Digest != "" {
		return json.Marshal(map[string]string{"withheld": p.Digest})
	}
	return json.Marshal(p.Value)
}

// UnmarshalJSON takes a plain string, as a person gives it, or the sealed form.
func (p *Private) UnmarshalJSON(data []byte) error {
	if bytes.HasPrefix(bytes.TrimSpace(data), []byte("{")) {
		var raw struct {
			Withheld string `json:"withheld"`
		}
		if err := strictJSON(data, &raw); err != nil {
			return err
		}
		p.Digest, p.Value = raw.Withheld, ""
		return nil
	}
	p.Digest = ""
	return json.Unmarshal(data, &p.Value)
}

// CheckDigest reports whether s is "sha256:" and 64 lower-case hex figures.
func CheckDigest(s string) bool {
	const prefix = "sha256:"
	if len(s) != len(prefix)+64 || s[:len(prefix)] != prefix {
		return false
	}
	b, err := hex.DecodeString(s[len(prefix):])
	return err == nil && hex.EncodeToString(b) == s[len(prefix):]
}

// Mask hides the middle of a number: the first two and the last two characters
// stay, everything between becomes a dot. A number of fewer than six
// characters is hidden but for its first.
func Mask(number string) string {
	r := []rune(number)
	head, tail := 2, 2
	if len(r) < 6 {
		head, tail = 1, 0
	}
	for i := head; i < len(r)-tail; i++ {
		r[i] = '•'
	}
	return string(r)
}
