package picture_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os/exec"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/image/draw"

	"example.org/asfound/importers/picture"
	"example.org/asfound/registry"
)

// tag is one entry of an EXIF directory.
type tag struct {
	id, kind uint16 // kinds of TIFF 6.0: 2 text, 3 short, 4 long, 5 rational
	count    uint32
	value    []byte
}

func short(id uint16, v uint16) tag {
	return tag{id, 3, 1, binary.BigEndian.AppendUint16(nil, v)}
}
func words(id uint16, s string) tag { return tag{id, 2, uint32(len(s) + 1), append([]byte(s), 0)} }

func rationals(id uint16, vs ...uint32) tag {
	var b []byte
	for _, v := range vs {
		b = binary.BigEndian.AppendUint32(b, v)
	}
	return tag{id, 5, uint32(len(vs) / 2), b}
}

// directory writes a directory that begins at offset at, with what does not fit
// into four bytes behind it.
func directory(at int, tags []tag) []byte {
	head := binary.BigEndian.AppendUint16(nil, uint16(len(tags)))
	var tail []byte
	behind := at + 2 + 12*len(tags) + 4
	for _, t := range tags {
		head = binary.BigEndian.AppendUint16(head, t.id)
		head = binary.BigEndian.AppendUint16(head, t.kind)
		head = binary.BigEndian.AppendUint32(head, t.count)
		if len(t.value) <= 4 {
			head = append(head, append(bytes.Clone(t.value), 0, 0, 0, 0)[:4]...)
			continue
		}
		head = binary.BigEndian.AppendUint32(head, uint32(behind+len(tail)))
		tail = append(tail, t.value...)
		if len(tail)%2 == 1 {
			tail = append(tail, 0)
		}
	}
	return append(append(head, 0, 0, 0, 0), tail...)
}

// exif is the block of a camera that writes orientation, clock and place.
func exif(orientation uint16, offset string) []byte {
	pointer := func(id uint16, to int) tag { return tag{id, 4, 1, binary.BigEndian.AppendUint32(nil, uint32(to))} }
	camera := []tag{words(0x9003, "2026:03:11 14:05:06")}
	if offset != "" {
		camera = append(camera, words(0x9011, offset))
	}
	place := []tag{words(1, "N"), rationals(2, 53, 1, 30, 1, 0, 1), words(3, "W"), rationals(4, 1, 1, 45, 1, 0, 1)}
	first := func(a, b int) []byte {
		return directory(8, []tag{words(0x010f, "Skerrow Optical"), words(0x0110, "Skerrow Optical Two"), short(0x0112, orientation), pointer(0x8769, a), pointer(0x8825, b)})
	}
	size := len(first(0, 0))
	a := 8 + size
	second := directory(a, camera)
	b := a + len(second)
	out := []byte("MM\x00*\x00\x00\x00\x08")
	return append(append(append(out, first(a, b)...), second...), directory(b, place)...)
}

// withEXIF puts an EXIF block into a JPEG, behind its first marker.
func withEXIF(jpegBytes, block []byte) []byte {
	payload := append([]byte("Exif\x00\x00"), block...)
	out := append([]byte{}, jpegBytes[:2]...)
	out = append(out, 0xff, 0xe1)
	out = binary.BigEndian.AppendUint16(out, uint16(len(payload)+2))
	return append(append(out, payload...), jpegBytes[2:]...)
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}))
	return b.Bytes()
}

func asPNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, m))
	return b.Bytes()
}

var corners = []color.RGBA{{255, 0, 0, 255}, {0, 200, 0, 255}, {0, 0, 255, 255}, {250, 220, 0, 255}}

// upright is a picture of 96 × 64 with a colour in each corner: red at the top
// left, green at the top right, blue at the bottom left, yellow at the bottom
// right.
func uprightPicture() *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, 96, 64))
	for i, c := range corners {
		x, y := i%2*48, i/2*32
		draw.Draw(m, image.Rect(x, y, x+48, y+32), image.NewUniform(c), image.Point{}, draw.Src)
	}
	return m
}

