package workshop

import (
	"fmt"
	"slices"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// What an hour and a loss for good are reckoned at in looking for a cause,
// unless the question says otherwise. Both are stated assumptions.
const (
	// findingMinutesPerPoint is the rate of the worked example of an ordering of
	// tests: an hour of work for a point of 1000.
	findingMinutesPerPoint = 60
	// findingMoneyPerHour is a guess of this house.
	findingMoneyPerHour = 30
)

// FaultQuestion asks for the cause of one fault.
type FaultQuestion struct {
	// MinutesPerPoint is how many minutes of work one point of 1000 lost for good
	// is worth, MoneyPerHour what an hour is worth; the house's rates when nil.
	MinutesPerPoint, MoneyPerHour *float64
	// Specialist is what it costs in money to hand it over; nil when nobody asks.
	Specialist *float64
}

// search is one fault with all that is known of its cause.
type search struct {
	w     *Workshop
	d     *registry.Dossier
	fault registry.Found[*registry.Fault]
	// findings are those of the fault that stand, tried the tests that were made.
	findings []registry.Found[*registry.Finding]
	tried    []string
	// complaints are those that were seen true.
	complaints  []string
	model       catalog.SymptomModel
	in          scoring.NextInput
	assumptions []string
}

func (s *search) assume(format string, args ...any) {
	s.assumptions = append(s.assumptions, fmt.Sprintf(format, args...))
}

// searchFor gathers what is known of a fault. CodeNotFound when there is none;
// CodeInsufficient when no complaint of the library was seen on it, with what
// there is.
func (w *Workshop) searchFor(d *registry.Dossier, fault string, q FaultQuestion) (*search, error) {
	f, ok := registry.Get[*registry.Fault](d, fault)
	if !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "List the machine's faults to see their names.", "There is no fault %q", fault)
	}
	s := &search{w: w, d: d, fault: f, findings: d.Findings(fault)}
	s.tests()
	s.complain()
	if len(s.complaints) == 0 {
		return s, registry.Refuse(registry.CodeInsufficient, "Record which of the complaints of the library it is, as seen; the list of complaints has their names.",
			"Nothing that the symptom library calls a complaint stands as seen on %q", fault)
	}
	var absent []string
	if m, ok := d.MachineRecord(); ok {
		absent = m.NotFitted
	}
	s.model, _ = w.Catalog.SymptomModel(s.complaints, absent...)
	s.faults(absent)
	return s, s.actions(q)
}

// tests lists the tests that were made, those too whose findings another one
// has overtaken: a repair in vain was made, whatever was seen later.
func (s *search) tests() {
	for _, f := range registry.Live[*registry.Finding](s.d) {
		of, ok := registry.Get[*registry.Fault](s.d, f.Record.Fault)
		if ok && of.RecordID() == s.fault.RecordID() && f.Record.Test != "" && !slices.Contains(s.tried, f.Record.Test) {
			s.tried = append(s.tried, f.Record.Test)
		}
	}
}

func (s *search) complain() {
	for _, c := range s.w.Catalog.Complaints() {
		if slices.ContainsFunc(s.findings, func(f registry.Found[*registry.Finding]) bool {
			return f.Record.Observation == c.Observation && f.Record.Seen
		}) {
			s.complaints = append(s.complaints, c.ID)
		}
	}
}

