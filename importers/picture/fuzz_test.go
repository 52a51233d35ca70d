package picture_test

import (
	"bytes"
	"image"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers/picture"
	"example.org/asfound/registry"
)

// FuzzLight: a mark in a picture gives light between 0 and 1 from as many
// pixels as lie in it, or is refused with a code.
func FuzzLight(f *testing.F) {
	m := image.NewRGBA(image.Rect(0, 0, 60, 40))
	for i := range m.Pix {
		m.Pix[i] = byte(i * 7)
	}
	for _, data := range [][]byte{asJPEG(f, m), asPNG(f, m), withEXIF(asJPEG(f, m), exif(6, "+01:00"))} {
		f.Add(data, 0.1, 0.1, 0.5, 0.5)
	}
	f.Add(asPNG(f, m), 0.0, 0.0, 1.0, 1.0)
	f.Add(asPNG(f, m), math.NaN(), 0.9, math.Inf(1), -0.1)
	f.Add(asPNG(f, m), 0.999999999, 0.0, 1e-9, 1.0)
	f.Fuzz(func(t *testing.T, data []byte, x, y, width, height float64) {
		samples, err := picture.Light(bytes.NewReader(data), "f", []picture.Mark{{ID: "a", X: x, Y: y, Width: width, Height: height}}, picture.Limits{MaxPixels: 1_000_000})
		if err != nil {
			require.NotEqual(t, registry.CodeInternal, registry.CodeOf(err), "%v", err)
			return
		}
		require.Len(t, samples, 1)
		s := samples[0]
		require.True(t, s.Pixels >= 100 && s.Pixels <= 1_000_000, "%d pixels", s.Pixels)
		require.True(t, s.Clipped >= 0 && s.Clipped <= 1)
		for i := range 3 {
			require.True(t, s.Linear[i] >= 0 && s.Linear[i] <= 1 && s.SD[i] >= 0 && s.SD[i] <= 1, "%+v", s)
		}
	})
}
