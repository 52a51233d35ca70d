package tabular

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/importers/sheet"
)

// FuzzReadsBack: what is written as a sheet is read by this program's own
// reader with the same text, in which nothing is computed.
func FuzzReadsBack(f *testing.F) {
	for _, s := range []string{"plain", "=1+1", "two\nlines, \"quoted\"; é", "-5", "\tx", " ", "'", "\r\n", "#", "0"} {
		f.Add(s, "second", 1.5)
	}
	f.Fuzz(func(t *testing.T, one, two string, v float64) {
		if math.IsNaN(v) || math.IsInf(v, 0) || !utf8.ValidString(one) || !utf8.ValidString(two) || strings.ContainsFunc(one+two, func(r rune) bool { return r < ' ' && r != '\n' || r == utf8.RuneError || r >= 0xfffe }) || len(one+two) > 2000 {
			return
		}
		for _, format := range []string{"csv", "xlsx"} {
			var b bytes.Buffer
			require.NoError(t, Write(&b, format, list([]any{one, v, 3}, []any{two, nil, nil})))
			file, err := sheet.Open(bytes.NewReader(b.Bytes()), "x."+format, sheet.Options{})
			require.NoError(t, err)
			var got [][]string
			require.NoError(t, file.Each(func(r sheet.Row) error {
				require.Empty(t, r.Fault)
				got = append(got, append([]string(nil), r.Cells...))
				return nil
			}))
			require.NoError(t, file.Close())
			require.NotEmpty(t, got)
			require.Equal(t, []string{"what", "time (h)", "count"}, got[0][:3])
			want := one
			if format == "csv" {
				want = importers.GuardFormula(one)
			}
			require.Equal(t, strings.TrimSpace(want), strings.TrimSpace(got[1][0]), format)
			require.Equal(t, "3", got[1][2])
			if format == "csv" {
				require.False(t, strings.HasPrefix(got[1][0], "=") || strings.HasPrefix(got[1][0], "@"), got[1][0])
			}
		}
	})
}
