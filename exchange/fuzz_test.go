package exchange

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// FuzzReadProv: a document that is read is written and read as the same, and
// can be told as a story; any other is refused, with a pointer to each place.
func FuzzReadProv(f *testing.F) {
	f.Add([]byte(`{"prefix":{"ex":"http://example.org/"},"entity":{"ex:e1":{"prov:label":["tank",{"$":"Tank","lang":"de"}],"ex:n":1,"ex:x":{"$":"ex:y","type":"prov:QUALIFIED_NAME"}}},` +
		`"activity":{"ex:a":{"prov:startTime":"2012-03-31T09:21:00Z"}},"wasGeneratedBy":{"_:g":[{"prov:entity":"ex:e1","prov:activity":"ex:a","prov:time":"2012-03-31T09:21:00"},{}]},` +
		`"bundle":{"ex:b":{"prefix":{"default":"http://example.org/d"},"agent":{"p":{"prov:type":true}}}}}`))
	f.Add([]byte(`{"entity":{"e":{}}}`))
	f.Add([]byte(`{"prefix":null,"entity":{"_:x":[],"_:y":{"_:z":[1.5,"",{"$":{}}]}}}`))
	f.Add([]byte(`{"bundle":{"_:b":{"bundle":{}}}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		doc, err := ReadProv(data)
		if err != nil {
			var e *registry.Error
			require.True(t, errors.As(err, &e))
			require.Equal(t, registry.CodeInvalid, e.Code)
			require.NotEmpty(t, e.Fields)
			require.LessOrEqual(t, len(e.Fields), maxProvFaults)
			for _, at := range e.Fields {
				require.True(t, at.Pointer == "" || strings.HasPrefix(at.Pointer, "/"), at.Pointer)
			}
			return
		}
		raw, err := doc.Write()
		require.NoError(t, err)
		again, err := ReadProv(raw)
		require.NoError(t, err, "%s", raw)
		rewritten, err := again.Write()
		require.NoError(t, err)
		require.Equal(t, string(raw), string(rewritten))
		require.Equal(t, doc.Records, again.Records)
		for i, b := range doc.Bundles {
			require.Equal(t, b.Records, again.Bundles[i].Records)
		}
		require.Equal(t, doc.Acts(), again.Acts())
		require.Equal(t, doc.Count(), again.Count())
	})
}