// stored gives the pixels as a camera stores them when its orientation tag is
// o. It is written from the standard's own words: where the 0th row and the
// 0th column of the stored picture are when it is seen upright.
func stored(m *image.RGBA, o int) *image.RGBA {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	rows, columns := h, w
	if o >= 5 {
		rows, columns = w, h
	}
	out := image.NewRGBA(image.Rect(0, 0, columns, rows))
	for r := range rows {
		for c := range columns {
			var x, y int
			switch o {
			case 1: // row 0 top, column 0 left
				x, y = c, r
			case 2: // top, right
				x, y = w-1-c, r
			case 3: // bottom, right
				x, y = w-1-c, h-1-r
			case 4: // bottom, left
				x, y = c, h-1-r
			case 5: // row 0 left, column 0 top
				x, y = r, c
			case 6: // right, top
				x, y = w-1-r, c
			case 7: // right, bottom
				x, y = w-1-r, h-1-c
			case 8: // left, bottom
				x, y = r, h-1-c
			}
			out.SetRGBA(c, r, m.RGBAAt(x, y))
		}
	}
	return out
}

func TestEightOrientations(t *testing.T) {
	for o := 1; o <= 8; o++ {
		data := withEXIF(asJPEG(t, stored(uprightPicture(), o)), exif(uint16(o), ""))
		p, err := picture.Read(bytes.NewReader(data), "a.jpg", picture.Limits{})
		require.NoError(t, err)
		require.Equal(t, o, p.Claims.Orientation)
		require.Equal(t, [2]int{96, 64}, [2]int{p.Width, p.Height}, "orientation %d", o)
		m, err := jpeg.Decode(bytes.NewReader(p.Preview))
		require.NoError(t, err)
		require.Equal(t, image.Rect(0, 0, 96, 64), m.Bounds())
		for i, want := range corners {
			r, g, b, _ := m.At(24+i%2*48, 16+i/2*32).RGBA()
			for j, d := range []int{int(r>>8) - int(want.R), int(g>>8) - int(want.G), int(b>>8) - int(want.B)} {
				require.InDelta(t, 0, d, 12, "orientation %d, corner %d, channel %d", o, i, j)
			}
		}
	}
}

func TestThePreviewCarriesPixelsOnly(t *testing.T) {
	data := withEXIF(asJPEG(t, uprightPicture()), exif(6, "+01:00"))
	p, err := picture.Read(bytes.NewReader(data), "a.jpg", picture.Limits{})
	require.NoError(t, err)
	require.Equal(t, data, p.Original, "the original stays as it came")
	require.Equal(t, "2026-03-11T14:05:06+01:00", p.Claims.Taken)
	require.Equal(t, "Skerrow Optical Two", p.Claims.Camera)
	require.NotContains(t, fmt.Sprintf("%+v", p.Claims), "53", "the place is not among the claims")
	require.Contains(t, string(segments(data)), "\xe1", "the original has an APP1 segment")
	for _, marker := range segments(p.Preview) {
		require.False(t, marker >= 0xe1 && marker <= 0xef || marker == 0xfe, "segment %x in the preview", marker)
	}
	require.True(t, registry.CheckDigest(p.Digest) && registry.CheckDigest(p.PreviewDigest))

	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	ask := func(data []byte) string {
		cmd := exec.Command(tool, "-n", "-s3", "-GPSPosition", "-Make", "-Orientation", "-")
		cmd.Stdin = bytes.NewReader(data)
		out, err := cmd.Output()
		require.NoError(t, err)
		return strings.TrimSpace(string(out))
	}
	require.Contains(t, ask(data), "53.5", "the block that the test wrote is one that others read")
	require.Empty(t, ask(p.Preview))
}

// segments lists the markers of a JPEG up to its first scan.
func segments(data []byte) []byte {
	var out []byte
	for i := 2; i+4 <= len(data) && data[i] == 0xff; {
		out = append(out, data[i+1])
		if data[i+1] == 0xda {
			break
		}
		i += 2 + int(binary.BigEndian.Uint16(data[i+2:]))
	}
	return out
}

