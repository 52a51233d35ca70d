package exchange

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

var monday = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// given is a machine with the records that a test needs.
func given(public bool, bodies ...registry.Body) Input {
	d := registry.NewDossier("drover")
	for i, b := range bodies {
		d.Apply(registry.Meta{Version: uint64(i + 1), Recorded: monday.Add(time.Duration(i) * time.Hour), Actor: "tamsin", Kind: b.Kind()}, b)
	}
	return Input{Dossier: d, Report: &workshop.Report{Public: public, Machine: workshop.MachineReport{ID: "drover", Name: "Drover", Make: "Skerrow", Model: "350", Year: "1957"}, Changed: monday}}
}

func recheck(id, supersedes string, on registry.Date) *registry.RecheckDue {
	return &registry.RecheckDue{Common: registry.Common{ID: id, Supersedes: supersedes}, What: "chain; cables, spokes", On: on, AfterDistance: 50, DistanceUnit: "mi", By: "tamsin"}
}

// unfolded reads a calendar as RFC 5545 has it: lines end in CR LF (3.1), are at
// most 75 octets long, whole characters each, and go on after a space.
func unfolded(t *testing.T, raw []byte) (lines []string) {
	text, ends := strings.CutSuffix(string(raw), "\r\n")
	require.True(t, ends)
	for line := range strings.SplitSeq(text, "\r\n") {
		require.LessOrEqual(t, len(line), 75)
		require.True(t, utf8.ValidString(line), "a character was cut: %q", line)
		require.NotContains(t, line, "\n")
		require.NotContains(t, line, "\r")
		if more, is := strings.CutPrefix(line, " "); is {
			lines[len(lines)-1] += more
			continue
		}
		lines = append(lines, line)
	}
	return lines
}

func TestCalendarKeepsToTheRules(t *testing.T) {
	in := given(true, recheck("first", "", "2026-11-30"), recheck("second", "first", "2027-02"), recheck("third", "", ""), recheck("done", "", "2026-05-01"))
	in.Report.Machine.Name = strings.Repeat("ü", 60) + `\;,` + "\nA"
	in.Report.Due = []workshop.DueReport{{ID: "second", What: "chain; cables, spokes", When: "in 50 mi, or on 2027-02"}, {ID: "third", What: "chain", When: "in 50 mi"}}
	in.Report.Offers = []workshop.OfferReport{{ID: "offer", To: "the owner", Recorded: monday, Offer: registry.Offer{Expires: monday.AddDate(0, 0, 14)}},
		{ID: "old", Superseded: true, Offer: registry.Offer{Expires: monday}}, {ID: "answered", Standing: "approve", Offer: registry.Offer{Expires: monday}}}
	raw, err := WriteCalendar(in)
	require.NoError(t, err)
	lines := unfolded(t, raw)
	require.Equal(t, "BEGIN:VCALENDAR", lines[0])
	require.Equal(t, "END:VCALENDAR", lines[len(lines)-1])
	text := strings.Join(lines, "\n")
	name := strings.Repeat("ü", 60) + `\\\;\,\nA` // TEXT, 3.3.11
	require.Contains(t, text, "SUMMARY:"+name+`: look again at chain\; cables\, spokes`+"\n")
	// A month is its first day to the day after its last (3.6.1: DTEND is exclusive).
	require.Contains(t, text, "UID:recheck-drover-first@example.org\nSEQUENCE:1\n")
	require.Contains(t, text, "DTSTART;VALUE=DATE:20270201\nDTEND;VALUE=DATE:20270301\n")
	require.Contains(t, text, "BEGIN:VTODO\nUID:recheck-drover-third@example.org\n")
	require.Contains(t, text, "DTSTART:20260316T090000Z\n")
	require.Equal(t, 2, strings.Count(text, "BEGIN:VEVENT"))
	require.Equal(t, 1, strings.Count(text, "BEGIN:VTODO"))
	properOnce(t, lines)
}

// TestACalendarIsNeverEmpty: RFC 5545, 3.6, asks for at least one component.
func TestACalendarIsNeverEmpty(t *testing.T) {
	raw, err := WriteCalendar(given(true))
	require.NoError(t, err)
	text := strings.Join(unfolded(t, raw), "\n")
	require.Contains(t, text, "BEGIN:VTIMEZONE\nTZID:Etc/UTC\n")
	require.NotContains(t, text, "VEVENT")
}

// properOnce holds that each component has exactly one UID and DTSTAMP (3.6.1,
// 3.6.2), no UID twice, and that begins and ends match.
func properOnce(t *testing.T, lines []string) {
	var within []string
	uids := map[string]bool{}
	count := map[string]int{}
	for _, line := range lines {
		name, value, ok := strings.Cut(line, ":")
		require.True(t, ok, line)
		name, _, _ = strings.Cut(name, ";")
		switch name {
		case "BEGIN":
			within, count = append(within, value), map[string]int{}
		case "END":
			require.Equal(t, within[len(within)-1], value)
			within = within[:len(within)-1]
			if len(within) > 0 {
				require.Equal(t, 1, count["UID"])
				require.Equal(t, 1, count["DTSTAMP"])
			}
		case "UID":
			require.False(t, uids[value], "the UID %s stands twice", value)
			uids[value] = true
			fallthrough
		default:
			count[name]++
		}
	}
	require.Empty(t, within)
}

