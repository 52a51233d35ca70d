package registry

import (
	"encoding/hex"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// History checks stored events one after another as they are read: that each
// is the one that was written there. It needs nothing but the bytes, so it
// serves the ledger, a bundle and an audit alike.
type History struct {
	Machine string
	tree    Tree
	last    string // leaf hash of the last event
}

// Version is the number of events taken so far.
func (h *History) Version() uint64 { return uint64(h.tree.Size()) }

// Last is the leaf hash of the last event, "" before the first.
func (h *History) Last() string { return h.last }

// Tree is the Merkle log of the events taken so far.
func (h *History) Tree() *Tree { return &h.tree }

// Add takes the next event's bytes and gives its envelope. CodeTampered, with
// the version in its words, when it belongs to another machine, is out of
// order, or was not written on top of the event before.
func (h *History) Add(event []byte) (Envelope, error) {
	e, err := DecodeEvent(event)
	return h.take(event, e, err)
}

// take is Add for an event whose envelope was read already.
func (h *History) take(event []byte, e Envelope, err error) (Envelope, error) {
	at := h.Version() + 1
	if err != nil {
		return Envelope{}, fmt.Errorf("event %d: %w", at, err)
	}
	if h.Machine == "" {
		h.Machine = e.Machine
	}
	switch {
	case e.Machine != h.Machine:
		return Envelope{}, tampered(at, "it belongs to the machine %q, not %q", e.Machine, h.Machine)
	case e.Version != at:
		return Envelope{}, tampered(at, "it says that it is event %d: an event is missing, doubled or out of order", e.Version)
	case e.Previous != h.last:
		return Envelope{}, tampered(at, "it was not written on top of the event before it: event %d or %d was changed", at-1, at)
	}
	leaf := tlog.RecordHash(event)
	h.tree.AddLeaf(leaf)
	h.last = hex.EncodeToString(leaf[:])
	return e, nil
}

func tampered(at uint64, format string, args ...any) error {
	return Refuse(CodeTampered, "Do not trust this copy; compare it with another one.", "Event %d is not what was written: %s", at, fmt.Sprintf(format, args...))
}
