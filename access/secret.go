package access

import (
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"fmt"
	"io"
	"strings"
)

var letters = base32.NewEncoding("abcdefghijkmnpqrstuvwxyz23456789").WithPadding(base32.NoPadding)

// secretBytes are the random bytes of a secret: 128 bits.
const secretBytes = 16

// newSecret makes a secret of 26 letters and figures, none of which is taken
// for another.
func newSecret(random io.Reader) (string, error) {
	raw := make([]byte, secretBytes)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", fmt.Errorf("make a secret: %w", err)
	}
	return letters.EncodeToString(raw), nil
}

// newID names something stored; it is no secret.
func newID(prefix string, random io.Reader) (string, error) {
	raw := make([]byte, 10)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", fmt.Errorf("make an identifier: %w", err)
	}
	return prefix + letters.EncodeToString(raw), nil
}

// grouped writes a secret in groups of four, for reading and typing.
func grouped(secret string) string {
	var out []string
	for len(secret) > 4 {
		out, secret = append(out, secret[:4]), secret[4:]
	}
	return strings.Join(append(out, secret), "-")
}

// plain undoes what people do to a secret when they type it.
func plain(typed string) string {
	return strings.ToLower(strings.NewReplacer(" ", "", "-", "", "\t", "", "\n", "").Replace(typed))
}

// digestOf is what is stored of a secret.
func digestOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}
