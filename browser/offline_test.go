package browser

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// until waits for an expression to be true in the page, over loads of it.
func until(t *testing.T, ctx context.Context, expression string) {
	t.Helper()
	for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("Promise.resolve("+expression+").then(x => Boolean(x) && document.readyState === 'complete')", chromedp.EvalAwaitPromise))
		if err == nil && ok {
			return
		}
		if time.Now().After(deadline) {
			text, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("[document.readyState, location.href, document.body.innerText].join('\\n').slice(0, 700)"))
			t.Fatalf("never true: %s (%v)\n%s", expression, err, text)
		}
	}
}

const says = `document.getElementById('courier-says').textContent`

func saysSoon(t *testing.T, ctx context.Context, text string) {
	t.Helper()
	until(t, ctx, fmt.Sprintf("%s.includes(%q)", says, text))
}

// ready opens a page and waits for its scripts and its worker.
func ready(t *testing.T, ctx context.Context, at string) {
	t.Helper()
	do(t, ctx, chromedp.Navigate(at))
	until(t, ctx, "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller)")
}

// picture is a JPEG of noise in a file, of about 1.3 bytes a pixel, and its digest.
func picture(t *testing.T, name string, seed uint64, wide int) (file, digest string) {
	t.Helper()
	img, noise := image.NewRGBA(image.Rect(0, 0, wide, wide)), rand.New(rand.NewPCG(seed, 1))
	for i := range img.Pix {
		img.Pix[i] = byte(noise.Uint32())
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, img, &jpeg.Options{Quality: 90}))
	file = filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))
	sum := sha256.Sum256(b.Bytes())
	return file, "sha256:" + hex.EncodeToString(sum[:])
}

// addPicture fills in the form for pictures and sends it.
func addPicture(t *testing.T, ctx context.Context, file, component, caption string) {
	t.Helper()
	do(t, ctx, chromedp.SetUploadFiles(chromedp.CSS("input[type=file]"), []string{file}))
	ask[bool](t, ctx, fmt.Sprintf(`(() => {
		const form = document.querySelector('form[data-keep=photos]');
		form.elements.components.value = %q;
		form.elements.caption.value = %q;
		form.elements.by.value = 'mechanic';
		form.querySelector('[name=shows][value=as-found]').checked = true;
		form.querySelector('button[type=submit]').click();
		return true;
	})()`, component, caption))
}

type photoOnRecord struct {
	Digest     string   `json:"digest"`
	Caption    string   `json:"caption"`
	Components []string `json:"components"`
}

type onRecord struct {
	Version uint64          `json:"version"`
	Photos  []photoOnRecord `json:"photos"`
	Work    []struct {
		Did string `json:"did"`
	} `json:"work"`
}

// record reads the machine from the registry itself, past the line.
func record(t *testing.T, s *site, machine string) onRecord {
	t.Helper()
	answer, err := http.Get(s.url + "/api/v1/machines/" + machine)
	require.NoError(t, err)
	defer answer.Body.Close()
	require.Equal(t, http.StatusOK, answer.StatusCode)
	var out onRecord
	require.NoError(t, json.NewDecoder(answer.Body).Decode(&out))
	return out
}

func taken(r onRecord, caption string) (out []photoOnRecord) {
	for _, p := range r.Photos {
		if strings.HasPrefix(p.Caption, caption) {
			out = append(out, p)
		}
	}
	return out
}

const noPapers = "drover-no-papers"

