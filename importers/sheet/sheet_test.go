package sheet_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"pgregory.net/rapid"

	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

func read(t *testing.T, data []byte, o sheet.Options) (*sheet.File, []sheet.Row) {
	t.Helper()
	f, err := sheet.Open(bytes.NewReader(data), "list.csv", o)
	require.NoError(t, err)
	var rows []sheet.Row
	require.NoError(t, f.Each(func(r sheet.Row) error { rows = append(rows, r); return nil }))
	require.NoError(t, f.Close())
	return f, rows
}

func refused(t *testing.T, data []byte, o sheet.Options) *registry.Error {
	t.Helper()
	f, err := sheet.Open(bytes.NewReader(data), "list.csv", o)
	if err == nil {
		err = f.Each(func(sheet.Row) error { return nil })
	}
	var e *registry.Error
	require.ErrorAs(t, err, &e)
	return e
}

func TestRowNumbersAreThoseOfASpreadsheet(t *testing.T) {
	// Blank lines count, and a cell with line breaks is one row.
	_, rows := read(t, []byte("a,b\r\n\r\n\"one\r\ntwo\",x\r\nlast,y"), sheet.Options{})
	require.Equal(t, []sheet.Row{{Number: 1, Cells: []string{"a", "b"}}, {Number: 3, Cells: []string{"one\ntwo", "x"}},
		{Number: 4, Cells: []string{"last", "y"}}}, rows)
}

func TestQuotationMarksAsSpreadsheetsReadThem(t *testing.T) {
	_, rows := read(t, []byte("a,b\n7\" pipe,\"he said \"\"no\"\"\"\n\"x\"y,\n"), sheet.Options{})
	require.Equal(t, []string{`7" pipe`, `he said "no"`}, rows[1].Cells)
	require.Equal(t, []string{"xy", ""}, rows[2].Cells)
}

func TestAnUnclosedQuotationMarkIsAFaultOfItsRow(t *testing.T) {
	_, rows := read(t, []byte("a,b\nfine,1\n\"open,2\nmore,3\n"), sheet.Options{})
	require.Len(t, rows, 3)
	require.Empty(t, rows[1].Fault)
	require.Contains(t, rows[2].Fault, "never closed")
	require.Equal(t, 3, rows[2].Number)

	e := refused(t, []byte("a,b\n\"open"+strings.Repeat(",2\n", sheet.MaxRowBytes)), sheet.Options{})
	require.Contains(t, e.Message, "Row 2")
}

func TestSeparators(t *testing.T) {
	for text, want := range map[string]rune{
		"a;b;c\n1;2,5;3\n":       ';',
		"a\tb\tc\n1\t2,5\t3\n":   '\t',
		"a,b,c\n1,2.5,3\n":       ',',
		"\"x;y;z;w\",b\n1,2\n":   ',',
		"sep=;\na;b\n1;2\n":      ';',
		"\n\na;b\n1;2\n":         ';',
		"alone\none\n":           ',',
		"sep=\t\r\na\tb\n1\t2\n": '\t',
	} {
		f, rows := read(t, []byte(text), sheet.Options{})
		require.Equal(t, string(want), string(f.Separator), "%q", text)
		require.NotContains(t, strings.Join(rows[0].Cells, ""), "sep=")
	}
	_, rows := read(t, []byte("sep=;\na;b\n1;2\n"), sheet.Options{})
	require.Equal(t, 3, rows[1].Number, "the line sep= counts as a row, as a text editor shows it")
}

