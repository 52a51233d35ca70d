package dossier

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/pdfcpu/pdfcpu/pkg/api"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu/model"
	"github.com/stretchr/testify/require"

	"example.org/asfound/drawing"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

func ptr[T any](v T) *T { return &v }

func money(amount string) registry.Money {
	m, _ := registry.ParseMoney(amount, "GBP")
	return m
}

func index(median float64) *scoring.IndexResult {
	return &scoring.IndexResult{Mean: median - 0.01, Median: median, Low80: median - 0.06, High80: min(median+0.04, 1), WeightBand: [2]float64{median - 0.03, median + 0.02},
		Modes: []scoring.Hump{{At: 0.80, Mass: 0.11}, {At: median, Mass: 0.89}}}
}

func loss(mean float64) scoring.Summary {
	low, high := mean*0.6, mean*1.5
	return scoring.Summary{Mean: mean, Median: mean, Low80: min(low, high), High80: max(low, high)}
}

// canned is a report with something in every part. All of it is invented.
func canned(components int) *workshop.Report {
	at := time.Date(2026, 6, 14, 10, 30, 0, 0, time.UTC)
	r := &workshop.Report{
		Machine: workshop.MachineReport{ID: "drover-1957", Name: "The nurse's Drover", Make: "Skerrow", Model: "Drover 350", Year: "1957-06", Invented: true,
			Numbers: []workshop.NumberReport{{Where: "frame", Shown: "DR••••••82", Doubtful: []registry.DoubtfulCharacter{{Place: 7, Readings: []string{"3", "8"}}}, Note: "read by raking light"}, {Where: "engine", Shown: "E3•••17"}},
			Story:   "Sold in June 1957 to a district nurse, who rode her rounds on it until 1971. The last insurance slip is of 1988; then it stood under hay sacks in the dairy barn."},
		Version: 214, Head: strings.Repeat("8b1f", 16), Changed: at, Public: true, Phase: "working", Catalog: "house/3 sha256:" + strings.Repeat("ab", 32), Standpoint: "preservation",
		Indices: workshop.Indices{
			Substance:   workshop.IndexReport{Now: index(0.92), Recoverable: index(0.95), AsFound: index(0.94), Coverage: 0.84},
			Surface:     workshop.IndexReport{Now: index(0.71), Coverage: 0.66},
			Correctness: workshop.IndexReport{Coverage: 0.41, Refused: "Survey the wiring and the instruments: together they bear 22 % of the weight."}},
		Agreement: &workshop.AgreementReport{Owner: "the executor", Custodian: "the mechanic", Authority: "grant of probate, seen", Purpose: "occasional", Care: []string{"dust and dry off", "drain stale fuel"},
			Stop: []string{"no polishing", "no paint"}, Ceiling: "110.00 GBP", Inventory: []registry.InventoryItem{{ID: "i-1", What: "ignition key", Count: 2, Photo: "ph-1"}}},
		People:    []workshop.PersonReport{{ID: "imogen", Role: "executor", Name: "the executor"}, {ID: "tamsin", Role: "mechanic", Name: "the mechanic"}},
		Survey:    workshop.SurveyReport{Surveyed: components, Of: components + 9, Sealed: true, Digest: "sha256:" + strings.Repeat("5e", 32), SealedOn: "2026-03-09", SealedBy: "the mechanic", Gaps: []registry.SurveyGap{{Component: "c-3", Why: "behind the sealed dynamo"}}},
		Uncertain: []workshop.Uncertain{{Component: "c-1", Name: "Horn", Proposition: "origin", Points: 6, EntropyBits: 1.7, Why: "stamped 2/56, sixteen months before the machine", Settle: "look for the second set of screw marks on the bracket"}},
		Fittings:  []workshop.FittingReport{{ID: "ft-1", Component: "c-2", Name: "Gearbox shell", Part: "shell of the works", Stamp: "4417", Origin: "period-service", Valid: "1959-10/..", Recorded: at, Evidence: []string{"ev-2"}}},
		Joints:    []workshop.JointReport{{ID: "j-1", Joint: "head-to-barrel", Components: []string{"c-1", "c-2"}, Witness: "undisturbed", Sign: "paint bridges the joint", Photos: []string{"ph-1"}}},
		Readings:  []workshop.ReadingReport{{ID: "m-1", Component: "c-2", Quantity: "film thickness", Value: 92, Uncertainty: 4, Unit: "µm", Instrument: "eddy-current gauge", Place: "left side, lower edge", Valid: "2026-03-05"}},
		Openings:  []workshop.OpeningReport{{Opening: registry.Opening{Common: registry.Common{ID: "o-1"}, Title: "Tank off", Joints: []string{"tank-bolts"}, Hours: 1.5, WitnessPoints: 2, Behind: []string{"c-1"}}, Opened: "2026-05-02", Standing: registry.Standing{Mark: "approved", Decision: "d-1"}}},
		Work: []workshop.WorkReport{
			{ID: "wk-1", Valid: "2026-05-03", Option: "opt-1", Treatment: "substitute", TreatmentTitle: "Substitute", Did: "Fitted a slave bottle on the frame tube, and tagged the tank.", Hours: 2, Spent: "18.40 GBP", Fitted: []registry.Fitted{{Component: "c-2", Part: "slave bottle", Origin: "substitute", Mark: "TO 5/26"}},
				Changes: []registry.Change{{Component: "c-2", Proposition: "origin", Removes: true}}, Openings: []string{"o-1"}, By: "the mechanic", Second: "the second signature", Standing: registry.Standing{Mark: "approved", Decision: "d-1"}},
			{ID: "wk-2", Valid: "2026-05-04", TreatmentTitle: "Clean", Did: "Wiped the left cover with oil.", Hours: 0.5, By: "the mechanic", Standing: registry.Standing{Mark: "care"}},
			{ID: "wk-3", Valid: "2026-05-05", TreatmentTitle: "Re-machine", Did: "Skimmed the drum.", Hours: 1, By: "somebody", Standing: registry.Standing{Mark: "unapproved", Why: []string{"no approved option covers it"}}}},
		Removed:   []workshop.RemovedReport{{ID: "rp-1", Component: "c-2", Tag: "T-014", What: "Fuel tank with its tap", Custody: "kept-with-machine", Reason: "two pinholes", Condition: "rust tide-line", Fasteners: "four bolts, eight washers", Valid: "2026-05-03"}},
		Checks:    []workshop.CheckReport{{ID: "ch-1", What: "Lining bond", Components: []string{"c-1"}, Outcome: "failed", Readings: []registry.Reading{{Quantity: "pull", Value: 180, Unit: "N", Uncertainty: 10, Instrument: "spring balance"}}, Valid: "2026-05-09", By: "the mechanic"}},
		Gates:     []workshop.GateReport{{ID: "g-1", Title: "Turns by hand", Passed: true, On: "2026-04-01", By: "the mechanic", Second: "the second signature", Others: "nothing"}, {ID: "g-2", Title: "First run", Others: "whether the place may be used"}},
		HandBack:  &workshop.HandBackReport{On: "2026-06-14", To: "the executor", By: "the mechanic", RemovedParts: []string{"rp-1"}, KnownLimits: []string{"No run above 30 mph until the linings have bedded in."}, Instructions: []string{"Tap off when it stands."}, Fluids: []string{"engine: SAE 40, 1.7 l"}, Rechecks: []registry.Recheck{{What: "head nuts", Due: "after 3 heat cycles"}}, Inventory: []registry.InventoryItem{{ID: "i-1", What: "ignition key", Count: 2}}},
		Questions: []string{"Where did the horn come from?", "Whose speed drive was it?"},
		Timeline:  []workshop.Happened{{Recorded: at, Version: 1, Kind: "machine", Record: "machine", Text: "Taken in.", By: "the mechanic"}, {Recorded: at, Valid: "2026-05-05", Version: 190, Text: "Skimmed the drum.", By: "somebody", Mark: "unapproved"}},
	}
	names := []string{"Frame", "Fuel tank", "Front mudguard", "Left engine case", "Magneto body", "Horn", "Front brake linings", "Gearbox shell"}
	for i := range components {
		if i%10 == 0 {
			r.Groups = append(r.Groups, workshop.GroupReport{ID: fmt.Sprintf("g-%d", i/10), Name: []string{"Frame and forks", "Engine", "Ignition", "Fuel", "Brakes"}[i/10%5], Points: 60})
		}
		g := &r.Groups[len(r.Groups)-1]
		c := workshop.ComponentReport{ID: fmt.Sprintf("c-%d", i), Code: fmt.Sprintf("F%02d", i), Name: names[i%len(names)], Points: float64(i % 20), Surveyed: i%7 != 6, NotFitted: i%23 == 22, Condition: ptr(i % 6),
			ConditionWords: "worn, sound, complete", Function: "not-tested", Custody: "fitted", IdentityBearing: i%9 == 0, SafetyCritical: i%11 == 0,
			Origin:        workshop.ClaimReport{Proposition: "origin", Leading: "original", Probability: 0.97, Shown: "97 %", Basis: "evidence", Band: &scoring.Ordered[[2]float64]{{Key: "original", Value: [2]float64{0.93, 0.98}}}},
			Finish:        workshop.ClaimReport{Proposition: "finish", Leading: "worn", Probability: 0.88, Shown: "88 %", Basis: "seen"},
			Specification: workshop.ClaimReport{Proposition: "specification", Undetermined: i%5 == 0, Basis: "prior"}}
		if i%7 == 6 {
			c.Origin.Basis, c.Finish.Basis = "prior", "prior"
		}
		g.Components = append(g.Components, c)
	}
	effects := &workshop.Effects{Substance: scoring.EffectResult{Now: loss(0.0219), ForGood: loss(0.0031)}, Surface: scoring.EffectResult{Now: loss(0.00002), ForGood: loss(0)}, Correctness: scoring.EffectResult{Now: loss(-0.004), ForGood: loss(0)}}
	option := func(id, title, treatment string, rung int, reversible bool) workshop.OptionReport {
		return workshop.OptionReport{Option: registry.Option{Common: registry.Common{ID: id}, Title: title, Why: "It lets the engine be proved before the tank is touched.", Money: money("18.40"), Hours: 2, LeadDays: 14, Works: ptr(0.9), Undo: "two clips"},
			TreatmentTitle: treatment, Rung: rung, Reversible: reversible, Effects: effects, First: []string{"fuel hose, 1 m"}, OpeningTitles: []string{"Tank off"},
			Cautions: []workshop.CautionReport{{ID: "fuel-1", Level: "stop", Text: "Work outdoors, without sparks or heat. An empty tank is the dangerous one.", Source: "common practice"}}, Standing: "approved"}
	}
	options := []workshop.OptionReport{option("opt-1", "Slave bottle", "Substitute", 12, true), option("opt-2", "Solder the pinholes", "Repair the original", 7, false)}
	r.Faults = []workshop.FaultReport{{ID: "f-1", Complaint: "Two pinholes in the fuel tank", Cause: "rust at the tide-line", Components: []string{"c-1"}, Grave: true, Options: options}}
	r.Offers = []workshop.OfferReport{{ID: "p-1", Kind: "proposal", By: "the mechanic", To: "the executor", Recorded: at, Digest: "sha256:" + strings.Repeat("0f", 32),
		Offer: registry.Offer{Ceiling: money("110.00"), DoNothing: "Fuel drips on a warm engine.", Irreversible: []string{"opt-2"}, Expires: at.AddDate(0, 1, 0)}, Options: options, Recommended: []string{"opt-1"}, Standing: "approved",
		Cost:    &scoring.CostResult{P50: 56.5, P80: 81.2, OverCeiling: ptr(0.0501), Points: [][2]float64{{40, 0.5}, {120, 0.5}}},
		Value:   &scoring.ValueResult{Afters: []scoring.AfterValue{{ID: "recommended", Ratio: scoring.Quantiles{Low10: 1.18, Median: 1.25, High90: 1.33}, Net: &scoring.Quantiles{Low10: 120, Median: 410, High90: 700}, ChanceOfLoss: &scoring.Chance{P: 0.05, Printed: "5 %"}}}},
		Answers: []workshop.AnswerReport{{ID: "d-1", Answer: "approve-with-conditions", Options: []string{"opt-1"}, Conditions: []string{"keep the tank dry"}, Person: "the executor", Channel: "link", Digest: "sha256:" + strings.Repeat("0f", 32), Recorded: at}}},
		{ID: "cr-1", Kind: "change-request", By: "the mechanic", To: "the executor", Recorded: at, Found: "The silencer is holed.", Digest: "sha256:" + strings.Repeat("1f", 32), Offer: registry.Offer{Ceiling: money("240.00"), Expires: at}, Options: options[:1], Standing: "refused",
			Answers: []workshop.AnswerReport{{ID: "d-2", Answer: "refuse", Options: []string{"opt-1"}, Reason: "It is hers; patch it.", Person: "the executor", Channel: "in-person", Digest: "sha256:" + strings.Repeat("1f", 32), Recorded: at}}}}
	r.Evidence = []workshop.EvidenceReport{{ID: "ev-1", Kind: "date-stamp", Says: "3/57 is stamped under the tank.", Limits: "Stamps can be copied.", Cluster: "stamps", Reliability: ptr(0.9), Bears: []registry.Bearing{{Component: "c-1", Proposition: "origin"}}, Recorded: at, By: "the mechanic", Live: true},
		{ID: "ev-2", Kind: "invoice", Says: "Invoice 4417 of October 1959: a new gearbox shell under warranty.", Made: "1959-10~", MadeBy: "the agent", Cluster: "papers", Bears: []registry.Bearing{{Component: "c-2", Proposition: "origin"}}, Recorded: at, By: "the mechanic"}}
	for i := range 5 {
		p := workshop.PhotoReport{ID: fmt.Sprintf("ph-%d", i), Digest: digestOf([]byte{byte(i)}), Preview: digestOf(picture(i)), MediaType: "image/jpeg", Width: 4032, Height: 3024, Shows: "as-found", Components: []string{"c-1"}, Caption: "Tank, left side, before it was touched", Scale: "100 mm bar", Valid: "2026-03-05", By: "the mechanic"}
		if i == 3 {
			p.Withheld, p.Preview, p.Caption = true, "", ""
		}
		r.Photos = append(r.Photos, p)
	}
	return r
}

