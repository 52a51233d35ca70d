package workshop

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func yes(p Proposed) registry.Decision { return registry.Decision{Digest: p.Digest, Answer: "approve"} }

func decisions(t *testing.T, b *bench) int {
	t.Helper()
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	return len(registry.All[*registry.Decision](d))
}

func TestOpeningALinkChangesNothing(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	require.Len(t, p.Token, 32, "160 bits in base32")
	silent(t, b.events(), p.Token)
	before := b.events()
	for range 3 {
		asked, err := b.OpenLink(ctx, p.Token)
		require.NoError(t, err)
		require.Equal(t, "proposal-1", asked.Entry.RecordID())
		require.Equal(t, "owner", asked.To)
		require.False(t, asked.Answered)
		page, err := b.AskedReport(ctx, asked)
		require.NoError(t, err)
		require.Equal(t, "SD•••••38", page.Machine.Numbers[0].Shown, "a link may be read by others")
		require.Equal(t, p.Digest, page.Offer.Digest)
		require.Contains(t, page.Faults, "magneto")
		require.NotEmpty(t, page.Words)
	}
	require.Equal(t, before, b.events())
	_, err := b.OpenLink(ctx, "guessed")
	refused(t, err, registry.CodeNotFound, "leads nowhere")
	_, _, err = b.AnswerLink(ctx, "guessed", yes(p))
	refused(t, err, registry.CodeNotFound, "leads nowhere")
}

func TestALinkRunsOutAtItsVerySecond(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	b.pass(p.Expires.Sub(b.Now()) - time.Second)
	_, err := b.OpenLink(ctx, p.Token)
	require.NoError(t, err)
	b.pass(time.Second)
	_, err = b.OpenLink(ctx, p.Token)
	refused(t, err, registry.CodeExpired, "ran out on 23 March 2026")
	_, _, err = b.AnswerLink(ctx, p.Token, yes(p))
	refused(t, err, registry.CodeExpired, "ran out")
	require.Zero(t, decisions(t, b))
}

func TestALinkToAReplacedOffer(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	_, err := b.Propose(ctx, request(), ProposeInput{ID: "proposal-2", Options: []string{"condenser-outside"}, Ceiling: pounds("120"),
		Expires: b.Now().AddDate(0, 0, 14), Supersedes: "proposal-1"})
	require.NoError(t, err)
	asked, err := b.OpenLink(ctx, p.Token)
	require.NoError(t, err)
	require.Equal(t, "proposal-2", asked.Entry.RecordID(), "the same link shows what took its place")
	old := yes(p)
	old.On = "proposal-1"
	_, _, err = b.AnswerLink(ctx, p.Token, old)
	refused(t, err, registry.CodeExpired, "replaced")
	require.Equal(t, LinkReplaced, WhyOver(err))
	require.Zero(t, decisions(t, b))
}

func TestAnAnswerIsToWhatStoodOnThePage(t *testing.T) {
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	other := yes(p)
	other.Digest = "sha256:" + p.Digest[len(p.Digest)-64:len(p.Digest)-1] + "0"
	if other.Digest == p.Digest {
		other.Digest = other.Digest[:len(other.Digest)-1] + "1"
	}
	_, _, err := b.AnswerLink(context.Background(), p.Token, other)
	refused(t, err, registry.CodeConflict, "changed since it was shown")
	require.Zero(t, decisions(t, b))
}

func TestAnsweringALink(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside", "armature-rewind")
	asked, receipt, err := b.AnswerLink(ctx, p.Token, yes(p))
	require.NoError(t, err)
	require.False(t, receipt.Repeated)
	require.True(t, asked.Answered)
	require.Equal(t, "link", asked.Answer.Record.Channel)
	require.Equal(t, "owner", asked.Answer.Record.Person)
	require.Equal(t, []string{"condenser-outside"}, asked.Answer.Record.Options, "the recommended one")
	// The same answer once more is the same answer; another one is another.
	_, receipt, err = b.AnswerLink(ctx, p.Token, yes(p))
	require.NoError(t, err)
	require.True(t, receipt.Repeated)
	require.Equal(t, 1, decisions(t, b))
	no := registry.Decision{Digest: p.Digest, Answer: "refuse", Reason: "on second thoughts"}
	_, _, err = b.AnswerLink(ctx, p.Token, no)
	refused(t, err, registry.CodeConflict, "answered already")
	require.Equal(t, LinkAnswered, WhyOver(err))
	require.Equal(t, 1, decisions(t, b))
	// Once it was taken back, the question is open again: three answers, all kept.
	b.do(&registry.Decision{On: "proposal-1", Digest: p.Digest, Answer: "take-back", TakesBack: asked.Answer.RecordID(), Person: "owner", Channel: "in-person"})
	asked, _, err = b.AnswerLink(ctx, p.Token, no)
	require.NoError(t, err)
	require.Equal(t, "refuse", asked.Answer.Record.Answer)
	require.Equal(t, 3, decisions(t, b))
}

func TestTwentyAnswersAtOnceAreOne(t *testing.T) {
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	var together sync.WaitGroup
	errs := make([]error, 20)
	fresh := make([]bool, len(errs))
	for i := range errs {
		together.Go(func() {
			asked, receipt, err := b.AnswerLink(context.Background(), p.Token, yes(p))
			errs[i], fresh[i] = err, err == nil && !receipt.Repeated
			if err == nil && !asked.Answered {
				errs[i] = errors.New("the receipt does not show the answer")
			}
		})
	}
	together.Wait()
	require.NoError(t, errors.Join(errs...))
	require.Equal(t, 1, decisions(t, b))
	n := 0
	for _, f := range fresh {
		if f {
			n++
		}
	}
	require.Equal(t, 1, n, "one of them made the record, the others got its receipt")
}

// TestAnAnswerThatComesInBetweenIsNotTakenForThisOne: two answers of one kind
// that are given at the same moment, as by two owners, are two; the second is
// refused, and nobody is told that it stands.
func TestAnAnswerThatComesInBetweenIsNotTakenForThisOne(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	first, second := yes(p), yes(p)
	until := b.Now().AddDate(0, 0, 3)
	second.Until = &until
	faster := true
	hold := func(ctx context.Context) (Held, error) {
		h, err := b.HoldLink(ctx, p.Token)
		if faster {
			faster = false
			_, _, answerErr := b.AnswerLink(ctx, p.Token, first)
			require.NoError(t, answerErr)
		}
		return h, err
	}
	_, _, err := b.Answer(ctx, hold, second, nil)
	refused(t, err, registry.CodeConflict, "answered already")
	require.Equal(t, 1, decisions(t, b))
}
