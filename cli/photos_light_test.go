package cli

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/server"
)

// A marked half of a picture gives its own light: sRGB 188 is 0.503 in linear
// light (IEC 61966-2-1).
func TestLightOfAnUploadedPicture(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 80, 40))
	for x := range 80 {
		for y := range 40 {
			m.Set(x, y, map[bool]color.NRGBA{true: {188, 188, 188, 255}, false: {20, 20, 20, 255}}[x < 40])
		}
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, m))
	out, err := readLight(bytes.NewReader(b.Bytes()), "card.png", []server.Mark{{ID: "grey", X: 0.05, Y: 0.1, Width: 0.4, Height: 0.8}})
	require.NoError(t, err)
	require.Equal(t, "grey", out[0].ID)
	require.InDeltaSlice(t, []float64{0.503, 0.503, 0.503}, out[0].Linear, 0.001)
	_, err = readLight(bytes.NewReader(b.Bytes()), "card.png", []server.Mark{{ID: "beyond", X: 0.9, Y: 0.1, Width: 0.4, Height: 0.8}})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}