func cannedInput(r *workshop.Report) PDFInput {
	return PDFInput{Report: r, Program: "asfound test", Root: "q83vASNFZ4mrze8BI0VniavN7wEjRWeJq83vASNFZ4k=", Origin: "registry.example/aldmouth/drover-1957",
		Key: "registry.example/aldmouth+0a1b2c3d+ARIjNEVWZ3iJmqu8zd7v", Preview: func(digest string) (io.ReadCloser, error) {
			for i := range 5 {
				if digestOf(picture(i)) == digest && i != 4 {
					return io.NopCloser(bytes.NewReader(picture(i))), nil
				}
			}
			return nil, registry.Refuse(registry.CodeNotFound, "", "not kept")
		}}
}

func render(t testing.TB, in PDFInput) []byte {
	var b bytes.Buffer
	require.NoError(t, WritePDF(&b, in))
	return b.Bytes()
}

// extract gives the text of a document as pdftotext reads it.
func extract(t *testing.T, data []byte) string {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("pdftotext is not installed")
	}
	file := filepath.Join(t.TempDir(), "d.pdf")
	require.NoError(t, os.WriteFile(file, data, 0o600))
	out, err := exec.Command("pdftotext", "-raw", "-enc", "UTF-8", file, "-").Output()
	require.NoError(t, err)
	return string(out)
}

