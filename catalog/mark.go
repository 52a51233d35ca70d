package catalog

import (
	"maps"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// StampScheme is one way of writing a date on a part.
type StampScheme struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Fields are what the figures mean in their order: month, quarter, week,
	// year, or letter for a year by Letters.
	Fields  []string           `json:"fields"`
	Century float64            `json:"century"`
	Letters map[string]float64 `json:"letters,omitempty"`
	Basis
}

func (s StampScheme) key() string { return s.ID }
func (s StampScheme) clone() StampScheme {
	s.Fields, s.Letters = slices.Clone(s.Fields), maps.Clone(s.Letters)
	return s
}

// StampSchemes lists them.
func (c *Catalog) StampSchemes() []StampScheme { return c.schemes.all() }

// Misreading is two characters that are taken for one another.
type Misreading struct {
	Characters string  `json:"characters"`
	P          float64 `json:"p"`
	Basis
}

func (m Misreading) key() string       { return m.Characters }
func (m Misreading) clone() Misreading { return m }

// Misreadings lists them.
func (c *Catalog) Misreadings() []Misreading { return c.misreadings.all() }

// NumberSeries is one run of frame or engine numbers of a maker. The house
// knows none: packs do.
type NumberSeries struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	Make  string `json:"make"`
	Where string `json:"where"` // such as frame or engine
	// Form is what such a number looks like: # a figure, @ a letter, a + at the
	// end more figures, anything else itself.
	Form string `json:"form"`
	// Batch is how many were built together; 0 if nobody knows.
	Batch   float64        `json:"batch,omitempty"`
	Ranges  []NumberRange  `json:"ranges,omitempty"`
	Anchors []SerialAnchor `json:"anchors,omitempty"`
	Basis
}

// NumberRange is the numbers of one type over some years.
type NumberRange struct {
	Type  string  `json:"type"`
	First float64 `json:"first"`
	Last  float64 `json:"last"`
	From  float64 `json:"from_year"`
	To    float64 `json:"to_year"`
}

// SerialAnchor is a number with the day on which it left the works.
type SerialAnchor struct {
	Serial float64 `json:"serial"`
	Date   string  `json:"date"`
	Kind   string  `json:"kind"` // dispatch or build
}

func (n NumberSeries) key() string { return n.ID }
func (n NumberSeries) clone() NumberSeries {
	n.Ranges, n.Anchors = slices.Clone(n.Ranges), slices.Clone(n.Anchors)
	return n
}

// NumberSeriesList lists what is known of numbers.
func (c *Catalog) NumberSeriesList() []NumberSeries { return c.numberSeries.all() }

// BenchAssumption is one number that measurements at the bench assume.
type BenchAssumption struct {
	ID    string  `json:"id"`
	Title string  `json:"title"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	Basis
}

func (a BenchAssumption) key() string            { return a.ID }
func (a BenchAssumption) clone() BenchAssumption { return a }

// BenchAssumptions lists them.
func (c *Catalog) BenchAssumptions() []BenchAssumption { return c.bench.all() }

// benchRanges are the assumptions that there must be, and what each may be.
var benchRanges = map[string][2]float64{
	"thread-under": {0, 2}, "thread-od-sd": {0.001, 2}, "thread-pitch-sd": {0.0001, 1}, "thread-angle-sd": {0.01, 30},
	"stamp-prior": {0, 1}, "stamp-lag-shape": {0.1, 100}, "stamp-lag-mean": {0.01, 600}, "stamp-leak": {0.0001, 0.5}, "stamp-span": {1, 2400},
	"serial-batch": {1, 1e6}, "serial-level": {0.01, 0.999}, "torque-share": {0.05, 0.9},
}

func (b *builder) checkMarks() {
	for _, x := range b.c.schemes.rows {
		s := b.spot("stamp_schemes", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.between("/century", x.Century, 1800, 2100)
		years := 0
		for i, f := range x.Fields {
			s.oneOf("/fields/"+number(float64(i)), f, "month", "quarter", "week", "year", "letter")
			if f == "year" || f == "letter" {
				years++
			}
		}
		if years != 1 || len(x.Fields) > 2 {
			s.add("/fields", strings.Join(x.Fields, ", "), "one year or letter, and at most one other field", "A scheme names one year", "Mend the fields.")
		}
		for _, l := range sortedKeys(x.Letters) {
			s.between("/letters/"+escape(l), x.Letters[l], 1800, 2100)
		}
	}
	for _, x := range b.c.misreadings.rows {
		s := b.spot("misreadings", x.Characters)
		s.rests(x.Basis)
		s.between("/p", x.P, 0, 0.5)
		if len(x.Characters) != 2 || utf8.RuneCountInString(x.Characters) != 2 || x.Characters[0] == x.Characters[1] {
			s.add("/characters", quote(x.Characters), "two figures or capital letters", "A misreading is of two characters", "Write both, such as 38.")
		}
	}
	for _, x := range b.c.numberSeries.rows {
		s := b.spot("number_series", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.text("/make", x.Make)
		s.text("/where", x.Where)
		s.text("/form", x.Form)
		s.between("/batch", x.Batch, 0, 1e6)
		for i, r := range x.Ranges {
			at := "/ranges/" + number(float64(i))
			s.text(at+"/type", r.Type)
			s.between(at+"/last", r.Last, r.First, 1e9)
			s.between(at+"/to_year", r.To, r.From, 2100)
		}
		for i, a := range x.Anchors {
			at := "/anchors/" + number(float64(i))
			s.oneOf(at+"/kind", a.Kind, "dispatch", "build")
			if _, err := time.Parse(time.DateOnly, a.Date); err != nil {
				s.add(at+"/date", quote(a.Date), "a day as 1957-06-30", "This is no day", "Write year, month and day.")
			}
		}
	}
	for _, x := range b.c.bench.rows {
		s := b.spot("bench", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.text("/unit", x.Unit)
		r, known := benchRanges[x.ID]
		if !known {
			s.add("/id", quote(x.ID), strings.Join(sortedKeys(benchRanges), ", "), "Nothing at the bench assumes this number", "Use one of the listed ids.")
			continue
		}
		s.between("/value", x.Value, r[0], r[1])
	}
	for _, id := range sortedKeys(benchRanges) {
		if !b.c.bench.has(id) {
			b.spot("bench", id).add("", "nothing", "", "An assumption of the bench is missing", "")
		}
	}
}
