package importers

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"example.org/asfound/registry"
)

// Limits of JSON files.
const (
	// MaxRecordBytes is the longest single record.
	MaxRecordBytes = 4 << 20
	// DefaultMaxJSON is the largest file, in bytes.
	DefaultMaxJSON = 1 << 30
	// maxDepth is how deep lists and objects may nest.
	maxDepth = 64
)

// jsonSource reads records as JSON: one record, a list of them, one a line, or
// {"records": [...]}.
type jsonSource struct {
	o      Options
	in     *meter
	report Report
	start  func() error
}

func openJSON(r io.ReadSeeker, o Options) (Source, error) {
	s := &jsonSource{o: o, report: Report{File: o.File, Importer: "json", Format: "JSON", Encoding: "utf-8"}}
	s.start = func() error {
		if _, err := r.Seek(0, io.SeekStart); err != nil {
			return err
		}
		limit := o.MaxBytes
		if limit <= 0 {
			limit = DefaultMaxJSON
		}
		s.in = &meter{r: bufio.NewReaderSize(r, 64<<10), left: limit}
		if mark, err := s.in.r.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
			_, err = s.in.r.Discard(3)
			return err
		}
		return nil
	}
	if err := s.start(); err != nil {
		return nil, err
	}
	if first, err := s.firstByte(); err != nil {
		return nil, err
	} else if first != '{' && first != '[' {
		return nil, registry.Refuse(registry.CodeUnsupported, "Send a record, a list of records, or one record a line.", "%s is not JSON that holds records", orThe(o.File))
	}
	return s, nil
}

// firstByte is the first that is not space, without taking it.
func (s *jsonSource) firstByte() (byte, error) {
	for n := 1; n <= 4096; n++ {
		head, err := s.in.r.Peek(n)
		if len(head) < n {
			if errors.Is(err, io.EOF) {
				return 0, registry.Refuse(registry.CodeInvalid, "Choose the file again.", "%s is empty", orThe(s.o.File))
			}
			return 0, err
		}
		if !strings.ContainsRune(" \t\r\n", rune(head[n-1])) {
			return head[n-1], nil
		}
	}
	return 0, nil
}

// meter reads and refuses to go on for ever: over a whole file and, as given
// by budget, over one record.
type meter struct {
	r      *bufio.Reader
	left   int64
	budget int64
}

var (
	errFileLong   = errors.New("the file is too long")
	errRecordLong = errors.New("a record is too long")
)

func (m *meter) Read(p []byte) (int, error) {
	if m.left <= 0 {
		if _, err := m.r.Peek(1); errors.Is(err, io.EOF) {
			return 0, io.EOF
		}
		return 0, errFileLong
	}
	if m.budget <= 0 {
		return 0, errRecordLong
	}
	if n := min(m.left, m.budget); int64(len(p)) > n {
		p = p[:n]
	}
	n, err := m.r.Read(p)
	m.left -= int64(n)
	m.budget -= int64(n)
	return n, err
}

func (s *jsonSource) Report() Report { return s.report }
func (s *jsonSource) Close() error   { return nil }

var recordsList = regexp.MustCompile(`^\s*\{\s*"records"\s*:\s*\[`)

func (s *jsonSource) Each(take func(Draft) error) error {
	if err := s.start(); err != nil {
		return err
	}
	s.report.Headings = []string{"record"}
	s.report.Rows, s.report.Records, s.report.Rejected = 0, 0, 0
	first, err := s.firstByte()
	if err != nil {
		return err
	}
	head, err := s.in.r.Peek(4096)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, bufio.ErrBufferFull) {
		return err
	}
	read := s.readLines
	if first == '[' || recordsList.Match(head) {
		read = s.readList
	}
	return inOrder(s.o.Workers, read, s.work, func(r result) error {
		if r.err != nil {
			return r.err
		}
		return s.report.handOn(r.drafts, take)
	})
}

// value is one record's text with its number: a line, or a place in a list.
type value struct {
	number int
	data   []byte
}

// readList reads a list, alone or under "records", one record at a time.
func (s *jsonSource) readList(give func(value) error) error {
	s.in.budget = MaxRecordBytes
	dec := json.NewDecoder(s.in)
	open, err := dec.Token()
	if err != nil {
		return s.broken(err, 0)
	}
	wrapped := open == json.Delim('{')
	if wrapped {
		for range 2 { // "records" and [
			if _, err := dec.Token(); err != nil {
				return s.broken(err, 0)
			}
		}
	}
	for n := 1; dec.More(); n++ {
		s.in.budget = MaxRecordBytes
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return s.broken(err, n)
		}
		if len(raw) > MaxRecordBytes {
			return s.broken(errRecordLong, n)
		}
		if err := give(value{n, raw}); err != nil {
			return err
		}
	}
	s.in.budget = MaxRecordBytes
	closing := 1
	if wrapped {
		closing = 2
	}
	for range closing {
		t, err := dec.Token()
		if err != nil {
			return s.broken(err, 0)
		}
		if _, ok := t.(json.Delim); !ok {
			return registry.Refuse(registry.CodeInvalid, "Put the records under \"records\" alone.", "%s has more beside its records: %q", orThe(s.o.File), fmt.Sprint(t))
		}
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return registry.Refuse(registry.CodeInvalid, "Send one list in one file.", "%s goes on after the end of its list", orThe(s.o.File))
	}
	return nil
}

