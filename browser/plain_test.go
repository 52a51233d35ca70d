package browser

import (
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestFormsWithoutScripts takes a machine in, surveys a component and records
// work in a browser that runs no script.
func TestFormsWithoutScripts(t *testing.T) {
	s := serve(t, demoRegistry(t))
	ctx := open(t)
	phone(t, ctx)
	noScript(t, ctx)

	do(t, ctx, chromedp.Navigate(s.url+"/take-in"))
	ask[bool](t, ctx, `(() => { const f = document.querySelector('main form').elements;
		f.id.value = 'plain'; f.make.value = 'Invented'; f.model.value = 'Plain'; f.year.value = '1957';
		f.owner_name.value = 'A. Owner'; f.custodian_name.value = 'A. Keeper'; f.authority.value = 'the owner herself';
		document.querySelector('[name=purpose]').checked = true; return true })()`)
	press(t, ctx, `main form button[type=submit]`)
	require.Contains(t, ask[string](t, ctx, `location.pathname`), "/machines/plain", text(t, ctx))

	do(t, ctx, chromedp.Navigate(s.url+"/machines/"+noPapers+"/survey/fuel.tank"))
	ask[bool](t, ctx, `(() => { const f = document.querySelector('form.stop'); f.elements.by.value = 'mechanic';
		(f.querySelector('[name=there]:checked') || f.querySelector('[name=there]')).checked = true; f.elements.note.value = 'seen without a script'; return true })()`)
	press(t, ctx, `form.stop [name=then][value=on]`)
	assert.Equal(t, 1, strings.Count(events(t, s, noPapers), "seen without a script"), text(t, ctx))

	do(t, ctx, chromedp.Navigate(s.url+workAt))
	recordWork(t, ctx, "done without a script")
	until(t, ctx, "location.pathname === '/machines/drover/work'")
	assert.Equal(t, 1, strings.Count(events(t, s, "drover"), "done without a script"))
}

// The most that a page may weigh on the line with its styles and scripts, packed
// as it is sent, and an owner's page, which is sent as it is; in bytes, without
// pictures.
const (
	mostPacked = 60 << 10
	mostOwners = 100 << 10
)

// TestWeights weighs what every page brings along, each file once.
func TestWeights(t *testing.T) {
	dir := demoRegistry(t)
	link := ownersLink(t, dir)
	s := serve(t, dir)
	weights := map[string]int{}
	// A request that asks for gzip itself gets the answer as it was sent.
	weigh := func(path string) (string, int) {
		r, err := http.NewRequest(http.MethodGet, s.url+path, nil)
		require.NoError(t, err)
		r.Header.Set("Accept-Encoding", "gzip")
		answer, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return string(body), len(body)
	}
	for _, start := range []string{"/", link} {
		most, heaviest, at := mostPacked, 0, ""
		if start == link {
			most = mostOwners
		}
		for _, path := range crawl(t, s.url, start) {
			_, sum := weigh(path)
			for _, file := range brought(t, s.url, path) {
				if weights[file] == 0 {
					_, weights[file] = weigh(file)
				}
				sum += weights[file]
			}
			assert.LessOrEqual(t, sum, most, "%s with its styles and scripts", path)
			if sum > heaviest {
				heaviest, at = sum, path
			}
		}
		t.Logf("the heaviest from %s is %s with %d bytes", start, at, heaviest)
	}
}

var (
	broughtBy = regexp.MustCompile(`(?:href|src)="(/static/[^"]+\.(?:css|js)\?[^"]*)"`)
	importBy  = regexp.MustCompile(`"\./([a-z]+\.js\?v=[0-9a-f]+)"`)
)

// brought are the styles and scripts of a page, with those that scripts import.
func brought(t *testing.T, base, path string) []string {
	t.Helper()
	get := func(path string) string {
		answer, err := http.Get(base + path)
		require.NoError(t, err)
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return string(body)
	}
	seen := map[string]bool{}
	var out []string
	var add func(file string)
	add = func(file string) {
		if seen[file] {
			return
		}
		seen[file] = true
		out = append(out, file)
		for _, m := range importBy.FindAllStringSubmatch(get(file), -1) {
			add("/static/" + m[1])
		}
	}
	for _, m := range broughtBy.FindAllStringSubmatch(get(path), -1) {
		add(m[1])
	}
	return out
}
