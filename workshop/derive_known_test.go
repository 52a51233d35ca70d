package workshop

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
)

// viewsWith are views with some entries.
func viewsWith(t *testing.T, known map[string]string, at registry.Position) Views {
	ctx := context.Background()
	v := ledgertest.NewMemoryViews()
	require.NoError(t, v.Reset(ctx, ViewVersion))
	require.NoError(t, v.Update(ctx, at, func(tx ViewTx) error {
		for key, value := range known {
			tx.Put(key, []byte(value))
		}
		return nil
	}))
	return v
}

// differs lists what is not the same in two views. A machine that no longer has a
// number of its own keeps an empty note of that.
func differs(want, got map[string]string) (out []string) {
	for key, value := range got {
		if want[key] != value && !(strings.HasPrefix(key, numberOf) && value == "{}") {
			out = append(out, fmt.Sprintf("%q: %q, not %q", key, value, want[key]))
		}
	}
	for key := range want {
		if _, ok := got[key]; !ok {
			out = append(out, fmt.Sprintf("%q is missing", key))
		}
	}
	return out
}

// Machines that stand in the views already, and of which many change at once: words
// come and go, and a run that is stopped at any of its updates is made good, though
// a record moves on before that.
func TestDerivingKnownMachinesGoesOnAfterAStop(t *testing.T) {
	ctx := context.Background()
	late, counts := mostLate, mostCounts
	t.Cleanup(func() { mostLate, mostCounts = late, counts })
	for _, waits := range []struct{ bytes, counts int }{{late, counts}, {20_000, 20}} {
		mostLate, mostCounts = waits.bytes, waits.counts
		const machines = 260 // more than one block of the lists
		b := unread(t, machines)
		require.NoError(t, b.Rebuild(ctx, nil))
		known := entries(t, b.Views)
		at, _, err := b.Views.Checkpoint(ctx)
		require.NoError(t, err)
		b.Views = brokenViews{b.Views}
		change := func(i, time int) {
			m := aMachine()
			m.ID, m.Supersedes = fmt.Sprint("machine-", time), "machine"
			if time > 1 {
				m.Supersedes = fmt.Sprint("machine-", time-1)
			}
			m.Model, m.Story = fmt.Sprint("Carrier ", i%3), fmt.Sprintf("It had stood in shed %d under r%d.", i%40, i+time)
			s := aSurvey("fork.legs")
			s.ID = fmt.Sprint("sv-legs-", time)
			if time > 1 {
				s.Supersedes = fmt.Sprint("sv-legs-", time-1)
			}
			s.Note = fmt.Sprintf("Spotted by x%d and y%d.", i*time%70, i)
			b.on(fmt.Sprintf("m-%04d", i), m, s)
		}
		for i := range machines {
			if i%3 > 0 {
				change(i*37%machines, 1)
			}
		}
		stops := 0
		for failAt := 0; ; failAt += 1 + failAt {
			v := viewsWith(t, known, at)
			small := &smallViews{Views: v, most: 500, failAt: failAt}
			b.Views = small
			err := b.refresh(ctx)
			if failAt == 0 {
				require.NoError(t, err)
				require.Empty(t, differs(oneByOne(t, b), entries(t, v)), "without a stop")
				continue
			}
			if err == nil || stops == 4 {
				break
			}
			b.Views = brokenViews{v}
			stops++
			for _, i := range []int{37, 250 * 37 % machines} {
				change(i, stops+1)
			}
			b.Views = small
			small.failAt = 0
			require.NoError(t, b.refresh(ctx))
			require.Empty(t, differs(oneByOne(t, b), entries(t, v)), "stopped at update %d", failAt)
		}
		require.Greater(t, stops, 3)
	}
}

// The mark names the first block that waits, whichever the last update changed.
func TestTheMarkNamesTheFirstBlockThatWaits(t *testing.T) {
	l := lateBlocks{from: 9, by: map[uint32]map[string]lookup.Block{7: {}, 4: {}}}
	require.EqualValues(t, 4, l.first())
	r := &viewsRun{blocks: l}
	for of, want := range map[uint32]byte{8: 4, 2: 2} {
		require.NoError(t, ledgertest.NewMemoryViews().Update(context.Background(), 1, func(tx ViewTx) error {
			r.putMark(tx, 1, map[uint32]map[string]*openBlock{of: {}})
			raw, _, err := tx.Get(viewsBehind)
			require.Equal(t, []byte{1, want}, raw)
			return err
		}))
	}
	require.EqualValues(t, 9, (&lateBlocks{from: 9}).first())
}
