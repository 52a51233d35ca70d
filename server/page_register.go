package server

import (
	"fmt"
	"hash/fnv"
	"strings"

	"example.org/asfound/workshop"
)

// sharedField offers the sales of other machines to a valuation; none when there
// are none whose price may be used.
func sharedField(list []workshop.SharedSale) []Field {
	f := Field{Name: "shared", Label: "Sales that other machines of this registry offer", Kind: "checks", Hint: "Their owners permit it. What is chosen is named beside the figures.", Pointers: []string{"/shared"}}
	for _, s := range list {
		if s.Price != nil {
			f.Choices = append(f.Choices, Choice{s.ID, strings.TrimSpace(s.Make+" "+s.Model) + ", " + string(s.Date) + ", " + s.Price.String(), s.Source})
		}
	}
	if len(f.Choices) == 0 {
		return nil
	}
	return []Field{f}
}

// offeredTag changes when what other machines offer does.
func offeredTag(list []workshop.SharedSale) string {
	h := fnv.New64a()
	for _, s := range list {
		fmt.Fprintf(h, "%s %v\n", s.ID, s.Price)
	}
	return fmt.Sprintf("%x", h.Sum64())
}
