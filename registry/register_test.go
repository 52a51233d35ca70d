package registry

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// thisRegistry is the name of the registry in these tests.
const thisRegistry = "registry.example/here"

func inRegistry(name string) func(*bench) {
	return func(b *bench) { b.rules.Registry = name }
}

func leave(purpose string) *Permission {
	return &Permission{Common: Common{ID: "leave-" + purpose}, For: purpose, GivenBy: "imogen", How: "by letter", By: "tamsin"}
}

func out(mutate ...func(*Transfer)) *Transfer {
	t := &Transfer{Common: Common{ID: "out"}, Direction: TransferOut, Registry: thisRegistry, Because: "she moves away", By: "tamsin"}
	for _, m := range mutate {
		m(t)
	}
	return t
}

func takenOver(b *bench, registry string) *Transfer {
	return &Transfer{Common: Common{ID: "in"}, Direction: TransferIn, Registry: registry, By: "tamsin",
		From: &Handover{Origin: thisRegistry + "/drover", Key: "key", Fingerprint: "ee27 75d0 20e1 dc40", Size: b.d.Version(), Root: "root", Checkpoint: "note"}}
}

func drip() *Fault {
	return &Fault{Common: Common{ID: "drip"}, Complaint: "It drips.", Components: []string{"fuel.tank"}, By: "tamsin"}
}

// may decides and records nothing.
func (b *bench) may(body Body) error {
	return Decide(b.d, b.rules, Act{At: b.now.Add(time.Minute), Actor: "tamsin", Body: body})
}

func TestDecidePermission(t *testing.T) {
	b := newBench(t)
	tagged(b)
	require.NoError(t, b.may(leave(ForSharingSales)))
	p := leave(ForSharingSales)
	p.GivenBy = "tamsin"
	require.ErrorContains(t, b.may(p), "may not decide")
	p = leave(ForTransfer)
	p.Prices = true
	require.ErrorContains(t, b.may(p), "Prices belong to the sharing of sales")
	_, ok := b.d.Permitted(ForSharingSales)
	require.False(t, ok)
	b.do(leave(ForSharingSales))
	found, ok := b.d.Permitted(ForSharingSales)
	require.True(t, ok)
	require.Equal(t, "imogen", found.Record.GivenBy)
	b.do(&Withdrawal{Common: Common{ID: "back"}, Record: "leave-share-sales", Why: "she wishes it", By: "tamsin"})
	_, ok = b.d.Permitted(ForSharingSales)
	require.False(t, ok, "a permission that was taken back permits nothing")
}

// TestTransferMovesTheRecord follows a record out of one registry, into another,
// and back.
func TestTransferMovesTheRecord(t *testing.T) {
	b := newBench(t)
	tagged(b)
	inRegistry(thisRegistry)(b)
	require.ErrorContains(t, b.may(takenOver(b, thisRegistry)), "was not handed over")
	require.ErrorContains(t, b.may(out(func(t *Transfer) { t.Because = "" })), "without the owner's permission")
	require.ErrorContains(t, b.may(out(func(t *Transfer) { t.Registry = "elsewhere" })), "Another registry is named")
	b.do(leave(ForSharingSales))
	require.ErrorContains(t, b.may(out(func(t *Transfer) { t.Permission = "leave-share-sales" })), "no permission to hand the record over")
	b.do(leave(ForTransfer), out(func(t *Transfer) { t.Permission, t.Because = "leave-transfer", "" }))

	err := b.may(drip())
	require.Equal(t, CodeRefused, CodeOf(err))
	require.ErrorContains(t, err, "was handed over")
	require.NoError(t, b.may(&Withdrawal{Common: Common{ID: "back"}, Record: "out", Why: "nobody came", By: "tamsin"}), "the handing over can be taken back")
	require.Error(t, b.may(&Withdrawal{Common: Common{ID: "other"}, Record: "leave-transfer", Why: "x", By: "tamsin"}), "and nothing else")

	// Seen from the other registry.
	inRegistry("there")(b)
	require.Error(t, b.may(&Withdrawal{Common: Common{ID: "back"}, Record: "out", Why: "x", By: "tamsin"}), "only the giving registry takes it back")
	short := takenOver(b, "there")
	short.From.Size--
	require.ErrorContains(t, b.may(short), "not over the history")
	require.Error(t, b.may(drip()), "between the two nobody records")
	b.do(takenOver(b, "there"))
	require.NoError(t, b.may(drip()))

	// Seen from the first registry again, whose copy has learned of it.
	inRegistry(thisRegistry)(b)
	require.Error(t, b.may(drip()))
	require.Error(t, b.may(&Withdrawal{Common: Common{ID: "back"}, Record: "out", Why: "x", By: "tamsin"}), "what was taken over is not taken back")
	inRegistry("there, by another name")(b)
	require.NoError(t, b.may(drip()), "a registry may take another name")

	// And back.
	inRegistry("there")(b)
	b.do(&Transfer{Common: Common{ID: "out-2"}, Direction: TransferOut, Registry: "there", Because: "she came back", By: "tamsin"})
	inRegistry(thisRegistry)(b)
	again := takenOver(b, thisRegistry)
	again.ID = "in-2"
	b.do(again)
	require.NoError(t, b.may(drip()))
}

func TestDecideSharedNumber(t *testing.T) {
	b := newBench(t)
	tagged(b)
	s := &SharedNumber{Common: Common{ID: "same"}, Where: "frame", Other: Private{Digest: "sha256:0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f"}, Says: "one-is-wrong", Why: "the 5 was an S", By: "tamsin"}
	require.NoError(t, b.may(s))
	s.Says = "whatever"
	require.Error(t, b.may(s))
	raw, err := json.Marshal(&SharedNumber{Other: Private{Digest: "sha256:aa", Value: "vole"}})
	require.NoError(t, err)
	require.NotContains(t, string(raw), "vole", "the other machine is withheld")
}

// registerStory is an invented history with the records that the other frozen
// ones lack: two permissions, a shared number, out and in.
func registerStory(b *bench) {
	tagged(b)
	inRegistry(thisRegistry)(b)
	b.do(leave(ForSharingSales), leave(ForTransfer),
		&SharedNumber{Common: Common{ID: "same"}, Where: "frame", Other: Private{Digest: "sha256:0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f"}, Says: "different-machines", Why: "both were looked at", By: "tamsin"},
		out(func(t *Transfer) { t.Permission, t.Because = "leave-transfer", "" }))
	inRegistry("registry.example/there")(b)
	b.do(takenOver(b, "registry.example/there"))
}

// TestWriteRegisterFixture made that history once; see TestWriteFixtures.
func TestWriteRegisterFixture(t *testing.T) { writeStory(t, "v1-register", registerStory) }

// TestFrozenRegisterStory: the fixture replays into the state it was written in.
func TestFrozenRegisterStory(t *testing.T) {
	d, err := Replay("drover", readLines(t, "v1-register/events.jsonl"), time.Time{})
	require.NoError(t, err)
	version, last, _ := readHead(t, "v1-register/head.txt")
	require.Equal(t, version, d.Version())
	require.Equal(t, last, d.Last())
	_, moved := d.MovedTo("registry.example/there")
	require.False(t, moved)
	_, moved = d.MovedTo(thisRegistry)
	require.True(t, moved)
}
