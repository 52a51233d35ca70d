package registry

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// Evidence may hold the computation behind it, openly or withheld, never both;
// evidence of schema version 1 holds none and reads as it did.
func TestEvidenceHoldsItsEstimate(t *testing.T) {
	body := func(more string) string {
		return `{"id":"e","evidence":"date-stamp","bears":[{"component":"electrical.horn","proposition":"origin","likelihood":{"original":0.8},"why":"by its date"}],"cluster":"stamp","says":"it is dated","by":"tamsin"` + more + `}`
	}
	old, err := DecodeBody("evidence", 1, json.RawMessage(body("")))
	require.NoError(t, err)
	require.Empty(t, Estimates(old))
	require.Equal(t, 2, SchemaVersion("evidence"))
	const estimate = `{"method":"tyre/1","catalog":"house","input":{"code":"127"},"result":{"week":12}}`
	quoted, err := json.Marshal(estimate)
	require.NoError(t, err)
	for more, want := range map[string]string{
		"": "", `,"estimate":` + estimate: "tyre/1", `,"estimate_withheld":` + string(quoted): "tyre/1",
		`,"estimate_withheld":{"withheld":"sha256:` + "3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f3f" + `"}`: "",
	} {
		e, err := DecodeBody("evidence", 2, json.RawMessage(body(more)))
		require.NoError(t, err)
		require.NoError(t, CheckBody(e), more)
		list := Estimates(e)
		if want == "" {
			require.Empty(t, list, more)
			continue
		}
		require.Equal(t, want, list[0].Method)
		require.Equal(t, "e", list[0].Of)
	}
	for more, says := range map[string]string{
		`,"estimate":` + estimate + `,"estimate_withheld":` + string(quoted): "both openly and withheld",
		`,"estimate_withheld":"nonsense"`:                                    "withheld estimate cannot be read",
		`,"estimate_withheld":"{\"method\":\"\"}"`:                           "has no method",
	} {
		e, err := DecodeBody("evidence", 2, json.RawMessage(body(more)))
		require.NoError(t, err)
		require.ErrorContains(t, CheckBody(e), says)
	}
}
