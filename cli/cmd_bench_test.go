package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/scoring"
)

func TestQuantity(t *testing.T) {
	for text, want := range map[string]struct {
		value float64
		unit  string
	}{
		"6.27mm": {6.27, "mm"}, " 6.27 MM ": {6.27, "mm"}, "1/4in": {0.25, "in"}, `1/4"`: {0.25, "in"}, "0.247in": {0.247, "in"}, ".247 in": {0.247, "in"},
		"1 1/8in": {1.125, "in"}, "1-1/8in": {1.125, "in"}, "26tpi": {26, "tpi"}, "26": {26, ""}, "4.5tpi": {4.5, "tpi"},
	} {
		value, unit, err := quantity(text)
		require.NoError(t, err, text)
		require.InDelta(t, want.value, value, 1e-15, text)
		require.Equal(t, want.unit, unit, text)
	}
	for _, text := range []string{"", "mm", "1/0in", "1.5/2in", "1 2in", "-3mm", "6,27mm", "1e3mm", "6.27mm or so", "1/4/2in", "NaNmm"} {
		_, _, err := quantity(text)
		require.Error(t, err, text)
	}
}

// What the command prints as JSON is what calc prints, and neither makes a
// registry.
func TestThreadCommand(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "registry")
	status, out, failed := typed(dir, "", "thread", "--od", "6.27mm", "--pitch", "26tpi", "--angle", "55.5", "--hand", "right", "--json")
	require.Zero(t, status, failed)
	var r scoring.ThreadResult
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	require.Equal(t, "BSF 1/4", r.Candidates[0].String())
	status, again, failed := typed(dir, `{"od_mm":6.27,"tpi":26,"angle_deg":55.5,"hand":"right"}`, "calc", "thread")
	require.Zero(t, status, failed)
	require.Equal(t, out, again)
	_, err := os.Stat(dir)
	require.ErrorIs(t, err, os.ErrNotExist)
	status, _, failed = typed(dir, "", "thread", "--od", "6.27", "--pitch", "26", "--json")
	require.Equal(t, 3, status)
	require.Contains(t, failed, `"pointer": "/pitch"`)
}
