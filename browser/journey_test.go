package browser

import (
	"archive/zip"
	"bytes"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/cli/clitest"
)

// command runs asfound on a registry and gives what it printed.
func command(t *testing.T, dir string, args ...string) string {
	t.Helper()
	out, err := clitest.Command(t.Context(), "", append(args, "--dir", dir)...).CombinedOutput()
	require.NoError(t, err, string(out))
	return string(out)
}

// ownersLink asks the owner of the demonstration about her tank and gives the
// path of her page.
func ownersLink(t *testing.T, dir string) string {
	t.Helper()
	out := command(t, dir, "propose", "drover", "surface-refinish", "surface-wax", "surface-leave", "--id", "later", "--recommend", "surface-wax", "--do-nothing", "It stays as it is.")
	link := regexp.MustCompile(`/o/[a-z2-7]+`).FindString(out)
	require.NotEmpty(t, link, out)
	return link
}

// text is what the page says in its main part.
func text(t *testing.T, ctx ctxT) string {
	t.Helper()
	return ask[string](t, ctx, `document.querySelector('main').innerText`)
}

// press clicks what a person would click and waits for the next page.
func press(t *testing.T, ctx ctxT, selector string) {
	t.Helper()
	found := ask[bool](t, ctx, `!!document.querySelector(`+quote(selector)+`)`)
	require.True(t, found, "there is no %s on %s:\n%s", selector, ask[string](t, ctx, `location.pathname`), text(t, ctx))
	ask[bool](t, ctx, `window.stale = true`)
	ask[bool](t, ctx, `document.querySelector(`+quote(selector)+`).click(); true`)
	settled(t, ctx)
}

// settled waits until another page has come. On the way there is none that
// could be asked.
func settled(t *testing.T, ctx ctxT) {
	t.Helper()
	require.Eventually(t, func() bool {
		there, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`!window.stale && document.readyState == 'complete'`))
		return err == nil && there
	}, patience, 20*time.Millisecond)
}

// TestOwnerDecides goes from the link to the receipt, as an owner does on her
// phone, and looks whether the page asks for anything that it needs no script for.
func TestOwnerDecides(t *testing.T) {
	dir := demoRegistry(t)
	link := ownersLink(t, dir)
	s := serve(t, dir)
	ctx := open(t)
	phone(t, ctx)
	noScript(t, ctx)
	do(t, ctx, chromedp.Navigate(s.url+link))
	first := text(t, ctx)
	for _, want := range []string{"wax", "lost for good", "four times in five"} {
		assert.Contains(t, strings.ToLower(first), want, "the owner must see it")
	}
	// A trade word is explained where it is touched.
	word := ask[string](t, ctx, `document.querySelector('button.term').innerText`)
	ask[bool](t, ctx, `document.querySelector('button.term').click(); true`)
	assert.NotEmpty(t, ask[string](t, ctx, `document.querySelector('[popover]:popover-open')?.innerText || ''`), "%q is not explained", word)

	// Nothing chosen: the page says so and keeps what was typed.
	press(t, ctx, `form button[type=submit]:not([formaction])`)
	assert.Contains(t, text(t, ctx), "There is a problem")
	ask[bool](t, ctx, `document.querySelector('#answer-conditions').click(); document.querySelector('#o-tank-surface-1').click(); document.querySelector('textarea[name=conditions]').value = 'the dent stays'; true`)
	press(t, ctx, `form[action$="/check"] button[type=submit]:not([formaction])`)
	check := text(t, ctx)
	assert.Contains(t, check, "Nothing is recorded yet")
	assert.Contains(t, check, "the dent stays")
	// She changes her mind about the words, and nothing else is lost.
	press(t, ctx, `button[formaction$="/choose#conditions"]`)
	assert.Equal(t, "the dent stays", ask[string](t, ctx, `document.querySelector('textarea[name=conditions]').value`))
	assert.True(t, ask[bool](t, ctx, `document.querySelector('#o-tank-surface-1').checked`))
	press(t, ctx, `form[action$="/check"] button[type=submit]:not([formaction])`)
	press(t, ctx, `form[action$="/answer"] div.buttons button`)
	receipt := text(t, ctx)
	assert.Contains(t, receipt, "the dent stays")
	digest := regexp.MustCompile(`[0-9a-f]{4} ?[0-9a-f]{4}`).FindString(receipt)
	assert.NotEmpty(t, digest, receipt)
	pdf := ask[string](t, ctx, `document.querySelector('a[href$=".pdf"]').getAttribute('href')`)
	answer, err := http.Get(s.url + pdf)
	require.NoError(t, err)
	body, err := io.ReadAll(answer.Body)
	answer.Body.Close()
	require.NoError(t, err)
	assert.True(t, bytes.HasPrefix(body, []byte("%PDF-")), "the receipt is no PDF")

	// The link shows the receipt again, and the workshop sees the answer.
	do(t, ctx, chromedp.Navigate(s.url+link))
	assert.NotContains(t, text(t, ctx), "Go on and check your answer")
	s.stop()
	assert.Contains(t, command(t, dir, "receipt", "drover", "later"), "the dent stays")
}

