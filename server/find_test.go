package server

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

func TestFindPage(t *testing.T) {
	b := drover(t)
	rec := b.get("/find?q=condenser")
	require.Equal(t, 200, rec.Code)
	body := rec.Body.String()
	require.Contains(t, body, "<mark>condenser</mark>")
	require.Contains(t, body, `href="/machines/drover-1957/faults/`)
	require.Contains(t, body, "1 machine<")
	require.Contains(t, b.get("/find").Body.String(), `name="gate_open"`)

	for _, path := range []string{"/find", "/find?q=condenser", "/find?make=skerrow&public=1", "/find?q=%22x", "/"} {
		readPage(t, b.get(path).Body.String()).landmarks()
	}

	none := b.get("/find?q=zeppelin")
	require.Equal(t, 200, none.Code)
	require.Contains(t, none.Body.String(), "Nothing was found")

	// What was typed stays, with what is wrong beside it.
	wrong := b.get("/find?q=%22condenser&make=Skerrow&year_from=x")
	require.Equal(t, http.StatusUnprocessableEntity, wrong.Code)
	require.Contains(t, wrong.Body.String(), `value="&#34;condenser"`)
	require.Contains(t, wrong.Body.String(), `value="Skerrow"`)
	require.Contains(t, wrong.Body.String(), "not a whole number")
	require.Contains(t, b.get("/find?q=%22condenser").Body.String(), "not closed")
	require.Contains(t, b.get("/find?q=cond*er").Body.String(), "at the end of a word")
}

// Each filter of the page reaches the search.
func TestFindPageFilters(t *testing.T) {
	b := drover(t)
	for query, found := range map[string]bool{
		"make=skerrow": true, "make=other": false, "model=drover": true, "model=vole": false, "year_from=1957": true, "year_from=1958": false, "year_to=1957": true, "year_to=1956": false,
		"open_fault=1&make=other": false, "survey=none": false, "number=zzz": false, "phase=taken+in": false, "waiting=0": true,
		"index=substance&index_from=0": true, "index=substance&index_to=0,01": false, "condition_most=5": true,
	} {
		rec := b.get("/api/v1/search?" + query)
		require.Equal(t, 200, rec.Code, "%s: %s", query, rec.Body)
		var f workshop.Found
		require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &f))
		require.Equal(t, found, f.Count == 1, query)
	}
}

func TestFindForPrograms(t *testing.T) {
	b := drover(t)
	for _, name := range []string{"alder", "birch", "cedar"} {
		_, err := b.w.Record(t.Context(), workshop.Request{Machine: name, Actor: "tamsin"}, &registry.Machine{Common: id("machine"), Make: "Skerrow Engineering", Model: "Tern", Year: "1962", Invented: true})
		require.NoError(t, err)
	}
	var seen []string
	next := "/api/v1/search?q=skerrow&limit=3"
	for pages := 0; next != ""; pages++ {
		require.Less(t, pages, 3)
		rec := b.get(next)
		require.Equal(t, 200, rec.Code, rec.Body.String())
		var f workshop.Found
		require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &f))
		require.Equal(t, 4, f.Count)
		for _, h := range f.Hits {
			seen = append(seen, h.Machine.ID)
		}
		next = ""
		if link := rec.Header().Get("Link"); link != "" {
			next = strings.TrimPrefix(strings.TrimSuffix(link, `>; rel="next"`), "<")
		}
	}
	require.Equal(t, []string{"drover-1957", "alder", "birch", "cedar"}, seen)

	for _, bad := range []string{"q=%22a", "limit=0", "limit=101", "limit=x", "after=!!", "origin=martian", "publik=1", "waiting=perhaps", "index_from=0.5"} {
		require.Equal(t, http.StatusUnprocessableEntity, b.get("/api/v1/search?"+bad).Code, bad)
	}
}

