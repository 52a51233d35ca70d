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

const faultPath = "/machines/drover-1957/faults"

// TestFindingACauseThroughForms is the whole journey without a script: the
// fault, the answer of the next test, a slip of the pen, a correction, the cause
// itself, and the drafts.
func TestFindingACauseThroughForms(t *testing.T) {
	b := drover(t)
	post := func(page, to string, values url.Values) (int, string, string) {
		t.Helper()
		form := hidden(readPage(t, b.get(page).Body.String()), values)
		rec := b.post(to, form.Encode())
		return rec.Code, rec.Header().Get("Location"), rec.Body.String()
	}
	code, _, body := post(faultPath, faultPath, url.Values{"by": {"tamsin"}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, body, "No complaint is named")
	code, to, body := post(faultPath, faultPath, url.Values{"by": {"tamsin"}, "complaint": {"spark-fades-hot"}, "words": {"strong cold, dead warm"}})
	require.Equal(t, http.StatusSeeOther, code, body)
	page, _, _ := cutQuery(to)
	require.Equal(t, faultPath+"/spark-fades-hot", page)

	search := func() *workshop.FaultSearch {
		t.Helper()
		r, err := b.w.FaultSearch(context.Background(), "drover-1957", "spark-fades-hot", workshop.FaultQuestion{})
		require.NoError(t, err)
		return r
	}
	next := search().Next
	require.NotNil(t, next)
	seen := b.get(page).Body.String()
	for _, c := range next.Cautions {
		require.Less(t, strings.Index(seen, c.Text[:20]), strings.Index(seen, `name="seen" value="yes"`), "the caution stands before the button")
	}

	// Hidden fields of several forms stand on the page: only those of one are sent.
	send := func(values url.Values) (int, string) {
		t.Helper()
		values.Set("by", "tamsin")
		values.Set("key", newKey())
		values.Set("version", itoa(search().Version))
		rec := b.post(page+"/findings", values.Encode())
		return rec.Code, rec.Body.String()
	}
	code, body = send(url.Values{"form": {"test"}, "test": {next.ID}, "what": {"observation/" + next.Observation.ID}, "seen": {"yes"}})
	require.Equal(t, http.StatusSeeOther, code, body)
	require.Equal(t, next.ID, search().Findings[1].Test)

	reading := url.Values{"form": {"other"}, "what": {"observation/condenser-reads-off"}, "seen": {"yes"}, "value": {"220"}, "unit": {""}}
	code, body = send(reading)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, body, "The reading has no unit")
	reading.Set("unit", "uF")
	code, body = send(reading)
	require.Equal(t, http.StatusConflict, code, "it asks first")
	require.Contains(t, body, "a thousand times off")
	require.Contains(t, body, `name="sure"`)
	require.Contains(t, body, `value="220"`, "what was typed is kept")
	reading.Set("sure", "yes")
	code, body = send(reading)
	require.Equal(t, http.StatusSeeOther, code, body)
	require.Equal(t, "capacity", search().Findings[2].Reading.Quantity)

	code, body = send(url.Values{"form": {"other"}, "what": {"observation/condenser-reads-off"}, "seen": {"no"}})
	require.Equal(t, http.StatusConflict, code)
	require.Contains(t, body, "the other way round")
	undo := func(finding, do string) {
		t.Helper()
		rec := b.post(page+"/undo", url.Values{"finding": {finding}, "do": {do}, "by": {"tamsin"}, "key": {newKey()}}.Encode())
		require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	}
	undo(search().Findings[2].ID, "turn")
	require.False(t, search().Findings[2].Seen)
	require.Equal(t, 220.0, search().Findings[2].Reading.Value)
	undo(search().Findings[2].ID, "withdraw")
	require.Len(t, search().Findings, 2)

	code, body = send(url.Values{"form": {"other"}, "what": {"cause/condenser-failed"}, "seen": {"yes"}})
	require.Equal(t, http.StatusSeeOther, code, body)
	drafts := url.Values{"cause": {"condenser-failed"}, "by": {"tamsin"}, "key": {newKey()}, "version": {itoa(search().Version)},
		"take-leave": {"yes"}, "title-leave": {"leave it"}, "take-substitute": {"yes"}, "title-substitute": {"a condenser outside"},
		"hours-substitute": {"2,5"}, "money-substitute": {"18"}, "money-substitute_currency": {"GBP"}, "works-substitute": {"85"}}
	rec := b.post(page+"/options", drafts.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Equal(t, http.StatusOK, b.get(rec.Header().Get("Location")).Code)
	report, err := b.w.Report(context.Background(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	o := findOption(report, "spark-fades-hot-substitute")
	require.NotNil(t, o)
	require.Equal(t, 2.5, o.Hours)
	require.Equal(t, 0.85, *o.Works)
	require.Nil(t, findOption(report, "spark-fades-hot-repair-original"), "what was not ticked is not recorded")
	require.Equal(t, http.StatusNotFound, b.get(faultPath+"/nothing").Code)
}

func cutQuery(address string) (path, query string, err error) {
	u, err := url.Parse(address)
	if err != nil {
		return "", "", err
	}
	return u.Path, u.RawQuery, nil
}

func TestFaultsForPrograms(t *testing.T) {
	b := drover(t)
	get := func(path string, into any) int {
		t.Helper()
		rec := b.get("/api/v1" + path)
		if rec.Code == http.StatusOK && into != nil {
			require.NoError(t, json.Unmarshal(rec.Body.Bytes(), into))
		}
		return rec.Code
	}
	var complaints ComplaintList
	require.Equal(t, http.StatusOK, get("/complaints", &complaints))
	require.NotEmpty(t, complaints.Complaints)
	var list FaultList
	require.Equal(t, http.StatusOK, get(faultPath, &list))
	require.Len(t, list.Faults, 2)
	require.Equal(t, registry.CodeInsufficient, list.Faults[0].Refused.Code)
	b.record(&registry.Finding{Fault: "magneto", Observation: "spark-fades-hot", Seen: true, By: "tamsin"})
	var search workshop.FaultSearch
	require.Equal(t, http.StatusOK, get(faultPath+"/magneto?money_per_hour=20", &search))
	require.Equal(t, 20.0, *search.Input.Rates.MoneyPerHour)
	require.NotNil(t, search.Next)
	require.Equal(t, http.StatusUnprocessableEntity, get(faultPath+"/magneto?money_per_hour=much", nil))
	var drafts workshop.OptionDrafts
	require.Equal(t, http.StatusOK, get(faultPath+"/magneto/causes/armature-failed/options?by=tamsin", &drafts))
	require.False(t, drafts.Confirmed)
}
