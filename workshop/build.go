package workshop

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// ReportOptions says which edition of a dossier is wanted.
type ReportOptions struct {
	At     At
	Public bool // names and numbers masked, withheld pictures left out
	// Standpoint that sets weights and credits; "" is the catalog's first.
	Standpoint string
}

// Report shows a machine's dossier. CodeNotFound for a machine or standpoint
// that is not there.
func (w *Workshop) Report(ctx context.Context, machine string, o ReportOptions) (*Report, error) {
	d, err := w.Load(ctx, machine, o.At)
	if err != nil {
		return nil, err
	}
	return w.report(d, o)
}

// Component shows one component within its machine's report; name is an id, a
// code or the full name. CodeNotFound when there is no such component.
func (w *Workshop) Component(ctx context.Context, machine, name string, o ReportOptions) (*Report, *ComponentReport, error) {
	r, err := w.Report(ctx, machine, o)
	if err != nil {
		return nil, nil, err
	}
	c, ok := w.component(name)
	if ok {
		for g := range r.Groups {
			for i := range r.Groups[g].Components {
				if r.Groups[g].Components[i].ID == c.ID {
					return r, &r.Groups[g].Components[i], nil
				}
			}
		}
	}
	return nil, nil, registry.Refuse(registry.CodeNotFound, "Choose one from the list of components.", "The anatomy has no component %q", name)
}

// builder fills a Report.
type builder struct {
	*seen
	reader Reader
	public bool
	at     At
	r      *Report
	// functions is how components work, by id, once for all of them.
	functions map[string]string
}

// function is how a component works.
func (b *builder) function(component string) string {
	if b.functions == nil {
		b.functions = b.d.Functions()
	}
	return cmp.Or(b.functions[component], "not-tested")
}

func (w *Workshop) report(d *registry.Dossier, o ReportOptions) (*Report, error) {
	s, err := w.look(d, o.Standpoint)
	if err != nil {
		return nil, err
	}
	b := builder{seen: s, reader: NewReader(d, o.Public), public: o.Public, at: o.At, r: &Report{
		Version: d.Version(), Head: d.Last(), Public: o.Public, Phase: PhaseOf(d),
		Catalog: w.catalogIdentity(), Standpoint: s.standpoint.id, minimum: s.standpoint.minimum,
	}}
	if !o.At.KnownAt.IsZero() {
		b.r.KnownAt = o.At.KnownAt.UTC().Format(time.RFC3339)
	}
	if !o.At.AsOf.IsZero() {
		b.r.AsOf = o.At.AsOf.UTC().Format(time.DateOnly)
	}
	b.machine()
	if err := b.indices(); err != nil {
		return nil, err
	}
	b.survey()
	b.groups()
	b.uncertain()
	b.facts()
	b.job()
	b.rechecks()
	b.handBack()
	b.ownerLinks()
	b.passkeys()
	b.toSign()
	b.timeline()
	return b.r, nil
}

// now is the moment for which the report speaks.
func (b *builder) now() time.Time {
	if !b.at.KnownAt.IsZero() {
		return b.at.KnownAt
	}
	return b.w.Now()
}

func (b *builder) text(s string) string { return b.reader.Text(s) }

func (b *builder) texts(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = b.text(s)
	}
	return out
}

func (b *builder) person(id string) string { return PersonName(b.d, id, b.public) }

// private is a withheld value for those who may see it.
func (b *builder) private(p registry.Private) string {
	switch {
	case p.IsZero():
		return ""
	case b.public || p.Value == "":
		return "withheld"
	}
	return p.Value
}