func TestPDFIsValidAndDeterministic(t *testing.T) {
	a, b := render(t, cannedInput(canned(24))), render(t, cannedInput(canned(24)))
	require.Equal(t, a, b)
	if keep := os.Getenv("KEEP_PDF"); keep != "" {
		require.NoError(t, os.WriteFile(keep, a, 0o600))
	}
	require.NoError(t, api.Validate(bytes.NewReader(a), model.NewDefaultConfiguration()))
	require.Contains(t, string(a), "/Lang (en-GB)")
	require.Contains(t, string(a), "/Outlines")
}

func TestPDFSaysWhatMatters(t *testing.T) {
	text := extract(t, render(t, cannedInput(canned(24))))
	for _, want := range []string{
		"The nurse's Drover", "DR••••••82", "character 7: 3 or 8", "Invented demonstration data", "version 214", "public edition",
		"page 1 of ", "Contents", "80 %: 0.860 to 0.960", "There are two likely answers", "near 0.800 with 11 %", "No figure", "84 % of the weight",
		"97 %", "(93 % to 98 %)", "nothing stands out", "cannot be told", "This type never had", "Not surveyed",
		"Horn", "1.7 bits", "second set of screw marks",
		"Stamps can be copied", "no longer in force", "about 1959-10",
		"from 1959-10", "Learned on", "22 (13 to 33)", "3.1 (1.9 to 4.6)", "gain 4.0", "less than 0.1",
		"Approved with conditions", "keep the tank dry", "REFUSED", "It is hers; patch it.", "110.00 GBP",
		"likely about 57 GBP, with a chance of 80 % at most 82 GBP; chance to pass the ceiling: 5 %", "recommended multiplies it by 1.25 (1.18–1.33); net of its cost +410 (+120 to +700) GBP, chance of a loss 5 %", strings.Repeat("0f", 20),
		"UNAPPROVED", "no approved option covers it", "care, as agreed", "T-014", "kept with machine",
		"180 ± 10", "✓ passed", "whether the place may be used", "STOP", "An empty tank is the dangerous one", "after 3 heat cycles",
		"Whose speed drive was it?", "100 mm bar", "withheld from the public edition", "no longer kept", "house/3", "preservation", "Fingerprint of the key",
	} {
		require.Contains(t, strings.Join(strings.Fields(strings.ReplaceAll(text, "\u00a0", " ")), " "), want)
	}
	text = strings.ReplaceAll(text, "\u00a0", " ")
	require.NotContains(t, text, "100 %")
	require.NotRegexp(t, `(?i)\bsafe\b`, text)
	n := strings.Count(text, "Invented demonstration data")
	pages := strings.Count(text, "\f")
	require.GreaterOrEqual(t, n, pages, "the banner stands on every page")
}

