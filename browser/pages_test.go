package browser

import (
	"context"
	"io"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// crawl follows the links from start as a reader would and gives the addresses
// of pages, at most two of each shape: pages that differ by an id alone look
// alike.
func crawl(t *testing.T, base, start string) []string {
	t.Helper()
	return crawlWith(t, http.DefaultClient, base, start)
}

func crawlWith(t *testing.T, client *http.Client, base, start string) []string {
	t.Helper()
	seen, shapes, found := map[string]bool{}, map[string]int{}, []string(nil)
	for queue := []string{start}; len(queue) > 0; {
		path := queue[0]
		queue = queue[1:]
		if seen[path] || shapes[shape(path)] >= 2 {
			continue
		}
		seen[path] = true
		answer, err := client.Get(base + path)
		require.NoError(t, err)
		body, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		require.NoError(t, err)
		if !strings.HasPrefix(answer.Header.Get("Content-Type"), "text/html") {
			continue
		}
		assert.Equal(t, http.StatusOK, answer.StatusCode, "%s is linked and answers otherwise", path)
		assert.LessOrEqual(t, len(body), 150<<10, "%s is larger than 150 KB without its pictures", path)
		shapes[shape(path)]++
		found = append(found, path)
		for _, m := range href.FindAllSubmatch(body, -1) {
			u, err := url.Parse(strings.ReplaceAll(string(m[1]), "&amp;", "&"))
			if err == nil && u.Host == "" && u.Path != "" && !strings.HasPrefix(u.Path, "/static/") {
				u.Fragment = ""
				queue = append(queue, u.String())
			}
		}
	}
	return found
}

var (
	href = regexp.MustCompile(`href="(/[^"#]*)`)
	// An id stands after the name of what it is an id of.
	ids  = regexp.MustCompile(`/(survey/pictures|machines|groups|components|faults|options|proposals|card|move|fasteners|close|photos|leaving|risk|rejected|bench|survey|pictures|sum|t)/[^/]+`)
	tail = regexp.MustCompile(`^(/t/[^/]+)/[^/]+`)
)

// shape is an address with its ids and the values of its query left out.
func shape(path string) string {
	u, err := url.Parse(path)
	if err != nil {
		return path
	}
	keys := []string{}
	for k := range u.Query() {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return tail.ReplaceAllString(ids.ReplaceAllString(u.Path, "/$1/*"), "$1/*") + "?" + strings.Join(keys, "&")
}

// bare is an address without its query.
func bare(path string) string {
	path, _, _ = strings.Cut(path, "?")
	return path
}

// finding is one rule that a page breaks.
type finding struct {
	ID    string   `json:"id"`
	Help  string   `json:"help"`
	Nodes []string `json:"nodes"`
}

// askAxe runs the rules of WCAG 2.2 A and AA and the good practices of axe-core.
const askAxe = `axe.run(document,{runOnly:['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa','best-practice']})
	.then(r => r.violations.map(v => ({id: v.id, help: v.help, nodes: v.nodes.slice(0,3).map(n => n.html.slice(0,160))})))`

// ownRules are what axe lets through: targets under 44 CSS pixels outside
// running text, sideways scrolling, more than one main heading.
const ownRules = `(() => {
	const out = [], add = (id, e) => out.push({id, help: '', nodes: [(e.outerHTML || '').slice(0,160)]});
	const shown = e => e.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true}) && e.getClientRects().length;
	// innerWidth grows with what is too wide; the layout's own width does not.
	const {scrollWidth, clientWidth} = document.documentElement;
	if (scrollWidth > clientWidth) {
		const wide = [...document.body.querySelectorAll('*')].filter(e => shown(e) && e.getBoundingClientRect().right > clientWidth + 1).pop();
		add('scrolls sideways: ' + scrollWidth + ' of ' + clientWidth + ' px', wide || document.body);
	}
	if (document.querySelectorAll('h1').length != 1) add('not one h1', document.body.firstElementChild);
	for (const e of document.querySelectorAll('button, summary, select, input:not([type=hidden]), textarea, nav a, a.button, a.target')) {
		if (!shown(e)) continue;
		let box = e;
		if (e.matches('input[type=radio], input[type=checkbox]')) box = e.labels && e.labels[0] || e;
		const r = box.getBoundingClientRect();
		if (r.bottom > 0 && r.height < 43.5 && !(e.closest('p, li, td') && e.matches('a:not(.button):not(.target)'))) add('target of ' + Math.round(r.width) + ' × ' + Math.round(r.height) + ' px', e);
	}
	return out;
})()`

// TestRulesBite holds the rules against a page that breaks each of them.
func TestRulesBite(t *testing.T) {
	ctx := open(t)
	phone(t, ctx)
	do(t, ctx, chromedp.Navigate("data:text/html,"+url.PathEscape(`<!doctype html><meta name=viewport content="width=device-width"><title>x</title>
		<button style="height:20px">a</button><input type=radio id=r><label for=r style="font-size:9px">b</label>
		<p style="width:800px">wide</p>`)))
	var got []string
	for _, f := range ask[[]finding](t, ctx, ownRules) {
		got = append(got, f.ID)
	}
	require.Len(t, got, 4, "%q", got)
	assert.Contains(t, got[0], "scrolls sideways")
	assert.Contains(t, got[1], "not one h1")
	assert.Contains(t, got[2], "× 20 px")
	assert.Contains(t, got[3], "target of")
}

// TestPages opens every page that can be reached by links, as a phone and as a
// desk shows it, light and dark.
func TestPages(t *testing.T) {
	axe := ""
	if name := os.Getenv("ASFOUND_AXE"); name != "" {
		script, err := os.ReadFile(name)
		require.NoError(t, err)
		axe = string(script)
	} else if os.Getenv("ASFOUND_BROWSER") == "required" {
		t.Fatal("ASFOUND_AXE does not say where axe.min.js is, and ASFOUND_BROWSER says that the browser tests must run")
	}
	if testing.Short() {
		t.Skip("every page twice takes minutes")
	}
	ctx := openFor(t, 10*time.Minute, t.TempDir())
	s := serve(t, demoRegistry(t))
	paths := crawl(t, s.url, "/")
	require.Greater(t, len(paths), 30)
	titles := map[string]string{}
	// The rules are a script of ours in the page, which its policy would refuse.
	_, err := chromedp.Call(ctx, page.SetBypassCSP, page.SetBypassCSPParams{Enabled: true})
	require.NoError(t, err)
	for i, path := range paths {
		look := func(t *testing.T, how string) {
			do(t, ctx, chromedp.Navigate(s.url+path))
			found := ask[[]finding](t, ctx, ownRules)
			if axe != "" {
				// What a sticky bar lies over is reached by scrolling; axe sees
				// the window alone.
				ask[bool](t, ctx, `scrollTo(0, document.body.scrollHeight); true`)
				ask[bool](t, ctx, axe+"; true")
				found = append(found, ask[[]finding](t, ctx, askAxe)...)
			}
			for _, f := range found {
				t.Errorf("%s, %s: %s %s\n\t%s", path, how, f.ID, f.Help, strings.Join(f.Nodes, "\n\t"))
			}
		}
		t.Run(path, func(t *testing.T) {
			scheme(t, ctx, []string{"light", "dark"}[i%2])
			phone(t, ctx)
			look(t, "phone")
			title, err := chromedp.Run(ctx, chromedp.Title())
			require.NoError(t, err)
			if other, ok := titles[title]; ok && bare(other) != bare(path) {
				t.Errorf("%s and %s have the same title %q", path, other, title)
			}
			titles[title] = path
			scheme(t, ctx, []string{"dark", "light"}[i%2])
			desk(t, ctx)
			look(t, "desk")
			do(t, ctx, chromedp.EmulateViewport(320, 700, chromedp.EmulateMobile))
			over := ask[int](t, ctx, `document.documentElement.scrollWidth - document.documentElement.clientWidth`)
			assert.LessOrEqual(t, over, 0, "%s scrolls sideways at 320 px", path)
		})
	}
	t.Logf("%d pages looked at", len(paths))
}

// scheme asks for light or dark colours.
func scheme(t *testing.T, ctx context.Context, which string) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: which}}})
	require.NoError(t, err)
}
