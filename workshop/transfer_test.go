package workshop

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// handedOver is a surveyed machine whose record was handed over, and what the
// receiving registry is given.
func handedOver(t testingT) (*bench, Handed) {
	b := sealed(t)
	b.Registry = "here"
	b.knowledge = knowledge{}
	_, err := b.HandOver(context.Background(), request(), "sold with its papers")
	require.NoError(t, err)
	events, err := b.Events(context.Background(), drover)
	require.NoError(t, err)
	return b, Handed{events, fromOf(t, events)}
}

// fromOf is what the giving registry signs, without the signature, which the
// workshop leaves to its caller.
func fromOf(t testingT, events [][]byte) registry.Handover {
	h := registry.History{}
	for _, e := range events {
		_, err := h.Add(e)
		require.NoError(t, err)
	}
	root, err := h.Tree().Root(h.Tree().Size())
	require.NoError(t, err)
	return registry.Handover{Origin: "here/" + drover, Key: "key", Fingerprint: "0000 1111 2222 3333", Size: h.Version(), Root: root, Checkpoint: "note"}
}

func receiving(t testingT) *bench {
	b := newBench(t)
	b.Registry = "there"
	return b
}

func TestTakeOverIsTheSameBytes(t *testing.T) {
	_, h := handedOver(t)
	there := receiving(t)
	ctx := context.Background()
	first, err := there.TakeOver(ctx, request(), h)
	require.NoError(t, err)
	again, err := there.TakeOver(ctx, request(), h)
	require.NoError(t, err)
	require.True(t, again.Repeated)
	require.Equal(t, first.Version, again.Version)
	events, err := there.Events(ctx, drover)
	require.NoError(t, err)
	require.Len(t, events, len(h.Events)+1)
	for i := range h.Events {
		require.Equal(t, h.Events[i], events[i])
	}
	there.pass(1e9)
	there.do(&registry.Fault{Common: registry.Common{ID: "drip"}, Complaint: "It drips.", Components: []string{"fuel.tank"}, By: "mechanic"})
	again, err = there.TakeOver(ctx, request(), h)
	require.NoError(t, err, "with later work too")
	require.True(t, again.Repeated)
}

// stoppedLedger fails at the n-th append.
type stoppedLedger struct {
	registry.Ledger
	left int
}

func (l *stoppedLedger) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if l.left--; l.left < 0 {
		return registry.Receipt{}, errors.New("the lights went out")
	}
	return l.Ledger.Append(ctx, c)
}

// TestTakeOverCanBeRepeated stops after each append of a history of several
// commits: between them nobody can record, and repeating makes it whole.
func TestTakeOverCanBeRepeated(t *testing.T) {
	here := receiving(t)
	here.Registry = "here"
	here.do(people()...)
	long := string(bytes.Repeat([]byte("It drips. "), 1900))
	for range 70 {
		here.do(&registry.Fault{Common: registry.Common{Note: long}, Complaint: long, Components: []string{"fuel.tank"}, By: "mechanic"})
	}
	ctx := context.Background()
	_, err := here.HandOver(ctx, request(), "sold")
	require.NoError(t, err)
	events, err := here.Events(ctx, drover)
	require.NoError(t, err)
	h := Handed{events, fromOf(t, events)}
	appends := 0
	for stop := 0; ; stop++ {
		there := receiving(t)
		whole := there.Ledger
		limited := &stoppedLedger{whole, stop}
		there.Ledger = limited
		_, err := there.TakeOver(ctx, request(), h)
		there.Ledger = whole
		if err == nil {
			appends = stop
			break
		}
		_, err = there.TakeOver(ctx, request(), h)
		require.NoError(t, err, "stopped before append %d", stop+1)
		got, err := there.Events(ctx, drover)
		require.NoError(t, err)
		require.Len(t, got, len(events)+1)
	}
	require.Equal(t, 4, appends, "three commits of the history, and the transfer itself")
}

