package picture_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers/picture"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// An invented card: six greys and twelve colours around them, at D50.
func card() []scoring.Lab {
	out := []scoring.Lab{{L: 20}, {L: 35}, {L: 50}, {L: 65}, {L: 80}, {L: 92}}
	for i := range 12 {
		angle := float64(i) * math.Pi / 6
		out = append(out, scoring.Lab{L: 40 + 5*float64(i%4), A: 28 * math.Cos(angle), B: 28 * math.Sin(angle)})
	}
	return out
}

// Two areas whose colours are not on the card.
var areas = []scoring.Lab{{L: 38, A: 22, B: 9}, {L: 55, A: -12, B: 14}}

// scene is a photograph that is drawn here from first principles, in 64-bit
// numbers and with functions of its own: Lab at D50 to X, Y, Z, to linear sRGB
// (Bradford-adapted matrix of the ICC's sRGB profile), under a cast of light and a
// veil of flare, with noise, and encoded by the curve of IEC 61966-2-1.
type scene struct {
	cast  [3]float64
	flare float64
	noise float64
	grey  bool
}

// rows is how a scene is laid out: the patches of the card in the order of card,
// then the areas, each in a cell of 60 × 60 pixels, six in a row.
func (s scene) draw(seed int64) *image.RGBA {
	all := append(card(), areas...)
	m := image.NewRGBA(image.Rect(0, 0, 6*60, (len(all)+5)/6*60))
	dice := rand.New(rand.NewSource(seed))
	for i, c := range all {
		fy := (c.L + 16) / 116
		cube := func(f float64) float64 {
			if f > 6.0/29 {
				return f * f * f
			}
			return 3 * 36.0 / 841 * (f - 4.0/29)
		}
		x, y, z := 0.9642*cube(fy+c.A/500), cube(fy), 0.8249*cube(fy-c.B/200)
		linear := [3]float64{3.1338561*x - 1.6168667*y - 0.4906146*z, -0.9787684*x + 1.9161415*y + 0.0334540*z, 0.0719453*x - 0.2289914*y + 1.4052427*z}
		if s.grey {
			linear[0], linear[2] = linear[1], linear[1]
		}
		for px := range 60 * 60 {
			var code [3]uint8
			for k, v := range linear {
				v = v*s.cast[k]*0.8 + s.flare + s.noise*dice.NormFloat64()*math.Sqrt(max(v, 0))
				v = min(1, max(0, v))
				if v <= 0.0031308 {
					v *= 12.92
				} else {
					v = 1.055*math.Pow(v, 1/2.4) - 0.055
				}
				code[k] = uint8(math.Round(255 * v))
			}
			m.SetRGBA(i%6*60+px%60, i/6*60+px/60, color.RGBA{code[0], code[1], code[2], 255})
		}
	}
	return m
}

// marks are the middles of the cells.
func marks() (out []picture.Mark) {
	n := len(card()) + len(areas)
	rows := float64((n + 5) / 6)
	for i := range n {
		id := fmt.Sprint("patch ", i+1)
		if i >= len(card()) {
			id = fmt.Sprint("area ", i-len(card())+1)
		}
		out = append(out, picture.Mark{ID: id, X: (float64(i%6) + 0.25) / 6, Y: (float64(i/6) + 0.25) / rows, Width: 0.5 / 6, Height: 0.5 / rows})
	}
	return out
}

// question puts the samples and the card's values together as a caller does:
// by their JSON.
func question(t *testing.T, samples []picture.Sample) []byte {
	t.Helper()
	var patches, others []map[string]any
	for i, s := range samples {
		raw, err := json.Marshal(s)
		require.NoError(t, err)
		var fields map[string]any
		require.NoError(t, json.Unmarshal(raw, &fields))
		if i < len(card()) {
			fields["lab"] = card()[i]
			patches = append(patches, fields)
		} else {
			others = append(others, fields)
		}
	}
	raw, err := json.Marshal(map[string]any{"white": "D50", "patches": patches, "areas": others,
		"assumed": map[string]any{"least_patches": 12, "largest_residual": 3, "largest_clipped": 0.01, "uneven": 0.25}})
	require.NoError(t, err)
	return raw
}