// readLines reads one record a line; a file that is a single record may spread
// over many lines.
func (s *jsonSource) readLines(give func(value) error) error {
	number := 0
	var pending []byte // lines of a record that is not complete
	began := false     // with records on single lines
	first := 0         // line of the first byte of pending
	for {
		line, err := s.readLine(MaxRecordBytes - len(pending))
		if len(line) > 0 {
			number++
			text := bytes.TrimSpace(line)
			switch {
			case len(text) == 0 && len(pending) == 0:
			case len(pending) == 0 && (began || json.Valid(text)):
				began = true
				if err := give(value{number, text}); err != nil {
					return err
				}
			default:
				// Nothing came before: a record over many lines, alone in the file.
				if len(pending) == 0 {
					first = number
				}
				pending = append(pending, line...)
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return s.broken(err, number)
		}
	}
	if len(pending) == 0 {
		return nil
	}
	return s.values(pending, first, give)
}

// readLine reads up to and with the next line break.
func (s *jsonSource) readLine(limit int) ([]byte, error) {
	var line []byte
	for {
		part, err := s.in.r.ReadSlice('\n')
		line = append(line, part...)
		if s.in.left -= int64(len(part)); s.in.left < 0 {
			return nil, errFileLong
		}
		if len(line) > limit {
			return nil, errRecordLong
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return line, err
		}
	}
}

// values gives records that stand one behind the other over several lines.
func (s *jsonSource) values(data []byte, first int, give func(value) error) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	for {
		from := dec.InputOffset()
		var raw json.RawMessage
		err := dec.Decode(&raw)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return s.broken(err, first+bytes.Count(data[:dec.InputOffset()], []byte("\n")))
		}
		skipped := len(data[from:]) - len(bytes.TrimLeft(data[from:], " \t\r\n"))
		if err := give(value{first + bytes.Count(data[:int(from)+skipped], []byte("\n")), raw}); err != nil {
			return err
		}
	}
}

// broken turns a failure of reading into one error about the file.
func (s *jsonSource) broken(err error, record int) error {
	var syntax *json.SyntaxError
	switch {
	case errors.Is(err, errFileLong):
		return registry.Refuse(registry.CodeTooLarge, "Split it into several files.", "%s is larger than a file of records may be", orThe(s.o.File))
	case errors.Is(err, errRecordLong):
		return registry.Refuse(registry.CodeTooLarge, "Look for a bracket that is never closed.", "Record %d of %s is larger than %d MiB", record, orThe(s.o.File), MaxRecordBytes>>20)
	case errors.As(err, &syntax):
		return registry.Refuse(registry.CodeInvalid, "Mend it and send the file again.", "%s is not JSON near record %d, byte %d: %v", orThe(s.o.File), record, syntax.Offset, err)
	case errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF):
		return registry.Refuse(registry.CodeInvalid, "Send the whole file.", "%s ends in the middle of record %d", orThe(s.o.File), record)
	}
	return err
}

// work makes the draft of one record.
func (s *jsonSource) work(v value) result {
	d := Draft{File: s.o.File, Row: v.number, Cells: []string{string(v.data)}}
	fault := func(pointer, found, allowed, message, fix string) result {
		f := registry.Field{Pointer: pointer, Allowed: allowed, Message: message, Fix: fix}
		if found != "" {
			f.Found = quoted(found)
		}
		d.Faults = append(d.Faults, f)
		return s.placed(d)
	}
	if pointer, why := oddJSON(v.data); why != "" {
		return fault(pointer, "", "", why, "Mend the record.")
	}
	var whole map[string]json.RawMessage
	if err := json.Unmarshal(v.data, &whole); err != nil {
		return fault("", string(v.data), "an object", "A record is an object in curly brackets", "")
	}
	kind, machine, version, problem := header(whole)
	d.Machine = machine
	if problem != nil {
		d.Faults = append(d.Faults, *problem)
		return s.placed(d)
	}
	if version == 0 {
		version = registry.SchemaVersion(kind)
	}
	body, given := whole["body"]
	if given {
		for key := range whole {
			if key != "record" && key != "machine" && key != "schema" && key != "body" {
				return fault("/"+key, "", "record, machine, schema, body", "There is something beside the body", "Put it into the body.")
			}
		}
	} else {
		delete(whole, "record")
		delete(whole, "machine")
		delete(whole, "schema")
		var err error
		if body, err = json.Marshal(whole); err != nil {
			return result{err: err}
		}
	}
	var err error
	if s.o.Validator != nil {
		if err := gather(&d.Faults, s.o.Validator.Validate(kind, version, body)); err != nil {
			return result{err: err}
		}
	}
	d.Body, err = registry.DecodeBody(kind, version, body)
	if err != nil {
		d.Body = nil
		if len(d.Faults) == 0 {
			if err := gather(&d.Faults, err); err != nil {
				return fault("", "", "", err.Error(), "Compare it with the schema of this kind.")
			}
		}
		return s.placed(d)
	}
	if err := gather(&d.Faults, registry.CheckBody(d.Body)); err != nil {
		return result{err: err}
	}
	return s.placed(d)
}

