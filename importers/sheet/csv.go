package sheet

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"example.org/asfound/registry"
)

// openText reads a file once from end to end to learn its encoding, then its
// first row to learn its separator.
func openText(r io.ReadSeeker, name string, o Options) (*File, error) {
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	count, err := take(r, orDefault(o.MaxBytes, DefaultMaxText), name)
	if err != nil {
		return nil, err
	}
	f := &File{Name: name, Format: "CSV", Separator: o.Separator}
	enc, encName, err := count.decide(o.Encoding, name)
	undecided := errors.Is(err, errUndecided)
	if err != nil && !undecided {
		return nil, err
	}
	f.Encoding = encName
	start := func() (*bufio.Reader, error) {
		if _, err := r.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		return decoded(r, enc)
	}
	in, err := start()
	if err != nil {
		return nil, err
	}
	said := separatorLine(in)
	if f.Separator == 0 {
		f.Separator = said
	}
	if f.Separator == 0 {
		if f.Separator, err = guessSeparator(in); err != nil {
			return nil, err
		}
	}
	switch f.Separator {
	case '"', '\n', '\r', utf8.RuneError:
		return nil, registry.Refuse(registry.CodeInvalid, "Use ; or , or a tab.", "%q cannot separate columns", f.Separator)
	}
	f.each = func(give func(Row) error) error {
		in, err := start()
		if err != nil {
			return err
		}
		rows := textReader{in: in, separator: f.Separator, name: name}
		if separatorLine(in) != 0 {
			rows.line, rows.row = 1, 1
		}
		return rows.each(give)
	}
	if undecided {
		return nil, placeOfDoubt(f, name)
	}
	return f, nil
}

// placeOfDoubt finds the first cell that is not valid UTF-8.
func placeOfDoubt(f *File, name string) error {
	e := registry.Refuse(registry.CodeInvalid,
		"Save the file as CSV UTF-8, or say which encoding it has ("+strings.Join(Encodings(), ", ")+").",
		"The encoding of %s cannot be told", base(name))
	found := errors.New("found")
	err := f.each(func(row Row) error {
		for i, cell := range row.Cells {
			if !utf8.ValidString(cell) {
				e.Message = fmt.Sprintf("%s is not valid UTF-8 and its encoding cannot be told: the first doubtful character stands in row %d, column %d", base(name), row.Number, i+1)
				e.Fields = []registry.Field{{File: name, Row: row.Number, Found: strconv.QuoteToASCII(short(cell)),
					Message: fmt.Sprintf("Column %d holds bytes that belong to no encoding that is read without being told", i+1), Fix: e.Fix}}
				return found
			}
		}
		return nil
	})
	if err != nil && !errors.Is(err, found) {
		return err
	}
	return e
}

func short(s string) string {
	if len(s) > 40 {
		return s[:40]
	}
	return s
}

// separatorLine takes a first line "sep=;" off, which some spreadsheet
// programs write, and gives its separator; 0 when there is none.
func separatorLine(in *bufio.Reader) rune {
	head, _ := in.Peek(7)
	if len(head) < 5 || !strings.EqualFold(string(head[:4]), "sep=") {
		return 0
	}
	end := 5
	if len(head) > end && head[end] == '\r' {
		end++
	}
	if len(head) <= end || head[end] != '\n' {
		return 0
	}
	if _, err := in.Discard(end + 1); err != nil {
		return 0
	}
	return rune(head[4])
}

// guessSeparator counts the candidates outside quotation marks in the first
// line that holds any text.
func guessSeparator(in *bufio.Reader) (rune, error) {
	head, err := in.Peek(64 << 10)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, bufio.ErrBufferFull) {
		return 0, err
	}
	candidates := []rune{';', '\t', ','}
	counts := make([]int, len(candidates))
	quoted, text := false, false
	for _, r := range string(head) {
		if r == '"' {
			quoted = !quoted
		}
		if r == '\n' && !quoted {
			if text {
				break
			}
			clear(counts)
		}
		if r > ' ' && r != ';' && r != ',' {
			text = true
		}
		for i, c := range candidates {
			if r == c && !quoted {
				counts[i]++
			}
		}
	}
	best := 2 // a comma when nothing separates
	for i := range candidates {
		if counts[i] > counts[best] {
			best = i
		}
	}
	return candidates[best], nil
}

