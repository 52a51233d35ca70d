package node

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// Audit reads the whole ledger from the cluster and holds each commit against
// the copy, byte for byte. The copy's own Check then speaks for both.
func (n *Node) Audit(ctx context.Context) (found []store.Finding, err error) {
	if err := n.next(ctx); err != nil {
		return nil, err
	}
	if _, down := n.State(); down != nil {
		return []store.Finding{{Where: "the cluster", What: "it cannot be read: " + down.Error()}}, nil
	}
	end, err := n.Store.End(ctx)
	if err != nil {
		return nil, err
	}
	last := registry.Position(0)
	err = n.remote.Ledger.ReadAll(ctx, 0, func(theirs registry.Record) error {
		if theirs.Position > end {
			return errEnough // came meanwhile
		}
		mine, err := first(ctx, n.Store, theirs.Position-1)
		if err != nil {
			return err
		}
		if last = theirs.Position; !same(mine, theirs) {
			found = append(found, store.Finding{Where: fmt.Sprintf("position %d", theirs.Position),
				What: "the cluster does not hold the commit that this node has read there"})
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	if registry.CodeOf(err) == registry.CodeTampered {
		return append(found, store.Finding{Where: "the cluster", What: err.Error()}), nil
	}
	if err == nil {
		var lost []store.Finding
		lost, err = n.auditKeys(ctx)
		found = append(found, lost...)
	}
	if err == nil && last < end {
		found = append(found, store.Finding{Where: "the cluster", What: fmt.Sprintf("it ends at position %d, and this node has read up to %d", last, end)})
	}
	return found, err
}

// auditKeys names keys that the copy holds and the cluster lost, and what cannot
// be used of those that it holds.
func (n *Node) auditKeys(ctx context.Context) (found []store.Finding, err error) {
	if n.remote.Keys == nil {
		return nil, nil
	}
	theirs := map[string][]byte{}
	if _, err := n.remote.Keys.Changes(ctx, 0, func(name string, raw []byte) error {
		theirs[name] = raw
		return nil
	}); err != nil {
		return nil, err
	}
	err = n.Store.Private().EachKey(ctx, func(name string, raw []byte) error {
		if !bytes.Equal(theirs[name], raw) {
			found = append(found, store.Finding{Where: "the key " + name, What: "the cluster does not hold it as this node does: bring it back with a move or from a backup"})
		}
		return nil
	})
	return found, err
}

// same compares two records to the byte.
func same(a, b registry.Record) bool {
	if a.Position != b.Position || a.ID != b.ID || a.Machine != b.Machine || a.First != b.First || len(a.Events) != len(b.Events) {
		return false
	}
	for i := range a.Events {
		if !bytes.Equal(a.Events[i], b.Events[i]) {
			return false
		}
	}
	return true
}
