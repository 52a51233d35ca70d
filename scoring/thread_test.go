package scoring

import (
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// bolts is a table of a few sizes: BS 84, BS 811, BS 93, ASME B1.1, ISO 261.
func bolts() []Thread {
	inch := func(id, series, size string, major, tpi, angle, depth float64) Thread {
		return Thread{ID: id, Series: series, Designation: size, Major: major, TPI: &tpi, Angle: angle, Depth: depth}
	}
	metric := func(id, series, size string, major, pitch, angle, depth float64) Thread {
		return Thread{ID: id, Series: series, Designation: size, Major: major, Pitch: &pitch, Angle: angle, Depth: depth}
	}
	return []Thread{
		inch("bsf-1-4", "BSF", "1/4", 6.35, 26, 55, 0.640327),
		inch("bsc-1-4", "BSC", "1/4-26", 6.35, 26, 60, 0.532692),
		inch("bsf-3-16", "BSF", "3/16", 4.7625, 32, 55, 0.640327),
		inch("bsc-3-16", "BSC", "3/16-32", 4.7625, 32, 60, 0.532692),
		inch("unf-10", "UNF", "no. 10", 4.826, 32, 60, 0.613434),
		inch("bsc-5-16", "BSC", "5/16-26", 7.9375, 26, 60, 0.532692),
		metric("ba-2", "BA", "2BA", 4.7, 0.81, 47.5, 0.6),
		metric("m7", "metric coarse", "M7", 7, 1, 60, 0.613434),
		metric("m8x1", "metric fine", "M8x1", 8, 1, 60, 0.613434),
		metric("plug-m8", "spark plug", "M8x1", 8, 1, 60, 0.613434),
	}
}

func measured(od, pitch float64, angle *float64) ThreadInput {
	return ThreadInput{OD: &od, Pitch: &pitch, Angle: angle, Readings: ThreadReadings{0.07, 0.05, 0.008, 1.5}, Table: bolts(),
		Confusions: []ThreadConfusion{{Threads: []string{"ba-2", "unf-10"}, Text: "It starts, and strips."}}}
}

// Worked examples with this wear, checked by a second implementation.
func TestThreadExamples(t *testing.T) {
	for _, tt := range []struct {
		od, pitch float64
		angle     *float64
		verdict   string
		want      []float64 // of the candidates in their order
		first     string
	}{
		{6.27, 0.978, nil, "cannot tell", []float64{.50, .50}, "BSF 1/4"},
		{6.27, 0.978, amount(59.5), "one thread", []float64{.988, .012}, "BSC 1/4-26"},
		{6.27, 0.978, amount(55.5), "one thread", []float64{.988, .012}, "BSF 1/4"},
		{4.66, 0.810, nil, "cannot tell", []float64{.79, .10, .10, .02}, "BA 2BA"},
		{7.88, 0.977, nil, "one thread", []float64{.99, .01}, "BSC 5/16-26"},
	} {
		out, err := IdentifyThread(measured(tt.od, tt.pitch, tt.angle))
		require.NoError(t, err)
		require.True(t, out.Fits)
		require.Equal(t, tt.verdict, out.Verdict)
		require.Equal(t, tt.first, out.Candidates[0].String())
		require.Len(t, out.Candidates, len(tt.want))
		for i, p := range tt.want {
			require.InDelta(t, p, out.Candidates[i].Probability, 0.0051)
		}
		require.Equal(t, threadThen, out.Then)
	}
}

// The likeliest of a bad lot is no answer: 6.60 mm and 1.10 mm give M7 a
// probability of 1 and a fit of −100.
func TestNothingFits(t *testing.T) {
	out, err := IdentifyThread(measured(6.60, 1.10, nil))
	require.NoError(t, err)
	require.False(t, out.Fits)
	require.Equal(t, "nothing fits", out.Verdict)
	require.Empty(t, out.Candidates)
	require.Equal(t, "metric coarse M7", out.Nearest.String())
	near(t, 1.00, out.Nearest.Probability, 2)
	require.InDelta(t, -100, out.Fit, 0.5)
	require.NotEmpty(t, out.Notes)
}

func TestThreadTellsWhatToMeasure(t *testing.T) {
	out, err := IdentifyThread(measured(6.27, 0.978, nil))
	require.NoError(t, err)
	require.Equal(t, []ThreadTell{{"flank angle", 1}}, out.Tell)
	out, err = IdentifyThread(measured(4.66, 0.81, nil))
	require.NoError(t, err)
	require.Equal(t, "flank angle", out.Tell[0].Measure)
	require.Equal(t, "pitch over ten turns", out.Tell[1].Measure)
	require.Equal(t, []ThreadConfusion{{[]string{"BA 2BA", "UNF no. 10"}, "It starts, and strips."}}, out.Confusions)
	// Number 10 and 3/16 cycle share pitch and angle: nothing is left to gauge.
	in := measured(4.72, 25.4/32, amount(60))
	out, err = IdentifyThread(in)
	require.NoError(t, err)
	require.Equal(t, "cannot tell", out.Verdict)
	require.Contains(t, out.Notes[0], "known nut")
}

// Series of one shape are one thread with several names, and count once.
func TestThreadsOfOneShapeCountOnce(t *testing.T) {
	out, err := IdentifyThread(measured(7.93, 1, nil))
	require.NoError(t, err)
	require.Len(t, out.Candidates[0].Also, 1)
	require.Equal(t, "spark plug M8x1", out.Candidates[0].Also[0].String())
	near(t, 0.99, out.Candidates[0].Probability, 2)
}

// Published core diameters in inches of cycle threads, of which each lies within
// half a thousandth, and of M6 (ISO 68-1: 4.773 mm).
func TestThreadCore(t *testing.T) {
	out, err := IdentifyThread(measured(6.28, 25.4/26, amount(60)))
	require.NoError(t, err)
	require.InDelta(t, 0.209, out.Candidates[0].Core/25.4, 0.0005)
	// The cycle depth is that of a 60 degree thread rounded to a sixth of the
	// pitch: (√3/2 − 2/6).
	require.InDelta(t, 0.532692, 0.8660254037844386-2.0/6, 1e-6)
}

func TestThreadHand(t *testing.T) {
	for hand, want := range map[string]string{"left": "slackens clockwise", "": "was not stated"} {
		in := measured(6.27, 0.978, amount(60))
		in.Hand = hand
		out, err := IdentifyThread(in)
		require.NoError(t, err)
		require.Contains(t, out.Notes[0], want)
	}
}

func TestThreadRefusals(t *testing.T) {
	for _, tt := range []struct {
		change  func(in *ThreadInput)
		pointer string
	}{
		{func(in *ThreadInput) { *in.OD = 0 }, "/od_mm"},
		{func(in *ThreadInput) { in.OD, in.ODInch = nil, amount(0) }, "/od_in"},
		{func(in *ThreadInput) { in.ODInch = amount(0.25) }, "/od_in"},
		{func(in *ThreadInput) { in.OD = nil }, "/od_mm"},
		{func(in *ThreadInput) { in.TPI = amount(26) }, "/tpi"},
		{func(in *ThreadInput) { in.Pitch = nil }, "/pitch_mm"},
		{func(in *ThreadInput) { in.Pitch, in.TPI = nil, amount(0) }, "/tpi"},
		{func(in *ThreadInput) { in.Pitch, in.TPI = nil, amount(-26) }, "/tpi"},
		{func(in *ThreadInput) { in.Angle = amount(5) }, "/angle_deg"},
		{func(in *ThreadInput) { in.Hand = "both" }, "/hand"},
		{func(in *ThreadInput) { in.Readings.ODSD = 0 }, "/readings/od_sd_mm"},
		{func(in *ThreadInput) { in.Table[1].ID = "bsf-1-4" }, "/table/1/id"},
		{func(in *ThreadInput) { in.Table[1].Pitch = amount(1) }, "/table/1/tpi"},
		{func(in *ThreadInput) { in.Confusions[0].Threads[0] = "x" }, "/confusions/0/threads/0"},
	} {
		in := measured(6.27, 0.978, nil)
		tt.change(&in)
		_, err := IdentifyThread(in)
		refused(t, err, registry.CodeInvalid, tt.pointer)
	}
	in := measured(6.27, 0.978, nil)
	in.Table, in.Confusions = nil, nil
	_, err := IdentifyThread(in)
	refused(t, err, registry.CodeInsufficient, "/table")
}
