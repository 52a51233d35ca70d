package registry

import (
	"bytes"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/hex"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/access/passkeytest"
)

const here = "https://garage.example:8350"

// bound is the record that binds a device's key.
func bound(id, person string, d *passkeytest.Device, change ...func(*Passkey)) *Passkey {
	p := &Passkey{Common: Common{ID: id}, Person: person, Host: d.Host, Credential: passkeytest.Text(d.Credential), PublicKey: d.PublicKey(), Algorithm: d.Algorithm, Means: "link"}
	for _, c := range change {
		c(p)
	}
	return p
}

// confirm lets a device sign a decision as it stands.
func (b *bench) confirm(d *Decision, device *passkeytest.Device, passkey, nonce string) *Decision {
	b.t.Helper()
	nonce = base64.RawURLEncoding.EncodeToString([]byte(nonce))
	challenge, err := d.Challenge(b.d.ID, nonce)
	require.NoError(b.t, err)
	data, client, signature := device.Sign(challenge)
	d.Assertion = &Assertion{Passkey: passkey, Credential: passkeytest.Text(device.Credential), PublicKey: device.PublicKey(), Nonce: nonce,
		AuthenticatorData: data, ClientData: client, Signature: signature}
	return d
}

// The steps that are tested follow Web Authentication, Level 3, section 7.2; the
// signature forms RFC 8032 (Ed25519), FIPS 186-5 (ECDSA) and RFC 8017 (RSA), as
// the standard library makes them.
func TestPasskeySignatures(t *testing.T) {
	device := passkeytest.New("garage.example", here, AlgorithmES256)
	key := func(*bench) []Body { return []Body{bound("key", "imogen", device)} }
	// signed is a yes that the device confirmed; spoil then does something to it.
	signed := func(spoil ...func(*Decision)) func(*bench) Body {
		return func(b *bench) Body {
			d := b.answer("answer", "offer", "approve", "swap")
			d.Channel, d.Reason = "link", "before the summer"
			b.confirm(d, device, "key", "first")
			for _, s := range spoil {
				s(d)
			}
			return d
		}
	}
	// by is a yes that some other device confirmed as the one on record.
	by := func(change func(*passkeytest.Device)) func(*bench) Body {
		return func(b *bench) Body {
			other := *device
			change(&other)
			return b.confirm(b.answer("answer", "offer", "approve", "swap"), &other, "key", "first")
		}
	}
	spoiltText := func(s string) string {
		raw, _ := base64.RawURLEncoding.DecodeString(s)
		raw[len(raw)-1] ^= 1
		return base64.RawURLEncoding.EncodeToString(raw)
	}
	second := func(b *bench) []Body {
		return append(key(b), with(aProposal("offer-2", "140", swapMagneto(), paintTank()))(b))
	}
	cases := []ruleCase{
		{name: "confirmed", stage: offered, more: key, act: signed()},
		{name: "all of it is signed: another reason", stage: offered, more: key, act: signed(func(d *Decision) { d.Reason = "now" }), code: CodeRefused, word: "something else"},
		{name: "another answer", stage: offered, more: key, act: signed(func(d *Decision) { d.Answer, d.Options = "refuse", nil }), code: CodeRefused, word: "something else"},
		{name: "another option", stage: offered, more: key, act: signed(func(d *Decision) { d.Options = []string{"paint"} }), code: CodeRefused, word: "something else"},
		{name: "a condition", stage: offered, more: key, act: signed(func(d *Decision) { d.Answer, d.Conditions = "approve-with-conditions", []string{"ask first"} }), code: CodeRefused, word: "something else"},
		{name: "an end", stage: offered, more: key, act: signed(func(d *Decision) { d.Until = ptr(monday.AddDate(0, 2, 0)) }), code: CodeRefused, word: "something else"},
		{name: "a note", stage: offered, more: key, act: signed(func(d *Decision) { d.Note = "and the tank" }), code: CodeRefused, word: "something else"},
		{name: "another nonce", stage: offered, more: key, act: signed(func(d *Decision) { d.Assertion.Nonce = "b3RoZXI" }), code: CodeRefused, word: "something else"},
		{name: "for another offer", stage: offered, more: second, act: signed(func(d *Decision) {
			d.On = "offer-2"
		}), code: CodeConflict, word: "digest"},
		{name: "replayed with that offer's digest", stage: offered, more: second, act: func(b *bench) Body {
			d := signed()(b).(*Decision)
			other := b.answer("answer", "offer-2", "approve", "swap")
			other.Channel, other.Reason, other.Assertion = d.Channel, d.Reason, d.Assertion
			return other
		}, code: CodeRefused, word: "something else"},
		{name: "used twice", stage: offered, more: func(b *bench) []Body {
			b.do(key(b)...)
			return []Body{signed()(b), b.takeBack("back", "answer", "offer")}
		}, act: func(b *bench) Body {
			old, _ := Get[*Decision](b.d, "answer")
			d := *old.Record
			d.ID, d.Valid = "again", ""
			return &d
		}, code: CodeRefused, word: "used before"},
		{name: "a forged signature", stage: offered, more: key, act: signed(func(d *Decision) { d.Assertion.Signature = spoiltText(d.Assertion.Signature) }), code: CodeRefused, word: "not made by the key"},
		{name: "a changed counter", stage: offered, more: key, act: signed(func(d *Decision) { d.Assertion.AuthenticatorData = spoiltText(d.Assertion.AuthenticatorData) }), code: CodeRefused, word: "not made by the key"},
		{name: "another device under its name", stage: offered, more: key, act: by(func(d *passkeytest.Device) {
			d2 := passkeytest.New(d.Host, d.Origin, AlgorithmES256)
			d2.Credential = d.Credential
			*d = *d2
		}), code: CodeRefused, word: "another key"},
		{name: "another device, with the key of the record", stage: offered, more: key, act: func(b *bench) Body {
			d := b.confirm(b.answer("answer", "offer", "approve", "swap"), passkeytest.New("garage.example", here, AlgorithmES256), "key", "first")
			d.Assertion.Credential, d.Assertion.PublicKey = passkeytest.Text(device.Credential), device.PublicKey()
			return d
		}, code: CodeRefused, word: "not made by the key"},
		{name: "on a page of another", stage: offered, more: key, act: by(func(d *passkeytest.Device) { d.Origin = "https://garage.example.attacker.example" }), code: CodeRefused, word: "on a page of"},
		{name: "on a page without encryption", stage: offered, more: key, act: by(func(d *passkeytest.Device) { d.Origin = "http://garage.example" }), code: CodeRefused, word: "on a page of"},
		{name: "in a frame of another", stage: offered, more: key, act: by(func(d *passkeytest.Device) { d.CrossOrigin = true }), code: CodeRefused, word: "on a page of"},
		{name: "for another host", stage: offered, more: key, act: by(func(d *passkeytest.Device) { d.Host = "shed.example" }), code: CodeRefused, word: "another host"},
		{name: "nobody verified", stage: offered, more: key, act: by(func(d *passkeytest.Device) { d.Flags = 0x01 }), code: CodeRefused, word: "did not verify"},
		{name: "nobody there", stage: offered, more: key, act: by(func(d *passkeytest.Device) { d.Flags = 0x04 }), code: CodeRefused, word: "did not verify"},
		{name: "the making of a key is no consent", stage: offered, more: key, act: by(func(d *passkeytest.Device) { d.Type = "webauthn.create" }), code: CodeRefused, word: "to confirm"},
		{name: "no key on record", stage: offered, act: signed(), code: CodeRefused, word: "not on record"},
		{name: "a key that was withdrawn", stage: offered, more: func(b *bench) []Body {
			return append(key(b), &Withdrawal{Common: Common{ID: "lost"}, Record: "key", Why: "the device is lost", By: "tamsin"})
		}, act: signed(), code: CodeRefused, word: "withdrawn"},
		{name: "somebody else's key", stage: offered, more: func(b *bench) []Body {
			return []Body{aPerson("cora", "owner"), bound("key", "cora", device)}
		}, act: signed(), code: CodeRefused, word: "bound to"},
		{name: "malformed", stage: offered, more: key, act: signed(func(d *Decision) { d.Assertion.ClientData = "%" }), code: CodeInvalid, word: "malformed"},
		{name: "a take-back", stage: approved, more: key, act: func(b *bench) Body {
			return b.confirm(b.takeBack("back", "yes", "offer"), device, "key", "x")
		}},
		{name: "a take-back of something else", stage: approved, more: key, act: func(b *bench) Body {
			d := b.confirm(b.takeBack("back", "yes", "offer"), device, "key", "x")
			d.Reason = "never again"
			return d
		}, code: CodeRefused, word: "something else"},
	}
	for _, algorithm := range []int{AlgorithmEdDSA, AlgorithmRS256} {
		other := passkeytest.New("localhost", "http://localhost:8350", algorithm)
		cases = append(cases, ruleCase{name: "another algorithm", stage: offered, more: bodies(bound("key", "imogen", other)), act: func(b *bench) Body {
			return b.confirm(b.answer("answer", "offer", "approve", "swap"), other, "key", "first")
		}}, ruleCase{name: "another algorithm, forged", stage: offered, more: bodies(bound("key", "imogen", other)), act: func(b *bench) Body {
			d := b.confirm(b.answer("answer", "offer", "approve", "swap"), other, "key", "first")
			d.Assertion.Signature = spoiltText(d.Assertion.Signature)
			return d
		}, code: CodeRefused, word: "not made by the key"})
	}
	runCases(t, cases)
}

