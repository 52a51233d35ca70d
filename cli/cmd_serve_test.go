package cli

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"io"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/certs"
	"example.org/asfound/server"
)

// running is a server of a test.
type running struct {
	started
	t    *testing.T
	w    *world
	stop func()
}

// serve starts "serve --json" at a free port of loopback and reads the line
// that it prints.
func serve(t *testing.T, w *world, flags ...string) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	var problems bytes.Buffer
	status := make(chan int, 1)
	go func() {
		status <- Run(ctx, append([]string{"serve", "--json", "--addr", "127.0.0.1:0"}, flags...), Env{Stdin: strings.NewReader(""), Stdout: in, Stderr: &problems,
			Getenv: func(name string) string { return w.settings[name] }, Now: func() time.Time { return noon }, Random: rand.Reader})
		in.Close()
	}()
	r := &running{t: t, w: w}
	lines := bufio.NewReader(out)
	line, err := lines.ReadBytes('\n')
	if err != nil {
		t.Fatalf("exit status %d: %s", <-status, &problems)
	}
	require.NoError(t, json.Unmarshal(line, &r.started))
	done := false
	r.stop = func() {
		if done {
			return
		}
		done = true
		cancel()
		rest, err := io.ReadAll(lines)
		require.NoError(t, err)
		require.Empty(t, rest, "one line, and no more")
		require.Zero(t, <-status, "%s", &problems)
	}
	t.Cleanup(r.stop)
	return r
}

// get asks as a phone would whose name service knows every host as this server.
func (r *running) get(url string, roots *x509.CertPool) (*http.Response, string, error) {
	r.t.Helper()
	client := &http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, network, r.Listening)
		},
		ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{RootCAs: roots, Time: func() time.Time { return noon }}}}
	defer client.CloseIdleConnections()
	answer, err := client.Get(url)
	if err != nil {
		return nil, "", err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(r.t, err)
	return answer, string(text), nil
}

func TestAPhoneReachesTheLaptop(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	r := serve(t, w, "--host", "garage.test", "--host", "192.168.1.20")
	_, port, err := net.SplitHostPort(r.Listening)
	require.NoError(t, err)
	require.Equal(t, []string{"https://garage.test:" + port, "https://192.168.1.20:" + port}, r.Addresses)
	require.Equal(t, "http://127.0.0.1:"+port, r.ThisComputer)
	require.Equal(t, "own", r.Encryption)
	require.False(t, r.Everyone, "it listens on loopback")

	// The phone comes without encryption, and gets the certificate and no more.
	_, text, err := r.get(r.Install+"/machines/drover", nil)
	require.NoError(t, err)
	require.Contains(t, text, "Let this phone reach the registry")
	require.NotContains(t, text, "Skerrow")
	_, crt, err := r.get(r.Install+"/asfound.crt", nil)
	require.NoError(t, err)
	require.Equal(t, certs.Fingerprint([]byte(crt)), r.Fingerprint, "what is downloaded has the fingerprint that is printed")

	_, _, err = r.get(r.Addresses[0]+"/", x509.NewCertPool())
	require.ErrorContains(t, err, "unknown authority")
	root, err := x509.ParseCertificate([]byte(crt))
	require.NoError(t, err)
	roots := x509.NewCertPool()
	roots.AddCert(root)
	for _, address := range r.Addresses {
		answer, text, err := r.get(address+"/machines/drover", roots)
		require.NoError(t, err)
		require.Contains(t, text, "Skerrow")
		require.NotContains(t, text, "without encryption")
		require.Equal(t, "max-age=86400", answer.Header.Get("Strict-Transport-Security"))
		require.Equal(t, 2, answer.ProtoMajor)
	}
	_, _, err = r.get("https://bank.test/", roots)
	require.ErrorContains(t, err, "bank.test")

	// This computer needs none of it.
	_, text, err = r.get(r.ThisComputer+"/machines/drover", nil)
	require.NoError(t, err)
	require.Contains(t, text, "Skerrow")
	require.NotContains(t, text, "without encryption")

	// The next start keeps what the phone trusts, and refuses names beyond it.
	r.stop()
	again := serve(t, w, "--host", "garage.test")
	require.Equal(t, r.Fingerprint, again.Fingerprint)
	_, _, err = again.get(again.Addresses[0]+"/", roots)
	require.NoError(t, err)
	again.stop()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	require.Equal(t, 5, w.run(ctx, "serve", "--addr", "127.0.0.1:0", "--host", "garage.test", "--host", "bank.test"))
	require.Contains(t, w.err.String(), "cannot vouch for bank.test: it was made for garage.test, 192.168.1.20")

	key := filepath.Join(w.settings["ASFOUND_DIR"], "tls", "issuer.key")
	require.NoError(t, os.WriteFile(key, []byte("spoilt"), 0o600))
	require.Equal(t, 10, w.run(context.Background(), "serve", "--addr", "127.0.0.1:0", "--host", "garage.test"))
	require.Contains(t, w.err.String(), "issuer.key")
	left, err := os.ReadFile(key)
	require.NoError(t, err)
	require.Equal(t, "spoilt", string(left), "nothing was made in its place")
}

