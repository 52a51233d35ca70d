package catalog

import (
	"math"
	"strconv"
	"strings"
)

// apart is how far two links must differ for an observation to tell two causes
// apart.
const apart = 0.2

// leastCauses is how many causes a complaint has at least; with fewer there is
// nothing to search for.
const leastCauses = 3

// checkSymptoms holds the symptom library against itself and the rest.
func (b *builder) checkSymptoms() {
	before := len(b.faults)
	b.checkCauses()
	b.checkObservations()
	b.checkTests()
	b.checkComplaints()
	if len(b.faults) == before { // a broken reference would be told twice
		b.checkReach()
	}
}

func (b *builder) checkCauses() {
	c := &b.c
	for _, x := range c.causes.rows {
		s := b.spot("causes", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/title", x.Title)
		s.warning("/sentence", x.Sentence)
		s.inside("/prior", x.Prior)
		if len(x.Components) == 0 {
			s.add("/components", "[]", "at least one", "It is not said where the cause sits", "")
		}
		refers(s, "/components", x.Components, &c.components, "components")
		rung := 0
		for i, cure := range x.Cures {
			p := "/cures/" + strconv.Itoa(i)
			refer(s, p+"/treatment", cure.Treatment, &c.treatments, "treatments")
			s.between(p+"/chance", cure.Chance, 0, 1)
			if at, ok := c.treatments.at[cure.Treatment]; ok {
				if now := c.treatments.rows[at].Rung; now <= rung {
					s.add(p+"/treatment", quote(cure.Treatment), "a rung above the one before, without leave", "Cures are listed least invasive first, each once; to leave it is understood", "Put them in the order of the ladder.")
				} else {
					rung = now
				}
			}
		}
		if len(x.Cures) == 0 {
			s.add("/cures", "[]", "at least one", "It is not said what would end the cause", "")
		}
	}
}

// inside wants a probability that leaves both answers possible.
func (s spot) inside(pointer string, v float64) {
	if !(v > 0 && v < 1) {
		s.add(pointer, number(v), "above 0 and below 1", "A probability of 0 or 1 could never be moved by anything seen", "")
	}
}

func (b *builder) checkObservations() {
	c := &b.c
	for _, x := range c.observations.rows {
		s := b.spot("observations", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/title", x.Title)
		s.warning("/yes", x.Yes)
		s.warning("/no", x.No)
		s.inside("/leak", x.Leak)
		linked := false
		for _, id := range sortedKeys(x.Links) {
			p := "/links/" + escape(id)
			refer(s, p, id, &c.causes, "causes")
			s.between(p, x.Links[id], 0, 1)
			linked = linked || x.Links[id] > 0
		}
		if !linked {
			s.add("/links", show(x.Links), "at least one above 0", "No cause would bring this about", "")
		}
		if r := x.Reading; r != nil {
			s.text("/reading/quantity", r.Quantity)
			s.term("/reading/unit", r.Unit, Units())
			if !(0 <= r.Low && r.Low < r.High && r.High < math.Inf(1)) {
				s.add("/reading", number(r.Low)+" to "+number(r.High), "0 or more, the lower below the higher", "The usual range is not one", "")
			}
		}
	}
}

func (b *builder) checkTests() {
	c := &b.c
	for _, x := range c.tests.rows {
		s := b.spot("tests", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/title", x.Title)
		s.warning("/how", x.How)
		s.warning("/if_yes", x.IfYes)
		s.warning("/if_no", x.IfNo)
		s.between("/level", float64(x.Level), TestLook, TestAlter)
		s.between("/minutes", x.Minutes, 1, 10000)
		s.between("/points", x.Points, 0, 1000)
		if x.Money.Amount.IsNeg() {
			s.add("/money/amount", x.Money.Amount.String(), "0 or more", "The amount cannot be negative", "")
		}
		for i, t := range x.Consumables {
			s.text("/consumables/"+strconv.Itoa(i), t)
		}
		for i, t := range x.Tools {
			s.text("/tools/"+strconv.Itoa(i), t)
		}
		refers(s, "/openings", x.Openings, &c.openings, "openings")
		refers(s, "/cautions", x.Cautions, &c.cautions, "cautions")
		if _, ok := c.observations.get(x.Given); x.Given != "" && !ok {
			s.add("/given", quote(x.Given), "an observation of the library", "There is no such observation", "Check its spelling, or leave the field out.")
		} else if x.Given != "" && x.Given == x.Observation {
			s.add("/given", quote(x.Given), "another observation", "The test waits for what it answers", "Leave the field out.")
		}
		b.checkTestLevel(s, x)
		b.checkTestAim(s, x)
	}
}

// checkTestLevel wants a test to disturb no more than its level says, and one of
// the upper levels to say what it opens.
func (b *builder) checkTestLevel(s spot, x FaultTest) {
	switch {
	case x.Level >= TestOpen && (len(x.Openings) == 0) == (strings.TrimSpace(x.NoOpening) == ""):
		s.add("/openings", strings.Join(x.Openings, ", "), "openings, or no_opening with the reason why it needs none", "A test of level 3 or 4 says what it opens", "Name the openings, or write the reason, not both.")
	case x.Level < TestOpen && x.NoOpening != "":
		s.add("/no_opening", quote(x.NoOpening), "none", "Only a test of level 3 or 4 explains why it opens nothing", "Leave the field out.")
	case x.Level < TestQuick && len(x.Openings) > 0:
		s.add("/openings", strings.Join(x.Openings, ", "), "none", "A test of level 0 or 1 disturbs no joint", "Raise the level.")
	}
	for i, id := range x.Openings {
		at, ok := b.c.openings.at[id]
		if !ok || x.Level != TestQuick {
			continue
		}
		if o := b.c.openings.rows[at]; len(o.Needs) > 0 || o.WitnessPoints > 0 {
			s.add("/openings/"+strconv.Itoa(i), quote(id), "openings that need no gasket and cost no witness", "A test of level 2 undoes quick fasteners and nothing else", "Raise the level.")
		}
	}
	switch {
	case x.Level < TestQuick && x.Points > 0:
		s.add("/points", number(x.Points), "0", "A test of level 0 or 1 loses nothing for good", "Raise the level.")
	case x.Level == TestAlter && x.Points == 0:
		s.add("/points", "0", "above 0", "A test of level 4 alters the machine, and that counts", "")
	}
}

// checkTestAim wants a test to answer one observation or to try one cure.
func (b *builder) checkTestAim(s spot, x FaultTest) {
	c := &b.c
	if (x.Observation != "") == (x.Repairs != nil) {
		s.add("", "", "observation or repairs", "A test answers one observation or tries one cure", "Write one of them; two observations make two tests.")
	}
	if x.Observation != "" {
		refer(s, "/observation", x.Observation, &c.observations, "observations")
	}
	if x.Repairs == nil {
		return
	}
	refer(s, "/repairs/cause", x.Repairs.Cause, &c.causes, "causes")
	refer(s, "/repairs/treatment", x.Repairs.Treatment, &c.treatments, "treatments")
	if at, ok := c.causes.at[x.Repairs.Cause]; ok {
		if _, known := c.causes.rows[at].Cure(x.Repairs.Treatment); !known {
			s.add("/repairs/treatment", quote(x.Repairs.Treatment), "a cure of the cause whose chance is known", "What is tried must be among the cures of its cause, with its chance", "")
		}
	}
	if at, ok := c.treatments.at[x.Repairs.Treatment]; ok && c.treatments.rows[at].NeedsOwnApproval && x.Level != TestAlter {
		s.add("/level", strconv.Itoa(x.Level), "4", "A treatment that the owner must approve by name alters the machine", "")
	}
}

func (b *builder) checkComplaints() {
	c := &b.c
	for _, x := range c.complaints.rows {
		s := b.spot("complaints", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/title", x.Title)
		s.warning("/sentence", x.Sentence)
		s.term("/group", x.Group, ComplaintGroups())
		refer(s, "/observation", x.Observation, &c.observations, "observations")
		refers(s, "/cautions", x.Cautions, &c.cautions, "cautions")
		for i, t := range x.Not {
			s.warning("/not/"+strconv.Itoa(i), t)
		}
		for i, t := range x.First {
			s.warning("/first/"+strconv.Itoa(i), t)
		}
		if len(x.First) == 0 {
			s.add("/first", "[]", "at least one sentence", "It is not said what comes before any test", "")
		}
	}
}

// checkReach wants every complaint to have a way in and a way on: causes enough
// to search among and few enough to go through, a gentle test, and for every
// two causes an observation that tells them apart.
func (b *builder) checkReach() {
	c := &b.c
	tried := map[string]bool{} // observations that a test answers or a rider reports
	for _, x := range c.tests.rows {
		tried[x.Observation] = true
	}
	for _, x := range c.complaints.rows {
		tried[x.Observation] = true
	}
	for _, x := range c.observations.rows {
		if !tried[x.ID] {
			b.spot("observations", x.ID).add("", quote(x.ID), "a test or a complaint", "No test answers this and no complaint is it", "Write the test.")
		}
	}
	linked := map[string]bool{}
	for _, x := range c.complaints.rows {
		s := b.spot("complaints", x.ID)
		m, _ := c.SymptomModel([]string{x.ID})
		if n := len(m.Causes); n < leastCauses || n > MaxComplaintCauses {
			s.add("/observation", strconv.Itoa(n)+" causes", strconv.Itoa(leastCauses)+" to "+strconv.Itoa(MaxComplaintCauses), "The complaint has too few or too many causes", "Change the links of its observation.")
		}
		gentle := false
		for _, t := range m.Tests {
			gentle = gentle || t.Level < TestQuick
		}
		if !gentle {
			s.add("", quote(x.ID), "a test of level 0 or 1", "Nothing about this complaint can be found out without undoing something", "Write a test that only looks, feels or measures.")
		}
		for i, one := range m.Causes {
			linked[one.ID] = true
			for _, other := range m.Causes[i+1:] {
				if !m.tellsApart(x.Observation, one.ID, other.ID) {
					b.spot("causes", one.ID).add("", quote(one.ID)+" and "+quote(other.ID), "an observation whose links with them differ by "+number(apart),
						"Nothing tells these two apart once "+quote(x.ID)+" is the complaint", "Write the observation and its test.")
				}
			}
		}
	}
	for _, x := range c.causes.rows {
		if !linked[x.ID] {
			b.spot("causes", x.ID).add("", quote(x.ID), "a complaint", "No complaint leads to this cause", "Link it with the observation of a complaint.")
		}
	}
}

// tellsApart says whether an observation other than the complaint itself has
// links of different strength with two causes.
func (m SymptomModel) tellsApart(complaint, one, other string) bool {
	for _, o := range m.Observations {
		if o.ID != complaint && math.Abs(o.Links[one]-o.Links[other]) >= apart {
			return true
		}
	}
	return false
}
