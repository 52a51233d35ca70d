package registry

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// libraryRules are the rules with a small symptom library and the checks of a
// gate.
func withLibrary(b *bench) {
	b.rules.Cautions = map[string]bool{"ht-1": true}
	b.rules.Observations = map[string]ObservationRule{"no-spark": {}, "condenser-leak": {Unit: "MΩ", Low: 50, High: 2000}}
	b.rules.Causes = map[string][]string{"condenser": {"ignition.magneto"}, "horn-short": {"electrical.horn"}}
	b.rules.Tests = map[string][]string{"listen": {"electrical.horn"}, "gap": {"ignition.magneto"}}
	b.rules.Reveals = map[string]string{"gap": "condenser-leak"}
}

func findings(b *bench) {
	worked(b)
	withLibrary(b)
}

func aFinding(id, observation string, seen bool) *Finding {
	return &Finding{Common: Common{ID: id}, Fault: "spark", Observation: observation, Seen: seen, By: "tamsin"}
}

func TestDecideFinding(t *testing.T) {
	reading := func(value float64, unit string) func(*Finding) {
		return func(f *Finding) { f.Reading = &Reading{Quantity: "insulation", Value: value, Unit: unit} }
	}
	leak := func(change ...func(*Finding)) func(*bench) Body {
		return with(aFinding("f", "condenser-leak", true), change...)
	}
	runCases(t, []ruleCase{
		{name: "seen", stage: findings, act: with(aFinding("f", "no-spark", true))},
		{name: "unknown observation", stage: findings, act: with(aFinding("f", "no-sparkle", true)), code: CodeInvalid, word: "no such observation"},
		{name: "unknown cause", stage: findings, act: with(&Finding{Common: Common{ID: "f"}, Fault: "spark", Cause: "moths", By: "tamsin"}), code: CodeInvalid, word: "no such cause"},
		{name: "a cause of a part that the machine never had", stage: findings, act: with(&Finding{Common: Common{ID: "f"}, Fault: "spark", Cause: "horn-short", By: "tamsin"}), code: CodeInvalid, word: "never had the part"},
		{name: "a test of a part that the machine never had", stage: findings, act: with(aFinding("f", "no-spark", true), func(f *Finding) { f.Test = "listen" }), code: CodeInvalid, word: "never had the part"},
		{name: "a test of something else", stage: findings, act: with(aFinding("f", "no-spark", true), func(f *Finding) { f.Test = "gap" }), code: CodeInvalid, word: "answers another observation"},
		{name: "an unknown test", stage: findings, act: with(aFinding("f", "no-spark", true), func(f *Finding) { f.Test = "sniff" }), code: CodeInvalid, word: "no such test"},
		{name: "the other way round", stage: findings, more: bodies(aFinding("f0", "no-spark", true)), act: with(aFinding("f", "no-spark", false)), code: CodeConflict, word: "f0"},
		{name: "the same again", stage: findings, more: bodies(aFinding("f0", "no-spark", true)), act: with(aFinding("f", "no-spark", true))},
		{name: "the other way round as a correction", stage: findings, more: bodies(aFinding("f0", "no-spark", true)),
			act: with(aFinding("f", "no-spark", false), func(f *Finding) { f.Supersedes = "f0" })},
		{name: "the other way round after work", stage: findings, more: bodies(aFinding("f0", "no-spark", true), careWorkOf("dust")), act: with(aFinding("f", "no-spark", false)),
			then: func(t *testing.T, b *bench) {
				got := b.d.Findings("spark")
				require.Len(t, got, 1)
				require.Equal(t, "f", got[0].RecordID())
			}},
		{name: "a usual reading", stage: findings, act: leak(reading(400, "MΩ"))},
		{name: "a reading without a unit", stage: findings, act: leak(reading(400, "")), code: CodeInvalid, word: "no unit"},
		{name: "a reading in another unit", stage: findings, act: leak(reading(400, "kΩ")), code: CodeInvalid, word: "another unit"},
		{name: "a reading a thousand times off", stage: findings, act: leak(reading(0.04, "MΩ")), code: CodeRefused, word: "a thousand times off"},
		{name: "a reading that would be usual in kilohm", stage: findings, act: leak(reading(400000, "MΩ")), code: CodeRefused, word: "a thousand times off"},
		{name: "a reading that would be usual in gigohm", stage: findings, act: leak(reading(0.2, "MΩ")), code: CodeRefused, word: "a thousand times off"},
		{name: "a reading somewhat off", stage: findings, act: leak(reading(20, "MΩ"))},
		{name: "the same, looked at again", stage: findings, act: leak(reading(0.04, "MΩ"), func(f *Finding) { f.Sure = true })},
	})
}

