package catalog_test

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
)

// The worked example of several faults at once: priors, links and leaks of
// docs/scoring.md's example. Its one weak magneto is told apart into parts
// here, each with the links of the whole.
func TestWorkedExampleOfSeveralFaults(t *testing.T) {
	c := load(t)
	for id, prior := range map[string]float64{"stale-fuel": .55, "blocked-jet": .45, "exhaust-valve-stuck": .25, "tap-cork-dry": .40, "wrong-timing": .10} {
		x, ok := c.Cause(id)
		require.True(t, ok, id)
		assert.Equal(t, prior, x.Prior, id)
	}
	for id, want := range map[string]struct {
		leak  float64
		links map[string]float64
	}{
		"will-not-start": {.02, map[string]float64{"stale-fuel": .55, "blocked-jet": .70, "points-dirty": .75, "brush-slip-ring": .75, "condenser-failed": .75,
			"armature-failed": .75, "exhaust-valve-stuck": .95, "tap-cork-dry": .60, "wrong-timing": .60}},
		"no-spark":        {.03, map[string]float64{"points-dirty": .70, "brush-slip-ring": .70, "condenser-failed": .70, "armature-failed": .70}},
		"low-compression": {.12, map[string]float64{"exhaust-valve-stuck": .97}},
		"no-fuel":         {.04, map[string]float64{"stale-fuel": .05, "tap-cork-dry": .75}},
	} {
		x, ok := c.Observation(id)
		require.True(t, ok, id)
		assert.Equal(t, want.leak, x.Leak, id)
		for cause, link := range want.links {
			assert.Equal(t, link, x.Links[cause], "%s: %s", id, cause)
		}
	}
	// The parts of the magneto together are about as likely as the one weak
	// magneto of the example, 0.50: 1 − .74·.86·.78·.88 = 0.563.
	none := 1.0
	for _, id := range []string{"points-dirty", "brush-slip-ring", "condenser-failed", "armature-failed"} {
		x, _ := c.Cause(id)
		none *= 1 - x.Prior
	}
	assert.InDelta(t, 0.563, 1-none, 5e-4)
}

// The worked example of one missing spark: P(cause), P(cure), minutes, points
// for good and what is opened.
func TestWorkedExampleOfAMissingSpark(t *testing.T) {
	c := load(t)
	for _, want := range []struct {
		test, cause     string
		prior, cure     float64
		minutes, points float64
		opening         string
	}{
		{test: "try-cut-out", cause: "cut-out-earthing", prior: .10, cure: 1, minutes: 5},
		{test: "try-plug-and-lead", cause: "plug-or-lead", prior: .16, cure: 1, minutes: 10},
		{test: "try-clean-points", cause: "points-dirty", prior: .26, cure: .9, minutes: 20, points: .2, opening: "points-cap"},
		{test: "try-clean-slip-ring", cause: "brush-slip-ring", prior: .14, cure: .9, minutes: 20, points: .2},
		{test: "try-condenser-outside", cause: "condenser-failed", prior: .22, cure: .9, minutes: 40, points: .8, opening: "points-cap"},
		{test: "try-rewind-armature", cause: "armature-failed", prior: .12, cure: .97, minutes: 120, points: 3, opening: "magneto-off"},
	} {
		x, ok := c.FaultTest(want.test)
		require.True(t, ok, want.test)
		require.NotNil(t, x.Repairs, want.test)
		assert.Equal(t, want.cause, x.Repairs.Cause)
		assert.Equal(t, []float64{want.minutes, want.points}, []float64{x.Minutes, x.Points}, want.test)
		assert.Equal(t, want.opening, strings.Join(x.Openings, " "), want.test)
		cause, _ := c.Cause(want.cause)
		assert.Equal(t, want.prior, cause.Prior, want.cause)
		chance, ok := cause.Cure(x.Repairs.Treatment)
		assert.True(t, ok)
		assert.Equal(t, want.cure, chance, want.cause)
	}
	x, _ := c.Cause("armature-failed")
	_, ok := x.Cure("clean")
	assert.False(t, ok, "cleaning does not mend a winding")
}

