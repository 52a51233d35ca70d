package dossier

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// random is a fixed stream of bytes for keys and salts.
func random(seed byte) io.Reader {
	return rand.NewChaCha8([32]byte{seed})
}

// shop is a small registry in memory.
type shop struct {
	t        testing.TB
	machine  string
	events   [][]byte
	dossier  *registry.Dossier
	photos   map[string][]byte
	private  map[string][]byte
	signer   string
	verifier string
	salts    io.Reader
	at       time.Time
	ids      int
}

func newShop(t testing.TB, machine string) *shop {
	s := &shop{t: t, machine: machine, dossier: registry.NewDossier(machine), photos: map[string][]byte{}, private: map[string][]byte{},
		salts: random(9), at: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
	var err error
	s.signer, s.verifier, err = NewKey(random(1), "registry.example/aldmouth")
	require.NoError(t, err)
	return s
}

// record appends a body as one event.
func (s *shop) record(b registry.Body) {
	s.t.Helper()
	for _, p := range registry.Privates(b) {
		if p.Value != "" && p.Digest == "" {
			salt := make([]byte, 16)
			_, _ = io.ReadFull(s.salts, salt)
			doc, err := registry.CanonicalJSON(registry.PrivateDocument{Salt: hex.EncodeToString(salt), Value: p.Value})
			require.NoError(s.t, err)
			p.Digest = digestOf(doc)
			s.private[p.Digest] = doc
		}
	}
	require.NoError(s.t, registry.CheckBody(b))
	s.at = s.at.Add(time.Hour)
	stamp := registry.Stamp{Machine: s.machine, Recorded: s.at, Actor: "tamsin", NewID: func() string { s.ids++; return fmt.Sprintf("e-%04d", s.ids) }}
	events, err := registry.Extend(s.dossier.Version(), s.dossier.Last(), stamp, []registry.Body{b})
	require.NoError(s.t, err)
	e, err := registry.DecodeEvent(events[0])
	require.NoError(s.t, err)
	s.dossier.Apply(metaOf(e, registry.LeafHash(events[0])), b)
	s.events = append(s.events, events[0])
}

func (s *shop) keep(b []byte) string {
	s.photos[digestOf(b)] = b
	return digestOf(b)
}

// picture makes a small JPEG that differs with its number.
func picture(n int) []byte {
	img := image.NewRGBA(image.Rect(0, 0, 96, 64))
	for x := range 96 {
		for y := range 64 {
			img.Set(x, y, color.RGBA{uint8(x * 2), uint8(y * 3), uint8(n * 40), 255})
		}
	}
	var b bytes.Buffer
	_ = jpeg.Encode(&b, img, &jpeg.Options{Quality: 60})
	return b.Bytes()
}

// estimate runs a method and records it.
func estimate(t testing.TB, method, input string) registry.Estimate {
	result, err := scoring.Run(method, []byte(input))
	require.NoError(t, err)
	return registry.Estimate{Method: method, Catalog: "house/1", Input: []byte(input), Result: result}
}

const (
	tankInput = `{"states":["original","donor","reproduction"],"prior":[0.6,0.25,0.15],"evidence":[{"id":"ev-stamp","cluster":"stamps","reliability":0.9,"likelihood":[0.8,0.2,0.02]}]}`
	indexIn   = `{"assemblies":[{"id":"fuel","intact":1,"parts":[{"id":"fuel.tank","weight":60,"credit":{"original":1,"donor":0.55},"if_intact":{"original":0.9,"donor":0.1}}]}]}`
	effectIn  = `{"total_weight":1000,"parts":[{"id":"fuel.tank","weight":60,"credit":{"original":1,"substitute":0.05},"before":{"original":0.9,"substitute":0.1},"after":{"substitute":1},"reversible":true,"custody":"kept-with-machine","loss_per_year":0.005,"years":20,"refit_chance":0.95}],"openings":[{"id":"o-1","witness_points":2}]}`
)

// fill records a small job with every kind of thing that Verify looks at.
func (s *shop) fill() *shop {
	s.record(&registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow", Model: "Drover 350", Year: "1957", Invented: true,
		Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "DR57-10482"}, Masked: registry.Mask("DR57-10482")}}})
	s.record(&registry.Person{Common: registry.Common{ID: "imogen"}, Role: "executor", Name: registry.Private{Value: "Imogen Aske"}, Contact: registry.Private{Value: "Aldmouth"}})
	s.record(&registry.Person{Common: registry.Common{ID: "tamsin"}, Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}})
	for i, withhold := range []bool{false, false, true} {
		s.record(&registry.Photo{Common: registry.Common{ID: fmt.Sprintf("ph-%d", i+1)}, Digest: s.keep(append(picture(i+1), "original"...)), Preview: s.keep(picture(i + 1)),
			MediaType: "image/jpeg", Bytes: 100, Shows: "as-found", Caption: []string{"tank, left side", "front drum", "frame number"}[i], Withhold: withhold, By: "tamsin"})
	}
	s.record(&registry.Survey{Common: registry.Common{ID: "s-tank"}, Component: "fuel.tank", Origin: "original", Photos: []string{"ph-1"}, By: "tamsin"})
	s.record(&registry.Joint{Common: registry.Common{ID: "j-1"}, Joint: "tank-bolts", Components: []string{"fuel.tank"}, Witness: "undisturbed", Sign: "dirt line", By: "tamsin"})
	s.record(&registry.SurveySeal{Common: registry.Common{ID: "seal"}, By: "tamsin", Digest: s.dossier.SurveyDigest(),
		Indices: []registry.NamedEstimate{{Of: "substance", Estimate: estimate(s.t, scoring.MethodIndex, indexIn)}}})
	s.record(&registry.Evidence{Common: registry.Common{ID: "ev-stamp"}, Evidence: "date-stamp", Cluster: "stamps", Says: "3/57 under the tank", By: "tamsin",
		Bears: []registry.Bearing{{Component: "fuel.tank", Proposition: registry.PropositionOrigin, Sign: "date-agrees"}}})
	claim := estimate(s.t, scoring.MethodOrigin, tankInput)
	s.record(&registry.Claim{Common: registry.Common{ID: "c-tank"}, Component: "fuel.tank", Proposition: registry.PropositionOrigin, Statement: "The tank is the first one.",
		Evidence: []string{"ev-stamp"}, Estimate: &claim, By: "tamsin"})
	s.record(&registry.Fault{Common: registry.Common{ID: "f-1"}, Complaint: "two pinholes", Components: []string{"fuel.tank"}, By: "tamsin"})
	s.record(&registry.Opening{Common: registry.Common{ID: "o-1"}, Title: "tank off", Hours: 1, WitnessPoints: 2})
	option := registry.Option{Common: registry.Common{ID: "opt-1"}, Fault: "f-1", Treatment: "substitute", Title: "slave bottle", Hours: 1, By: "tamsin"}
	s.record(&option)
	shown := []registry.NamedEstimate{{Of: "opt-1/substance", Estimate: estimate(s.t, scoring.MethodEffect, effectIn)}}
	s.record(&registry.Weighing{Common: registry.Common{ID: "w-1"}, Options: []string{"opt-1"}, Effects: shown, By: "tamsin"})
	ceiling, err := registry.ParseMoney("110.00", "GBP")
	require.NoError(s.t, err)
	offer := registry.Offer{Options: []registry.Option{option}, Recommended: []string{"opt-1"}, Ceiling: ceiling, Shown: shown, Expires: s.at.AddDate(0, 1, 0)}
	digest, err := offer.Digest()
	require.NoError(s.t, err)
	s.record(&registry.Proposal{Common: registry.Common{ID: "p-1"}, To: "imogen", By: "tamsin", Offer: offer, Digest: digest})
	s.record(&registry.Decision{Common: registry.Common{ID: "d-1"}, On: "p-1", Digest: digest, Answer: "approve", Options: []string{"opt-1"}, Person: "imogen", Channel: "link"})
	s.record(&registry.Work{Common: registry.Common{ID: "wk-1"}, Option: "opt-1", Treatment: "substitute", Did: "Fitted a slave bottle.", Hours: 1, By: "tamsin",
		Standing: registry.Standing{Mark: "approved", Decision: "d-1"}})
	s.record(&registry.RemovedPart{Common: registry.Common{ID: "rp-1"}, Component: "fuel.tank", Tag: "T-1", What: "tank", Custody: "kept-with-machine", Place: registry.Private{Value: "loft, shelf 3"}, Reason: "pinholes", By: "tamsin"})
	return s
}

