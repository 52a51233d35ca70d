package workshop

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
)

// unread is a register of so many machines that its views know nothing of.
func unread(t *testing.T, machines int) *bench {
	b := newBench(t)
	whole := b.Views
	b.Views = brokenViews{whole}
	for i := range machines {
		m := aMachine()
		m.Model, m.Story = fmt.Sprint("Drover ", i%5), fmt.Sprintf("Found in barn %d of %d under w%d.", i, i%7, i%50)
		m.Numbers = []registry.Number{{Where: "frame", AsRead: registry.Private{Value: fmt.Sprintf("D350-%d", i%90)}}}
		b.on(fmt.Sprintf("m-%04d", (i*37)%machines), m, aPerson("mechanic", "mechanic", "Tamsin Orde"), aSurvey("fuel.tank"))
	}
	b.Views = whole
	return b
}

// oneByOne derives every machine in an update of its own, without lists and
// tables that wait: what is derived all at once has to come to the same.
func oneByOne(t *testing.T, b *bench) map[string]string {
	ctx := context.Background()
	v := ledgertest.NewMemoryViews()
	other := b.restarted()
	other.Views = v
	require.NoError(t, v.Reset(ctx, ViewVersion))
	require.NoError(t, b.Ledger.ReadAll(ctx, 0, func(r registry.Record) error {
		return other.deriveAll(ctx, []mention{{r.Machine, r.Position}}, r.Position-1, r.Position, nil)
	}))
	return entries(t, v)
}

// A run that is stopped at any of its updates goes on where it was.
func TestDerivingGoesOnAfterAStop(t *testing.T) {
	ctx := context.Background()
	for _, waits := range []struct{ bytes, counts int }{{mostLate, mostCounts}, {20_000, 20}} {
		late, counts := mostLate, mostCounts
		t.Cleanup(func() { mostLate, mostCounts = late, counts })
		mostLate, mostCounts = waits.bytes, waits.counts
		b := unread(t, 260) // more than one block of the lists
		want := oneByOne(t, b)
		require.NoError(t, b.Rebuild(ctx, nil))
		require.Equal(t, want, entries(t, b.Views), "without a stop")
		stops := 0
		for failAt := 1; ; failAt += 1 + failAt/2 {
			v := ledgertest.NewMemoryViews()
			small := &smallViews{Views: v, most: 500, failAt: failAt}
			b.Views = small
			if b.Rebuild(ctx, nil) == nil {
				break
			}
			stops++
			at, _, err := v.Checkpoint(ctx)
			require.NoError(t, err)
			small.n, small.failAt = 0, failAt/2+1 // and again, before it is made good
			_ = b.refresh(ctx)
			then, _, err := v.Checkpoint(ctx)
			require.NoError(t, err)
			require.GreaterOrEqual(t, then, at)
			small.failAt = 0
			require.NoError(t, b.refresh(ctx))
			require.Equal(t, want, entries(t, v), "stopped at update %d", failAt)
		}
		require.Greater(t, stops, 6)
	}
}

// The checkpoint moves with what is written: a stop costs the update under way.
func TestDerivingMovesTheCheckpoint(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	b := unread(t, 100)
	b.Views = &smallViews{Views: b.Views, most: 400}
	told := 0
	err := b.Rebuild(ctx, func(done int) {
		if told = done; done > 40 {
			cancel()
		}
	})
	require.ErrorIs(t, err, context.Canceled)
	require.Less(t, told, 100)
	at, _, err := b.Views.Checkpoint(context.Background())
	require.NoError(t, err)
	require.Positive(t, at)
	total := 0
	require.NoError(t, b.catchUp(context.Background(), func(done int) { total = done }))
	require.Less(t, total, 100)
	require.Equal(t, oneByOne(t, b), entries(t, b.Views))
}

// What is recorded after a machine was worked out, and before it is written, is
// in the views.
func TestDerivingIsOvertakenByARecord(t *testing.T) {
	ctx := context.Background()
	for _, machines := range []int{1, 3, fewMachines + 4} {
		b := unread(t, machines)
		whole := b.Views
		writer := b.restarted()
		writer.Views = brokenViews{whole}
		b.Views = &slowViews{Views: whole, first: func() {
			writer.on("m-0000", &registry.Fault{Common: registry.Common{ID: "f"}, Complaint: "overtaking rattle", Components: []string{"fuel.tank"}, By: "mechanic"})
		}}
		require.NoError(t, b.refresh(ctx))
		raw, ok, err := whole.Get(ctx, blockKey(inBoth+"overtaking", 0))
		require.NoError(t, err)
		require.True(t, ok, "%d machines", machines)
		require.Len(t, raw, 2)
		require.Equal(t, []string{"m-0000"}, b.finds("overtaking"))
	}
}

// Of two that derive the same views at once, one begins again from where the
// other has brought them, be that the end or where it was stopped.
func TestDerivingOvertakenByAnother(t *testing.T) {
	ctx := context.Background()
	for at := range 6 {
		b := unread(t, 260)
		want := oneByOne(t, b)
		whole := b.Views
		other := b.restarted()
		others := &smallViews{Views: whole, most: 700, failAt: []int{0, 6, 12}[at%3]}
		other.Views = others
		small := &smallViews{Views: whole, most: 600}
		n := 0
		var come func()
		come = func() {
			if n++; n <= at*6 {
				small.before = come
				return
			}
			err := other.refresh(ctx)
			require.Equal(t, others.n >= others.failAt && others.failAt > 0, err != nil, "%v", err)
		}
		small.before = come
		b.Views = small
		require.NoError(t, b.refresh(ctx))
		require.NoError(t, b.refresh(ctx))
		require.Equal(t, want, entries(t, whole), "after %d updates", at*6)
	}
}

// A panic while a machine is worked out comes to whoever asked, and not to the
// whole program.
func TestDerivingPanicsWhereItWasAsked(t *testing.T) {
	b := unread(t, fewMachines+1)
	b.Ledger = brittleLedger{b.Ledger}
	require.PanicsWithValue(t, "brittle", func() { _ = b.refresh(context.Background()) })
	b.Ledger = b.memory
	require.NoError(t, b.refresh(context.Background()))
	require.Equal(t, oneByOne(t, b), entries(t, b.Views))
}

type brittleLedger struct{ registry.Ledger }

func (brittleLedger) Read(context.Context, string, uint64, func(registry.Record) error) error {
	panic("brittle")
}
