package importers

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// wrongHeading heads the column of reasons in a file of rejected rows. The
// importers pass it over, so the mended file can be read again as it is.
const wrongHeading = "what is wrong"

// RejectedWriter writes the rows that were refused, as they stood, with a last
// column of reasons in words.
type RejectedWriter struct {
	w       *csv.Writer
	columns int
	begun   bool
	head    []string
}

// NewRejectedWriter begins a CSV file with the headings of the original; see
// Report.Headings. The headings are written with the first row.
func NewRejectedWriter(w io.Writer, headings []string) *RejectedWriter {
	return &RejectedWriter{w: csv.NewWriter(w), columns: len(headings), head: headings}
}

// Write adds a draft, unless it is good. Drafts of one row need only one of
// them written.
func (r *RejectedWriter) Write(d Draft) error {
	if d.Good() {
		return nil
	}
	if !r.begun {
		r.begun = true
		if err := r.row(r.head, wrongHeading); err != nil {
			return err
		}
	}
	var reasons []string
	for _, f := range d.Faults {
		f.File, f.Row, f.Pointer = "", 0, ""
		reasons = append(reasons, f.String())
	}
	where := ""
	if d.Row > 0 {
		where = "Row " + strconv.Itoa(d.Row) + ": "
	}
	return r.row(d.Cells, where+strings.Join(reasons, " | "))
}

func (r *RejectedWriter) row(cells []string, last string) error {
	out := make([]string, 0, r.columns+1)
	for _, c := range cells {
		out = append(out, GuardFormula(c))
	}
	for len(out) < r.columns {
		out = append(out, "")
	}
	return r.w.Write(append(out, GuardFormula(last)))
}

// Flush writes what is held back.
func (r *RejectedWriter) Flush() error {
	r.w.Flush()
	return r.w.Error()
}

// GuardFormula makes a text harmless for a spreadsheet program: one that it
// would take for a formula gets an apostrophe in front. A plain number with a
// sign stays. The importers take the apostrophe off again.
func GuardFormula(s string) string {
	if isFormula(s) {
		return "'" + s
	}
	return s
}

// isFormula says whether a spreadsheet program would compute a cell.
func isFormula(s string) bool {
	t := strings.TrimLeft(s, " \u00a0")
	if t == "" || !strings.ContainsRune("=+-@\t\r", rune(t[0])) {
		return false
	}
	if t[0] == '+' || t[0] == '-' {
		if _, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64); err == nil || t == "-" {
			return false
		}
	}
	return true
}
