package catalog

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// FuzzPack: a pack is laid as a whole, and then the catalog bears its name and
// another digest, the same each time; or it is refused, with each place in it.
func FuzzPack(f *testing.F) {
	const manifest = `{"id":"test-pack","version":"1.0.0","title":"a test","author":"nobody"}`
	rows := func(section, list string) string {
		return fmt.Sprintf(`{"assumption":"For a test.",%q:[%s]}`, section, list)
	}
	for _, text := range []string{
		rows("treatments", `{"id":"clean","title":"Clean it"}`), rows("priors", `{"id":"x"}`), rows("gates", `{"id":"road","checks":["a"]}`), rows("signs", `{"id":"stamp-fits","bears":[]},{"id":"stamp-fits"}`),
		rows("components", `{"id":"fuel.tank","points":1e99}`), rows("value", `null`), `{"source":"x","cautions":[{"id":"new","says":"Mind it.","level":"note","components":["fuel.tank"]}]}`, "\ufeff{}", `{"words":[{"id":"patina","means":"a"}]} `} {
		f.Add([]byte(manifest), []byte(text))
	}
	f.Add([]byte(`{"id":"../x","version":"1"}`), []byte(`{"id":"a","id":"b"}`))
	house, err := Load()
	require.NoError(f, err)
	refused := func(t *testing.T, err error) {
		var e *registry.Error
		require.True(t, errors.As(err, &e), "%v", err)
		require.Equal(t, registry.CodeInvalid, e.Code)
		require.NotEmpty(t, e.Fields)
		for _, at := range e.Fields {
			require.NotEmpty(t, at.Message)
			require.True(t, at.Pointer == "" || strings.HasPrefix(at.Pointer, "/"), at.Pointer)
		}
	}
	f.Fuzz(func(t *testing.T, manifest, content []byte) {
		files := fstest.MapFS{"manifest.json": {Data: manifest}, "rows.json": {Data: content}}
		// What cannot be read is not laid over the house's data, which takes long.
		b := &builder{places: map[string]place{}}
		if b.pack(1, files); len(b.c.identity.Packs) == 0 {
			refused(t, b.faults.err())
			return
		}
		c, err := Load(files)
		if err != nil {
			refused(t, err)
			return
		}
		id := c.Identity()
		require.Len(t, id.Packs, 1)
		again, err := Load(files)
		require.NoError(t, err)
		require.Equal(t, id, again.Identity())
		require.Len(t, c.Gates(), len(house.Gates()))
		require.NotEmpty(t, c.Rules().Components)
	})
}
