package workshop

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// BenchmarkFind searches 10 000 invented machines of 30 records each, whose
// index is on disk. Making it takes about a minute.
func BenchmarkFind(b *testing.B) {
	ctx := context.Background()
	s, err := store.Open(b.TempDir(), store.Options{})
	require.NoError(b, err)
	defer s.Close()
	w := newBench(b).Workshop
	w.Views = s.Views()
	require.NoError(b, w.Views.Reset(ctx, ViewVersion))
	rnd := rand.New(rand.NewPCG(1, 2))
	words := make([]string, 20000) // common ones at the front
	for i := range words {
		words[i] = fmt.Sprintf("%c%c%s%d", 'a'+i%26, 'a'+i/26%26, []string{"rust", "paint", "weld", "mark"}[i%4], i/7)
	}
	sentence := func(n int) string {
		s := ""
		for range n {
			s += words[int(float64(len(words))*rnd.Float64()*rnd.Float64()*rnd.Float64())] + " "
		}
		return s
	}
	components := w.components()
	machine := func(i int) *registry.Dossier {
		d := registry.NewDossier(fmt.Sprintf("m-%05d", i))
		n := uint64(0)
		add := func(body registry.Body) {
			n++
			d.Apply(registry.Meta{Version: n, ID: fmt.Sprint(n), Recorded: monday, Actor: "mechanic", Kind: body.Kind()}, body)
		}
		m := aMachine()
		m.Model, m.Year, m.Story = "Drover "+words[i%300], registry.Date(fmt.Sprint(1920+i%50)), sentence(60)
		m.Numbers = []registry.Number{{Where: "frame", AsRead: registry.Private{Value: fmt.Sprintf("D350-%05d", i)}}}
		add(m)
		add(aPerson("owner", "executor", "Imogen Aske"))
		for j := range 24 {
			s := aSurvey(components[(i+j*6)%len(components)].ID)
			s.Condition, s.Note = ptr(rnd.IntN(6)), sentence(12)
			if rnd.IntN(8) == 0 {
				s.Origin = "reproduction"
			}
			add(s)
		}
		for j := range 3 {
			add(&registry.Fault{Common: registry.Common{ID: fmt.Sprint("f-", j)}, Complaint: sentence(8), Components: []string{components[j].ID}, By: "mechanic"})
		}
		return d
	}
	index := func(ds ...*registry.Dossier) {
		require.NoError(b, w.Views.Update(ctx, 0, func(tx ViewTx) error {
			for _, d := range ds {
				require.NoError(b, w.put(tx, w.workOut(d)))
			}
			return nil
		}))
	}
	begin := time.Now()
	var last *registry.Dossier
	for i := 0; i < 10000; i += 10 {
		var step []*registry.Dossier
		for j := range 10 {
			last = machine(i + j)
			step = append(step, last)
		}
		index(step...)
	}
	b.Logf("indexed in %v", time.Since(begin))
	for _, q := range []struct {
		name string
		FindQuestion
	}{
		{"rare", FindQuestion{Text: "qzmark2000"}},
		{"name", FindQuestion{Text: "drover"}},
		{"three", FindQuestion{Text: "aarust0 drover skerrow"}},
		{"phrase", FindQuestion{Text: `"aarust0 bapaint0"`}},
		{"number", FindQuestion{Text: "D350-07123"}},
		{"prefix", FindQuestion{Text: "aarust1*"}},
		{"filters", FindQuestion{Text: "drover", Filters: FindFilters{YearFrom: 1950, YearTo: 1959, OpenFault: true, Origin: "reproduction", Component: components[0].ID}}},
	} {
		b.Run(q.name, func(b *testing.B) {
			n := 0
			for b.Loop() {
				r, err := w.Find(ctx, q.FindQuestion)
				require.NoError(b, err)
				n = r.Count
			}
			b.ReportMetric(float64(n), "found")
		})
	}
	b.Run("append", func(b *testing.B) {
		n := last.Version()
		for b.Loop() {
			n++
			last.Apply(registry.Meta{Version: n, ID: fmt.Sprint(n), Recorded: monday, Actor: "mechanic", Kind: "fault"},
				&registry.Fault{Common: registry.Common{ID: fmt.Sprint("more-", n)}, Complaint: "It rattles on the stand.", Components: []string{"electrical.dynamo"}, By: "mechanic"})
			index(last)
		}
	})
}
