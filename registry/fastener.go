package registry

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// FastenerMap says which fastener came from which hole of a cover, drawn over a
// picture or a blank outline.
type FastenerMap struct {
	Common
	Opening string `json:"opening"`
	Photo   string `json:"photo,omitempty"`
	// Fasteners in the order of the map.
	Fasteners []Fastener `json:"fasteners"`
	By        string     `json:"by"`
}

// Fastener is one of them, as found.
type Fastener struct {
	Hole string `json:"hole"` // the number on the map
	// X and Y are where the hole lies, 0 to 1 from the left and the top.
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
	Length float64 `json:"length,omitempty"` // under the head, mm; 0 when not measured
	Head   string  `json:"head,omitempty"`
	Washer string  `json:"washer,omitempty"`
	Thread string  `json:"thread,omitempty"`
	Hand   string  `json:"hand"` // right, left or not-tried, as found
	Felt   string  `json:"felt"` // normal, tight, loose, stripped, not-tried
	Note   string  `json:"note,omitempty"`
}

// Hands of a thread.
func Hands() []Term {
	return []Term{{"right", "tightens clockwise"}, {"left", "tightens anticlockwise"}, {"not-tried", "not turned yet"}}
}

// Felts say how a fastener came out.
func Felts() []Term {
	return []Term{{"normal", "came as it should"}, {"tight", "needed more than it should"}, {"loose", "was not tight"},
		{"stripped", "its thread is damaged"}, {"not-tried", "not turned yet"}}
}

func (*FastenerMap) Kind() Kind { return "fastener-map" }

func (m *FastenerMap) check(fs *faults) {
	fs.id("/opening", m.Opening, false)
	fs.id("/photo", m.Photo, true)
	fs.id("/by", m.By, false)
	if len(m.Fasteners) == 0 {
		fs.add("/fasteners", "", "", "The map holds no fastener", "Draw each hole.")
	}
	seen := map[string]bool{}
	for i, f := range m.Fasteners {
		p := at("/fasteners", i)
		fs.need(p+"/hole", f.Hole, "The hole has no number", "")
		if seen[f.Hole] {
			fs.add(p+"/hole", f.Hole, "", "Two holes have the same number", "Number each once.")
		}
		seen[f.Hole] = true
		fs.probability(p+"/x", f.X)
		fs.probability(p+"/y", f.Y)
		fs.notNegative(p+"/length", f.Length, "mm")
		checkTerm(fs, p+"/hand", f.Hand, Hands())
		checkTerm(fs, p+"/felt", f.Felt, Felts())
	}
}

// Closed records that a cover went back on.
type Closed struct {
	Common
	Opening string `json:"opening"`
	Map     string `json:"map"` // the fastener map by which it was closed
	// Back says which fastener went into which hole.
	Back []FastenerBack `json:"back"`
	// LeftOver counts fasteners that are still on the bench.
	LeftOver int    `json:"left_over"`
	Gasket   string `json:"gasket,omitempty"`
	By       string `json:"by"`
	// AlreadyDone says that it happened before it could be recorded here; what
	// does not balance stays marked in Differs.
	AlreadyDone bool     `json:"already_done,omitempty"`
	Differs     []string `json:"differs,omitempty"` // set by Decide
}

// FastenerBack is one fastener that went back.
type FastenerBack struct {
	Hole string `json:"hole"`
	// From is the hole it came out of; empty for a new one, which has its own
	// length.
	From   string  `json:"from,omitempty"`
	New    string  `json:"new,omitempty"` // what the new one is
	Length float64 `json:"length,omitempty"`
}

func (*Closed) Kind() Kind { return "closed" }

func (c *Closed) check(fs *faults) {
	fs.id("/opening", c.Opening, false)
	fs.id("/map", c.Map, false)
	fs.id("/by", c.By, false)
	fs.notNegative("/left_over", float64(c.LeftOver), "fasteners")
	for i, b := range c.Back {
		p := at("/back", i)
		fs.need(p+"/hole", b.Hole, "It is not said into which hole it went", "")
		if (b.From == "") == (b.New == "") {
			fs.add(p, "", "from or new", "A fastener came from a hole or is new", "")
		}
		fs.notNegative(p+"/length", b.Length, "mm")
	}
}

