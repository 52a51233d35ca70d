package server

import (
	"encoding/pem"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func installer(t *testing.T) http.Handler {
	t.Helper()
	h, err := NewInstall(Install{Root: []byte("a certificate"), Fingerprint: "BA78 16BF 8F01 CFEA", Limits: []string{"garage.test", "192.168.1.0/24"}, Until: "1 June 2036",
		Addresses: []string{"https://192.168.1.20:8350", "https://garage.test:8350"}, Here: "http://192.168.1.20:8350"}, "1.2.3")
	require.NoError(t, err)
	return h
}

func visitPlain(h http.Handler, method, path, host, peer string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, nil)
	r.Host, r.RemoteAddr = host, peer
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, r)
	return rec
}

func TestTheInstallPage(t *testing.T) {
	h := installer(t)
	rec := visitPlain(h, http.MethodGet, "/", "192.168.1.20:8350", "192.168.1.7:5000")
	require.Equal(t, http.StatusOK, rec.Code)
	require.Contains(t, rec.Header().Get("Content-Security-Policy"), "default-src 'none'")
	require.Empty(t, rec.Header().Get("Strict-Transport-Security"))
	require.Less(t, rec.Body.Len(), 100<<10)
	page := readPage(t, rec.Body.String())
	require.Len(t, page.all("h1"), 1)
	require.Empty(t, page.all("script"))
	for _, words := range []string{"192.168.1.0/24", "1 June 2036", "<code>8F01</code>", "Certificate Trust Settings", "Install anyway", "How to remove it", "asfound 1.2.3"} {
		require.Contains(t, rec.Body.String(), words)
	}
	for _, a := range page.all("a") {
		href := attr(a, "href")
		if strings.HasPrefix(href, "/") && href != "/" {
			require.Equal(t, http.StatusOK, visitPlain(h, http.MethodGet, href, "x", "192.168.1.7:1").Code, href)
		}
	}

	crt := visitPlain(h, http.MethodGet, "/asfound.crt", "x", "192.168.1.7:1")
	require.Equal(t, "application/x-x509-ca-cert", crt.Header().Get("Content-Type"))
	require.Equal(t, "a certificate", crt.Body.String())
	block, rest := pem.Decode(visitPlain(h, http.MethodGet, "/asfound.pem", "x", "192.168.1.7:1").Body.Bytes())
	require.Equal(t, "a certificate", string(block.Bytes))
	require.Empty(t, rest)
}

func TestTheInstallPageHoldsNothingElse(t *testing.T) {
	h := installer(t)
	for _, path := range []string{"/machines/drover-1957", "/api/v1/machines", "/o/token", "/healthz", "/take-in"} {
		rec := visitPlain(h, http.MethodGet, path, "x", "192.168.1.7:1")
		require.Equal(t, http.StatusSeeOther, rec.Code, path)
		require.Equal(t, "/", rec.Header().Get("Location"))
		post := visitPlain(h, http.MethodPost, path, "x", "192.168.1.7:1")
		require.Equal(t, http.StatusForbidden, post.Code, path)
		require.Contains(t, post.Body.String(), "https://192.168.1.20:8350/")
	}
}

func TestOnPlainShowsTheRegistryToThisComputerAlone(t *testing.T) {
	say := func(what string) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, what) })
	}
	h := OnPlain(say("registry"), say("install"))
	for _, c := range []struct{ host, peer, want string }{
		{"127.0.0.1:8350", "127.0.0.1:5000", "registry"}, {"localhost:8350", "[::1]:5000", "registry"},
		{"127.0.0.1:8350", "192.168.1.7:5000", "install"}, // a host is only what the visitor says
		{"garage.test:8350", "127.0.0.1:5000", "install"}, {"garage.test", "192.168.1.7:5000", "install"}} {
		require.Equal(t, c.want, visitPlain(h, http.MethodGet, "/", c.host, c.peer).Body.String(), "%+v", c)
	}
}

// The finder patterns of ISO/IEC 18004 stand in three corners, seven modules
// wide, behind the quiet zone of four.
func TestQRCode(t *testing.T) {
	q, err := NewQRCode("http://192.168.1.20:8350")
	require.NoError(t, err)
	require.Zero(t, (q.Size-8-17)%4, "the size of a symbol is 17 + 4 × its version")
	last := q.Size - quiet - 7
	for _, corner := range [][2]int{{quiet, quiet}, {last, quiet}, {quiet, last}} {
		for i := range 7 {
			require.True(t, q.Dark(corner[0]+i, corner[1]) && q.Dark(corner[0], corner[1]+i) && q.Dark(corner[0]+i, corner[1]+6) && q.Dark(corner[0]+6, corner[1]+i))
		}
		require.False(t, q.Dark(corner[0]+1, corner[1]+1))
		require.True(t, q.Dark(corner[0]+3, corner[1]+3))
	}
	dark := 0
	for y := range q.Size {
		for x := range q.Size {
			if q.Dark(x, y) {
				dark++
				require.True(t, x >= quiet && y >= quiet && x < q.Size-quiet && y < q.Size-quiet)
			}
		}
	}
	require.Equal(t, dark, strings.Count(q.Path, "M"))
	_, err = NewQRCode(strings.Repeat("a", 4000))
	require.Error(t, err)
}

// One address answers both kinds of connection, and a peer that says nothing
// holds nobody up.
func TestSplitTLS(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	say := func(what string) *httptest.Server {
		return &httptest.Server{Config: &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, what) })}}
	}
	encrypted, plain := say("encrypted"), say("plain")
	encrypted.Listener, plain.Listener = SplitTLS(l)
	mute, err := net.Dial("tcp", l.Addr().String())
	require.NoError(t, err)
	defer mute.Close()
	encrypted.StartTLS()
	plain.Start()
	get := func(c *http.Client, url string) string {
		c.Timeout = helloWithin / 2
		answer, err := c.Get(url)
		require.NoError(t, err)
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return string(text)
	}
	for range 3 {
		require.Equal(t, "encrypted", get(encrypted.Client(), "https://"+l.Addr().String()))
		require.Equal(t, "plain", get(new(http.Client), "http://"+l.Addr().String()))
	}
	plain.Close()
	encrypted.Close()
	_, err = net.DialTimeout("tcp", l.Addr().String(), time.Second)
	require.Error(t, err, "the address is free again")
	_, err = encrypted.Listener.Accept()
	require.ErrorIs(t, err, net.ErrClosed)
}
