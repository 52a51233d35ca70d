package registry

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDecideTakingIn(t *testing.T) {
	runCases(t, []ruleCase{
		{name: "the first record takes the machine in", act: with(aMachine()), then: func(t *testing.T, b *bench) {
			m, ok := b.d.MachineRecord()
			require.True(t, ok)
			require.Equal(t, "SD•••••38", m.Numbers[0].Masked)
		}},
		{name: "nothing comes before the machine", act: with(aPerson("imogen", "owner")), code: CodeNotFound, word: "not in the registry"},
		{name: "a second machine under one name", stage: takenIn, act: with(aMachine(), func(m *Machine) { m.ID = "machine-2" }), code: CodeConflict, word: "already in the registry"},
		{name: "a correction of the machine", stage: takenIn, act: with(aMachine(), func(m *Machine) { m.ID, m.Supersedes, m.Year = "machine-2", "machine", "1957-06" })},
		{name: "an identifier twice", stage: takenIn, act: with(aPerson("imogen", "owner")), code: CodeConflict, word: "already there"},
		{name: "an identifier that is no identifier", stage: takenIn, act: with(aPerson("../imogen", "owner")), code: CodeInvalid, word: "identifier"},
		{name: "a correction of nothing", stage: takenIn, act: with(aPerson("x", "owner"), func(p *Person) { p.Supersedes = "nobody" }), code: CodeNotFound, word: "nobody"},
		{name: "a correction of another kind", stage: takenIn, act: with(aPerson("x", "owner"), func(p *Person) { p.Supersedes = "machine" }), code: CodeInvalid, word: "kind"},
		{name: "a correction of what was corrected", stage: takenIn, more: bodies(&Person{Common: Common{ID: "x", Supersedes: "reuben"}, Role: "reader", Name: Private{Value: "n"}}),
			act: with(aPerson("y", "owner"), func(p *Person) { p.Supersedes = "reuben" }), code: CodeConflict, word: "no longer in force"},
		{name: "a second agreement", stage: takenIn, act: with(anAgreement(), func(a *CustodyAgreement) { a.ID = "custody-2" }), code: CodeConflict, word: "already recorded"},
		{name: "a corrected agreement", stage: takenIn, act: with(anAgreement(), func(a *CustodyAgreement) { a.ID, a.Supersedes = "custody-2", "custody" })},
		{name: "an agreement with an unknown owner", stage: func(b *bench) { b.do(aMachine(), aPerson("tamsin", "mechanic")) }, act: with(anAgreement()), code: CodeInvalid, word: "no person"},
		{name: "an inventory item twice", stage: takenIn, act: with(anAgreement(), func(a *CustodyAgreement) {
			a.ID, a.Supersedes, a.Inventory = "custody-2", "custody", append(a.Inventory, a.Inventory[0])
		}), code: CodeInvalid, word: "same identifier"},
		{name: "a negative ceiling", stage: takenIn, act: with(anAgreement(), func(a *CustodyAgreement) {
			a.ID, a.Supersedes, a.Ceiling = "custody-2", "custody", pounds("-1")
		}), code: CodeInvalid, word: "negative"},
		{name: "a currency that is none", stage: takenIn, act: with(anAgreement(), func(a *CustodyAgreement) {
			a.ID, a.Supersedes, a.Ceiling = "custody-2", "custody", money("1", "Gb1")
		}), code: CodeInvalid, word: "currency"},
		{name: "money without currency", stage: takenIn, act: with(anAgreement(), func(a *CustodyAgreement) {
			a.ID, a.Supersedes, a.Ceiling = "custody-2", "custody", money("1", "")
		}), code: CodeInvalid, word: "currency"},
		{name: "a role that is none", stage: takenIn, act: with(aPerson("x", "king")), code: CodeInvalid, word: "vocabulary"},
		{name: "a malformed digest in place of a name", stage: takenIn, act: with(aPerson("x", "owner"), func(p *Person) { p.Name.Digest = "sha256:1" }), code: CodeInvalid, word: "digest"},
		{name: "a day that is not in the calendar", stage: takenIn, act: with(aPerson("x", "owner"), func(p *Person) { p.Valid = "2026-02-30" }), code: CodeInvalid, word: "no such day"},
		{name: "a month that is not in the calendar", stage: takenIn, act: with(aPerson("x", "owner"), func(p *Person) { p.Valid = "2026-13" }), code: CodeInvalid, word: "no such month"},
	})
}

