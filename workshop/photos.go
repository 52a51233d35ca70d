package workshop

import (
	"bytes"
	"context"
	"io"

	"example.org/asfound/registry"
)

// MaxPhotoBytes is the largest original that is kept.
const MaxPhotoBytes = 64 << 20

// AddPhoto keeps a picture and records it. The photo's digests are those of
// what is really stored; a digest that was given and differs is CodeTampered.
func (w *Workshop) AddPhoto(ctx context.Context, req Request, p *registry.Photo, original io.Reader, preview []byte) (Receipt, error) {
	digest, size, err := w.Photos.Put(ctx, original, MaxPhotoBytes)
	if err != nil {
		return Receipt{}, err
	}
	if p.Digest != "" && p.Digest != digest {
		return Receipt{}, registry.Refuse(registry.CodeTampered, "Send it again.", "The picture arrived with other bytes than it set out with")
	}
	p.Digest, p.Bytes = digest, size
	if len(preview) > 0 {
		if p.Preview, _, err = w.Photos.Put(ctx, bytes.NewReader(preview), MaxPhotoBytes); err != nil {
			return Receipt{}, err
		}
	}
	return w.Record(ctx, req, p)
}

// PictureEnding is how a file of a kind of picture or paper is named, such as
// ".jpg", so that it opens by a click; "" for a kind that is not kept.
func PictureEnding(mediaType string) string {
	switch mediaType {
	case "image/jpeg":
		return ".jpg"
	case "image/png":
		return ".png"
	case "image/webp":
		return ".webp"
	case "image/tiff":
		return ".tiff"
	case "image/heic", "image/heif":
		return ".heic"
	case "application/pdf":
		return ".pdf"
	}
	return ""
}
