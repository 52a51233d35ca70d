package registry

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// marked checks how an act that was allowed stands to the owner's word.
func marked(record, mark string, why ...string) func(*testing.T, *bench) {
	return func(t *testing.T, b *bench) {
		e, ok := b.d.Entry(record)
		require.True(t, ok)
		var s Standing
		switch x := e.Body.(type) {
		case *Work:
			s = x.Standing
		case *Opened:
			s = x.Standing
		}
		require.Equal(t, mark, s.Mark)
		require.Equal(t, mark == "approved", s.Decision != "")
		require.Len(t, s.Why, len(why), s.Why)
		for i := range why {
			require.Contains(t, s.Why[i], why[i])
		}
	}
}

func TestDecideOpened(t *testing.T) {
	open := func(change ...func(*Opened)) func(*bench) Body {
		return with(&Opened{Common: Common{ID: "opened"}, Opening: "cover", By: "tamsin"}, change...)
	}
	already := func(o *Opened) { o.AlreadyDone = true }
	// build makes an approved option behind an opening, but for what is changed.
	build := func(change func(*bench, *Opening), skip ...string) func(*bench) {
		left := map[string]bool{}
		for _, s := range skip {
			left[s] = true
		}
		return func(b *bench) {
			surveyed(b)
			if !left["joint"] {
				b.do(aJoint("cover-screws"))
			}
			if !left["seal"] {
				b.do(aSeal())
			}
			o := cover()
			if change != nil {
				change(b, o)
			}
			b.do(aFault("spark"), o)
			if !left["picture"] {
				b.do(asFound("photo-cover", "cover"))
			}
			b.do(swapMagneto())
			if !left["approval"] {
				p := aProposal("offer", "110", swapMagneto())
				b.do(p)
				b.do(b.answer("yes", "offer", "approve"))
			}
		}
	}
	gasket := func(_ *bench, o *Opening) { o.Needs[0].InHand = false }
	after := func(b *bench, o *Opening) {
		b.do(&Opening{Common: Common{ID: "exhaust"}, Title: "exhaust pipe", Hours: 1})
		o.Requires = []string{"exhaust"}
	}
	runCases(t, []ruleCase{
		{name: "all in order", stage: build(nil), act: open(), then: marked("opened", "approved")},
		{name: "no picture", stage: build(nil, "picture"), act: open(), code: CodeRefused, word: "as-found picture"},
		{name: "a picture of something else", stage: build(nil, "picture"), more: bodies(asFound("p"), &Photo{Common: Common{ID: "q"}, Digest: "sha256:" + zeros, MediaType: "image/png", Shows: "work", Openings: []string{"cover"}, By: "tamsin"}),
			act: open(), code: CodeRefused, word: "as-found picture"},
		{name: "a joint that nobody recorded", stage: build(nil, "joint"), act: open(), code: CodeRefused, word: "witness register"},
		{name: "no seal", stage: build(nil, "seal"), act: open(), code: CodeRefused, word: "not sealed"},
		{name: "the gasket is not in hand", stage: build(gasket), act: open(), code: CodeRefused, word: "gasket is not in hand"},
		{name: "the gasket came in", stage: build(gasket), more: bodies(with(cover(), func(o *Opening) { o.ID, o.Supersedes = "cover-2", "cover" })(nil)), act: open(), then: marked("opened", "approved")},
		{name: "the gasket came in, by the new name", stage: build(gasket), more: bodies(with(cover(), func(o *Opening) { o.ID, o.Supersedes = "cover-2", "cover" })(nil)),
			act: open(func(o *Opened) { o.Opening = "cover-2" }), then: func(t *testing.T, b *bench) {
				require.True(t, b.d.IsOpened("cover"))
				require.True(t, b.d.IsOpened("cover-2"))
			}},
		{name: "out of order", stage: build(after), act: open(), code: CodeRefused, word: "opened before it"},
		{name: "in order", stage: build(after), more: bodies(asFound("p", "exhaust"), &Opened{Common: Common{ID: "first"}, Opening: "exhaust", By: "tamsin"}), act: open(), then: marked("first", "approved")},
		{name: "no approval", stage: build(nil, "approval"), act: open(), code: CodeNotApproved, word: "no approved option"},
		{name: "approval taken back", stage: build(nil), more: func(b *bench) []Body { return []Body{b.takeBack("back", "yes", "offer")} }, act: open(), code: CodeNotApproved, word: "no approved option"},
		{name: "the option was corrected after the approval", stage: build(nil), more: bodies(with(swapMagneto(), func(o *Option) { o.ID, o.Supersedes, o.Note = "swap-2", "swap", "the magneto came" })(nil)), act: open(), then: marked("opened", "approved")},
		{name: "the option was withdrawn after the approval", stage: build(nil), more: bodies(&Withdrawal{Common: Common{ID: "w"}, Record: "swap", Why: "no", By: "tamsin"}), act: open(), code: CodeNotApproved, word: "no approved option"},
		{name: "on the care list", stage: sealed, more: bodies(&Opening{Common: Common{ID: "tool-tray"}, Title: "tool tray", Hours: 0}, asFound("p", "tool-tray")),
			act: open(func(o *Opened) { o.Opening = "tool-tray" }), then: marked("opened", "care")},
		{name: "on the care list, but without its picture", stage: sealed, more: bodies(&Opening{Common: Common{ID: "tool-tray"}, Title: "tool tray", Hours: 0}),
			act: open(func(o *Opened) { o.Opening = "tool-tray" }), code: CodeRefused, word: "as-found picture"},
		{name: "already done, everything missing", stage: build(gasket, "picture", "joint", "seal", "approval"), act: open(already),
			then: marked("opened", "unapproved", "not sealed", "as-found picture", "witness register", "not in hand", "no approved option")},
		{name: "already done, only the picture missing", stage: build(nil, "picture"), act: open(already), then: marked("opened", "unapproved", "as-found picture")},
		{name: "already done, nothing missing", stage: build(nil), act: open(already), then: marked("opened", "approved")},
		{name: "again after the hand-back", stage: build(after), more: bodies(asFound("p", "exhaust"), &Opened{Common: Common{ID: "first"}, Opening: "exhaust", By: "tamsin"}, aHandBack()), act: open(), code: CodeNotApproved, word: "no approved option"},
		{name: "tomorrow, wherever that is", stage: build(nil), act: open(func(o *Opened) { o.Valid = "2031-01-01" }), code: CodeInvalid, word: "future"},
		{name: "nothing of that name", stage: build(nil), act: open(func(o *Opened) { o.Opening = "lid" }), code: CodeInvalid, word: "no opening"},
	})
}

