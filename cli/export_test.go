package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/piprate/json-gold/ld"
	"github.com/stretchr/testify/require"

	"example.org/asfound/demo"
	"example.org/asfound/exchange"
	"example.org/asfound/workshop"
)

// TestTheDemonstrationLeavesInOpenStandards writes the demonstration's machine
// in every format and edition, and reads it with other programs where there are.
func TestTheDemonstrationLeavesInOpenStandards(t *testing.T) {
	h := newDemoHouse(t)
	for _, public := range []bool{true, false} {
		edition := map[bool]string{true: "public", false: "private"}[public]
		in, err := exportInput(context.Background(), h.o.Workshop, demo.Main, public)
		require.NoError(t, err)
		t.Run(edition+" prov", func(t *testing.T) { provenanceLeaves(t, in) })
		t.Run(edition+" jsonld", func(t *testing.T) { linkedDataLeaves(t, in) })
		t.Run(edition+" ics", func(t *testing.T) { calendarLeaves(t, in) })
		for _, f := range exchange.Formats() {
			out, err := f.Write(in)
			require.NoError(t, err)
			again, err := f.Write(in)
			require.NoError(t, err)
			require.Equal(t, string(out), string(again), "%s is not the same twice", f.Name)
			if public {
				nothingPrivate(t, h.o.Workshop, f.Name, string(out))
			}
		}
	}
}

// nothingPrivate looks for each name, address and whole number that the registry
// keeps apart.
func nothingPrivate(t *testing.T, w *workshop.Workshop, format, out string) {
	private, err := w.Report(context.Background(), demo.Main, workshop.ReportOptions{})
	require.NoError(t, err)
	secrets := []string{private.Agreement.Place, private.Agreement.Insurer}
	for _, p := range private.People {
		secrets = append(secrets, p.Name, p.Contact)
	}
	for _, n := range private.Machine.Numbers {
		secrets = append(secrets, n.Shown)
	}
	found := 0
	for _, s := range secrets {
		if s == "" {
			continue
		}
		found++
		require.NotContains(t, out, s, "%s gives away what is withheld", format)
	}
	require.Greater(t, found, 4, "the demonstration withholds something")
}

func provenanceLeaves(t *testing.T, in exchange.Input) {
	out, err := exchange.WriteProvenance(in)
	require.NoError(t, err)
	doc, err := exchange.ReadProv(out)
	require.NoError(t, err)
	again, err := doc.Write()
	require.NoError(t, err)
	require.JSONEq(t, string(out), string(again))
	count := doc.Count()
	for _, kind := range []string{"entity", "activity", "agent", "wasGeneratedBy", "used", "wasDerivedFrom", "wasAssociatedWith", "wasAttributedTo", "wasInvalidatedBy", "hadMember"} {
		require.NotZero(t, count[kind], kind)
	}
	named(t, doc)
	inTime(t, doc)

	var theirs struct {
		Kinds map[string]int
		Again json.RawMessage
	}
	if !askPython(t, "prov", "../testdata/python/prov_read.py", out, &theirs) {
		return
	}
	require.Equal(t, count, theirs.Kinds, "another program counts other records")
	back, err := exchange.ReadProv(theirs.Again)
	require.NoError(t, err)
	require.Equal(t, count, back.Count())
}

// named holds that whatever a relation names is there.
func named(t *testing.T, doc *exchange.ProvDocument) {
	there := map[string]string{}
	for _, r := range doc.Records {
		if r.Kind == "entity" || r.Kind == "activity" || r.Kind == "agent" {
			require.Empty(t, there[r.ID], "%s stands twice", r.ID)
			there[r.ID] = r.Kind
		}
	}
	for _, r := range doc.Records {
		for name, want := range map[string]string{"prov:entity": "entity", "prov:generatedEntity": "entity", "prov:usedEntity": "entity", "prov:collection": "entity", "prov:activity": "activity", "prov:agent": "agent"} {
			for _, v := range r.Attributes[name] {
				require.Equal(t, want, there[v.Text], "%s %s names %s", r.Kind, name, v.Text)
			}
		}
	}
}

