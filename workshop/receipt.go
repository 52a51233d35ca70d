package workshop

import (
	"context"
	"fmt"

	"example.org/asfound/registry"
)

// OwnerReceipt is what the owner gets for an answer: what was decided on what,
// when, by which means, and what follows. Page and print are made of it alike.
type OwnerReceipt struct {
	Machine MachineReport `json:"machine"`
	Offer   string        `json:"offer"`
	Kind    registry.Kind `json:"kind"`
	By      string        `json:"by"`  // who asked
	Who     string        `json:"who"` // who answered
	Answer  AnswerReport  `json:"answer"`
	Says    string        `json:"says"`  // the answer as a sentence
	Means   string        `json:"means"` // how it reached the workshop
	// Proves says what that proves.
	Proves []string `json:"proves"`
	// Digest covers what was shown, to the last figure.
	Digest string `json:"digest"`
	// Event, Version and Hash are where the answer stands in the record.
	Event   string `json:"event"`
	Version uint64 `json:"version"`
	Hash    string `json:"hash"`
	// Chosen are the options that an approval covers, and Ceiling what they may
	// cost in all; empty without one.
	Chosen  []OptionReport `json:"chosen,omitempty"`
	Ceiling string         `json:"ceiling,omitempty"`
	Next    []string       `json:"next"`
}

// AnswerWords are the owner's answers as sentences.
var AnswerWords = map[string]string{
	"approve":                 "Go ahead",
	"approve-with-conditions": "Go ahead, if my conditions are kept",
	"refuse":                  "Do not do it",
	"ask":                     "Answer my question first",
	"defer":                   "Not now",
	"take-back":               "An earlier answer no longer stands",
}

// Receipt is that of the standing answer to an offer. CodeNotFound without one.
func (w *Workshop) Receipt(ctx context.Context, machine, offer string) (*OwnerReceipt, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	e, ok := d.Entry(offer)
	if ok {
		if a, _, isOffer := w.questionOf(d, e); isOffer && a.Answered {
			return w.ReceiptOf(a), nil
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Show the machine to see its offers and their answers.", "There is no answer to an offer %q", offer)
}

// ReceiptOf is the receipt of a question that was answered.
func (w *Workshop) ReceiptOf(a Asked) *OwnerReceipt {
	m, _ := a.Dossier.MachineRecord()
	b := builder{seen: &seen{w: w, d: a.Dossier}, reader: NewReader(a.Dossier, false), r: &Report{}}
	offer := b.offer(a.Entry)
	out := &OwnerReceipt{Machine: machineReport(a.Dossier.ID, m, true), Offer: offer.ID, Kind: offer.Kind, By: offer.By,
		Who: b.person(a.Answer.Record.Person), Says: AnswerWords[a.Answer.Record.Answer], Digest: a.Answer.Record.Digest,
		Event: a.Answer.ID, Version: a.Answer.Version, Hash: a.Answer.Hash}
	for _, x := range offer.Answers {
		if x.ID == a.Answer.RecordID() {
			out.Answer = x
		}
	}
	out.Means, out.Proves = out.Answer.Means.How, out.Answer.Means.Proves
	if a.Answer.Record.Approves() {
		out.Ceiling = a.Offer.Ceiling.String()
		for _, o := range offer.Options {
			for _, id := range a.Answer.Record.Options {
				if o.ID == id {
					out.Chosen = append(out.Chosen, o)
				}
			}
		}
	}
	out.Next = nextAfter(out)
	return out
}

// nextAfter says what follows from an answer.
func nextAfter(r *OwnerReceipt) []string {
	switch r.Answer.Answer {
	case "ask":
		return []string{"Your question stands in the record of the machine. The reply appears at the same link, and nothing is done before you decide."}
	case "defer":
		return []string{"Nothing is done before you decide. You can come back by the same link while the question stands."}
	}
	back := fmt.Sprintf("To take your answer back, tell %s. That is recorded too.", r.By)
	if r.Answer.Channel == "link" || r.Answer.Channel == "account" {
		back = "You can take your answer back where you gave it. That is recorded too."
	}
	if len(r.Chosen) == 0 {
		return []string{"The workshop will not do this. Your answer is kept for ever with the record of the machine.", back}
	}
	if r.Answer.Underway != "" {
		back = fmt.Sprintf("Work under it has begun (%s), so that it cannot be taken back. To stop what is not done yet, tell %s, who records your refusal: then nothing more may be done.", r.Answer.Underway, r.By)
	}
	out := []string{"The workshop may begin with this, and with nothing else."}
	if u := r.Answer.Until; u != nil {
		out = append(out, fmt.Sprintf("What is not done by %s needs a new answer of yours.", u.UTC().Format("2 January 2006, 15:04 UTC")))
	}
	out = append(out, fmt.Sprintf("You are asked again before anything else is done or more than %s is spent.", r.Ceiling), back)
	if r.Answer.Underway == "" {
		out = append(out, "Once work under it has begun, it cannot be taken back; what is not done yet can still be stopped.")
	}
	return out
}
