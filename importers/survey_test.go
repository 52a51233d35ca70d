package importers_test

import (
	"bytes"
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
)

func TestASurveyRowBecomesARecordAndItsJoint(t *testing.T) {
	text := "Machine;Component;Origin;FINISH;Specification;Condition (0-5);Function;Custody;Signs;Read;By;Second;Date;Joint;Witness;Sign of joint;Joint with;Photos;Note\n" +
		"drover-1957;fuel-033;Period service;touched_in;To Catalogue;3;not tested;;tide-line:0,8 | layers-complete;T 12/56;per-a;per-b;2026-03;tank-bolt;cannot tell;slot shine;main frame;ph-1 ph-2;\"two\nlines\"\n"
	drafts, report := load(t, "survey", []byte(text), options("survey.csv"))
	require.Len(t, drafts, 2)
	s := body[*registry.Survey](t, drafts[0])
	trust := 0.8
	three := 3
	require.Equal(t, &registry.Survey{
		Common:    registry.Common{ID: "sv-fuel.tank", Valid: "2026-03", Note: "two\nlines"},
		Component: "fuel.tank", Origin: "period-service", Finish: "touched-in", Specification: "to-catalogue",
		Condition: &three, Function: "not-tested", By: "per-a", Second: "per-b", Photos: []string{"ph-1", "ph-2"},
		Signs: []registry.SignSeen{{Sign: "tide-line", Reliability: &trust}, {Sign: "layers-complete"}},
		Read:  registry.Private{Value: "T 12/56"},
	}, s)
	j := body[*registry.Joint](t, drafts[1])
	require.Equal(t, &registry.Joint{Common: registry.Common{ID: "jt-fuel.tank-tank-bolt", Valid: "2026-03"}, Joint: "tank-bolt",
		Components: []string{"fuel.tank", "frame.main"}, Witness: "cannot-tell", Sign: "slot shine", By: "per-a"}, j)
	require.Equal(t, "drover-1957", drafts[1].Machine)
	require.Equal(t, 2, drafts[0].Row)
	require.Equal(t, ";", report.Separator)
	require.Equal(t, "utf-8", report.Encoding)
	require.Equal(t, [3]int{1, 2, 0}, [3]int{report.Rows, report.Records, report.Rejected})
	require.Empty(t, report.Warnings)
}

func TestWhatCannotBeToldIsUndeterminedOrAbsent(t *testing.T) {
	drafts, _ := load(t, "survey", []byte("component,origin,finish,condition,function,signs,note\n"+
		"petrol tank,cannot tell,?,?,?,?,x\nmain frame,,-,,,,y\n"), options("s.csv"))
	s := body[*registry.Survey](t, drafts[0])
	require.Equal(t, [2]string{"undetermined", "undetermined"}, [2]string{s.Origin, s.Finish})
	require.Nil(t, s.Condition)
	require.Empty(t, s.Function)
	require.Empty(t, s.Signs)
	s = body[*registry.Survey](t, drafts[1])
	require.Empty(t, s.Origin+s.Finish)
	require.Equal(t, "per-mechanic", s.By)
}

