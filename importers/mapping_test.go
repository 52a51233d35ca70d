package importers_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
)

// Two invented gauges, each with a shape of its own: one writes a line a
// reading with decimal commas below three lines of its own, the other five
// readings across the row.
const (
	gaugeA = "Layer gauge A;serial 0042\nBattery;81 %\n\nNr.;Ort;Teil;Wert [µm];Zeit\n" +
		"1;under the strap;fuel.tank;78,5;11.03.2026 09:14\n" +
		"2;under the strap;fuel.tank;1.078,25;11.03.2026 09:15\n" +
		"3;left side;fuel.tank;7.8,5;31.02.2026 09:15\n"
	gaugeB = "Spot,R1,R2,R3,Remark\n" +
		"fuel.tank,3.1,3.3,,cold\n" +
		"fuel-033,,,,\n" +
		"fuel.tank,3.4,x,3.5,\n"
)

var (
	mappingA = importers.Mapping{Name: "gauge-a", Sheet: "film", Separator: ";", Decimal: "comma", Dates: "day-month-year", Skip: 3, Columns: []importers.MappedColumn{
		{Fills: "number", From: []string{"Nr."}}, {Fills: "area", From: []string{"Ort"}}, {Fills: "component", From: []string{"Teil"}}, {Fills: "reading", From: []string{"Wert [µm]"}},
		{Fills: "date", From: []string{"Zeit"}}, {Fills: "unit", Always: "µm"}, {Fills: "instrument", Always: "gauge A"}}}
	mappingB = importers.Mapping{Name: "gauge-b", Sheet: "film", Columns: []importers.MappedColumn{
		{Fills: "area", From: []string{"Spot"}}, {Fills: "reading", From: []string{"R1", "R2", "R3"}}, {Fills: "note", From: []string{"Remark"}},
		{Fills: "unit", Always: "mil"}, {Fills: "instrument", Always: "gauge B"}}}
)

func mapped(file string, m importers.Mapping) importers.Options {
	o := options(file)
	o.Mapping = &m
	return o
}

func TestAMappingReadsAGaugeAsItWrites(t *testing.T) {
	drafts, report := load(t, "film", []byte(gaugeA), mapped("a.csv", mappingA))
	require.Len(t, drafts, 3)
	require.Equal(t, &registry.Measurement{Common: registry.Common{ID: "fm-fuel.tank-under-the-strap-11.03.2026-09-14-1", Valid: "2026-03-11"}, Component: "fuel.tank",
		Quantity: "film thickness", Value: 78.5, Unit: "µm", Instrument: "gauge A", Place: "under the strap", By: "per-mechanic"}, body[*registry.Measurement](t, drafts[0]))
	require.Equal(t, 1078.25, body[*registry.Measurement](t, drafts[1]).Value, "the mapping says which sign is which")
	all := strings.Join(messages(drafts[2]), "\n")
	require.Contains(t, all, `a.csv, row 7`)
	require.Contains(t, all, `Column "Wert [µm]": This number does not fit the decimal comma of the mapping (found "7.8,5")`)
	require.Contains(t, all, `Column "Zeit"`, "31 February is no day")
	require.Empty(t, report.Warnings)
	require.Equal(t, 4, report.HeaderRow)
}

func TestReadingsAcrossTheRow(t *testing.T) {
	drafts, report := load(t, "film", []byte(gaugeB), mapped("b.csv", mappingB))
	require.Len(t, drafts, 3, "two readings of the first row, and the last as a whole")
	require.Equal(t, 3.1, body[*registry.Measurement](t, drafts[0]).Value)
	require.Equal(t, 3.3, body[*registry.Measurement](t, drafts[1]).Value)
	require.NotEqual(t, drafts[0].Body.(*registry.Measurement).ID, drafts[1].Body.(*registry.Measurement).ID)
	require.Equal(t, 1, report.LeftOut, "a row without a reading")
	require.Len(t, drafts[2].Faults, 1, "a row stands or falls as a whole, and what its readings share is told once")
	require.Equal(t, `b.csv, row 4, /value: Column "R2": This is not a number (found "x"); allowed: a number of µm or mil. Write it with a point for decimals and nothing between thousands.`, messages(drafts[2])[0])
}