func TestDecideWork(t *testing.T) {
	work := func(change ...func(*Work)) func(*bench) Body { return with(swapWork("work", "90"), change...) }
	already := func(w *Work) { w.AlreadyDone = true }
	care := func(item string, change ...func(*Work)) func(*bench) Body { return with(careWorkOf(item), change...) }
	spent := func(amount string) func(*Work) { return func(w *Work) { w.Spent = pounds(amount) } }
	runCases(t, []ruleCase{
		{name: "as approved", stage: opened, act: work(), then: marked("work", "approved")},
		{name: "no approval", stage: offered, act: work(), code: CodeNotApproved, word: "not answered"},
		{name: "never asked", stage: weighed, act: work(), code: CodeNotApproved, word: "not been asked"},
		{name: "approval of another option", stage: opened, act: with(paintWork("work")), code: CodeNotApproved, word: "approved swap, not \"paint\""},
		{name: "another treatment", stage: opened, act: work(func(w *Work) { w.Treatment = "adjust" }), code: CodeNotApproved, word: "approved \"reproduction\", not \"adjust\""},
		{name: "a treatment that is none", stage: opened, act: work(func(w *Work) { w.Treatment = "varnish" }), code: CodeInvalid, word: "no such treatment"},
		{name: "a component beyond", stage: opened, act: work(func(w *Work) {
			w.Changes = append(w.Changes, Change{Component: "fuel.tank", Proposition: PropositionOrigin, Keeps: ptr(1.0)})
		}), code: CodeNotApproved, word: "fuel.tank was not part"},
		{name: "another question beyond", stage: opened, act: work(func(w *Work) {
			w.Changes = append(w.Changes, Change{Component: "ignition.magneto", Proposition: PropositionFinish, Keeps: ptr(0.5)})
		}), code: CodeNotApproved, word: "finish of ignition.magneto"},
		{name: "a part on a component beyond", stage: opened, act: work(func(w *Work) {
			w.Fitted = append(w.Fitted, Fitted{Component: "fuel.tank", Part: "tank", Origin: "reproduction"})
		}), code: CodeNotApproved, word: "a part on fuel.tank"},
		{name: "a consumable beside", stage: opened, act: work(func(w *Work) {
			w.Fitted = append(w.Fitted, Fitted{Component: "wheels.front.tyre", Part: "3.25-19", Origin: "substitute"})
		}), then: marked("work", "approved")},
		{name: "an opening beyond", stage: opened, more: bodies(&Opening{Common: Common{ID: "tool-tray"}, Title: "tool tray", Hours: 0}, asFound("p", "tool-tray"), &Opened{Common: Common{ID: "o2"}, Opening: "tool-tray", By: "tamsin"}),
			act: work(func(w *Work) { w.Openings = append(w.Openings, "tool-tray") }), code: CodeNotApproved, word: "\"tool-tray\" was not part"},
		{name: "an opening that is not recorded", stage: approved, act: work(), code: CodeNotApproved, word: "is not recorded"},
		{name: "to the ceiling", stage: opened, act: work(spent("110")), then: marked("work", "approved")},
		{name: "above the ceiling", stage: opened, act: work(spent("110.01")), code: CodeNotApproved, word: "110.01 GBP would be spent, above the ceiling of 110 GBP"},
		{name: "above the ceiling with what was spent before", stage: worked, act: work(spent("20.01")), code: CodeNotApproved, word: "110.01 GBP"},
		{name: "to the ceiling with what was spent before", stage: worked, act: work(spent("20")), then: marked("work", "approved")},
		{name: "a corrected entry counts once", stage: worked, act: work(spent("100"), func(w *Work) { w.Supersedes = "work-1" }), then: marked("work", "approved")},
		{name: "an answer given anew does not begin from nothing", stage: worked, more: func(b *bench) []Body {
			return []Body{b.answer("no", "offer", "refuse"), b.answer("yes-2", "offer", "approve", "swap")}
		}, act: work(spent("20.01")), code: CodeNotApproved, word: "110.01 GBP"},
		{name: "money of another country", stage: opened, act: work(func(w *Work) { w.Spent = money("50", "EUR") }), code: CodeNotApproved, word: "above the ceiling"},
		{name: "money of two countries", stage: worked, act: work(func(w *Work) { w.Spent = money("1", "EUR") }), code: CodeNotApproved, word: "different currencies"},
		{name: "negative money", stage: opened, act: work(spent("-1")), code: CodeInvalid, word: "negative"},
		{name: "taken back", stage: approved, more: func(b *bench) []Body { return []Body{b.takeBack("back", "yes", "offer")} }, act: work(), code: CodeNotApproved, word: "not answered"},
		{name: "refused", stage: offered, more: func(b *bench) []Body { return []Body{b.answer("no", "offer", "refuse")} }, act: work(), code: CodeNotApproved, word: "\"refuse\""},
		{name: "deferred", stage: offered, more: func(b *bench) []Body { return []Body{b.answer("no", "offer", "defer")} }, act: work(), code: CodeNotApproved, word: "\"defer\""},
		{name: "a superseded offer", stage: opened, more: bodies(with(aProposal("offer-2", "140", swapMagneto(), paintTank()), func(p *Proposal) { p.Supersedes = "offer" })(nil)),
			act: work(), code: CodeNotApproved, word: "has not answered \"offer-2\""},
		{name: "a withdrawn offer", stage: opened, more: bodies(&Withdrawal{Common: Common{ID: "w"}, Record: "offer", Why: "a mistake", By: "tamsin"}), act: work(), code: CodeNotApproved, word: "not been asked"},
		{name: "an approval that runs on", stage: offered, more: func(b *bench) []Body {
			d := b.answer("yes", "offer", "approve", "swap")
			d.Until = ptr(monday.AddDate(0, 0, 14))
			return []Body{d, &Opened{Common: Common{ID: "opened"}, Opening: "cover", By: "tamsin"}}
		}, act: func(b *bench) Body {
			b.now = monday.AddDate(0, 0, 14).Add(-2 * time.Minute)
			return swapWork("work", "90")
		}, then: marked("work", "approved")},
		{name: "an approval that ran out", stage: offered, more: func(b *bench) []Body {
			d := b.answer("yes", "offer", "approve", "swap")
			d.Until = ptr(monday.AddDate(0, 0, 14))
			return []Body{d, &Opened{Common: Common{ID: "opened"}, Opening: "cover", By: "tamsin"}}
		}, act: func(b *bench) Body { b.now = monday.AddDate(0, 0, 14).Add(-time.Minute); return swapWork("work", "90") }, code: CodeNotApproved, word: "ran out on 23 March 2026"},
		{name: "the offer's own expiry does not end what was approved in time", stage: opened, act: func(b *bench) Body { b.now = monday.AddDate(0, 6, 0); return swapWork("work", "90") }, then: marked("work", "approved")},
		{name: "what cannot be undone, approved by name", stage: offered, more: func(b *bench) []Body { return []Body{b.answer("yes", "offer", "approve", "paint")} }, act: with(paintWork("work")), then: marked("work", "approved")},
		{name: "already done, without approval", stage: offered, act: work(already), then: marked("work", "unapproved", "not answered", "not recorded")},
		{name: "already done, above the ceiling", stage: opened, act: work(already, spent("111")), then: marked("work", "unapproved", "above the ceiling")},
		{name: "already done, as approved", stage: opened, act: work(already), then: marked("work", "approved")},
		{name: "unapproved spending is not counted under the approval", stage: opened, more: bodies(with(swapWork("dear", "500"), already)(nil)), act: work(), then: marked("work", "approved")},
		{name: "unapproved work corrected into approved", stage: opened, more: bodies(with(swapWork("dear", "500"), already)(nil)),
			act: work(func(w *Work) { w.Supersedes = "dear" }), code: CodeNotApproved, word: "stands as unapproved"},
		{name: "unapproved work corrected, and still unapproved", stage: opened, more: bodies(with(swapWork("dear", "500"), already)(nil)),
			act: work(already, func(w *Work) { w.Supersedes = "dear" }), then: marked("work", "unapproved", "stands as unapproved")},
		{name: "unapproved work withdrawn", stage: opened, more: bodies(with(swapWork("dear", "500"), already)(nil)),
			act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "dear", Why: "let us forget it", By: "tamsin"}), code: CodeRefused, word: "stays on record"},
		{name: "a rung with an approval of its own, as care", stage: sealed, act: care("dust", func(w *Work) { w.Treatment = "refinish" }), code: CodeNotApproved, word: "never done without asking"},
		{name: "before the seal", stage: surveyed, act: care("dust"), code: CodeRefused, word: "not sealed"},
		{name: "before the seal, already done", stage: surveyed, act: care("dust", already), then: marked("care", "unapproved", "not sealed")},

		{name: "care", stage: sealed, act: care("dust"), then: marked("care", "care")},
		{name: "not on the care list", stage: sealed, act: care("polish"), code: CodeNotApproved, word: "not on the care list"},
		{name: "neither option nor care", stage: sealed, act: care(""), code: CodeNotApproved, word: "neither"},
		{name: "what cannot be undone is never care", stage: sealed, act: care("dust", func(w *Work) {
			w.Treatment, w.Changes = "refinish", []Change{{Component: "fuel.tank", Proposition: PropositionFinish, Keeps: ptr(0.0)}}
		}), code: CodeNotApproved, word: "never done without asking"},
		{name: "making safe", stage: sealed, act: care("make safe: fuel leak, tap closed and tank drained"), then: marked("care", "make-safe")},
		{name: "making safe without saying what", stage: sealed, act: care("make safe: "), code: CodeNotApproved, word: "care list"},
		{name: "what cannot be undone is never making safe", stage: sealed, act: care("make safe: rust", func(w *Work) {
			w.Treatment, w.Changes = "refinish", []Change{{Component: "fuel.tank", Proposition: PropositionFinish, Keeps: ptr(0.0)}}
		}), code: CodeNotApproved, word: "never done without asking"},
		{name: "a promise in place of a tag", stage: opened, act: work(func(w *Work) {
			w.Changes[0].Keep = &KeepPromise{Custody: "kept-with-machine"}
		}), code: CodeInvalid, word: "no promise"},
	})
}

