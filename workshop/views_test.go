package workshop

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// slowViews lets somebody else go first once.
type slowViews struct {
	Views
	first func()
}

func (s *slowViews) Update(ctx context.Context, at registry.Position, fn func(tx ViewTx) error) error {
	if s.first != nil {
		f := s.first
		s.first = nil
		f()
	}
	return s.Views.Update(ctx, at, fn)
}

func TestViewsThatAreOvertakenGoOn(t *testing.T) {
	b := newBench(t)
	add := func(b *bench, machine string) {
		_, err := b.Record(context.Background(), Request{Machine: machine, Actor: "mechanic"}, people()...)
		require.NoError(t, err)
	}
	whole := b.Views
	b.Views = brokenViews{whole}
	add(b, "aldmouth") // the views do not know it yet
	other := b.restarted()
	other.Views = whole
	// The other writer comes between what this one has read of the ledger and
	// what it writes to the views.
	b.Views = &slowViews{Views: whole, first: func() { add(other, "thirlbeck") }}
	list, err := b.Machines(context.Background(), "", 0)
	require.NoError(t, err)
	require.Len(t, list, 2)
}

// brokenViews cannot be written.
type brokenViews struct{ Views }

func (brokenViews) Update(context.Context, registry.Position, func(tx ViewTx) error) error {
	return registry.Refuse(registry.CodeTampered, "Compute the views again.", "A view entry is damaged")
}

func TestDamagedViewsHideNoRecord(t *testing.T) {
	b := newBench(t)
	whole := b.Views
	b.Views = brokenViews{whole}
	b.do(people()...) // what is stored is acknowledged
	_, err := b.Machines(context.Background(), "", 0)
	refused(t, err, registry.CodeTampered, "damaged")
	b.Views = whole
	list, err := b.Machines(context.Background(), "", 0)
	require.NoError(t, err)
	require.Len(t, list, 1)
}

func TestMachinesInPages(t *testing.T) {
	b := newBench(t)
	for i := range 7 {
		_, err := b.Record(context.Background(), Request{Machine: fmt.Sprintf("m-%d", i), Actor: "mechanic"}, people()...)
		require.NoError(t, err)
	}
	var seen []string
	after := ""
	for {
		page, err := b.Machines(context.Background(), after, 3)
		require.NoError(t, err)
		for _, m := range page {
			seen = append(seen, m.ID)
		}
		if len(page) < 3 {
			break
		}
		after = page[len(page)-1].ID
	}
	require.Equal(t, []string{"m-0", "m-1", "m-2", "m-3", "m-4", "m-5", "m-6"}, seen)
}

func TestViewsAreDerivedFromTheLedgerAlone(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	_, err := b.Record(ctx, Request{Machine: "thirlbeck", Actor: "mechanic"}, people()...)
	require.NoError(t, err)
	want, err := b.Machines(ctx, "", 0)
	require.NoError(t, err)
	require.Len(t, want, 2)
	require.Equal(t, Summary{ID: drover, Name: "the Drover", Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true,
		Phase: "asking", Version: b.version(), Recorded: b.Now(), Waiting: 1}, want[0])

	same := func(w *Workshop) {
		t.Helper()
		list, err := w.Machines(ctx, "", 0)
		require.NoError(t, err)
		require.Equal(t, want, list)
		asked, err := w.OpenLink(ctx, p.Token)
		require.NoError(t, err)
		require.Equal(t, "proposal-1", asked.Entry.RecordID())
	}
	told := 0
	require.NoError(t, b.Rebuild(ctx, func(done int) { told = done }))
	require.Equal(t, 2, told)
	same(b.Workshop)

	// Views of another version are thrown away at the first look, whatever they
	// hold.
	require.NoError(t, b.Views.Reset(ctx, ViewVersion+1))
	require.NoError(t, b.Views.Update(ctx, 1<<20, func(tx ViewTx) error { tx.Put(viewMachine+"ghost", []byte("{}")); return nil }))
	same(b.restarted().Workshop)
	_, version, err := b.Views.Checkpoint(ctx)
	require.NoError(t, err)
	require.Equal(t, ViewVersion, version)
}

// Every phase, in the order of the job.
func TestPhases(t *testing.T) {
	b := newBench(t)
	phase := func(want string) {
		t.Helper()
		d, err := b.Load(context.Background(), drover, At{})
		require.NoError(t, err)
		require.Equal(t, want, PhaseOf(d))
		list, err := b.Machines(context.Background(), "", 0)
		require.NoError(t, err)
		require.Equal(t, want, list[0].Phase)
	}
	b.file("take-in.json")
	phase("taken in")
	b.file("openings.json")
	b.file("survey.csv")
	phase("surveying")
	b.pass(time.Minute)
	_, err := b.SealSurvey(context.Background(), request(), registry.SurveySeal{By: "mechanic"})
	require.NoError(t, err)
	phase("surveyed")
	b.file("faults-and-options.json")
	phase("surveyed")
	p := b.propose("proposal-1", "100", "condenser-outside")
	phase("asking")
	b.do(&registry.Decision{Common: registry.Common{ID: "d-1"}, On: p.ID, Digest: p.Digest, Answer: "refuse", Reason: "not yet", Person: "owner", Channel: "letter"})
	phase("asking")
	b.approve(p)
	phase("approved")
	b.do(&registry.Opened{Opening: "points-cap", By: "mechanic", AlreadyDone: true})
	phase("approved")
	b.file("work-condenser.json")
	phase("working")
	b.do(&registry.HandBack{To: "owner", By: "mechanic", RemovedParts: []string{"part-condenser"},
		Inventory: []registry.InventoryItem{{ID: "keys", What: "keys", Count: 2}, {ID: "papers", What: "papers", Count: 1},
			{ID: "tool-roll", What: "tool roll", Count: 1}, {ID: "tin", What: "tin", Count: 1}, {ID: "pump", What: "pump", Count: 1}}})
	phase("handed back")
}

// While the views of a whole register are derived, what is recorded does not
// wait for them, and whoever looks at them does.
func TestRecordingDoesNotWaitForTheViews(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	b.refreshing.Lock() // as a rebuild holds it
	b.do(&registry.Fault{Common: registry.Common{ID: "drips"}, Complaint: "It drips.", Components: []string{"fuel.tank"}, By: "mechanic"})
	b.refreshing.Unlock()
	list, err := b.Machines(context.Background(), "", 0)
	require.NoError(t, err)
	require.EqualValues(t, 4, list[0].Version)
}
