package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Worked example: a pit of 0.65 mm in a tank seam of 0.9 mm after 38 years.
func TestLeavePit(t *testing.T) {
	out, err := Leave(LeaveInput{Pit: &LeavePit{Depth: 0.65, Error: 0.08, Wall: 0.9, Age: 38, Exponent: LeaveRange{0.3, 0.5, 0.7}}})
	require.NoError(t, err)
	p := out.Pit
	near(t, 35, p.Likely, 0)
	near(t, 22, p.ByExponent[0], 0)
	near(t, 74, p.ByExponent[1], 0)
	near(t, 20, p.ByReading[0], 0)
	near(t, 57, p.ByReading[1], 0)
	require.Equal(t, "exponent", p.Driver)
	require.Contains(t, p.Holds, "dry")
	require.Nil(t, out.Hazard)
}

// With one rate a year the chance within T years is 1 − exp(−hT).
func TestLeaveHazard(t *testing.T) {
	out, err := Leave(LeaveInput{Hazard: &LeaveHazard{PerYear: LeaveRange{0.02, 0.05, 0.10}, Years: 10}})
	require.NoError(t, err)
	near(t, 1-0.819, out.Hazard.Low, 3)
	near(t, 1-0.607, out.Hazard.Likely, 3)
	near(t, 1-0.368, out.Hazard.High, 3)
}

// The ends hold every growth inside them, against math.Pow; a deeper pit is
// through sooner.
func TestLeaveProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := LeavePit{Wall: rapid.Float64Range(0.5, 3).Draw(t, "wall"), Age: rapid.Float64Range(1, 100).Draw(t, "age"),
			Exponent: LeaveRange{Low: rapid.Float64Range(0.2, 0.5).Draw(t, "low"), High: rapid.Float64Range(0.5, 1).Draw(t, "high"), Likely: 0.5}}
		p.Depth = p.Wall * rapid.Float64Range(0.2, 0.95).Draw(t, "depth")
		p.Error = p.Depth * rapid.Float64Range(0, 0.5).Draw(t, "error")
		out, err := Leave(LeaveInput{Pit: &p})
		require.NoError(t, err)
		n := p.Exponent.Low + (p.Exponent.High-p.Exponent.Low)*rapid.Float64Range(0, 1).Draw(t, "n")
		d := p.Depth + p.Error*rapid.Float64Range(-1, 1).Draw(t, "d")
		years := max(0, p.Age*(math.Pow(p.Wall/d, 1/n)-1))
		require.LessOrEqual(t, out.Pit.Low, years*(1+1e-9)+1e-9)
		require.GreaterOrEqual(t, out.Pit.High, years*(1-1e-9)-1e-9)
		deeper := p
		deeper.Depth = min(p.Wall*0.99, p.Depth*1.02)
		if deeper.Depth > p.Depth {
			after, err := Leave(LeaveInput{Pit: &deeper})
			require.NoError(t, err)
			require.Less(t, after.Pit.Likely, out.Pit.Likely)
		}
	})
}

func TestLeaveRefusals(t *testing.T) {
	for input, pointer := range map[string]string{
		`{"pit":{"depth":0.9,"error":0,"wall":0.9,"age":38,"exponent":{"low":0.3,"likely":0.5,"high":0.7}}}`: "/pit/depth",
		`{"pit":{"depth":0.6,"error":0,"wall":0.9,"age":0,"exponent":{"low":0.3,"likely":0.5,"high":0.7}}}`:  "/pit/age",
		`{"pit":{"depth":0.6,"error":-1,"wall":0.9,"age":1,"exponent":{"low":0.3,"likely":0.5,"high":0.7}}}`: "/pit/error",
		`{"pit":{"depth":0.6,"error":0,"wall":0.9,"age":1,"exponent":{"low":0.6,"likely":0.5,"high":0.7}}}`:  "/pit/exponent",
		`{"pit":{"depth":0.6,"error":0,"wall":0.9,"age":1,"exponent":{"low":0,"likely":0.5,"high":0.7}}}`:    "/pit/exponent/low",
		`{"hazard":{"per_year":{"low":0,"likely":0,"high":11},"years":1}}`:                                   "/hazard/per_year/high",
		`{"hazard":{"per_year":{"low":0,"likely":0,"high":1},"years":-1}}`:                                   "/hazard/years",
	} {
		_, err := Run(MethodLeave, []byte(input))
		refused(t, err, registry.CodeInvalid, pointer)
	}
	_, err := Run(MethodLeave, []byte(`{}`))
	refused(t, err, registry.CodeInsufficient, "")
	_, err = Run(MethodLeave, []byte(`{"pit":{"depth":0.1,"error":0.1,"wall":0.9,"age":38,"exponent":{"low":0.3,"likely":0.5,"high":0.7}}}`))
	refused(t, err, registry.CodeInsufficient, "/pit/error")
}