// header reads what stands beside a record's own fields.
func header(whole map[string]json.RawMessage) (kind registry.Kind, machine string, version int, problem *registry.Field) {
	var name string
	if raw, ok := whole["record"]; !ok || json.Unmarshal(raw, &name) != nil || registry.SchemaVersion(registry.Kind(name)) == 0 {
		var kinds []string
		for _, k := range registry.Kinds() {
			kinds = append(kinds, string(k))
		}
		return "", "", 0, &registry.Field{Pointer: "/record", Found: string(bytes.ToValidUTF8(whole["record"], []byte("?"))), Allowed: strings.Join(kinds, ", "),
			Message: "It is not said which kind of record this is, or the kind is not known", Fix: didYouMean(name, kinds, `Write "record": "survey", or another kind.`)}
	}
	if _, hasBody := whole["body"]; name == "withdrawal" && !hasBody {
		return "", "", 0, &registry.Field{Pointer: "/record", Message: "A withdrawal names another record, so its own fields stand apart",
			Fix: `Write {"record": "withdrawal", "body": {"id": …, "record": …, "why": …, "by": …}}.`}
	}
	if raw, ok := whole["machine"]; ok && json.Unmarshal(raw, &machine) != nil {
		return "", "", 0, &registry.Field{Pointer: "/machine", Found: string(raw), Allowed: "a machine's id", Message: "The machine is named by its id"}
	}
	if raw, ok := whole["schema"]; ok && (json.Unmarshal(raw, &version) != nil || version < 1) {
		return "", "", 0, &registry.Field{Pointer: "/schema", Found: string(raw), Allowed: fmt.Sprintf("1 to %d", registry.SchemaVersion(registry.Kind(name))),
			Message: "The schema version is a whole number", Fix: "Leave it out for the present one."}
	}
	return registry.Kind(name), machine, version, nil
}

// placed puts file and row on every fault.
func (s *jsonSource) placed(d Draft) result {
	for i := range d.Faults {
		d.Faults[i].File, d.Faults[i].Row = d.File, d.Row
	}
	return result{drafts: []Draft{d}}
}

// oddJSON finds what a lenient decoder would pass over: text that is not UTF-8,
// a key that stands twice in one object, and nesting without end.
func oddJSON(data []byte) (pointer, why string) {
	if !utf8.Valid(data) {
		return "", "The record holds bytes that are not UTF-8"
	}
	if err := json.Unmarshal(data, new(json.RawMessage)); err != nil {
		return "", "This is not JSON: " + err.Error()
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	type level struct {
		keys  map[string]bool // of an object; nil in a list
		name  string          // of the present member
		index int
		value bool // the next token of an object is a value
	}
	var path []level
	where := func() string {
		var b strings.Builder
		for _, l := range path {
			name := l.name
			if l.keys == nil {
				name = fmt.Sprint(l.index)
			}
			b.WriteString("/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(name))
		}
		return b.String()
	}
	for {
		t, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return "", ""
		}
		if err != nil {
			return where(), "This is not JSON: " + err.Error()
		}
		var top *level
		if len(path) > 0 {
			top = &path[len(path)-1]
		}
		if key, ok := t.(string); ok && top != nil && top.keys != nil && !top.value {
			top.name, top.value = key, true
			if top.keys[key] {
				return where(), "The key stands twice in one object"
			}
			top.keys[key] = true
			continue
		}
		switch t {
		case json.Delim('{'), json.Delim('['):
			next := level{}
			if t == json.Delim('{') {
				next.keys = map[string]bool{}
			}
			if path = append(path, next); len(path) > maxDepth {
				return "", "The record nests deeper than any record does"
			}
			continue
		case json.Delim('}'), json.Delim(']'):
			path = path[:len(path)-1]
			if len(path) == 0 {
				continue
			}
			top = &path[len(path)-1]
		}
		if top != nil {
			top.value = false
			top.index++
		}
	}
}
