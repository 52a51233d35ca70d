package move_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/move"
	"example.org/asfound/registry"
	"example.org/asfound/store"
	"example.org/asfound/store/jetstream"
	"example.org/asfound/store/jetstream/clustertest"
)

func TestMain(m *testing.M) {
	clustertest.Main()
	os.Exit(m.Run())
}

// inCluster is a side in a new cluster of so many servers.
func inCluster(t *testing.T, nodes int) (*clustertest.Cluster, move.Side) {
	c, err := clustertest.Start(t.TempDir(), nodes)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, c.Close()) })
	require.NoError(t, jetstream.Init(t.Context(), c.URL(), nodes))
	s, err := jetstream.Open(t.Context(), c.URL(), jetstream.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return c, move.Side{Name: "the cluster", Ledger: s.Ledger(), Photos: s.Photos(), Private: store.NewVault(s.Private(), s.Keys(), nil)}
}

// TestIntoAClusterAndHome goes from a disk into a cluster, whose leader is killed
// on the way, and onto another disk: three engines, one registry.
func TestIntoAClusterAndHome(t *testing.T) {
	nodes := 3
	if testing.Short() {
		nodes = 1
	}
	from, w := filled(t, onDisk(t))
	c, cluster := inCluster(t, nodes)

	// It is stopped on the way, and goes on.
	whole := cluster.Ledger
	cluster.Ledger = &breaking{whole, 7, true}
	_, err := move.All(t.Context(), from, cluster, move.Options{})
	require.ErrorContains(t, err, "the power went")
	cluster.Ledger = whole
	if nodes > 1 {
		leader, err := c.Leader(jetstream.Stream)
		require.NoError(t, err)
		cluster.Ledger = &breakingIn{whole, 10, func() { require.NoError(t, c.KillNode(leader)) }}
		defer func() { require.NoError(t, c.StartNode(leader)) }()
	}
	there, err := move.All(t.Context(), from, cluster, move.Options{Mark: 24})
	require.NoError(t, err)
	cluster.Ledger = whole
	require.Equal(t, 8, there.There.Commits)
	require.Equal(t, 16, there.Added.Commits)
	require.Equal(t, contents(t, from), contents(t, cluster))
	end, err := whole.End(t.Context())
	require.NoError(t, err)
	require.Equal(t, end, there.Mark)

	again, err := move.All(t.Context(), from, cluster, move.Options{})
	require.NoError(t, err)
	require.Zero(t, again.Added)

	// Work goes on there, and comes home.
	w.side = cluster
	w.commit("drover", person("in-the-cluster"))
	home := onDisk(t)
	back, err := move.All(t.Context(), cluster, home, move.Options{})
	require.NoError(t, err)
	require.Equal(t, 25, back.Added.Commits)
	require.Equal(t, contents(t, cluster), contents(t, home))
	// The old disk takes what came since, and then is the same too.
	old, err := move.All(t.Context(), cluster, from, move.Options{})
	require.NoError(t, err)
	require.Equal(t, move.Count{Commits: 1, Events: 1}, old.Added)
	require.Equal(t, back.Digest, old.Digest)

	// It is refused where the record went another way.
	other := newWriter(t, onDisk(t))
	other.n = 300
	other.commit("tarn-2", person("other"))
	_, err = move.All(t.Context(), cluster, other.side, move.Options{})
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
	require.ErrorContains(t, err, "tarn-2")
}
