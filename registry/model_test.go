package registry

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// model is what a person with paper and pencil would keep: just enough to say
// beforehand which acts the registry has to allow.
type model struct {
	*bench
	count    int
	sealed   bool
	surveyed map[string]bool // components
	picture  bool            // of the cover, as found
	open     bool
	offer    string          // the standing one
	ceiling  int             // of the standing offer
	approves map[string]bool // options that the standing answer approves
	answer   string          // its record, "" while there is none
	spent    map[string]int  // by offer
	off      []string        // parts taken off the magneto's place and not put back, oldest first
	untagged []string        // work that took one off and whose part has no tag
	custody  map[string]string
	workOf   map[string]string
	layers   []string // work entries on the magneto's place that stand
	gates    []string
	checked  bool // the last check of the brakes passed

	handedBack bool
	given      []string        // answers since the last hand-back
	past       map[string]bool // answers before it, which cover nothing any more
	begun      map[string]bool // answers under which something was done
}

func (m *model) id(what string) string {
	m.count++
	return fmt.Sprintf("%s-%d", what, m.count)
}

// expect tries an act and compares with what the model says.
func (m *model) expect(t *rapid.T, allowed bool, body Body) bool {
	err := m.try(body)
	if allowed != (err == nil) {
		t.Fatalf("%s %s: the model says allowed=%v, the registry says %v", body.Kind(), IDOf(body), allowed, err)
	}
	if err != nil && CodeOf(err) == CodeInternal {
		t.Fatalf("a refusal without a code: %v", err)
	}
	return err == nil
}

func (m *model) survey(t *rapid.T) {
	c := rapid.SampledFrom([]string{"fuel.tank", "ignition.magneto", "engine.crankcase", "electrical.horn", "no.such"}).Draw(t, "component")
	s := aSurvey(c)
	s.ID = m.id("survey")
	if m.expect(t, !m.sealed && !m.surveyed[c] && c != "electrical.horn" && c != "no.such", s) {
		m.surveyed[c] = true
	}
}

func (m *model) seal(t *rapid.T) {
	s := aSeal()
	s.ID = m.id("seal")
	if m.expect(t, !m.sealed && len(m.surveyed) > 0, s) {
		m.sealed = true
	}
}

func (m *model) takePicture(t *rapid.T) {
	m.expect(t, true, asFound(m.id("picture"), "cover"))
	m.picture = true
}

func (m *model) openCover(t *rapid.T) {
	o := &Opened{Common: Common{ID: m.id("opened")}, Opening: "cover", By: "tamsin", AlreadyDone: rapid.Bool().Draw(t, "already done")}
	covered := m.sealed && m.picture && m.approves["swap"] && !m.past[m.answer]
	if m.expect(t, covered || o.AlreadyDone, o) {
		m.open = true
		e, _ := m.d.Entry(o.ID)
		if got := e.Body.(*Opened).Standing.Mark == "approved"; got != covered {
			t.Fatalf("opened: approved=%v, the model says %v", got, covered)
		}
		m.begun[m.answer] = m.begun[m.answer] || covered
	}
}

func (m *model) propose(t *rapid.T) {
	ceiling := rapid.IntRange(0, 200).Draw(t, "ceiling")
	p := aProposal(m.id("offer"), fmt.Sprint(ceiling), swapMagneto(), paintTank())
	p.Supersedes = m.offer
	m.expect(t, true, p)
	m.offer, m.ceiling, m.approves, m.answer = p.ID, ceiling, map[string]bool{}, ""
}