func TestAllFaultsOfARowComeAtOnceWithTheirPlaces(t *testing.T) {
	text := "component,Where from,condition,signs,date,second,witness\n" +
		"fuel.tnak,orignal,7,tide-lin:2,14/06/1957,Per B,undisturbed\n" +
		"fuel.tank,original,3,,1957,,\n"
	drafts, report := load(t, "survey", []byte(text), options("s.csv"))
	require.Len(t, drafts, 2, "the bad row does not end the import")
	require.True(t, drafts[1].Good())
	d := drafts[0]
	all := strings.Join(messages(d), "\n")
	for _, want := range []string{
		`s.csv, row 2, /component: Column "component": There is no such component: "fuel.tnak"`, "Did you mean fuel.tank?",
		`/origin: Column "Where from": This word is not in the vocabulary (found "orignal"); allowed: original, period-service`, "Did you mean original?",
		`/condition: Column "condition": The number is outside the scale (found "7"); allowed: a whole number from 0 to 5`,
		`/signs: Column "signs": There is no such sign: "tide-lin"`, "Did you mean tide-line?",
		`The reliability of "tide-lin" is not a number from 0 to 1: "2"`,
		`/valid: Column "date":`, "year-month-day",
		`/second: Column "second": The identifier cannot be used (found "Per B")`,
		`/joint: Column "joint": The row tells of a joint and does not name it`,
	} {
		require.Contains(t, all, want)
	}
	require.Equal(t, []string{"fuel.tnak", "orignal", "7", "tide-lin:2", "14/06/1957", "Per B", "undisturbed"}, d.Cells)
	require.Equal(t, [3]int{2, 1, 1}, [3]int{report.Rows, report.Records, report.Rejected})
	for _, f := range d.Faults {
		require.NotEmpty(t, f.Fix, f.Message)
	}
}

func TestARowStandsOrFallsAsAWhole(t *testing.T) {
	drafts, _ := load(t, "survey", []byte("component,origin,joint,witness,sign of joint\nfuel.tank,original,tank-bolt,undisturbed,\n"), options("s.csv"))
	require.Len(t, drafts, 1)
	require.Contains(t, strings.Join(messages(drafts[0]), ""), `/sign: Column "sign of joint": It is not said by what sign`)
}

func TestComponentsByIdCodeAndExactName(t *testing.T) {
	drafts, _ := load(t, "survey", []byte("component;origin\nFUEL.TANK;original\nident-001;original\n Carburettor  slide, needle and jet;original\nrim;original\n"), options("s.csv"))
	require.Equal(t, "fuel.tank", body[*registry.Survey](t, drafts[0]).Component)
	require.Equal(t, "frame.main", body[*registry.Survey](t, drafts[1]).Component)
	require.Equal(t, "fuel.carburettor.slide", body[*registry.Survey](t, drafts[2]).Component)
	require.Contains(t, messages(drafts[3])[0], "More than one component has this name")
	require.Contains(t, messages(drafts[3])[0], "wheels.front.rim, wheels.rear.rim")
}

func TestTwoPartsInOnePositionAreReportedOnBothRows(t *testing.T) {
	text := "machine,component,origin\na,fuel.tank,original\na,frame.main,original\nb,fuel.tank,original\na,petrol tank,donor\n"
	drafts, _ := load(t, "survey", []byte(text), options("s.csv"))
	require.True(t, drafts[1].Good() && drafts[2].Good(), "another component, and another machine")
	for _, i := range []int{0, 3} {
		require.Contains(t, strings.Join(messages(drafts[i]), ""), "Rows 2 and 5: two rows speak of one component")
	}
}

func TestHeadings(t *testing.T) {
	// A title above, an unknown column, a column without heading, help beneath.
	text := "Survey of the Drover,,,\n\ncomponent,orgin,paint,,finish\n# help,,,\nfuel.tank,original,black,stray,worn\n"
	drafts, report := load(t, "survey", []byte(text), options("s.csv"))
	require.Len(t, drafts, 1)
	require.Equal(t, 5, drafts[0].Row)
	require.Equal(t, 3, report.HeaderRow)
	var warnings []string
	for _, w := range report.Warnings {
		warnings = append(warnings, w.String())
	}
	all := strings.Join(warnings, "\n")
	require.Contains(t, all, `The column "orgin" is not known and was not read (found "orgin"). Did you mean origin?`)
	require.Contains(t, all, `The column "paint" is not known`)
	require.Contains(t, all, "Column 4 has no heading")

	e := refusal(t, "survey", []byte("component,origin,Where from\nx,y,z\n"), options("s.csv"))
	require.Contains(t, e.Message, `The columns "origin" and "Where from" mean the same`)
	e = refusal(t, "survey", []byte("compnent,origin\nfuel.tank,original\n"), options("s.csv"))
	require.Contains(t, e.Message, "lacks columns")
	require.Contains(t, e.Fields[0].Fix, `Is the column "compnent" meant?`)
	require.Equal(t, registry.CodeUnsupported, refusal(t, "survey", []byte("%PDF"), options("s.csv")).Code)
}

