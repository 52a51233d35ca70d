package certs

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// clock is a time that a test moves.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

func june() *clock { return &clock{time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)} }

func garage(t *testing.T) Names {
	t.Helper()
	n, err := ParseNames([]string{"garage.test", "192.168.1.20"})
	require.NoError(t, err)
	n.Networks = []netip.Prefix{netip.MustParsePrefix("192.168.1.20/24")}
	return n
}

func open(t *testing.T, folder string, c *clock) *Authority {
	t.Helper()
	a, err := Open(folder, garage(t), c.now, rand.Reader)
	require.NoError(t, err)
	return a
}

// roots is what a phone trusts after the authority was installed.
func (a *Authority) roots() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(a.root)
	return pool
}

// visit asks https://host/ of a server on loopback, as a phone with these roots
// would that finds the host there.
func visit(t *testing.T, c *clock, roots *x509.CertPool, get func(*tls.ClientHelloInfo) (*tls.Certificate, error), host string) error {
	t.Helper()
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "well") }))
	s.Config.ErrorLog = log.New(io.Discard, "", 0)
	l := tls.NewListener(s.Listener, &tls.Config{GetCertificate: get})
	s.Listener = l
	s.Start()
	defer s.Close()
	client := &http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, network, l.Addr().String())
		},
		TLSClientConfig: &tls.Config{RootCAs: roots, Time: c.now}}}
	defer client.CloseIdleConnections()
	answer, err := client.Get("https://" + host + "/")
	if err != nil {
		return err
	}
	return answer.Body.Close()
}

func TestAPhoneThatInstalledTheAuthorityReachesTheMachine(t *testing.T) {
	c := june()
	a := open(t, filepath.Join(t.TempDir(), "tls"), c)
	leaf, err := a.Leaf(garage(t))
	require.NoError(t, err)
	require.NoError(t, visit(t, c, a.roots(), leaf.GetCertificate, "garage.test"))
	require.NoError(t, visit(t, c, a.roots(), leaf.GetCertificate, "192.168.1.20"))
	var unknown x509.UnknownAuthorityError
	require.ErrorAs(t, visit(t, c, x509.NewCertPool(), leaf.GetCertificate, "garage.test"), &unknown)
	var other x509.HostnameError
	require.ErrorAs(t, visit(t, c, a.roots(), leaf.GetCertificate, "bank.test"), &other)
}

// Whoever steals the kept key can sign anything with it; what they sign for
// another name is not believed.
func TestTheLimitHoldsAgainstTheKeptKey(t *testing.T) {
	c := june()
	a := open(t, filepath.Join(t.TempDir(), "tls"), c)
	for host, good := range map[string]bool{"garage.test": true, "sub.garage.test": true, "192.168.1.77": true, "bank.test": false, "notgarage.test": false, "192.168.2.1": false, "8.8.8.8": false, "2001:db8::1": false} {
		names, err := ParseNames([]string{host})
		require.NoError(t, err)
		forged, err := a.issue(names, c.at)
		require.NoError(t, err)
		err = visit(t, c, a.roots(), func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return forged, nil }, bracketed(host))
		if good {
			require.NoError(t, err, host)
			continue
		}
		var invalid x509.CertificateInvalidError
		require.ErrorAs(t, err, &invalid, host)
		require.Equal(t, x509.CANotAuthorizedForThisName, invalid.Reason, host)
		_, err = a.Leaf(names)
		require.Equal(t, registry.CodeRefused, registry.CodeOf(err), host)
	}
	require.True(t, a.issuer.PermittedDNSDomainsCritical, "a program that does not know the limit must refuse")
	require.True(t, a.issuer.MaxPathLenZero, "no authority below it")
	require.Equal(t, []string{"garage.test", "192.168.1.0/24", "192.168.1.20"}, a.Limits())
}

func bracketed(host string) string {
	if strings.Contains(host, ":") {
		return "[" + host + "]"
	}
	return host
}

