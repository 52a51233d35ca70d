package sheet

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"path"
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// archive is what was learnt of a workbook by unpacking it once into nothing.
type archive struct {
	lastRows map[string]int    // by part name, in small letters
	parts    map[string]string // part name of each sheet
}

const (
	maxParts = 10_000
	// swollen is the ratio of unpacked to stored bytes that no list reaches:
	// DEFLATE ends near 1032 to 1, a sheet of equal rows near 100 to 1.
	swollen      = 400
	swollenFloor = 32 << 20
	// maxOther is the largest part of text that is neither a sheet nor the
	// table of shared texts: styles, names, relations. These are held in memory.
	maxOther = 16 << 20
)

// checkArchive unpacks every part, keeping nothing, so that damage, lying sizes
// and bombs show before anything is held in memory.
func checkArchive(data []byte, name string, limit int64) (*archive, error) {
	zr, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, damaged(name, "it is an archive that was cut off or changed")
	}
	if len(zr.File) > maxParts {
		return nil, registry.Refuse(registry.CodeTooLarge, takes, "%s is an archive of %d parts", base(name), len(zr.File))
	}
	a := &archive{lastRows: map[string]int{}, parts: map[string]string{}}
	var workbook, rels []byte
	var total int64
	for _, part := range zr.File {
		lower := strings.ToLower(strings.ReplaceAll(part.Name, `\`, "/"))
		sheet := strings.HasPrefix(lower, "xl/worksheets/") && strings.HasSuffix(lower, ".xml")
		scan := rowScanner{}
		var small bytes.Buffer
		into := io.Discard
		switch {
		case sheet:
			into = &scan
		case lower == "xl/workbook.xml" || lower == "xl/_rels/workbook.xml.rels" || lower == "mimetype":
			into = &small
		}
		n, err := unpack(part, into, limit-total)
		total += n
		switch {
		case total > limit || total > swollenFloor && total > int64(len(data))*swollen:
			return nil, registry.Refuse(registry.CodeTooLarge, "Save the sheet alone, as CSV.",
				"%s unpacks to more than a list can be: over %d MiB out of %d KiB", base(name), min(total, limit)>>20, len(data)>>10)
		case n > maxOther && !sheet && lower != "xl/sharedstrings.xml" && (strings.HasSuffix(lower, ".xml") || strings.HasSuffix(lower, ".rels")):
			return nil, registry.Refuse(registry.CodeTooLarge, "Save the sheet alone, as CSV.", "%s has a part %s of %d MiB, which no list needs", base(name), strconv.QuoteToASCII(short(part.Name)), n>>20)
		case err != nil:
			return nil, damaged(name, "its part "+strconv.QuoteToASCII(short(part.Name))+" was cut off or changed")
		case sheet:
			a.lastRows[lower] = scan.last
		case lower == "xl/workbook.xml":
			workbook = small.Bytes()
		case lower == "xl/_rels/workbook.xml.rels":
			rels = small.Bytes()
		case strings.HasPrefix(small.String(), "application/vnd.oasis.opendocument"):
			return nil, registry.Refuse(registry.CodeUnsupported, takes, "%s is an open document file (.ods); a sheet is read from XLSX or CSV", base(name))
		}
	}
	if workbook == nil {
		return nil, registry.Refuse(registry.CodeUnsupported, takes, "%s is an archive, but not a workbook; a sheet is read from XLSX or CSV", base(name))
	}
	a.findParts(workbook, rels)
	return a, nil
}

func unpack(part *zip.File, into io.Writer, limit int64) (int64, error) {
	in, err := part.Open()
	if err != nil {
		return 0, err
	}
	n, err := io.Copy(into, io.LimitReader(in, limit+1))
	if n <= limit && err == nil {
		// The end is read once more so that the checksum is compared.
		var one [1]byte
		if _, err = in.Read(one[:]); errors.Is(err, io.EOF) {
			err = nil
		}
	}
	return n, errors.Join(err, in.Close())
}

// findParts learns which part holds which sheet.
func (a *archive) findParts(workbook, rels []byte) {
	var book struct {
		Sheets []struct {
			Name string `xml:"name,attr"`
			ID   string `xml:"http://schemas.openxmlformats.org/officeDocument/2006/relationships id,attr"`
		} `xml:"sheets>sheet"`
	}
	var relations struct {
		All []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	if xml.Unmarshal(workbook, &book) != nil || xml.Unmarshal(rels, &relations) != nil {
		return
	}
	for _, s := range book.Sheets {
		for _, r := range relations.All {
			if r.ID == s.ID {
				target := r.Target
				if !strings.HasPrefix(target, "/") {
					target = path.Join("xl", target)
				}
				a.parts[s.Name] = strings.ToLower(strings.TrimPrefix(target, "/"))
			}
		}
	}
}

// lastRow is the number of the last row element of a sheet, 0 when unknown.
func (a *archive) lastRow(sheet string) int { return a.lastRows[a.parts[sheet]] }

// rowScanner finds the number of the last row element in a worksheet's text as
// it passes: the one that the element states, or one more than the row before.
type rowScanner struct {
	last  int
	inTag bool
	tag   []byte
}

const maxTag = 512

func (s *rowScanner) Write(p []byte) (int, error) {
	for rest := p; len(rest) > 0; {
		if !s.inTag {
			i := bytes.IndexByte(rest, '<')
			if i < 0 {
				break
			}
			rest, s.inTag, s.tag = rest[i+1:], true, s.tag[:0]
			continue
		}
		i := bytes.IndexByte(rest, '>')
		end := i
		if i < 0 {
			end = len(rest)
		}
		if room := maxTag - len(s.tag); room > 0 {
			s.tag = append(s.tag, rest[:min(end, room)]...)
		}
		if i < 0 {
			break
		}
		s.seen()
		rest, s.inTag = rest[i+1:], false
	}
	return len(p), nil
}

func (s *rowScanner) seen() {
	tag := s.tag
	name, rest, _ := bytes.Cut(tag, []byte(" "))
	name = bytes.TrimRight(name, "/\r\n\t")
	if i := bytes.IndexByte(name, ':'); i >= 0 {
		name = name[i+1:]
	}
	if string(name) != "row" || len(tag) > 0 && tag[0] == '/' {
		return
	}
	s.last++
	for _, field := range bytes.Fields(rest) {
		if value, ok := bytes.CutPrefix(field, []byte("r=")); ok {
			if n, err := strconv.Atoi(string(bytes.Trim(value, `"'/`))); err == nil && n > 0 {
				s.last = n
			}
		}
	}
}
