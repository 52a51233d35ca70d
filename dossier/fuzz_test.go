package dossier

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// FuzzPart puts anything into the place of one file of a bundle and lists it as
// a careful forger would, without the registry's key. Only what was there
// before verifies under that key.
func FuzzPart(f *testing.F) {
	s := newShop(f, "drover-1957").fill()
	b := s.bundle(EditionPrivate)
	whole := unpack(f, b)
	for i, p := range whole {
		f.Add(uint8(i), p.data, false)
		f.Add(uint8(i), bytes.Replace(p.data, []byte("1"), []byte("2"), 1), true)
	}
	f.Fuzz(func(t *testing.T, which uint8, data []byte, sealed bool) {
		parts := slices.Clone(whole)
		p := &parts[int(which)%len(parts)]
		same := bytes.Equal(p.data, data)
		p.data = data
		s.t = t
		if sealed && p.name != fileManifest {
			s.reseal(parts, "", nil)
			same = same && bytes.Equal(find(parts, fileManifest).data, find(whole, fileManifest).data)
		}
		r, err := check1(pack(t, parts, s.at), s.verifier)
		if same {
			require.NoError(t, err)
			return
		}
		var later struct{ Format int }
		if p.name == fileManifest && json.Unmarshal(data, &later) == nil && later.Format > BundleFormat {
			require.Equal(t, registry.CodeUnsupported, registry.CodeOf(err))
			return
		}
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), p.name)
		require.NotEmpty(t, r.Findings)
		for _, f := range r.Findings {
			require.NotEmpty(t, f.Code)
			require.NotEmpty(t, f.What)
		}
	})
}

// FuzzNote: what is read as a checkpoint or as a change of key says in its body
// what was signed; without the keys nobody makes another. A secret line that is
// read gives the public one under which its signatures hold.
func FuzzNote(f *testing.F) {
	signer, verifier, err := NewKey(random(1), "registry.example/aldmouth")
	require.NoError(f, err)
	next, nextVerifier, err := NewKey(random(2), "registry.example/aldmouth")
	require.NoError(f, err)
	c := Checkpoint{Origin: "registry.example/aldmouth/drover", Size: 3, Root: "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="} // RFC 6962, 2.1: the root of no entries
	signed, err := SignCheckpoint(c, signer)
	require.NoError(f, err)
	witnessed, err := Cosign(signed, next, verifier)
	require.NoError(f, err)
	change := KeyChange{Old: verifier, New: nextVerifier, Because: BecauseRotation, At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
	changed, err := SignKeyChange(change, signer, next)
	require.NoError(f, err)
	for _, text := range [][]byte{signed, witnessed, changed, []byte(c.Text()), []byte(change.Text()), []byte(signer), []byte(verifier), []byte("a\n-1\n\n"),
		[]byte(strings.Replace(c.Text(), "\n3\n", "\n03\n", 1)), []byte(strings.Replace(c.Text(), "uFU=", "uFV=", 1))} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if got, err := ParseCheckpoint(text); err == nil {
			body, _, _ := strings.Cut(string(text), "\n\n")
			require.Equal(t, strings.TrimSuffix(body, "\n")+"\n", got.Text())
			again, err := SignCheckpoint(got, next)
			require.NoError(t, err)
			opened, by, err := OpenCheckpoint(again, verifier, nextVerifier)
			require.NoError(t, err)
			require.Equal(t, got, opened)
			require.Equal(t, []string{nextVerifier}, by)
		} else {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
		}
		if got, by, err := OpenCheckpoint(text, verifier, nextVerifier); err == nil {
			require.Equal(t, c, got, "nobody signed this: %q", text)
			require.NotEmpty(t, by)
		} else {
			require.Contains(t, []registry.Code{registry.CodeTampered, registry.CodeInvalid, registry.CodeTooLarge}, registry.CodeOf(err))
		}
		if got, _, err := OpenKeyChange(text); err == nil {
			require.Equal(t, change, got)
		} else {
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
		}
		if public, err := VerifierOf(string(text)); err == nil {
			require.NotEmpty(t, KeyName(public))
			made, err := SignCheckpoint(c, string(text))
			require.NoError(t, err)
			_, _, err = OpenCheckpoint(made, public)
			require.NoError(t, err)
		} else {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
		}
	})
}