// The public edition finds no name or number, on no way.
func TestFindInThePublicEditionOnEveryWay(t *testing.T) {
	b := drover(t)
	report, err := b.w.Report(t.Context(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	name, number := report.People[0].Name, report.Machine.Numbers[0].Shown
	for _, word := range []string{strings.Fields(name)[0], number} {
		require.Contains(t, b.get("/lists/found.csv?q="+word).Body.String(), "drover-1957", word)
		for _, path := range []string{"/find?public=1&q=", "/api/v1/search?public=true&q=", "/lists/found.csv?public=1&q="} {
			rec := b.get(path + word)
			require.Equal(t, 200, rec.Code)
			require.NotContains(t, rec.Body.String(), "/machines/drover-1957", path)
			require.NotContains(t, strings.ReplaceAll(rec.Body.String(), "drover-1957/lists", ""), "drover-1957", path)
		}
	}
	for _, list := range workshop.ListsOf(true) {
		body := b.get("/machines/drover-1957/lists/" + list.Name + ".csv?public=1").Body.String()
		for _, p := range report.People {
			require.NotContains(t, body, p.Name, list.Name)
		}
		require.NotContains(t, body, number, list.Name)
	}
	require.Equal(t, http.StatusConflict, b.get("/machines/drover-1957/lists/parts-needed.csv?public=1").Code)
}

// Every list reads back in both formats, a row for each thing on the page.
func TestListsAsSheets(t *testing.T) {
	b := drover(t)
	report, err := b.w.Report(t.Context(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	rows := map[string]int{"faults": len(report.Faults), "removed-parts": len(report.Removed), "evidence": len(report.Evidence), "work": len(report.Work)}
	for _, g := range report.Groups {
		for _, c := range g.Components {
			if !c.NotFitted {
				rows["components"]++
			}
		}
	}
	read := func(path string) [][]string {
		rec := b.get(path + ".csv")
		require.Equal(t, 200, rec.Code, path)
		require.Equal(t, "text/csv; charset=utf-8", rec.Header().Get("Content-Type"))
		require.Contains(t, rec.Header().Get("Content-Disposition"), ".csv")
		table, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(rec.Body.String(), "\ufeff"))).ReadAll()
		require.NoError(t, err)
		book := b.get(path + ".xlsx")
		require.Equal(t, 200, book.Code, path)
		f, err := excelize.OpenReader(book.Body)
		require.NoError(t, err)
		defer f.Close()
		sheet, err := f.GetRows(f.GetSheetName(0))
		require.NoError(t, err)
		require.Len(t, sheet, len(table), path)
		require.Equal(t, table[0], sheet[0])
		return table
	}
	for _, list := range workshop.ListsOf(false) {
		table := read("/machines/drover-1957/lists/" + list.Name)
		if want, ok := rows[list.Name]; ok {
			require.Len(t, table, want+1, list.Name)
		}
	}
	require.Equal(t, "drover-1957", read("/lists/machines")[1][0])
	for _, missing := range []string{"/lists/machines.ods", "/lists/wheels.csv", "/machines/drover-1957/lists/wheels.csv", "/machines/nobody/lists/faults.csv", "/machines/drover-1957/lists/faults"} {
		require.Equal(t, http.StatusNotFound, b.get(missing).Code, missing)
	}
	require.Equal(t, http.StatusUnprocessableEntity, b.get("/lists/found.csv?q=%22a").Code)
}

func TestComparePage(t *testing.T) {
	b := drover(t)
	_, err := b.w.Record(t.Context(), workshop.Request{Machine: "tern", Actor: "tamsin"},
		&registry.Machine{Common: id("machine"), Make: "Skerrow Engineering", Model: "Tern", Year: "1962", Invented: true},
		&registry.Person{Common: id("tamsin"), Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}},
		&registry.Survey{Common: id("s"), Component: "electrical.dynamo", Origin: "reproduction", Finish: "refinished", Condition: ptr(5), By: "tamsin"})
	require.NoError(t, err)
	body := b.get("/compare?a=drover-1957&b=tern").Body.String()
	require.Contains(t, body, "Condition 5 of 5")
	require.Contains(t, body, `data-label="Skerrow Engineering Tern 1962"`)
	require.Less(t, len(body), 150_000)
	all := b.get("/compare?a=drover-1957&b=tern&all=1").Body.String()
	require.Greater(t, strings.Count(all, `scope="row"`), strings.Count(body, `scope="row"`))
	require.Less(t, len(all), 200_000)
	for _, page := range []string{body, all, b.get("/compare").Body.String()} {
		readPage(t, page).landmarks()
	}

	require.Equal(t, 200, b.get("/compare").Code)
	require.Contains(t, b.get("/compare?a=drover-1957").Body.String(), `value="tern" selected`)
	require.Equal(t, http.StatusUnprocessableEntity, b.get("/compare?a=tern&b=tern").Code)
	require.Equal(t, http.StatusNotFound, b.get("/compare?a=tern&b=nobody").Code)
	public := b.get("/compare?a=drover-1957&b=tern&public=1").Body.String()
	report, err := b.w.Report(t.Context(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	require.NotContains(t, public, report.Machine.Numbers[0].Shown)
}