// TestHowLongAnRSAKeyMayBe: too short is forged (NIST SP 800-57), too long keeps
// busy who checks a stranger's bundle.
func TestHowLongAnRSAKeyMayBe(t *testing.T) {
	for bits, want := range map[uint]bool{2047: false, 2048: true, 8192: true, 8193: false, 400_000: false} {
		n := new(big.Int).SetBit(big.NewInt(1), int(bits)-1, 1)
		der, err := x509.MarshalPKIXPublicKey(&rsa.PublicKey{N: n, E: 65537})
		require.NoError(t, err)
		p := &Passkey{PublicKey: base64.RawURLEncoding.EncodeToString(der), Algorithm: AlgorithmRS256}
		usable, good := p.signs(nil, make([]byte, (bits+7)/8))
		require.Equal(t, want, usable, bits)
		require.False(t, good, bits)
	}
}

func TestDecidePasskeys(t *testing.T) {
	device, other := passkeytest.New("garage.example", here, AlgorithmES256), passkeytest.New("garage.example", here, AlgorithmES256)
	account := func(p *Passkey) { p.Means, p.Account = "account", "account-7" }
	key := func(change ...func(*Passkey)) func(*bench) Body {
		return func(*bench) Body { return bound("other", "imogen", other, change...) }
	}
	first := bodies(bound("key", "imogen", device))
	runCases(t, []ruleCase{
		{name: "the first at a link", stage: offered, act: key()},
		{name: "of a mechanic", stage: offered, act: key(func(p *Passkey) { p.Person = "tamsin" }), code: CodeRefused, word: "may not decide"},
		{name: "a second at a link", stage: offered, more: first, act: key(), code: CodeRefused, word: "already"},
		{name: "a second by account", stage: offered, more: first, act: key(account)},
		{name: "a second at a link once the first is withdrawn", stage: offered, more: func(b *bench) []Body {
			return append(first(b), &Withdrawal{Common: Common{ID: "lost"}, Record: "key", Why: "the device is lost", By: "tamsin"})
		}, act: key()},
		{name: "the same credential", stage: offered, more: first, act: key(account, func(p *Passkey) { p.Credential = passkeytest.Text(device.Credential) }), code: CodeConflict, word: "on record already"},
		{name: "corrected", stage: offered, more: first, act: key(account, func(p *Passkey) { p.Supersedes = "key" }), code: CodeRefused, word: "not corrected"},
		{name: "of no known means", stage: offered, act: key(func(p *Passkey) { p.Means = "letter" }), code: CodeInvalid, word: "how the person"},
		{name: "by no account", stage: offered, act: key(func(p *Passkey) { p.Means = "account" }), code: CodeInvalid, word: "/account"},
		{name: "a key of another algorithm", stage: offered, act: key(func(p *Passkey) { p.Algorithm = AlgorithmEdDSA }), code: CodeInvalid, word: "cannot be used"},
		{name: "no key", stage: offered, act: key(func(p *Passkey) { p.PublicKey = "AAAA" }), code: CodeInvalid, word: "cannot be used"},
	})
}

