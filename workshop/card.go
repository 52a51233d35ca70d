package workshop

import (
	"context"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// CardReport is the work card of one option: what is allowed, what has to be in
// hand before anything is opened, and how far the work is.
type CardReport struct {
	Machine   MachineReport `json:"machine"`
	Version   uint64        `json:"version"`
	Changed   time.Time     `json:"changed"`
	Option    OptionReport  `json:"option"`
	Complaint string        `json:"complaint"`
	// Approval is the owner's word that covers it now; without one, Uncovered
	// says why and what to do.
	Approval  *CardApproval  `json:"approval,omitempty"`
	Uncovered *registry.Lack `json:"uncovered,omitempty"`
	// Beyond are the ways forward when the work turns out to be another.
	Beyond   []string      `json:"beyond"`
	Needs    []CardNeed    `json:"needs"`
	First    []string      `json:"in_hand_first,omitempty"` // what the treatment asks for
	Tools    []string      `json:"tools"`
	Tips     []string      `json:"tips"`
	Cautions []CardCaution `json:"cautions"`
	// Openings in the order in which they are made; Closing is that in which
	// they are closed.
	Openings []CardOpening   `json:"openings"`
	Closing  []string        `json:"closing"`
	Steps    []CardStep      `json:"steps"`
	Removed  []RemovedReport `json:"removed_parts"`
	Measure  []CardMeasure   `json:"measure"`
	After    []CardCheck     `json:"after"`
	Torque   string          `json:"torque"`
	// TipsBasis says what the tips and tools rest on.
	TipsBasis string `json:"tips_basis"`
}

// CardApproval is the standing approval with its limits.
type CardApproval struct {
	Offer      string    `json:"offer"`
	Decision   string    `json:"decision"`
	By         string    `json:"by"`
	On         time.Time `json:"on"`
	Digest     string    `json:"digest"`
	Until      string    `json:"until,omitempty"`
	Ceiling    string    `json:"ceiling,omitempty"`
	Spent      string    `json:"spent,omitempty"`
	Conditions []string  `json:"conditions,omitempty"`
	// Covers says in words what may be done, and nothing else may.
	Covers []string `json:"covers"`
}

// CardNeed is something that has to be in hand first.
type CardNeed struct {
	What     string  `json:"what"`
	Count    float64 `json:"count,omitempty"`
	Unit     string  `json:"unit,omitempty"`
	For      string  `json:"for"`
	InHand   bool    `json:"in_hand"`
	InStock  bool    `json:"in_stock,omitempty"`
	LeadDays float64 `json:"lead_days,omitempty"`
	Source   string  `json:"source,omitempty"`
}

// CardCaution is a caution with who has read it.
type CardCaution struct {
	CautionReport
	// For are the opening ids that call for it; none when the treatment does.
	For []string `json:"for,omitempty"`
	// Read names who acknowledged it; a note needs nobody.
	Read []CardRead `json:"read,omitempty"`
}

// CardRead is one acknowledgement.
type CardRead struct {
	By string    `json:"by"`
	On time.Time `json:"on"`
}

// Unread says whether somebody still has to read the caution.
func (c CardCaution) Unread() bool { return c.Level != "note" && len(c.Read) == 0 }

// CardOpening is one opening of the card.
type CardOpening struct {
	ID       string        `json:"id"`
	Title    string        `json:"title"`
	Pictures []PhotoReport `json:"as_found_pictures"`
	Joints   []CardJoint   `json:"joints"`
	// Lacks keep it from being opened now, each with its way forward.
	Lacks  []registry.Lack `json:"lacks"`
	Opened string          `json:"opened,omitempty"` // day
	Mark   string          `json:"mark,omitempty"`   // how it stands to the owner's word
	Maps   []CardMap       `json:"fastener_maps"`
	Closed []CardClosed    `json:"closed,omitempty"`
}

// CardJoint is a joint with its witness; none when it is not in the register.
type CardJoint struct {
	Joint   string `json:"joint"`
	Witness string `json:"witness,omitempty"`
	Sign    string `json:"sign,omitempty"`
}

// CardClosed is one closing.
type CardClosed struct {
	On      registry.Date `json:"on"`
	By      string        `json:"by"`
	Map     string        `json:"map"`
	Differs []string      `json:"differs,omitempty"`
}

// CardStep is a step with the moment at which it was recorded.
type CardStep struct {
	ID       string             `json:"id"`
	At       time.Time          `json:"at"`
	Did      string             `json:"did"`
	By       string             `json:"by"`
	Readings []registry.Reading `json:"readings,omitempty"`
	Photos   []string           `json:"photos,omitempty"`
	// Undone says that it was withdrawn; it stays readable.
	Undone bool   `json:"undone,omitempty"`
	Why    string `json:"why,omitempty"`
}

// CardMeasure is something to measure while it can be reached.
type CardMeasure struct {
	ID    string   `json:"id"`
	Title string   `json:"title"`
	How   string   `json:"how"`
	Tools []string `json:"tools,omitempty"`
}

// CardCheck is a check of a gate that concerns what the work touches.
type CardCheck struct {
	ID     string `json:"id"`
	Gate   string `json:"gate"`
	What   string `json:"what"`
	Passed string `json:"passed,omitempty"` // day on which it last passed
}

// Card makes the work card of an option. CodeNotFound when there is no such
// option.
func (w *Workshop) Card(ctx context.Context, machine, option string) (*CardReport, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	o, ok := registry.Get[*registry.Option](d, option)
	if !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "Show the machine to see the faults and their options.", "There is no option %q", option)
	}
	c := cardBuilder{builder: builder{seen: &seen{w: w, d: d}, reader: NewReader(d, false), r: &Report{}}, option: o.Record, ids: chain(d, option)}
	c.work()
	m, _ := d.MachineRecord()
	c.card = &CardReport{Machine: machineReport(d.ID, m, false), Version: d.Version(), Option: w.optionReport(d, *o.Record, c.reader),
		Needs: []CardNeed{}, Cautions: []CardCaution{}, Openings: []CardOpening{}, Closing: []string{}, Steps: []CardStep{}, Removed: []RemovedReport{},
		Measure: []CardMeasure{}, After: []CardCheck{}, Beyond: waysBeyond, Torque: torqueRule, TipsBasis: tipsBasis}
	if entries := d.Entries(); len(entries) > 0 {
		c.card.Changed = entries[len(entries)-1].Recorded
	}
	if f, ok := registry.Get[*registry.Fault](d, o.Record.Fault); ok {
		c.card.Complaint = c.text(f.Record.Complaint)
		c.touched = append(c.touched, f.Record.Components...)
	}
	for _, change := range o.Record.Changes {
		c.touched = append(c.touched, change.Component)
	}
	if t, ok := w.Catalog.Treatment(o.Record.Treatment); ok {
		c.card.First = t.InHandFirst
	}
	c.order(o.Record.Openings)
	c.approval()
	c.needs()
	c.cautions()
	c.openings()
	c.steps()
	c.removed()
	c.checks()
	c.tools()
	return c.card, nil
}

