package dossier

import (
	"crypto/sha256"
	"fmt"
	"io"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// VerifyOptions says what the reader trusts.
type VerifyOptions struct {
	// Keys are public key lines that the reader got from the registry itself.
	// Without them the key in the bundle is used, which shows that the bundle
	// agrees with itself, and not who made it.
	Keys []string
	// Repacked takes an archive that was unpacked and packed anew: the files
	// are checked, the archive around them is only noted.
	Repacked bool
	// Fingerprint, when given, is that of the key which the reader expects. It is
	// told by telephone or read from paper, where Keys are too long.
	Fingerprint string

	computed map[[32]byte]computation
}

// computation is what a method gave for an input. Equal figures stand in many
// records, and in both bundles of a comparison; each is computed once.
type computation struct {
	result []byte
	err    error
}

// compute runs a method, or remembers what it gave.
func (o VerifyOptions) compute(method string, input []byte) ([]byte, error) {
	key := sha256.Sum256(append([]byte(method+"\n"), input...))
	known, ok := o.computed[key]
	if !ok {
		known.result, known.err = scoring.Run(method, input)
		o.computed[key] = known
	}
	return known.result, known.err
}

// The codes of findings.
const (
	FindingArchive    = "archive"      // the archive around the files
	FindingName       = "file-name"    // a name that could leave its folder, or a link
	FindingLimit      = "limit"        // larger than any bundle
	FindingMissing    = "missing-file" // listed or named, and not there
	FindingUnknown    = "unknown-file" // there, and not listed or not named
	FindingFile       = "file"         // not the bytes that the manifest lists
	FindingManifest   = "manifest"     // the manifest contradicts the rest
	FindingEvent      = "event"        // the history
	FindingRecord     = "record"       // an event whose body cannot be read
	FindingCheckpoint = "checkpoint"   // the checkpoint contradicts the history
	FindingSignature  = "signature"    // a signature or key
	FindingPhoto      = "photo"        // a picture that is not the recorded one
	FindingPrivate    = "private"      // a withheld value that is not the recorded one
	FindingEdition    = "edition"      // something that this edition must not hold
	FindingSeal       = "survey-seal"  // the digest of the as-found survey
	FindingOffer      = "offer"        // the digest of what the owner was asked
	FindingDecision   = "decision"     // an answer to something else
	FindingPasskey    = "passkey"      // a passkey's signature that does not stand for its answer
	FindingSecond     = "second"       // a second signature that does not hold
	FindingEstimate   = "estimate"     // a figure that its method does not give
	FindingFork       = "fork"         // two histories that cannot both be true
	FindingOrder      = "order"        // the older bundle is the newer one
)

// Finding is one thing that is not as it was made.
type Finding struct {
	Code  string `json:"code"`  // of the list above
	Where string `json:"where"` // file, and line or record
	What  string `json:"what"`
}

// Report is what Verify saw.
type Report struct {
	Machine  string `json:"machine"`
	Name     string `json:"name"`
	Invented bool   `json:"invented,omitempty"`
	Edition  string `json:"edition"`
	Program  string `json:"program"`
	Catalog  string `json:"catalog"`
	Events   int    `json:"events"`
	// From and To are when the first and the last event were recorded.
	From   time.Time `json:"from"`
	To     time.Time `json:"to"`
	Head   string    `json:"head"`
	Root   string    `json:"root"`
	Origin string    `json:"origin"`
	// Key is the public key line that the checkpoint was checked with. Pinned
	// says that it is one that the reader gave.
	Key         string `json:"key"`
	Fingerprint string `json:"key_fingerprint"`
	Pinned      bool   `json:"pinned"`
	// Passages are the registries that kept the record before, oldest first.
	Passages []Passage `json:"passages,omitempty"`
	// Counts of what was compared with the events.
	Photos          int `json:"photos"`
	Originals       int `json:"originals"`
	Private         int `json:"private_values"`
	WithheldPhotos  int `json:"withheld_photos"`
	WithheldPrivate int `json:"withheld_values"`
	Offers          int `json:"offers"`
	Decisions       int `json:"decisions"`
	// Confirmed is how many decisions a passkey signed, and SecondSigned how many
	// records the second person did by an account of their own.
	Confirmed    int `json:"passkey_signatures"`
	SecondSigned int `json:"second_signatures"`
	// Estimates is how many recorded figures their method gave again.
	Estimates int `json:"estimates"`
	// NotRecomputed and NotRead name what a newer program wrote: not a
	// finding, and not checked.
	NotRecomputed []string `json:"not_recomputed,omitempty"`
	NotRead       []string `json:"not_read,omitempty"`
	// Canonical says that every byte of the archive is as it was made.
	Canonical bool `json:"canonical"`
	// Notes are what the reader should know, and is not a finding.
	Notes    []string  `json:"notes,omitempty"`
	Findings []Finding `json:"findings"`

	dossier *registry.Dossier // as far as it could be replayed
}

// The limits of a bundle that is read. What is larger is a finding and is not
// unpacked.
const (
	maxEventsBytes   = 64 << 20
	maxManifestBytes = 16 << 20
	maxTextBytes     = 1 << 20
	maxPrivateBytes  = 64 << 10
	maxPreviewBytes  = 64 << 20
	maxOriginalBytes = 1 << 30
	// maxRatio is how many times larger than the archive its files may be
	// together. Bundles are stored unpacked; text packed by others shrinks
	// ten or twenty times.
	maxRatio = 100
	// maxFindings is how many findings are listed.
	maxFindings = 500
)

// Verify checks a bundle with nothing but its bytes: the archive, every file
// against the manifest, the history, the signed checkpoint, pictures and
// withheld values against the digests in the events, what the owner was asked
// and answered, and every recorded figure against its method. It lists all that
// it finds. The error is CodeTampered when there is any finding, and
// CodeUnsupported for a bundle of a newer format; the Report holds what could
// be read in either case.
func Verify(r io.ReaderAt, size int64, opts VerifyOptions) (Report, error) {
	v, err := verify(r, size, opts)
	if err != nil {
		return v.report, err
	}
	return v.report, v.err("The bundle")
}

// check is a verification under way.
type check struct {
	opts     VerifyOptions
	report   Report
	more     int // findings beyond maxFindings
	files    map[string]*file
	order    []string // names in the order of the archive
	packed   bool     // some entry is compressed
	manifest Manifest
	listed   bool // the manifest could be read
	lines    []line
	tree     *registry.Tree
	dossier  *registry.Dossier
	sealed   Checkpoint // the checkpoint in the bundle, zero when unreadable
}

func verify(r io.ReaderAt, size int64, opts VerifyOptions) (*check, error) {
	if opts.computed == nil {
		opts.computed = map[[32]byte]computation{}
	}
	c := &check{opts: opts, files: map[string]*file{}, tree: &registry.Tree{}, dossier: registry.NewDossier("")}
	c.report.Findings = []Finding{}
	if !c.readArchive(r, size) {
		return c, nil
	}
	if err := c.readManifest(); err != nil {
		return c, err
	}
	c.checkFiles()
	c.readEvents()
	c.checkSignatures()
	c.expectKey()
	c.checkPhotos()
	c.checkPrivate()
	c.checkRecords()
	c.checkArchiveBytes(r, size)
	c.report.dossier = c.dossier
	return c, nil
}

func (c *check) find(code, where, format string, args ...any) {
	if len(c.report.Findings) >= maxFindings {
		c.more++
		return
	}
	c.report.Findings = append(c.report.Findings, Finding{code, where, fmt.Sprintf(format, args...)})
}

func (c *check) note(format string, args ...any) {
	c.report.Notes = append(c.report.Notes, fmt.Sprintf(format, args...))
}

// err turns findings into the error.
func (c *check) err(what string) error {
	if c.more > 0 {
		c.note("%d more findings are not listed.", c.more)
	}
	return tampered(what, c.report.Findings, c.more)
}

func tampered(what string, findings []Finding, more int) error {
	if len(findings) == 0 {
		return nil
	}
	e := registry.Refuse(registry.CodeTampered, "Do not rely on it; ask for another copy and compare.",
		"%s is not as it was made: %s: %s", what, findings[0].Where, strings.TrimSuffix(findings[0].What, "."))
	if n := len(findings) + more; n > 1 {
		e.Message += fmt.Sprintf(" (the first of %d findings)", n)
	}
	for _, f := range findings {
		e.Fields = append(e.Fields, registry.Field{File: f.Where, Message: f.What})
	}
	return e
}

// shorten cuts a text that came out of a bundle to 80 characters on one line.
func shorten(s string) string { return shortenTo(s, 80) }

func shortenTo(s string, most int) string {
	if r := []rune(oneLine(s)); len(r) > most {
		return string(r[:most]) + "…"
	}
	return oneLine(s)
}
