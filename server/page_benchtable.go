package server

import (
	"net/http"
	"strconv"

	"example.org/asfound/catalog"
)

// BenchTablePage is the table of threads on one sheet of paper.
type BenchTablePage struct {
	Base
	Catalog string
	Series  []ThreadSeries
	Largest string
	Under   string // what an old thread measures less over its crests, in mm
	// Confused are threads that start in one another and strip.
	Confused []string
}

// ThreadSeries is one series with its sizes.
type ThreadSeries struct {
	Name, About string
	Sizes       []ThreadSize
}

// ThreadSize is one line of the table: lengths in mm but for Inch and TPI.
type ThreadSize struct{ Name, Major, Inch, Pitch, TPI, Core string }

// largestOnSheet is the largest diameter on the printed page, in mm: what a hand
// on a bench meets often, and what goes on one page.
const largestOnSheet = 14.5

func onTheSheet(x catalog.Thread) bool {
	return x.Series != "UNEF" && x.Major >= 2 && x.Major <= largestOnSheet
}

func pageBenchTable(s *Server, _ *http.Request) (answer, error) {
	page := BenchTablePage{Base: Base{Title: "Table of threads", Version: s.Version, Crumbs: []Crumb{{"The bench", "/bench"}}}, Catalog: s.Workshop.Catalog.Identity().String(), Largest: numberWords(largestOnSheet)}
	for _, a := range s.Workshop.Catalog.BenchAssumptions() {
		if a.ID == "thread-under" {
			page.Under = numberWords(a.Value)
		}
	}
	at := map[string]int{}
	for _, x := range s.Workshop.Catalog.Threads() {
		if !onTheSheet(x) {
			continue
		}
		i, ok := at[x.Series]
		if !ok {
			i = len(page.Series)
			at[x.Series] = i
			page.Series = append(page.Series, ThreadSeries{Name: x.Series, About: numberWords(x.Angle) + "°"})
		}
		page.Series[i].Sizes = append(page.Series[i].Sizes, sizeOf(x))
	}
	for _, x := range s.Workshop.Catalog.ThreadConfusions() {
		page.Confused = append(page.Confused, x.Text)
	}
	return htmlAnswer{name: "bench-table", page: page}, nil
}

func sizeOf(x catalog.Thread) ThreadSize {
	pitch := x.Pitch
	if x.TPI > 0 {
		pitch = 25.4 / x.TPI
	}
	fixed := func(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }
	tpi := strconv.FormatFloat(25.4/pitch, 'g', 3, 64)
	return ThreadSize{Name: x.Designation, Major: fixed(x.Major, 2), Inch: fixed(x.Major/25.4, 3), Pitch: fixed(pitch, 3), TPI: tpi, Core: fixed(x.Major-2*x.Depth*pitch, 2)}
}
