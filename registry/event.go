package registry

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"
)

// Kind names what an event records. It is also the name of the record's schema.
type Kind string

// EnvelopeFormat is the version of the event envelope. Readers refuse others.
const EnvelopeFormat = 1

// Envelope is an event as it is stored. Its canonical JSON is hashed, so
// nothing is ever added to it; a change of a body's shape is a new schema
// version of its kind, which is read through an upcast.
type Envelope struct {
	Format   int             `json:"format"`
	Machine  string          `json:"machine"`
	Version  uint64          `json:"version"` // 1, 2, 3, … within the machine
	ID       string          `json:"id"`
	Recorded time.Time       `json:"recorded"` // UTC, when we learned it
	Actor    string          `json:"actor"`    // a person's id
	Kind     Kind            `json:"kind"`
	Schema   int             `json:"schema"`
	Previous string          `json:"previous"` // leaf hash of the event before, "" for the first
	Body     json.RawMessage `json:"body"`
}

// Meta is an envelope without its body, with the leaf hash of its bytes.
type Meta struct {
	Version  uint64    `json:"version"`
	ID       string    `json:"event"`
	Recorded time.Time `json:"recorded"`
	Actor    string    `json:"actor"`
	Kind     Kind      `json:"kind"`
	Hash     string    `json:"hash"`
}

// Body is the content of one kind of record.
type Body interface {
	Kind() Kind
	common() *Common
	// check adds the faults that show without knowing the dossier.
	check(fs *faults)
}

// Common is what every record carries.
type Common struct {
	// ID names the record within its machine.
	ID string `json:"id"`
	// Valid is when it was so, as precisely as is known.
	Valid Date `json:"valid,omitempty"`
	// Supersedes names an earlier record of the same kind that this one
	// corrects. The earlier one stays readable.
	Supersedes string `json:"supersedes,omitempty"`
	Note       string `json:"note,omitempty"`
}

func (c *Common) common() *Common { return c }

// kindRow is one kind of record: how a body is made, its current schema
// version, and the steps that bring an older body up to it. upcasts[0] turns
// version 1 into version 2.
type kindRow struct {
	new     func() Body
	title   string // as a sentence begins: "The survey entry"
	upcasts []upcast
}

// asItIs brings a body up to a version that only adds what may be left out.
func asItIs(data json.RawMessage) (json.RawMessage, error) { return data, nil }

// upcast turns a body of one schema version into the next.
type upcast func(json.RawMessage) (json.RawMessage, error)

