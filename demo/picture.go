package demo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"strings"
	"time"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"
)

// Picture is one drawn picture of the story, with what its caption sheet says.
type Picture struct {
	File, ID, Components, Shows, Openings, Caption string
	Withhold                                       bool
	Taken                                          time.Time
	// Turned pictures are stored on their side, with the mark by which a
	// camera says so.
	Turned bool
}

// pictures lists the pictures of the story.
func pictures() []Picture {
	day := func(month time.Month, day, hour int) time.Time {
		return time.Date(2026, month, day, hour, 12, 0, 0, time.UTC)
	}
	return []Picture{
		{"found.jpg", "ph-found", "", "as-found", "", "As found in the dairy barn, under hay sacks", false, day(3, 2, 9), false},
		{"right.jpg", "ph-right", "frame.main; fuel.tank; exhaust.silencer", "as-found", "", "Right side, hub height, before anything was touched", false, day(3, 3, 10), false},
		{"left.jpg", "ph-left", "frame.main; fuel.tank; primary.chaincase-outer", "as-found", "", "Left side, hub height, before anything was touched", false, day(3, 3, 10), false},
		{"frame-number.jpg", "ph-frame-number", "frame.number", "number", "", "Frame number in raking light, not cleaned", true, day(3, 3, 11), true},
		{"tank-left.jpg", "ph-tank-left", "fuel.tank; fuel.tank-finish", "as-found", "", "Tank, left: crease below the knee grip, lining ends short", false, day(3, 3, 11), false},
		{"tank-mounts.jpg", "ph-tank-mounts", "fuel.tank", "as-found", "tank-off", "Rear tank bolts as found, slot shine on both", false, day(3, 3, 12), false},
		{"tank-seam.jpg", "ph-tank-seam", "fuel.tank", "as-found", "", "Two damp halos low on the left seam", false, day(3, 3, 12), false},
		{"points-cap.jpg", "ph-points-cap", "ignition.contact-breaker; ignition.condenser", "as-found", "points-cap", "Points cap as found, no joint disturbed by it", false, day(3, 3, 13), false},
		{"front-spindle.jpg", "ph-front-spindle", "wheels.front.hub; brakes.front.plate", "as-found", "front-wheel-out", "Front spindle nut as found, rounded by a wrong spanner", false, day(3, 3, 13), false},
		{"rear-spindle.jpg", "ph-rear-spindle", "wheels.rear.hub", "as-found", "rear-wheel-out", "Rear spindle as found under grease", false, day(3, 3, 13), false},
		{"timing-cover.jpg", "ph-timing-cover", "engine.timing-cover", "as-found", "timing-cover", "Timing cover: two cross-heads among six slotted screws", false, day(3, 3, 14), false},
		{"lining.jpg", "ph-lining", "brakes.front.linings", "as-found", "", "Front lining lifting at the trailing end, seen through the inspection hole", false, day(3, 3, 14), false},
		{"tyre-front.jpg", "ph-tyre-front", "wheels.front.tyre", "as-found", "", "Front tyre, code 127: not for use", false, day(3, 3, 14), false},
		{"mudguard-rear.jpg", "ph-mudguard-rear", "history.owner-marks; tinware.rear-mudguard", "as-found", "", "The painted round number seven on the rear mudguard", false, day(3, 3, 15), false},
		{"print-1959.jpg", "ph-print-1959", "fuel.tank", "document", "", "Print of August 1959, front", true, day(3, 11, 10), false},
		{"bill-1958.jpg", "ph-bill-1958", "tinware.front-mudguard; electrical.head-lamp", "document", "", "Garage bill of November 1958", true, day(3, 11, 10), false},
	}
}