// faults makes the input of faults/1.
func (s *search) faults(absent []string) {
	in := &s.in.FaultsInput
	in.Source = "Symptom library of " + s.w.catalogIdentity() + ": assumptions of its authors, for a machine that stood for decades"
	itself := map[string]bool{}
	for _, f := range s.findings {
		if f.Record.Cause != "" {
			itself[f.Record.Cause] = f.Record.Seen
		}
	}
	for _, c := range s.model.Causes {
		prior := c.Prior
		if seen, ok := itself[c.ID]; ok && seen {
			prior = 1
			s.assume("That it is %q counts as certain, because the cause itself was seen.", c.Title)
		} else if ok {
			prior = 0
			s.assume("%q counts as ruled out, because the part was looked at and it was not so.", c.Title)
		}
		in.Causes = append(in.Causes, scoring.FaultCause{ID: c.ID, Prior: prior})
		delete(itself, c.ID)
	}
	for _, id := range sortedNames(itself) {
		s.assume("What was found of %q stays out: it explains none of the complaints.", s.causeTitle(id))
	}
	known := map[string]bool{}
	for _, o := range s.model.Observations {
		known[o.ID] = true
		out := scoring.FaultObservation{ID: o.ID, Leak: o.Leak, Links: scoring.Distribution{}}
		for _, id := range sortedNames(o.Links) {
			out.Links = append(out.Links, scoring.Entry[float64]{Key: id, Value: o.Links[id]})
		}
		in.Observations = append(in.Observations, out)
	}
	for _, f := range s.findings {
		switch o := f.Record.Observation; {
		case o == "":
		case known[o]:
			in.Seen = append(in.Seen, scoring.Entry[bool]{Key: o, Value: f.Record.Seen})
		default:
			s.assume("What was seen of %q stays out: no cause of the complaints bears on it.", s.observationTitle(o))
		}
	}
	for _, id := range s.complaints {
		c, _ := s.w.Catalog.Complaint(id)
		if known[c.Observation] {
			s.in.Complaint = append(s.in.Complaint, c.Observation)
		}
	}
	s.assume("Causes come independently of one another, and each brings about what is seen by itself. How often, nobody has counted: the numbers are assumptions of the symptom library.")
	if len(absent) > 0 {
		s.assume("Causes that sit only in parts which this machine never had are left out; its record names so many parts of that kind: %d.", len(absent))
	}
	if n := len(s.model.Outside); n > 0 {
		s.assume("%d causes of other complaints are reckoned only as far as they may show in what is looked at here.", n)
	}
}

// actions makes of the tests of the library the actions of next/1. Too many for
// an answer lose the most invasive ones, and it is said.
func (s *search) actions(q FaultQuestion) error {
	perPoint, perHour := float64(findingMinutesPerPoint), float64(findingMoneyPerHour)
	if q.MinutesPerPoint != nil {
		perPoint = *q.MinutesPerPoint
	}
	if q.MoneyPerHour != nil {
		perHour = *q.MoneyPerHour
	}
	s.in.Rates = scoring.NextRates{MinutesPerPoint: &perPoint, MoneyPerHour: &perHour}
	currency := ""
	tests := slices.DeleteFunc(slices.Clone(s.model.Tests), func(t catalog.FaultTest) bool {
		seen, _ := s.in.Seen.Get(t.Given)
		return t.Given != "" && !seen
	})
	slices.SortStableFunc(tests, func(a, b catalog.FaultTest) int { return a.Level - b.Level })
	if n := len(tests) - scoring.MaxActions; n > 0 {
		tests = tests[:scoring.MaxActions]
		s.assume("%d of the most invasive tests are left out: no more than %d can be weighed at once.", n, scoring.MaxActions)
	}
	for _, t := range tests {
		money, err := oneCurrency(&currency, t.ID, t.Money)
		if err != nil {
			return err
		}
		a := scoring.NextAction{ID: t.ID, Level: t.Level, Minutes: t.Minutes, Money: money, Points: t.Points, Openings: t.Openings, Observation: t.Observation}
		if r := t.Repairs; r != nil {
			cause, _ := s.w.Catalog.Cause(r.Cause)
			cure, ok := cause.Cure(r.Treatment)
			if !ok || !slices.ContainsFunc(s.model.Causes, func(c catalog.Cause) bool { return c.ID == r.Cause }) {
				continue
			}
			a.Observation, a.Cause, a.Cure = "", r.Cause, &cure
		} else if !slices.ContainsFunc(s.model.Observations, func(o catalog.Observation) bool { return o.ID == t.Observation }) {
			continue
		}
		s.in.Actions = append(s.in.Actions, a)
		if slices.Contains(s.tried, t.ID) {
			s.in.Done = append(s.in.Done, t.ID)
		}
		for _, id := range t.Openings {
			if err := s.opening(id, &currency, perHour); err != nil {
				return err
			}
		}
	}
	if q.Specialist != nil {
		s.in.Specialist = &scoring.NextSpecialist{Money: *q.Specialist}
	}
	s.assume("A point of 1000 lost for good is reckoned as %g minutes of work, and an hour of work as %g %s. Both are assumptions, and can be asked otherwise.", perPoint, perHour, orWord(currency, "in money"))
	s.assume("Minutes and money are those of somebody who has done it before on a machine that gives way.")
	return nil
}