// kinds is the one list of kinds of record.
var kinds = map[Kind]kindRow{
	"machine":           {new: func() Body { return &Machine{} }, title: "The machine"},
	"person":            {new: func() Body { return &Person{} }, title: "The person"},
	"custody-agreement": {new: func() Body { return &CustodyAgreement{} }, title: "The custody agreement"},
	"survey":            {new: func() Body { return &Survey{} }, title: "The survey entry", upcasts: []upcast{asItIs}},
	"survey-seal":       {new: func() Body { return &SurveySeal{} }, title: "The seal of the survey"},
	"claim":             {new: func() Body { return &Claim{} }, title: "The claim"},
	"evidence":          {new: func() Body { return &Evidence{} }, title: "The evidence", upcasts: []upcast{asItIs}},
	"joint":             {new: func() Body { return &Joint{} }, title: "The joint"},
	"measurement":       {new: func() Body { return &Measurement{} }, title: "The measurement"},
	"photo":             {new: func() Body { return &Photo{} }, title: "The photo", upcasts: []upcast{asItIs}},
	"fitting":           {new: func() Body { return &Fitting{} }, title: "The fitting"},
	"fault":             {new: func() Body { return &Fault{} }, title: "The fault"},
	"opening":           {new: func() Body { return &Opening{} }, title: "The opening"},
	"opened":            {new: func() Body { return &Opened{} }, title: "The act of opening"},
	"option":            {new: func() Body { return &Option{} }, title: "The option"},
	"leaving":           {new: func() Body { return &Leaving{} }, title: "The cost of leaving it"},
	"risk":              {new: func() Body { return &Risk{} }, title: "The risk of an act"},
	"search":            {new: func() Body { return &Search{} }, title: "The entry in the search log"},
	"finding":           {new: func() Body { return &Finding{} }, title: "The finding"},
	"erasure":           {new: func() Body { return &Erasure{} }, title: "The erasure", upcasts: []upcast{asItIs}},
	"acknowledgement":   {new: func() Body { return &Acknowledgement{} }, title: "The acknowledgement"},
	"step":              {new: func() Body { return &Step{} }, title: "The step"},
	"fastener-map":      {new: func() Body { return &FastenerMap{} }, title: "The fastener map"},
	"closed":            {new: func() Body { return &Closed{} }, title: "The act of closing"},
	"stock-part":        {new: func() Body { return &StockPart{} }, title: "The part in stock"},
	"part-number":       {new: func() Body { return &PartNumber{} }, title: "The part number"},
	"recheck":           {new: func() Body { return &RecheckDue{} }, title: "The recheck"},
	"usage":             {new: func() Body { return &Usage{} }, title: "The usage"},
	"weighing":          {new: func() Body { return &Weighing{} }, title: "The weighing"},
	"proposal":          {new: func() Body { return &Proposal{} }, title: "The proposal"},
	"change-request":    {new: func() Body { return &ChangeRequest{} }, title: "The change request"},
	"owner-link":        {new: func() Body { return &OwnerLink{} }, title: "The owner's link"},
	"reply":             {new: func() Body { return &Reply{} }, title: "The reply"},
	"decision":          {new: func() Body { return &Decision{} }, title: "The decision", upcasts: []upcast{asItIs}},
	"passkey":           {new: func() Body { return &Passkey{} }, title: "The passkey"},
	"second-signature":  {new: func() Body { return &SecondSignature{} }, title: "The second signature"},
	"work":              {new: func() Body { return &Work{} }, title: "The work entry", upcasts: []upcast{asItIs}},
	"removed-part":      {new: func() Body { return &RemovedPart{} }, title: "The removed part"},
	"part-move":         {new: func() Body { return &PartMove{} }, title: "The move of a part"},
	"check":             {new: func() Body { return &Check{} }, title: "The check", upcasts: []upcast{upcastCheck1, asItIs}},
	"gate":              {new: func() Body { return &Gate{} }, title: "The gate"},
	"gate-taken-back":   {new: func() Body { return &GateTakenBack{} }, title: "The gate taken back"},
	"hand-back":         {new: func() Body { return &HandBack{} }, title: "The hand-back"},
	"comparable-sale":   {new: func() Body { return &ComparableSale{} }, title: "The comparable sale"},
	"withdrawal":        {new: func() Body { return &Withdrawal{} }, title: "The withdrawal"},
	"permission":        {new: func() Body { return &Permission{} }, title: "The permission"},
	"shared-number":     {new: func() Body { return &SharedNumber{} }, title: "The statement on a shared number"},
	"transfer":          {new: func() Body { return &Transfer{} }, title: "The transfer"},
}

// Kinds lists every kind in order of name.
func Kinds() []Kind {
	return slices.Sorted(maps.Keys(kinds))
}

// SchemaVersion is the current schema version of a kind, 0 for an unknown one.
func SchemaVersion(k Kind) int {
	row, ok := kinds[k]
	if !ok {
		return 0
	}
	return 1 + len(row.upcasts)
}

// Title names a kind in words, such as "The survey entry".
func Title(k Kind) string { return kinds[k].title }

// NewBody makes an empty body of a kind, nil for an unknown one.
func NewBody(k Kind) Body {
	row, ok := kinds[k]
	if !ok {
		return nil
	}
	return row.new()
}

// DecodeBody reads a body of a kind at a schema version, bringing an older one
// up to the current shape. Unknown keys are refused. Codes: CodeUnsupported for
// a kind or version that this program does not know, CodeInvalid otherwise.
func DecodeBody(k Kind, version int, data json.RawMessage) (Body, error) {
	row, ok := kinds[k]
	if !ok {
		return nil, Refuse(CodeUnsupported, "A newer asfound may know it.", "Records of kind %q are not known here", string(k))
	}
	if version < 1 || version > SchemaVersion(k) {
		return nil, Refuse(CodeUnsupported, "A newer asfound may know it.",
			"Schema version %d of %q is not known here; the newest known is %d", version, string(k), SchemaVersion(k))
	}
	for _, up := range row.upcasts[version-1:] {
		var err error
		if data, err = up(data); err != nil {
			return nil, fmt.Errorf("bring %s of schema version %d up to date: %w", k, version, err)
		}
	}
	body := row.new()
	if err := strictJSON(data, body); err != nil {
		var e *Error
		if as(err, &e) {
			return nil, e
		}
		return nil, Refuse(CodeInvalid, "Compare it with the schema of this kind.", "%s cannot be read: %v", row.title, err)
	}
	return body, nil
}

