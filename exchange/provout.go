package exchange

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// WriteProvenance writes a machine's record as PROV-JSON.
func WriteProvenance(in Input) ([]byte, error) { return Provenance(in).Write() }

// Provenance is a machine's record in the terms of PROV: the machine, its
// components, the parts that came off and went on, and every record are
// entities; what was done and decided are activities; people are agents, in the
// public edition by role alone.
func Provenance(in Input) *ProvDocument {
	p := &provenance{in: in, agents: map[string]string{}, comps: map[string]bool{}, made: map[string]time.Time{}, revises: revisions(in.Dossier), reader: workshop.NewReader(in.Dossier, in.Report.Public), doc: &ProvDocument{Prefixes: map[string]string{
		"as": "https://example.org/asfound/ns#", "rec": in.base() + "records/", "act": in.base() + "acts/", "comp": in.base() + "components/",
		"part": in.base() + "parts/", "who": in.base() + "people/", "the": in.base()}}}
	p.machine()
	p.people()
	texts := map[uint64]string{}
	for _, h := range in.Report.Timeline {
		texts[h.Version] = h.Text
	}
	for _, e := range in.Dossier.Entries() {
		p.entry(e, texts[e.Version])
	}
	return p.doc
}

type provenance struct {
	in     Input
	doc    *ProvDocument
	agents map[string]string // name of the agent by person id
	comps  map[string]bool   // components that the machine has
	// revises names the record that one corrects.
	revises map[string]string
	made    map[string]time.Time // when an entity came up, at the earliest
	reader  workshop.Reader
}

// machineName is the machine as an entity.
const machineName = "the:machine"

type attributes map[string][]ProvValue

// say adds attributes in pairs of name and text, leaving out what is "".
func (a attributes) say(pairs ...string) attributes {
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			a[pairs[i]] = append(a[pairs[i]], ProvValue{Text: pairs[i+1]})
		}
	}
	return a
}

// point adds attributes whose values are names.
func (a attributes) point(name string, targets ...string) attributes {
	for _, t := range targets {
		if v := (ProvValue{Text: t, Type: qualified}); !slices.Contains(a[name], v) {
			a[name] = append(a[name], v)
		}
	}
	return a
}

func (p *provenance) add(kind, id string, a attributes) {
	p.doc.Records = append(p.doc.Records, ProvRecord{kind, id, a})
}

// relate adds a relation; its name follows from how many there are.
func (p *provenance) relate(kind string, a attributes) {
	p.add(kind, fmt.Sprintf("_:r%d", len(p.doc.Records)+1), a)
}

func (p *provenance) machine() {
	m := p.in.Report.Machine
	a := attributes{}.point("prov:type", "prov:Collection", "as:machine").say("prov:label", m.Name, "as:make", m.Make, "as:model", m.Model, "as:year", string(m.Year))
	if m.Invented {
		a.say("as:note", invented)
	}
	for _, n := range m.Numbers {
		a.say("as:number", n.Where+": "+n.Shown)
	}
	p.add("entity", machineName, a)
	for _, g := range p.in.Report.Groups {
		for _, c := range g.Components {
			if c.NotFitted {
				continue
			}
			p.comps[c.ID] = true
			p.add("entity", "comp:"+c.ID, attributes{}.point("prov:type", "as:component").say("prov:label", c.Name, "as:custody", c.Custody,
				"as:origin", c.Origin.Leading, "as:finish", c.Finish.Leading, "as:specification", c.Specification.Leading))
			p.relate("hadMember", attributes{}.say("prov:collection", machineName, "prov:entity", "comp:"+c.ID))
		}
	}
}

// people are the agents. In the public edition they are counted: an identifier
// that somebody chose may be a name.
func (p *provenance) people() {
	for _, e := range p.in.Report.People {
		p.agent(e.ID, "the "+strings.ReplaceAll(e.Role, "-", " "), e.Role, e.Name)
	}
}

func (p *provenance) agent(id, label, role, name string) string {
	if known, ok := p.agents[id]; ok {
		return known
	}
	agent := "who:" + id
	if p.in.Report.Public {
		agent = fmt.Sprintf("who:%d", len(p.agents)+1)
	} else if name != "" {
		label = name
	}
	p.agents[id] = agent
	p.add("agent", agent, attributes{}.point("prov:type", "prov:Person").say("prov:label", label, "as:role", role))
	return agent
}

func (p *provenance) who(id string) string { return p.agent(id, "a person without a record", "", "") }

