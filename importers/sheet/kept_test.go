package sheet

import (
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestKeptRowsComeBackAsTheyWere, whatever stands in them.
func TestKeptRowsComeBackAsTheyWere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var rows []Row
		number := 0
		k := kept{}
		for range rapid.IntRange(0, 20).Draw(t, "rows") {
			number += rapid.IntRange(1, 1<<20).Draw(t, "gap")
			rows = append(rows, Row{Number: number, Cells: rapid.SliceOfN(rapid.String(), 1, 30).Draw(t, "cells")})
			k.add(rows[len(rows)-1])
		}
		for range 2 {
			var again []Row
			require.NoError(t, k.each(func(r Row) error { again = append(again, r); return nil }))
			require.Equal(t, rows, again)
		}
	})
}

// TestWhatIsKeptIsReadOnce: a reading that was broken off, that failed, or that
// gave more than may be kept, is done again.
func TestWhatIsKeptIsReadOnce(t *testing.T) {
	for _, c := range []struct {
		name        string
		rows, bytes int
		fails       error
		again       int // readings of the source by four readings
	}{
		{"all", 3, 10, nil, 2},
		{"too much", 3, maxKept / 3, nil, 4},
		{"just enough", 1, maxKept - 100, nil, 2},
		{"failing", 3, 10, io.ErrUnexpectedEOF, 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			readings := 0
			each := keeping(func(give func(Row) error) error {
				readings++
				for i := range c.rows {
					if err := give(Row{Number: i + 1, Cells: []string{strings.Repeat("x", c.bytes)}}); err != nil {
						return err
					}
				}
				return c.fails
			})
			require.ErrorIs(t, each(func(Row) error { return io.EOF }), io.EOF)
			for range 3 {
				n := 0
				require.Equal(t, c.fails, each(func(r Row) error {
					n++
					require.Equal(t, n, r.Number)
					require.Len(t, r.Cells[0], c.bytes)
					return nil
				}))
				require.Equal(t, c.rows, n)
			}
			require.Equal(t, c.again, readings)
		})
	}
}