// TestPicturesWaitOverARestart takes pictures of components in a cellar, closes
// the browser there, and opens it again in the yard.
func TestPicturesWaitOverARestart(t *testing.T) {
	profile := t.TempDir()
	s := serve(t, demoRegistry(t))
	l := lay(t, s)
	components := []string{"fuel.tank", "electrical.dynamo", "electrical.horn"}
	var digests []string
	t.Run("in the cellar", func(t *testing.T) {
		ctx := openIn(t, profile)
		ready(t, ctx, l.url+"/machines/"+noPapers+"/photos")
		l.set(func(l *line) { l.dead = true })
		for i, c := range components {
			file, digest := picture(t, fmt.Sprintf("cellar-%d.jpg", i), uint64(i), 300)
			digests = append(digests, digest)
			addPicture(t, ctx, file, c, fmt.Sprintf("cellar %d", i))
			saysSoon(t, ctx, []string{"One entry waits", "2 entries wait", "3 entries wait"}[i])
			until(t, ctx, `document.querySelector('form[data-keep]').elements.caption.value === ''`)
		}
		do(t, ctx, chromedp.Navigate(l.url+"/machines/drover/plan"))
		require.Contains(t, ask[string](t, ctx, "document.querySelector('h1').textContent"), "There is no signal")
		do(t, ctx, chromedp.Navigate(l.url+"/waiting"))
		until(t, ctx, "document.querySelectorAll('.entry').length === 3")
		assert.Equal(t, 3, ask[int](t, ctx, "document.querySelectorAll('.entry img').length"))
	}) // which closes the browser

	require.Empty(t, taken(record(t, s, noPapers), "cellar"))
	l.set(func(l *line) { l.dead = false })
	ctx := openIn(t, profile)
	do(t, ctx, chromedp.Navigate(l.url+"/"))
	saysSoon(t, ctx, "3 entries were sent and recorded")
	got := taken(record(t, s, noPapers), "cellar")
	require.Len(t, got, 3)
	for i, p := range got {
		assert.Equal(t, fmt.Sprintf("cellar %d", i), p.Caption, "the order is that in which they were taken")
		assert.Equal(t, digests[i], p.Digest, "the bytes are those of the file")
		assert.Equal(t, []string{components[i]}, p.Components)
	}
	assert.Len(t, slices.Compact(slices.Sorted(slices.Values(l.sent()))), 3)
	do(t, ctx, chromedp.Navigate(l.url+"/waiting"))
	until(t, ctx, "document.getElementById('waiting').textContent.includes('Nothing waits')")
}

// TestAnUploadBreaksInTheMiddle: the signal goes while a picture is under way.
func TestAnUploadBreaksInTheMiddle(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	l := lay(t, s)
	ready(t, ctx, l.url+"/machines/"+noPapers+"/photos")
	file, digest := picture(t, "large.jpg", 7, 1400)
	l.set(func(l *line) { l.cut = 300 << 10 })
	addPicture(t, ctx, file, "fuel.tank", "broken off")
	saysSoon(t, ctx, "Kept on this phone")
	require.Empty(t, taken(record(t, s, noPapers), "broken off"))
	l.set(func(l *line) { l.dead = false })
	ask[bool](t, ctx, `document.querySelector('#courier .send').click(); true`)
	saysSoon(t, ctx, "Sent and recorded")
	got := taken(record(t, s, noPapers), "broken off")
	require.Len(t, got, 1)
	assert.Equal(t, digest, got[0].Digest)
	assert.Equal(t, []string{"fuel.tank"}, got[0].Components)
	sent := l.sent()
	require.Len(t, sent, 2)
	assert.Equal(t, sent[0], sent[1], "both tries have one key")
	assert.Len(t, sent[0], 26, "the key is that of the form")
}

// TestALostAnswerIsNotASecondRecord: the registry records and the answer is
// lost, once more after the registry has forgotten the first try.
func TestALostAnswerIsNotASecondRecord(t *testing.T) {
	ctx := open(t)
	dir := demoRegistry(t)
	s := serve(t, dir)
	l := lay(t, s)
	ready(t, ctx, l.url+"/machines/"+noPapers+"/photos")
	before := record(t, s, noPapers).Version
	file, digest := picture(t, "twice.jpg", 9, 200)
	lose := func(n int) { l.set(func(l *line) { l.lose = n }) }
	lose(9) // a browser may try once more by itself
	addPicture(t, ctx, file, "fuel.tank", "answered by nobody")
	saysSoon(t, ctx, "Kept on this phone")
	require.Equal(t, before+1, record(t, s, noPapers).Version, "it was recorded")

	s.stop()
	s = serveAt(t, dir, s.addr)
	ask[bool](t, ctx, `document.querySelector('#courier .send').click(); true`)
	saysSoon(t, ctx, "Not sent")
	lose(0)
	ask[bool](t, ctx, `document.querySelector('#courier .send').click(); true`)
	saysSoon(t, ctx, "Sent and recorded")
	after := record(t, s, noPapers)
	assert.Equal(t, before+1, after.Version)
	require.Len(t, taken(after, "answered by nobody"), 1)
	assert.Equal(t, digest, taken(after, "answered by nobody")[0].Digest)
	assert.GreaterOrEqual(t, len(l.sent()), 3)
}

const workAt = "/machines/drover/work/entry"

