package cli

import (
	"context"
	"crypto/rand"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"example.org/asfound/access"
	"example.org/asfound/backup"
	"example.org/asfound/registry"
)

// keptKey makes an age identity and says in which file it lies.
func keptKey(t *testing.T) (*age.X25519Identity, string) {
	t.Helper()
	id, err := age.GenerateX25519Identity()
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "id")
	require.NoError(t, os.WriteFile(file, []byte(id.String()+"\n"), 0o600))
	return id, file
}

// TestPeopleComeBack restores a registry with accounts: the keeper signs in with
// the old password, and no session, invitation or signing key came along.
func TestPeopleComeBack(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	dir := w.settings["ASFOUND_DIR"]
	book := &access.Book{Store: &peopleStore{dir: dir}, Now: time.Now, Random: rand.Reader, Required: true}
	code, err := book.OpenSetUp()
	require.NoError(t, err)
	const password = "a kettle sings on the bench"
	_, err = book.SetUp(t.Context(), code, "Tamsin Orde", password, "")
	require.NoError(t, err)
	_, err = book.Invite("Wilfred Hale", []access.Grant{{Role: access.Reader}})
	require.NoError(t, err)
	before, err := book.Store.Read()
	require.NoError(t, err)
	require.NotEmpty(t, before.Sessions)

	id, secret := keptKey(t)
	away := filepath.Join(t.TempDir(), "away")
	w.do(t, "backup", away, "--to", id.Recipient().String())
	folder, err := backup.OpenDirectory(away)
	require.NoError(t, err)
	defer folder.Close()
	x, err := backup.ReadIndex(folder)
	require.NoError(t, err)
	signing, err := os.ReadFile(filepath.Join(dir, keyFile))
	require.NoError(t, err)
	var names []string
	require.NoError(t, backup.RestorePresent(t.Context(), folder, x, []age.Identity{id}, func(name string, content []byte) error {
		names = append(names, name)
		require.NotContains(t, string(content), strings.TrimSpace(string(signing)), name)
		return nil
	}))
	// No number or place is withheld of this machine, so it has no key of its own yet.
	require.Equal(t, []string{"people.json", "keys/drover/person-mechanic.key", "keys/drover/person-owner.key"}, names)

	back := newWorld(t)
	require.Contains(t, back.do(t, "restore", away, "--identity", secret), "Everybody must sign in again")
	there := &access.Book{Store: &peopleStore{dir: back.settings["ASFOUND_DIR"]}, Now: time.Now, Random: rand.Reader}
	state, err := there.Store.Read()
	require.NoError(t, err)
	require.Equal(t, before.Accounts, state.Accounts)
	require.Empty(t, state.Sessions)
	require.Empty(t, state.Invites)
	_, err = there.SignIn(t.Context(), "Tamsin Orde", password, "127.0.0.1", "")
	require.NoError(t, err)
	info, err := os.Stat(filepath.Join(back.settings["ASFOUND_DIR"], peopleFile))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	// From here on a missing list is a loss.
	require.NoError(t, os.Remove(filepath.Join(back.settings["ASFOUND_DIR"], peopleFile)))
	_, err = (&peopleStore{dir: back.settings["ASFOUND_DIR"]}).Read()
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
}

// TestNothingElseIsTakenFromABackup: a part that names another file is refused.
func TestNothingElseIsTakenFromABackup(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"registry.key", "../people.json", "keys/../people.json", "keys/drover/../../x.key", "keys/drover/other.key", "mappings/../people.json", "hooks/after.json", "/etc/passwd", "keys/a/b/machine.key", ""} {
		require.Error(t, takePresent(dir, name, []byte("{}")), name)
	}
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}

// TestARestoreThatCannotWriteTheKeys is not taken for a damaged backup: it stops
// where it can be started again.
func TestARestoreThatCannotWriteTheKeys(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	id, secret := keptKey(t)
	away := filepath.Join(t.TempDir(), "away")
	w.do(t, "backup", away, "--to", id.Recipient().String())

	back := newWorld(t)
	dir := back.settings["ASFOUND_DIR"]
	inTheWay := filepath.Join(dir, "keys", "drover")
	require.NoError(t, os.MkdirAll(filepath.Dir(inTheWay), 0o700))
	require.NoError(t, os.WriteFile(inTheWay, nil, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, restoringFile), nil, 0o600))
	require.NotZero(t, back.run(t.Context(), "restore", away, "--identity", secret))
	require.Contains(t, back.err.String(), "start the restore again")
	require.NoError(t, os.Remove(inTheWay))
	said := back.do(t, "restore", away, "--identity", secret)
	require.Contains(t, said, "2 files with the keys")
	require.Contains(t, said, "all agree")
}