// The frontispiece says for each group what the drawing shades it by.
func TestPDFFrontispiece(t *testing.T) {
	r := canned(24)
	r.Groups[0].ID, r.Groups[1].ID = "fuel", "frame"
	text := strings.Join(strings.Fields(strings.ReplaceAll(extract(t, render(t, cannedInput(r))), "\u00a0", " ")), " ")
	_, text, ok := strings.Cut(text, "page 1 of")
	require.True(t, ok)
	text, _, _ = strings.Cut(text, "page 2 of")
	shading, err := r.Shade(workshop.ShadeOrigin, nil)
	require.NoError(t, err)
	for _, want := range append(shading.Levels[:], "The machine, from both sides", "Left side", "Right side", shading.Figure, "not known", "Engine: a single (the record does not say)") {
		require.Contains(t, text, want)
	}
	for _, g := range shading.Groups {
		require.Contains(t, text, g.Name+" "+g.Shown)
	}
	// Patterns are drawn: a level more means more ink.
	size := func(level int) int {
		p := &pdf{sheet: newSheet(paperA4, Language{}), r: r}
		p.f.SetCompression(false)
		p.page()
		p.sideView(drawing.Draw(drawing.Layout{}), map[string]int{"fuel": level, "wheels": level})
		var b bytes.Buffer
		require.NoError(t, p.f.Output(&b))
		return b.Len()
	}
	plain := size(1)
	require.InDelta(t, plain, size(5), 200, "a full shade is plain")
	for _, level := range []int{workshop.LevelNothing, workshop.LevelUnknown, 2, 3} {
		require.Greater(t, size(level), plain+2000, level)
	}
	require.Greater(t, size(4), size(3)+2000)
}

