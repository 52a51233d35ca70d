package access

import (
	"context"
	"crypto/subtle"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/unicode/norm"

	"example.org/asfound/registry"
)

// Lengths of a password, in characters. There are no rules of composition, and
// no password runs out.
const (
	MinPassword     = 8
	AdvisedPassword = 15
	MaxPassword     = 256
)

// phc is a password as it is stored, by the PHC string format.
type phc struct {
	memory, time uint32 // KiB, passes
	lanes        uint8
	salt, tag    []byte
}

// Parameters of new passwords: the floor of common guidance for Argon2id,
// m = 19456 KiB, t = 2, p = 1. A stored password with less is refused.
const (
	argonMemory = 19456
	argonTime   = 2
	argonLanes  = 1
	saltBytes   = 16
	tagBytes    = 32
)

func (p phc) String() string {
	enc := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, p.memory, p.time, p.lanes, enc.EncodeToString(p.salt), enc.EncodeToString(p.tag))
}

var errPHC = errors.New("not an Argon2id PHC string of sufficient cost")

func parsePHC(text string) (phc, error) {
	var p phc
	var version int
	parts := strings.Split(text, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" {
		return p, errPHC
	}
	if n, err := fmt.Sscanf(parts[2], "v=%d", &version); err != nil || n != 1 || version != argon2.Version {
		return p, errPHC
	}
	if n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &p.memory, &p.time, &p.lanes); err != nil || n != 3 {
		return p, errPHC
	}
	var err error
	if p.salt, err = base64.RawStdEncoding.DecodeString(parts[4]); err != nil {
		return p, errPHC
	}
	if p.tag, err = base64.RawStdEncoding.DecodeString(parts[5]); err != nil {
		return p, errPHC
	}
	// Above the upper bounds a damaged file could stop the machine.
	if p.memory < argonMemory || p.memory > 1<<20 || p.time < 1 || p.time > 16 || p.lanes < 1 || p.lanes > 16 || len(p.salt) < saltBytes || len(p.tag) != tagBytes {
		return p, errPHC
	}
	return p, nil
}

// hashing lets two passwords be hashed at once: each takes 19 MiB.
var hashing = make(chan struct{}, 2)

func (p phc) hash(ctx context.Context, password string) ([]byte, error) {
	select {
	case hashing <- struct{}{}:
		defer func() { <-hashing }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	return argon2.IDKey([]byte(norm.NFC.String(password)), p.salt, p.time, p.memory, p.lanes, tagBytes), nil
}

func hashPassword(ctx context.Context, random io.Reader, password string) (string, error) {
	p := phc{memory: argonMemory, time: argonTime, lanes: argonLanes, salt: make([]byte, saltBytes)}
	if _, err := io.ReadFull(random, p.salt); err != nil {
		return "", err
	}
	var err error
	p.tag, err = p.hash(ctx, password)
	return p.String(), err
}

// nobody is checked where there is no password, so that the answer takes as
// long as it does for somebody.
var nobody = phc{memory: argonMemory, time: argonTime, lanes: argonLanes, salt: make([]byte, saltBytes), tag: make([]byte, tagBytes)}

// matches says whether a password is the stored one. Without a stored one it
// takes the same time and says no.
func matches(ctx context.Context, stored, password string) (bool, error) {
	p, err := parsePHC(stored)
	there := err == nil
	if !there {
		p = nobody
	}
	tag, err := p.hash(ctx, password)
	if err != nil {
		return false, err
	}
	return subtle.ConstantTimeCompare(tag, p.tag) == 1 && there, nil
}

//go:embed common.txt
var commonFile string

var common = sync.OnceValue(func() []string {
	out := strings.Fields(commonFile)
	slices.Sort(out)
	return out
})

// checkPassword says whether a password may be used. Its length counts in
// characters. What is guessed first is refused: common ones, also with figures
// at the end, one character again and again, runs such as 12345678, and the name.
func checkPassword(password, name string) error {
	n := utf8.RuneCountInString(norm.NFC.String(password))
	switch {
	case n < MinPassword:
		return field("/password", "", "The password is too short", "Use 8 characters at least; 15 or more are better, such as four words.")
	case n > MaxPassword:
		return field("/password", "", "The password is too long", "Use 256 characters at most.")
	case isGuessed(password, name):
		return field("/password", "", "The password is one of those that are tried first", "Take four or five words that have nothing to do with each other.")
	}
	return nil
}

func isGuessed(password, name string) bool {
	word := fold(password)
	stem := strings.TrimRight(word, "0123456789!?.*#_-")
	for _, w := range []string{word, stem} {
		if _, found := slices.BinarySearch(common(), w); found {
			return true
		}
	}
	who := strings.ReplaceAll(fold(name), " ", "")
	if len(who) >= 3 && strings.ReplaceAll(stem, " ", "") == who {
		return true
	}
	return isRun(word)
}

// isRun says whether each character follows the one before by the same step of
// -1, 0 or 1, or the whole is a short piece repeated.
func isRun(word string) bool {
	r := []rune(word)
	for _, step := range []rune{-1, 0, 1} {
		same := true
		for i := 1; i < len(r) && same; i++ {
			same = r[i]-r[i-1] == step
		}
		if same {
			return true
		}
	}
	for size := 1; size <= 4 && size*2 <= len(r); size++ {
		if len(r)%size == 0 && strings.Repeat(string(r[:size]), len(r)/size) == word {
			return true
		}
	}
	return false
}

// ErrWrong is the one answer to everything that does not let somebody in.
func errWrong() error {
	return registry.Refuse(CodeWrong, "Type both again. A recovery code works in place of the password, once. The keeper of the registry can give you a new way in.",
		"The name and the password do not belong together")
}