// chain lists the ids under which a record has been known, from what was asked
// for to the last correction, and what came before either.
func chain(d *registry.Dossier, id string) []string {
	ids := []string{id}
	for e, ok := d.Entry(id); ok && e.SupersededBy != ""; e, ok = d.Entry(e.SupersededBy) {
		ids = append(ids, e.SupersededBy)
	}
	for o, ok := optionEntry(d, id); ok && o.Supersedes != ""; o, ok = optionEntry(d, o.Supersedes) {
		ids = append(ids, o.Supersedes)
	}
	return ids
}

func optionEntry(d *registry.Dossier, id string) (*registry.Option, bool) {
	e, ok := d.Entry(id)
	if !ok {
		return nil, false
	}
	o, ok := e.Body.(*registry.Option)
	return o, ok
}

// cardBuilder fills a CardReport.
type cardBuilder struct {
	builder
	card    *CardReport
	option  *registry.Option
	ids     []string // under which the option has been known
	touched []string // components
	opens   []string // openings, in the order in which they are made
}

// order puts openings behind those that have to come before them.
func (c *cardBuilder) order(openings []string) {
	for _, id := range openings {
		if slices.Contains(c.opens, id) {
			continue
		}
		if o, ok := registry.Get[*registry.Opening](c.d, id); ok {
			c.order(slices.DeleteFunc(slices.Clone(o.Record.Requires), func(r string) bool { return r == id }))
		}
		if !slices.Contains(c.opens, id) {
			c.opens = append(c.opens, id)
		}
	}
}