// aMap has three holes; the screw of hole 2 is 4 mm longer.
func aMap() *FastenerMap {
	return &FastenerMap{Common: Common{ID: "map"}, Opening: "cover", By: "tamsin", Fasteners: []Fastener{
		{Hole: "1", X: 0.1, Y: 0.1, Length: 38, Hand: "right", Felt: "normal"},
		{Hole: "2", X: 0.9, Y: 0.1, Length: 42, Hand: "right", Felt: "tight"},
		{Hole: "3", X: 0.5, Y: 0.9, Hand: "left", Felt: "normal", Note: "not measured"}}}
}

// like is aMap with other fasteners.
func like(change func([]Fastener)) *FastenerMap {
	m := aMap()
	change(m.Fasteners)
	return m
}

func aClosing(back ...FastenerBack) *Closed {
	return &Closed{Common: Common{ID: "closed"}, Opening: "cover", Map: "map", Back: back, By: "tamsin"}
}

func TestDecideClosed(t *testing.T) {
	all := []FastenerBack{{Hole: "1", From: "1"}, {Hole: "2", From: "2"}, {Hole: "3", From: "3"}}
	mapped := bodies(aMap())
	runCases(t, []ruleCase{
		{name: "it balances", stage: worked, more: mapped, act: with(aClosing(all...))},
		{name: "two of one length changed places", stage: worked, more: bodies(like(func(f []Fastener) { f[2].Length, f[2].Hand = 38.5, "right" })), act: with(aClosing(FastenerBack{Hole: "1", From: "3"}, FastenerBack{Hole: "2", From: "2"}, FastenerBack{Hole: "3", From: "1"}))},
		{name: "a left hand in a right-hand hole", stage: worked, more: bodies(like(func(f []Fastener) { f[2].Length = 38 })), act: with(aClosing(FastenerBack{Hole: "1", From: "3"}, all[1], FastenerBack{Hole: "3", From: "1"})), code: CodeRefused, word: "has a left-hand thread, and hole 1 a right-hand one"},
		{name: "another thread", stage: worked, more: bodies(like(func(f []Fastener) { f[2] = f[0]; f[2].Hole, f[2].Thread, f[0].Thread = "3", "1/4 cycle", "1/4 fine" })), act: with(aClosing(FastenerBack{Hole: "1", From: "3"}, all[1], FastenerBack{Hole: "3", From: "1"})), code: CodeRefused, word: "is 1/4 cycle, and hole 1 takes 1/4 fine"},
		{name: "one that was not measured, elsewhere", stage: worked, more: bodies(like(func(f []Fastener) { f[2].Hand = "right" })), act: with(aClosing(FastenerBack{Hole: "1", From: "3"}, all[1], FastenerBack{Hole: "3", From: "1"})), code: CodeRefused, word: "measure both"},
		{name: "too short to hold", stage: worked, more: mapped, act: with(aClosing(all[0], FastenerBack{Hole: "2", New: "slotted", Length: 30}, all[2])), code: CodeRefused, word: "too few threads"},
		{name: "a new one in a hole that was not measured", stage: worked, more: mapped, act: with(aClosing(all[0], all[1], FastenerBack{Hole: "3", New: "slotted", Length: 999})), code: CodeRefused, word: "measure both"},
		{name: "a stripped one", stage: worked, more: bodies(like(func(f []Fastener) { f[1].Felt = "stripped" })), act: with(aClosing(all...)), code: CodeRefused, word: "came out stripped"},
		{name: "a second map", stage: worked, more: mapped, act: with(like(func(f []Fastener) {}), func(m *FastenerMap) { m.ID = "half" }), code: CodeConflict, word: "mapped already"},
		{name: "a second map as a correction", stage: worked, more: mapped, act: with(like(func(f []Fastener) {}), func(m *FastenerMap) { m.ID, m.Supersedes = "half", "map" })},
		{name: "one missing", stage: worked, more: mapped, act: with(aClosing(all[:2]...)), code: CodeRefused, word: "no fastener is in hole 3; the fastener of hole 3 went nowhere"},
		{name: "one left over", stage: worked, more: mapped, act: with(aClosing(all...), func(c *Closed) { c.LeftOver = 1 }), code: CodeRefused, word: "1 are left over"},
		{name: "the long one in a short hole", stage: worked, more: mapped, act: with(aClosing(FastenerBack{Hole: "1", From: "2"}, FastenerBack{Hole: "2", From: "1"}, all[2])), code: CodeRefused, word: "42 mm long, and the one that was there 38 mm"},
		{name: "a new one that is too long", stage: worked, more: mapped, act: with(aClosing(FastenerBack{Hole: "1", New: "slotted", Length: 41}, all[1], all[2])), code: CodeRefused, word: "41 mm long"},
		{name: "a new one", stage: worked, more: mapped, act: with(aClosing(FastenerBack{Hole: "1", New: "slotted", Length: 38}, all[1], all[2]))},
		{name: "twice in one hole", stage: worked, more: mapped, act: with(aClosing(all[0], FastenerBack{Hole: "1", From: "2"}, all[2])), code: CodeRefused, word: "two fasteners are said to be in hole 1"},
		{name: "one used twice", stage: worked, more: mapped, act: with(aClosing(all[0], FastenerBack{Hole: "2", From: "1"}, all[2])), code: CodeRefused, word: "hole 1 is used twice"},
		{name: "a hole that is not there", stage: worked, more: mapped, act: with(aClosing(append(all, FastenerBack{Hole: "9", From: "8"})...)), code: CodeRefused, word: `no hole "9"`},
		{name: "done already", stage: worked, more: mapped, act: with(aClosing(all[:2]...), func(c *Closed) { c.AlreadyDone = true }),
			then: func(t *testing.T, b *bench) {
				c, _ := Get[*Closed](b.d, "closed")
				require.Equal(t, []string{"no fastener is in hole 3", "the fastener of hole 3 went nowhere"}, c.Record.Differs)
			}},
		{name: "never opened", stage: approved, more: mapped, act: with(aClosing(all...)), code: CodeRefused, word: "was not opened"},
		{name: "two holes of one number", stage: worked, act: with(aMap(), func(m *FastenerMap) { m.Fasteners[1].Hole = "1" }), code: CodeInvalid, word: "same number"},
	})
}

