package registry

import "strconv"

// Survey is what the as-found survey saw of one component, before anything was
// touched.
type Survey struct {
	Common
	Component string `json:"component"`
	// Origin, Finish and Specification are what the surveyor reads there, in
	// the vocabulary's words; "undetermined" or empty when it cannot be told.
	Origin        string `json:"origin,omitempty"`
	Finish        string `json:"finish,omitempty"`
	Specification string `json:"specification,omitempty"`
	// Condition is 0 to 5 on the catalog's worded scale; absent when not judged.
	Condition *int   `json:"condition,omitempty"`
	Function  string `json:"function,omitempty"`
	Custody   string `json:"custody,omitempty"` // "fitted" when empty
	// Signs are the catalog's signs that were seen; each is evidence.
	Signs []SignSeen `json:"signs,omitempty"`
	// Read is what stands on the part, exactly as read: numbers, dates, marks.
	Read   Private  `json:"read,omitzero"`
	By     string   `json:"by"`
	Second string   `json:"second,omitempty"` // who judged it independently
	Photos []string `json:"photos,omitempty"`
}

// SignSeen is one sign of the catalog, seen on a component.
type SignSeen struct {
	Sign string `json:"sign"`
	// Reliability is how far this sighting is to be trusted, 0 to 1; the
	// catalog's default when absent.
	Reliability *float64 `json:"reliability,omitempty"`
}

func (*Survey) Kind() Kind { return "survey" }

func (s *Survey) check(fs *faults) {
	fs.id("/component", s.Component, false)
	optionalTerm(fs, "/origin", s.Origin, Origins())
	optionalTerm(fs, "/finish", s.Finish, Finishes())
	optionalTerm(fs, "/specification", s.Specification, Specifications())
	optionalTerm(fs, "/function", s.Function, Functions())
	optionalTerm(fs, "/custody", s.Custody, Custodies())
	if s.Condition != nil && (*s.Condition < 0 || *s.Condition > 5) {
		fs.add("/condition", itoa(*s.Condition), "0 to 5", "The condition is outside the scale", "Leave it out when it cannot be judged.")
	}
	fs.id("/by", s.By, false)
	fs.id("/second", s.Second, true)
	seen := map[string]bool{}
	for i, sign := range s.Signs {
		fs.id(at("/signs", i)+"/sign", sign.Sign, false)
		if seen[sign.Sign] {
			fs.add(at("/signs", i)+"/sign", sign.Sign, "", "The sign is listed twice", "")
		}
		seen[sign.Sign] = true
		if sign.Reliability != nil {
			fs.probability(at("/signs", i)+"/reliability", *sign.Reliability)
		}
	}
	fs.ids("/photos", s.Photos)
}

// SurveySeal closes the as-found survey. Digest is over all live entries, so
// that later records point at one thing; see SurveyDigest.
type SurveySeal struct {
	Common
	Digest string `json:"digest,omitempty"` // set by Decide
	By     string `json:"by"`
	// Gaps names components that were not surveyed and why; the owner signs it.
	Gaps []SurveyGap `json:"gaps,omitempty"`
	// GapsSignedBy is the person who accepted the gaps.
	GapsSignedBy string `json:"gaps_signed_by,omitempty"`
	// Indices are the as-found indices as they were shown, by name.
	Indices []NamedEstimate `json:"indices,omitempty"`
}

// SurveyGap is a component that was not surveyed.
type SurveyGap struct {
	Component string `json:"component"`
	Why       string `json:"why"`
}

func (*SurveySeal) Kind() Kind { return "survey-seal" }

func (s *SurveySeal) check(fs *faults) {
	fs.id("/by", s.By, false)
	for i, g := range s.Gaps {
		fs.id(at("/gaps", i)+"/component", g.Component, false)
		fs.need(at("/gaps", i)+"/why", g.Why, "The gap has no reason", "Say why it could not be surveyed.")
	}
	if len(s.Gaps) > 0 {
		fs.id("/gaps_signed_by", s.GapsSignedBy, false)
	}
	checkEstimates(fs, "/indices", s.Indices)
}

// Joint is a joint and the sign that it has, or has not, been apart.
type Joint struct {
	Common
	Joint      string   `json:"joint"` // names the joint across records
	Components []string `json:"components"`
	Witness    string   `json:"witness"`
	Sign       string   `json:"sign"` // paint bridge, dirt line, folded tab, …
	By         string   `json:"by"`
	Photos     []string `json:"photos,omitempty"`
}

func (*Joint) Kind() Kind { return "joint" }

func (j *Joint) check(fs *faults) {
	fs.id("/joint", j.Joint, false)
	if len(j.Components) == 0 {
		fs.add("/components", "", "", "The joint belongs to no component", "Name the components that meet there.")
	}
	fs.ids("/components", j.Components)
	checkTerm(fs, "/witness", j.Witness, Witnesses())
	fs.need("/sign", j.Sign, "It is not said by what sign", "Write what is seen: paint bridge, dirt line, slot shine.")
	fs.id("/by", j.By, false)
	fs.ids("/photos", j.Photos)
}

