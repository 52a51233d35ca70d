package dossier

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/access/passkeytest"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// TestForgedConsentIsFound: a registry that signs whatever it likes with its own
// key cannot make an owner's passkey sign, nor move what it signed elsewhere.
func TestForgedConsentIsFound(t *testing.T) {
	device := passkeytest.New("garage.example", "https://garage.example", registry.AlgorithmES256)
	other := passkeytest.New("garage.example", "https://garage.example", registry.AlgorithmES256)
	confirm := func(s *shop, d *registry.Decision, by *passkeytest.Device, nonce string) {
		challenge, err := d.Challenge(s.machine, nonce)
		require.NoError(t, err)
		data, client, signature := by.Sign(challenge)
		d.Assertion = &registry.Assertion{Passkey: "key", Credential: passkeytest.Text(device.Credential), PublicKey: device.PublicKey(), Nonce: nonce,
			AuthenticatorData: data, ClientData: client, Signature: signature}
	}
	// build records a yes that the device confirmed and a check with its second
	// signature, after something was done to them.
	build := func(forge func(*shop, *registry.Decision), sign func(*registry.SecondSignature)) (Report, error) {
		s := newShop(t, "drover-1957").fill()
		s.record(&registry.Person{Common: registry.Common{ID: "reuben"}, Role: "second-signature", Name: registry.Private{Value: "Reuben Marsh"}})
		s.record(&registry.Passkey{Common: registry.Common{ID: "key"}, Person: "imogen", Host: device.Host, Credential: passkeytest.Text(device.Credential), PublicKey: device.PublicKey(),
			Algorithm: device.Algorithm, Means: "link"})
		p, _ := registry.Get[*registry.Proposal](s.dossier, "p-1")
		first := *p.Record
		first.ID = "p-2"
		s.record(&first)
		d := &registry.Decision{Common: registry.Common{ID: "d-2"}, On: "p-2", Digest: first.Digest, Answer: "approve", Options: []string{"opt-1"}, Person: "imogen", Channel: "link"}
		confirm(s, d, device, "b25l")
		if forge != nil {
			forge(s, d)
		}
		s.record(d)
		s.record(&registry.Check{Common: registry.Common{ID: "ck-1"}, What: "it holds", Components: []string{"fuel.tank"}, Outcome: "passed", By: "tamsin", Second: "reuben"})
		e, _ := s.dossier.Entry("ck-1")
		second := &registry.SecondSignature{Common: registry.Common{ID: "sg-1"}, On: "ck-1", Hash: e.Hash, By: "reuben", Account: "account-9"}
		if sign != nil {
			sign(second)
		}
		s.record(second)
		return check1(s.bundle(EditionPublic), s.verifier)
	}
	r, err := build(nil, nil)
	require.NoError(t, err, "%+v", r.Findings)
	require.Equal(t, []int{1, 1, 2}, []int{r.Confirmed, r.SecondSigned, r.Decisions})

	for _, x := range []struct {
		name, what string
		forge      func(*shop, *registry.Decision)
	}{
		{"a refusal made a yes", "given for something else", func(_ *shop, d *registry.Decision) { d.Reason = "as she told us" }},
		{"moved to another question", "given for something else", func(_ *shop, d *registry.Decision) { d.On = "p-1" }},
		{"used again", "used before", func(s *shop, d *registry.Decision) {
			once := *d
			once.ID = "d-1b"
			s.record(&once)
		}},
		{"signed by another device", "not made by the key", func(s *shop, d *registry.Decision) { confirm(s, d, other, "dHdv") }},
		{"signed by another device, and so named", "another key", func(s *shop, d *registry.Decision) {
			confirm(s, d, other, "dHdv")
			d.Assertion.PublicKey, d.Assertion.Credential = other.PublicKey(), passkeytest.Text(other.Credential)
		}},
		{"on another's page", "on a page of", func(s *shop, d *registry.Decision) {
			elsewhere := *device
			elsewhere.Origin = "https://garage.test"
			confirm(s, d, &elsewhere, "dHdv")
		}},
		{"nobody was verified", "did not verify", func(s *shop, d *registry.Decision) {
			lax := *device
			lax.Flags = 0x01
			confirm(s, d, &lax, "dHdv")
		}},
		{"a key that was withdrawn", "withdrawn before", func(s *shop, d *registry.Decision) {
			s.record(&registry.Withdrawal{Common: registry.Common{ID: "lost"}, Record: "key", Why: "lost", By: "tamsin"})
		}},
		{"somebody else's key", "bound to", func(_ *shop, d *registry.Decision) { d.Person = "tamsin" }},
	} {
		t.Run(x.name, func(t *testing.T) {
			r, err := build(x.forge, nil)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			requireFinding(t, r, FindingPasskey, x.what)
		})
	}
	for _, x := range []struct {
		name, what string
		sign       func(*registry.SecondSignature)
	}{
		{"the first signs for the second", "cannot be both", func(s *registry.SecondSignature) { s.By = "tamsin" }},
		{"what was signed is another record", "not the one", func(s *registry.SecondSignature) { s.Hash = strings.Repeat("0", 64) }},
		{"somebody who was not named", "names", func(s *registry.SecondSignature) { s.By = "imogen" }},
		{"of nothing", "not in force", func(s *registry.SecondSignature) { s.On = "ck-9" }},
	} {
		t.Run(x.name, func(t *testing.T) {
			r, err := build(nil, x.sign)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			requireFinding(t, r, FindingSecond, x.what)
		})
	}
}

// TestPrintSaysWhoSigned: a name that the first typed and a signature of the
// second's own are told apart, and so are answers with and without a passkey.
func TestPrintSaysWhoSigned(t *testing.T) {
	text := func(change func(*workshop.Report)) string {
		r := canned(3)
		change(r)
		var out bytes.Buffer
		require.NoError(t, WritePDF(&out, cannedInput(r)))
		return strings.Join(strings.Fields(pdfText(t, out.Bytes())), " ")
	}
	typed := text(func(*workshop.Report) {})
	require.Contains(t, typed, "the name was typed by whoever recorded this")
	require.NotContains(t, typed, "signed by their own account")
	require.NotContains(t, typed, "signed with a passkey")
	signed := text(func(r *workshop.Report) {
		at := time.Date(2026, 6, 14, 10, 30, 0, 0, time.UTC)
		for i := range r.Work {
			r.Work[i].SecondSigned = at
		}
		for i := range r.Gates {
			r.Gates[i].SecondSigned = at
		}
		r.Offers[0].Answers[0].Means = workshop.MeansReport{Signed: true, Proves: []string{"A device that verified its person signed exactly this answer."}}
	})
	require.NotContains(t, signed, "typed by whoever")
	for _, s := range []string{"signed by their own account on 2026-06-14", "signed with a passkey", "A device that verified its person signed exactly this answer."} {
		require.Contains(t, signed, s)
	}
}