func (m *model) decide(t *rapid.T) {
	if m.offer == "" {
		return
	}
	d := m.bench.answer(m.id("answer"), m.offer, rapid.SampledFrom([]string{"approve", "refuse", "defer", "take-back"}).Draw(t, "answer"))
	stale := rapid.IntRange(0, 9).Draw(t, "stale") == 0
	if stale {
		d.Digest = "sha256:" + zeros
	}
	if rapid.IntRange(0, 9).Draw(t, "who") == 0 {
		d.Person = "tamsin"
	}
	if d.Answer == "approve" {
		d.Options = rapid.SampledFrom([][]string{{"swap"}, {"paint"}, {"swap", "paint"}}).Draw(t, "options")
	}
	d.TakesBack = ""
	if d.Answer == "take-back" {
		d.TakesBack = m.answer
		if d.TakesBack == "" {
			d.TakesBack = "nothing"
		}
	}
	ok := !stale && d.Person == "imogen"
	if last, answered := m.d.Answer(m.offer); answered && d.Answer != "take-back" {
		ok = ok && !(last.Record.Answer == d.Answer && slices.Equal(last.Record.Options, d.Options))
	}
	if d.Answer == "take-back" {
		ok = ok && m.answer != "" && !m.begun[m.answer]
	}
	if !m.expect(t, ok, d) {
		return
	}
	m.given = append(m.given, d.ID)
	// What stands after a take-back is the answer before the one taken back.
	m.answer, m.approves = "", map[string]bool{}
	if last, answered := m.d.Answer(m.offer); answered {
		m.answer = last.RecordID()
		if last.Record.Approves() {
			for _, o := range last.Record.Options {
				m.approves[o] = true
			}
		}
	}
}

func (m *model) swap(t *rapid.T) {
	spent := rapid.IntRange(0, 90).Draw(t, "spent")
	w := swapWork(m.id("work"), fmt.Sprint(spent))
	w.AlreadyDone = rapid.IntRange(0, 3).Draw(t, "already") == 0
	covered := m.sealed && m.open && m.approves["swap"] && !m.past[m.answer] && m.spent[m.offer]+spent <= m.ceiling
	if !m.expect(t, covered || w.AlreadyDone, w) {
		return
	}
	e, _ := m.d.Entry(w.ID)
	if got := e.Body.(*Work).Standing.Mark == "approved"; got != covered {
		t.Fatalf("work: approved=%v, the model says %v: %v", got, covered, e.Body.(*Work).Standing)
	}
	if covered {
		m.spent[m.offer] += spent
		m.begun[m.answer] = true
	}
	m.layers = append(m.layers, w.ID)
	m.untagged = append(m.untagged, w.ID)
}

func (m *model) tag(t *rapid.T) {
	if len(m.layers) == 0 {
		return
	}
	work := rapid.SampledFrom(m.layers).Draw(t, "work")
	p := oldMagneto()
	p.ID, p.Work = m.id("part"), work
	i := slices.Index(m.untagged, work)
	if m.expect(t, i >= 0, p) {
		m.untagged = slices.Delete(m.untagged, i, i+1)
		m.custody[p.ID], m.workOf[p.ID] = "kept-with-machine", work
		m.off = append(m.off, p.ID)
	}
}

func (m *model) movePart(t *rapid.T) {
	if len(m.off) == 0 {
		return
	}
	part := rapid.SampledFrom(m.off).Draw(t, "part")
	to := rapid.SampledFrom([]string{"kept-with-machine", "elsewhere", "lost", "destroyed", "fitted", "fitted"}).Draw(t, "to")
	now := m.custody[part]
	ok := now != "destroyed" && now != "fitted" && now != to
	if to == "fitted" {
		ok = ok && m.layers[len(m.layers)-1] == m.workOf[part]
	}
	if m.expect(t, ok, move(m.id("move"), part, to)) {
		m.custody[part] = to
		if to == "fitted" {
			m.layers = m.layers[:len(m.layers)-1]
		}
	}
}

func (m *model) checkBrakes(t *rapid.T) {
	m.checked = rapid.Bool().Draw(t, "passed")
	m.expect(t, true, aCheck(m.id("check"), map[bool]string{true: "passed", false: "failed"}[m.checked], "brakes.front.linings"))
}

func (m *model) passGate(t *rapid.T) {
	ladder := []string{"arrived", "sealed-survey", "turns", "private-ground"}
	i := rapid.IntRange(0, len(ladder)-1).Draw(t, "gate")
	g := gate(ladder[i])
	g.ID = m.id("gate")
	if ladder[i] == "turns" {
		g.Checks = []string{"turned"}
	}
	ok := len(m.gates) == i && !m.handedBack
	switch ladder[i] {
	case "sealed-survey":
		ok = ok && m.sealed
	case "private-ground":
		ok = ok && m.checked
	}
	if m.expect(t, ok, g) {
		m.gates = append(m.gates, ladder[i])
	}
}

