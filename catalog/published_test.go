package catalog_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// rule gives a published rule and its name as scoring takes it.
func rule(t *testing.T, id string) (catalog.PublishedRule, scoring.PublishedRule) {
	t.Helper()
	r, ok := load(t).PublishedRule(id)
	require.True(t, ok, id)
	return r, scoring.PublishedRule{Title: r.Title, Source: r.Source, Edition: r.Edition}
}

func points(t *testing.T, id string, kept ...string) scoring.PointsResult {
	t.Helper()
	r, name := rule(t, id)
	in := scoring.PointsInput{Rule: name, Least: r.Least, Must: r.Must}
	for _, item := range r.Items {
		has := false
		for _, k := range kept {
			has = has || k == item.ID
		}
		in.Items = append(in.Items, scoring.PointsItem{ID: item.ID, Points: item.Points, Kept: &has})
	}
	out, err := scoring.Points(in)
	require.NoError(t, err)
	return out
}

// From the text of the guidance: frame, suspension and engine are 8 and keep the
// number, frame and suspension 7 and lose it, everything but the frame 9 and
// loses it; the most is 14.
func TestPointsOfARadicallyAlteredVehicle(t *testing.T) {
	const id = "uk-radically-altered"
	out := points(t, id, "frame", "suspension", "engine")
	assert.Equal(t, [3]float64{8, 8, 14}, [3]float64{out.Low, out.High, out.Most})
	assert.Equal(t, "meets", out.Outcome)
	out = points(t, id, "frame", "suspension")
	assert.Equal(t, 7.0, out.Low)
	assert.Equal(t, "does not meet", out.Outcome)
	out = points(t, id, "suspension", "axles", "transmission", "steering", "engine")
	assert.Equal(t, 9.0, out.Low)
	assert.Equal(t, "does not meet", out.Outcome)
	assert.Equal(t, []string{"frame"}, out.Lacking)

	const rebuilt = "uk-rebuilt-motorcycle"
	assert.Equal(t, "meets", points(t, rebuilt, "frame", "forks", "gearbox").Outcome)
	assert.Equal(t, "does not meet", points(t, rebuilt, "frame", "engine").Outcome)
	assert.Equal(t, "does not meet", points(t, rebuilt, "forks", "wheels", "engine", "gearbox").Outcome)
}

// The lines of the sheet: 84.75 wins nothing, 85 and 89.75 the second junior
// award, 90 the first, 95 the senior one if the first was won before.
func TestLinesOfAJudgingSheet(t *testing.T) {
	r, name := rule(t, "amca-judging")
	sheet := func(lost float64, has ...string) scoring.JudgingResult {
		in := scoring.JudgingInput{Rule: name, Step: r.Step, Has: has}
		for _, a := range r.Awards {
			in.Awards = append(in.Awards, scoring.JudgingAward{ID: a.ID, Least: a.Least, Needs: a.Needs})
		}
		for _, c := range r.Categories {
			one := min(lost, c.MostLost)
			lost -= one
			in.Categories = append(in.Categories, scoring.JudgingCategory{ID: c.ID, Points: c.Points, MostLost: c.MostLost, Lost: one})
		}
		out, err := scoring.Judging(in)
		require.NoError(t, err)
		return out
	}
	assert.Len(t, r.Categories, 25)
	assert.Equal(t, 100.0, sheet(0).Most)
	for _, c := range []struct {
		lost    float64
		highest string
	}{{15.25, ""}, {15, "junior-second"}, {10.25, "junior-second"}, {10, "junior-first"}, {5.25, "junior-first"}} {
		out := sheet(c.lost)
		assert.Equal(t, 100-c.lost, out.Score)
		assert.Equal(t, c.highest, out.Highest, "%v", out.Score)
	}
	assert.Contains(t, sheet(5).Barred, "senior")
	out := sheet(5, "junior-first")
	assert.Contains(t, out.Reached, "senior")
	assert.NotContains(t, out.Reached, "marque-excellence")
	assert.Equal(t, "marque-excellence", sheet(2).Highest)
}

func percentages(t *testing.T, id string, percent ...float64) scoring.PercentagesResult {
	t.Helper()
	r, name := rule(t, id)
	in := scoring.PercentagesInput{Rule: name, By: r.By, Least: r.Least, Count: r.Count}
	for i, a := range r.Areas {
		in.Areas = append(in.Areas, scoring.PercentageArea{ID: a, Percent: &percent[i]})
	}
	out, err := scoring.Percentages(in)
	require.NoError(t, err)
	return out
}

