package importers

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"example.org/asfound/importers/picture"
	"example.org/asfound/registry"
)

// PhotoDraft is a photo of a folder: its record, the bytes to keep and the
// preview to show. Original and Preview are empty when the draft has faults
// that concern the file itself.
type PhotoDraft struct {
	Draft
	Original []byte
	Preview  []byte
	// Camera is what the camera calls itself; it is not part of the record.
	Camera string
}

// ReadPhoto takes one picture in, as an upload gives it.
func ReadPhoto(r io.Reader, name string, limits picture.Limits) (picture.Picture, error) {
	return picture.Read(r, name, limits)
}

// NewPhoto makes the record of a picture, without saying what it shows.
func NewPhoto(p picture.Picture, by string) *registry.Photo {
	return &registry.Photo{
		Common: registry.Common{ID: PhotoID(p.Digest)},
		Digest: p.Digest, Preview: p.PreviewDigest, MediaType: p.MediaType, Bytes: int64(len(p.Original)),
		Width: p.Width, Height: p.Height, FileName: p.Name, Taken: p.Claims.Taken, Shows: "general", By: by,
	}
}

// PhotoID is the id that a photo gets where none is given: "ph-" and the first
// sixteen figures of its digest.
func PhotoID(digest string) string {
	_, hex, _ := strings.Cut(digest, ":")
	return "ph-" + hex[:min(16, len(hex))]
}

// PhotoOptions are Options with what matters to photos alone.
type PhotoOptions struct {
	Options
	Limits picture.Limits
	// Shows is what the photos are for where neither sheet nor name says it, one
	// of registry.Shown; "general" when empty.
	Shows string
}

// PhotoFolder reads the photos of a folder, with the sheet of captions that may
// lie in it.
type PhotoFolder struct {
	files   fs.FS
	o       PhotoOptions
	sidecar *sheetSource
	report  Report
}

// Sidecars are the names of the sheet of captions, in the order in which they
// are looked for, in the folder itself.
func Sidecars() []string { return []string{"photos.csv", "photos.xlsx"} }

// maxPhotos bounds a folder, so that the list of its files fits into memory.
const maxPhotos = 100_000

// OpenPhotoFolder opens a folder. Hand in the file system of an os.Root, so
// that no link in it leads outside.
func OpenPhotoFolder(files fs.FS, o PhotoOptions) (*PhotoFolder, error) {
	if o.Anatomy == nil {
		o.Anatomy = NewAnatomy(nil, nil, nil)
	}
	if o.Shows == "" {
		o.Shows = "general"
	}
	f := &PhotoFolder{files: files, o: o, report: Report{File: o.File, Importer: "photos"}}
	for _, name := range Sidecars() {
		file, err := files.Open(name)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("open %s: %w", name, err)
		}
		if err := f.openSidecar(file, name); err != nil {
			return nil, err
		}
		break
	}
	return f, nil
}

// openSidecar keeps the sheet in memory: it has at most one row a photo.
func (f *PhotoFolder) openSidecar(file fs.File, name string) error {
	const limit = 32 << 20
	data, err := io.ReadAll(io.LimitReader(file, limit+1))
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("read %s: %w", name, err)
	}
	if len(data) > limit {
		return registry.Refuse(registry.CodeTooLarge, "Split the folder.", "%s is larger than %d MiB", name, limit>>20)
	}
	o := f.o.Options
	o.File, o.Validator, o.Workers = name, nil, 1
	s, err := openSheet(photoTable(), newReader(data), o)
	if err != nil {
		return err
	}
	f.sidecar = s
	f.report.Format, f.report.Sheet, f.report.Encoding, f.report.Separator = s.report.Format, s.report.Sheet, s.report.Encoding, s.report.Separator
	f.report.HeaderRow, f.report.Headings = s.report.HeaderRow, s.report.Headings
	f.report.Warnings = append(f.report.Warnings, s.report.Warnings...)
	return nil
}

// Report says how the folder was read. It is complete once Each has returned.
func (f *PhotoFolder) Report() Report { return f.report }

// Close gives back temporary files.
func (f *PhotoFolder) Close() error {
	if f.sidecar == nil {
		return nil
	}
	return f.sidecar.Close()
}