// What riders say, and that each has causes few enough to go through them all.
func TestComplaints(t *testing.T) {
	c := load(t)
	var got []string
	for _, x := range c.Complaints() {
		got = append(got, x.ID)
		m, ok := c.SymptomModel([]string{x.ID})
		require.True(t, ok)
		assert.LessOrEqual(t, len(m.Causes), 20, x.ID)
		assert.GreaterOrEqual(t, len(m.Causes), 3, x.ID)
		var gentle int
		for _, test := range m.Tests {
			if test.Level <= catalog.TestMeasure {
				gentle++
			}
		}
		assert.Positive(t, gentle, x.ID)
		assert.NotEmpty(t, x.Not, x.ID)
	}
	assert.ElementsMatch(t, []string{"will-not-turn", "no-spark", "spark-fades-hot", "no-fuel", "floods", "low-compression", "will-not-start",
		"runs-then-dies", "smokes", "clutch-will-not-free", "clutch-slips", "gear-trouble", "brake-drags", "brake-weak", "charging-dead",
		"steering-notchy", "oil-leaks"}, got)
}

// data/README.md counts what is there.
func TestReadMeCountsTheSymptoms(t *testing.T) {
	c := load(t)
	raw, err := os.ReadFile("data/README.md")
	require.NoError(t, err)
	trials, looks := 0, 0
	for _, x := range c.FaultTests() {
		switch {
		case strings.HasPrefix(x.ID, "put-right-"): // derived, not written
		case x.Repairs != nil:
			trials++
		default:
			looks++
		}
	}
	for _, want := range []string{fmt.Sprintf("%d things that a rider", len(c.Complaints())), fmt.Sprintf("%d causes", len(c.Causes())),
		fmt.Sprintf("%d observations", len(c.Observations())), fmt.Sprintf("%d ways to answer them and %d trials", looks, trials)} {
		assert.Contains(t, string(raw), want)
	}
}

// Each cause states why its numbers are what they are, in its own row.
func TestEveryCauseHasItsOwnReason(t *testing.T) {
	seen := map[string]string{}
	for _, x := range load(t).Causes() {
		reason := x.Assumption + x.Source
		assert.Empty(t, seen[reason], "%s has the words of another", x.ID)
		seen[reason] = x.ID
		assert.NotContains(t, reason, "Priors and cures are guesses", x.ID)
	}
}

func TestSentencesOfTheSymptoms(t *testing.T) {
	c := load(t)
	sentence := regexp.MustCompile(`^[\p{Lu}20].*\.$`)
	see := func(id string, list ...string) {
		for _, s := range list {
			assert.Regexp(t, sentence, s, id)
		}
	}
	for _, x := range c.Complaints() {
		see(x.ID, append(append([]string{x.Sentence}, x.Not...), x.First...)...)
	}
	for _, x := range c.Causes() {
		see(x.ID, x.Sentence)
	}
	for _, x := range c.Observations() {
		see(x.ID, x.Yes, x.No)
		assert.NotEqual(t, x.Yes, x.No, x.ID)
	}
	for _, x := range c.FaultTests() {
		see(x.ID, x.How, x.IfYes, x.IfNo)
		assert.NotEqual(t, x.IfYes, x.IfNo, x.ID)
	}
}