func TestDecideByAccount(t *testing.T) {
	say := func(change func(*Decision)) func(*bench) Body {
		return func(b *bench) Body {
			d := b.answer("answer", "offer", "approve", "swap")
			d.Channel, d.Account = "account", "account-7"
			change(d)
			return d
		}
	}
	cora := bodies(aPerson("cora", "owner"))
	runCases(t, []ruleCase{
		{name: "the owner", stage: offered, act: say(func(*Decision) {})},
		{name: "no account named", stage: offered, act: say(func(d *Decision) { d.Account = "" }), code: CodeInvalid, word: "/account"},
		{name: "a co-owner", stage: offered, more: cora, act: say(func(d *Decision) { d.Person = "cora" })},
		{name: "corrected by what the workshop heard", stage: offered, more: func(b *bench) []Body {
			d := b.answer("given", "offer", "approve", "swap", "paint")
			d.Channel = "link"
			return []Body{d}
		}, act: func(b *bench) Body {
			d := b.answer("answer", "offer", "approve", "swap")
			d.Supersedes = "given"
			return d
		}, code: CodeRefused, word: "themselves"},
		{name: "somebody who owns nothing", stage: offered, act: say(func(d *Decision) { d.Person = "tamsin" }), code: CodeRefused, word: "may not decide"},
	})
}

