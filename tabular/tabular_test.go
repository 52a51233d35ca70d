package tabular

import (
	"bytes"
	"encoding/csv"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

func list(rows ...[]any) workshop.List {
	return workshop.List{Name: "things", Headings: []string{"what", "time (h)", "count"}, Each: func(fn func([]any) error) error {
		for _, r := range rows {
			if err := fn(r); err != nil {
				return err
			}
		}
		return nil
	}}
}

var rows = [][]any{
	{"plain", 1.5, 3},
	{"=1+1", nil, 0},
	{"+cmd|' /C calc'!A0", -0.25, nil},
	{"-2+3", 1e-7, 1},
	{"@SUM(A1)", 12345678.9, -4},
	{"\tTAB=1", nil, nil},
	{"two\nlines, \"quoted\"; é", nil, nil},
	{"-5", nil, nil}, // a number, no formula
}

// What was written reads back with another program's reader. What would be
// computed has an apostrophe before it, as OWASP's note on CSV injection says.
func TestCSVReadsBack(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, "csv", list(rows...)))
	text, marked := strings.CutPrefix(b.String(), "\ufeff")
	require.True(t, marked, "spreadsheet programs need the mark to see UTF-8")
	got, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	require.Equal(t, [][]string{
		{"what", "time (h)", "count"},
		{"plain", "1.5", "3"},
		{"'=1+1", "", "0"},
		{"'+cmd|' /C calc'!A0", "-0.25", ""},
		{"'-2+3", "0.0000001", "1"},
		{"'@SUM(A1)", "12345678.9", "-4"},
		{"'\tTAB=1", "", ""},
		{"two\nlines, \"quoted\"; é", "", ""},
		{"-5", "", ""},
	}, got)
}

// In a workbook texts are texts and numbers numbers, and nothing is a formula.
func TestXLSXReadsBack(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, "xlsx", list(rows...)))
	f, err := excelize.OpenReader(&b)
	require.NoError(t, err)
	defer f.Close()
	got, err := f.GetRows("things", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	require.Equal(t, []string{"what", "time (h)", "count"}, got[0])
	for i, row := range rows {
		require.Equal(t, row[0], got[i+1][0])
		at, err := excelize.CoordinatesToCellName(1, i+2)
		require.NoError(t, err)
		formula, err := f.GetCellFormula("things", at)
		require.NoError(t, err)
		require.Empty(t, formula)
		kind, err := f.GetCellType("things", at)
		require.NoError(t, err)
		require.Equal(t, excelize.CellTypeInlineString, kind)
	}
	require.Equal(t, []string{"plain", "1.5", "3"}, got[1])
	kind, err := f.GetCellType("things", "B2")
	require.NoError(t, err)
	require.Contains(t, []excelize.CellType{excelize.CellTypeNumber, excelize.CellTypeUnset}, kind)
}

func TestWriteTellsWhatWentWrong(t *testing.T) {
	for _, format := range []string{"csv", "xlsx"} {
		l := list(rows...)
		l.Each = func(func([]any) error) error { return errors.New("the ledger is shut") }
		require.ErrorContains(t, Write(&bytes.Buffer{}, format, l), "the ledger is shut", format)
	}
	require.Equal(t, registry.CodeUnsupported, registry.CodeOf(Write(&bytes.Buffer{}, "ods", list())))
}
