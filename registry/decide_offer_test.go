package registry

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestDecideOptionsAndOpenings(t *testing.T) {
	option := func(change ...func(*Option)) func(*bench) Body {
		o := swapMagneto()
		o.ID = "another"
		return with(o, change...)
	}
	runCases(t, []ruleCase{
		{name: "an option", stage: weighed, act: option()},
		{name: "an option for no fault", stage: weighed, act: option(func(o *Option) { o.Fault = "noise" }), code: CodeInvalid, word: "no fault"},
		{name: "an unknown treatment", stage: weighed, act: option(func(o *Option) { o.Treatment = "varnish" }), code: CodeInvalid, word: "no such treatment"},
		{name: "an unknown component", stage: weighed, act: option(func(o *Option) { o.Changes[0].Component = "fuel.bunker" }), code: CodeInvalid, word: "no such component"},
		{name: "an unknown opening", stage: weighed, act: option(func(o *Option) { o.Openings = []string{"lid"} }), code: CodeInvalid, word: "no opening"},
		{name: "what cannot be undone says so", stage: weighed, act: with(paintTank(), func(o *Option) { o.ID, o.Undo = "another", "" }), then: func(t *testing.T, b *bench) {
			o, _ := Get[*Option](b.d, "another")
			require.Equal(t, "cannot be undone", o.Record.Undo)
		}},
		{name: "two changes to one question", stage: weighed, act: option(func(o *Option) { o.Changes = append(o.Changes, o.Changes[0]) }), code: CodeInvalid, word: "one position"},
		{name: "shares that do not add up", stage: weighed, act: option(func(o *Option) { o.Changes[0].After = map[string]float64{"donor": 0.8} }), code: CodeInvalid, word: "add up to 1"},
		{name: "a share kept above one", stage: weighed, act: option(func(o *Option) { o.Changes[0].After, o.Changes[0].Keeps = nil, ptr(1.2) }), code: CodeInvalid, word: "between 0 and 1"},
		{name: "both a share and states", stage: weighed, act: option(func(o *Option) { o.Changes[0].Keeps = ptr(0.5) }), code: CodeInvalid, word: "either"},
		{name: "a chance of loss above one", stage: weighed, act: option(func(o *Option) { o.Changes[0].Keep.LossPerYear = 2 }), code: CodeInvalid, word: "between 0 and 1"},
		{name: "negative money", stage: weighed, act: option(func(o *Option) { o.Money = pounds("-90") }), code: CodeInvalid, word: "negative"},
		{name: "negative hours", stage: weighed, act: option(func(o *Option) { o.Hours = -1 }), code: CodeInvalid, word: "negative"},
		{name: "a chance of curing above one", stage: weighed, act: option(func(o *Option) { o.Works = ptr(80.0) }), code: CodeInvalid, word: "between 0 and 1"},
		{name: "a fault of nothing", stage: sealed, act: with(aFault("x"), func(f *Fault) { f.Components = nil }), code: CodeInvalid, word: "no component"},
		{name: "an opening that requires itself", stage: weighed, act: with(cover(), func(o *Opening) { o.ID, o.Requires = "x", []string{"x"} }), code: CodeInvalid, word: "requires itself"},
		{name: "an opening that requires what is not there", stage: weighed, act: with(cover(), func(o *Opening) { o.ID, o.Requires = "x", []string{"y"} }), code: CodeInvalid, word: "no opening"},
	})
}