// The mean of (60, 90, 70, 40) is 65 and passes, (…, 39) does not, and (0, 100,
// 100, 60) does: which shows what a mean hides. Two of four at 75: (75, 75, 0, 0)
// passes, (100, 74, 74, 74) does not. The two rules order the same machines
// differently, so neither is an index of originality.
func TestTwoRulesOnPercentages(t *testing.T) {
	const mean, two = "aaca-original-features", "two-of-four-areas"
	for _, c := range []struct {
		percent   [4]float64
		mean, two string
		low       float64
	}{
		{[4]float64{60, 90, 70, 40}, "meets", "does not meet", 65},
		{[4]float64{60, 90, 70, 39}, "does not meet", "does not meet", 64.75},
		{[4]float64{0, 100, 100, 60}, "meets", "meets", 65},
		{[4]float64{75, 75, 0, 0}, "does not meet", "meets", 37.5},
		{[4]float64{100, 74, 74, 74}, "meets", "does not meet", 80.5},
	} {
		out := percentages(t, mean, c.percent[:]...)
		assert.Equal(t, c.low, out.Low, c.percent)
		assert.Equal(t, c.mean, out.Outcome, c.percent)
		assert.Equal(t, c.two, percentages(t, two, c.percent[:]...).Outcome, c.percent)
		assert.Contains(t, out.Statement, "no index")
	}
	assert.Equal(t, []string{"exterior", "engine"}, percentages(t, mean, 0, 100, 100, 60).Below)
}

// The boundaries of the age classes, both sides of each.
func TestAgeClassesOfTheTechnicalCode(t *testing.T) {
	r, name := rule(t, "technical-code-2010-age")
	least := float64(r.LeastYears)
	in := scoring.AgeInput{Rule: name, At: "2026-01-01", LeastYears: &least}
	for _, c := range r.Classes {
		in.Classes = append(in.Classes, scoring.AgeClass{ID: c.ID, From: c.From, To: c.To})
	}
	for _, c := range []struct {
		first   registry.Date
		classes []string
		old     string
	}{
		{"1904-12-31", []string{"a"}, "yes"}, {"1905-01-01", []string{"b"}, "yes"}, {"1918-12-31", []string{"b"}, "yes"},
		{"1919-01-01", []string{"c"}, "yes"}, {"1930-12-31", []string{"c"}, "yes"}, {"1931-01-01", []string{"d"}, "yes"},
		{"1945-12-31", []string{"d"}, "yes"}, {"1946-01-01", []string{"e"}, "yes"}, {"1960-12-31", []string{"e"}, "yes"},
		{"1961-01-01", []string{"f"}, "yes"}, {"1970-12-31", []string{"f"}, "yes"}, {"1971-01-01", []string{"g"}, "yes"},
		{"1980-12-31", []string{"g"}, "yes"}, {"1981-01-01", []string{"h"}, "yes"}, {"1996-01-02", []string{"h"}, "no"},
		{"193X", []string{"c", "d"}, "yes"},
	} {
		in.First = c.first
		out, err := scoring.Age(in)
		require.NoError(t, err)
		assert.Equal(t, c.classes, out.Classes, c.first)
		assert.Equal(t, c.old, out.OldEnough, c.first)
	}
}

// A change is of the period up to ten years after first registration.
func TestChangesOfThePeriod(t *testing.T) {
	r, name := rule(t, "germany-historic-plate")
	least, period := float64(r.LeastYears), float64(r.PeriodYears)
	out, err := scoring.Age(scoring.AgeInput{Rule: name, First: "1957-06-30", At: "1987-06-30", LeastYears: &least, PeriodYears: &period,
		Changes: []scoring.AgeChange{{ID: "handlebar", Date: "1967-06-30"}, {ID: "lamp", Date: "1967-07-01"}}})
	require.NoError(t, err)
	assert.Equal(t, "yes", out.OldEnough)
	assert.Equal(t, []scoring.AgeChangeResult{{ID: "handlebar", OfPeriod: "yes"}, {ID: "lamp", OfPeriod: "no"}}, out.Changes)
}

