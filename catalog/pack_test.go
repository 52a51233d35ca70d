package catalog_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

// pack makes a pack of name, text pairs; a manifest is added unless one is
// given.
func pack(files ...string) fs.FS {
	m := fstest.MapFS{"manifest.json": {Data: []byte(`{"id":"test-pack","version":"1.0.0","title":"a test","author":"nobody"}`)}}
	for i := 0; i < len(files); i += 2 {
		m[files[i]] = &fstest.MapFile{Data: []byte(files[i+1])}
	}
	return m
}

func rows(section, list string) string {
	return fmt.Sprintf(`{"assumption":"For a test.",%q:[%s]}`, section, list)
}

// refused loads packs that must be refused and gives the fields.
func refused(t *testing.T, packs ...fs.FS) []registry.Field {
	t.Helper()
	c, err := catalog.Load(packs...)
	require.Error(t, err)
	assert.Nil(t, c)
	var e *registry.Error
	require.True(t, errors.As(err, &e))
	assert.Equal(t, registry.CodeInvalid, e.Code)
	assert.NotEmpty(t, e.Fix)
	require.NotEmpty(t, e.Fields)
	return e.Fields
}

// documented reads the pack out of the documentation: a heading with a file
// name, then its text.
func documented(t *testing.T) fstest.MapFS {
	t.Helper()
	raw, err := os.ReadFile("../docs/catalog-packs.md")
	require.NoError(t, err)
	m := fstest.MapFS{}
	for _, part := range regexp.MustCompile("(?s)### `([a-z.]+)`\n\n```json\n(.*?)```").FindAllSubmatch(raw, -1) {
		m[string(part[1])] = &fstest.MapFile{Data: part[2]}
	}
	require.Len(t, m, 5)
	return m
}

func TestDocumentedPack(t *testing.T) {
	c, house := load(t, documented(t)), load(t)

	id := c.Identity()
	assert.Equal(t, []catalog.PackIdentity{{ID: "aldmouth-singles", Version: "0.2.0", Title: "Skerrow singles of Aldmouth, 1949 to 1962", Author: "The Skerrow Register (invented)"}}, id.Packs)
	assert.NotEqual(t, house.Identity().Digest, id.Digest)
	assert.Regexp(t, `^house \d+\.\d+\.\d+, aldmouth-singles 0\.2\.0, sha256:[0-9a-f]{64}$`, id.String())

	magneto, _ := c.Component("ign-046")
	assert.True(t, magneto.IdentityBearing)
	assert.Equal(t, "aldmouth-singles 0.2.0", magneto.From)
	assert.Contains(t, magneto.Source, "Dispatch books")
	assert.Empty(t, magneto.Assumption)
	assert.Equal(t, 16.0, magneto.Points, "what the pack does not say stays")

	total := 0.0
	for _, g := range c.Groups() {
		total += g.Points
	}
	assert.Equal(t, 1004.0, total)
	p, ok := c.Prior("fuel.tank", registry.PropositionOrigin)
	require.True(t, ok)
	assert.Equal(t, "skerrow-tank", p.Class)
	assert.InDelta(t, 0.55, p.P[0], 1e-12)

	mark, _ := c.Sign("mark-form-right")
	was, _ := house.Sign("mark-form-right")
	assert.Equal(t, 0.10, mark.Likelihood["reproduction"])
	assert.Equal(t, was.Likelihood["donor"], mark.Likelihood["donor"])
	_, ok = c.Sign("aldmouth-star")
	assert.True(t, ok)

	spring, _ := c.Caution("spring-1")
	plain, _ := house.Caution("spring-1")
	assert.Equal(t, plain.Text, spring.Text)
	assert.Equal(t, plain.Assumption, spring.Assumption)
	assert.Len(t, spring.Triggers, len(plain.Triggers)+1)
	assert.Len(t, spring.Also, 1)
	step := catalog.Step{Act: "remove", Components: []string{"gearbox.kick-start-lever"}}
	assert.Contains(t, ids(c.CautionsFor(step)), "spring-1")
	assert.NotContains(t, ids(house.CautionsFor(step)), "spring-1")

	condenser, _ := c.Cause("condenser-failed")
	before, _ := house.Cause("condenser-failed")
	assert.Equal(t, .43, condenser.Prior)
	assert.Equal(t, before.Cures, condenser.Cures)
	model, _ := c.SymptomModel([]string{"spark-fades-hot"})
	assert.True(t, slices.ContainsFunc(model.Tests, func(x catalog.FaultTest) bool { return x.ID == "find-tar-at-condenser" }))

	gate, _ := c.Gate("turns-by-hand")
	assert.Equal(t, 2, gate.LeastChecks)
	assert.Len(t, gate.Checks, 3)
	for _, g := range c.Rules().Gates {
		if g.ID == "turns-by-hand" {
			assert.Equal(t, 2, g.Checks)
		}
	}
}