func ask(t *testing.T, data []byte) (scoring.CardResult, error) {
	t.Helper()
	samples, err := picture.Light(bytes.NewReader(data), "ph-12.jpg", marks(), picture.Limits{})
	require.NoError(t, err)
	raw, err := scoring.Run(scoring.MethodCard, question(t, samples))
	if err != nil {
		return scoring.CardResult{}, err
	}
	var out scoring.CardResult
	require.NoError(t, json.Unmarshal(raw, &out))
	return out, nil
}

// A scene of known colours, under warm and cold light, with flare and noise and
// after a JPEG encoder, gives them back within what it says of itself.
func TestColoursComeBackFromAJPEG(t *testing.T) {
	for name, s := range map[string]scene{
		"neutral":        {cast: [3]float64{1, 1, 1}},
		"lamp":           {cast: [3]float64{1.15, 0.85, 0.55}, flare: 0.01, noise: 0.01},
		"shade":          {cast: [3]float64{0.7, 0.9, 1.1}, flare: 0.02, noise: 0.02},
		"dark and noisy": {cast: [3]float64{0.3, 0.3, 0.25}, noise: 0.005},
	} {
		for _, quality := range []int{70, 95} {
			var b bytes.Buffer
			require.NoError(t, jpeg.Encode(&b, s.draw(1), &jpeg.Options{Quality: quality}))
			out, err := ask(t, b.Bytes())
			require.NoError(t, err, name)
			require.Less(t, out.LeftOut.Mean, 1.5, name)
			require.GreaterOrEqual(t, out.LeftOut.Mean, out.Fitted.Mean, name)
			for i, a := range out.Areas {
				require.Less(t, scoring.ColourDifference(areas[i], a.Lab), 1.5, "%s, quality %d, %s", name, quality, a.ID)
				for k, d := range []float64{a.Lab.L - areas[i].L, a.Lab.A - areas[i].A, a.Lab.B - areas[i].B} {
					require.Less(t, math.Abs(d), 4*[]float64{a.Uncertainty.L, a.Uncertainty.A, a.Uncertainty.B}[k]+0.05, "%s %s %d", name, a.ID, k)
				}
			}
		}
	}
}

// Without the card the same picture says something else: the warm light alone
// moves the colour by far more.
func TestTheCastIsLarge(t *testing.T) {
	s := scene{cast: [3]float64{1.15, 0.85, 0.55}}
	samples, err := picture.Light(bytes.NewReader(asPNG(t, s.draw(1))), "a.png", marks(), picture.Limits{})
	require.NoError(t, err)
	white, grey := samples[5].Linear, samples[2].Linear
	require.Greater(t, white[0]/white[2], 1.9)
	require.Greater(t, grey[0]/grey[2], 1.9)
}

func TestBadPhotographsOfACard(t *testing.T) {
	refused := func(data []byte, pointer, words string) {
		t.Helper()
		_, err := ask(t, data)
		var e *registry.Error
		require.ErrorAs(t, err, &e)
		require.Equal(t, registry.CodeInsufficient, e.Code)
		require.Equal(t, pointer, e.Fields[0].Pointer)
		require.Contains(t, e.Error(), words)
	}
	over := scene{cast: [3]float64{2, 2, 2}}
	refused(asJPEG(t, over.draw(1)), "/patches/5/clipped", "is clipped")
	refused(asJPEG(t, scene{cast: [3]float64{1, 1, 1}, grey: true}.draw(1)), "/patches", "do not span the colours")

	// A patch that is marked in the wrong place, or lies in shadow, shows.
	m := scene{cast: [3]float64{1, 1, 1}}.draw(1)
	for y := range 60 {
		for x := range 60 {
			m.SetRGBA(60+x, 120+y, color.RGBA{200, 40, 200, 255})
		}
	}
	refused(asJPEG(t, m), "/patches", `"patch 14"`)

	// No card in the frame.
	samples, err := picture.Light(bytes.NewReader(asPNG(t, scene{cast: [3]float64{1, 1, 1}}.draw(1))), "a.png", marks()[18:], picture.Limits{})
	require.NoError(t, err)
	raw, err := json.Marshal(map[string]any{"white": "D50", "areas": samples, "assumed": map[string]any{"least_patches": 12, "largest_residual": 3, "largest_clipped": 0.01, "uneven": 0.25}})
	require.NoError(t, err)
	_, err = scoring.Run(scoring.MethodCard, raw)
	require.Equal(t, registry.CodeInsufficient, registry.CodeOf(err))
	require.ErrorContains(t, err, "no reference card in the frame")
}