func (b *builder) machine() {
	m, _ := b.d.MachineRecord()
	b.r.Machine = machineReport(b.d.ID, m, b.public)
	b.r.Machine.Story = b.text(m.Story)
	b.r.People = []PersonReport{}
	for _, p := range registry.Live[*registry.Person](b.d) {
		b.r.People = append(b.r.People, PersonReport{ID: p.RecordID(), Role: p.Record.Role, Name: b.person(p.RecordID()), Contact: b.private(p.Record.Contact)})
	}
	if a, ok := b.d.Agreement(); ok {
		report := &AgreementReport{Owner: b.person(a.Owner), Custodian: b.person(a.Custodian), Authority: b.text(a.Authority),
			Purpose: a.Purpose, Care: b.texts(a.Care), Stop: b.texts(a.Stop), Insurer: b.private(a.Insurer), Place: b.private(a.Place),
			Until: a.Until, Inventory: a.Inventory}
		if !a.Ceiling.IsZero() {
			report.Ceiling = a.Ceiling.String()
		}
		if !a.AgreedValue.IsZero() && !b.public {
			report.AgreedValue = a.AgreedValue.String()
		}
		b.r.Agreement = report
	}
}

func machineReport(id string, m *registry.Machine, public bool) MachineReport {
	r := MachineReport{ID: id, Name: m.Name(), Make: m.Make, Model: m.Model, Year: m.Year, Invented: m.Invented, Numbers: []NumberReport{}}
	for _, n := range m.Numbers {
		shown := NumberReport{Where: n.Where, Shown: n.Masked, Note: n.Note}
		if !public && n.AsRead.Value != "" {
			shown.Shown, shown.Doubtful = n.AsRead.Value, n.Doubtful
		}
		r.Numbers = append(r.Numbers, shown)
	}
	return r
}

func (b *builder) indices() (err error) {
	found := map[string]*scoring.IndexResult{}
	if seal, ok := b.d.Seal(); ok {
		for _, e := range seal.Record.Indices {
			var result scoring.IndexResult
			if err := json.Unmarshal(e.Result, &result); err != nil {
				return fmt.Errorf("read the sealed %s index: %w", e.Of, err)
			}
			found[e.Of] = &result
		}
	}
	b.r.Indices.Each(func(name string, r *IndexReport) {
		if err != nil {
			return
		}
		if *r, err = b.index(name); err == nil {
			r.AsFound = found[name]
		}
	})
	b.r.Coverage = b.r.Indices.Substance.Coverage
	return err
}

func (b *builder) survey() {
	for _, c := range b.w.components() {
		if b.d.NotFitted(c.ID) {
			continue
		}
		b.r.Survey.Of++
		if _, ok := b.d.SurveyOf(c.ID); ok {
			b.r.Survey.Surveyed++
		}
	}
	if seal, ok := b.d.Seal(); ok {
		b.r.Survey.Sealed, b.r.Survey.Digest = true, seal.Record.Digest
		b.r.Survey.SealedOn, b.r.Survey.SealedBy = string(seal.Record.Valid), b.person(seal.Record.By)
		b.r.Survey.Gaps = seal.Record.Gaps
	}
}

func (b *builder) groups() {
	index := map[string]int{}
	for _, c := range b.w.components() {
		i, ok := index[c.Group]
		if !ok {
			i = len(b.r.Groups)
			index[c.Group] = i
			b.r.Groups = append(b.r.Groups, GroupReport{ID: c.Group, Name: c.GroupName})
		}
		g := &b.r.Groups[i]
		report := b.component(c)
		if !report.NotFitted {
			g.Points += c.Points
		}
		g.Components = append(g.Components, report)
	}
}

