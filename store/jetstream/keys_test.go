package jetstream

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// TestDestroyedKey seals a value, and destroys its key: no server keeps a byte of
// either, and what is kept instead tells a destroyed key from a lost one.
func TestDestroyedKey(t *testing.T) {
	dir := t.TempDir()
	c := newClusterIn(t, dir, 1)
	require.NoError(t, Init(t.Context(), c.URL(), 1))
	s := attach(t, c.URL(), Options{Patience: time.Second})
	v := store.NewVault(s.Private(), s.Keys(), nil)
	const secret = "Wilhelmina Thistlethwaite, an invented person"
	digest, _, err := v.PutFor(t.Context(), "drover/owner", strings.NewReader(secret), 100)
	require.NoError(t, err)
	place, _, err := v.PutFor(t.Context(), "drover", strings.NewReader("shelf 3"), 100)
	require.NoError(t, err)
	require.False(t, onDisk(t, dir, secret), "it is sealed")
	raw, err := s.Keys().Load(t.Context(), "drover/person-owner.key", "")
	require.NoError(t, err)
	var f struct{ ID, Key string }
	require.NoError(t, json.Unmarshal(raw, &f))
	require.True(t, onDisk(t, dir, f.Key), "the test looks in the right place")
	r, _, err := v.Get(t.Context(), digest)
	require.NoError(t, err)
	text, err := io.ReadAll(r)
	require.NoError(t, errors.Join(err, r.Close()))
	require.Equal(t, secret, string(text))

	sealed, err := s.Private().Raw(t.Context(), digest)
	require.NoError(t, err)
	for range 2 { // the second time there is nothing to do
		require.NoError(t, v.Destroy(t.Context(), []string{digest}))
		require.False(t, onDisk(t, dir, f.Key))
		state, _, err := v.Look(t.Context(), digest)
		require.NoError(t, err)
		require.Equal(t, store.NotStored, state)
	}
	// A sealed copy from elsewhere stays shut, and it is known why.
	require.NoError(t, s.Private().Set(t.Context(), digest, sealed))
	state, holder, err := v.Look(t.Context(), digest)
	require.NoError(t, err)
	require.Equal(t, store.KeyDestroyed, state)
	require.Equal(t, "drover/owner", holder)
	state, _, err = v.Look(t.Context(), place)
	require.NoError(t, err)
	require.Equal(t, store.Readable, state)

	// A key that is only gone is missing.
	require.NoError(t, s.Keys().Remove(t.Context(), "drover/machine.key"))
	v.Forget()
	state, _, err = v.Look(t.Context(), place)
	require.NoError(t, err)
	require.Equal(t, store.KeyMissing, state)
}

// TestNotesInTheCluster notes an erasure until it is done, for every node.
func TestNotesInTheCluster(t *testing.T) {
	c := newCluster(t, 1)
	require.NoError(t, Init(t.Context(), c.URL(), 1))
	s := attach(t, c.URL(), Options{Patience: time.Second})
	one, other := store.NewVault(s.Private(), s.Keys(), nil), store.NewVault(s.Private(), s.Keys(), nil)
	require.True(t, one.Unsealed(), "nobody has looked yet")
	require.NoError(t, one.MarkSealed())
	require.False(t, other.Unsealed())
	for range 2 {
		require.NoError(t, one.Erasing("drover", true))
	}
	left, err := other.Interrupted()
	require.NoError(t, err)
	require.Equal(t, []string{"drover"}, left)
	for range 2 {
		require.NoError(t, other.Erasing("drover", false))
	}
	left, err = one.Interrupted()
	require.NoError(t, err)
	require.Empty(t, left)
	require.NoError(t, one.PutStored(t.Context(), "sha256:2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae", strings.NewReader("foo"), 3)) // FIPS 180-4 of "foo"
	require.True(t, other.Unsealed(), "something lies there plain again")
	require.NoError(t, other.Seal(t.Context(), "sha256:2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae", "drover"))
	raw, err := s.Private().Raw(t.Context(), "sha256:2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae")
	require.NoError(t, err)
	require.NotContains(t, string(raw), "foo")
}

// TestOneKeyForAHolder seals for one holder at several nodes at once: all agree
// on one key, which is destroyed at one and found destroyed at the others.
func TestOneKeyForAHolder(t *testing.T) {
	nodes := 3
	if testing.Short() {
		nodes = 1
	}
	c := newCluster(t, nodes)
	require.NoError(t, Init(t.Context(), c.URL(), nodes))
	var vaults []*store.Vault
	for range 4 {
		s := attach(t, c.URL(), Options{})
		vaults = append(vaults, store.NewVault(s.Private(), s.Keys(), nil))
	}
	digests := make([]string, 4*len(vaults))
	var wait sync.WaitGroup
	for i := range digests {
		wait.Go(func() {
			var err error
			digests[i], _, err = vaults[i%len(vaults)].PutFor(t.Context(), "drover/owner", strings.NewReader(fmt.Sprint("value ", i)), 100)
			require.NoError(t, err)
		})
	}
	wait.Wait()
	for i, digest := range digests {
		r, _, err := vaults[(i+1)%len(vaults)].Get(t.Context(), digest)
		require.NoError(t, err)
		text, err := io.ReadAll(r)
		require.NoError(t, err)
		require.Equal(t, fmt.Sprint("value ", i), string(text))
	}
	for i := range vaults { // several at once
		wait.Go(func() {
			if err := vaults[i].Destroy(t.Context(), digests[:1]); err != nil {
				t.Errorf("node %d: %v", i, err)
			}
		})
	}
	wait.Wait()
	for _, v := range vaults {
		v.Forget() // as a node does when it is told
		_, _, err := v.Get(t.Context(), digests[1])
		require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
		state, _, err := v.Look(t.Context(), digests[1])
		require.NoError(t, err)
		require.Equal(t, store.KeyDestroyed, state)
	}
}