// The condition report says of each component what it is, and hides what the
// public edition hides.
func TestConditionReport(t *testing.T) {
	write := func(in PDFInput) []byte {
		var b bytes.Buffer
		require.NoError(t, WriteCondition(&b, in))
		return b.Bytes()
	}
	in := cannedInput(canned(24))
	a := write(in)
	require.Equal(t, a, write(cannedInput(canned(24))))
	require.NoError(t, api.Validate(bytes.NewReader(a), model.NewDefaultConfiguration()))
	text := strings.Join(strings.Fields(strings.ReplaceAll(extract(t, a), "\u00a0", " ")), " ")
	for _, want := range []string{"Condition report", "The nurse's Drover", "DR••••••82", "Condition as found", "Function now", "Owner or authorised person", "page 1 of ", "Invented demonstration data", "does not say that the machine may be ridden", "withheld from the public edition", "not surveyed",
		"Why and by whom it was examined", "Two pinholes in the fuel tank", "rust at the tide-line", "could hurt someone", "Urgency of what is recommended", "Write them in by hand"} {
		require.Contains(t, text, want)
	}
	for _, g := range in.Report.Groups {
		for _, c := range g.Components {
			if !c.NotFitted && c.Condition != nil {
				require.Contains(t, text, c.Name)
			}
		}
	}
	require.NotRegexp(t, `(?i)\bsafe\b`, text)
	require.Error(t, WriteCondition(io.Discard, PDFInput{}))
}