// later lists the pictures that come while the work goes on.
func later() []Picture {
	at := func(month time.Month, day int) time.Time { return time.Date(2026, month, day, 16, 5, 0, 0, time.UTC) }
	return []Picture{
		{"warranty.jpg", "ph-warranty", "gearbox.shell", "document", "", "Works invoice 4417 of October 1959", true, at(4, 29), false},
		{"head-joint.jpg", "ph-head-joint", "engine.head; engine.barrel", "as-found", "head-off", "Head joint as found: sealer and paint bridge it all round", false, at(4, 22), false},
		{"tank-seam-after.jpg", "ph-tank-seam-after", "fuel.tank", "after", "", "Left seam after soldering, enamel untouched above it", false, at(4, 11), false},
		{"brake-lining.jpg", "ph-brake-lining", "brakes.front.linings", "after", "", "Relined shoes, the old piece sealed in its bag beside them", false, at(5, 2), false},
		{"turns.jpg", "ph-turns", "engine.crankshaft", "work", "", "Turned by the rear wheel, plug out, both valves moving", false, at(5, 16), false},
		{"spark.jpg", "ph-spark", "ignition.magneto", "work", "", "Spark across 5.5 mm, cold and again warm", false, at(5, 16), false},
		{"run.jpg", "ph-run", "exhaust.pipe", "work", "", "First run on the slave bottle, extinguisher and fan beside it", false, at(5, 23), false},
		{"stop-test.jpg", "ph-stop-test", "brakes.front.plate", "work", "", "Stop from 20 mph on the village hall's yard", false, at(6, 13), false},
	}
}

// PictureFolder draws a set of pictures and its caption sheet: file name to
// content. Sets are "as-found" and "later".
func PictureFolder(set string) (map[string][]byte, error) {
	list := pictures()
	if set == "later" {
		list = later()
	}
	out := map[string][]byte{}
	sheet := "file;id;components;shows;openings;caption;scale;withhold;by;taken\n"
	for _, p := range list {
		data, err := p.jpeg()
		if err != nil {
			return nil, fmt.Errorf("draw %s: %w", p.File, err)
		}
		out[p.File] = data
		withhold := "no"
		if p.Withhold {
			withhold = "yes"
		}
		scale := "100 mm bar"
		if p.Shows == "document" {
			scale = ""
		}
		sheet += fmt.Sprintf("%s;%s;%q;%s;%s;%q;%s;%s;mechanic;%s\n", p.File, p.ID, p.Components, p.Shows, p.Openings, p.Caption, scale, withhold, p.Taken.Format(time.DateOnly))
	}
	out["photos.csv"] = []byte(sheet)
	return out, nil
}

const width, height = 640, 480

// jpeg draws the picture: a stand-in that says so, with the caption, a scale bar
// and a shape that differs from one to the next.
func (p Picture) jpeg() ([]byte, error) {
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	h := fnv.New32a()
	h.Write([]byte(p.File))
	seed := h.Sum32()
	back := color.RGBA{uint8(70 + seed%50), uint8(72 + seed>>8%46), uint8(66 + seed>>16%40), 255}
	if p.Shows == "document" {
		back = color.RGBA{206, 196, 170, 255}
	}
	for y := range height {
		shade := 1 - 0.25*float64(y)/height
		line := color.RGBA{uint8(float64(back.R) * shade), uint8(float64(back.G) * shade), uint8(float64(back.B) * shade), 255}
		draw.Draw(img, image.Rect(0, y, width, y+1), image.NewUniform(line), image.Point{}, draw.Src)
	}
	ink := color.RGBA{24, 22, 20, 255}
	if p.Shows == "document" {
		for i := range 14 {
			fill(img, 70, 80+i*26, 70+260+int(seed>>uint(i)%7)*30, 86+i*26, color.RGBA{120, 110, 96, 255})
		}
	} else {
		machine(img, seed, ink)
	}
	// Scale bar: ten squares of alternating tone.
	if p.Shows != "document" {
		for i := range 10 {
			tone := color.RGBA{235, 235, 230, 255}
			if i%2 == 1 {
				tone = ink
			}
			fill(img, 40+i*16, 420, 56+i*16, 432, tone)
		}
		write(img, 40, 450, "100 mm", color.RGBA{235, 235, 230, 255})
	}
	fill(img, 0, 0, width, 44, color.RGBA{245, 243, 236, 255})
	write(img, 12, 18, "DRAWN FOR THE DEMONSTRATION: NO SUCH MACHINE EXISTS", color.RGBA{150, 30, 20, 255})
	write(img, 12, 36, p.Caption, ink)
	var out image.Image = img
	orientation := 1
	if p.Turned {
		out, orientation = quarterTurn(img), 6
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, out, &jpeg.Options{Quality: 80}); err != nil {
		return nil, err
	}
	return withExif(buf.Bytes(), p.Taken, orientation), nil
}