func TestDecideParts(t *testing.T) {
	number := func(id, n, then string) *PartNumber {
		return &PartNumber{Common: Common{ID: id}, Number: n, What: "brake shoe", ReplacedBy: then, Source: "list of 1957", By: "tamsin"}
	}
	stock := &StockPart{Common: Common{ID: "stock"}, What: "Magneto,  new old stock", Origin: "new-old-stock", Source: "a jumble", By: "tamsin", Evidence: []string{"box"}}
	fitted := func(f Fitted) func(*bench) Body {
		return with(swapWork("work-1", "90"), func(w *Work) { f.Component = "ignition.magneto"; w.Fitted = []Fitted{f} })
	}
	runCases(t, []ruleCase{
		{name: "a number", stage: takenIn, act: with(number("a", "D-1147", "D-2210"))},
		{name: "a number twice", stage: takenIn, more: bodies(number("a", "D-1147", "")), act: with(number("b", "d 1147", "")), code: CodeConflict, word: "on record already"},
		{name: "a number corrected", stage: takenIn, more: bodies(number("a", "D-1147", "")), act: with(number("b", "D-1147", "D-9"), func(p *PartNumber) { p.Supersedes = "a" })},
		{name: "it replaces itself", stage: takenIn, act: with(number("a", "D-1147", "D1147")), code: CodeInvalid, word: "replaces itself"},
		{name: "numbers in a circle", stage: takenIn, more: bodies(number("a", "1", "2"), number("b", "2", "3")), act: with(number("c", "3", "1")), code: CodeInvalid, word: "in a circle: 3, 1, 2, 3"},
		{name: "a price for what was not found", stage: takenIn, act: with(&Search{Common: Common{ID: "s"}, What: "magneto", Where: "a jumble", Asked: pounds("5"), By: "tamsin"}), code: CodeInvalid, word: "Nothing was found"},
		{name: "a search in the future", stage: takenIn, act: with(&Search{Common: Common{ID: "s", Valid: "2099"}, What: "magneto", Where: "a jumble", By: "tamsin"}), code: CodeInvalid, word: "future"},
		{name: "old stock without evidence", stage: opened, act: fitted(Fitted{Part: "magneto", Origin: "new-old-stock"}), code: CodeRefused, word: "no evidence of where it is from"},
		{name: "old stock from the shelf with evidence", stage: opened, more: bodies(evidence("box", "ignition.magneto"), stock), act: fitted(Fitted{Part: "magneto", Origin: "new-old-stock", Stock: "stock"}),
			then: func(t *testing.T, b *bench) { require.Empty(t, b.d.Stock()) }},
		{name: "in stock is in hand", stage: opened, more: bodies(evidence("box", "ignition.magneto"), stock), act: with(aPhoto("p")),
			then: func(t *testing.T, b *bench) {
				require.True(t, b.d.InStock("magneto, new old stock"))
				require.False(t, b.d.InStock("magneto"))
			}},
	})
}

