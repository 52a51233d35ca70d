package workshop

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// Every figure that is recorded can be computed again from what is recorded
// with it, to the last digit.
func TestEveryRecordedFigureCanBeComputedAgain(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	b.do(someEvidence("ev-1", "fuel.tank"), &registry.Claim{Common: registry.Common{ID: "cl-1"}, Component: "fuel.tank", Proposition: registry.PropositionOrigin,
		Statement: "It is the first one.", Evidence: []string{"sv-fuel.tank", "ev-1"}, By: "mechanic"})
	b.pass(time.Minute)
	options, receipt, err := b.Weigh(ctx, request(), nil, true)
	require.NoError(t, err)
	d, err := b.Load(ctx, drover, At{})
	require.NoError(t, err)
	require.Equal(t, len(registry.Live[*registry.Option](d)), len(options))
	require.Equal(t, "weighing", string(receipt.Records[0].Kind))
	b.propose("proposal-1", "100", "condenser-outside", "armature-rewind")

	seen := map[registry.Kind]int{}
	d, err = b.Load(ctx, drover, At{})
	require.NoError(t, err)
	for _, e := range d.Entries() {
		if len(registry.Estimates(e.Body)) == 0 {
			continue
		}
		again, err := b.Recalc(ctx, e.ID)
		require.NoError(t, err)
		require.Len(t, again, len(registry.Estimates(e.Body)))
		for _, x := range again {
			require.True(t, x.Same, "%s of %s", x.Of, e.RecordID())
			require.NotEmpty(t, x.Catalog)
			seen[e.Kind]++
		}
		byVersion, err := b.Recalc(ctx, fmt.Sprintf("%s/%d", drover, e.Version))
		require.NoError(t, err)
		require.Equal(t, again, byVersion)
	}
	require.Equal(t, 3, seen["survey-seal"])
	require.Equal(t, 1, seen["claim"])
	require.Greater(t, seen["weighing"], 15)
	require.Greater(t, seen["proposal"], 4, "two options and three indices")

	_, err = b.Recalc(ctx, fmt.Sprintf("%s/%d", drover, 1))
	refused(t, err, registry.CodeRefused, "holds no estimate")
	for _, nobody := range []string{"nothing", drover + "/9999", "elsewhere/1"} {
		_, err = b.Recalc(ctx, nobody)
		refused(t, err, registry.CodeNotFound, "There is no event")
	}
}

// Somebody who writes records by hand may not bring figures that the program
// would not compute.
func TestFiguresOfOnesOwnAreRefused(t *testing.T) {
	b := drafted(t)
	b.do(someEvidence("ev-1", "fuel.tank"))
	claim := &registry.Claim{Common: registry.Common{ID: "cl-1"}, Component: "fuel.tank", Proposition: registry.PropositionOrigin,
		Statement: "It is the first one.", Evidence: []string{"ev-1"}, By: "mechanic"}
	good := *claim
	b.do(&good)
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	estimate := *registry.Live[*registry.Claim](d)[0].Record.Estimate
	before := b.version()

	forged := estimate
	var result map[string]any
	require.NoError(t, json.Unmarshal(estimate.Result, &result))
	result["moved"] = false
	forged.Result, err = json.Marshal(result)
	require.NoError(t, err)
	claim.ID, claim.Supersedes, claim.Estimate = "cl-2", "cl-1", &forged
	_, err = b.Record(context.Background(), request(), claim)
	refused(t, err, registry.CodeInvalid, "not what its input gives")

	unknown := estimate
	unknown.Method = "tea-leaves/1"
	claim.Estimate = &unknown
	_, err = b.Record(context.Background(), request(), claim)
	require.Error(t, err)
	require.Equal(t, before, b.version())

	claim.Estimate = &estimate // the very figure is let in
	b.do(claim)
}

