package workshop

import (
	"context"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"errors"
	"io"
	"slices"
	"strings"
	"time"

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

// Asked is one question to the owner: an offer with what was answered.
type Asked struct {
	Dossier *registry.Dossier
	Entry   *registry.Entry
	Offer   registry.Offer
	Digest  string
	To      string
	// Answer is the standing answer, when there is one.
	Answer   registry.Found[*registry.Decision]
	Answered bool
	// RanOut says that the offer's time is over.
	RanOut bool
}

// Settled says whether an answer closes the question. To ask, or to put it off,
// leaves it open.
func (a Asked) Settled() bool {
	return a.Answered && a.Answer.Record.Answer != "ask" && a.Answer.Record.Answer != "defer"
}

// Waits says whether the question can be answered now.
func (a Asked) Waits() bool { return a.Over() == nil }

// Over says why the question cannot be answered now, nil when it can.
func (a Asked) Over() error {
	switch {
	case !a.Entry.Live():
		return over(LinkReplaced, registry.CodeExpired, "Open the list of your questions: it shows the one that took its place.", "This offer was replaced by another")
	case a.Settled():
		return over(LinkAnswered, registry.CodeConflict, "The receipt says how to take that answer back.", "This has been answered already, on %s", a.Answer.Recorded.UTC().Format("2 January 2006"))
	case a.RanOut:
		return over(OfferExpired, registry.CodeExpired, "Ask the workshop to ask you again.", "The offer ran out on %s", a.Offer.Expires.UTC().Format("2 January 2006"))
	}
	return nil
}

// Held is what a link gives its holder: the questions to one person about one
// machine, oldest first.
type Held struct {
	Dossier   *registry.Dossier
	To        string
	Expires   time.Time // of the link
	Questions []Asked
	// Account is who signed in, "" for who holds a link.
	Account string
	// Single says that the link leads to one offer and never to another, as
	// links once did.
	Single bool
}

// Waiting are the questions that can be answered now.
func (h Held) Waiting() []Asked {
	var out []Asked
	for _, q := range h.Questions {
		if q.Waits() {
			out = append(out, q)
		}
	}
	return out
}

// Question finds one by the offer's name. CodeNotFound for an offer that this
// link does not lead to.
func (h Held) Question(offer string) (Asked, error) {
	i := slices.IndexFunc(h.Questions, func(a Asked) bool { return a.Entry.RecordID() == offer })
	if i < 0 {
		return Asked{}, registry.Refuse(registry.CodeNotFound, "Open your link itself: it lists what you were asked.", "This link does not lead to such a question")
	}
	return h.Questions[i], nil
}

// Why a link, or a question at it, no longer decides.
const (
	LinkUnknown   = "unknown"
	LinkExpired   = "expired"
	LinkTakenBack = "taken-back"
	LinkReplaced  = "replaced"
	LinkAnswered  = "answered"
	OfferExpired  = "offer-expired"
)

// LinkOver is a refusal with the reason for which a link decides nothing.
type LinkOver struct {
	Why     string
	Refusal *registry.Error
}

func (e *LinkOver) Error() string { return e.Refusal.Error() }
func (e *LinkOver) Unwrap() error { return e.Refusal }

func over(why string, code registry.Code, fix, format string, args ...any) error {
	return &LinkOver{why, registry.Refuse(code, fix, format, args...)}
}

// WhyOver is the reason in a LinkOver, "" for any other error.
func WhyOver(err error) string {
	var e *LinkOver
	if errors.As(err, &e) {
		return e.Why
	}
	return ""
}

// HoldLink opens a link: CodeNotFound for a token that nobody gave out,
// CodeExpired when it has run out, was taken back, or its only offer was
// replaced. Opening a link changes nothing.
func (w *Workshop) HoldLink(ctx context.Context, token string) (Held, error) {
	hash := tokenHash(token)
	machine, ok, err := w.linkMachine(ctx, hash)
	if err != nil {
		return Held{}, err
	}
	nowhere := over(LinkUnknown, registry.CodeNotFound, "Check that the link is whole, or ask the workshop for a new one.", "This link leads nowhere")
	if !ok {
		return Held{}, nowhere
	}
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return Held{}, err
	}
	links := registry.All[*registry.OwnerLink](d)
	slices.Reverse(links)
	for _, l := range links {
		if l.Record.Link.TokenHash == hash {
			return w.heldBy(d, l)
		}
	}
	for _, e := range d.Entries() {
		a, link, ok := w.questionOf(d, e)
		if !ok || link == nil || link.TokenHash != hash {
			continue
		}
		if err := w.ranOut(link.Expires); err != nil {
			return Held{}, err
		}
		if !e.Live() {
			return Held{}, over(LinkReplaced, registry.CodeExpired, "Ask the workshop for the link to the new one.", "This offer was replaced by another")
		}
		return Held{Dossier: d, To: a.To, Expires: link.Expires, Questions: []Asked{a}, Single: true}, nil
	}
	return Held{}, nowhere
}

