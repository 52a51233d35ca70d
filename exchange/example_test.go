package exchange_test

import (
	"fmt"

	"example.org/asfound/exchange"
)

// A document of another program is read, and told act by act.
func ExampleReadProv() {
	doc, err := exchange.ReadProv([]byte(`{"prefix": {"ex": "https://example.org/"},
 "entity":   {"ex:tank": {"prov:label": "the tank"}},
 "agent":    {"ex:paintshop": {"prov:label": "the paint shop"}},
 "activity": {"ex:strip": {"prov:label": "stripped to bare metal", "prov:startTime": "1971-05-02T00:00:00Z"}},
 "used":     {"_:1": {"prov:activity": "ex:strip", "prov:entity": "ex:tank"}},
 "wasAssociatedWith": {"_:2": {"prov:activity": "ex:strip", "prov:agent": "ex:paintshop"}}}`))
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, a := range doc.Acts() {
		fmt.Println(a.When, a.Label, "by", a.By, "on", a.Used)
	}

	_, err = exchange.ReadProv([]byte(`{"entity": {"ex:tank": {}}}`))
	fmt.Println(err)
	// Output:
	// 1971-05-02T00:00:00Z stripped to bare metal by [the paint shop] on [the tank]
	// This is not a PROV-JSON document that can be read. Compare it with the PROV-JSON submission of the W3C.
}