// entry says one record: what it states as an entity, and what it did as an
// activity where it is one.
func (p *provenance) entry(e *registry.Entry, text string) {
	if e.Kind == "person" {
		return
	}
	id := e.RecordID()
	rec, act := "rec:"+id, ""
	recorded := e.Recorded.UTC().Format(time.RFC3339Nano)
	a := attributes{}.point("prov:type", "as:"+string(e.Kind)).say("prov:label", text, "as:valid", string(e.Valid()), "as:recorded", recorded, "as:digest", e.Hash)
	moment, latest := recorded, e.Recorded
	link := p.links(e)
	a.point("as:about", link.about...)
	p.add("entity", rec, a)
	p.made[rec] = e.Recorded
	if link.does {
		act = "act:" + id
		if moment = p.activity(act, e, text); moment == "" {
			p.made[rec], _ = time.Parse(time.DateOnly, string(e.Valid())) // which activity could parse
			latest = p.made[rec].AddDate(0, 0, 1).Add(-time.Millisecond)
		}
		p.relate("wasAssociatedWith", attributes{}.say("prov:activity", act, "prov:agent", p.who(link.by)))
		if link.second != "" {
			p.relate("wasAssociatedWith", attributes{}.say("prov:activity", act, "prov:agent", p.who(link.second), "prov:role", "second signature"))
		}
		for _, used := range link.uses {
			p.comesOf("used", "prov:activity", act, "prov:entity", used, latest)
		}
		p.fitted(act, e, moment, latest)
	}
	p.relate("wasGeneratedBy", attributes{}.say("prov:entity", rec, "prov:activity", act, "prov:time", moment))
	p.relate("wasAttributedTo", attributes{}.say("prov:entity", rec, "prov:agent", p.who(e.Actor)))
	for _, from := range link.from {
		p.comesOf("wasDerivedFrom", "prov:generatedEntity", rec, "prov:usedEntity", from, latest)
	}
	if old, ok := p.revises[id]; ok {
		p.comesOf("wasDerivedFrom", "prov:generatedEntity", rec, "prov:usedEntity", "rec:"+old, latest, "prov:Revision")
		p.relate("wasInvalidatedBy", attributes{}.say("prov:entity", "rec:"+old, "prov:time", recorded))
	}
	if p.made[link.ends].After(latest) { // it was recorded after its end
		act, moment = "", recorded
	}
	if link.ends != "" {
		p.relate("wasInvalidatedBy", attributes{}.say("prov:entity", link.ends, "prov:activity", act, "prov:time", moment))
	}
}

// comesOf relates what something came of, in words that put the two in order
// (PROV-CONSTRAINTS, 6). A source that was recorded after the latest moment at
// which the other can have come up, such as a picture of earlier work, is said to
// have influenced it, which puts nothing in order.
func (p *provenance) comesOf(kind, one, name, other, source string, latest time.Time, types ...string) {
	if p.made[source].After(latest) {
		kind, one, other = "wasInfluencedBy", "prov:influencee", "prov:influencer"
	}
	p.relate(kind, attributes{}.say(one, name, other, source).point("prov:type", types...))
}

// activity writes an act, and gives the moment at which what it made or ended
// may be said to have been so. PROV wants moments: a day that is known gives its
// two ends, and anything less precise stands in as:valid alone. An act that was
// recorded on a later day made its record at no moment of its own.
func (p *provenance) activity(act string, e *registry.Entry, text string) (moment string) {
	a := attributes{}.point("prov:type", "as:"+string(e.Kind)).say("prov:label", text, "as:valid", string(e.Valid()))
	moment = e.Recorded.UTC().Format(time.RFC3339Nano)
	if _, err := time.Parse(time.DateOnly, string(e.Valid())); err == nil {
		a.say("prov:startTime", string(e.Valid())+"T00:00:00Z", "prov:endTime", string(e.Valid())+"T23:59:59.999Z")
		if e.Recorded.UTC().Format(time.DateOnly) != string(e.Valid()) {
			moment = ""
		}
	}
	if w, ok := e.Body.(*registry.Work); ok {
		a.say("as:standing", w.Standing.Mark)
	}
	if d, ok := e.Body.(*registry.Decision); ok {
		a.say("as:answer", d.Answer)
	}
	p.add("activity", act, a)
	return moment
}

// fitted says which parts work put on.
func (p *provenance) fitted(act string, e *registry.Entry, moment string, latest time.Time) {
	w, ok := e.Body.(*registry.Work)
	if !ok {
		return
	}
	for i, f := range w.Fitted {
		part := fmt.Sprintf("part:%s.%d", e.RecordID(), i+1)
		p.add("entity", part, attributes{}.point("prov:type", "as:part").say("prov:label", p.reader.Text(f.Part), "as:origin", f.Origin).point("as:about", p.component(f.Component)))
		p.relate("wasGeneratedBy", attributes{}.say("prov:entity", part, "prov:activity", act, "prov:time", moment))
		if f.Stock != "" {
			p.comesOf("wasDerivedFrom", "prov:generatedEntity", part, "prov:usedEntity", "rec:"+f.Stock, latest)
		}
	}
}

// link is what ties a record to others.
type link struct {
	does       bool // it is an act, and not only a statement
	by, second string
	about      []string // components
	from       []string // what the statement rests on
	uses       []string // what the act needed or touched
	ends       string   // what it puts out of force or out of the world
}

