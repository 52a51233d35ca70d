package catalog_test

import (
	"encoding/json"
	"os"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

func ids(list []catalog.Caution) []string {
	var out []string
	for _, c := range list {
		out = append(out, c.ID)
	}
	return out
}

// The worked example of the tank: its five states, their prior, and four of
// its five signs as the house states them.
func TestTankExample(t *testing.T) {
	c := load(t)
	states := []string{"original", "period-service", "new-old-stock", "donor", "reproduction"}
	p, ok := c.Prior("fuel-033", registry.PropositionOrigin)
	require.True(t, ok)
	p, ok = p.Over(states...)
	require.True(t, ok)
	assert.InDeltaSlice(t, []float64{.70, .06, .03, .15, .06}, p.P, 1e-12)
	assert.Equal(t, 0.02, p.Other)
	for id, want := range map[string]struct {
		cluster string
		r       float64
		l       []float64
	}{
		"mark-form-right":          {"mark", .95, []float64{.90, .90, .85, .90, .05}},
		"film-layers-continuous":   {"patina", .90, []float64{.60, .25, .10, .12, .02}},
		"fret-marks-fit":           {"patina", .90, []float64{.80, .50, .15, .25, .10}},
		"tide-line":                {"patina", .90, []float64{.70, .60, .20, .60, .05}},
		"dent-in-dated-photograph": {"photo", .95, []float64{.50, .05, .005, .01, .001}},
	} {
		s, ok := c.Sign(id)
		require.True(t, ok, id)
		l, ok := s.Over(states...)
		require.True(t, ok, id)
		assert.Equal(t, want.l, l, id)
		assert.Equal(t, want.cluster, s.Cluster, id)
		assert.Equal(t, want.r, s.Reliability, id)
	}
}

func TestPriorLookUps(t *testing.T) {
	c := load(t)
	_, ok := c.Prior("fuel.tnak", registry.PropositionOrigin)
	assert.False(t, ok)
	_, ok = c.Prior("papers.bills", registry.PropositionOrigin)
	assert.False(t, ok, "papers are evidence and have no prior")
	_, ok = c.Prior("finish.frame-enamel", registry.PropositionOrigin)
	assert.False(t, ok, "a surface has no origin")
	p, ok := c.Prior("engine", registry.PropositionAssembly)
	require.True(t, ok)
	assert.InDeltaSlice(t, []float64{.93, .07}, p.P, 1e-12)
	_, ok = p.Over("intact", "intact")
	assert.False(t, ok)
	_, ok = p.Over()
	assert.False(t, ok)
	_, ok = p.Over("lost")
	assert.False(t, ok)
}

func TestSurveyTable(t *testing.T) {
	c := load(t)
	s, ok := c.Survey(registry.PropositionFinish)
	require.True(t, ok)
	l, ok := s.Likelihood("worn")
	require.True(t, ok)
	assert.Equal(t, .70, l["worn"])
	assert.Equal(t, .18, l["untouched"], "P(worn written | untouched true), not the other way round")
	_, ok = s.Likelihood("undetermined")
	assert.False(t, ok)
	_, ok = c.Survey(registry.PropositionAssembly)
	assert.False(t, ok)
}

// When each caution must appear, common practice in workshops.
func TestCautionsAppearAtTheStep(t *testing.T) {
	c := load(t)
	for _, tt := range []struct {
		name    string
		step    catalog.Step
		want    []string
		without []string
	}{
		{"open a drum", catalog.Step{Act: "open", Components: []string{"brakes.drums"}}, []string{"asb-1"}, []string{"fuel-1", "acid-1"}},
		{"open a clutch by code", catalog.Step{Act: "open", Components: []string{"prim-069"}}, []string{"asb-1", "spring-1"}, nil},
		{"old lining", catalog.Step{Materials: []string{"brake-lining"}}, []string{"asb-1"}, nil},
		{"drain the tank", catalog.Step{Act: "drain", Components: []string{"fuel.tank"}}, []string{"fuel-1", "waste-1"}, []string{"fuel-2"}},
		{"mend the tank", catalog.Step{Treatment: "repair-original", Components: []string{"fuel.tank"}}, []string{"fuel-1", "lead-1"}, nil},
		{"fill the tank", catalog.Step{Act: "fill", Components: []string{"fuel.tank"}}, []string{"fuel-2"}, nil},
		{"intake with battery", catalog.Step{Act: "intake", Components: []string{"electrical.battery"}}, []string{"acid-1", "bio-1", "lift-1"}, nil},
		{"refinish a mudguard", catalog.Step{Treatment: "refinish", Components: []string{"tinware.front-mudguard"}}, []string{"lead-1"}, []string{"asb-1"}},
		{"heat small parts", catalog.Step{Act: "heat", Components: []string{"finish.dull-plating"}}, []string{"plate-1", "hot-1"}, nil},
		{"open a condenser", catalog.Step{Act: "open", Components: []string{"ignition.condenser"}}, []string{"tox-1"}, nil},
		{"open the speedometer", catalog.Step{Act: "open", Components: []string{"electrical.speedometer"}}, []string{"dial-1"}, nil},
		{"spark", catalog.Step{Act: "spark-test"}, []string{"ht-1"}, nil},
		{"fork springs", catalog.Step{Act: "remove", Components: []string{"fork.springs"}}, []string{"spring-1"}, nil},
		{"air line", catalog.Step{Act: "air-line", Components: []string{"engine.exhaust-valve"}}, []string{"press-1"}, nil},
		{"wheel out", catalog.Step{Act: "remove", Components: []string{"wheels.front.hub"}}, []string{"lift-1", "asb-1"}, nil},
		{"first run", catalog.Step{Gate: "first-run"}, []string{"run-1", "hot-1"}, []string{"ride-1"}},
		{"private ground", catalog.Step{Gate: "private-ground"}, []string{"ride-1", "brake-1", "tyre-1"}, []string{"run-1"}},
		{"road", catalog.Step{Gate: "road"}, []string{"ride-1", "brake-1", "tyre-1", "law-1"}, nil},
		{"publish the number", catalog.Step{Act: "publish", Components: []string{"frame.number"}}, []string{"num-1"}, nil},
		{"clean the number", catalog.Step{Treatment: "clean", Components: []string{"frame.number"}}, []string{"num-1"}, nil},
		{"register", catalog.Step{Act: "register"}, []string{"law-1"}, nil},
		{"throw linings away", catalog.Step{Act: "dispose", Materials: []string{"brake-lining"}}, []string{"waste-1", "asb-1"}, nil},
		{"adjust a lever", catalog.Step{Treatment: "adjust", Components: []string{"controls.clutch-lever"}}, nil, []string{"asb-1", "fuel-1", "brake-1"}},
		{"unknown names", catalog.Step{Act: "dance", Components: []string{"wings"}, Gate: "moon"}, nil, []string{"asb-1"}},
	} {
		got := c.CautionsFor(tt.step)
		assert.Subset(t, ids(got), tt.want, tt.name)
		for _, id := range tt.without {
			assert.NotContains(t, ids(got), id, tt.name)
		}
		rank := map[string]int{catalog.LevelStop: 0, catalog.LevelAcknowledge: 1, catalog.LevelNote: 2}
		assert.True(t, slices.IsSortedFunc(got, func(a, b catalog.Caution) int { return rank[a.Level] - rank[b.Level] }), tt.name)
	}
	assert.Empty(t, c.CautionsFor(catalog.Step{}), "nothing done, nothing shown")
	assert.Contains(t, ids(c.CautionsForOpening("front-wheel-out")), "asb-1")
	assert.Contains(t, ids(c.CautionsForOpening("fork-tops")), "waste-1")
	assert.Empty(t, c.CautionsForOpening("nothing"))
}

// Every caution can be reached, and every opening of something dusty warns.
func TestEveryCautionAppearsSomewhere(t *testing.T) {
	c := load(t)
	for _, x := range c.Cautions() {
		for _, trigger := range x.Triggers {
			step := catalog.Step{Components: trigger.Components, Materials: trigger.Materials}
			first := func(list []string) string {
				if len(list) == 0 {
					return ""
				}
				return list[0]
			}
			step.Act, step.Treatment, step.Gate = first(trigger.Acts), first(trigger.Treatments), first(trigger.Gates)
			assert.Contains(t, ids(c.CautionsFor(step)), x.ID)
		}
	}
}

func TestWord(t *testing.T) {
	c := load(t)
	w, ok := c.Word("witness")
	assert.True(t, ok)
	assert.NotEmpty(t, w.Explanation)
	w, ok = c.Word("new-old-stock")
	assert.True(t, ok)
	assert.NotEmpty(t, w.Explanation)
	_, ok = c.Word("flux")
	assert.False(t, ok)
}

func TestStandpointDefault(t *testing.T) {
	c := load(t)
	s, ok := c.Standpoint("")
	require.True(t, ok)
	assert.Equal(t, "preservation", s.ID)
	assert.Equal(t, 0.60, s.Coverage)
	assert.Equal(t, map[string]float64{"original": 1, "period-service": .8, "new-old-stock": .7, "donor": .55, "period-accessory": .45,
		"reproduction": .2, "substitute": .05, "missing": 0, "other": 0}, s.Credit(registry.PropositionOrigin))
}

func TestOpeningRecord(t *testing.T) {
	c := load(t)
	o, ok := c.Opening("timing-cover")
	require.True(t, ok)
	r := o.Record()
	assert.Equal(t, "timing-cover", r.ID)
	assert.Equal(t, "9 GBP", r.Money.String())
	// Worked example: 1.6 hours, 1.2 points, ten days for the gasket.
	assert.Equal(t, []float64{1.6, 1.2, 10}, []float64{r.Hours, r.WitnessPoints, r.LeadDays})
}

// What is handed out is the caller's own: scribbling on it changes nothing.
func TestCopies(t *testing.T) {
	c := load(t)
	take := func() []any {
		rules := c.Rules()
		s, _ := c.Survey(registry.PropositionFinish)
		return []any{c.Groups(), c.Components(), c.ComponentsInWalk(), c.Assemblies(), c.PriorClasses(), c.Signs(), s, c.Treatments(), c.Cautions(),
			c.Conditions(), c.Standpoints(), c.Gates(), c.Openings(), c.PictureList(), c.Words(), c.ValueAssumptions(), c.Identity(), rules,
			c.Complaints(), c.Causes(), c.Observations(), c.FaultTests(), c.MeasureAssumptions(), c.PublishedRules(), c.Threads(), c.ThreadConfusions(),
			c.FastenerGrades(), c.Lubrications(), c.StampSchemes(), c.Misreadings(), c.NumberSeriesList(), c.BenchAssumptions()}
	}
	before, err := json.Marshal(take())
	require.NoError(t, err)
	for _, v := range take() {
		scribble(reflect.ValueOf(v))
	}
	after, err := json.Marshal(take())
	require.NoError(t, err)
	assert.Equal(t, string(before), string(after))
}

// scribble overwrites everything that can be reached through slices, maps and
// pointers.
func scribble(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			scribble(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				scribble(v.Field(i))
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			scribble(v.Index(i))
			if v.Index(i).CanSet() {
				v.Index(i).SetZero()
			}
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			scribble(v.MapIndex(k))
			v.SetMapIndex(k, reflect.Zero(v.Type().Elem()))
		}
	}
}

// The house's version must move when its data do.
func TestHouseVersion(t *testing.T) {
	const path = "testdata/house-digests.json"
	digests := map[string]string{}
	raw, err := os.ReadFile(path)
	if err == nil {
		require.NoError(t, json.Unmarshal(raw, &digests))
	}
	got := load(t).Identity()
	if os.Getenv("UPDATE_GOLDEN") != "" {
		digests[got.House] = got.Digest
		raw, err := json.MarshalIndent(digests, "", "  ")
		require.NoError(t, err)
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, append(raw, '\n'), 0o644))
	}
	assert.Equal(t, digests[got.House], got.Digest, "the data changed: raise HouseVersion, then UPDATE_GOLDEN=1 go test ./catalog/")
}

// Load is a matter of milliseconds (see BenchmarkLoad). Time on a busy machine
// proves nothing, so that its allocations stand for it.
func TestLoadIsLean(t *testing.T) {
	allocations := testing.AllocsPerRun(3, func() { load(t) })
	assert.Less(t, allocations, 30000.0)
}

func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		if _, err := catalog.Load(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkComponents(b *testing.B) {
	c := load(b)
	for b.Loop() {
		c.Components()
	}
}