// Every class of criteria can be asked, and none has a percentage in it: the
// code goes by words.
func TestCriteriaOfTheTechnicalCode(t *testing.T) {
	c := load(t)
	asked := 0
	for _, r := range c.PublishedRules() {
		if r.Kind != catalog.PublishedCriteria {
			continue
		}
		in := scoring.CriteriaInput{Rule: scoring.PublishedRule{Title: r.Title, Source: r.Source, Edition: r.Edition}}
		for id, to := range map[string]*float64{catalog.MeasureCriteriaSupports: &in.Supports, catalog.MeasureCriteriaAgainst: &in.Against} {
			m, ok := c.MeasureAssumption(id)
			require.True(t, ok)
			*to = m.Value
		}
		for _, k := range r.Criteria {
			assert.NotContains(t, k.Sentence, "%")
			p := 0.9
			in.Criteria = append(in.Criteria, scoring.Criterion{ID: k.ID, Sentence: k.Sentence, Probability: &p})
		}
		out, err := scoring.Criteria(in)
		require.NoError(t, err, r.ID)
		assert.Contains(t, out.Statement, "Only the body")
		asked++
	}
	assert.Equal(t, 9, asked, "four groups and five types")
}

// The assumptions as the worked example of docs/scoring.md takes them.
func TestMeasureAssumptions(t *testing.T) {
	c := load(t)
	for id, want := range map[string]float64{"film-panel-sd": 25, "film-repaint-adds": 70, "film-repaint-sd": 30, "film-leak": 0.05, "film-leak-span": 300,
		"film-reading-sd": 18, "film-detect": 25, "film-power": 0.9, "kappa-settle": 0.6} {
		m, ok := c.MeasureAssumption(id)
		require.True(t, ok, id)
		assert.Equal(t, want, m.Value, id)
	}
	assert.Len(t, c.MeasureAssumptions(), 17)
}

func TestPackOfPublishedRules(t *testing.T) {
	c := load(t, pack("rules.json", rows("published", `{"id":"uk-radically-altered","edition":"of 2027","least":9,"source":"The guidance of 2027"},
		{"id":"skerrow-class","title":"Preserved Skerrow","edition":"1","kind":"criteria","asks":"Never apart.","criteria":[{"id":"never-apart","sentence":"No joint was opened."}],"source":"The register's rules"}`)),
	)
	r, _ := c.PublishedRule("uk-radically-altered")
	assert.Equal(t, 9.0, r.Least)
	assert.Equal(t, []string{"frame"}, r.Must, "what is not given stays")
	_, ok := c.PublishedRule("skerrow-class")
	assert.True(t, ok)
	for i, bad := range []string{
		`{"id":"x","title":"t","edition":"1","kind":"criteria","asks":"a","criteria":[{"id":"c","sentence":"s"}]}`,                                          // no source
		`{"id":"x","title":"t","edition":"1","kind":"criteria","asks":"a","source":"s"}`,                                                                    // no criteria
		`{"id":"x","title":"t","edition":"","kind":"age","asks":"a","least_years":30,"source":"s"}`,                                                         // no edition
		`{"id":"x","title":"t","edition":"1","kind":"points","asks":"a","items":[{"id":"a","title":"t","points":1}],"must":["b"],"source":"s"}`,             // leads nowhere
		`{"id":"x","title":"t","edition":"1","kind":"classes","asks":"a","classes":[{"id":"a","title":"t","from":"1931","to":"1945"}],"source":"s"}`,        // no days
		`{"id":"x","title":"t","edition":"1","kind":"percentages","asks":"a","areas":["a"],"by":"count","count":2,"source":"s"}`,                            // more than there are
		`{"id":"x","title":"t","edition":"1","kind":"judging","asks":"a","categories":[{"id":"a","points":4,"most_lost":4}],"step":0.25,"source":"s"}`,      // no awards
		`{"id":"x","title":"t","edition":"1","kind":"criteria","asks":"Awards the class; it is safe.","criteria":[{"id":"c","sentence":"s"}],"source":"s"}`, // promises
		`{"id":"uk-radically-altered","kind":"criteria","source":"s"}`,
	} {
		_, err := catalog.Load(pack("rules.json", rows("published", bad)))
		require.Error(t, err, fmt.Sprint(i, bad))
	}
	for _, bad := range []string{`{"id":"film-colour","title":"t","value":1,"unit":"u"}`, `{"id":"film-leak","value":0.9}`, `{"id":"film-leak","value":"much"}`} {
		_, err := catalog.Load(pack("m.json", rows("measures", bad)))
		require.Error(t, err, bad)
	}
}
