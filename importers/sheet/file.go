package sheet

import (
	"bytes"
	"errors"
	"io"
	"path"
	"strings"

	"example.org/asfound/registry"
)

// Limits that hold where the options say nothing.
const (
	// DefaultMaxText is the largest CSV file, in bytes.
	DefaultMaxText = 1 << 30
	// DefaultMaxWorkbook is the largest XLSX file, in bytes as stored.
	DefaultMaxWorkbook = 64 << 20
	// DefaultMaxUnpacked is how much an XLSX file may unpack to, in bytes.
	DefaultMaxUnpacked = 256 << 20
	// MaxRowBytes is the longest row of a CSV file.
	MaxRowBytes = 1 << 20
)

// Options say what a file itself may leave open. The zero value asks the file.
type Options struct {
	Sheet       string // of a workbook, by name; empty means the first that shows
	Encoding    string // of a CSV file, one of Encodings
	Separator   rune   // of a CSV file
	MaxBytes    int64  // of the file as stored
	MaxUnpacked int64  // of a workbook
}

// Row is one row with its number, counted from 1 as a spreadsheet shows it.
// Rows without any text are left out, and their numbers with them.
type Row struct {
	Number int
	Cells  []string
	// Fault says what is wrong with the row as text; "" when nothing is.
	Fault string
}

// Empty says whether no cell of the row holds anything but space.
func (r Row) Empty() bool {
	for _, c := range r.Cells {
		if strings.TrimSpace(c) != "" {
			return false
		}
	}
	return true
}

// File is an opened table.
type File struct {
	Name      string
	Format    string // "CSV" or "XLSX"
	Encoding  string // of a CSV file
	Separator rune   // of a CSV file
	Sheet     string // of a workbook
	Sheets    []string
	each      func(func(Row) error) error
	close     func() error
}

// Open looks at a file and decides how to read it. The reader must stay open
// while the File is in use. Codes: CodeUnsupported for what is not such a file,
// CodeTooLarge above a limit, CodeInvalid for damage and unknown encodings.
func Open(r io.ReadSeeker, name string, o Options) (*File, error) {
	head := make([]byte, 512)
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return nil, err
	}
	head = head[:n]
	if err := refuseForeign(head, name); err != nil {
		return nil, err
	}
	if IsArchive(head) {
		return openWorkbook(r, name, o)
	}
	return openText(r, name, o)
}

// Each gives the rows in order. It can be called again, and begins at the top.
func (f *File) Each(take func(Row) error) error { return f.each(take) }

// Close gives back what reading took: temporary files of a large workbook.
func (f *File) Close() error {
	if f.close == nil {
		return nil
	}
	return f.close()
}

// IsArchive says whether bytes begin as a ZIP archive does, and so a workbook.
func IsArchive(head []byte) bool { return bytes.HasPrefix(head, []byte("PK\x03\x04")) }

const takes = "Save it as a workbook (.xlsx) or as CSV."

// refuseForeign names the common things that are not tables.
func refuseForeign(head []byte, name string) error {
	trimmed := bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), " \t\r\n")
	lower := bytes.ToLower(trimmed)
	what := ""
	switch {
	case len(trimmed) == 0:
		return registry.Refuse(registry.CodeInvalid, "Choose the file again.", "%s is empty", base(name))
	case bytes.HasPrefix(head, []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")):
		what = "an older binary workbook (.xls), or a workbook locked with a password"
	case bytes.HasPrefix(head, []byte("%PDF")):
		what = "a PDF"
	case bytes.HasPrefix(lower, []byte("<!doctype")), bytes.HasPrefix(lower, []byte("<html")), bytes.HasPrefix(lower, []byte("<?xml")):
		what = "a web page or XML text, whatever its name says"
	case trimmed[0] == '{' || trimmed[0] == '[':
		what = "JSON"
	default:
		return nil
	}
	return registry.Refuse(registry.CodeUnsupported, takes, "%s is %s; a sheet is read from XLSX or CSV", base(name), what)
}

func base(name string) string {
	if name == "" {
		return "The file"
	}
	return path.Base(strings.ReplaceAll(name, `\`, "/"))
}

func tooLarge(name string, limit int64) error {
	return registry.Refuse(registry.CodeTooLarge, "Split it into several files.", "%s is larger than %d MiB", base(name), limit>>20)
}

func orDefault(n, fallback int64) int64 {
	if n > 0 {
		return n
	}
	return fallback
}