// inTime holds constraints of PROV-CONSTRAINTS: nothing is derived from itself,
// nothing ends before it is made, what an activity makes or ends it makes or
// ends while it lasts, nothing is made twice, and nothing is used or derived from
// before it can be there (7.2: usage and derivation come after generation).
func inTime(t *testing.T, doc *exchange.ProvDocument) {
	text := func(r exchange.ProvRecord, name string) string {
		if v := r.Attributes[name]; len(v) > 0 {
			return v[0].Text
		}
		return ""
	}
	at := func(s string) time.Time {
		moment, err := time.Parse(time.RFC3339Nano, s)
		require.NoError(t, err)
		return moment
	}
	made, by, acts, within := map[string]string{}, map[string]string{}, map[string]exchange.ProvRecord{}, 0
	for _, r := range doc.Records {
		switch r.Kind {
		case "wasGeneratedBy":
			_, twice := made[text(r, "prov:entity")]
			require.False(t, twice, "%s is made twice", text(r, "prov:entity"))
			made[text(r, "prov:entity")] = text(r, "prov:time")
			by[text(r, "prov:entity")] = text(r, "prov:activity")
		case "activity":
			acts[r.ID] = r
		}
	}
	// What is not known of an entity is bounded by the activity that made it.
	bound := func(entity, end string) string {
		if made[entity] != "" {
			return made[entity]
		}
		return text(acts[by[entity]], end)
	}
	notAfter := func(r exchange.ProvRecord, earlier, later string) {
		if earlier != "" && later != "" {
			require.False(t, at(earlier).After(at(later)), r)
		}
	}
	for _, r := range doc.Records {
		switch r.Kind {
		case "wasDerivedFrom":
			notAfter(r, bound(text(r, "prov:usedEntity"), "prov:startTime"), bound(text(r, "prov:generatedEntity"), "prov:endTime"))
		case "used", "wasInvalidatedBy":
			notAfter(r, bound(text(r, "prov:entity"), "prov:startTime"), text(acts[text(r, "prov:activity")], "prov:endTime"))
		}
		moment := text(r, "prov:time")
		if begun := made[text(r, "prov:entity")]; r.Kind == "wasInvalidatedBy" && moment != "" && begun != "" {
			require.False(t, at(moment).Before(at(begun)))
		}
		if act := acts[text(r, "prov:activity")]; moment != "" && text(act, "prov:startTime") != "" {
			require.False(t, at(moment).Before(at(text(act, "prov:startTime"))), r)
			require.False(t, at(moment).After(at(text(act, "prov:endTime"))), r)
			within++
		}
		if r.Kind == "wasDerivedFrom" {
			require.NotEqual(t, text(r, "prov:generatedEntity"), text(r, "prov:usedEntity"))
		}
	}
	require.NotZero(t, within)
}

// noFetching is a document loader that loads nothing.
type noFetching struct{}

// LoadDocument implements ld.DocumentLoader.
func (noFetching) LoadDocument(u string) (*ld.RemoteDocument, error) {
	return nil, errors.New("nothing is fetched: " + u)
}

