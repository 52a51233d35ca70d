package browser

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/cli/clitest"
)

func click(t *testing.T, ctx context.Context, selector string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(selector)))
}

// TestPasskey takes an invitation with a passkey, signs out and in again with
// nothing typed, and sends on a form that was kept; the browser has a virtual
// authenticator.
func TestPasskey(t *testing.T) {
	ctx := open(t)
	dir := demoRegistry(t)
	link := invited(t, dir, "Tamsin", "--role", "keeper=mechanic")
	s := serve(t, dir, "--accounts")
	base := strings.Replace(s.url, "127.0.0.1", "localhost", 1)

	authenticator := withAuthenticator(t, ctx)
	verified := func(v bool) {
		_, err := chromedp.Call(ctx, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: authenticator, IsUserVerified: v})
		require.NoError(t, err)
	}

	phone(t, ctx)
	do(t, ctx, chromedp.Navigate(base+link.Path))
	look(t, ctx, "join")
	click(t, ctx, "#passkey button")
	until(t, ctx, `location.pathname === "/account" && document.body.innerText.includes("You are signed in as Tamsin")`)
	look(t, ctx, "account")
	for _, path := range []string{"/people", "/machines/drover/readers"} {
		do(t, ctx, chromedp.Navigate(base+path))
		look(t, ctx, path)
	}

	// A form is typed; meanwhile the session ends.
	do(t, ctx, chromedp.Navigate(base+"/machines/drover/work/usage"))
	ask[bool](t, ctx, `document.querySelector("#f-distance").value = "98765"; document.querySelector("#f-cycles").value = "99"; true`)
	ask[int](t, ctx, `fetch("/sign-out", {method: "POST", headers: {"Content-Type": "application/x-www-form-urlencoded"}}).then(r => r.status)`)
	click(t, ctx, "main form button[type=submit]")
	until(t, ctx, `document.body.innerText.includes("Nobody is signed in any more")`)
	look(t, ctx, "kept")

	// A device that did not ask for its person is refused.
	verified(false)
	click(t, ctx, "#passkey button")
	until(t, ctx, `document.querySelector("#passkey [role=status]").textContent !== ""`)
	verified(true)
	click(t, ctx, "#passkey button")
	until(t, ctx, `document.querySelector("h1").textContent === "Send what you typed"`)
	look(t, ctx, "onward")
	require.Equal(t, "98765", ask[string](t, ctx, `document.querySelector("input[name=distance]").value`))
	click(t, ctx, "main form button[type=submit]")
	until(t, ctx, `location.pathname === "/machines/drover/work" && /98[,.]?765/.test(document.body.innerText)`)

	// Without a script, and for a program, there is a password form and no more.
	answer, err := http.Get(s.url + "/sign-in")
	require.NoError(t, err)
	answer.Body.Close()
	require.Contains(t, answer.Header.Get("Content-Security-Policy"), "script-src 'self'")
}

// withAuthenticator gives the browser a virtual authenticator whose person is
// always there and verified.
func withAuthenticator(t *testing.T, ctx context.Context) webauthn.AuthenticatorID {
	t.Helper()
	_, err := chromedp.Call(ctx, webauthn.Enable, webauthn.EnableParams{})
	require.NoError(t, err)
	made, err := chromedp.Call(ctx, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
		Protocol: "ctap2", Transport: "internal", HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true}})
	require.NoError(t, err)
	return made.AuthenticatorID
}

// TestSetUpByPasskey makes the first keeper with the code that the terminal
// shows and a passkey, without any password.
func TestSetUpByPasskey(t *testing.T) {
	ctx := open(t)
	s := serve(t, t.TempDir(), "--accounts")
	text, err := os.ReadFile(s.log)
	require.NoError(t, err)
	code := regexp.MustCompile(`(?m)^    ((?:[a-z2-9]{4}-){6}[a-z2-9]{2})$`).FindSubmatch(text)
	require.NotNil(t, code, string(text))
	withAuthenticator(t, ctx)
	phone(t, ctx)
	do(t, ctx, chromedp.Navigate(strings.Replace(s.url, "127.0.0.1", "localhost", 1)+"/"))
	until(t, ctx, `location.pathname === "/set-up"`)
	look(t, ctx, "set-up")
	click(t, ctx, "#passkey button")
	until(t, ctx, `document.querySelector("#passkey [role=status]").textContent.includes("not the set-up code")`)
	ask[bool](t, ctx, `document.querySelector("#f-code").value = "`+string(code[1])+`"; document.querySelector("#f-name").value = "Tamsin"; true`)
	click(t, ctx, "#passkey button")
	until(t, ctx, `location.pathname === "/account" && document.body.innerText.includes("You are signed in as Tamsin")`)
}

// look holds a page against our own rules at three widths.
func look(t *testing.T, ctx context.Context, what string) {
	t.Helper()
	for _, size := range []func(*testing.T, context.Context){desk, phone} {
		size(t, ctx)
		for _, f := range ask[[]finding](t, ctx, ownRules) {
			t.Errorf("%s: %s\n\t%s", what, f.ID, strings.Join(f.Nodes, "\n\t"))
		}
	}
	do(t, ctx, chromedp.EmulateViewport(320, 700, chromedp.EmulateMobile))
	assert.LessOrEqual(t, ask[int](t, ctx, `document.documentElement.scrollWidth - document.documentElement.clientWidth`), 0, "%s scrolls sideways at 320 px", what)
	phone(t, ctx)
}

// invited makes an account for a person with some roles, and gives the link of
// its invitation.
func invited(t *testing.T, dir, name string, roles ...string) *url.URL {
	t.Helper()
	out, err := clitest.Command(t.Context(), "", slices.Concat([]string{"people", "add", name, "--json", "--dir", dir}, roles)...).Output()
	require.NoError(t, err)
	var made struct{ Link string }
	require.NoError(t, json.Unmarshal(out, &made))
	link, err := url.Parse(made.Link)
	require.NoError(t, err)
	return link
}