func TestWeighing(t *testing.T) {
	b := drafted(t)
	options, _, err := b.Weigh(context.Background(), request(), []string{"magneto-leave", "condenser-outside", "armature-rewind", "donor-magneto"}, false)
	require.NoError(t, err)
	effect := map[string]scoring.EffectResult{}
	for _, o := range options {
		effect[o.ID] = o.Effects.Substance
	}
	require.Empty(t, effect["magneto-leave"].Parts, "leaving it touches nothing")
	require.Zero(t, effect["magneto-leave"].Now.Mean)
	// Outside condenser: it can be undone, and nearly nothing is lost for good.
	require.Less(t, effect["condenser-outside"].ForGood.Mean, effect["condenser-outside"].Now.Mean/10)
	// Rewinding is for ever: what is lost now is lost for good.
	require.Equal(t, effect["armature-rewind"].Now, effect["armature-rewind"].ForGood)
	// The donor costs most on the day and less than the rewind for good.
	require.Greater(t, effect["donor-magneto"].Now.Mean, effect["armature-rewind"].Now.Mean)
	require.Less(t, effect["donor-magneto"].ForGood.Median, effect["armature-rewind"].ForGood.Median)

	_, _, err = b.Weigh(context.Background(), request(), []string{"prayer"}, false)
	refused(t, err, registry.CodeNotFound, "prayer")
	before := b.version()
	stale := before - 1
	req := request()
	req.Expect = &stale
	_, err = b.Propose(context.Background(), req, ProposeInput{Options: []string{"condenser-outside"}, Ceiling: pounds("1"), Expires: b.Now().AddDate(0, 0, 1)})
	refused(t, err, registry.CodeConflict, "the record is at")
	_, _, err = b.Weigh(context.Background(), req, nil, true)
	refused(t, err, registry.CodeConflict, "moved on")
	require.Equal(t, before, b.version())
}

// Under 60 % of the weight on evidence there is no figure, of an index or of an
// effect.
func TestTooThinASurveyGivesNoFigure(t *testing.T) {
	ctx := context.Background()
	b := takenIn(t)
	b.file("openings.json")
	b.file("faults-and-options.json")
	r := b.report(ReportOptions{})
	r.Indices.Each(func(name string, i *IndexReport) {
		require.Nil(t, i.Now, name)
		require.Nil(t, i.Recoverable, name)
		require.Contains(t, i.Refused, "Survey incomplete")
	})
	_, _, err := b.Weigh(ctx, request(), []string{"armature-rewind"}, false)
	refused(t, err, registry.CodeInsufficient, "Survey incomplete")
	_, err = b.Propose(ctx, request(), ProposeInput{Options: []string{"armature-rewind"}, Ceiling: pounds("300"), Expires: b.Now().AddDate(0, 0, 1)})
	refused(t, err, registry.CodeInsufficient, "Survey incomplete")
	// What touches nothing needs no figure.
	_, _, err = b.Weigh(ctx, request(), []string{"magneto-leave"}, false)
	require.NoError(t, err)

	// The survey grows row by row; the figure comes when 60 % are passed, and
	// not before.
	for _, d := range drafts(t, "drover/survey.csv") {
		if _, ok := d.Body.(*registry.Survey); !ok {
			continue
		}
		b.do(d.Body)
		if b.version()%8 != 0 {
			continue
		}
		r := b.report(ReportOptions{})
		r.Indices.Each(func(name string, i *IndexReport) {
			require.Equal(t, i.Coverage >= 0.6, i.Now != nil, "%s at %g", name, i.Coverage)
			require.Equal(t, i.Now == nil, i.Refused != "")
		})
	}
	require.NotNil(t, b.report(ReportOptions{}).Indices.Substance.Now)
}