func TestDecideSurvey(t *testing.T) {
	cond := func(n int) func(*Survey) { return func(s *Survey) { s.Condition = &n } }
	runCases(t, []ruleCase{
		{name: "a component", stage: takenIn, act: with(aSurvey("fuel.tank")), then: func(t *testing.T, b *bench) {
			s, ok := b.d.SurveyOf("fuel.tank")
			require.True(t, ok)
			require.Equal(t, Date("2026-03-09"), s.Valid(), "an act without a date was done on the day it is recorded")
		}},
		{name: "an unknown component", stage: takenIn, act: with(aSurvey("fuel.bunker")), code: CodeInvalid, word: "no such component"},
		{name: "another name of a component", stage: takenIn, act: with(aSurvey("petrol tank"), func(s *Survey) { s.ID = "s" }), then: func(t *testing.T, b *bench) {
			_, ok := b.d.SurveyOf("fuel.tank")
			require.True(t, ok, "the record holds the catalog's name")
		}},
		{name: "a component that this type never had", stage: takenIn, act: with(aSurvey("electrical.horn")), code: CodeInvalid, word: "never had"},
		{name: "two parts in one position", stage: surveyed, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.ID = "s2" }), code: CodeConflict, word: "Two parts cannot sit in one position"},
		{name: "two parts in one position, by another name", stage: surveyed, act: with(aSurvey("petrol tank"), func(s *Survey) { s.ID = "s2" }), code: CodeConflict, word: "Two parts"},
		{name: "a correction", stage: surveyed, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.ID, s.Supersedes = "s2", "survey-fuel.tank" })},
		{name: "an entry after the seal", stage: sealed, act: with(aSurvey("wheels.front.tyre")), code: CodeRefused, word: "sealed"},
		{name: "a correction after the seal", stage: sealed, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.ID, s.Supersedes, s.Note = "s2", "survey-fuel.tank", "misread" })},
		{name: "a correction after the seal that is really another entry", stage: sealed,
			act: with(aSurvey("wheels.front.tyre"), func(s *Survey) { s.Supersedes = "survey-fuel.tank" }), code: CodeRefused, word: "cannot move"},
		{name: "a correction before the seal may name another component", stage: surveyed,
			act: with(aSurvey("wheels.front.tyre"), func(s *Survey) { s.Supersedes = "survey-fuel.tank" })},
		{name: "a sign of the catalog", stage: takenIn, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.Signs = []SignSeen{{Sign: "runs-in-paint", Reliability: ptr(0.9)}} })},
		{name: "a sign that is none", stage: takenIn, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.Signs = []SignSeen{{Sign: "smells-right"}} }), code: CodeInvalid, word: "no such sign"},
		{name: "a sign twice", stage: takenIn, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.Signs = []SignSeen{{Sign: "runs-in-paint"}, {Sign: "runs-in-paint"}} }), code: CodeInvalid, word: "twice"},
		{name: "a reliability above one", stage: takenIn, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.Signs = []SignSeen{{Sign: "runs-in-paint", Reliability: ptr(1.1)}} }), code: CodeInvalid, word: "between 0 and 1"},
		{name: "condition 5", stage: takenIn, act: with(aSurvey("fuel.tank"), cond(5))},
		{name: "condition 6", stage: takenIn, act: with(aSurvey("fuel.tank"), cond(6)), code: CodeInvalid, word: "scale"},
		{name: "condition below nothing", stage: takenIn, act: with(aSurvey("fuel.tank"), cond(-1)), code: CodeInvalid, word: "scale"},
		{name: "a finish where an origin belongs", stage: takenIn, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.Origin = "worn" }), code: CodeInvalid, word: "vocabulary"},
		{name: "a photo that is not there", stage: takenIn, act: with(aSurvey("fuel.tank"), func(s *Survey) { s.Photos = []string{"photo-9"} }), code: CodeInvalid, word: "no photo"},
		{name: "a seal", stage: surveyed, act: with(aSeal()), then: func(t *testing.T, b *bench) {
			s, ok := b.d.Seal()
			require.True(t, ok)
			require.Equal(t, b.d.SurveyDigest(), s.Record.Digest)
		}},
		{name: "a seal on nothing", stage: takenIn, act: with(aSeal()), code: CodeRefused, word: "nothing to seal"},
		{name: "a second seal", stage: sealed, act: with(aSeal(), func(s *SurveySeal) { s.ID = "seal-2" }), code: CodeConflict, word: "already recorded"},
		{name: "gaps that nobody signed", stage: surveyed, act: with(aSeal(), func(s *SurveySeal) { s.GapsSignedBy = "" }), code: CodeInvalid, word: "identifier"},
		{name: "a gap without a reason", stage: surveyed, act: with(aSeal(), func(s *SurveySeal) { s.Gaps[0].Why = "" }), code: CodeInvalid, word: "no reason"},
		{name: "a seal withdrawn", stage: sealed, act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "seal", Why: "too soon", By: "tamsin"}), code: CodeRefused, word: "stays sealed"},
		{name: "an entry taken back before the seal", stage: surveyed, act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "survey-fuel.tank", Why: "saved by slip", By: "tamsin"})},
		{name: "an entry taken back after the seal", stage: sealed, act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "survey-fuel.tank", Why: "saved by slip", By: "tamsin"}), code: CodeRefused, word: "cannot be taken out"},
		{name: "a joint", stage: takenIn, act: with(aJoint("cover-screws"))},
		{name: "a joint twice", stage: sealed, act: with(aJoint("cover-screws"), func(j *Joint) { j.ID = "j2" }), code: CodeConflict, word: "already recorded"},
		{name: "a joint corrected", stage: sealed, act: with(aJoint("cover-screws"), func(j *Joint) { j.ID, j.Supersedes, j.Witness = "j2", "joint-cover-screws", "cannot-tell" })},
		{name: "a joint without its sign", stage: takenIn, act: with(aJoint("x"), func(j *Joint) { j.Sign = "" }), code: CodeInvalid, word: "by what sign"},
		{name: "a reading", stage: takenIn, act: with(&Measurement{Common: Common{ID: "m"}, Component: "fuel.tank", Quantity: "film thickness", Value: 62, Unit: "µm", Uncertainty: 3, Instrument: "film gauge", By: "tamsin"})},
		{name: "a reading without a unit", stage: takenIn, act: with(&Measurement{Common: Common{ID: "m"}, Component: "fuel.tank", Quantity: "film thickness", Value: 62, Instrument: "film gauge", By: "tamsin"}), code: CodeInvalid, word: "no unit"},
		{name: "a reading without an instrument", stage: takenIn, act: with(&Measurement{Common: Common{ID: "m"}, Component: "fuel.tank", Quantity: "film thickness", Value: 62, Unit: "µm", By: "tamsin"}), code: CodeInvalid, word: "instrument"},
		{name: "a reading with endless uncertainty", stage: takenIn, act: with(&Measurement{Common: Common{ID: "m"}, Component: "fuel.tank", Quantity: "film thickness", Value: 62, Unit: "µm", Uncertainty: math.Inf(1), Instrument: "film gauge", By: "tamsin"}), code: CodeInvalid, word: "endless"},
	})
}

