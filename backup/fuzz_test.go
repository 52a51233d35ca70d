package backup

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"io/fs"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
)

// written is a piece as it stands before it is packed and encrypted.
func written(t testing.TB, frames ...any) []byte {
	var b bytes.Buffer
	for _, f := range frames {
		switch f := f.(type) {
		case frame:
			require.NoError(t, writeFrame(&b, f))
		case string:
			b.WriteString(f)
		}
	}
	return b.Bytes()
}

// FuzzPiece: whatever stands in a piece, no more of it is stored than its end
// says; and what was stored is what stood in it, so that a piece written from
// it is restored to the same.
func FuzzPiece(f *testing.F) {
	begin := Begin{Format: format, Chain: "chain-1", Piece: 1, Registry: "key"}
	r := registry.Record{ID: "c-1", Machine: "drover", First: 1, Events: [][]byte{[]byte("{}"), []byte(`{"a":1}`)}}
	commit := commitFrame(r)
	photo := frame{Kind: "photo", Size: 1, Digest: "sha256:ca978112ca1bbdcafac231b39a23dc4da786eff8147c4e72b9807785afee48bb"} // FIPS 180-4 of "a"
	f.Add(written(f, frame{Kind: "begin", Begin: &begin}, commit, "{}", `{"a":1}`, photo, "a", frame{Kind: "end", Count: &Count{Commits: 1, Events: 2, Photos: 1}}))
	f.Add(written(f, frame{Kind: "begin", Begin: &begin}, frame{Kind: "end", Count: &Count{}}))
	f.Add(written(f, frame{Kind: "begin"}))
	f.Add(written(f, frame{Kind: "begin", Begin: &begin}, frame{Kind: "commit", Size: 3, Lengths: []int{-1, 4}}, "abc"))
	f.Add(written(f, frame{Kind: "begin", Begin: &begin}, frame{Kind: "private", Size: 1 << 40, Digest: "x"}, "a"))
	f.Fuzz(func(t *testing.T, data []byte) {
		ledger, photos, private := ledgertest.NewMemory(), ledgertest.NewMemoryBlobs(), ledgertest.NewMemoryBlobs()
		to := Target{ledger, photos, private}
		count, err := things(t.Context(), bufio.NewReader(bytes.NewReader(data)), func(f frame, r *bufio.Reader) error { return to.take(t.Context(), f, r, begin) })
		var stored Count
		again := []any{frame{Kind: "begin", Begin: &begin}}
		require.NoError(t, ledger.ReadAll(t.Context(), 0, func(r registry.Record) error {
			stored.Commits++
			stored.Events += len(r.Events)
			again = append(again, commitFrame(r), string(bytes.Join(r.Events, nil)))
			return nil
		}))
		require.LessOrEqual(t, stored.Commits, count.Commits)
		if err != nil {
			require.NotEmpty(t, err.Error())
			require.NotEmpty(t, Part{File: "000001.age"}.refused(err).Error())
			return
		}
		require.LessOrEqual(t, stored.Events, count.Events)
		ledgerAgain := ledgertest.NewMemory()
		to = Target{ledgerAgain, photos, private}
		got, err := things(t.Context(), bufio.NewReader(bytes.NewReader(written(t, append(again, frame{Kind: "end", Count: &stored})...))), func(f frame, r *bufio.Reader) error { return to.take(t.Context(), f, r, begin) })
		require.NoError(t, err)
		require.Equal(t, stored, got)
	})
}

// oneFile is a folder with one file in it.
type oneFile struct {
	Folder
	name string
	text []byte
}

func (o oneFile) Open(name string) (io.ReadCloser, error) {
	if name != o.name {
		return nil, fs.ErrNotExist
	}
	return io.NopCloser(bytes.NewReader(o.text)), nil
}

// FuzzIndex: the list of pieces is read and written as the same, or refused
// with a code; a restore from it alone stores nothing.
func FuzzIndex(f *testing.F) {
	whole, err := json.Marshal(Index{Format: format, Chain: "chain-1", Registry: "key", Pieces: []Piece{{Part: Part{File: "000001.age", SHA256: "ab"}, Names: "000001.names", Last: "c1", End: 1}}})
	require.NoError(f, err)
	f.Add(whole)
	f.Add([]byte(`{"format":3}`))
	f.Add([]byte(`{"format":2,"pieces":[{"file":"../index.json"}]}`))
	f.Add([]byte(`null`))
	f.Fuzz(func(t *testing.T, data []byte) {
		folder := oneFile{name: indexName, text: data}
		x, err := ReadIndex(folder)
		if err != nil {
			require.Contains(t, []registry.Code{registry.CodeTampered, registry.CodeUnsupported}, registry.CodeOf(err))
			return
		}
		raw, err := json.Marshal(x)
		require.NoError(t, err)
		again, err := ReadIndex(oneFile{name: indexName, text: raw})
		require.NoError(t, err)
		require.Equal(t, len(x.Pieces), len(again.Pieces))
		rewritten, err := json.Marshal(again)
		require.NoError(t, err)
		require.Equal(t, string(raw), string(rewritten))
		ledger := ledgertest.NewMemory()
		_, held, err := Restore(t.Context(), folder, Target{ledger, ledgertest.NewMemoryBlobs(), ledgertest.NewMemoryBlobs()}, nil, nil)
		require.NotEqual(t, registry.CodeInternal, registry.CodeOf(err), "%v", err)
		require.Zero(t, held)
		require.NoError(t, ledger.ReadAll(t.Context(), 0, func(registry.Record) error { t.Fatal("something was stored"); return nil }))
	})
}