// newTank is a reproduction tank fitted without asking, and what became of the
// old one.
func newTank(custody string) []registry.Body {
	return []registry.Body{&registry.Work{Common: registry.Common{ID: "work-1"}, Treatment: "reproduction", Did: "Reproduction tank fitted.", AlreadyDone: true, By: "mechanic",
		Changes: []registry.Change{{Component: "fuel.tank", Proposition: registry.PropositionOrigin, After: map[string]float64{"reproduction": 1}, Removes: true},
			{Component: "fuel.tank-finish", Proposition: registry.PropositionFinish, After: map[string]float64{"refinished": 1}, Removes: true},
			{Component: "fuel.tank", Proposition: registry.PropositionSpecification, After: map[string]float64{"off-specification": 1}, Removes: true}}},
		&registry.RemovedPart{Common: registry.Common{ID: "part-1"}, Component: "fuel.tank", Work: "work-1", Tag: "T-1", What: "petrol tank", Custody: custody, Reason: "leaks", By: "mechanic"},
		&registry.RemovedPart{Common: registry.Common{ID: "part-2"}, Component: "fuel.tank-finish", Work: "work-1", Tag: "T-1", What: "its enamel", Custody: custody, Reason: "leaks", By: "mechanic"}}
}

func TestAKeptPartCanComeBackAndUndoingRestoresEveryFigure(t *testing.T) {
	b := sealed(t)
	before := b.report(ReportOptions{}).Indices
	b.do(newTank("kept-with-machine")...)
	now := b.report(ReportOptions{}).Indices
	was := map[string]*IndexReport{}
	before.Each(func(name string, i *IndexReport) { was[name] = i })
	now.Each(func(name string, i *IndexReport) {
		require.Less(t, i.Now.Mean, was[name].Now.Mean, name)
		require.Greater(t, i.Recoverable.Mean, i.Now.Mean, name)
		require.Equal(t, was[name].Now, i.Recoverable, "%s: with the tank back it would be as it was", name)
		require.Equal(t, was[name].AsFound, i.AsFound, "what the seal says never changes")
	})
	// The tank goes back.
	b.do(&registry.PartMove{Part: "part-1", Custody: "fitted", Why: "it was mended", By: "mechanic"}, &registry.PartMove{Part: "part-2", Custody: "fitted", Why: "it was mended", By: "mechanic"})
	after := b.report(ReportOptions{})
	require.Equal(t, asJSON(t, before), asJSON(t, after.Indices))
	require.True(t, after.Work[0].Undone)
}

func TestAPartThatIsNotKeptIsNotRecoverable(t *testing.T) {
	for _, custody := range []string{"evidence-only", "elsewhere", "lost", "destroyed"} {
		b := sealed(t)
		b.do(newTank(custody)...)
		i := b.report(ReportOptions{}).Indices.Substance
		require.Equal(t, i.Now, i.Recoverable, custody)
	}
	// Nor is it once it gets lost later.
	b := sealed(t)
	b.do(newTank("kept-with-machine")...)
	b.do(&registry.PartMove{Part: "part-1", Custody: "lost", Why: "nobody knows", By: "mechanic"})
	i := b.report(ReportOptions{}).Indices.Substance
	require.Equal(t, i.Now, i.Recoverable)
}

func TestWhatCannotBeUndoneIsNotRecoverable(t *testing.T) {
	b := sealed(t)
	before := b.report(ReportOptions{}).Indices.Surface
	b.file("work-polished.json")
	after := b.report(ReportOptions{}).Indices.Surface
	require.Less(t, after.Now.Mean, before.Now.Mean)
	require.Equal(t, after.Now, after.Recoverable)
	last := b.report(ReportOptions{}).Timeline
	require.Equal(t, "unapproved", last[len(last)-1].Mark)
}