// recordWork fills in the form for work and sends it.
func recordWork(t *testing.T, ctx context.Context, did string) {
	t.Helper()
	ask[bool](t, ctx, fmt.Sprintf(`(() => {
		const form = document.querySelector('form[data-keep=work]');
		form.elements.did.value = %q;
		form.elements.by.value = 'mechanic';
		form.querySelector('[name=already_done]').checked = true;
		form.querySelector('button[type=submit]').click();
		return true;
	})()`, did))
}

// TestOrderIsKept: what happened first is recorded first, though a later entry
// is made when the line is back.
func TestOrderIsKept(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	l := lay(t, s)
	ready(t, ctx, l.url+workAt)
	l.set(func(l *line) { l.dead = true })
	for _, did := range []string{"in order, first", "in order, second"} {
		recordWork(t, ctx, did)
		until(t, ctx, `document.querySelector('form[data-keep]').elements.did.value === ''`)
	}
	l.set(func(l *line) { l.dead = false })
	recordWork(t, ctx, "in order, third")
	// What the page says on the way depends on whether it had tried again by
	// itself; what is on record does not.
	var got []string
	require.Eventually(t, func() bool {
		got = nil
		for _, w := range record(t, s, "drover").Work {
			if rest, ok := strings.CutPrefix(w.Did, "in order, "); ok {
				got = append(got, rest)
			}
		}
		return len(got) == 3
	}, patience, 50*time.Millisecond)
	assert.Equal(t, []string{"first", "second", "third"}, got)
	assert.Equal(t, 3, len(l.sent()))
}

// TestARefusedFormIsShownAsItAlwaysWas: with a signal, what is wrong stands in
// the form itself and nothing is kept.
func TestARefusedFormIsShownAsItAlwaysWas(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	ready(t, ctx, s.url+workAt)
	recordWork(t, ctx, "")
	until(t, ctx, "document.getElementById('summary')")
	assert.Equal(t, "", ask[string](t, ctx, says))
	recordWork(t, ctx, "now it says what")
	until(t, ctx, "location.pathname === '/machines/drover/work'")
	assert.Contains(t, ask[string](t, ctx, "document.body.textContent"), "now it says what")
}

const mapAt = "/machines/drover/work/fasteners/timing-cover"

// typeHole fills in a hole to the map on the page and keeps it.
func typeHole(t *testing.T, ctx context.Context, length, head string) {
	t.Helper()
	if !ask[bool](t, ctx, "Boolean(document.getElementById('f-x-0'))") {
		do(t, ctx, chromedp.Click(chromedp.CSS("button[name=add]")))
	}
	until(t, ctx, "document.getElementById('f-x-0')")
	ask[bool](t, ctx, fmt.Sprintf(`(() => {
		const form = document.querySelector('form[data-keep=fasteners]');
		form.elements['x-0'].value = '25'; form.elements['y-0'].value = '50';
		form.elements['length-0'].value = %q; form.elements['head-0'].value = %q;
		form.elements.by.value = 'mechanic';
		form.querySelector('button.wide').click();
		return true;
	})()`, length, head))
}

// TestHolesAreAddedWithNoSignal by a tap and by a button, numbered on.
func TestHolesAreAddedWithNoSignal(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	l := lay(t, s)
	ready(t, ctx, l.url+mapAt)
	l.set(func(l *line) { l.dead = true })
	do(t, ctx, chromedp.Click(chromedp.CSS("input[type=image]")), chromedp.Click(chromedp.CSS("button[name=add]")))
	until(t, ctx, "document.querySelectorAll('fieldset.hole').length === 2")
	assert.InDelta(t, 50, ask[float64](t, ctx, "Number(document.getElementById('f-x-0').value)"), 0.5, "a click is in the middle")
	assert.InDelta(t, 50, ask[float64](t, ctx, "Number(document.getElementById('f-y-0').value)"), 0.5)
	assert.Equal(t, []string{"Hole 1", "Hole 2"}, ask[[]string](t, ctx, "Array.from(document.querySelectorAll('fieldset.hole legend'), e => e.textContent)"))
	assert.Equal(t, 1, ask[int](t, ctx, "document.querySelectorAll('.tapped svg circle').length"))
	assert.True(t, ask[bool](t, ctx, "Array.from(document.querySelectorAll('fieldset.hole input')).every(i => i.labels.length === 1)"))
}

