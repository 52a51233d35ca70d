package workshop

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// shaded answers a question that has to be answered.
func shaded(t testingT, r *Report, show string, options ...string) *Shading {
	t.Helper()
	s, err := r.Shade(show, options)
	require.NoError(t, err)
	require.Len(t, s.Groups, 17)
	require.NotEmpty(t, s.Title)
	require.NotEmpty(t, s.Question)
	require.NotEmpty(t, s.Basis)
	for _, g := range s.Groups {
		require.NotEmpty(t, g.Shown, g.Group)
		if s.Refused == "" && g.Level == LevelUnknown {
			require.NotEmpty(t, g.Help, "%s %s does not say what would help", show, g.Group)
		}
	}
	return s
}

// What groups say apart is what the whole machine says: shares and means add
// up, weighted by points.
func TestGroupsAddUpToTheMachine(t *testing.T) {
	r := sealed(t).report(ReportOptions{})
	s := shaded(t, r, ShadeKnown)
	total, known := 0.0, 0.0
	for _, g := range s.Groups {
		total += g.Weight
		known += g.Weight * g.Value
	}
	require.InDelta(t, r.Coverage, known/total, 1e-12)

	for name, index := range map[string]*IndexReport{"substance": &r.Indices.Substance, "surface": &r.Indices.Surface} {
		sum := 0.0
		for i := range r.Groups {
			in := partsOf(index.parts, &r.Groups[i])
			if len(in.Assemblies) == 0 {
				continue
			}
			result, err := scoring.Index(in)
			if registry.CodeOf(err) == registry.CodeInsufficient {
				continue // no weight in this index
			}
			require.NoError(t, err)
			sum += result.Mean * result.TotalWeight
		}
		require.InDelta(t, index.Now.Mean, sum/index.Now.TotalWeight, 1e-9, name)
	}
	for _, show := range []string{ShadeOrigin, ShadeFinish} {
		for _, g := range shaded(t, r, show).Groups {
			if g.Level > 0 {
				require.LessOrEqual(t, g.Low, g.Value, g.Group)
				require.LessOrEqual(t, g.Value, g.High, g.Group)
				require.Contains(t, g.Range, "80 %")
				require.LessOrEqual(t, g.High-g.Low, openFrom)
			}
		}
	}
}

// The mean condition of the exhaust, reckoned by hand from the survey and the
// points of the anatomy.
func TestConditionIsWeightedByPoints(t *testing.T) {
	r := sealed(t).report(ReportOptions{})
	points, sum := 0.0, 0.0
	for _, c := range groupNamed(t, r, "exhaust").Components {
		if c.Condition != nil {
			points += c.Points
			sum += c.Points * float64(*c.Condition)
		}
	}
	require.Greater(t, points, 0.0)
	for _, g := range shaded(t, r, ShadeCondition).Groups {
		if g.Group == "exhaust" {
			require.InDelta(t, sum/points, g.Value, 1e-12)
			require.GreaterOrEqual(t, g.Value, g.Low)
			require.LessOrEqual(t, g.Value, g.High)
			require.Contains(t, g.Shown, "of 5")
		}
	}
}

func groupNamed(t testingT, r *Report, id string) *GroupReport {
	t.Helper()
	for i := range r.Groups {
		if r.Groups[i].ID == id {
			return &r.Groups[i]
		}
	}
	require.Fail(t, "there is no group", id)
	return nil
}

// What options take from groups, and with the witnesses of openings, is what
// weighing says that they take from the machine.
func TestLossForGoodByGroup(t *testing.T) {
	b := drafted(t)
	ctx := context.Background()
	refusal := shaded(t, b.report(ReportOptions{}), ShadeLoss)
	require.Contains(t, refusal.Refused, "No option is chosen")
	require.Contains(t, shaded(t, b.report(ReportOptions{}), ShadeLoss, "armature-rewind").Refused, "has not been weighed")

	b.pass(1)
	options, _, err := b.Weigh(ctx, request(), nil, true)
	require.NoError(t, err)
	r := b.report(ReportOptions{})
	lost := 0
	for _, o := range options {
		s := shaded(t, r, ShadeLoss, o.ID)
		require.Empty(t, s.Refused)
		sum := 0.0
		for _, g := range s.Groups {
			sum += g.Value
			require.Equal(t, g.Value > 1e-12, g.Level > 1, "%s: %v points at level %d", g.Group, g.Value*1000, g.Level)
			if g.Level > 1 {
				lost++
				require.Contains(t, g.Range, "80 %")
			}
		}
		for _, opening := range s.Openings {
			sum += opening.Loss
			require.Contains(t, opening.Shown(), "points")
		}
		require.InDelta(t, o.Effects.Substance.ForGood.Mean+o.Effects.Surface.ForGood.Mean, sum, 1e-9, o.ID)
	}
	require.Greater(t, lost, 3)

	b.propose("proposal-1", "100", "condenser-outside", "armature-rewind")
	require.NotEmpty(t, shaded(t, b.report(ReportOptions{}), ShadeLoss).Options, "what was recommended is shown unasked")
}