func (p *provenance) links(e *registry.Entry) (l link) {
	l.by = e.Actor
	act := func(by, second string) { l.does, l.by, l.second = true, by, second }
	switch x := e.Body.(type) {
	case *registry.Machine, *registry.CustodyAgreement:
		l.about = []string{machineName}
	case *registry.Survey:
		act(x.By, x.Second)
		l.about = []string{p.component(x.Component)}
		l.uses, l.from = l.about, append(recs(x.Photos...), l.about...)
	case *registry.SurveySeal:
		act(x.By, "")
		for _, s := range registry.Live[*registry.Survey](p.in.Dossier) {
			l.uses = append(l.uses, "rec:"+s.RecordID())
		}
	case *registry.Joint:
		l.about, l.from = p.components(x.Components), recs(x.Photos...)
	case *registry.Measurement:
		l.about = p.components([]string{x.Component})
		l.from = l.about
	case *registry.Photo:
		l.about = p.components(x.Components)
		l.from = l.about
	case *registry.Fitting:
		l.about, l.from = p.components([]string{x.Component}), recs(x.Evidence...)
	case *registry.Evidence:
		for _, b := range x.Bears {
			l.about = append(l.about, p.component(b.Component))
		}
		l.from = recs(x.Photos...)
	case *registry.Claim:
		l.about, l.from = []string{p.component(x.Component)}, recs(x.Evidence...)
	case *registry.Fault:
		l.about = p.components(x.Components)
	case *registry.Finding:
		l.from = recs(append(slices.Clone(x.Photos), x.Fault)...)
	case *registry.Option:
		l.from = recs(x.Fault)
		for _, c := range x.Changes {
			l.about = append(l.about, p.component(c.Component))
		}
	case *registry.Proposal:
		l.from = recs(optionIDs(x.Offer)...)
	case *registry.ChangeRequest:
		l.from = recs(append(optionIDs(x.Offer), x.Amends)...)
	case *registry.Decision:
		act(x.Person, "")
		l.uses, l.from = recs(x.On), recs(x.On)
		if x.TakesBack != "" {
			l.ends = "rec:" + x.TakesBack
		}
	case *registry.SecondSignature:
		act(x.By, "")
		l.uses = recs(x.On)
	case *registry.Reply:
		l.from = recs(x.Question)
	case *registry.Opened:
		act(x.By, "")
		l.uses = recs(x.Opening, x.Standing.Decision)
	case *registry.Closed:
		act(x.By, "")
		l.uses = recs(x.Opening, x.Map)
	case *registry.Work:
		act(x.By, x.Second)
		for _, c := range x.Changes {
			l.about = append(l.about, p.component(c.Component))
		}
		for _, f := range x.Fitted {
			l.about = append(l.about, p.component(f.Component))
		}
		l.uses = append(recs(append([]string{x.Option, x.Standing.Decision}, x.Openings...)...), l.about...)
		l.from = recs(x.Photos...)
	case *registry.RemovedPart:
		l.about = []string{p.component(x.Component)}
		l.from = append(recs(append(slices.Clone(x.Photos), x.Work)...), l.about...)
	case *registry.PartMove:
		act(x.By, "")
		l.uses = recs(x.Part)
		if x.Custody == "destroyed" {
			l.ends = "rec:" + x.Part
		}
	case *registry.Check:
		act(x.By, x.Second)
		l.about = p.components(x.Components)
		l.uses = append(recs(x.Work, x.Recheck), l.about...)
	case *registry.Gate:
		act(x.By, x.Second)
		l.uses = append(recs(append(slices.Clone(x.Checks), x.Photos...)...), machineName)
	case *registry.GateTakenBack:
		act(x.By, "")
		l.uses = []string{machineName}
	case *registry.HandBack:
		act(x.By, "")
		l.uses = append(recs(x.RemovedParts...), machineName)
	case *registry.Withdrawal:
		act(x.By, "")
		l.ends = "rec:" + x.Record
	}
	slices.Sort(l.uses)
	l.uses = slices.Compact(l.uses)
	slices.Sort(l.from)
	l.from = slices.Compact(l.from)
	return p.onlyKnown(l)
}

// onlyKnown leaves out records that are not in the dossier, such as those of a
// later day, and people, who are agents.
func (p *provenance) onlyKnown(l link) link {
	strange := func(name string) bool {
		id, is := strings.CutPrefix(name, "rec:")
		e, known := p.in.Dossier.Entry(id)
		return is && (!known || e.Kind == "person")
	}
	l.uses, l.from = slices.DeleteFunc(l.uses, strange), slices.DeleteFunc(l.from, strange)
	if strange(l.ends) {
		l.ends = ""
	}
	return l
}

// component names a component, or an assembly, which stands for the machine.
func (p *provenance) component(id string) string {
	if p.comps[id] {
		return "comp:" + id
	}
	return machineName
}

func (p *provenance) components(ids []string) []string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = p.component(id)
	}
	return out
}

// recs names records, leaving out "".
func recs(ids ...string) (out []string) {
	for _, id := range ids {
		if id != "" {
			out = append(out, "rec:"+id)
		}
	}
	return out
}

func optionIDs(o registry.Offer) (out []string) {
	for _, x := range o.Options {
		out = append(out, x.ID)
	}
	return out
}
