package cli

import (
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/scoring"
)

// cardScene draws squares in a row, each of one sRGB colour.
func cardScene(t *testing.T, name string, colours [][3]uint8) {
	t.Helper()
	m := image.NewNRGBA(image.Rect(0, 0, 40*len(colours), 40))
	for i, c := range colours {
		for x := range 40 {
			for y := range 40 {
				m.Set(40*i+x, y, color.NRGBA{c[0], c[1], c[2], 255})
			}
		}
	}
	f, err := os.Create(name)
	require.NoError(t, err)
	require.NoError(t, png.Encode(f, m))
	require.NoError(t, f.Close())
}

// labOfSRGB is the Lab (D65) of a colour of sRGB, by IEC 61966-2-1 and CIE 15.
func labOfSRGB(c [3]uint8) [3]float64 {
	var linear [3]float64
	for i, v := range c {
		x := float64(v) / 255
		if linear[i] = x / 12.92; x > 0.04045 {
			linear[i] = math.Pow((x+0.055)/1.055, 2.4)
		}
	}
	f := func(v float64) float64 {
		if v > 216.0/24389 {
			return math.Cbrt(v)
		}
		return (24389.0/27*v + 16) / 116
	}
	x := f((0.4124*linear[0] + 0.3576*linear[1] + 0.1805*linear[2]) / 0.9505)
	y := f(0.2126*linear[0] + 0.7152*linear[1] + 0.0722*linear[2])
	z := f((0.0193*linear[0] + 0.1192*linear[1] + 0.9505*linear[2]) / 1.089)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

func TestCardColour(t *testing.T) {
	dir := t.TempDir()
	picture, marks := filepath.Join(dir, "card.png"), filepath.Join(dir, "marks.csv")
	rgb := [][3]uint8{{20, 20, 20}, {60, 60, 60}, {119, 119, 119}, {180, 180, 180}, {235, 235, 235}, {180, 60, 60}, {60, 140, 70}, {50, 70, 150}, {220, 200, 60}, {170, 80, 140}, {60, 140, 160}, {200, 120, 60}, {110, 80, 60}, {128, 64, 64}}
	cardScene(t, picture, rgb)
	lines := []string{"name;left;top;width;height;L;a;b"}
	n := float64(len(rgb))
	for i, c := range rgb[:len(rgb)-1] {
		l := labOfSRGB(c)
		lines = append(lines, fmt.Sprintf("p%d;%.4f;0.1;%.4f;0.8;%.3f;%.3f;%.3f", i, (float64(i)+0.1)/n, 0.8/n, l[0], l[1], l[2]))
	}
	area := fmt.Sprintf("tank;%.4f;0.1;%.4f;0.8", (n-1+0.1)/n, 0.8/n)
	write := func(lines ...string) {
		require.NoError(t, os.WriteFile(marks, []byte(strings.Join(lines, "\n")+"\n"), 0o600))
	}
	write(append(lines, area)...)
	registry := filepath.Join(dir, "registry")
	status, out, failed := typed(registry, "", "card-colour", picture, "--marks", marks, "--white", "D65")
	require.Zero(t, status, failed)
	require.Contains(t, out, "tank: L ")
	require.Contains(t, out, "Patches left out of the fit are missed by")
	require.NoDirExists(t, registry, "asking makes no registry")

	status, out, failed = typed(registry, "", "card-colour", picture, "--marks", marks, "--white", "D65", "--json")
	require.Zero(t, status, failed)
	var r scoring.CardResult
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	want := labOfSRGB(rgb[len(rgb)-1])
	require.InDelta(t, want[0], r.Areas[0].Lab.L, 1)
	require.InDelta(t, want[1], r.Areas[0].Lab.A, 1)
	require.InDelta(t, want[2], r.Areas[0].Lab.B, 1)

	// Without enough patches a picture says nothing of colour.
	write(append(lines[:7:7], area)...)
	status, _, failed = typed(registry, "", "card-colour", picture, "--marks", marks)
	require.Equal(t, 9, status, "too little evidence")
	require.Contains(t, failed, "patches")
	write("p;0;0;0.1;0.1;50;0", "q;0;zero;0.1;0.1;50;0;0")
	status, _, failed = typed(registry, "", "card-colour", picture, "--marks", marks)
	require.Equal(t, 3, status)
	require.Contains(t, failed, "marks.csv, row 1: The row is neither a patch nor an area")
	require.Contains(t, failed, `marks.csv, row 2: Column "top": This is not a number`)
	status, _, failed = typed(registry, "", "card-colour", filepath.Join(dir, "none.png"), "--marks", marks)
	require.NotZero(t, status)
	require.Contains(t, failed, "row 1")
}
