package store

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// unreadable wants the code that damage has; decodeRecord also meets what a
// newer program wrote.
func unreadable(t *testing.T, err error) {
	t.Helper()
	if c := registry.CodeOf(err); c != registry.CodeTampered && c != registry.CodeUnsupported {
		t.Fatalf("code %q: %v", c, err)
	}
}

// FuzzRecord: bytes are a commit, which is written and read as the same again,
// or are damaged. A commit shares no memory with what it was read from.
func FuzzRecord(f *testing.F) {
	f.Add(encodeRecord(17, "commit-7", [][]byte{[]byte(`{"a":1}`), []byte(`{}`)}))
	f.Add(encodeRecord(1, "", nil))
	f.Add(encodeRecord(1<<63, string(make([]byte, 300)), [][]byte{nil, bytes.Repeat([]byte("x"), 200)}))
	f.Add([]byte{2, 0, 0, 0, 0, 0, 0, 0, 0, 0})
	f.Add(append([]byte{1, 0, 2, 0xff, 0xff, 0xff, 0xff, 0x7f, 1}, make([]byte, 8)...))
	f.Fuzz(func(t *testing.T, data []byte) {
		given := bytes.Clone(data)
		r, err := decodeRecord("drover", 3, data)
		if err != nil {
			unreadable(t, err)
			return
		}
		written := encodeRecord(r.Position, r.ID, r.Events)
		for i := range data {
			data[i] ^= 0xff
		}
		require.Equal(t, written, encodeRecord(r.Position, r.ID, r.Events), "it shares memory")
		require.LessOrEqual(t, len(written), len(given), "there is one shortest way to write it")
		again, err := decodeRecord("drover", 3, written)
		require.NoError(t, err)
		require.Equal(t, r, again)
		require.Equal(t, written, bytes.Join(parts(written), nil))
	})
}

// FuzzEntries: what stands under the other families of keys is written as it
// was read, and the checksum finds each byte that is changed.
func FuzzEntries(f *testing.F) {
	var head machineHead
	for _, e := range []string{"a", "b", "c", "d", "e", "f", "g"} {
		head.add([]byte(e))
		f.Add(headKey("drover"), head.encode(), uint(0))
	}
	f.Add(totalsKey, totals{17, 2, 40}.encode(), uint(9))
	f.Add(commitKey("drover", 3, 0), pair(1, 2), uint(3))
	f.Add(positionKey(4), positionValue("drover", 3), uint(1))
	f.Add([]byte{prefixHead}, binary.BigEndian.AppendUint64(nil, 1<<63), uint(4))
	f.Fuzz(func(t *testing.T, key, value []byte, at uint) {
		if h, err := decodeHead("drover", value); err != nil {
			unreadable(t, err)
		} else {
			require.Equal(t, value, h.encode())
		}
		if x, err := decodeTotals(value); err != nil {
			unreadable(t, err)
		} else {
			require.Equal(t, value, x.encode())
		}
		if a, b, ok := splitPair(value); ok {
			require.Equal(t, value, pair(a, b))
		}
		if machine, first, part, ok := splitCommitKey(key); ok {
			require.Equal(t, key, commitKey(machine, first, part))
		}
		if machine, first, ok := splitPositionValue(value); ok {
			require.Equal(t, value, positionValue(machine, first))
		}
		if plain, err := unseal(key, value); err == nil {
			require.Equal(t, value, seal(key, bytes.Clone(plain)))
		} else {
			unreadable(t, err)
		}
		sealed := seal(key, bytes.Clone(value))
		plain, err := unseal(key, sealed)
		require.NoError(t, err)
		require.Equal(t, string(value), string(plain))
		sealed[at%uint(len(sealed))] ^= 1 << (at % 8)
		_, err = unseal(key, sealed)
		unreadable(t, err)
	})
}

// FuzzHeadFile: of two lines the one that reaches further is believed, if its
// check holds; a file without such a line is damaged.
func FuzzHeadFile(f *testing.F) {
	first, second := line(headLine{Position: 3, Commit: "6162", Machines: 1, Events: 9}), line(headLine{Position: 4, Commit: "6163", Machines: 1, Events: 12})
	f.Add(append(bytes.Clone(first), second...))
	f.Add(append(bytes.Clone(second), first...))
	f.Add(append(bytes.Clone(first), bytes.Repeat([]byte(" "), slotBytes)...))
	f.Add(append(bytes.Repeat([]byte("x"), slotBytes), second...))
	f.Add(first)
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(dir, headName)
		require.NoError(t, os.WriteFile(path, data, 0o600))
		h, slot, ok, err := readHead(path)
		if err != nil {
			unreadable(t, err)
			require.False(t, ok)
			return
		}
		require.True(t, ok)
		require.Equal(t, h.sum(), h.Check)
		// The other slot taken away, the same line is read.
		alone := bytes.Repeat([]byte(" "), 2*slotBytes)
		copy(alone[slot*slotBytes:], data[slot*slotBytes:(slot+1)*slotBytes])
		require.NoError(t, os.WriteFile(path, alone, 0o600))
		again, same, _, err := readHead(path)
		require.NoError(t, err)
		require.Equal(t, h, again)
		require.Equal(t, slot, same)
	})
}