func (s *shop) input(edition string) BundleInput {
	get := func(from map[string][]byte, digest string) ([]byte, error) {
		if b, ok := from[digest]; ok {
			return b, nil
		}
		return nil, registry.Refuse(registry.CodeNotFound, "", "not kept")
	}
	return BundleInput{Events: s.events, Edition: edition, Signer: s.signer, Program: "asfound test", Catalog: "house/1",
		Photo: func(digest string) (io.ReadCloser, error) {
			b, err := get(s.photos, digest)
			return io.NopCloser(bytes.NewReader(b)), err
		},
		Private: func(digest string) ([]byte, error) { return get(s.private, digest) },
	}
}

func (s *shop) bundle(edition string) []byte {
	s.t.Helper()
	var b bytes.Buffer
	require.NoError(s.t, WriteBundle(&b, s.input(edition)))
	return b.Bytes()
}

func check1(b []byte, keys ...string) (Report, error) {
	return Verify(bytes.NewReader(b), int64(len(b)), VerifyOptions{Keys: keys})
}

func TestBundleVerifies(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	var roots []string
	for _, edition := range []string{EditionPublic, EditionPrivate} {
		r, err := check1(s.bundle(edition), s.verifier)
		require.NoError(t, err)
		require.Empty(t, r.Findings)
		require.Empty(t, r.Notes)
		require.True(t, r.Pinned)
		require.True(t, r.Canonical)
		require.True(t, r.Invented)
		require.Equal(t, "registry.example/aldmouth/drover-1957", r.Origin)
		require.Equal(t, len(s.events), r.Events)
		require.Equal(t, 4, r.Estimates) // seal, claim, weighing, offer
		require.Equal(t, 1, r.Offers)
		require.Equal(t, 1, r.Decisions)
		roots = append(roots, r.Root)
		if edition == EditionPublic {
			require.Equal(t, 2, r.Photos)
			require.Equal(t, 1, r.WithheldPhotos)
			require.Equal(t, 0, r.Private)
			require.Equal(t, 5, r.WithheldPrivate)
		} else {
			require.Equal(t, 3, r.Photos)
			require.Equal(t, 5, r.Private)
		}
	}
	require.Equal(t, roots[0], roots[1], "both editions have the same root")
}

