package workshop

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
)

// stopping is a private store that goes away at its n-th call that changes
// something, as when the program is ended there.
type stopping struct {
	*ledgertest.MemoryBlobs
	at, calls int
	noted     map[string]bool
}

var errEnded = errors.New("the program was ended")

func (s *stopping) ends() bool { s.calls++; return s.calls == s.at }

func (s *stopping) Erasing(machine string, on bool) error {
	if s.ends() {
		return errEnded
	}
	s.noted[machine] = on
	return nil
}

func (s *stopping) Destroy(ctx context.Context, digests []string) error {
	if s.ends() {
		return errEnded
	}
	return s.MemoryBlobs.Destroy(ctx, digests)
}

// TestAnErasureEndsEitherWay ends the program at each step: at the next opening
// the name is read and found, or neither.
func TestAnErasureEndsEitherWay(t *testing.T) {
	ctx := context.Background()
	for at := 1; ; at++ {
		b := newBench(t)
		store := &stopping{MemoryBlobs: b.private, at: at, noted: map[string]bool{}}
		b.Private = store
		b.do(aMachine(), aPerson("owner", "owner", "Imogen Aske"), aPerson("mechanic", "mechanic", "Tamsin Orde"))
		_, err := b.Erase(ctx, request(), "owner", "she asked for it")
		what := fmt.Sprint("ended at call ", at)
		if store.calls < at {
			require.NoError(t, err)
			require.Greater(t, at, 3, "the calls are counted")
			return
		}
		require.ErrorIs(t, err, errEnded, what)

		next := b.restarted()
		for machine, on := range store.noted {
			if on {
				require.NoError(t, next.FinishErasures(ctx, machine, true), what)
			}
		}
		data, err := next.PersonData(ctx, drover, "owner")
		require.NoError(t, err)
		require.Equal(t, data.Name == "Imogen Aske", len(next.found(FindQuestion{Text: "Imogen"})) == 1, what)
		require.Equal(t, data.Erased, data.Name == "", what)
		require.Equal(t, at > 1, data.Erased, what)
	}
}

// TestAPersonsCorrectionsAreTheSameHolders: name and address in every version of
// the record go with one key, and the machine's own values stay.
func TestAPersonsCorrectionsAreTheSameHolders(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	m := aMachine()
	m.Numbers = []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "D350-2217"}}}
	b.do(m, aPerson("owner", "owner", "Imogen Aske"), aPerson("mechanic", "mechanic", "Tamsin Orde"))
	again := aPerson("owner-2", "owner", "Imogen Aske-Quill")
	again.Supersedes = "owner"
	again.Contact = registry.Private{Value: "Post box 7"}
	b.do(again)
	d, err := b.Load(ctx, drover, At{})
	require.NoError(t, err)
	holders := map[string]int{}
	for _, holder := range registry.Holders(d, drover) {
		holders[holder]++
	}
	require.Equal(t, map[string]int{"drover/owner": 3, "drover/mechanic": 1, "drover": 1}, holders, "the number is the machine's")

	_, err = b.Erase(ctx, request(), "owner-2", "she asked for it")
	require.NoError(t, err)
	left := 0
	require.NoError(t, b.private.Each(ctx, func(digest string, _ int64) error {
		r, _, err := b.private.Get(ctx, digest)
		require.NoError(t, err)
		text, err := io.ReadAll(r)
		require.NotContains(t, string(text), "Aske")
		left++
		return err
	}))
	require.Equal(t, 2, left)
	says(t, asJSON(t, b.report(ReportOptions{})), "the key that opens its copies destroyed: she asked for it")

	// Recorded anew at the person's wish, under another key than the old one.
	anew := aPerson("owner-3", "owner", "Imogen Quill")
	b.do(anew)
	require.Equal(t, "Imogen Quill", PersonName(loaded(t, b), "owner-3", false))
}

func loaded(t *testing.T, b *bench) *registry.Dossier {
	t.Helper()
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	return d
}