func TestACameraWithoutOffsetIsNotTakenForUTC(t *testing.T) {
	p, err := picture.Read(bytes.NewReader(withEXIF(asJPEG(t, uprightPicture()), exif(1, ""))), "a.jpg", picture.Limits{})
	require.NoError(t, err)
	require.Equal(t, "2026-03-11T14:05:06", p.Claims.Taken)
}

func TestLargePicturesAreShrunkAndSmallOnesAreNot(t *testing.T) {
	p, err := picture.Read(bytes.NewReader(asJPEG(t, image.NewRGBA(image.Rect(0, 0, 4000, 1000)))), "a.jpg", picture.Limits{})
	require.NoError(t, err)
	c, err := jpeg.DecodeConfig(bytes.NewReader(p.Preview))
	require.NoError(t, err)
	require.Equal(t, [2]int{1600, 400}, [2]int{c.Width, c.Height})
	require.Equal(t, [2]int{4000, 1000}, [2]int{p.Width, p.Height})
	p, err = picture.Read(bytes.NewReader(asPNG(t, image.NewRGBA(image.Rect(0, 0, 30, 5000)))), "a.png", picture.Limits{})
	require.NoError(t, err)
	c, err = jpeg.DecodeConfig(bytes.NewReader(p.Preview))
	require.NoError(t, err)
	require.Equal(t, [2]int{9, 1600}, [2]int{c.Width, c.Height})
	m, err := jpeg.Decode(bytes.NewReader(p.Preview))
	require.NoError(t, err)
	r, _, _, _ := m.At(4, 800).RGBA()
	require.Greater(t, r>>8, uint32(250), "what is transparent becomes white")
}

// bomb is a PNG of a few hundred bytes that says it has 20000 × 20000 pixels.
func bomb() []byte {
	chunk := func(kind string, data []byte) []byte {
		out := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
		out = append(append(out, kind...), data...)
		return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
	}
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, 20000), 20000)
	head = append(head, 8, 6, 0, 0, 0)
	out := append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", head)...)
	out = append(out, chunk("IDAT", bytes.Repeat([]byte{0x78, 0x9c, 0}, 100))...)
	return append(out, chunk("IEND", nil)...)
}

func TestABombIsRefusedAtOnce(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	began := time.Now()
	_, err := picture.Read(bytes.NewReader(bomb()), "bomb.png", picture.Limits{})
	took := time.Since(began)
	runtime.ReadMemStats(&after)
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
	require.ErrorContains(t, err, "20000 × 20000")
	require.Less(t, took, 100*time.Millisecond)
	require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(1<<20))
}

func TestTypesAreToldByContent(t *testing.T) {
	m := uprightPicture()
	p, err := picture.Read(bytes.NewReader(asJPEG(t, m)), "../../etc/x.PNG", picture.Limits{})
	require.NoError(t, err)
	require.Equal(t, "image/jpeg", p.MediaType)
	p, err = picture.Read(bytes.NewReader(asPNG(t, m)), "x.jpg", picture.Limits{})
	require.NoError(t, err)
	require.Equal(t, "image/png", p.MediaType)

	for data, want := range map[string]string{
		"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic": "This is an HEIC photo",
		"\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00":         "This is an HEIC photo",
		"\x00\x00\x00\x18ftypavif\x00\x00\x00\x00":         "AVIF",
		"\x00\x00\x00\x18ftypisom\x00\x00\x00\x00":         "a video",
		"GIF89a":     "a GIF",
		"II*\x00":    "a TIFF",
		"%PDF-1.4":   "a PDF",
		"<svg>":      "SVG",
		"PK\x03\x04": "an archive",
		"hello":      "no picture",
	} {
		_, err := picture.Read(strings.NewReader(data), "holiday.jpg", picture.Limits{})
		require.Equal(t, registry.CodeUnsupported, registry.CodeOf(err), "%q", data)
		require.ErrorContains(t, err, want)
		require.ErrorContains(t, err, "JPEG")
	}
	_, err = picture.Read(strings.NewReader(""), "holiday.jpg", picture.Limits{})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}

