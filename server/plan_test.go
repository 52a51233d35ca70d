package server

import (
	"encoding/json"
	"math"
	"math/big"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

func TestThePlansPage(t *testing.T) {
	b := drover(t)
	at := b.end()
	m := "/machines/drover-1957/plan"
	rec := b.get(m)
	require.Equal(t, http.StatusOK, rec.Code)
	page := readPage(t, rec.Body.String())
	page.landmarks()
	text := page.text()
	// Three options for one fault and two for the other make six combinations.
	for _, s := range []string{"The options can be combined in 6 ways", "The plan to begin with", "Why this one", "Money at most", "GBP", "hours", "days", "Chance that all of it works, at least",
		"Leave the horn", "Set a condenser outside, the armature untouched", "Take the magneto off", "What this rests on", "as if they had nothing to do with each other", "Money is in GBP"} {
		require.Contains(t, text, s)
	}
	require.NotContains(t, text, "safe")
	svg := page.one("svg", "aria-labelledby", "front-t front-d")
	require.Contains(t, textOf(svg), "Loss for good against money")
	var plan workshop.PlanReport
	require.NoError(t, json.Unmarshal(b.get("/api/v1"+m).Body.Bytes(), &plan))
	require.Len(t, page.all("tr", "class", "picked"), 1)
	for i := range plan.Result.Front {
		row := "plan-" + itoa(i)
		page.one("tr", "id", row)
		require.NotEmpty(t, page.all("a", "href", "#"+row, "tabindex", "-1"), "a mark for each row")
	}
	require.Equal(t, at, b.end(), "looking changes nothing")

	tag := rec.Header().Get("ETag")
	require.NotEmpty(t, tag)
	require.Equal(t, http.StatusNotModified, b.ask(withHeader(http.MethodGet, m, "If-None-Match", tag)).Code)
	b.record(&registry.Fault{Common: id("rattle"), Complaint: "It rattles.", Components: []string{"fuel.tank"}, By: "tamsin"})
	require.Equal(t, http.StatusOK, b.ask(withHeader(http.MethodGet, m, "If-None-Match", tag)).Code)
}

func withHeader(method, path, name, value string) *http.Request {
	r, err := http.NewRequest(method, path, nil)
	if err != nil {
		panic(err)
	}
	r.Header.Set(name, value)
	return r
}

func TestPlansKeepLimits(t *testing.T) {
	b := drover(t)
	m := "/machines/drover-1957/plan"
	page := readPage(t, b.get(m+"?money=100&chance=60&by=money").Body.String())
	page.landmarks()
	require.Equal(t, "100", attr(page.one("input", "id", "f-money"), "value"), "what was asked stands in the form")
	require.Equal(t, "60", attr(page.one("input", "id", "f-chance"), "value"))
	// 0.9 × 0.7 is the only chance from 0.6 on for at most 100 GBP.
	require.Contains(t, page.text(), "All of it works with a chance of 63 %.")
	require.Contains(t, page.text(), "It costs 24 GBP and 4 h of work; 5 days of waiting.")

	none := readPage(t, b.get(m+"?money=1&chance=60").Body.String())
	none.landmarks()
	require.Contains(t, none.text(), "No plan keeps all the limits")
	require.Contains(t, none.text(), "Without the limit on money")

	for query, says := range map[string]string{"money=much": "not a number", "chance=101": "from 0 to 100", "hours=-1": "outside", "by=luck": "nothing to prefer", "money=0.00000001": "too many digits"} {
		rec := b.get(m + "?" + query)
		require.Equal(t, http.StatusUnprocessableEntity, rec.Code, query)
		wrong := readPage(t, rec.Body.String())
		wrong.landmarks()
		require.Contains(t, wrong.title(), "Error:", query)
		require.Contains(t, wrong.text(), says, query)
		require.Empty(t, rec.Header().Get("ETag"))
	}
}

func TestPlansCanBeRead(t *testing.T) {
	b := drover(t)
	page := readPage(t, b.get("/machines/drover-1957/plan?money=100&read=1").Body.String())
	page.landmarks()
	require.Empty(t, page.all("table"))
	require.NotEmpty(t, page.all("li", "id", "plan-0"))
	require.Contains(t, page.text(), "Magneto: Leave it as it is.")
	require.NotEmpty(t, page.all("a", "href", "/machines/drover-1957/plan?money=100#h-plans"), "the way back keeps the limits")
	require.Len(t, page.all("input", "name", "read"), 1, "so does the form")
}

// TestAPlanIsPutToTheOwner follows the button under the plan.
func TestAPlanIsPutToTheOwner(t *testing.T) {
	b := drover(t)
	page := readPage(t, b.get("/machines/drover-1957/plan?chance=60").Body.String())
	q := url.Values{}
	for _, name := range []string{"options", "recommended"} {
		for _, n := range page.all("input", "name", name) {
			q.Add(name, attr(n, "value"))
		}
	}
	require.Len(t, q["options"], 5)
	require.Equal(t, []string{"external-condenser", "hooter-clean"}, q["recommended"])
	form := readPage(t, b.get("/machines/drover-1957/propose?"+q.Encode()).Body.String())
	form.landmarks()
	require.Contains(t, form.text(), "Left empty, the forecast of what you recommend sets it")
	chosen := 0
	for _, n := range form.all("input", "type", "radio") {
		if !strings.HasPrefix(attr(n, "name"), "recommended-") {
			continue
		}
		for _, a := range n.Attr {
			if a.Key == "checked" {
				chosen++
				require.Contains(t, q["recommended"], attr(n, "value"))
			}
		}
	}
	require.Equal(t, 2, chosen)

	// The ceiling is left empty: the forecast takes its place.
	send := hidden(form, url.Values{"to": {"imogen"}, "by": {"tamsin"}, "options": q["options"], "recommended-magneto": {"external-condenser"}, "recommended-hooter": {"hooter-clean"}, "expires": {"2026-04-01"}})
	rec := b.post("/machines/drover-1957/propose", send.Encode())
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	asked := readPage(t, rec.Body.String())
	asked.landmarks()
	var cost workshop.CostReport
	require.NoError(t, json.Unmarshal(b.send(machineAPI+"/cost", `{"options":["external-condenser","hooter-clean"]}`).Body.Bytes(), &cost))
	ceiling := moneyWords(math.Ceil(cost.Result.P80), "GBP")
	require.Contains(t, asked.text(), "The ceiling is "+ceiling)
	require.Contains(t, asked.text(), "with a chance of 80 % at most "+ceiling)
	require.Contains(t, asked.text(), "the chance to pass it is 20 %")

	// The proposal and the owner's page say the same, and draw it.
	for _, path := range []string{"/machines/drover-1957/proposals/" + proposalID(b), "/o/" + b.token + "/q/" + proposalID(b)} {
		rec := b.get(path)
		require.Equal(t, http.StatusOK, rec.Code, path)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		require.Contains(t, page.text(), "with a chance of 80 % at most "+ceiling, path)
		svg := page.one("svg", "aria-labelledby", "cost-t cost-d")
		for _, s := range []string{"How likely it costs how much", "50 %:", "80 %: " + ceiling, "ceiling: " + ceiling} {
			require.Contains(t, textOf(svg), s, path)
		}
	}
}

// proposalID is the newest proposal's.
func proposalID(b *bench) string {
	list := registry.Live[*registry.Proposal](b.load())
	return list[len(list)-1].RecordID()
}

func TestPlansThatCannotBeMade(t *testing.T) {
	b := drover(t)
	b.record(&registry.Option{Common: id("hooter-new"), Fault: "hooter", Treatment: "substitute", Title: "Another horn", By: "tamsin",
		Changes: []registry.Change{{Component: "electrical.horn", Proposition: "origin", After: map[string]float64{"substitute": 1}, Removes: true, Keep: &registry.KeepPromise{Custody: "kept-with-machine", LossPerYear: 0.01, Years: 20, RefitChance: 0.95}}}})
	rec := b.get("/machines/drover-1957/plan")
	require.Equal(t, http.StatusOK, rec.Code)
	page := readPage(t, rec.Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "Nothing is said of how likely these are to work: hooter-new. Give each option its chance to work")
	require.NotEmpty(t, page.all("a", "href", "/machines/drover-1957/options"))
	require.Empty(t, page.all("svg", "aria-labelledby", "front-t front-d"))
	api := b.get(machineAPI + "/plan")
	require.Equal(t, problemBase+"insufficient-evidence", problemIn(t, api).Type)
}

func TestPlanAndCostForPrograms(t *testing.T) {
	b := drover(t)
	fits := func(pattern, method string, body []byte) {
		t.Helper()
		var v any
		require.NoError(t, json.Unmarshal(body, &v))
		require.NoError(t, schemaAt(t, b, "/paths/"+escaped(pattern)+"/"+method+"/responses/200/content/application~1json/schema").Validate(v), "%s", body)
	}
	rec := b.get(machineAPI + "/plan?money=100&hours=9&lead=9&works=0.6&by=money")
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	require.Equal(t, b.tag(), rec.Header().Get("ETag"))
	fits("/api/v1/machines/{id}/plan", "get", rec.Body.Bytes())
	var plan workshop.PlanReport
	require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &plan))
	require.Equal(t, 0.63, plan.Result.Front[plan.Result.Pick.Plan].Works)
	require.Equal(t, "GBP", plan.Currency)
	require.Equal(t, http.StatusNotModified, b.ask(withHeader(http.MethodGet, machineAPI+"/plan", "If-None-Match", b.tag())).Code)
	p := problemIn(t, b.get(machineAPI+"/plan?works=60&by=luck&money=NaN"))
	require.Equal(t, problemBase+"invalid", p.Type)
	require.Len(t, p.Errors, 3)
	require.Equal(t, http.StatusNotFound, b.get("/api/v1/machines/nobody/plan").Code)

	at := b.end()
	cost := b.send(machineAPI+"/cost", exampleCost)
	require.Equal(t, http.StatusOK, cost.Code, cost.Body.String())
	fits("/api/v1/machines/{id}/cost", "post", cost.Body.Bytes())
	require.Contains(t, cost.Body.String(), `"over_ceiling":0,`, "18 GBP are fixed")
	require.Equal(t, at, b.end(), "nothing is recorded")
	require.Equal(t, http.StatusNotFound, b.send(machineAPI+"/cost", `{"options":["magic"]}`).Code)
	require.Equal(t, problemBase+"insufficient-evidence", problemIn(t, b.send(machineAPI+"/cost", `{"options":["leave-it"]}`)).Type)
	require.Equal(t, problemBase+"invalid", problemIn(t, b.send(machineAPI+"/cost", `{"options":["hooter-clean"],"ceiling":{"amount":"5","currency":"SEK"}}`)).Type)
	require.Equal(t, http.StatusNotFound, b.send("/api/v1/machines/nobody/cost", exampleCost).Code)
}

