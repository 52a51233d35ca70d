package browser

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// TestOwnerConfirmsWithAPasskey: at her link an owner makes a passkey and signs
// an approval with it, takes it back by another signature, and decides anew by
// her account; a copy of the record then proves all three with no registry.
func TestOwnerConfirmsWithAPasskey(t *testing.T) {
	ctx := open(t)
	dir := demoRegistry(t)
	link := ownersLink(t, dir)
	join := invited(t, dir, "Imogen", "--role", "keeper", "--role", "owner@drover=owner")
	s := serve(t, dir, "--accounts")
	base := strings.Replace(s.url, "127.0.0.1", "localhost", 1)
	authenticator := withAuthenticator(t, ctx)
	verified := func(v bool) {
		_, err := chromedp.Call(ctx, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: authenticator, IsUserVerified: v})
		require.NoError(t, err)
	}
	phone(t, ctx)
	do(t, ctx, chromedp.Navigate(base+link))
	ask[bool](t, ctx, `document.querySelector('#answer-approve').click(); document.querySelector('#until').value = '2099-12-31'; true`)
	press(t, ctx, `form[action$="/check"] button[type=submit]:not([formaction])`)
	look(t, ctx, "check")
	require.Contains(t, text(t, ctx), "31 December 2099")
	press(t, ctx, "#confirm button") // makes the passkey
	require.Contains(t, text(t, ctx), "signs exactly what stands above")
	look(t, ctx, "confirm")

	// A device that does not know its person signs nothing, and nothing is recorded.
	verified(false)
	click(t, ctx, "#confirm button")
	until(t, ctx, `document.querySelector("#confirm [role=status]").textContent !== ""`)
	verified(true)
	press(t, ctx, "#confirm button")
	receipt := text(t, ctx)
	require.Contains(t, receipt, "confirmed with a passkey")
	require.Contains(t, receipt, "signed exactly this answer")
	look(t, ctx, "receipt")

	press(t, ctx, "details.more summary ~ form button")
	require.Contains(t, text(t, ctx), "An earlier answer no longer stands")
	press(t, ctx, "#confirm button")
	require.Contains(t, text(t, ctx), "You took your answer back on")

	// By her account, with the passkey that she signs in with.
	do(t, ctx, chromedp.Navigate(base+join.Path))
	click(t, ctx, "#passkey button")
	until(t, ctx, `location.pathname === "/account"`)
	do(t, ctx, chromedp.Navigate(base+"/machines/drover"))
	press(t, ctx, `a[href="/machines/drover/decide"]`)
	look(t, ctx, "decide")
	ask[bool](t, ctx, `document.querySelector('#answer-refuse').click(); true`)
	press(t, ctx, `form[action$="/check"] button[type=submit]:not([formaction])`)
	press(t, ctx, "#confirm button")
	require.Contains(t, text(t, ctx), "The workshop will not do this")
	s.stop()

	bundle := filepath.Join(t.TempDir(), "b.zip")
	command(t, dir, "dossier", "drover", "--public", "--bundle", bundle)
	require.Regexp(t, regexp.MustCompile(`3 answers are signed by a passkey`), command(t, dir, "verify", bundle))
}
