package picture

import (
	"image"
	"image/color"

	"golang.org/x/image/draw"
)

// shrink draws a picture on white, with its longest side at most limit pixels.
// It averages whole blocks of pixels first, so fine lines do not break up, and
// interpolates only the rest, less than two to one. It never enlarges.
func shrink(src image.Image, limit int) *image.RGBA {
	b := src.Bounds()
	w, h := b.Dx(), b.Dy()
	longest := max(w, h)
	blocks := average(src, max(1, min(longest/limit, w, h)))
	if longest <= limit {
		return blocks
	}
	dst := image.NewRGBA(image.Rect(0, 0, max(1, w*limit/longest), max(1, h*limit/longest)))
	draw.ApproxBiLinear.Scale(dst, dst.Bounds(), blocks, blocks.Bounds(), draw.Src, nil)
	return dst
}

// average makes one pixel of each block of k × k, a strip of k rows at a time.
// Rows and columns that do not fill a block, fewer than k, are left out.
func average(src image.Image, k int) *image.RGBA {
	b := src.Bounds()
	w, h := b.Dx()/k, b.Dy()/k
	dst := image.NewRGBA(image.Rect(0, 0, w, h))
	strip := image.NewRGBA(image.Rect(0, 0, w*k, k))
	white := image.NewUniform(color.White)
	area := k * k
	for y := range h {
		draw.Draw(strip, strip.Bounds(), white, image.Point{}, draw.Src)
		draw.Draw(strip, strip.Bounds(), src, image.Pt(b.Min.X, b.Min.Y+y*k), draw.Over)
		for x := range w {
			var sum [4]int
			for row := range k {
				pixels := strip.Pix[row*strip.Stride+x*k*4:][:k*4]
				for i := 0; i < len(pixels); i += 4 {
					sum[0] += int(pixels[i])
					sum[1] += int(pixels[i+1])
					sum[2] += int(pixels[i+2])
				}
			}
			out := dst.Pix[y*dst.Stride+x*4:][:4]
			for c := range 3 {
				out[c] = uint8((sum[c] + area/2) / area)
			}
			out[3] = 255
		}
	}
	return dst
}

// upright turns a picture by its EXIF orientation, 1 to 8 (EXIF 2.32, 4.6.5:
// where the first row and the first column of the stored pixels belong).
func upright(src *image.RGBA, orientation int) image.Image {
	if orientation < 2 || orientation > 8 {
		return src
	}
	w, h := src.Bounds().Dx(), src.Bounds().Dy()
	dw, dh := w, h
	if orientation >= 5 {
		dw, dh = h, w
	}
	dst := image.NewRGBA(image.Rect(0, 0, dw, dh))
	for y := range dh {
		for x := range dw {
			sx, sy := storedAt(x, y, w, h, orientation)
			copy(dst.Pix[dst.PixOffset(x, y):][:4], src.Pix[src.PixOffset(sx, sy):][:4])
		}
	}
	return dst
}

// storedAt is where the pixel that is seen at (x, y) stands among the w × h
// stored ones.
func storedAt(x, y, w, h, orientation int) (int, int) {
	switch orientation {
	case 2: // mirrored
		return w - 1 - x, y
	case 3: // upside down
		return w - 1 - x, h - 1 - y
	case 4: // mirrored, upside down
		return x, h - 1 - y
	case 5: // mirrored, on its side
		return y, x
	case 6: // on its side, to be turned clockwise
		return y, h - 1 - x
	case 7: // mirrored, on its other side
		return w - 1 - y, h - 1 - x
	case 8: // on its side, to be turned anticlockwise
		return w - 1 - y, x
	}
	return x, y
}