func (c *cardBuilder) title(opening string) string {
	if o, ok := registry.Get[*registry.Opening](c.d, opening); ok {
		return c.text(o.Record.Title)
	}
	return opening
}

func (c *cardBuilder) approval() {
	var first string
	for _, id := range c.ids {
		a, why, ok := c.d.Covering(id, c.now())
		if !ok {
			if first == "" {
				first = why
			}
			continue
		}
		out := &CardApproval{Offer: a.Decision.Record.On, Decision: a.Decision.RecordID(), By: c.person(a.Decision.Record.Person), On: a.Decision.Recorded,
			Digest: a.Decision.Record.Digest, Conditions: c.texts(a.Decision.Record.Conditions)}
		if a.Decision.Record.Until != nil {
			out.Until = a.Decision.Record.Until.Add(-time.Second).UTC().Format(time.DateOnly)
		}
		if !a.Offer.Ceiling.IsZero() {
			out.Ceiling = a.Offer.Ceiling.String()
		}
		if spent, err := c.d.SpentOn(a.Decision.Record.On); err == nil && !spent.IsZero() {
			out.Spent = spent.String()
		}
		out.Covers = append(out.Covers, c.w.treatmentTitle(a.Option.Treatment)+": "+c.text(a.Option.Title))
		seen := map[string]bool{}
		for _, x := range a.Option.Changes {
			name, _ := c.w.component(x.Component)
			if line := "changes to " + name.Name; !seen[line] {
				seen[line] = true
				out.Covers = append(out.Covers, line)
			}
		}
		for _, opening := range c.d.OpeningsNeeded(a.Option.Openings) {
			out.Covers = append(out.Covers, "opening: "+c.title(opening))
		}
		c.card.Approval = out
		return
	}
	c.card.Uncovered = &registry.Lack{Why: c.text(first), Fix: "Ask the owner with a proposal, or with a change request where the work goes beyond one."}
}

func (c *cardBuilder) needs() {
	add := func(of string, list []registry.Need) {
		for _, n := range list {
			stock := c.d.InStock(n.What)
			c.card.Needs = append(c.card.Needs, CardNeed{What: n.What, Count: n.Count, Unit: n.Unit, For: of, InHand: n.InHand || stock,
				InStock: stock, LeadDays: n.LeadDays, Source: n.Source})
		}
	}
	add(c.card.Option.Title, c.option.Needs)
	for _, id := range c.opens {
		if o, ok := registry.Get[*registry.Opening](c.d, id); ok {
			add(c.title(id), o.Record.Needs)
		}
	}
}