func TestDecideOutlook(t *testing.T) {
	leaving := func(change ...func(*Leaving)) func(*bench) Body {
		return with(&Leaving{Common: Common{ID: "leave"}, Fault: "rust", Then: "it weeps", Source: "pit gauge", By: "tamsin",
			Pit: &Pit{Depth: 0.65, Error: 0.08, Wall: 0.9, Age: 38, Exponent: Likely{0.3, 0.5, 0.7}}}, change...)
	}
	risk := func(change ...func(*Risk)) func(*bench) Body {
		return with(&Risk{Common: Common{ID: "risk"}, Option: "paint", Source: "own log", By: "tamsin", Outcomes: []RiskOutcome{
			{What: "no harm", Chance: ptr(0.9), IndexLoss: ptr(0.0)}, {What: "finish lost", Chance: ptr(0.1), IndexLoss: ptr(0.08)}}}, change...)
	}
	runCases(t, []ruleCase{
		{name: "leaving", stage: weighed, act: leaving()},
		{name: "a pit that is through", stage: weighed, act: leaving(func(l *Leaving) { l.Pit.Depth = 0.9 }), code: CodeInvalid, word: "through the wall"},
		{name: "no figure", stage: weighed, act: leaving(func(l *Leaving) { l.Pit = nil }), code: CodeInvalid, word: "no figure"},
		{name: "out of order", stage: weighed, act: leaving(func(l *Leaving) { l.Pit.Exponent = Likely{0.7, 0.5, 0.3} }), code: CodeInvalid, word: "not in order"},
		{name: "of no fault", stage: weighed, act: leaving(func(l *Leaving) { l.Fault = "noise" }), code: CodeInvalid, word: "no fault"},
		{name: "a risk", stage: weighed, act: risk()},
		{name: "chances that do not sum to 1", stage: weighed, act: risk(func(r *Risk) { r.Outcomes[0].Chance = ptr(0.5) }), code: CodeInvalid, word: "sum to 1"},
		{name: "chances without a source", stage: weighed, act: risk(func(r *Risk) { r.Source = "" }), code: CodeInvalid, word: "have no source"},
		{name: "two losses", stage: weighed, act: risk(func(r *Risk) { m := pounds("5"); r.Outcomes[0].Money = &m }), code: CodeInvalid, word: "two losses"},
		{name: "listed without chances", stage: weighed, act: risk(func(r *Risk) { r.Source = ""; r.Outcomes = []RiskOutcome{{What: "finish lost"}} })},
	})
}

