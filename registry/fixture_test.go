package registry

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// testRules are a small catalog of the tests' own.
func testRules() *Rules {
	return &Rules{
		Components: map[string]ComponentRule{
			"engine.crankcase":     {Name: "Crankcase", IdentityBearing: true},
			"fuel.tank":            {Name: "Fuel tank"},
			"ignition.magneto":     {Name: "Magneto"},
			"brakes.front.linings": {Name: "Front brake linings"},
			"wheels.front.tyre":    {Name: "Front tyre", Consumable: true},
			"electrical.horn":      {Name: "Horn"},
		},
		Aliases:    map[string]string{"petrol tank": "fuel.tank"},
		Assemblies: map[string]bool{"engine": true},
		Treatments: map[string]TreatmentRule{
			"leave":        {Title: "Leave", Reversible: true},
			"adjust":       {Title: "Adjust", Reversible: true},
			"clean":        {Title: "Clean"},
			"reproduction": {Title: "Reproduction", Reversible: true},
			"refinish":     {Title: "Refinish", OwnApproval: true},
		},
		Signs: map[string]Proposition{"date-stamp-agrees": PropositionOrigin, "runs-in-paint": PropositionFinish},
		Gates: []GateRule{
			{ID: "arrived", Title: "Arrived", Picture: true},
			{ID: "sealed-survey", Title: "Sealed survey", Seal: true},
			{ID: "turns", Title: "Turns by hand", Checks: 1},
			{ID: "private-ground", Title: "Private ground", SecondName: true, Sound: []string{"brakes.front.linings"}},
			{ID: "road", Title: "Road", SecondName: true, Sound: []string{"wheels.front.tyre", "electrical.horn"}},
			{ID: "static", Title: "Static only", SecondName: true, Instead: "road"},
		},
	}
}

// monday is when every test's record begins.
var monday = time.Date(2026, 3, 9, 9, 0, 0, 0, time.UTC)

// bench is a machine's record that grows in a test, as events and as a dossier.
type bench struct {
	t interface {
		require.TestingT
		Helper()
	}
	rules  *Rules
	d      *Dossier
	events [][]byte
	now    time.Time
}

func newBench(t interface {
	require.TestingT
	Helper()
}) *bench {
	return &bench{t: t, rules: testRules(), d: NewDossier("drover"), now: monday}
}

// try decides a body and records it when it is allowed. A refusal must leave
// the dossier as it was.
func (b *bench) try(body Body) error {
	b.t.Helper()
	before := b.fingerprint()
	b.now = b.now.Add(time.Minute)
	if err := Decide(b.d, b.rules, Act{At: b.now, Actor: "tamsin", Body: body}); err != nil {
		require.Equal(b.t, before, b.fingerprint(), "a refusal changed the dossier")
		return err
	}
	b.store(body)
	return nil
}

// fingerprint is a quick stand-in for snapshot: what can change in a dossier
// without a new record.
func (b *bench) fingerprint() string {
	s := fmt.Sprint(b.d.version, b.d.last, len(b.d.entries), len(b.d.byID), len(b.d.byKind))
	for _, e := range b.d.entries {
		s += e.SupersededBy + "," + e.WithdrawnBy + ";"
	}
	return s
}

// store appends without asking.
func (b *bench) store(body Body) {
	b.t.Helper()
	id := fmt.Sprintf("ev-%03d", len(b.events)+1)
	events, err := Extend(b.d.Version(), b.d.Last(), Stamp{Machine: b.d.ID, Recorded: b.now, Actor: "tamsin", NewID: func() string { return id }}, []Body{body})
	require.NoError(b.t, err)
	b.events = append(b.events, events...)
	// What is applied is what was stored, as a reader of the ledger sees it.
	env, err := DecodeEvent(events[0])
	require.NoError(b.t, err)
	again, err := DecodeBody(env.Kind, env.Schema, env.Body)
	require.NoError(b.t, err)
	b.d.Apply(Meta{Version: env.Version, ID: env.ID, Recorded: env.Recorded, Actor: env.Actor, Kind: env.Kind, Hash: LeafHash(events[0])}, again)
}

