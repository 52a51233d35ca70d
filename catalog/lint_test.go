package catalog_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

func load(t testing.TB, packs ...fs.FS) *catalog.Catalog {
	t.Helper()
	c, err := catalog.Load(packs...)
	require.NoError(t, err)
	return c
}

// The house's points by group: 1000 in 160 components and 17 groups, the
// convention that data/README.md states.
func TestAnatomySums(t *testing.T) {
	want := map[string]struct {
		rows   int
		points float64
	}{
		"frame": {9, 173}, "engine-bottom": {11, 131}, "engine-top": {12, 59}, "fuel": {13, 112}, "ignition": {10, 36},
		"lubrication": {6, 24}, "exhaust": {4, 26}, "primary": {8, 25}, "gearbox": {14, 59}, "fork": {10, 69},
		"rear-suspension": {3, 14}, "wheels": {11, 39}, "brakes": {8, 28}, "controls": {10, 18}, "electrical": {12, 60},
		"tinware": {8, 67}, "finishes": {11, 60},
	}
	c := load(t)
	assert.Len(t, c.Components(), 160)
	assert.Len(t, c.Groups(), 17)
	rows, total := map[string]int{}, 0.0
	for _, x := range c.Components() {
		rows[x.Group]++
		total += x.Points
		assert.NotEmpty(t, x.GroupName, x.ID)
	}
	assert.Equal(t, 1000.0, total)
	for _, g := range c.Groups() {
		assert.Equal(t, want[g.ID].points, g.Points, g.ID)
		assert.Equal(t, want[g.ID].rows, rows[g.ID], g.ID)
	}
}

func TestAnatomyWeights(t *testing.T) {
	c := load(t)
	sums := map[string]float64{}
	for _, x := range c.Components() {
		for _, index := range catalog.Indices() {
			w := x.Indices.Of(index)
			assert.GreaterOrEqual(t, w, 0.0, x.ID)
			assert.Equal(t, math.Trunc(w), w, "%s: whole points keep the lattice of an index small", x.ID)
			sums[index] += w
		}
	}
	// Counted from the table of weights in data/README.md.
	assert.Equal(t, map[string]float64{"substance": 932, "surface": 175, "correctness": 983}, sums)
	for _, id := range []string{"fuel.tank-finish", "finish.frame-enamel", "finish.bright-plating", "finish.dull-plating", "finish.transfers", "wheels.rim-finish"} {
		x, ok := c.Component(id)
		require.True(t, ok, id)
		assert.True(t, x.SurfaceOnly, id)
		assert.Zero(t, x.Indices.Substance, id)
		assert.Equal(t, x.Points, x.Indices.Surface, id)
	}
}

// Every index must be computable: what counts has an assembly and a prior.
func TestEveryWeightHasPriorAndAssembly(t *testing.T) {
	c := load(t)
	used := map[string]bool{}
	for _, x := range c.Components() {
		for _, index := range catalog.Indices() {
			if x.Indices.Of(index) == 0 {
				continue
			}
			p, ok := c.Prior(x.Code, catalog.PropositionOf(index))
			require.True(t, ok, "%s: %s", x.ID, index)
			assert.Equal(t, registry.States(catalog.PropositionOf(index)), p.States)
			sum := 0.0
			for _, v := range p.P {
				sum += v
			}
			assert.InDelta(t, 1, sum, 1e-9, x.ID)
			_, ok = c.Assembly(x.Assembly)
			assert.True(t, ok, x.ID)
			used[x.Assembly] = true
		}
	}
	for _, a := range c.Assemblies() {
		assert.True(t, used[a.ID], "%s is empty", a.ID)
	}
	frame, _ := c.Assembly("frame")
	assert.Equal(t, 1.0, frame.Intact, "the machine is its frame")
}

func TestEveryPriorLeavesEveryStatePossible(t *testing.T) {
	for _, pc := range load(t).PriorClasses() {
		for p, shares := range pc.Shares {
			for _, s := range registry.States(p) {
				assert.Positive(t, shares[s], "%s %s %s: a state without a prior can never be found", pc.ID, p, s)
			}
		}
	}
}

func TestWalkCoversEveryComponentOnce(t *testing.T) {
	list := load(t).ComponentsInWalk()
	for i, x := range list {
		assert.Equal(t, i+1, x.Walk, x.ID)
	}
}

func TestPictureListCoversWhatCanBeSeen(t *testing.T) {
	c := load(t)
	seen := map[string]bool{}
	for i, p := range c.PictureList() {
		assert.Equal(t, i+1, p.Walk)
		for _, id := range p.Components {
			seen[id] = true
		}
	}
	for _, x := range c.Components() {
		if !slices.Contains(x.Sides, "inside") {
			assert.True(t, seen[x.ID], "%s can be seen from outside and is on no picture", x.ID)
		}
	}
}