func TestEncodings(t *testing.T) {
	text := "name;note\nDüsenstock;„schön“ – 30 °C\n"
	western, err := charmap.Windows1252.NewEncoder().String(text)
	require.NoError(t, err)
	little, err := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewEncoder().String(text)
	require.NoError(t, err)
	big, err := unicode.UTF16(unicode.BigEndian, unicode.ExpectBOM).NewEncoder().String(text)
	require.NoError(t, err)
	for _, c := range []struct{ data, encoding string }{
		{text, "utf-8"}, {"\ufeff" + text, "utf-8"}, {western, "windows-1252"}, {little, "utf-16le"}, {big, "utf-16be"}} {
		f, rows := read(t, []byte(c.data), sheet.Options{})
		require.Equal(t, c.encoding, f.Encoding)
		require.Equal(t, []string{"name", "note"}, rows[0].Cells, c.encoding)
		require.Equal(t, []string{"Düsenstock", "„schön“ – 30 °C"}, rows[1].Cells, c.encoding)
	}
	// "tiché žíly" in Windows-1250: ž is 0x9E, é 0xE9, both at home in 1252, so it
	// must be told; š and ž read right by chance, č (0xE8) does not.
	czech, err := charmap.Windows1250.NewEncoder().String("name\nčerná\n")
	require.NoError(t, err)
	_, rows := read(t, []byte(czech), sheet.Options{Encoding: "Windows-1250"})
	require.Equal(t, "černá", rows[1].Cells[0])
}

func TestAnEncodingThatCannotBeToldIsRefusedWithItsPlace(t *testing.T) {
	// 0x81 has no meaning in Windows-1252 and begins nothing in UTF-8.
	e := refused(t, []byte("a;b\nfine;ok\nx;bad\x81here\n"), sheet.Options{})
	require.Equal(t, registry.CodeInvalid, e.Code)
	require.Contains(t, e.Message, "row 3, column 2")
	require.Equal(t, 3, e.Fields[0].Row)
	require.Contains(t, e.Fix, "windows-1252")
	// A byte order mark that lies.
	e = refused(t, []byte("\xef\xbb\xbfa\ncaf\xe9\n"), sheet.Options{})
	require.Contains(t, e.Message, "row 2, column 1")
	// Told to be UTF-8, and it is not.
	e = refused(t, []byte("a\ncaf\xe9\n"), sheet.Options{Encoding: "utf-8"})
	require.Contains(t, e.Message, "row 2, column 1")
	// UTF-16 without its mark.
	bare, err := unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewEncoder().String("machine;component\nx;y\n")
	require.NoError(t, err)
	e = refused(t, []byte(bare), sheet.Options{})
	require.Contains(t, e.Fix, "utf-16le")
	_, rows := read(t, []byte(bare), sheet.Options{Encoding: "utf-16le"})
	require.Equal(t, []string{"x", "y"}, rows[1].Cells)
}

func TestARuneAcrossTheBufferIsWhole(t *testing.T) {
	for pad := range 4 {
		text := "a\n" + strings.Repeat("x", 64<<10-5+pad) + "äöü€\n"
		f, rows := read(t, []byte(text), sheet.Options{})
		require.Equal(t, "utf-8", f.Encoding)
		require.True(t, strings.HasSuffix(rows[1].Cells[0], "äöü€"))
	}
	f, _ := read(t, []byte("a\nabc\xc3"), sheet.Options{})
	require.Equal(t, "windows-1252", f.Encoding, "a rune cut at the end of the file is no UTF-8")
}

func TestOwnReaderAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		width := rapid.IntRange(2, 5).Draw(t, "width")
		cell := rapid.StringOfN(rapid.RuneFrom([]rune("ab ,;\"\n\t=äß€'")), 0, 6, -1)
		rows := rapid.SliceOfN(rapid.SliceOfN(cell, width, width), 1, 6).Draw(t, "rows")
		rows = append([][]string{make([]string, width)}, rows...)
		for i := range rows[0] {
			rows[0][i] = fmt.Sprint("h", i)
		}
		var b bytes.Buffer
		w := csv.NewWriter(&b)
		if err := w.WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		f, err := sheet.Open(bytes.NewReader(b.Bytes()), "", sheet.Options{Separator: ','})
		if err != nil {
			t.Fatal(err)
		}
		var got [][]string
		if err := f.Each(func(r sheet.Row) error {
			if r.Fault != "" {
				t.Fatal(r.Fault)
			}
			got = append(got, r.Cells)
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		var want [][]string
		for _, r := range rows {
			if !(sheet.Row{Cells: r}).Empty() {
				want = append(want, r)
			}
		}
		if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", want) {
			t.Fatalf("got %q\nwant %q\nof %q", got, want, b.String())
		}
	})
}

