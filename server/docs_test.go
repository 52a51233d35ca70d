package server

import (
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// TestTheGuideNamesEveryProblem holds the table of docs/api.md against the
// table of codes, both ways.
func TestTheGuideNamesEveryProblem(t *testing.T) {
	guide, err := os.ReadFile("../docs/api.md")
	require.NoError(t, err)
	_, table, found := strings.Cut(string(guide), "| type | status |")
	require.True(t, found)
	written := map[registry.Code]int{}
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\| (\\d{3}) \\|").FindAllStringSubmatch(table, -1) {
		status, err := strconv.Atoi(m[2])
		require.NoError(t, err)
		written[registry.Code(m[1])] = status
	}
	want := map[registry.Code]int{}
	for code, row := range problemTable {
		want[code] = row.status
	}
	require.Equal(t, want, written)
}