func TestALongFrontIsListedInPart(t *testing.T) {
	plan := &workshop.PlanReport{Currency: "GBP", Result: scoring.PlanResult{Pick: &scoring.PlanPick{Plan: 5, Explain: []string{"It beats plan 0 and plan 999."}}, Counts: scoring.PlanCounts{Combinations: bigInt(1000), Infeasible: bigInt(0), Gated: bigInt(0), Front: 1000}}}
	for i := range 1000 {
		plan.Result.Front = append(plan.Result.Front, scoring.PlanChoice{Options: scoring.Ordered[string]{{Key: "horn", Value: itoa(i)}}, ForGood: float64(i), Money: float64(1000 - i), Works: 0.5})
	}
	page := PlanPage{Report: &workshop.Report{}}
	page.show(plan)
	require.LessOrEqual(t, len(page.Plans), plansListed)
	require.Greater(t, len(page.Plans), plansListed/2)
	require.Equal(t, 1000, len(page.Plans)+page.Left)
	picked := 0
	for _, v := range page.Plans {
		if v.Picked {
			picked++
			require.Equal(t, 5, v.N)
		}
	}
	require.Equal(t, 1, picked, "the picked plan is always listed")
	require.Equal(t, []PlanPiece{{"It beats ", -1}, {"plan 0", 0}, {" and plan 999.", -1}}, page.Explain[0], "only listed plans are linked")
	require.Len(t, page.Drawing.Marks, len(page.Plans))
}