// A row is too long as soon as a mark or a letter follows what a row may hold.
func TestTheLongestRow(t *testing.T) {
	for _, c := range []struct {
		cell int
		end  string
		long bool
	}{
		{sheet.MaxRowBytes, "\n", false}, {sheet.MaxRowBytes + 1, "\n", true}, {sheet.MaxRowBytes + 1, "", false}, {sheet.MaxRowBytes + 2, "", true},
		{sheet.MaxRowBytes + 100_000, "", true}, {3 * sheet.MaxRowBytes, "", true},
	} {
		for _, quote := range []string{"", `"`} {
			data := []byte("a\n" + quote + strings.Repeat("x", c.cell) + quote + c.end)
			f, err := sheet.Open(bytes.NewReader(data), "list.csv", sheet.Options{Separator: ','})
			require.NoError(t, err)
			err = f.Each(func(sheet.Row) error { return nil })
			require.Equal(t, c.long || quote != "" && c.cell > sheet.MaxRowBytes, err != nil, "%d %q %q", c.cell, quote, c.end)
		}
	}
}

func TestForeignFilesAreNamed(t *testing.T) {
	for data, want := range map[string]string{
		"%PDF-1.7\n":                          "a PDF",
		"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1xxx": ".xls",
		"<html><table>":                       "web page",
		`[{"record":"survey"}]`:               "JSON",
		"\x00\x01\x02binary":                  "neither text nor a workbook",
		"":                                    "empty",
		"  \n ":                               "empty",
	} {
		require.Contains(t, refused(t, []byte(data), sheet.Options{}).Message, want, "%q", data)
	}
	require.Equal(t, registry.CodeTooLarge, refused(t, bytes.Repeat([]byte("a,b\n"), 100), sheet.Options{MaxBytes: 100}).Code)
	require.Equal(t, registry.CodeInvalid, refused(t, []byte("a,b\n"), sheet.Options{Encoding: "rot13"}).Code)
}