// The message that the documentation shows is the one that is given.
func TestDocumentedRefusal(t *testing.T) {
	m := documented(t)
	m["parts.json"].Data = []byte(strings.Replace(string(m["parts.json"].Data), `"id": "fuel.tank",`, `"id": "fuel.tank", "consumable": "wears",`, 1))
	raw, err := os.ReadFile("../docs/catalog-packs.md")
	require.NoError(t, err)
	assert.Contains(t, string(raw), refused(t, m)[0].String())
}

func TestRefusals(t *testing.T) {
	for _, tt := range []struct {
		name, file, pointer, found, allowed string
		pack                                fs.FS
	}{
		{name: "no manifest", pack: fstest.MapFS{"x.json": {Data: []byte(`{"assumption":"a b c."}`)}}, file: "pack 1/manifest.json", found: "no such file"},
		{name: "unknown key of a file", pack: pack("a.json", `{"assumption":"For a test.","componants":[]}`), file: "test-pack/a.json", pointer: "/componants", found: "componants", allowed: "components"},
		{name: "unknown key of a row", pack: pack("a.json", rows("components", `{"id":"fuel.tank","colour":"red"}`)), file: "test-pack/a.json", pointer: "/components/0/colour", found: "colour", allowed: "consumable"},
		{name: "no basis", pack: pack("a.json", `{"words":[]}`), file: "test-pack/a.json", allowed: "source, assumption"},
		{name: "not sound", pack: pack("a.json", `{"assumption":`), file: "test-pack/a.json"},
		{name: "key twice", pack: pack("a.json", `{"assumption":"One.","assumption":"Two."}`), file: "test-pack/a.json"},
		{name: "more after the end", pack: pack("a.json", `{"assumption":"One."} {}`), file: "test-pack/a.json"},
		{name: "from is ours", pack: pack("a.json", rows("words", `{"id":"seal","from":"house 1.0.0"}`)), file: "test-pack/a.json", pointer: "/words/0/from"},
		{name: "wrong kind", pack: pack("a.json", rows("components", `{"id":"fuel.tank","points":"many"}`)), file: "test-pack/a.json", pointer: "/components/0/points", found: `"many"`, allowed: "number"},
		{name: "negative", pack: pack("a.json", rows("components", `{"id":"fuel.tank","points":-1}`)), file: "test-pack/a.json", pointer: "/components/0/points", found: "-1", allowed: "at least 0"},
		{name: "bad id", pack: pack("a.json", rows("words", `{"id":"Ölwanne"}`)), file: "test-pack/a.json", pointer: "/words/0/id", allowed: "beginning with a letter"},
		{name: "missing key", pack: pack("a.json", rows("words", `{"word":"x"}`)), file: "test-pack/a.json", pointer: "/words/0/id"},
		{name: "new row not whole", pack: pack("a.json", rows("words", `{"id":"newword","word":"x"}`)), file: "test-pack/a.json", pointer: "/words/0/explanation"},
		{name: "row twice", pack: pack("a.json", rows("words", `{"id":"seal","word":"x"}`), "b.json", rows("words", `{"id":"seal","word":"y"}`)), file: "test-pack/b.json", pointer: "/words/0/id", found: "seal"},
		{name: "points without weights", pack: pack("a.json", rows("components", `{"id":"fuel.tank","points":60}`)), file: "test-pack/a.json", pointer: "/components/0/indices/substance", found: "48", allowed: "60"},
		{name: "consumable scores", pack: pack("a.json", rows("components", `{"id":"wheels.front.tyre","points":3,"indices":{"substance":3}}`)), file: "test-pack/a.json", pointer: "/components/0/points"},
		{name: "leads nowhere", pack: pack("a.json", rows("components", `{"id":"fuel.tank","prior":"tanks"}`)), file: "test-pack/a.json", pointer: "/components/0/prior", found: "tanks"},
		{name: "sum", pack: pack("a.json", rows("priors", `{"id":"tank","shares":{"origin":{"original":0.9,"donor":0.2}}}`)), file: "test-pack/a.json", pointer: "/priors/0/shares/origin", found: "a sum of 1.1"},
		{name: "state of another question", pack: pack("a.json", rows("signs", `{"id":"tide-line","likelihood":{"worn":0.2}}`)), file: "test-pack/a.json", pointer: "/signs/0/likelihood/worn"},
		{name: "twentieths", pack: pack("a.json", rows("standpoints", `{"id":"preservation","credits":{"origin":{"original":1,"period-service":0.81,"new-old-stock":0.7,"donor":0.55,"period-accessory":0.45,"reproduction":0.2,"substitute":0.05,"missing":0,"other":0}}}`)), file: "test-pack/a.json", pointer: "/standpoints/0/credits/origin/period-service", found: "0.81"},
		{name: "ring of openings", pack: pack("a.json", rows("openings", `{"id":"tank-off","requires":["head-off"]}`)), file: "test-pack/a.json", pointer: "/openings/0/requires"},
		{name: "opens onto nothing", pack: pack("a.json", rows("openings", `{"id":"tank-off","behind":["fuel.tnak"]}`)), file: "test-pack/a.json", pointer: "/openings/0/behind/0"},
		{name: "rewrites a code", pack: pack("a.json", rows("components", `{"id":"fuel.tank","code":"tank-1"}`)), file: "test-pack/a.json", pointer: "/components/0/code"},
		{name: "moves a component", pack: pack("a.json", rows("components", `{"id":"fuel.tank","group":"tinware"}`)), file: "test-pack/a.json", pointer: "/components/0/group"},
		{name: "weakens a caution", pack: pack("a.json", rows("cautions", `{"id":"asb-1","level":"note"}`)), file: "test-pack/a.json", pointer: "/cautions/0/level", found: "note", allowed: "stop"},
		{name: "rewrites a caution", pack: pack("a.json", rows("cautions", `{"id":"asb-1","text":"It is all right."}`)), file: "test-pack/a.json", pointer: "/cautions/0/text"},
		{name: "promises", pack: pack("a.json", rows("cautions", `{"id":"asb-1","also":["Ours are safe."]}`)), file: "test-pack/a.json", pointer: "/cautions/0/also/0", found: "safe"},
		{name: "weakens a gate", pack: pack("a.json", rows("gates", `{"id":"road","second_name":false}`)), file: "test-pack/a.json", pointer: "/gates/0/second_name"},
		{name: "fewer checks", pack: pack("a.json", rows("gates", `{"id":"road","least_checks":1}`)), file: "test-pack/a.json", pointer: "/gates/0/least_checks"},
		{name: "rewrites a check", pack: pack("a.json", rows("gates", `{"id":"road","checks":[{"id":"papers","what":"No papers are needed."}]}`)), file: "test-pack/a.json", pointer: "/gates/0/checks/0"},
		{name: "adds a gate", pack: pack("a.json", rows("gates", `{"id":"show","title":"t","sentence":"s","left_to_others":"x"}`)), file: "test-pack/a.json", pointer: "/gates/0"},
		{name: "drops approval", pack: pack("a.json", rows("treatments", `{"id":"refinish","needs_own_approval":false}`)), file: "test-pack/a.json", pointer: "/treatments/0/needs_own_approval"},
		{name: "more reversible", pack: pack("a.json", rows("treatments", `{"id":"repair-original","reversible":"yes"}`)), file: "test-pack/a.json", pointer: "/treatments/0/reversible"},
		{name: "moves a rung", pack: pack("a.json", rows("treatments", `{"id":"re-machine","rung":1}`)), file: "test-pack/a.json", pointer: "/treatments/0/rung"},
		{name: "shows papers", pack: pack("a.json", rows("photos", `{"id":"papers","withhold":false}`)), file: "test-pack/a.json", pointer: "/photos/0/withhold"},
		{name: "unmarks", pack: pack("a.json", rows("components", `{"id":"fuel.tank","safety_critical":false}`)), file: "test-pack/a.json", pointer: "/components/0/safety_critical"},
		{name: "a caution for every step", pack: pack("a.json", rows("cautions", `{"id":"all-1","title":"t","level":"note","triggers":[{"acts":[]}],"text":"x","jurisdiction":"y","date":"2026"}`)), file: "test-pack/a.json", pointer: "/cautions/0/triggers/0"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			fields := refused(t, tt.pack)
			var hit bool
			for _, f := range fields {
				assert.NotEmpty(t, f.Message)
				hit = hit || f.File == tt.file && f.Pointer == tt.pointer && strings.Contains(f.Found, tt.found) && strings.Contains(f.Allowed, tt.allowed)
			}
			assert.True(t, hit, "%+v", fields)
		})
	}
}