func TestDecideFitting(t *testing.T) {
	type row struct {
		name, first, second string
		overlap             bool
	}
	for _, c := range []row{
		{"apart", "1957/1960", "1962/..", false},
		{"a shared day belongs to both", "1957-06-14/1961-05-02", "1961-05-02/..", false},
		{"a day too early", "1957-06-14/1961-05-02", "1961-05-01/..", true},
		{"a shared month", "1957-06/1961-05", "1961-05/..", false},
		{"a month too early", "1957-06/1961-05", "1961-04/..", true},
		{"a shared year", "1957/1961", "1961/..", false},
		{"a year too early", "1957/1961", "1960/..", true},
		{"a month within the year of the change", "1957/1961", "1961-05/..", false},
		{"a day within the month of the change", "1957/1961-05", "1961-05-14/..", false},
		{"a year that holds the month of the change", "1957/1961-05", "1961/..", false},
		{"days that overlap within a month", "1957-06-01/1957-06-20", "1957-06-10/1957-06-30", true},
		{"days within a month that do not", "1957-06-01/1957-06-10", "1957-06-10/1957-06-30", false},
		{"a span that begins a year and one within it", "1957-02/1957-12", "1957-01-01/1957-04", true},
		{"the same span twice", "1957/1961", "1957/1961", true},
		{"two open ends", "1957/..", "1990/..", true},
		{"two open beginnings", "../1957", "../1930", true},
		{"open both ways round", "../1961", "1961/..", false},
		{"inside", "1957/1970", "1960/1962", true},
		{"around", "1960/1962", "1957/1970", true},
		{"a point inside", "1957/1970", "1960", true},
		{"a point at the edge", "1957/1960", "1960", false},
		{"a decade that may begin with the change", "195X/..", "1950/1952", false},
		{"a decade that cannot", "195X/..", "1957/1960", true},
		{"about a year", "1957~/1961~", "1961?/..", false},
	} {
		for _, turned := range []bool{false, true} {
			first, second, name := c.first, c.second, c.name
			if turned {
				first, second, name = second, first, name+", turned"
			}
			code := Code("")
			if c.overlap {
				code = CodeConflict
			}
			runCases(t, []ruleCase{{name: name, stage: takenIn, more: bodies(fitting("a", "A", Date(first))), act: with(fitting("b", "B", Date(second))), code: code, word: "overlaps"}})
		}
	}
	runCases(t, []ruleCase{
		{name: "superseding makes room", stage: takenIn, more: bodies(fitting("a", "A", "1957/..")), act: with(fitting("b", "B", "1960/.."), func(f *Fitting) { f.Supersedes = "a" })},
		{name: "another position", stage: takenIn, more: bodies(fitting("a", "A", "1957/..")), act: with(fitting("b", "B", "1957/.."), func(f *Fitting) { f.Component = "fuel.tank" })},
		{name: "no date", stage: takenIn, act: with(fitting("a", "A", "")), code: CodeInvalid, word: "when"},
		{name: "no such evidence", stage: takenIn, act: with(fitting("a", "A", "1957/.."), func(f *Fitting) { f.Evidence = []string{"nothing"} }), code: CodeInvalid, word: "no evidence"},
	})
}

