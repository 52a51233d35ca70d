package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/xuri/excelize/v2"

	"example.org/asfound/registry"
)

// spillBytes is the size above which a worksheet is unpacked to a temporary
// file rather than to memory.
const spillBytes = 16 << 20

// openWorkbook checks the archive and chooses the worksheet.
func openWorkbook(r io.ReadSeeker, name string, o Options) (*File, error) {
	limit := orDefault(o.MaxBytes, DefaultMaxWorkbook)
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > limit {
		return nil, tooLarge(name, limit)
	}
	unpacked := orDefault(o.MaxUnpacked, DefaultMaxUnpacked)
	arch, err := checkArchive(data, name, unpacked)
	if err != nil {
		return nil, err
	}
	var book *excelize.File
	var sheets []string
	err = guarded(func() (err error) {
		book, err = excelize.OpenReader(bytes.NewReader(data), excelize.Options{
			UnzipSizeLimit: unpacked, UnzipXMLSizeLimit: min(spillBytes, unpacked), ShortDatePattern: isoDate})
		if err == nil {
			datesOnly(book)
			sheets = book.GetSheetList()
		}
		return err
	})
	if err != nil {
		if book != nil {
			_ = book.Close() // its temporary files, as far as there are any
		}
		return nil, damaged(name, "it does not open as a workbook")
	}
	f := &File{Name: name, Format: "XLSX", Sheets: sheets, close: book.Close}
	if f.Sheet, err = chooseSheet(book, f.Sheets, name, o.Sheet); err != nil {
		return nil, errors.Join(err, book.Close())
	}
	expected := arch.lastRow(f.Sheet)
	f.each = keeping(func(give func(Row) error) error { return eachRow(book, f, expected, give) })
	return f, nil
}

// guarded turns a panic, as a hostile workbook may bring about, into an error.
func guarded(do func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the workbook could not be understood: %v", r)
		}
	}()
	return do()
}

func chooseSheet(book *excelize.File, sheets []string, name, asked string) (string, error) {
	for _, s := range sheets {
		if asked != "" && strings.EqualFold(s, strings.TrimSpace(asked)) {
			return s, nil
		}
		if asked == "" {
			if shows, err := book.GetSheetVisible(s); err == nil && shows {
				return s, nil
			}
		}
	}
	if asked == "" {
		return "", registry.Refuse(registry.CodeInvalid, takes, "%s has no sheet that shows", base(name))
	}
	return "", registry.Refuse(registry.CodeInvalid, "The workbook has: "+strings.Join(sheets, ", ")+".",
		"%s has no sheet named %q", base(name), asked)
}

// eachRow gives the rows of the chosen sheet. The reader beneath it stops
// without a word where the sheet's text is broken, so the last row is compared
// with the one that the archive was found to hold.
func eachRow(book *excelize.File, f *File, expected int, give func(Row) error) error {
	var rows *excelize.Rows
	if err := guarded(func() (err error) { rows, err = book.Rows(f.Sheet); return err }); err != nil {
		return damaged(f.Name, "the sheet "+f.Sheet+" cannot be read")
	}
	number := 0
	for {
		var cells []string
		more := false
		err := guarded(func() (err error) {
			if more = rows.Next(); more {
				cells, err = rows.Columns()
			}
			return err
		})
		if err == nil && !more {
			break
		}
		number++
		if err != nil {
			return errors.Join(damaged(f.Name, "a row of the sheet "+f.Sheet+" cannot be read"), rows.Close())
		}
		row := Row{Number: number, Cells: cells}
		if row.Empty() {
			continue
		}
		if err := give(row); err != nil {
			return errors.Join(err, rows.Close())
		}
	}
	if err := rows.Close(); err != nil {
		return damaged(f.Name, "the sheet "+f.Sheet+" cannot be read to its end")
	}
	if number < expected {
		return registry.Refuse(registry.CodeInvalid, "Open it in a spreadsheet program, save it again, and send that copy.",
			"%s is damaged: the sheet %s has %d rows, and only %d could be read", base(f.Name), f.Sheet, expected, number)
	}
	return nil
}

// isoDate is how dates read; shortDate is the built-in format that
// excelize.Options.ShortDatePattern replaces.
const (
	isoDate   = "yyyy-mm-dd"
	shortDate = 14
)

// datesOnly replaces the number formats of a workbook: what was shown as a date
// reads as YYYY-MM-DD, and every other number reads as it is stored, without
// rounding, currency or percent sign.
func datesOnly(book *excelize.File) {
	styles := book.Styles
	if styles == nil || styles.CellXfs == nil {
		return
	}
	custom := map[int]string{}
	if styles.NumFmts != nil {
		for _, nf := range styles.NumFmts.NumFmt {
			custom[nf.NumFmtID] = nf.FormatCode
			if nf.FormatCode16 != "" {
				custom[nf.NumFmtID] = nf.FormatCode16
			}
		}
		styles.NumFmts = nil // so that none of them stands in the way of the built-in ones
	}
	dates, stored := shortDate, -1 // -1 is no format at all: the stored text
	for i := range styles.CellXfs.Xf {
		xf := &styles.CellXfs.Xf[i]
		id := 0
		if xf.NumFmtID != nil {
			id = *xf.NumFmtID
		}
		code, isCustom := custom[id]
		if isCustom && isDateCode(code) || !isCustom && isDateID(id) {
			xf.NumFmtID = &dates
		} else {
			xf.NumFmtID = &stored
		}
	}
}

// isDateID says whether a built-in number format shows a day (ECMA-376 part 1,
// 18.8.30, with the formats of the east Asian editions).
func isDateID(id int) bool {
	return id >= 14 && id <= 17 || id == 22 || id >= 27 && id <= 31 || id == 36 || id >= 50 && id <= 54 || id == 57 || id == 58
}

// isDateCode says whether a written number format shows a day or a year: a y or
// d that stands neither in quotation marks, nor in brackets, nor behind a
// backslash.
func isDateCode(code string) bool {
	code, _, _ = strings.Cut(strings.ToLower(code), ";")
	quoted, bracket, skip := false, false, false
	for _, c := range code {
		switch {
		case skip:
			skip = false
		case quoted:
			quoted = c != '"'
		case bracket:
			bracket = c != ']'
		case c == '"':
			quoted = true
		case c == '[':
			bracket = true
		case c == '\\' || c == '_' || c == '*':
			skip = true
		case c == 'y' || c == 'd':
			return true
		}
	}
	return false
}

func damaged(name, what string) error {
	return registry.Refuse(registry.CodeInvalid, "Open it in a spreadsheet program, save it again, and send that copy.",
		"%s is damaged: %s", base(name), what)
}
