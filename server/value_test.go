package server

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// priced is the worked example with twelve invented sales of like machines.
func priced(t *testing.T) *bench {
	t.Helper()
	b := drover(t)
	var sales []registry.Body
	for i := range 12 {
		sales = append(sales, &registry.ComparableSale{Common: registry.Common{ID: fmt.Sprintf("sale-%02d", i+1), Valid: registry.Date(fmt.Sprintf("2025-%02d-14", i+1))}, Source: "invented list", PriceKind: "hammer",
			Price: gbp(t, itoa(3800+i*i%7*420)), Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Substance: ptr(0.5 + 0.045*float64(i)), Surface: ptr(0.5 + 0.04*float64(i*5%12)),
			Condition: ptr(1 + i%5), Distance: ptr(9000 + 3000*float64(i)), Unit: "mi", Running: ptr(i%2 == 0), Documented: ptr(i%3 == 0)})
	}
	b.record(sales...)
	return b
}

const askedValue = "/machines/drover-1957/value?option=external-condenser&option=rewind&distance=33800&unit=km&condition=2&condition_after=3&documented=yes&running_after=yes"

func TestTheValuePage(t *testing.T) {
	b := priced(t)
	at := b.end()
	empty := readPage(t, b.get("/machines/drover-1957/value").Body.String())
	empty.landmarks()
	require.Contains(t, empty.text(), "What the dial shows")
	require.NotContains(t, empty.text(), "The answer")

	rec := b.get(askedValue)
	require.Equal(t, http.StatusOK, rec.Code)
	page := readPage(t, rec.Body.String())
	page.landmarks()
	text := page.text()
	var value workshop.ValueReport
	body := `{"options":["external-condenser","rewind"],"distance":` + numberJSON(33800/workshop.KilometresPerMile) + `,"condition_before":2,"condition_after":3,"documented":true,"running":false,"running_after":true}`
	require.NoError(t, json.Unmarshal(b.send(machineAPI+"/value", body).Body.Bytes(), &value))
	for _, a := range value.Result.Afters {
		require.Contains(t, text, "It multiplies the value by "+indexWords(a.Ratio.Median)+", with a chance of 80 % by "+indexWords(a.Ratio.Low10)+" to "+indexWords(a.Ratio.High90))
	}
	for _, s := range append([]string{"Set a condenser outside", "Rewind the armature", "It promises no price", "What each sale does", "sale-12", "What this rests on"}, value.Assumptions...) {
		require.Contains(t, text, s)
	}
	require.Less(t, strings.Index(text, "It multiplies the value"), strings.Index(text, "As it stands it would fetch"), "the ratio comes first")
	require.NotContains(t, text, "--", "no flags of the command line")
	require.Equal(t, "33800", attr(page.one("input", "id", "f-distance"), "value"))
	require.Equal(t, at, b.end(), "looking changes nothing")

	tag := rec.Header().Get("ETag")
	require.Equal(t, http.StatusNotModified, b.ask(withHeader(http.MethodGet, askedValue, "If-None-Match", tag)).Code)
	b.clock.Add(24 * 3600)
	require.Equal(t, http.StatusOK, b.ask(withHeader(http.MethodGet, askedValue, "If-None-Match", tag)).Code, "tomorrow it is another answer")
}

func numberJSON(v float64) string {
	raw, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(raw)
}

func TestTheValuePageSaysWhatIsWrong(t *testing.T) {
	b := priced(t)
	m := "/machines/drover-1957/value?option=rewind"
	for query, says := range map[string]string{"": "how far the machine has run", "&distance=far": "not a number", "&distance=1&condition=9": "from 0 to 5", "&distance=21000&together=yes&option=external-condenser": "rivals"} {
		rec := b.get(m + query)
		require.Equal(t, http.StatusUnprocessableEntity, rec.Code, query)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		require.Contains(t, page.title(), "Error:")
		require.Contains(t, page.text(), says, query)
	}
	require.Equal(t, http.StatusNotFound, b.get("/machines/drover-1957/value?option=magic&distance=21000").Code)
}

// TestTheOwnerIsShownTheValue proposes with a valuation by the form.
func TestTheOwnerIsShownTheValue(t *testing.T) {
	b := priced(t)
	form := readPage(t, b.get("/machines/drover-1957/propose").Body.String())
	send := hidden(form, url.Values{"to": {"imogen"}, "by": {"tamsin"}, "options": {"leave-it", "external-condenser"}, "recommended-magneto": {"external-condenser"}, "expires": {"2026-04-01"}, "ceiling": {"40"}, "ceiling_currency": {"GBP"},
		"value_distance": {"21000"}, "value_unit": {"mi"}, "value_condition_after": {"4"}, "value_running_after": {"yes"}})
	rec := b.post("/machines/drover-1957/propose", send.Encode())
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	for _, path := range []string{"/machines/drover-1957/proposals/" + proposalID(b), "/o/" + b.token + "/q/" + proposalID(b)} {
		page := readPage(t, b.get(path).Body.String())
		page.landmarks()
		for _, s := range []string{"What it does to the value", "What is recommended, together. It multiplies the value by", "It promises no price"} {
			require.Contains(t, page.text(), s, path)
		}
	}
	require.NotContains(t, b.get("/machines/drover-1957/proposals/ask-magneto").Body.String(), "What it does to the value", "not every offer has one")

	rec = b.send(machineAPI+"/proposals", `{"to":"imogen","by":"tamsin","options":["external-condenser"],"recommended":["external-condenser"],"expires":"2026-04-02T00:00:00Z","value":{"distance":21000,"documented":false,"running":true}}`, "If-Match", b.tag())
	require.Equal(t, http.StatusCreated, rec.Code, rec.Body.String())
	require.Contains(t, rec.Body.String(), `"value":{"currency":"GBP"`)
	require.Contains(t, rec.Body.String(), `"ceiling":{"amount":"18","currency":"GBP"}`)
}

