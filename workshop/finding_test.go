package workshop

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// sparking is the Drover of which somebody said that its spark fades when hot.
func sparking(t testingT) *bench {
	return stage(t, "sparking", func() *bench {
		b := surveyed(t)
		_, _, err := b.AddFault(context.Background(), request(), NewFault{ID: "magneto", Complaints: []string{"spark-fades-hot"}, Words: "strong when cold, none when warm", By: "mechanic"})
		require.NoError(t, err)
		return b
	})
}

func (b *bench) search(fault string) *FaultSearch {
	b.t.Helper()
	r, err := b.FaultSearch(context.Background(), drover, fault, FaultQuestion{})
	require.NoError(b.t, err)
	return r
}

func seenOn(fault, observation string, seen bool) *registry.Finding {
	return &registry.Finding{Fault: fault, Observation: observation, Seen: seen, By: "mechanic"}
}

// enumerated is the posterior of every cause by going through all combinations
// of them with the numbers of the catalog: nothing of the program's own method.
func enumerated(m catalog.SymptomModel, seen map[string]bool) map[string]float64 {
	weights, total := map[string]float64{}, 0.0
	for set := range 1 << len(m.Causes) {
		p := 1.0
		for i, c := range m.Causes {
			if set>>i&1 == 1 {
				p *= c.Prior
			} else {
				p *= 1 - c.Prior
			}
		}
		for _, o := range m.Observations {
			yes, looked := seen[o.ID]
			if !looked {
				continue
			}
			not := 1 - o.Leak
			for i, c := range m.Causes {
				if set>>i&1 == 1 {
					not *= 1 - o.Links[c.ID]
				}
			}
			if yes {
				p *= 1 - not
			} else {
				p *= not
			}
		}
		total += p
		for i, c := range m.Causes {
			if set>>i&1 == 1 {
				weights[c.ID] += p
			}
		}
	}
	for c := range weights {
		weights[c] /= total
	}
	return weights
}

func TestTheCausesAreThoseOfTheComputation(t *testing.T) {
	b := sparking(t)
	seen := map[string]bool{"spark-fades-hot": true, "condenser-reads-off": false, "points-flash": true}
	b.do(seenOn("magneto", "condenser-reads-off", false), seenOn("magneto", "points-flash", true))
	r := b.search("magneto")
	require.Nil(t, r.Refused)

	raw, err := json.Marshal(r.Input.FaultsInput)
	require.NoError(t, err)
	printed, err := scoring.Run("faults/1", raw)
	require.NoError(t, err)
	var calc scoring.FaultsResult
	require.NoError(t, json.Unmarshal(printed, &calc))
	model, ok := b.Catalog.SymptomModel([]string{"spark-fades-hot"}, "ignition.coil", "tinware.panniers", "tinware.tank-panel")
	require.True(t, ok)
	independent := enumerated(model, seen)
	require.Len(t, r.Causes, len(calc.Posterior))
	for i, c := range r.Causes {
		p, ok := calc.Posterior.Get(c.ID)
		require.True(t, ok)
		require.Equal(t, p, c.Probability)
		require.InDelta(t, independent[c.ID], c.Probability, 1e-12, c.ID)
		require.Equal(t, scoring.Percent(p), c.Shown)
		require.True(t, i == 0 || r.Causes[i-1].Probability >= p, "the likeliest stands first")
		require.NotEqual(t, "coil-failed", c.ID, "this machine has no coil")
	}
	raw, err = json.Marshal(r.Input)
	require.NoError(t, err)
	_, err = scoring.Run("next/1", raw)
	require.NoError(t, err, "calc takes the input as it stands")
	require.Contains(t, r.Input.Source, b.catalogIdentity())
}