func TestLossLevels(t *testing.T) {
	for loss, level := range map[float64]int{-0.002: 1, 0: 1, 0.0004: 2, 0.001: 2, 0.0011: 3, 0.003: 3, 0.0099: 4, 0.0101: 5, 1: 5} {
		require.Equal(t, level, lossLevel(loss), "%v", loss)
	}
	for share, level := range map[float64]int{0: 1, 0.2449: 1, 0.25: 2, 0.5: 3, 0.75: 4, 0.99: 4, 1: 5} {
		require.Equal(t, level, levelOf(share, countSteps), "%v", share)
	}
}

// Before anything was surveyed nothing is claimed, and every group says what
// would help.
func TestNothingSurveyedIsNotKnown(t *testing.T) {
	r := takenIn(t).report(ReportOptions{})
	for _, show := range Shades() {
		for _, g := range shaded(t, r, show).Groups {
			require.LessOrEqual(t, g.Level, LevelUnknown, "%s %s", show, g.Group)
		}
	}
}

func TestShadeRefuses(t *testing.T) {
	r := takenIn(t).report(ReportOptions{})
	_, err := r.Shade("beauty", nil)
	refused(t, err, registry.CodeInvalid, "no such question")
	_, err = r.Shade(ShadeLoss, []string{"nothing"})
	refused(t, err, registry.CodeNotFound, "nothing")
}

// The record says how the machine is sprung only by what its type never had
// and by what the survey found on it.
func TestDrawn(t *testing.T) {
	require.Equal(t, Drawn{}, takenIn(t).report(ReportOptions{}).Drawn())
	made := func(never, seen []string) *Report {
		r := &Report{Groups: []GroupReport{{}}}
		add := func(id string, c ComponentReport) {
			c.ID = id
			r.Groups[0].Components = append(r.Groups[0].Components, c)
		}
		for _, id := range never {
			add(id, ComponentReport{NotFitted: true})
		}
		for _, id := range seen {
			add(id, ComponentReport{Surveyed: true})
		}
		return r
	}
	units, bushes, arm, legs := "suspension.units", "suspension.bushes", "frame.swinging-arm", "fork.legs"
	require.Equal(t, "rigid", made([]string{units, bushes}, nil).Drawn().Rear)
	require.Equal(t, "rigid", made([]string{units, arm}, []string{bushes}).Drawn().Rear)
	require.Equal(t, "plunger", made([]string{bushes}, []string{units}).Drawn().Rear)
	require.Equal(t, "swinging-fork", made(nil, []string{units, bushes}).Drawn().Rear)
	require.Equal(t, Drawn{Front: "girder"}, made([]string{legs}, []string{units}).Drawn())
	gone := made(nil, []string{units, bushes})
	gone.Groups[0].Components[0].Origin.Leading = "missing"
	require.Empty(t, gone.Drawn().Rear)

	d, as := made(nil, []string{units, bushes}).DrawnAs(Drawn{Front: "girder"})
	require.Equal(t, Drawn{"single", "swinging-fork", "girder"}, d)
	require.Equal(t, []DrawnAs{{"Engine", "a single", "the record does not say"}, {"Rear", "a swinging fork", "by the components on record"}, {"Front fork", "girders", "as chosen here"}}, as)
}

// BenchmarkShade is the work behind the drawing of a machine whose report is
// at hand.
func BenchmarkShade(b *testing.B) {
	r := sealed(b).report(ReportOptions{})
	for _, show := range Shades() {
		b.Run(show, func(b *testing.B) {
			for b.Loop() {
				_, err := r.Shade(show, nil)
				require.NoError(b, err)
			}
		})
	}
}
