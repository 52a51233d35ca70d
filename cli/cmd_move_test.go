package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/webhook"
)

// TestMoveIntoAClusterAndHome moves a registry with its accounts, key and
// webhooks from a folder into a cluster, works there, and moves it into another
// folder and back into the old one.
func TestMoveIntoAClusterAndHome(t *testing.T) {
	c, node := onCluster(t, 1)
	old := newWorld(t)
	takeIn(t, old)
	old.do(t, "people", "add", "Tamsin Orde", "--role", "keeper")
	old.do(t, "hook", "add", "http://127.0.0.1:9/decided")
	folder, nodeFolder := old.settings["ASFOUND_DIR"], node.settings["ASFOUND_DIR"]
	hooks := func(dir string) *webhook.Post { return &webhook.Post{Folder: filepath.Join(dir, hookFolder)} }
	require.NoError(t, hooks(folder).SetAfter(1))

	moving := &world{settings: map[string]string{}}
	read := func(text string) (m moved) {
		require.NoError(t, json.Unmarshal([]byte(text), &m))
		return m
	}
	// Without a node's folder it says what is left; a password is not printed.
	withPassword := "nats://app:secret@" + c.NodeURL(0)[len("nats://"):]
	text := moving.do(t, "move", "--from", folder, "--to", withPassword)
	require.NotContains(t, text, "secret")
	require.Contains(t, text, "NOT copied, because they are no part of the ledger: ")
	require.Contains(t, text, keyFile)
	require.Contains(t, text, "--node FOLDER")
	left, err := os.ReadFile(filepath.Join(folder, leftFile))
	require.NoError(t, err)
	require.NotContains(t, string(left), "secret")
	there := read(moving.do(t, "move", "--from", folder, "--to", c.URL(), "--node", nodeFolder, "--json"))
	require.Zero(t, there.Added)
	require.Empty(t, there.Left)
	require.Subset(t, there.Copied, []string{keyFile, peopleFile, "hooks/hooks.json"})
	after, told, err := hooks(nodeFolder).After()
	require.NoError(t, err)
	require.True(t, told)
	require.Equal(t, 1, int(after))

	// It goes on there, for the same people, under the same key.
	require.Contains(t, node.do(t, "people"), "Tamsin Orde")
	require.Contains(t, node.do(t, "audit"), "all agree")
	require.Equal(t, exitStatuses["conflict"], old.run(t.Context(), "show", "drover"))
	require.Contains(t, node.do(t, "show", "drover"), "Record at version 4")
	node.do(t, "usage", "drover", "21mi")
	node.do(t, "people", "add", "Imogen Aske", "--role", "owner@drover")

	// A node's copy is no place to move a registry to.
	require.Equal(t, exitStatuses["conflict"], moving.run(t.Context(), "move", "--from", folder, "--to", nodeFolder), moving.err.String())
	require.Contains(t, moving.err.String(), "holds a node's copy")

	fresh := &world{settings: map[string]string{"ASFOUND_DIR": filepath.Join(t.TempDir(), "fresh")}}
	text = moving.do(t, "move", "--from", c.URL(), "--to", fresh.settings["ASFOUND_DIR"], "--node", nodeFolder)
	require.Contains(t, text, "nothing marks it as left")
	require.NotContains(t, text, "none were copied")
	require.Contains(t, fresh.do(t, "people"), "Imogen Aske")
	require.Contains(t, fresh.do(t, "show", "drover"), "Record at version 5")
	require.Contains(t, fresh.do(t, "audit"), "all agree")
	require.Equal(t, fresh.do(t, "key"), node.do(t, "key"))
	require.NoFileExists(t, filepath.Join(fresh.settings["ASFOUND_DIR"], "copy-of-a-cluster"))

	// The nodes' key may lie in a folder that they share: it comes along, and is
	// missed where nobody says where it is.
	shared := t.TempDir()
	for _, name := range []string{keyFile, publicKeyFile} {
		require.NoError(t, os.Rename(filepath.Join(nodeFolder, name), filepath.Join(shared, name)))
	}
	again := &world{settings: map[string]string{"ASFOUND_DIR": filepath.Join(t.TempDir(), "again")}}
	move := []string{"move", "--from", c.URL(), "--to", again.settings["ASFOUND_DIR"], "--node", nodeFolder}
	require.Contains(t, moving.do(t, move...), "There is NO signing key in "+again.settings["ASFOUND_DIR"])
	require.NotContains(t, moving.do(t, append(move, "--key-folder", shared)...), "NO signing key")
	require.Equal(t, fresh.do(t, "key"), again.do(t, "key"))
	text = moving.do(t, "move", "--from", c.URL(), "--to", again.settings["ASFOUND_DIR"], "--key-folder", shared)
	require.Contains(t, text, "\nThe settings of a cluster lie in the folders of its nodes", "the key was found")
	// The other way it goes to where the nodes look for it.
	elsewhere := t.TempDir()
	moving.do(t, "move", "--from", again.settings["ASFOUND_DIR"], "--to", c.URL(), "--node", nodeFolder, "--key-folder", elsewhere)
	require.FileExists(t, filepath.Join(elsewhere, keyFile))
	require.NoFileExists(t, filepath.Join(nodeFolder, keyFile))

	// Back into the folder that it came from: what came since is added, and other
	// accounts than those there are told and left.
	home := read(moving.do(t, "move", "--from", c.URL(), "--to", folder, "--json"))
	require.Equal(t, 1, home.Added.Commits)
	require.True(t, home.OtherPeople)
	require.Contains(t, old.do(t, "show", "drover"), "Record at version 5")

	// A cluster that cannot be reached, and one without a registry.
	require.NotZero(t, moving.run(t.Context(), "move", "--from", folder, "--to", "nats://127.0.0.1:1"))
	require.Contains(t, moving.err.String(), "No server of the cluster answers")
	require.NoError(t, c.Close())
}
