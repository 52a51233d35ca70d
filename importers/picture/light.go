package picture

import (
	"bytes"
	"fmt"
	"image"
	"io"
	"math"

	"example.org/asfound/registry"
)

// Limits of what is marked in a picture.
const (
	maxMarks     = 500
	fewestPixels = 100
)

// Mark is a part of a picture, as fractions of its width and height when it is
// seen upright.
type Mark struct {
	ID     string  `json:"id"`
	X      float64 `json:"x"` // of the left edge
	Y      float64 `json:"y"` // of the upper edge
	Width  float64 `json:"width"`
	Height float64 `json:"height"`
}

// Sample is the light of a marked part, in the shape in which the method card/1
// takes it.
type Sample struct {
	ID     string `json:"id"`
	Pixels int    `json:"pixels"`
	// Linear is the mean of red, green and blue in linear light, 0 to 1, and SD
	// the deviation of single pixels.
	Linear [3]float64 `json:"linear"`
	SD     [3]float64 `json:"sd"`
	// Clipped is the share of pixels of which any of the three stands at an end
	// of the scale, where the camera may have cut it off.
	Clipped float64 `json:"clipped"`
}

// Light reads the marked parts of a picture in linear light. The stored values
// are decoded as sRGB (IEC 61966-2-1), which cameras write unless told otherwise;
// another curve shows when a reference card is held against them. It says nothing
// of colour: that needs a card in the same frame.
//
// Codes as for Read; CodeInsufficient when nothing is marked or a mark is
// smaller than 100 pixels, CodeInvalid for a mark outside the picture.
func Light(r io.Reader, name string, marks []Mark, limits Limits) ([]Sample, error) {
	if err := checkMarks(marks); err != nil {
		return nil, err
	}
	limits = limits.filled()
	data, f, config, err := open(r, name, limits)
	if err != nil {
		return nil, err
	}
	orientation := claims(data, f).Orientation
	release := slots.acquire(int64(config.Width) * int64(config.Height))
	defer release()
	full, err := guarded(name, func() (image.Image, error) { return f.decode(bytes.NewReader(data)) })
	if err != nil {
		return nil, damaged(name, f, err)
	}
	decoded := linearLight()
	out := make([]Sample, len(marks))
	for i, m := range marks {
		if out[i], err = m.sample(full, orientation, decoded); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func checkMarks(marks []Mark) error {
	if len(marks) == 0 {
		return registry.Refuse(registry.CodeInsufficient, "Mark the patches of the reference card and the parts whose colour is asked for.", "Nothing is marked in the picture")
	}
	e := &registry.Error{Code: registry.CodeInvalid, Message: "The marks do not fit the picture", Fix: "Mend them at the places listed."}
	bad := func(i int, found, message, fix string) {
		e.Fields = append(e.Fields, registry.Field{Pointer: fmt.Sprintf("/marks/%d", i), Found: found, Allowed: "fractions of the picture, 0 to 1", Message: message, Fix: fix})
	}
	if len(marks) > maxMarks {
		bad(maxMarks, fmt.Sprint(len(marks), " marks"), fmt.Sprint("At most ", maxMarks, " marks are read"), "Leave some out.")
	}
	seen := map[string]bool{}
	for i, m := range marks {
		if m.ID == "" || seen[m.ID] {
			bad(i, m.ID, "A mark has no name, or one that another has", "Name each once.")
		}
		seen[m.ID] = true
		if !(m.X >= 0 && m.Y >= 0 && m.Width > 0 && m.Height > 0 && m.X+m.Width <= 1 && m.Y+m.Height <= 1) {
			bad(i, fmt.Sprintf("%g, %g, %g × %g", m.X, m.Y, m.Width, m.Height), "The mark "+m.ID+" lies outside the picture, or has no size", "Give the left and upper edge, width and height as fractions.")
		}
	}
	if len(e.Fields) > 0 {
		return e
	}
	return nil
}

// sample takes the pixels that lie wholly inside the mark.
func (m Mark) sample(full image.Image, orientation int, decoded []float64) (Sample, error) {
	b := full.Bounds()
	w, h := b.Dx(), b.Dy()
	seenW, seenH := w, h
	if orientation >= 5 {
		seenW, seenH = h, w
	}
	inside := func(at, size float64, n int) (int, int) {
		return int(math.Ceil(at*float64(n) - 1e-9)), int(math.Floor((at+size)*float64(n) + 1e-9))
	}
	left, right := inside(m.X, m.Width, seenW)
	top, bottom := inside(m.Y, m.Height, seenH)
	s := Sample{ID: m.ID, Pixels: max(0, right-left) * max(0, bottom-top)}
	if s.Pixels < fewestPixels {
		return s, &registry.Error{Code: registry.CodeInsufficient, Message: fmt.Sprintf("The mark %s holds %d pixels; fewer than %d are mostly noise", m.ID, s.Pixels, fewestPixels),
			Fix: "Photograph it larger, or mark more of it."}
	}
	var sum, squares [3]float64
	clipped := 0
	for y := top; y < bottom; y++ {
		for x := left; x < right; x++ {
			sx, sy := storedAt(x, y, w, h, orientation)
			r, g, b, _ := full.At(b.Min.X+sx, b.Min.Y+sy).RGBA()
			cut := false
			for k, v := range [3]uint32{r, g, b} {
				cut = cut || v>>8 <= 1 || v>>8 >= 254
				sum[k] += decoded[v]
				squares[k] += decoded[v] * decoded[v]
			}
			if cut {
				clipped++
			}
		}
	}
	n := float64(s.Pixels)
	for k := range sum {
		s.Linear[k] = min(1, sum[k]/n)
		s.SD[k] = math.Sqrt(max(0, squares[k]/n-s.Linear[k]*s.Linear[k]))
	}
	s.Clipped = float64(clipped) / n
	return s, nil
}

// linearLight decodes every value of 16 bits (IEC 61966-2-1, 5.2).
func linearLight() []float64 {
	t := make([]float64, 1<<16)
	for i := range t {
		v := float64(i) / 0xffff
		if t[i] = v / 12.92; v > 0.04045 {
			t[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return t
}
