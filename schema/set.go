package schema

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"sync"

	"example.org/asfound/registry"
	"github.com/santhosh-tekuri/jsonschema/v5"
)

// Base is where the schemas live by name; their $id is Base and the file name.
// Nothing is ever fetched from there.
const Base = "https://example.org/asfound/schema/"

const suffix = ".schema.json"

//go:embed *.schema.json
var files embed.FS

// Schemas serves the schema files, each under its name, such as
// "survey.v1.schema.json".
func Schemas() fs.FS { return files }

// FileName names the file of a kind at a schema version.
func FileName(kind registry.Kind, version int) string {
	return fmt.Sprintf("%s.v%d%s", kind, version, suffix)
}

// Raw gives the bytes of a schema file. CodeNotFound when there is none of
// that name.
func Raw(name string) ([]byte, error) {
	data, err := files.ReadFile(name)
	if err != nil {
		return nil, registry.Refuse(registry.CodeNotFound, "Ask for the list of schemas.", "There is no schema %q", name)
	}
	return data, nil
}

// Set holds every schema. Each is compiled when it is first used, once. A Set
// may be used by many goroutines at the same time.
type Set struct {
	entries map[string]*entry // by file name
}

// entry is one schema file.
type entry struct {
	name    string
	compile func() (*jsonschema.Schema, error)
	// document is the parsed file, for the words of a refusal.
	document func() (map[string]any, error)
	// rule knows good texts.
	rule func() (rule, error)
}

var shared = sync.OnceValues(newSet)

// Compile gives the set of all schemas. It is cheap: a schema is compiled when
// it is first used.
func Compile() (*Set, error) { return shared() }

func newSet() (*Set, error) {
	names, err := fs.Glob(files, "*"+suffix)
	if err != nil {
		return nil, err
	}
	s := &Set{entries: map[string]*entry{}}
	// The shared definitions are read once: one compiler, one schema at a time.
	var one sync.Mutex
	compiler := newCompiler(load)
	for _, name := range names {
		e := &entry{
			name: name,
			compile: sync.OnceValues(func() (*jsonschema.Schema, error) {
				one.Lock()
				defer one.Unlock()
				return compiler.Compile(Base + name)
			}),
			document: sync.OnceValues(func() (map[string]any, error) { return parseDocument(name) }),
		}
		e.rule = sync.OnceValues(func() (rule, error) { return s.ruleOf(e) })
		s.entries[name] = e
	}
	return s, nil
}

// newCompiler makes a compiler that takes what a schema refers to from load
// alone.
func newCompiler(load func(url string) (io.ReadCloser, error)) *jsonschema.Compiler {
	c := jsonschema.NewCompiler()
	c.Draft = jsonschema.Draft2020
	c.AssertFormat = true // without it, a format that slips in would assert nothing
	c.LoadURL = load
	c.RegisterExtension("whole number", nil, wholeNumbers{})
	return c
}

// load finds a schema among the embedded files and refuses everything else: a
// reference to a file or a host is an error, not a request.
func load(url string) (io.ReadCloser, error) {
	name, ours := strings.CutPrefix(url, Base)
	if !ours || strings.Contains(name, "/") {
		return nil, errors.New("schemas are not loaded from elsewhere")
	}
	data, err := files.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("there is no schema %q", name)
	}
	return io.NopCloser(bytes.NewReader(data)), nil
}

func parseDocument(name string) (map[string]any, error) {
	data, err := files.ReadFile(name)
	if err != nil {
		return nil, err
	}
	value, fields := read(data)
	document, ok := value.(map[string]any)
	if len(fields) > 0 || !ok {
		return nil, fmt.Errorf("the schema %s is not an object", name)
	}
	return document, nil
}

// Validate checks the JSON text of a record, or of a computation's input,
// against its schema. The kind is that of the file name: a registry.Kind,
// "event" or "calc-…-input".
//
// Codes: CodeInvalid with every fault, also for text that is not JSON, is not
// UTF-8, gives a key twice, holds a number beyond a double or nests deeper
// than MaxDepth; CodeUnsupported for a kind or version that is not known here.
func (s *Set) Validate(kind registry.Kind, version int, data []byte) error {
	e, err := s.find(kind, version)
	if err != nil {
		return err
	}
	if e.knownGood(data) {
		return nil
	}
	value, fields := read(data)
	if len(fields) > 0 {
		return s.refuse(kind, e, fields)
	}
	return s.validate(kind, e, value)
}

// ValidateDecoded is Validate for a value that was decoded already: nil, bool,
// string, json.Number or another number, []any and map[string]any. Decode with
// UseNumber, so that no digit is lost.
func (s *Set) ValidateDecoded(kind registry.Kind, version int, value any) error {
	e, err := s.find(kind, version)
	if err != nil {
		return err
	}
	var r reader
	if err := r.check("", value, 0); err != nil {
		return fmt.Errorf("validate %s: %w", kind, err)
	}
	if len(r.fields) > 0 {
		return s.refuse(kind, e, r.fields)
	}
	return s.validate(kind, e, value)
}

func (s *Set) find(kind registry.Kind, version int) (*entry, error) {
	if e, ok := s.entries[FileName(kind, version)]; ok && kind != "common" {
		return e, nil
	}
	return nil, registry.Refuse(registry.CodeUnsupported, "A newer asfound may know it.",
		"Schema version %d of %.60q is not known here", version, string(kind))
}

func (s *Set) validate(kind registry.Kind, e *entry, value any) error {
	compiled, err := e.compile()
	if err != nil {
		return fmt.Errorf("compile %s: %w", e.name, err)
	}
	err = compiled.Validate(value)
	if err == nil {
		return nil
	}
	found, ok := err.(*jsonschema.ValidationError)
	if !ok {
		return fmt.Errorf("validate with %s: %w", e.name, err)
	}
	fields, err := s.explain(e, value, found)
	if err != nil {
		return err
	}
	return s.refuse(kind, e, fields)
}

// refuse makes the refusal. MaxFields faults are listed; the rest is counted.
func (s *Set) refuse(kind registry.Kind, e *entry, fields []registry.Field) error {
	title, verb := registry.Title(kind), "recorded"
	if title == "" {
		title, verb = "The input", "read"
		if document, err := e.document(); err == nil {
			title = textOf(document, "title")
		}
	}
	first := strings.TrimSuffix(fields[0].String(), ".")
	message := fmt.Sprintf("%s cannot be %s: %s", title, verb, first)
	if n := len(fields); n > 1 {
		message = fmt.Sprintf("%s cannot be %s: %d fields are wrong, the first is %s", title, verb, n, first)
	}
	if len(fields) > MaxFields {
		fields = fields[:MaxFields]
	}
	return &registry.Error{Code: registry.CodeInvalid, Message: message, Fields: fields}
}

// MaxFields is how many faults of one record are listed at most.
const MaxFields = 100