func (c *cardBuilder) cautions() {
	add := func(opening string, list []CautionReport) {
		for _, x := range list {
			i := slices.IndexFunc(c.card.Cautions, func(have CardCaution) bool { return have.ID == x.ID })
			if i < 0 {
				i = len(c.card.Cautions)
				c.card.Cautions = append(c.card.Cautions, CardCaution{CautionReport: x})
			}
			if opening != "" && !slices.Contains(c.card.Cautions[i].For, opening) {
				c.card.Cautions[i].For = append(c.card.Cautions[i].For, opening)
			}
		}
	}
	add("", c.w.cautionsFor(*c.option))
	for _, id := range c.opens {
		add(id, cautionReports(c.w.Catalog.CautionsForOpening(id)))
	}
	for _, a := range registry.Live[*registry.Acknowledgement](c.d) {
		if !slices.Contains(c.ids, a.Record.For) && !slices.Contains(c.opens, a.Record.For) {
			continue
		}
		for i := range c.card.Cautions {
			if c.card.Cautions[i].ID == a.Record.Caution {
				c.card.Cautions[i].Read = append(c.card.Cautions[i].Read, CardRead{c.person(a.Record.By), a.Recorded})
			}
		}
	}
	rank := map[string]int{"stop": 0, "acknowledge": 1, "note": 2}
	slices.SortStableFunc(c.card.Cautions, func(x, y CardCaution) int { return rank[x.Level] - rank[y.Level] })
}

func (c *cardBuilder) openings() {
	for _, id := range c.opens {
		o, ok := registry.Get[*registry.Opening](c.d, id)
		if !ok {
			continue
		}
		same := append(chainOf(c.d, id), o.RecordID())
		out := CardOpening{ID: o.RecordID(), Title: c.text(o.Record.Title), Pictures: []PhotoReport{}, Joints: []CardJoint{}, Lacks: []registry.Lack{}, Maps: []CardMap{}}
		for _, p := range registry.Live[*registry.Photo](c.d) {
			if p.Record.Shows == "as-found" && slices.ContainsFunc(p.Record.Openings, func(x string) bool { return slices.Contains(same, x) }) {
				out.Pictures = append(out.Pictures, c.photo(p))
			}
		}
		for _, joint := range o.Record.Joints {
			j := CardJoint{Joint: joint}
			for _, f := range registry.Live[*registry.Joint](c.d) {
				if f.Record.Joint == joint {
					j.Witness, j.Sign = f.Record.Witness, c.text(f.Record.Sign)
				}
			}
			out.Joints = append(out.Joints, j)
		}
		for _, x := range registry.Live[*registry.Opened](c.d) {
			if slices.Contains(same, x.Record.Opening) {
				out.Opened, out.Mark = string(x.Valid()), x.Record.Standing.Mark
			}
		}
		if out.Opened == "" {
			out.Lacks = c.lacks(o.RecordID())
		}
		for _, m := range registry.Live[*registry.FastenerMap](c.d) {
			if slices.Contains(same, m.Record.Opening) {
				out.Maps = append(out.Maps, c.fasteners(m))
			}
		}
		for _, x := range registry.Live[*registry.Closed](c.d) {
			if slices.Contains(same, x.Record.Opening) {
				out.Closed = append(out.Closed, CardClosed{On: x.Valid(), By: c.person(x.Record.By), Map: x.Record.Map, Differs: x.Record.Differs})
			}
		}
		c.card.Openings = append(c.card.Openings, out)
		c.card.Closing = append([]string{out.Title}, c.card.Closing...)
	}
}

// chainOf lists an id and the ids of its corrections.
func chainOf(d *registry.Dossier, id string) []string {
	ids := []string{id}
	for e, ok := d.Entry(id); ok && e.SupersededBy != ""; e, ok = d.Entry(e.SupersededBy) {
		ids = append(ids, e.SupersededBy)
	}
	return ids
}

// lacks keep something from being opened: by the rules of the registry, and by
// cautions that nobody has read.
func (c *cardBuilder) lacks(opening string) []registry.Lack {
	_, lacks := c.d.OpeningLacks(opening, c.now())
	for _, x := range c.card.Cautions {
		if x.Unread() && (len(x.For) == 0 || slices.Contains(x.For, opening)) {
			lacks = append(lacks, registry.Lack{Why: "a caution has not been read: “" + firstWords(x.Text) + "”", Fix: "Read it, and say so on the card."})
		}
	}
	for i := range lacks {
		lacks[i].Why = c.text(lacks[i].Why)
	}
	return append([]registry.Lack{}, lacks...)
}