// What a test tells to do brings the caution that belongs to it, and nothing is
// advised that common practice forbids.
func TestTestsWarnAndForbid(t *testing.T) {
	c := load(t)
	slaves := map[string]bool{}
	for _, x := range c.FaultTests() {
		shown := ids(c.CautionsForTest(x.ID))
		for words, caution := range map[string]string{
			`gap tool|for a spark`: "ht-1", `petrol`: "fuel-1", `inspection hole|[Ww]heel out|[Cc]lutch apart|[Cc]haincase off|[Hh]ead off`: "asb-1",
			`[Bb]attery`: "acid-1", `run it|tick-over|Let it run|warm: open`: "run-1", `wheel lifted|on (its|the) stand|lifted wheel`: "lift-1",
			`hair dryer`: "hot-1", `low pressure|bulb's pressure`: "press-1", `[Dd]rain (it|cold)|syringe`: "waste-1", `[Ss]prings? (released|held)`: "spring-1",
		} {
			if regexp.MustCompile(words).MatchString(x.How) {
				assert.Contains(t, shown, caution, "%s: %s", x.ID, x.How)
			}
		}
		if x.Level >= catalog.TestOpen {
			for _, opening := range x.Openings {
				for _, caution := range c.CautionsForOpening(opening) {
					assert.Contains(t, shown, caution.ID, x.ID)
				}
			}
		}
		assert.NotRegexp(t, `\bkick(ed|ing)?\b[^-]`, x.How, x.ID)
		assert.NotRegexp(t, `(?i)compressed air|air[- ]line`, x.How, x.ID)
		if strings.Contains(x.How, "gap tool") {
			assert.Contains(t, x.How+strings.Join(x.Tools, " "), "5 to 6 mm", x.ID)
		}
		if regexp.MustCompile(`[Pp]lug out`).MatchString(x.How) && regexp.MustCompile(`turn|rock`).MatchString(x.How) {
			assert.Regexp(t, `lead earthed|gap tool`, x.How, "%s: a magneto is never turned with its lead open", x.ID)
		}
		if x.Level < catalog.TestQuick && x.ID != "find-rust-in-bore" { // through the plug hole counts as looking
			assert.NotRegexp(t, `(?i)plug (comes )?out|unhook|(^|points )cap off`, x.How, x.ID)
		}
		if x.SlavePart != "" {
			for _, w := range strings.Fields(x.SlavePart) {
				slaves[w] = true
			}
		}
	}
	for _, want := range []string{"bottle", "battery", "coil", "plug", "lamp"} {
		assert.True(t, slaves[want], "no test borrows a %s", want)
	}
	for _, id := range []string{"find-drum-shows-rust", "try-reline", "find-lining-pack-thin"} {
		shown := c.CautionsForTest(id)
		assert.Contains(t, ids(shown), "asb-1", id)
		assert.Equal(t, catalog.LevelStop, shown[0].Level, "%s: the gravest comes first", id)
	}
	assert.Empty(t, c.CautionsForTest("nothing"))
}

// A reading a thousand times off is asked about: a condenser written in µF
// where nF is meant is the case that is known from print.
func TestReadingSlips(t *testing.T) {
	x, ok := load(t).Observation("condenser-reads-off")
	require.True(t, ok)
	for _, tt := range []struct {
		value, meant float64
		doubtful     bool
	}{{.18, .18, false}, {180, .18, true}, {.00018, .18, true}, {.02, .02, false}, {0, 0, false}, {5, 5, false}} {
		meant, doubtful := x.Reading.Slip(tt.value)
		assert.InDelta(t, tt.meant, meant, 1e-12, "%v", tt.value)
		assert.Equal(t, tt.doubtful, doubtful, "%v", tt.value)
	}
}

