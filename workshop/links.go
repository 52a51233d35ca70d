package workshop

import (
	"context"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// newToken makes an unguessable token of 160 random bits, in letters and
// figures that survive being read out.
func (w *Workshop) newToken() (token, hash string, err error) {
	raw := make([]byte, 20)
	if _, err := io.ReadFull(w.Random, raw); err != nil {
		return "", "", err
	}
	token = strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(raw))
	return token, tokenHash(token), nil
}

func tokenHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// Asked is what a link leads to.
type Asked struct {
	Dossier *registry.Dossier
	Entry   *registry.Entry
	Offer   registry.Offer
	Digest  string
	To      string
	// Answer is the standing answer, when there is one.
	Answer   registry.Found[*registry.Decision]
	Answered bool
}

// OpenLink finds the offer behind a link's token. CodeNotFound for a token
// that nobody gave out, CodeExpired when it has run out or the offer was
// replaced. Opening a link changes nothing.
func (w *Workshop) OpenLink(ctx context.Context, token string) (Asked, error) {
	machine, ok, err := w.linkMachine(ctx, tokenHash(token))
	if err != nil {
		return Asked{}, err
	}
	if !ok {
		return Asked{}, registry.Refuse(registry.CodeNotFound, "Check that the link is whole, or ask the workshop for a new one.", "This link leads nowhere")
	}
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return Asked{}, err
	}
	for _, e := range d.Entries() {
		var link *registry.Link
		asked := Asked{Dossier: d, Entry: e}
		switch b := e.Body.(type) {
		case *registry.Proposal:
			link, asked.Offer, asked.Digest, asked.To = b.Link, b.Offer, b.Digest, b.To
		case *registry.ChangeRequest:
			link, asked.Offer, asked.Digest, asked.To = b.Link, b.Offer, b.Digest, b.To
		}
		if link == nil || link.TokenHash != tokenHash(token) {
			continue
		}
		if !w.Now().Before(link.Expires) {
			return Asked{}, registry.Refuse(registry.CodeExpired, "Ask the workshop for a new one.", "This link ran out on %s", link.Expires.UTC().Format("2 January 2006"))
		}
		if !e.Live() {
			return Asked{}, registry.Refuse(registry.CodeExpired, "Ask the workshop for the link to the new one.", "This offer was replaced by another")
		}
		asked.Answer, asked.Answered = d.Answer(e.RecordID())
		return asked, nil
	}
	return Asked{}, registry.Refuse(registry.CodeNotFound, "Ask the workshop for a new one.", "This link leads nowhere")
}

// AnswerLink records the owner's answer through a link. digest is that of the
// offer that was on the page; a changed offer is a conflict.
func (w *Workshop) AnswerLink(ctx context.Context, token string, answer registry.Decision) (Asked, Receipt, error) {
	asked, err := w.OpenLink(ctx, token)
	if err != nil {
		return Asked{}, Receipt{}, err
	}
	answer.On, answer.Person, answer.Channel = asked.Entry.RecordID(), asked.To, "link"
	if sameAnswer(asked, answer) {
		return asked, Receipt{Machine: asked.Dossier.ID, Version: asked.Dossier.Version(), Repeated: true}, nil
	}
	// The same answer, sent twice at once, is one answer.
	key := fmt.Sprint("answer ", answer.On, answer.Digest, answer.Answer, answer.Options, len(registry.All[*registry.Decision](asked.Dossier)))
	receipt, err := w.Record(ctx, Request{Machine: asked.Dossier.ID, Actor: asked.To, Key: key}, &answer)
	if registry.CodeOf(err) == registry.CodeConflict {
		if again, openErr := w.OpenLink(ctx, token); openErr == nil && sameAnswer(again, answer) {
			return again, Receipt{Machine: again.Dossier.ID, Version: again.Dossier.Version(), Repeated: true}, nil
		}
	}
	if err != nil {
		return asked, Receipt{}, err
	}
	asked, err = w.OpenLink(ctx, token)
	return asked, receipt, err
}

// sameAnswer says whether the standing answer is the one that is given again.
func sameAnswer(a Asked, answer registry.Decision) bool {
	if !a.Answered || a.Answer.Record.Answer != answer.Answer || answer.Digest != a.Digest {
		return false
	}
	chosen := answer.Options
	if len(chosen) == 0 && answer.Approves() {
		chosen = a.Offer.Recommended
	}
	return slices.Equal(a.Answer.Record.Options, chosen)
}
