package dossier

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"example.org/asfound/registry"
)

// file is one file of a bundle that was read.
type file struct {
	size   int64
	crc    uint32 // as the archive says
	badCRC bool
	sha256 string // hex, of what is there
	data   []byte // of everything but pictures
}

// readArchive reads every entry once. It reports false when there is nothing
// to go on with.
func (c *check) readArchive(r io.ReaderAt, size int64) bool {
	if size > maxArchive {
		c.find(FindingLimit, "archive", "It has %d bytes; no bundle has more than %d", size, int64(maxArchive))
		return false
	}
	if n, ok := announced(r, size); ok && n > maxEntries {
		c.find(FindingLimit, "archive", "It lists %d files; no bundle has more than %d", n, maxEntries)
		return false
	}
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		c.find(FindingArchive, "archive", "%s", notArchive(r, size))
		return false
	}
	if len(z.File) > maxEntries {
		c.find(FindingLimit, "archive", "It lists %d files; no bundle has more than %d", len(z.File), maxEntries)
		return false
	}
	total := uint64(0)
	for _, f := range z.File {
		total += min(f.UncompressedSize64, 1<<40)
	}
	if total > maxArchive || total > uint64(size)*maxRatio+1<<20 {
		c.find(FindingLimit, "archive", "Its files would unpack to %d bytes out of %d: it is built to fill the disk, and was not unpacked", total, size)
		return false
	}
	for _, f := range z.File {
		if c.goodName(f) {
			c.readEntry(f)
		}
	}
	return true
}

// announced reads the number of entries from an archive without a comment, so
// that a huge directory is refused before it is read.
func announced(r io.ReaderAt, size int64) (int, bool) {
	var end [22]byte
	if size < 22 {
		return 0, false
	}
	if _, err := r.ReadAt(end[:], size-22); err != nil && err != io.EOF {
		return 0, false
	}
	return int(binary.LittleEndian.Uint16(end[10:])), binary.LittleEndian.Uint32(end[:]) == endOfArchive
}

// goodName refuses names that are not of a bundle.
func (c *check) goodName(f *zip.File) bool {
	name, shown := f.Name, shorten(f.Name)
	_, _, blob := blobDigest(name)
	_, seen := c.files[name]
	switch {
	case name == "" || !utf8.ValidString(name) || strings.HasPrefix(name, "/") || strings.ContainsAny(name, "\\:\x00") || slices.Contains(strings.Split(name, "/"), ".."):
		c.find(FindingName, shown, "The name would lead out of the folder that the bundle is unpacked to")
	case !f.Mode().IsRegular():
		c.find(FindingName, shown, "It is not a plain file but a link, a folder or a device")
	case f.Flags&1 != 0:
		c.find(FindingArchive, shown, "It is encrypted; nothing in a bundle is")
	case seen:
		c.find(FindingName, shown, "The archive holds two files of that name")
	case !blob && !once(name):
		c.find(FindingUnknown, shown, "No bundle holds a file of that name")
	default:
		return true
	}
	return false
}

// limitOf is the largest size of a file of that name.
func limitOf(name string) uint64 {
	folder, _, _ := blobDigest(name)
	switch {
	case name == fileEvents:
		return maxEventsBytes
	case name == fileManifest:
		return maxManifestBytes
	case folder == "private":
		return maxPrivateBytes
	case folder == "photos":
		return maxPreviewBytes
	case folder == "originals":
		return maxOriginalBytes
	}
	return maxTextBytes
}

func (c *check) readEntry(f *zip.File) {
	limit := limitOf(f.Name)
	if f.UncompressedSize64 > limit {
		c.find(FindingLimit, f.Name, "It would unpack to %d bytes; such a file has at most %d", f.UncompressedSize64, limit)
		return
	}
	if f.Method != zip.Store {
		c.packed = true
	}
	in, err := f.Open()
	if err != nil {
		c.find(FindingArchive, f.Name, "It cannot be read: %s", unreadable(err))
		return
	}
	defer in.Close()
	sum := sha256.New()
	var keep bytes.Buffer
	var to io.Writer = sum
	if folder, _, _ := blobDigest(f.Name); folder != "photos" && folder != "originals" {
		to = io.MultiWriter(sum, &keep)
	}
	// One byte more than announced, so that a lie about the size shows.
	n, err := io.Copy(to, io.LimitReader(in, int64(f.UncompressedSize64)+1))
	switch {
	case err != nil && !errors.Is(err, zip.ErrChecksum):
		c.find(FindingArchive, f.Name, "It cannot be read to its end: %s", unreadable(err))
		return
	case uint64(n) != f.UncompressedSize64:
		c.find(FindingArchive, f.Name, "It has not the %d bytes that the archive announces", f.UncompressedSize64)
		return
	}
	c.files[f.Name] = &file{n, f.CRC32, err != nil, hex.EncodeToString(sum.Sum(nil)), keep.Bytes()}
	c.order = append(c.order, f.Name)
}