func TestAMappingWithoutHeadings(t *testing.T) {
	m := importers.Mapping{Name: "bare", Sheet: "film", NoHeadings: true, Skip: 1, Columns: []importers.MappedColumn{{Fills: "area", From: []string{"#2"}}, {Fills: "reading", From: []string{"#3"}},
		{Fills: "unit", Always: "µm"}, {Fills: "instrument", Always: "g"}}}
	drafts, _ := load(t, "film", []byte("export of today\n1,fuel.tank,81\n2,fuel.tank,no\n"), mapped("c.csv", m))
	require.Len(t, drafts, 2)
	require.Equal(t, 81.0, body[*registry.Measurement](t, drafts[0]).Value)
	require.Contains(t, messages(drafts[1])[0], `Column "#3"`)
}

// Ensure that the rows that were rejected can be mended and read in again by
// the same mapping, though they stand apart by commas.
func TestRejectedRowsFitTheMappingAgain(t *testing.T) {
	drafts, report := load(t, "film", []byte(gaugeA), mapped("a.csv", mappingA))
	var out strings.Builder
	w := importers.NewRejectedWriter(&out, report.Headings)
	require.NoError(t, w.Write(drafts[2]))
	require.NoError(t, w.Flush())
	mended := strings.NewReplacer("7.8,5", "7,5", "31.02", "28.02").Replace(out.String())
	m := mappingA
	m.Skip = 0
	again, _ := load(t, "film", []byte(mended), mapped("a.rejected.csv", m))
	require.Equal(t, 7.5, body[*registry.Measurement](t, again[0]).Value)
}

func TestAFileThatDoesNotFitTheMapping(t *testing.T) {
	e := refusal(t, "film", []byte(strings.Replace(gaugeB, "R2", "R22", 1)), mapped("b.csv", mappingB))
	require.Equal(t, `b.csv does not fit the mapping "gauge-b": There is no column "R2", from which the mapping "gauge-b" fills reading`, e.Message)
	require.Equal(t, "b.csv", e.Fields[0].File)
	require.Equal(t, 1, e.Fields[0].Row)
	require.Contains(t, e.Fix, "Did you mean R1?")
	e = refusal(t, "film", []byte("a\n"), mapped("a.csv", mappingA))
	require.Contains(t, e.Message, "no row below the first 3")
}

func TestMappingsAreChecked(t *testing.T) {
	set, err := schema.Compile()
	require.NoError(t, err)
	require.NoError(t, mappingA.Check(set))
	require.NoError(t, mappingB.Check(set))
	for want, change := range map[string]func(m *importers.Mapping){
		"/sheet: There is no sheet of this name": func(m *importers.Mapping) { m.Sheet = "inventory" },
		"Did you mean reading?":                  func(m *importers.Mapping) { m.Columns[1].Fills = "readin" },
		"Nothing fills the column unit":          func(m *importers.Mapping) { m.Columns = m.Columns[:3] },
		"/columns/1/from: Only one column can be filled from several": func(m *importers.Mapping) {
			m.Columns[1].From, m.Columns[0].From = m.Columns[0].From, []string{"a", "b"}
			m.Columns[1].From = []string{"c", "d"}
		},
		"It is not clear what fills this column":                    func(m *importers.Mapping) { m.Columns[0].Always = "x" },
		"The column is filled twice":                                func(m *importers.Mapping) { m.Columns[2].Fills = "area" },
		"/encoding: The encoding is not known here":                 func(m *importers.Mapping) { m.Encoding = "latin" },
		"The table has no headings, so a column goes by its number": func(m *importers.Mapping) { m.NoHeadings = true },
		"/decimal": func(m *importers.Mapping) { m.Decimal = "," },
		"/name":    func(m *importers.Mapping) { m.Name = "../gauge" },
	} {
		raw, err := json.Marshal(mappingB)
		require.NoError(t, err)
		var m importers.Mapping
		require.NoError(t, json.Unmarshal(raw, &m))
		change(&m)
		err = m.Check(set)
		var e *registry.Error
		require.ErrorAs(t, err, &e, want)
		var all []string
		for _, f := range e.Fields {
			all = append(all, f.String())
		}
		require.Contains(t, strings.Join(all, "\n"), want)
	}
}

func TestMappedColumnsAsTyped(t *testing.T) {
	columns, err := importers.ParseMappedColumns(mappingB.Lines())
	require.NoError(t, err)
	require.Equal(t, mappingB.Columns, columns)
	_, err = importers.ParseMappedColumns([]string{"unit = µm", "reading"})
	require.ErrorContains(t, err, "Line 2 cannot be read")
}
