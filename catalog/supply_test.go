package catalog_test

import (
	"encoding/json"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/scoring"
)

// calculate runs a method on an input and the house's tables.
func calculate[Out any](t *testing.T, c *catalog.Catalog, method, input string) (out Out) {
	t.Helper()
	full, err := c.Supply(method, []byte(input))
	require.NoError(t, err)
	printed, err := scoring.Run(method, full)
	require.NoError(t, err, input)
	require.NoError(t, json.Unmarshal(printed, &out))
	return out
}

// named lists every name of every candidate.
func named(r scoring.ThreadResult) (names []string) {
	for _, c := range r.Candidates {
		names = append(names, c.String())
		for _, also := range c.Also {
			names = append(names, also.String())
		}
	}
	return names
}

// What two readings must bring up, by the tables of BS 84, BS 93, BS 811, ASME
// B1.1, ISO 228 and ISO 261.
func TestWholeTableOfThreads(t *testing.T) {
	c := load(t)
	for _, tt := range []struct {
		od, pitch string
		want      []string
		only      bool
	}{
		{"6.30", `"tpi":26`, []string{"BSF 1/4", "BSC 1/4-26"}, true},
		{"6.30", `"tpi":20`, []string{"UNC 1/4", "BSW 1/4"}, true},
		{"7.85", `"tpi":18`, []string{"UNC 5/16", "BSW 5/16"}, true},
		{"12.60", `"tpi":12`, []string{"BSW 1/2"}, true},
		{"12.60", `"tpi":13`, []string{"UNC 1/2"}, true},
		{"4.77", `"tpi":32`, []string{"UNF no. 10", "BSF 3/16", "BSC 3/16-32", "metric coarse M5"}, false},
		{"4.65", `"pitch_mm":0.81`, []string{"BA 2BA"}, false},
		{"5.92", `"pitch_mm":1.0`, []string{"metric coarse M6", "BA 0BA"}, true},
		{"9.45", `"tpi":24`, []string{"UNF 3/8", "brake pipe nut 3/8-24 UNF"}, true},
		{"9.45", `"tpi":26`, []string{"BSC 3/8-26"}, true},
		{"9.45", `"tpi":20`, []string{"BSF 3/8"}, true},
		{"11.05", `"tpi":20`, []string{"UNF 7/16", "BSC 7/16-20", "brake pipe nut 7/16-20 UNF"}, true},
		{"9.90", `"pitch_mm":1.0`, []string{"metric fine M10x1.0", "spark plug M10x1.0", "brake pipe nut M10x1.0"}, true},
		{"13.95", `"pitch_mm":1.25`, []string{"metric fine M14x1.25", "spark plug M14x1.25"}, true},
		{"13.05", `"tpi":19`, []string{"BSP G1/4"}, true},
	} {
		r := calculate[scoring.ThreadResult](t, c, scoring.MethodThread, `{"od_mm":`+tt.od+`,`+tt.pitch+`}`)
		names := named(r)
		assert.Equal(t, tt.want[0], names[0], tt.od)
		if tt.only {
			assert.ElementsMatch(t, tt.want, names, tt.od)
		} else {
			assert.Subset(t, names, tt.want, tt.od)
		}
	}
	// A confusion is named with whichever side was measured.
	for _, reading := range []string{`{"od_mm":4.65,"pitch_mm":0.81,"angle_deg":47.5}`, `{"od_mm":4.77,"tpi":32,"angle_deg":60}`} {
		r := calculate[scoring.ThreadResult](t, c, scoring.MethodThread, reading)
		require.NotEmpty(t, r.Confusions)
		assert.Contains(t, r.Confusions[0].Text, "strips")
	}
}

// Every thread, measured as it wears, is found first or beside others of its
// shape; and measured at its full size it is still among the candidates.
func TestEveryThreadIsFound(t *testing.T) {
	c := load(t)
	require.Len(t, c.Threads(), 297)
	full, err := c.Supply(scoring.MethodThread, []byte(`{}`))
	require.NoError(t, err)
	var in scoring.ThreadInput
	require.NoError(t, json.Unmarshal(full, &in))
	for i, x := range in.Table {
		in.Pitch, in.TPI, in.Angle = x.Pitch, x.TPI, &in.Table[i].Angle
		for _, under := range []float64{in.Readings.Under, 0} {
			od := x.Major - under
			in.OD = &od
			r, err := scoring.IdentifyThread(in)
			require.NoError(t, err)
			require.True(t, r.Fits, x.ID)
			require.Contains(t, named(r), x.Series+" "+x.Designation)
			if under > 0 {
				require.Equal(t, []float64{x.Major, x.Angle}, []float64{r.Candidates[0].Major, r.Candidates[0].Angle}, x.ID)
				require.InDelta(t, 0, r.Fit, 1e-9)
			}
		}
	}
}