func (b *builder) component(c component) ComponentReport {
	r := ComponentReport{ID: c.ID, Code: c.Code, Name: c.Name, Group: c.GroupName, Points: c.Points,
		IdentityBearing: c.Identity, Consumable: c.Consumable, SafetyCritical: c.Safety, FirstCheck: c.FirstCheck, weights: c.weights}
	if b.d.NotFitted(c.ID) {
		r.NotFitted = true
		return r
	}
	r.Function, r.Custody = b.function(c.ID), "fitted"
	if s, ok := b.d.SurveyOf(c.ID); ok {
		r.Surveyed, r.Condition, r.Note = true, s.Record.Condition, b.text(s.Record.Note)
		r.Read = b.private(s.Record.Read)
		if s.Record.Custody != "" {
			r.Custody = s.Record.Custody
		}
		if r.Condition != nil {
			r.ConditionWords = b.w.conditionWords(*r.Condition)
		}
	}
	for _, p := range registry.Live[*registry.Photo](b.d) {
		if slices.Contains(p.Record.Components, c.ID) {
			r.Photos = append(r.Photos, p.RecordID())
		}
	}
	for _, name := range indexNames {
		p := indexQuestion[name]
		a := b.answers[c.ID][p]
		a.Statement = b.text(a.Statement)
		if st := b.stateOf(c.ID, p, false); st.fixed != nil {
			a = ClaimReport{Proposition: p, Basis: st.basis, Posterior: st.fixed, Evidence: a.Evidence, Statement: a.Statement, Claim: a.Claim}
			lead(&a)
			if st.basis == "seen" {
				a.Undetermined = false
				if p != registry.PropositionOrigin {
					a.Leading = ""
				}
			}
		} else if st.basis == "work" {
			a.Basis = "work"
		}
		switch p {
		case registry.PropositionOrigin:
			r.Origin = a
		case registry.PropositionFinish:
			r.Finish = a
		default:
			r.Specification = a
		}
	}
	return r
}

// uncertainShown is how many open questions a report lists; those whose answer
// has reached settledFrom are not among them.
const (
	uncertainShown = 12
	settledFrom    = 0.9
)

// settle is the least invasive next look at a question.
func settle(c *ComponentReport, p registry.Proposition) string {
	look := c.FirstCheck
	switch p {
	case registry.PropositionFinish:
		look = "Compare film and colour with a sheltered face of the same machine"
	case registry.PropositionSpecification:
		look = "Look it up in the maker's catalogue or parts list of the year"
	}
	return strings.TrimSuffix(look, ".")
}