// TestFoldsAtEveryLength: whatever the length, unfolding gives back what was written.
func TestFoldsAtEveryLength(t *testing.T) {
	for n := range 200 {
		c := &calendar{}
		value := strings.Repeat("ä", n/2) + strings.Repeat("x", n%2) + strings.Repeat("€", n/3)
		c.line("X", value)
		require.Equal(t, []string{"X:" + value}, unfolded(t, []byte(c.b.String())), "length %d", n)
	}
}

func TestCorrectionsAndWithdrawalsInProv(t *testing.T) {
	in := given(false, &registry.Person{Common: registry.Common{ID: "tamsin"}, Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}},
		&registry.Claim{Common: registry.Common{ID: "c1"}, Component: "fuel.tank", Evidence: []string{"e1", "gone"}, By: "tamsin"},
		&registry.Claim{Common: registry.Common{ID: "c2", Supersedes: "c1"}, Component: "fuel.tank", By: "tamsin"},
		&registry.Withdrawal{Common: registry.Common{ID: "w"}, Record: "c2", Why: "misread", By: "tamsin"},
		&registry.Evidence{Common: registry.Common{ID: "e1"}, Bears: []registry.Bearing{{Component: "fuel.tank"}}, By: "tamsin"})
	in.Report.People = []workshop.PersonReport{{ID: "tamsin", Role: "mechanic", Name: "Tamsin Orde"}}
	in.Report.Groups = []workshop.GroupReport{{Components: []workshop.ComponentReport{{ID: "fuel.tank", Name: "petrol tank"}}}}
	doc := Provenance(in)
	has := func(kind string, pairs ...string) {
		t.Helper()
		for _, r := range doc.Records {
			all := r.Kind == kind
			for i := 0; i < len(pairs); i += 2 {
				all = all && r.first(pairs[i]) == pairs[i+1]
			}
			if all {
				return
			}
		}
		t.Errorf("there is no %s with %v", kind, pairs)
	}
	has("wasDerivedFrom", "prov:generatedEntity", "rec:c2", "prov:usedEntity", "rec:c1", "prov:type", "prov:Revision")
	has("wasInvalidatedBy", "prov:entity", "rec:c1", "prov:time", "2026-03-02T11:00:00Z")
	has("wasInvalidatedBy", "prov:entity", "rec:c2", "prov:activity", "act:w")
	has("wasDerivedFrom", "prov:generatedEntity", "rec:c1", "prov:usedEntity", "rec:e1")
	has("wasAssociatedWith", "prov:activity", "act:w", "prov:agent", "who:tamsin")
	has("agent", "prov:label", "Tamsin Orde")
	raw, err := doc.Write()
	require.NoError(t, err)
	require.NotContains(t, string(raw), "rec:gone")

	// In the public edition even the identifier that somebody chose is gone.
	in.Report.Public, in.Report.People[0].Name = true, "the mechanic"
	raw, err = WriteProvenance(in)
	require.NoError(t, err)
	require.NotContains(t, strings.ToLower(string(raw)), "tamsin")
	_, err = ReadProv(raw)
	require.NoError(t, err)
}

func TestObjectIDAnswersEveryCategory(t *testing.T) {
	in := given(true)
	two := 2
	in.Report.Machine.Numbers = []workshop.NumberReport{{Where: "frame", Shown: "D3•••17"}}
	in.Report.Groups = []workshop.GroupReport{{Components: []workshop.ComponentReport{
		{ID: "fuel.tank", Name: "petrol tank", Note: "Crease below the knee grip.", Condition: &two, Read: "withheld"},
		{ID: "electrical.horn", Name: "horn", Origin: workshop.ClaimReport{Leading: "donor", Basis: "evidence", Shown: "85 %"}},
		{ID: "electrical.lamp", Name: "lamp", Origin: workshop.ClaimReport{Leading: "reproduction", Basis: "prior", Shown: "60 %"}},
	}}}
	in.Report.Readings = []workshop.ReadingReport{{Component: "fuel.tank", Quantity: "film", Value: 84, Unit: "µm", Uncertainty: 3, Place: "under the cap"}}
	in.Report.Photos = []workshop.PhotoReport{{Digest: "sha256:" + strings.Repeat("ab", 32), Shows: "as-found", Caption: "left side"}, {Digest: "sha256:no", Withheld: true}}
	o := MakeObjectID(in.Report)
	require.Equal(t, []string{"petrol tank, film: 84 µm ± 3 µm (under the cap)"}, o.Measurements)
	require.Equal(t, []string{"frame number D3•••17"}, o.Inscriptions)
	require.Equal(t, []string{"petrol tank: Crease below the knee grip.", "horn: origin donor, 85 %"}, o.DistinguishingFeatures)
	require.Len(t, o.Photographs, 1)
	text, err := WriteObjectIDText(in)
	require.NoError(t, err)
	// The headings of the checklist (Introduction to Object ID, Getty, 1999).
	for _, category := range []string{"Photographs", "Type of object", "Materials and techniques", "Measurements", "Inscriptions and markings", "Distinguishing features",
		"Title", "Subject", "Date or period", "Maker", "Short description"} {
		require.Contains(t, string(text), fmt.Sprintf("\n%s\n  - ", category))
	}
	require.Contains(t, string(text), "The numbers are masked in this edition.")
	for line := range strings.SplitSeq(string(text), "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(line), 78)
	}
}

func TestFormatsByName(t *testing.T) {
	for _, f := range Formats() {
		got, err := FormatOf(f.Name)
		require.NoError(t, err)
		require.Equal(t, f.Ending, got.Ending)
	}
	_, err := FormatOf("xml")
	require.Equal(t, registry.CodeUnsupported, registry.CodeOf(err))
	require.Contains(t, err.Error(), `"xml"`)
}