// The threads against tables that others published: diameter and pitch of BA by
// the formula of BS 93, core diameters of cycle threads in inches.
func TestThreadsAgreeWithPublishedTables(t *testing.T) {
	core := map[string]float64{"bsc-1-4-26": .209, "bsc-5-16-26": .272, "bsc-3-8-26": .334, "bsc-7-16-26": .397, "bsc-7-16-20": .384, "bsc-1-2-26": .459,
		"bsc-1-2-20": .447, "bsc-9-16-26": .522, "bsc-9-16-20": .509, "bsc-5-8-20": .572, "bsc-11-16-20": .634, "bsc-3-4-20": .697}
	ba := []float64{1.00, .90, .81, .73, .66, .59, .53, .48, .43, .39, .35, .31, .28}
	series := map[string]int{}
	for _, x := range load(t).Threads() {
		series[x.Series]++
		if want, ok := core[x.ID]; ok {
			assert.InDelta(t, want, x.Major/25.4-2*x.Depth/x.TPI, 0.0005, x.ID)
			delete(core, x.ID)
		}
		if n, ok := strings.CutPrefix(x.ID, "ba-"); ok {
			i, err := strconv.Atoi(n)
			require.NoError(t, err)
			assert.Equal(t, ba[i], x.Pitch, x.ID)
		}
	}
	assert.Empty(t, core)
	assert.Equal(t, map[string]int{"metric coarse": 36, "metric fine": 98, "UNC": 25, "UNF": 24, "UNEF": 24, "BSW": 18, "BSF": 18, "BSP": 8, "BSC": 20, "BA": 13,
		"spark plug": 6, "brake pipe nut": 7}, series)
}

func TestSupplyOfTheOthers(t *testing.T) {
	c := load(t)
	stamps := calculate[scoring.StampResult](t, c, scoring.MethodStamp, `{"build":"1957-06","stamps":[{"id":"dynamo","code":"3/57","scheme":"month-year"},{"id":"horn","code":"8/56","scheme":"month-year","worn":true}]}`)
	assert.InDelta(t, 27.896, stamps.Stamps[0].Ratio, 0.001)
	assert.Greater(t, len(stamps.Stamps[1].Readings), 1)

	torque := calculate[scoring.TorqueResult](t, c, scoring.MethodTorque, `{"diameter_mm":20,"pitch_mm":2.5,"form":"metric","grade":"8.8","lubrication":"dry"}`)
	assert.InDelta(t, 600, *torque.Proof/torque.Area, 1e-9, "above 16 mm")
	torque = calculate[scoring.TorqueResult](t, c, scoring.MethodTorque, `{"diameter_mm":16,"pitch_mm":2,"form":"metric","grade":"8.8","lubrication":"dry"}`)
	assert.InDelta(t, 580, *torque.Proof/torque.Area, 1e-9)
}

// A pack knows a maker's numbers and letters; the house knows none.
func TestNumbersComeFromPacks(t *testing.T) {
	house := load(t)
	assert.Empty(t, house.NumberSeriesList())
	raw, err := os.ReadFile("../docs/catalog-packs.md")
	require.NoError(t, err)
	example := regexp.MustCompile("(?s)### Numbers and stamps\n.*?```json\n(.*?)```").FindSubmatch(raw)
	require.NotNil(t, example)
	c := load(t, pack("numbers.json", string(example[1])))

	dated := calculate[scoring.SerialResult](t, c, scoring.MethodSerial, `{"series":"skerrow-frames","serial":6138}`)
	assert.Equal(t, []string{"1957-05-28", "1957-05-02", "1957-06-21"}, []string{dated.Date, dated.From, dated.To})

	input := `{"make":"Skerrow","type":"Roadster","numbers":[{"where":"frame","read":"SK[68]138"}]}`
	known := calculate[scoring.IdentityResult](t, c, scoring.MethodIdentity, input)
	assert.Equal(t, []string{"SK6138"}, known.Numbers[0].Within)
	assert.Equal(t, "unknown", calculate[scoring.IdentityResult](t, house, scoring.MethodIdentity, input).Numbers[0].Rungs[1].State)

	others := calculate[scoring.IdentityResult](t, c, scoring.MethodIdentity, strings.Replace(input, "Skerrow", "Thirlbeck", 1))
	assert.Equal(t, "unknown", others.Numbers[0].Rungs[1].State, "one maker's forms say nothing of another's")

	letters := calculate[scoring.StampResult](t, c, scoring.MethodStamp, `{"build":"1957-06","stamps":[{"id":"rim","code":"H","scheme":"letter-year"}]}`)
	assert.Equal(t, "1957-01 to 1957-12", letters.Stamps[0].Months)

	full, err := house.Supply(scoring.MethodSerial, []byte(`{"series":"skerrow-frames","serial":6138}`))
	require.NoError(t, err)
	_, err = scoring.Run(scoring.MethodSerial, full)
	assert.Error(t, err, "without anchors nothing is dated")
}