func TestDecideProposals(t *testing.T) {
	offer := func(change ...func(*Proposal)) func(*bench) Body {
		return with(aProposal("offer", "110", swapMagneto(), paintTank()), change...)
	}
	runCases(t, []ruleCase{
		{name: "an offer", stage: weighed, act: offer(), then: func(t *testing.T, b *bench) {
			p, _ := Get[*Proposal](b.d, "offer")
			require.Equal(t, []string{"paint"}, p.Record.Offer.Irreversible, "what cannot be undone is named, whatever was given")
			sum, err := p.Record.Offer.Digest()
			require.NoError(t, err)
			require.Equal(t, sum, p.Record.Digest)
		}},
		{name: "an option that was never recorded", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Options[0].ID = "gold"; p.Offer.Recommended = nil }), code: CodeConflict, word: "not recorded"},
		{name: "an option that was changed since", stage: weighed, more: bodies(with(swapMagneto(), func(o *Option) { o.ID, o.Supersedes, o.Money = "swap-2", "swap", pounds("95") })(nil)),
			act: offer(), code: CodeConflict, word: "corrected since"},
		{name: "an option that differs from the record", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Options[0].Money = pounds("1") }), code: CodeConflict, word: "differs"},
		{name: "rivals recommended together", stage: weighed, act: with(aProposal("offer", "110", swapMagneto(), adjustMagneto())), code: CodeInvalid, word: "rivals"},
		{name: "rivals offered, one recommended", stage: weighed, act: with(aProposal("offer", "110", swapMagneto(), adjustMagneto()), func(p *Proposal) { p.Offer.Recommended = []string{"adjust"} })},
		{name: "a recommendation that is not offered", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Recommended = []string{"adjust"} }), code: CodeInvalid, word: "not in the offer"},
		{name: "over before it begins", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Expires = monday }), code: CodeInvalid, word: "over before"},
		{name: "an opening left out", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Openings = nil }), code: CodeInvalid, word: "not in the offer"},
		{name: "no option at all", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Options, p.Offer.Recommended = nil, nil }), code: CodeInvalid, word: "no option"},
		{name: "no ceiling", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Ceiling = Money{} }), code: CodeInvalid, word: "no ceiling"},
		{name: "a ceiling of nothing", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Ceiling = pounds("0") })},
		{name: "a negative ceiling", stage: weighed, act: offer(func(p *Proposal) { p.Offer.Ceiling = pounds("-1") }), code: CodeInvalid, word: "negative"},
		{name: "a digest of another offer", stage: weighed, act: offer(func(p *Proposal) { p.Digest = "sha256:00" }), code: CodeConflict, word: "digest"},
		{name: "asked of somebody who may not decide", stage: weighed, act: offer(func(p *Proposal) { p.To = "tamsin" }), code: CodeInvalid, word: "may not decide"},
		{name: "asked of nobody on record", stage: weighed, act: offer(func(p *Proposal) { p.To = "nobody" }), code: CodeInvalid, word: "no person"},
		{name: "a change request", stage: approved, act: with(&ChangeRequest{Common: Common{ID: "more"}, To: "imogen", By: "tamsin", Amends: "offer", Found: "the tank is pinholed", Offer: anOffer("60", paintTank())})},
		{name: "a change request to nothing", stage: weighed, act: with(&ChangeRequest{Common: Common{ID: "more"}, To: "imogen", By: "tamsin", Amends: "offer", Found: "a hole", Offer: anOffer("60", paintTank())}), code: CodeInvalid, word: "no proposal"},
		{name: "a change request without its find", stage: approved, act: with(&ChangeRequest{Common: Common{ID: "more"}, To: "imogen", By: "tamsin", Amends: "offer", Offer: anOffer("60", paintTank())}), code: CodeInvalid, word: "what was found"},
	})
}

// TestOptionsThatBelongTogether: what an option requires or excludes is asked
// of the recommendation and of the answer alike.
func TestOptionsThatBelongTogether(t *testing.T) {
	paintWith := func(requires, excludes []string) *Option {
		o := paintTank()
		o.ID, o.Supersedes, o.Requires, o.Excludes = "paint-2", "paint", requires, excludes
		return o
	}
	needsSwap, barsSwap := paintWith([]string{"swap"}, nil), paintWith(nil, []string{"swap"})
	runCases(t, []ruleCase{
		{name: "both recommended, as required", stage: weighed, more: bodies(needsSwap), act: with(aProposal("offer", "200", swapMagneto(), needsSwap))},
		{name: "recommended without what it requires", stage: weighed, more: bodies(needsSwap),
			act: with(aProposal("offer", "200", swapMagneto(), needsSwap), func(p *Proposal) { p.Offer.Recommended = []string{"paint-2"} }), code: CodeInvalid, word: "requires"},
		{name: "recommended although they exclude each other", stage: weighed, more: bodies(barsSwap), act: with(aProposal("offer", "200", swapMagneto(), barsSwap)), code: CodeInvalid, word: "exclude each other"},
		{name: "approved without what it requires", stage: weighed, more: bodies(needsSwap, aProposal("offer", "200", swapMagneto(), needsSwap)),
			act: func(b *bench) Body { return b.answer("yes", "offer", "approve", "paint-2") }, code: CodeInvalid, word: "requires"},
		{name: "approved although they exclude each other", stage: weighed, more: bodies(barsSwap, with(aProposal("offer", "200", swapMagneto(), barsSwap), func(p *Proposal) { p.Offer.Recommended = []string{"swap"} })(nil)),
			act: func(b *bench) Body { return b.answer("yes", "offer", "approve", "swap", "paint-2") }, code: CodeInvalid, word: "exclude each other"},
	})
}

