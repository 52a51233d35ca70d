package workshop

import (
	"fmt"

	"example.org/asfound/registry"
)

// tellBench says in one sentence what was recorded while a fault was looked for
// and put right.
func (b *builder) tellBench(e *registry.Entry) string {
	switch x := e.Body.(type) {
	case *registry.Finding:
		what := x.Cause
		if c, ok := b.w.Catalog.Cause(x.Cause); ok {
			what = c.Title
		}
		if o, ok := b.w.Catalog.Observation(x.Observation); ok {
			what = o.Title
		} else if x.Observation != "" {
			what = x.Observation
		}
		if !x.Seen {
			what = "not so: " + what
		}
		if r := x.Reading; r != nil {
			what += fmt.Sprintf(", %s %s", r.Quantity, Reading(r.Value, r.Uncertainty, r.Unit))
		}
		return "found in looking for the cause: " + what
	case *registry.Acknowledgement:
		return fmt.Sprintf("caution %s read before %s", x.Caution, x.For)
	case *registry.Step:
		return fmt.Sprintf("step of %s: %s", x.Option, x.Did)
	case *registry.FastenerMap:
		return fmt.Sprintf("fasteners of %s mapped: %d holes", b.openingTitle(x.Opening), len(x.Fasteners))
	case *registry.Closed:
		if len(x.Differs) > 0 {
			return fmt.Sprintf("closed: %s; its fasteners do not balance", b.openingTitle(x.Opening))
		}
		return fmt.Sprintf("closed: %s; every fastener is back", b.openingTitle(x.Opening))
	}
	return string(e.Kind)
}

// tellPart says in one sentence what was recorded of parts.
func tellPart(e *registry.Entry) string {
	switch x := e.Body.(type) {
	case *registry.Search:
		switch {
		case !x.Found:
			return fmt.Sprintf("looked for %s, %s: none", x.What, x.Where)
		case x.Asked.IsZero():
			return fmt.Sprintf("looked for %s, %s: seen", x.What, x.Where)
		}
		return fmt.Sprintf("looked for %s, %s: seen, at %s", x.What, x.Where, x.Asked)
	case *registry.StockPart:
		return fmt.Sprintf("in stock: %s, from %s", x.What, x.Source)
	case *registry.PartNumber:
		if x.ReplacedBy != "" {
			return fmt.Sprintf("part number %s: %s, later %s", x.Number, x.What, x.ReplacedBy)
		}
		return fmt.Sprintf("part number %s: %s", x.Number, x.What)
	}
	return string(e.Kind)
}