func TestRegistryKnowsTheVocabularyOfTheData(t *testing.T) {
	c := load(t)
	kinds := map[string]bool{}
	clusters := map[registry.Proposition]map[string]bool{}
	for _, s := range c.Signs() {
		kinds[s.Evidence] = true
		if clusters[s.Proposition] == nil {
			clusters[s.Proposition] = map[string]bool{}
		}
		clusters[s.Proposition][s.Cluster] = true
		v, ok := s.Over(registry.States(s.Proposition)...)
		require.True(t, ok, s.ID)
		assert.NotEqual(t, slices.Min(v), slices.Max(v), "%s says nothing", s.ID)
		assert.Positive(t, slices.Min(v), "%s: a likelihood of 0 can never be outweighed", s.ID)
	}
	assert.GreaterOrEqual(t, len(c.Signs()), 25)
	for p, set := range clusters {
		assert.Greater(t, len(set), 2, "%s needs several kinds of evidence", p)
	}
}

func TestTreatmentsAreALadder(t *testing.T) {
	c := load(t)
	var ids []string
	for i, x := range c.Treatments() {
		ids = append(ids, x.ID)
		assert.Equal(t, i, x.Rung)
		assert.NotEmpty(t, x.Undo)
		assert.Equal(t, x.ID == "refinish" || x.ID == "re-machine", x.NeedsOwnApproval, x.ID)
		if x.ReplacesPart {
			require.NotNil(t, x.Promise(), x.ID)
			assert.Contains(t, x.After, registry.PropositionOrigin)
		}
	}
	assert.Equal(t, []string{"leave", "clean", "free-off", "adjust", "lubricate", "stabilise", "repair-original", "period-service", "donor",
		"new-old-stock", "period-accessory", "reproduction", "substitute", "refinish", "re-machine"}, ids)
}

func TestOpeningsPayForWhatTheyNeed(t *testing.T) {
	for _, o := range load(t).Openings() {
		sum, lead := registry.Money{}, 0.0
		for _, n := range o.Needs {
			var err error
			sum, err = sum.Add(n.Money)
			require.NoError(t, err)
			lead = max(lead, n.LeadDays)
		}
		assert.Zero(t, sum.Amount.Cmp(o.Money.Amount), "%s: %s against %s", o.ID, sum, o.Money)
		assert.Equal(t, lead, o.LeadDays, o.ID)
	}
}

func TestGateLadder(t *testing.T) {
	c := load(t)
	var ids []string
	for _, g := range c.Gates() {
		ids = append(ids, g.ID)
		assert.NotEmpty(t, g.LeftToOthers, g.ID)
		assert.Equal(t, g.ID == "private-ground" || g.ID == "road", g.SecondName, g.ID)
	}
	assert.Equal(t, []string{"arrived", "sealed-survey", "turns-by-hand", "spark-proved", "oil-proved", "first-run", "hot-run",
		"brakes-proved", "private-ground", "road", "static-only"}, ids)
	rules := c.Rules()
	assert.Len(t, rules.Gates, len(ids))
	assert.Equal(t, "road", rules.Gates[10].Instead)
	id, rule, ok := rules.Component("bottom-010")
	assert.True(t, ok && rule.IdentityBearing)
	assert.Equal(t, "engine.crankcase-drive", id)
}

// texts walks every text of a decoded file but for sources, which are quoted
// from elsewhere.
func texts(v any, see func(string)) {
	switch v := v.(type) {
	case string:
		see(v)
	case []any:
		for _, x := range v {
			texts(x, see)
		}
	case map[string]any:
		for k, x := range v {
			see(k)
			if k != "source" {
				texts(x, see)
			}
		}
	}
}

func TestTexts(t *testing.T) {
	lazy := regexp.MustCompile(`(?i)\b(as (above|below|front|rear|clutch)|ditto|see above|tbd|todo|lorem)\b|\?\?`)
	assurance := regexp.MustCompile(`(?i)\bsafe(ly|r|st|ty)?\b`)
	word := regexp.MustCompile(`[\p{L}]+`)
	files, err := filepath.Glob("data/*")
	require.NoError(t, err)
	files = append(files, "../docs/catalog-packs.md")
	for _, f := range files {
		raw, err := os.ReadFile(f)
		require.NoError(t, err)
		see := func(s string) {
			assert.NotEqual(t, "", s, "%s: an empty text", f)
			assert.Empty(t, lazy.FindString(s), "%s: %q", f, s)
			assert.Empty(t, assurance.FindString(strings.ReplaceAll(s, "safety_critical", "")), "%s: %q", f, s)
			for _, w := range word.FindAllString(strings.ToLower(s), -1) {
				assert.False(t, marque(w), "%s names a real marque: %q in %q", f, w, s)
			}
		}
		if !strings.HasSuffix(f, ".json") {
			for _, w := range word.FindAllString(strings.ToLower(string(raw)), -1) {
				assert.False(t, marque(w), "%s names a real marque: %q", f, w)
			}
			continue
		}
		var doc map[string]any
		require.NoError(t, json.Unmarshal(raw, &doc))
		for _, c := range anyList(doc["components"]) {
			if x := c.(map[string]any); x["fasteners"] == "" {
				delete(x, "fasteners") // it has none of its own
			}
		}
		texts(doc, see)
		for _, k := range []string{"id", "version"} {
			assert.NotEmpty(t, doc[k], "%s: %s", f, k)
		}
		assert.True(t, doc["source"] != nil || doc["assumption"] != nil, f)
	}
}

