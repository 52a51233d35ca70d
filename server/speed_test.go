package server

import (
	"testing"

	"example.org/asfound/workshop"
)

// pagesTimed are pages of a machine.
var pagesTimed = []string{"", "/story", "/criteria", "/options", "/plan", "/faults"}

// BenchmarkFirstPages gives each page to its first reader: the record is in
// memory, and its report is not. The report is shared by the pages that come
// after.
func BenchmarkFirstPages(b *testing.B) {
	x := worked(b)
	for _, name := range pagesTimed {
		b.Run("machine"+name, func(b *testing.B) {
			for b.Loop() {
				x.s.reports, x.s.criteria = &reportCache{}, &latest[*workshop.CriteriaReport]{}
				emptied(x)
				x.get("/machines/drover-1957" + name)
			}
		})
	}
}

// BenchmarkPagesMade gives each page to a reader of another language or account:
// the report is there, and the page is not.
func BenchmarkPagesMade(b *testing.B) {
	x := worked(b)
	for _, name := range pagesTimed {
		b.Run("machine"+name, func(b *testing.B) {
			x.get("/machines/drover-1957" + name)
			for b.Loop() {
				emptied(x)
				x.get("/machines/drover-1957" + name)
			}
		})
	}
}

// BenchmarkPagesAgain gives each page to its next reader.
func BenchmarkPagesAgain(b *testing.B) {
	x := worked(b)
	for _, name := range pagesTimed {
		b.Run("machine"+name, func(b *testing.B) {
			x.get("/machines/drover-1957" + name)
			for b.Loop() {
				x.get("/machines/drover-1957" + name)
			}
		})
	}
}