func TestTakeOverRefuses(t *testing.T) {
	here, h := handedOver(t)
	ctx := context.Background()
	there := receiving(t)
	// Not handed over: the last event is missing.
	short := Handed{h.Events[:len(h.Events)-1], fromOf(t, h.Events[:len(h.Events)-1])}
	_, err := there.TakeOver(ctx, request(), short)
	refused(t, err, registry.CodeRefused, "was not handed over")
	events, err := there.Events(ctx, drover)
	require.NoError(t, err)
	require.Empty(t, events, "a refusal writes nothing")
	// Another machine of that name.
	there.do(people()...)
	_, err = there.TakeOver(ctx, request(), h)
	refused(t, err, registry.CodeConflict, "another history")
	// The copy that stays behind.
	_, err = here.Record(ctx, request(), &registry.Fault{Common: registry.Common{ID: "drip"}, Complaint: "It drips.", Components: []string{"fuel.tank"}, By: "mechanic"})
	refused(t, err, registry.CodeRefused, "kept on elsewhere")
	// Its own bundle is no way round taking it back with a reason.
	_, err = here.TakeOver(ctx, request(), h)
	refused(t, err, registry.CodeRefused, "handed the record of drover over itself")
	report, err := here.Report(ctx, drover, ReportOptions{})
	require.NoError(t, err)
	require.Contains(t, report.Elsewhere, "was handed over on")
	list, err := here.Machines(ctx, "", 0)
	require.NoError(t, err)
	require.True(t, list[0].Elsewhere)
}

// The figures of a record name the catalogs that the receiving side lacks.
func TestTakeOverSaysWhichCatalogsAreLacking(t *testing.T) {
	_, h := handedOver(t)
	there := receiving(t)
	there.knowledge.once.Do(func() {
		there.knowledge.read(there.Catalog)
		there.knowledge.rules.Registry = "there"
		there.knowledge.catalogName = "house 0.0.1, sha256:00"
	})
	_, err := there.TakeOver(context.Background(), request(), h)
	require.NoError(t, err)
	d, err := there.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	require.Len(t, registry.Live[*registry.Transfer](d)[1].Record.Lacks, 1)
	require.Contains(t, registry.Live[*registry.Transfer](d)[1].Record.Lacks[0], "house ")
}

func TestTakenOver(t *testing.T) {
	here, h := handedOver(t)
	ctx := context.Background()
	there := receiving(t)
	_, err := there.TakeOver(ctx, request(), h)
	require.NoError(t, err)
	events, err := there.Events(ctx, drover)
	require.NoError(t, err)
	signed := fromOf(t, events)
	last := events[len(events)-1]
	_, err = here.TakenOver(ctx, drover, last, signed.Size, h.From.Root)
	refused(t, err, registry.CodeRefused, "not of this history")
	r, err := here.TakenOver(ctx, drover, last, signed.Size, signed.Root)
	require.NoError(t, err)
	require.Equal(t, signed.Size, r.Version)
	r, err = here.TakenOver(ctx, drover, last, signed.Size, signed.Root)
	require.NoError(t, err)
	require.True(t, r.Repeated)
	report, err := here.Report(ctx, drover, ReportOptions{})
	require.NoError(t, err)
	require.Contains(t, report.Elsewhere, " by there, and is kept on there.")
	_, err = here.TakeBackHandOver(ctx, request(), "changed my mind")
	refused(t, err, registry.CodeRefused, "was taken over by there")
	_, err = there.TakeBackHandOver(ctx, request(), "x")
	refused(t, err, registry.CodeNotFound, "was not handed over")
}

// A mechanic may record nearly everything, but moving a record is more than
// recording that it moved, and an erasure more than saying so.
func TestMovesAndErasuresAreNotRecordedByThemselves(t *testing.T) {
	b, h := handedOver(t)
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	out, _ := d.MovedTo("here")
	from := fromOf(t, h.Events)
	for _, body := range []registry.Body{
		&registry.Transfer{Direction: registry.TransferIn, Registry: "here", From: &from, By: "mechanic"}, // signed by nobody
		&registry.Withdrawal{Record: out.RecordID(), Why: "it stays", By: "mechanic"},
	} {
		_, err := b.Record(context.Background(), request(), body)
		refused(t, err, registry.CodeRefused, "not recorded or withdrawn by itself")
	}
	_, err = b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "f"}, sourceOf(Draft{Body: &registry.Withdrawal{Record: out.RecordID(), Why: "it stays", By: "mechanic"}}))
	refused(t, err, registry.CodeInvalid, "nothing was")
	_, err = b.Record(context.Background(), request(), &registry.Erasure{Person: "owner", Digests: []string{"sha256:" + strings.Repeat("0", 64)}, Means: registry.MeansKey, Why: "asked", By: "mechanic"})
	refused(t, err, registry.CodeRefused, "nothing would be erased")
	_, err = b.TakeBackHandOver(context.Background(), request(), "it stays")
	require.NoError(t, err)
	_, err = b.Record(context.Background(), request(), &registry.Transfer{Direction: registry.TransferOut, Registry: "here", Because: "sold", By: "mechanic"})
	refused(t, err, registry.CodeRefused, "not recorded or withdrawn by itself")
}