func TestSymptomModel(t *testing.T) {
	c := load(t)
	m, ok := c.SymptomModel([]string{"clutch-slips"})
	require.True(t, ok)
	var causes []string
	for _, x := range m.Causes {
		causes = append(causes, x.ID)
	}
	assert.Equal(t, []string{"clutch-springs-uneven", "clutch-oiled", "clutch-linings-worn", "clutch-springs-weak", "clutch-no-free-play"}, causes)
	i := slices.IndexFunc(m.Observations, func(o catalog.Observation) bool { return o.ID == "primary-oil-out-of-order" })
	require.GreaterOrEqual(t, i, 0)
	// By hand: 1 − (1 − .12)(1 − .35·.15)(1 − .15·.20).
	assert.InDelta(t, 0.191214, m.Observations[i].Leak, 1e-12)
	assert.Equal(t, map[string]float64{"clutch-oiled": .8}, m.Observations[i].Links)
	assert.Equal(t, []string{"clutch-basket-notched", "clutch-cable-slack", "clutch-plates-stuck", "clutch-rod-worn", "oil-in-crankcase", "oil-overfilled"}, m.Outside)
	for _, x := range m.Tests {
		assert.True(t, x.Repairs != nil && slices.Contains(causes, x.Repairs.Cause) ||
			slices.ContainsFunc(m.Observations, func(o catalog.Observation) bool { return o.ID == x.Observation }), x.ID)
	}

	both, ok := c.SymptomModel([]string{"clutch-slips", "clutch-will-not-free"})
	require.True(t, ok)
	assert.Len(t, both.Causes, 9, "five and five share one")

	whole, _ := c.Observation("primary-oil-out-of-order")
	assert.Len(t, whole.Links, 3, "what is picked is a copy")

	_, ok = c.SymptomModel([]string{"clutch-slips", "it-sings"})
	assert.False(t, ok)
	_, ok = c.SymptomModel(nil)
	assert.False(t, ok)
}

// The leak of a picked observation is its probability of yes when none of the
// picked causes holds, summed over all states of the others.
func TestLeakFoldsWhatIsOutside(t *testing.T) {
	c := load(t)
	folded := 0
	for _, complaint := range c.Complaints() {
		m, _ := c.SymptomModel([]string{complaint.ID})
		for _, o := range m.Observations {
			whole, _ := c.Observation(o.ID)
			var outside []string
			for id, link := range whole.Links {
				if o.Links[id] == 0 && link > 0 {
					outside = append(outside, id)
				}
			}
			if len(outside) > 14 {
				continue
			}
			yes := 0.0
			for state := range 1 << len(outside) {
				p, no := 1.0, 1-whole.Leak
				for i, id := range outside {
					x, _ := c.Cause(id)
					if state>>i&1 == 1 {
						p, no = p*x.Prior, no*(1-whole.Links[id])
					} else {
						p *= 1 - x.Prior
					}
				}
				yes += p * (1 - no)
			}
			assert.InDelta(t, yes, o.Leak, 1e-9, "%s: %s", complaint.ID, o.ID)
			if len(outside) > 0 {
				folded++
			}
		}
	}
	assert.Greater(t, folded, 20)
}

// A cause that sits in nothing that the machine has is no suspect.
func TestSymptomModelWithoutACoil(t *testing.T) {
	c := load(t)
	m, ok := c.SymptomModel([]string{"no-spark"}, "ignition.coil", "engine.spark-plug")
	require.True(t, ok)
	for _, x := range m.Causes {
		assert.NotContains(t, x.ID, "coil")
	}
	assert.Len(t, m.Causes, 6, "plug or lead stays, for the lead is there")
	assert.NotContains(t, m.Outside, "coil-failed")
	for _, x := range m.Tests {
		assert.NotEqual(t, "find-no-volts-at-coil", x.ID)
	}
}

