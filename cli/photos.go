package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"example.org/asfound/importers"
	"example.org/asfound/importers/picture"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/server"
	"example.org/asfound/workshop"
)

// photos reads a folder of pictures. With a bad one, and without accept-good,
// nothing is recorded.
func (i *importCommand) photos(c *call, o *opened, folder string) (fileReport, error) {
	out := fileReport{File: folder, DryRun: i.DryRun}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return out, registry.Refuse(registry.CodeNotFound, "Check the name.", "There is no folder %s", folder)
	}
	defer root.Close()
	opts := importers.PhotoOptions{Options: importers.Options{File: filepath.Base(folder), By: orElse(i.By, c.line.As), Anatomy: o.anatomy(), Validator: o.Schemas}}
	bar := c.progress("pictures")
	req := workshop.ImportRequest{Machine: i.Machine, Actor: c.line.As, Digest: "photos " + folder, AcceptGood: i.AcceptGood, DryRun: i.DryRun, Twice: true, Progress: bar.at}
	rejected := newRejectedFile(i.Rejected, folder, i.AcceptGood && !i.DryRun)
	req.Rejected = rejected.write
	out.ImportReport, err = o.Import(c.ctx, req, (&photoReader{opened: o, root: root.FS(), opts: opts, report: func(r importers.Report) {
		out.Warnings, rejected.headings = r.Warnings, r.Headings
	}}).source)
	bar.end()
	if closeErr := rejected.close(); err == nil {
		err = closeErr
	}
	out.RejectedFile = rejected.name
	return out, err
}

// heldPhotoBytes is how much of a folder is held between its two readings, so
// that a small folder is decoded once.
const heldPhotoBytes = 64 << 20

// photoReader reads a folder twice: to check it, and to keep its pictures. One
// that is kept and then not recorded takes space and does no harm.
type photoReader struct {
	*opened
	root   fs.FS
	opts   importers.PhotoOptions
	report func(importers.Report)

	readings int
	held     []importers.PhotoDraft
	bytes    int
}

func (p *photoReader) source(ctx context.Context, fn func(workshop.Draft) error) error {
	p.readings++
	take := func(d importers.PhotoDraft) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		if p.readings == 1 {
			if p.bytes += len(d.Original) + len(d.Preview); p.bytes <= heldPhotoBytes {
				p.held = append(p.held, d)
			}
			return fn(workshop.Draft(d.Draft))
		}
		return p.keep(ctx, d, fn)
	}
	if p.readings > 1 && p.bytes <= heldPhotoBytes {
		for _, d := range p.held {
			if err := take(d); err != nil {
				return err
			}
		}
		return nil
	}
	f, err := importers.OpenPhotoFolder(p.root, p.opts)
	if err != nil {
		return err
	}
	err = f.Each(take)
	p.report(f.Report())
	return errors.Join(err, f.Close())
}

// keep puts a good picture and its preview into the store.
func (p *photoReader) keep(ctx context.Context, d importers.PhotoDraft, fn func(workshop.Draft) error) error {
	if d.Good() {
		for _, data := range [][]byte{d.Original, d.Preview} {
			if _, _, err := p.Photos.Put(ctx, bytes.NewReader(data), workshop.MaxPhotoBytes); err != nil {
				return err
			}
		}
	}
	return fn(workshop.Draft(d.Draft))
}

// readPhoto looks at a picture that was sent to the server.
func readPhoto(_ context.Context, r io.ReadSeeker, name string) (server.Picture, error) {
	p, err := importers.ReadPhoto(r, name, picture.Limits{})
	if err != nil {
		return server.Picture{}, err
	}
	return server.Picture{MediaType: p.MediaType, Width: p.Width, Height: p.Height, Taken: p.Claims.Taken, Preview: p.Preview}, nil
}

// readLight reads marked parts of an uploaded picture.
func readLight(r io.ReadSeeker, name string, marks []server.Mark) ([]scoring.CardSample, error) {
	list := make([]picture.Mark, len(marks))
	for i, m := range marks {
		list[i] = picture.Mark(m)
	}
	samples, err := picture.Light(r, name, list, picture.Limits{})
	if err != nil {
		return nil, err
	}
	out := make([]scoring.CardSample, len(samples))
	for i, x := range samples {
		out[i] = scoring.CardSample{ID: x.ID, Pixels: x.Pixels, Linear: x.Linear[:], SD: x.SD[:], Clipped: x.Clipped}
	}
	return out, nil
}

// readSheet opens a sheet that was sent to the server.
func (c *call) readSheet(file io.ReadSeeker, name, _, by, mapping string) (server.Sheet, error) {
	var headings []string
	so := sourceOptions{by: by, mapping: mapping, report: func(r importers.Report) { headings = r.Headings }}
	// One reading finds out whether it is a sheet at all, and its headings.
	if err := c.eachDraftOf(c.ctx, file, name, so, func(workshop.Draft) error { return errEnough }); err != nil && !errors.Is(err, errEnough) {
		return server.Sheet{}, err
	}
	so.report = nil
	as, err := c.mappingBytes(mapping)
	if err != nil {
		return server.Sheet{}, err
	}
	return server.Sheet{Header: headings, As: as, Source: func(ctx context.Context, fn func(workshop.Draft) error) error {
		if _, err := file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		return c.eachDraftOf(ctx, file, name, so, fn)
	}}, nil
}

// errEnough ends a reading that has seen what it wanted.
var errEnough = errors.New("enough")
