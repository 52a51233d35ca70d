package bench

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/santhosh-tekuri/jsonschema/v5"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
)

var surveyHeadings = []string{"machine", "component", "origin", "finish", "specification", "condition", "by", "date", "note"}

// surveyRows makes up rows, a machine's together.
func surveyRows(t testing.TB, n int, row func(cells []string) error) {
	c, err := theCatalog()
	require.NoError(t, err)
	components := c.ComponentsInWalk()
	rnd := rand.New(rand.NewPCG(4, 4))
	for i := range n {
		s := surveyOf(components[i%len(components)].ID, rnd)
		require.NoError(t, row([]string{plain(i / len(components)), s.Component, s.Origin, s.Finish, s.Specification, strconv.Itoa(*s.Condition), s.By, "2026-03-01", s.Note}))
	}
}

// surveyCSV writes rows to a file as they are made.
func surveyCSV(t testing.TB, rows int) string {
	name := filepath.Join(t.TempDir(), "survey.csv")
	f, err := os.Create(name)
	require.NoError(t, err)
	w := csv.NewWriter(f)
	require.NoError(t, w.Write(surveyHeadings))
	surveyRows(t, rows, w.Write)
	w.Flush()
	require.NoError(t, errors.Join(w.Error(), f.Close()))
	return name
}

// importable is a folder in which the machines of the rows are taken in.
func importable(t testing.TB, rows int) string {
	dir := t.TempDir()
	s := open(t, dir)
	w := app(t, s)
	people := makeProbes(t, w)
	c, err := theCatalog()
	require.NoError(t, err)
	n := (rows + len(c.ComponentsInWalk()) - 1) / len(c.ComponentsInWalk())
	rules := c.Rules()
	for i := range n {
		require.NoError(t, appendAll(context.Background(), s, rules, plain(i), append([]registry.Body{machineRecord(i)}, people...)))
	}
	require.NoError(t, w.Rebuild(context.Background(), nil))
	require.NoError(t, s.Close())
	return dir
}

// eventsIn is how many events a ledger holds durably, by its head file, which
// says so once they have reached stable storage.
func eventsIn(t testing.TB, dir string) (most int) {
	raw, err := os.ReadFile(filepath.Join(dir, "head.jsonl"))
	require.NoError(t, err)
	for line := range bytes.Lines(raw) {
		var head struct{ Events int }
		if json.Unmarshal(line, &head) == nil { // one of the two may be half written
			most = max(most, head.Events)
		}
	}
	return most
}