// theirMap records a map of the same cover past the phone.
func theirMap(t *testing.T, s *site) {
	t.Helper()
	body := `{"record":"fastener-map","id":"their-map","opening":"timing-cover","by":"second","fasteners":[{"hole":"1","x":0.25,"y":0.5,"length":44,"head":"slotted","hand":"right","felt":"tight"}]}`
	r, err := http.NewRequest(http.MethodPost, s.url+"/api/v1/machines/drover/records", strings.NewReader(body))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("If-Match", fmt.Sprintf(`"%d"`, record(t, s, "drover").Version))
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusCreated, answer.StatusCode, string(text))
}

func events(t *testing.T, s *site, machine string) string {
	t.Helper()
	answer, err := http.Get(s.url + "/api/v1/machines/" + machine + "/events")
	require.NoError(t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return string(text)
}

// quarrel brings a phone and the registry to say different things of one cover,
// with another entry behind.
func quarrel(t *testing.T) (context.Context, *site, *line) {
	t.Helper()
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	l := lay(t, s)
	ready(t, ctx, l.url+mapAt)
	l.set(func(l *line) { l.dead = true })
	typeHole(t, ctx, "42", "hexagon")
	saysSoon(t, ctx, "Kept on this phone")
	typeHole(t, ctx, "43", "hexagon") // about the same cover: has to wait
	saysSoon(t, ctx, "2 entries wait")
	theirMap(t, s)
	l.set(func(l *line) { l.dead = false })
	ready(t, ctx, l.url+workAt)
	saysSoon(t, ctx, "The registry has refused one entry")
	saysSoon(t, ctx, "One entry waits")
	recordWork(t, ctx, "behind a quarrel")
	until(t, ctx, "document.body.textContent.includes('behind a quarrel') || "+says+".includes('Sent')")
	require.Contains(t, events(t, s, "drover"), "behind a quarrel", "what is about something else goes on")
	ready(t, ctx, l.url+"/waiting")
	until(t, ctx, "document.querySelectorAll('.entry').length === 2")
	text := ask[string](t, ctx, "document.querySelector('main').innerText")
	assert.Contains(t, text, "mapped already")
	assert.Contains(t, text, "waits for an entry before it about the same thing")
	ask[bool](t, ctx, `document.querySelector('.entry .send').click(); true`)
	until(t, ctx, "document.querySelector('.beside table')")
	return ctx, s, l
}

func push(t *testing.T, ctx context.Context, text string) {
	t.Helper()
	until(t, ctx, fmt.Sprintf(`(() => { const b = Array.from(document.querySelectorAll('main button, main .button')).find(b => b.textContent === %q); b?.click(); return b; })()`, text))
}

// TestAQuarrelIsShownAndSettled by a correction of theirs.
func TestAQuarrelIsShownAndSettled(t *testing.T) {
	ctx, s, _ := quarrel(t)
	rows := ask[[]string](t, ctx, `Array.from(document.querySelectorAll('.beside tr.picked'), r => r.textContent)`)
	joined := strings.Join(rows, "\n")
	assert.Contains(t, joined, "Hole 1, Length, mm differs4244")
	assert.Contains(t, joined, "Hole 1, Head differshexagonslotted")
	assert.NotContains(t, joined, "From left", "what agrees is not marked")
	push(t, ctx, "Send mine as a correction")
	until(t, ctx, "document.querySelectorAll('.entry').length === 1")
	text := events(t, s, "drover")
	assert.Equal(t, 1, strings.Count(text, `"supersedes":"their-map"`), "mine corrects theirs, which stays on record")
	// The entry behind is let go, and is refused in its turn: mine stands now.
	until(t, ctx, "document.querySelector('.entry .mark.gone')")
}

// TestAQuarrelIsGivenUp for theirs, after one more question.
func TestAQuarrelIsGivenUp(t *testing.T) {
	ctx, s, _ := quarrel(t)
	version := record(t, s, "drover").Version
	push(t, ctx, "Keep theirs and delete mine")
	push(t, ctx, "No, leave it")
	until(t, ctx, "document.querySelectorAll('.entry').length === 2 && !document.querySelector('.caution.stop')")
	push(t, ctx, "Keep theirs and delete mine")
	push(t, ctx, "Yes, delete it")
	until(t, ctx, "document.querySelectorAll('.entry').length === 1")
	assert.Equal(t, version, record(t, s, "drover").Version)
}

// TestAQuarrelIsMended in the form that it came from.
func TestAQuarrelIsMended(t *testing.T) {
	ctx, s, l := quarrel(t)
	push(t, ctx, "Edit mine")
	until(t, ctx, "document.body.textContent.includes('This form is filled in')")
	assert.Equal(t, "42", ask[string](t, ctx, "document.getElementById('f-length-0').value"))
	assert.Equal(t, "their-map", ask[string](t, ctx, "document.querySelector('[name=replaces]').value"))
	typeHole(t, ctx, "41.5", "hexagon")
	until(t, ctx, "location.pathname === '/machines/drover/work'")
	text := events(t, s, "drover")
	assert.Contains(t, text, `41.5`)
	ready(t, ctx, l.url+"/waiting")
	until(t, ctx, "document.querySelectorAll('.entry').length === 1")
}

// TestOldEntriesAreLoud moves the clock of the phone on.
func TestOldEntriesAreLoud(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	l := lay(t, s)
	ready(t, ctx, l.url+workAt)
	l.set(func(l *line) { l.dead = true })
	recordWork(t, ctx, "long ago")
	saysSoon(t, ctx, "One entry waits")
	for _, c := range []struct {
		days         int
		class, words string
	}{{0, "", "made less than a minute ago"}, {2, "warn", "for more than a day"}, {6, "loud", "more than five days"}} {
		added, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
			Source: fmt.Sprintf(`{ const now = Date.now; Date.now = () => now() + %d * 86400000; }`, c.days)})
		require.NoError(t, err)
		do(t, ctx, chromedp.Navigate(l.url+"/waiting"))
		saysSoon(t, ctx, c.words)
		assert.Equal(t, strings.TrimSpace("courier on "+c.class), ask[string](t, ctx, "document.getElementById('courier').className.trim()"))
		_, err = chromedp.Call(ctx, page.RemoveScriptToEvaluateOnNewDocument, page.RemoveScriptToEvaluateOnNewDocumentParams(added))
		require.NoError(t, err)
	}
}