// All faults of all files and packs come at once.
func TestAllFaultsAtOnce(t *testing.T) {
	second := fstest.MapFS{"manifest.json": {Data: []byte(`{"id":"Second","version":"1"}`)}, "z.json": {Data: []byte(`[]`)}}
	fields := refused(t, pack("a.json", `{"assumption":"For a test.","x":1,"y":2}`, "b.json", `nonsense`), second)
	var where []string
	for _, f := range fields {
		where = append(where, f.File+" "+f.Pointer)
	}
	assert.Equal(t, []string{"test-pack/a.json /x", "test-pack/a.json /y", "test-pack/b.json ",
		"pack 2/manifest.json /author", "pack 2/manifest.json /id", "pack 2/manifest.json /title", "pack 2/manifest.json /version", "pack 2/z.json "}, where)
}

func TestPackTwice(t *testing.T) {
	fields := refused(t, pack(), pack())
	assert.Equal(t, "test-pack/manifest.json", fields[0].File)
}

// Lists that warn are joined: leaving things out takes nothing away.
func TestWarningsAreJoined(t *testing.T) {
	c := load(t, pack("a.json", rows("components", `{"id":"brakes.front.linings","cautions":["lift-1"]}`),
		"b.json", rows("cautions", `{"id":"ht-1","level":"stop","triggers":[{"acts":["run"]}]}`),
		"c.json", rows("openings", `{"id":"front-wheel-out","cautions":[],"behind":[]}`),
		"d.json", rows("gates", `{"id":"road","sound":[],"cautions":[],"checks":[]}`),
		"e.json", rows("treatments", `{"id":"refinish","acts":[]}`)))
	house := load(t)
	linings, _ := c.Component("brakes.front.linings")
	assert.Subset(t, linings.Cautions, []string{"asb-1", "brake-1", "lift-1"})
	ht, _ := c.Caution("ht-1")
	assert.Equal(t, catalog.LevelStop, ht.Level)
	assert.Contains(t, ids(c.CautionsFor(catalog.Step{Act: "spark-test"})), "ht-1")
	opening, _ := c.Opening("front-wheel-out")
	assert.NotEmpty(t, opening.Cautions)
	assert.NotEmpty(t, opening.Behind)
	road, _ := c.Gate("road")
	was, _ := house.Gate("road")
	assert.Equal(t, was.Checks, road.Checks)
	assert.Equal(t, was.Sound, road.Sound)
	refinish, _ := c.Treatment("refinish")
	assert.Contains(t, refinish.Acts, "abrade")
}

// A second pack may change what the first added, under the same rules.
func TestPacksInOrder(t *testing.T) {
	first := pack("a.json", rows("cautions", `{"id":"club-1","title":"t","level":"stop","triggers":[{"acts":["run"]}],"text":"x","jurisdiction":"y","date":"2026"}`))
	second := fstest.MapFS{"manifest.json": {Data: []byte(`{"id":"second","version":"2.0.0","title":"t","author":"a"}`)},
		"a.json": {Data: []byte(rows("words", `{"id":"seal","word":"closing mark"}`))}}
	c := load(t, first, second)
	word, _ := c.Word("seal")
	assert.Equal(t, "closing mark", word.Word)
	assert.Equal(t, "second 2.0.0", word.From)
	second["a.json"].Data = []byte(rows("cautions", `{"id":"club-1","level":"note"}`))
	refused(t, first, second)
}
