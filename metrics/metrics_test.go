package metrics

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
)

var backedUp = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

func known(context.Context) (State, error) {
	return State{Position: 12, Machines: 3, Events: 400, Lag: 2, Free: 5 << 30, Reserve: 64 << 20, Backup: backedUp}, nil
}

func anyHost(string) bool { return true }

// figures are what a monitor read.
type figures struct {
	there func(name string) bool
	// value is the one figure of a family with such labels: of a counter or a
	// gauge, or how many a histogram counted.
	value func(name string, labels ...string) float64
}

// read asks for the figures and reads them with Prometheus's own parser.
func read(t *testing.T, m *Metrics) figures {
	t.Helper()
	rec := httptest.NewRecorder()
	m.Handler(anyHost).ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, rec.Code)
	require.Contains(t, rec.Header().Get("Content-Type"), "text/plain; version=0.0.4")
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(rec.Body)
	require.NoError(t, err)
	return figures{there: func(name string) bool { return families[name] != nil }, value: func(name string, labels ...string) float64 {
		t.Helper()
		require.NotNil(t, families[name], name)
	search:
		for _, m := range families[name].Metric {
			has := map[string]string{}
			for _, l := range m.Label {
				has[l.GetName()] = l.GetValue()
			}
			for i := 0; i+1 < len(labels); i += 2 {
				if has[labels[i]] != labels[i+1] {
					continue search
				}
			}
			return m.GetCounter().GetValue() + m.GetGauge().GetValue() + float64(m.GetHistogram().GetSampleCount())
		}
		t.Fatalf("there is no %s with %v", name, labels)
		return 0
	}}
}

func TestFiguresAreRead(t *testing.T) {
	m := New("1.2.3", known)
	m.Request("/machines/{id}", http.MethodGet, 200, 30*time.Millisecond, 20_000)
	m.Request("/machines/{id}", http.MethodGet, 304, time.Millisecond, 0)
	m.Request("", "BREW", 404, time.Millisecond, 100)
	m.Event("sign-in-failed")
	got := read(t, m)
	require.EqualValues(t, 1, got.value("asfound_http_requests_total", "route", "/machines/{id}", "method", "GET", "class", "3xx"))
	require.EqualValues(t, 1, got.value("asfound_http_requests_total", "route", "none", "method", "other", "class", "4xx"))
	require.EqualValues(t, 2, got.value("asfound_http_request_duration_seconds", "route", "/machines/{id}"))
	require.EqualValues(t, 20_000, got.value("asfound_http_response_bytes_total", "route", "/machines/{id}"))
	require.EqualValues(t, 1, got.value("asfound_security_events_total", "event", "sign-in-failed"))
	for name, want := range map[string]float64{"asfound_ledger_position": 12, "asfound_machines": 3, "asfound_ledger_events": 400, "asfound_views_lag_commits": 2,
		"asfound_disk_free_bytes": 5 << 30, "asfound_disk_reserve_bytes": 64 << 20, "asfound_last_backup_timestamp_seconds": float64(backedUp.Unix()), "asfound_build_info": 1} {
		require.EqualValues(t, want, got.value(name), name)
	}
	require.True(t, got.there("go_goroutines"))
	require.True(t, got.there("process_start_time_seconds"))
}

// TestNamesFollowTheConventions by the linter of Prometheus.
func TestNamesFollowTheConventions(t *testing.T) {
	m := New("1", known)
	m.Request("/", http.MethodGet, 200, time.Millisecond, 1)
	m.Event("signed-out")
	problems, err := testutil.GatherAndLint(m.all)
	require.NoError(t, err)
	require.Empty(t, problems)
}

// TestWhatIsNotKnownIsLeftOut rather than given as 0.
func TestWhatIsNotKnownIsLeftOut(t *testing.T) {
	got := read(t, New("1", func(context.Context) (State, error) { return State{Free: 1}, nil }))
	require.False(t, got.there("asfound_last_backup_timestamp_seconds"))
	require.True(t, got.there("asfound_disk_free_bytes"))
	got = read(t, New("1", func(context.Context) (State, error) { return State{}, errors.New("closed") }))
	require.False(t, got.there("asfound_disk_free_bytes"))
	require.True(t, got.there("asfound_build_info"))
}

// TestAppendsAreCounted by what became of them.
func TestAppendsAreCounted(t *testing.T) {
	m := New("1", known)
	l := m.Ledger(ledgertest.NewMemory())
	commit := registry.Commit{ID: "a", Machine: "drover", Events: [][]byte{[]byte(`{}`)}}
	_, err := l.Append(t.Context(), commit)
	require.NoError(t, err)
	again, err := l.Append(t.Context(), commit)
	require.NoError(t, err)
	require.True(t, again.Duplicate)
	commit.ID = "b"
	_, err = l.Append(t.Context(), commit)
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
	_, err = l.Append(t.Context(), registry.Commit{})
	require.Error(t, err)
	require.NoError(t, l.Close())
	_, err = l.Append(t.Context(), commit)
	require.Error(t, err)
	got := read(t, m)
	for _, outcome := range outcomes {
		require.EqualValues(t, 1, got.value("asfound_ledger_appends_total", "outcome", outcome), outcome)
	}
	require.EqualValues(t, 5, got.value("asfound_ledger_append_duration_seconds"))
	_, _, err = m.Photos(ledgertest.NewMemoryBlobs()).Put(t.Context(), strings.NewReader("picture"), 100)
	require.NoError(t, err)
	require.EqualValues(t, 1, read(t, m).value("asfound_photos_stored_total"))
}

func TestNothingElseIsAnswered(t *testing.T) {
	m := New("1", known)
	for _, ask := range []struct {
		method, path string
		ours         bool
		status       int
	}{{"GET", "/metrics", false, 421}, {"POST", "/metrics", true, 405}, {"GET", "/", true, 404}, {"GET", "/debug/pprof/", true, 404}} {
		rec := httptest.NewRecorder()
		m.Handler(func(string) bool { return ask.ours }).ServeHTTP(rec, httptest.NewRequest(ask.method, ask.path, nil))
		require.Equal(t, ask.status, rec.Code, ask.path)
	}
}

// TestWhoLeavesIsNoFailure: somebody is woken up when a commit fails, and not
// when a visitor does not wait for it.
func TestWhoLeavesIsNoFailure(t *testing.T) {
	require.Equal(t, "refused", outcomeOf(registry.Receipt{}, fmt.Errorf("waiting: %w", context.Canceled)))
	require.Equal(t, "failed", outcomeOf(registry.Receipt{}, context.DeadlineExceeded))
}
