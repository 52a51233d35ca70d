package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestSineCosine(t *testing.T) {
	for d := 0.0; d <= 360; d += 0.37 {
		s, c := sineCosine(d)
		require.InDelta(t, math.Sin(d*math.Pi/180), s, 2e-15)
		require.InDelta(t, math.Cos(d*math.Pi/180), c, 2e-15)
	}
	require.InDelta(t, 60, arcCosine(0.5), 1e-13)
	require.InDelta(t, 0, arcCosine(1), 1e-7)
	require.InDelta(t, 180, arcCosine(-1), 1e-5)
}

// Published capacities: bore × stroke and cylinders. 73 × 83 = 347.4 cm³.
func TestCapacity(t *testing.T) {
	for _, tt := range []struct{ bore, stroke, cylinders, want float64 }{
		{73, 83, 1, 347.39}, {71, 82, 2, 649.31}, {79, 100, 1, 490.17}, {70, 84, 2, 646.54}, {73, 89, 2, 745.00}, {68, 68.25, 1, 247.86},
	} {
		out, err := Capacity(CapacityInput{Bore: &tt.bore, Stroke: &tt.stroke, Cylinders: tt.cylinders})
		require.NoError(t, err)
		near(t, tt.want, out.Capacity, 2)
		near(t, tt.want/16.387064, out.CubicInch, 2) // cm³ in a cubic inch, exact
	}
	in := CapacityInput{BoreInch: amount(2.5), StrokeInch: amount(3), Cylinders: 1, Clearance: amount(40)}
	out, err := Capacity(in)
	require.NoError(t, err)
	near(t, 14.726, out.CubicInch, 3) // π/4 · 2.5² · 3
	near(t, (241.319+40)/40, *out.Ratio, 3)
	back, err := Capacity(CapacityInput{BoreInch: in.BoreInch, StrokeInch: in.StrokeInch, Cylinders: 1, Ratio: out.Ratio})
	require.NoError(t, err)
	require.InDelta(t, 40, *back.Clearance, 1e-9)
}

// Worked example: throw 41.5, rod 158, 36°: 9.820 mm or 0.3866 in, where the
// short form r(1−cos θ) gives 7.926; a stick that errs by 0.25 mm errs by 0.48°.
func TestPistonTravel(t *testing.T) {
	in := PistonInput{Stroke: amount(83), Rod: amount(158), Crank: amount(36), Error: amount(0.25)}
	out, err := PistonTravel(in)
	require.NoError(t, err)
	near(t, 9.820, out.Drop, 3)
	near(t, 0.3866, out.DropInch, 4)
	near(t, 0.48, *out.CrankError, 2)
	require.Equal(t, 18.0, out.HalfSpeed)
	near(t, 7.926, 41.5*(1-math.Cos(36*math.Pi/180)), 3)
	back, err := PistonTravel(PistonInput{Stroke: in.Stroke, Rod: in.Rod, Drop: &out.Drop})
	require.NoError(t, err)
	near(t, 36.0000, back.Crank, 4)
	back, err = PistonTravel(PistonInput{StrokeInch: amount(83 / 25.4), RodInch: amount(158 / 25.4), DropInch: &out.DropInch})
	require.NoError(t, err)
	near(t, 36.0000, back.Crank, 4)
}

// The inverse is exact, and the drop rises from 0 to the stroke.
func TestPistonTravelIsItsOwnInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stroke := rapid.Float64Range(20, 200).Draw(t, "stroke")
		rod := rapid.Float64Range(stroke, 4*stroke).Draw(t, "rod")
		crank := rapid.Float64Range(1, 179).Draw(t, "crank")
		out, err := PistonTravel(PistonInput{Stroke: &stroke, Rod: &rod, Crank: &crank})
		require.NoError(t, err)
		require.True(t, out.Drop > 0 && out.Drop < stroke)
		back, err := PistonTravel(PistonInput{Stroke: &stroke, Rod: &rod, Drop: &out.Drop})
		require.NoError(t, err)
		require.InDelta(t, crank, back.Crank, 1e-7)
	})
}

func geared(in GearingInput) GearingInput {
	in.Primary, in.Final = TeethPair{1, 1}, TeethPair{1, 1}
	in.Gearbox = []GearRatio{{"top", 4.57}}
	return in
}

