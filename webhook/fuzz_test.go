package webhook

import (
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// FuzzVerify: a notice verifies as it was signed and in no other way; whatever
// headers come, the answer has a code.
func FuzzVerify(f *testing.F) {
	const target = "https://example.org/hook"
	signed := func(t testing.TB, body []byte) http.Header {
		r, err := http.NewRequest(http.MethodPost, target, nil)
		require.NoError(t, err)
		r.Header.Set("Content-Type", "application/json")
		sign(r, body, "hook-1", "s3cret", monday)
		return r.Header
	}
	body := []byte(`{"event":"decision"}`)
	h := signed(f, body)
	f.Add(body, h.Get("Content-Digest"), h.Get("Signature-Input"), h.Get("Signature"))
	f.Add([]byte{}, "", `asfound=("@method" "@target-uri" "content-type" "content-digest");created=1`, "asfound=::")
	f.Add(body, h.Get("Content-Digest")+" ", h.Get("Signature-Input")+";created=1", h.Get("Signature"))
	f.Fuzz(func(t *testing.T, given []byte, digest, input, signature string) {
		got := http.Header{"Content-Type": {"application/json"}, "Content-Digest": {digest}, "Signature-Input": {input}, "Signature": {signature}}
		if err := Verify(got, given, target, "s3cret", monday); err == nil {
			require.Equal(t, string(body), string(given), "nobody signed this")
			require.Equal(t, h.Get("Signature-Input"), input)
		} else {
			require.Contains(t, []registry.Code{registry.CodeTampered, registry.CodeExpired}, registry.CodeOf(err))
		}
		own := signed(t, given)
		require.NoError(t, Verify(own, given, target, "s3cret", monday))
		require.Error(t, Verify(own, append([]byte("x"), given...), target, "s3cret", monday))
		require.Error(t, Verify(own, given, target, "s3cret"+signature+"x", monday))
	})
}

// FuzzCheckURL: an address that is taken is read by net/url as https, or as
// this computer; no address that is written out lies where nobody outside is.
func FuzzCheckURL(f *testing.F) {
	for _, s := range []string{"https://example.org/a", "http://localhost:1/", "http://127.0.0.1/", "https://[::1]/", "https://10.0.0.1/", "https://[::ffff:10.0.0.1]/", "https://[fe80::1%25eth0]/", "https://a@b/", "https://x/#y",
		"http://LOCALHOST/", "https://0x7f.1/", "https://127.1/", "https://2130706433/", "https://[::ffff:7f00:1]/", "//x", ""} {
		f.Add(s, false)
	}
	f.Fuzz(func(t *testing.T, raw string, private bool) {
		if err := CheckURL(raw, private); err != nil {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
			return
		}
		u, err := url.Parse(raw)
		require.NoError(t, err)
		require.Nil(t, u.User)
		require.Empty(t, u.Fragment)
		a, err := netip.ParseAddr(u.Hostname())
		if u.Scheme != "https" {
			require.Equal(t, "http", u.Scheme)
			require.True(t, err == nil && a.Unmap().IsLoopback() || strings.EqualFold(u.Hostname(), "localhost"), raw)
		}
		if err == nil {
			require.True(t, a.Unmap().IsLoopback() || private || !a.Unmap().IsPrivate(), raw)
			require.False(t, a.IsUnspecified() || a.IsMulticast() || a.IsLinkLocalUnicast(), raw)
		}
	})
}

// FuzzFolder: whatever stands in the files of the post, it is read or damaged,
// and a damaged file is left as it is.
func FuzzFolder(f *testing.F) {
	f.Add([]byte(`[{"id":"hook-1","url":"https://example.org/","secret":"s","added":"2026-03-02T09:00:00Z"}]`), []byte("17\n"), []byte(`{"at":"2026-03-02T09:00:00Z","hook":"h","notice":"n","try":1,"outcome":"delivered"}`+"\n{cut"))
	f.Add([]byte(`{}`), []byte(`-1`), []byte("\n\n"))
	f.Add([]byte(`null`), []byte(`1e99`), []byte{})
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, hooks, after, log []byte) {
		p := &Post{Folder: dir, Now: func() time.Time { return monday }}
		for name, text := range map[string][]byte{"hooks.json": hooks, "after.json": after, "deliveries.jsonl": log} {
			require.NoError(t, os.WriteFile(filepath.Join(dir, name), text, 0o600))
		}
		list, err := p.Hooks()
		damaged(t, err)
		_, _, err = p.After()
		damaged(t, err)
		lines, err := p.Log(3)
		require.NoError(t, err)
		require.LessOrEqual(t, len(lines), 3)
		err = p.Add(Hook{ID: "new", URL: "https://example.net/new", Secret: "s", Added: monday})
		damaged(t, err)
		if err != nil {
			kept, err := os.ReadFile(filepath.Join(dir, "hooks.json"))
			require.NoError(t, err)
			require.Equal(t, string(hooks), string(kept))
			return
		}
		longer, err := p.Hooks()
		require.NoError(t, err)
		require.Len(t, longer, len(list)+1)
	})
}

// damaged wants no error, or one with a code.
func damaged(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		require.Contains(t, []registry.Code{registry.CodeTampered, registry.CodeConflict}, registry.CodeOf(err), "%v", err)
	}
}