// zipped makes an archive of name and content pairs.
func zipped(t testing.TB, pairs ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(pairs); i += 2 {
		part, err := w.Create(pairs[i])
		require.NoError(t, err)
		_, err = io.WriteString(part, pairs[i+1])
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

func TestForeignArchivesAreNamed(t *testing.T) {
	ods := zipped(t, "mimetype", "application/vnd.oasis.opendocument.spreadsheet", "content.xml", "<x/>")
	require.Contains(t, refused(t, ods, sheet.Options{}).Message, ".ods")
	require.Equal(t, registry.CodeUnsupported, refused(t, ods, sheet.Options{}).Code)
	require.Contains(t, refused(t, zipped(t, "readme.txt", "hello"), sheet.Options{}).Message, "not a workbook")
	require.Contains(t, refused(t, []byte("PK\x03\x04 cut off"), sheet.Options{}).Message, "cut off")
}

// workbook writes a workbook with excelize.
func workbook(t testing.TB, fill func(*excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	fill(f)
	b, err := f.WriteToBuffer()
	require.NoError(t, err)
	require.NoError(t, f.Close())
	return b.Bytes()
}

func TestWorkbookValuesReadAsStored(t *testing.T) {
	day := time.Date(1957, 6, 29, 0, 0, 0, 0, time.UTC)
	data := workbook(t, func(f *excelize.File) {
		style := func(s *excelize.Style) int { id, err := f.NewStyle(s); require.NoError(t, err); return id }
		custom := func(code string) int { return style(&excelize.Style{CustomNumFmt: &code}) }
		cells := []struct {
			value any
			style int
		}{
			{"text", 0},
			{day, style(&excelize.Style{NumFmt: 14})},
			{day, custom("dd/mm/yyyy")},
			{day.Add(15 * time.Hour), custom("dd.mm.yyyy hh:mm")},
			{0.85, style(&excelize.Style{NumFmt: 9})},
			{0.125, style(&excelize.Style{NumFmt: 1})},
			{1957, 0},
			{1234.5, custom(`#,##0.00 "d"`)},
			{true, 0},
		}
		for i, c := range cells {
			name, _ := excelize.CoordinatesToCellName(i+1, 3)
			require.NoError(t, f.SetCellValue("Sheet1", name, c.value))
			if c.style != 0 {
				require.NoError(t, f.SetCellStyle("Sheet1", name, name, c.style))
			}
		}
		require.NoError(t, f.SetCellFormula("Sheet1", "J3", "1+2"))
		require.NoError(t, f.SetCellValue("Sheet1", "A1", "heading"))
	})
	f, rows := read(t, data, sheet.Options{})
	require.Equal(t, "XLSX", f.Format)
	require.Equal(t, "Sheet1", f.Sheet)
	require.Equal(t, 3, rows[1].Number, "row 2 is empty and counts")
	require.Equal(t, []string{"text", "1957-06-29", "1957-06-29", "1957-06-29", "0.85", "0.125", "1957", "1234.5", "TRUE"}, rows[1].Cells[:9])
}

// hand makes a workbook out of a sheet's rows as they would stand in its text.
func hand(t testing.TB, sheetData string) []byte {
	return zipped(t,
		"[Content_Types].xml", `<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/></Types>`,
		"_rels/.rels", `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml", `<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="List" sheetId="1" r:id="rId1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels", `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`,
		"xl/worksheets/sheet1.xml", `<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`+sheetData)
}

const end = `</sheetData></worksheet>`

func TestWorkbooksOfOtherWriters(t *testing.T) {
	// Texts within the cells, formulas with the value last computed, and rows
	// and cells that do not say where they stand.
	_, rows := read(t, hand(t, `<row><c t="inlineStr"><is><t>component</t></is></c><c t="inlineStr"><is><r><t>ori</t></r><r><t>gin</t></r></is></c></row>`+
		`<row><c t="str"><f>"fuel"&amp;".tank"</f><v>fuel.tank</v></c><c><f>1+2</f><v>3</v></c></row>`+end), sheet.Options{})
	require.Equal(t, []string{"component", "origin"}, rows[0].Cells)
	require.Equal(t, sheet.Row{Number: 2, Cells: []string{"fuel.tank", "3"}}, rows[1])
}

func TestABrokenSheetIsNeverReadInPart(t *testing.T) {
	row := func(n int, text string) string {
		return fmt.Sprintf(`<row r="%d"><c r="A%d" t="inlineStr"><is><t>%s</t></is></c></row>`, n, n, text)
	}
	_, rows := read(t, hand(t, row(1, "a")+row(2, "b")+row(5, "c")+end), sheet.Options{})
	require.Len(t, rows, 3)
	e := refused(t, hand(t, row(1, "a")+row(2, "\x01")+row(3, "c")+end), sheet.Options{})
	require.Contains(t, e.Message, "damaged")

	// A byte changed inside the archive fails its checksum.
	data := workbook(t, func(f *excelize.File) {
		for i := range 200 {
			require.NoError(t, f.SetCellValue("Sheet1", fmt.Sprintf("A%d", i+1), fmt.Sprint("row ", i*7919)))
		}
	})
	for _, at := range []int{len(data) / 3, len(data) / 2, len(data) * 2 / 3} {
		changed := bytes.Clone(data)
		changed[at] ^= 0x55
		f, err := sheet.Open(bytes.NewReader(changed), "x.xlsx", sheet.Options{})
		if err == nil {
			n := 0
			err = f.Each(func(sheet.Row) error { n++; return nil })
			if err == nil {
				require.Equal(t, 200, n, "a change that does no harm must lose nothing")
			}
		}
	}
	e = refused(t, data[:len(data)-200], sheet.Options{})
	require.Contains(t, e.Message, "cut off")
}

func TestSheetsAreChosenByNameOrTheFirstThatShows(t *testing.T) {
	data := workbook(t, func(f *excelize.File) {
		for _, s := range []string{"Second", "Third"} {
			_, err := f.NewSheet(s)
			require.NoError(t, err)
			require.NoError(t, f.SetCellValue(s, "A1", s))
		}
		require.NoError(t, f.SetCellValue("Sheet1", "A1", "first"))
		f.SetActiveSheet(1)
		require.NoError(t, f.SetSheetVisible("Sheet1", false))
	})
	f, rows := read(t, data, sheet.Options{})
	require.Equal(t, "Second", f.Sheet)
	require.Equal(t, "Second", rows[0].Cells[0])
	f, _ = read(t, data, sheet.Options{Sheet: "third"})
	require.Equal(t, "Third", f.Sheet)
	e := refused(t, data, sheet.Options{Sheet: "fourth"})
	require.Contains(t, e.Fix, "Second, Third")
}

func TestSwollenArchivesAreRefused(t *testing.T) {
	// 300 MiB of spaces deflate to some 300 KiB.
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	part, err := w.Create("xl/worksheets/sheet1.xml")
	require.NoError(t, err)
	block := bytes.Repeat([]byte(" "), 1<<20)
	for range 300 {
		_, err := part.Write(block)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	began := time.Now()
	require.Equal(t, registry.CodeTooLarge, refused(t, b.Bytes(), sheet.Options{}).Code)
	require.Less(t, time.Since(began), 2*time.Second)

	small := workbook(t, func(f *excelize.File) {})
	require.Equal(t, registry.CodeTooLarge, refused(t, small, sheet.Options{MaxUnpacked: 1000}).Code)
	require.Equal(t, registry.CodeTooLarge, refused(t, small, sheet.Options{MaxBytes: 1000}).Code)
}

func FuzzOpen(f *testing.F) {
	f.Add([]byte("a,b\n1,2\n"))
	f.Add([]byte("sep=;\n\"a\";b\n\"1\r\n\";2"))
	f.Add([]byte("\xff\xfea\x00;\x00b\x00\n\x00"))
	f.Add([]byte("caf\xe9;\x81\n"))
	f.Add([]byte("\"\"\"\n\"\r"))
	f.Add(hand(f, `<row r="1"><c r="A1" t="s"><v>7</v></c></row>`+end))
	f.Add(workbook(f, func(x *excelize.File) { _ = x.SetCellValue("Sheet1", "B2", time.Unix(0, 0)) }))
	f.Fuzz(func(t *testing.T, data []byte) {
		readTwice(t, data, "x")
	})
}

func FuzzWorksheet(f *testing.F) {
	f.Add(`<row r="1"><c r="A1" t="s"><v>7</v></c></row>` + end)
	f.Add(`<row><c t="inlineStr"><is><t>x</t></is></c><c s="3"><v>21000</v></c></row>` + end)
	f.Add(`<row r="9"><c r="ZZZZ1" t="b"><v>1</v></c><c><f>A1</f></c></row><row r="2"/>`)
	f.Fuzz(func(t *testing.T, text string) {
		readTwice(t, hand(t, text), "x.xlsx")
	})
}

// readTwice reads a file that may be anything: its rows come in order and are
// the same again, or a refusal has a code, the same again.
func readTwice(t *testing.T, data []byte, name string) {
	t.Helper()
	file, err := sheet.Open(bytes.NewReader(data), name, sheet.Options{MaxUnpacked: 8 << 20})
	if err != nil {
		require.NotEqual(t, registry.CodeInternal, registry.CodeOf(err), "%v", err)
		return
	}
	read := func() (rows []sheet.Row, code registry.Code) {
		err := file.Each(func(r sheet.Row) error {
			if len(rows) > 0 && r.Number <= rows[len(rows)-1].Number {
				t.Fatalf("row %d after row %d", r.Number, rows[len(rows)-1].Number)
			}
			r.Cells = slices.Clone(r.Cells)
			rows = append(rows, r)
			return nil
		})
		if err != nil {
			code = registry.CodeOf(err)
			require.NotEqual(t, registry.CodeInternal, code, "%v", err)
		}
		return rows, code
	}
	rows, code := read()
	again, same := read()
	require.Equal(t, code, same)
	require.Equal(t, rows, again)
	require.NoError(t, file.Close())
}
