package store

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// build makes a directory with several tables and a write-ahead file in use,
// and gives the number of commits. With clean it is closed in good order;
// otherwise it is copied while it is open, as a killed process leaves it.
func build(t *testing.T, clean bool) (dir string, commits int) {
	t.Helper()
	dir = t.TempDir()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	pad := strings.Repeat("as found, untouched; ", 30)
	versions := [4]uint64{}
	add := func(n int) {
		for m := range 4 {
			for i := range n / 4 {
				c := registry.Commit{ID: fmt.Sprint("id-", commits), Machine: fmt.Sprint("machine-", m), Expect: versions[m]}
				for e := range 1 + i%3 {
					c.Events = append(c.Events, fmt.Appendf(nil, "%d/%d %s", commits, e, pad))
				}
				_, err := s.Append(t.Context(), c)
				require.NoError(t, err)
				versions[m] += uint64(len(c.Events))
				commits++
			}
		}
	}
	for range 2 { // each closing makes a table
		add(40)
		require.NoError(t, s.Close())
		s, err = Open(dir, Options{})
		require.NoError(t, err)
	}
	add(40)
	if clean {
		require.NoError(t, s.Close())
		return dir, commits
	}
	killed := t.TempDir()
	copyTree(t, dir, killed)
	require.NoError(t, s.Close())
	return killed, commits
}

func copyTree(t *testing.T, from, to string) {
	t.Helper()
	require.NoError(t, filepath.Walk(from, func(path string, info os.FileInfo, err error) error {
		require.NoError(t, err)
		rel, err := filepath.Rel(from, path)
		require.NoError(t, err)
		if info.IsDir() {
			return os.MkdirAll(filepath.Join(to, rel), 0o700)
		}
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		used := len(data)
		for used > 0 && data[used-1] == 0 {
			used--
		}
		target := filepath.Join(to, rel)
		require.NoError(t, os.WriteFile(target, data[:used], 0o600))
		return os.Truncate(target, int64(len(data)))
	}))
}

func glob(t *testing.T, dir, pattern string) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, pattern))
	require.NoError(t, err)
	require.NotEmpty(t, names, pattern)
	slices.Sort(names)
	return names
}

