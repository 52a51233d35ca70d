package bench

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"example.org/asfound/store"
	"example.org/asfound/workshop"
)

// recipe is the version of what the registers hold; a cached one of another
// recipe, or with views of another version, is made anew.
const recipe = 1

// Machines that stand in every register, with the same bytes in each: cost may
// differ from register to register only by what surrounds them.
const (
	probes     = 4      // machines with every component surveyed
	longRecord = "long" // a machine of longEvents events
	longEvents = 5000
	plainSize  = 10 // events of every other machine
)

var (
	theCatalog = sync.OnceValues(func() (*catalog.Catalog, error) { return catalog.Load() })
	theSchemas = sync.OnceValues(schema.Compile)
	day        = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
)

func probe(i int) string { return fmt.Sprint("probe-", i) }

// plain is the name of a machine between the probes. It sorts all over the
// register.
func plain(i int) string { return fmt.Sprintf("m%07d", i) }

// app is the application on an open store, with a clock that stands still and
// identifiers that count up.
func app(t testing.TB, s *store.Store) *workshop.Workshop {
	c, err := theCatalog()
	require.NoError(t, err)
	schemas, err := theSchemas()
	require.NoError(t, err)
	var n atomic.Int64
	return &workshop.Workshop{Ledger: s.Ledger(), Photos: s.Photos(), Private: s.Private(), Views: s.Views(), Catalog: c, Schemas: schemas,
		Now: func() time.Time { return day }, NewID: func() string { return fmt.Sprintf("e%08d", n.Add(1)) },
		Random: rand.NewChaCha8([32]byte{1})}
}

func open(t testing.TB, dir string) *store.Store {
	s, err := store.Open(dir, store.Options{})
	require.NoError(t, err)
	return s
}

// register is a folder with a register of so many machines.
type register struct {
	dir    string
	size   int
	Events int           `json:"events"`
	Bytes  int64         `json:"bytes"` // on disk, with the views
	Took   time.Duration `json:"took"`
	// Rebuilt is how long deriving the views took, and RebuiltCPU what of the
	// processor.
	Rebuilt    time.Duration `json:"rebuilt"`
	RebuiltCPU time.Duration `json:"rebuilt_cpu"`
}

// registerOf gives a register of so many machines, made or found in the cache.
func registerOf(t testing.TB, size int) *register {
	r := &register{dir: filepath.Join(cache(t), fmt.Sprintf("register-%d-%d-%d", recipe, workshop.ViewVersion, size)), size: size}
	note := filepath.Join(r.dir, "made.json")
	if raw, err := os.ReadFile(note); err == nil && json.Unmarshal(raw, r) == nil {
		return r
	}
	require.NoError(t, os.RemoveAll(r.dir))
	begin := time.Now()
	s := open(t, r.dir)
	w := app(t, s)
	people := makeProbes(t, w)
	makeLong(t, w)
	makePlain(t, s, people, size-probes-1)
	r.Took = time.Since(begin)
	begin, cpu := time.Now(), cpuTime()
	require.NoError(t, w.Rebuild(context.Background(), nil))
	r.Rebuilt, r.RebuiltCPU = time.Since(begin), cpuTime()-cpu
	require.NoError(t, s.Ledger().ReadAll(context.Background(), 0, func(x registry.Record) error { r.Events += len(x.Events); return nil }))
	require.NoError(t, s.Close())
	require.False(t, t.Failed(), "a register that is not whole is not kept")
	r.Bytes = onDisk(t, r.dir)
	raw, err := json.Marshal(r)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(note, raw, 0o600))
	t.Logf("a register of %d machines, %d events: %.1f s, views %.1f s, %.0f MB", size, r.Events, r.Took.Seconds(), r.Rebuilt.Seconds(), float64(r.Bytes)/1e6)
	return r
}

// makeProbes records the surveyed machines as a person would, and gives the
// records of the people among them.
func makeProbes(t testing.TB, w *workshop.Workshop) []registry.Body {
	var people []registry.Body
	for i := range probes {
		rnd := rand.New(rand.NewPCG(uint64(i), 7))
		bodies := []registry.Body{machineRecord(i),
			&registry.Person{Common: registry.Common{ID: "owner"}, Role: "owner", Name: registry.Private{Value: "Imogen Aske"}},
			&registry.Person{Common: registry.Common{ID: "mechanic"}, Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}}}
		for _, c := range w.Catalog.ComponentsInWalk() {
			bodies = append(bodies, surveyOf(c.ID, rnd))
		}
		bodies = append(bodies, faultOf("fuel.tank", rnd))
		_, err := w.Record(context.Background(), workshop.Request{Machine: probe(i), Actor: "mechanic"}, bodies...)
		require.NoError(t, err)
	}
	d, err := w.Load(context.Background(), probe(0), workshop.At{})
	require.NoError(t, err)
	for _, p := range registry.Live[*registry.Person](d) {
		withheld := *p.Record
		withheld.Name.Value = "" // the digest stays: the document is shared
		people = append(people, &withheld)
	}
	return people
}