func TestFindingsThatAreRefused(t *testing.T) {
	b := sparking(t)
	try := func(f *registry.Finding) error {
		_, err := b.Record(context.Background(), request(), f)
		return err
	}
	read := func(value float64, unit string, sure bool) *registry.Finding {
		f := seenOn("magneto", "condenser-reads-off", true)
		f.Reading, f.Sure = &registry.Reading{Quantity: "capacity", Value: value, Unit: unit}, sure
		return f
	}
	refused(t, try(seenOn("magneto", "spark-fades-hot", false)), registry.CodeConflict, "the other way round")
	refused(t, try(read(0.2, "", false)), registry.CodeInvalid, "no unit")
	refused(t, try(read(200, "nF", false)), registry.CodeInvalid, "another unit")
	// 0.1 to 0.35 microfarad is usual, and 200 is 200 nanofarad in the wrong column.
	refused(t, try(read(200, "uF", false)), registry.CodeRefused, "thousand times off")
	refused(t, try(&registry.Finding{Fault: "magneto", Cause: "coil-failed", Seen: true, By: "mechanic"}), registry.CodeInvalid, "never had the part")
	require.Len(t, b.search("magneto").Findings, 1, "nothing of it was kept")
	b.do(read(200, "uF", true))
	require.Len(t, b.search("magneto").Findings, 2)

	_, _, err := b.AddFault(context.Background(), request(), NewFault{By: "mechanic"})
	refused(t, err, registry.CodeInvalid, "")
	_, _, err = b.AddFault(context.Background(), request(), NewFault{Complaints: []string{"it-sulks"}, By: "mechanic"})
	refused(t, err, registry.CodeInvalid, "no complaint")
	_, err = b.FaultSearch(context.Background(), drover, "nothing", FaultQuestion{})
	refused(t, err, registry.CodeNotFound, "no fault")
	r := b.search("magneto")
	require.NoError(t, r.Err())
	b.do(&registry.Fault{Common: registry.Common{ID: "words"}, Complaint: "it sulks", Components: []string{"fuel.tank"}, By: "mechanic"})
	refused(t, b.search("words").Err(), registry.CodeInsufficient, "words")
	for _, rate := range []float64{0, -1, math.NaN()} {
		r, err := b.FaultSearch(context.Background(), drover, "magneto", FaultQuestion{MoneyPerHour: &rate})
		require.NoError(t, err)
		refused(t, r.Err(), registry.CodeInvalid, "")
	}
}

// TestOnAPartThatTheMachineNeverHad leaves its cause out, and refuses a test
// that is made on it alone.
func TestOnAPartThatTheMachineNeverHad(t *testing.T) {
	b := takenIn(t)
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	old, _ := d.MachineRecord()
	machine := *old
	machine.Supersedes, machine.ID = old.ID, "machine-without"
	machine.NotFitted = append(slices.Clone(old.NotFitted), "ignition.condenser")
	b.do(&machine)
	_, _, err = b.AddFault(context.Background(), request(), NewFault{ID: "magneto", Complaints: []string{"spark-fades-hot"}, By: "mechanic"})
	require.NoError(t, err)
	trial := seenOn("magneto", "spark-fades-hot", true)
	trial.Test = "try-condenser-outside"
	_, err = b.Record(context.Background(), request(), trial)
	refused(t, err, registry.CodeInvalid, "never had the part that this test is made on")
	r := b.search("magneto")
	require.NotEmpty(t, r.Causes)
	for _, c := range r.Causes {
		require.NotEqual(t, "condenser-failed", c.ID)
	}
	for _, x := range r.Input.Actions {
		require.NotEqual(t, "try-condenser-outside", x.ID)
	}
}

// TestNoTestTakesACoverOffTooEarly walks every complaint of the library with
// answers drawn at random: while a test of level 0 to 2 is worth its price, none
// of level 3 or 4 is advised. The walk ends, and each step says what it needs.
func TestNoTestTakesACoverOffTooEarly(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	covers := 0
	for _, c := range takenIn(t).Catalog.Complaints() {
		b := takenIn(t)
		id, _, err := b.AddFault(context.Background(), request(), NewFault{Complaints: []string{c.ID}, By: "mechanic"})
		require.NoError(t, err)
		require.Equal(t, c.ID, id)
		for step := 0; ; step++ {
			r := b.search(id)
			require.Nil(t, r.Refused, "%s: %v", c.ID, r.Refused)
			require.Less(t, step, 60, "%s does not end", c.ID)
			if r.Stop != nil {
				require.Nil(t, r.Next)
				require.NotEmpty(t, r.Stop.Say)
				break
			}
			covers += checkLevel(t, b, r)
			if step == 3 {
				break
			}
			bodies := []registry.Body{}
			if o := r.Next.Observation; o != nil {
				f := seenOn(id, o.ID, random.Float64() < 0.5)
				f.Test = r.Next.ID
				bodies = append(bodies, f)
			} else { // a repair in vain
				for _, x := range r.Complaints {
					f := seenOn(id, x.Observation, true)
					f.Test = r.Next.ID
					bodies = append(bodies, f)
				}
			}
			if _, err := b.Record(context.Background(), request(), bodies...); err != nil {
				// A test may ask for what is known as a complaint already.
				refused(t, err, registry.CodeConflict, "the other way round")
				break
			}
		}
	}
	require.Positive(t, covers, "no walk came to a cover at all")
}

