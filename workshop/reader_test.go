package workshop

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestRenderingJSON holds the quick way of rendering a record's texts against
// the plain one, which takes the whole of it apart.
func TestRenderingJSON(t *testing.T) {
	r := Reader{[]string{"[[o]]", "the owner", numberToken + "frame & lug]]", "12…"}}
	for _, c := range []struct {
		raw   string
		named bool
	}{
		{`{"says":"[[o]] waits","by":"[[o]]","list":["a",["[[o]]"],{"on":"[[o]]","note":"of [[o]]"}]}`, true},
		{`{"note":"on [[number:frame \u0026 lug]]","n":1.50}`, true},
		{`{"estimates":[{"input":{"note":"[[o]]","x":[[1,2],[3]]},"result":"[[o]]","note":" [[o]]"}]}`, true},
		{`{"components":[{"note":"[[o]]"}],"photos":["[[o]]"],"withheld":{"note":"[[o]]"}}`, true},
		{`{"matrix":[[1,2],[3,4]],"words":[["o"]],"note":"[[nobody]]"}`, false},
	} {
		require.Equal(t, c.named, r.names([]byte(c.raw)), c.raw)
		var tree any
		require.NoError(t, json.Unmarshal([]byte(c.raw), &tree))
		want, err := json.Marshal(mapStrings(tree, r.Text))
		require.NoError(t, err)
		got, err := r.raw([]byte(c.raw))
		require.NoError(t, err)
		require.JSONEq(t, string(want), string(got))
	}
}
