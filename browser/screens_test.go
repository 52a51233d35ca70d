package browser

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/draw"
)

// screens are the pages whose look is kept under testdata/screens.
var screens = []struct{ name, path string }{
	{"register", "/"},
	{"machine", "/machines/drover"},
	{"component", "/machines/drover/components/fuel.tank"},
	{"options", "/machines/drover/options"},
	{"plan", "/machines/drover/plan"},
	{"work", "/machines/drover/work"},
	{"record", "/machines/drover/record"},
	{"thread", "/bench/thread"},
	{"drawing", "/machines/drover/drawing"},
	{"story", "/machines/drover/story"},
	{"survey", "/machines/drover-no-papers/survey"},
	{"survey-stop", "/machines/drover-no-papers/survey/fuel.tank"},
	{"verify", "/verify"},
	{"compare", "/compare?a=drover&b=thirlbeck"},
}

// TestScreens compares each page with how it looked when somebody last looked
// at it: loosely, so that another font does not matter and a lost stylesheet
// does. UPDATE_GOLDEN=1 keeps the new looks; look at them.
func TestScreens(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	for _, size := range []struct {
		name string
		set  func(*testing.T, context.Context)
	}{{"phone", phone}, {"desk", desk}} {
		for _, page := range screens {
			t.Run(page.name+"-"+size.name, func(t *testing.T) {
				size.set(t, ctx)
				do(t, ctx, chromedp.Navigate(s.url+page.path))
				until(t, ctx, offered)
				sameLook(t, ctx, page.name+"-"+size.name)
			})
		}
	}
}

// offered is true once the page's script has put in what only it can offer, and
// the pictures that are seen have come, which a browser fetches late; a look
// taken before that lacks a row of buttons, or a picture.
const offered = `[...document.querySelectorAll('.keepable')].every(place => place.childElementCount) &&
	[...document.images].every(i => i.complete || i.getBoundingClientRect().top > innerHeight)`

// thumb is the size of a kept look, in pixels, and most is the largest mean
// difference that it may have, of 255. A page without its stylesheet differs by
// more than 30, another font by about 5.
const (
	thumbWide, thumbHigh = 96, 144
	most                 = 12.0
)

// sameLook compares what the window shows with the kept look of that name.
func sameLook(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	shot, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	require.NoError(t, err)
	got := thumb(t, shot)
	kept := filepath.Join("testdata", "screens", name+".png")
	if os.Getenv("UPDATE_GOLDEN") != "" {
		var b bytes.Buffer
		require.NoError(t, png.Encode(&b, got))
		require.NoError(t, os.WriteFile(kept, b.Bytes(), 0o644))
		return
	}
	text, err := os.ReadFile(kept)
	require.NoError(t, err, "no look is kept: run with UPDATE_GOLDEN=1, and look at it")
	want, err := png.Decode(bytes.NewReader(text))
	require.NoError(t, err)
	if d := difference(got, want); d > most {
		failed := filepath.Join(os.TempDir(), "asfound-"+name+".png")
		os.WriteFile(failed, shot, 0o644)
		t.Errorf("%s looks different: %.1f of 255, at most %.0f; see %s", name, d, most, failed)
	}
}

// thumb is a screenshot made small and grey, so that letters blur into lines.
func thumb(t *testing.T, shot []byte) *image.Gray {
	t.Helper()
	full, err := png.Decode(bytes.NewReader(shot))
	require.NoError(t, err)
	out := image.NewGray(image.Rect(0, 0, thumbWide, thumbHigh))
	draw.ApproxBiLinear.Scale(out, out.Bounds(), full, full.Bounds(), draw.Src, nil)
	return out
}

// difference is the root of the mean square difference of two looks, of 255.
func difference(a, b image.Image) float64 {
	sum := 0.0
	for y := range thumbHigh {
		for x := range thumbWide {
			d := float64(color.GrayModel.Convert(a.At(x, y)).(color.Gray).Y) - float64(color.GrayModel.Convert(b.At(x, y)).(color.Gray).Y)
			sum += d * d
		}
	}
	return math.Sqrt(sum / (thumbWide * thumbHigh))
}

// TestLooksDiffer shows that a broken layout is seen and a small change is not.
func TestLooksDiffer(t *testing.T) {
	ctx := open(t)
	s := serve(t, demoRegistry(t))
	phone(t, ctx)
	look := func() *image.Gray {
		shot, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		require.NoError(t, err)
		return thumb(t, shot)
	}
	do(t, ctx, chromedp.Navigate(s.url+"/machines/drover"))
	until(t, ctx, offered)
	whole := look()
	ask[bool](t, ctx, `document.querySelector('.tag-name').textContent = 'another name'; true`)
	require.Less(t, difference(whole, look()), most)
	ask[bool](t, ctx, `document.querySelector('link[rel=stylesheet]').remove(); true`)
	require.Greater(t, difference(whole, look()), most)
}