func TestTextBeyondTheHeadingsIsAFault(t *testing.T) {
	drafts, _ := load(t, "survey", []byte("component,origin\nfuel.tank,original,oops\n"), options("s.csv"))
	require.Contains(t, messages(drafts[0])[0], "column 3, and there are only 2 headings")
}

func TestRowsWithNothingSeenAreLeftOutAndCounted(t *testing.T) {
	drafts, report := load(t, "survey", []byte("component,by,date,origin\nfuel.tank,per-a,2026,\nframe.main,per-a,2026,original\n,,,\n"), options("s.csv"))
	require.Len(t, drafts, 1)
	require.Equal(t, 1, report.LeftOut)
}

func TestTheValidatorIsAskedAndItsFaultsGetTheirColumn(t *testing.T) {
	o := options("s.csv")
	asked := 0
	o.Workers = 1
	o.Validator = validator(func(kind registry.Kind, version int, data []byte) error {
		asked++
		require.Equal(t, registry.SchemaVersion(kind), version)
		return &registry.Error{Code: registry.CodeInvalid, Fields: []registry.Field{{Pointer: "/signs/0/sign", Message: "No"}, {Pointer: "/origin", Message: "Neither"}}}
	})
	drafts, _ := load(t, "survey", []byte("component,origin,signs\nfuel.tank,orignal,tide-line\n"), o)
	require.Equal(t, 1, asked)
	all := messages(drafts[0])
	require.Len(t, all, 2, "the origin has a fault of its own already: %v", all)
	require.Contains(t, all[1], `s.csv, row 2, /signs/0/sign: Column "signs": No (found "tide-line")`)

	o.Validator = validator(func(registry.Kind, int, []byte) error { return errStop })
	i, err := importers.Named("survey")
	require.NoError(t, err)
	s, err := i.Open(strings.NewReader("component,origin\nfuel.tank,original\n"), o)
	require.NoError(t, err)
	require.ErrorIs(t, s.Each(func(importers.Draft) error { return nil }), errStop)
}

func TestEachEndsWithTheErrorOfTheTaker(t *testing.T) {
	i, err := importers.Named("survey")
	require.NoError(t, err)
	s, err := i.Open(strings.NewReader(manyRows(2000)), options("s.csv"))
	require.NoError(t, err)
	for range 2 { // and it can be read again
		n := 0
		require.ErrorIs(t, s.Each(func(d importers.Draft) error {
			if n++; n == 700 {
				return errStop
			}
			require.Equal(t, n+1, d.Row, "the order is that of the file")
			return nil
		}), errStop)
	}
}

func TestAWorkbookReadsAsTheCSV(t *testing.T) {
	f := excelize.NewFile()
	style, err := f.NewStyle(&excelize.Style{NumFmt: 14})
	require.NoError(t, err)
	for cell, v := range map[string]any{"A1": "Component", "B1": "Origin", "C1": "Condition", "D1": "Date", "E1": "Signs",
		"A2": "fuel-033", "B2": "donor", "C2": 4, "D2": time.Date(2026, 3, 11, 0, 0, 0, 0, time.UTC), "E2": "tide-line:80%",
		"A4": "ident-001", "B4": "original", "D4": 1957, "C4": 2.5} {
		require.NoError(t, f.SetCellValue("Sheet1", cell, v))
	}
	require.NoError(t, f.SetCellStyle("Sheet1", "D2", "D2", style))
	b, err := f.WriteToBuffer()
	require.NoError(t, err)
	drafts, report := load(t, "survey", b.Bytes(), options("s.xlsx"))
	s := body[*registry.Survey](t, drafts[0])
	require.Equal(t, registry.Date("2026-03-11"), s.Valid)
	require.Equal(t, 4, *s.Condition)
	require.InDelta(t, 0.8, *s.Signs[0].Reliability, 1e-12)
	require.Equal(t, "XLSX", report.Format)
	require.Equal(t, 4, drafts[1].Row)
	require.Contains(t, messages(drafts[1])[0], "not a whole number")
}