// A plan is what its options do together: their changes and their openings,
// each opening once. The pool is what could be done to a few parts.
func drawPlan(t *rapid.T) *registry.Option {
	treatment := rapid.SampledFrom([]string{"reproduction", "donor", "clean", "refinish"}).Draw(t, "treatment")
	o := &registry.Option{Common: registry.Common{ID: "plan"}, Treatment: treatment}
	share := rapid.Float64Range(0, 1)
	for _, c := range rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"fuel.tank", "ignition.magneto", "exhaust.silencer", "engine.barrel", "fork.legs", "tinware.seat-cover"}), 1, 6, rapid.ID[string]).Draw(t, "components") {
		change := registry.Change{Component: c, Proposition: registry.PropositionOrigin}
		if rapid.Bool().Draw(t, "replaced") {
			change.After, change.Removes = map[string]float64{rapid.SampledFrom(registry.States(registry.PropositionOrigin)).Draw(t, "after"): 1}, true
			if rapid.Bool().Draw(t, "kept") {
				change.Keep = &registry.KeepPromise{Custody: rapid.SampledFrom([]string{"kept-with-machine", "elsewhere", "evidence-only", "lost"}).Draw(t, "custody"),
					LossPerYear: share.Draw(t, "loss"), Years: 10 * share.Draw(t, "years"), RefitChance: share.Draw(t, "refit")}
			}
		} else {
			change.Keeps = ptr(share.Draw(t, "keeps"))
		}
		o.Changes = append(o.Changes, change)
	}
	o.Openings = rapid.SliceOfDistinct(rapid.SampledFrom([]string{"tank-off", "head-off", "front-wheel-out", "rear-wheel-out", "magneto-off"}), rapid.ID[string]).Draw(t, "openings")
	return o
}

func TestEffectsOfPlans(t *testing.T) {
	b := sealed(t)
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	s, err := b.look(d, "")
	require.NoError(t, err)
	const rounding = 1e-12
	rapid.Check(t, func(t *rapid.T) {
		plan := drawPlan(t)
		whole, err := s.effects(plan)
		require.NoError(t, err)
		r := whole.Substance
		reversible := b.reversible(plan.Treatment)
		for _, p := range r.Parts {
			switch {
			case !reversible:
				require.Equal(t, p.NowMean, p.ForGoodMean, "what cannot be undone is lost for good")
			case p.NowMean >= 0:
				require.LessOrEqual(t, p.ForGoodMean, p.NowMean+rounding, "more is lost for good than now")
			default:
				require.Zero(t, p.ForGoodMean, "a gain that can be undone is no lasting gain")
			}
		}
		gain := false // an irreversible gain may weigh against another loss
		for _, p := range r.Parts {
			gain = gain || p.ForGoodMean < 0
		}

		part := *plan
		keep := rapid.SliceOfN(rapid.Bool(), len(plan.Changes), len(plan.Changes)).Draw(t, "subset")
		part.Changes, part.Openings = nil, plan.Openings[:rapid.IntRange(0, len(plan.Openings)).Draw(t, "fewer openings")]
		for i, c := range plan.Changes {
			if keep[i] {
				part.Changes = append(part.Changes, c)
			}
		}
		less, err := s.effects(&part)
		require.NoError(t, err)
		if !gain {
			require.LessOrEqual(t, less.Substance.ForGood.Mean, r.ForGood.Mean+rounding, "a part of the plan loses more for good")
		}
	})
}

// Openings are paid once, with those that come before them, and what has been
// opened already costs no more.
func TestOpeningsArePaidOnce(t *testing.T) {
	b := drafted(t)
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	s, err := b.look(d, "")
	require.NoError(t, err)
	ids := func(s *seen) (out []string) {
		e, err := s.effects(&registry.Option{Common: registry.Common{ID: "x"}, Treatment: "clean", Openings: []string{"head-off", "tank-off", "head-off"}})
		require.NoError(t, err)
		for _, o := range e.Substance.Openings {
			out = append(out, o.ID)
		}
		return out
	}
	require.ElementsMatch(t, []string{"head-off", "tank-off"}, ids(s))
	b.do(&registry.Opened{Opening: "tank-off", By: "mechanic", AlreadyDone: true})
	d, err = b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	s, err = b.look(d, "")
	require.NoError(t, err)
	require.Equal(t, []string{"head-off"}, ids(s))
}

