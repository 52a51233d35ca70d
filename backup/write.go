package backup

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"time"

	"filippo.io/age"

	"example.org/asfound/registry"
)

// Blobs are stored files that can be listed.
type Blobs interface {
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	Each(ctx context.Context, fn func(digest string, size int64) error) error
}

// Source is what is copied.
type Source struct {
	Ledger          registry.Ledger
	Photos, Private Blobs // private values as they lie on the disk
	// Present calls fn with each file that a restore needs besides: the keys
	// of the private values above all. It is called after the others were read.
	Present  func(fn func(name string, content []byte) error) error
	Registry string // the registry's public key, to know its backups by
}

// Options say how a piece is written.
type Options struct {
	Recipients []age.Recipient
	// Names are the recipients as written in the index.
	Names []string
	// Chain names a new chain; it is used when the folder holds none.
	Chain string
	Now   time.Time
	// Progress is told now and then what was copied; nil is silent.
	Progress func(Count)
}

// Index is the list of a chain's pieces. It stands in clear beside them, and
// holds no name, number or word of any record.
type Index struct {
	Format   int     `json:"format"`
	Chain    string  `json:"chain"`
	Registry string  `json:"registry"`
	Pieces   []Piece `json:"pieces"`
	// Present is the one part that each backup replaces: what it held before is
	// nowhere in the folder any more. It is missing in format 1.
	Present *Part `json:"present,omitempty"`
}

// Part is one encrypted file.
type Part struct {
	File       string    `json:"file"`
	SHA256     string    `json:"sha256"` // of the file, in hex
	Bytes      int64     `json:"bytes"`
	Made       time.Time `json:"made"`
	Recipients []string  `json:"recipients"`
	Holds      Count     `json:"holds"`
}

// Piece is one file of a chain.
type Piece struct {
	Part
	Format int `json:"format,omitempty"` // 0 means 1
	// End and Last are the position and the ID, in hex, of the last commit that
	// the chain holds with this piece. The position is this registry's own.
	End  registry.Position `json:"end"`
	Last string            `json:"last"`
	// Names is the file that lists the digests of the stored files in it.
	Names string `json:"names"`
}

const indexName = "index.json"

// presentNames are what the present part is called in turn: the new one is
// whole before the old one goes.
var presentNames = [2]string{"present-a.age", "present-b.age"}

// Plain is the number of private values that stand in pieces of format 1, so
// that destroying a key does not reach them.
func (x *Index) Plain() (n int) {
	for _, p := range x.Pieces {
		if p.format() == 1 {
			n += p.Holds.Private
		}
	}
	return n
}

func (p Piece) format() int { return max(p.Format, 1) }

// ReadIndex reads the list of a folder's pieces; nil when there is none.
func ReadIndex(folder Folder) (*Index, error) {
	text, err := readAll(folder, indexName, 64<<20)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, failed("reading "+indexName, err)
	}
	var x Index
	if err := json.Unmarshal(text, &x); err != nil {
		return nil, registry.Refuse(registry.CodeTampered, "Put it back from a copy, or begin a new chain in an empty folder.", "%s of the backup cannot be read: it is not as it was written", indexName)
	}
	if x.Format < 1 || x.Format > format {
		return nil, registry.Refuse(registry.CodeUnsupported, "Use the program that wrote it, or a newer one.", "The backup has format %d; this program reads up to %d", x.Format, format)
	}
	return &x, nil
}

func failed(doing string, err error) error {
	return registry.Refuse(registry.CodeBusy, "See that the disk is there and has room, and start the backup again: the chain is as it was.", "The backup failed at %s: %v", doing, err)
}

// Write adds a piece with all that came since the last, or begins the chain,
// and replaces the present part. It answers with the piece, or nil when nothing
// came. Codes: CodeInvalid without recipients, CodeConflict when the folder
// holds the chain of another registry or of one that has gone another way,
// CodeTampered when a stored file of the registry was changed, CodeBusy when the
// folder cannot be written: then the chain is as it was.
func Write(ctx context.Context, from Source, folder Folder, o Options) (*Piece, error) {
	if len(o.Recipients) == 0 {
		return nil, registry.Refuse(registry.CodeInvalid, "Name at least one with --to, such as age1….", "A backup needs somebody who can open it")
	}
	x, err := ReadIndex(folder)
	if err != nil {
		return nil, err
	}
	if x == nil {
		x = &Index{Chain: o.Chain, Registry: from.Registry, Pieces: []Piece{}}
	}
	if x.Registry != from.Registry {
		return nil, registry.Refuse(registry.CodeConflict, "Choose an empty folder for this registry.", "The folder holds the backup of another registry")
	}
	x.Format = format
	piece, err := x.addPiece(ctx, from, folder, o)
	if err != nil {
		return nil, err
	}
	old, err := x.replacePresent(ctx, from, folder, o)
	if err != nil {
		return nil, err
	}
	text, err := json.MarshalIndent(x, "", "  ")
	if err != nil {
		return nil, err
	}
	if err := replace(folder, indexName, append(text, '\n')); err != nil {
		return nil, failed("writing "+indexName, err)
	}
	// Only now is the old part let go of: a key that was destroyed since goes
	// with it.
	if err := errors.Join(ignoreMissing(folder.Remove(old)), folder.Sync()); err != nil {
		return nil, registry.Refuse(registry.CodeBusy, "See that the disk is there, and start the backup again: it removes the file first.",
			"The backup is written, but %s, which an erased person's key may still stand in, could not be removed: %v", old, err)
	}
	return piece, nil
}

