package cli

import (
	"net/http"
	"net/netip"
	"path/filepath"
	"strings"
	"testing"

	"filippo.io/age"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/require"

	"example.org/asfound/certs"
)

// TestAMonitorReads how the server does, at an address of its own and never at
// that of the pages, and learns nothing of machines, people and links.
func TestAMonitorReads(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	r := serve(t, w, "--metrics-addr", "127.0.0.1:0")
	require.NotEmpty(t, r.Metrics)
	require.NotEqual(t, r.Listening, r.Metrics)
	answer, _, err := r.get("http://"+r.Listening+"/metrics", nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusNotFound, answer.StatusCode)
	for _, path := range []string{"/machines/drover", "/machines/drover", "/o/SOMEBODYS-SECRET-LINK", "/nowhere/drover"} {
		_, _, err = r.get("http://"+r.Listening+path, nil)
		require.NoError(t, err)
	}
	figures := *r
	figures.Listening = r.Metrics
	answer, text, err := figures.get("http://"+r.Metrics+"/metrics", nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode)
	for _, secret := range []string{"drover", "SOMEBODYS", "127.0.0.1", w.settings["ASFOUND_DIR"]} {
		require.NotContains(t, text, secret)
	}
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(text))
	require.NoError(t, err)
	require.EqualValues(t, 1, families["asfound_machines"].Metric[0].GetGauge().GetValue())
	require.Positive(t, families["asfound_disk_free_bytes"].Metric[0].GetGauge().GetValue())
	require.NotContains(t, families, "asfound_last_backup_timestamp_seconds")
	require.Contains(t, text, `asfound_http_requests_total{class="2xx",method="GET",route="/machines/{id}"} 2`)
	answer, _, err = figures.get("http://a-strange-name.example/metrics", nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusMisdirectedRequest, answer.StatusCode)
}

func TestNamesOfTheMonitor(t *testing.T) {
	w := &way{names: certs.Names{Hosts: []string{"garage.local"}, Addresses: []netip.Addr{}}}
	for host, want := range map[string]bool{"127.0.0.1:9350": true, "[::1]:9350": true, "localhost": true, "Garage.local:9350": true, "evil.example:9350": false, "": false} {
		require.Equal(t, want, w.answersTo(host), host)
	}
}

// TestABackupIsKnownToTheMonitor whether the server wrote it or not.
func TestABackupIsKnownToTheMonitor(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	id, err := age.GenerateX25519Identity()
	require.NoError(t, err)
	r := serve(t, w, "--metrics-addr", "127.0.0.1:0")
	w.do(t, "backup", filepath.Join(t.TempDir(), "away"), "--to", id.Recipient().String())
	r.Listening = r.Metrics
	_, text, err := r.get("http://"+r.Metrics+"/metrics", nil)
	require.NoError(t, err)
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(text))
	require.NoError(t, err)
	require.EqualValues(t, noon.Unix(), families["asfound_last_backup_timestamp_seconds"].Metric[0].GetGauge().GetValue())
}