// A pack changes a cause by its id, keeps what it does not say, and adds tests.
func TestPackOfSymptoms(t *testing.T) {
	c := load(t, pack("a.json", `{"assumption":"Counted on 41 machines of the register.",
		"causes":[{"id":"condenser-failed","prior":0.6}],
		"observations":[{"id":"spark-fades-hot","links":{"condenser-failed":0.9,"points-dirty":0}}],
		"tests":[{"id":"find-rust-in-bore","minutes":25,"cautions":["ht-1"]},{"id":"find-dogs-rounded","openings":[]}],
		"complaints":[{"id":"no-spark","first":["Look for the star on the magneto."]}]}`))
	house := load(t)
	cause, _ := c.Cause("condenser-failed")
	was, _ := house.Cause("condenser-failed")
	assert.Equal(t, .6, cause.Prior)
	assert.Equal(t, was.Cures, cause.Cures)
	assert.Equal(t, "test-pack 1.0.0", cause.From)
	assert.Equal(t, "Counted on 41 machines of the register.", cause.Assumption)
	o, _ := c.Observation("spark-fades-hot")
	assert.Equal(t, []float64{.9, .7}, []float64{o.Links["condenser-failed"], o.Links["armature-failed"]})
	m, _ := c.SymptomModel([]string{"spark-fades-hot"})
	assert.Len(t, m.Causes, 5, "a link of 0 is none")
	test, _ := c.FaultTest("find-rust-in-bore")
	assert.Equal(t, 25.0, test.Minutes)
	assert.Equal(t, []string{"ht-1", "bio-1"}, test.Cautions)
	test, _ = c.FaultTest("find-dogs-rounded")
	assert.Equal(t, []string{"gearbox-cover"}, test.Openings, "leaving things out takes nothing away")
	complaint, _ := c.Complaint("no-spark")
	assert.Len(t, complaint.First, 4)
	assert.NotEqual(t, house.Identity().Digest, c.Identity().Digest)
}

