package registry

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A screw 3 mm longer than its hole takes bottoms and breaks the boss; one of
// another thread does not go in, and one that is far longer is seen in the hand
// (common practice).
func TestEasilySwapped(t *testing.T) {
	m := &FastenerMap{Fasteners: []Fastener{{Hole: "1", Length: 42, Thread: "1/4 BSF"}, {Hole: "2", Length: 45, Thread: "1/4 BSF"}, {Hole: "3", Length: 45, Thread: "M6"},
		{Hole: "4", Length: 60, Thread: "1/4 BSF"}, {Hole: "5"}, {Hole: "6", Length: 42.9}, {Hole: "7", Length: 47, Thread: "1/4 BSF"}}}
	require.Equal(t, []LengthPair{
		{"2", "1", 3}, {"2", "6", 2.1}, {"3", "6", 2.1}, {"7", "1", 5}, {"7", "2", 2}, {"7", "6", 4.1},
	}, m.EasilySwapped())
	for _, p := range m.EasilySwapped() { // each of them is refused when the cover is closed
		c := &Closed{Back: []FastenerBack{{Hole: p.Short, From: p.Long}}}
		require.Contains(t, m.Balance(c)[0], "it would bottom before it holds")
	}
}

func TestOpeningLacksNameEveryWayForward(t *testing.T) {
	b := newBench(t)
	standing, lacks := b.d.OpeningLacks("nothing-known", b.now)
	require.Equal(t, "unapproved", standing.Mark)
	for _, l := range lacks {
		require.NotEmpty(t, l.Why)
		require.NotEmpty(t, l.Fix)
	}
	require.Equal(t, "no approved option covers this opening", lacks[len(lacks)-1].Why)
}
