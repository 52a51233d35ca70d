package workshop

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"strings"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// SpecialistWords says when looking for the cause oneself is to end.
const SpecialistWords = "Stop and ask a specialist as soon as nothing here explains what is seen, when only what alters or destroys substance is left, or when a caution that says stop cannot be kept."

// levelWords says what a test of each level disturbs.
var levelWords = map[int]string{
	catalog.TestLook:    "look only, nothing is touched",
	catalog.TestMeasure: "measure, no joint is disturbed",
	catalog.TestQuick:   "quick to take off and put back; no gasket, no line of paint",
	catalog.TestOpen:    "a cover comes off, and what its joints could tell is lost",
	catalog.TestAlter:   "alters or destroys substance",
}

// FaultSearch is what is known of the cause of one fault, and what to try next.
type FaultSearch struct {
	Machine    string            `json:"machine"`
	Version    uint64            `json:"version"`
	Fault      string            `json:"fault"`
	Words      string            `json:"words"`
	Cause      string            `json:"cause,omitempty"` // as recorded with the fault
	Components []NamedID         `json:"components"`
	Grave      bool              `json:"grave,omitempty"`
	Complaints []ComplaintReport `json:"complaints"`
	Findings   []FindingReport   `json:"findings"`
	// Causes are all that bear on it, the likeliest first.
	Causes   []CauseReport `json:"causes"`
	Conflict bool          `json:"conflict"`
	// Cautions are what the figures call for, in sentences.
	Cautions []string     `json:"cautions"`
	Next     *TestReport  `json:"next,omitempty"`
	Stop     *StopReport  `json:"stop,omitempty"`
	Ranking  []RankReport `json:"ranking"`
	Tree     []TreeReport `json:"tree"`
	// StopWhen says when to end looking and to ask.
	StopWhen string `json:"stop_when"`
	// Observations are what may be recorded of it besides the next test.
	Observations []ObservationReport `json:"observations"`
	Assumptions  []string            `json:"assumptions"`
	// Refused says why there is no answer, or no next test.
	Refused *RefusedReport `json:"refused,omitempty"`
	// Input is exactly what `calc faults` and `calc next` take, and the results
	// what they give.
	Input  *scoring.NextInput    `json:"input,omitempty"`
	Faults *scoring.FaultsResult `json:"faults_result,omitempty"`
	Result *scoring.NextResult   `json:"next_result,omitempty"`

	refusal error
}

// Err is the refusal as an error; nil when there is an answer.
func (r *FaultSearch) Err() error { return r.refusal }

// Confirmed says whether a cause was seen itself.
func (r *FaultSearch) Confirmed(cause string) bool {
	return slices.ContainsFunc(r.Findings, func(f FindingReport) bool { return f.Cause == cause && f.Seen })
}

// NamedID is something with its name.
type NamedID struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// RefusedReport says why something is not answered, and what to do.
type RefusedReport struct {
	Code    registry.Code `json:"code"`
	Message string        `json:"message"`
	Fix     string        `json:"fix,omitempty"`
}

// ComplaintReport is a complaint of the library.
type ComplaintReport struct {
	ID          string          `json:"id"`
	Title       string          `json:"title"`
	Group       string          `json:"group"`
	Sentence    string          `json:"sentence"`
	Observation string          `json:"observation"`
	Not         []string        `json:"not"`
	First       []string        `json:"first"`
	Cautions    []CautionReport `json:"cautions"`
}

// ObservationReport is something that may be seen, with what yes and no look
// like.
type ObservationReport struct {
	ID      string           `json:"id"`
	Title   string           `json:"title"`
	Yes     string           `json:"yes"`
	No      string           `json:"no"`
	Reading *catalog.Reading `json:"reading,omitempty"`
}

// FindingReport is one finding that stands.
type FindingReport struct {
	registry.Finding
	Title     string `json:"title"`
	Means     string `json:"means,omitempty"` // what yes or no looks like
	TestTitle string `json:"test_title,omitempty"`
	Person    string `json:"person"`
}

