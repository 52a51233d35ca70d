package exchange

import (
	"fmt"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ObjectID is the record by which an object is recognised when it was stolen:
// the categories of the Object ID standard (Getty Information Institute, 1997;
// kept by ICOM), in the order of its checklist.
type ObjectID struct {
	Standard               string        `json:"standard"`
	Note                   string        `json:"note,omitempty"`
	Edition                string        `json:"edition"`
	Photographs            []ObjectPhoto `json:"photographs"`
	TypeOfObject           []string      `json:"type_of_object"` // the wider term first
	Materials              []string      `json:"materials_and_techniques"`
	Measurements           []string      `json:"measurements"`
	Inscriptions           []string      `json:"inscriptions_and_markings"`
	DistinguishingFeatures []string      `json:"distinguishing_features"`
	Title                  string        `json:"title"`
	Subject                string        `json:"subject"`
	DateOrPeriod           string        `json:"date_or_period"`
	Maker                  string        `json:"maker"`
	Description            string        `json:"description"`
	// InventoryNumber and DateDocumented are of the categories that the standard
	// recommends besides.
	InventoryNumber string `json:"inventory_number"`
	DateDocumented  string `json:"date_documented"`
	// Missing says what the record does not hold, and what would help.
	Missing []string `json:"missing"`
}

// ObjectPhoto is one picture of an Object ID record.
type ObjectPhoto struct {
	Digest string `json:"digest"`
	Shows  string `json:"shows"`
	Scale  string `json:"scale,omitempty"`
}

// MakeObjectID reads an Object ID record from a report.
func MakeObjectID(r *workshop.Report) ObjectID {
	m := r.Machine
	o := ObjectID{Standard: "Object ID", Edition: "private", Photographs: []ObjectPhoto{}, TypeOfObject: []string{"vehicle", "motorcycle"}, Materials: []string{},
		Measurements: []string{}, Inscriptions: []string{}, DistinguishingFeatures: []string{}, Title: m.Name, Subject: "It represents nothing.",
		DateOrPeriod: string(m.Year), Maker: m.Make, InventoryNumber: m.ID, DateDocumented: r.Changed.UTC().Format(time.DateOnly), Missing: []string{}}
	o.Description = fmt.Sprintf("A motorcycle, %s %s, built %s.", m.Make, m.Model, m.Year)
	if m.Story != "" {
		o.Description += " " + m.Story
	}
	if r.Public {
		o.Edition = "public"
	}
	if m.Invented {
		o.Note = invented
	}
	for _, p := range r.Photos {
		if !p.Withheld {
			shows := strings.ReplaceAll(p.Shows, "-", " ")
			if p.Caption != "" {
				shows += ": " + p.Caption
			}
			o.Photographs = append(o.Photographs, ObjectPhoto{p.Digest, shows, p.Scale})
		}
	}
	for _, n := range m.Numbers {
		o.Inscriptions = append(o.Inscriptions, fmt.Sprintf("%s number %s", n.Where, n.Shown))
	}
	names := map[string]string{}
	for _, g := range r.Groups {
		for _, c := range g.Components {
			names[c.ID] = c.Name
			o.component(c)
		}
	}
	for _, x := range r.Readings {
		o.Measurements = append(o.Measurements, measured(names[x.Component], x))
	}
	o.missing(r)
	return o
}

// component adds what tells this machine from others of its kind.
func (o *ObjectID) component(c workshop.ComponentReport) {
	if c.NotFitted {
		return
	}
	if c.Read != "" && c.Read != "withheld" {
		o.Inscriptions = append(o.Inscriptions, c.Name+": "+c.Read)
	}
	if c.Note != "" {
		o.DistinguishingFeatures = append(o.DistinguishingFeatures, c.Name+": "+c.Note)
	}
	if l := c.Origin.Leading; l != "" && l != "original" && c.Origin.Basis != "prior" {
		o.DistinguishingFeatures = append(o.DistinguishingFeatures, fmt.Sprintf("%s: origin %s, %s", c.Name, strings.ReplaceAll(l, "-", " "), c.Origin.Shown))
	}
}

func measured(name string, x workshop.ReadingReport) string {
	text := fmt.Sprintf("%s, %s: %g %s", name, x.Quantity, x.Value, x.Unit)
	if x.Uncertainty > 0 {
		text += fmt.Sprintf(" ± %g %s", x.Uncertainty, x.Unit)
	}
	if x.Place != "" {
		text += " (" + x.Place + ")"
	}
	return text
}

func (o *ObjectID) missing(r *workshop.Report) {
	say := func(is bool, text string) {
		if is {
			o.Missing = append(o.Missing, text)
		}
	}
	say(len(o.Photographs) == 0, "There is no picture that may be shown. Take the whole machine from both sides, then numbers, damage and repairs close by.")
	say(true, "The record does not ask of what the machine is made. Write it in by hand where it helps, such as an alloy tank.")
	say(true, "The overall length, height and mass are not asked for. Measure them, with their units, where they differ from the maker's.")
	say(len(r.Machine.Numbers) == 0, "No number is recorded. Read the frame, the engine and the gearbox; do not polish them.")
	say(r.Public && len(r.Machine.Numbers) > 0, "The numbers are masked in this edition. Police and insurer need the private one.")
	say(len(o.DistinguishingFeatures) == 0, "Nothing is recorded that tells this machine from another of its kind. Note dents, repairs and wear in the survey.")
}

// WriteObjectID writes the record as JSON.
func WriteObjectID(in Input) ([]byte, error) { return indented(MakeObjectID(in.Report)) }

// WriteObjectIDText writes the record as text to print and to keep apart from
// the machine.
func WriteObjectIDText(in Input) ([]byte, error) {
	o := MakeObjectID(in.Report)
	var b strings.Builder
	part := func(title string, lines ...string) {
		fmt.Fprintf(&b, "%s\n", title)
		if len(lines) == 0 {
			lines = []string{"not recorded"}
		}
		for _, l := range lines {
			for i, row := range wrapped(l, 74) {
				b.WriteString(map[bool]string{true: "  - ", false: "    "}[i == 0] + row + "\n")
			}
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "OBJECT ID\n%s, %s edition\n\n", o.Title, o.Edition)
	if o.Note != "" {
		part("Note", o.Note)
	}
	photos := []string{}
	for _, p := range o.Photographs {
		line := p.Shows + " (" + short(p.Digest) + ")"
		if p.Scale != "" {
			line += ", scale: " + p.Scale
		}
		photos = append(photos, line)
	}
	part("Photographs", photos...)
	part("Type of object", strings.Join(o.TypeOfObject, ", "))
	part("Materials and techniques", o.Materials...)
	part("Measurements", o.Measurements...)
	part("Inscriptions and markings", o.Inscriptions...)
	part("Distinguishing features", o.DistinguishingFeatures...)
	part("Title", o.Title)
	part("Subject", o.Subject)
	part("Date or period", o.DateOrPeriod)
	part("Maker", o.Maker)
	part("Short description", o.Description)
	part("Inventory number", o.InventoryNumber)
	part("Date documented", o.DateDocumented)
	part("What this record does not hold", o.Missing...)
	b.WriteString("Keep it apart from the machine, in a place that you can reach.\n")
	return []byte(b.String()), nil
}

// short is the beginning of a digest, enough to find a picture by.
func short(digest string) string {
	if !registry.CheckDigest(digest) {
		return digest
	}
	return digest[:len("sha256:")+12]
}

// wrapped breaks a text into lines of at most width characters.
func wrapped(s string, width int) (out []string) {
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > width {
			out, line = append(out, line), ""
		}
		line = strings.TrimPrefix(line+" "+word, " ")
	}
	return append(out, line)
}
