package workshop

import (
	"context"
	"fmt"
	"slices"

	"example.org/asfound/registry"
)

// Holding opens what somebody may decide on, as it stands at that moment.
type Holding func(context.Context) (Held, error)

// ByLink holds what a link leads to.
func (w *Workshop) ByLink(token string) Holding {
	return func(ctx context.Context) (Held, error) { return w.HoldLink(ctx, token) }
}

// ByAccount holds what a person who signed in may decide on a machine: what was
// put to them, and as an owner of record what was put to another. CodeRefused
// for a person who may not decide. That the account stands for the person is
// the caller's to know.
func (w *Workshop) ByAccount(machine, person, account string) Holding {
	return func(ctx context.Context) (Held, error) {
		d, err := w.Load(ctx, machine, At{})
		if err != nil {
			return Held{}, err
		}
		h := Held{Dossier: d, To: person, Account: account}
		for _, e := range d.Entries() {
			if a, _, ok := w.questionOf(d, e); ok && (a.To == person || d.MayDecide(person)) {
				h.Questions = append(h.Questions, a)
			}
		}
		if len(h.Questions) == 0 && !d.MayDecide(person) {
			return Held{}, registry.Refuse(registry.CodeRefused, "Ask the keeper whom your account stands for; the record says who owns the machine.", "The person whom your account stands for may not decide for this machine")
		}
		return h, nil
	}
}

// channel is how an answer that is given here reaches the record.
func (h Held) channel() string {
	if h.Account != "" {
		return "account"
	}
	return "link"
}

// complete says of an answer whose it is, and to what.
func (h Held) complete(a Asked, answer *registry.Decision) {
	answer.On, answer.Person, answer.Channel, answer.Account = a.Entry.RecordID(), h.To, h.channel(), h.Account
	if answer.Approves() && len(answer.Options) == 0 {
		answer.Options = a.Offer.Recommended
	}
}

// Challenge is what a passkey signs to confirm an answer, as the answer would
// stand in the record now.
func (w *Workshop) Challenge(h Held, answer registry.Decision, nonce string) ([]byte, error) {
	a, err := h.answered(answer.On)
	if err != nil {
		return nil, err
	}
	h.complete(a, &answer)
	body, err := withhold(&answer, secretsOf(h.Dossier))
	if err != nil {
		return nil, err
	}
	return body.(*registry.Decision).Challenge(h.Dossier.ID, nonce)
}

// BindPasskey records a passkey for whoever holds this. Codes as
// registry.Decide.
func (w *Workshop) BindPasskey(ctx context.Context, hold Holding, key registry.Passkey) (Receipt, error) {
	h, err := hold(ctx)
	if err != nil {
		return Receipt{}, err
	}
	h.bind(&key)
	return w.Record(ctx, Request{Machine: h.Dossier.ID, Actor: h.To, own: true}, &key)
}

func (h Held) bind(key *registry.Passkey) {
	key.Person, key.Means, key.Account = h.To, h.channel(), h.Account
}

// Answer records an owner's answer. Its digest is that of the offer that was on
// the page; a changed offer is a conflict. A question is closed once: the same
// answer again is the same answer, another one is refused with CodeConflict, and
// stands only after the first was taken back. A passkey that is given is bound
// first.
func (w *Workshop) Answer(ctx context.Context, hold Holding, answer registry.Decision, bind *registry.Passkey) (Asked, Receipt, error) {
	for try := 1; ; try++ {
		h, err := hold(ctx)
		if err != nil {
			return Asked{}, Receipt{}, err
		}
		asked, err := h.answered(answer.On)
		if err != nil {
			return asked, Receipt{}, err
		}
		h.complete(asked, &answer)
		if done, err := h.settled(asked, answer); done || err != nil {
			return asked, Receipt{Machine: h.Dossier.ID, Version: h.Dossier.Version(), Repeated: done}, err
		}
		bodies := []registry.Body{&answer}
		if bind != nil {
			key := *bind
			h.bind(&key)
			bodies = []registry.Body{&key, &answer}
		}
		seen := h.Dossier.Version()
		// All of it is in the key: two answers that come at once are told apart.
		whole, err := registry.CanonicalJSON(&answer)
		if err != nil {
			return asked, Receipt{}, err
		}
		receipt, err := w.Record(ctx, Request{Machine: h.Dossier.ID, Actor: h.To, Expect: &seen, own: true, Key: fmt.Sprint("answer ", seen, " ", string(whole))}, bodies...)
		if registry.CodeOf(err) == registry.CodeConflict && try < maxTries*4 {
			if now, loadErr := w.Load(ctx, h.Dossier.ID, At{}); loadErr == nil && now.Version() != seen {
				continue // somebody was faster: look again
			}
		}
		if err != nil {
			return asked, Receipt{}, err
		}
		if h, err = hold(ctx); err == nil {
			asked, err = h.Question(answer.On)
		}
		return asked, receipt, err
	}
}