func anyList(v any) []any {
	list, _ := v.([]any)
	return list
}

// marque says whether a word is one of a list of makers' names, which are kept
// as digests so that no file of this tree names one.
func marque(w string) bool {
	sum := sha256.Sum256([]byte(w))
	return slices.Contains(marques, hex.EncodeToString(sum[:6]))
}

// Every number of the house rests on a source or on an assumption that is a
// sentence.
func TestEverythingSaysOnWhatItRests(t *testing.T) {
	c := load(t)
	see := func(id string, b catalog.Basis) {
		assert.Equal(t, "house "+catalog.HouseVersion, b.From, id)
		if b.Source == "" {
			assert.Greater(t, len(strings.Fields(b.Assumption)), 2, id)
			assert.True(t, strings.HasSuffix(b.Assumption, "."), "%s: %q", id, b.Assumption)
		}
	}
	for _, x := range c.Groups() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Components() {
		see(x.ID, x.Basis)
		for _, s := range append(slices.Clone(x.Hazards), x.FirstCheck) {
			assert.Regexp(t, `^\p{Lu}.*[.!"]$`, s, x.ID)
		}
	}
	for _, x := range c.Assemblies() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.PriorClasses() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Signs() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Treatments() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Cautions() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Standpoints() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Gates() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Openings() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Conditions() {
		see(x.Title, x.Basis)
	}
	for _, x := range c.PictureList() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Words() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.ValueAssumptions() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Causes() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Observations() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.FaultTests() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Complaints() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.MeasureAssumptions() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.PublishedRules() {
		see(x.ID, x.Basis)
		assert.NotEmpty(t, x.Source, x.ID)
		for _, c := range x.Criteria {
			assert.True(t, (c.From == nil) == (c.Help != ""), "%s, %s: either the record answers it, or the catalog says what would help", x.ID, c.ID)
		}
	}
	for _, x := range c.Threads() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.ThreadConfusions() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.FastenerGrades() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Lubrications() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.StampSchemes() {
		see(x.ID, x.Basis)
	}
	for _, x := range c.Misreadings() {
		see(x.Characters, x.Basis)
	}
	for _, x := range c.BenchAssumptions() {
		see(x.ID, x.Basis)
	}
	for _, p := range []registry.Proposition{registry.PropositionOrigin, registry.PropositionFinish, registry.PropositionSpecification} {
		s, ok := c.Survey(p)
		require.True(t, ok, p)
		see(string(p), s.Basis)
	}
}

// Ensure that the way round never leads back to a side that was left, that it
// ends with what only an opening shows, and that every joint which can be seen
// from outside is asked for somewhere.
func TestTheWayRound(t *testing.T) {
	c := load(t)
	list := c.ComponentsRound()
	require.Len(t, list, len(c.Components()))
	left := map[string]bool{}
	for i, x := range list {
		if i > 0 && list[i-1].Station != x.Station {
			left[list[i-1].Station] = true
		}
		assert.False(t, left[x.Station], "%s leads back to the station %q", x.ID, x.Station)
		assert.Equal(t, slices.Equal(x.Sides, []string{"inside"}), x.Station == catalog.StationInside || x.Station == "papers" && x.Sides[0] == "inside", x.ID)
		if side := x.Sides[0]; len(x.Sides) == 1 && (side == "left" || side == "right") {
			assert.Contains(t, []string{side, "rear"}, x.Station, "%s is seen from one side alone", x.ID)
		}
	}
	assert.Equal(t, "electrical.battery", list[slices.IndexFunc(list, func(x catalog.Component) bool { return x.Station == "left" })].ID)
	assert.ElementsMatch(t, []string{"head-joint", "exhaust-port", "rocker-box-joint"}, c.JointsAt("engine.head"))
	assert.ElementsMatch(t, []string{"exhaust.pipe", "engine.head"}, c.MeetAt("exhaust-port"))
	assert.Empty(t, c.MeetAt("clutch-nuts"), "it lies behind the chaincase")
	assert.Empty(t, c.JointsAt("engine.piston"))
}

func TestLookingShowsWhatTemptsToClean(t *testing.T) {
	c := load(t)
	ids := func(component string) (out []string) {
		for _, x := range c.CautionsForLooking(component) {
			out = append(out, x.ID)
		}
		return out
	}
	assert.Contains(t, ids("frame.number"), "num-1")
	assert.Contains(t, ids("electrical.battery"), "acid-1")
	assert.Contains(t, ids("deposits.dirt"), "bio-1")
	assert.Empty(t, ids("exhaust.pipe"), "hot-1 belongs to heating and to running")
	assert.Nil(t, ids("no.such"))
}