// CauseReport is a possible cause.
type CauseReport struct {
	ID          string    `json:"id"`
	Title       string    `json:"title"`
	Sentence    string    `json:"sentence"`
	Components  []NamedID `json:"components"`
	Probability float64   `json:"probability"`
	Shown       string    `json:"shown"`
	Prior       float64   `json:"prior"`
	// For and Against are what speaks most for and against it, and the chance
	// without that; empty where nothing does, or where it is not a leader.
	For     *SpeaksReport `json:"for,omitempty"`
	Against *SpeaksReport `json:"against,omitempty"`
	Seen    *bool         `json:"seen,omitempty"` // it was seen itself, or seen to be absent
	Basis   string        `json:"basis"`          // source or assumption
}

// SpeaksReport is an observation that speaks for or against a cause.
type SpeaksReport struct {
	Observation string `json:"observation"`
	Title       string `json:"title"`
	Seen        bool   `json:"seen"`
	Without     string `json:"without"` // the chance without it
}

// TestReport is a test as it is to be made.
type TestReport struct {
	ID          string             `json:"id"`
	Title       string             `json:"title"`
	Level       int                `json:"level"`
	LevelWords  string             `json:"level_words"`
	How         string             `json:"how"`
	Minutes     float64            `json:"minutes"`
	Money       registry.Money     `json:"money,omitzero"`
	Points      float64            `json:"points"`
	Tools       []string           `json:"tools"`
	Consumables []string           `json:"consumables"`
	Opens       []NamedID          `json:"opens"` // those that are not open yet
	SlavePart   string             `json:"slave_part,omitempty"`
	Cautions    []CautionReport    `json:"cautions"`
	Observation *ObservationReport `json:"observation,omitempty"` // nil for the trial of a cure
	Repairs     *NamedID           `json:"repairs,omitempty"`     // the cause whose cure is tried
	IfYes       string             `json:"if_yes"`
	IfNo        string             `json:"if_no"`
}

// StopReport says that a specialist should be asked.
type StopReport struct {
	Reason string `json:"reason"`
	Say    string `json:"say"`
}

// RankReport is one test weighed.
type RankReport struct {
	ID       string   `json:"id"`
	Title    string   `json:"title"`
	Level    int      `json:"level"`
	Cost     float64  `json:"cost"`               // minutes, with its openings
	Expected *float64 `json:"expected,omitempty"` // minutes until the complaint is gone
	Chance   string   `json:"chance"`
	Reason   string   `json:"reason"`
}

// TreeReport is one outcome of a test and what it leads to.
type TreeReport struct {
	After   string       `json:"after"`
	Outcome string       `json:"outcome"`
	Chance  string       `json:"chance"`
	Leaders []string     `json:"leaders"`
	Next    string       `json:"next,omitempty"`
	Stop    string       `json:"stop,omitempty"`
	Then    []TreeReport `json:"then,omitempty"`
}

// FaultSearch looks for the cause of a fault. CodeNotFound for a machine or
// fault that is not there; where there is no answer yet, the report says why.
func (w *Workshop) FaultSearch(ctx context.Context, machine, fault string, q FaultQuestion) (*FaultSearch, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	return w.faultSearch(d, fault, q)
}