func TestDecideEvidenceAndClaims(t *testing.T) {
	own := func(l map[string]float64) func(*Evidence) {
		return func(e *Evidence) {
			e.Bears[0].Sign, e.Bears[0].Likelihood, e.Bears[0].Why = "", l, "seen on three others"
		}
	}
	bear := func(change func(*Bearing)) func(*Evidence) { return func(e *Evidence) { change(&e.Bears[0]) } }
	runCases(t, []ruleCase{
		{name: "a sign of the catalog", stage: takenIn, act: with(evidence("e", "fuel.tank"))},
		{name: "another name of the component", stage: takenIn, act: with(evidence("e", "petrol tank")), then: func(t *testing.T, b *bench) {
			e, _ := Get[*Evidence](b.d, "e")
			require.Equal(t, "fuel.tank", e.Record.Bears[0].Component)
		}},
		{name: "a sign that is none", stage: takenIn, act: with(evidence("e", "fuel.tank"), bear(func(b *Bearing) { b.Sign = "nice" })), code: CodeInvalid, word: "no such sign"},
		{name: "a sign that speaks to another question", stage: takenIn, act: with(evidence("e", "fuel.tank"), bear(func(b *Bearing) { b.Proposition = PropositionFinish })), code: CodeInvalid, word: "another question"},
		{name: "an unknown component", stage: takenIn, act: with(evidence("e", "fuel.bunker")), code: CodeInvalid, word: "no such component"},
		{name: "an assembly", stage: takenIn, act: with(evidence("e", "engine"), own(map[string]float64{"intact": 0.9, "swapped": 0.1}), bear(func(b *Bearing) { b.Proposition = PropositionAssembly }))},
		{name: "an unknown assembly", stage: takenIn, act: with(evidence("e", "sidecar"), own(map[string]float64{"intact": 0.9}), bear(func(b *Bearing) { b.Proposition = PropositionAssembly })), code: CodeInvalid, word: "no such assembly"},
		{name: "a likelihood of its own", stage: takenIn, act: with(evidence("e", "fuel.tank"), own(map[string]float64{"original": 1, "donor": 0.25, "other": 0}))},
		{name: "a likelihood above one", stage: takenIn, act: with(evidence("e", "fuel.tank"), own(map[string]float64{"original": 1.5})), code: CodeInvalid, word: "between 0 and 1"},
		{name: "a likelihood that is no number", stage: takenIn, act: with(evidence("e", "fuel.tank"), own(map[string]float64{"original": math.NaN()})), code: CodeInvalid, word: "between 0 and 1"},
		{name: "a state of another question", stage: takenIn, act: with(evidence("e", "fuel.tank"), own(map[string]float64{"worn": 0.5})), code: CodeInvalid, word: "does not belong"},
		{name: "undetermined bears no probability", stage: takenIn, act: with(evidence("e", "fuel.tank"), own(map[string]float64{"undetermined": 0.5})), code: CodeInvalid, word: "does not belong"},
		{name: "numbers of one's own without a reason", stage: takenIn, act: with(evidence("e", "fuel.tank"), own(map[string]float64{"original": 1}), bear(func(b *Bearing) { b.Why = "" })), code: CodeInvalid, word: "need a reason"},
		{name: "both a sign and numbers", stage: takenIn, act: with(evidence("e", "fuel.tank"), bear(func(b *Bearing) { b.Likelihood = map[string]float64{"original": 1} })), code: CodeInvalid, word: "both"},
		{name: "neither a sign nor numbers", stage: takenIn, act: with(evidence("e", "fuel.tank"), bear(func(b *Bearing) { b.Sign = "" })), code: CodeInvalid, word: "neither"},
		{name: "evidence on nothing", stage: takenIn, act: with(evidence("e", "fuel.tank"), func(e *Evidence) { e.Bears = nil }), code: CodeInvalid, word: "bears on nothing"},
		{name: "a reliability below nothing", stage: takenIn, act: with(evidence("e", "fuel.tank"), func(e *Evidence) { e.Reliability = ptr(-0.1) }), code: CodeInvalid, word: "between 0 and 1"},

		{name: "a claim on its evidence", stage: takenIn, more: bodies(evidence("e", "fuel.tank")), act: with(claim("c", "fuel.tank", "e"))},
		{name: "a claim on a survey entry", stage: surveyed, act: with(claim("c", "fuel.tank", "survey-fuel.tank"))},
		{name: "a claim on evidence that is recorded later", stage: takenIn, act: with(claim("c", "fuel.tank", "e")), code: CodeInvalid, word: "recorded later"},
		{name: "a claim on evidence about something else", stage: takenIn, more: bodies(evidence("e", "ignition.magneto")), act: with(claim("c", "fuel.tank", "e")), code: CodeInvalid, word: "does not speak to this question"},
		{name: "a claim on evidence about another question", stage: takenIn, more: bodies(evidence("e", "fuel.tank")),
			act: with(claim("c", "fuel.tank", "e"), func(c *Claim) { c.Proposition = PropositionFinish }), code: CodeInvalid, word: "does not speak to this question"},
		{name: "a claim on something that is no evidence", stage: takenIn, act: with(claim("c", "fuel.tank", "photo-1")), code: CodeInvalid, word: "does not speak"},
		{name: "a claim on withdrawn evidence", stage: takenIn, more: bodies(evidence("e", "fuel.tank"), &Withdrawal{Common: Common{ID: "w"}, Record: "e", Why: "wrong tank", By: "tamsin"}),
			act: with(claim("c", "fuel.tank", "e")), code: CodeInvalid, word: "does not speak"},
		{name: "a claim on nothing", stage: takenIn, act: with(claim("c", "fuel.tank")), code: CodeInvalid, word: "cites no evidence"},
		{name: "a second claim on the question", stage: takenIn, more: bodies(evidence("e", "fuel.tank"), claim("c", "fuel.tank", "e")), act: with(claim("c2", "fuel.tank", "e")), code: CodeConflict, word: "already claimed"},
		{name: "a claim that resolves the other", stage: takenIn, more: bodies(evidence("e", "fuel.tank"), claim("c", "fuel.tank", "e")), act: with(claim("c2", "fuel.tank", "e"), func(c *Claim) { c.Resolves = []string{"c"} })},
		{name: "a claim that resolves what is not there", stage: takenIn, more: bodies(evidence("e", "fuel.tank")), act: with(claim("c", "fuel.tank", "e"), func(c *Claim) { c.Resolves = []string{"nothing"} }), code: CodeInvalid, word: "no such record"},
		{name: "a claim that supersedes the other", stage: takenIn, more: bodies(evidence("e", "fuel.tank"), claim("c", "fuel.tank", "e")), act: with(claim("c2", "fuel.tank", "e"), func(c *Claim) { c.Supersedes = "c" })},
		{name: "a prior with a number too few", stage: takenIn, more: bodies(evidence("e", "fuel.tank")),
			act: with(claim("c", "fuel.tank", "e"), func(c *Claim) {
				c.States, c.Prior, c.PriorSource = []string{"original", "donor"}, []float64{1}, "house"
			}), code: CodeInvalid, word: "one number per state"},
		{name: "a prior from nowhere", stage: takenIn, more: bodies(evidence("e", "fuel.tank")),
			act: with(claim("c", "fuel.tank", "e"), func(c *Claim) { c.States, c.Prior = []string{"original", "donor"}, []float64{0.5, 0.5} }), code: CodeInvalid, word: "source"},
		{name: "a prior outside [0,1]", stage: takenIn, more: bodies(evidence("e", "fuel.tank")),
			act: with(claim("c", "fuel.tank", "e"), func(c *Claim) {
				c.States, c.Prior, c.PriorSource = []string{"original", "donor"}, []float64{2, -1}, "house"
			}), code: CodeInvalid, word: "between 0 and 1"},

		{name: "a withdrawal", stage: takenIn, more: bodies(evidence("e", "fuel.tank")), act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "e", Why: "wrong tank", By: "tamsin"}), then: func(t *testing.T, b *bench) {
			e, ok := b.d.Entry("e")
			require.True(t, ok, "it stays readable")
			require.Equal(t, "w", e.WithdrawnBy)
			require.Empty(t, Live[*Evidence](b.d))
		}},
		{name: "a withdrawal of nothing", stage: takenIn, act: with(&Withdrawal{Common: Common{ID: "w"}, Record: "e", Why: "wrong tank", By: "tamsin"}), code: CodeInvalid, word: "no such record"},
		{name: "a withdrawal twice", stage: takenIn, more: bodies(evidence("e", "fuel.tank"), &Withdrawal{Common: Common{ID: "w"}, Record: "e", Why: "wrong tank", By: "tamsin"}),
			act: with(&Withdrawal{Common: Common{ID: "w2"}, Record: "e", Why: "wrong tank", By: "tamsin"}), code: CodeInvalid, word: "no such record in force"},
	})
}