func (c *cardBuilder) steps() {
	for _, s := range registry.All[*registry.Step](c.d) {
		if !slices.Contains(c.ids, s.Record.Option) || s.SupersededBy != "" {
			continue
		}
		out := CardStep{ID: s.RecordID(), At: s.Recorded, Did: c.text(s.Record.Did), By: c.person(s.Record.By), Readings: s.Record.Readings, Photos: s.Record.Photos}
		if s.WithdrawnBy != "" {
			out.Undone = true
			if e, ok := c.d.Entry(s.WithdrawnBy); ok {
				out.Why = c.text(e.Body.(*registry.Withdrawal).Why)
			}
		}
		c.card.Steps = append(c.card.Steps, out)
	}
}

// removed lists the parts that work for the option took off.
func (c *cardBuilder) removed() {
	works := map[string]bool{}
	for _, x := range registry.Live[*registry.Work](c.d) {
		works[x.RecordID()] = slices.Contains(c.ids, x.Record.Option)
	}
	for _, p := range registry.Live[*registry.RemovedPart](c.d) {
		if !works[p.Record.Work] {
			continue
		}
		for _, r := range c.r.Removed {
			if r.ID == p.RecordID() {
				c.card.Removed = append(c.card.Removed, r)
			}
		}
	}
}

// checks lists what to measure while the parts can be reached, and what to
// check after: the checks of the gates that look at them.
func (c *cardBuilder) checks() {
	touches := func(list []string) bool {
		return slices.ContainsFunc(list, func(x string) bool { return slices.Contains(c.touched, x) })
	}
	within := slices.Clone(c.touched)
	for _, id := range c.opens {
		if o, ok := registry.Get[*registry.Opening](c.d, id); ok {
			within = append(within, o.Record.Behind...)
		}
	}
	// A test that looks at other parts too is no part of this work.
	tests := c.w.rules().Tests
	for _, t := range c.w.Catalog.FaultTests() {
		if t.Level == levelMeasure && touches(tests[t.ID]) && !slices.ContainsFunc(tests[t.ID], func(x string) bool { return !slices.Contains(within, x) }) {
			c.card.Measure = append(c.card.Measure, CardMeasure{ID: t.ID, Title: t.Title, How: t.How, Tools: t.Tools})
		}
	}
	passed := map[string]string{}
	for _, x := range registry.Live[*registry.Check](c.d) {
		if x.Record.Outcome == "passed" {
			passed[x.Record.Of] = string(x.Valid())
		}
	}
	for _, g := range c.w.Catalog.Gates() {
		for _, x := range g.Checks {
			if touches(x.Components) {
				c.card.After = append(c.card.After, CardCheck{ID: x.ID, Gate: g.Title, What: x.What, Passed: passed[x.ID]})
			}
		}
	}
}

// levelMeasure is the catalog's level of a test that measures and disturbs no
// joint.
const levelMeasure = 1

func (c *cardBuilder) tools() {
	add := func(tool string) {
		if !slices.ContainsFunc(c.card.Tools, func(x string) bool { return strings.EqualFold(x, tool) }) {
			c.card.Tools = append(c.card.Tools, tool)
		}
	}
	c.card.Tools, c.card.Tips = []string{}, slices.Clone(cardTips)
	if len(c.opens) > 0 {
		for _, t := range openingTools {
			add(t)
		}
		c.card.Tips = append(c.card.Tips, openingTips...)
	}
	for _, m := range c.card.Measure {
		for _, t := range m.Tools {
			add(t)
		}
	}
}

// firstWords is the first sentence of a caution, or its beginning.
func firstWords(text string) string {
	if sentence, _, ok := strings.Cut(text, ". "); ok && len(sentence) <= 120 {
		return sentence
	}
	words := strings.Fields(text)
	if len(words) > 12 {
		return strings.Join(words[:12], " ") + " …"
	}
	return text
}
