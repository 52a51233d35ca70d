package catalog

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// Limits of a pack.
const (
	maxPackFiles = 100
	maxPackBytes = 4 << 20 // of one file
)

// manifestName is the file that names a pack.
const manifestName = "manifest.json"

// content is one file of a pack: rows that change the house's or add to them.
type content struct {
	ID               string            `json:"id"`
	Version          string            `json:"version"`
	Source           string            `json:"source"`
	Assumption       string            `json:"assumption"`
	Groups           []json.RawMessage `json:"groups"`
	Components       []json.RawMessage `json:"components"`
	Assemblies       []json.RawMessage `json:"assemblies"`
	Priors           []json.RawMessage `json:"priors"`
	Signs            []json.RawMessage `json:"signs"`
	Survey           []json.RawMessage `json:"survey"`
	Treatments       []json.RawMessage `json:"treatments"`
	Cautions         []json.RawMessage `json:"cautions"`
	Conditions       []json.RawMessage `json:"conditions"`
	Standpoints      []json.RawMessage `json:"standpoints"`
	Gates            []json.RawMessage `json:"gates"`
	Openings         []json.RawMessage `json:"openings"`
	Photos           []json.RawMessage `json:"photos"`
	Words            []json.RawMessage `json:"words"`
	Value            []json.RawMessage `json:"value"`
	Causes           []json.RawMessage `json:"causes"`
	Observations     []json.RawMessage `json:"observations"`
	Tests            []json.RawMessage `json:"tests"`
	Complaints       []json.RawMessage `json:"complaints"`
	Measures         []json.RawMessage `json:"measures"`
	Published        []json.RawMessage `json:"published"`
	Threads          []json.RawMessage `json:"threads"`
	ThreadConfusions []json.RawMessage `json:"thread_confusions"`
	FastenerGrades   []json.RawMessage `json:"fastener_grades"`
	Lubrications     []json.RawMessage `json:"lubrications"`
	StampSchemes     []json.RawMessage `json:"stamp_schemes"`
	Misreadings      []json.RawMessage `json:"misreadings"`
	NumberSeries     []json.RawMessage `json:"number_series"`
	Bench            []json.RawMessage `json:"bench"`
}

// pack lays one pack over what is there. Nothing of it is laid when one of its
// files is malformed.
func (b *builder) pack(number int, dir fs.FS) {
	name := fmt.Sprintf("pack %d", number)
	files, err := packFiles(dir)
	if err != nil {
		b.faults.add(place{file: name}, "", "a folder of JSON files", "The pack cannot be read: "+err.Error(), "Check the path and its rights.")
		return
	}
	var manifest PackIdentity
	before := len(b.faults)
	if raw, ok := b.valid(dir, name+"/"+manifestName, manifestName, "manifest"); ok {
		if err := strict(raw, &manifest); err != nil {
			b.faults.add(place{file: name + "/" + manifestName}, "", "", err.Error(), "")
		} else {
			name = manifest.ID
		}
	}
	for _, p := range b.c.identity.Packs {
		if manifest.ID != "" && p.ID == manifest.ID {
			b.faults.add(place{name + "/" + manifestName, "/id"}, strconv.Quote(manifest.ID), "each pack once", "A pack of this id is laid already", "Leave one of them out.")
		}
	}
	contents := make([]content, len(files))
	for i, f := range files {
		raw, ok := b.valid(dir, name+"/"+f, f, "content")
		if !ok {
			continue
		}
		if err := strict(raw, &contents[i]); err != nil {
			b.faults.add(place{file: name + "/" + f}, "", "", err.Error(), "")
		}
	}
	if len(b.faults) > before {
		return
	}
	b.c.identity.Packs = append(b.c.identity.Packs, manifest)
	seen := map[string]bool{}
	for i, f := range files {
		b.lay(layer{file: name + "/" + f, seen: seen, base: Basis{Source: contents[i].Source, Assumption: contents[i].Assumption,
			From: manifest.ID + " " + manifest.Version}}, &contents[i])
	}
}

// packFiles lists the JSON files of a folder but for its manifest.
func packFiles(dir fs.FS) ([]string, error) {
	entries, err := fs.ReadDir(dir, ".")
	if err != nil {
		return nil, err
	}
	var files []string
	for _, e := range entries {
		if !e.IsDir() && strings.HasSuffix(e.Name(), ".json") && e.Name() != manifestName {
			files = append(files, e.Name())
		}
	}
	if len(files) > maxPackFiles {
		return nil, fmt.Errorf("it has %d files, more than %d", len(files), maxPackFiles)
	}
	slices.Sort(files)
	return files, nil
}

