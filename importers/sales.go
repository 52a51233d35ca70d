package importers

import "example.org/asfound/registry"

// salesTable is the list of sales of like machines: one row a sale.
func salesTable() Table {
	return Table{Name: "sales", Title: "Sales of like machines", Record: "comparable-sale", Columns: []Column{
		machineColumn(),
		{Heading: "id", Also: []string{"record id", "sale"}, Pointer: "/id", Needed: true, Takes: "a short name for the sale", Example: "sale-0042"},
		{Heading: "source", Also: []string{"published in", "reference"}, Pointer: "/source", Needed: true, Takes: "who published it and where", Example: "printed results, page 12"},
		{Heading: "venue", Pointer: "/venue", Takes: "where it was sold", Example: "Aldmouth"},
		needed(dateColumn("when it was sold")),
		example(needed(termColumn("price kind", "/price_kind", registry.PriceKinds(), "kind of price")), "hammer"),
		{Heading: "price", Also: []string{"amount"}, Pointer: "/price/amount", Needed: true, Takes: "the amount, with a point or comma for decimals and nothing between thousands", Example: "4200"},
		{Heading: "currency", Pointer: "/price/currency", Needed: true, Takes: "three letters of ISO 4217", Example: "GBP"},
		{Heading: "make", Pointer: "/make", Needed: true, Takes: "the make", Example: "Skerrow"},
		{Heading: "model", Pointer: "/model", Needed: true, Takes: "the model", Example: "Drover 350"},
		{Heading: "year", Also: []string{"built"}, Pointer: "/year", Takes: "when it was built, in the forms of a date", Example: "1957"},
		{Heading: "substance", Pointer: "/substance", Takes: "index of substance, 0 to 1 or in per cent", Example: "0.7"},
		{Heading: "surface", Pointer: "/surface", Takes: "index of surface, 0 to 1 or in per cent", Example: "0.4"},
		{Heading: "judged", Pointer: "/judged", Choices: []string{"yes", "no"}, Takes: "yes when the indices were judged from afar", Example: "yes"},
		{Heading: "condition", Pointer: "/condition", Choices: []string{"0", "1", "2", "3", "4", "5"}, Takes: "a whole number from 0 to 5", Example: "3"},
		{Heading: "distance", Also: []string{"mileage", "odometer"}, Pointer: "/distance", Takes: "what the dial showed", Example: "31204"},
		{Heading: "distance unit", Also: []string{"unit"}, Pointer: "/distance_unit", Choices: []string{"km", "mi"}, Takes: "km or mi", Example: "mi"},
		{Heading: "running", Pointer: "/running", Choices: []string{"yes", "no"}, Takes: "whether it ran", Example: "no"},
		{Heading: "documented", Pointer: "/documented", Choices: []string{"yes", "no"}, Takes: "whether its papers were there", Example: "yes"},
		noteColumn(),
	},
		identify: func(l *line) []identity {
			if l.text("id") == "" {
				return nil
			}
			return []identity{{l.recordKey(l.text("id")), "id", "two rows have one id"}}
		},
		build: buildSale,
	}
}

func buildSale(l *line) []registry.Body {
	s := &registry.ComparableSale{Source: l.text("source"), Venue: l.text("venue"), Make: l.text("make"), Model: l.text("model")}
	s.ID, s.Valid, s.Note = l.text("id"), l.date("date"), l.text("note")
	s.PriceKind = l.term("price kind", registry.PriceKinds(), "")
	if l.text("price") != "" {
		s.Price = l.money("price")
	} else {
		l.fault("price", "an amount such as 4200 or 4200.50", "The price is missing", "Write what was paid, or leave the row out.")
	}
	s.Year = l.date("year")
	s.Substance, s.Surface = l.share("substance"), l.share("surface")
	if v := l.yes("judged"); v != nil {
		s.Judged = *v
	}
	s.Condition = l.count("condition", 0, 5)
	s.Distance, s.Unit = l.number("distance", "km or mi"), l.word("distance unit")
	s.Running, s.Documented = l.yes("running"), l.yes("documented")
	return []registry.Body{s}
}