// flip changes one bit at a part of the file's written length.
func flip(t *testing.T, path string, part float64) {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	used := len(data)
	for used > 0 && data[used-1] == 0 {
		used--
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	require.NoError(t, err)
	at := int(part * float64(used-1))
	_, err = f.WriteAt([]byte{data[at] ^ 0x10}, int64(at))
	require.NoError(t, err)
	require.NoError(t, f.Close())
}

// noticed opens the directory and, when that works, checks it in full. It gives
// how the damage showed, or "".
func noticed(t *testing.T, dir string, o Options) string {
	t.Helper()
	s, err := Open(dir, o)
	if err != nil {
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%v", err)
		return "at opening: " + err.Error()
	}
	defer s.Close()
	findings, err := s.Check(t.Context(), true)
	require.NoError(t, err)
	if len(findings) > 0 {
		return fmt.Sprintf("by the check: %v and %d more", findings[0], len(findings)-1)
	}
	return ""
}

func TestDamageIsNoticed(t *testing.T) {
	type damage struct {
		name string
		do   func(t *testing.T, dir string)
	}
	remove := func(pattern string) func(*testing.T, string) {
		return func(t *testing.T, dir string) { require.NoError(t, os.Remove(glob(t, dir, pattern)[0])) }
	}
	shorten := func(pattern string, part float64) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			path := glob(t, dir, pattern)[0]
			info, err := os.Stat(path)
			require.NoError(t, err)
			require.NoError(t, os.Truncate(path, int64(part*float64(info.Size()))))
		}
	}
	both := []damage{
		{"MANIFEST deleted", remove("ledger/MANIFEST")},
		{"MANIFEST cut to 30 bytes", func(t *testing.T, dir string) {
			require.NoError(t, os.Truncate(filepath.Join(dir, "ledger", "MANIFEST"), 30))
		}},
		{"MANIFEST cut to its header", func(t *testing.T, dir string) {
			require.NoError(t, os.Truncate(filepath.Join(dir, "ledger", "MANIFEST"), 8))
		}},
		{"MANIFEST emptied", shorten("ledger/MANIFEST", 0)},
		{"key registry emptied", shorten("ledger/KEYREGISTRY", 0)},
		{"table deleted", remove("ledger/*.sst")},
		{"table cut in half", shorten("ledger/*.sst", 0.5)},
		{"table cut by one byte", shorten("ledger/*.sst", 0.9999)},
		{"table emptied", shorten("ledger/*.sst", 0)},
		{"ledger folder deleted", func(t *testing.T, dir string) { require.NoError(t, os.RemoveAll(filepath.Join(dir, "ledger"))) }},
		{"head file deleted", remove("head.jsonl")},
		{"head file emptied", shorten("head.jsonl", 0)},
	}
	for i := range 8 {
		part := (float64(i) + 0.5) / 8
		both = append(both, damage{fmt.Sprintf("one bit in a table at %.2f", part), func(t *testing.T, dir string) {
			flip(t, glob(t, dir, "ledger/*.sst")[i%2], part)
		}})
	}
	flips := both[len(both)-8:]
	var killed []damage
	for i := range 6 {
		part := (float64(i) + 0.5) / 6
		killed = append(killed, damage{fmt.Sprintf("one bit in the write-ahead file at %.2f", part), func(t *testing.T, dir string) {
			flip(t, glob(t, dir, "ledger/*.mem")[0], part)
		}})
	}
	killed = append(killed,
		damage{"write-ahead file deleted", remove("ledger/*.mem")},
		damage{"write-ahead file cut", func(t *testing.T, dir string) {
			require.NoError(t, os.Truncate(glob(t, dir, "ledger/*.mem")[0], 40_000))
		}})
	for _, state := range []struct {
		name    string
		clean   bool
		damages []damage
		options Options
	}{
		{"closed", true, both, Options{}},
		{"killed", false, append(slices.Clone(both), killed...), Options{}},
		// As with tables that are too large to verify at each opening.
		{"large", true, flips, Options{verifyTables: -1}},
	} {
		whole, commits := build(t, state.clean)
		control := t.TempDir()
		copyTree(t, whole, control)
		require.Empty(t, noticed(t, control, state.options), "the control, which is not damaged")
		for _, d := range state.damages {
			t.Run(state.name+"/"+d.name, func(t *testing.T) {
				t.Parallel()
				dir := t.TempDir()
				copyTree(t, whole, dir)
				before := tables(t, dir)
				d.do(t, dir)
				how := noticed(t, dir, state.options)
				require.NotEmpty(t, how, "of %d commits", commits)
				t.Log(how)
				if strings.HasPrefix(d.name, "MANIFEST") {
					// Nothing may be lost by the attempt to open it.
					for name := range before {
						_, err := os.Stat(filepath.Join(dir, "ledger", name))
						_, aside := os.Stat(filepath.Join(dir, setAsideFolder, name))
						require.True(t, err == nil || aside == nil, "%s is gone", name)
					}
				}
				// It shows again at the next attempt.
				require.NotEmpty(t, noticed(t, dir, state.options), "at the second attempt")
			})
		}
	}
}

func tables(t *testing.T, dir string) map[string]int64 {
	names, err := listFiles(filepath.Join(dir, ledgerFolder))
	require.NoError(t, err)
	for name := range names {
		if !strings.HasSuffix(name, ".sst") {
			delete(names, name)
		}
	}
	return names
}

// An older copy of the ledger under a newer head file: commits are lost.
func TestOlderLedger(t *testing.T) {
	dir, commits := build(t, true)
	old := t.TempDir()
	copyTree(t, filepath.Join(dir, ledgerFolder), old)
	seal, err := os.ReadFile(filepath.Join(dir, sealName))
	require.NoError(t, err)
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	_, err = s.Append(t.Context(), registry.Commit{ID: "last", Machine: "drover", Events: [][]byte{[]byte("x")}})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.NoError(t, os.RemoveAll(filepath.Join(dir, ledgerFolder)))
	copyTree(t, old, filepath.Join(dir, ledgerFolder))
	require.NoError(t, os.WriteFile(filepath.Join(dir, sealName), seal, 0o600))

	_, err = Open(dir, Options{})
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	require.ErrorContains(t, err, fmt.Sprintf("ends at position %d", commits))

	// It can be opened for rescue: read and checked, not written.
	s, err = Open(dir, Options{Rescue: true})
	require.NoError(t, err)
	n := 0
	require.NoError(t, s.ReadAll(t.Context(), 0, func(registry.Record) error { n++; return nil }))
	require.Equal(t, commits, n)
	_, err = s.Append(t.Context(), registry.Commit{ID: "more", Machine: "aldmouth", Events: [][]byte{[]byte("x")}})
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	findings, err := s.Check(t.Context(), false)
	require.NoError(t, err)
	require.Len(t, findings, 1)
	require.Equal(t, headName, findings[0].Where)
	require.NoError(t, s.Close())
	_, err = Open(dir, Options{})
	require.Error(t, err, "a rescue does not make it whole")
}