// do records bodies that have to be allowed.
func (b *bench) do(bodies ...Body) *bench {
	b.t.Helper()
	for _, body := range bodies {
		require.NoError(b.t, b.try(body), "%s %s", body.Kind(), IDOf(body))
	}
	return b
}

// replayed checks that the events give the same dossier again.
func (b *bench) replayed() {
	b.t.Helper()
	again, err := Replay(b.d.ID, b.events, time.Time{})
	require.NoError(b.t, err)
	require.Equal(b.t, snapshot(b.t, b.d), snapshot(b.t, again))
}

// snapshot writes down everything that a dossier holds.
func snapshot(t require.TestingT, d *Dossier) string {
	var s strings.Builder
	fmt.Fprintln(&s, d.ID, d.version, d.last)
	for _, e := range d.entries {
		raw, err := json.Marshal(e.Body)
		require.NoError(t, err)
		fmt.Fprintln(&s, e.Meta, e.SupersededBy, e.WithdrawnBy, string(raw))
	}
	return s.String()
}

func ptr[T any](v T) *T { return &v }

func pounds(amount string) Money { return money(amount, "GBP") }

func money(amount, currency string) Money {
	m, err := ParseMoney(amount, currency)
	if err != nil {
		panic(err)
	}
	return m
}

// The bodies below are complete and allowed at their stage; cases change what
// they are about.

func aMachine() *Machine {
	return &Machine{Common: Common{ID: "machine"}, Make: "Skerrow", Model: "Drover 350", Year: "1957",
		Numbers: []Number{{Where: "frame", AsRead: Private{Value: "SD57-1138"}}}, NotFitted: []string{"electrical.horn"}, Invented: true}
}

func aPerson(id, role string) *Person {
	return &Person{Common: Common{ID: id}, Role: role, Name: Private{Digest: "sha256:" + strings.Repeat("5a", 32)}}
}

func anAgreement() *CustodyAgreement {
	return &CustodyAgreement{Common: Common{ID: "custody"}, Owner: "imogen", Custodian: "tamsin", Authority: "grant of probate", Purpose: "occasional",
		Care: []string{"dust", "tool-tray"}, Ceiling: pounds("20"), From: "2026-03-09", RemovedPartsOwner: "imogen",
		Inventory: []InventoryItem{{ID: "keys", What: "keys", Count: 2}, {ID: "tin", What: "tin of screws", Count: 1}}}
}

func aSurvey(component string) *Survey {
	return &Survey{Common: Common{ID: "survey-" + component}, Component: component, Origin: "original", Finish: "worn", Condition: ptr(3), By: "tamsin"}
}

func aSeal() *SurveySeal {
	return &SurveySeal{Common: Common{ID: "seal"}, By: "tamsin", Gaps: []SurveyGap{{Component: "brakes.front.linings", Why: "wheel not yet out"}}, GapsSignedBy: "imogen"}
}

func aPhoto(id string) *Photo {
	return &Photo{Common: Common{ID: id}, Digest: "sha256:" + strings.Repeat("ab", 32), MediaType: "image/jpeg", Bytes: 1, Shows: "work", By: "tamsin"}
}

func asFound(id string, openings ...string) *Photo {
	p := aPhoto(id)
	p.Shows, p.Openings = "as-found", openings
	return p
}

func aJoint(id string) *Joint {
	return &Joint{Common: Common{ID: "joint-" + id}, Joint: id, Components: []string{"ignition.magneto"}, Witness: "undisturbed", Sign: "paint bridge", By: "tamsin"}
}

func evidence(id, component string) *Evidence {
	return &Evidence{Common: Common{ID: id}, Evidence: "date-stamp", Bears: []Bearing{{Component: component, Proposition: PropositionOrigin, Sign: "date-stamp-agrees"}},
		Cluster: "stamps", Says: "struck 4 57", By: "tamsin"}
}

func claim(id, component string, cites ...string) *Claim {
	return &Claim{Common: Common{ID: id}, Component: component, Proposition: PropositionOrigin, Statement: "It left the works on this machine", Evidence: cites, By: "tamsin"}
}