// TestKeptPagesOpenWithNoSignal keeps a machine, loses the line, and works.
func TestKeptPagesOpenWithNoSignal(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	l := lay(t, s)
	ready(t, ctx, l.url+"/machines/drover/work")
	push(t, ctx, "Keep on this phone")
	until(t, ctx, "document.querySelector('.keepable .hint').textContent.startsWith('Kept on this phone at ')")
	l.set(func(l *line) { l.dead = true })
	do(t, ctx, chromedp.Navigate(l.url+"/machines/drover/work?recorded=e1"))
	saysSoon(t, ctx, "This page is the copy that was kept on this phone at ")
	do(t, ctx, chromedp.Navigate(l.url+workAt))
	for i := range 2 { // two entries from one kept page are two
		recordWork(t, ctx, fmt.Sprintf("from a kept page, %d", i))
		until(t, ctx, `document.querySelector('form[data-keep]').elements.did.value === ''`)
	}
	do(t, ctx, chromedp.Navigate(l.url+"/machines/drover/plan"))
	until(t, ctx, "document.querySelector('h1').textContent === 'There is no signal'")
	until(t, ctx, "document.querySelectorAll('#kept a').length > 3")
	l.set(func(l *line) { l.dead = false })
	do(t, ctx, chromedp.Navigate(l.url+"/waiting"))
	saysSoon(t, ctx, "2 entries were sent and recorded")
	assert.Equal(t, 2, strings.Count(events(t, s, "drover"), "from a kept page, "))
	push(t, ctx, "Remove from this phone")
	until(t, ctx, "document.getElementById('kept').textContent.includes('No machine is kept')")

	held := ask[[]string](t, ctx, `caches.keys().then(async names => { const out = [];
		for (const n of names) for (const r of await (await caches.open(n)).keys()) out.push(r.method + ' ' + new URL(r.url).pathname); return out; })`)
	for _, at := range held {
		assert.Regexp(t, `^GET /(static/|waiting$|offline$)`, at, "nothing else is left in the browser")
	}
}

// stops is how many components are surveyed with no signal.
const stops = 12

// fresh is a machine of which nothing is surveyed yet.
const fresh = "fellside-350"

