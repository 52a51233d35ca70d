package workshop

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

// TestRescoredIsTheReport holds every figure of the register against the report
// of the machine, which computes it from the components.
func TestRescoredIsTheReport(t *testing.T) {
	ctx := context.Background()
	for name, b := range map[string]*bench{"taken in": takenIn(t), "surveyed": surveyed(t), "drafted": drafted(t)} {
		for _, sp := range b.Catalog.Standpoints() {
			r, err := b.Rescore(ctx, sp.ID, "", nil)
			require.NoError(t, err)
			require.Equal(t, 1, r.Machines)
			report, err := b.Report(ctx, drover, ReportOptions{Standpoint: sp.ID})
			require.NoError(t, err)
			require.Equal(t, report.Standpoint, r.Standpoint)
			report.Indices.Each(func(index string, want *IndexReport) {
				got := r.Rows[0].Of(index)
				require.InDelta(t, want.Coverage, got.Coverage, 1e-12, "%s, %s", name, index)
				require.Equal(t, want.Now == nil, got.Refused, "%s, %s", name, index)
				if want.Now != nil {
					require.InDelta(t, want.Now.Mean, got.Mean, 1e-12, "%s, %s, %s", name, sp.ID, index)
					require.InDelta(t, want.Now.SD, got.SD, 1e-9, "%s, %s, %s", name, sp.ID, index)
				}
			})
		}
	}
}

func TestRescoreFoldsWhatChangedAlone(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	_, err := b.Record(ctx, Request{Machine: "thirlbeck", Actor: "mechanic"}, people()...)
	require.NoError(t, err)
	folded := func(b *bench) (n int, r *Rescored) {
		r, err := b.Rescore(ctx, "", "", func(done int) { n = done })
		require.NoError(t, err)
		return n, r
	}
	n, before := folded(b)
	require.Equal(t, 2, n)
	require.Equal(t, drover, before.Rows[0].ID, "the one with a figure comes first")
	require.True(t, before.Rows[1].Substance.Refused)
	require.Equal(t, 1, before.Indices[0].Count)
	require.Equal(t, 1, before.Indices[0].Refused)
	n, again := folded(b.restarted())
	require.Zero(t, n, "nothing has changed")
	require.Equal(t, before, again)

	s := aSurvey("electrical.dynamo")
	s.ID, s.Origin, s.Supersedes, s.Note = "sv-again", "reproduction", "survey-electrical.dynamo", "looked again"
	d, err := b.Load(ctx, drover, At{})
	require.NoError(t, err)
	old, ok := d.SurveyOf("electrical.dynamo")
	require.True(t, ok)
	s.Supersedes = old.RecordID()
	b.do(s)
	n, after := folded(b)
	require.Equal(t, 1, n, "one machine has changed")
	require.Less(t, after.Rows[0].Substance.Mean, before.Rows[0].Substance.Mean)

	// Another catalog, though of the same name: everything is folded anew.
	require.NoError(t, b.Views.Update(ctx, mustCheckpoint(t, b), func(tx ViewTx) error { tx.Put(foldedUnder, []byte("house 0.0.1")); return nil }))
	n, _ = folded(b)
	require.Equal(t, 2, n)
}

func mustCheckpoint(t *testing.T, b *bench) registry.Position {
	at, _, err := b.Views.Checkpoint(context.Background())
	require.NoError(t, err)
	return at
}

// TestRescoreWhileSomebodyRecords: what comes in between reading a machine and
// keeping what was made of it is not lost.
func TestRescoreWhileSomebodyRecords(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	whole := b.Views
	_, err := b.Machines(ctx, "", 0)
	require.NoError(t, err)
	require.NoError(t, b.foldUnderCatalog(ctx))
	other := b.restarted()
	b.Views = &slowViews{Views: whole, first: func() {
		other.Views = whole
		other.do(&registry.Fault{Common: registry.Common{ID: "another"}, Complaint: "It drips.", Components: []string{"fuel.tank"}, By: "mechanic"})
	}}
	n := 0
	_, err = b.Rescore(ctx, "", "", func(done int) { n = done })
	require.NoError(t, err)
	require.Nil(t, b.Views.(*slowViews).first, "nobody came in between")
	require.Equal(t, 2, n, "folded once for each version")
}

func TestRescoreRefusesWhatItDoesNotKnowAndHidesWhatIsHidden(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	_, err := b.Rescore(ctx, "nobody's", "", nil)
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
	_, err = b.Rescore(ctx, "", "shine", nil)
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	r, err := b.Rescore(WithActing(ctx, &Acting{Sees: func(string) bool { return false }}), catalog.DefaultStandpoint, "", nil)
	require.NoError(t, err)
	require.Zero(t, r.Machines)
}

// A record that was handed over is in the other registry's figures, as in
// TestStatisticsLeaveOutWhatMoved.
func TestRescoreLeavesOutWhatMoved(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	machines := func() int {
		r, err := b.Rescore(ctx, "", "", nil)
		require.NoError(t, err)
		return r.Machines
	}
	require.Equal(t, 1, machines())
	b.Registry = "here"
	b.knowledge = knowledge{}
	_, err := b.HandOver(ctx, request(), "sold")
	require.NoError(t, err)
	require.Zero(t, machines())
	_, err = b.TakeBackHandOver(ctx, request(), "not sold")
	require.NoError(t, err)
	require.Equal(t, 1, machines())
}