// mph = rpm·D/(336.135·ratio), D in inches: 6500, 26 and 4.57 give 110.016.
func TestGearing(t *testing.T) {
	out, err := Gearing(geared(GearingInput{Tyre: TyreSize{DiameterInch: amount(26)}, RPM: amount(6500)}))
	require.NoError(t, err)
	near(t, 110.016, out.Gears[0].MPH, 3)
	near(t, 110.016*1.609344, out.Gears[0].KMH, 2)
	for _, in := range []GearingInput{{MPH: &out.Gears[0].MPH}, {KMH: &out.Gears[0].KMH}} {
		in.Tyre = TyreSize{DiameterInch: amount(26)}
		back, err := Gearing(geared(in))
		require.NoError(t, err)
		require.InDelta(t, 6500, back.Gears[0].RPM, 1e-9)
	}
	// Primary, gear and final multiply: 20 and 44 teeth, 1.24, 17 and 46.
	in := geared(GearingInput{Tyre: TyreSize{Rolling: amount(2000)}, RPM: amount(3000)})
	in.Primary, in.Final, in.Gearbox = TeethPair{20, 44}, TeethPair{17, 46}, []GearRatio{{"third", 1.24}, {"top", 1}}
	out, err = Gearing(in)
	require.NoError(t, err)
	require.InDelta(t, 44.0/20*1.24*46/17, out.Gears[0].Overall, 1e-12)
	require.InDelta(t, 3000/(44.0/20*46/17)*2*60/1000, out.Gears[1].KMH, 1e-9)
}

// Diameters of metric sizes by 2·W·A/100 + 25.4·rim, and of an inch size as high
// as wide.
func TestTyreSizes(t *testing.T) {
	for _, tt := range []struct{ width, aspect, rim, want float64 }{
		{80, 90, 21, 677.4}, {90, 90, 19, 644.6}, {100, 90, 19, 662.6}, {110, 90, 18, 655.2}, {120, 80, 18, 649.2}, {130, 90, 16, 640.4},
	} {
		out, err := Gearing(geared(GearingInput{Tyre: TyreSize{Width: &tt.width, Aspect: &tt.aspect, Rim: &tt.rim}, RPM: amount(1000)}))
		require.NoError(t, err)
		near(t, tt.want, out.Diameter, 1)
	}
	out, err := Gearing(geared(GearingInput{Tyre: TyreSize{Inches: amount(3.25), Rim: amount(19)}, RPM: amount(1000)}))
	require.NoError(t, err)
	near(t, 25.5*25.4, out.Diameter, 9)
	require.Contains(t, out.Note, "smaller under load")
}

func bolt(d, pitch float64, form, grade, lubrication string) TorqueInput {
	return TorqueInput{Diameter: &d, Pitch: &pitch, Form: form, Grade: grade, Lubrication: lubrication, Share: 0.7,
		Grades: []FastenerGrade{{"4.8", "metric", 16, 310}, {"6.8", "metric", 16, 440}, {"8.8", "metric", 39, 600}, {"8.8", "metric", 16, 580},
			{"10.9", "metric", 39, 830}, {"12.9", "metric", 39, 970}, {"sae-5", "unified", 25.4, 586}},
		Lubrications: []Lubrication{{"dry", .20, .25}, {"oiled", .15, .20}, {"fixed", .20, .20}, {"slippery", .12, .20}}}
}

// Proof loads in N of ISO 898-1 for coarse threads, which the areas and stresses
// meet within half a percent.
func TestProofLoads(t *testing.T) {
	for _, tt := range []struct {
		d, pitch, area float64
		loads          []float64
	}{
		{5, .8, 14.2, []float64{4400, 6250, 8230, 11800, 13800}},
		{6, 1, 20.1, []float64{6230, 8840, 11600, 16700, 19500}},
		{8, 1.25, 36.6, []float64{11400, 16100, 21200, 30400, 35500}},
		{10, 1.5, 58.0, []float64{18000, 25500, 33700, 48100, 56300}},
		{12, 1.75, 84.3, []float64{26100, 37100, 48900, 70000, 81800}},
		{14, 2, 115, []float64{35600, 50600, 66700, 95500, 112000}},
	} {
		for i, grade := range []string{"4.8", "6.8", "8.8", "10.9", "12.9"} {
			out, err := Torque(bolt(tt.d, tt.pitch, "metric", grade, "dry"))
			require.NoError(t, err)
			require.InEpsilon(t, tt.loads[i], *out.Proof, 0.0075, "M%v %s", tt.d, grade)
			require.InEpsilon(t, tt.area, out.Area, 0.006)
		}
	}
	// Fine threads in mm² and unified ones in in².
	for _, tt := range []struct{ d, pitch, want float64 }{{6, 1, 20.12}, {8, 1, 39.17}, {10, 1.25, 61.20}, {12, 1.25, 92.07}} {
		out, err := Torque(bolt(tt.d, tt.pitch, "metric", "8.8", "dry"))
		require.NoError(t, err)
		near(t, tt.want, out.Area, 2)
	}
	for _, tt := range []struct{ d, tpi, want float64 }{{1. / 4, 20, .0318}, {1. / 4, 28, .0364}, {5. / 16, 18, .0524}, {5. / 16, 24, .0581},
		{3. / 8, 16, .0775}, {3. / 8, 24, .0878}, {1. / 2, 13, .1419}, {1. / 2, 20, .1600}} {
		in := bolt(1, 1, "unified", "sae-5", "dry")
		in.Diameter, in.Pitch, in.DiameterInch, in.TPI = nil, nil, &tt.d, &tt.tpi
		out, err := Torque(in)
		require.NoError(t, err)
		near(t, tt.want, out.Area/(25.4*25.4), 4)
	}
}