// A proposal freezes what it shows: later records change nothing of it, and
// another ceiling is another offer, which the old yes does not cover.
func TestAnOfferIsFrozen(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "60", "condenser-outside")
	b.approve(p)
	before := asJSON(t, b.report(ReportOptions{}).Offers[0].Offer)
	b.do(someEvidence("ev-1", "ignition.condenser"))
	b.do(&registry.Opened{Opening: "points-cap", By: "mechanic", AlreadyDone: true})
	require.Equal(t, before, asJSON(t, b.report(ReportOptions{}).Offers[0].Offer))

	offered, err := b.Propose(ctx, request(), ProposeInput{ID: "proposal-2", Options: []string{"condenser-outside"}, Recommended: []string{"condenser-outside"},
		Ceiling: pounds("61"), Expires: p.Expires, Supersedes: "proposal-1"})
	require.NoError(t, err)
	require.NotEqual(t, p.Digest, offered.Digest)
	work := drafts(t, "drover/work-condenser.json")
	_, err = b.Record(ctx, request(), work[0].Body)
	refused(t, err, registry.CodeNotApproved, `has not answered "proposal-2" yet`)
	b.approve(offered)
	b.do(work[0].Body)
}

func TestSealingWithAStaleVersion(t *testing.T) {
	b := surveyed(t)
	stale := b.version() - 1
	req := request()
	req.Expect, req.Key = &stale, "seal"
	_, err := b.SealSurvey(context.Background(), req, registry.SurveySeal{By: "mechanic"})
	refused(t, err, registry.CodeConflict, "moved on")
	*req.Expect++
	first, err := b.SealSurvey(context.Background(), req, registry.SurveySeal{By: "mechanic"})
	require.NoError(t, err)
	again, err := b.SealSurvey(context.Background(), req, registry.SurveySeal{By: "mechanic"}) // the answer was lost
	require.NoError(t, err)
	require.True(t, again.Repeated)
	require.Equal(t, first.Version, again.Version)
}

func TestStandpoints(t *testing.T) {
	b := sealed(t)
	house := b.report(ReportOptions{})
	require.Equal(t, "preservation 1.0.0", house.Standpoint)
	other := b.report(ReportOptions{Standpoint: "period-use"})
	require.Equal(t, "period-use 1.0.0", other.Standpoint)
	require.Greater(t, other.Indices.Correctness.Now.Mean, house.Indices.Correctness.Now.Mean, "changes made in service count there")
	_, err := b.Report(context.Background(), drover, ReportOptions{Standpoint: "astrology"})
	refused(t, err, registry.CodeNotFound, "astrology")
}

// An index report carries exactly the input that gives its figure.
func TestInputsGiveTheFiguresShown(t *testing.T) {
	b := sealed(t)
	r := b.report(ReportOptions{})
	r.Indices.Each(func(name string, i *IndexReport) {
		again, err := scoring.Index(*i.Input)
		require.NoError(t, err)
		require.Equal(t, *i.Now, again, name)
		require.GreaterOrEqual(t, i.Now.Low80, 0.0)
		require.LessOrEqual(t, i.Now.High80, 1.0)
	})
	_, c, err := b.Component(context.Background(), drover, "fuel-033", ReportOptions{}) // by its code
	require.NoError(t, err)
	require.Equal(t, "fuel.tank", c.ID)
	for _, claim := range c.Claims() {
		again, err := scoring.Origin(*claim.Input)
		require.NoError(t, err)
		require.Equal(t, claim.Posterior, again.Posterior)
	}
	_, _, err = b.Component(context.Background(), drover, "flux-capacitor", ReportOptions{})
	refused(t, err, registry.CodeNotFound, "no component")
}
