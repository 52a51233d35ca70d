package dossier

import (
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"example.org/asfound/registry"
)

// Why a registry signs with another key.
const (
	BecauseRotation    = "rotation"    // the old key is retired in good order
	BecauseLost        = "lost"        // nobody holds the old key any more
	BecauseCompromised = "compromised" // somebody else may hold the old key
)

// Becauses lists the reasons.
func Becauses() []string { return []string{BecauseRotation, BecauseLost, BecauseCompromised} }

// KeyChange says that a registry signs with another key from a moment on. It is
// signed by the new key, and by the old one unless that is lost.
type KeyChange struct {
	Old, New string // public lines
	Because  string
	At       time.Time
}

const keyChangeTitle = "asfound key change 1"

// Text is the body that is signed.
func (k KeyChange) Text() string {
	return strings.Join([]string{keyChangeTitle, "old " + k.Old, "new " + k.New, "because " + k.Because, "at " + k.At.UTC().Format(time.RFC3339)}, "\n") + "\n"
}

// SignKeyChange signs a change with secret keys as a C2SP signed note.
// CodeInvalid for a reason that is none of Becauses, or keys that are the same.
func SignKeyChange(k KeyChange, signers ...string) ([]byte, error) {
	if !slices.Contains(Becauses(), k.Because) || k.Old == k.New {
		return nil, registry.Refuse(registry.CodeInvalid, "Give one of "+strings.Join(Becauses(), ", ")+".", "The change of key from %s to %s because of %q cannot be signed", Fingerprint(k.Old), Fingerprint(k.New), k.Because)
	}
	return signNote(k.Text(), signers...)
}

// OpenKeyChange reads a change and says whose signatures under it hold.
// CodeTampered when the new key has not signed it, or a signature is wrong.
func OpenKeyChange(text []byte) (k KeyChange, byOld bool, err error) {
	bad := registry.Refuse(registry.CodeTampered, "Ask the registry for it again.", "The change of key is not as it was signed")
	body, _, _ := strings.Cut(string(text), "\n\n")
	lines := strings.Split(strings.TrimSuffix(body, "\n"), "\n")
	if len(text) > maxNoteBytes || len(lines) != 5 || lines[0] != keyChangeTitle {
		return k, false, bad
	}
	for i, at := range []struct {
		name string
		into *string
	}{{"old ", &k.Old}, {"new ", &k.New}, {"because ", &k.Because}} {
		value, ok := strings.CutPrefix(lines[i+1], at.name)
		if !ok {
			return k, false, bad
		}
		*at.into = value
	}
	when, ok := strings.CutPrefix(lines[4], "at ")
	if k.At, err = time.Parse(time.RFC3339, when); err != nil || !ok || k.Text() != body+"\n" || !slices.Contains(Becauses(), k.Because) {
		return k, false, bad
	}
	newer, err := note.NewVerifier(k.New)
	if err != nil {
		return k, false, bad
	}
	older, err := note.NewVerifier(k.Old)
	if err != nil {
		return k, false, bad
	}
	opened, err := note.Open(text, note.VerifierList(older, newer))
	if err != nil {
		return k, false, bad
	}
	byNew := false
	for _, s := range opened.Sigs {
		byNew = byNew || s.Name == newer.Name() && s.Hash == newer.KeyHash()
		byOld = byOld || s.Name == older.Name() && s.Hash == older.KeyHash()
	}
	if !byNew {
		return k, false, bad
	}
	return k, byOld, nil
}

// TrustedKeys follows changes of key from the keys that a reader trusts, in the
// order in which they are given. A change counts when the reader trusts its old
// key and that key has signed it; a retired or compromised key is not trusted
// any longer. A change that nobody who is trusted has signed is an error: the
// reader must get the new key from the registry itself.
func TrustedKeys(pinned []string, changes [][]byte) ([]string, error) {
	keys := slices.Clone(pinned)
	for _, text := range changes {
		k, byOld, err := OpenKeyChange(text)
		if err != nil {
			return nil, err
		}
		if !slices.Contains(keys, k.Old) || !byOld {
			return nil, registry.Refuse(registry.CodeTampered, "Get the new key from the registry itself, by another way, and give it with --key.",
				"The change to the key %s is not signed by a key that you trust", Fingerprint(k.New))
		}
		if k.Because == BecauseCompromised {
			return nil, registry.Refuse(registry.CodeTampered, "Get the new key from the registry itself, by another way, and give it with --key alone.",
				"The key %s may be in strange hands since before %s: whoever holds it could have signed this change too", Fingerprint(k.Old), k.At.UTC().Format(time.DateOnly))
		}
		keys = append(keys, k.New)
	}
	return keys, nil
}