// Worked examples. M12 8.8 at 70 % of proof and K 0.20: 34.2 kN and 82.1 N·m; the
// same torque oiled (0.15) gives 45.6 kN, 93 %. 12 N·m on a 5/16 stud is 12.6 or
// 7.6 kN for K of 0.12 or 0.20.
func TestTorque(t *testing.T) {
	out, err := Torque(bolt(12, 1.75, "metric", "8.8", "fixed"))
	require.NoError(t, err)
	// The example takes the area of ISO 898-1 rounded to 84.3 mm².
	require.InEpsilon(t, 82.14, *out.Ceiling, 0.0005)
	require.InEpsilon(t, 34.2258, 0.7**out.Proof/1000, 0.0005)
	require.InEpsilon(t, 82.14/1.3558179, *out.CeilingFoot, 0.0005)
	in := bolt(12, 1.75, "metric", "8.8", "oiled")
	in.Torque = out.Ceiling
	oiled, err := Torque(in)
	require.NoError(t, err)
	near(t, 45.6, oiled.Tension.High/1000, 1)
	near(t, 0.93, *oiled.Tension.HighShare, 2)
	require.Less(t, *oiled.Ceiling, *out.Ceiling, "the ceiling reckons with the least friction")

	// M10 8.8 at 50 N·m, K 0.2: 25 kN, 74.3 % of 580 MPa.
	in = bolt(10, 1.5, "metric", "8.8", "fixed")
	in.Torque = amount(50)
	out, err = Torque(in)
	require.NoError(t, err)
	near(t, 25, out.Tension.Low/1000, 6)
	near(t, 0.743, *out.Tension.LowShare, 3)

	// 75 % of proof and K 0.2: M6 10.5, M8 25.5, M10 50.5, M12 88.0 N·m.
	for _, tt := range []struct{ d, pitch, want float64 }{{6, 1, 10.5}, {8, 1.25, 25.5}, {10, 1.5, 50.5}, {12, 1.75, 88.0}} {
		in := bolt(tt.d, tt.pitch, "metric", "8.8", "fixed")
		in.Share = 0.75
		out, err := Torque(in)
		require.NoError(t, err)
		require.InDelta(t, tt.want, *out.Ceiling, 0.05)
	}

	stud := bolt(5./16*25.4, 25.4/22, "whitworth", "", "slippery")
	stud.Torque = amount(12)
	out, err = Torque(stud)
	require.NoError(t, err)
	near(t, 12.6, out.Tension.High/1000, 1)
	near(t, 7.6, out.Tension.Low/1000, 1)
	require.Nil(t, out.Ceiling)
	require.Nil(t, out.Tension.HighShare)
	require.Contains(t, out.Says, "say that none is known")
}

// No torque is invented.
func TestTorqueIsNotInvented(t *testing.T) {
	for _, tt := range []struct {
		in      TorqueInput
		pointer string
	}{
		{bolt(8, 1.25, "metric", "", "dry"), "/grade"},
		{bolt(8, 1.25, "metric", "9.9", "dry"), "/grade"},
		{bolt(8, 25.4/22, "whitworth", "8.8", "dry"), "/grade"},
		{bolt(8, 25.4/26, "cycle", "8.8", "dry"), "/grade"},
		{bolt(20, 2.5, "metric", "4.8", "dry"), "/diameter_mm"},
		{bolt(8, 1.25, "metric", "8.8", "unknown"), "/lubrication"},
	} {
		_, err := Torque(tt.in)
		refused(t, err, registry.CodeInsufficient, tt.pointer)
	}
}

