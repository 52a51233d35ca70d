package dossier

import (
	"bytes"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// documented is the small record that docs/bundle-format.md works through.
func documented(t *testing.T) *shop {
	s := newShop(t, "drover-1957")
	s.record(&registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow", Model: "Drover 350", Year: "1957", Invented: true})
	s.record(&registry.Fault{Common: registry.Common{ID: "f-1"}, Complaint: "Dead when warm.", Components: []string{"ignition.magneto"}, By: "tamsin"})
	s.record(&registry.Fault{Common: registry.Common{ID: "f-2"}, Complaint: "Two pinholes.", Components: []string{"fuel.tank"}, By: "tamsin"})
	return s
}

// TestDocumentedExample keeps the format's description true.
func TestDocumentedExample(t *testing.T) {
	s := documented(t)
	doc, err := os.ReadFile("../docs/bundle-format.md")
	require.NoError(t, err)
	r, err := check1(s.bundle(EditionPublic), s.verifier)
	require.NoError(t, err)
	want := []string{r.Root, r.Head, s.verifier, r.Fingerprint}
	for _, e := range s.events {
		want = append(want, string(e), registry.LeafHash(e))
	}
	for _, p := range unpack(t, s.bundle(EditionPublic)) {
		want = append(want, p.name)
		if p.name == fileCheckpoint || p.name == fileManifest {
			want = append(want, string(p.data))
		}
	}
	for _, w := range want {
		require.Contains(t, string(doc), w)
	}
}

// TestFirstFormat: a bundle that was written by the first release verifies for
// ever. UPDATE_GOLDEN=1 writes it anew, which is right only before a release.
func TestFirstFormat(t *testing.T) {
	const file = "testdata/bundle-v1.zip"
	s := documented(t)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		require.NoError(t, os.WriteFile(file, s.bundle(EditionPublic), 0o644))
	}
	b, err := os.ReadFile(file)
	require.NoError(t, err)
	r, err := check1(b, s.verifier)
	require.NoError(t, err)
	require.True(t, r.Canonical)
	require.Equal(t, 3, r.Events)
	bad := bytes.Clone(b)
	bad[len(bad)/2] ^= 1
	_, err = check1(bad, s.verifier)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
}