// TestWorkCard reads the cautions of an approved act and maps the fasteners of
// its first cover, with taps on a drawing, without any script.
func TestWorkCard(t *testing.T) {
	dir := demoRegistry(t)
	command(t, dir, "propose", "drover", "armature-rewind", "magneto-leave", "--id", "again", "--recommend", "armature-rewind", "--do-nothing", "It stops when warm.")
	command(t, dir, "decide", "drover", "again", "approve", "--channel", "letter", "--id", "yes-again")
	s := serve(t, dir)
	ctx := open(t)
	phone(t, ctx)
	noScript(t, ctx)
	do(t, ctx, chromedp.Navigate(s.url+"/machines/drover/work"))
	press(t, ctx, `a[href$="/work/card/armature-rewind"]`)
	for i := 0; ask[bool](t, ctx, `!!document.querySelector('button[aria-describedby^="caution-"]')`); i++ {
		require.Less(t, i, 12, "the cautions do not end")
		press(t, ctx, `button[aria-describedby^="caution-"]`)
	}
	assert.NotContains(t, text(t, ctx), "I have read this")
	press(t, ctx, `a[href*="/work/fasteners/points-cap"]`)
	for n, at := range [][2]int{{60, 40}, {200, 60}} {
		tap(t, ctx, at[0], at[1])
		require.Equal(t, n+1, ask[int](t, ctx, `document.querySelectorAll('fieldset.hole').length`), "a tap adds a hole")
	}
	near := ask[float64](t, ctx, `parseFloat(document.querySelector('[name=x-1], [name=x-0]').value)`)
	assert.InDelta(t, 100*60.0/280, near, 2, "the hole stands where it was tapped")
	ask[bool](t, ctx, `document.querySelectorAll('[name^=length-]').forEach((e, i) => e.value = 18 + i);
		document.querySelectorAll('[name^=thread-]').forEach(e => e.value = '2 BA');
		document.querySelectorAll('[name^=hand-]').forEach(e => e.selectedIndex = 1); document.querySelectorAll('[name^=felt-]').forEach(e => e.selectedIndex = 1); true`)
	press(t, ctx, `form button.wide`)
	// It is kept: the map shows both holes again, with what was written.
	press(t, ctx, `a[href*="/work/fasteners/points-cap"]`)
	assert.Equal(t, 2, ask[int](t, ctx, `document.querySelectorAll('fieldset.hole').length`))
	assert.Equal(t, "2 BA", ask[string](t, ctx, `document.querySelector('[name^=thread-]').value`))
}

// tap sends a tap on the map as the browser does, at CSS pixels of the picture.
func tap(t *testing.T, ctx ctxT, x, y int) {
	t.Helper()
	box := ask[[]float64](t, ctx, `(() => { const e = document.querySelector('#f-tap'); e.scrollIntoView({block: 'center', behavior: 'instant'}); const r = e.getBoundingClientRect(); return [r.x, r.y, r.width] })()`)
	scale := box[2] / 280
	ask[bool](t, ctx, `window.stale = true`)
	do(t, ctx, chromedp.MouseClickXY(box[0]+float64(x)*scale, box[1]+float64(y)*scale))
	settled(t, ctx)
}

// TestBuyerVerifies gives the page a good bundle and one in which a single
// letter of the history was changed.
func TestBuyerVerifies(t *testing.T) {
	dir := demoRegistry(t)
	good := filepath.Join(t.TempDir(), "good.zip")
	command(t, dir, "dossier", "drover", "--bundle", good, "--public")
	bad := tampered(t, good)
	s := serve(t, dir)
	ctx := open(t)
	phone(t, ctx)
	verify := func(file string) string {
		do(t, ctx, chromedp.Navigate(s.url+"/verify"),
			chromedp.SetUploadFiles(`main input[type=file]`, []string{file}))
		press(t, ctx, `main form button[type=submit]`)
		return text(t, ctx)
	}
	told := verify(good)
	assert.True(t, ask[bool](t, ctx, `!!document.querySelector('.verdict.good')`), told)
	assert.Contains(t, told, "What this proves")
	told = verify(bad)
	assert.True(t, ask[bool](t, ctx, `!!document.querySelector('.verdict.bad')`), told)
	assert.Contains(t, told, "failed")
	// What is no bundle is said to be none, in plain words.
	nothing := filepath.Join(t.TempDir(), "nothing.zip")
	require.NoError(t, os.WriteFile(nothing, []byte("not a zip"), 0o600))
	assert.NotContains(t, verify(nothing), "zip: ")
}

// tampered is a bundle with one letter of its events changed.
func tampered(t *testing.T, from string) string {
	t.Helper()
	in, err := zip.OpenReader(from)
	require.NoError(t, err)
	defer in.Close()
	name := filepath.Join(t.TempDir(), "bad.zip")
	f, err := os.Create(name)
	require.NoError(t, err)
	out := zip.NewWriter(f)
	changed := 0
	for _, file := range in.File {
		r, err := file.Open()
		require.NoError(t, err)
		body, err := io.ReadAll(r)
		require.NoError(t, err)
		r.Close()
		if strings.HasSuffix(file.Name, "events.jsonl") {
			changed += bytes.Count(body, []byte("condenser"))
			body = bytes.Replace(body, []byte("condenser"), []byte("condensor"), 1)
		}
		w, err := out.CreateHeader(&zip.FileHeader{Name: file.Name, Method: zip.Store})
		require.NoError(t, err)
		_, err = w.Write(body)
		require.NoError(t, err)
	}
	require.NoError(t, out.Close())
	require.NoError(t, f.Close())
	require.Positive(t, changed)
	return name
}