func TestBundleIsDeterministic(t *testing.T) {
	a := newShop(t, "drover-1957").fill()
	b := newShop(t, "drover-1957").fill()
	for _, edition := range []string{EditionPublic, EditionPrivate} {
		require.Equal(t, a.bundle(edition), b.bundle(edition))
	}
}

// TestPublicEditionGivesNothingAway looks for every withheld value in the bytes
// of the public bundle, which are not compressed.
func TestPublicEditionGivesNothingAway(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	public, private := s.bundle(EditionPublic), s.bundle(EditionPrivate)
	for _, secret := range []string{"Imogen", "Tamsin Orde", "DR57-10482", "shelf 3"} {
		require.NotContains(t, string(public), secret)
		require.Contains(t, string(private), secret, "the test can fail")
	}
	require.NotContains(t, string(public), string(picture(3)), "a withheld picture")
	require.Contains(t, string(private), string(picture(3)))
}

func TestOriginals(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	in := s.input(EditionPrivate)
	in.Originals = true
	var b bytes.Buffer
	require.NoError(t, WriteBundle(&b, in))
	r, err := check1(b.Bytes(), s.verifier)
	require.NoError(t, err)
	require.Equal(t, 3, r.Originals)
	in.Edition = EditionPublic
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(WriteBundle(io.Discard, in)))
}

