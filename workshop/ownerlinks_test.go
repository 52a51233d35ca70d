package workshop

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// ask puts one more question to the owner, for some days.
func (b *bench) ask(in ProposeInput, days int) Proposed {
	b.t.Helper()
	in.Ceiling, in.Expires = pounds("40"), b.Now().AddDate(0, 0, days)
	p, err := b.Propose(context.Background(), request(), in)
	require.NoError(b.t, err)
	return p
}

func TestLaterQuestionsComeToTheSameLink(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	first := b.propose("proposal-1", "100", "condenser-outside")
	require.NotEmpty(t, first.Token)
	_, _, err := b.AnswerLink(ctx, first.Token, yes(first))
	require.NoError(t, err)

	b.pass(10 * 24 * time.Hour)
	more := b.ask(ProposeInput{ID: "change-1", Options: []string{"armature-rewind"}, Recommended: []string{"armature-rewind"}, Amends: "proposal-1", Found: "the winding is open"}, 14)
	require.Empty(t, more.Token, "there is a link already")
	require.Equal(t, more.Expires, more.Link.Expires, "which works as long as the question stands")
	require.True(t, more.Link.Since.Before(more.Expires.AddDate(0, 0, -14)))

	b.pass(5 * 24 * time.Hour) // past the link's first end
	h, err := b.HoldLink(ctx, first.Token)
	require.NoError(t, err)
	require.Len(t, h.Questions, 2)
	require.Len(t, h.Waiting(), 1)
	asked, err := b.OpenLink(ctx, first.Token)
	require.NoError(t, err)
	require.Equal(t, "change-1", asked.Entry.RecordID())
	asked, _, err = b.AnswerLink(ctx, first.Token, registry.Decision{On: "change-1", Digest: more.Digest, Answer: "refuse"})
	require.NoError(t, err)
	require.Equal(t, "change-1", asked.Answer.Record.On)
	old, err := h.Question("proposal-1")
	require.NoError(t, err)
	require.True(t, old.Settled(), "what was answered before can still be read")
	_, err = h.Question("proposal-9")
	refused(t, err, registry.CodeNotFound, "does not lead to")
}

// TestALinkOfOldStaysWithItsOffer: ledgers hold links that belong to one offer.
func TestALinkOfOldStaysWithItsOffer(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	d, err := b.Load(ctx, drover, At{})
	require.NoError(t, err)
	option, _ := registry.Get[*registry.Option](d, "condenser-outside")
	offer := registry.Offer{Options: []registry.Option{*option.Record}, Recommended: []string{"condenser-outside"}, Ceiling: pounds("100"), Expires: b.Now().AddDate(0, 0, 14)}
	for _, id := range d.OpeningsNeeded(option.Record.Openings) {
		o, _ := registry.Get[*registry.Opening](d, id)
		frozen := *o.Record
		frozen.ID = id
		offer.Openings = append(offer.Openings, frozen)
	}
	b.do(&registry.Proposal{Common: registry.Common{ID: "old"}, To: "owner", By: "mechanic", Offer: offer, Link: &registry.Link{TokenHash: tokenHash("of-old"), Expires: offer.Expires}})
	b.propose("new", "90", "condenser-outside")
	h, err := b.HoldLink(ctx, "of-old")
	require.NoError(t, err)
	require.True(t, h.Single)
	require.Len(t, h.Questions, 1)
	_, err = h.Question("new")
	refused(t, err, registry.CodeNotFound, "does not lead to")
	_, _, err = b.AnswerLink(ctx, "of-old", registry.Decision{On: "new", Digest: h.Questions[0].Digest, Answer: "approve"})
	refused(t, err, registry.CodeNotFound, "does not lead to")
	_, _, err = b.AnswerLink(ctx, "of-old", registry.Decision{Digest: h.Questions[0].Digest, Answer: "approve"})
	require.NoError(t, err)
	require.Equal(t, 1, decisions(t, b))
}

func TestANewLinkEndsTheOneBefore(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	given, err := b.GiveLink(ctx, request(), LinkInput{})
	require.NoError(t, err)
	require.Equal(t, []string{p.Link.ID}, given.Ended)
	require.Equal(t, "owner", given.To)
	_, err = b.HoldLink(ctx, p.Token)
	refused(t, err, registry.CodeExpired, "taken back")
	require.Equal(t, LinkTakenBack, WhyOver(err))
	asked, err := b.OpenLink(ctx, given.Token)
	require.NoError(t, err)
	require.Equal(t, "proposal-1", asked.Entry.RecordID())
	silent(t, b.events(), given.Token)

	r, err := b.Report(ctx, drover, ReportOptions{})
	require.NoError(t, err)
	require.Len(t, r.Links, 2)
	require.False(t, r.Links[0].Works(b.Now()))
	require.True(t, r.Links[1].Works(b.Now()))
	b.do(&registry.Withdrawal{Record: given.ID, Why: "it was passed on", By: "mechanic"})
	_, _, err = b.AnswerLink(ctx, given.Token, yes(p))
	refused(t, err, registry.CodeExpired, "taken back")
	require.Zero(t, decisions(t, b))
	_, err = b.GiveLink(ctx, request(), LinkInput{To: "mechanic"})
	refused(t, err, registry.CodeInvalid, "may not decide")
}

func TestAQuestionAndItsReply(t *testing.T) {
	ctx := context.Background()
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	question := registry.Decision{Digest: p.Digest, Answer: "ask", Reason: "How loud is it?"}
	asked, _, err := b.AnswerLink(ctx, p.Token, question)
	require.NoError(t, err)
	require.True(t, asked.Waits(), "the decision stays open")
	_, again, err := b.AnswerLink(ctx, p.Token, question)
	require.NoError(t, err)
	require.True(t, again.Repeated)
	first := asked.Answer.RecordID()
	question.Reason = "And when it is warm?"
	_, again, err = b.AnswerLink(ctx, p.Token, question)
	require.NoError(t, err)
	require.False(t, again.Repeated, "a second question is another one")
	require.Equal(t, 2, decisions(t, b))

	b.do(&registry.Reply{Question: first, Says: "About as loud as before.", By: "mechanic"})
	asked, err = b.OpenLink(ctx, p.Token)
	require.NoError(t, err)
	page, err := b.AskedReport(ctx, asked)
	require.NoError(t, err)
	require.Equal(t, "About as loud as before.", page.Offer.Answers[0].Replies[0].Says)
	require.Len(t, page.Offer.Unreplied(), 1)
	_, _, err = b.AnswerLink(ctx, p.Token, yes(p))
	require.NoError(t, err)
	require.Equal(t, 3, decisions(t, b))
}
