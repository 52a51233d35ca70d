package cli

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

// TestPeopleAreChangedByOneAtATime lets a server and commands, which know nothing
// of each other, invite people at once: nobody is lost.
func TestPeopleAreChangedByOneAtATime(t *testing.T) {
	dir := t.TempDir()
	var wg sync.WaitGroup
	for p := range 4 {
		book := &access.Book{Store: &peopleStore{dir: dir}, Now: time.Now, Random: rand.Reader}
		wg.Go(func() {
			for n := range 5 {
				_, err := book.Invite(fmt.Sprint("Person ", p, n), []access.Grant{{Role: access.Reader}})
				require.NoError(t, err)
			}
		})
	}
	wg.Wait()
	store := &peopleStore{dir: dir}
	s, err := store.Read()
	require.NoError(t, err)
	require.Len(t, s.Invites, 20)
	info, err := os.Stat(store.path())
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	left, err := filepath.Glob(filepath.Join(dir, "*.part"))
	require.NoError(t, err)
	require.Empty(t, left)

	// What fails changes nothing.
	before, err := os.ReadFile(store.path())
	require.NoError(t, err)
	require.Error(t, store.Update(func(s *access.State) error { s.Invites = nil; return fmt.Errorf("stopped") }))
	require.Error(t, store.Update(func(s *access.State) error {
		s.Accounts = append(s.Accounts, access.Account{ID: "nonsense"})
		return nil
	}))
	after, err := os.ReadFile(store.path())
	require.NoError(t, err)
	require.Equal(t, string(before), string(after))

	// Nobody gets in while the list is damaged, and it is not taken for an empty one.
	require.NoError(t, os.WriteFile(store.path(), before[:len(before)/2], 0o600))
	book := &access.Book{Store: store, Now: time.Now, Random: rand.Reader}
	on, err := book.On()
	require.True(t, on)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	require.Equal(t, registry.CodeTampered, registry.CodeOf(store.Update(func(*access.State) error { return nil })))
}
