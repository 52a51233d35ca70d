// Package exchange says what a machine's record holds in standards that other
// programs read: PROV-JSON and JSON-LD, an Object ID record, a calendar. It
// computes nothing of its own and is pure: a report and its dossier in, bytes
// out. docs/exchange.md says what each format carries and what is lost.
package exchange

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// DefaultBase begins the identifiers when nobody says where the record is
// published. The domain is reserved by RFC 2606 and leads nowhere.
const DefaultBase = "https://example.org/asfound/"

// Input is what an export is made from. Report and Dossier are of the same
// machine as it stood at the same moment; the edition is that of the report.
type Input struct {
	Report  *workshop.Report
	Dossier *registry.Dossier
	// Base begins every identifier; DefaultBase when it is "".
	Base string
}

// base is where the machine's identifiers begin; it ends in "/".
func (in Input) base() string {
	b := in.Base
	if b == "" {
		b = DefaultBase
	}
	return strings.TrimRight(b, "/") + "/machines/" + in.Report.Machine.ID + "/"
}

// Format is one way of writing a machine down.
type Format struct {
	// Name is how it is asked for, Ending that of its files.
	Name, Ending, MediaType string
	// Title and About say in words what it is.
	Title, About string
	Write        func(in Input) ([]byte, error)
}

// Formats lists what can be written.
func Formats() []Format {
	return []Format{
		{"prov", ".prov.json", "application/json", "Provenance", "PROV-JSON: what was done, on what, by whom and on whose word", WriteProvenance},
		{"jsonld", ".jsonld", "application/ld+json", "Linked data", "JSON-LD in the terms of CIDOC CRM, Linked Art and schema.org", WriteLinkedData},
		{"objectid", ".objectid.json", "application/json", "Object ID", "the record by which a stolen machine is recognised", WriteObjectID},
		{"objectid-text", ".objectid.txt", "text/plain; charset=utf-8", "Object ID to print", "the same record as text", WriteObjectIDText},
		{"ics", ".ics", "text/calendar; charset=utf-8", "Calendar", "what is to be looked at again, and until when offers stand", WriteCalendar},
	}
}

// FormatOf finds a format by its name. CodeUnsupported when there is none.
func FormatOf(name string) (Format, error) {
	var names []string
	for _, f := range Formats() {
		if f.Name == name {
			return f, nil
		}
		names = append(names, f.Name)
	}
	return Format{}, registry.Refuse(registry.CodeUnsupported, "Choose one of "+strings.Join(names, ", ")+".", "There is no format %q to take a record away in", name)
}

// File is the name of an export's file.
func (f Format) File(in Input) string {
	edition := "private"
	if in.Report.Public {
		edition = "public"
	}
	return fmt.Sprintf("%s-%s%s", in.Report.Machine.ID, edition, f.Ending)
}

// revisions names the record that each correction corrects.
func revisions(d *registry.Dossier) map[string]string {
	out := map[string]string{}
	for _, e := range d.Entries() {
		if e.SupersededBy != "" {
			out[e.SupersededBy] = e.RecordID()
		}
	}
	return out
}

// indented is JSON to be read by people too.
func indented(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	err := enc.Encode(v)
	return b.Bytes(), err
}

// invented is what every export of invented data says.
const invented = "The machine, its makers and its people are invented."