func TestDecideAnswers(t *testing.T) {
	say := func(word string, change ...func(*Decision)) func(*bench) Body {
		return func(b *bench) Body {
			d := b.answer("answer", "offer", word)
			for _, f := range change {
				f(d)
			}
			return d
		}
	}
	refused := func(b *bench) { offered(b); b.do(b.answer("no", "offer", "refuse")) }
	runCases(t, []ruleCase{
		{name: "approve", stage: offered, act: say("approve"), then: func(t *testing.T, b *bench) {
			d, _ := Get[*Decision](b.d, "answer")
			require.Equal(t, []string{"swap", "paint"}, d.Record.Options, "the recommended ones, written out")
		}},
		{name: "approve one of them", stage: offered, act: say("approve", func(d *Decision) { d.Options = []string{"paint"} })},
		{name: "conditions", stage: offered, act: say("approve-with-conditions", func(d *Decision) { d.Conditions = []string{"send pictures"} })},
		{name: "conditions that are not said", stage: offered, act: say("approve-with-conditions"), code: CodeInvalid, word: "conditions are missing"},
		{name: "refuse", stage: offered, act: say("refuse")},
		{name: "ask", stage: offered, act: say("ask")},
		{name: "defer", stage: offered, act: say("defer")},
		{name: "a word that is no answer", stage: offered, act: say("maybe"), code: CodeInvalid, word: "vocabulary"},
		{name: "a stale digest", stage: offered, act: say("approve", func(d *Decision) { d.Digest = "sha256:" + zeros }), code: CodeConflict, word: "digest"},
		{name: "no digest", stage: offered, act: say("approve", func(d *Decision) { d.Digest = "" }), code: CodeInvalid, word: "digest"},
		{name: "not the owner", stage: offered, act: say("approve", func(d *Decision) { d.Person = "tamsin" }), code: CodeRefused, word: "may not decide"},
		{name: "an executor", stage: offered, more: bodies(aPerson("winifred", "executor")), act: say("approve", func(d *Decision) { d.Person = "winifred" })},
		{name: "an option that was not offered", stage: offered, act: say("approve", func(d *Decision) { d.Options = []string{"adjust"} }), code: CodeInvalid, word: "not offered"},
		{name: "rivals", stage: func(b *bench) {
			weighed(b)
			p := aProposal("offer", "110", swapMagneto(), adjustMagneto())
			p.Offer.Recommended = []string{"swap"}
			b.do(p)
		}, act: say("approve", func(d *Decision) { d.Options = []string{"swap", "adjust"} }), code: CodeInvalid, word: "rivals"},
		{name: "just before it runs out", stage: offered, act: func(b *bench) Body {
			b.now = monday.AddDate(0, 1, 0).Add(-time.Minute - time.Second)
			return b.answer("answer", "offer", "approve")
		}},
		{name: "at the moment at which it runs out", stage: offered, act: func(b *bench) Body {
			b.now = monday.AddDate(0, 1, 0).Add(-time.Minute)
			return b.answer("answer", "offer", "approve")
		}, code: CodeExpired, word: "ran out"},
		{name: "a refusal after it ran out", stage: offered, act: func(b *bench) Body {
			b.now = monday.AddDate(0, 2, 0)
			return b.answer("answer", "offer", "refuse")
		}},
		{name: "an offer that is not there", stage: weighed, act: say("refuse", func(d *Decision) { d.Digest = "sha256:" + zeros }), code: CodeConflict, word: "no standing"},
		{name: "an offer that was superseded", stage: offered, more: bodies(with(aProposal("offer-2", "140", swapMagneto(), paintTank()), func(p *Proposal) { p.Supersedes = "offer" })(nil)),
			act: func(b *bench) Body {
				p, _ := Get[*Proposal](b.d, "offer")
				d := b.answer("answer", "offer", "approve")
				d.Digest = p.Record.Digest
				return d
			}, code: CodeConflict, word: "no standing"},
		{name: "the digest of the offer before", stage: offered, more: bodies(with(aProposal("offer-2", "140", swapMagneto(), paintTank()), func(p *Proposal) { p.Supersedes = "offer" })(nil)),
			act: func(b *bench) Body {
				old, _ := b.d.Entry("offer")
				d := b.answer("answer", "offer-2", "approve")
				d.Digest = old.Body.(*Proposal).Digest
				return d
			}, code: CodeConflict, word: "digest"},
		{name: "a call without a witness", stage: offered, act: say("approve", func(d *Decision) { d.Channel = "call" }), code: CodeInvalid, word: "identifier"},
		{name: "a call with one", stage: offered, act: say("approve", func(d *Decision) { d.Channel, d.Witness = "call", "reuben" })},
		{name: "the same answer twice", stage: refused, act: say("refuse"), code: CodeConflict, word: "answered already"},
		{name: "the same approval twice", stage: approved, act: say("approve", func(d *Decision) { d.Options = []string{"swap"} }), code: CodeConflict, word: "answered already"},
		{name: "the same answer, corrected", stage: approved, act: say("approve", func(d *Decision) { d.Supersedes, d.Options, d.Reason = "yes", []string{"swap"}, "as discussed" })},
		{name: "another answer", stage: refused, act: say("approve"), then: func(t *testing.T, b *bench) {
			require.Len(t, Live[*Decision](b.d), 2, "the refusal is kept")
			_, _, ok := b.d.Approval("swap", b.now)
			require.True(t, ok)
		}},
		{name: "a refusal is not withdrawn", stage: refused, act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "no", Why: "it looks bad", By: "tamsin"}), code: CodeRefused, word: "kept for ever"},
		{name: "take back", stage: approved, act: func(b *bench) Body { return b.takeBack("back", "yes", "offer") }, then: func(t *testing.T, b *bench) {
			_, why, ok := b.d.Approval("swap", b.now)
			require.False(t, ok)
			require.Contains(t, why, "not answered")
			_, readable := b.d.Entry("yes")
			require.True(t, readable)
		}},
		{name: "take back what is not there", stage: approved, act: func(b *bench) Body { return b.takeBack("back", "no", "offer") }, code: CodeNotFound, word: "to take back"},
		{name: "take back somebody else's", stage: approved, act: func(b *bench) Body {
			d := b.takeBack("back", "yes", "offer")
			d.Person = "tamsin"
			return d
		}, code: CodeRefused, word: "may not decide"},
		{name: "after taking back, the same answer", stage: approved, more: func(b *bench) []Body { return []Body{b.takeBack("back", "yes", "offer")} }, act: say("approve", func(d *Decision) { d.Options = []string{"swap"} })},
		{name: "a take-back is not withdrawn", stage: approved, more: func(b *bench) []Body { return []Body{b.takeBack("back", "yes", "offer")} },
			act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "back", Why: "we want to go on", By: "tamsin"}), code: CodeRefused, word: "kept for ever"},
	})
}