// A kind of name that was not given is shut, not open.
func TestAnAuthorityWithoutAddressesVouchesForNone(t *testing.T) {
	c := june()
	for given, forbidden := range map[string]string{"garage.test": "10.0.0.1", "10.0.0.1": "garage.test"} {
		names, err := ParseNames([]string{given})
		require.NoError(t, err)
		a, err := Open(filepath.Join(t.TempDir(), "tls"), names, c.now, rand.Reader)
		require.NoError(t, err)
		require.Equal(t, []string{given}, a.Limits())
		other, err := ParseNames([]string{forbidden})
		require.NoError(t, err)
		forged, err := a.issue(other, c.at)
		require.NoError(t, err)
		require.Error(t, visit(t, c, a.roots(), func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return forged, nil }, forbidden))
	}
}

func TestTheCertificateIsRenewedBeforeItEnds(t *testing.T) {
	c := june()
	folder := filepath.Join(t.TempDir(), "tls")
	a := open(t, folder, c)
	leaf, err := a.Leaf(garage(t))
	require.NoError(t, err)
	at := func() *x509.Certificate {
		got, err := leaf.GetCertificate(nil)
		require.NoError(t, err)
		return got.Leaf
	}
	first := at()
	require.Less(t, first.NotAfter.Sub(first.NotBefore), 398*24*time.Hour, "phones refuse longer ones")
	c.at = c.at.Add(19 * 24 * time.Hour)
	require.Equal(t, first.SerialNumber, at().SerialNumber)
	c.at = c.at.Add(2 * 24 * time.Hour)
	second := at()
	require.NotEqual(t, first.SerialNumber, second.SerialNumber)
	require.True(t, second.NotAfter.After(first.NotAfter))
	require.NoError(t, visit(t, c, a.roots(), leaf.GetCertificate, "garage.test"))

	c.at = a.Until().Add(-time.Hour)
	require.False(t, at().NotAfter.After(a.Until()), "no certificate outlives its authority")
	c.at = a.Until().Add(time.Hour)
	_, err = leaf.GetCertificate(nil)
	require.Equal(t, registry.CodeExpired, registry.CodeOf(err))
	_, err = Open(folder, garage(t), c.now, rand.Reader)
	require.Equal(t, registry.CodeExpired, registry.CodeOf(err), "a start says it")
}

func TestARestartKeepsTheAuthority(t *testing.T) {
	c := june()
	folder := filepath.Join(t.TempDir(), "tls")
	a := open(t, folder, c)
	b := open(t, folder, c)
	require.Equal(t, a.Root(), b.Root())
	require.Equal(t, a.issuer.Raw, b.issuer.Raw)
	leaf, err := b.Leaf(garage(t))
	require.NoError(t, err)
	require.NoError(t, visit(t, c, a.roots(), leaf.GetCertificate, "garage.test"))

	info, err := os.Stat(folder)
	require.NoError(t, err)
	require.EqualValues(t, 0o700, info.Mode().Perm())
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, entries, 3, "two certificates and one key: the root's key is nowhere")
	for _, e := range entries {
		info, err := e.Info()
		require.NoError(t, err)
		require.EqualValues(t, 0o600, info.Mode().Perm(), e.Name())
	}
	around, err := os.ReadDir(filepath.Dir(folder))
	require.NoError(t, err)
	require.Len(t, around, 1, "nothing half written is left")
}

func TestADamagedAuthorityIsNotReplaced(t *testing.T) {
	c := june()
	other := filepath.Join(t.TempDir(), "tls")
	open(t, other, c)
	text := func(folder, name string) string {
		b, err := os.ReadFile(filepath.Join(folder, name))
		require.NoError(t, err)
		return string(b)
	}
	for _, name := range []string{rootFile, issuerFile, keyFile} {
		for what, damage := range map[string]func(string) string{
			"emptied":  func(string) string { return "" },
			"cut":      func(s string) string { return s[:len(s)/2] },
			"flipped":  func(s string) string { return strings.Replace(s, "MII", "MIJ", 1) },
			"another":  func(string) string { return text(other, name) },
			"removed":  nil,
			"muddled":  func(s string) string { return strings.ReplaceAll(s, "BEGIN", "BEGIN RSA") },
			"not text": func(string) string { return "\x00\x01" },
		} {
			folder := filepath.Join(t.TempDir(), "tls")
			open(t, folder, c)
			path := filepath.Join(folder, name)
			if damage == nil {
				require.NoError(t, os.Remove(path))
			} else if changed := damage(text(folder, name)); changed == text(folder, name) {
				continue
			} else {
				require.NoError(t, os.WriteFile(path, []byte(changed), 0o600))
			}
			_, err := Open(folder, garage(t), c.now, rand.Reader)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%s %s", name, what)
			require.ErrorContains(t, err, "damaged or missing")
		}
	}
}