// TestRaisingTheCeiling: a higher ceiling is another offer with another digest;
// the approval of the first does not cover it.
func TestRaisingTheCeiling(t *testing.T) {
	b := newBench(t)
	opened(b)
	_, before, _, _ := b.d.OfferOf("offer")
	b.do(with(aProposal("offer-2", "140", swapMagneto(), paintTank()), func(p *Proposal) { p.Supersedes = "offer" })(b))
	_, after, _, _ := b.d.OfferOf("offer-2")
	require.NotEqual(t, before, after)
	_, _, _, stands := b.d.OfferOf("offer")
	require.False(t, stands)
	_, why, ok := b.d.Approval("swap", b.now)
	require.False(t, ok)
	require.Contains(t, why, "offer-2")
	err := b.try(swapWork("work", "120"))
	require.Equal(t, CodeNotApproved, CodeOf(err), err)
	b.do(b.answer("yes-2", "offer-2", "approve", "swap"), swapWork("work", "120"))
	marked("work", "approved")(t, b)
}

// TestIdentity: what a machine is known by is touched with two people and
// pictures, whether it is changed or fitted.
func TestIdentity(t *testing.T) {
	stamp := func(b *bench) {
		sealed(b)
		o := &Option{Common: Common{ID: "case"}, Fault: "crack", Treatment: "adjust", Title: "Close the crack", Hours: 2, By: "tamsin",
			Changes: []Change{{Component: "engine.crankcase", Proposition: PropositionOrigin, Keeps: ptr(0.9)}}}
		b.do(aFault("crack"), o, aProposal("offer", "50", o))
		b.do(b.answer("yes", "offer", "approve"))
	}
	work := func(change ...func(*Work)) func(*bench) Body {
		return with(&Work{Common: Common{ID: "work"}, Option: "case", Treatment: "adjust", Did: "closed it", Hours: 2, By: "tamsin", Second: "reuben", Photos: []string{"photo-1"},
			Changes: []Change{{Component: "engine.crankcase", Proposition: PropositionOrigin, Keeps: ptr(0.9)}}}, change...)
	}
	fitted := func(w *Work) {
		w.Changes, w.Fitted = nil, []Fitted{{Component: "engine.crankcase", Part: "case half", Origin: "period-service"}}
	}
	runCases(t, []ruleCase{
		{name: "two people and pictures", stage: stamp, act: work(), then: marked("work", "approved")},
		{name: "one person", stage: stamp, act: work(func(w *Work) { w.Second = "" }), code: CodeInvalid, word: "second signature"},
		{name: "one person twice", stage: stamp, act: work(func(w *Work) { w.Second = "tamsin" }), code: CodeInvalid, word: "second"},
		{name: "no pictures", stage: stamp, act: work(func(w *Work) { w.Photos = nil }), code: CodeInvalid, word: "pictures"},
		{name: "fitted, two people and pictures", stage: stamp, act: work(fitted), then: marked("work", "approved")},
		{name: "fitted by one person", stage: stamp, act: work(fitted, func(w *Work) { w.Second = "" }), code: CodeInvalid, word: "second signature"},
		{name: "fitted without pictures", stage: stamp, act: work(fitted, func(w *Work) { w.Photos = nil }), code: CodeInvalid, word: "pictures"},
	})
}