// Entries changed through the engine itself, with right checksums: only the
// check that recomputes everything can tell.
func TestForgeryIsNoticed(t *testing.T) {
	whole, commits := build(t, true)
	for name, forge := range map[string]func(txn *badger.Txn) error{
		"an event changed": func(txn *badger.Txn) error {
			r, err := recordAt(txn, 3)
			if err != nil {
				return err
			}
			r.Events[0][0] ^= 1
			key := commitKey(r.Machine, r.First, 0)
			return txn.Set(key, seal(key, encodeRecord(r.Position, r.ID, r.Events)))
		},
		"two commits swapped": func(txn *badger.Txn) error {
			a, err := recordAt(txn, 3)
			if err != nil {
				return err
			}
			b, err := recordAt(txn, 6) // the same machine and number of events
			if err != nil {
				return err
			}
			if a.Machine != b.Machine || len(a.Events) != len(b.Events) {
				return fmt.Errorf("positions 3 and 6 do not match: %v, %v", a, b)
			}
			ka, kb := commitKey(a.Machine, a.First, 0), commitKey(b.Machine, b.First, 0)
			if err := txn.Set(ka, seal(ka, encodeRecord(a.Position, a.ID, b.Events))); err != nil {
				return err
			}
			return txn.Set(kb, seal(kb, encodeRecord(b.Position, b.ID, a.Events)))
		},
		"a commit removed": func(txn *badger.Txn) error {
			r, err := recordAt(txn, 3)
			if err != nil {
				return err
			}
			return txn.Delete(commitKey(r.Machine, r.First, 0))
		},
		"a position removed":  func(txn *badger.Txn) error { return txn.Delete(positionKey(3)) },
		"a commit ID removed": func(txn *badger.Txn) error { return txn.Delete(idKey("id-2")) },
		"a commit ID added":   func(txn *badger.Txn) error { return txn.Set(idKey("x"), seal(idKey("x"), pair(1, 1))) },
		"a head removed":      func(txn *badger.Txn) error { return txn.Delete(headKey("machine-1")) },
		"a head with another root": func(txn *badger.Txn) error {
			h, err := getHead(txn, "machine-1")
			if err != nil {
				return err
			}
			h.subtrees[0][0] ^= 1
			key := headKey("machine-1")
			return txn.Set(key, seal(key, h.encode()))
		},
		"the last commit removed everywhere": func(txn *badger.Txn) error {
			t, err := getTotals(txn)
			if err != nil {
				return err
			}
			r, err := recordAt(txn, t.Position)
			if err != nil {
				return err
			}
			for _, key := range [][]byte{commitKey(r.Machine, r.First, 0), positionKey(t.Position), idKey(r.ID)} {
				if err := txn.Delete(key); err != nil {
					return err
				}
			}
			t.Position, t.Events = t.Position-1, t.Events-uint64(len(r.Events))
			return txn.Set(totalsKey, seal(totalsKey, t.encode()))
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			copyTree(t, whole, dir)
			require.NoError(t, os.Remove(filepath.Join(dir, sealName)))
			db, err := badger.Open(badgerOptions(filepath.Join(dir, ledgerFolder), func(string) {}))
			require.NoError(t, err)
			require.NoError(t, db.Update(forge))
			require.NoError(t, db.Close())
			how := noticed(t, dir, Options{})
			require.NotEmpty(t, how, "of %d commits", commits)
			t.Log(how)
		})
	}
}

// Reads never give a shorter or a changed history without an error.
func TestReadsNoticeWhatIsMissing(t *testing.T) {
	dir, commits := build(t, true)
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	defer s.Close()
	key := commitKey("machine-1", 1, 0)
	require.NoError(t, s.db.Update(func(txn *badger.Txn) error { return txn.Delete(key) }))
	none := func(registry.Record) error { return nil }
	for after := range uint64(3) {
		err := s.Read(t.Context(), "machine-1", after, none)
		if after < 1 {
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "after %d: %v", after, err)
		}
	}
	require.Equal(t, registry.CodeTampered, registry.CodeOf(s.ReadAll(t.Context(), 0, none)))
	require.NoError(t, s.Read(t.Context(), "machine-2", 0, none))
	require.NoError(t, s.db.Update(func(txn *badger.Txn) error {
		v := seal(key, encodeRecord(2, "id-1", [][]byte{[]byte("x"), []byte("y")}))
		v[len(v)-14] ^= 1
		return txn.Set(key, v)
	}))
	require.Equal(t, registry.CodeTampered, registry.CodeOf(s.Read(t.Context(), "machine-1", 0, none)))
	last := make([]byte, 9)
	last[0] = prefixPosition
	binary.BigEndian.PutUint64(last[1:], uint64(commits))
	require.NoError(t, s.db.Update(func(txn *badger.Txn) error { return txn.Delete(last) }))
	findings, err := s.Check(t.Context(), false)
	require.NoError(t, err)
	require.NotEmpty(t, findings)
}