// checkLevel says whether the next test is of level 3 or 4.
func checkLevel(t *testing.T, b *bench, r *FaultSearch) int {
	t.Helper()
	require.NotEmpty(t, r.Next.How)
	require.NotEmpty(t, r.Next.LevelWords)
	require.NotEmpty(t, r.Tree)
	require.Equal(t, len(b.Catalog.CautionsForTest(r.Next.ID)), len(r.Next.Cautions))
	for _, c := range r.Cautions {
		require.NotContains(t, c, `"`, "a name of the library stands where its title should")
	}
	for _, x := range r.Ranking {
		require.NotContains(t, x.Reason, " find-")
	}
	if r.Next.Level < catalog.TestOpen {
		return 0
	}
	for _, x := range r.Result.Ranking {
		tried := slices.Contains(r.Input.Done, x.ID)
		require.False(t, x.Level < catalog.TestOpen && !tried && x.Value != nil && *x.Value > 1e-9, "%s of level %d is worth its price before %s", x.ID, x.Level, r.Next.ID)
	}
	return 1
}

func TestARepairInVainIsATest(t *testing.T) {
	b := sparking(t)
	still := seenOn("magneto", "spark-fades-hot", true)
	still.Test = "try-condenser-outside"
	before := b.search("magneto")
	b.do(still)
	after := b.search("magneto")
	require.Equal(t, []string{"try-condenser-outside"}, after.Input.Done)
	for _, x := range after.Ranking {
		require.NotEqual(t, "try-condenser-outside", x.ID)
	}
	require.True(t, slices.ContainsFunc(before.Ranking, func(x RankReport) bool { return x.ID == "try-condenser-outside" }))
	// Another finding on the same question does not undo that it was tried.
	b.do(seenOn("magneto", "spark-fades-hot", true))
	require.Equal(t, []string{"try-condenser-outside"}, b.search("magneto").Input.Done)
}

func TestAnOpeningIsPaidOnce(t *testing.T) {
	b := sparking(t)
	cost := func(id string) float64 {
		for _, o := range b.search("magneto").Input.Openings {
			if o.ID == id {
				return o.Minutes
			}
		}
		return -1
	}
	require.Positive(t, cost("points-cap"))
	require.Empty(t, b.search("magneto").Input.Opened)
	b.do(&registry.Opened{Opening: "points-cap", By: "mechanic", AlreadyDone: true})
	require.Equal(t, []string{"points-cap"}, b.search("magneto").Input.Opened)
}

func TestDraftsForACause(t *testing.T) {
	b := sparking(t)
	ctx := context.Background()
	d, err := b.DraftOptions(ctx, drover, "magneto", "condenser-failed", "mechanic")
	require.NoError(t, err)
	require.False(t, d.Confirmed)
	says(t, strings.Join(d.Notes, " "), "not confirmed")
	b.do(&registry.Finding{Fault: "magneto", Cause: "condenser-failed", Seen: true, By: "mechanic"},
		&registry.Finding{Fault: "magneto", Cause: "brush-slip-ring", Seen: false, By: "mechanic"})
	r := b.search("magneto")
	require.True(t, r.Confirmed("condenser-failed"))
	require.Equal(t, "seen itself", r.Causes[0].Shown)
	i := slices.IndexFunc(r.Causes, func(c CauseReport) bool { return c.ID == "brush-slip-ring" })
	require.Equal(t, "ruled out", r.Causes[i].Shown)
	_, err = b.DraftOptions(ctx, drover, "magneto", "brush-slip-ring", "mechanic")
	refused(t, err, registry.CodeRefused, "ruled out")
	_, err = b.DraftOptions(ctx, drover, "magneto", "coil-failed", "mechanic")
	refused(t, err, registry.CodeInvalid, "never had the part")
	_, err = b.DraftOptions(ctx, drover, "magneto", "moths", "mechanic")
	refused(t, err, registry.CodeNotFound, "no cause")

	d, err = b.DraftOptions(ctx, drover, "magneto", "condenser-failed", "mechanic")
	require.NoError(t, err)
	require.True(t, d.Confirmed)
	require.Equal(t, "leave", d.Options[0].Treatment)
	require.Empty(t, d.Options[0].Changes)
	last := -1
	for _, o := range d.Options {
		require.Greater(t, b.known().treatments[o.Treatment].Rung, last, "the least invasive comes first")
		last = b.known().treatments[o.Treatment].Rung
	}
	// What is drafted can be recorded and weighed as it stands.
	b.do(d.Bodies(nil)...)
	weighed, _, err := b.Weigh(ctx, request(), []string{"magneto-leave", "magneto-substitute"}, false)
	require.NoError(t, err)
	require.Len(t, weighed[0].Effects.Estimates, 0)
	require.Positive(t, weighed[1].Effects.Substance.Now.Mean)
	require.Equal(t, 0.9, *weighed[1].Works)
	d, err = b.DraftOptions(ctx, drover, "magneto", "condenser-failed", "mechanic")
	require.NoError(t, err)
	require.Empty(t, d.Options, "what is on record is not drafted again")
}