func TestDecideRemovedParts(t *testing.T) {
	part := func(change ...func(*RemovedPart)) func(*bench) Body { return with(oldMagneto(), change...) }
	back := func(b *bench) Body { return move("back", "old-magneto", "fitted") }
	painted := func(b *bench) {
		offered(b)
		w := paintWork("work-1")
		w.Changes[0].Removes = true
		p := oldMagneto()
		p.Component = "fuel.tank"
		b.do(b.answer("yes", "offer", "approve", "paint"), w, p)
	}
	runCases(t, []ruleCase{
		{name: "tagged", stage: worked, act: part()},
		{name: "removed and fitted", stage: worked, act: part(func(p *RemovedPart) { p.Custody = "fitted" }), code: CodeInvalid, word: "cannot also be fitted"},
		{name: "no tag", stage: worked, act: part(func(p *RemovedPart) { p.Tag = "" }), code: CodeInvalid, word: "no tag"},
		{name: "another position than the work's", stage: worked, act: part(func(p *RemovedPart) { p.Component = "fuel.tank" }), code: CodeInvalid, word: "took nothing off"},
		{name: "work that is not there", stage: opened, act: part(), code: CodeInvalid, word: "no work"},
		{name: "work that took nothing off", stage: opened, more: bodies(with(swapWork("work-1", "1"), func(w *Work) { w.Changes[0].Removes = false })(nil)), act: part(), code: CodeInvalid, word: "took nothing off"},
		{name: "twice", stage: tagged, act: part(func(p *RemovedPart) { p.ID = "again" }), code: CodeConflict, word: "already recorded"},
		{name: "corrected", stage: tagged, act: part(func(p *RemovedPart) { p.ID, p.Supersedes, p.Tag = "again", "old-magneto", "T-08" })},
		{name: "arrived loose", stage: takenIn, act: part(func(p *RemovedPart) { p.Work = "" })},

		{name: "another shelf", stage: tagged, act: with(move("m", "old-magneto", "elsewhere")), then: func(t *testing.T, b *bench) { require.Equal(t, "elsewhere", b.d.Custody("old-magneto")) }},
		{name: "nowhere else", stage: tagged, act: with(move("m", "old-magneto", "kept-with-machine")), code: CodeConflict, word: "already"},
		{name: "the same custody, another place", stage: tagged, act: with(move("m", "old-magneto", "kept-with-machine"), func(m *PartMove) { m.Place = Private{Value: "shelf 4"} })},
		{name: "back", stage: tagged, act: back, then: func(t *testing.T, b *bench) {
			require.Equal(t, "fitted", b.d.Custody("old-magneto"))
			require.Empty(t, b.d.Layers("ignition.magneto", PropositionOrigin), "the work is undone")
		}},
		{name: "back after something was done since", stage: tagged, more: bodies(swapWork("work-2", "5")), act: back, code: CodeRefused, word: "since"},
		{name: "back once the later work is undone", stage: tagged, more: bodies(swapWork("work-2", "5"),
			with(oldMagneto(), func(p *RemovedPart) { p.ID, p.Work = "second-magneto", "work-2" })(nil), move("m", "second-magneto", "fitted")), act: back,
			then: func(t *testing.T, b *bench) { require.Empty(t, b.d.Layers("ignition.magneto", PropositionOrigin)) }},
		{name: "back although it cannot be undone", stage: painted, act: back, code: CodeRefused, word: "cannot be undone"},
		{name: "back although it is destroyed", stage: tagged, more: bodies(move("gone", "old-magneto", "destroyed")), act: back, code: CodeRefused, word: "destroyed"},
		{name: "the record of its destruction was wrong", stage: tagged, more: bodies(move("gone", "old-magneto", "destroyed")),
			act: with(move("m", "old-magneto", "lost"), func(m *PartMove) { m.Supersedes = "gone" }), then: func(t *testing.T, b *bench) { require.Equal(t, "lost", b.d.Custody("old-magneto")) }},
		{name: "back although it arrived loose", stage: takenIn, more: bodies(with(oldMagneto(), func(p *RemovedPart) { p.Work = "" })(nil)), act: back, code: CodeRefused, word: "loose"},
		{name: "off again without work", stage: tagged, more: func(b *bench) []Body { return []Body{back(b)} }, act: with(move("m", "old-magneto", "kept-with-machine")), code: CodeRefused, word: "on the machine again"},
		{name: "back twice", stage: tagged, more: func(b *bench) []Body { return []Body{back(b)} }, act: with(move("m", "old-magneto", "fitted")), code: CodeConflict, word: "already"},
		{name: "a correction of going back", stage: tagged, more: func(b *bench) []Body { return []Body{back(b)} },
			act: with(move("m", "old-magneto", "fitted"), func(m *PartMove) { m.Supersedes, m.Why = "back", "better written" }), then: func(t *testing.T, b *bench) { require.Equal(t, "fitted", b.d.Custody("old-magneto")) }},
		{name: "a corrected tag keeps its moves", stage: tagged, more: func(b *bench) []Body { return []Body{back(b)} },
			act: part(func(p *RemovedPart) { p.ID, p.Supersedes, p.Tag = "again", "old-magneto", "T-08" }), then: func(t *testing.T, b *bench) {
				require.Equal(t, "fitted", b.d.Custody("again"))
				require.Empty(t, b.d.Layers("ignition.magneto", PropositionOrigin))
			}},
		{name: "a corrected work entry keeps its part", stage: tagged, more: bodies(with(swapWork("work-2", "95"), func(w *Work) { w.Supersedes = "work-1" })(nil)), act: back,
			then: func(t *testing.T, b *bench) { require.Empty(t, b.d.Layers("ignition.magneto", PropositionOrigin)) }},
		{name: "no such part", stage: takenIn, act: back, code: CodeInvalid, word: "no removed-part"},
	})
}