// TestTheSurveyGoesOnWithNoSignal from one kept stop to the next, each with a
// picture; afterwards each is on record once.
func TestTheSurveyGoesOnWithNoSignal(t *testing.T) {
	ctx := open(t)
	dir := demoRegistry(t)
	command(t, dir, "take-in", fresh, "--invented", "--make", "Thirlbeck", "--model", "Fellside 350", "--year", "1952", "--owner", "Imogen Aske", "--custodian", "Tamsin Orde", "--authority", "registration")
	s := serve(t, dir)
	l := lay(t, s)
	at := "/machines/" + fresh + "/survey"
	ready(t, ctx, l.url+at)
	push(t, ctx, "Keep on this phone")
	until(t, ctx, "document.querySelector('.keepable .hint').textContent.startsWith('Kept on this phone at ')")
	l.set(func(l *line) { l.dead = true })
	do(t, ctx, chromedp.Navigate(l.url+at+"/fuel.tank?by=mechanic"))
	var digests []string
	for i := range stops {
		saysSoon(t, ctx, "This page is the copy")
		file, digest := picture(t, fmt.Sprintf("stop-%d.jpg", i), uint64(20+i), 250)
		digests = append(digests, digest)
		do(t, ctx, chromedp.SetUploadFiles(chromedp.CSS(".camera input"), []string{file}))
		was := ask[string](t, ctx, fmt.Sprintf(`(() => {
			const form = document.querySelector('form[data-keep=survey]');
			form.elements.by.value = 'mechanic';
			if (!form.querySelector('[name=there]:checked')) form.querySelector('[name=there]').checked = true;
			form.elements.note.value = 'seen with no signal, %d';
			form.querySelector('[name=then][value=on]').click();
			return location.pathname;
		})()`, i))
		until(t, ctx, fmt.Sprintf("location.pathname !== %q", was))
		if i > 0 {
			saysSoon(t, ctx, fmt.Sprintf("%d entries wait", i+1))
		}
	}
	l.set(func(l *line) { l.dead = false })
	do(t, ctx, chromedp.Navigate(l.url+"/waiting"))
	saysSoon(t, ctx, fmt.Sprintf("%d entries were sent and recorded", stops))
	text := events(t, s, fresh)
	for i, digest := range digests {
		assert.Equal(t, 1, strings.Count(text, fmt.Sprintf(`"seen with no signal, %d"`, i)))
		assert.Equal(t, 1, strings.Count(text, digest), "the picture of stop %d", i)
	}
}

// TestOwnersPagesStayOut: no script, and nothing of them is kept.
func TestOwnersPagesStayOut(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	ready(t, ctx, s.url+"/")
	do(t, ctx, chromedp.Navigate(s.url+"/o/no-such-link"))
	assert.Equal(t, 0, ask[int](t, ctx, "document.scripts.length + document.querySelectorAll('link[rel=manifest], #courier').length"))
	assert.False(t, ask[bool](t, ctx, `caches.keys().then(async names => { for (const n of names) if (await (await caches.open(n)).match(location.href)) return true; return false; })`))
}

// TestAPlainConnectionKeepsNothing: a browser withholds all of it from a plain
// address of another computer, and the forms are sent as they are.
func TestAPlainConnectionKeepsNothing(t *testing.T) {
	ctx := open(t, chromedp.Flag("host-resolver-rules", "MAP garage.test 127.0.0.1"))
	s := serve(t, demoRegistry(t), "--plain-http", "--host", "garage.test", "--everyone-on-this-network")
	at := strings.Replace(s.url, "127.0.0.1", "garage.test", 1)
	do(t, ctx, chromedp.Navigate(at+workAt))
	require.False(t, ask[bool](t, ctx, "window.isSecureContext"))
	saysSoon(t, ctx, "pictures and forms are sent at once")
	recordWork(t, ctx, "sent in the open")
	until(t, ctx, "location.pathname === '/machines/drover/work'")
	assert.Equal(t, 1, strings.Count(events(t, s, "drover"), "sent in the open"))
}

// TestWhereNothingCanBeKept: the forms are sent as they are, and a line says so.
func TestWhereNothingCanBeKept(t *testing.T) {
	for _, c := range []struct{ name, script, says string }{
		{"no database", `Object.defineProperty(window, 'indexedDB', {value: {open() { throw new DOMException('no', 'SecurityError'); }}});`, "This browser keeps nothing"},
		{"no room", `IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); };`, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			ctx := open(t)
			s := serve(t, demoRegistry(t))
			_, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: c.script})
			require.NoError(t, err)
			do(t, ctx, chromedp.Navigate(s.url+workAt))
			if c.says != "" {
				saysSoon(t, ctx, c.says)
			} else {
				until(t, ctx, "navigator.serviceWorker.ready")
			}
			recordWork(t, ctx, "sent as it is")
			until(t, ctx, "location.pathname === '/machines/drover/work'")
			assert.Equal(t, 1, strings.Count(events(t, s, "drover"), "sent as it is"))
		})
	}
}
