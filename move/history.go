package move

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"

	"example.org/asfound/registry"
)

// Machine is one machine's record as it was moved.
type Machine struct {
	ID      string `json:"machine"`
	Version uint64 `json:"version"`
	// Root is the RFC 6962 root hash of its events, in base64 as a checkpoint
	// writes it.
	Root string `json:"root"`
	// Commits is the SHA-256, in hex, of one line a commit: the version of its
	// last event, a space, its ID in hex, a line feed.
	Commits string `json:"commits"`
}

// history is what is found by reading one machine's record.
type history struct {
	Machine
	erased []string
}

// rooted is a ledger that keeps a root hash with the end of each machine's
// history: it tells of a change to the last event, on which no other stands.
type rooted interface {
	Root(ctx context.Context, machine string) (size uint64, root [32]byte, err error)
}

// history reads one machine's record and checks that each event stands on the
// one before. at, when it is given, is the record as it stood at a version
// where a commit ends; it stays empty when none ends there.
func (s Side) history(ctx context.Context, machine string, version uint64, at *Machine) (history, error) {
	h := registry.History{Machine: machine}
	sum := sha256.New()
	var out history
	stand := func() (Machine, error) {
		if h.Version() == 0 {
			return Machine{}, nil
		}
		root, err := h.Tree().Root(h.Tree().Size())
		return Machine{machine, h.Version(), root, hex.EncodeToString(sum.Sum(nil))}, err
	}
	err := s.Ledger.Read(ctx, machine, 0, func(r registry.Record) error {
		for _, event := range r.Events {
			e, err := h.Add(event)
			if err != nil {
				return err
			}
			if e.Kind != (*registry.Erasure)(nil).Kind() {
				continue
			}
			body, err := registry.DecodeBody(e.Kind, e.Schema, e.Body)
			if err != nil {
				return err
			}
			out.erased = append(out.erased, body.(*registry.Erasure).Digests...)
		}
		fmt.Fprintf(sum, "%d %x\n", h.Version(), r.ID)
		if at != nil && h.Version() == version {
			var err error
			*at, err = stand()
			return err
		}
		return nil
	})
	if err == nil {
		out.Machine, err = stand()
	}
	if l, ok := s.Ledger.(rooted); ok && err == nil && out.Version > 0 {
		size, root, rootErr := l.Root(ctx, machine)
		if err = rootErr; err == nil && (size != out.Version || base64.StdEncoding.EncodeToString(root[:]) != out.Root) {
			err = registry.Refuse(registry.CodeTampered, "", "its events do not give the root hash that is kept with them")
		}
	}
	if err != nil {
		return history{}, s.record(machine, err)
	}
	return out, nil
}

// record says which machine of which side an error is about.
func (s Side) record(machine string, err error) error {
	return about(err, "The record of %s in %s", machine, s.Name)
}

// file says which stored file of which side an error is about.
func (s Side) file(kind, digest string, err error) error {
	return about(err, "The "+kind+" %s in %s", digest, s.Name)
}

// trouble says which side an error is about.
func (s Side) trouble(err error) error { return about(err, "%s", s.Name) }

// about says what an error is about; the end of a context stays what it is.
func about(err error, what string, args ...any) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	fix := "Start the move again: what was copied stays, and nothing is copied twice."
	switch registry.CodeOf(err) {
	case registry.CodeTampered:
		fix = "Find out what happened, with \"asfound audit\", before anything is moved; what was copied stays."
	case registry.CodeConflict:
		fix = "See that nobody works in the target, and start the move again."
	}
	return registry.Refuse(registry.CodeOf(err), fix, what+": %v", append(args, err)...)
}
