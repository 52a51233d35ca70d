package dossier

import (
	"encoding/binary"
	"errors"
	"io"
	"time"

	"example.org/asfound/registry"
)

// A bundle is a ZIP archive of which every byte follows from the names, the
// contents and one time: entries are stored, not packed (pictures would not
// shrink, and text that cannot be unpacked cannot be a bomb), sizes and sums
// stand before the contents, and there are no extra fields or comments. So the
// same record gives the same archive, and one changed byte anywhere shows.

// Limits of an archive. 32-bit offsets do for every bundle that can be mailed.
const (
	maxArchive = 1<<32 - 1
	maxEntries = 20_000
)

const (
	localHeader   = 0x04034b50
	centralHeader = 0x02014b50
	endOfArchive  = 0x06054b50

	zipVersion  = 20     // 2.0, made by FAT: no file modes, so no links
	zipUTF8Flag = 0x0800 // names are UTF-8
)

// entry is one file of an archive.
type entry struct {
	name string
	size int64
	crc  uint32
	at   int64 // offset of its local header
}

// packer writes an archive of stored entries.
type packer struct {
	w       io.Writer
	at      int64
	date    uint16
	clock   uint16
	entries []entry
}

func newPacker(w io.Writer, made time.Time) *packer {
	p := &packer{w: w}
	p.date, p.clock = dosTime(made)
	return p
}

// dosTime writes a UTC time as MS-DOS date and time, which are even seconds
// from 1980 to 2107; times outside become the nearest end.
func dosTime(t time.Time) (date, clock uint16) {
	t = t.UTC()
	switch {
	case t.Year() < 1980:
		t = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)
	case t.Year() > 2107:
		t = time.Date(2107, 12, 31, 23, 59, 58, 0, time.UTC)
	}
	return uint16(t.Year()-1980)<<9 | uint16(t.Month())<<5 | uint16(t.Day()),
		uint16(t.Hour())<<11 | uint16(t.Minute())<<5 | uint16(t.Second()/2)
}

func (p *packer) write(b []byte) error {
	n, err := p.w.Write(b)
	p.at += int64(n)
	return err
}

// add writes an entry whose size and CRC-32 are known. content must have
// exactly that size.
func (p *packer) add(name string, size int64, crc uint32, content io.Reader) error {
	if err := p.header(name, size, crc); err != nil {
		return err
	}
	n, err := io.CopyBuffer(onlyWriter{p}, io.LimitReader(content, size+1), make([]byte, 64<<10))
	if err == nil && n != size {
		err = errSize
	}
	return err
}

// header writes what stands before an entry's content.
func (p *packer) header(name string, size int64, crc uint32) error {
	if len(p.entries) >= maxEntries || size < 0 || p.at+size+int64(len(name))+30 > maxArchive {
		return registry.Refuse(registry.CodeTooLarge, "Leave the originals of the photos out.",
			"The bundle would be larger than 4 GB or %d files", maxEntries)
	}
	e := entry{name, size, crc, p.at}
	p.entries = append(p.entries, e)
	b := p.common(binary.LittleEndian.AppendUint32(nil, localHeader), e)
	return p.write(append(b, name...))
}

var errSize = errors.New("an entry has not the size that was announced")

// onlyWriter keeps io.Copy from looking for other methods.
type onlyWriter struct{ p *packer }

func (o onlyWriter) Write(b []byte) (int, error) {
	if err := o.p.write(b); err != nil {
		return 0, err
	}
	return len(b), nil
}

// common appends the fields that the local and the central header share, from
// "version needed" to "extra field length".
func (p *packer) common(b []byte, e entry) []byte {
	le := binary.LittleEndian
	b = le.AppendUint16(b, zipVersion)
	b = le.AppendUint16(b, zipUTF8Flag)
	b = le.AppendUint16(b, 0) // stored
	b = le.AppendUint16(b, p.clock)
	b = le.AppendUint16(b, p.date)
	b = le.AppendUint32(b, e.crc)
	b = le.AppendUint32(b, uint32(e.size))
	b = le.AppendUint32(b, uint32(e.size))
	b = le.AppendUint16(b, uint16(len(e.name)))
	return le.AppendUint16(b, 0)
}

// close writes the directory.
func (p *packer) close() error {
	le := binary.LittleEndian
	from := p.at
	for _, e := range p.entries {
		b := le.AppendUint32(nil, centralHeader)
		b = le.AppendUint16(b, zipVersion) // made by
		b = p.common(b, e)
		b = append(b, make([]byte, 10)...) // comment length, disk, attributes
		b = le.AppendUint32(b, uint32(e.at))
		if err := p.write(append(b, e.name...)); err != nil {
			return err
		}
	}
	b := le.AppendUint32(nil, endOfArchive)
	b = le.AppendUint32(b, 0) // disks
	b = le.AppendUint16(b, uint16(len(p.entries)))
	b = le.AppendUint16(b, uint16(len(p.entries)))
	b = le.AppendUint32(b, uint32(p.at-from))
	b = le.AppendUint32(b, uint32(from))
	b = le.AppendUint16(b, 0)
	if p.at+int64(len(b)) > maxArchive {
		return registry.Refuse(registry.CodeTooLarge, "Leave the originals of the photos out.", "The bundle would be larger than 4 GB")
	}
	return p.write(b)
}

// comparer takes what an archive should be and compares it with what it is. The
// contents of stored entries are skipped: where the headers and the directory
// are right, they are what the archive's reader has read.
type comparer struct {
	r       io.ReaderAt
	at      int64
	differs int64 // offset of the first byte that differs, -1 while none does
	buf     []byte
}

func newComparer(r io.ReaderAt) *comparer {
	return &comparer{r: r, differs: -1, buf: make([]byte, 64<<10)}
}

func (c *comparer) Write(b []byte) (int, error) {
	for done := 0; done < len(b) && c.differs < 0; {
		want := b[done:min(len(b), done+len(c.buf))]
		n, err := c.r.ReadAt(c.buf[:len(want)], c.at+int64(done))
		for i, x := range want {
			if i >= n || c.buf[i] != x {
				c.differs = c.at + int64(done+i)
				break
			}
		}
		if n < len(want) && err != io.EOF && err != nil {
			return 0, err
		}
		done += len(want)
	}
	c.at += int64(len(b))
	return len(b), nil
}

// skip passes over the content of an entry.
func (p *packer) skip(size int64) {
	p.at += size
	p.w.(*comparer).at += size
}
