package catalog_test

import (
	"fmt"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

// The house's catalog comes with the module; packs of your own lie over it.
func ExampleLoad() {
	house, err := catalog.Load()
	if err != nil {
		fmt.Println(err)
		return
	}
	c, _ := house.Component("fuel.tank")
	fmt.Println(c.Name, "safety critical:", c.SafetyCritical)
	for _, t := range house.Treatments()[:3] {
		fmt.Println(t.Rung, t.ID, "reversible:", t.Reversible)
	}
	fmt.Println(registry.States(catalog.PropositionOf(catalog.IndexSubstance))[:2])
	// Output:
	// petrol tank safety critical: true
	// 0 leave reversible: yes
	// 1 clean reversible: no
	// 2 free-off reversible: yes
	// [original period-service]
}

// What must be said before somebody does something stands at the act.
func ExampleCatalog_CautionsFor() {
	house, err := catalog.Load()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range house.CautionsFor(catalog.Step{Act: "solder", Components: []string{"fuel.tank"}}) {
		fmt.Println(c.Level, c.ID)
	}
	// Output:
	// stop fuel-1
	// stop lead-1
	// acknowledge hot-1
}
