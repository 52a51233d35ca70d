package dossier

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"fmt"
	"image/jpeg"
	"io"
	"math"

	"codeberg.org/go-pdf/fpdf"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// PDFInput is what a readable dossier is made of.
type PDFInput struct {
	// Language is what the document is said in.
	Language Language
	Report   *workshop.Report
	// Preview opens a photo's preview, a JPEG, by digest. CodeNotFound says
	// that it is no longer kept. nil leaves every picture out.
	Preview func(digest string) (io.ReadCloser, error)
	// Program names the program with its version.
	Program string
	// Root, Origin and Key are those of the checkpoint of this state of the
	// record, where there is one: the root in base64, the origin, and the
	// registry's public key line.
	Root, Origin, Key string
}

// imageJPEG says what kind of picture a preview is.
var imageJPEG = fpdf.ImageOptions{ImageType: "JPG"}

// maxPreview is the largest preview that is put into a document, in bytes.
const maxPreview = 8 << 20

// pdf is a document under way.
type pdf struct {
	*sheet
	in PDFInput
	r  *workshop.Report
	// name gives the words for a component, option, opening or photo.
	component map[string]string
	option    map[string]string
	opening   map[string]string
	pictures  int // put in so far
}

// WritePDF writes a dossier to be read and printed: A4, fonts embedded, with
// contents, bookmarks and numbered pages. The same input gives the same bytes.
// Codes: CodeInvalid without a report, CodeTampered when a preview is not the
// one recorded, and whatever Preview answers.
func WritePDF(w io.Writer, in PDFInput) error {
	p, err := newPDF(in, "As found")
	if err != nil {
		return err
	}
	f := p.f

	p.cover()
	if err := p.frontispiece(); err != nil {
		return err
	}
	p.page()
	contents := f.PageNo()
	p.page()
	for _, section := range []func() error{
		plainSection(p.howToRead), plainSection(p.indices), plainSection(p.custody), plainSection(p.found), plainSection(p.uncertain),
		plainSection(p.evidence), plainSection(p.joints), plainSection(p.measurements), plainSection(p.fittings),
		plainSection(p.faults), plainSection(p.decisions), plainSection(p.work), plainSection(p.openings), plainSection(p.removed),
		plainSection(p.checks), plainSection(p.gates), plainSection(p.cautions), plainSection(p.handBack), plainSection(p.questions),
		plainSection(p.timeline), p.photos, plainSection(p.verifying),
	} {
		if err := section(); err != nil {
			return err
		}
	}
	p.finish(contents)
	if err := f.Error(); err != nil {
		return fmt.Errorf("make the document: %w", err)
	}
	return f.Output(w)
}

// newPDF begins a document about a machine. CodeInvalid without a report.
func newPDF(in PDFInput, title string) (*pdf, error) {
	if in.Report == nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Give a report.", "There is nothing to print")
	}
	p := &pdf{sheet: newSheet(paperA4, in.Language), in: in, r: in.Report}
	p.names()
	f := p.f
	f.SetTitle(oneLine(p.say(title)+": "+p.r.Machine.Name), true)
	f.SetSubject(oneLine(p.joined(", ", p.r.Machine.Make, p.r.Machine.Model, p.edition()+" edition", fmt.Sprintf("version %d", p.r.Version))), true)
	f.SetCreator(oneLine(in.Program), true)
	f.SetProducer("asfound", true)
	f.SetCreationDate(p.r.Changed.UTC())
	f.SetModificationDate(p.r.Changed.UTC())
	return p, nil
}

func plainSection(f func()) func() error { return func() error { f(); return nil } }

// names gathers the words for identifiers.
func (p *pdf) names() {
	p.component, p.option, p.opening = map[string]string{}, map[string]string{}, map[string]string{}
	for _, g := range p.r.Groups {
		p.component[g.ID] = g.Name
		for _, c := range g.Components {
			p.component[c.ID] = c.Name
		}
	}
	for _, f := range p.r.Faults {
		for _, o := range f.Options {
			p.option[o.ID] = o.Title
		}
	}
	for _, o := range p.r.Offers {
		for _, x := range o.Options {
			p.option[x.ID] = x.Title
		}
	}
	for _, o := range p.r.Openings {
		p.opening[o.ID] = o.Title
	}
}

// all gives the words for several identifiers, in one line.
func (l Language) all(ids []string, names map[string]string) string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = cmp.Or(names[id], id)
	}
	return l.joined(", ", out...)
}

func (p *pdf) edition() string {
	if p.r.Public {
		return word("public")
	}
	return word("private")
}

// finish writes what is only known at the end: the contents, and at the foot of
// each page what it belongs to and which page of how many it is.
func (p *pdf) finish(contents int) {
	f := p.f
	f.SetPage(contents)
	p.fresh()
	p.y = marginTop
	p.put(marginSide, p.y, lookSection, "Contents")
	p.y += lookSection.height() + 4
	entry := look{faceText, 10, 0}
	for _, h := range p.headings {
		if h.level > 0 || p.y > bodyEnd-entry.height() {
			continue
		}
		number := fmt.Sprint(h.page)
		x := pageWidth - marginSide - p.measure(entry, number)
		p.line(marginSide, p.y, entry, h.title)
		p.line(x, p.y, entry, number)
		f.SetDrawColor(150, 150, 150)
		f.SetLineWidth(0.15)
		f.Line(marginSide+p.measure(entry, h.title)+2, p.y+entry.size*millimetresPerPoint, x-2, p.y+entry.size*millimetresPerPoint)
		f.Link(marginSide, p.y, bodyWidth, entry.height(), h.link)
		p.y += entry.height() * 1.45
	}
	p.feet()
}

