package scoring

import (
	"bytes"
	"encoding/json"
	"os"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every example of docs/scoring.md is run: the result that stands there is the
// result, but for white space.
func TestDocumentedExamples(t *testing.T) {
	page, err := os.ReadFile("../docs/scoring.md")
	require.NoError(t, err)
	blocks := regexp.MustCompile("(?s)```json ([a-z]+/[0-9]+) input\n(.*?)```\n\n```json ([a-z]+/[0-9]+) result\n(.*?)```").FindAllSubmatch(page, -1)
	require.Equal(t, len(Methods()), len(blocks))
	for _, b := range blocks {
		method, input, result := string(b[1]), b[2], b[4]
		require.Equal(t, method, string(b[3]))
		got, err := Run(method, input)
		require.NoError(t, err, method)
		var want bytes.Buffer
		require.NoError(t, json.Compact(&want, result))
		require.Equal(t, want.String(), string(got), method)
	}
}
