package browser

import (
	"context"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// walked are pages of every shape, which are gone through with the Tab key.
var walked = []string{"/", "/take-in", "/machines/drover", "/machines/drover/drawing", "/machines/drover/options", "/machines/drover/record",
	"/machines/drover-no-papers/survey/fuel.tank", "/bench/thread", "/find?q=tank", "/waiting", "/machines/nobody"}

// stopHere tells of the element that has the focus: what it is, and what is
// wrong with how it shows that. A ring of 2 px with 3:1 is success criterion
// 2.4.13 of WCAG 2.2, not to be covered 2.4.12.
const stopHere = `(() => {
	const e = document.activeElement;
	if (!e || e === document.body || e === document.documentElement) return {end: true, wrong: []};
	const wrong = [], s = getComputedStyle(e), html = e.outerHTML.slice(0, 140);
	const walk = window.walk ||= {seen: new Set(), last: null};
	const again = walk.seen.has(e) && walk.last !== e;
	if (!again && walk.last && walk.last !== e && !(walk.last.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_FOLLOWING)) wrong.push('comes after what stands behind it');
	walk.seen.add(e); walk.last = e;
	const colour = t => { const n = t.match(/[\d.]+/g)?.map(Number) || [0, 0, 0]; return t.startsWith('color(') ? n.slice(0, 3).map(v => v * 255).concat(n[3] ?? 1) : n };
	const light = c => c.slice(0, 3).map(v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4).reduce((a, v, i) => a + v * [0.2126, 0.7152, 0.0722][i], 0);
	const ratio = (a, b) => (Math.max(light(a), light(b)) + 0.05) / (Math.min(light(a), light(b)) + 0.05);
	let width = s.outlineStyle == 'none' ? 0 : parseFloat(s.outlineWidth), shade = s.outlineColor;
	const drawn = e instanceof SVGElement;
	if (!width && drawn) for (const part of e.querySelectorAll('*')) { // the ring is drawn around what is touched
		const p = getComputedStyle(part), w = p.stroke == 'none' ? 0 : parseFloat(p.strokeWidth) * part.getScreenCTM().a;
		if (w > width) { width = w; shade = p.stroke; }
	}
	if (width < 2) wrong.push('has a ring of ' + width + ' px');
	let back = parseFloat(s.outlineOffset) < 0 ? e : e.parentElement;
	while (back && (c => c.length > 3 && c[3] === 0)(colour(getComputedStyle(back).backgroundColor))) back = back.parentElement;
	const r = ratio(colour(shade), back ? colour(getComputedStyle(back).backgroundColor) : [255, 255, 255]);
	if (width && r < 3) wrong.push('has a ring of ' + r.toFixed(2) + ':1');
	const box = e.getClientRects()[0];
	if (!box) wrong.push('is not seen');
	else if (!drawn) {
		const hit = document.elementFromPoint(box.x + box.width / 2, Math.min(box.y + box.height / 2, Math.max(box.y + 2, innerHeight - 2)));
		if (!hit || !(e.contains(hit) || hit.closest('label')?.control === e)) wrong.push('is covered by ' + (hit ? hit.outerHTML.slice(0, 80) : 'the edge'));
	}
	return {html, again, wrong};
})()`

// notReached are controls that are seen and that the walk did not come to; of
// radio buttons of one name one is enough.
const notReached = `[...document.querySelectorAll('a[href], button, summary, select, textarea, input:not([type=hidden])')]
	.filter(e => e.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true}) && e.getClientRects().length && !e.disabled && e.tabIndex >= 0 && e.type != 'radio' && !window.walk?.seen.has(e))
	.map(e => e.outerHTML.slice(0, 140))`

type stop struct {
	HTML  string   `json:"html"`
	End   bool     `json:"end"`
	Again bool     `json:"again"`
	Wrong []string `json:"wrong"`
}

// mostStops is how many stops the longest page may have.
const mostStops = 400

// walk presses Tab until the page ends.
func walk(t *testing.T, ctx context.Context, where string) {
	t.Helper()
	ask[bool](t, ctx, `window.walk = undefined; document.activeElement?.blur(); getSelection().removeAllRanges(); scrollTo(0, 0); true`)
	for n := range mostStops {
		key(t, ctx, kb.Tab)
		at := ask[stop](t, ctx, stopHere)
		for _, wrong := range at.Wrong {
			t.Errorf("%s, stop %d: %s %s", where, n+1, at.HTML, wrong)
		}
		if at.End || at.Again {
			require.Greater(t, n, 3, "%s has hardly a stop", where)
			for _, html := range ask[[]string](t, ctx, notReached) {
				t.Errorf("%s: Tab does not come to %s", where, html)
			}
			return
		}
	}
	t.Errorf("%s does not end: Tab is caught", where)
}

func key(t *testing.T, ctx context.Context, keys string) {
	t.Helper()
	do(t, ctx, chromedp.KeyEvent(keys))
}

// TestTabWalk goes through a page of every shape with the keyboard alone.
func TestTabWalk(t *testing.T) {
	if testing.Short() {
		t.Skip("presses some thousand keys")
	}
	dir := demoRegistry(t)
	pages := append([]string{ownersLink(t, dir)}, walked...)
	s := serve(t, dir)
	ctx := openFor(t, 5*time.Minute, t.TempDir())
	for i, path := range pages {
		t.Run(path, func(t *testing.T) {
			phone(t, ctx)
			media(t, ctx, "prefers-reduced-motion", "reduce", "prefers-color-scheme", []string{"light", "dark"}[i%2])
			do(t, ctx, chromedp.Navigate(s.url+path))
			until(t, ctx, offered)
			walk(t, ctx, path)
		})
	}
}

// TestKeyboardOpensAndCloses the skip link, a group of components and the
// meaning of a word.
func TestKeyboardOpensAndCloses(t *testing.T) {
	dir := demoRegistry(t)
	link := ownersLink(t, dir)
	s := serve(t, dir)
	ctx := open(t)
	desk(t, ctx)
	do(t, ctx, chromedp.Navigate(s.url+"/machines/drover"))
	key(t, ctx, kb.Tab)
	assert.True(t, ask[bool](t, ctx, `document.activeElement.matches('.skip') && document.activeElement.getBoundingClientRect().left >= 0`), "the first stop is the skip link, and is seen")
	key(t, ctx, kb.Enter)
	key(t, ctx, kb.Tab)
	assert.True(t, ask[bool](t, ctx, `!!document.activeElement.closest('main')`), "the skip link leads into the main part")

	ask[bool](t, ctx, `document.querySelector('details.group > summary').focus(); true`)
	for _, open := range []bool{true, false} {
		key(t, ctx, kb.Enter)
		assert.Equal(t, open, ask[bool](t, ctx, `document.activeElement.parentElement.open`))
	}

	do(t, ctx, chromedp.Navigate(s.url+link))
	ask[bool](t, ctx, `document.querySelector('button.term').focus(); true`)
	key(t, ctx, kb.Enter)
	const opened = `!!document.querySelector('[popover]:popover-open')`
	assert.True(t, ask[bool](t, ctx, opened), "Enter explains the word")
	key(t, ctx, kb.Escape)
	assert.False(t, ask[bool](t, ctx, opened), "Escape closes it")
	assert.True(t, ask[bool](t, ctx, `document.activeElement.matches('button.term')`), "the focus goes back to the word")
}