// settled says whether an answer stands already, or why it cannot be given.
func (h Held) settled(a Asked, answer registry.Decision) (done bool, err error) {
	if answer.Answer != "take-back" {
		if sameAnswer(a, answer) {
			return true, nil
		}
		return false, a.Over()
	}
	switch {
	case h.Dossier.TakenBack(answer.TakesBack):
		return true, nil
	case !a.Settled() || a.Answer.RecordID() != answer.TakesBack:
		return false, registry.Refuse(registry.CodeConflict, "Open the question again: it shows the answer that stands now.", "That answer does not stand any more")
	}
	return false, nil
}

// SecondInput asks for the signature of the second person under a record.
type SecondInput struct {
	Machine, Record, Hash string
	// Account is who signed in, Persons are all whom it stands for on the machine.
	Account string
	Persons []string
}

// SignSecond records that the second person of a record agrees, by an account
// that stands for that person and for nobody else who had a hand in it.
func (w *Workshop) SignSecond(ctx context.Context, in SecondInput) (Receipt, error) {
	d, err := w.Load(ctx, in.Machine, At{})
	if err != nil {
		return Receipt{}, err
	}
	e, ok := d.Entry(in.Record)
	if !ok {
		return Receipt{}, registry.Refuse(registry.CodeNotFound, "The work page lists what waits to be signed.", "There is no record %q", in.Record)
	}
	second, err := maySign(e, in.Account, in.Persons)
	if err != nil {
		return Receipt{}, err
	}
	return w.Record(ctx, Request{Machine: in.Machine, Actor: second, own: true}, &registry.SecondSignature{On: in.Record, Hash: in.Hash, By: second, Account: in.Account})
}

// maySign gives the second person of a record, when an account may sign for
// them.
func maySign(e *registry.Entry, account string, persons []string) (string, error) {
	first, second := registry.TwoNames(e.Body)
	stands := func(person string) bool {
		for _, p := range persons {
			if p == person {
				return true
			}
		}
		return false
	}
	switch {
	case stands(first) || stands(e.Actor) || account == e.Actor:
		return "", registry.Refuse(registry.CodeRefused, "Let the second person sign in and look at it.", "The same person cannot be both: your account recorded this, or stands for who did")
	case !stands(second):
		return "", registry.Refuse(registry.CodeRefused, "Let that person sign, or let the keeper say whom your account stands for.", "Your account does not stand for the second person of this record")
	}
	return second, nil
}

// OnlyByItself says whether records of a kind are made by the person concerned
// alone, on pages of their own, or by what does more than record them.
func OnlyByItself(k registry.Kind) bool {
	return slices.Contains([]registry.Kind{"passkey", "second-signature", "transfer", "erasure"}, k)
}

// ownActs refuses what only the person concerned can record: an answer by
// link or account, a passkey and what it signed, a second signature. It refuses the
// record alone of what is more than a record too: a transfer, which may close
// the machine's record here, and an erasure, which destroys keys.
func ownActs(d *registry.Dossier, req Request, bodies []registry.Body) error {
	if req.own {
		return nil
	}
	for _, b := range bodies {
		switch b := b.(type) {
		case *registry.Passkey:
			return registry.Refuse(registry.CodeRefused, "Let them open their link, or sign in, and make it there.", "Only its own person can have a passkey bound")
		case *registry.SecondSignature:
			return registry.Refuse(registry.CodeRefused, "Name the second person in the record; they sign in and sign it on the work page.", "Only the second person’s own account records that they signed")
		case *registry.Transfer:
			return moveItself()
		case *registry.Withdrawal:
			if _, ok := registry.Get[*registry.Transfer](d, b.Record); ok {
				return moveItself()
			}
		case *registry.Erasure:
			return registry.Refuse(registry.CodeRefused, "Use \"asfound person erase\", which destroys what is kept and records it.", "An erasure is not recorded by itself: nothing would be erased")
		case *registry.Decision:
			if b.Channel == "link" && b.Assertion == nil {
				return registry.Refuse(registry.CodeRefused, "Send the owner a link; or record how the answer came, and who heard it.", "Only the owner's own link records that an answer came by it")
			}
			if b.Channel == "account" || b.Assertion != nil {
				return registry.Refuse(registry.CodeRefused, "Let them sign in and answer; or record how the answer came, and who heard it.", "Only the owner’s own account records that an answer came by it, and only their own page what a passkey signed")
			}
		}
	}
	return nil
}

func moveItself() error {
	return registry.Refuse(registry.CodeRefused, "Whoever keeps the registry does it on the page “This machine in the register”, or with \"asfound transfer\".",
		"A transfer between registries is not recorded or withdrawn by itself")
}
