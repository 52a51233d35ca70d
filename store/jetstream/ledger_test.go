package jetstream

import (
	"errors"
	"os"
	"testing"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/store/jetstream/clustertest"
)

func TestMain(m *testing.M) {
	clustertest.Main()
	os.Exit(m.Run())
}

// newCluster starts a cluster that ends with the test.
func newCluster(t *testing.T, nodes int) *clustertest.Cluster {
	t.Helper()
	return newClusterIn(t, t.TempDir(), nodes)
}

func newClusterIn(t *testing.T, dir string, nodes int) *clustertest.Cluster {
	t.Helper()
	c, err := clustertest.Start(dir, nodes)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, c.Close()) })
	return c
}

// attach opens the registry of a cluster.
func attach(t *testing.T, url string, o Options) *Store {
	t.Helper()
	s, err := Open(t.Context(), url, o)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// afresh takes the registry of a cluster away, which no program of ours can,
// and makes an empty one.
func afresh(t *testing.T, url string, replicas int) {
	t.Helper()
	admin, err := connect(url, Options{})
	require.NoError(t, err)
	defer admin.Close()
	for _, stream := range []string{Stream, "OBJ_" + PhotosBucket, "OBJ_" + PrivateBucket} {
		if err := admin.js.DeleteStream(t.Context(), stream); !errors.Is(err, jetstream.ErrStreamNotFound) {
			require.NoError(t, err)
		}
	}
	require.NoError(t, Init(t.Context(), url, replicas))
}

func conformance(t *testing.T, nodes int) {
	c := newCluster(t, nodes)
	open := func(t *testing.T) registry.Ledger {
		return attach(t, c.URL(), Options{}).Ledger()
	}
	ledgertest.Run(t, func(t *testing.T) registry.Ledger {
		afresh(t, c.URL(), nodes)
		return open(t)
	}, func(t *testing.T, l registry.Ledger) registry.Ledger {
		require.NoError(t, l.Close())
		return open(t)
	})
}

func TestLedgerOnOneServer(t *testing.T) { conformance(t, 1) }

func TestLedgerOnThreeServers(t *testing.T) {
	if testing.Short() {
		t.Skip("three servers take half a minute")
	}
	conformance(t, 3)
}
