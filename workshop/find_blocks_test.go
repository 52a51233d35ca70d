package workshop

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestManyMachinesAtOnceGiveTheSameLists derives machines one by one, as they
// are recorded, and then all at once with the lists held in memory.
func TestManyMachinesAtOnceGiveTheSameLists(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	for i := range 60 {
		m := aMachine()
		m.Story = fmt.Sprintf("Found in barn %d of %d.", i, i%7)
		for word := range 200 { // of its own, so that several updates are needed
			m.Story += fmt.Sprintf(" mark%dx%d", i, word)
		}
		_, err := b.Record(ctx, Request{Machine: fmt.Sprintf("m-%02d", i), Actor: "mechanic"}, m, aPerson("mechanic", "mechanic", "Tamsin Orde"), aSurvey("fuel.tank"))
		require.NoError(t, err)
	}
	oneByOne := entries(t, b.Views)
	require.NoError(t, b.Rebuild(ctx, nil))
	require.Equal(t, oneByOne, entries(t, b.Views))
}
