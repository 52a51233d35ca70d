package registry

import (
	"slices"
	"strings"
)

// decideCheck: a check that says which check of a gate it is names one of the
// catalog's.
func decideCheck(r *Rules, c *Check) error {
	if c.Of == "" || len(r.Gates) == 0 {
		return nil
	}
	var known []string
	for _, g := range r.Gates {
		if slices.Contains(g.Kinds, c.Of) {
			return nil
		}
		known = append(known, g.Kinds...)
	}
	return invalid(c, "/of", c.Of, strings.Join(known, ", "), "No gate asks for such a check", "Leave it out for a check that belongs to no gate.")
}
