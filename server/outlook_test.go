package server

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/workshop"
)

// typedIn posts a form and follows it where it leads.
func typedIn(b *bench, path string, fields ...string) (status int, page string) {
	form := url.Values{"by": {"tamsin"}, "key": {newKey()}}
	for i := 0; i < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	rec := b.post(path, form.Encode())
	if rec.Code == http.StatusSeeOther {
		return rec.Code, b.get(rec.Header().Get("Location")).Body.String()
	}
	return rec.Code, rec.Body.String()
}

func pageText(t *testing.T, page string) string { return readPage(t, page).text() }

func TestSayingWhatLeavingLeadsTo(t *testing.T) {
	b := drover(t)
	const path = "/machines/drover-1957/faults/magneto/leaving"
	readPage(t, b.get(path).Body.String()).landmarks()
	status, page := typedIn(b, path, "then", "It leaves her at the roadside.", "source", "own log", "depth", "0.65", "error", "0.08", "wall", "0.9", "age", "38", "exponents", "0.3, 0.5, 0.7")
	require.Equal(t, http.StatusSeeOther, status, pageText(t, page))
	text := pageText(t, page)
	require.Contains(t, text, "If it is left: It leaves her at the roadside.")
	require.Contains(t, text, "The deepest pit is through in")
	require.Contains(t, text, "Say anew what leaving it leads to")

	// Said anew, it takes the place of the first.
	hidden := attr(readPage(t, b.get(path).Body.String()).one("input", "name", "supersedes"), "value")
	status, page = typedIn(b, path, "supersedes", hidden, "then", "It gets worse.", "source", "own log", "rates", "0.1, 0.2, 0.3", "years", "5")
	require.Equal(t, http.StatusSeeOther, status, pageText(t, page))
	require.Contains(t, pageText(t, page), "Within 5 years it happens with a chance of 63 %, between 39 % and 78 %.")
	require.NotContains(t, pageText(t, page), "roadside")

	for _, c := range []struct {
		fields []string
		says   string
	}{
		{[]string{"then", "x", "source", "y"}, "There is no figure for what time does"},
		{[]string{"then", "x", "source", "y", "depth", "1", "wall", "0.9", "age", "38", "exponents", "0.3, 0.5, 0.7"}, "The pit is through the wall already"},
		{[]string{"then", "x", "source", "y", "rates", "a bit", "years", "5"}, "These are not three numbers"},
	} {
		before := b.end()
		status, page := typedIn(b, path, c.fields...)
		require.Equal(t, http.StatusUnprocessableEntity, status)
		require.Contains(t, pageText(t, page), c.says)
		require.Equal(t, before, b.end())
	}
	require.Equal(t, http.StatusNotFound, b.get("/machines/drover-1957/faults/nothing/leaving").Code)
}

func TestSayingHowItMayEnd(t *testing.T) {
	b := drover(t)
	const path = "/machines/drover-1957/options/rewind/risk"
	readPage(t, b.get(path).Body.String()).landmarks()
	status, page := typedIn(b, path, "outcomes", "no harm; 0.86; 0 GBP\nlocal damage; 0.10; 84.7 GBP\nfinish lost; 0.04; 349.8 GBP", "source", "an invented log")
	require.Equal(t, http.StatusSeeOther, status, pageText(t, page))
	// The worked example of the value at risk: expected 22.47, the worst twentieth 296.8.
	require.Contains(t, pageText(t, page), "On average a loss of 22 GBP; the worst twentieth of all such jobs loses 297 GBP on average.")
	for _, c := range []struct{ outcomes, source, says string }{
		{"no harm; 0.5; 0 GBP", "log", "The chances do not sum to 1"},
		{"no harm; 1; 0 GBP", "", "The chances have no source"},
		{"no harm; often; 0 GBP", "log", "Line 1: the chance is not a number"},
		{"no harm; 1; few GBP", "log", "this is not an amount of money"},
		{"a; 1; 0; b", "log", "more than three parts"},
	} {
		status, page := typedIn(b, path, "outcomes", c.outcomes, "source", c.source)
		require.Equal(t, http.StatusUnprocessableEntity, status, c.outcomes)
		require.Contains(t, pageText(t, page), c.says)
	}
}

