package server

import (
	"crypto/tls"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// come asks for the list of machines under a host, from a peer, with header
// pairs; encrypted or not.
func (b *bench) come(host, peer string, encrypted bool, headers ...string) *httptest.ResponseRecorder {
	b.t.Helper()
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	r.Host, r.RemoteAddr = host, peer
	if encrypted {
		r.TLS = &tls.ConnectionState{}
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Add(headers[i], headers[i+1])
	}
	rec := httptest.NewRecorder()
	b.handler.ServeHTTP(rec, r)
	return rec
}

const withoutEncryption = "This page came without encryption"

// What is a secure context follows W3C Secure Contexts, section 3.1: https, or
// a host of loopback.
func TestAPageSaysThatItCameWithoutEncryption(t *testing.T) {
	b := drover(t)
	b.s.Hosts = []string{"garage.test"}
	for _, c := range []struct {
		host             string
		encrypted, warns bool
	}{{"garage.test:8350", false, true}, {"garage.test:8350", true, false}, {"127.0.0.1:8350", false, false}, {"[::1]:8350", false, false}, {"localhost", false, false}} {
		rec := b.come(c.host, "192.168.1.7:5000", c.encrypted)
		require.Equal(t, http.StatusOK, rec.Code)
		if c.warns {
			require.Contains(t, rec.Body.String(), withoutEncryption, c.host)
		} else {
			require.NotContains(t, rec.Body.String(), withoutEncryption, c.host)
		}
	}
	require.Contains(t, b.come("elsewhere.test", "192.168.1.7:5000", false).Body.String(), withoutEncryption, "a page that refuses says it too")
}

func TestAPageSaysWhoCanRecord(t *testing.T) {
	b := drover(t)
	require.Contains(t, b.get("/").Body.String(), "on this computer alone")
	b.s.Everyone = true
	page := b.get("/").Body.String()
	require.Contains(t, page, "everybody on this network who opens this address can read and record")
	require.NotContains(t, page, "on this computer alone")
	c := b.s.Config
	alone := c
	alone.Everyone = false
	one, err := buildOf(c)
	require.NoError(t, err)
	other, err := buildOf(alone)
	require.NoError(t, err)
	require.NotEqual(t, one, other, "a kept page does not outlive what it says")
}

func TestEveryPageLearnsHowItCame(t *testing.T) {
	for name, typ := range pageTypes {
		for _, page := range []any{reflect.New(typ).Interface(), reflect.New(typ).Elem().Interface()} {
			got := reflect.Indirect(reflect.ValueOf(Arrival{Secure: true, Everyone: true}.onto(page)))
			require.True(t, got.FieldByName("Secure").Bool(), name)
			require.True(t, got.FieldByName("Everyone").Bool(), name)
		}
	}
}

func TestOnlyATrustedProxyIsBelieved(t *testing.T) {
	b := drover(t)
	b.s.Hosts = []string{"machines.example", "10.0.0.5"}
	b.s.Proxies = []netip.Prefix{netip.MustParsePrefix("10.0.0.2/32")}
	forwarded := []string{"X-Forwarded-Proto", "https", "X-Forwarded-Host", "machines.example", "X-Forwarded-For", "203.0.113.9"}

	page := b.come("10.0.0.5:8350", "10.0.0.2:40000", false, forwarded...)
	require.Equal(t, http.StatusOK, page.Code)
	require.NotContains(t, page.Body.String(), withoutEncryption)
	require.Contains(t, b.come("10.0.0.5:8350", "10.0.0.3:40000", false, forwarded...).Body.String(), withoutEncryption, "another peer can say what it likes")

	evil := []string{"X-Forwarded-Host", "evil.example"}
	require.Equal(t, http.StatusMisdirectedRequest, b.come("10.0.0.5:8350", "10.0.0.2:40000", false, evil...).Code, "what a proxy says must be ours too")
	require.Equal(t, http.StatusOK, b.come("10.0.0.5:8350", "10.0.0.3:40000", false, evil...).Code)
	require.Equal(t, http.StatusMisdirectedRequest, b.come("evil.example", "10.0.0.3:40000", false, forwarded...).Code)

	// A visitor's own header stands before what the proxy appends.
	page = b.come("10.0.0.5:8350", "10.0.0.2:40000", false, "X-Forwarded-Proto", "https, http", "X-Forwarded-Host", "evil.example, machines.example")
	require.Equal(t, http.StatusOK, page.Code)
	require.Contains(t, page.Body.String(), withoutEncryption)
}

func TestTheVisitorBehindProxiesIsTheNearestUntrustedOne(t *testing.T) {
	s := &Server{Config: Config{Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/24")}}}
	for header, want := range map[string]string{"203.0.113.9": "203.0.113.9", "198.51.100.1, 203.0.113.9, 10.0.0.7": "203.0.113.9", "10.0.0.7": "10.0.0.7", "": "10.0.0.2:40000"} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = "10.0.0.2:40000"
		if header != "" {
			r.Header.Set("X-Forwarded-For", header)
		}
		seen, https := s.forwarded(r)
		require.Equal(t, want, seen.RemoteAddr)
		require.False(t, https)
	}
}

func TestHSTSIsSentOnlyWhenTheEncryptionIsOurs(t *testing.T) {
	b := drover(t)
	b.s.Hosts = []string{"garage.test"}
	b.s.Proxies = []netip.Prefix{netip.MustParsePrefix("10.0.0.2/32")}
	const header = "Strict-Transport-Security"
	require.Empty(t, b.come("garage.test", "10.0.0.9:1", true).Header().Get(header))
	b.s.HSTS = 24 * time.Hour
	require.Equal(t, "max-age=86400", b.come("garage.test", "10.0.0.9:1", true).Header().Get(header))
	require.Empty(t, b.come("garage.test", "10.0.0.9:1", false).Header().Get(header))
	require.Empty(t, b.come("garage.test", "10.0.0.2:1", false, "X-Forwarded-Proto", "https").Header().Get(header))
}

// On plain http a browser sends no Sec-Fetch-Site (Fetch Metadata, section 2:
// only to potentially trustworthy addresses), so that the Origin alone tells
// our own forms; Referrer-Policy must not make it "null".
func TestFormsWorkWithoutEncryption(t *testing.T) {
	b := drover(t)
	b.s.Hosts = []string{"garage.test"}
	for origin, want := range map[string]int{"http://garage.test:8350": http.StatusUnprocessableEntity, "http://evil.test:8350": http.StatusForbidden, "null": http.StatusForbidden} {
		r := httptest.NewRequest(http.MethodPost, "/take-in", nil)
		r.Host = "garage.test:8350"
		r.Header.Set("Content-Type", formType)
		r.Header.Set("Origin", origin)
		rec := httptest.NewRecorder()
		b.handler.ServeHTTP(rec, r)
		require.Equal(t, want, rec.Code, origin)
		require.Equal(t, "same-origin", rec.Header().Get("Referrer-Policy"))
	}
}

func TestLinksBeginAsTheRequestCame(t *testing.T) {
	b := drover(t)
	b.s.Hosts = []string{"garage.test"}
	var got string
	h := b.s.observe(b.s.arrive(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { got = b.s.ownerLink(r, "token") })))
	for encrypted, want := range map[bool]string{true: "https://garage.test:8350/o/token", false: "http://garage.test:8350/o/token"} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Host = "garage.test:8350"
		if encrypted {
			r.TLS = &tls.ConnectionState{}
		} else {
			r.TLS = nil
		}
		h.ServeHTTP(httptest.NewRecorder(), r)
		require.Equal(t, want, got)
	}
	b.s.BaseURL = "https://machines.example/"
	h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "/", nil))
	require.Equal(t, "https://machines.example/o/token", got)
}