func TestPlainHTTPSaysSo(t *testing.T) {
	w := newWorld(t)
	r := serve(t, w, "--host", "garage.test", "--plain-http")
	require.Equal(t, "none", r.Encryption)
	require.Empty(t, r.Fingerprint)
	answer, text, err := r.get(r.Addresses[0]+"/", nil)
	require.NoError(t, err)
	require.Contains(t, text, "Photos are sent at once; nothing is kept on this phone.")
	require.Empty(t, answer.Header.Get("Strict-Transport-Security"))
	require.NoDirExists(t, filepath.Join(w.settings["ASFOUND_DIR"], "tls"))
}

func TestAGivenCertificate(t *testing.T) {
	w := newWorld(t)
	dir := t.TempDir()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	c := &x509.Certificate{NotBefore: noon.Add(-time.Hour), NotAfter: noon.Add(time.Hour), DNSNames: []string{"workshop.test"}}
	der, err := x509.CreateCertificate(rand.Reader, c, c, key.Public(), key)
	require.NoError(t, err)
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	certFile, keyFile := filepath.Join(dir, "c.pem"), filepath.Join(dir, "k.pem")
	require.NoError(t, os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), 0o600))
	r := serve(t, w, "--cert", certFile, "--key", keyFile)
	require.Equal(t, "given", r.Encryption)
	roots := x509.NewCertPool()
	parsed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	roots.AddCert(parsed)
	answer, _, err := r.get(r.Addresses[0]+"/", roots)
	require.NoError(t, err)
	require.Equal(t, "max-age=31536000", answer.Header.Get("Strict-Transport-Security"))
	_, _, err = r.get(strings.Replace(r.Addresses[0], "https", "http", 1), roots)
	require.NoError(t, err, "plain http is sent on to https")
	require.NoDirExists(t, filepath.Join(w.settings["ASFOUND_DIR"], "tls"))
}

// Each is refused before anything is opened or listened on.
func TestWaysThatAreRefused(t *testing.T) {
	for _, c := range []struct {
		status int
		says   string
		flags  string
	}{
		{5, "everybody there could read and record", "--addr 0.0.0.0:0"},
		{5, "everybody there could read and record", "--addr 192.168.1.20:8350 --plain-http"},
		{5, "everybody there could read and record", "--behind-proxy 127.0.0.1 --base-url https://machines.example"},
		{5, "plain http, which is not served beyond this computer", "--addr 0.0.0.0:0 --everyone-on-this-network --base-url http://192.168.1.20:8350"},
		{3, "--cert and --key belong together", "--cert a.pem"},
		{3, "--cert asks for encryption and --plain-http for none", "--cert a.pem --key b.pem --plain-http"},
		{3, "cannot be used", "--cert absent.pem --key absent.pem"},
		{3, "is not a name of a machine", "--host https://garage.local"},
		{3, "--behind-proxy cannot be read", "--behind-proxy nginx --everyone-on-this-network"},
		{3, "Behind a proxy it is not known", "--behind-proxy 127.0.0.1 --everyone-on-this-network"},
		{3, "--base-url cannot be read", "--base-url garage.local"},
		{3, "--addr cannot be read", "--addr 8350"},
		{3, "--limits cannot be read: \"writes=9\"", "--limits costly=off,writes=9"},
		{12, "The address 127.0.0.1:bad cannot be listened on", "--metrics-addr 127.0.0.1:bad"},
	} {
		w := newWorld(t)
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second) // what is not refused is served until then
		defer cancel()
		require.Equal(t, c.status, w.run(ctx, append([]string{"serve"}, strings.Fields(c.flags)...)...), "%s: %s", c.flags, &w.err)
		require.Contains(t, w.err.String(), c.says, c.flags)
		require.NotContains(t, w.out.String(), "Serving")
	}
}

