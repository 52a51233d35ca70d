package cli

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/webhook"
)

// TestTheDecisionsOfTheDemonstrationAreTold sends what the demonstration's owner
// decided to a program that checks every signature.
func TestTheDecisionsOfTheDemonstrationAreTold(t *testing.T) {
	h := newDemoHouse(t)
	decided := map[string]bool{}
	require.NoError(t, h.o.Ledger.ReadAll(t.Context(), 0, func(r registry.Record) error {
		notices, err := webhook.Notices(r)
		for _, n := range notices {
			decided[n.Machine+" "+n.Decision] = true
		}
		return err
	}))
	require.Greater(t, len(decided), 1)
	told := map[string]bool{}
	now := time.Date(2026, 6, 28, 12, 0, 0, 0, time.UTC)
	var receiver *httptest.Server
	receiver = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) {
		body, _ := io.ReadAll(q.Body)
		var n webhook.Notice
		if webhook.Verify(q.Header, body, receiver.URL+"/told", "s3cret", now) == nil && json.Unmarshal(body, &n) == nil {
			told[n.Machine+" "+n.Decision] = true
		}
	}))
	defer receiver.Close()
	p := &webhook.Post{Folder: filepath.Join(h.dir, "hooks"), Now: func() time.Time { return now }}
	require.NoError(t, p.Add(webhook.Hook{ID: "hook-1", URL: receiver.URL + "/told", Secret: "s3cret", Added: now.AddDate(-1, 0, 0)}))
	require.NoError(t, p.Once(t.Context(), h.o.Ledger))
	require.Equal(t, decided, told)
}
