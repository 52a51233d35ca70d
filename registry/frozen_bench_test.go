package registry

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestFrozenBenchLedger: a history of the records made while a fault is found
// and put right replays, for ever, into the dossier that it replayed into then.
func TestFrozenBenchLedger(t *testing.T) {
	events := readLines(t, "v1-bench/events.jsonl")
	version, last, root := readHead(t, "v1-bench/head.txt")
	h := History{}
	for _, raw := range events {
		_, err := h.Add(raw)
		require.NoError(t, err)
	}
	require.Equal(t, version, h.Version())
	require.Equal(t, last, h.Last())
	got, err := h.Tree().Root(int64(version))
	require.NoError(t, err)
	require.Equal(t, root, got)
	d, err := Replay("drover", events, time.Time{})
	require.NoError(t, err)
	want, err := os.ReadFile(filepath.Join(ledgers, "v1-bench/dossier.txt"))
	require.NoError(t, err)
	require.Equal(t, string(want), summary(d))
	for _, e := range d.Entries() {
		require.NoError(t, CheckBody(e.Body), "%s still stands", e.RecordID())
	}
}

// TestWriteBenchFixture made that history once; see TestWriteFixtures.
func TestWriteBenchFixture(t *testing.T) {
	if !writeFixtures {
		t.Skip("set WRITE_FIXTURES=1 to make fixtures that are missing")
	}
	dir := filepath.Join(ledgers, "v1-bench")
	if _, err := os.Stat(dir); err == nil {
		t.Skip("testdata/ledgers/v1-bench is there and frozen")
	}
	b := newBench(t)
	benchStory(b)
	h := History{}
	for _, e := range b.events {
		_, err := h.Add(e)
		require.NoError(t, err)
	}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	for name, text := range map[string]string{
		"events.jsonl": string(bytes.Join(b.events, []byte("\n"))) + "\n", "head.txt": headText(&h), "dossier.txt": summary(b.d),
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
}

// benchStory is an invented history with every kind of record that the first
// frozen one lacks.
func benchStory(b *bench) {
	opened(b)
	withLibrary(b)
	price := pounds("60.00")
	b.do(fitting("was", "the first magneto", "1957-06/1961-03"), fitting("is", "the second magneto", "1961-03/.."), evidence("box", "ignition.magneto"),
		aFinding("no-spark", "no-spark", true),
		&Finding{Common: Common{ID: "leak"}, Fault: "spark", Observation: "condenser-leak", Seen: true, Test: "gap", How: "falls when warm", By: "tamsin",
			Reading: &Reading{Quantity: "insulation", Value: 0.04, Unit: "MΩ", Uncertainty: 0.01, Instrument: "tester 2"}, Sure: true, Photos: []string{"photo-1"}},
		&Finding{Common: Common{ID: "cause"}, Fault: "spark", Cause: "condenser", Seen: true, By: "tamsin"},
		&Leaving{Common: Common{ID: "leave-rust"}, Fault: "rust", Then: "the seam weeps", Money: pounds("340"), Source: "pit gauge", By: "tamsin",
			Pit:    &Pit{Depth: 0.65, Error: 0.08, Wall: 0.9, Age: 38, Exponent: Likely{0.3, 0.5, 0.7}},
			Hazard: &Hazard{PerYear: Likely{0.01, 0.02, 0.05}, Years: 10}},
		&Risk{Common: Common{ID: "risk-paint"}, Option: "paint", Source: "own log", By: "tamsin", Outcomes: []RiskOutcome{
			{What: "no harm", Chance: ptr(0.96), IndexLoss: ptr(0.0)}, {What: "runs", Chance: ptr(0.04), Money: &price}}},
		&Search{Common: Common{ID: "search-1", Valid: "2018-06-02"}, What: "magneto, new old stock", Component: "ignition.magneto", Where: "autumn jumble", Found: true, Asked: pounds("350"), By: "tamsin"},
		&StockPart{Common: Common{ID: "stock-1"}, What: "magneto, new old stock", Number: "M-1", Component: "ignition.magneto", Origin: "new-old-stock", Stamp: "4 57",
			Source: "a retired dealer", Paid: pounds("300"), Evidence: []string{"box"}, Photos: []string{"photo-1"}, By: "tamsin"},
		&PartNumber{Common: Common{ID: "number-1"}, Number: "M-1", What: "magneto", ReplacedBy: "M-2", Fits: []string{"ignition.magneto"}, Source: "list of 1957", By: "tamsin"},
		&Acknowledgement{Common: Common{ID: "read-1"}, Caution: "ht-1", For: "cover", By: "tamsin"},
		aMap(),
		&Step{Common: Common{ID: "step-1"}, Option: "swap", Did: "drive gear drawn", Photos: []string{"photo-1"}, Readings: []Reading{{Quantity: "end float", Value: 0.1, Unit: "mm"}}, By: "tamsin"},
		with(swapWork("work-1", "90"), func(w *Work) {
			w.Fitted = []Fitted{{Component: "ignition.magneto", Part: "magneto", Origin: "new-old-stock", Stock: "stock-1"}}
		})(b),
		&Closed{Common: Common{ID: "closed-1"}, Opening: "cover", Map: "map", LeftOver: 1, Gasket: "paper 0.4 mm", AlreadyDone: true, By: "tamsin",
			Back: []FastenerBack{{Hole: "1", From: "1"}, {Hole: "2", New: "slotted, zinc", Length: 42}}},
		&RecheckDue{Common: Common{ID: "recheck-1"}, What: "points gap", Components: []string{"ignition.magneto"}, AfterDistance: 5, DistanceUnit: "mi", AfterHeatCycles: 1, On: "2027-03", By: "tamsin"},
		&Usage{Common: Common{ID: "usage-1"}, Distance: 6.5, DistanceUnit: "mi", HeatCycles: 2, By: "tamsin"},
		&Check{Common: Common{ID: "again"}, What: "points gap", Components: []string{"ignition.magneto"}, Outcome: "passed", Recheck: "recheck-1", By: "tamsin"},
	)
}
