package jetstream

import "example.org/asfound/registry"

// What people may read on a page stands here; it is in the catalogue of texts.

func noMajority(err error) error {
	return registry.Refuse(registry.CodeBusy, "See that most servers of the cluster run and reach each other, then repeat it.",
		"The cluster has no majority that answers: %v", err)
}

func nobodyWrites() error {
	return registry.Refuse(registry.CodeBusy, "See that most servers of the cluster run and reach each other, then repeat it.",
		"The cluster has no majority that can write, so nothing was stored; reading goes on")
}

func unconfirmed() error {
	return registry.Refuse(registry.CodeUnknown, "Repeat the same commit.",
		"The cluster has not confirmed the commit, so it is perhaps stored and perhaps not; reading goes on")
}

func noRoom(why string) error {
	return registry.Refuse(registry.CodeBusy, "Make room on the disks of the cluster, then repeat it.",
		"The cluster cannot store anything just now, so nothing was stored: %s", why)
}