func TestFormulasAreNeverComputedAndGuardsComeOff(t *testing.T) {
	drafts, _ := load(t, "survey", []byte("component,note,origin\nfuel.tank,'=1+1,original\nframe.main,=2+2,original\n"), options("s.csv"))
	require.Equal(t, "=1+1", body[*registry.Survey](t, drafts[0]).Note)
	require.Equal(t, "=2+2", body[*registry.Survey](t, drafts[1]).Note)
}

// manyRows is a survey of n machines' tanks.
func manyRows(n int) string {
	var b strings.Builder
	b.WriteString("machine,component,origin,finish,specification,condition,function,signs,by,second,date,note\n")
	for i := range n {
		fmt.Fprintf(&b, "machine-%06d,fuel.tank,original,worn,to-catalogue,%d,not-tested,tide-line:0.9;layers-complete,per-mechanic,per-second,2026-03-11,\"seen from below, line %d, unbroken from seam to seam on both sides of the tank\"\n", i, i%6, i)
	}
	return b.String()
}

func TestMemoryDoesNotGrowWithTheFile(t *testing.T) {
	const rows = 100_000
	data := manyRows(rows)
	i, err := importers.Named("survey")
	require.NoError(t, err)
	var before, now runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	s, err := i.Open(strings.NewReader(data), options("s.csv"))
	require.NoError(t, err)
	n, peak := 0, uint64(0)
	require.NoError(t, s.Each(func(d importers.Draft) error {
		if !d.Good() {
			return fmt.Errorf("%v", messages(d))
		}
		if n++; n%20_000 == 0 {
			runtime.GC()
			runtime.ReadMemStats(&now)
			peak = max(peak, now.HeapAlloc)
		}
		return nil
	}))
	require.Equal(t, rows, n)
	held := int64(peak) - int64(before.HeapAlloc)
	t.Logf("%d rows, file of %d MB, %d kB held", rows, len(data)>>20, held>>10)
	require.Less(t, held, int64(len(data)/4))
	runtime.KeepAlive(data)
}

func BenchmarkSurveyCSV(b *testing.B) {
	benchmark(b, []byte(manyRows(20_000)), 20_000, "s.csv")
}

func BenchmarkSurveyXLSX(b *testing.B) {
	f := excelize.NewFile()
	w, err := f.NewStreamWriter("Sheet1")
	require.NoError(b, err)
	for r, row := range strings.Split(strings.TrimSpace(strings.ReplaceAll(manyRows(5_000), `"`, "")), "\n") {
		var cells []any
		for _, c := range strings.SplitN(row, ",", 12) {
			cells = append(cells, c)
		}
		require.NoError(b, w.SetRow(fmt.Sprintf("A%d", r+1), cells))
	}
	require.NoError(b, w.Flush())
	buf, err := f.WriteToBuffer()
	require.NoError(b, err)
	benchmark(b, buf.Bytes(), 5_000, "s.xlsx")
}

func benchmark(b *testing.B, data []byte, rows int, name string) {
	i, err := importers.Named("survey")
	require.NoError(b, err)
	b.ReportAllocs()
	b.ResetTimer()
	for b.Loop() {
		s, err := i.Open(bytes.NewReader(data), options(name))
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		if err := s.Each(func(d importers.Draft) error {
			if !d.Good() {
				return fmt.Errorf("%v", messages(d))
			}
			n++
			return nil
		}); err != nil || n != rows {
			b.Fatal(n, err)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
