package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"

	"example.org/asfound/importers"
	"example.org/asfound/importers/picture"
	"example.org/asfound/registry"
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
	req := workshop.ImportRequest{Machine: i.Machine, Actor: c.line.As, Digest: "photos " + folder, AcceptGood: i.AcceptGood, DryRun: i.DryRun, Progress: bar.at}
	rejected := newRejectedFile(i.Rejected, folder, i.AcceptGood && !i.DryRun)
	req.Rejected = rejected.write
	// The pictures themselves are kept on the way through the second reading;
	// one that is kept and then not recorded takes space and does no harm.
	reading := 0
	out.ImportReport, err = o.Import(c.ctx, req, func(ctx context.Context, fn func(workshop.Draft) error) error {
		reading++
		f, err := importers.OpenPhotoFolder(root.FS(), opts)
		if err != nil {
			return err
		}
		err = f.Each(func(d importers.PhotoDraft) error {
			if err := ctx.Err(); err != nil {
				return err
			}
			if reading == 2 && d.Good() {
				for _, data := range [][]byte{d.Original, d.Preview} {
					if _, _, err := o.Photos.Put(ctx, bytes.NewReader(data), workshop.MaxPhotoBytes); err != nil {
						return err
					}
				}
			}
			return fn(workshop.Draft(d.Draft))
		})
		out.Warnings, rejected.headings = f.Report().Warnings, f.Report().Headings
		return errors.Join(err, f.Close())
	})
	bar.end()
	if closeErr := rejected.close(); err == nil {
		err = closeErr
	}
	out.RejectedFile = rejected.name
	return out, err
}

// readPhoto looks at a picture that was sent to the server.
func readPhoto(_ context.Context, r io.ReadSeeker, name string) (server.Picture, error) {
	p, err := importers.ReadPhoto(r, name, picture.Limits{})
	if err != nil {
		return server.Picture{}, err
	}
	return server.Picture{MediaType: p.MediaType, Width: p.Width, Height: p.Height, Taken: p.Claims.Taken, Preview: p.Preview}, nil
}

// readSheet opens a sheet that was sent to the server.
func (c *call) readSheet(file io.ReadSeeker, name, machine, by string) (server.Sheet, error) {
	var headings []string
	so := sourceOptions{by: by, report: func(r importers.Report) { headings = r.Headings }}
	// One reading finds out whether it is a sheet at all, and its headings.
	if err := c.eachDraftOf(c.ctx, file, name, so, func(workshop.Draft) error { return errEnough }); err != nil && !errors.Is(err, errEnough) {
		return server.Sheet{}, err
	}
	so.report = nil
	return server.Sheet{Header: headings, Source: func(ctx context.Context, fn func(workshop.Draft) error) error {
		if _, err := file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		return c.eachDraftOf(ctx, file, name, so, fn)
	}}, nil
}

// errEnough ends a reading that has seen what it wanted.
var errEnough = errors.New("enough")