func (b *builder) uncertain() {
	b.r.Uncertain, b.r.Questions = []Uncertain{}, []string{}
	type stake struct {
		Uncertain
		bits float64
	}
	var all []stake
	for _, g := range b.r.Groups {
		for i := range g.Components {
			c := &g.Components[i]
			known, _ := b.w.component(c.ID)
			if c.NotFitted {
				continue
			}
			for k, claim := range c.Claims() {
				weight := known.weight(indexNames[k])
				if claim.Undetermined && claim.Leading == "" && weight > 0 {
					b.r.Questions = append(b.r.Questions, fmt.Sprintf("%s: the %s was looked at and cannot be told.", c.Name, claim.Proposition))
				}
				if weight == 0 || claim.Probability >= settledFrom || len(claim.EntropyBits) == 0 {
					continue
				}
				bits := claim.EntropyBits[len(claim.EntropyBits)-1]
				why := "nothing but the house prior speaks to it"
				switch {
				case claim.Conflict:
					why = "the evidence contradicts itself"
				case claim.Undetermined:
					why = "looked at, and it could not be told"
				case claim.Basis == "evidence":
					why = "the evidence leaves it open"
				}
				all = append(all, stake{Uncertain{Component: c.ID, Name: c.Name, Proposition: claim.Proposition, Points: weight,
					EntropyBits: bits, Why: why, Settle: settle(c, claim.Proposition)}, weight * bits})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y stake) int { return cmp.Compare(y.bits, x.bits) })
	for _, s := range all[:min(len(all), uncertainShown)] {
		b.r.Uncertain = append(b.r.Uncertain, s.Uncertain)
	}
}

func (b *builder) facts() {
	r := b.r
	r.Evidence, r.Joints, r.Readings, r.Photos = []EvidenceReport{}, []JointReport{}, []ReadingReport{}, []PhotoReport{}
	for _, e := range registry.All[*registry.Evidence](b.d) {
		r.Evidence = append(r.Evidence, EvidenceReport{ID: e.RecordID(), Kind: e.Record.Evidence, Says: b.text(e.Record.Says),
			Limits: b.text(e.Record.Limits), Made: e.Record.Made, MadeBy: b.text(e.Record.MadeBy), Recollected: e.Record.Recollected,
			Cluster: e.Record.Cluster, Reliability: e.Record.Reliability, Bears: e.Record.Bears, Photos: e.Record.Photos,
			Recorded: e.Recorded, By: b.person(e.Record.By), Method: evidenceMethod(e.Record), Live: e.Live()})
	}
	for _, j := range registry.Live[*registry.Joint](b.d) {
		r.Joints = append(r.Joints, JointReport{ID: j.RecordID(), Joint: j.Record.Joint, Components: j.Record.Components,
			Witness: j.Record.Witness, Sign: b.text(j.Record.Sign), Photos: j.Record.Photos})
	}
	for _, m := range registry.Live[*registry.Measurement](b.d) {
		r.Readings = append(r.Readings, ReadingReport{ID: m.RecordID(), Component: m.Record.Component, Quantity: m.Record.Quantity,
			Value: m.Record.Value, Unit: m.Record.Unit, Uncertainty: m.Record.Uncertainty, Instrument: m.Record.Instrument,
			Place: m.Record.Place, Valid: m.Valid()})
	}
	for _, p := range registry.Live[*registry.Photo](b.d) {
		r.Photos = append(r.Photos, b.photo(p))
	}
	for _, c := range b.w.components() {
		for _, f := range b.d.FittingsOf(c.ID) {
			r.Fittings = append(r.Fittings, FittingReport{ID: f.RecordID(), Component: c.ID, Name: c.Name, Part: b.text(f.Record.Part),
				Stamp: f.Record.Stamp, Origin: f.Record.Origin, Valid: f.Record.Valid, Recorded: f.Recorded, Evidence: f.Record.Evidence})
		}
	}
}

func (b *builder) photo(p registry.Found[*registry.Photo]) PhotoReport {
	if b.public && p.Record.Withhold {
		return PhotoReport{ID: p.RecordID(), Digest: p.Record.Digest, MediaType: p.Record.MediaType, Shows: p.Record.Shows, Withheld: true}
	}
	return PhotoReport{ID: p.RecordID(), Digest: p.Record.Digest, Preview: p.Record.Preview, MediaType: p.Record.MediaType,
		Width: p.Record.Width, Height: p.Record.Height, Shows: p.Record.Shows, Components: p.Record.Components,
		Openings: p.Record.Openings, Caption: b.text(p.Record.Caption), Listed: p.Record.Listed, Scale: p.Record.Scale, Taken: p.Record.Taken,
		Valid: p.Valid(), Withheld: p.Record.Withhold, By: b.person(p.Record.By)}
}

// retext renders every text of a record for the edition, by way of its JSON.
func retext[T any](b *builder, record T) T {
	raw, err := json.Marshal(record)
	if err != nil || !b.reader.names(raw) {
		return record
	}
	if raw, err = b.reader.raw(raw); err != nil {
		return record
	}
	var out T
	if err := json.Unmarshal(raw, &out); err != nil {
		return record
	}
	return out
}

func (b *builder) job() {
	r := b.r
	r.Faults, r.Openings, r.Offers = []FaultReport{}, []OpeningReport{}, []OfferReport{}
	weighed := b.weighed()
	for _, f := range registry.Live[*registry.Fault](b.d) {
		report := FaultReport{ID: f.RecordID(), Complaint: b.text(f.Record.Complaint), Cause: b.text(f.Record.Cause),
			Components: f.Record.Components, Grave: f.Record.Grave, Options: []OptionReport{},
			Leaving: leaving(b.d, f.RecordID(), b.reader)}
		for _, o := range registry.Live[*registry.Option](b.d) {
			if o.Record.Fault != f.RecordID() {
				continue
			}
			option := b.w.optionReport(b.d, *o.Record, b.reader)
			option.Effects = weighed[o.RecordID()]
			option.Risk, option.Parts = risk(b.d, o.RecordID(), b.reader), b.parts(o.Record)
			if option.Treatment == leaveTreatment {
				option.Leaving = report.Leaving
			}
			_, why, ok := b.d.Covering(o.RecordID(), b.now())
			option.Standing = "approved"
			if !ok {
				option.Standing = b.text(why)
			}
			report.Options = append(report.Options, option)
		}
		slices.SortStableFunc(report.Options, func(x, y OptionReport) int { return cmp.Compare(x.Rung, y.Rung) })
		r.Faults = append(r.Faults, report)
	}
	for _, o := range registry.Live[*registry.Opening](b.d) {
		report := OpeningReport{Opening: retext(b, *o.Record)}
		for _, done := range registry.Live[*registry.Opened](b.d) {
			if done.Record.Opening == o.RecordID() || done.Record.Opening == o.Record.Supersedes {
				report.Opened, report.Standing = string(done.Record.Valid), done.Record.Standing
			}
		}
		r.Openings = append(r.Openings, report)
	}
	for _, e := range b.d.Entries() {
		switch e.Body.(type) {
		case *registry.Proposal, *registry.ChangeRequest:
			r.Offers = append(r.Offers, b.offer(e))
		}
	}
	b.work()
}

// weighed gives the effects of each option as they were last computed, for a
// weighing or for an offer.
func (b *builder) weighed() map[string]*Effects {
	out := map[string]*Effects{}
	take := func(options []string, estimates []registry.NamedEstimate) {
		for id, e := range effectsOf(options, estimates) {
			out[id] = e
		}
	}
	for _, e := range b.d.Entries() {
		switch x := e.Body.(type) {
		case *registry.Weighing:
			take(x.Options, x.Effects)
		case *registry.Proposal:
			take(optionIDs(x.Offer.Options), x.Offer.Shown)
		case *registry.ChangeRequest:
			take(optionIDs(x.Offer.Options), x.Offer.Shown)
		}
	}
	return out
}

func optionIDs(options []registry.Option) []string {
	ids := []string{}
	for _, o := range options {
		ids = append(ids, o.ID)
	}
	return ids
}

// effectsOf reads recorded effects, by option. An index that an option does not
// touch has no estimate, and loses nothing.
func effectsOf(options []string, estimates []registry.NamedEstimate) map[string]*Effects {
	out := map[string]*Effects{}
	for _, id := range options {
		out[id] = &Effects{}
	}
	for _, e := range estimates {
		option, index, ok := strings.Cut(e.Of, "/")
		if !ok || out[option] == nil {
			continue
		}
		out[option].Estimates = append(out[option].Estimates, e)
		out[option].Each(func(name string, to *scoring.EffectResult) {
			if name == index {
				// What cannot be read shows as no effect figure; the verifier
				// names it.
				_ = json.Unmarshal(e.Result, to)
			}
		})
	}
	return out
}

func (b *builder) offer(e *registry.Entry) OfferReport {
	out := OfferReport{ID: e.RecordID(), Kind: e.Kind, Recorded: e.Recorded, Superseded: !e.Live(), Answers: []AnswerReport{}}
	switch x := e.Body.(type) {
	case *registry.Proposal:
		out.By, out.To, out.Offer, out.Digest = b.person(x.By), b.person(x.To), x.Offer, x.Digest
	case *registry.ChangeRequest:
		out.By, out.To, out.Offer, out.Digest, out.Found = b.person(x.By), b.person(x.To), x.Offer, x.Digest, b.text(x.Found)
	}
	shown := effectsOf(optionIDs(out.Offer.Options), out.Offer.Shown)
	for _, o := range out.Offer.Options {
		report := b.w.optionReport(b.d, o, b.reader)
		report.Effects = shown[o.ID]
		report.Risk, report.Parts = shownRisk(b.d, out.Offer, o.ID, b.reader), b.parts(&o)
		if o.Treatment == leaveTreatment {
			report.Leaving = shownLeaving(b.d, out.Offer, o.Fault, b.reader)
		}
		out.Options = append(out.Options, report)
	}
	out.Offer = retext(b, out.Offer)
	out.Recommended, out.Cost, out.Value = out.Offer.Recommended, offerCost(out.Offer), offerValue(out.Offer)
	standing, answered := b.d.Answer(e.RecordID())
	if answered {
		out.Standing = standing.Record.Answer
	}
	for _, a := range registry.Live[*registry.Decision](b.d) {
		if a.Record.On != e.RecordID() {
			continue
		}
		out.Answers = append(out.Answers, AnswerReport{ID: a.RecordID(), Answer: a.Record.Answer, Options: a.Record.Options,
			Conditions: b.texts(a.Record.Conditions), Reason: b.text(a.Record.Reason), Person: b.person(a.Record.Person),
			Channel: a.Record.Channel, Means: meansOf(b.d, a), Until: a.Record.Until, Underway: b.d.Underway(a), Digest: a.Record.Digest, Recorded: a.Recorded, Replies: b.replies(a.RecordID()),
			TakenBack: b.d.TakenBack(a.RecordID())})
	}
	return out
}

func (b *builder) work() {
	r := b.r
	r.Work, r.Removed, r.Checks, r.Gates = []WorkReport{}, []RemovedReport{}, []CheckReport{}, []GateReport{}
	undone := map[string]bool{}
	for _, p := range registry.Live[*registry.RemovedPart](b.d) {
		custody := b.d.Custody(p.RecordID())
		place := p.Record.Place
		for _, m := range registry.Live[*registry.PartMove](b.d) {
			if m.Record.Part == p.RecordID() && !m.Record.Place.IsZero() {
				place = m.Record.Place
			}
		}
		undone[p.Record.Work] = undone[p.Record.Work] || custody == "fitted" && p.Record.Work != ""
		r.Removed = append(r.Removed, RemovedReport{ID: p.RecordID(), Component: p.Record.Component, Tag: p.Record.Tag,
			What: b.text(p.Record.What), Custody: custody, Place: b.private(place), Condition: b.text(p.Record.Condition),
			Reason: b.text(p.Record.Reason), Fasteners: b.text(p.Record.Fasteners), Valid: p.Valid(), Photos: p.Record.Photos})
	}
	for _, x := range registry.Live[*registry.Work](b.d) {
		report := WorkReport{ID: x.RecordID(), Valid: x.Valid(), Option: x.Record.Option, Treatment: x.Record.Treatment,
			TreatmentTitle: b.w.treatmentTitle(x.Record.Treatment), Did: b.text(x.Record.Did), Hours: x.Record.Hours,
			Fitted: retext(b, x.Record.Fitted), Changes: x.Record.Changes, Openings: x.Record.Openings, Photos: x.Record.Photos,
			By: b.person(x.Record.By), Standing: retext(b, x.Record.Standing), Undone: undone[x.RecordID()]}
		report.Second, report.SecondSigned = b.second(x.RecordID(), x.Record.Second)
		if !x.Record.Spent.IsZero() {
			report.Spent = x.Record.Spent.String()
		}
		r.Work = append(r.Work, report)
	}
	for _, c := range registry.Live[*registry.Check](b.d) {
		report := CheckReport{ID: c.RecordID(), What: b.text(c.Record.What), Components: c.Record.Components, Outcome: c.Record.Outcome,
			Readings: c.Record.Readings, Valid: c.Valid(), By: b.person(c.Record.By), Note: b.text(c.Record.Note), Of: c.Record.Of, Recheck: c.Record.Recheck, Words: stopWords(c.Record.Readings)}
		report.Second, report.SecondSigned = b.second(c.RecordID(), c.Record.Second)
		r.Checks = append(r.Checks, report)
	}
	passed := map[string]registry.Found[*registry.Gate]{}
	for _, g := range b.d.GatesPassed(b.w.rules()) {
		passed[g.Record.Gate] = g
	}
	for _, g := range b.w.gates() {
		if p, ok := passed[g.ID]; ok {
			g.Passed, g.On, g.By = true, string(p.Valid()), b.person(p.Record.By)
			g.Second, g.SecondSigned = b.second(p.RecordID(), p.Record.Second)
		}
		r.Gates = append(r.Gates, g)
	}
}

func (b *builder) handBack() {
	for _, h := range registry.Live[*registry.HandBack](b.d) {
		b.r.HandBack = &HandBackReport{On: h.Valid(), To: b.person(h.Record.To), By: b.person(h.Record.By), Inventory: h.Record.Inventory,
			Accounted: h.Record.Accounted, RemovedParts: h.Record.RemovedParts, KnownLimits: b.texts(h.Record.KnownLimits),
			Instructions: b.texts(h.Record.Instructions), Fluids: b.texts(h.Record.Fluids), Rechecks: h.Record.Rechecks}
		b.r.Questions = append(b.r.Questions, b.texts(h.Record.Open)...)
	}
}

// AskedReport is what the owner's page shows.
type AskedReport struct {
	Machine MachineReport          `json:"machine"`
	Offer   OfferReport            `json:"offer"`
	Faults  map[string]FaultReport `json:"faults"`
	Photos  []PhotoReport          `json:"photos"`
	// Words explains the trade's words, as they stand in a text, in plain language.
	Words map[string]string `json:"words"`
}

// AskedReport shows an offer to the person who is asked. Numbers are masked:
// a link may be read by others.
func (w *Workshop) AskedReport(_ context.Context, a Asked) (AskedReport, error) {
	m, _ := a.Dossier.MachineRecord()
	b := builder{seen: &seen{w: w, d: a.Dossier}, reader: NewReader(a.Dossier, false), r: &Report{}}
	out := AskedReport{Machine: machineReport(a.Dossier.ID, m, true), Offer: b.offer(a.Entry), Faults: map[string]FaultReport{}, Photos: []PhotoReport{}, Words: w.words()}
	for _, o := range a.Offer.Options {
		if f, ok := registry.Get[*registry.Fault](a.Dossier, o.Fault); ok {
			out.Faults[o.Fault] = FaultReport{ID: o.Fault, Complaint: b.text(f.Record.Complaint), Cause: b.text(f.Record.Cause), Components: f.Record.Components, Grave: f.Record.Grave}
		}
	}
	out.Photos = append(out.Photos, w.AskedPhotos(a)...)
	return out, nil
}

// AskedPhotos are the pictures of the parts that an offer speaks of, but for
// those that are withheld.
func (w *Workshop) AskedPhotos(a Asked) []PhotoReport {
	b := builder{seen: &seen{w: w, d: a.Dossier}, reader: NewReader(a.Dossier, false), r: &Report{}}
	about := map[string]bool{}
	for _, o := range a.Offer.Options {
		if f, ok := registry.Get[*registry.Fault](a.Dossier, o.Fault); ok {
			for _, c := range f.Record.Components {
				about[c] = true
			}
		}
		for _, c := range o.Changes {
			about[c.Component] = true
		}
	}
	var out []PhotoReport
	for _, p := range registry.Live[*registry.Photo](a.Dossier) {
		if !p.Record.Withhold && slices.ContainsFunc(p.Record.Components, func(c string) bool { return about[c] }) {
			out = append(out, b.photo(p))
		}
	}
	return out
}
