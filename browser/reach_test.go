package browser

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// unlinked are pages that no link leads to: what waits, what a phone shows with
// no signal, and each way in which a request goes wrong.
var unlinked = []string{"/waiting", "/offline", "/nothing-here", "/machines/nobody", "/machines/drover?as_of=yesterday", "/o/nosuchlink"}

// recordAt is a form for a record.
const recordAt = "/machines/drover/record"

// sizes are windows in which nothing may stick out or be cut off, and how large
// the reader set the letters, in CSS pixels; 16 is usual.
var sizes = []struct{ wide, high, letters int64 }{{320, 700, 16}, {700, 320, 16}, {844, 390, 32}, {320, 700, 32}}

// stretch holds the open page in narrow windows, with large letters, and in the
// colours that a reader's system forces on it.
func stretch(t *testing.T, ctx context.Context, where string) {
	t.Helper()
	for _, size := range sizes {
		do(t, ctx, chromedp.EmulateViewport(size.wide, size.high, chromedp.EmulateMobile))
		letterSize(t, ctx, size.letters)
		complain(t, fmt.Sprintf("%s, letters of %d px", where, size.letters), ask[[]finding](t, ctx, fitRules))
	}
	letterSize(t, ctx, 16)
	media(t, ctx, "forced-colors", "active", "prefers-reduced-motion", "reduce")
	complain(t, where+", with forced colours", ask[[]finding](t, ctx, stateRules))
}

// letterSize sets the size of the browser's own letters, as a reader does.
func letterSize(t *testing.T, ctx context.Context, px int64) {
	t.Helper()
	_, err := chromedp.Call(ctx, page.SetFontSizes, page.SetFontSizesParams{FontSizes: &page.FontSizes{Standard: px, Fixed: px * 13 / 16}})
	require.NoError(t, err)
}

// media sets features by name and value.
func media(t *testing.T, ctx context.Context, pairs ...string) {
	t.Helper()
	var features []*emulation.MediaFeature
	for i := 0; i+1 < len(pairs); i += 2 {
		features = append(features, &emulation.MediaFeature{Name: pairs[i], Value: pairs[i+1]})
	}
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features})
	require.NoError(t, err)
}

// fitRules find what scrolls sideways and what is cut off.
const fitRules = `(() => {
	const out = [], add = (id, e) => out.push({id, help: innerWidth + ' px', nodes: [(e.outerHTML || '').slice(0,200)]});
	const {scrollWidth, clientWidth} = document.documentElement;
	const shown = e => e.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true}) && e.getClientRects().length;
	const all = [...document.body.querySelectorAll('*')].filter(e => !(e instanceof SVGElement) && shown(e));
	if (scrollWidth > clientWidth) {
		const wide = all.filter(e => { const r = e.getBoundingClientRect(); return Math.max(r.right, r.left + e.scrollWidth) > clientWidth; }).pop();
		add('scrolls sideways: ' + scrollWidth + ' of ' + clientWidth + ' px', wide || document.body);
	}
	for (const e of all) {
		const s = getComputedStyle(e);
		if (s.clipPath.startsWith('inset') || e.matches('input, textarea, select, .unseen')) continue;
		const cut = v => v == 'hidden' || v == 'clip';
		if (cut(s.overflowX) && e.scrollWidth > e.clientWidth + 1 || cut(s.overflowY) && e.scrollHeight > e.clientHeight + 1) add('is cut off', e);
	}
	return out;
})()`

// stateRules find states that are told by colour alone, signs that vanish when
// the system forces its colours on the page, and things that move although the
// reader asked for rest.
const stateRules = `(() => {
	const out = [], add = (id, e) => out.push({id, help: '', nodes: [(e.outerHTML || '').slice(0,160)]});
	const shown = e => e.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true}) && e.getClientRects().length;
	const canvas = getComputedStyle(document.body).backgroundColor;
	for (const e of document.querySelectorAll('.mark.own, .mark.near, .mark.new, .mark.gone, .mark.open, .mark.undo')) {
		if (!shown(e)) continue;
		if (!e.textContent.trim()) add('a state without a word', e);
		if (!/[^"\\s]/.test(getComputedStyle(e, '::before').content.replace('none', ''))) add('a state without a shape', e);
	}
	for (const e of document.querySelectorAll('.key')) {
		if (shown(e) && getComputedStyle(e).backgroundColor == canvas) add('a key that vanishes', e);
	}
	for (const e of document.querySelectorAll('button, .button')) {
		if (shown(e) && !e.matches('.term, .change') && parseFloat(getComputedStyle(e).borderTopWidth) < 1) add('a button without an edge', e);
	}
	if (document.getAnimations().length) add('moves', document.body);
	if (getComputedStyle(document.documentElement).scrollBehavior != 'auto') add('scrolls smoothly', document.body);
	return out;
})()`