const zeros = "0000000000000000000000000000000000000000000000000000000000000000"

// TestDigestOfAnOffer: the order of keys is immaterial, the ceiling and all
// else is material.
func TestDigestOfAnOffer(t *testing.T) {
	base := anOffer("110", swapMagneto(), paintTank())
	sum, err := base.Digest()
	require.NoError(t, err)
	require.True(t, CheckDigest(sum))

	var turned Offer
	require.NoError(t, strictJSON([]byte(`{"recommended":["adjust"],"ceiling":{"currency":"GBP","amount":"110"},"options":[{"hours":1,"title":"Set","treatment":"adjust","fault":"spark","by":"tamsin","id":"adjust"}],"expires":"2026-04-09T09:00:00Z"}`), &turned))
	var straight Offer
	require.NoError(t, strictJSON([]byte(`{"options":[{"id":"adjust","fault":"spark","treatment":"adjust","title":"Set","hours":1.0,"by":"tamsin"}],"recommended":["adjust"],"ceiling":{"amount":"110","currency":"GBP"},"expires":"2026-04-09T09:00:00Z"}`), &straight))
	a, err := turned.Digest()
	require.NoError(t, err)
	b, err := straight.Digest()
	require.NoError(t, err)
	require.Equal(t, a, b)

	for name, change := range map[string]func(*Offer){
		"ceiling":      func(o *Offer) { o.Ceiling = pounds("140") },
		"currency":     func(o *Offer) { o.Ceiling = money("110", "EUR") },
		"expiry":       func(o *Offer) { o.Expires = o.Expires.Add(time.Second) },
		"recommended":  func(o *Offer) { o.Recommended = o.Recommended[:1] },
		"options":      func(o *Offer) { o.Options = o.Options[:1] },
		"part":         func(o *Offer) { o.Options[0].Changes = nil },
		"opening":      func(o *Offer) { o.Openings = nil },
		"irreversible": func(o *Offer) { o.Irreversible = []string{"paint"} },
		"what is shown": func(o *Offer) {
			o.Shown = []NamedEstimate{{Of: "substance", Estimate: Estimate{Method: "index/1", Input: []byte("{}"), Result: []byte("{}")}}}
		},
		"do nothing": func(o *Offer) { o.DoNothing = "it rusts on" },
		"cautions":   func(o *Offer) { o.Cautions = []string{"fuel-1"} },
	} {
		other := anOffer("110", swapMagneto(), paintTank())
		change(&other)
		got, err := other.Digest()
		require.NoError(t, err)
		require.NotEqual(t, sum, got, name)
	}
}