// addPiece writes the next piece and puts it into the index, which is not
// written yet. It gives nil when nothing came.
func (x *Index) addPiece(ctx context.Context, from Source, folder Folder, o Options) (*Piece, error) {
	held, err := x.names(folder)
	if err != nil {
		return nil, err
	}
	after, last, err := x.end(ctx, from.Ledger)
	if err != nil {
		return nil, err
	}
	w := &writer{ctx: ctx, from: from, held: held, options: o, end: after, last: last}
	n := len(x.Pieces) + 1
	p := Piece{Part: Part{File: fmt.Sprintf("%06d.age", n)}, Format: format, Names: fmt.Sprintf("%06d.names", n)}
	begin := Begin{Format: format, Chain: x.Chain, Piece: n, Registry: from.Registry, After: last}
	temp := p.File + ".new"
	some, err := p.write(ctx, folder, temp, begin, o, &w.count, w.frames)
	if err != nil || !some {
		return nil, err
	}
	p.End, p.Last = w.end, w.last
	if err := replace(folder, p.Names, []byte(strings.Join(append(w.names, ""), "\n"))); err != nil {
		return nil, failed("writing "+p.Names, err)
	}
	if err := errors.Join(folder.Rename(temp, p.File), folder.Sync()); err != nil {
		return nil, failed("naming "+p.File, err)
	}
	x.Pieces = append(x.Pieces, p)
	return &p, nil
}

// replacePresent writes the present part anew, beside the one that counts until
// the index is written, and says which file that was. What an earlier try left
// there is removed.
func (x *Index) replacePresent(ctx context.Context, from Source, folder Folder, o Options) (old string, err error) {
	part := Part{File: presentNames[0]}
	old = presentNames[1]
	if x.Present != nil && x.Present.File == part.File {
		part.File, old = old, part.File
	}
	begin := Begin{Format: format, Chain: x.Chain, Registry: from.Registry}
	var count Count
	some, err := part.write(ctx, folder, part.File, begin, o, &count, func(out io.Writer) error {
		if from.Present == nil {
			return nil
		}
		return from.Present(func(name string, content []byte) error {
			count.Files++
			if err := writeFrame(out, frame{Kind: "file", Size: int64(len(content)), Name: name}); err != nil {
				return err
			}
			_, err := out.Write(content)
			return err
		})
	})
	if x.Present = nil; some {
		x.Present = &part
	}
	return old, err
}

// write writes a part under a name, reads it back and says what it is. A part
// that would hold nothing is not there afterwards. frames is counted in count.
func (p *Part) write(ctx context.Context, folder Folder, name string, begin Begin, o Options, count *Count, frames func(io.Writer) error) (some bool, err error) {
	// The key of this identity is gone when the part has been read back.
	probe, err := age.GenerateX25519Identity()
	if err != nil {
		return false, err
	}
	if err := ignoreMissing(folder.Remove(name)); err != nil {
		return false, failed("removing what an earlier try left", err)
	}
	p.Made, p.Recipients = o.Now.UTC(), o.Names
	p.SHA256, p.Bytes, err = writeFile(folder, name, append(slices.Clone(o.Recipients), probe.Recipient()), func(out io.Writer) error {
		if err := writeFrame(out, frame{Kind: "begin", Begin: &begin}); err != nil {
			return err
		}
		if err := frames(out); err != nil {
			return err
		}
		return writeFrame(out, frame{Kind: "end", Count: count})
	})
	if p.Holds = *count; err == nil && p.Holds != (Count{}) {
		err = p.readBack(ctx, folder, name, begin, probe)
	}
	if err != nil || p.Holds == (Count{}) {
		return false, errors.Join(err, ignoreMissing(folder.Remove(name)))
	}
	return true, nil
}

func ignoreMissing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// names are the digests of all that the chain holds.
func (x *Index) names(folder Folder) (map[string]bool, error) {
	held := map[string]bool{}
	for _, p := range x.Pieces {
		text, err := readAll(folder, p.Names, 1<<30)
		if err != nil {
			return nil, failed("reading "+p.Names, err)
		}
		for name := range bytes.Lines(text) {
			held[strings.TrimSpace(string(name))] = true
		}
	}
	return held, nil
}