// TestABackupOfBefore brings back a backup of format 1, whose private values are
// plain: they are sealed on the way. A chain of that format goes on, and says
// what erasing does not reach.
func TestABackupOfBefore(t *testing.T) {
	const recipient = "age1cl00ufevkgsp9a09zngt0k3c8ejsu7m6dyvcejk96vgj5qnvwv3qtvnexh"
	old, identity := filepath.Join(t.TempDir(), "old"), filepath.Join("..", "testdata", "backups", "v1", "identity.txt")
	require.NoError(t, os.CopyFS(old, os.DirFS(filepath.Dir(identity))))
	w := newWorld(t)
	said := w.do(t, "restore", old, "--identity", identity)
	require.Contains(t, said, "The backup holds no keys, people and settings")
	require.Contains(t, said, "all agree")
	require.Contains(t, w.do(t, "person", "export", "drover", "owner"), "Imogen Aske")
	private := filepath.Join(w.settings["ASFOUND_DIR"], "private")
	require.NoError(t, filepath.WalkDir(private, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		raw, err := os.ReadFile(path)
		require.True(t, strings.HasPrefix(string(raw), "asfound-sealed 1 drover/"), path)
		return err
	}))

	// The old chain belongs to the old key; with an index that names the new
	// one, it is the same ledger that goes on.
	verifier := strings.TrimSpace(w.do(t, "key", "--json"))
	key := regexp.MustCompile(`asfound-[0-9a-f]+\+[0-9a-f]+\+[A-Za-z0-9+/=]+`).FindString(verifier)
	require.NotEmpty(t, key)
	index := filepath.Join(old, "index.json")
	raw, err := os.ReadFile(index)
	require.NoError(t, err)
	raw = regexp.MustCompile(`"registry": "[^"]*"`).ReplaceAll(raw, []byte(`"registry": "`+key+`"`))
	require.NoError(t, os.WriteFile(index, raw, 0o600))
	said = w.do(t, "backup", old, "--to", recipient)
	require.Contains(t, said, "2 private values stand in pieces from before there were keys")
	w.do(t, "person", "erase", "drover", "owner", "--why", "asked for", "--yes")
	require.Contains(t, w.do(t, "backup", old, "--to", recipient), "000002.age")
}

// TestTheExamplesForEveryNightAreCommands reads the unit, the timer and the
// crontab line of docs/backup.md: each command line is one of this program, and
// what it would do is what the page says.
func TestTheExamplesForEveryNightAreCommands(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "docs", "backup.md"))
	require.NoError(t, err)
	lines := regexp.MustCompile(`(?m)^ *ExecStart=/\S*/asfound (.*)$`).FindAllStringSubmatch(string(page), -1)
	require.Len(t, lines, 2)
	cron := regexp.MustCompile("(?m)`([0-9*]+ [0-9*]+ \\* \\* \\*) (asfound [^`]*)`").FindStringSubmatch(string(page))
	require.NotNil(t, cron)
	for command := range strings.SplitSeq(cron[2], " && ") {
		lines = append(lines, []string{command, strings.TrimPrefix(command, "asfound ")})
	}
	require.Len(t, lines, 4)
	for i, line := range lines {
		args := strings.Fields(line[1])
		var parsed commandLine
		parser, err := newParser(&parsed, args, func(string) string { return "" }, kong.Exit(func(int) {}))
		require.NoError(t, err)
		found, err := parser.Parse(args)
		require.NoError(t, err, line[0])
		require.Equal(t, []string{"backup <folder>", "audit"}[i%2], found.Command(), line[0])
	}
	for _, needed := range []string{"[Unit]", "[Service]", "Type=oneshot", "[Timer]", "OnCalendar=", "[Install]", "WantedBy=timers.target"} {
		require.Contains(t, string(page), needed)
	}

	// And the drill of the page, as it is written there, on a registry.
	w := newWorld(t)
	takeIn(t, w)
	id, secret := keptKey(t)
	drill := regexp.MustCompile(`(?m)^    asfound (backup|restore) (.*?)( +#.*)?$`).FindAllStringSubmatch(string(page), -1)
	require.GreaterOrEqual(t, len(drill), 2)
	back := filepath.Join(t.TempDir(), "fresh")
	fill := strings.NewReplacer("/mnt/away/asfound", filepath.Join(t.TempDir(), "away"), "age1…", id.Recipient().String(), "keeper.key", secret,
		"fresh", back, "registry.key", filepath.Join(w.settings["ASFOUND_DIR"], keyFile))
	for _, line := range drill[:2] {
		status := w.run(context.Background(), append([]string{line[1]}, strings.Fields(fill.Replace(line[2]))...)...)
		require.Zero(t, status, "%s: %s", line[0], &w.err)
	}
	_, err = os.Stat(filepath.Join(back, keyFile))
	require.False(t, errors.Is(err, os.ErrNotExist))
}
