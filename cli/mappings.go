package cli

import (
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"example.org/asfound/server"
)

// mappingFolder holds the saved column mappings, a file each, in the registry's
// folder. They are the workshop's own and no part of any machine's record.
const mappingFolder = "mappings"

// mappingName is what a mapping may be called: it is the name of a file.
var mappingName = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,63}$`)

func (c *call) mappingFile(name string) (string, error) {
	if !mappingName.MatchString(name) {
		return "", &registry.Error{Code: registry.CodeInvalid, Message: "This cannot be the name of a mapping", Fix: "Name it with small letters, figures and hyphens, such as gauge-b.",
			Fields: []registry.Field{{Pointer: "/name", Found: `"` + name + `"`, Allowed: "1 to 64 of a–z, 0–9, '-', '_'", Message: "This cannot be the name of a mapping", Fix: "Name it such as gauge-b."}}}
	}
	return filepath.Join(c.line.Dir, mappingFolder, name+".json"), nil
}

// mapping reads a saved mapping. CodeNotFound, with the names of those that
// there are, when there is none of that name; CodeInvalid when its file was
// damaged.
func (c *call) mapping(name string) (m importers.Mapping, err error) {
	file, err := c.mappingFile(name)
	if err != nil {
		return m, err
	}
	data, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return m, c.noMapping(name)
	}
	if err != nil {
		return m, err
	}
	schemas, err := schema.Compile()
	if err != nil {
		return m, err
	}
	return importers.ReadMapping(data, schemas)
}

// mappingBytes is the file of a mapping, nil for "": a table that is read by
// another mapping is another import.
func (c *call) mappingBytes(name string) ([]byte, error) {
	if name == "" {
		return nil, nil
	}
	m, err := c.mapping(name)
	if err != nil {
		return nil, err
	}
	return json.Marshal(m)
}

func (c *call) noMapping(name string) error {
	names, err := c.mappingNames()
	if err != nil {
		return err
	}
	fix := "Save one with \"asfound mapping save\"."
	if len(names) > 0 {
		fix = "Those that are saved: " + strings.Join(names, ", ") + "."
	}
	return registry.Refuse(registry.CodeNotFound, fix, "There is no mapping %q", name)
}

// mappingNames lists the saved mappings in order of name.
func (c *call) mappingNames() ([]string, error) {
	files, err := os.ReadDir(filepath.Join(c.line.Dir, mappingFolder))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	names := []string{}
	for _, f := range files {
		if name, ok := strings.CutSuffix(f.Name(), ".json"); ok && mappingName.MatchString(name) {
			names = append(names, name)
		}
	}
	return names, nil
}

// mappings reads all that are saved.
func (c *call) mappings() ([]importers.Mapping, error) {
	names, err := c.mappingNames()
	out := []importers.Mapping{}
	for _, name := range names {
		m, wrong := c.mapping(name)
		if err = errors.Join(err, wrong); wrong == nil {
			out = append(out, m)
		}
	}
	return out, err
}

// saveMapping writes a mapping whole or not at all, in place of one of that
// name.
func (c *call) saveMapping(m importers.Mapping) error {
	file, err := c.mappingFile(m.Name)
	if err != nil {
		return err
	}
	schemas, err := schema.Compile()
	if err != nil {
		return err
	}
	if err := m.Check(schemas); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return registry.Refuse(registry.CodeInvalid, "Choose another folder with --dir.", "The folder of mappings cannot be made: %v", errors.Unwrap(err))
	}
	return writeFile(file, func(w io.Writer) error {
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		enc.SetEscapeHTML(false)
		return enc.Encode(m)
	})
}

func (c *call) removeMapping(name string) error {
	file, err := c.mappingFile(name)
	if err != nil {
		return err
	}
	if err := os.Remove(file); errors.Is(err, fs.ErrNotExist) {
		return c.noMapping(name)
	} else if err != nil {
		return err
	}
	return nil
}

// mappingsForPages offers the mappings to the pages.
func (c *call) mappingsForPages() *server.Mappings {
	out := &server.Mappings{Remove: c.removeMapping}
	for _, name := range importers.MappableSheets() {
		t, _ := importers.TableNamed(name)
		s := server.MappableSheet{Name: name, Title: t.Title}
		for _, column := range t.Columns {
			s.Columns = append(s.Columns, server.MappableColumn{Heading: column.Heading, Takes: column.Takes, Needed: column.Needed})
		}
		out.Sheets = append(out.Sheets, s)
	}
	out.List = func() ([]server.Mapping, error) {
		list, err := c.mappings()
		var shown []server.Mapping
		for _, m := range list {
			shown = append(shown, server.Mapping{Name: m.Name, Sheet: m.Sheet, About: m.About, Separator: m.Separator, Encoding: m.Encoding, Decimal: m.Decimal, Dates: m.Dates,
				Skip: m.Skip, NoHeadings: m.NoHeadings, Columns: m.Lines()})
		}
		return shown, err
	}
	out.Save = func(m server.Mapping) error {
		columns, err := importers.ParseMappedColumns(m.Columns)
		if err != nil {
			return err
		}
		return c.saveMapping(importers.Mapping{Name: m.Name, Sheet: m.Sheet, About: m.About, Separator: m.Separator, Encoding: m.Encoding, Decimal: m.Decimal, Dates: m.Dates,
			Skip: m.Skip, NoHeadings: m.NoHeadings, Columns: columns})
	}
	return out
}