// Each gives the photos: those of the sheet in its order, then every other
// file by name. A row without its file, and a file that is no photo, are drafts
// with faults. Hidden files are passed over.
func (f *PhotoFolder) Each(take func(PhotoDraft) error) error {
	f.report.Rows, f.report.Records, f.report.Rejected = 0, 0, 0
	names, err := f.list()
	if err != nil {
		return err
	}
	pass := &photoPass{f: f, take: take, seen: map[string]string{}, told: map[string]bool{}}
	if f.sidecar != nil {
		if err := f.sidecar.Each(pass.row); err != nil {
			return err
		}
		f.report.LeftOut = f.sidecar.report.LeftOut
	}
	bare := 0
	for _, name := range names {
		if pass.told[name] {
			continue
		}
		bare++
		d := PhotoDraft{Draft: Draft{File: name, Cells: []string{name}}}
		said := readName(name, f.o.Anatomy, f.o.Shows)
		if err := pass.file(d, said, nil); err != nil {
			return err
		}
	}
	if f.sidecar != nil && bare > 0 {
		f.report.Warnings = append(f.report.Warnings, registry.Field{File: f.sidecar.o.File,
			Message: fmt.Sprintf("%d files have no row in the sheet; what they show was taken from their names", bare), Fix: "Add a row for each of them."})
	}
	return nil
}