func (m *model) takeGateBack(t *rapid.T) {
	id := rapid.SampledFrom([]string{"arrived", "sealed-survey", "turns", "private-ground"}).Draw(t, "gate")
	i := slices.Index(m.gates, id)
	if m.expect(t, i >= 0, &GateTakenBack{Common: Common{ID: m.id("back")}, Gate: id, Why: "it stuck", By: "tamsin"}) {
		m.gates = m.gates[:i]
	}
}

func (m *model) handBack(t *rapid.T) {
	h := aHandBack()
	h.ID = m.id("hand-back")
	balances := true
	for i := range h.Inventory {
		n := rapid.IntRange(0, 3).Draw(t, "count")
		balances = balances && n == h.Inventory[i].Count
		h.Inventory[i].Count = n
	}
	for _, part := range m.off {
		handed := rapid.IntRange(0, 4).Draw(t, "handed") > 0
		if handed {
			h.RemovedParts = append(h.RemovedParts, part)
		}
		balances = balances && handed == (m.custody[part] == "kept-with-machine")
	}
	if m.expect(t, balances, h) {
		m.handedBack = true
		for _, a := range m.given {
			m.past[a] = true
		}
		m.given = nil
	}
}

func (m *model) withdraw(t *rapid.T) {
	record := rapid.SampledFrom(m.d.Entries()).Draw(t, "record")
	switch record.Kind {
	case "decision", "survey-seal", "gate":
		m.expect(t, false, &Withdrawal{Common: Common{ID: m.id("w")}, Record: record.RecordID(), Why: "a mistake", By: "tamsin"})
	}
}

// compare holds the dossier against the model.
func (m *model) compare(t *rapid.T) {
	var gates []string
	for _, g := range m.d.GatesPassed(m.rules) {
		gates = append(gates, g.Record.Gate)
	}
	require.Equal(t, len(m.gates), len(gates))
	require.True(t, slices.Equal(m.gates, gates), "gates %v, the model has %v", gates, m.gates)
	var layers []string
	for _, l := range m.d.Layers("ignition.magneto", PropositionOrigin) {
		layers = append(layers, l.Work.RecordID())
	}
	require.True(t, slices.Equal(m.layers, layers), "layers %v, the model has %v", layers, m.layers)
	for part, custody := range m.custody {
		require.Equal(t, custody, m.d.Custody(part))
	}
	for _, option := range []string{"swap", "paint"} {
		_, why, ok := m.d.Approval(option, m.now)
		require.Equal(t, m.approves[option], ok, why)
		require.Equal(t, ok, why == "")
	}
}

// TestAgainstTheModel: in any order of acts, allowed or not, the registry and
// the model agree; a refusal changes nothing; replaying gives the same dossier;
// no gate is skipped; what came in and off is accounted for.
func TestAgainstTheModel(t *testing.T) { rapid.Check(t, againstTheModel) }

func againstTheModel(t *rapid.T) {
	m := &model{bench: newBench(t), surveyed: map[string]bool{}, past: map[string]bool{}, begun: map[string]bool{}, approves: map[string]bool{}, spent: map[string]int{}, custody: map[string]string{}, workOf: map[string]string{}}
	takenIn(m.bench)
	m.do(aJoint("cover-screws"), aFault("spark"), aFault("rust"), cover(), swapMagneto(), paintTank(), aCheck("turned", "passed", "ignition.magneto"))
	if rapid.Bool().Draw(t, "far on") {
		m.do(aSurvey("fuel.tank"), aSeal(), asFound("photo-cover", "cover"))
		m.surveyed["fuel.tank"], m.sealed, m.picture = true, true, true
	}
	t.Repeat(map[string]func(*rapid.T){
		"survey": m.survey, "seal": m.seal, "picture": m.takePicture, "open": m.openCover, "propose": m.propose,
		"decide": m.decide, "decide again": m.decide, "swap": m.swap, "swap again": m.swap, "tag": m.tag, "move": m.movePart, "check": m.checkBrakes,
		"gate": m.passGate, "gate again": m.passGate, "take gate back": m.takeGateBack, "hand back": m.handBack, "withdraw": m.withdraw,
		"": m.compare,
	})
	m.replayed()
}

