package browser

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/asfound/cli/clitest"
	"example.org/asfound/loopback"
)

func TestMain(m *testing.M) {
	clitest.Main(time.Now)
	code := m.Run()
	if demoDir != "" {
		os.RemoveAll(demoDir)
	}
	os.Exit(code)
}

var (
	demoDir  string
	demoMade sync.Once
	demoErr  error
)

// demoRegistry is a fresh copy of the demonstration registry.
func demoRegistry(t *testing.T) string {
	t.Helper()
	demoMade.Do(func() {
		if demoDir, demoErr = os.MkdirTemp("", "asfound-demo"); demoErr != nil {
			return
		}
		out, err := clitest.Command(context.Background(), "", "demo", "--no-serve", "--dir", filepath.Join(demoDir, "registry")).CombinedOutput()
		if err != nil {
			demoErr = fmt.Errorf("%w: %s", err, out)
		}
	})
	require.NoError(t, demoErr)
	dir := filepath.Join(t.TempDir(), "registry")
	// Badger's files are sparse; cp keeps them so.
	out, err := exec.Command("cp", "-a", "--sparse=always", filepath.Join(demoDir, "registry"), dir).CombinedOutput()
	require.NoError(t, err, string(out))
	return dir
}

// patience is how long a test waits for what has to come. It is long because a
// machine may be slow, and costs nothing where it is not.
const patience = time.Minute

// site is a running server.
type site struct {
	dir, addr, url string
	log            string // file of what it prints
	stop           func()
}

// serve starts a server over dir on an address of loopback and waits until it
// answers. The server ends with the test.
func serve(t *testing.T, dir string, flags ...string) *site {
	t.Helper()
	addr, err := loopback.Address()
	require.NoError(t, err)
	return serveAt(t, dir, addr, flags...)
}

// serveAt is serve at a given address, for a server that comes back.
func serveAt(t *testing.T, dir, addr string, flags ...string) *site {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	c := clitest.Command(ctx, "", append([]string{"serve", "--dir", dir, "--addr", addr}, flags...)...)
	log, err := os.CreateTemp(t.TempDir(), "server*.log")
	require.NoError(t, err)
	c.Stdout, c.Stderr = log, log
	require.NoError(t, c.Start())
	var once sync.Once
	stop := func() { once.Do(func() { cancel(); c.Wait() }) }
	t.Cleanup(stop)
	for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		if answer, err := http.Get("http://" + addr + "/readyz"); err == nil {
			answer.Body.Close()
			return &site{dir: dir, addr: addr, url: "http://" + addr, log: log.Name(), stop: stop}
		}
		if time.Now().After(deadline) {
			stop()
			text, _ := os.ReadFile(log.Name())
			t.Fatalf("the server did not start: %s", text)
		}
	}
}

// chromium is the browser's program; the test is skipped without one.
func chromium(t *testing.T) string {
	t.Helper()
	names := []string{os.Getenv("ASFOUND_CHROMIUM"), "chromium", "chromium-browser", "google-chrome"}
	for _, name := range names {
		if name == "" {
			continue
		}
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("ASFOUND_BROWSER") == "required" {
		t.Fatal("no Chromium is installed, and ASFOUND_BROWSER says that it must be")
	}
	t.Skip("no Chromium is installed; ASFOUND_CHROMIUM names one")
	return ""
}

// open starts a browser that forgets everything with the test and gives its
// first tab. Each browser may live for five minutes, which a loaded machine needs
// and one at rest does not.
func open(t *testing.T, options ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	return openIn(t, t.TempDir(), options...)
}

// openIn is open with a profile that outlives the browser.
func openIn(t *testing.T, profile string, options ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	return openFor(t, 5*time.Minute, profile, options...)
}

func openFor(t *testing.T, limit time.Duration, profile string, options ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	all := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(profile),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("lang", "en-GB"))
	if fonts := onlyFonts(t); fonts != "" {
		all = append(all, chromedp.Env("FONTCONFIG_FILE="+fonts))
	}
	timed, cancelTime := context.WithTimeout(context.Background(), limit)
	alloc, cancelAlloc := chromedp.NewExecAllocator(timed, append(all, options...)...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() {
		chromedp.Cancel(ctx)
		cancel()
		cancelAlloc()
		cancelTime()
	})
	require.NoError(t, chromedp.Do(ctx))
	return ctx
}

// onlyFonts is a configuration in which a browser finds one family of fonts
// alone, so that pages look the same wherever the tests run; "" where that
// family is not installed.
func onlyFonts(t *testing.T) string {
	t.Helper()
	const family = "/usr/share/fonts/truetype/dejavu"
	if _, err := os.Stat(family); err != nil {
		return ""
	}
	dir := t.TempDir()
	name := filepath.Join(dir, "fonts.conf")
	require.NoError(t, os.WriteFile(name, []byte(`<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd">
<fontconfig><dir>`+family+`</dir><cachedir>`+dir+`</cachedir></fontconfig>`), 0o600))
	return name
}

// do runs steps in the browser.
func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, steps...))
}

// ask evaluates an expression, which may be a promise, in the page.
func ask[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(t, err, expression)
	return v
}

// ctxT is a tab of a browser.
type ctxT = context.Context

// quote writes a string as JavaScript does.
func quote(s string) string {
	b, err := json.Marshal(s)
	if err != nil {
		panic(err)
	}
	return string(b)
}

// noScript turns the page's own scripts off. What the tests ask is still
// answered.
func noScript(t *testing.T, ctx context.Context) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
}

// phone and desk set the size of the window, in CSS pixels.
func phone(t *testing.T, ctx context.Context) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile))
}

func desk(t *testing.T, ctx context.Context) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(1280, 900))
}