// opening adds an opening with those that come before it: the machine's own
// where it has one of that name, the catalog's otherwise. What its gaskets cost
// is reckoned as time.
func (s *search) opening(id string, currency *string, perHour float64) error {
	if slices.ContainsFunc(s.in.Openings, func(o scoring.FaultOpening) bool { return o.ID == id }) {
		return nil
	}
	o := s.openingRecord(id)
	if o == nil {
		return registry.Refuse(registry.CodeInvalid, "Mend the catalog pack.", "There is no opening %q", id)
	}
	money, err := oneCurrency(currency, id, o.Money)
	if err != nil {
		return err
	}
	out := scoring.FaultOpening{ID: id, Minutes: o.Hours*60 + money/perHour*60, Points: o.WitnessPoints, Needs: o.Requires}
	if opened, closed := s.openedAndClosed(id); opened && closed {
		out.Points = 0 // its witness is lost already; the time is paid again
	} else if opened {
		s.in.Opened = append(s.in.Opened, id)
	}
	s.in.Openings = append(s.in.Openings, out)
	for _, need := range o.Requires {
		if err := s.opening(need, currency, perHour); err != nil {
			return err
		}
	}
	return nil
}

// openingRecord is an opening as the machine's record has it, or as the catalog
// does; nil when neither knows it.
func (s *search) openingRecord(id string) *registry.Opening {
	if o, ok := registry.Get[*registry.Opening](s.d, id); ok {
		return o.Record
	}
	if o, ok := s.w.Catalog.Opening(id); ok {
		return o.Record()
	}
	return nil
}

// openedAndClosed says whether something was ever taken off, and whether it is
// on again.
func (s *search) openedAndClosed(id string) (opened, closed bool) {
	if !s.d.IsOpened(id) {
		return false, false
	}
	same := func(other string) bool {
		a, ok := registry.Get[*registry.Opening](s.d, id)
		b, found := registry.Get[*registry.Opening](s.d, other)
		return ok && found && a.RecordID() == b.RecordID()
	}
	var last uint64
	for _, o := range registry.Live[*registry.Opened](s.d) {
		if same(o.Record.Opening) {
			last = max(last, o.Version)
		}
	}
	for _, c := range registry.Live[*registry.Closed](s.d) {
		closed = closed || same(c.Record.Opening) && c.Version > last
	}
	return true, closed
}

func (s *search) causeTitle(id string) string {
	if c, ok := s.w.Catalog.Cause(id); ok {
		return c.Title
	}
	return id
}

func (s *search) observationTitle(id string) string {
	if o, ok := s.w.Catalog.Observation(id); ok {
		return o.Title
	}
	return id
}

// oneCurrency turns an amount into a number, and refuses a second currency.
func oneCurrency(currency *string, of string, m registry.Money) (float64, error) {
	if m.IsZero() {
		return 0, nil
	}
	if *currency == "" {
		*currency = m.Currency
	}
	v, ok := m.Amount.Float64()
	if !ok || m.Currency != *currency {
		return 0, registry.Refuse(registry.CodeInvalid, "Price everything in one currency.", "The price of %q, %s, cannot be set beside others in %s", of, m, *currency)
	}
	return v, nil
}