// feet writes at the foot of each page what it belongs to, and which page of
// how many it is.
func (p *pdf) feet() {
	f := p.f
	pages := f.PageCount()
	foot := look{faceText, 7, 60}
	short := p.r.Head
	if len(short) > 16 {
		short = short[:16] + "…"
	}
	left := p.clean(foot, oneLine(p.joined(" · ", p.r.Machine.Name, fmt.Sprintf("version %d", p.r.Version), p.filled("head %s", short), p.edition()+" edition")))
	for page := 1; page <= pages; page++ {
		f.SetPage(page)
		p.fresh()
		y := pageHeight - 13
		f.SetDrawColor(120, 120, 120)
		f.SetLineWidth(0.15)
		f.Line(marginSide, y-1.5, pageWidth-marginSide, y-1.5)
		right := p.say(fmt.Sprintf("page %d of %d", page, pages))
		wide := bodyWidth - p.measure(foot, right) - 6
		lines := p.wrap(foot, left, wide)
		p.line(marginSide, y, foot, lines[0])
		p.line(pageWidth-marginSide-p.measure(foot, right), y, foot, right)
		if p.lacking[page] {
			p.line(marginSide, y+foot.height(), foot, string(noGlyph)+p.say(" stands for a character that this typeface lacks. The record itself holds it."))
		}
		if p.r.Machine.Invented {
			p.banner()
		}
	}
	f.SetPage(pages)
}

// fresh forgets what was selected on another page.
func (p *pdf) fresh() { p.current = look{} }

// banner says at the head of a page that nothing in it is real.
func (p *pdf) banner() {
	l := look{faceBold, 8, 0}
	text := p.say("Invented demonstration data")
	w := p.measure(l, text) + 6
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.3)
	p.f.Rect((p.paper.width-w)/2, p.paper.top-14, w, 5.6, "D")
	p.line((p.paper.width-w)/2+3, p.paper.top-12.8, l, text)
}

// picture puts a preview into the document and gives its name there, with the
// size in pixels. The reason is in words when it cannot be shown.
func (p *pdf) picture(digest string) (name string, width, height float64, reason string, err error) {
	if p.in.Preview == nil {
		return "", 0, 0, "left out of this copy", nil
	}
	r, err := p.in.Preview(digest)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return "", 0, 0, "no longer kept", nil
	}
	if err != nil {
		return "", 0, 0, "", err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, maxPreview+1))
	if err != nil {
		return "", 0, 0, "", err
	}
	if len(data) > maxPreview {
		return "", 0, 0, "too large to print", nil
	}
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != hexOf(digest) {
		return "", 0, 0, "", registry.Refuse(registry.CodeTampered, "Restore it from a backup.", "The picture that is kept as %s is another one", digest)
	}
	size, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil || size.Width < 1 || size.Height < 1 {
		return "", 0, 0, "not a picture that can be printed", nil
	}
	if info := p.f.GetImageInfo(digest); info == nil {
		info = p.f.RegisterImageOptionsReader(digest, imageJPEG, bytes.NewReader(data))
		if err := p.f.Error(); err != nil {
			return "", 0, 0, "", err
		}
		p.pictures++
		if err := placeInOrder(info, p.pictures); err != nil {
			return "", 0, 0, "", err
		}
	}
	return digest, float64(size.Width), float64(size.Height), "", nil
}

// placeInOrder gives a picture its place among all. The library writes pictures
// in the order of their widths, and those of equal width in any order, so the
// bytes would differ from run to run. It cuts the width to a whole number when
// it writes it; a fraction that grows from picture to picture settles the
// order. The fields are those of the library's own encoding, the fourth is the
// width.
func placeInOrder(info *fpdf.ImageInfoType, n int) error {
	coded, err := info.GobEncode()
	if err != nil {
		return err
	}
	var data, smask, palette []byte
	var number, bits int
	var width, height, scale, dpi float64
	var space, filter, parameters string
	var mask []int
	from := gob.NewDecoder(bytes.NewReader(coded))
	for _, field := range []any{&data, &smask, &number, &width, &height, &space, &palette, &bits, &filter, &parameters, &mask, &scale, &dpi} {
		if err := from.Decode(field); err != nil {
			return err
		}
	}
	var out bytes.Buffer
	to := gob.NewEncoder(&out)
	for _, field := range []any{data, smask, number, math.Floor(width) + float64(n)/1e6, height, space, palette, bits, filter, parameters, mask, scale, dpi} {
		if err := to.Encode(field); err != nil {
			return err
		}
	}
	return info.GobDecode(out.Bytes())
}