// valid reads a file and holds it against the schema.
func (b *builder) valid(dir fs.FS, label, name, definition string) ([]byte, bool) {
	here := place{file: label}
	raw, err := readLimited(dir, name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		b.faults.add(here, "no such file", name, "The pack has no "+name, "Write one with id, version, title and author.")
		return nil, false
	case err != nil:
		b.faults.add(here, "", "", "The file cannot be read: "+err.Error(), "")
		return nil, false
	}
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	doc, err := decodeAny(raw)
	if err != nil {
		b.faults.add(here, "", "one JSON object", "This is not sound JSON: "+err.Error(), "Check commas, quotes and brackets.")
		return nil, false
	}
	found, err := validate(definition, doc)
	if err != nil {
		b.faults.add(here, "", "", err.Error(), "")
		return nil, false
	}
	for _, f := range found {
		f.File = label
		if len(b.faults) < maxFaults {
			b.faults = append(b.faults, f)
		}
	}
	return raw, len(found) == 0
}

func readLimited(dir fs.FS, name string) ([]byte, error) {
	f, err := dir.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxPackBytes+1))
	if err == nil && len(data) > maxPackBytes {
		err = fmt.Errorf("it is larger than %d bytes", maxPackBytes)
	}
	return data, err
}

// decodeAny reads JSON with its numbers kept as written. It refuses a key that
// stands twice in one object, of which the plain decoder would keep the last in
// silence, and anything after the end.
func decodeAny(raw []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	v, err := decodeValue(d, 0)
	if err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("something stands after the end of the record")
	}
	return v, nil
}

// maxDepth is how deep objects and lists may be nested.
const maxDepth = 50

func decodeValue(d *json.Decoder, depth int) (any, error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("it is nested deeper than %d", maxDepth)
	}
	t, err := d.Token()
	if err != nil {
		return nil, err
	}
	switch t {
	case json.Delim('{'):
		object := map[string]any{}
		for d.More() {
			k, err := d.Token()
			if err != nil {
				return nil, err
			}
			key := k.(string)
			if _, twice := object[key]; twice {
				return nil, fmt.Errorf("the key %q stands twice in one object", key)
			}
			if object[key], err = decodeValue(d, depth+1); err != nil {
				return nil, err
			}
		}
		_, err := d.Token()
		return object, err
	case json.Delim('['):
		list := []any{}
		for d.More() {
			v, err := decodeValue(d, depth+1)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		_, err := d.Token()
		return list, err
	}
	return t, nil
}

// layer is one file of a pack while it is laid.
type layer struct {
	file string
	seen map[string]bool // what this pack has laid already
	base Basis
}

func (b *builder) lay(l layer, c *content) {
	lay(b, l, &b.c.groups, "groups", "id", c.Groups, nil)
	lay(b, l, &b.c.components, "components", "id", c.Components, limitComponent)
	lay(b, l, &b.c.assemblies, "assemblies", "id", c.Assemblies, nil)
	lay(b, l, &b.c.priors, "priors", "id", c.Priors, nil)
	lay(b, l, &b.c.signs, "signs", "id", c.Signs, limitSign)
	lay(b, l, &b.c.survey, "survey", "proposition", c.Survey, nil)
	lay(b, l, &b.c.treatments, "treatments", "id", c.Treatments, limitTreatment)
	lay(b, l, &b.c.cautions, "cautions", "id", c.Cautions, limitCaution)
	lay(b, l, &b.c.conditions, "conditions", "step", c.Conditions, nil)
	lay(b, l, &b.c.standpoints, "standpoints", "id", c.Standpoints, nil)
	gates := len(b.c.gates.rows)
	lay(b, l, &b.c.gates, "gates", "id", c.Gates, limitGate)
	for _, g := range b.c.gates.rows[gates:] {
		b.faults.add(b.places["gates/"+g.ID], strconv.Quote(g.ID), strings.Join(b.c.gates.keys(), ", "), "A pack cannot add a gate", "Add checks to the gates that there are.")
	}
	lay(b, l, &b.c.openings, "openings", "id", c.Openings, limitOpening)
	lay(b, l, &b.c.photos, "photos", "id", c.Photos, limitPhoto)
	lay(b, l, &b.c.words, "words", "id", c.Words, nil)
	lay(b, l, &b.c.value, "value", "id", c.Value, nil)
	lay(b, l, &b.c.causes, "causes", "id", c.Causes, nil)
	lay(b, l, &b.c.observations, "observations", "id", c.Observations, nil)
	lay(b, l, &b.c.tests, "tests", "id", c.Tests, limitTest)
	lay(b, l, &b.c.complaints, "complaints", "id", c.Complaints, limitComplaint)
	lay(b, l, &b.c.measures, "measures", "id", c.Measures, nil)
	lay(b, l, &b.c.published, "published", "id", c.Published, limitPublished)
	lay(b, l, &b.c.threads, "threads", "id", c.Threads, nil)
	lay(b, l, &b.c.threadConfusions, "thread_confusions", "id", c.ThreadConfusions, limitConfusion)
	lay(b, l, &b.c.grades, "fastener_grades", "id", c.FastenerGrades, limitGrade)
	lay(b, l, &b.c.lubrications, "lubrications", "id", c.Lubrications, limitLubrication)
	lay(b, l, &b.c.schemes, "stamp_schemes", "id", c.StampSchemes, nil)
	lay(b, l, &b.c.misreadings, "misreadings", "characters", c.Misreadings, nil)
	lay(b, l, &b.c.numberSeries, "number_series", "id", c.NumberSeries, nil)
	lay(b, l, &b.c.bench, "bench", "id", c.Bench, limitBench)
}

