package workshop

import (
	"time"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// Report is a dossier as it is shown: every word in it is fit for its readers,
// with names and numbers where they may be seen and roles and masks where not.
// It is what `show --json` prints, and what pages and PDF are made from.
type Report struct {
	Machine MachineReport `json:"machine"`
	// Version and Head identify the state of the record that this was made of.
	Version uint64    `json:"version"`
	Head    string    `json:"head"` // leaf hash of the last event
	Changed time.Time `json:"changed"`
	KnownAt string    `json:"known_at,omitempty"`
	AsOf    string    `json:"as_of,omitempty"`
	Public  bool      `json:"public"`
	Phase   string    `json:"phase"`
	// Elsewhere says since when the record is kept on in another registry, and
	// that this is a copy; "" for one that is kept here.
	Elsewhere string `json:"kept_elsewhere,omitempty"`
	// Catalog and Standpoint say what the figures were made with.
	Catalog    string `json:"catalog"`
	Standpoint string `json:"standpoint"`
	// Coverage is the share of the weight of the substance index whose claims
	// rest on more than the prior, 0 to 1.
	Coverage float64 `json:"coverage"`
	Indices  Indices `json:"indices"`

	Agreement *AgreementReport `json:"custody_agreement,omitempty"`
	People    []PersonReport   `json:"people"`
	Survey    SurveyReport     `json:"survey"`
	Groups    []GroupReport    `json:"groups"`
	// Uncertain lists where the next look would settle most, by points at stake.
	Uncertain []Uncertain      `json:"uncertain"`
	Fittings  []FittingReport  `json:"fittings,omitempty"`
	Evidence  []EvidenceReport `json:"evidence"`
	Joints    []JointReport    `json:"joints"`
	Readings  []ReadingReport  `json:"measurements"`
	Photos    []PhotoReport    `json:"photos"`
	Faults    []FaultReport    `json:"faults"`
	Openings  []OpeningReport  `json:"openings"`
	Offers    []OfferReport    `json:"offers"`
	// Links are those by which owners decide.
	Links []LinkReport `json:"owner_links,omitempty"`
	// Passkeys are those with which they may confirm what they decide, and ToSign
	// are the records that wait for their second person.
	Passkeys []PasskeyReport `json:"passkeys,omitempty"`
	ToSign   []ToSignReport  `json:"to_sign,omitempty"`
	Work     []WorkReport    `json:"work"`
	Removed  []RemovedReport `json:"removed_parts"`
	Checks   []CheckReport   `json:"checks"`
	Gates    []GateReport    `json:"gates"`
	// Due is what is to be looked at again; Usage what the machine has done.
	Due      []DueReport     `json:"due"`
	Usage    *UsageReport    `json:"usage,omitempty"`
	HandBack *HandBackReport `json:"hand_back,omitempty"`
	// Questions are left open on purpose or for want of evidence.
	Questions []string   `json:"open_questions"`
	Timeline  []Happened `json:"timeline"`

	// minimum is the coverage below which there is no figure, 0 to 1.
	minimum float64

	// Acting are the persons for whom the reader may record, by id; none when
	// for anybody. It is the server's, and no part of the record.
	Acting []string `json:"-"`
}

// MachineReport is the machine itself.
type MachineReport struct {
	ID       string         `json:"id"`
	Name     string         `json:"name"`
	Make     string         `json:"make"`
	Model    string         `json:"model"`
	Year     registry.Date  `json:"year"`
	Numbers  []NumberReport `json:"numbers"`
	Story    string         `json:"story,omitempty"`
	Invented bool           `json:"invented,omitempty"`
}

// NumberReport is a stamped number: whole in the private edition, masked in
// the public one.
type NumberReport struct {
	Where    string                       `json:"where"`
	Shown    string                       `json:"shown"`
	Doubtful []registry.DoubtfulCharacter `json:"doubtful,omitempty"`
	Note     string                       `json:"note,omitempty"`
}

// Indices are the three answers to "how original is it?".
type Indices struct {
	// Substance: is it the same metal that left the works?
	Substance IndexReport `json:"substance"`
	// Surface: is it the same skin?
	Surface IndexReport `json:"surface"`
	// Correctness: is it as the maker's catalogue says?
	Correctness IndexReport `json:"correctness"`
}

// IndexNames are the indices in their order.
var indexNames = [...]string{"substance", "surface", "correctness"}

// Each calls fn for each index in order.
func (i *Indices) Each(fn func(name string, r *IndexReport)) {
	fn("substance", &i.Substance)
	fn("surface", &i.Surface)
	fn("correctness", &i.Correctness)
}

// IndexReport is one index, as the machine stands and as it would stand if
// every kept part went back. Figures run from 0 to 1. With too little evidence
// there are no figures, and Refused says what would help.
type IndexReport struct {
	Now         *scoring.IndexResult `json:"now"`
	Recoverable *scoring.IndexResult `json:"recoverable"`
	// AsFound is the figure at the sealing of the survey, as recorded then.
	AsFound  *scoring.IndexResult `json:"as_found,omitempty"`
	Coverage float64              `json:"coverage"`
	Refused  string               `json:"refused,omitempty"`
	// Input is exactly what `calc index` takes to give Now, BackInput what it
	// takes to give Recoverable.
	Input     *scoring.IndexInput `json:"-"`
	BackInput *scoring.IndexInput `json:"-"`
	// parts are the same as Input where there is no figure; see Shade.
	parts *scoring.IndexInput
}

// AgreementReport is the custody agreement.
type AgreementReport struct {
	Owner       string                   `json:"owner"`
	Custodian   string                   `json:"custodian"`
	Authority   string                   `json:"authority"`
	Purpose     string                   `json:"purpose"`
	Care        []string                 `json:"care"`
	Stop        []string                 `json:"stop"`
	Ceiling     string                   `json:"ceiling,omitempty"`
	AgreedValue string                   `json:"agreed_value,omitempty"`
	Insurer     string                   `json:"insurer,omitempty"`
	Place       string                   `json:"place,omitempty"`
	Until       registry.Date            `json:"until,omitempty"`
	Inventory   []registry.InventoryItem `json:"inventory"`
}

// PersonReport is one person: by name in the private edition, by role else.
type PersonReport struct {
	ID      string `json:"id"`
	Role    string `json:"role"`
	Name    string `json:"name"`
	Contact string `json:"contact,omitempty"`
}

// SurveyReport says how far the as-found survey is.
type SurveyReport struct {
	Surveyed int                  `json:"surveyed"` // components with a live entry
	Of       int                  `json:"of"`       // components that this type has
	Sealed   bool                 `json:"sealed"`
	Digest   string               `json:"digest,omitempty"`
	SealedOn string               `json:"sealed_on,omitempty"`
	SealedBy string               `json:"sealed_by,omitempty"`
	Gaps     []registry.SurveyGap `json:"gaps,omitempty"`
}

// GroupReport is one group of the anatomy.
type GroupReport struct {
	ID         string            `json:"id"`
	Name       string            `json:"name"`
	Points     float64           `json:"points"`
	Components []ComponentReport `json:"components"`
}

// ComponentReport is one component.
type ComponentReport struct {
	ID              string   `json:"id"`
	Code            string   `json:"code"`
	Name            string   `json:"name"`
	Group           string   `json:"group"`
	Points          float64  `json:"points"`
	IdentityBearing bool     `json:"identity_bearing,omitempty"`
	Consumable      bool     `json:"consumable,omitempty"`
	SafetyCritical  bool     `json:"safety_critical,omitempty"`
	NotFitted       bool     `json:"not_fitted,omitempty"` // this type never had it
	Surveyed        bool     `json:"surveyed"`
	Condition       *int     `json:"condition,omitempty"`
	ConditionWords  string   `json:"condition_words,omitempty"`
	Function        string   `json:"function"`
	Custody         string   `json:"custody"`
	Note            string   `json:"note,omitempty"`
	Read            string   `json:"read,omitempty"` // what stands on the part; "" in the public edition
	Photos          []string `json:"photos,omitempty"`
	// Answers to the three questions.
	Origin        ClaimReport `json:"origin"`
	Finish        ClaimReport `json:"finish"`
	Specification ClaimReport `json:"specification"`
	// FirstCheck is the catalog's least invasive first look.
	FirstCheck string `json:"first_check,omitempty"`

	weights catalog.Weights
}

// Claims gives the three answers with their names, in order.
func (c *ComponentReport) Claims() []*ClaimReport {
	return []*ClaimReport{&c.Origin, &c.Finish, &c.Specification}
}

// ClaimReport is how one question about one component stands.
type ClaimReport struct {
	Proposition registry.Proposition `json:"proposition"`
	// Leading is the most probable state, "" when nothing stands out; Shown
	// its probability as it may be printed ("97 %", ">99 %").
	Leading     string  `json:"leading"`
	Probability float64 `json:"probability"`
	Shown       string  `json:"shown"`
	// Basis is "evidence", "prior" (nothing but the house prior), "work" (it
	// was changed here), or "seen" (looked at: missing).
	Basis     string                       `json:"basis"`
	Posterior scoring.Distribution         `json:"posterior"`
	Band      *scoring.Ordered[[2]float64] `json:"band,omitempty"`
	// Evidence lists the ids behind it; a survey's readings are "survey:…".
	Evidence []string `json:"evidence,omitempty"`
	// EntropyBits is the uncertainty before evidence and after each item, bits.
	EntropyBits []float64                              `json:"entropy_bits,omitempty"`
	Clusters    []scoring.ClusterFinding               `json:"clusters,omitempty"`
	Without     *scoring.Ordered[scoring.Distribution] `json:"without,omitempty"`
	Conflict    bool                                   `json:"conflict,omitempty"`
	Caution     string                                 `json:"caution,omitempty"`
	Statement   string                                 `json:"statement,omitempty"` // of an explicit claim
	Claim       string                                 `json:"claim,omitempty"`     // its id
	// Undetermined says that the surveyor looked and could not tell.
	Undetermined bool `json:"undetermined,omitempty"`
	// Input is exactly what `calc origin` takes to give the posterior.
	Input *scoring.OriginInput `json:"-"`
}

// Uncertain is a question whose answer would settle much.
type Uncertain struct {
	Component   string               `json:"component"`
	Name        string               `json:"name"`
	Proposition registry.Proposition `json:"proposition"`
	Points      float64              `json:"points"`       // weight of the component in its index
	EntropyBits float64              `json:"entropy_bits"` // what is not known yet
	Why         string               `json:"why"`
	Settle      string               `json:"settle"` // the least invasive next look
}

// FittingReport is one span of time in one position.
type FittingReport struct {
	ID        string        `json:"id"`
	Component string        `json:"component"`
	Name      string        `json:"name"`
	Part      string        `json:"part"`
	Stamp     string        `json:"stamp,omitempty"`
	Origin    string        `json:"origin,omitempty"`
	Valid     registry.Date `json:"valid"`
	Recorded  time.Time     `json:"recorded"`
	Evidence  []string      `json:"evidence,omitempty"`
}

// EvidenceReport is one piece of evidence.
type EvidenceReport struct {
	ID          string             `json:"id"`
	Kind        string             `json:"kind"`
	Says        string             `json:"says"`
	Limits      string             `json:"limits,omitempty"`
	Made        registry.Date      `json:"made,omitempty"`
	MadeBy      string             `json:"made_by,omitempty"`
	Recollected bool               `json:"recollected,omitempty"`
	Cluster     string             `json:"cluster"`
	Reliability *float64           `json:"reliability,omitempty"`
	Bears       []registry.Bearing `json:"bears"`
	Photos      []string           `json:"photos,omitempty"`
	Recorded    time.Time          `json:"recorded"`
	By          string             `json:"by"`
	// Method is that of the computation behind it, such as stamp/1; recalc
	// computes it again.
	Method string `json:"method,omitempty"`
	// Live is false for evidence that was superseded or withdrawn.
	Live bool `json:"live"`
}

// JointReport is one joint of the witness register.
type JointReport struct {
	ID         string   `json:"id"`
	Joint      string   `json:"joint"`
	Components []string `json:"components"`
	Witness    string   `json:"witness"`
	Sign       string   `json:"sign"`
	Photos     []string `json:"photos,omitempty"`
}

// ReadingReport is one measurement.
type ReadingReport struct {
	ID          string        `json:"id"`
	Component   string        `json:"component"`
	Quantity    string        `json:"quantity"`
	Value       float64       `json:"value"`
	Unit        string        `json:"unit"`
	Uncertainty float64       `json:"uncertainty,omitempty"`
	Instrument  string        `json:"instrument"`
	Place       string        `json:"place,omitempty"`
	Valid       registry.Date `json:"valid"`
}

// PhotoReport is one picture. In the public edition withheld pictures are
// listed by digest alone.
type PhotoReport struct {
	ID         string        `json:"id"`
	Digest     string        `json:"digest"`
	Preview    string        `json:"preview,omitempty"`
	MediaType  string        `json:"media_type"`
	Width      int           `json:"width,omitempty"`
	Height     int           `json:"height,omitempty"`
	Shows      string        `json:"shows"`
	Components []string      `json:"components,omitempty"`
	Openings   []string      `json:"openings,omitempty"`
	Caption    string        `json:"caption,omitempty"`
	Listed     string        `json:"listed,omitempty"` // which picture of the as-found list it is
	Scale      string        `json:"scale,omitempty"`
	Taken      string        `json:"taken,omitempty"`
	Valid      registry.Date `json:"valid,omitempty"`
	Withheld   bool          `json:"withheld,omitempty"`
	By         string        `json:"by"`
}

// FaultReport is a fault with the options that are open for it.
type FaultReport struct {
	ID         string         `json:"id"`
	Complaint  string         `json:"complaint"`
	Cause      string         `json:"cause,omitempty"`
	Components []string       `json:"components"`
	Grave      bool           `json:"grave,omitempty"`
	Options    []OptionReport `json:"options"`
	// Leaving is what is expected if it is left as it is.
	Leaving *LeavingReport `json:"leaving,omitempty"`
}

// OptionReport is an option with its effects as last weighed.
type OptionReport struct {
	registry.Option
	TreatmentTitle string `json:"treatment_title"`
	Rung           int    `json:"rung"`
	Reversible     bool   `json:"reversible"`
	// Effects by index name; nil until weighed.
	Effects *Effects `json:"effects,omitempty"`
	// First lists what must be in hand before anything is opened.
	First    []string        `json:"in_hand_first,omitempty"`
	Cautions []CautionReport `json:"cautions,omitempty"`
	// OpeningTitles are the openings that it needs, in words.
	OpeningTitles []string `json:"opening_titles,omitempty"`
	// Standing says how the option stands to the owner's word.
	Standing string `json:"standing,omitempty"`
	// Risk is how it may end, where that was recorded.
	Risk *RiskReport `json:"risk,omitempty"`
	// Leaving is what is expected if the fault is left; of options that leave it.
	Leaving *LeavingReport `json:"leaving,omitempty"`
	// Parts are what it and its openings need, in hand or not.
	Parts []PartReport `json:"parts,omitempty"`
}

// Effects are what an option does to each index. Losses are positive, in index
// units from 0 to 1.
type Effects struct {
	Substance   scoring.EffectResult `json:"substance"`
	Surface     scoring.EffectResult `json:"surface"`
	Correctness scoring.EffectResult `json:"correctness"`
	// Estimates are the same with their inputs, as they are recorded.
	Estimates []registry.NamedEstimate `json:"-"`
}

// Each calls fn for each index in order.
func (e *Effects) Each(fn func(name string, r *scoring.EffectResult)) {
	fn("substance", &e.Substance)
	fn("surface", &e.Surface)
	fn("correctness", &e.Correctness)
}

// CautionReport is a caution at the step that needs it.
type CautionReport struct {
	ID     string `json:"id"`
	Level  string `json:"level"` // note, acknowledge, stop
	Text   string `json:"text"`
	Source string `json:"source,omitempty"`
}

// OpeningReport is an opening and whether it has been made.
type OpeningReport struct {
	registry.Opening
	Opened   string            `json:"opened,omitempty"` // date
	Standing registry.Standing `json:"standing,omitzero"`
}

// OfferReport is a proposal or change request with its answer.
type OfferReport struct {
	ID          string         `json:"id"`
	Kind        registry.Kind  `json:"kind"`
	By          string         `json:"by"`
	To          string         `json:"to"`
	Recorded    time.Time      `json:"recorded"`
	Found       string         `json:"found,omitempty"` // of a change request
	Digest      string         `json:"digest"`
	Offer       registry.Offer `json:"offer"`
	Options     []OptionReport `json:"options"` // as shown to the owner, with effects
	Recommended []string       `json:"recommended"`
	// Cost is the forecast of what is recommended, in the ceiling's currency.
	Cost *scoring.CostResult `json:"cost,omitempty"`
	// Value compares before and after as the owner saw it, in the same currency.
	Value      *scoring.ValueResult `json:"value,omitempty"`
	Superseded bool                 `json:"superseded,omitempty"`
	Answers    []AnswerReport       `json:"answers"`
	// Standing is the answer that counts now, "" while unanswered.
	Standing string `json:"standing"`
}

// AnswerReport is one answer of the owner.
type AnswerReport struct {
	ID         string   `json:"id"`
	Answer     string   `json:"answer"`
	Options    []string `json:"options,omitempty"`
	Conditions []string `json:"conditions,omitempty"`
	Reason     string   `json:"reason,omitempty"`
	Person     string   `json:"person"`
	Channel    string   `json:"channel"`
	// Means is how it came, and what that proves.
	Means MeansReport `json:"means"`
	// Until is when an approval ends, Underway what was begun under it, "" while
	// nothing was: until then it can be taken back.
	Until     *time.Time `json:"until,omitempty"`
	Underway  string     `json:"underway,omitempty"`
	Digest    string     `json:"digest"`
	Recorded  time.Time  `json:"recorded"`
	TakenBack bool       `json:"taken_back,omitempty"`
	// Replies are the workshop's, to an answer that is a question.
	Replies []ReplyReport `json:"replies,omitempty"`
}

// WorkReport is one work entry.
type WorkReport struct {
	ID             string            `json:"id"`
	Valid          registry.Date     `json:"valid"`
	Option         string            `json:"option,omitempty"`
	Treatment      string            `json:"treatment"`
	TreatmentTitle string            `json:"treatment_title"`
	Did            string            `json:"did"`
	Hours          float64           `json:"hours"`
	Spent          string            `json:"spent,omitempty"`
	Fitted         []registry.Fitted `json:"fitted,omitempty"`
	Changes        []registry.Change `json:"changes,omitempty"`
	Openings       []string          `json:"openings,omitempty"`
	Photos         []string          `json:"photos,omitempty"`
	By             string            `json:"by"`
	Second         string            `json:"second,omitempty"`
	// SecondSigned is when the second person signed by an account of their own;
	// without it the first typed the name.
	SecondSigned time.Time         `json:"second_signed,omitzero"`
	Standing     registry.Standing `json:"standing"`
	// Undone says that the removed part went back.
	Undone bool `json:"undone,omitempty"`
}

// RemovedReport is one removed part and where it is now.
type RemovedReport struct {
	ID        string        `json:"id"`
	Component string        `json:"component"`
	Tag       string        `json:"tag"`
	What      string        `json:"what"`
	Custody   string        `json:"custody"` // now
	Place     string        `json:"place,omitempty"`
	Condition string        `json:"condition,omitempty"`
	Reason    string        `json:"reason"`
	Fasteners string        `json:"fasteners,omitempty"`
	Valid     registry.Date `json:"valid"`
	Photos    []string      `json:"photos,omitempty"`
}

// CheckReport is one check.
type CheckReport struct {
	ID         string             `json:"id"`
	What       string             `json:"what"`
	Components []string           `json:"components"`
	Outcome    string             `json:"outcome"`
	Readings   []registry.Reading `json:"readings,omitempty"`
	Valid      registry.Date      `json:"valid"`
	By         string             `json:"by"`
	Second     string             `json:"second,omitempty"`
	// SecondSigned is as in WorkReport.
	SecondSigned time.Time `json:"second_signed,omitzero"`
	Note         string    `json:"note,omitempty"`
	// Of is the check of a gate that it is, Recheck the recheck that it does.
	Of      string `json:"of,omitempty"`
	Recheck string `json:"recheck,omitempty"`
	// Words say what its readings come to, of a stop that was measured.
	Words string `json:"words,omitempty"`
}

// GateCheckReport is a check that a gate counts.
type GateCheckReport struct {
	ID   string `json:"id"`
	What string `json:"what"`
}

// GateReport is one gate of the ladder and whether it stands.
type GateReport struct {
	ID     string `json:"id"`
	Title  string `json:"title"`
	Passed bool   `json:"passed"`
	On     string `json:"on,omitempty"`
	By     string `json:"by,omitempty"`
	Second string `json:"second,omitempty"`
	// SecondSigned is as in WorkReport.
	SecondSigned time.Time `json:"second_signed,omitzero"`
	// Checks are those that it counts, and Least how many must have passed.
	Checks []GateCheckReport `json:"checks"`
	Least  int               `json:"least_checks"`
	// Others is what local rules or a qualified person must still decide.
	Others string `json:"others,omitempty"`
}

// HandBackReport is the hand-back.
type HandBackReport struct {
	On           registry.Date            `json:"on"`
	To           string                   `json:"to"`
	By           string                   `json:"by"`
	Inventory    []registry.InventoryItem `json:"inventory"`
	Accounted    map[string]string        `json:"accounted,omitempty"`
	RemovedParts []string                 `json:"removed_parts"`
	KnownLimits  []string                 `json:"known_limits"`
	Instructions []string                 `json:"instructions"`
	Fluids       []string                 `json:"fluids"`
	Rechecks     []registry.Recheck       `json:"rechecks"`
}

// Happened is one line of the timeline.
type Happened struct {
	Recorded time.Time     `json:"recorded"`
	Valid    registry.Date `json:"valid,omitempty"`
	Version  uint64        `json:"version"`
	Kind     registry.Kind `json:"kind"`
	Record   string        `json:"record"`
	Text     string        `json:"text"`
	By       string        `json:"by"`
	// Mark is "unapproved", "refused", "superseded", "withdrawn" or "".
	Mark string `json:"mark,omitempty"`
}