// TestAnythingAtAll: records of every kind with references drawn at random, to
// what is there, what is out of force and what never was, are allowed or
// refused with a code; nothing panics, a refusal changes nothing, and what was
// allowed replays to the same.
func TestAnythingAtAll(t *testing.T) { rapid.Check(t, anythingAtAll) }

func anythingAtAll(t *rapid.T) {
	b := newBench(t)
	tagged(b)
	pick := func(what string) string {
		var ids []string
		for _, e := range b.d.Entries() {
			ids = append(ids, e.RecordID())
		}
		return rapid.SampledFrom(append(ids, "nothing", "")).Draw(t, what)
	}
	components := []string{"fuel.tank", "petrol tank", "ignition.magneto", "engine.crankcase", "wheels.front.tyre", "electrical.horn", "engine", "no.such", ""}
	component := func() string { return rapid.SampledFrom(components).Draw(t, "component") }
	for i := range rapid.IntRange(1, 20).Draw(t, "acts") {
		supersedes := ""
		if rapid.Bool().Draw(t, "corrects") {
			supersedes = pick("supersedes")
		}
		c := Common{ID: fmt.Sprintf("r-%d", i), Supersedes: supersedes}
		var body Body
		switch rapid.IntRange(0, 15).Draw(t, "kind") {
		case 0:
			body = &Withdrawal{Common: c, Record: pick("record"), Why: "x", By: "tamsin"}
		case 1:
			body = with(aSurvey(component()), func(s *Survey) { s.Common = c; s.Function = "works" })(b)
		case 2:
			body = with(claim("", component(), pick("evidence")), func(x *Claim) { x.Common = c; x.Resolves = []string{pick("resolves")} })(b)
		case 3:
			body = with(evidence("", component()), func(x *Evidence) { x.Common = c })(b)
		case 4:
			body = with(swapWork("", "1"), func(x *Work) {
				x.Common = c
				x.Option = pick("option")
				x.AlreadyDone = rapid.Bool().Draw(t, "already")
			})(b)
		case 5:
			body = with(oldMagneto(), func(x *RemovedPart) { x.Common = c; x.Work = pick("work"); x.Component = component() })(b)
		case 6:
			body = with(move("", pick("part"), rapid.SampledFrom(TermIDs(Custodies())).Draw(t, "custody")), func(x *PartMove) { x.Common = c })(b)
		case 7:
			body = with(b.answer("", pick("on"), rapid.SampledFrom(TermIDs(Answers())).Draw(t, "answer")), func(x *Decision) {
				x.Common = c
				x.TakesBack = pick("takes back")
				if x.Digest == "" {
					x.Digest = "sha256:" + zeros
				}
			})(b)
		case 8:
			body = with(swapMagneto(), func(x *Option) { x.Common = c; x.Requires = []string{pick("requires")} })(b)
		case 9:
			body = with(cover(), func(x *Opening) { x.Common = c; x.Requires = []string{pick("requires")} })(b)
		case 10:
			body = &Opened{Common: c, Opening: pick("opening"), By: "tamsin", AlreadyDone: rapid.Bool().Draw(t, "already")}
		case 11:
			o, _ := Get[*Option](b.d, pick("option"))
			if o.Record == nil {
				continue
			}
			body = with(aProposal("", "50", o.Record), func(x *Proposal) { x.Common = c })(b)
		case 12:
			body = with(gate(rapid.SampledFrom(b.rules.Gates).Draw(t, "gate").ID, "turned"), func(x *Gate) { x.Common = c })(b)
		case 13:
			body = with(aCheck("", "passed", component()), func(x *Check) { x.Common = c; x.Work = pick("work") })(b)
		case 14:
			body = with(fitting("", "x", rapid.SampledFrom([]Date{"1957", "1957/1961", "1961/..", "../1961", "x"}).Draw(t, "valid")), func(x *Fitting) { x.Common.ID, x.Supersedes = c.ID, c.Supersedes })(b)
		case 15:
			body = with(aHandBack(), func(x *HandBack) { x.Common = c; x.RemovedParts = []string{pick("part")} })(b)
		}
		if err := b.try(body); err != nil && CodeOf(err) == CodeInternal {
			t.Fatalf("a refusal without a code: %v", err)
		}
		interrogate(b.d, b.rules)
	}
	b.replayed()
}