// list names every file that is not hidden, in order.
func (f *PhotoFolder) list() ([]string, error) {
	var names []string
	err := fs.WalkDir(f.files, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if base := path.Base(name); name != "." && (strings.HasPrefix(base, ".") || base == "Thumbs.db" || base == "desktop.ini" || base == "__MACOSX") {
			if entry.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if entry.IsDir() || slices.Contains(Sidecars(), name) {
			return nil
		}
		if names = append(names, name); len(names) > maxPhotos {
			return registry.Refuse(registry.CodeTooLarge, "Split it into several folders.", "The folder holds more than %d files", maxPhotos)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list the folder: %w", err)
	}
	return names, nil
}

// photoPass is one reading of a folder.
type photoPass struct {
	f    *PhotoFolder
	take func(PhotoDraft) error
	seen map[string]string // file name by digest
	told map[string]bool   // files that have a row in the sheet
}

// row takes a row of the sheet.
func (p *photoPass) row(d Draft) error {
	said, _ := d.Body.(*registry.Photo)
	out := PhotoDraft{Draft: d}
	out.Body = nil
	if said == nil {
		return p.give(out)
	}
	name := path.Clean(strings.ReplaceAll(said.FileName, `\`, "/"))
	p.told[name] = true
	problem := func(message, fix string) error {
		out.Faults = append(out.Faults, registry.Field{File: d.File, Row: d.Row, Pointer: "/file_name", Found: quoted(said.FileName),
			Message: inColumn("file", message), Fix: fix})
		return p.give(out)
	}
	if said.FileName == "" {
		return p.give(out) // the missing name is a fault already
	}
	if !fs.ValidPath(name) || name == "." {
		return problem("The file would lie outside the folder", "Name a file in the folder, without .. and without a drive or / in front.")
	}
	said.FileName = name
	return p.file(out, said, problem)
}

// file reads one file and completes what is said of it. problem reports that it
// cannot be opened, when a row named it.
func (p *photoPass) file(d PhotoDraft, said *registry.Photo, problem func(message, fix string) error) error {
	name := said.FileName
	reject := func(err error) error {
		var refused *registry.Error
		if !errors.As(err, &refused) {
			if problem != nil {
				return problem("The file cannot be opened: "+plainly(err), "Look whether the name is right, with its ending, and whether the file lies in the folder.")
			}
			refused = registry.Refuse(registry.CodeInvalid, "Look whether it lies in the folder itself and may be read.", "%s cannot be opened: %s", name, plainly(err))
		}
		d.Faults = append(d.Faults, registry.Field{File: d.File, Row: d.Row, Message: refused.Message, Fix: refused.Fix})
		return p.give(d)
	}
	pic, err := p.open(name)
	if err != nil {
		return reject(err)
	}
	if first, again := p.seen[pic.Digest]; again {
		return reject(registry.Refuse(registry.CodeInvalid, "Keep one of the two files.", "%s is the same picture as %s", name, first))
	}
	p.seen[pic.Digest] = name
	photo := NewPhoto(pic, cmp.Or(said.By, p.f.o.By))
	if said.ID != "" {
		photo.ID = said.ID
	}
	photo.FileName, photo.Valid, photo.Note = name, said.Valid, said.Note
	photo.Shows, photo.Components, photo.Openings = cmp.Or(said.Shows, p.f.o.Shows), said.Components, said.Openings
	photo.Caption, photo.Listed, photo.Scale, photo.Withhold = said.Caption, said.Listed, said.Scale, said.Withhold
	fields, err := judge(p.f.o.Validator, photo)
	if err != nil {
		return err
	}
	for _, f := range fields {
		if covered(d.Faults, f.Pointer) {
			continue
		}
		f.File, f.Row = d.File, d.Row
		if d.Row > 0 {
			if t := &p.f.sidecar.table; t.columnOf("photo", f.Pointer) >= 0 {
				f.Message = inColumn(p.f.sidecar.layout.title(t.columnOf("photo", f.Pointer)), f.Message)
			}
		}
		d.Faults = append(d.Faults, f)
	}
	d.Body, d.Original, d.Preview, d.Camera = photo, pic.Original, pic.Preview, pic.Claims.Camera
	return p.give(d)
}

// open reads a file, and refuses one that is too large by its size alone.
func (p *photoPass) open(name string) (pic picture.Picture, err error) {
	limits := p.f.o.Limits
	if limits.MaxBytes <= 0 {
		limits.MaxBytes = picture.DefaultMaxBytes
	}
	file, err := p.f.files.Open(name)
	if err != nil {
		return picture.Picture{}, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	info, err := file.Stat()
	if err != nil {
		return picture.Picture{}, err
	}
	switch {
	case !info.Mode().IsRegular():
		return picture.Picture{}, registry.Refuse(registry.CodeUnsupported, "Put the photo itself there.", "%s is not a file", name)
	case info.Size() > limits.MaxBytes:
		return picture.Picture{}, picture.TooLarge(name, limits)
	}
	return picture.Read(file, name, limits)
}

func (p *photoPass) give(d PhotoDraft) error {
	p.f.report.Rows++
	p.f.report.count(d.Draft)
	return p.take(d)
}

// plainly is the reason of a failure without the path in front of it.
func plainly(err error) string {
	var at *fs.PathError
	if errors.As(err, &at) {
		err = at.Err
	}
	return err.Error()
}

// photoTable is the sheet of captions in a folder of photos.
func photoTable() Table {
	return Table{Name: "photos", Title: "Photos and what they show", Record: "photo", partial: true, Columns: []Column{
		{Heading: "file", Also: []string{"file name", "picture", "photo"}, Pointer: "/file_name", Needed: true, Says: true, Takes: "the file's name, with folders inside the folder", Example: "left.jpg"},
		{Heading: "components", Also: []string{"component"}, Pointer: "/components", Takes: "the components that it shows, with ; between them", Example: "fuel.tank"},
		example(termColumn("shows", "/shows", registry.Shown(), "what for"), "as-found"),
		{Heading: "openings", Also: []string{"opening"}, Pointer: "/openings", Takes: "ids of the openings whose joints it shows as found, with a space, ; or | between them", Example: "opening-tank-off"},
		{Heading: "caption", Also: []string{"title"}, Pointer: "/caption", Takes: "what is to be seen, in words", Example: "Tank, left, crease below the knee grip"},
		{Heading: "listed", Also: []string{"picture of the list"}, Pointer: "/listed", Takes: "which picture of the fixed as-found list it is, by the id of the catalog", Example: "tank-sides"},
		{Heading: "scale", Also: []string{"scale bar"}, Pointer: "/scale", Takes: "what gives the size", Example: "100 mm bar"},
		{Heading: "withhold", Also: []string{"private"}, Pointer: "/withhold", Choices: []string{"yes", "no"}, Takes: "yes keeps it out of public copies: numbers, papers, people", Example: "no"},
		byColumn("took it"),
		{Heading: "taken", Also: []string{"date", "when"}, Pointer: "/valid", Takes: "when it was taken, in the forms of a date; the camera's own clock is kept beside it", Example: "2026-03-11"},
		{Heading: "id", Also: []string{"record id", "photo id"}, Pointer: "/id", Seldom: true, Takes: "the record's own id; made of the picture's digest when left out", Example: ""},
		noteColumn(),
	},
		identify: func(l *line) []identity {
			if l.text("file") == "" {
				return nil
			}
			out := []identity{{path.Clean(strings.ReplaceAll(l.text("file"), `\`, "/")), "file", "two rows name one file"}}
			if l.text("id") != "" {
				out = append(out, identity{l.recordKey(l.text("id")), "id", "two rows have one id"})
			}
			return out
		},
		build: buildPhoto,
	}
}

// buildPhoto reads what a row says of a photo. The record is completed, and
// checked, when the picture has been read.
func buildPhoto(l *line) []registry.Body {
	p := &registry.Photo{FileName: l.text("file"), Components: l.components("components", false), Openings: l.list("openings")}
	if p.FileName == "" {
		l.fault("file", "a file's name", "It is not said which file", "Write its name, with its ending.")
	}
	p.ID, p.Valid = l.text("id"), l.date("taken")
	p.Shows = l.term("shows", registry.Shown(), "general")
	p.Caption, p.Listed, p.Scale, p.By, p.Note = l.text("caption"), l.text("listed"), l.text("scale"), l.person("by"), l.text("note")
	if v := l.yes("withhold"); v != nil {
		p.Withhold = *v
	}
	return []registry.Body{p}
}