// CheckBody refuses a body that cannot stand whatever the dossier says, naming
// every field that is wrong.
func CheckBody(b Body) error {
	var fs faults
	c := b.common()
	fs.id("/id", c.ID, false)
	fs.date("/valid", c.Valid)
	fs.id("/supersedes", c.Supersedes, true)
	for _, p := range Privates(b) {
		if p.Digest != "" && !CheckDigest(p.Digest) {
			fs.add("", p.Digest, "sha256: and 64 hex figures", "The digest of a withheld value is malformed", "Give the value itself; it is sealed on the way in.")
		}
	}
	b.check(&fs)
	return fs.err(Title(b.Kind()))
}

// Stamp is what an event gets besides its body.
type Stamp struct {
	Machine  string
	Recorded time.Time
	Actor    string
	// NewID makes event identifiers; called once per event.
	NewID func() string
}

// Extend turns bodies into the bytes of the events that follow a history of
// the given length and last leaf hash.
func Extend(version uint64, previous string, stamp Stamp, bodies []Body) ([][]byte, error) {
	var events [][]byte
	for _, b := range bodies {
		event, hash, err := Next(version, previous, stamp, b)
		if err != nil {
			return nil, err
		}
		version++
		previous = hash
		events = append(events, event)
	}
	return events, nil
}

// Next is Extend for one body, with the leaf hash of its event.
func Next(version uint64, previous string, stamp Stamp, b Body) (event []byte, hash string, err error) {
	raw, err := json.Marshal(b)
	if err != nil {
		return nil, "", fmt.Errorf("encode %s: %w", b.Kind(), err)
	}
	e := Envelope{Format: EnvelopeFormat, Machine: stamp.Machine, Version: version + 1, ID: stamp.NewID(),
		Recorded: stamp.Recorded.UTC().Truncate(time.Millisecond), Actor: stamp.Actor,
		Kind: b.Kind(), Schema: SchemaVersion(b.Kind()), Previous: previous, Body: raw}
	const envelope = 320 // bytes of an envelope without its body, about
	event, ok := appendEvent(make([]byte, 0, len(raw)+envelope), e)
	if !ok {
		if event, err = CanonicalJSON(e); err != nil {
			return nil, "", fmt.Errorf("encode %s: %w", b.Kind(), err)
		}
	}
	return event, LeafHash(event), nil
}

// DecodeEvent reads the envelope of stored bytes, without judging its place in
// the history.
func DecodeEvent(data []byte) (Envelope, error) {
	var e Envelope
	if err := strictJSON(data, &e); err != nil {
		// An envelope of another format may hold other keys: that is not damage.
		var other struct{ Format int }
		if json.Unmarshal(data, &other) == nil && other.Format > EnvelopeFormat {
			return Envelope{}, unknownFormat(other.Format)
		}
		return Envelope{}, &Error{Code: CodeTampered, Message: "A stored event cannot be read: " + err.Error()}
	}
	if e.Format != EnvelopeFormat {
		return Envelope{}, unknownFormat(e.Format)
	}
	return e, nil
}

func unknownFormat(format int) error {
	return Refuse(CodeUnsupported, "A newer asfound may read it.", "The event has envelope format %d; this program reads %d", format, EnvelopeFormat)
}

// IDOf is the record's identifier.
func IDOf(b Body) string { return b.common().ID }

// SetID names a record that has no identifier yet.
func SetID(b Body, id string) { b.common().ID = id }

// SameRecord says whether a record that was given again is the one that stands
// recorded, leaving aside what Decide completed.
func SameRecord(recorded, given Body) (bool, error) {
	var stood, again map[string]any
	for _, x := range []struct {
		body Body
		to   *map[string]any
	}{{recorded, &stood}, {given, &again}} {
		raw, err := json.Marshal(x.body)
		if err != nil {
			return false, err
		}
		if err := json.Unmarshal(raw, x.to); err != nil {
			return false, err
		}
	}
	for _, completed := range []string{"valid", "digest", "standing", "undo"} {
		if _, ok := again[completed]; !ok {
			delete(stood, completed)
		}
	}
	return sameJSON(stood, again)
}