func TestTheValueForPrograms(t *testing.T) {
	b := priced(t)
	rec := b.send(machineAPI+"/value", exampleValue)
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	var v any
	require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &v))
	require.NoError(t, schemaAt(t, b, "/paths/"+escaped("/api/v1/machines/{id}/value")+"/post/responses/200/content/application~1json/schema").Validate(v), rec.Body.String())
	require.NoError(t, json.Unmarshal([]byte(exampleValue), &v))
	require.NoError(t, schemaAt(t, b, "/paths/"+escaped("/api/v1/machines/{id}/value")+"/post/requestBody/content/application~1json/schema").Validate(v))
	require.Equal(t, http.StatusNotFound, b.send("/api/v1/machines/nobody/value", exampleValue).Code)
	require.Equal(t, problemBase+"invalid", problemIn(t, b.send(machineAPI+"/value", `{"options":["rewind"],"distance":null,"documented":false,"running":false}`)).Type)
}

// TestValueWords sets refusals beside figures; the numbers are made up.
func TestValueWords(t *testing.T) {
	level := func(median, high float64) scoring.LevelValue {
		return scoring.LevelValue{Level: &scoring.Quantiles{Low10: median * median / high, Median: median, High90: high}, LevelLogSD: math.Log(high/median) / 1.3}
	}
	v := &scoring.ValueResult{DF: 20, Before: level(6000, 7500), Afters: []scoring.AfterValue{
		{ID: "run", Ratio: scoring.Quantiles{Low10: 1.1, Median: 1.2, High90: 1.3}, RatioLogSD: 0.06, ChanceOfFall: scoring.Chance{Printed: "<1 %"}, LevelValue: level(7200, 9000), Cost: ptr(784.0),
			Net: &scoring.Quantiles{Low10: -300, Median: 416, High90: 900}, ChanceOfLoss: &scoring.Chance{Printed: "24 %"}},
		{ID: "bright", Ratio: scoring.Quantiles{Low10: 0.8, Median: 0.9, High90: 1}, RatioLogSD: 0.08, MostlyPrior: true, ChanceOfFall: scoring.Chance{Printed: "91 %"}, LevelValue: scoring.LevelValue{Refusals: []string{"Too few sales speak to it."}}, Cost: ptr(2700.0)},
		{ID: "wax", Ratio: scoring.Quantiles{Low10: 1, Median: 1, High90: 1}, LevelValue: level(6000, 7500)}}}
	view := valueView(v, "GBP", map[string]string{"run": "get it running"})
	require.Equal(t, "get it running", view.Plans[0].Title)
	require.Equal(t, "It multiplies the value by 1.20, with a chance of 80 % by 1.10 to 1.30. The chance that the value falls is <1 %.", view.Plans[0].Ratio)
	require.Equal(t, "Net of its cost of 784 GBP it brings about +416 (−300 to +900) GBP, in brackets where that lies with a chance of 80 %. The chance of a loss is 24 %.", view.Plans[0].Net)
	require.NotNil(t, view.Plans[0].Drawing)
	require.Contains(t, view.Plans[1].Ratio, "mostly what was thought beforehand")
	require.Empty(t, view.Plans[1].Net)
	require.Equal(t, []string{"Too few sales speak to it."}, view.Plans[1].Refused)
	require.Nil(t, view.Plans[1].Drawing, "no level, no hill")
	require.Equal(t, "It changes nothing that the sales could price.", view.Plans[2].Ratio)
	require.Nil(t, view.Plans[2].Drawing)
	v.Before = scoring.LevelValue{Refusals: []string{"Its features lie outside."}}
	require.Equal(t, "There is no figure for what it would fetch as it stands. Its features lie outside.", valueView(v, "GBP", nil).Before)
	require.Nil(t, valueView(nil, "GBP", nil))
}

func TestFactorsKeepTheirEndsApart(t *testing.T) {
	for want, q := range map[string]scoring.Quantiles{"1.25": {Low10: 1.18, Median: 1.25, High90: 1.33}, "0.999": {Low10: 0.996, Median: 0.9991, High90: 1.001}, "0.9991": {Low10: 0.9985, Median: 0.9991, High90: 0.9996}} {
		require.Equal(t, want, factorWords(q.Median, q))
	}
}

func TestTheMostInfluentialSaleComesFirst(t *testing.T) {
	views := influenceViews([]scoring.Influence{{ID: "a", Level: 1.01, Ratios: []float64{1}}, {ID: "b", Level: 1, Ratios: []float64{0.8}}, {ID: "c", Level: 1.1, Ratios: []float64{1}}})
	require.Equal(t, []string{"b", "c", "a"}, []string{views[0].ID, views[1].ID, views[2].ID})
	require.Equal(t, "0.800", views[0].Ratios[0])
}