// lay lays the rows of one section: a key that is known changes its row, any
// other adds one. limit refuses, or undoes, what a pack may not do to a row.
func lay[T row[T], P based[T]](b *builder, l layer, t *table[T], section, keyName string, rows []json.RawMessage, limit func(fs *faults, at place, old, now *T)) {
	if t.at == nil {
		t.index()
	}
	for i, raw := range rows {
		at := place{l.file, "/" + section + "/" + strconv.Itoa(i)}
		var now T
		key := rowKey(raw, keyName)
		known := t.has(key)
		var err error
		if known {
			now, err = overlay(t.rows[t.at[key]], raw)
		} else {
			err = strict(raw, &now)
		}
		if err != nil {
			b.faults.add(at, "", "", err.Error(), "")
			continue
		}
		if l.seen[section+"/"+key] {
			b.faults.add(place{at.file, at.pointer + "/" + keyName}, strconv.Quote(key), "each once in a pack", "This stands twice in the pack", "Put both into one.")
			continue
		}
		l.seen[section+"/"+key] = true
		var own Basis
		_ = json.Unmarshal(raw, &own)
		basis := P(&now).basis()
		basis.Source, basis.Assumption = own.Source, own.Assumption
		inherit(basis, l.base)
		if known && limit != nil {
			old := t.rows[t.at[key]].clone()
			limit(&b.faults, at, &old, &now)
		}
		b.places[section+"/"+key] = at
		if known {
			t.rows[t.at[key]] = now
		} else {
			t.at[key] = len(t.rows)
			t.rows = append(t.rows, now)
		}
	}
}

// rowKey reads the key of a row; a number is written as text.
func rowKey(raw json.RawMessage, name string) string {
	var fields map[string]json.RawMessage
	if json.Unmarshal(raw, &fields) != nil {
		return ""
	}
	var text string
	if json.Unmarshal(fields[name], &text) == nil {
		return text
	}
	return string(bytes.TrimSpace(fields[name]))
}

// overlay changes a row: each field of the patch replaces that of the row, and
// where both are objects, each key of the patch replaces the row's.
func overlay[T row[T]](base T, patch json.RawMessage) (T, error) {
	var zero, now T
	was, err := json.Marshal(base)
	if err != nil {
		return zero, err
	}
	var fields, changes map[string]json.RawMessage
	if err := json.Unmarshal(was, &fields); err != nil {
		return zero, err
	}
	if err := json.Unmarshal(patch, &changes); err != nil {
		return zero, err
	}
	for k, v := range changes {
		var inner, innerChanges map[string]json.RawMessage
		if json.Unmarshal(fields[k], &inner) == nil && json.Unmarshal(v, &innerChanges) == nil && inner != nil && k != "money" {
			for key, value := range innerChanges {
				inner[key] = value
			}
			if v, err = json.Marshal(inner); err != nil {
				return zero, err
			}
		}
		fields[k] = v
	}
	merged, err := json.Marshal(fields)
	if err != nil {
		return zero, err
	}
	return now, strict(merged, &now)
}

// known lists words for a message.
func known(terms []registry.Term) string {
	ids := make([]string, len(terms))
	for i, t := range terms {
		ids[i] = t.ID
	}
	return strings.Join(ids, ", ")
}