func TestGeometryRefusals(t *testing.T) {
	for method, inputs := range map[string]map[string]string{
		MethodCapacity: {
			`{"bore_mm":73,"stroke_mm":83,"bore_in":2.9,"cylinders":1}`:                            "/bore_in",
			`{"stroke_mm":83,"cylinders":1}`:                                                       "/bore_mm",
			`{"bore_mm":0,"stroke_mm":83,"cylinders":1}`:                                           "/bore_mm",
			`{"bore_mm":73,"stroke_mm":83,"cylinders":1.5}`:                                        "/cylinders",
			`{"bore_mm":73,"stroke_mm":83,"cylinders":1,"ratio":1}`:                                "/ratio",
			`{"bore_mm":73,"stroke_mm":83,"cylinders":1,"ratio":7,"clearance_cm3":50}`:             "/ratio",
			`{"bore":73,"stroke_mm":83,"cylinders":1}`:                                             "/bore",
			`{"bore_mm":73,"stroke_mm":83,"cylinders":1,"clearance_cm3":0}`:                        "/clearance_cm3",
			`{"bore_in":73,"stroke_mm":83,"cylinders":1}`:                                          "/bore_in",
			`{"bore_mm":73,"stroke_mm":83,"cylinders":0}`:                                          "/cylinders",
			`{"bore_mm":73,"stroke_mm":83,"stroke_in":3.2677165354330704,"cylinders":1,"ratio":7}`: "/stroke_in",
		},
		MethodPiston: {
			`{"stroke_mm":83,"rod_mm":158}`:                                 "/drop_mm",
			`{"stroke_mm":83,"rod_mm":158,"crank_deg":36,"drop_mm":1}`:      "/crank_deg",
			`{"stroke_mm":83,"rod_mm":40,"crank_deg":36}`:                   "/rod_mm",
			`{"stroke_mm":83,"rod_mm":158,"drop_mm":84}`:                    "/drop_mm",
			`{"stroke_mm":83,"rod_mm":158,"crank_deg":181}`:                 "/crank_deg",
			`{"stroke_mm":83,"rod_mm":158,"crank_deg":36,"error_mm":-0.25}`: "/error_mm",
		},
		MethodGearing: {
			`{"primary":{"driving":20.5,"driven":44},"gearbox":[{"id":"top","ratio":1}],"final":{"driving":17,"driven":46},"tyre":{"diameter_in":26},"rpm":1}`:                 "/primary/driving",
			`{"primary":{"driving":20,"driven":44},"gearbox":[{"id":"top","ratio":1}],"final":{"driving":17,"driven":46},"tyre":{},"rpm":1}`:                                   "/tyre",
			`{"primary":{"driving":20,"driven":44},"gearbox":[{"id":"top","ratio":1}],"final":{"driving":17,"driven":46},"tyre":{"diameter_in":26,"rolling_mm":2000},"rpm":1}`: "/tyre",
			`{"primary":{"driving":20,"driven":44},"gearbox":[{"id":"top","ratio":1}],"final":{"driving":17,"driven":46},"tyre":{"width_mm":90,"rim_in":19},"rpm":1}`:          "/tyre",
			`{"primary":{"driving":20,"driven":44},"gearbox":[{"id":"top","ratio":1}],"final":{"driving":17,"driven":46},"tyre":{"diameter_in":26}}`:                           "/kmh",
			`{"primary":{"driving":20,"driven":44},"gearbox":[{"id":"top","ratio":1}],"final":{"driving":17,"driven":46},"tyre":{"diameter_in":26},"rpm":1,"mph":30}`:          "/rpm",
		},
	} {
		for input, pointer := range inputs {
			_, err := Run(method, []byte(input))
			refused(t, err, registry.CodeInvalid, pointer)
		}
	}
	in := bolt(8, 1.25, "metric", "8.8", "dry")
	in.TPI = amount(20)
	_, err := Torque(in)
	refused(t, err, registry.CodeInvalid, "/tpi")
	_, err = Torque(bolt(8, 7, "metric", "8.8", "dry"))
	refused(t, err, registry.CodeInvalid, "/pitch_mm")
	_, err = Torque(bolt(8, 1.25, "", "8.8", "dry"))
	refused(t, err, registry.CodeInvalid, "/form")
	_, err = Gearing(GearingInput{Primary: TeethPair{1, 1}, Final: TeethPair{1, 1}, Tyre: TyreSize{DiameterInch: amount(26)}, RPM: amount(1)})
	refused(t, err, registry.CodeInsufficient, "/gearbox")
}