// TestAnUndoneActLeavesNothing: a part that goes back leaves the layers exactly
// as they were before it came off.
func TestAnUndoneActLeavesNothing(t *testing.T) {
	b := newBench(t)
	opened(b)
	first := with(swapWork("work-0", "1"), func(w *Work) { w.Changes[0].Removes, w.Changes[0].After, w.Changes[0].Keeps = false, nil, ptr(0.9) })(b)
	b.do(first)
	before := b.d.Layers("ignition.magneto", PropositionOrigin)
	require.Len(t, before, 1)
	b.do(swapWork("work-1", "90"), oldMagneto())
	during := b.d.Layers("ignition.magneto", PropositionOrigin)
	require.Len(t, during, 2)
	require.Equal(t, "old-magneto", during[1].Removed)
	require.Equal(t, "kept-with-machine", during[1].Custody)
	b.do(move("back", "old-magneto", "fitted"))
	require.Equal(t, before, b.d.Layers("ignition.magneto", PropositionOrigin))
}

func TestFunctionOf(t *testing.T) {
	b := newBench(t)
	takenIn(b)
	require.Equal(t, "not-tested", b.d.FunctionOf("wheels.front.tyre"))
	b.do(with(aSurvey("wheels.front.tyre"), func(s *Survey) { s.Function = "unsafe" })(b))
	require.Equal(t, "unsafe", b.d.FunctionOf("wheels.front.tyre"))
	b.do(aSeal(), with(careWorkOf("dust"), func(w *Work) {
		w.Fitted = []Fitted{{Component: "wheels.front.tyre", Part: "3.25-19", Origin: "substitute"}}
	})(b))
	require.Equal(t, "not-tested", b.d.FunctionOf("wheels.front.tyre"), "a new part is not tested")
	b.do(aCheck("c1", "failed", "wheels.front.tyre"))
	require.Equal(t, "fails", b.d.FunctionOf("wheels.front.tyre"))
	b.do(with(aSurvey("wheels.front.tyre"), func(s *Survey) { s.ID, s.Supersedes, s.Function = "s2", "survey-wheels.front.tyre", "works" })(b))
	require.Equal(t, "fails", b.d.FunctionOf("wheels.front.tyre"), "a corrected survey entry still speaks of the day of the survey")
	b.do(aCheck("c2", "passed", "wheels.front.tyre"), aCheck("c3", "not-done", "wheels.front.tyre"))
	require.Equal(t, "works", b.d.FunctionOf("wheels.front.tyre"))
	b.do(with(aCheck("c4", "failed", "wheels.front.tyre"), func(c *Check) { c.Supersedes = "c1" })(b))
	require.Equal(t, "works", b.d.FunctionOf("wheels.front.tyre"), "a corrected check stands where it stood")

	b = newBench(t)
	tagged(b)
	b.do(aCheck("new-one", "passed", "ignition.magneto"))
	require.Equal(t, "works", b.d.FunctionOf("ignition.magneto"))
	b.do(move("back", "old-magneto", "fitted"))
	require.Equal(t, "not-tested", b.d.FunctionOf("ignition.magneto"), "the part that went back is not the one that was tested")
}

