package picture

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"path"
	"strings"

	"example.org/asfound/registry"
)

// Limits bound what one picture may cost. A zero field means its default.
type Limits struct {
	MaxBytes  int64 // of the file; default 64 MiB
	MaxPixels int64 // width times height; default 50 million
	Preview   int   // longest side of the preview in pixels; default 1600
	Quality   int   // of the preview as JPEG, 1 to 100; default 82
}

// The defaults of Limits.
const (
	DefaultMaxBytes  = 64 << 20
	DefaultMaxPixels = 50_000_000
	DefaultPreview   = 1600
	DefaultQuality   = 82
)

func (l Limits) filled() Limits {
	if l.MaxBytes <= 0 {
		l.MaxBytes = DefaultMaxBytes
	}
	if l.MaxPixels <= 0 {
		l.MaxPixels = DefaultMaxPixels
	}
	if l.Preview <= 0 {
		l.Preview = DefaultPreview
	}
	if l.Quality <= 0 || l.Quality > 100 {
		l.Quality = DefaultQuality
	}
	return l
}

// Picture is a photo that was read.
type Picture struct {
	Name      string // as it was given
	MediaType string // by content: image/jpeg, image/png or image/webp
	Original  []byte // as it came
	Digest    string // "sha256:…" of Original
	Preview   []byte // JPEG, upright, pixels only
	// PreviewDigest is "sha256:…" of Preview.
	PreviewDigest string
	// Width and Height are of the upright original, in pixels.
	Width, Height int
	Claims        Claims
}

// Claims are what the camera wrote into the file: claims, not facts.
type Claims struct {
	// Taken is the camera's clock, 2026-03-11T14:05:06 with +01:00 behind it
	// when the camera wrote its offset; "" when it wrote nothing readable.
	Taken string
	// Camera is make and model in the camera's words.
	Camera string
	// Orientation is 1 to 8 as in EXIF 2.32, 4.6.5; 1 is upright.
	Orientation int
}

// Read takes a picture in. At most two pictures are decoded at once in the
// whole process; one of more than 16 million pixels is decoded alone. Codes:
// CodeTooLarge, CodeUnsupported for what is not JPEG, PNG or WebP, CodeInvalid
// for a damaged file.
func Read(r io.Reader, name string, limits Limits) (Picture, error) {
	limits = limits.filled()
	data, f, config, err := open(r, name, limits)
	if err != nil {
		return Picture{}, err
	}
	p := Picture{Name: name, MediaType: f.mediaType, Original: data, Digest: digest(data)}
	p.Claims = claims(data, f)
	p.Width, p.Height = config.Width, config.Height
	if p.Claims.Orientation >= 5 {
		p.Width, p.Height = p.Height, p.Width
	}
	if p.Preview, err = preview(data, name, f, config, p.Claims.Orientation, limits); err != nil {
		return Picture{}, err
	}
	p.PreviewDigest = digest(p.Preview)
	return p, nil
}

// open reads a file and its size in pixels, both within the limits, which are
// filled, and decodes nothing.
func open(r io.Reader, name string, limits Limits) ([]byte, format, image.Config, error) {
	data, err := io.ReadAll(io.LimitReader(r, limits.MaxBytes+1))
	if err != nil {
		return nil, format{}, image.Config{}, fmt.Errorf("read %s: %w", base(name), err)
	}
	if int64(len(data)) > limits.MaxBytes {
		return nil, format{}, image.Config{}, TooLarge(name, limits)
	}
	f, err := sniff(data, name)
	if err != nil {
		return nil, format{}, image.Config{}, err
	}
	config, err := guarded(name, func() (image.Config, error) { return f.config(bytes.NewReader(data)) })
	if err != nil {
		return nil, format{}, image.Config{}, damaged(name, f, err)
	}
	if config.Width <= 0 || config.Height <= 0 {
		return nil, format{}, image.Config{}, damaged(name, f, errors.New("it has no size"))
	}
	if pixels := int64(config.Width) * int64(config.Height); pixels > limits.MaxPixels {
		return nil, format{}, image.Config{}, registry.Refuse(registry.CodeTooLarge, "Send a smaller copy of it.",
			"%s has %d × %d pixels, %d million; at most %d million can be read", base(name), config.Width, config.Height, pixels/1_000_000, limits.MaxPixels/1_000_000)
	}
	return data, f, config, nil
}

// TooLarge is the refusal of a file above the limit of bytes, for those who see
// its size before reading it.
func TooLarge(name string, limits Limits) *registry.Error {
	return registry.Refuse(registry.CodeTooLarge, "Send a smaller copy of it.", "%s is larger than %d MiB", base(name), limits.filled().MaxBytes>>20)
}

func preview(data []byte, name string, f format, config image.Config, orientation int, limits Limits) ([]byte, error) {
	release := slots.acquire(int64(config.Width) * int64(config.Height))
	defer release()
	full, err := guarded(name, func() (image.Image, error) { return f.decode(bytes.NewReader(data)) })
	if err != nil {
		return nil, damaged(name, f, err)
	}
	small, err := guarded(name, func() (image.Image, error) { return upright(shrink(full, limits.Preview), orientation), nil })
	if err != nil {
		return nil, damaged(name, f, err)
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, small, &jpeg.Options{Quality: limits.Quality}); err != nil {
		return nil, fmt.Errorf("make a preview of %s: %w", base(name), err)
	}
	return out.Bytes(), nil
}

// guarded turns a panic of a decoder into an error.
func guarded[T any](name string, do func() (T, error)) (out T, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the decoder of %s gave up: %v", base(name), r)
		}
	}()
	return do()
}

func damaged(name string, f format, err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return registry.Refuse(registry.CodeInvalid, "Copy it again from the camera or card.", "%s is a %s that ends too early", base(name), f.name)
	}
	return registry.Refuse(registry.CodeInvalid, "Open it in a picture program, save it as JPEG, and send that copy; keep the first.",
		"%s is a %s that cannot be decoded: %v", base(name), f.name, err)
}

func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return "sha256:" + hex.EncodeToString(sum[:])
}

// base is the last part of a name, for messages.
func base(name string) string {
	name = path.Base(strings.ReplaceAll(name, `\`, "/"))
	if name == "." || name == "/" || name == "" {
		return "The picture"
	}
	if r := []rune(name); len(r) > 80 {
		name = string(r[:80]) + "…"
	}
	return strings.ToValidUTF8(name, "�")
}