// text gives the bytes of a file that must be there once.
func (c *check) text(name string) ([]byte, bool) {
	f, ok := c.files[name]
	if !ok {
		c.find(FindingMissing, name, "The file is not in the bundle")
		return nil, false
	}
	return f.data, true
}

// readManifest reads the manifest; the error is CodeUnsupported for a newer
// format, with which nothing else here would make sense.
func (c *check) readManifest() error {
	data, ok := c.text(fileManifest)
	if !ok {
		return nil
	}
	m, err := readManifest(data)
	if registry.CodeOf(err) == registry.CodeUnsupported {
		return err
	}
	if err != nil {
		c.find(FindingManifest, fileManifest, "The manifest was not written by the program: %v", err)
		return nil
	}
	if m.Edition != EditionPublic && m.Edition != EditionPrivate {
		c.find(FindingManifest, fileManifest, "There is no edition %q", shorten(m.Edition))
	}
	c.manifest, c.listed = m, true
	c.report.Edition, c.report.Program, c.report.Catalog = m.Edition, m.Program, m.Catalog
	return nil
}

// checkFiles compares the files with the manifest.
func (c *check) checkFiles() {
	if !c.listed {
		return
	}
	known := map[string]bool{fileManifest: true, fileSeal: true}
	for _, l := range c.manifest.Files {
		if known[l.Name] {
			c.find(FindingManifest, fileManifest, "It lists %s twice", shorten(l.Name))
			continue
		}
		known[l.Name] = true
		f, there := c.files[l.Name]
		_, digest, blob := blobDigest(l.Name)
		switch {
		case !blob && !once(l.Name):
			c.find(FindingManifest, fileManifest, "It lists %s, which no bundle holds", shorten(l.Name))
		case !there:
			c.find(FindingMissing, l.Name, "The manifest lists it, and it is not there or could not be read")
		case blob && hexOf(digest) != l.SHA256:
			c.find(FindingManifest, fileManifest, "It gives %s another digest than its name", l.Name)
		case blob && f.sha256 != l.SHA256:
			// Named below by what the file should show.
		case f.size != l.Bytes || f.sha256 != l.SHA256:
			c.find(FindingFile, l.Name, "Its bytes are not those that the manifest lists")
		case f.badCRC:
			c.find(FindingArchive, l.Name, "The archive gives a wrong checksum for it")
		}
	}
	for _, name := range c.order {
		if !known[name] {
			c.find(FindingUnknown, name, "The manifest does not list it")
		}
	}
	for _, name := range []string{fileReadme, fileCheckpoint, fileKey, fileEvents} {
		if !known[name] {
			c.find(FindingManifest, fileManifest, "It does not list %s", name)
		}
	}
}

// checkArchiveBytes compares the archive with the one that the program would
// have made of the same files: every byte around them is then accounted for.
func (c *check) checkArchiveBytes(r io.ReaderAt, size int64) {
	if !c.listed || len(c.report.Findings) > 0 && c.structural() {
		return
	}
	names := []string{}
	for i, f := range c.manifest.Files {
		if names = append(names, f.Name); i == 0 {
			names = append(names, fileManifest, fileSeal)
		}
	}
	cmp := newComparer(r)
	p := newPacker(cmp, c.manifest.MadeAt)
	for _, name := range names {
		f, ok := c.files[name]
		if !ok {
			return
		}
		if p.header(name, f.size, f.crc) != nil {
			return
		}
		p.skip(f.size)
	}
	if p.close() == nil && cmp.differs < 0 && cmp.at != size {
		cmp.differs = min(cmp.at, size)
	}
	c.report.Canonical = cmp.differs < 0 && !c.packed
	if c.report.Canonical {
		return
	}
	what := "The archive around the files is not as it was made, from byte %d on: it was packed anew, or changed"
	if c.opts.Repacked {
		c.note(what+". What the files hold was checked on its own.", cmp.differs)
		return
	}
	c.find(FindingArchive, "archive", what, cmp.differs)
}

// structural says whether files are missing, doubled or unreadable, so that
// there is no use in comparing the archive around them.
func (c *check) structural() bool {
	return slices.ContainsFunc(c.report.Findings, func(f Finding) bool {
		return f.Code == FindingMissing || f.Code == FindingUnknown || f.Code == FindingName || f.Code == FindingLimit || f.Code == FindingArchive
	})
}