// tooLong is by how much a fastener may be longer than the one that was in the
// hole, in mm: a difference of 3 mm bottoms in its hole and breaks the boss
// (common practice), and less than this is a washer or the rule.
const tooLong = 1.0

// tooShort is by how much it may be shorter, in mm: two to three threads of the
// usual pitches (an assumption).
const tooShort = 3.0

// foreign says what keeps the fastener of one hole from going into another, or
// back into its own.
func foreign(hole, from Fastener) (differs []string) {
	if from.Felt == "stripped" {
		differs = append(differs, fmt.Sprintf("the fastener of hole %s came out stripped: a sound one goes in", from.Hole))
	}
	if hole.Hole == from.Hole {
		return differs
	}
	tried := func(hand string) bool { return hand == "right" || hand == "left" }
	if tried(hole.Hand) && tried(from.Hand) && hole.Hand != from.Hand {
		differs = append(differs, fmt.Sprintf("the fastener of hole %s has a %s-hand thread, and hole %s a %s-hand one", from.Hole, from.Hand, hole.Hole, hole.Hand))
	}
	if hole.Thread != "" && from.Thread != "" && !SameNeed(hole.Thread, from.Thread) {
		differs = append(differs, fmt.Sprintf("the fastener of hole %s is %s, and hole %s takes %s", from.Hole, from.Thread, hole.Hole, hole.Thread))
	}
	if (hole.Length == 0) != (from.Length == 0) {
		differs = append(differs, fmt.Sprintf("the fasteners of holes %s and %s cannot be held against each other: measure both before they change places", from.Hole, hole.Hole))
	}
	return differs
}

// Balance lists what keeps a cover from being closed by its map: holes without
// a fastener, fasteners without a hole, and long ones in short holes.
func (m *FastenerMap) Balance(c *Closed) (differs []string) {
	holes := map[string]Fastener{}
	for _, f := range m.Fasteners {
		holes[f.Hole] = f
	}
	filled, used := map[string]bool{}, map[string]bool{}
	for _, b := range c.Back {
		hole, known := holes[b.Hole]
		switch {
		case !known:
			differs = append(differs, fmt.Sprintf("the map has no hole %q", b.Hole))
			continue
		case filled[b.Hole]:
			differs = append(differs, fmt.Sprintf("two fasteners are said to be in hole %s", b.Hole))
		}
		filled[b.Hole] = true
		length := b.Length
		if b.New != "" && (length == 0) != (hole.Length == 0) {
			differs = append(differs, fmt.Sprintf("the new fastener of hole %s cannot be held against the old one: measure both", b.Hole))
		}
		if b.From != "" {
			from, known := holes[b.From]
			switch {
			case !known:
				differs = append(differs, fmt.Sprintf("nothing came out of a hole %q", b.From))
			case used[b.From]:
				differs = append(differs, fmt.Sprintf("the fastener of hole %s is used twice", b.From))
			}
			used[b.From] = true
			length = from.Length
			differs = append(differs, foreign(hole, from)...)
		}
		if length > 0 && hole.Length > 0 && length < hole.Length-tooShort {
			differs = append(differs, fmt.Sprintf("the fastener in hole %s is %s mm long, and the one that was there %s mm: too few threads would hold", b.Hole, trim(length), trim(hole.Length)))
		}
		if length > 0 && hole.Length > 0 && length > hole.Length+tooLong {
			differs = append(differs, fmt.Sprintf("the fastener in hole %s is %s mm long, and the one that was there %s mm: it would bottom before it holds", b.Hole, trim(length), trim(hole.Length)))
		}
	}
	var missing, over []string
	for _, f := range m.Fasteners {
		if !filled[f.Hole] {
			missing = append(missing, f.Hole)
		}
		if !used[f.Hole] && !slices.ContainsFunc(c.Back, func(b FastenerBack) bool { return b.Hole == f.Hole && b.New != "" }) {
			over = append(over, f.Hole)
		}
	}
	if len(missing) > 0 {
		differs = append(differs, "no fastener is in hole "+strings.Join(missing, ", "))
	}
	if len(over) > 0 {
		differs = append(differs, "the fastener of hole "+strings.Join(over, ", ")+" went nowhere")
	}
	if c.LeftOver > 0 {
		differs = append(differs, fmt.Sprintf("%d are left over", c.LeftOver))
	}
	return differs
}