// Measurement is one reading with its unit and instrument.
type Measurement struct {
	Common
	Component string  `json:"component"`
	Quantity  string  `json:"quantity"`
	Value     float64 `json:"value"`
	Unit      string  `json:"unit"`
	// Uncertainty is plus or minus, in the same unit; 0 when not known.
	Uncertainty float64 `json:"uncertainty,omitempty"`
	Instrument  string  `json:"instrument"`
	Place       string  `json:"place,omitempty"` // where on the component
	By          string  `json:"by"`
}

func (*Measurement) Kind() Kind { return "measurement" }

func (m *Measurement) check(fs *faults) {
	fs.id("/component", m.Component, false)
	fs.need("/quantity", m.Quantity, "It is not said what was measured", "")
	fs.need("/unit", m.Unit, "The reading has no unit", "Write the unit, or 1 for a bare number.")
	fs.need("/instrument", m.Instrument, "The instrument is missing", "Name what it was read with.")
	fs.notNegative("/uncertainty", m.Uncertainty, m.Unit)
	fs.id("/by", m.By, false)
}

// Photo is a picture. The original bytes are kept under Digest; what is shown
// and exported is Preview: turned upright, without place and camera.
type Photo struct {
	Common
	Digest    string `json:"digest"`
	Preview   string `json:"preview,omitempty"` // absent when no picture can be made of it
	MediaType string `json:"media_type"`
	Bytes     int64  `json:"bytes"`
	Width     int    `json:"width,omitempty"`  // of the original as shown upright, in pixels
	Height    int    `json:"height,omitempty"` // likewise
	FileName  string `json:"file_name,omitempty"`
	// Taken is what the camera says, a claim and not a fact.
	Taken      string   `json:"taken,omitempty"`
	Shows      string   `json:"shows"`
	Components []string `json:"components,omitempty"`
	// Openings names the openings whose joints it shows as found.
	Openings []string `json:"openings,omitempty"`
	Caption  string   `json:"caption,omitempty"`
	// Listed names the picture of the fixed as-found list that it is.
	Listed string `json:"listed,omitempty"`
	Scale  string `json:"scale,omitempty"` // what gives the size: "100 mm bar"
	// Withhold keeps the picture out of public editions: numbers, papers, people.
	Withhold bool   `json:"withhold,omitempty"`
	By       string `json:"by"`
}

// Shown is what a photo is for.
func Shown() []Term {
	return []Term{
		{"as-found", "the state before anything was touched"},
		{"number", "a stamped number or plate"},
		{"document", "a paper"},
		{"work", "during work"},
		{"after", "after work"},
		{"general", "anything else"},
	}
}

func (*Photo) Kind() Kind { return "photo" }

func (p *Photo) check(fs *faults) {
	if !CheckDigest(p.Digest) {
		fs.add("/digest", p.Digest, "sha256: and 64 hex figures", "The digest of the picture is missing", "")
	}
	if p.Preview != "" && !CheckDigest(p.Preview) {
		fs.add("/preview", p.Preview, "sha256: and 64 hex figures", "The digest of the preview is malformed", "")
	}
	fs.need("/media_type", p.MediaType, "The type of the picture is missing", "")
	checkTerm(fs, "/shows", p.Shows, Shown())
	fs.ids("/components", p.Components)
	fs.ids("/openings", p.Openings)
	fs.id("/listed", p.Listed, true)
	fs.id("/by", p.By, false)
}

// Fitting says which part sat in one position over some time. The live
// fittings of a component form a chain without overlap.
type Fitting struct {
	Common
	Component string `json:"component"`
	Part      string `json:"part"` // in words: "gearbox shell of 1959"
	Stamp     string `json:"stamp,omitempty"`
	Origin    string `json:"origin,omitempty"`
	// Valid holds when it was fitted; an open end means until today.
	Evidence []string `json:"evidence,omitempty"`
}

func (*Fitting) Kind() Kind { return "fitting" }

func (f *Fitting) check(fs *faults) {
	fs.id("/component", f.Component, false)
	fs.need("/part", f.Part, "It is not said which part", "")
	fs.need("/valid", string(f.Valid), "It is not said when", "Write a span such as 1957-06/1959-10 or 1959-10/..")
	optionalTerm(fs, "/origin", f.Origin, Origins())
	fs.ids("/evidence", f.Evidence)
}

func optionalTerm(fs *faults, pointer, id string, terms []Term) {
	if id != "" {
		checkTerm(fs, pointer, id, terms)
	}
}

// ids checks a list of identifiers.
func (fs *faults) ids(pointer string, ids []string) {
	for i, id := range ids {
		fs.id(at(pointer, i), id, false)
	}
}

// at points at an element of a list.
func at(pointer string, i int) string { return pointer + "/" + strconv.Itoa(i) }

func itoa(i int) string { return strconv.Itoa(i) }
