package workshop

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"reflect"
	"strings"
	"sync"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/demo"
	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/schema"
)

// The catalog and the schemas never change, so every test shares one.
var (
	testCatalog = sync.OnceValues(func() (*catalog.Catalog, error) { return catalog.Load() })
	testSchemas = sync.OnceValues(schema.Compile)
)

// testingT is what a test and a property test have in common.
type testingT interface {
	require.TestingT
	Helper()
}

// bench is a workshop in memory with a clock that stands still until it is
// told to go on, and identifiers that count up.
type bench struct {
	*Workshop
	t       testingT
	memory  *ledgertest.Memory
	private *ledgertest.MemoryBlobs
	mu      sync.Mutex
	now     time.Time
	ids     int
}

// lockedRandom is a source of numbers that are the same in every run, for
// several writers at once.
type lockedRandom struct {
	mu   sync.Mutex
	from *rand.ChaCha8
}

func (r *lockedRandom) Read(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.from.Read(p)
}

// monday is when every test begins.
var monday = time.Date(2026, 3, 9, 9, 0, 0, 0, time.UTC)

func newBench(t testingT) *bench {
	t.Helper()
	known, err := testCatalog()
	require.NoError(t, err)
	schemas, err := testSchemas()
	require.NoError(t, err)
	b := &bench{t: t, memory: ledgertest.NewMemory(), private: ledgertest.NewMemoryBlobs(), now: monday}
	b.Workshop = &Workshop{Ledger: b.memory, Photos: ledgertest.NewMemoryBlobs(), Private: b.private, Views: ledgertest.NewMemoryViews(),
		Catalog: known, Schemas: schemas, Scratch: func() (Scratch, error) { return &memoryScratch{room: 1 << 30}, nil }, Random: &lockedRandom{from: rand.NewChaCha8([32]byte{1})},
		Now: func() time.Time { b.mu.Lock(); defer b.mu.Unlock(); return b.now },
		NewID: func() string {
			b.mu.Lock()
			defer b.mu.Unlock()
			b.ids++
			return fmt.Sprintf("n%06d", b.ids)
		}}
	return b
}

// restarted is the same registry in another process: nothing is held in memory.
func (b *bench) restarted() *bench {
	b.t.Helper()
	other := newBench(b.t)
	other.Ledger, other.memory, other.Private, other.private, other.Photos, other.Views = b.Ledger, b.memory, b.private, b.private, b.Photos, b.Views
	other.now, other.ids = b.Now(), b.ids+1000
	return other
}

// pass lets time go by.
func (b *bench) pass(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now = b.now.Add(d)
}

// drover is the machine of most tests.
const drover = "drover"

func request() Request { return Request{Machine: drover, Actor: "mechanic"} }

// do records bodies that have to be allowed.
func (b *bench) do(bodies ...registry.Body) Receipt {
	b.t.Helper()
	b.pass(time.Minute)
	r, err := b.Record(context.Background(), request(), bodies...)
	require.NoError(b.t, err)
	return r
}

// file records what stands in one of the demonstration's files.
func (b *bench) file(name string) {
	b.t.Helper()
	b.pass(time.Minute)
	r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: name}, sourceOf(drafts(b.t, "drover/"+name)...))
	require.NoError(b.t, err)
	require.Equal(b.t, r.Rows, r.Recorded)
}

// drafts reads a file of the demonstration as the command line would.
func drafts(t testingT, name string) []Draft {
	t.Helper()
	data, err := fs.ReadFile(demo.Files(), name)
	require.NoError(t, err)
	out := draftsOf(t, name, data)
	// The demonstration goes on for months; the bench's clock may stand still on its first Monday.
	for _, d := range out {
		valid := reflect.ValueOf(d.Body).Elem().FieldByName("Valid")
		if first := monday.Format(time.DateOnly); valid.String() > first {
			valid.SetString(first)
		}
	}
	return out
}

func draftsOf(t testingT, name string, data []byte) (out []Draft) {
	t.Helper()
	known, err := testCatalog()
	require.NoError(t, err)
	schemas, err := testSchemas()
	require.NoError(t, err)
	var components []importers.Component
	for _, c := range known.ComponentsInWalk() {
		components = append(components, importers.Component{ID: c.ID, Code: c.Code, Name: c.Name, Group: c.GroupName})
	}
	var assemblies []string
	for _, a := range known.Assemblies() {
		assemblies = append(assemblies, a.ID)
	}
	o := importers.Options{File: name, By: "mechanic", Anatomy: importers.NewAnatomy(components, assemblies, known.Rules().Signs), Validator: schemas}
	importer, err := importers.Detect(bytes.NewReader(data), o)
	require.NoError(t, err)
	source, err := importer.Open(bytes.NewReader(data), o)
	require.NoError(t, err)
	defer source.Close()
	require.NoError(t, source.Each(func(d importers.Draft) error { out = append(out, Draft(d)); return nil }))
	return out
}

func sourceOf(drafts ...Draft) Source {
	return func(_ context.Context, fn func(Draft) error) error {
		for _, d := range drafts {
			if err := fn(d); err != nil {
				return err
			}
		}
		return nil
	}
}

// report shows the machine as it stands.
func (b *bench) report(o ReportOptions) *Report {
	b.t.Helper()
	r, err := b.Report(context.Background(), drover, o)
	require.NoError(b.t, err)
	return r
}

// events is the whole ledger's bytes as one text.
func (b *bench) events() string {
	b.t.Helper()
	var all strings.Builder
	require.NoError(b.t, b.memory.ReadAll(context.Background(), 0, func(r registry.Record) error {
		for _, e := range r.Events {
			all.Write(e)
			all.WriteByte('\n')
		}
		return nil
	}))
	return all.String()
}

