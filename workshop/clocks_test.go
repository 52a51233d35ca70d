package workshop

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

// at shows the machine by two clocks, without what names the whole record.
func (b *bench) at(at At) string {
	b.t.Helper()
	r, err := b.Report(context.Background(), drover, ReportOptions{At: at})
	require.NoError(b.t, err)
	r.Version, r.Head = 0, ""
	raw, err := json.Marshal(r)
	require.NoError(b.t, err)
	return string(raw)
}

// fewer has a property tried on fewer cases than usual.
func fewer(t *testing.T, cases int) {
	t.Helper()
	checks := flag.Lookup("rapid.checks")
	if before := checks.Value.String(); before == checks.DefValue { // an explicit number stands
		require.NoError(t, checks.Value.Set(fmt.Sprint(cases)))
		t.Cleanup(func() { require.NoError(t, checks.Value.Set(before)) })
	}
}

// difference shows where two long texts part.
func difference(a, b string) string {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			from := max(0, i-80)
			return fmt.Sprintf("…%s… became …%s…", a[from:min(len(a), i+80)], b[from:min(len(b), i+80)])
		}
	}
	if len(a) != len(b) {
		return fmt.Sprintf("%d bytes became %d", len(a), len(b))
	}
	return ""
}

// The gearbox shell: asked in March what sat there in 1965, the record says the
// first one; asked at the end of April, when an invoice has turned up, it says
// the one of 1959. Both answers stay.
func TestTwoClocks(t *testing.T) {
	b := takenIn(t)
	b.file("fittings-march.json")
	march := b.Now()
	b.pass(30 * 24 * time.Hour)
	for _, d := range drafts(t, "drover/fittings-april.json") {
		if f, ok := d.Body.(*registry.Fitting); ok {
			f.Evidence = nil // the invoice is not part of this test
		}
		b.do(d.Body)
	}
	april := b.Now()
	in1965 := time.Date(1965, 6, 1, 0, 0, 0, 0, time.UTC)
	sat := func(known time.Time) string {
		t.Helper()
		d, err := b.Load(context.Background(), drover, At{KnownAt: known, AsOf: in1965})
		require.NoError(t, err)
		f, ok := d.FittedOn("gearbox.shell", in1965)
		require.True(t, ok)
		return f.Record.Part
	}
	require.Contains(t, sat(march), "thought to be the first one")
	require.Contains(t, sat(april), "under warranty")
	require.Contains(t, sat(march), "thought to be the first one")

	_, err := b.Report(context.Background(), drover, ReportOptions{At: At{KnownAt: monday.AddDate(0, 0, -1)}})
	refused(t, err, registry.CodeNotFound, "Nothing was known")
}

// What the record says for a fixed pair of clocks never changes, whatever is
// recorded later and however late it is asked.
func TestAnswersForFixedClocksNeverChange(t *testing.T) {
	fewer(t, 10) // each draws a whole record and shows it many times
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t)
		b.do(people()...)
		b.do(&registry.CustodyAgreement{Common: registry.Common{ID: "custody"}, Owner: "owner", Custodian: "mechanic", Authority: "a paper", Purpose: "static", Inventory: []registry.InventoryItem{}})
		b.do(&registry.Fault{Common: registry.Common{ID: "fault"}, Complaint: "no spark", Components: []string{"ignition.magneto"}, By: "mechanic"},
			&registry.Option{Common: registry.Common{ID: "leave"}, Fault: "fault", Treatment: "leave", Title: "leave it", By: "mechanic"})
		type asked struct {
			at     At
			answer string
		}
		var before []asked
		var names []string // of records that can be corrected or withdrawn
		n := 0
		step := func() {
			n++
			id := fmt.Sprintf("r-%d", n)
			component := rapid.SampledFrom([]string{"fuel.tank", "frame.main", "ignition.magneto"}).Draw(t, "component")
			valid := registry.Date(rapid.SampledFrom([]string{"", "1957", "1958-11", "2026-03-09", "2026-03-10"}).Draw(t, "valid"))
			var body registry.Body
			switch rapid.SampledFrom([]string{"evidence", "survey", "withdraw", "correct", "ask", "answer", "rename", "wait"}).Draw(t, "act") {
			case "evidence":
				e := someEvidence(id, component)
				e.Valid = valid
				body = e
			case "survey":
				s := aSurvey(component)
				s.ID, s.Valid = id, valid
				body = s
			case "withdraw":
				if len(names) == 0 {
					return
				}
				body = &registry.Withdrawal{Common: registry.Common{ID: id}, Record: rapid.SampledFrom(names).Draw(t, "which"), Why: "a slip", By: "mechanic"}
			case "correct":
				if len(names) == 0 {
					return
				}
				e := someEvidence(id, component)
				e.Supersedes = rapid.SampledFrom(names).Draw(t, "which")
				body = e
			case "ask":
				b.pass(time.Minute)
				_, err := b.Propose(context.Background(), request(), ProposeInput{ID: id, Options: []string{"leave"}, Recommended: []string{"leave"}, Ceiling: pounds("1"), Expires: b.Now().AddDate(0, 0, 2)})
				require.NoError(t, err)
				return
			case "answer":
				d, err := b.Load(context.Background(), drover, At{})
				require.NoError(t, err)
				for _, p := range registry.Live[*registry.Proposal](d) {
					until := b.Now().Add(time.Hour)
					body = &registry.Decision{Common: registry.Common{ID: id}, On: p.RecordID(), Digest: p.Record.Digest, Answer: "approve", Person: "owner", Channel: "in-person", Until: &until}
				}
				if body == nil {
					return
				}
			case "rename":
				p := aPerson(id, "mechanic", "Tamsin Quill")
				p.Supersedes = "mechanic"
				body = p
			case "wait":
				b.pass(2 * time.Hour)
				return
			}
			b.pass(time.Minute)
			if _, err := b.Record(context.Background(), request(), body); err == nil && body.Kind() == "evidence" {
				names = append(names, id)
			}
		}
		for range rapid.IntRange(1, 4).Draw(t, "rounds") {
			for range rapid.IntRange(1, 3).Draw(t, "steps") {
				step()
			}
			at := At{KnownAt: b.Now()}
			if rapid.Bool().Draw(t, "as of") {
				at.AsOf = rapid.SampledFrom([]time.Time{time.Date(1958, 1, 1, 0, 0, 0, 0, time.UTC), monday}).Draw(t, "day")
			}
			before = append(before, asked{at, b.at(at)})
			b.pass(time.Millisecond)
		}
		b.pass(100 * 24 * time.Hour)
		step()
		late := b.restarted()
		for _, x := range before {
			require.Empty(t, difference(x.answer, b.at(x.at)))
			require.Empty(t, difference(x.answer, late.at(x.at)))
		}
	})
}