// plainRules hold the page against what the server sent: every link and form
// must be there without scripts, but for keeping pages on a phone, which no
// page can do without. Every id stands once, and what is pointed at by
// an id is there.
const plainRules = `(async () => {
	const out = [], add = (id, e) => out.push({id, help: '', nodes: [e.outerHTML.slice(0,160)]});
	const plain = new DOMParser().parseFromString(await (await fetch(location.href)).text(), 'text/html');
	for (const [what, name] of [['a[href]', 'href'], ['form', 'action'], ['button', 'formaction']]) {
		const sent = [...plain.querySelectorAll(what)].map(e => e.getAttribute(name));
		for (const e of document.querySelectorAll(what)) {
			const i = sent.indexOf(e.getAttribute(name));
			if (i >= 0) sent.splice(i, 1);
			else if (!e.closest('.keepable')) add('is there with scripts alone', e);
		}
		for (const left of sent) out.push({id: 'scripts took away', help: '', nodes: [what + ' ' + left]});
	}
	const seen = new Set();
	for (const e of plain.querySelectorAll('[id]')) { if (seen.has(e.id)) add('an id that stands twice', e); seen.add(e.id); }
	for (const name of ['for', 'aria-labelledby', 'aria-describedby', 'aria-controls', 'popovertarget', 'list', 'form'])
		for (const e of plain.querySelectorAll('[' + name + ']'))
			for (const id of e.getAttribute(name).split(/\s+/)) if (!seen.has(id)) add(name + ' points at nothing', e);
	return out;
})()`

// TestInstallPage looks at the page that sets a phone up for encryption, which
// is all that a phone gets without it.
func TestInstallPage(t *testing.T) {
	axe := axeScript(t)
	s := serve(t, demoRegistry(t), "--host", "garage.test", "--everyone-on-this-network")
	ctx := open(t, chromedp.Flag("host-resolver-rules", "MAP garage.test 127.0.0.1"))
	_, err := chromedp.Call(ctx, page.SetBypassCSP, page.SetBypassCSPParams{Enabled: true})
	require.NoError(t, err)
	for _, colours := range []string{"light", "dark"} {
		scheme(t, ctx, colours)
		phone(t, ctx)
		do(t, ctx, chromedp.Navigate(strings.Replace(s.url, "127.0.0.1", "garage.test", 1)))
		require.True(t, ask[bool](t, ctx, `!!document.querySelector('.fingerprint')`), text(t, ctx))
		inspect(t, ctx, axe, "install, "+colours)
		complain(t, "install", ask[[]finding](t, ctx, plainRules))
		stretch(t, ctx, "install")
	}
}

// TestStretchRulesBite holds the rules against a page that breaks each of them.
func TestStretchRulesBite(t *testing.T) {
	ctx := open(t)
	do(t, ctx, chromedp.Navigate(`data:text/html,<!doctype html><meta name=viewport content="width=device-width"><style>html{scroll-behavior:smooth}body{background:white}@keyframes x{to{opacity:0}}h1{animation:x 9s infinite}.key{display:inline-block;width:9px;height:9px;background:red}</style><h1>x</h1>
		<p style="width:800px">wide</p><div style="height:9px;overflow:hidden">cut<br>off</div><span class="mark own">word</span><i class=key></i><button style="border:0">b</button>`))
	do(t, ctx, chromedp.EmulateViewport(320, 700, chromedp.EmulateMobile))
	media(t, ctx, "forced-colors", "active", "prefers-reduced-motion", "reduce")
	var got []string
	for _, f := range append(ask[[]finding](t, ctx, fitRules), ask[[]finding](t, ctx, stateRules)...) {
		got = append(got, f.ID[:min(10, len(f.ID))])
	}
	require.Equal(t, []string{"scrolls si", "is cut off", "a state wi", "a key that", "a button w", "moves", "scrolls sm"}, got)
}
