package node

import (
	"errors"

	"example.org/asfound/registry"
)

// What people may read on a page stands here; it is in the catalogue of texts.

var errClosed = registry.Refuse(registry.CodeBusy, "Open it again.", "The registry is closed")

func endsBefore(end, at registry.Position) error {
	return registry.Refuse(registry.CodeBusy, "If this lasts, the cluster has lost what it had acknowledged: write nothing, and bring the registry back from this node's folder or a backup.",
		"The cluster's ledger ends at position %d, and this node has read up to %d", end, at)
}

// plain puts an error of the network in words.
func plain(err error) error {
	if registry.CodeOf(err) == registry.CodeInternal {
		return registry.Refuse(registry.CodeBusy, "See that most servers of the cluster run and reach this node.", "The cluster does not answer")
	}
	return err
}

func differs(at registry.Position) error {
	return registry.Refuse(registry.CodeTampered, "Write nothing more. If this folder belongs to another cluster, choose another one with --dir; if not, the cluster has lost or changed what it had acknowledged, and the registry comes back from this folder or a backup.",
		"At position %d the cluster does not hold the commit that this node has read there", at)
}

func cannotWrite(why error) error {
	var known *registry.Error
	if !errors.As(why, &known) || known.Code == registry.CodeTampered {
		return why
	}
	return registry.Refuse(registry.CodeBusy, known.Fix, "The cluster that keeps this registry cannot be used just now, so nothing was stored; reading goes on")
}