// Marks are of the picture as it is seen, however the camera stored it.
func TestMarksFollowTheOrientation(t *testing.T) {
	for o := 1; o <= 8; o++ {
		data := withEXIF(asJPEG(t, stored(uprightPicture(), o)), exif(uint16(o), ""))
		out, err := picture.Light(bytes.NewReader(data), "a.jpg", []picture.Mark{{"red", 0.1, 0.1, 0.3, 0.3}, {"blue", 0.1, 0.6, 0.3, 0.3}}, picture.Limits{})
		require.NoError(t, err)
		require.Greater(t, out[0].Linear[0], 0.9, "orientation %d", o)
		require.Less(t, out[0].Linear[2], 0.05)
		require.Greater(t, out[1].Linear[2], 0.9, "orientation %d", o)
		require.Equal(t, 1.0, out[0].Clipped)
	}
}

// Half of the pixels at 0.5 and half at 1 of the scale, decoded by hand: 0.5 of
// sRGB is 0.21404 of linear light, and 188 of 255 is 0.50289.
func TestLinearLight(t *testing.T) {
	m := image.NewRGBA(image.Rect(0, 0, 20, 20))
	for y := range 20 {
		for x := range 20 {
			m.SetRGBA(x, y, color.RGBA{188, uint8(100 + x/10*100), 60, 255})
		}
	}
	out, err := picture.Light(bytes.NewReader(asPNG(t, m)), "a.png", []picture.Mark{{"all", 0, 0, 1, 1}}, picture.Limits{})
	require.NoError(t, err)
	require.Equal(t, 400, out[0].Pixels)
	require.InDelta(t, 0.50289, out[0].Linear[0], 1e-5)
	require.InDelta(t, (0.12744+0.57758)/2, out[0].Linear[1], 1e-5)
	require.InDelta(t, (0.57758-0.12744)/2, out[0].SD[1], 1e-5)
	require.Zero(t, out[0].Clipped)
}

func TestMarksAreChecked(t *testing.T) {
	data := asPNG(t, uprightPicture())
	for _, c := range []struct {
		marks []picture.Mark
		code  registry.Code
		words string
	}{
		{nil, registry.CodeInsufficient, "Nothing is marked"},
		{[]picture.Mark{{"a", 0.9, 0, 0.2, 1}}, registry.CodeInvalid, "do not fit"},
		{[]picture.Mark{{"a", 0, 0, math.NaN(), 1}}, registry.CodeInvalid, "do not fit"},
		{[]picture.Mark{{"a", 0, 0, 1, 1}, {"a", 0, 0, 1, 1}}, registry.CodeInvalid, "do not fit"},
		{[]picture.Mark{{"a", 0, 0, 0.05, 0.05}}, registry.CodeInsufficient, "mostly noise"},
	} {
		_, err := picture.Light(bytes.NewReader(data), "a.png", c.marks, picture.Limits{})
		require.Equal(t, c.code, registry.CodeOf(err))
		require.ErrorContains(t, err, c.words)
	}
	_, err := picture.Light(strings.NewReader("GIF89a"), "a.gif", []picture.Mark{{"a", 0, 0, 1, 1}}, picture.Limits{})
	require.Equal(t, registry.CodeUnsupported, registry.CodeOf(err))
}