func (b *bench) version() uint64 {
	b.t.Helper()
	h, err := b.memory.Head(context.Background(), drover)
	require.NoError(b.t, err)
	return h.Version
}

// asJSON is a value as it would be printed.
func asJSON(t require.TestingT, v any) string {
	raw, err := json.MarshalIndent(v, "", " ")
	require.NoError(t, err)
	return string(raw)
}

// refused checks that an act was refused for a reason, with a word of the
// message.
func refused(t require.TestingT, err error, code registry.Code, word string) {
	require.Error(t, err)
	require.Equal(t, string(code), string(registry.CodeOf(err)), "%v", err)
	require.Contains(t, err.Error(), word)
}

// says and silent look for a word in a long text, without printing the text.
func says(t testingT, text, word string) {
	t.Helper()
	require.True(t, strings.Contains(text, word), "it does not say %q", word)
}

func silent(t testingT, text, word string) {
	t.Helper()
	i := strings.Index(text, word)
	if i >= 0 {
		require.Fail(t, "it says what it must not", "%q in …%s…", word, text[max(0, i-60):min(len(text), i+len(word)+60)])
	}
}

func ptr[T any](v T) *T { return &v }

func pounds(amount string) registry.Money {
	m, err := registry.ParseMoney(amount, "GBP")
	if err != nil {
		panic(err)
	}
	return m
}

// The stages of the job, each on the one before. They are those of the
// demonstration, without its pictures. Each is played once; tests get copies.

func takenIn(t testingT) *bench {
	return stage(t, "taken in", func() *bench {
		b := newBench(t)
		b.file("take-in.json")
		return b
	})
}

func surveyed(t testingT) *bench {
	return stage(t, "surveyed", func() *bench {
		b := takenIn(t)
		b.file("openings.json")
		b.file("survey.csv")
		return b
	})
}

func sealed(t testingT) *bench {
	return stage(t, "sealed", func() *bench {
		b := surveyed(t)
		b.pass(time.Minute)
		_, err := b.SealSurvey(context.Background(), request(), registry.SurveySeal{By: "mechanic"})
		require.NoError(t, err)
		return b
	})
}

func drafted(t testingT) *bench {
	return stage(t, "drafted", func() *bench {
		b := sealed(t)
		b.file("faults-and-options.json")
		return b
	})
}

// played is what a stage left behind.
type played struct {
	commits []registry.Record
	private [][]byte
	now     time.Time
	ids     int
}

var (
	stagesMu sync.Mutex
	stages   = map[string]played{}
)

// stage gives a copy of the registry as it stands after some part of the job.
func stage(t testingT, name string, play func() *bench) *bench {
	t.Helper()
	ctx := context.Background()
	stagesMu.Lock()
	p, ok := stages[name]
	stagesMu.Unlock()
	if !ok {
		b := play()
		p = played{now: b.now, ids: b.ids}
		require.NoError(t, b.memory.ReadAll(ctx, 0, func(r registry.Record) error { p.commits = append(p.commits, r); return nil }))
		require.NoError(t, b.private.Each(ctx, func(digest string, _ int64) error {
			r, _, err := b.private.Get(ctx, digest)
			if err != nil {
				return err
			}
			data, err := io.ReadAll(r)
			p.private = append(p.private, data)
			return errors.Join(err, r.Close())
		}))
		stagesMu.Lock()
		stages[name] = p
		stagesMu.Unlock()
	}
	b := newBench(t)
	b.now, b.ids = p.now, p.ids
	for _, r := range p.commits {
		_, err := b.memory.Append(ctx, registry.Commit{ID: r.ID, Machine: r.Machine, Expect: r.First - 1, Events: r.Events})
		require.NoError(t, err)
	}
	for _, data := range p.private {
		_, _, err := b.private.Put(ctx, bytes.NewReader(data), maxPrivate)
		require.NoError(t, err)
	}
	return b
}

// propose asks the owner for options, the first of which is recommended.
func (b *bench) propose(id, ceiling string, options ...string) Proposed {
	b.t.Helper()
	b.pass(time.Minute)
	p, err := b.Propose(context.Background(), request(), ProposeInput{ID: id, Options: options, Recommended: options[:1],
		Ceiling: pounds(ceiling), Expires: b.Now().AddDate(0, 0, 14)})
	require.NoError(b.t, err)
	return p
}

// approve answers an offer with yes.
func (b *bench) approve(p Proposed, options ...string) {
	b.t.Helper()
	b.do(&registry.Decision{On: p.ID, Digest: p.Digest, Answer: "approve", Options: options, Person: "owner", Channel: "in-person"})
}

// aSurvey is one line of a survey.
func aSurvey(component string) *registry.Survey {
	return &registry.Survey{Common: registry.Common{ID: "sv-" + component}, Component: component, Origin: "original", Finish: "worn",
		Specification: "to-catalogue", Condition: ptr(3), By: "mechanic"}
}

func aMachine() *registry.Machine {
	return &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true}
}

func aPerson(id, role, name string) *registry.Person {
	return &registry.Person{Common: registry.Common{ID: id}, Role: role, Name: registry.Private{Value: name}}
}

// people are a machine and those around it, without an agreement.
func people() []registry.Body {
	return []registry.Body{aMachine(), aPerson("owner", "executor", "Imogen Aske"), aPerson("mechanic", "mechanic", "Tamsin Orde")}
}

// someEvidence is evidence that a part is original, by a sign of the catalog.
func someEvidence(id, component string) *registry.Evidence {
	return &registry.Evidence{Common: registry.Common{ID: id}, Evidence: "physical-trait", Cluster: "marks", Says: "The mark has the right form.", By: "mechanic",
		Bears: []registry.Bearing{{Component: component, Proposition: registry.PropositionOrigin, Sign: "mark-form-right"}}}
}
