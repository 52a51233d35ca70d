package store

import (
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

func TestKeyExamples(t *testing.T) {
	made := map[byte][]byte{
		prefixCommit:     commitKey("drover", 3, 0),
		prefixPosition:   positionKey(17),
		prefixID:         idKey("commit-7"),
		prefixHead:       headKey("drover"),
		prefixTotals:     totalsKey,
		prefixView:       viewKey("machine/drover"),
		prefixCheckpoint: checkpointKey,
	}
	layout, err := os.ReadFile("../docs/store-layout.md")
	require.NoError(t, err)
	for _, f := range families {
		require.Equal(t, strings.ReplaceAll(f.example, " ", ""), hex.EncodeToString(made[f.prefix]), f.name)
		require.Contains(t, string(layout), f.example, "docs/store-layout.md shows the example of %q", f.name)
		delete(made, f.prefix)
	}
	require.Empty(t, made)
}

func TestCommitKeysKeepOrderAndApart(t *testing.T) {
	name := rapid.StringMatching(`[a-z0-9][a-z0-9_-]{0,20}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := name.Draw(t, "a"), name.Draw(t, "b")
		va, vb := rapid.Uint64().Draw(t, "va"), rapid.Uint64().Draw(t, "vb")
		ka, kb := string(commitKey(a, va, 0)), string(commitKey(b, vb, 0))
		if a == b && (va < vb) != (ka < kb) {
			t.Fatalf("%d and %d are out of order", va, vb)
		}
		if a != b && strings.HasPrefix(ka, string(commitPrefix(b))) {
			t.Fatalf("the key of %q begins like one of %q", a, b)
		}
		m, v, part, ok := splitCommitKey([]byte(ka))
		if !ok || m != a || v != va || part != 0 {
			t.Fatalf("%q %d came back as %q %d", a, va, m, v)
		}
	})
}

func TestRecordsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events := rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 1, 300), 1, 20).Draw(t, "events")
		id := string(rapid.SliceOfN(rapid.Byte(), 1, 64).Draw(t, "id"))
		position := registry.Position(rapid.Uint64().Draw(t, "position"))
		b := encodeRecord(position, id, events)
		r, err := decodeRecord("drover", 4, b)
		if err != nil {
			t.Fatal(err)
		}
		if r.ID != id || r.Position != position || fmt.Sprint(r.Events) != fmt.Sprint(events) || r.First != 4 {
			t.Fatalf("%v came back as %v", events, r)
		}
		// Cut short anywhere it is refused, not misread.
		cut := rapid.IntRange(0, len(b)-1).Draw(t, "cut")
		if _, err := decodeRecord("drover", 4, b[:cut]); registry.CodeOf(err) != registry.CodeTampered {
			t.Fatalf("cut to %d of %d bytes: %v", cut, len(b), err)
		}
	})
}

// A record's bytes, written out by hand from the layout in record.go.
func TestRecordBytes(t *testing.T) {
	got := encodeRecord(17, "id", [][]byte{[]byte("a"), []byte("bcd")})
	require.Equal(t, "01"+"02"+"6964"+"02"+"01"+"03"+"61"+"626364"+"0000000000000011", hex.EncodeToString(got))
}

func TestSealedValues(t *testing.T) {
	key, value := []byte("key"), []byte("value")
	// CRC-32C of "123456789" is e3069283 (RFC 3720 appendix B.4 uses the same polynomial).
	require.Equal(t, "e3069283", hex.EncodeToString(seal([]byte("1234"), []byte("56789"))[5:]))
	s := seal(key, append([]byte(nil), value...))
	got, err := unseal(key, s)
	require.NoError(t, err)
	require.Equal(t, value, got)
	for i := range s {
		for bit := range 8 {
			bad := append([]byte(nil), s...)
			bad[i] ^= 1 << bit
			_, err := unseal(key, bad)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
		}
	}
	_, err = unseal([]byte("yek"), s)
	require.Error(t, err, "under another key")
	_, err = unseal(key, s[:3])
	require.Error(t, err)
}

func TestHeadFileSurvivesATornLine(t *testing.T) {
	path := filepath.Join(t.TempDir(), headName)
	h, err := openHead(path, headLine{})
	require.NoError(t, err)
	for p := registry.Position(1); p <= 5; p++ {
		h.write(totals{Position: p, Machines: 1, Events: uint64(p)}, strings.Repeat("\xff", 64))
		best, slot, ok, err := readHead(path)
		require.NoError(t, err)
		require.True(t, ok)
		require.Equal(t, p, best.Position)
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		for _, at := range []int64{1, 15, 100} { // the newest line is torn: the one before it counts
			torn := append([]byte(nil), data...)
			torn[slot*slotBytes+at] ^= 1
			require.NoError(t, os.WriteFile(path, torn, 0o600))
			best, _, _, err = readHead(path)
			require.NoError(t, err)
			require.Equal(t, p-1, best.Position)
		}
		require.NoError(t, os.WriteFile(path, data, 0o600))
	}
	require.NoError(t, h.close())
	require.NoError(t, os.WriteFile(path, []byte("nothing"), 0o600))
	_, _, _, err = readHead(path)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
}

func TestNearlyFullDisk(t *testing.T) {
	var free atomic.Int64
	free.Store(1 << 40)
	o := Options{free: func(string) (int64, error) { return free.Load(), nil }}
	dir, ctx := t.TempDir(), t.Context()
	s, err := Open(dir, o)
	require.NoError(t, err)
	c := registry.Commit{ID: "1", Machine: "drover", Events: [][]byte{[]byte("x")}}
	first, err := s.Append(ctx, c)
	require.NoError(t, err)
	digest, _, err := s.Photos().Put(ctx, strings.NewReader("photo"), 100)
	require.NoError(t, err)

	free.Store(DefaultReserve - 1)
	full := func(err error) {
		t.Helper()
		require.Equal(t, registry.CodeBusy, registry.CodeOf(err))
		require.EqualError(t, err, "The disk holding "+dir+" has only 134 MB free; nothing was written. Free space and try again.")
	}
	next := registry.Commit{ID: "2", Machine: "drover", Expect: 1, Events: [][]byte{[]byte("y")}}
	_, err = s.Append(ctx, next)
	full(err)
	full(s.Views().Update(ctx, 1, func(ViewTx) error { return nil }))
	_, _, err = s.Photos().Put(ctx, strings.NewReader("another"), 100)
	full(err)
	// What was stored is still answered and read.
	again, err := s.Append(ctx, c)
	require.NoError(t, err)
	require.True(t, again.Duplicate)
	require.Equal(t, first.Head, again.Head)
	h, err := s.Head(ctx, "drover")
	require.NoError(t, err)
	require.Equal(t, first.Head, h)
	has, err := s.Photos().Has(ctx, digest)
	require.NoError(t, err)
	require.True(t, has)

	free.Store(DefaultReserve)
	r, err := s.Append(ctx, next)
	require.NoError(t, err)
	require.False(t, r.Duplicate)
	require.NoError(t, s.Close())

	free.Store(DefaultReserve/2 - 1)
	_, err = Open(dir, o)
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "Badger must not recover on a full disk")
	free.Store(DefaultReserve / 2)
	s, err = Open(dir, o)
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

func TestOtherFormats(t *testing.T) {
	for number, want := range map[uint16]string{
		2: "has format 2; this program reads format 1. Use a newer asfound.",
		0: "has format 0; this program reads format 1. Open it with the program that wrote it",
	} {
		dir := t.TempDir()
		db, err := badger.Open(badgerOptions(filepath.Join(dir, ledgerFolder), func(string) {}).WithExternalMagic(number))
		require.NoError(t, err)
		require.NoError(t, db.Close())
		_, err = Open(dir, Options{})
		require.Equal(t, registry.CodeUnsupported, registry.CodeOf(err))
		require.ErrorContains(t, err, want)
	}
}

// After a write that failed nothing more is written until the next opening.
func TestAFailedWriteStopsWriting(t *testing.T) {
	dir, ctx := t.TempDir(), t.Context()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	c := registry.Commit{ID: "1", Machine: "drover", Events: [][]byte{[]byte("x")}}
	_, err = s.Append(ctx, c)
	require.NoError(t, err)
	s.fail(errors.New("input/output error"))
	c = registry.Commit{ID: "2", Machine: "drover", Expect: 1, Events: [][]byte{[]byte("y")}}
	_, err = s.Append(ctx, c)
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err))
	require.Equal(t, registry.CodeBusy, registry.CodeOf(s.Views().Update(ctx, 1, func(ViewTx) error { return nil })))
	h, err := s.Head(ctx, "drover")
	require.NoError(t, err)
	require.EqualValues(t, 1, h.Version)
	require.NoError(t, s.Close())
	require.NoFileExists(t, filepath.Join(dir, sealName))
	s, err = Open(dir, Options{})
	require.NoError(t, err)
	_, err = s.Append(ctx, c)
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

// A transaction that cannot be committed leaves its writers in doubt, and says so.
func TestLostOutcome(t *testing.T) {
	dir, ctx := t.TempDir(), t.Context()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	require.NoError(t, s.db.Close()) // the engine goes away underneath
	_, err = s.Append(ctx, registry.Commit{ID: "1", Machine: "drover", Events: [][]byte{[]byte("x")}})
	require.Error(t, err)
	require.NotEqual(t, registry.CodeConflict, registry.CodeOf(err))
	_, err = s.Append(ctx, registry.Commit{ID: "1", Machine: "drover", Events: [][]byte{[]byte("x")}})
	require.Error(t, err)
	s.Close()
	s, err = Open(dir, Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

// TestEmptyLogs is a directory that was left between making a file and giving it
// its length.
func TestEmptyLogs(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	_, err = s.Append(t.Context(), registry.Commit{ID: "one", Machine: "drover", Events: [][]byte{[]byte("{}")}})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.NoError(t, os.Remove(filepath.Join(dir, sealName)))
	for _, name := range []string{"000009.vlog", "00009.mem"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, ledgerFolder, name), nil, 0o600))
	}
	s, err = Open(dir, Options{})
	require.NoError(t, err)
	head, err := s.Head(t.Context(), "drover")
	require.NoError(t, err)
	require.Equal(t, uint64(1), head.Version)
	require.NoError(t, s.Close())
}
