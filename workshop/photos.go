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