func TestDecideSales(t *testing.T) {
	sale := func(change func(*ComparableSale)) func(*bench) Body {
		s := &ComparableSale{Common: Common{ID: "sale", Valid: "2025-10"}, Source: "a printed list", PriceKind: "hammer", Price: pounds("5200"), Make: "Skerrow", Model: "Drover 350"}
		change(s)
		return with(s)
	}
	runCases(t, []ruleCase{
		{name: "a sale", stage: takenIn, act: sale(func(*ComparableSale) {})},
		{name: "a sale to come", stage: takenIn, act: sale(func(s *ComparableSale) { s.Valid = "2026-03-10" }), code: CodeInvalid, word: "future"},
		{name: "a sale for nothing", stage: takenIn, act: sale(func(s *ComparableSale) { s.Price = pounds("0") }), code: CodeInvalid, word: "has a price"},
		{name: "a negative price", stage: takenIn, act: sale(func(s *ComparableSale) { s.Price = pounds("-5") }), code: CodeInvalid, word: "negative"},
		{name: "an index above one", stage: takenIn, act: sale(func(s *ComparableSale) { s.Substance = ptr(87.0) }), code: CodeInvalid, word: "between 0 and 1"},
		{name: "a distance without a unit", stage: takenIn, act: sale(func(s *ComparableSale) { s.Distance = ptr(12000.0) }), code: CodeInvalid, word: "no unit"},
	})
}

