package server

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// contrasts are pairs of the style sheet's colours and the ratio that each must
// reach: text by success criterion 1.4.6 of WCAG 2.2 (7:1), everything that
// tells a control or a figure by 1.4.11 (3:1).
var contrasts = []struct {
	fronts, backs string
	least         float64
}{
	{"ink soft link own near new gone", "paper sheet", 7},
	{"manila-ink", "manila", 7},
	{"on-own", "own", 7},
	{"edge focus own gone bar bar-back bar-good", "paper sheet", 3},
	{"focus manila-ink", "manila", 3},
}

// TestContrast computes every pair from the style sheet, light and dark.
func TestContrast(t *testing.T) {
	css, err := staticFiles.ReadFile("static/asfound.css")
	require.NoError(t, err)
	light, dark := palettes(t, string(css))
	for scheme, colours := range map[string]map[string]string{"light": light, "dark": dark} {
		for _, c := range contrasts {
			for _, front := range strings.Fields(c.fronts) {
				for _, back := range strings.Fields(c.backs) {
					if got := contrast(t, colours[front], colours[back]); got < c.least {
						t.Errorf("%s: --%s %s on --%s %s has %.2f:1, and needs %g:1", scheme, front, colours[front], back, colours[back], got, c.least)
					}
				}
			}
		}
	}
}

// TestContrastIsReckonedRight by what is published: black on white has 21:1, and
// #767676 is the lightest grey that reaches 4.5:1 on white.
func TestContrastIsReckonedRight(t *testing.T) {
	require.InDelta(t, 21, contrast(t, "#000", "#ffffff"), 1e-9)
	require.Greater(t, contrast(t, "#767676", "#fff"), 4.5)
	require.Less(t, contrast(t, "#777777", "#fff"), 4.5)
}

var (
	rootBlock = regexp.MustCompile(`:root\{([^}]*)\}`)
	colourVar = regexp.MustCompile(`--([a-z-]+):(#[0-9a-f]{3,6})\b`)
)

// palettes are the colours of the light scheme, and of the dark one laid over it.
func palettes(t *testing.T, css string) (light, dark map[string]string) {
	t.Helper()
	blocks := rootBlock.FindAllStringSubmatch(css, -1)
	require.GreaterOrEqual(t, len(blocks), 2)
	light, dark = map[string]string{}, map[string]string{}
	for _, m := range colourVar.FindAllStringSubmatch(blocks[0][1], -1) {
		light[m[1]], dark[m[1]] = m[2], m[2]
	}
	for _, m := range colourVar.FindAllStringSubmatch(blocks[1][1], -1) {
		dark[m[1]] = m[2]
	}
	require.NotEqual(t, light["paper"], dark["paper"])
	return light, dark
}

// contrast is the ratio of WCAG 2.2, 1 to 21, of two colours as #rgb or #rrggbb.
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// luminance is the relative luminance of WCAG 2.2, 0 to 1.
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	hex := strings.TrimPrefix(colour, "#")
	if len(hex) == 3 {
		hex = fmt.Sprintf("%c%c%c%c%c%c", hex[0], hex[0], hex[1], hex[1], hex[2], hex[2])
	}
	require.Len(t, hex, 6, "the colour %q", colour)
	sum := 0.0
	for i, share := range []float64{0.2126, 0.7152, 0.0722} {
		v, err := strconv.ParseUint(hex[2*i:2*i+2], 16, 8)
		require.NoError(t, err)
		c := float64(v) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += share * c
	}
	return sum
}