// webP is a lossless WebP of 2 × 1 pixels, red and blue, of the fewest bytes.
func TestWebPIsTaken(t *testing.T) {
	// A picture of one colour, 1 × 1, as written by a WebP encoder: RIFF header,
	// VP8L chunk with five simple Huffman codes of one symbol each.
	data := []byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00")
	p, err := picture.Read(bytes.NewReader(data), "a.webp", picture.Limits{})
	require.NoError(t, err)
	require.Equal(t, "image/webp", p.MediaType)
	require.Equal(t, [2]int{1, 1}, [2]int{p.Width, p.Height})
}

func TestDamagedFilesAreRefused(t *testing.T) {
	noisy := image.NewRGBA(image.Rect(0, 0, 200, 200))
	for i := range noisy.Pix {
		noisy.Pix[i] = byte(i * i * 31 >> 3)
	}
	for name, data := range map[string][]byte{"a.jpg": withEXIF(asJPEG(t, noisy), exif(3, "+01:00")), "a.png": asPNG(t, noisy)} {
		for n := 1; n < len(data)-16; n += max(1, len(data)/97) {
			_, err := picture.Read(bytes.NewReader(data[:n]), name, picture.Limits{})
			require.Error(t, err, "%s cut after %d of %d bytes", name, n, len(data))
			require.NotEqual(t, registry.CodeInternal, registry.CodeOf(err), "%v", err)
		}
	}
	_, err := picture.Read(bytes.NewReader(make([]byte, 101)), "a.jpg", picture.Limits{MaxBytes: 100})
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
}

func TestABrokenCameraBlockDoesNotCostThePicture(t *testing.T) {
	block := exif(6, "+01:00")
	for i := 0; i < len(block); i += 3 {
		broken := bytes.Clone(block)
		broken[i] ^= 0xff
		_, err := picture.Read(bytes.NewReader(withEXIF(asJPEG(t, image.NewGray(image.Rect(0, 0, 8, 8))), broken)), "a.jpg", picture.Limits{})
		require.NoError(t, err, "byte %d changed", i)
	}
}

func TestManyAtOnce(t *testing.T) {
	large := asJPEG(t, image.NewGray(image.Rect(0, 0, 5000, 3400))) // above the size that is decoded alone
	small := asJPEG(t, uprightPicture())
	done := make(chan error)
	for i := range 6 {
		data := small
		if i%3 == 0 {
			data = large
		}
		go func() {
			_, err := picture.Read(bytes.NewReader(data), "a.jpg", picture.Limits{Preview: 100})
			done <- err
		}()
	}
	for range 6 {
		require.NoError(t, <-done)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(withEXIF(asJPEG(f, uprightPicture()), exif(6, "+01:00")))
	f.Add(asPNG(f, uprightPicture()))
	f.Add(bomb())
	f.Add([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00"))
	f.Add([]byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := picture.Read(bytes.NewReader(data), "f", picture.Limits{MaxPixels: 1_000_000, Preview: 64})
		if err != nil {
			if registry.CodeOf(err) == registry.CodeInternal {
				t.Fatal(err)
			}
			return
		}
		if _, err := jpeg.DecodeConfig(bytes.NewReader(p.Preview)); err != nil {
			t.Fatal(err)
		}
	})
}

func BenchmarkRead12MP(b *testing.B) {
	m := image.NewRGBA(image.Rect(0, 0, 4000, 3000))
	for i := range m.Pix {
		m.Pix[i] = byte(i>>4 ^ i>>11)
	}
	data := asJPEG(b, m)
	b.ResetTimer()
	for b.Loop() {
		if _, err := picture.Read(bytes.NewReader(data), "a.jpg", picture.Limits{}); err != nil {
			b.Fatal(err)
		}
	}
}
