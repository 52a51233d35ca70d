package server

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

const cardAt = "/machines/drover-1957/work/card/external-condenser"

// tap posts one button of a page.
func tap(b *bench, path string, values ...string) (int, parsed) {
	b.t.Helper()
	form := url.Values{"by": {"tamsin"}, "version": {itoa(b.load().Version())}, "key": {newKey()}}
	for i := 0; i+1 < len(values); i += 2 {
		form.Set(values[i], values[i+1])
	}
	rec := b.post(path, form.Encode())
	if rec.Code == http.StatusSeeOther {
		to, _, _ := strings.Cut(rec.Header().Get("Location"), "#")
		page := readPage(b.t, b.get(to).Body.String())
		page.landmarks()
		return rec.Code, page
	}
	page := readPage(b.t, rec.Body.String())
	page.landmarks()
	return rec.Code, page
}

// readAll reads every caution of the card.
func readAll(b *bench) {
	b.t.Helper()
	card, err := b.w.Card(context.Background(), "drover-1957", "external-condenser")
	require.NoError(b.t, err)
	for _, c := range card.Cautions {
		if c.Unread() {
			code, _ := tap(b, cardAt+"/caution", "caution", c.ID)
			require.Equal(b.t, http.StatusSeeOther, code)
		}
	}
}

func TestTheCardStopsBeforeTheOwnersWord(t *testing.T) {
	b := drover(t)
	page := readPage(t, b.get(cardAt).Body.String())
	page.landmarks()
	for _, s := range []string{"Not approved: do not begin", "The owner has not answered", "Ask the owner", "Do not open it yet", "No approved option covers this opening", "make it safe and no more", "does it rock?"} {
		require.Contains(t, page.text(), s)
	}
	require.Empty(t, page.all("input", "name", "opening"), "no button to open it with")
	at := b.end()
	code, page := tap(b, cardAt+"/open", "opening", "magneto-off")
	require.Equal(t, http.StatusConflict, code)
	require.Contains(t, textOf(page.one("div", "id", "summary")), "change request")
	require.Equal(t, at, b.end())
}

func TestTheCardWithOneHand(t *testing.T) {
	b := drover(t)
	b.approve()
	page := readPage(t, b.get(cardAt).Body.String())
	for _, s := range []string{"and no more than this", "At most 110 GBP, nothing is spent yet", "Base gasket: in hand", "Magneto, drive side", "Joint magneto mount: undisturbed"} {
		require.Contains(t, page.text(), s)
	}
	readAll(b)
	code, page := tap(b, cardAt+"/open", "opening", "magneto-off")
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, page.text(), "Opened 2 March 2026 approved")

	// A note as it was spoken, with its time, and taken back: it stays readable.
	code, page = tap(b, cardAt+"/step", "did", "erm   nut was left-hand I think")
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, textOf(page.one("section", "id", "steps")), "2 March 2026, 09:")
	step := attr(page.one("input", "name", "step"), "value")
	code, page = tap(b, cardAt+"/undo", "step", step)
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, textOf(page.one("li", "id", step)), "undone")
	require.Empty(t, page.all("input", "name", "step"))
	code, _ = tap(b, cardAt+"/undo", "step", step)
	require.Equal(t, http.StatusConflict, code)

	// Nothing is lost of a step that says too little.
	code, _ = tap(b, cardAt+"/step", "did", "")
	require.Equal(t, http.StatusUnprocessableEntity, code)
}

// Two people hold the card of one version: the second is told, and keeps what
// was typed.
func TestTwoAtOneCard(t *testing.T) {
	b := drover(t)
	b.approve()
	seen := itoa(b.load().Version())
	code, _ := tap(b, cardAt+"/step", "did", "plug lead off", "version", seen)
	require.Equal(t, http.StatusSeeOther, code)
	code, page := tap(b, cardAt+"/step", "did", "points cap off", "version", seen, "by", "reuben")
	require.Equal(t, http.StatusConflict, code)
	require.Contains(t, textOf(page.one("div", "id", "summary")), "has moved on")
	require.Equal(t, "points cap off", textOf(page.one("textarea", "id", "f-did")))
	require.Contains(t, textOf(page.one("section", "id", "steps")), "plug lead off")
	require.Len(t, registry.Live[*registry.Step](b.load()), 1)
	code, _ = tap(b, cardAt+"/step", "did", "points cap off", "by", "reuben")
	require.Equal(t, http.StatusSeeOther, code)
	require.Len(t, registry.Live[*registry.Step](b.load()), 2)
}

func TestNoOpeningWithoutItsGasket(t *testing.T) {
	b := drover(t)
	b.approve()
	readAll(b)
	b.record(&registry.Opening{Common: registry.Common{ID: "magneto-off-2", Supersedes: "magneto-off"}, Title: "Take the magneto off", Joints: []string{"magneto-mount"}, Hours: 1.5, WitnessPoints: 0.4,
		Needs: []registry.Need{{What: "base gasket"}}})
	page := readPage(t, b.get(cardAt).Body.String())
	require.Contains(t, page.text(), "Base gasket: not in hand, order it")
	code, page := tap(b, cardAt+"/open", "opening", "magneto-off-2")
	require.Equal(t, http.StatusConflict, code)
	require.Contains(t, textOf(page.one("div", "id", "summary")), "base gasket is not in hand. Order it, and open when it has arrived.")
	b.record(&registry.StockPart{Common: id("gasket"), What: "Base  gasket", Origin: "reproduction", Source: "a gasket cutter", By: "tamsin"})
	code, page = tap(b, cardAt+"/open", "opening", "magneto-off-2")
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, page.text(), "Base gasket: in stock")
}

