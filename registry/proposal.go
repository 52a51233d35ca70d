package registry

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"time"
)

// Offer is what the owner is asked to decide, frozen at the moment of asking.
// Its digest covers every field: another ceiling is another offer, and an
// approval of the one never covers the other.
type Offer struct {
	// Options are frozen copies of what is proposed and of its rivals. At most
	// one option per fault can be approved.
	Options []Option `json:"options"`
	// Recommended names the options that the workshop would choose.
	Recommended []string `json:"recommended"`
	// Openings are frozen copies of the openings that the options need.
	Openings []Opening `json:"openings,omitempty"`
	// Ceiling is what may be spent in all under this offer.
	Ceiling Money `json:"ceiling"`
	// Irreversible names the options that cannot be undone; set by Decide.
	Irreversible []string `json:"irreversible,omitempty"`
	// Shown are the effects that the owner sees, with inputs and results.
	Shown []NamedEstimate `json:"shown,omitempty"`
	// DoNothing says what happens if nothing is done.
	DoNothing string `json:"do_nothing,omitempty"`
	// Cautions are the ids of the cautions shown with it.
	Cautions []string `json:"cautions,omitempty"`
	// Expires is until when the offer stands.
	Expires time.Time `json:"expires"`
}

// Digest is "sha256:…" over the offer's canonical JSON: the order of keys is
// immaterial, everything else is material.
func (o Offer) Digest() (string, error) {
	b, err := CanonicalJSON(o)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:]), nil
}

// Option finds an offered option.
func (o Offer) Option(id string) (Option, bool) {
	i := slices.IndexFunc(o.Options, func(x Option) bool { return x.ID == id })
	if i < 0 {
		return Option{}, false
	}
	return o.Options[i], true
}

func (o *Offer) check(fs *faults) {
	if len(o.Options) == 0 {
		fs.add("/offer/options", "", "", "The offer holds no option", "Weigh at least one option, and \"leave\" beside it.")
	}
	for i := range o.Options {
		checkFrozen(fs, at("/offer/options", i), &o.Options[i])
	}
	for i := range o.Openings {
		checkFrozen(fs, at("/offer/openings", i), &o.Openings[i])
	}
	for i, r := range o.Recommended {
		if _, ok := o.Option(r); !ok {
			fs.add(at("/offer/recommended", i), r, "", "The recommended option is not in the offer", "")
		}
	}
	if o.Ceiling.Currency == "" {
		fs.add("/offer/ceiling", "", "an amount with its currency", "The offer has no ceiling", "Write 0 with a currency when nothing may be spent.")
	}
	fs.money("/offer/ceiling", o.Ceiling)
	checkEstimates(fs, "/offer/shown", o.Shown)
}

// checkFrozen checks a record that is frozen into another one.
func checkFrozen(fs *faults, pointer string, b Body) {
	var inner faults
	inner.id("/id", b.common().ID, false)
	b.check(&inner)
	for _, f := range inner {
		f.Pointer = pointer + f.Pointer
		*fs = append(*fs, f)
	}
}

// Link is an unguessable way in for one person and one purpose. Only the
// SHA-256 of its token is recorded.
type Link struct {
	TokenHash string    `json:"token_hash"` // hex
	Expires   time.Time `json:"expires"`
}

// Proposal asks the owner.
type Proposal struct {
	Common
	To     string `json:"to"` // person id
	By     string `json:"by"`
	Offer  Offer  `json:"offer"`
	Digest string `json:"digest,omitempty"` // set by Decide
	Link   *Link  `json:"link,omitempty"`
}

func (*Proposal) Kind() Kind { return "proposal" }

func (p *Proposal) check(fs *faults) {
	fs.id("/to", p.To, false)
	fs.id("/by", p.By, false)
	p.Offer.check(fs)
}

// ChangeRequest asks the owner for more than was approved: "while we are in
// there". It is decided like a proposal.
type ChangeRequest struct {
	Common
	To     string `json:"to"`
	By     string `json:"by"`
	Amends string `json:"amends"` // the proposal under which work goes on
	Found  string `json:"found"`  // what was found that makes it necessary
	Offer  Offer  `json:"offer"`
	Digest string `json:"digest,omitempty"`
	Link   *Link  `json:"link,omitempty"`
}

func (*ChangeRequest) Kind() Kind { return "change-request" }

func (c *ChangeRequest) check(fs *faults) {
	fs.id("/to", c.To, false)
	fs.id("/by", c.By, false)
	fs.id("/amends", c.Amends, false)
	fs.need("/found", c.Found, "It is not said what was found", "One sentence.")
	c.Offer.check(fs)
}

// Decision is the owner's answer. A refusal is kept for ever; it protects both
// sides.
type Decision struct {
	Common
	On     string `json:"on"`     // proposal or change request
	Digest string `json:"digest"` // of the offer that the owner saw
	Answer string `json:"answer"`
	// Options approved; the recommended ones when empty.
	Options    []string `json:"options,omitempty"`
	Conditions []string `json:"conditions,omitempty"`
	Reason     string   `json:"reason,omitempty"`
	Person     string   `json:"person"`
	Channel    string   `json:"channel"`
	// Witness is who else heard it, for an answer by voice.
	Witness string `json:"witness,omitempty"`
	// Until is when an approval runs out.
	Until *time.Time `json:"until,omitempty"`
	// TakesBack is an earlier decision on the same offer that no longer stands.
	TakesBack string `json:"takes_back,omitempty"`
	// Account is whose sign-in it was, for an answer that came by account.
	Account string `json:"account,omitempty"`
	// Assertion is the signature of the person's passkey over the answer.
	Assertion *Assertion `json:"assertion,omitempty"`
}

// Answers are what an owner can say.
func Answers() []Term {
	return []Term{
		{"approve", "go ahead as proposed"},
		{"approve-with-conditions", "go ahead, if the conditions are kept"},
		{"refuse", "do not do it"},
		{"ask", "answer a question first"},
		{"defer", "not now"},
		{"take-back", "an earlier answer no longer stands"},
	}
}

// Channels are how an answer reached the workshop.
func Channels() []Term {
	return []Term{{"link", "on the owner's own page"}, {"account", "signed in with their own account"}, {"in-person", "said face to face"}, {"letter", "in writing"},
		{"message", "by electronic mail or message"}, {"call", "by telephone, with a witness"}}
}

func (*Decision) Kind() Kind { return "decision" }

func (d *Decision) check(fs *faults) {
	fs.id("/on", d.On, false)
	if !CheckDigest(d.Digest) {
		fs.add("/digest", d.Digest, "sha256: and 64 hex figures", "The digest of what was shown is missing", "Take it from the proposal; it says what the owner saw.")
	}
	checkTerm(fs, "/answer", d.Answer, Answers())
	checkTerm(fs, "/channel", d.Channel, Channels())
	fs.id("/person", d.Person, false)
	fs.ids("/options", d.Options)
	if d.Answer == "approve-with-conditions" && len(d.Conditions) == 0 {
		fs.add("/conditions", "", "", "The conditions are missing", "Write them, or approve without.")
	}
	if d.Answer == "take-back" {
		fs.id("/takes_back", d.TakesBack, false)
	}
	if d.Channel == "call" {
		fs.id("/witness", d.Witness, false)
	}
	if d.Channel == "account" {
		fs.id("/account", d.Account, false)
	}
	if d.Assertion != nil {
		d.Assertion.check(fs)
	}
}

// Approves says whether the answer is a yes.
func (d *Decision) Approves() bool {
	return d.Answer == "approve" || d.Answer == "approve-with-conditions"
}