// What the caller gives stands; what is no object, or stands twice, is left for
// the method to refuse; and what comes back needs no catalog.
func TestSupplyLeavesWhatIsGiven(t *testing.T) {
	c := load(t)
	for _, input := range []string{``, `[]`, `null`, `{"od_mm":`, `7`} {
		got, err := c.Supply("thread/1", []byte(input))
		require.NoError(t, err)
		assert.Equal(t, input, string(got))
	}
	got, err := c.Supply("origin/1", []byte(`{"states":[]}`))
	require.NoError(t, err)
	assert.Equal(t, `{"states":[]}`, string(got))
	got, err = c.Supply("torque/1", []byte(`{"share":0.5,"share":0.6}`+"\n"))
	require.NoError(t, err)
	_, err = scoring.Run("torque/1", got)
	assert.ErrorContains(t, err, "/share")
	got, err = c.Supply("torque/1", []byte(`{}`))
	require.NoError(t, err)
	assert.True(t, json.Valid(got))
	got, err = c.Supply("thread/1", []byte(`{"table":[]}`))
	require.NoError(t, err)
	assert.NotContains(t, string(got), "confusions", "they go by the ids of the house's table")
	again, err := c.Supply("thread/1", got)
	require.NoError(t, err)
	assert.Equal(t, string(got), string(again))
}

// A pack cannot let a fastener be pulled harder, nor take a warning's words.
func TestPackCannotWeakenTheBench(t *testing.T) {
	for section, tt := range map[string]struct{ row, pointer string }{
		"fastener_grades":   {`{"id":"8.8","proof":[{"up_to_mm":16,"proof_mpa":640}]}`, "/fastener_grades/0/proof/0/proof_mpa"},
		"lubrications":      {`{"id":"dry","k_low":0.22}`, "/lubrications/0/k_low"},
		"bench":             {`{"id":"torque-share","value":0.8}`, "/bench/0/value"},
		"thread_confusions": {`{"id":"2ba-no10","text":"They go together."}`, "/thread_confusions/0/text"},
	} {
		fields := refused(t, pack("a.json", rows(section, tt.row)))
		assert.Equal(t, tt.pointer, fields[0].Pointer)
	}
	for section, row := range map[string]string{
		"threads":       `{"id":"x","series":"house","designation":"x","major_mm":5,"angle_deg":60,"depth":0.6}`,
		"bench":         `{"id":"luck","title":"luck","value":1,"unit":"none"}`,
		"misreadings":   `{"characters":"33","p":0.1}`,
		"stamp_schemes": `{"id":"x","title":"x","fields":["month"],"century":1900}`,
		"number_series": `{"id":"x","title":"x","make":"Skerrow","where":"frame","form":"#","anchors":[{"serial":1,"date":"1957-02-31","kind":"build"}]}`,
	} {
		require.NotEmpty(t, refused(t, pack("a.json", rows(section, row))), section)
	}
	c := load(t, pack("a.json", rows("bench", `{"id":"thread-under","value":0.05}`)))
	full, err := c.Supply("thread/1", []byte(`{}`))
	require.NoError(t, err)
	assert.Contains(t, string(full), `"under_mm":0.05`)
}

// What measurements assume stands in the input as the catalog has it, unless the
// caller says otherwise.
func TestMeasurementsAreSupplied(t *testing.T) {
	c := load(t)
	film := calculate[scoring.FilmResult](t, c, "film/1", `{"unit":"µm","reference":{"id":"sheltered","instrument":"g","readings":[78,84,91,80,88,83]},"areas":[{"id":"rear","instrument":"g","readings":[142,155,149,138,160,151]}]}`)
	assert.InDelta(t, 17.7, film.Areas[0].Tempered, 0.05) // docs/scoring.md, film/1
	assert.Equal(t, 11, film.ReadingsNeeded)
	full, err := c.Supply("criteria/1", []byte(`{"supports":0.9}`))
	require.NoError(t, err)
	assert.JSONEq(t, `{"supports":0.9,"against":0.2}`, string(full))
	full, err = c.Supply("card/1", []byte(`{}`))
	require.NoError(t, err)
	assert.JSONEq(t, `{"assumed":{"least_patches":12,"largest_residual":3,"largest_clipped":0.01,"uneven":0.25}}`, string(full))
}
