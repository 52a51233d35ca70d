package workshop

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func TestRecordIsAllOrNone(t *testing.T) {
	b := newBench(t)
	bad := aSurvey("fuel.tank")
	bad.Origin = "genuine" // not in the vocabulary
	_, err := b.Record(context.Background(), request(), append(people(), bad)...)
	refused(t, err, registry.CodeInvalid, "vocabulary")
	require.Zero(t, b.version())
	require.Empty(t, b.events())
	kept := 0
	require.NoError(t, b.private.Each(context.Background(), func(string, int64) error { kept++; return nil }))
	require.Zero(t, kept, "a refused take-in left withheld values behind")
	list, err := b.Machines(context.Background(), "", 0)
	require.NoError(t, err)
	require.Empty(t, list)
}

func TestRecordLeavesTheCallersBodiesAlone(t *testing.T) {
	b := newBench(t)
	p := aPerson("owner", "executor", "Imogen Aske")
	b.do(aMachine(), p)
	require.Empty(t, p.Name.Digest)
	require.Equal(t, "Imogen Aske", p.Name.Value)
}

func TestRecordDecidesLaterBodiesOnEarlierOnes(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	b.do(someEvidence("ev-1", "fuel.tank"), &registry.Claim{Common: registry.Common{ID: "cl-1"}, Component: "fuel.tank", Proposition: registry.PropositionOrigin,
		Statement: "It is the first one.", Evidence: []string{"ev-1"}, By: "mechanic"})
	// The other way round the claim would cite what is not there yet.
	_, err := b.Record(context.Background(), request(), &registry.Claim{Common: registry.Common{ID: "cl-2"}, Component: "frame.main", Proposition: registry.PropositionOrigin,
		Statement: "It is the first one.", Evidence: []string{"ev-2"}, By: "mechanic"}, someEvidence("ev-2", "frame.main"))
	refused(t, err, registry.CodeInvalid, "recorded later")
}

// meddler is a ledger on which somebody else is faster once.
type meddler struct {
	registry.Ledger
	first func()
}

func (m *meddler) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if m.first != nil {
		f := m.first
		m.first = nil
		f()
	}
	return m.Ledger.Append(ctx, c)
}

func TestAnActIsDecidedAnewWhenSomebodyWasFaster(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	other := b.restarted()
	b.Ledger = &meddler{Ledger: b.memory, first: func() { other.do(aSurvey("fuel.tank")) }}
	b.do(aSurvey("frame.main"))
	require.EqualValues(t, 5, b.version())

	// What the other did is seen: a second entry for the same place is refused.
	b.Ledger = &meddler{Ledger: b.memory, first: func() { other.do(aSurvey("frame.stands")) }}
	s := aSurvey("frame.stands")
	s.ID = "sv-again"
	_, err := b.Record(context.Background(), request(), s)
	refused(t, err, registry.CodeConflict, "Two parts cannot sit in one position")

	// Whoever said which version was seen is asked to look again.
	b.Ledger = &meddler{Ledger: b.memory, first: func() { other.do(aSurvey("fuel.tap")) }}
	seen := b.version()
	req := request()
	req.Expect = &seen
	_, err = b.Record(context.Background(), req, aSurvey("exhaust.pipe"))
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
	require.Equal(t, seen+1, b.version())
}

func TestParallelWritersLoseNothing(t *testing.T) {
	b := newBench(t)
	var together sync.WaitGroup
	errs := make([]error, 24)
	for i := range errs {
		together.Go(func() {
			m := people()
			_, errs[i] = b.Record(context.Background(), Request{Machine: fmt.Sprintf("machine-%02d", i), Actor: "mechanic"}, m...)
		})
	}
	together.Wait()
	require.NoError(t, errors.Join(errs...))
	list, err := b.Machines(context.Background(), "", 0)
	require.NoError(t, err)
	require.Len(t, list, len(errs))

	// Two writers of one machine.
	b.do(people()...)
	for round := range 10 {
		var two [2]error
		for i := range two {
			together.Go(func() {
				e := someEvidence(fmt.Sprintf("ev-%d-%d", round, i), "fuel.tank")
				_, two[i] = b.Record(context.Background(), request(), e)
			})
		}
		together.Wait()
		require.NoError(t, errors.Join(two[:]...))
	}
	require.EqualValues(t, 3+20, b.version())
}

func TestIfVersion(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	stale, current := uint64(2), uint64(3)
	req := request()
	req.Expect = &stale
	_, err := b.Record(context.Background(), req, aSurvey("fuel.tank"))
	refused(t, err, registry.CodeConflict, "you saw version 2, it is at 3")
	req.Expect = &current
	r, err := b.Record(context.Background(), req, aSurvey("fuel.tank"))
	require.NoError(t, err)
	require.EqualValues(t, 4, r.Version)
	require.Equal(t, "survey", string(r.Records[0].Kind))
}

func TestTheSameKeyRecordsOnce(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	for name, body := range map[string]registry.Body{"with an id": aSurvey("fuel.tank"), "without": func() registry.Body { s := aSurvey("frame.main"); s.ID = ""; return s }(),
		"a fault": &registry.Fault{Complaint: "no spark", Components: []string{"ignition.magneto"}, By: "mechanic"}} {
		t.Run(name, func(t *testing.T) {
			before := b.version()
			req := request()
			req.Key, req.Expect = "key "+name, &before
			first, err := b.Record(context.Background(), req, body)
			require.NoError(t, err)
			require.False(t, first.Repeated)
			// The answer was lost: the same request comes once more, with what it
			// had seen then.
			again, err := b.Record(context.Background(), req, body)
			require.NoError(t, err)
			require.True(t, again.Repeated)
			require.Equal(t, first.Version, again.Version)
			require.Equal(t, before+1, b.version())
		})
	}
	// Another machine's key is another key.
	_, err := b.Record(context.Background(), Request{Machine: "other", Actor: "mechanic", Key: "key with an id"}, people()...)
	require.NoError(t, err)
}

func TestUnknownMachinesAndKinds(t *testing.T) {
	b := newBench(t)
	_, err := b.Report(context.Background(), drover, ReportOptions{})
	refused(t, err, registry.CodeNotFound, "There is no machine")
	_, err = b.Record(context.Background(), request(), aSurvey("fuel.tank"))
	refused(t, err, registry.CodeNotFound, "not in the registry")
	_, err = b.Record(context.Background(), Request{Machine: "../etc", Actor: "mechanic"}, people()...)
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	_, err = b.Decode("horoscope", []byte(`{"record":"horoscope"}`))
	refused(t, err, registry.CodeInvalid, "horoscope")
	_, err = b.Decode("survey", []byte(`{"id":"sv-1","component":"fuel.tank","by":"mechanic","colour":"green"}`))
	refused(t, err, registry.CodeInvalid, "")
}
