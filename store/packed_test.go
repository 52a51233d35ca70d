package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// alike are events that say nearly the same, as the rows of a sheet do.
func alike(n int) (events [][]byte) {
	for i := range n {
		events = append(events, fmt.Appendf(nil, `{"actor":"mechanic","body":{"by":"mechanic","component":"fuel.tank","condition":%d,"id":"sv-%d"},"format":1}`, i%6, i))
	}
	return events
}

func TestLongCommitsArePacked(t *testing.T) {
	noise := make([]byte, packedFrom)
	for i := range noise {
		noise[i] = byte(rand.Uint32())
	}
	for name, c := range map[string]struct {
		events [][]byte
		packed bool
	}{
		"short":                        {alike(10), false},
		"long":                         {alike(1000), true},
		"long, and no two bytes alike": {[][]byte{noise}, false},
		"as long as it may be":         {[][]byte{bytes.Repeat([]byte("x"), registry.MaxCommitBytes)}, true},
	} {
		plain := EncodeCommit("commit-7", c.events)
		record := packed(plain)
		require.Equal(t, c.packed, record[0] == packedVersion, name)
		require.LessOrEqual(t, len(record), len(plain))
		if c.packed {
			require.Less(t, len(record), len(plain)/3, name)
		}
		record = binary.BigEndian.AppendUint64(record, 17)
		r, err := decodeRecord("drover", 3, record)
		require.NoError(t, err)
		require.Equal(t, registry.Record{Position: 17, ID: "commit-7", Machine: "drover", First: 3, Events: c.events}, r, name)
		for _, cut := range []int{1, 9, len(record) / 2} {
			_, err := decodeRecord("drover", 3, append(record[:len(record)-8-cut:len(record)-8-cut], record[len(record)-8:]...))
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%s, cut by %d", name, cut)
		}
	}
}

// A frame that says it unpacks to more than any commit holds is not unpacked.
func TestNothingIsUnpackedBeyondTheLimit(t *testing.T) {
	e, err := packer()
	require.NoError(t, err)
	bomb := e.EncodeAll(make([]byte, 64<<20), []byte{packedVersion})
	_, err = decodeRecord("drover", 3, append(bomb, make([]byte, 8)...))
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
}