func TestDecideRechecks(t *testing.T) {
	usage := func(id string, miles float64, cycles int) *Usage {
		return &Usage{Common: Common{ID: id}, Distance: miles, DistanceUnit: "mi", HeatCycles: cycles, By: "tamsin"}
	}
	due := &RecheckDue{Common: Common{ID: "five"}, What: "chain", AfterDistance: 8.046720, DistanceUnit: "km", By: "tamsin"} // 5 miles
	hot := &RecheckDue{Common: Common{ID: "hot"}, What: "head nuts", AfterHeatCycles: 1, By: "tamsin"}
	later := &RecheckDue{Common: Common{ID: "later"}, What: "tyres", On: "2031-05", By: "tamsin"}
	runCases(t, []ruleCase{
		{name: "usage", stage: takenIn, act: with(usage("u", 3, 1))},
		{name: "less than before", stage: takenIn, more: bodies(usage("u0", 3, 1)), act: with(usage("u", 2, 1)), code: CodeInvalid, word: "less than before"},
		{name: "less, as a correction", stage: takenIn, more: bodies(usage("u0", 3, 1)), act: with(usage("u", 2, 1), func(u *Usage) { u.Supersedes = "u0" })},
		{name: "no time at all", stage: takenIn, act: with(&RecheckDue{Common: Common{ID: "r"}, What: "chain", By: "tamsin"}), code: CodeInvalid, word: "when to look again"},
		{name: "counted from when it was recorded", stage: takenIn, more: bodies(usage("u0", 3, 1), due, hot, later, usage("u1", 7.5, 1)), act: with(aPhoto("p")),
			then: func(t *testing.T, b *bench) {
				got := b.d.Due("2026-05-01")
				require.Len(t, got, 3)
				require.InDelta(t, 0.5, got[0].MilesLeft, 1e-9)
				require.Equal(t, 1, got[1].HeatCyclesLeft)
				require.False(t, got[0].Now || got[1].Now || got[2].Now)
				require.True(t, b.d.Due("2031-06-01")[2].Now)
				b.do(usage("u2", 8, 2))
				got = b.d.Due("2026-05-01")
				require.True(t, got[0].Now && got[1].Now)
				done := aCheck("done", "passed")
				done.Recheck = "five"
				b.do(done)
				require.Len(t, b.d.Due("2026-05-01"), 2)
			}},
		{name: "a caution that is none", stage: findings, act: with(&Acknowledgement{Common: Common{ID: "a"}, Caution: "x-9", For: "cover", By: "tamsin"}), code: CodeInvalid, word: "no such caution"},
		{name: "a caution read", stage: findings, act: with(&Acknowledgement{Common: Common{ID: "a"}, Caution: "ht-1", For: "cover", By: "tamsin"})},
		{name: "a caution for nothing", stage: findings, act: with(&Acknowledgement{Common: Common{ID: "a"}, Caution: "ht-1", For: "tea", By: "tamsin"}), code: CodeInvalid, word: "no such option or opening"},
	})
}

// A gate that names its checks is passed by those alone.
func TestGatesOwnChecks(t *testing.T) {
	stage := func(b *bench) {
		tagged(b)
		for i := range b.rules.Gates {
			if b.rules.Gates[i].Checks > 0 {
				b.rules.Gates[i].Kinds = []string{"full-turn"}
			}
		}
		for _, g := range b.rules.Gates {
			if g.Checks > 0 {
				break
			}
			b.do(gate(g.ID))
		}
	}
	first := func(b *bench) string {
		for _, g := range b.rules.Gates {
			if g.Checks > 0 {
				return g.ID
			}
		}
		return ""
	}
	check := func(of string) *Check {
		c := aCheck("c", "passed", "ignition.magneto")
		c.Of = of
		return c
	}
	runCases(t, []ruleCase{
		{name: "its own", stage: stage, more: bodies(check("full-turn")), act: func(b *bench) Body { return gate(first(b), "c") }},
		{name: "another", stage: stage, more: bodies(check("")), act: func(b *bench) Body { return gate(first(b), "c") }, code: CodeRefused, word: "none of this gate's (full-turn)"},
		{name: "a check of no gate", stage: stage, act: with(check("wheels-spin")), code: CodeInvalid, word: "No gate asks"},
	})
}

func TestNoMachineIsFromTheFuture(t *testing.T) {
	b := newBench(t)
	m := aMachine()
	m.Year = "2099"
	require.ErrorContains(t, b.try(m), "from the future")
}
