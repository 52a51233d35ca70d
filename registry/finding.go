package registry

import "slices"

// Finding is one observation made in looking for the cause of a fault, or a
// cause that was seen itself, or seen to be absent.
type Finding struct {
	Common
	Fault string `json:"fault"`
	// Exactly one of Observation and Cause is given: names of the symptom
	// library.
	Observation string `json:"observation,omitempty"`
	Cause       string `json:"cause,omitempty"`
	Seen        bool   `json:"seen"` // it was so, or was not so
	// Test is the test of the library that showed it.
	Test    string   `json:"test,omitempty"`
	How     string   `json:"how,omitempty"`
	Reading *Reading `json:"reading,omitempty"`
	// Sure says that a reading far from the usual was looked at again.
	Sure   bool     `json:"sure,omitempty"`
	Photos []string `json:"photos,omitempty"`
	By     string   `json:"by"`
}

func (*Finding) Kind() Kind { return "finding" }

func (f *Finding) check(fs *faults) {
	fs.id("/fault", f.Fault, false)
	fs.id("/by", f.By, false)
	fs.id("/test", f.Test, true)
	fs.id("/observation", f.Observation, true)
	fs.id("/cause", f.Cause, true)
	if (f.Observation == "") == (f.Cause == "") {
		fs.add("/observation", "", "an observation or a cause", "A finding names one observation or one cause", "")
	}
	if r := f.Reading; r != nil {
		r.check(fs, "/reading")
	}
	fs.ids("/photos", f.Photos)
}

func (r *Reading) check(fs *faults, pointer string) {
	fs.need(pointer+"/quantity", r.Quantity, "It is not said what was read", "")
	fs.need(pointer+"/unit", r.Unit, "The reading has no unit", "Write the unit, or 1 for a bare number.")
	fs.notNegative(pointer+"/uncertainty", r.Uncertainty, r.Unit)
}

// farOff is how many times off its usual range a reading is asked about again.
const farOff = 1000

// decideFinding: names of the library, parts that the machine has, no two
// answers to one question, and no reading in the wrong unit.
func decideFinding(d *Dossier, r *Rules, f *Finding) error {
	if f.Observation != "" {
		rule, ok := r.Observations[f.Observation]
		if !ok {
			return invalid(f, "/observation", f.Observation, "the observations of the symptom library", "There is no such observation", "")
		}
		if f.Reading != nil && !f.Sure {
			if err := rule.sane(f); err != nil {
				return err
			}
		}
	}
	if _, ok := r.Causes[f.Cause]; f.Cause != "" && !ok {
		return invalid(f, "/cause", f.Cause, "the causes of the symptom library", "There is no such cause", "")
	}
	if f.Test != "" {
		if _, ok := r.Tests[f.Test]; !ok {
			return invalid(f, "/test", f.Test, "the tests of the symptom library", "There is no such test", "")
		}
	}
	if answers := r.Reveals[f.Test]; answers != "" && f.Observation != answers {
		return invalid(f, "/test", f.Test, "a test that answers "+f.Observation+f.Cause, "That test answers another observation", "Name the test that was made, or none.")
	}
	if parts := r.Causes[f.Cause]; len(parts) > 0 && !slices.ContainsFunc(parts, func(c string) bool { return !d.NotFitted(c) }) {
		return invalid(f, "/cause", f.Cause, "a cause in a part that the machine has", "The machine never had the part in which this cause sits", "Correct the machine record if it did.")
	}
	if parts := r.Tests[f.Test]; len(parts) > 0 && !slices.ContainsFunc(parts, func(c string) bool { return !d.NotFitted(c) }) {
		return invalid(f, "/test", f.Test, "a test on a part that the machine has", "The machine never had the part that this test is made on", "Correct the machine record if it did.")
	}
	for _, other := range d.Findings(f.Fault) {
		if other.Record.Observation == f.Observation && other.Record.Cause == f.Cause && other.Record.Seen != f.Seen &&
			other.RecordID() != f.Supersedes && !d.workedSince(other.Entry) {
			return Refuse(CodeConflict, "Correct the earlier finding by superseding it, or record the work that changed it first.",
				"%q was recorded the other way round, as %q, and nothing has been done since", f.Observation+f.Cause, other.RecordID())
		}
	}
	return nil
}

// sane refuses a reading in another unit than the library's, or a thousand
// times off.
func (o ObservationRule) sane(f *Finding) error {
	r := f.Reading
	if o.Unit == "" {
		return nil
	}
	if r.Unit != o.Unit {
		return invalid(f, "/reading/unit", r.Unit, o.Unit, "The reading is in another unit than the library's", "Convert it.")
	}
	within := func(v float64) bool { return o.Low <= v && v <= o.High }
	slip := within(r.Value/farOff) || within(r.Value*farOff)
	if far := r.Value <= o.Low/farOff || r.Value >= o.High*farOff; !within(r.Value) && (far || slip) {
		return Refuse(CodeRefused, "Look at the unit and the figure again; if they are right, say so (sure).",
			"%g %s is a thousand times off what is usual, %g to %g %s", r.Value, r.Unit, o.Low, o.High, o.Unit)
	}
	return nil
}

// Findings are those of a fault that stand: of several on one question the
// last, and none that work has overtaken but the last.
func (d *Dossier) Findings(fault string) []Found[*Finding] {
	var out []Found[*Finding]
	for _, f := range Live[*Finding](d) {
		if d.current(f.Record.Fault) != d.current(fault) {
			continue
		}
		out = slices.DeleteFunc(out, func(o Found[*Finding]) bool {
			return o.Record.Observation == f.Record.Observation && o.Record.Cause == f.Record.Cause
		})
		out = append(out, f)
	}
	return out
}

// workedSince says whether work was recorded after an entry.
func (d *Dossier) workedSince(e *Entry) bool {
	return slices.ContainsFunc(Live[*Work](d), func(w Found[*Work]) bool { return w.Version > e.Version })
}
