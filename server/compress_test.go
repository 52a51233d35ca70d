package server

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPagesComePacked to whoever takes them so, and the owner's never do.
func TestPagesComePacked(t *testing.T) {
	b := worked(t)
	link, err := assetAddress("asfound.css")
	require.NoError(t, err)
	for _, path := range []string{"/machines/drover-1957", link} {
		plain := b.get(path)
		require.Empty(t, plain.Header().Get("Content-Encoding"), path)
		r := httptest.NewRequest(http.MethodGet, path, nil)
		r.Header.Set("Accept-Encoding", "gzip")
		packed := b.ask(r)
		require.Equal(t, "gzip", packed.Header().Get("Content-Encoding"), path)
		require.Contains(t, packed.Header().Values("Vary"), "Accept-Encoding")
		require.Less(t, packed.Body.Len(), plain.Body.Len()/2)
		unpacked, err := gzip.NewReader(packed.Body)
		require.NoError(t, err)
		body, err := io.ReadAll(unpacked)
		require.NoError(t, err)
		require.Equal(t, plain.Body.String(), string(body))
	}
	for _, path := range []string{"/o/" + b.token, "/api/v1/machines"} {
		r := httptest.NewRequest(http.MethodGet, path, nil)
		r.Header.Set("Accept-Encoding", "gzip")
		require.Empty(t, b.ask(r).Header().Get("Content-Encoding"), path)
	}
}
