// Package webhook tells other programs that an owner has decided. It sends
// identifiers and the answer, never names or anybody's words; signs each notice
// (RFC 9421) with a secret of its own for each address; keeps what could not be
// sent, and tries again a bounded number of times. It sends nothing until
// somebody adds an address, and never into a private network unless that was
// said for the address. docs/webhooks.md is for those who receive.
package webhook

import (
	"encoding/json"
	"time"

	"example.org/asfound/registry"
)

// Hook is an address that is told.
type Hook struct {
	ID  string `json:"id"`
	URL string `json:"url"`
	// Secret signs what is sent there.
	Secret string `json:"secret"`
	// PrivateNetwork says that the address may lie in a private network.
	PrivateNetwork bool `json:"private_network,omitempty"`
	// Added is from when on decisions are told.
	Added time.Time `json:"added"`
}

// Notice is what is sent: enough to ask the registry for the rest.
type Notice struct {
	Event    string    `json:"event"` // always "decision"
	ID       string    `json:"id"`    // of the event; the same however often it is sent
	Machine  string    `json:"machine"`
	Version  uint64    `json:"version"` // of the machine's record, after it
	Recorded time.Time `json:"recorded"`
	Decision string    `json:"decision"` // the record's identifier
	On       string    `json:"on"`       // the proposal or change request
	Answer   string    `json:"answer"`   // approve, approve-with-conditions, refuse, ask, defer, take-back
	Options  []string  `json:"options,omitempty"`
	Digest   string    `json:"digest"` // of what the owner saw
}

// Notices are the decisions in a commit.
func Notices(r registry.Record) ([]Notice, error) {
	var out []Notice
	for _, event := range r.Events {
		e, err := registry.DecodeEvent(event)
		if err != nil {
			return nil, err
		}
		if e.Kind != "decision" {
			continue
		}
		body, err := registry.DecodeBody(e.Kind, e.Schema, json.RawMessage(e.Body))
		if err != nil {
			return nil, err
		}
		d := body.(*registry.Decision)
		out = append(out, Notice{Event: "decision", ID: e.ID, Machine: e.Machine, Version: e.Version, Recorded: e.Recorded,
			Decision: d.ID, On: d.On, Answer: d.Answer, Options: d.Options, Digest: d.Digest})
	}
	return out, nil
}