func TestDecideGates(t *testing.T) {
	check := aCheck("turned", "passed", "ignition.magneto")
	pass := func(id string, checks ...string) func(*bench) Body { return with(gate(id, checks...)) }
	turns := func(b *bench) {
		sealed(b)
		b.do(check, gate("arrived"), gate("sealed-survey"), gate("turns", "turned"))
	}
	braked := func(b *bench) {
		turns(b)
		b.do(aCheck("brakes", "passed", "brakes.front.linings"), gate("private-ground"))
	}
	ridden := func(b *bench) {
		braked(b)
		b.do(aCheck("tyres", "passed", "wheels.front.tyre"), gate("road"))
	}
	back := func(id string) *GateTakenBack {
		return &GateTakenBack{Common: Common{ID: "back-" + id}, Gate: id, Why: "it stuck again", By: "tamsin"}
	}
	passed := func(want ...string) func(*testing.T, *bench) {
		return func(t *testing.T, b *bench) {
			got := []string{}
			for _, g := range b.d.GatesPassed(b.rules) {
				got = append(got, g.Record.Gate)
			}
			require.Equal(t, want, got)
		}
	}
	runCases(t, []ruleCase{
		{name: "the first", stage: takenIn, act: pass("arrived"), then: passed("arrived")},
		{name: "without its picture", stage: takenIn, act: with(gate("arrived"), func(g *Gate) { g.Photos = nil }), code: CodeRefused, word: "no picture"},
		{name: "unknown", stage: takenIn, act: pass("heaven"), code: CodeInvalid, word: "no such gate"},
		{name: "twice", stage: turns, act: with(gate("arrived"), func(g *Gate) { g.ID = "again" }), code: CodeConflict, word: "passed already"},
		{name: "skipping the first", stage: sealed, act: pass("sealed-survey"), code: CodeRefused, word: "\"Arrived\" comes before"},
		{name: "skipping one in the middle", stage: sealed, more: bodies(check, gate("arrived")), act: pass("turns", "turned"), code: CodeRefused, word: "\"Sealed survey\" comes before"},
		{name: "without the seal", stage: surveyed, more: bodies(gate("arrived")), act: pass("sealed-survey"), code: CodeRefused, word: "not sealed"},
		{name: "without its check", stage: sealed, more: bodies(gate("arrived"), gate("sealed-survey")), act: pass("turns"), code: CodeRefused, word: "1 passed checks are needed, 0 are named"},
		{name: "with a check that failed", stage: sealed, more: bodies(gate("arrived"), gate("sealed-survey"), aCheck("stuck", "failed", "ignition.magneto")), act: pass("turns", "stuck"), code: CodeRefused, word: "did not pass"},
		{name: "with a check that failed beside one that passed", stage: sealed, more: bodies(gate("arrived"), gate("sealed-survey"), check, aCheck("stuck", "failed", "ignition.magneto")), act: pass("turns", "turned", "stuck"), code: CodeRefused, word: "did not pass"},
		{name: "with a check that was not done", stage: sealed, more: bodies(gate("arrived"), gate("sealed-survey"), aCheck("not", "not-done", "ignition.magneto")), act: pass("turns", "not"), code: CodeRefused, word: "did not pass"},
		{name: "without a second name", stage: turns, more: bodies(aCheck("brakes", "passed", "brakes.front.linings")), act: with(gate("private-ground"), func(g *Gate) { g.Second = "" }), code: CodeRefused, word: "second name"},
		{name: "with the same name twice", stage: turns, more: bodies(aCheck("brakes", "passed", "brakes.front.linings")), act: with(gate("private-ground"), func(g *Gate) { g.Second = "tamsin" }), code: CodeInvalid, word: "Both names"},
		{name: "a component that nobody tested", stage: turns, act: pass("private-ground"), code: CodeRefused, word: "\"not-tested\""},
		{name: "a component that fails", stage: turns, more: bodies(aCheck("brakes", "failed", "brakes.front.linings")), act: pass("private-ground"), code: CodeRefused, word: "\"fails\""},
		{name: "a tyre that is unsafe", stage: func(b *bench) {
			takenIn(b)
			b.do(with(aSurvey("wheels.front.tyre"), func(s *Survey) { s.Function = "unsafe" })(b), aJoint("cover-screws"), aSeal(), check, gate("arrived"), gate("sealed-survey"), gate("turns", "turned"),
				aCheck("brakes", "passed", "brakes.front.linings"), gate("private-ground"))
		}, act: pass("road"), code: CodeRefused, word: "wheels.front.tyre is recorded as \"unsafe\""},
		{name: "private ground", stage: turns, more: bodies(aCheck("brakes", "passed", "brakes.front.linings")), act: pass("private-ground"), then: passed("arrived", "sealed-survey", "turns", "private-ground")},
		{name: "road; what this type never had need not be sound", stage: braked, more: bodies(aCheck("tyres", "passed", "wheels.front.tyre")), act: pass("road"), then: passed("arrived", "sealed-survey", "turns", "private-ground", "road")},
		{name: "taking one back drops the later ones", stage: ridden, act: with(back("sealed-survey")), then: passed("arrived")},
		{name: "taking back what is not passed", stage: turns, act: with(back("road")), code: CodeConflict, word: "not passed"},
		{name: "taking back twice", stage: turns, more: bodies(back("turns")), act: with(back("turns"), func(g *GateTakenBack) { g.ID = "again" }), code: CodeConflict, word: "not passed"},
		{name: "after taking back, the later ones wait", stage: ridden, more: bodies(back("sealed-survey")), act: with(gate("turns", "turned"), func(g *Gate) { g.ID = "again" }), code: CodeRefused, word: "comes before"},
		{name: "after taking back, passed again", stage: turns, more: bodies(back("turns")), act: with(gate("turns", "turned"), func(g *Gate) { g.ID = "again" }), then: passed("arrived", "sealed-survey", "turns")},
		{name: "a gate is not corrected", stage: turns, act: with(gate("sealed-survey"), func(g *Gate) { g.ID, g.Supersedes = "again", "gate-arrived" }), code: CodeRefused, word: "not corrected"},
		{name: "a gate is not withdrawn", stage: turns, act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "gate-sealed-survey", Why: "a mistake", By: "tamsin"}), code: CodeRefused, word: "not withdrawn"},
		{name: "static only, in place of the road", stage: turns, act: pass("static"), then: passed("arrived", "sealed-survey", "turns", "static")},
		{name: "static only needs its second name", stage: turns, act: with(gate("static"), func(g *Gate) { g.Second = "" }), code: CodeRefused, word: "second name"},
		{name: "static only after the road", stage: ridden, act: pass("static"), code: CodeRefused, word: "ended another way"},
		{name: "the road after static only", stage: braked, more: bodies(gate("static"), aCheck("tyres", "passed", "wheels.front.tyre")), act: pass("road"), code: CodeRefused, word: "ended another way"},
		{name: "the road once static only is taken back", stage: braked, more: bodies(gate("static"), aCheck("tyres", "passed", "wheels.front.tyre"), back("static")), act: pass("road"),
			then: passed("arrived", "sealed-survey", "turns", "private-ground", "road")},
	})
}