// TestTakingBack: an approval can be taken back until work under it begins, and
// runs out at the very second that it names.
func TestTakingBack(t *testing.T) {
	back := func(b *bench) Body { return b.takeBack("back", "yes", "offer") }
	open := func(b *bench) []Body {
		return []Body{asFound("before", "cover"), &Opened{Common: Common{ID: "opened"}, Opening: "cover", By: "tamsin"}}
	}
	at := func(after time.Duration, id string) func(*bench) Body {
		return func(b *bench) Body {
			d := b.answer(id, "offer", "approve", "swap", "paint")
			d.Until = ptr(b.now.Add(time.Minute + after))
			return d
		}
	}
	runCases(t, []ruleCase{
		{name: "before work", stage: approved, act: back},
		{name: "twice", stage: approved, more: bodies2(back), act: func(b *bench) Body { return b.takeBack("again", "yes", "offer") }, code: CodeConflict, word: "taken back already"},
		{name: "a take-back", stage: approved, more: bodies2(back), act: func(b *bench) Body { return b.takeBack("again", "back", "offer") }, code: CodeNotFound, word: "to take back"},
		{name: "one that was corrected", stage: approved, more: bodies2(func(b *bench) Body {
			d := b.answer("mended", "offer", "approve", "swap")
			d.Supersedes = "yes"
			return d
		}), act: back, code: CodeConflict, word: `"mended" stands in its place`},
		{name: "once it is opened", stage: approved, more: open, act: back, code: CodeRefused, word: `has begun, so that it cannot be taken back: "opened"`},
		{name: "once a step is done", stage: approved, more: bodies(&Step{Common: Common{ID: "step"}, Option: "swap", Did: "cleared the bench", By: "tamsin"}), act: back, code: CodeRefused, word: `"step"`},
		{name: "after work that needed none", stage: approved, more: bodies(&Work{Common: Common{ID: "care"}, Treatment: "adjust", Did: "dusted it", Care: "dust", By: "tamsin"}), act: back},
		{name: "after work that was withdrawn", stage: approved, more: func(b *bench) []Body {
			return append(open(b), &Withdrawal{Common: Common{ID: "slip"}, Record: "opened", Why: "another machine", By: "tamsin"})
		}, act: back},
		{name: "what is not done yet can still be refused", stage: approved, more: open, act: func(b *bench) Body { return b.answer("stop", "offer", "refuse") }, then: func(t *testing.T, b *bench) {
			_, why, ok := b.d.Covering("swap", b.now)
			require.False(t, ok)
			require.Contains(t, why, "refuse")
			opened, _ := Get[*Opened](b.d, "opened")
			require.Equal(t, "approved", opened.Record.Standing.Mark)
		}},
		{name: "an approval that ends as it is given", stage: offered, act: at(0, "answer"), code: CodeInvalid, word: "over before it is given"},
		{name: "one that stands for a second", stage: offered, act: at(time.Second, "answer"), then: func(t *testing.T, b *bench) {
			_, _, ok := b.d.Covering("swap", b.now.Add(time.Second-time.Nanosecond))
			require.True(t, ok, "until then")
			_, why, ok := b.d.Covering("swap", b.now.Add(time.Second))
			require.False(t, ok, "and not at it")
			require.Contains(t, why, "ran out")
			b.now = b.now.Add(time.Second - time.Minute)
			b.do(asFound("before", "cover"))
			b.now = b.now.Add(-time.Minute) // it happens one minute on
			require.Equal(t, CodeNotApproved, CodeOf(b.try(&Opened{Common: Common{ID: "opened"}, Opening: "cover", By: "tamsin"})))
		}},
	})
}