func TestPacksOfSymptomsRefused(t *testing.T) {
	test := func(rest string) string {
		return `{"id":"find-own","title":"t","level":1,"how":"Look.","minutes":5,"points":0,"openings":[],"consumables":[],"tools":[],"cautions":[],"observation":"no-spark","if_yes":"So.","if_no":"Not so.",` + rest + `"assumption":"For a test."}`
	}
	with := func(key, value string) string {
		return regexp.MustCompile(`"`+key+`":("[^"]*"|\[\]|[0-9]+)`).ReplaceAllString(test(""), fmt.Sprintf(`"%s":%s`, key, value))
	}
	for _, tt := range []struct{ name, section, row, pointer, found string }{
		{"a link to an unknown cause", "observations", `{"id":"no-spark","links":{"imps":0.5}}`, "/observations/0/links/imps", "imps"},
		{"a key of links that is no id", "observations", `{"id":"no-spark","links":{"Kobolde!":0.5,"points-dirty":0.7}}`, "/observations/0/links/Kobolde!", "Kobolde!"},
		{"a link above 1", "observations", `{"id":"no-spark","links":{"points-dirty":1.5}}`, "/observations/0/links/points-dirty", "1.5"},
		{"a leak of 0", "observations", `{"id":"no-spark","leak":0}`, "/observations/0/leak", "0"},
		{"a unit that is not known", "observations", `{"id":"points-resist","reading":{"unit":"thou"}}`, "/observations/0/reading/unit", "thou"},
		{"a range upside down", "observations", `{"id":"points-resist","reading":{"low":2}}`, "/observations/0/reading", "2 to 0.5"},
		{"nobody answers it", "observations", `{"id":"hums","title":"t","yes":"It hums.","no":"It does not.","leak":0.1,"links":{"points-dirty":0.5}}`, "/observations/0", "hums"},
		{"a prior of 1", "causes", `{"id":"stale-fuel","prior":1}`, "/causes/0/prior", "1"},
		{"an unknown component", "causes", `{"id":"stale-fuel","components":["fuel.tnak"]}`, "/causes/0/components/0", "fuel.tnak"},
		{"an unknown cure", "causes", `{"id":"stale-fuel","cures":[{"treatment":"pray"}]}`, "/causes/0/cures/0/treatment", "pray"},
		{"cures against the ladder", "causes", `{"id":"stale-fuel","cures":[{"treatment":"refinish"},{"treatment":"clean"}]}`, "/causes/0/cures/1/treatment", "clean"},
		{"a cure that is to leave", "causes", `{"id":"stale-fuel","cures":[{"treatment":"leave"}]}`, "/causes/0/cures/0/treatment", "leave"},
		{"a cure that a test tries", "causes", `{"id":"stale-fuel","cures":[{"treatment":"adjust"}]}`, "/tests/try-fresh-petrol/repairs/treatment", "clean"},
		{"a cause that nothing leads to", "causes", `{"id":"imps","title":"t","sentence":"s","components":["fuel.tank"],"prior":0.1,"cures":[{"treatment":"clean"}]}`, "/causes/0", "imps"},
		{"a promise", "causes", `{"id":"stale-fuel","sentence":"Old petrol is safe."}`, "/causes/0/sentence", "safe"},
		{"two causes that nothing tells apart", "observations", `{"id":"primary-oil-out-of-order","links":{"clutch-oiled":0.1}},{"id":"lining-pack-thin","links":{"clutch-linings-worn":0.1}}`, "/causes/clutch-oiled", "clutch-linings-worn"},
		{"too few causes", "observations", `{"id":"floods","links":{"float-punctured":0,"tickler-stuck":0}}`, "/complaints/floods/observation", "2 causes"},
		{"no result", "tests", with("if_no", `" "`), "/tests/0/if_no", " "},
		{"a level of 5", "tests", with("level", "5"), "/tests/0/level", "5"},
		{"level 3 without an opening", "tests", with("level", "3"), "/tests/0/openings", ""},
		{"level 1 with an opening", "tests", with("openings", `["points-cap"]`), "/tests/0/openings", "points-cap"},
		{"level 2 with a gasket", "tests", strings.Replace(with("openings", `["timing-cover"]`), `"level":1`, `"level":2`, 1), "/tests/0/openings/0", "timing-cover"},
		{"level 1 with a loss", "tests", with("points", "0.5"), "/tests/0/points", "0.5"},
		{"two aims", "tests", test(`"repairs":{"cause":"stale-fuel","treatment":"clean"},`), "/tests/0", ""},
		{"an unknown observation", "tests", with("observation", `"hums"`), "/tests/0/observation", "hums"},
		{"an unknown caution", "tests", with("cautions", `["hat-1"]`), "/tests/0/cautions/0", "hat-1"},
		{"lowers a level", "tests", `{"id":"find-dogs-rounded","level":2}`, "/tests/0/level", "2"},
		{"turns a test round", "tests", `{"id":"find-no-spark","observation":"floods"}`, "/tests/0/observation", "floods"},
		{"turns a trial round", "tests", `{"id":"try-flush-tank","repairs":{"cause":"stale-fuel"}}`, "/tests/0/repairs", ""},
		{"turns a complaint round", "complaints", `{"id":"floods","observation":"no-spark"}`, "/complaints/0/observation", "no-spark"},
		{"a group that is not one", "complaints", `{"id":"floods","group":"sound"}`, "/complaints/0/group", "sound"},
		{"a key that is not known", "complaints", `{"id":"floods","pity":1}`, "/complaints/0/pity", "pity"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			fields := refused(t, pack("a.json", rows(tt.section, tt.row)))
			var hit bool
			for _, f := range fields {
				file := "test-pack/a.json"
				if !regexp.MustCompile(`^/` + tt.section + `/[0-9]`).MatchString(f.Pointer) {
					file = "house"
				}
				hit = hit || f.File == file && f.Pointer == tt.pointer && strings.Contains(f.Found, tt.found)
			}
			assert.True(t, hit, "%+v", fields)
			assert.Less(t, len(fields), 12, "one slip is not told many times: %+v", fields)
		})
	}
}

// Every cause of a complaint that has a cure with a known chance can be put
// right: otherwise a search would find nothing worth knowing about it.
func TestEveryCauseCanBePutRight(t *testing.T) {
	c := load(t)
	can := map[string]catalog.FaultTest{}
	for _, x := range c.FaultTests() {
		if x.Repairs != nil {
			can[x.Repairs.Cause] = x
		}
	}
	for _, cause := range c.Causes() {
		test, ok := can[cause.ID]
		require.True(t, ok, cause.ID)
		_, known := cause.Cure(test.Repairs.Treatment)
		require.True(t, known, cause.ID)
		require.Equal(t, len(test.Openings) > 0 || test.Level < catalog.TestOpen || test.NoOpening != "", true, cause.ID)
	}
}
