package workshop

import (
	"bytes"
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

func way(b *bench) *SurveyWay {
	v, err := b.SurveyWay(context.Background(), drover)
	require.NoError(b.t, err)
	return v
}

// TestTheWayGoesOnWhereItWasLeft skips, comes round to what was skipped, and
// leaves what only an opening shows.
func TestTheWayGoesOnWhereItWasLeft(t *testing.T) {
	b := takenIn(t)
	v := way(b)
	require.Empty(t, v.Last)
	first, ok := v.Next(v.Last)
	require.True(t, ok)
	require.Equal(t, v.Stops[0].ID, first.ID)
	b.do(aSurvey(v.Stops[5].ID))
	v = way(b)
	require.Equal(t, v.Stops[5].ID, v.Last)
	next, _ := v.Next(v.Last)
	require.Equal(t, v.Stops[6].ID, next.ID)
	var rest []registry.Body
	for i, s := range v.Stops {
		if i != 5 && i != 2 && !s.Inside() {
			rest = append(rest, aSurvey(s.ID))
		}
	}
	b.do(rest...)
	v = way(b)
	next, _ = v.Next(v.Last)
	require.Equal(t, v.Stops[2].ID, next.ID, "what was skipped comes round again")
	_, ok = v.Next(next.ID)
	require.False(t, ok, "nothing but itself is left")
	require.True(t, v.Stops[len(v.Stops)-1].Inside())
	require.Equal(t, catalog.StationInside, v.Stops[len(v.Stops)-1].Station)

	n, ok := v.NextPicture(0)
	require.True(t, ok)
	require.Equal(t, 1, n)
	n, _ = v.NextPicture(len(v.Pictures))
	require.Equal(t, 1, n, "after the last comes the first")
}

func TestTakingAJointBack(t *testing.T) {
	b := takenIn(t)
	ctx := context.Background()
	joint := func(witness, sign, supersedes string) *registry.Joint {
		return &registry.Joint{Common: registry.Common{Supersedes: supersedes}, Joint: "tank-mounts", Components: []string{"fuel.tank"}, Witness: witness, Sign: sign, By: "mechanic"}
	}
	visit := func(j *registry.Joint) Visited {
		v, err := b.RecordVisit(ctx, request(), Visit{Joints: []*registry.Joint{j}})
		require.NoError(t, err)
		return v
	}
	first := visit(joint("undisturbed", "paint bridge", "")).Records[0].ID
	require.Empty(t, visit(joint("undisturbed", "paint bridge", first)).Records, "it says nothing new")
	second := visit(joint("disturbed", "slot shine", first)).Records[0].ID
	_, err := b.RecordVisit(ctx, request(), Visit{Joints: []*registry.Joint{joint("cannot-tell", "mud", first)}})
	refused(t, err, registry.CodeConflict, "no longer in force")
	_, err = b.TakeBack(ctx, request(), second, "mechanic")
	require.NoError(t, err)
	d, err := b.Load(ctx, drover, At{})
	require.NoError(t, err)
	live, ok := JointOf(d, "tank-mounts")
	require.True(t, ok)
	require.Equal(t, [3]string{"undisturbed", "paint bridge", second}, [3]string{live.Record.Witness, live.Record.Sign, live.Record.Supersedes})
	_, err = b.TakeBack(ctx, request(), first, "mechanic")
	refused(t, err, registry.CodeNotFound, "no such entry to take back")
}

// TestAVisitIsOneCommit: an answer that is refused leaves no picture behind, but
// for a refusal that is about somebody else's answer.
func TestAVisitIsOneCommit(t *testing.T) {
	b := takenIn(t)
	ctx := context.Background()
	visit := func(s *registry.Survey) (Visited, error) {
		return b.RecordVisit(ctx, request(), Visit{Survey: s, Pictures: []NewPicture{{Photo: &registry.Photo{MediaType: "image/jpeg", Shows: "as-found", Components: []string{s.Component}, By: "mechanic"}, Original: bytes.NewReader([]byte(s.Note))}}})
	}
	photos := func() int {
		d, err := b.Load(ctx, drover, At{})
		require.NoError(t, err)
		return len(registry.Live[*registry.Photo](d))
	}
	before := photos()
	wrong := aSurvey("fuel.tank")
	wrong.Condition = ptr(9)
	_, err := visit(wrong)
	refused(t, err, registry.CodeInvalid, "outside the scale")
	require.Equal(t, before, photos())
	one := aSurvey("fuel.tank")
	one.ID = ""
	v, err := visit(one)
	require.NoError(t, err)
	require.Equal(t, []registry.Kind{"photo", "survey"}, []registry.Kind{v.Records[0].Kind, v.Records[1].Kind})
	require.Equal(t, before+1, photos())
	two := aSurvey("fuel.tank")
	two.ID, two.Note = "", "somebody else says"
	v, err = visit(two)
	refused(t, err, registry.CodeConflict, "Two parts cannot sit in one position")
	require.Equal(t, 1, v.Kept)
	require.Equal(t, before+2, photos())
}