// TestEveryFaultIsNamed: all faults of a record come at once, each with its
// place, and the message says how many there are.
func TestEveryFaultIsNamed(t *testing.T) {
	err := CheckBody(&Measurement{Common: Common{ID: "M", Valid: "1957-13"}, Uncertainty: -1})
	var e *Error
	require.ErrorAs(t, err, &e)
	var at []string
	for _, f := range e.Fields {
		at = append(at, f.Pointer)
		require.NotEmpty(t, f.Message)
	}
	require.Equal(t, []string{"/id", "/valid", "/component", "/quantity", "/unit", "/instrument", "/uncertainty", "/by"}, at)
	require.Contains(t, err.Error(), "8 fields are wrong")
}

// TestDecideKnowsEveryKind: whatever the kind, an empty record is refused in
// words and nothing panics; and no kind is missing from the list of titles.
func TestDecideKnowsEveryKind(t *testing.T) {
	b := newBench(t)
	tagged(b)
	for _, k := range Kinds() {
		body := NewBody(k)
		require.Equal(t, k, body.Kind())
		err := b.try(body)
		require.Equal(t, CodeInvalid, CodeOf(err), k)
		require.True(t, strings.HasPrefix(err.Error(), Title(k)), err.Error())
	}
	require.Nil(t, NewBody("no-such-kind"))
	require.Zero(t, SchemaVersion("no-such-kind"))
}