func TestThePartsPage(t *testing.T) {
	b := drover(t)
	const path = "/machines/drover-1957/parts"
	page := readPage(t, b.get(path).Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "What must be in hand")
	for _, look := range [][]string{{"2017-04/2025-04", "no", ""}, {"2018-06-02", "yes", "200"}, {"2021-10-10", "yes", "350"}, {"2024-03-17", "yes", "600"}} {
		status, page := typedIn(b, path, "record", "search", "what", "magneto", "where", "a jumble", "found", look[1], "asked", look[2], "asked_currency", "GBP", "valid", look[0])
		require.Equal(t, http.StatusSeeOther, status, pageText(t, page))
	}
	status, said := typedIn(b, path, "record", "search", "what", "magneto", "where", "a jumble")
	require.Equal(t, http.StatusUnprocessableEntity, status)
	require.Contains(t, pageText(t, said), "It is not said whether one was on offer")
	status, said = typedIn(b, path, "record", "stock", "what", "magneto", "origin", "donor", "source", "a shelf", "paid", "40", "paid_currency", "GBP")
	require.Equal(t, http.StatusSeeOther, status, pageText(t, said))
	require.Contains(t, pageText(t, said), "no evidence of where it is from yet")

	rec := b.get(path + "?buy=magneto&substitute=520&waiting=60&discount=0.03&years=5")
	require.Equal(t, http.StatusOK, rec.Code)
	text := pageText(t, rec.Body.String())
	require.Contains(t, text, "Seen 3 times in 8.")
	require.Contains(t, text, "year 5: up to 565 GBP") // (520 + 60)/1.03 … as the worked example
	require.Equal(t, http.StatusUnprocessableEntity, b.get(path+"?buy=magneto&substitute=much").Code)
	require.Contains(t, pageText(t, b.get(path+"?buy=nothing&substitute=5&waiting=0&discount=0&years=2").Body.String()), "No figure: Up to what price to buy cannot be said.")

	var parts workshop.PartsReport
	require.NoError(t, json.Unmarshal(b.get("/api/v1/machines/drover-1957/parts?ahead=3").Body.Bytes(), &parts))
	require.Len(t, parts.Log, 4)
	require.Len(t, parts.Stock, 1)
	require.Equal(t, http.StatusUnprocessableEntity, b.get("/api/v1/machines/drover-1957/parts?ahead=soon").Code)
}

// The page's sums are those of the worked example: with a chance of one half
// for "original" the test is worth 62.5.
func TestIsATestWorthItsPrice(t *testing.T) {
	b := drover(t)
	const path = "/machines/drover-1957/components/ignition.magneto/test"
	page := readPage(t, b.get(path+"?about=origin").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "Where did this part come from?")
	asked := path + "?about=origin&state=original&first=keep&first_yes=5200&first_no=4100&second=refinish&second_yes=3900&second_no=4400&says_yes=0.9&says_no=0.85&cost=45"
	text := pageText(t, b.get(asked).Body.String())
	require.Contains(t, text, "For the decision the test is worth")
	require.Contains(t, text, "The choice turns at 19 % for original.")
	require.Contains(t, text, "For the record it buys")
	for _, bad := range []string{strings.Replace(asked, "says_yes=0.9", "says_yes=9", 1), strings.Replace(asked, "first_no=4100", "first_no=", 1), strings.Replace(asked, "state=original", "state=golden", 1)} {
		rec := b.get(bad)
		require.Equal(t, http.StatusUnprocessableEntity, rec.Code, bad)
		require.Contains(t, pageText(t, rec.Body.String()), "There is a problem")
	}
}

func TestAPriceSeriesOnThePage(t *testing.T) {
	b := priced(t)
	ok := b.get(askedValue + "&series=" + url.QueryEscape("2025-01, 100\n2026-12, 120"))
	require.Equal(t, http.StatusOK, ok.Code)
	require.NotEqual(t, pageText(t, b.get(askedValue).Body.String()), pageText(t, ok.Body.String()))
	rec := b.get(askedValue + "&series=" + url.QueryEscape("2025-01: 100"))
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, pageText(t, rec.Body.String()), "Line 1 is not a date and an index")
}