func fitting(id, part string, valid Date) *Fitting {
	return &Fitting{Common: Common{ID: id, Valid: valid}, Component: "ignition.magneto", Part: part}
}

func aFault(id string) *Fault {
	return &Fault{Common: Common{ID: id}, Complaint: "weak spark when hot", Components: []string{"ignition.magneto"}, By: "tamsin"}
}

// cover is the opening that lays the magneto open.
func cover() *Opening {
	return &Opening{Common: Common{ID: "cover"}, Title: "timing cover", Joints: []string{"cover-screws"}, Hours: 0.5, WitnessPoints: 2,
		Behind: []string{"ignition.magneto"}, Needs: []Need{{What: "gasket", Count: 1, Unit: "1", InHand: true}}}
}

func swapMagneto() *Option {
	return &Option{Common: Common{ID: "swap"}, Fault: "spark", Treatment: "reproduction", Title: "Fit a reproduction magneto, keep the old one", Hours: 3,
		Changes: []Change{{Component: "ignition.magneto", Proposition: PropositionOrigin, After: map[string]float64{"reproduction": 1}, Removes: true,
			Keep: &KeepPromise{Custody: "kept-with-machine", LossPerYear: 0.02, Years: 10, RefitChance: 0.9}}},
		Openings: []string{"cover"}, Money: pounds("90"), By: "tamsin"}
}

func paintTank() *Option {
	return &Option{Common: Common{ID: "paint"}, Fault: "rust", Treatment: "refinish", Title: "Paint the tank", Hours: 8,
		Changes: []Change{{Component: "fuel.tank", Proposition: PropositionFinish, After: map[string]float64{"refinished": 1}}}, Money: pounds("60"), Undo: "cannot be undone", By: "tamsin"}
}

func adjustMagneto() *Option {
	return &Option{Common: Common{ID: "adjust"}, Fault: "spark", Treatment: "adjust", Title: "Set the points", Hours: 1, By: "tamsin"}
}

func anOffer(ceiling string, options ...*Option) Offer {
	o := Offer{Ceiling: pounds(ceiling), Openings: []Opening{*cover()}, Expires: monday.AddDate(0, 1, 0), Recommended: []string{}}
	for _, x := range options {
		o.Options = append(o.Options, *x)
		o.Recommended = append(o.Recommended, x.ID)
	}
	return o
}

func aProposal(id, ceiling string, options ...*Option) *Proposal {
	return &Proposal{Common: Common{ID: id}, To: "imogen", By: "tamsin", Offer: anOffer(ceiling, options...)}
}

// answer decides on an offer as it stands.
func (b *bench) answer(id, on, word string, options ...string) *Decision {
	_, digest, _, _ := b.d.OfferOf(on)
	return &Decision{Common: Common{ID: id}, On: on, Digest: digest, Answer: word, Options: options, Person: "imogen", Channel: "in-person"}
}

func (b *bench) takeBack(id, decision, on string) *Decision {
	d := b.answer(id, on, "take-back")
	d.TakesBack = decision
	return d
}

func swapWork(id, spent string) *Work {
	return &Work{Common: Common{ID: id}, Option: "swap", Treatment: "reproduction", Did: "fitted the reproduction magneto", Hours: 3, Spent: pounds(spent),
		Changes:  []Change{{Component: "ignition.magneto", Proposition: PropositionOrigin, After: map[string]float64{"reproduction": 1}, Removes: true}},
		Openings: []string{"cover"}, Fitted: []Fitted{{Component: "ignition.magneto", Part: "magneto", Origin: "reproduction", Mark: "TO 2026"}}, By: "tamsin"}
}

func paintWork(id string) *Work {
	return &Work{Common: Common{ID: id}, Option: "paint", Treatment: "refinish", Did: "painted the tank", Hours: 8, Spent: pounds("10"),
		Changes: []Change{{Component: "fuel.tank", Proposition: PropositionFinish, After: map[string]float64{"refinished": 1}}}, By: "tamsin"}
}

func careWorkOf(item string) *Work {
	return &Work{Common: Common{ID: "care"}, Treatment: "adjust", Did: "dusted with a soft brush", Care: item, By: "tamsin"}
}

