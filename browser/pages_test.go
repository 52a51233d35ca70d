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
		if !strings.HasPrefix(path, "/o/") || answer.StatusCode != http.StatusGone { // of a question that is over
			assert.Equal(t, http.StatusOK, answer.StatusCode, "%s is linked and answers otherwise", path)
		}
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
	ids  = regexp.MustCompile(`/(survey/pictures|machines|groups|components|faults|options|proposals|card|move|fasteners|close|photos|leaving|risk|rejected|bench|survey|pictures|sum|t|o|q)/[^/]+`)
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
		if (!shown(e) || e.matches('.term')) continue; // a word in running text; the list of words has it large
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
	axe := axeScript(t)
	if testing.Short() {
		t.Skip("every page twice takes minutes")
	}
	ctx := openFor(t, 10*time.Minute, t.TempDir())
	dir := demoRegistry(t)
	link := ownersLink(t, dir)
	s := serve(t, dir)
	paths := append(crawl(t, s.url, "/"), crawl(t, s.url, link)...)
	require.Greater(t, len(paths), 30)
	paths = append(paths, unlinked...)
	titles := map[string]string{}
	// The rules are a script of ours in the page, which its policy would refuse.
	_, err := chromedp.Call(ctx, page.SetBypassCSP, page.SetBypassCSPParams{Enabled: true})
	require.NoError(t, err)
	for i, path := range paths {
		t.Run(path, func(t *testing.T) {
			scheme(t, ctx, []string{"light", "dark"}[i%2])
			phone(t, ctx)
			do(t, ctx, chromedp.Navigate(s.url+path))
			until(t, ctx, offered)
			inspect(t, ctx, axe, path+", phone")
			complain(t, path, ask[[]finding](t, ctx, plainRules))
			title, err := chromedp.Run(ctx, chromedp.Title())
			require.NoError(t, err)
			if other, ok := titles[title]; ok && bare(other) != bare(path) && !slices.Contains(unlinked, path) && !strings.HasPrefix(path, "/o/") {
				t.Errorf("%s and %s have the same title %q", path, other, title)
			}
			titles[title] = path
			stretch(t, ctx, path)
			scheme(t, ctx, []string{"dark", "light"}[i%2])
			desk(t, ctx)
			do(t, ctx, chromedp.Navigate(s.url+path))
			until(t, ctx, offered)
			inspect(t, ctx, axe, path+", desk")
		})
	}
	t.Run("a form with errors", func(t *testing.T) {
		phone(t, ctx)
		for _, path := range []string{"/take-in", recordAt} {
			scheme(t, ctx, "light")
			do(t, ctx, chromedp.Navigate(s.url+path))
			press(t, ctx, `main form:not([method=get]) button:not([formaction])`)
			require.Contains(t, text(t, ctx), "There is a problem", path)
			inspect(t, ctx, axe, path+" with errors")
			stretch(t, ctx, path+" with errors")
		}
	})
	t.Logf("%d pages looked at", len(paths))
}

// axeScript is axe-core, "" where there is none and none is required.
func axeScript(t *testing.T) string {
	t.Helper()
	if name := os.Getenv("ASFOUND_AXE"); name != "" {
		script, err := os.ReadFile(name)
		require.NoError(t, err)
		return string(script)
	}
	if os.Getenv("ASFOUND_BROWSER") == "required" {
		t.Fatal("ASFOUND_AXE does not say where axe.min.js is, and ASFOUND_BROWSER says that the browser tests must run")
	}
	return ""
}

// inspect asks the page that is open for every rule.
func inspect(t *testing.T, ctx context.Context, axe, where string) {
	t.Helper()
	found := ask[[]finding](t, ctx, ownRules)
	if axe != "" {
		// What a sticky bar lies over is reached by scrolling; axe sees the
		// window alone.
		ask[bool](t, ctx, `scrollTo(0, document.body.scrollHeight); true`)
		ask[bool](t, ctx, axe+"; true")
		found = append(found, ask[[]finding](t, ctx, askAxe)...)
	}
	complain(t, where, found)
}

func complain(t *testing.T, where string, found []finding) {
	t.Helper()
	for _, f := range found {
		t.Errorf("%s: %s %s\n\t%s", where, f.ID, f.Help, strings.Join(f.Nodes, "\n\t"))
	}
}

// scheme asks for light or dark colours.
func scheme(t *testing.T, ctx context.Context, which string) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: which}}})
	require.NoError(t, err)
}
