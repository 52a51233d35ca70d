package cli

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// target is the machine that a command is about.
type target struct {
	Machine   string  `arg:"" help:"the machine's name in the registry"`
	IfVersion *uint64 `help:"refuse when the machine's record is not at this version any more"`
}

func (t target) request(c *call) workshop.Request {
	return workshop.Request{Machine: t.Machine, Actor: c.line.As, Expect: t.IfVersion}
}

// record records bodies and says so.
func (c *call) record(t target, said string, bodies ...registry.Body) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	receipt, err := w.Record(c.ctx, t.request(c), bodies...)
	if err != nil {
		return err
	}
	return c.printReceipt(receipt, said)
}

func (c *call) printReceipt(r workshop.Receipt, said string) error {
	return c.print(r, func(w io.Writer) {
		fmt.Fprintf(w, "%s. The record of %s is at version %d.\n", said, r.Machine, r.Version)
		for _, s := range r.Cautions {
			wrap(w, "Look: "+s, "  ")
		}
	})
}

// fromFile reads records from a JSON file and records them in one commit.
func (c *call) fromFile(t target, file, said string, kinds ...registry.Kind) error {
	bodies, err := c.readRecords(file, kinds)
	if err != nil {
		return err
	}
	if len(bodies) == 0 {
		return registry.Refuse(registry.CodeInvalid, "Write at least one into it.", "There is no record in %s", file)
	}
	return c.record(t, said, bodies...)
}

type takeInCommand struct {
	Target     target   `embed:""`
	File       string   `arg:"" optional:"" type:"path" help:"JSON file with the records of the take-in: machine, person, custody-agreement"`
	Make       string   `help:"maker"`
	Model      string   `help:"model"`
	Year       string   `help:"year of manufacture, as precisely as is known, such as 1957 or 195X"`
	Nickname   string   `help:"what people call it"`
	Number     []string `help:"a stamped number exactly as read, such as frame=SD57-1138; may be repeated" sep:"none"`
	Story      string   `help:"how it was found"`
	Owner      string   `help:"name of the owner; withheld from public copies"`
	Executor   bool     `help:"the owner's side is an executor"`
	Custodian  string   `help:"name of the person who takes it in; withheld from public copies"`
	Authority  string   `help:"what shows that the owner may decide"`
	Purpose    string   `help:"static, occasional or road" default:"static"`
	Ceiling    string   `help:"what may be spent without asking"`
	Currency   string   `help:"currency of the ceiling, ISO 4217" default:"GBP"`
	Care       []string `help:"something that may be done without asking; may be repeated" sep:"none"`
	Place      string   `help:"where it is kept; withheld from public copies"`
	Inventory  []string `help:"something that came with it, such as keys=2; may be repeated" sep:"none"`
	Sheet      string   `name:"inventory-sheet" help:"a sheet with what came with it, one row a thing; see import --template inventory.csv" type:"path"`
	Invented   bool     `help:"mark it as invented demonstration data"`
	NotFitted  []string `help:"a component that this type never had; may be repeated"`
	Second     string   `help:"name of a second person who will sign what needs two"`
	AgreedFrom string   `name:"from" help:"date from which custody is agreed"`
}