// TestWhatEveryRecordNeeds: the faults of an empty record are the fields that a
// record of its kind cannot be without.
func TestWhatEveryRecordNeeds(t *testing.T) {
	needs := map[Kind]string{
		"acknowledgement":   "/id /caution /for /by",
		"erasure":           "/id /person /why /by /digests",
		"closed":            "/id /opening /map /by",
		"fastener-map":      "/id /opening /by /fasteners",
		"finding":           "/id /fault /by /observation",
		"leaving":           "/id /fault /by /then /source ",
		"part-number":       "/id /number /what /source /by",
		"recheck":           "/id /what  /by",
		"risk":              "/id /option /by /outcomes",
		"search":            "/id /what /where /by",
		"step":              "/id /option /did /by",
		"stock-part":        "/id /what /origin /source /by",
		"usage":             "/id /distance_unit /by",
		"change-request":    "/id /to /by /amends /found /offer/options /offer/ceiling",
		"check":             "/id /what /outcome /by",
		"claim":             "/id /component /proposition /statement /evidence /by",
		"comparable-sale":   "/id /source /valid /price_kind /price/amount /make /model",
		"custody-agreement": "/id /owner /custodian /authority /purpose",
		"decision":          "/id /on /digest /answer /channel /person",
		"evidence":          "/id /evidence /cluster /says /by /bears",
		"fault":             "/id /complaint /components /by",
		"fitting":           "/id /component /part /valid",
		"gate":              "/id /gate /by",
		"gate-taken-back":   "/id /gate /why /by",
		"hand-back":         "/id /to /by",
		"joint":             "/id /joint /components /witness /sign /by",
		"machine":           "/id /make /model /year",
		"measurement":       "/id /component /quantity /unit /instrument /by",
		"opened":            "/id /opening /by",
		"opening":           "/id /title",
		"option":            "/id /fault /treatment /title /by",
		"part-move":         "/id /part /custody /why /by",
		"person":            "/id /role /name",
		"photo":             "/id /digest /media_type /shows /by",
		"proposal":          "/id /to /by /offer/options /offer/ceiling",
		"removed-part":      "/id /component /tag /what /reason /custody /by",
		"survey":            "/id /component /by",
		"survey-seal":       "/id /by",
		"weighing":          "/id /by",
		"withdrawal":        "/id /record /why /by",
		"permission":        "/id /for /given_by /how /by",
		"shared-number":     "/id /where /other /says /why /by",
		"transfer":          "/id /direction /registry /by",
		"owner-link":        "/id /to /by /purpose /link/token_hash",
		"passkey":           "/id /person /host /credential /public_key /means",
		"second-signature":  "/id /on /hash /by /account",
		"reply":             "/id /question /by /says",
		"work":              "/id /treatment /did /by",
	}
	for _, k := range Kinds() {
		var e *Error
		require.ErrorAs(t, CheckBody(NewBody(k)), &e)
		var at []string
		for _, f := range e.Fields {
			at = append(at, f.Pointer)
		}
		require.Equal(t, needs[k], strings.Join(at, " "), k)
	}
}

func TestFieldString(t *testing.T) {
	require.Equal(t, `parts.csv, row 7, /condition: The condition is outside the scale (found "9"); allowed: 0 to 5. Leave it out`,
		Field{File: "parts.csv", Row: 7, Pointer: "/condition", Message: "The condition is outside the scale", Found: `"9"`, Allowed: "0 to 5", Fix: "Leave it out"}.String())
	require.Equal(t, "It is empty", Field{Message: "It is empty"}.String())
	require.Equal(t, "no. Do it", Refuse(CodeRefused, "Do it", "no").Error())
	require.Equal(t, "no", Refuse(CodeRefused, "", "no").Error())
}

func TestCodes(t *testing.T) {
	require.Equal(t, Code(""), CodeOf(nil))
	require.Equal(t, CodeInternal, CodeOf(errors.New("anything")))
	seen := map[Code]bool{}
	for _, c := range AllCodes() {
		require.False(t, seen[c], "%s twice", c)
		seen[c] = true
		require.Equal(t, c, CodeOf(fmt.Errorf("wrapped: %w", Refuse(c, "", "x"))))
	}
}