// TestErasedValues: what is no longer kept is said to be so, and the record
// still verifies.
func TestErasedValues(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	for digest, doc := range s.private {
		if strings.Contains(string(doc), "Imogen") {
			delete(s.private, digest)
		}
	}
	delete(s.photos, digestOf(picture(2)))
	r, err := check1(s.bundle(EditionPrivate), s.verifier)
	require.NoError(t, err)
	require.Equal(t, 4, r.Private)
	require.Equal(t, 1, r.WithheldPrivate)
	require.Equal(t, 1, r.WithheldPhotos)
}

func TestWriteBundleRefuses(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	in := s.input("secret")
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(WriteBundle(io.Discard, in)))
	in = s.input(EditionPublic)
	in.Events = in.Events[1:]
	require.Equal(t, registry.CodeTampered, registry.CodeOf(WriteBundle(io.Discard, in)))
	in = s.input(EditionPublic)
	in.Photo = func(string) (io.ReadCloser, error) { return io.NopCloser(strings.NewReader("another")), nil }
	require.Equal(t, registry.CodeTampered, registry.CodeOf(WriteBundle(io.Discard, in)))
	in = s.input(EditionPrivate)
	in.Private = func(string) ([]byte, error) { return []byte("another"), nil }
	require.Equal(t, registry.CodeTampered, registry.CodeOf(WriteBundle(io.Discard, in)))
}

// TestPinnedKey: a forger who makes everything anew with a key of his own is
// caught by a pinned key, and only by that.
func TestPinnedKey(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	in := s.input(EditionPublic)
	forger, forged, err := NewKey(random(2), "registry.example/aldmouth")
	require.NoError(t, err)
	in.Signer = forger
	var b bytes.Buffer
	require.NoError(t, WriteBundle(&b, in))
	r, err := check1(b.Bytes(), s.verifier)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	require.False(t, r.Pinned)
	requireFinding(t, r, FindingSignature, "No key that you trust")
	r, err = check1(b.Bytes())
	require.NoError(t, err, "without a pinned key only inner consistency is shown")
	require.False(t, r.Pinned)
	require.Len(t, r.Notes, 1)
	require.Contains(t, r.Notes[0], Fingerprint(forged))
	r, err = check1(b.Bytes(), s.verifier, forged)
	require.NoError(t, err)
	require.Equal(t, forged, r.Key)
}

func TestCheckpoint(t *testing.T) {
	signer, verifier, err := NewKey(random(1), "registry.example/aldmouth")
	require.NoError(t, err)
	again, err := VerifierOf(signer)
	require.NoError(t, err)
	require.Equal(t, verifier, again)
	c := Checkpoint{"registry.example/aldmouth/drover-1957", 7, base64.StdEncoding.EncodeToString(make([]byte, 32))}
	text, err := SignCheckpoint(c, signer)
	require.NoError(t, err)
	got, signed, err := OpenCheckpoint(text, verifier)
	require.NoError(t, err)
	require.Equal(t, c, got)
	require.Equal(t, []string{verifier}, signed)
	for i := range text {
		for bit := range 8 {
			bad := bytes.Clone(text)
			bad[i] ^= 1 << bit
			if got, _, err := OpenCheckpoint(bad, verifier); err == nil {
				t.Fatalf("byte %d bit %d was flipped and not noticed: %v", i, bit, got)
			}
		}
	}
	for _, name := range []string{"", "a b", "a+b", "a/", "a\nb"} {
		_, _, err := NewKey(random(1), name)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), "%q", name)
	}
	for _, text := range []string{"", "o\n1\n", "o\n01\n" + c.Root + "\n", "o\n-1\n" + c.Root + "\n", "o\n1\nAAAA\n", "o\n1\n" + c.Root + "\nmore\n", "a b\n1\n" + c.Root + "\n"} {
		_, err := ParseCheckpoint([]byte(text))
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), "%q", text)
	}
}

func requireFinding(t *testing.T, r Report, code, what string) {
	t.Helper()
	for _, f := range r.Findings {
		if f.Code == code && strings.Contains(f.What+" "+f.Where, what) {
			return
		}
	}
	t.Fatalf("no finding %q about %q among %+v", code, what, r.Findings)
}