func oldMagneto() *RemovedPart {
	return &RemovedPart{Common: Common{ID: "old-magneto"}, Component: "ignition.magneto", Work: "work-1", Tag: "T-07", What: "magneto body",
		Custody: "kept-with-machine", Reason: "weak when hot", By: "tamsin"}
}

func move(id, part, custody string) *PartMove {
	return &PartMove{Common: Common{ID: id}, Part: part, Custody: custody, Why: "tidied the shelf", By: "tamsin"}
}

func aCheck(id, outcome string, components ...string) *Check {
	return &Check{Common: Common{ID: id}, What: "tried it", Components: components, Outcome: outcome, By: "tamsin"}
}

func gate(id string, checks ...string) *Gate {
	g := &Gate{Common: Common{ID: "gate-" + id}, Gate: id, Checks: checks, By: "tamsin"}
	switch id {
	case "arrived":
		g.Photos = []string{"photo-1"}
	case "private-ground", "road", "static":
		g.Second = "reuben"
	}
	return g
}

func aHandBack() *HandBack {
	return &HandBack{Common: Common{ID: "hand-back"}, To: "imogen", By: "tamsin",
		Inventory: []InventoryItem{{ID: "keys", What: "keys", Count: 2}, {ID: "tin", What: "tin of screws", Count: 1}}}
}

// The stages of the job; each stands on the one before.

func takenIn(b *bench) {
	b.do(aMachine(), aPerson("imogen", "owner"), aPerson("tamsin", "mechanic"), aPerson("reuben", "second-signature"), anAgreement(), aPhoto("photo-1"))
}

func surveyed(b *bench) {
	takenIn(b)
	b.do(aSurvey("fuel.tank"), aSurvey("ignition.magneto"))
}

func sealed(b *bench) {
	surveyed(b)
	b.do(aJoint("cover-screws"), aSeal())
}

func weighed(b *bench) {
	sealed(b)
	b.do(aFault("spark"), aFault("rust"), cover(), asFound("photo-cover", "cover"), swapMagneto(), paintTank(), adjustMagneto())
}

func offered(b *bench) {
	weighed(b)
	b.do(aProposal("offer", "110", swapMagneto(), paintTank()))
}

func approved(b *bench) {
	offered(b)
	b.do(b.answer("yes", "offer", "approve", "swap"))
}

func opened(b *bench) {
	approved(b)
	b.do(&Opened{Common: Common{ID: "opened"}, Opening: "cover", By: "tamsin"})
}

func worked(b *bench) {
	opened(b)
	b.do(swapWork("work-1", "90"))
}

func tagged(b *bench) {
	worked(b)
	b.do(oldMagneto())
}

// ruleCase is one row of a table about Decide: on a stage, after more records,
// an act is allowed (no code) or refused with a code and a word of the message.
type ruleCase struct {
	name  string
	stage func(*bench)
	more  func(*bench) []Body
	act   func(*bench) Body
	code  Code
	word  string
	// then looks at what an allowed act led to.
	then func(*testing.T, *bench)
}

func runCases(t *testing.T, cases []ruleCase) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			if c.stage != nil {
				c.stage(b)
			}
			if c.more != nil {
				for _, body := range c.more(b) {
					b.do(body)
				}
			}
			err := b.try(c.act(b))
			if c.code == "" {
				require.NoError(t, err)
			} else {
				require.Error(t, err)
				require.Equal(t, string(c.code), string(CodeOf(err)), err)
				text := err.Error()
				var e *Error
				if as(err, &e) {
					for _, f := range e.Fields {
						text += " | " + f.String()
					}
				}
				require.Contains(t, text, c.word)
			}
			if c.then != nil {
				c.then(t, b)
			}
			b.replayed()
		})
	}
}

// with changes a body on its way into a case.
func with[T Body](body T, change ...func(T)) func(*bench) Body {
	return func(*bench) Body {
		for _, f := range change {
			f(body)
		}
		return body
	}
}

func bodies(list ...Body) func(*bench) []Body { return func(*bench) []Body { return list } }