func linkedDataLeaves(t *testing.T, in exchange.Input) {
	out, err := exchange.WriteLinkedData(in)
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(out, &doc))
	options := ld.NewJsonLdOptions("")
	options.DocumentLoader = noFetching{}
	expanded, err := ld.NewJsonLdProcessor().Expand(doc, options)
	require.NoError(t, err)
	require.Len(t, expanded, 1)
	machine := expanded[0].(map[string]any)
	const crm = "http://www.cidoc-crm.org/cidoc-crm/"
	require.Equal(t, []any{crm + "E22_Human-Made_Object", "https://schema.org/Motorcycle"}, machine["@type"])
	parts := machine[crm+"P46_is_composed_of"].([]any)
	require.Greater(t, len(parts), 100)
	words := countWords(doc)
	require.Equal(t, words, countTerms(expanded), "a word of the document has no meaning in its context, so that expanding it loses what it says")

	options.Format = "application/n-quads"
	quads, err := ld.NewJsonLdProcessor().ToRDF(doc, options)
	require.NoError(t, err)
	for _, want := range []string{crm + "P108i_was_produced_by", crm + "P31i_was_modified_by", crm + "P140i_was_attributed_by", crm + "P82a_begin_of_the_begin", "http://vocab.getty.edu/aat/300404670", "https://schema.org/manufacturer"} {
		require.Contains(t, quads.(string), "<"+want+">")
	}
	// XML Schema Part 2, 3.2.3 and 3.2.5: a decimal has no exponent, a double may.
	form := map[string]*regexp.Regexp{"decimal": regexp.MustCompile(`^[+-]?[0-9]+(\.[0-9]+)?$`), "double": regexp.MustCompile(`^[+-]?[0-9]+(\.[0-9]+)?(E[+-]?[0-9]+)?$`)}
	numbers := regexp.MustCompile(`"([^"]*)"\^\^<http://www.w3.org/2001/XMLSchema#(decimal|double)>`).FindAllStringSubmatch(quads.(string), -1)
	require.Greater(t, len(numbers), 100)
	for _, n := range numbers {
		require.Regexp(t, form[n[2]], n[1], "no number of the type xsd:%s", n[2])
	}
}

// countWords counts the values of a document, countTerms those of its expansion.
// The context itself says nothing.
func countWords(v any) (n int) {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			if k != "@context" {
				n += countWords(x)
			}
		}
	case []any:
		for _, x := range v {
			n += countWords(x)
		}
	default:
		n = 1
	}
	return n
}

func countTerms(v any) (n int) {
	switch v := v.(type) {
	case map[string]any:
		if value, ok := v["@value"]; ok {
			return countWords(value)
		}
		for _, x := range v {
			n += countTerms(x)
		}
	case []any:
		for _, x := range v {
			n += countTerms(x)
		}
	default:
		n = 1
	}
	return n
}

func calendarLeaves(t *testing.T, in exchange.Input) {
	out, err := exchange.WriteCalendar(in)
	require.NoError(t, err)
	for line := range strings.SplitSeq(strings.TrimSuffix(string(out), "\r\n"), "\r\n") {
		require.LessOrEqual(t, len(line), 75)
		require.NotContains(t, line, "\n")
	}
	var theirs []struct{ Kind, UID, Summary, Dtstamp string }
	if !askPython(t, "icalendar", "../testdata/python/ics_read.py", out, &theirs) {
		return
	}
	require.Equal(t, "VCALENDAR", theirs[0].Kind)
	require.Len(t, theirs, 1+len(in.Report.Due)+open(in.Report), "one component for each recheck and each open offer")
}

func open(r *workshop.Report) (n int) {
	for _, o := range r.Offers {
		if !o.Superseded && o.Standing == "" {
			n++
		}
	}
	return n
}

// askPython runs a script with a document on its standard input; false when
// Python or the module is not there.
func askPython(t *testing.T, module, script string, input []byte, to any) bool {
	t.Helper()
	python := ""
	for _, p := range []string{"/usr/bin/python3", "python3"} { // Debian's own has Debian's modules
		if exec.Command(p, "-c", "import "+module).Run() == nil {
			python = p
			break
		}
	}
	if python == "" {
		t.Logf("python3-%s is not installed: not checked against it", module)
		return false
	}
	c := exec.Command(python, script)
	c.Stdin = bytes.NewReader(input)
	var failed bytes.Buffer
	c.Stderr = &failed
	out, err := c.Output()
	require.NoError(t, err, failed.String())
	require.NoError(t, json.Unmarshal(out, to))
	return true
}
