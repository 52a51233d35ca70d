package importers

import (
	"errors"
	"io"

	"example.org/asfound/registry"
)

// inventoryTable is the list of what arrived besides the machine: one row a
// thing. Its rows are items of a custody agreement and no records of their own.
func inventoryTable() Table {
	return Table{Name: "inventory", Title: "What arrived with the machine", Columns: []Column{
		{Heading: "what", Also: []string{"item", "description"}, Pointer: "/what", Needed: true, Takes: "what the thing is, in words", Example: "tool roll, unopened"},
		{Heading: "count", Also: []string{"number", "how many", "quantity"}, Pointer: "/count", Takes: "how many, 0 to 1000000; 1 when left out", Example: "1"},
		{Heading: "photo", Also: []string{"photos"}, Pointer: "/photo", Takes: "the id of a photo of it", Example: ""},
		{Heading: "id", Also: []string{"item id"}, Pointer: "/id", Seldom: true, Says: true, Takes: "the item's own id; made as in-<what> when left out", Example: ""},
	},
		identify: func(l *line) []identity {
			return []identity{{l.recordKey(l.id("in-", l.text("what"))), "what", "two rows name one thing; add up their counts or tell them apart"}}
		},
		build: func(*line) []registry.Body { return nil },
	}
}

// InventoryDraft is one row of an inventory.
type InventoryDraft struct {
	Draft // Body is always nil
	Item  registry.InventoryItem
}

// ReadInventory gives the items of an inventory sheet, in the manner of
// Source.Each.
func ReadInventory(r io.ReadSeeker, o Options, take func(InventoryDraft) error) (report Report, err error) {
	table, _ := TableNamed("inventory")
	var item registry.InventoryItem
	table.build = func(l *line) []registry.Body {
		item = registry.InventoryItem{What: l.text("what"), Count: 1, Photo: l.text("photo")}
		item.ID = l.id("in-", item.What)
		if item.What == "" {
			l.fault("what", "a few words", "It is not said what the item is", "Write what it is.")
		}
		if n := l.count("count", 0, 1_000_000); n != nil {
			item.Count = *n
		}
		for _, heading := range []string{"id", "photo"} {
			var bad *registry.Error
			if text := l.text(heading); text != "" && errors.As(registry.CheckID("/"+heading, text), &bad) {
				l.fault(heading, bad.Fields[0].Allowed, bad.Fields[0].Message, bad.Fields[0].Fix)
			}
		}
		return nil
	}
	o.Workers = 1 // item is shared with take
	s, err := openSheet(table, r, o)
	if err != nil {
		return Report{}, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	err = s.Each(func(d Draft) error {
		d.Body = nil
		return take(InventoryDraft{Draft: d, Item: item})
	})
	return s.Report(), err
}
