package workshop

import (
	"fmt"
	"time"

	"example.org/asfound/registry"
)

// MeansReport is how an answer reached the record, and what that proves.
type MeansReport struct {
	How string `json:"how"`
	// Proves are sentences: what follows from it, and what does not.
	Proves []string `json:"proves"`
	// Signed says that a passkey signed the answer, Bound since when its key is
	// on record.
	Signed bool      `json:"signed,omitempty"`
	Bound  time.Time `json:"bound,omitzero"`
}

// proofs say of each channel what an answer by it proves.
var proofs = map[string]string{
	"link":      "Whoever held the link at that moment gave this answer. The link was made for the owner alone; who opened it is not proved.",
	"account":   "Whoever was signed in to the owner’s own account gave this answer. The record names the account.",
	"in-person": "The workshop wrote this answer down. It rests on the word of whoever did.",
	"letter":    "The workshop wrote this answer down. It rests on the word of whoever did, and on the letter.",
	"message":   "The workshop wrote this answer down. It rests on the word of whoever did, and on the message.",
	"call":      "The workshop wrote this answer down. It rests on the word of whoever did, and of the witness who heard it.",
}

// signedHow are the ways of an answer that a passkey signed.
var signedHow = map[string]string{
	"link":    "on the owner's own page, confirmed with a passkey",
	"account": "signed in with their own account, confirmed with a passkey",
}

const (
	// signedProof and its like say what a signature proves; the dates are days.
	signedProof  = "A device that verified its person signed exactly this answer, with a passkey that is on record since %s. Nobody without that device can have made the signature, the registry neither, and anybody can check it in a copy of the record."
	boundByLink  = "Whose device it is rests on that day: whoever held the link then bound the passkey, and nobody was asked further."
	boundByLogin = "Whose device it is rests on that day: whoever was signed in to the owner’s own account then bound the passkey."
	notUsed      = "A passkey of this person was on record then, and was not used."
)

// meansOf says how a decision came. It names nobody, so that both editions can
// show it.
func meansOf(d *registry.Dossier, x registry.Found[*registry.Decision]) MeansReport {
	out := MeansReport{Proves: []string{proofs[x.Record.Channel]}}
	for _, t := range registry.Channels() {
		if t.ID == x.Record.Channel {
			out.How = t.Meaning
		}
	}
	a := x.Record.Assertion
	if a == nil {
		for _, p := range registry.All[*registry.Passkey](d) {
			if p.Record.Person == x.Record.Person && p.Version < x.Version && standsAt(d, p.Entry, x.Version) {
				out.Proves = append(out.Proves, notUsed)
				break
			}
		}
		return out
	}
	out.How, out.Signed = signedHow[x.Record.Channel], true
	e, ok := d.Entry(a.Passkey)
	if !ok {
		return out
	}
	out.Bound, out.Proves = e.Recorded, []string{fmt.Sprintf(signedProof, e.Recorded.UTC().Format("2 January 2006")), boundByLink}
	if p, _ := e.Body.(*registry.Passkey); p != nil && p.Means == "account" {
		out.Proves[1] = boundByLogin
	}
	return out
}

// standsAt says whether a record was in force just before an event.
func standsAt(d *registry.Dossier, e *registry.Entry, version uint64) bool {
	gone, ok := d.Entry(e.WithdrawnBy)
	return !ok || gone.Version > version
}

// PasskeyReport is a passkey of somebody who may decide.
type PasskeyReport struct {
	ID    string    `json:"id"`
	Of    string    `json:"of"`
	Host  string    `json:"host"`
	Means string    `json:"means"` // link or account
	Since time.Time `json:"since"`
	// Ended says when and why it was withdrawn.
	Ended time.Time `json:"ended,omitzero"`
	Why   string    `json:"why,omitempty"`
}

func (b *builder) passkeys() {
	for _, p := range registry.All[*registry.Passkey](b.d) {
		report := PasskeyReport{ID: p.RecordID(), Of: b.person(p.Record.Person), Host: p.Record.Host, Means: p.Record.Means, Since: p.Recorded}
		if e, ok := b.d.Entry(p.WithdrawnBy); ok {
			report.Ended, report.Why = e.Recorded, b.text(e.Body.(*registry.Withdrawal).Why)
		}
		b.r.Passkeys = append(b.r.Passkeys, report)
	}
}

// secondReport names the second person of a record, and when they signed it by
// an account of their own; the zero time says that the first typed the name.
func (b *builder) second(record, person string) (name string, signed time.Time) {
	if person == "" {
		return "", signed
	}
	if s, ok := b.d.SecondSigned(record); ok {
		signed = s.Recorded
	}
	return b.person(person), signed
}

// ToSignReport is a record that waits for its second person.
type ToSignReport struct {
	Record   string        `json:"record"`
	Kind     registry.Kind `json:"kind"`
	Says     string        `json:"says"`
	By       string        `json:"by"`
	Second   string        `json:"second"`
	Hash     string        `json:"hash"`
	Recorded time.Time     `json:"recorded"`
	// Component is the one that a survey entry is of.
	Component string `json:"component,omitempty"`

	entry *registry.Entry
}

// MayBeSignedBy says whether an account that stands for some persons may sign.
func (t ToSignReport) MayBeSignedBy(account string, persons []string) bool {
	_, err := maySign(t.entry, account, persons)
	return err == nil
}

func (b *builder) toSign() {
	for _, e := range b.d.ToSign(b.w.rules()) {
		first, second := registry.TwoNames(e.Body)
		report := ToSignReport{Record: e.RecordID(), Kind: e.Kind, Says: b.text(b.tell(e)), By: b.person(first), Second: b.person(second), Hash: e.Hash, Recorded: e.Recorded, entry: e}
		if s, ok := e.Body.(*registry.Survey); ok {
			report.Component = s.Component
		}
		b.r.ToSign = append(b.r.ToSign, report)
	}
}