// bodies2 puts off making a body until its stage stands.
func bodies2(make func(*bench) Body) func(*bench) []Body {
	return func(b *bench) []Body { return []Body{make(b)} }
}

func TestSecondSignatures(t *testing.T) {
	check := aCheck("brakes", "passed", "brakes.front.linings")
	check.Second = "reuben"
	recorded := func(b *bench) []Body { return []Body{check} }
	sign := func(change ...func(*SecondSignature)) func(*bench) Body {
		return func(b *bench) Body {
			e, _ := b.d.Entry("brakes")
			s := &SecondSignature{Common: Common{ID: "signed"}, On: "brakes", Hash: e.Hash, By: "reuben", Account: "account-9"}
			for _, c := range change {
				c(s)
			}
			return s
		}
	}
	runCases(t, []ruleCase{
		{name: "signed", stage: offered, more: recorded, act: sign(), then: func(t *testing.T, b *bench) {
			require.Empty(t, b.d.ToSign(b.rules))
			s, ok := b.d.SecondSigned("brakes")
			require.True(t, ok)
			require.Equal(t, "account-9", s.Record.Account)
		}},
		{name: "by the first", stage: offered, more: recorded, act: sign(func(s *SecondSignature) { s.By = "tamsin" }), code: CodeRefused, word: "cannot be both"},
		{name: "by the first's account", stage: offered, more: recorded, act: sign(func(s *SecondSignature) { s.Account = "tamsin" }), code: CodeRefused, word: "cannot be both"},
		{name: "by a third", stage: offered, more: recorded, act: sign(func(s *SecondSignature) { s.By = "imogen" }), code: CodeRefused, word: "names \"reuben\""},
		{name: "of something else", stage: offered, more: recorded, act: sign(func(s *SecondSignature) { s.Hash = zeros }), code: CodeConflict, word: "not the one"},
		{name: "twice", stage: offered, more: func(b *bench) []Body {
			b.do(check)
			return []Body{sign()(b)}
		}, act: sign(func(s *SecondSignature) { s.ID = "again" }), code: CodeConflict, word: "signed already"},
		{name: "of what was corrected", stage: offered, more: func(b *bench) []Body {
			better := *check
			better.ID, better.Supersedes = "brakes-2", "brakes"
			return []Body{check, &better}
		}, act: sign(), code: CodeInvalid, word: "no such record in force"},
		{name: "of what has one name", stage: offered, more: bodies(aCheck("brakes", "passed", "brakes.front.linings")), act: sign(), code: CodeRefused, word: "no second person"},
		{name: "of a proposal", stage: offered, act: func(b *bench) Body {
			e, _ := b.d.Entry("offer")
			return &SecondSignature{Common: Common{ID: "signed"}, On: "offer", Hash: e.Hash, By: "reuben", Account: "account-9"}
		}, code: CodeRefused, word: "no second person"},
	})

	b := newBench(t)
	offered(b)
	first := gate("arrived")
	first.Second = "reuben"
	b.do(check, first)
	require.Len(t, b.d.ToSign(b.rules), 2)
	b.do(&GateTakenBack{Common: Common{ID: "gate-back"}, Gate: "arrived", Why: "the wrong machine", By: "tamsin"})
	waiting := b.d.ToSign(b.rules)
	require.Len(t, waiting, 1, "a gate that was taken back waits for nobody")
	require.Equal(t, "brakes", waiting[0].RecordID())
}