// end is where the chain ends, if the ledger still has that commit there.
func (x *Index) end(ctx context.Context, ledger registry.Ledger) (registry.Position, string, error) {
	if len(x.Pieces) == 0 {
		return 0, "", nil
	}
	p := x.Pieces[len(x.Pieces)-1]
	if p.End == 0 {
		return 0, "", nil
	}
	found := ""
	err := ledger.ReadAll(ctx, p.End-1, func(r registry.Record) error {
		if r.Position == p.End {
			found = hex.EncodeToString([]byte(r.ID))
		}
		return errStop
	})
	if err != nil && !errors.Is(err, errStop) {
		return 0, "", err
	}
	if found != p.Last {
		return 0, "", registry.Refuse(registry.CodeConflict, "Keep this backup, begin a new one in an empty folder, and find out which of the two is the true ledger.",
			"The ledger is not the one that the backup follows: it does not hold the backup's last commit at its place")
	}
	return p.End, p.Last, nil
}

var errStop = errors.New("stop")

// writer writes one piece.
type writer struct {
	ctx     context.Context
	from    Source
	held    map[string]bool
	options Options
	count   Count
	end     registry.Position
	last    string
	names   []string
}

// writeFile encrypts and packs frames into a file, and says what the file's
// digest and size are.
func writeFile(folder Folder, name string, to []age.Recipient, frames func(io.Writer) error) (digest string, size int64, err error) {
	f, err := folder.Create(name)
	if err != nil {
		return "", 0, failed("making "+name, err)
	}
	sum := sha256.New()
	counted := &counter{w: io.MultiWriter(f, sum)}
	sealed, err := age.Encrypt(counted, to...)
	if err == nil {
		packed, _ := gzip.NewWriterLevel(sealed, gzip.BestSpeed)
		if err = frames(packed); err == nil {
			err = errors.Join(packed.Close(), sealed.Close())
		}
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		if registry.CodeOf(err) == registry.CodeTampered || errors.Is(err, context.Canceled) {
			return "", 0, err
		}
		return "", 0, failed("writing "+name, err)
	}
	return hex.EncodeToString(sum.Sum(nil)), counted.n, nil
}

type counter struct {
	w io.Writer
	n int64
}

func (c *counter) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// frames writes what came since. The ledger is read first: a picture that a
// commit names was stored before the commit.
func (w *writer) frames(out io.Writer) error {
	err := w.from.Ledger.ReadAll(w.ctx, w.end, func(r registry.Record) error {
		if err := writeFrame(out, commitFrame(r)); err != nil {
			return err
		}
		for _, e := range r.Events {
			if _, err := out.Write(e); err != nil {
				return err
			}
		}
		w.end, w.last = r.Position, hex.EncodeToString([]byte(r.ID))
		w.count.Commits++
		w.count.Events += len(r.Events)
		w.told()
		return nil
	})
	if err == nil {
		err = w.files(out, "photo", w.from.Photos, &w.count.Photos)
	}
	if err == nil {
		err = w.files(out, "private", w.from.Private, &w.count.Private)
	}
	return err
}

func (w *writer) told() {
	if w.options.Progress != nil {
		w.options.Progress(w.count)
	}
}

func (w *writer) files(out io.Writer, kind string, blobs Blobs, n *int) error {
	return blobs.Each(w.ctx, func(digest string, _ int64) error {
		if w.held[kind+" "+digest] {
			return nil
		}
		r, size, err := blobs.Get(w.ctx, digest)
		if registry.CodeOf(err) == registry.CodeNotFound {
			return nil // removed meanwhile
		}
		if err != nil {
			return err
		}
		err = writeFrame(out, frame{Kind: kind, Size: size, Digest: digest})
		if err == nil {
			var copied int64
			if copied, err = io.Copy(out, r); err == nil && copied != size {
				err = fmt.Errorf("%s changed while it was read", digest)
			}
		}
		if err = errors.Join(err, r.Close()); err != nil {
			return err
		}
		w.names = append(w.names, kind+" "+digest)
		*n++
		w.told()
		return nil
	})
}

// readBack opens a written part and holds it against what was to be in it.
func (p Part) readBack(ctx context.Context, folder Folder, name string, begin Begin, probe age.Identity) error {
	count, err := open(ctx, folder, name, p.SHA256, []age.Identity{probe}, func(f frame, r *bufio.Reader) error {
		if f.Kind == "begin" && *f.Begin != begin {
			return errors.New("the piece does not begin as it was written")
		}
		_, err := io.CopyN(io.Discard, r, f.Size)
		return err
	})
	if err == nil && count != p.Holds {
		err = errors.New("the piece does not hold what was written")
	}
	if err != nil {
		return failed("reading "+p.File+" back", err)
	}
	return nil
}
