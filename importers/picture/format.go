package picture

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"io"

	"github.com/bep/imagemeta"
	"golang.org/x/image/webp"

	"example.org/asfound/registry"
)

// format is a type of picture that is taken.
type format struct {
	name      string
	mediaType string
	meta      imagemeta.ImageFormat
	config    func(io.Reader) (image.Config, error)
	decode    func(io.Reader) (image.Image, error)
}

var (
	formatJPEG = format{"JPEG", "image/jpeg", imagemeta.JPEG, jpeg.DecodeConfig, jpeg.Decode}
	formatPNG  = format{"PNG", "image/png", imagemeta.PNG, png.DecodeConfig, png.Decode}
	formatWebP = format{"WebP", "image/webp", imagemeta.WebP, webp.DecodeConfig, webp.Decode}
)

const takes = "Send it as JPEG, PNG or WebP."

// sniff tells the type by the first bytes.
func sniff(data []byte, name string) (format, error) {
	brand := ""
	if len(data) >= 12 && string(data[4:8]) == "ftyp" {
		brand = string(data[8:12])
	}
	has := func(prefix string) bool { return bytes.HasPrefix(data, []byte(prefix)) }
	what := "no picture that is known here"
	switch {
	case has("\xff\xd8\xff"):
		return formatJPEG, nil
	case has("\x89PNG\r\n\x1a\n"):
		return formatPNG, nil
	case len(data) >= 12 && has("RIFF") && string(data[8:12]) == "WEBP":
		return formatWebP, nil
	case brand == "heic" || brand == "heix" || brand == "heim" || brand == "heis" || brand == "hevc" || brand == "hevx" || brand == "mif1" || brand == "msf1":
		return format{}, registry.Refuse(registry.CodeUnsupported,
			"Send it as JPEG: on the phone choose the most compatible format, or export a copy as JPEG; keep the first.", "%s: This is an HEIC photo", base(name))
	case brand == "avif" || brand == "avis":
		what = "an AVIF picture"
	case brand != "":
		what = "a video"
	case len(data) == 0:
		return format{}, registry.Refuse(registry.CodeInvalid, "Choose the file again.", "%s is empty", base(name))
	case has("GIF8"):
		what = "a GIF"
	case has("II*\x00") || has("MM\x00*"):
		what = "a TIFF or a camera's raw file"
	case has("BM"):
		what = "a BMP"
	case has("%PDF"):
		what = "a PDF"
	case has("PK\x03\x04"):
		what = "an archive"
	case has("<"):
		what = "a drawing or page in text (SVG, HTML or XML)"
	}
	return format{}, registry.Refuse(registry.CodeUnsupported, takes, "%s is %s", base(name), what)
}