// signedStory is an invented history with a passkey, a decision that it
// confirmed, one by account, and a second signature.
func signedStory(b *bench) {
	offered(b)
	device := passkeytest.New("garage.example", here, AlgorithmES256)
	b.do(bound("key", "imogen", device))
	yes := b.answer("yes", "offer", "approve", "swap")
	yes.Channel, yes.Until = "link", ptr(monday.AddDate(0, 2, 0))
	b.do(b.confirm(yes, device, "key", "one"), b.confirm(b.takeBack("back", "yes", "offer"), device, "key", "two"))
	no := b.answer("no", "offer", "refuse")
	no.Channel, no.Account = "account", "account-7"
	check := aCheck("brakes", "passed", "brakes.front.linings")
	check.Second = "reuben"
	b.do(no, check)
	e, _ := b.d.Entry("brakes")
	b.do(&SecondSignature{Common: Common{ID: "signed"}, On: "brakes", Hash: e.Hash, By: "reuben", Account: "account-9"})
}

// TestFrozenSignedLedger: that history replays, for ever, and its signatures hold.
func TestFrozenSignedLedger(t *testing.T) {
	events := readLines(t, "v1-signed/events.jsonl")
	version, last, _ := readHead(t, "v1-signed/head.txt")
	d, err := Replay("drover", events, time.Time{})
	require.NoError(t, err)
	require.Equal(t, version, d.Version())
	require.Equal(t, last, d.Last())
	before, signed := NewDossier("drover"), 0
	for _, e := range d.Entries() {
		switch x := e.Body.(type) {
		case *Decision:
			require.NoError(t, before.CheckAssertion(x))
			if x.Assertion != nil {
				signed++
				x.Assertion.Signature = strings.Repeat("A", len(x.Assertion.Signature))
				require.Error(t, before.CheckAssertion(x))
			}
		case *SecondSignature:
			require.NoError(t, before.CheckSecond(x))
		}
		before.Apply(e.Meta, e.Body)
	}
	require.Equal(t, 2, signed)
	standing, _ := d.Answer("offer")
	require.Equal(t, "account", standing.Record.Channel)
}

// TestWriteSignedFixture made that history once; see TestWriteFixtures.
func TestWriteSignedFixture(t *testing.T) {
	dir := filepath.Join(ledgers, "v1-signed")
	if _, err := os.Stat(dir); err == nil || !writeFixtures {
		t.Skip("testdata/ledgers/v1-signed is there and frozen, or WRITE_FIXTURES=1 is not set")
	}
	b := newBench(t)
	signedStory(b)
	h := History{}
	for _, e := range b.events {
		_, err := h.Add(e)
		require.NoError(t, err)
	}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	for name, text := range map[string]string{"events.jsonl": string(bytes.Join(b.events, []byte("\n"))) + "\n", "head.txt": headText(&h)} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
}

// TestChallenge: the statement is what docs/ledger-format.md, section 11, says;
// its SHA-256 was computed with sha256sum.
func TestChallenge(t *testing.T) {
	d := &Decision{Common: Common{ID: "d-1", Valid: "2026-03-14"}, On: "offer", Digest: "sha256:" + zeros, Answer: "approve", Options: []string{"swap"}, Person: "imogen", Channel: "link",
		Until: ptr(time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC))}
	sum, err := d.Challenge("drover", "b25l")
	require.NoError(t, err)
	require.Equal(t, "b3f1269ae793fc60afb5912a7aa3d540e6279ad2e3c3e14d152051948d04d0ca", hex.EncodeToString(sum))
}
