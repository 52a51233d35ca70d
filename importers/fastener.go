package importers

import (
	"errors"
	"io"

	"example.org/asfound/registry"
)

// fastenerTable is the map of one cover's fasteners: one row a hole. Its rows
// are together one record, which names the opening.
func fastenerTable() Table {
	return Table{Name: "fasteners", Title: "Fasteners of one cover, as found", Columns: []Column{
		{Heading: "hole", Also: []string{"number", "no"}, Pointer: "/hole", Needed: true, Takes: "the number of the hole on the map", Example: "1"},
		{Heading: "x", Also: []string{"from left"}, Pointer: "/x", Needed: true, Takes: "where it lies, in per cent of the picture's width from the left, 0 to 100", Example: "12"},
		{Heading: "y", Also: []string{"from top"}, Pointer: "/y", Needed: true, Takes: "where it lies, in per cent of the picture's height from the top, 0 to 100", Example: "40"},
		{Heading: "length", Also: []string{"length mm", "length under the head"}, Pointer: "/length", Takes: "length under the head in mm; empty when it was not measured", Example: "42"},
		{Heading: "head", Also: []string{"head and recess"}, Pointer: "/head", Takes: "form of the head and its recess, in words", Example: "cheese, slotted"},
		{Heading: "washer", Also: []string{"washers"}, Pointer: "/washer", Takes: "what lay under the head", Example: "fibre"},
		{Heading: "thread", Pointer: "/thread", Takes: "its thread, as measured", Example: "1/4 BSF"},
		example(termColumn("hand", "/hand", registry.Hands(), "hand of thread"), "right"),
		example(termColumn("felt", "/felt", registry.Felts(), "feel"), "normal"),
		noteColumn(),
	},
		identify: func(l *line) []identity {
			return []identity{{l.recordKey("hole " + l.text("hole")), "hole", "two rows have one hole; number each once"}}
		},
		build: func(*line) []registry.Body { return nil },
	}
}

// FastenerDraft is one row of a fastener map.
type FastenerDraft struct {
	Draft    // Body is always nil
	Fastener registry.Fastener
}

// ReadFasteners gives the fasteners of a map, in the manner of Source.Each. What
// was not tried, or not written down, is "not-tried": the hand of a thread is
// as found, and never taken for granted.
func ReadFasteners(r io.ReadSeeker, o Options, take func(FastenerDraft) error) (report Report, err error) {
	table, _ := TableNamed("fasteners")
	var f registry.Fastener
	table.build = func(l *line) []registry.Body {
		f = registry.Fastener{Hole: l.text("hole"), X: l.percent("x"), Y: l.percent("y"), Head: l.text("head"), Washer: l.text("washer"),
			Thread: l.text("thread"), Note: l.text("note")}
		if f.Hole == "" {
			l.fault("hole", "a number or letter", "The hole has no number", "Write the number that stands on the map.")
		}
		if v := l.number("length", "mm"); v != nil {
			if f.Length = *v; f.Length < 0 || f.Length > longestFastener {
				l.fault("length", "0 to 1000 mm", "No fastener is so long", "Write the length under the head in mm.")
			}
		}
		if f.Hand = l.term("hand", registry.Hands(), "not-tried"); f.Hand == "" {
			f.Hand = "not-tried"
		}
		if f.Felt = l.term("felt", registry.Felts(), "not-tried"); f.Felt == "" {
			f.Felt = "not-tried"
		}
		return nil
	}
	o.Workers = 1 // f is shared with take
	s, err := openSheet(table, r, o)
	if err != nil {
		return Report{}, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	err = s.Each(func(d Draft) error {
		d.Body = nil
		return take(FastenerDraft{Draft: d, Fastener: f})
	})
	return s.Report(), err
}

// longestFastener is more than any on a motorcycle, in mm.
const longestFastener = 1000

// percent reads a place from 0 to 100 per cent as a share.
func (l *line) percent(heading string) float64 {
	const allowed = "0 to 100"
	v := l.number(heading, "per cent")
	switch {
	case v == nil:
		if l.text(heading) == "" {
			l.fault(heading, allowed, "It is not said where the hole lies", "Write the per cent of the picture's width or height.")
		}
		return 0
	case *v < 0 || *v > 100:
		l.fault(heading, allowed, "The place lies outside the picture", "Write the per cent of the picture's width or height.")
		return 0
	}
	return *v / 100
}