// machine draws two wheels, a frame and a tank as a child would.
func machine(img *image.RGBA, seed uint32, ink color.RGBA) {
	shift := int(seed%60) - 90
	for _, x := range []int{230 + shift, 530 + shift} {
		ring(img, x, 310, 84, 8, ink)
		ring(img, x, 310, 16, 16, ink)
	}
	stroke(img, 230+shift, 310, 320+shift, 170, 7, ink)
	stroke(img, 320+shift, 170, 480+shift, 180, 7, ink)
	stroke(img, 480+shift, 180, 530+shift, 310, 7, ink)
	stroke(img, 320+shift, 170, 380+shift, 310, 7, ink)
	stroke(img, 380+shift, 310, 530+shift, 310, 7, ink)
	fill(img, 335+shift, 125, 455+shift, 168, color.RGBA{uint8(90 + seed%90), 34, 30, 255})
	fill(img, 345+shift, 210, 425+shift, 295, color.RGBA{140, 140, 136, 255})
	stroke(img, 300+shift, 110, 340+shift, 135, 6, ink)
}

func fill(img *image.RGBA, x0, y0, x1, y1 int, c color.Color) {
	draw.Draw(img, image.Rect(x0, y0, x1, y1), image.NewUniform(c), image.Point{}, draw.Src)
}

func ring(img *image.RGBA, cx, cy, radius, thick int, c color.RGBA) {
	for y := cy - radius; y <= cy+radius; y++ {
		for x := cx - radius; x <= cx+radius; x++ {
			if d := math.Hypot(float64(x-cx), float64(y-cy)); d <= float64(radius) && d >= float64(radius-thick) {
				img.SetRGBA(x, y, c)
			}
		}
	}
}

func stroke(img *image.RGBA, x0, y0, x1, y1, thick int, c color.RGBA) {
	steps := max(abs(x1-x0), abs(y1-y0))
	for i := range steps + 1 {
		x, y := x0+(x1-x0)*i/steps, y0+(y1-y0)*i/steps
		fill(img, x-thick/2, y-thick/2, x+thick/2+1, y+thick/2+1, c)
	}
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

func write(img *image.RGBA, x, y int, text string, c color.RGBA) {
	d := font.Drawer{Dst: img, Src: image.NewUniform(c), Face: basicfont.Face7x13, Dot: fixed.P(x, y)}
	d.DrawString(strings.Map(func(r rune) rune {
		if r > 126 {
			return '-'
		}
		return r
	}, text))
}

// quarterTurn turns a picture a quarter to the left, so that a viewer who
// follows orientation 6 turns it back.
func quarterTurn(img *image.RGBA) image.Image {
	b := img.Bounds()
	out := image.NewRGBA(image.Rect(0, 0, b.Dy(), b.Dx()))
	for y := range b.Dy() {
		for x := range b.Dx() {
			out.SetRGBA(y, b.Dx()-1-x, img.RGBAAt(x, y))
		}
	}
	return out
}

// withExif puts an Exif block (EXIF 2.32) behind the start of a JPEG: the
// orientation and the time on the camera's clock.
func withExif(data []byte, taken time.Time, orientation int) []byte {
	var tiff bytes.Buffer
	put := func(v any) { binary.Write(&tiff, binary.BigEndian, v) } // a bytes.Buffer never fails
	put([]byte("MM\x00*"))
	put(uint32(8))
	put(uint16(2))
	put([]uint16{0x0112, 3})
	put(uint32(1))
	put([]uint16{uint16(orientation), 0})
	put([]uint16{0x8769, 4})
	put([]uint32{1, 8 + 2 + 2*12 + 4})
	put(uint32(0))
	put(uint16(1))
	put([]uint16{0x9003, 2})
	put([]uint32{20, uint32(tiff.Len()) + 8 + 4})
	put(uint32(0))
	put([]byte(taken.Format("2006:01:02 15:04:05") + "\x00"))
	block := append([]byte("Exif\x00\x00"), tiff.Bytes()...)
	head := []byte{0xff, 0xd8, 0xff, 0xe1, byte((len(block) + 2) >> 8), byte(len(block) + 2)}
	return append(append(head, block...), data[2:]...)
}