// makeLong records a machine of longEvents events: what decades leave behind.
func makeLong(t testing.TB, w *workshop.Workshop) {
	rnd := rand.New(rand.NewPCG(1, 9))
	components := w.Catalog.ComponentsInWalk()
	bodies := []registry.Body{machineRecord(99),
		&registry.Person{Common: registry.Common{ID: "owner"}, Role: "owner", Name: registry.Private{Value: "Imogen Aske"}},
		&registry.Person{Common: registry.Common{ID: "mechanic"}, Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}}}
	for i := 0; len(bodies) < longEvents; i++ {
		switch c := components[i%len(components)].ID; {
		case i < len(components):
			bodies = append(bodies, surveyOf(c, rnd))
		case i%3 == 0:
			bodies = append(bodies, &registry.Evidence{Common: registry.Common{ID: fmt.Sprint("ev-", i)}, Evidence: "physical-trait", Cluster: "marks",
				Says: words(rnd, 12), By: "mechanic", Bears: []registry.Bearing{{Component: c, Proposition: registry.PropositionOrigin, Sign: "mark-form-right"}}})
		default:
			bodies = append(bodies, &registry.Measurement{Common: registry.Common{ID: fmt.Sprint("me-", i)}, Component: c, Quantity: "film thickness",
				Value: float64(20 + rnd.IntN(60)), Unit: "um", Instrument: "gauge", Place: words(rnd, 3), By: "mechanic"})
		}
	}
	for len(bodies) > 0 {
		n := min(500, len(bodies))
		_, err := w.Record(context.Background(), workshop.Request{Machine: longRecord, Actor: "mechanic"}, bodies[:n]...)
		require.NoError(t, err)
		bodies = bodies[n:]
	}
}

// makePlain appends the other machines, many at once, one commit each. What the
// domain decides is asked of every one of them.
func makePlain(t testing.TB, s *store.Store, people []registry.Body, n int) {
	c, err := theCatalog()
	require.NoError(t, err)
	rules := c.Rules()
	components := c.ComponentsInWalk()
	ctx := context.Background()
	var next atomic.Int64
	var wait sync.WaitGroup
	for range 64 {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				rnd := rand.New(rand.NewPCG(uint64(i), 3))
				bodies := append([]registry.Body{machineRecord(1000 + i)}, people...)
				for j := range plainSize - 1 - len(people) - 1 {
					bodies = append(bodies, surveyOf(components[(i+j*23)%len(components)].ID, rnd))
				}
				bodies = append(bodies, faultOf(components[i%len(components)].ID, rnd))
				if err := appendAll(ctx, s, rules, plain(i), bodies); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wait.Wait()
}

// appendAll decides, encodes and appends the first records of a machine.
func appendAll(ctx context.Context, s *store.Store, rules *registry.Rules, machine string, bodies []registry.Body) error {
	d := registry.NewDossier(machine)
	for i, b := range bodies {
		if err := registry.Decide(d, rules, registry.Act{At: day, Actor: "mechanic", Body: b}); err != nil {
			return err
		}
		d.Apply(registry.Meta{Version: uint64(i + 1), ID: fmt.Sprintf("e%d", i), Recorded: day, Actor: "mechanic", Kind: b.Kind()}, b)
	}
	n := 0
	events, err := registry.Extend(0, "", registry.Stamp{Machine: machine, Recorded: day, Actor: "mechanic", NewID: func() string { n++; return fmt.Sprintf("%s-e%d", machine, n) }}, bodies)
	if err != nil {
		return err
	}
	_, err = s.Append(ctx, registry.Commit{ID: "made-" + machine, Machine: machine, Events: events})
	return err
}

// machineRecord is an invented machine.
func machineRecord(i int) *registry.Machine {
	rnd := rand.New(rand.NewPCG(uint64(i), 5))
	return &registry.Machine{Common: registry.Common{ID: "machine"}, Make: []string{"Skerrow Engineering", "Thirlbeck", "Hallin Works"}[i%3],
		Model: fmt.Sprint([]string{"Drover ", "Carrier ", "Fell "}[i/3%3], 150+50*(i%12)), Year: registry.Date(fmt.Sprint(1920 + i%50)), Story: words(rnd, 20), Invented: true}
}

func surveyOf(component string, rnd *rand.Rand) *registry.Survey {
	pick := func(list ...string) string { return list[rnd.IntN(len(list))] }
	condition := rnd.IntN(6)
	return &registry.Survey{Common: registry.Common{ID: "sv-" + component, Note: words(rnd, 8)}, Component: component,
		Origin: pick("original", "original", "original", "period-service", "donor", "reproduction", "undetermined"), Finish: pick("worn", "worn", "cleaned", "refinished", "untouched"),
		Specification: pick("to-catalogue", "to-catalogue", "period-change"), Condition: &condition, By: "mechanic"}
}

func faultOf(component string, rnd *rand.Rand) *registry.Fault {
	return &registry.Fault{Common: registry.Common{ID: "fault-1"}, Complaint: words(rnd, 8), Components: []string{component}, By: "mechanic"}
}

// words makes up a text: common words are common.
func words(rnd *rand.Rand, n int) string {
	text := ""
	for range n {
		k := int(20000 * rnd.Float64() * rnd.Float64() * rnd.Float64())
		text += fmt.Sprintf("%c%c%s%d ", 'a'+k%26, 'a'+k/26%26, []string{"rust", "paint", "weld", "mark"}[k%4], k/7)
	}
	return text[:len(text)-1]
}