func TestMachineNames(t *testing.T) {
	nets := []netip.Prefix{netip.MustParsePrefix("127.0.0.1/8"), netip.MustParsePrefix("172.17.0.1/16"), netip.MustParsePrefix("192.168.1.20/24"), netip.MustParsePrefix("10.1.2.3/8")}
	n := machineNames("Garage-Laptop", netip.MustParseAddr("192.168.1.20"), nets)
	require.Equal(t, []string{"garage-laptop.local", "garage-laptop", "192.168.1.20"}, n.All())
	require.Equal(t, []netip.Prefix{netip.MustParsePrefix("192.168.1.0/24")}, n.Networks)
	require.Equal(t, []netip.Prefix{netip.MustParsePrefix("10.1.0.0/16")}, machineNames("x", netip.MustParseAddr("10.1.2.3"), nets).Networks, "no wider than 16 bits")
	require.Equal(t, []string{"laptop.local", "laptop.lan", "172.17.0.1"}, machineNames("laptop.lan.", netip.Addr{}, nets).All(), "without a way out, the first private address")
	require.Equal(t, []string{"garage.local", "203.0.113.9"}, machineNames("garage.local", netip.MustParseAddr("203.0.113.9"), nets).All())
	require.Empty(t, machineNames("garage.local", netip.MustParseAddr("203.0.113.9"), nets).Networks, "a public network is not the garage's")
	require.True(t, machineNames("localhost", netip.Addr{}, nil).Empty())
	require.True(t, machineNames("not a name", netip.Addr{}, nil).Empty())
}

func TestWhatATerminalIsTold(t *testing.T) {
	s := started{Metrics: "127.0.0.1:9350", Addresses: []string{"https://192.168.1.20:8350", "https://garage.local:8350"}, ThisComputer: "http://127.0.0.1:8350", Encryption: "own", Everyone: true,
		Install: "http://192.168.1.20:8350", Fingerprint: certs.Fingerprint([]byte("abc")), Limits: []string{"garage.local", "192.168.1.0/24"}, Until: "1 June 2036", LeftOut: []string{"10.0.0.9"}}
	w := newWorld(t)
	a := &app{Env: Env{Stdout: &w.out, Stderr: &w.err, Terminal: true}}
	require.NoError(t, (&call{app: a}).announce(s))
	for _, words := range []string{"A monitor reads http://127.0.0.1:9350/metrics", "EVERYBODY who can reach it: there are no accounts", "open http://192.168.1.20:8350 on it", "\n    BA78  16BF  8F01  CFEA\n    4141", "vouch for garage.local, 192.168.1.0/24 and for nothing else, until 1 June 2036", "Not under 10.0.0.9"} {
		require.Contains(t, w.out.String(), words)
	}
	code, err := server.NewQRCode(s.Install)
	require.NoError(t, err)
	sameBlocks(t, code, w.err.String())

	a.Terminal = false
	w.err.Reset()
	require.NoError(t, (&call{app: a}).announce(s))
	require.Empty(t, w.err.String(), "a log gets no picture")
}

// sameBlocks reads half blocks back and holds them against a code.
func sameBlocks(t *testing.T, want server.QRCode, text string) {
	t.Helper()
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	require.Len(t, lines, (want.Size+1)/2)
	for i, line := range lines {
		line = strings.TrimSuffix(strings.TrimPrefix(line, "\x1b[38;5;16m\x1b[48;5;231m"), "\x1b[0m")
		cells := []rune(line)
		require.Len(t, cells, want.Size)
		for x, c := range cells {
			require.Equal(t, want.Dark(x, 2*i), c == '█' || c == '▀')
			require.Equal(t, want.Dark(x, 2*i+1), c == '█' || c == '▄')
		}
	}
}