// heldBy gathers what the link of a person leads to.
func (w *Workshop) heldBy(d *registry.Dossier, l registry.Found[*registry.OwnerLink]) (Held, error) {
	if !l.Live() {
		return Held{}, over(LinkTakenBack, registry.CodeExpired, "Ask the workshop for a new one, or use the one that it sent you last.", "This link was taken back by the workshop")
	}
	if err := w.ranOut(l.Record.Link.Expires); err != nil {
		return Held{}, err
	}
	h := Held{Dossier: d, To: l.Record.To, Expires: l.Record.Link.Expires}
	for _, e := range d.Entries() {
		if a, _, ok := w.questionOf(d, e); ok && a.To == h.To {
			h.Questions = append(h.Questions, a)
		}
	}
	return h, nil
}

func (w *Workshop) ranOut(expires time.Time) error {
	if w.Now().Before(expires) {
		return nil
	}
	return over(LinkExpired, registry.CodeExpired, "Ask the workshop for a new one.", "This link ran out on %s", expires.UTC().Format("2 January 2006"))
}

// questionOf reads a proposal or a change request; ok is false for any other
// record.
func (w *Workshop) questionOf(d *registry.Dossier, e *registry.Entry) (a Asked, link *registry.Link, ok bool) {
	a = Asked{Dossier: d, Entry: e}
	switch b := e.Body.(type) {
	case *registry.Proposal:
		link, a.Offer, a.Digest, a.To = b.Link, b.Offer, b.Digest, b.To
	case *registry.ChangeRequest:
		link, a.Offer, a.Digest, a.To = b.Link, b.Offer, b.Digest, b.To
	default:
		return a, nil, false
	}
	a.Answer, a.Answered = d.Answer(e.RecordID())
	a.RanOut = !w.Now().Before(a.Offer.Expires)
	return a, link, true
}

// OpenLink finds the question that comes first at a link: the oldest that
// waits, else the one that was asked last. Codes as HoldLink, and CodeNotFound
// where nothing was asked yet.
func (w *Workshop) OpenLink(ctx context.Context, token string) (Asked, error) {
	h, err := w.HoldLink(ctx, token)
	if err != nil {
		return Asked{}, err
	}
	return h.First()
}

// First is the question that comes first: the oldest that waits, else the one
// that was asked last.
func (h Held) First() (Asked, error) {
	if waiting := h.Waiting(); len(waiting) > 0 {
		return waiting[0], nil
	}
	for _, q := range slices.Backward(h.Questions) {
		if q.Entry.Live() {
			return q, nil
		}
	}
	return Asked{}, registry.Refuse(registry.CodeNotFound, "Nothing is to be done. What you are asked later appears here.", "Nothing waits for your answer")
}

// AnswerLink is Answer through a link.
func (w *Workshop) AnswerLink(ctx context.Context, token string, answer registry.Decision) (Asked, Receipt, error) {
	return w.Answer(ctx, w.ByLink(token), answer, nil)
}

// answered finds what an answer is to: the offer that it names, or the one that
// comes first.
func (h Held) answered(on string) (Asked, error) {
	if on == "" {
		return h.First()
	}
	return h.Question(on)
}

// sameAnswer says whether the standing answer is the one that is given again.
func sameAnswer(a Asked, answer registry.Decision) bool {
	if !a.Answered || a.Answer.Record.Answer != answer.Answer || answer.Digest != a.Digest {
		return false
	}
	reader := NewReader(a.Dossier, false)
	said := func(s string) string { return strings.TrimSpace(reader.Text(s)) }
	if said(a.Answer.Record.Reason) != said(answer.Reason) {
		return false
	}
	if !slices.EqualFunc(a.Answer.Record.Conditions, answer.Conditions, func(x, y string) bool { return said(x) == said(y) }) {
		return false
	}
	return slices.Equal(a.Answer.Record.Options, answer.Options) && sameTime(a.Answer.Record.Until, answer.Until)
}

func sameTime(a, b *time.Time) bool { return a == b || a != nil && b != nil && a.Equal(*b) }

// HeldMachine is the machine of a link, its numbers masked: a link may be read
// by others.
func (w *Workshop) HeldMachine(h Held) MachineReport {
	m, _ := h.Dossier.MachineRecord()
	return machineReport(h.Dossier.ID, m, true)
}

// WhatWasAsked names a question in a line: what was found, or the complaints.
func (w *Workshop) WhatWasAsked(a Asked) string {
	reader := NewReader(a.Dossier, false)
	if c, ok := a.Entry.Body.(*registry.ChangeRequest); ok {
		return reader.Text(c.Found)
	}
	var out []string
	for _, o := range a.Offer.Options {
		f, ok := registry.Get[*registry.Fault](a.Dossier, o.Fault)
		if ok && !slices.Contains(out, f.Record.Complaint) {
			out = append(out, f.Record.Complaint)
		}
	}
	return reader.Text(strings.Join(out, "; "))
}