func TestAKeyThatOthersCanReadIsRefused(t *testing.T) {
	c := june()
	folder := filepath.Join(t.TempDir(), "tls")
	open(t, folder, c)
	require.NoError(t, os.Chmod(filepath.Join(folder, keyFile), 0o640))
	_, err := Open(folder, garage(t), c.now, rand.Reader)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	require.ErrorContains(t, err, "Other users of this machine")
}

func TestNames(t *testing.T) {
	n, err := ParseNames([]string{" Garage.Local. ", "192.168.1.20", "::ffff:10.0.0.1", "fd00::1"})
	require.NoError(t, err)
	require.Equal(t, []string{"garage.local", "192.168.1.20", "10.0.0.1", "fd00::1"}, n.All())
	for _, bad := range []string{"", "http://garage.local", "garage.local:8350", "a b", "-x", "x_y", "*.garage.local", strings.Repeat("a", 64)} {
		_, err := ParseNames([]string{bad})
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), bad)
	}
}

// SHA-256 of the text "abc": FIPS 180-4, the published example.
func TestFingerprint(t *testing.T) {
	require.Equal(t, "BA78 16BF 8F01 CFEA 4141 40DE 5DAE 2223 B003 61A3 9617 7A9C B410 FF61 F200 15AD", Fingerprint([]byte("abc")))
}

// own writes a certificate for a name, signed by itself.
func own(t *testing.T, cert, key, name string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	c := &x509.Certificate{Subject: pkix.Name{CommonName: name}, NotBefore: june().at.Add(-time.Hour), NotAfter: june().at.Add(time.Hour), DNSNames: []string{name, "*." + name}, IPAddresses: []net.IP{net.IPv4(10, 1, 1, 1)}}
	signed, err := sign(rand.Reader, c, c, k, k)
	require.NoError(t, err)
	der, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(t, err)
	os.Remove(cert)
	os.Remove(key)
	require.NoError(t, writePEM(cert, "CERTIFICATE", signed.Raw))
	require.NoError(t, writePEM(key, "PRIVATE KEY", der))
}

func TestFilesAreReadAgainWhenTheyChange(t *testing.T) {
	c := june()
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "a.crt"), filepath.Join(dir, "a.key")
	_, err := OpenFiles(cert, key, c.now, nil)
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	own(t, cert, key, "old.test")
	var said []string
	f, err := OpenFiles(cert, key, c.now, func(m string) { said = append(said, m) })
	require.NoError(t, err)
	require.Equal(t, []string{"old.test", "10.1.1.1"}, f.Names().All())
	shown := func() string {
		got, err := f.GetCertificate(nil)
		require.NoError(t, err)
		return got.Leaf.Subject.CommonName
	}
	own(t, cert, key, "a-newer-name.test")
	require.Equal(t, "old.test", shown(), "the files are not looked at for every visitor")
	c.at = c.at.Add(lookEvery)
	require.Equal(t, "a-newer-name.test", shown())

	require.NoError(t, os.WriteFile(cert, []byte("half"), 0o600))
	c.at = c.at.Add(lookEvery)
	require.Equal(t, "a-newer-name.test", shown(), "what cannot be used replaces nothing")
	require.Len(t, said, 1)
	c.at = c.at.Add(lookEvery)
	shown()
	require.Len(t, said, 1, "said once")
}