func TestDecideHandBack(t *testing.T) {
	give := func(change ...func(*HandBack)) func(*bench) Body { return with(aHandBack(), change...) }
	also := func(parts ...string) func(*HandBack) { return func(h *HandBack) { h.RemovedParts = parts } }
	because := func(id string) func(*HandBack) {
		return func(h *HandBack) { h.Accounted = map[string]string{id: "lost in the move; owner told"} }
	}
	runCases(t, []ruleCase{
		{name: "everything", stage: takenIn, act: give()},
		{name: "no agreement", stage: func(b *bench) { b.do(aMachine(), aPerson("imogen", "owner"), aPerson("tamsin", "mechanic")) }, act: give(), code: CodeRefused, word: "no custody agreement"},
		{name: "a missing item", stage: takenIn, act: give(func(h *HandBack) { h.Inventory = h.Inventory[:1] }), code: CodeRefused, word: "1 of \"tin of screws\" came in, 0 go back"},
		{name: "too few of one", stage: takenIn, act: give(func(h *HandBack) { h.Inventory[0].Count = 1 }), code: CodeRefused, word: "2 of \"keys\" came in, 1 go back"},
		{name: "too many of one", stage: takenIn, act: give(func(h *HandBack) { h.Inventory[0].Count = 3 }), code: CodeRefused, word: "2 of \"keys\" came in, 3 go back"},
		{name: "a missing item, accounted for", stage: takenIn, act: give(func(h *HandBack) { h.Inventory = h.Inventory[:1] }, because("tin"))},
		{name: "an account of something else", stage: takenIn, act: give(func(h *HandBack) { h.Inventory = h.Inventory[:1] }, because("keys")), code: CodeRefused, word: "tin of screws"},
		{name: "an extra item", stage: takenIn, act: give(func(h *HandBack) {
			h.Inventory = append(h.Inventory, InventoryItem{ID: "jacket", What: "jacket", Count: 1})
		}), code: CodeRefused, word: "never came in"},
		{name: "an extra item, accounted for", stage: takenIn, act: give(func(h *HandBack) {
			h.Inventory = append(h.Inventory, InventoryItem{ID: "jacket", What: "jacket", Count: 1})
		}, because("jacket"))},
		{name: "a negative count", stage: takenIn, act: give(func(h *HandBack) { h.Inventory[0].Count = -2 }), code: CodeInvalid, word: "count cannot be right"},
		{name: "a removed part held back", stage: tagged, act: give(), code: CodeRefused, word: "tag T-07"},
		{name: "a removed part handed over", stage: tagged, act: give(also("old-magneto"))},
		{name: "a removed part accounted for", stage: tagged, act: give(because("old-magneto"))},
		{name: "a removed part that is lost need not be", stage: tagged, more: bodies(move("m", "old-magneto", "lost")), act: give()},
		{name: "a removed part that is lost cannot be", stage: tagged, more: bodies(move("m", "old-magneto", "lost")), act: give(also("old-magneto")), code: CodeRefused, word: "cannot be handed over"},
		{name: "a removed part that went back is on the machine", stage: tagged, more: bodies(move("m", "old-magneto", "fitted")), act: give()},
		{name: "a removed part that is not there", stage: takenIn, act: give(also("old-magneto")), code: CodeInvalid, word: "no removed-part"},
	})
}