// TestEveryCauseCanBeDrafted records the drafts of every cause of the library.
func TestEveryCauseCanBeDrafted(t *testing.T) {
	b := sparking(t)
	machine, _ := takenIn(t).Load(context.Background(), drover, At{})
	for _, c := range b.Catalog.Causes() {
		if fittedPart(machine, c.Components) == "" {
			continue
		}
		b := sparking(t)
		d, err := b.DraftOptions(context.Background(), drover, "magneto", c.ID, "mechanic")
		require.NoError(t, err)
		require.Equal(t, len(c.Cures)+1, len(d.Options), c.ID)
		b.do(d.Bodies(nil)...)
	}
}

// TestManyComplaintsAtOnce asks what no answer may be had for: it is refused
// with a reason, or answered, and it does not hang.
func TestManyComplaintsAtOnce(t *testing.T) {
	b := takenIn(t)
	var all []string
	for _, c := range b.Catalog.Complaints() {
		all = append(all, c.ID)
	}
	_, _, err := b.AddFault(context.Background(), request(), NewFault{ID: "wreck", Complaints: all, By: "mechanic"})
	require.NoError(t, err)
	r := b.search("wreck")
	require.NotNil(t, r.Refused)
	require.Equal(t, registry.CodeInvalid, r.Refused.Code)
	require.NotEmpty(t, r.Refused.Fix)
	require.LessOrEqual(t, len(r.Ranking), scoring.MaxActions)
}

// BenchmarkFaultSearch is what the page of a fault takes: the first time after a
// finding, and at every later look.
func BenchmarkFaultSearch(b *testing.B) {
	bench := sparking(b)
	bench.do(seenOn("magneto", "condenser-reads-off", false), seenOn("magneto", "points-flash", true))
	b.Run("first", func(b *testing.B) {
		for b.Loop() {
			bench.searches.kept = nil
			bench.search("magneto")
		}
	})
	b.Run("again", func(b *testing.B) {
		for b.Loop() {
			bench.search("magneto")
		}
	})
}

// A test that presupposes something is offered once that was seen: with a spark
// that only fades when warm, nobody asks whether it comes back with the cut-out
// wire off.
func TestATestWaitsForWhatItPresupposes(t *testing.T) {
	b := sealed(t)
	_, _, err := b.AddFault(context.Background(), request(), NewFault{ID: "warm", Complaints: []string{"spark-fades-hot"}, By: "mechanic"})
	require.NoError(t, err)
	offered := func() map[string]bool {
		s, err := b.FaultSearch(context.Background(), drover, "warm", FaultQuestion{})
		require.NoError(t, err)
		out := map[string]bool{}
		for _, a := range s.Input.Actions {
			out[a.Observation] = true
		}
		return out
	}
	require.False(t, offered()["no-spark-cut-out-off"])
	require.True(t, offered()["fades-with-slave-condenser"])
	b.do(&registry.Finding{Common: registry.Common{ID: "gone"}, Fault: "warm", Observation: "no-spark", Seen: true, By: "mechanic"})
	require.True(t, offered()["no-spark-cut-out-off"])
}