func TestAFixedCostIsNotDrawn(t *testing.T) {
	fixed, err := scoring.Cost(scoring.CostInput{Tasks: []scoring.CostTask{{ID: "a", Low: 18, Likely: 18, High: 18}}})
	require.NoError(t, err)
	v := costView(&fixed, registry.Money{Currency: "GBP"})
	require.Equal(t, "All prices are fixed: it comes to 18 GBP.", v.Likely)
	require.Empty(t, v.Ceiling)
	require.Nil(t, v.Drawing)
	require.Nil(t, costView(nil, registry.Money{}))
}

// TestTheSpreadIsDrawnWhole adds the bars of a forecast up again: a uniform
// grid must not show a comb.
func TestTheSpreadIsDrawnWhole(t *testing.T) {
	ceiling := 200.0
	c, err := scoring.Cost(scoring.CostInput{Tasks: []scoring.CostTask{{ID: "a", Low: 0, Likely: 150, High: 150}}, Ceiling: &ceiling})
	require.NoError(t, err)
	limit, err := registry.ParseMoney("200", "GBP")
	require.NoError(t, err)
	d := drawCost(&c, limit)
	corners := strings.Split(strings.Trim(d.Area, "Mz"), "L")
	require.LessOrEqual(t, len(corners), 200)
	last := 1000.0
	for _, corner := range corners[1 : len(corners)-3] { // rising: a triangle with its peak at the end
		_, y, _ := strings.Cut(corner, " ")
		var v float64
		require.NoError(t, json.Unmarshal([]byte(y), &v))
		require.LessOrEqual(t, v, last, d.Area)
		last = v
	}
	// The hill begins at the left end of the scale, the ceiling is at its right.
	var left, right float64
	require.NoError(t, json.Unmarshal([]byte(d.Low.At), &left))
	require.NoError(t, json.Unmarshal([]byte(d.Marks[2].X), &right))
	require.InDelta(t, costLeft, left, costWidth*0.08)
	require.InDelta(t, costLeft+costWidth, right, costWidth*0.08)
	require.Equal(t, []string{"half", "eighty", "limit"}, []string{d.Marks[0].Class, d.Marks[1].Class, d.Marks[2].Class})
	require.Contains(t, costView(&c, limit).Ceiling, "none by these figures")
}

func bigInt(n int64) *big.Int { return big.NewInt(n) }