// TestWhatWorkNeeds: what an option needs has to be in hand; that it came in is
// recorded by correcting the option, and the approval of the first still covers.
func TestWhatWorkNeeds(t *testing.T) {
	b := newBench(t)
	sealed(b)
	want := swapMagneto()
	want.Openings, want.Needs = nil, []Need{{What: "magneto", Count: 1, Unit: "1"}, {What: "oil seal", Count: 1, Unit: "1", InHand: true}}
	work := func(id string) *Work {
		w := swapWork(id, "90")
		w.Openings = nil
		return w
	}
	b.do(aFault("spark"), want, aProposal("offer", "110", want))
	b.do(b.answer("yes", "offer", "approve"))
	err := b.try(work("work-1"))
	require.Equal(t, CodeNotApproved, CodeOf(err))
	require.ErrorContains(t, err, "magneto is not in hand")
	require.NotContains(t, err.Error(), "oil seal")
	came := *want
	came.ID, came.Supersedes, came.Needs = "swap-2", "swap", []Need{{What: "magneto", Count: 1, Unit: "1", InHand: true}, want.Needs[1]}
	b.do(&came, work("work-1"))
	marked("work-1", "approved")(t, b)
	err = b.try(with(work("work-2"), func(w *Work) { w.Option = "swap-2" })(b))
	require.ErrorContains(t, err, "not been asked", "the corrected option itself was never offered")
}

// TestTheLastWordCounts: when one option stands in several offers, the last
// answer on it counts; an offer that nobody has answered changes nothing.
func TestTheLastWordCounts(t *testing.T) {
	more := func(id, ceiling string, options ...*Option) *ChangeRequest {
		return &ChangeRequest{Common: Common{ID: id}, To: "imogen", By: "tamsin", Amends: "offer", Found: "more", Offer: anOffer(ceiling, options...)}
	}
	approval := func(b *bench) (string, bool) {
		a, why, ok := b.d.Approval("swap", b.now)
		if ok {
			return a.Decision.RecordID() + " " + a.Offer.Ceiling.String(), true
		}
		return why, false
	}
	b := newBench(t)
	approved(b)
	got, ok := approval(b)
	require.True(t, ok)
	require.Equal(t, "yes 110 GBP", got)

	b.do(more("more", "140", swapMagneto(), paintTank()))
	got, ok = approval(b)
	require.True(t, ok)
	require.Equal(t, "yes 110 GBP", got, "not answered")

	b.do(b.answer("no", "more", "refuse"))
	got, ok = approval(b)
	require.False(t, ok)
	require.Contains(t, got, `"refuse"`)

	b.do(b.answer("paint-only", "more", "approve", "paint"))
	got, ok = approval(b)
	require.False(t, ok)
	require.Contains(t, got, "approved paint")

	d := b.answer("both", "more", "approve", "swap", "paint")
	d.Until = ptr(b.now.Add(time.Hour))
	b.do(d)
	got, ok = approval(b)
	require.True(t, ok)
	require.Equal(t, "both 140 GBP", got)

	b.now = b.now.Add(2 * time.Hour)
	got, ok = approval(b)
	require.False(t, ok)
	require.Contains(t, got, "ran out")

	b.do(b.takeBack("back-1", "both", "more"), b.takeBack("back-2", "paint-only", "more"), b.takeBack("back-3", "no", "more"))
	got, ok = approval(b)
	require.True(t, ok)
	require.Equal(t, "yes 110 GBP", got)
}

func TestSpentUnder(t *testing.T) {
	b := newBench(t)
	worked(b)
	b.do(swapWork("work-2", "7.25"), with(swapWork("dear", "500"), func(w *Work) { w.AlreadyDone = true })(b))
	sum, err := b.d.SpentUnder("yes")
	require.NoError(t, err)
	require.Equal(t, "97.25 GBP", sum.String(), "what was unapproved is not under the approval")
	b.do(&Withdrawal{Common: Common{ID: "w"}, Record: "work-2", Why: "written twice", By: "tamsin"})
	sum, err = b.d.SpentUnder("yes")
	require.NoError(t, err)
	require.Equal(t, "90 GBP", sum.String())
}