func TestMappingByTapsAndClosing(t *testing.T) {
	b := worked(t)
	at := "/machines/drover-1957/work/fasteners/magneto-off"
	require.Equal(t, http.StatusSeeOther, b.get("/machines/drover-1957/work/close/magneto-off").Code, "the map comes first")
	page := readPage(t, b.get(at).Body.String())
	page.landmarks()
	require.Equal(t, "/machines/drover-1957/photos/"+b.photo, attr(page.one("input", "type", "image"), "src"), "the as-found picture")

	// The picture is 400 by 300 and shown 280 by 210: a tap at 70, 105 is at a
	// quarter of its width and half of its height. Nothing is recorded by it.
	end := b.end()
	code, page := tap(b, at+"/tap", "photo", "photo-magneto", "tap.x", "70", "tap.y", "105")
	require.Equal(t, http.StatusOK, code)
	require.Equal(t, "25", attr(page.one("input", "id", "f-x-0"), "value"))
	require.Equal(t, "50", attr(page.one("input", "id", "f-y-0"), "value"))
	require.Equal(t, "1", attr(page.one("input", "id", "f-hole-0"), "value"))
	require.Equal(t, end, b.end())

	rows := []string{"photo", "photo-magneto", "option", "external-condenser",
		"hole-0", "1", "x-0", "25", "y-0", "50", "length-0", "42", "hand-0", "right", "felt-0", "normal",
		"hole-1", "2", "x-1", "75", "y-1", "50", "length-1", "45", "hand-1", "left", "felt-1", "tight"}
	code, page = tap(b, at, append(rows, "x-1", "175")...)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, textOf(page.one("div", "id", "summary")), "Hole 2:")
	require.Equal(t, "175", attr(page.one("input", "id", "f-x-1"), "value"), "what was typed is kept")
	code, page = tap(b, at, rows...)
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, page.text(), "Easily swapped, 3 mm (0.12 in) apart: the 45 mm (1.77 in) of hole 2 and the 42 mm (1.65 in) of hole 1.")
	require.Contains(t, page.text(), "Left-hand as found: hole 2.")
	require.NotEmpty(t, page.all("circle", "class", "lefthand"))

	again := readPage(t, b.get(at).Body.String())
	require.Equal(t, "45", attr(again.one("input", "id", "f-length-1"), "value"), "the map is there to be corrected")

	shut := "/machines/drover-1957/work/close/magneto-off"
	readPage(t, b.get(shut).Body.String()).landmarks()
	for _, c := range []struct {
		values []string
		says   string
	}{
		{[]string{"back-0", "none"}, "no fastener is in hole 1; the fastener of hole 1 went nowhere"},
		{[]string{"back-0", "hole 2", "back-1", "hole 1"}, "it would bottom before it holds"},
		{[]string{"left", "1"}, "1 are left over"},
		{[]string{"back-0", "new"}, "not said what the new fastener in hole 1 is"},
	} {
		code, page = tap(b, shut, c.values...)
		require.GreaterOrEqual(t, code, 400)
		require.Contains(t, textOf(page.one("div", "id", "summary")), c.says)
	}
	require.Empty(t, registry.Live[*registry.Closed](b.load()))
	code, page = tap(b, shut, "option", "external-condenser", "gasket", "the new one", "left", "0")
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, page.text(), "and closed since")
	require.Contains(t, page.text(), "Closed 2 March 2026 by Tamsin Orde")
	code, page = tap(b, shut, "left", "0")
	require.Equal(t, http.StatusConflict, code)
	require.Contains(t, textOf(page.one("div", "id", "summary")), "is closed already")
	b.record(&registry.Opened{Opening: "magneto-off", By: "tamsin"})
	code, _ = tap(b, shut, "left", "0")
	require.Equal(t, http.StatusSeeOther, code, "opened again, it can be closed again")
}

func TestALabelLeadsToItsRecord(t *testing.T) {
	b := worked(t)
	rec := b.get("/t/drover-1957/old-condenser")
	require.Equal(t, "/machines/drover-1957/work#old-condenser", rec.Header().Get("Location"))
	require.Equal(t, http.StatusNotFound, b.get("/t/drover-1957/nothing").Code)
	require.Equal(t, "%PDF drover-1957 http://127.0.0.1:8350 roll", b.get("/machines/drover-1957/work/labels.pdf?layout=roll").Body.String())
	require.Equal(t, "%PDF drover-1957 external-condenser", b.get(cardAt+"/card.pdf").Body.String())

	var card workshop.CardReport
	require.NoError(t, json.Unmarshal(b.get("/api/v1/machines/drover-1957/options/external-condenser/card").Body.Bytes(), &card))
	require.Equal(t, "17.4 GBP", strings.Replace(card.Approval.Spent, "17.40", "17.4", 1))
	require.Len(t, card.Removed, 1)
}