func TestPDFScripts(t *testing.T) {
	r := canned(3)
	r.Machine.Name = "Žluťoučký kůň, Ωμέγα, Жук ✓ 銀の鈴 🏍"
	in := cannedInput(r)
	data := render(t, in)
	require.NoError(t, api.Validate(bytes.NewReader(data), model.NewDefaultConfiguration()))
	text := extract(t, data)
	require.Contains(t, text, "Žluťoučký kůň, Ωμέγα, Жук ✓ □□□ □")
	require.Contains(t, text, "stands for a character that this typeface lacks")
}

// TestPDFLongTexts: nothing leaves the page, whatever is typed.
func TestPDFLongTexts(t *testing.T) {
	r := canned(3)
	long := strings.Repeat("W", 4000)
	many := strings.Repeat("a very long sentence of many words ", 1000)
	r.Machine.Name, r.Machine.Story = long[:300], many
	r.Faults[0].Complaint = long[:2000]
	r.Evidence[0].Says, r.Evidence[0].Limits = many, long
	r.Work[0].Did = many
	r.Photos[0].Caption = many
	r.Questions = []string{long, many}
	r.Agreement.Care = []string{long}
	r.Machine.Numbers[0].Shown = long[:200]
	r.Timeline[0].Text = "line\nbreak\ttab\x00\u202e" + long
	data := render(t, cannedInput(r))
	require.NoError(t, api.Validate(bytes.NewReader(data), model.NewDefaultConfiguration()))
	s := newSheet(paperA4, Language{})
	s.page()
	for _, l := range []look{lookBody, lookSmall, lookDigest, lookTitle} {
		for _, w := range []float64{12, 40, bodyWidth} {
			for _, line := range s.wrap(l, many[:500]+long[:500], w) {
				require.LessOrEqual(t, s.measure(l, line), w+0.001)
			}
		}
	}
	// The table's rows stay on the page, and every line of a tall cell is set.
	s.table([]column{{"a", 1}, {"b", 1}}, [][]cell{{{body(many)}, {body("short")}}})
	require.LessOrEqual(t, s.y, bodyEnd+2)
}

func TestPDFOfALargeMachine(t *testing.T) {
	r := canned(160)
	start := time.Now()
	data := render(t, cannedInput(r))
	took := time.Since(start)
	t.Logf("%d components: %d kB in %v", 160, len(data)>>10, took)
	if !testing.Short() && took > 3*time.Second { // 1.5 s wanted; a shared machine is given room
		t.Fatalf("a report of 160 components took %v", took)
	}
}

func TestPDFOfAnEmptyMachine(t *testing.T) {
	data := render(t, PDFInput{Report: &workshop.Report{}})
	require.NoError(t, api.Validate(bytes.NewReader(data), model.NewDefaultConfiguration()))
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(WritePDF(io.Discard, PDFInput{})))
	in := cannedInput(canned(1))
	in.Preview = func(string) (io.ReadCloser, error) { return io.NopCloser(strings.NewReader("another")), nil }
	require.Equal(t, registry.CodeTampered, registry.CodeOf(WritePDF(io.Discard, in)))
}

func TestWords(t *testing.T) {
	for d, want := range map[registry.Date]string{"": "", "1957": "1957", "195X": "1950s", "19XX": "1900s", "1957~": "about 1957", "1957?": "1957 (uncertain)",
		"1957-06/1971": "1957-06 to 1971", "1988/..": "from 1988", "../1971%": "until about 1971 (uncertain)"} {
		require.Equal(t, want, whenWords(d))
	}
	for v, want := range map[float64]string{0.0219: "22", 0.0031: "3.1", 0.00001: "less than 0.1", 0: "0.0"} {
		require.Equal(t, want, points(v))
	}
	require.Equal(t, "180 ± 10\u00a0N (40.5 ± 2.2 lbf)", reading(180, 10, "N")) // 1 lbf is 4.448222 N: NIST SP 811, B.8
	require.Equal(t, "3", reading(3, 0, "1"))
}

func BenchmarkPDF160(b *testing.B) {
	r := canned(160)
	for b.Loop() {
		render(b, cannedInput(r))
	}
}