// lookalike is by how much two fasteners may differ in length, in mm, and still
// be taken for one another in the hand (common practice; the boundary is
// assumed).
const lookalike = 5.0

// LengthPair is a long fastener that could go into the hole of a shorter one.
type LengthPair struct {
	Long  string  `json:"long"`  // hole of the longer one
	Short string  `json:"short"` // hole of the shorter one
	By    float64 `json:"by_mm"`
}

// EasilySwapped lists the fasteners that would bottom in another's hole and
// differ from its own by so little that they are easily exchanged: by more than
// 1 mm and at most 5. Those of threads that are known to differ do not fit.
func (m *FastenerMap) EasilySwapped() (pairs []LengthPair) {
	for _, long := range m.Fasteners {
		for _, short := range m.Fasteners {
			by := long.Length - short.Length
			if short.Length <= 0 || by <= tooLong || by > lookalike || long.Thread != "" && short.Thread != "" && long.Thread != short.Thread {
				continue
			}
			pairs = append(pairs, LengthPair{long.Hole, short.Hole, math.Round(by*10) / 10})
		}
	}
	return pairs
}

func trim(v float64) string { return fmt.Sprint(math.Round(v*10) / 10) }

// decideClosed: no cover is closed by a map that does not balance.
func decideClosed(d *Dossier, c *Closed) error {
	m, _ := Get[*FastenerMap](d, c.Map)
	if d.current(m.Record.Opening) != d.current(c.Opening) {
		return invalid(c, "/map", c.Map, "a map of this opening", "That map is of another opening", "")
	}
	if !d.IsOpened(c.Opening) {
		return Refuse(CodeRefused, "Record the opening first.", "%q was not opened", c.Opening)
	}
	if before, closed := d.closedSince(c.Opening); closed && before.RecordID() != c.Supersedes {
		return Refuse(CodeConflict, "Correct that record by superseding it, or record that it was opened again.", "%q is closed already, by %q", c.Opening, before.RecordID())
	}
	c.Differs = m.Record.Balance(c)
	if len(c.Differs) > 0 && !c.AlreadyDone {
		return Refuse(CodeRefused, "Find what is missing before the cover goes on; if it is on already, record it as already done.",
			"%q cannot be closed: %s", c.Opening, strings.Join(c.Differs, "; "))
	}
	return nil
}

// closedSince finds the closing of what was opened last, if there is one.
func (d *Dossier) closedSince(opening string) (last Found[*Closed], closed bool) {
	same := func(id string) bool { return d.current(id) == d.current(opening) }
	for _, c := range Live[*Closed](d) {
		if same(c.Record.Opening) {
			last, closed = c, true
		}
	}
	for _, o := range Live[*Opened](d) {
		if closed && same(o.Record.Opening) && o.Version > last.Version {
			return Found[*Closed]{}, false
		}
	}
	return last, closed
}

// decideFastenerMap: one map for each time that a cover is off.
func decideFastenerMap(d *Dossier, m *FastenerMap) error {
	for _, other := range Live[*FastenerMap](d) {
		if d.current(other.Record.Opening) != d.current(m.Opening) || other.RecordID() == m.Supersedes {
			continue
		}
		if !slices.ContainsFunc(Live[*Closed](d), func(c Found[*Closed]) bool { return d.current(c.Record.Map) == other.RecordID() }) {
			return Refuse(CodeConflict, "Correct that map by superseding it: two maps of one cover would let it be closed by half.", "The fasteners of %q are mapped already, as %q", m.Opening, other.RecordID())
		}
	}
	return nil
}
