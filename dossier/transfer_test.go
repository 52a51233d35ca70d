package dossier

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// passedOn is a job that was handed over by one registry and taken over by
// another, with the bundles of both. from may be changed before it is recorded.
func passedOn(t *testing.T, change func(*registry.Handover)) (older, newer []byte, first, second string) {
	s := newShop(t, "drover-1957").fill()
	s.record(&registry.Transfer{Common: registry.Common{ID: "out"}, Direction: registry.TransferOut, Registry: "registry.example/aldmouth", Because: "sold", By: "tamsin"})
	in := s.input(EditionPrivate)
	in.Originals = true
	var b bytes.Buffer
	require.NoError(t, WriteBundle(&b, in))
	older, first = b.Bytes(), s.verifier
	h, err := OpenTransfer(sourceOf(older), VerifyOptions{Keys: []string{first}})
	require.NoError(t, err)
	require.Equal(t, s.events, h.Events)
	from := h.From
	if change != nil {
		change(&from)
	}
	s.record(&registry.Transfer{Common: registry.Common{ID: "in"}, Direction: registry.TransferIn, Registry: "registry.example/skerry", By: "tamsin", From: &from})
	s.signer, s.verifier, err = NewKey(random(2), "registry.example/skerry")
	require.NoError(t, err)
	s.record(&registry.Fault{Common: registry.Common{ID: "later"}, Complaint: "It drips.", Components: []string{"fuel.tank"}, By: "tamsin"})
	return older, s.bundle(EditionPublic), first, s.verifier
}

func sourceOf(b []byte) Source { return Source{bytes.NewReader(b), int64(len(b))} }

func TestTransferLinksBothCheckpoints(t *testing.T) {
	older, newer, first, second := passedOn(t, nil)
	r, err := check1(newer)
	require.NoError(t, err)
	require.Equal(t, []Passage{{"registry.example/aldmouth/drover-1957", Fingerprint(first), r.Events - 2}}, r.Passages)
	require.Contains(t, r.Notes[1], "Ask it whether the key")
	r, err = check1(newer, second, first)
	require.NoError(t, err)
	require.Contains(t, r.Notes[0], "one that you trust")
	for _, opts := range []VerifyOptions{{}, {Keys: []string{second}}, {Keys: []string{second, first}}, {Fingerprint: Fingerprint(second)}} {
		c, err := VerifyAgainst(sourceOf(newer), sourceOf(older), opts)
		require.NoError(t, err)
		require.Equal(t, r.Events-2, c.Common)
	}
	parts := unpack(t, older)
	c, err := VerifyCheckpoint(sourceOf(newer), find(parts, fileCheckpoint).data, VerifyOptions{Keys: []string{second}})
	require.NoError(t, err)
	require.Equal(t, r.Events-2, c.Common)

	// A reader who has the first registry's key from itself is not told another.
	_, other, err := NewKey(random(3), "registry.example/aldmouth")
	require.NoError(t, err)
	_, err = VerifyAgainst(sourceOf(newer), sourceOf(older), VerifyOptions{Keys: []string{second, other}})
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	_, err = VerifyCheckpoint(sourceOf(newer), find(parts, fileCheckpoint).data, VerifyOptions{Keys: []string{second, other}})
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
}

// What the receiving registry says of the giving one must be what that one signed.
func TestTransferThatLies(t *testing.T) {
	forger, forged, err := NewKey(random(4), "registry.example/aldmouth")
	require.NoError(t, err)
	for name, c := range map[string]struct {
		change func(*registry.Handover)
		code   string
		what   string
	}{
		"another root": {func(h *registry.Handover) { h.Root = "xi5V4P7RH11b2zZ1tX5cOv8LtzOSpWngX/5xt5EGc7E=" }, FindingCheckpoint, "not what that registry signed"},
		"fewer events": {func(h *registry.Handover) { h.Size-- }, FindingCheckpoint, "not what that registry signed"},
		"another key":  {func(h *registry.Handover) { h.Key, h.Fingerprint = forged, Fingerprint(forged) }, FindingSignature, "has not signed"},
		"a history that was never handed over": {func(h *registry.Handover) {
			text, err := SignCheckpoint(Checkpoint{h.Origin, int64(h.Size) - 1, h.Root}, forger)
			require.NoError(t, err)
			*h = registry.Handover{Origin: h.Origin, Key: forged, Fingerprint: Fingerprint(forged), Size: h.Size - 1, Root: h.Root, Checkpoint: string(text)}
		}, FindingFork, "The history is forked"},
		"another machine": {func(h *registry.Handover) {
			text, err := SignCheckpoint(Checkpoint{"registry.example/aldmouth/vole", int64(h.Size), h.Root}, forger)
			require.NoError(t, err)
			*h = registry.Handover{Origin: "registry.example/aldmouth/vole", Key: forged, Fingerprint: Fingerprint(forged), Size: h.Size, Root: h.Root, Checkpoint: string(text)}
		}, FindingCheckpoint, "was taken over as that of"},
	} {
		_, newer, _, _ := passedOn(t, c.change)
		r, err := check1(newer)
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), name)
		requireFinding(t, r, c.code, c.what)
		require.Empty(t, r.Passages)
	}
}

func TestOpenTransferRefuses(t *testing.T) {
	older, newer, first, second := passedOn(t, nil)
	_, err := OpenTransfer(sourceOf(older), VerifyOptions{})
	require.Equal(t, registry.CodeRefused, registry.CodeOf(err))
	require.ErrorContains(t, err, Fingerprint(first))
	_, err = OpenTransfer(sourceOf(newer), VerifyOptions{Keys: []string{second}})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), "the public edition")
	_, err = OpenTransfer(sourceOf(older), VerifyOptions{Fingerprint: Fingerprint(second)})
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	h, err := OpenTransfer(sourceOf(older), VerifyOptions{Fingerprint: Fingerprint(first)})
	require.NoError(t, err)
	pictures, values := 0, 0
	require.NoError(t, h.Files(func(digest string, private bool, r io.Reader) error {
		data, err := io.ReadAll(r)
		require.NoError(t, err)
		require.Equal(t, digest, digestOf(data))
		if private {
			values++
		} else {
			pictures++
		}
		return nil
	}))
	require.Equal(t, h.Report.Photos+h.Report.Originals, pictures)
	require.Equal(t, h.Report.Private, values)
}

func TestReceiptOfATransfer(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	text, err := SignReceipt(s.machine, s.events, s.signer)
	require.NoError(t, err)
	r, then, err := OpenReceipt(text)
	require.NoError(t, err)
	require.Equal(t, string(s.events[len(s.events)-1]), r.Event)
	require.Equal(t, int64(len(s.events)), then.Size)
	_, _, err = OpenReceipt(bytes.Replace(text, []byte(`"machine":"drover-1957"`), []byte(`"machine":"vole"`), 1))
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	_, _, err = OpenReceipt(bytes.Replace(text, []byte("aldmouth+"), []byte("skerry+"), 1))
	require.Error(t, err)
	_, _, err = OpenReceipt([]byte("{}"))
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}