// FaultSearches looks for the causes of every fault of a machine.
func (w *Workshop) FaultSearches(ctx context.Context, machine string) ([]*FaultSearch, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	out := []*FaultSearch{}
	for _, f := range registry.Live[*registry.Fault](d) {
		r, err := w.faultSearch(d, f.RecordID(), FaultQuestion{})
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

func (w *Workshop) faultSearch(d *registry.Dossier, fault string, q FaultQuestion) (*FaultSearch, error) {
	s, err := w.searchFor(d, fault, q)
	if s == nil {
		return nil, err
	}
	reader := NewReader(d, false)
	r := &FaultSearch{Machine: d.ID, Version: d.Version(), Fault: s.fault.RecordID(), Words: reader.Text(s.fault.Record.Complaint), Cause: reader.Text(s.fault.Record.Cause),
		Grave: s.fault.Record.Grave, Components: w.named(s.fault.Record.Components), Complaints: []ComplaintReport{}, Findings: []FindingReport{}, Causes: []CauseReport{},
		Cautions: []string{}, Ranking: []RankReport{}, Tree: []TreeReport{}, Observations: []ObservationReport{}, StopWhen: SpecialistWords}
	for _, id := range s.complaints {
		c, _ := w.Catalog.Complaint(id)
		r.Complaints = append(r.Complaints, w.complaintReport(c))
	}
	s.tellFindings(r, reader)
	if err == nil {
		err = s.answer(r)
	}
	r.Assumptions = append([]string{}, s.assumptions...)
	if err != nil {
		var e *registry.Error
		if !errors.As(err, &e) {
			return nil, err
		}
		r.refusal, r.Refused = err, &RefusedReport{e.Code, e.Message, e.Fix}
		if len(e.Fields) > 0 {
			r.Refused.Fix = strings.TrimSpace(e.Fields[0].Message + ". " + e.Fields[0].Fix)
		}
	}
	return r, nil
}

func (s *search) tellFindings(r *FaultSearch, reader Reader) {
	for _, f := range s.findings {
		x := FindingReport{Finding: *f.Record, Person: PersonName(s.d, f.Record.By, false)}
		x.How, x.Note = reader.Text(x.How), reader.Text(x.Note)
		if x.Cause != "" {
			x.Title = s.causeTitle(x.Cause)
		} else {
			x.Title = s.observationTitle(x.Observation)
			if o, ok := s.w.Catalog.Observation(x.Observation); ok {
				x.Means = either(x.Seen, o.Yes, o.No)
			}
		}
		if t, ok := s.w.Catalog.FaultTest(x.Test); ok {
			x.TestTitle = t.Title
		}
		r.Findings = append(r.Findings, x)
	}
}

// answer computes causes and the next test, and puts them into words.
func (s *search) answer(r *FaultSearch) error {
	for _, o := range s.model.Observations {
		r.Observations = append(r.Observations, observationReport(o))
	}
	answer := s.w.searches.answer(&s.in)
	faults, err := answer.faults, answer.faultsErr
	if err != nil {
		return err
	}
	r.Input, r.Faults, r.Conflict = &s.in, &faults, faults.Conflict
	for _, c := range s.model.Causes {
		r.Causes = append(r.Causes, s.causeReport(c, faults))
	}
	slices.SortStableFunc(r.Causes, func(a, b CauseReport) int { return cmp.Compare(b.Probability, a.Probability) })
	for _, c := range faults.Cautions {
		r.Cautions = append(r.Cautions, s.titled(c))
	}
	next, err := answer.next, answer.nextErr
	if err != nil {
		return err
	}
	r.Result = &next
	for _, c := range next.Cautions {
		if c = s.titled(c); !slices.Contains(r.Cautions, c) {
			r.Cautions = append(r.Cautions, c)
		}
	}
	if !next.Exact {
		s.assume("The order of tests is the best that looks %d further tests ahead.", next.TestsPlanned)
	}
	if n := next.Next; n != nil {
		r.Next = s.testReport(n.ID, n.Opens)
	}
	if next.Stop != nil {
		r.Stop = &StopReport{next.Stop.Reason, next.Stop.Say}
	}
	for _, x := range next.Ranking {
		t, _ := s.w.Catalog.FaultTest(x.ID)
		r.Ranking = append(r.Ranking, RankReport{ID: x.ID, Title: t.Title, Level: x.Level, Cost: x.Cost, Expected: x.Expected, Chance: scoring.Percent(x.Chance), Reason: s.titled(x.Reason)})
	}
	r.Tree = s.tree(next.Tree)
	return nil
}

func (s *search) causeReport(c catalog.Cause, faults scoring.FaultsResult) CauseReport {
	p, _ := faults.Posterior.Get(c.ID)
	out := CauseReport{ID: c.ID, Title: c.Title, Sentence: c.Sentence, Components: s.w.named(c.Components), Probability: p, Shown: scoring.Percent(p), Prior: c.Prior,
		Basis: orWord(c.Source, c.Assumption)}
	speaks := func(x *scoring.FaultSpeaks) *SpeaksReport {
		if x == nil {
			return nil
		}
		seen, _ := s.in.Seen.Get(x.Observation)
		return &SpeaksReport{x.Observation, s.observationTitle(x.Observation), seen, scoring.Percent(x.Without)}
	}
	for _, l := range faults.Leaders {
		if l.ID == c.ID {
			out.For, out.Against = speaks(l.For), speaks(l.Against)
		}
	}
	for _, f := range s.findings {
		if f.Record.Cause == c.ID {
			out.Seen = &f.Record.Seen
			out.Shown = either(f.Record.Seen, "seen itself", "ruled out")
		}
	}
	return out
}

func (s *search) testReport(id string, opens []string) *TestReport {
	t, ok := s.w.Catalog.FaultTest(id)
	if !ok {
		return nil
	}
	out := &TestReport{ID: t.ID, Title: t.Title, Level: t.Level, LevelWords: levelWords[t.Level], How: t.How, Minutes: t.Minutes, Money: t.Money, Points: t.Points,
		Tools: t.Tools, Consumables: t.Consumables, Opens: []NamedID{}, SlavePart: t.SlavePart, Cautions: cautionReports(s.w.Catalog.CautionsForTest(id)), IfYes: t.IfYes, IfNo: t.IfNo}
	for _, id := range opens {
		out.Opens = append(out.Opens, NamedID{id, s.openingRecord(id).Title})
	}
	if o, ok := s.w.Catalog.Observation(t.Observation); ok {
		report := observationReport(o)
		out.Observation = &report
	}
	if t.Repairs != nil {
		out.Repairs = &NamedID{t.Repairs.Cause, s.causeTitle(t.Repairs.Cause)}
	}
	return out
}

// treeStops are the ends of a branch in words.
var treeStops = map[string]string{
	"done":         "the complaint is gone",
	"conflict":     "stop: no cause here explains it; ask a specialist",
	"nothing-left": "stop: nothing that is left would help; ask a specialist",
	"level-4":      "stop: only what alters or destroys substance is left; ask the owner and a specialist",
	"dearer":       "stop: a specialist costs less than every way on",
}

func (s *search) tree(branches []scoring.NextBranch) []TreeReport {
	out := []TreeReport{}
	for _, b := range branches {
		t, _ := s.w.Catalog.FaultTest(b.After)
		o, _ := s.w.Catalog.Observation(t.Observation)
		x := TreeReport{After: t.Title, Chance: scoring.Percent(b.Chance), Leaders: []string{}, Stop: treeStops[b.Stop]}
		switch b.Outcome {
		case "true":
			x.Outcome = "yes: " + o.Yes
		case "false":
			x.Outcome = "no: " + o.No
		case "cured":
			x.Outcome = "it is cured"
		default:
			x.Outcome = "the complaint is still there"
		}
		for _, l := range b.Leaders {
			x.Leaders = append(x.Leaders, s.causeTitle(l.ID)+" "+scoring.Percent(l.Probability))
		}
		if next, ok := s.w.Catalog.FaultTest(b.Next); ok {
			x.Next = next.Title
		}
		x.Then = s.tree(b.Then)
		out = append(out, x)
	}
	return out
}

// titled puts titles in the place of the names of tests and observations, and
// says plainly when two cost the same.
func (s *search) titled(words string) string {
	pairs := []string{"costs -0.0 min more", "costs as much", "costs 0.0 min more", "costs as much"}
	for _, o := range s.model.Observations {
		pairs = append(pairs, `"`+o.ID+`"`, "“"+o.Title+"”")
	}
	tests := slices.Clone(s.model.Tests)
	slices.SortStableFunc(tests, func(a, b catalog.FaultTest) int { return len(b.ID) - len(a.ID) })
	for _, t := range tests {
		pairs = append(pairs, " "+t.ID+" ", " “"+t.Title+"” ")
	}
	return strings.NewReplacer(pairs...).Replace(words)
}

// ComplaintList lists the complaints of the library.
func (w *Workshop) ComplaintList() []ComplaintReport {
	var out []ComplaintReport
	for _, c := range w.Catalog.Complaints() {
		out = append(out, w.complaintReport(c))
	}
	return out
}

func (w *Workshop) complaintReport(c catalog.Complaint) ComplaintReport {
	out := ComplaintReport{ID: c.ID, Title: c.Title, Group: c.Group, Sentence: c.Sentence, Observation: c.Observation, Not: c.Not, First: c.First}
	for _, id := range c.Cautions {
		if x, ok := w.Catalog.Caution(id); ok {
			out.Cautions = append(out.Cautions, cautionReports([]catalog.Caution{x})...)
		}
	}
	return out
}

func observationReport(o catalog.Observation) ObservationReport {
	return ObservationReport{ID: o.ID, Title: o.Title, Yes: o.Yes, No: o.No, Reading: o.Reading}
}

// named gives components their names.
func (w *Workshop) named(components []string) []NamedID {
	out := []NamedID{}
	for _, id := range components {
		name := id
		if c, ok := w.component(id); ok {
			name = c.Name
		}
		out = append(out, NamedID{id, name})
	}
	return out
}

func orWord(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func sortedNames[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