// Run takes a machine in: the machine, its people and the custody agreement in
// one commit.
func (t *takeInCommand) Run(c *call) error {
	said := "Taken in"
	if t.File != "" {
		return c.fromFile(t.Target, t.File, said, "machine", "person", "custody-agreement")
	}
	m := &registry.Machine{Common: registry.Common{ID: "machine"}, Make: t.Make, Model: t.Model, Year: registry.Date(t.Year),
		Nickname: t.Nickname, Story: t.Story, Invented: t.Invented, NotFitted: t.NotFitted}
	for _, n := range t.Number {
		where, read, ok := strings.Cut(n, "=")
		if !ok {
			return badFlag("--number", n, "frame=SD57-1138")
		}
		m.Numbers = append(m.Numbers, registry.Number{Where: where, AsRead: registry.Private{Value: read}})
	}
	role := "owner"
	if t.Executor {
		role = "executor"
	}
	agreement := &registry.CustodyAgreement{Common: registry.Common{ID: "custody"}, Owner: role, Custodian: "mechanic", Authority: t.Authority,
		Purpose: t.Purpose, Care: t.Care, Place: registry.Private{Value: t.Place}, From: registry.Date(t.AgreedFrom), Inventory: []registry.InventoryItem{}}
	if t.Ceiling != "" {
		ceiling, err := registry.ParseMoney(t.Ceiling, t.Currency)
		if err != nil {
			return err
		}
		agreement.Ceiling = ceiling
	}
	for i, item := range t.Inventory {
		what, count, ok := strings.Cut(item, "=")
		n, err := strconv.Atoi(count)
		if !ok || err != nil {
			return badFlag("--inventory", item, "keys=2")
		}
		agreement.Inventory = append(agreement.Inventory, registry.InventoryItem{ID: fmt.Sprintf("item-%d", i+1), What: what, Count: n})
	}
	if t.Sheet != "" {
		items, err := c.inventory(t.Sheet)
		if err != nil {
			return err
		}
		agreement.Inventory = append(agreement.Inventory, items...)
	}
	bodies := []registry.Body{m,
		&registry.Person{Common: registry.Common{ID: role}, Role: role, Name: registry.Private{Value: t.Owner}},
		&registry.Person{Common: registry.Common{ID: "mechanic"}, Role: "mechanic", Name: registry.Private{Value: t.Custodian}}}
	if t.Second != "" {
		bodies = append(bodies, &registry.Person{Common: registry.Common{ID: "second"}, Role: "second-signature", Name: registry.Private{Value: t.Second}})
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	if _, err := w.Load(c.ctx, t.Target.Machine, workshop.At{}); err == nil {
		return registry.Refuse(registry.CodeConflict, "Choose another name for this one, or correct the record by superseding it.", "A machine %q is already in the registry", t.Target.Machine)
	}
	return c.record(t.Target, said, append(bodies, agreement)...)
}

func badFlag(flag, found, example string) error {
	return &registry.Error{Code: registry.CodeInvalid, Message: fmt.Sprintf("%s cannot be read: %q", flag, found), Fix: "Write it like " + example + "."}
}

type sealCommand struct {
	Target target   `embed:""`
	By     string   `help:"person id of who seals it; --as when left out"`
	Gap    []string `help:"a component that was not surveyed, with the reason, such as ignition.coil=\"cannot be reached\"; may be repeated" sep:"none"`
	Signed string   `help:"person id of who accepts the gaps"`
}

// Run seals the as-found survey with the indices as they stand.
func (s *sealCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	seal := registry.SurveySeal{By: orElse(s.By, c.line.As), GapsSignedBy: s.Signed}
	for _, g := range s.Gap {
		component, why, ok := strings.Cut(g, "=")
		if !ok {
			return badFlag("--gap", g, "ignition.coil=\"cannot be reached\"")
		}
		seal.Gaps = append(seal.Gaps, registry.SurveyGap{Component: component, Why: why})
	}
	receipt, err := w.SealSurvey(c.ctx, s.Target.request(c), seal)
	if err != nil {
		return err
	}
	return c.printReceipt(receipt, "The as-found survey is sealed")
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

type weighCommand struct {
	Target  target   `embed:""`
	Options []string `arg:"" optional:"" name:"option" help:"options to weigh; all that are on record when left out"`
	Record  bool     `help:"keep the result on record, with its inputs"`
}

// Run computes what options would do.
func (x *weighCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	options, receipt, err := w.Weigh(c.ctx, x.Target.request(c), x.Options, x.Record)
	if err != nil {
		return err
	}
	out := struct {
		Options []workshop.OptionReport `json:"options"`
		Receipt *workshop.Receipt       `json:"receipt,omitempty"`
	}{Options: options}
	if x.Record {
		out.Receipt = &receipt
	}
	return c.print(out, func(w io.Writer) {
		if len(options) == 0 {
			fmt.Fprintln(w, "There is nothing to weigh: no option is on record.")
		}
		writeOptions(w, options)
		if x.Record {
			fmt.Fprintf(w, "Recorded. The record of %s is at version %d.\n", receipt.Machine, receipt.Version)
		}
	})
}

type proposeCommand struct {
	Target    target     `embed:""`
	Options   []string   `arg:"" name:"option" help:"options to put to the owner, rivals included"`
	ID        string     `help:"name of the proposal in the record"`
	Recommend []string   `help:"the options that you would choose, at most one for each fault"`
	To        string     `help:"person id of who decides; the owner of the custody agreement when left out"`
	By        string     `help:"person id of who asks; --as when left out"`
	Ceiling   string     `help:"what may be spent in all under it; what is enough with a chance of 80 % when left out"`
	Currency  string     `help:"ISO 4217" default:"GBP"`
	Days      int        `help:"days until the offer and its link run out" default:"14"`
	DoNothing string     `help:"what happens if nothing is done"`
	Amends    string     `help:"the proposal that this change request goes beyond"`
	Found     string     `help:"what was found that makes the change request necessary"`
	Replaces  string     `help:"an earlier proposal that this one takes the place of"`
	Value     offerValue `embed:"" prefix:"value-"`
}

// Run puts options to the owner, and prints the link if one was made, once.
func (p *proposeCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	var ceiling registry.Money
	if p.Ceiling != "" {
		if ceiling, err = registry.ParseMoney(p.Ceiling, p.Currency); err != nil {
			return err
		}
	}
	value, err := p.Value.question()
	if err != nil {
		return err
	}
	out, err := w.Propose(c.ctx, p.Target.request(c), workshop.ProposeInput{ID: p.ID, To: p.To, By: p.By, Options: p.Options,
		Recommended: p.Recommend, Ceiling: ceiling, Expires: c.Now().AddDate(0, 0, p.Days), DoNothing: p.DoNothing,
		Amends: p.Amends, Found: p.Found, Supersedes: p.Replaces, Value: value})
	if err != nil {
		return err
	}
	return c.print(out, func(w io.Writer) {
		writeForecast(w, out)
		if out.Value != nil {
			wrap(w, out.Value.Words, "")
		}
		fmt.Fprintf(w, "Proposed as %s.\nWhat the owner sees has the digest %s.\n", out.ID, out.Digest)
		until := out.Link.Expires.Format("2 January 2006")
		if out.Token == "" {
			fmt.Fprintf(w, "It appears at the link that was made on %s, which works until %s. Is it lost? \"asfound link\" makes another.\n", out.Link.Since.Format("2 January 2006"), until)
			return
		}
		fmt.Fprintf(w, "The owner's page, shown only now: /o/%s (until %s). Later questions come to it too.\n", out.Token, until)
	})
}

// writeForecast says what the recommended options are thought to cost.
func writeForecast(w io.Writer, p workshop.Proposed) {
	if p.Forecast == nil {
		return
	}
	r, currency := p.Forecast.Result, p.Forecast.Currency
	wrap(w, fmt.Sprintf("Cost forecast: half of the time at most %.0f %s, with a chance of 80 %% at most %.0f, of 95 %% at most %.0f. The likely prices alone add up to %.0f, which is passed with a chance of %s.",
		r.P50, currency, r.P80, r.P95, r.LikelySum, scoring.Percent(r.OverLikely)), "")
	if r.OverCeiling != nil {
		fmt.Fprintf(w, "The ceiling of %s is passed with a chance of %s.\n", p.Ceiling, scoring.Percent(*r.OverCeiling))
	}
}

type decideCommand struct {
	Target    target   `embed:""`
	Offer     string   `arg:"" help:"the proposal or change request"`
	Answer    string   `arg:"" help:"approve, approve-with-conditions, refuse, ask, defer or take-back"`
	Options   []string `name:"option" help:"the options approved; the recommended ones when left out"`
	Condition []string `help:"a condition; may be repeated" sep:"none"`
	Reason    string   `help:"the owner's reason"`
	Person    string   `help:"person id of who decided; the one who was asked when left out"`
	Channel   string   `help:"in-person, letter, message or call" default:"in-person"`
	Witness   string   `help:"person id of who else heard it, for a call"`
	Digest    string   `help:"digest of what the owner saw; that of the offer as it stands when left out"`
	Until     string   `help:"day until which an approval stands, such as 2026-09-30"`
	TakesBack string   `help:"the decision that is taken back"`
	ID        string   `help:"name of the decision in the record"`
}

// Run records what the owner answered.
func (x *decideCommand) Run(c *call) error {
	_, d, err := c.loaded(x.Target.Machine)
	if err != nil {
		return err
	}
	_, digest, to, _ := d.OfferOf(x.Offer)
	b := &registry.Decision{Common: registry.Common{ID: x.ID}, On: x.Offer, Digest: orElse(x.Digest, digest), Answer: x.Answer, Options: x.Options,
		Conditions: x.Condition, Reason: x.Reason, Person: orElse(x.Person, to), Channel: x.Channel, Witness: x.Witness, TakesBack: x.TakesBack}
	if digest == "" {
		return registry.Refuse(registry.CodeNotFound, "Show the machine to see its offers.", "There is no standing proposal or change request %q", x.Offer)
	}
	if x.Until != "" {
		t, err := time.Parse(time.DateOnly, x.Until)
		if err != nil {
			return badFlag("--until", x.Until, "2026-09-30")
		}
		t = t.AddDate(0, 0, 1)
		b.Until = &t
	}
	return c.record(x.Target, "The answer is recorded", b)
}

type openCommand struct {
	Target      target `embed:""`
	Opening     string `arg:"" help:"the opening"`
	By          string `help:"person id of who opens it; --as when left out"`
	Date        string `help:"when, today when left out"`
	AlreadyDone bool   `help:"it has happened already; what was missing is kept in the record"`
}

// Run records that something was taken off.
func (o *openCommand) Run(c *call) error {
	return c.record(o.Target, "Recorded as opened", &registry.Opened{Common: registry.Common{Valid: registry.Date(o.Date)}, Opening: o.Opening,
		By: orElse(o.By, c.line.As), AlreadyDone: o.AlreadyDone})
}

type workCommand struct {
	Target      target   `embed:""`
	File        string   `arg:"" optional:"" type:"path" help:"JSON file with a work entry and the removed parts that belong to it"`
	ID          string   `help:"name of the entry in the record"`
	Option      string   `help:"the approved option that is carried out; its changes and openings are taken over"`
	Treatment   string   `help:"what was done, in a word of the ladder; the option's when left out"`
	Did         string   `help:"what was done, in a sentence"`
	Care        string   `help:"the item of the care list, or \"make safe: …\""`
	Hours       float64  `help:"hours worked"`
	Spent       string   `help:"money spent"`
	Currency    string   `help:"ISO 4217" default:"GBP"`
	By          string   `help:"person id of who did it; --as when left out"`
	Second      string   `help:"person id of who signed as second"`
	Date        string   `help:"when, today when left out"`
	Photo       []string `help:"a picture on record; may be repeated"`
	Fitted      []string `help:"a part that went on, such as wheels.front-tyre=\"3.25-19, week 12 of 2026\"; may be repeated" sep:"none"`
	Tag         []string `help:"tag and description of a part that came off, such as ignition.magneto=\"T-07 magneto body\"; may be repeated" sep:"none"`
	Keep        string   `help:"where parts that came off are kept; withheld from public copies"`
	AlreadyDone bool     `help:"it has happened without, or beyond, an approval; it stands as unapproved"`
}

// Run records work, and the parts that it took off, in one commit.
func (x *workCommand) Run(c *call) error {
	if x.File != "" {
		return c.fromFile(x.Target, x.File, "The work is recorded", "work", "removed-part", "part-move", "measurement", "opened")
	}
	w, d, err := c.loaded(x.Target.Machine)
	if err != nil {
		return err
	}
	b := &registry.Work{Common: registry.Common{ID: orElse(x.ID, "work-"+w.NewID()), Valid: registry.Date(x.Date)}, Option: x.Option, Treatment: x.Treatment,
		Did: x.Did, Care: x.Care, Hours: x.Hours, By: orElse(x.By, c.line.As), Second: x.Second, Photos: x.Photo, AlreadyDone: x.AlreadyDone}
	if x.Spent != "" {
		if b.Spent, err = registry.ParseMoney(x.Spent, x.Currency); err != nil {
			return err
		}
	}
	origin := "substitute"
	if o, ok := registry.Get[*registry.Option](d, x.Option); x.Option != "" && !ok {
		return registry.Refuse(registry.CodeNotFound, "Show the machine to see the faults and their options.", "There is no option %q", x.Option)
	} else if ok {
		b.Treatment = orElse(b.Treatment, o.Record.Treatment)
		b.Openings = o.Record.Openings
		for _, change := range o.Record.Changes {
			change.Keep = nil
			b.Changes = append(b.Changes, change)
		}
		origin = fittedOrigin(o.Record)
	}
	for _, f := range x.Fitted {
		component, part, ok := strings.Cut(f, "=")
		if !ok {
			return badFlag("--fitted", f, `wheels.front-tyre="3.25-19, week 12 of 2026"`)
		}
		b.Fitted = append(b.Fitted, registry.Fitted{Component: component, Part: part, Origin: origin})
	}
	bodies := []registry.Body{b}
	for _, t := range x.Tag {
		component, label, ok := strings.Cut(t, "=")
		tag, what, described := strings.Cut(label, " ")
		if !ok || !described {
			return badFlag("--tag", t, `ignition.magneto="T-07 magneto body"`)
		}
		bodies = append(bodies, &registry.RemovedPart{Common: registry.Common{ID: "part-" + strings.ToLower(tag), Valid: b.Valid}, Component: component, Work: b.ID,
			Tag: tag, What: what, Custody: "kept-with-machine", Place: registry.Private{Value: x.Keep}, Reason: x.Did, By: b.By})
	}
	return c.record(x.Target, "The work is recorded", bodies...)
}

// fittedOrigin is the origin of what an option fits: its most likely state
// afterwards.
func fittedOrigin(o *registry.Option) string {
	best, p := "substitute", 0.0
	for _, change := range o.Changes {
		if change.Proposition != registry.PropositionOrigin {
			continue
		}
		for _, s := range registry.States(registry.PropositionOrigin) {
			if change.After[s] > p {
				best, p = s, change.After[s]
			}
		}
	}
	return best
}

type partCommand struct {
	Target  target `embed:""`
	Part    string `arg:"" help:"the removed part's record"`
	Custody string `arg:"" help:"fitted, kept-with-machine, evidence-only, elsewhere, lost or destroyed"`
	Place   string `help:"where it is; withheld from public copies"`
	Why     string `required:"" help:"why"`
	By      string `help:"person id; --as when left out"`
	Date    string `help:"when, today when left out"`
}

// Run records where a removed part went.
func (p *partCommand) Run(c *call) error {
	said := "Recorded"
	if p.Custody == "fitted" {
		said = "Recorded: the part is back where it came from, and the work that took it off is undone"
	}
	return c.record(p.Target, said, &registry.PartMove{Common: registry.Common{Valid: registry.Date(p.Date)}, Part: p.Part, Custody: p.Custody,
		Place: registry.Private{Value: p.Place}, Why: p.Why, By: orElse(p.By, c.line.As)})
}

type checkCommand struct {
	Target    target   `embed:""`
	What      string   `arg:"" help:"what was checked"`
	Outcome   string   `arg:"" help:"passed, failed or not-done"`
	ID        string   `help:"name of the check in the record"`
	Component []string `help:"a component that was checked; may be repeated"`
	Reading   []string `help:"a figure with its unit, such as \"stopping distance=9.1±0.2 m\"; may be repeated" sep:"none"`
	With      string   `help:"instrument of the readings"`
	Work      string   `help:"the work entry that it checks"`
	Of        string   `help:"which check of a gate it is, such as full-turn; a gate counts no other"`
	Recheck   string   `help:"the recheck that it does"`
	By        string   `help:"person id; --as when left out"`
	Second    string   `help:"person id of who signed as second"`
	Date      string   `help:"when, today when left out"`
	Note      string   `help:"anything else"`
}

// Run records a check.
func (x *checkCommand) Run(c *call) error {
	b := &registry.Check{Common: registry.Common{ID: x.ID, Valid: registry.Date(x.Date), Note: x.Note}, What: x.What, Components: x.Component,
		Outcome: x.Outcome, Work: x.Work, Of: x.Of, Recheck: x.Recheck, By: orElse(x.By, c.line.As), Second: x.Second}
	for _, r := range x.Reading {
		reading, err := parseReading(r)
		if err != nil {
			return err
		}
		reading.Instrument = x.With
		b.Readings = append(b.Readings, reading)
	}
	return c.record(x.Target, "The check is recorded", b)
}

// parseReading reads "quantity=value[±uncertainty] unit".
func parseReading(s string) (registry.Reading, error) {
	const example = `"stopping distance=9.1±0.2 m"`
	quantity, rest, ok := strings.Cut(s, "=")
	value, unit, hasUnit := strings.Cut(strings.TrimSpace(rest), " ")
	if !ok || !hasUnit {
		return registry.Reading{}, badFlag("--reading", s, example)
	}
	value, spread, hasSpread := strings.Cut(value, "±")
	r := registry.Reading{Quantity: strings.TrimSpace(quantity), Unit: strings.TrimSpace(unit)}
	var err error
	if r.Value, err = strconv.ParseFloat(value, 64); err == nil && hasSpread {
		r.Uncertainty, err = strconv.ParseFloat(spread, 64)
	}
	if err != nil || r.Quantity == "" || r.Unit == "" || !finite(r.Value) || !finite(r.Uncertainty) {
		return registry.Reading{}, badFlag("--reading", s, example)
	}
	return r, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

type gateCommand struct {
	Target   target   `embed:""`
	Gate     string   `arg:"" help:"the gate"`
	Check    []string `help:"a passed check on record; may be repeated"`
	Photo    []string `help:"a picture on record; may be repeated"`
	By       string   `help:"person id; --as when left out"`
	Second   string   `help:"person id of who signs as second"`
	Date     string   `help:"when, today when left out"`
	TakeBack bool     `help:"take the gate back, and every later one"`
	Why      string   `help:"why it is taken back"`
}

// Run passes a gate, or takes it back.
func (g *gateCommand) Run(c *call) error {
	common := registry.Common{Valid: registry.Date(g.Date)}
	if g.TakeBack {
		return c.record(g.Target, "The gate is taken back", &registry.GateTakenBack{Common: common, Gate: g.Gate, Why: g.Why, By: orElse(g.By, c.line.As)})
	}
	return c.record(g.Target, "The gate is passed", &registry.Gate{Common: common, Gate: g.Gate, Checks: g.Check, Photos: g.Photo,
		By: orElse(g.By, c.line.As), Second: g.Second})
}

type handBackCommand struct {
	Target target `embed:""`
	File   string `arg:"" type:"path" help:"JSON file with the hand-back"`
}

// Run hands the machine back.
func (h *handBackCommand) Run(c *call) error {
	return c.fromFile(h.Target, h.File, "Handed back; the inventory balances", "hand-back")
}