// measureImport has the program read a sheet of a million rows, beside reading
// and writing the same without a check, and beside the check alone.
func measureImport(t *testing.T, x *results) {
	rows := sized(640, 1_000_000)
	file, dir := surveyCSV(t, rows), importable(t, rows)
	cmd := program(x.binary, "import", file, "--dir", dir, "--as", "mechanic", "--json")
	goal := eventsIn(t, dir) + rows
	cmd.Stdout = new(bytes.Buffer)
	require.NoError(t, cmd.Start())
	type reached struct {
		after    time.Duration
		resident int64 // at most until then, in bytes
	}
	stored, ended := make(chan reached, 1), make(chan struct{})
	begin := time.Now()
	go func() {
		defer close(stored)
		for eventsIn(t, dir) < goal {
			select {
			case <-ended:
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
		stored <- reached{time.Since(begin), statusOf(t, cmd.Process.Pid, "VmHWM:")}
	}()
	err := cmd.Wait()
	took := time.Since(begin)
	close(ended)
	out := cmd.Stdout.(*bytes.Buffer).Bytes()
	require.NoError(t, err, "%s", out)
	recorded, ok := <-stored
	if !ok {
		recorded = reached{took, int64(peakOf(cmd.ProcessState))}
	}
	var reports []struct{ Recorded int }
	require.NoError(t, json.Unmarshal(out, &reports))
	require.Equal(t, rows, reports[0].Recorded)
	const section = "Import"
	perSecond := float64(rows) / recorded.after.Seconds()
	validated := validationAlone(t, rows)
	bare := bareImport(t, file)
	x.add(row{section: section, what: fmt.Sprintf("CSV, %s survey rows read, validated against the schema, decided and stored durably", figureWords(float64(rows))), unit: "rows a second",
		measured: perSecond, baseline: validated, against: "schema validation alone, on every core", limit: ratioAtLeast(0.5),
		why: "a row is also looked for among the others, decided on its dossier, chained, hashed and packed"})
	x.add(row{section: section, what: "the same", unit: "rows a second", measured: perSecond, baseline: bare, against: "CSV decoded and written to Badger in batches, nothing checked"})
	x.add(row{section: section, what: "the same, until all of it is in lists and search too", unit: "rows a second", measured: float64(rows) / took.Seconds(), baseline: validated, against: "schema validation alone, on every core"})
	cpu := cmd.ProcessState.SystemTime() + cmd.ProcessState.UserTime()
	x.add(row{section: section, what: "the same, processor time", unit: "µs a row", measured: float64(cpu.Microseconds()) / float64(rows)})
	x.add(row{section: section, what: "the same, resident at most until it is recorded", unit: "MB", measured: float64(recorded.resident) / 1e6, limit: atMost(400),
		why: "most of it are Badger's tables in the making, and the files that it maps, which the system takes back when it needs the room"})
	x.add(row{section: section, what: "the same, resident at most until all of it is in lists and search too", unit: "MB", measured: peakOf(cmd.ProcessState) / 1e6})
	x.figure("import_rows_s", float64(rows)/took.Seconds())
	measureXLSX(t, x)
}

// validationAlone decodes the JSON of as many rows, 100 000 at most, and
// validates it on every core, and gives rows a second. It asks the library alone:
// the limit was set against that, and what schema.Set does to spare it is part of
// what is measured.
func validationAlone(t testing.TB, rows int) float64 {
	c, err := theCatalog()
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	compiler.Draft = jsonschema.Draft2020
	compiler.LoadURL = func(url string) (io.ReadCloser, error) {
		return schema.Schemas().Open(strings.TrimPrefix(url, schema.Base))
	}
	compiled, err := compiler.Compile(schema.Base + schema.FileName("survey", registry.SchemaVersion("survey")))
	require.NoError(t, err)
	sample := min(rows, 100_000)
	var data [][]byte
	rnd := rand.New(rand.NewPCG(4, 4))
	components := c.ComponentsInWalk()
	for i := range sample {
		raw, err := json.Marshal(surveyOf(components[i%len(components)].ID, rnd))
		require.NoError(t, err)
		data = append(data, raw)
	}
	var next atomic.Int64
	var wait sync.WaitGroup
	begin := time.Now()
	for range runtime.NumCPU() {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(data); i = int(next.Add(1)) - 1 {
				var value any
				dec := json.NewDecoder(bytes.NewReader(data[i]))
				dec.UseNumber()
				if err := errors.Join(dec.Decode(&value), compiled.Validate(value)); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wait.Wait()
	return float64(sample) / time.Since(begin).Seconds()
}

// bareImport reads the cells and writes them as JSON in batches, and gives rows
// a second.
func bareImport(t testing.TB, file string) float64 {
	db, err := badger.Open(badger.DefaultOptions(t.TempDir()).WithSyncWrites(true).WithLogger(nil).WithMemTableSize(8 << 20).
		WithValueLogFileSize(64 << 20).WithNumCompactors(2).WithNumMemtables(2).WithBlockCacheSize(8 << 20).WithMetricsEnabled(false))
	require.NoError(t, err)
	defer db.Close()
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	begin, n := time.Now(), 0
	r := csv.NewReader(bufio.NewReader(f))
	r.ReuseRecord = true
	batch := db.NewWriteBatch()
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		raw, err := json.Marshal(cells)
		require.NoError(t, err)
		require.NoError(t, batch.Set(fmt.Appendf(nil, "%s/%08d", cells[0], n), raw))
		n++
	}
	require.NoError(t, batch.Flush())
	return float64(n) / time.Since(begin).Seconds()
}

// measureXLSX reads a workbook, checked, beside the bare row reader of the
// library that it is read with.
func measureXLSX(t *testing.T, x *results) {
	rows := sized(320, 100_000)
	name := filepath.Join(t.TempDir(), "survey.xlsx")
	book := excelize.NewFile()
	w, err := book.NewStreamWriter("Sheet1")
	require.NoError(t, err)
	n := 0
	put := func(cells []string) error {
		n++
		values := make([]any, len(cells))
		for i, c := range cells {
			values[i] = c
		}
		return w.SetRow(fmt.Sprint("A", n), values)
	}
	require.NoError(t, put(surveyHeadings))
	surveyRows(t, rows, put)
	require.NoError(t, w.Flush())
	require.NoError(t, book.SaveAs(name))
	require.NoError(t, book.Close())

	begin := time.Now()
	book, err = excelize.OpenFile(name)
	require.NoError(t, err)
	all, err := book.Rows("Sheet1")
	require.NoError(t, err)
	read := 0
	for all.Next() {
		_, err := all.Columns()
		require.NoError(t, err)
		read++
	}
	require.NoError(t, errors.Join(all.Close(), book.Close()))
	require.Equal(t, rows+1, read)
	bare := float64(rows) / time.Since(begin).Seconds()

	c, err := theCatalog()
	require.NoError(t, err)
	schemas, err := theSchemas()
	require.NoError(t, err)
	var components []importers.Component
	for _, p := range c.ComponentsInWalk() {
		components = append(components, importers.Component{ID: p.ID, Code: p.Code, Name: p.Name, Group: p.GroupName})
	}
	begin = time.Now()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	i, err := importers.Named("survey")
	require.NoError(t, err)
	source, err := i.Open(f, importers.Options{File: "survey.xlsx", By: "mechanic", Anatomy: importers.NewAnatomy(components, nil, nil), Validator: schemas})
	require.NoError(t, err)
	good := 0
	require.NoError(t, source.Each(func(d importers.Draft) error {
		if d.Good() {
			good++
		}
		return nil
	}))
	require.NoError(t, source.Close())
	require.Equal(t, rows, good)
	x.add(row{section: "Import", what: fmt.Sprintf("XLSX, %s survey rows read and validated", figureWords(float64(rows))), unit: "rows a second",
		measured: float64(rows) / time.Since(begin).Seconds(), baseline: bare, against: "excelize's row reader alone, nothing checked", limit: ratioAtLeast(2),
		why: "that very reader takes most of the time; the second reading, for which the first looks for doubled rows, is of what it kept; it gets dates and number formats right, which one of our own would have to learn again"})
}