// textReader splits a text into rows as spreadsheet programs do: a cell that
// begins with a quotation mark runs to the next single one, with "" for the
// mark itself and line breaks kept; any other mark is plain text.
type textReader struct {
	in        *bufio.Reader
	separator rune
	name      string
	line      int // lines read so far
	row       int // rows so far, empty ones too
	buf       []byte
	ends      []int
}

func (t *textReader) each(give func(Row) error) error {
	for {
		row, err := t.next()
		if err == nil && (row.Fault != "" || !row.Empty()) {
			err = give(row)
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// next reads one row. io.EOF comes alone, after the last row.
func (t *textReader) next() (Row, error) {
	t.buf, t.ends = t.buf[:0], t.ends[:0]
	t.row++
	first := t.line + 1
	quoted, fresh, some := false, true, false
	for {
		b, err := t.in.ReadByte()
		if err != nil {
			if !errors.Is(err, io.EOF) {
				return Row{}, err
			}
			if !some {
				return Row{}, io.EOF
			}
			row := t.done()
			if quoted {
				row.Fault = fmt.Sprintf("A quotation mark that was opened in this row (line %d of the file) is never closed, so the rest of the file went into one cell", first)
			}
			return row, nil
		}
		some = true
		if len(t.buf) > MaxRowBytes || len(t.ends) > 16384 {
			return Row{}, registry.Refuse(registry.CodeInvalid, "Look for a quotation mark that is opened there and never closed.",
				"Row %d of %s is longer than a row can be", t.row, base(t.name))
		}
		switch {
		case quoted && b == '"':
			if t.peek() == '"' {
				t.skip()
				t.buf = append(t.buf, '"')
			} else {
				quoted = false
			}
		case quoted:
			if b == '\r' && t.peek() == '\n' {
				continue
			}
			if b == '\n' {
				t.line++
			}
			t.buf = append(t.buf, b)
			t.run()
		case fresh && b == '"':
			quoted, fresh = true, false
		case b == '\n' || b == '\r':
			if b == '\r' && t.peek() == '\n' {
				t.skip()
			}
			t.line++
			return t.done(), nil
		case b == byte(t.separator) && t.separator < utf8.RuneSelf:
			t.ends, fresh = append(t.ends, len(t.buf)), true
		default:
			t.buf, fresh = append(t.buf, b), false
			t.run()
		}
	}
}

// run takes over what follows up to the next mark that may mean something, as
// far as it is at hand and a row may be long.
func (t *textReader) run() {
	ahead, _ := t.in.Peek(min(t.in.Buffered(), max(0, MaxRowBytes+1-len(t.buf))))
	n := 0
	for n < len(ahead) && ahead[n] != '"' && ahead[n] != '\n' && ahead[n] != '\r' && rune(ahead[n]) != t.separator {
		n++
	}
	t.buf = append(t.buf, ahead[:n]...)
	_, _ = t.in.Discard(n) // it is at hand
}

func (t *textReader) peek() byte {
	b, err := t.in.Peek(1)
	if err != nil {
		return 0
	}
	return b[0]
}

func (t *textReader) skip() { _, _ = t.in.Discard(1) }

// done cuts the row's text into cells.
func (t *textReader) done() Row {
	text := string(t.buf)
	cells := make([]string, 0, len(t.ends)+1)
	at := 0
	for _, end := range t.ends {
		cells = append(cells, text[at:end])
		at = end
	}
	return Row{Number: t.row, Cells: append(cells, text[at:])}
}
