package dossier

import (
	"strings"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
)

// Measures of the page in millimetres: A4, that of the dossier.
const (
	pageWidth  = 210.0
	pageHeight = 297.0
	marginSide = 18.0
	marginTop  = 22.0
	marginFoot = 20.0
	bodyWidth  = pageWidth - 2*marginSide
	bodyEnd    = pageHeight - marginFoot
	cellPad    = 1.2
)

const millimetresPerPoint = 25.4 / 72

// paper is a page and its margins, in millimetres.
type paper struct{ width, height, side, top, foot float64 }

var (
	paperA4 = paper{pageWidth, pageHeight, marginSide, marginTop, marginFoot}
	paperA5 = paper{148, 210, 11, 17, 14}
)

// look is how a piece of text is set.
type look struct {
	face string
	size float64 // points
	grey int     // 0 black to 255 white
}

// height is the distance from line to line in millimetres.
func (l look) height() float64 { return l.size * millimetresPerPoint * 1.32 }

// The looks of the document. Nothing is said by colour or grey alone.
var (
	lookBody    = look{faceText, 9, 0}
	lookStrong  = look{faceBold, 9, 0}
	lookSmall   = look{faceText, 7.6, 60}
	lookDigest  = look{faceMono, 6.6, 40}
	lookHead    = look{faceBold, 7.8, 0}
	lookSection = look{faceBold, 15, 0}
	lookPart    = look{faceBold, 10.5, 0}
	lookTitle   = look{faceBold, 26, 0}
	lookLead    = look{faceText, 12, 0}
)

// piece is a paragraph in one look.
type piece struct {
	text string
	look look
	own  bool // somebody's own words, or said already: set as they are
}

func body(s string) piece   { return piece{text: s, look: lookBody} }
func strong(s string) piece { return piece{text: s, look: lookStrong} }
func small(s string) piece  { return piece{text: s, look: lookSmall} }

// own is what somebody wrote: it is set as it was written.
func own(s string) piece { return piece{s, lookBody, true} }

// ownSmall is own in small letters.
func ownSmall(s string) piece { return piece{s, lookSmall, true} }

// cell is what stands in one field of a table.
type cell []piece

// column is one column of a table; share is its part of the width.
type column struct {
	title string
	share float64
}

// heading is a line of the contents.
type heading struct {
	title string
	level int
	page  int
	link  int
}

// sheet lays text out on pages, top to bottom. It breaks lines and pages
// itself, so that a long word or a tall row never leaves the page.
type sheet struct {
	Language
	f        *fpdf.Fpdf
	paper    paper
	y        float64
	current  look
	has      map[string]*[1 << 16]bool
	width    map[string]map[rune]float64 // of a glyph, in thousandths of the size
	headings []heading
	lacking  map[int]bool // pages with a character that has no glyph
}

func newSheet(on paper, in Language) *sheet {
	s := &sheet{Language: in, paper: on, f: fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: on.width, Ht: on.height}}), has: map[string]*[1 << 16]bool{}, width: map[string]map[rune]float64{}, lacking: map[int]bool{}}
	s.f.SetCatalogSort(true)
	s.f.SetLang(in.tag())
	s.f.SetAutoPageBreak(false, 0)
	s.f.SetMargins(on.side, on.top, on.side)
	s.neutral()
	files := faces()
	for _, face := range []string{faceText, faceBold, faceMono} {
		s.f.AddUTF8FontFromBytes(face, "", files[face])
		covered := coverage(files[face])
		s.has[face], s.width[face] = &covered, map[rune]float64{}
	}
	return s
}

func (s *sheet) bodyWidth() float64 { return s.paper.width - 2*s.paper.side }
func (s *sheet) bodyEnd() float64   { return s.paper.height - s.paper.foot }

// use selects a look.
func (s *sheet) use(l look) {
	if s.current == l {
		return
	}
	s.f.SetFont(l.face, "", l.size)
	s.f.SetTextColor(l.grey, l.grey, l.grey)
	s.current = l
}

// neutral selects a fill that no text has. Text then always carries its own
// colour, whatever was filled before it on that page.
func (s *sheet) neutral() { s.f.SetFillColor(1, 2, 3) }

// page begins a new page.
func (s *sheet) page() {
	s.f.AddPage()
	s.y = s.paper.top
}

// room begins a new page unless the given height is left.
func (s *sheet) room(height float64) {
	if s.y+height > s.bodyEnd() {
		s.page()
	}
}

// gap leaves space, but not at the top of a page.
func (s *sheet) gap(height float64) {
	if s.y > s.paper.top {
		s.y += height
	}
}

// measure is the width of a text in millimetres.
func (s *sheet) measure(l look, text string) float64 {
	w := 0.0
	for _, r := range text {
		w += s.glyph(l, r)
	}
	return w
}

func (s *sheet) glyph(l look, r rune) float64 {
	w, known := s.width[l.face][r]
	if !known {
		s.use(l)
		w = float64(s.f.GetStringSymbolWidth(string(r)))
		s.width[l.face][r] = w
	}
	return w / 1000 * l.size * millimetresPerPoint
}

// clean makes a text printable in a look: one kind of space, no control
// characters, a box for what the face lacks.
func (s *sheet) clean(l look, text string) string {
	text = strings.ReplaceAll(text, " %", "\u00a0%") // a figure and its sign stay together
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case unicode.IsSpace(r) && r != '\u00a0' && r != '\u202f':
			return ' '
		case unicode.IsControl(r), r == '\u200b', r == '\ufeff', r == '\u00ad':
			return -1
		case r == '\u202f': // a narrow space that some readers show as a box
			return '\u00a0'
		case r > 0xFFFF, !s.has[l.face][r]:
			return noGlyph
		}
		return r
	}, text)
}

// broken says a paragraph and breaks it into lines of at most the given width.
func (s *sheet) broken(p piece, width float64) []string {
	if !p.own {
		p.text = s.say(p.text)
	}
	return s.wrap(p.look, p.text, width)
}

// wrap breaks a text, said already, once it is cleaned into lines of at most the given width. A word that
// is longer than a line is broken where it must be.
func (s *sheet) wrap(l look, text string, width float64) []string {
	var lines []string
	for _, paragraph := range strings.Split(s.clean(l, text), "\n") {
		var b strings.Builder
		at := 0.0
		space := s.glyph(l, ' ')
		flush := func() {
			lines = append(lines, b.String())
			b.Reset()
			at = 0
		}
		for _, word := range strings.FieldsFunc(paragraph, func(r rune) bool { return r == ' ' }) {
			w := s.measure(l, word)
			if at > 0 && at+space+w > width {
				flush()
			}
			if at > 0 {
				b.WriteByte(' ')
				at += space
			}
			if w <= width {
				b.WriteString(word)
				at += w
				continue
			}
			for _, r := range word {
				g := s.glyph(l, r)
				if at+g > width && at > 0 {
					flush()
				}
				b.WriteRune(r)
				at += g
			}
		}
		flush()
	}
	return lines
}

// put says one line and writes it with its top at y.
func (s *sheet) put(x, y float64, l look, english string) {
	s.line(x, y, l, s.clean(l, s.say(english)))
}

// line writes one line, said already, with its top at y.
func (s *sheet) line(x, y float64, l look, text string) {
	if text == "" {
		return
	}
	s.use(l)
	if strings.ContainsRune(text, noGlyph) {
		s.lacking[s.f.PageNo()] = true
	}
	s.f.Text(x, y+l.size*millimetresPerPoint, text)
}

// write sets a paragraph over the whole width.
func (s *sheet) write(p piece) { s.writeIn(p, 0) }

// writeIn sets a paragraph with an indent in millimetres.
func (s *sheet) writeIn(p piece, indent float64) {
	for _, text := range s.broken(p, s.bodyWidth()-indent) {
		s.room(p.look.height())
		s.line(s.paper.side+indent, s.y, p.look, text)
		s.y += p.look.height()
	}
}

// list sets items with a dash before each.
func (s *sheet) list(items []string) {
	for _, item := range items {
		s.room(lookBody.height())
		s.line(s.paper.side+1, s.y, lookBody, "–")
		s.writeIn(body(item), 5)
	}
}

// section begins a part of the document, with its line in the contents and its
// bookmark.
func (s *sheet) section(title string) {
	s.gap(9)
	s.room(45)
	s.head(title, 0)
	s.put(s.paper.side, s.y, lookSection, title)
	s.y += lookSection.height() + 0.8
	s.rule(0.5, 0)
	s.y += 2.5
}

// part begins a part of a section.
func (s *sheet) part(title string) {
	s.gap(4)
	s.room(28)
	s.head(title, 1)
	for _, text := range s.broken(piece{text: title, look: lookPart}, s.bodyWidth()) {
		s.room(lookPart.height())
		s.line(s.paper.side, s.y, lookPart, text)
		s.y += lookPart.height()
	}
	s.y += 1
}

func (s *sheet) head(title string, level int) {
	link := s.f.AddLink()
	s.f.SetLink(link, s.y, s.f.PageNo())
	s.use(lookSection) // a bookmark is encoded as its current font is
	shown := s.clean(lookSection, s.say(title))
	if r := []rune(shown); len(r) > 120 {
		shown = string(r[:120]) + "…"
	}
	s.f.Bookmark(shown, level, s.y)
	s.headings = append(s.headings, heading{shown, level, s.f.PageNo(), link})
}

// rule draws a line over the whole width.
func (s *sheet) rule(width float64, grey int) {
	s.f.SetDrawColor(grey, grey, grey)
	s.f.SetLineWidth(width)
	s.f.Line(s.paper.side, s.y, s.paper.width-s.paper.side, s.y)
}

// facts sets pairs of a name and a value; empty values are left out. Both are
// said.
func (s *sheet) facts(pairs ...[2]string) {
	label := min(42, s.bodyWidth()/4)
	for _, p := range pairs {
		if p[1] == "" {
			continue
		}
		look := lookBody
		if isDigest(p[1]) {
			look = lookDigest
		}
		s.room(lookBody.height())
		s.put(s.paper.side, s.y+lower(lookHead), lookHead, p[0])
		for _, text := range s.broken(piece{text: p[1], look: look}, s.bodyWidth()-label) {
			s.room(lookBody.height())
			s.line(s.paper.side+label, s.y+lower(look), look, text)
			s.y += lookBody.height()
		}
	}
}

// lower is how much lower a smaller look starts to stand on the line of the body.
func lower(l look) float64 { return (lookBody.size - l.size) * millimetresPerPoint }

// isDigest says whether a value is a digest or a key, to be set in figures of
// one width.
func isDigest(s string) bool {
	return len(s) >= 40 && !strings.ContainsAny(s, " \n")
}

// laid is a cell broken into lines.
type laid []piece

func (l laid) height() float64 {
	h := l.drop()
	for _, p := range l {
		h += p.look.height()
	}
	return h
}

// drop is how much lower a cell begins so that its first line stands on one
// line with its neighbours'.
func (l laid) drop() float64 {
	if len(l) == 0 {
		return 0
	}
	return max(0, lower(l[0].look))
}

// table sets rows under a head that is repeated on every page. A row moves to
// the next page as a whole, unless it is taller than a page; then it is broken
// between lines.
func (s *sheet) table(columns []column, rows [][]cell) {
	if len(rows) == 0 {
		return
	}
	total := 0.0
	for _, c := range columns {
		total += c.share
	}
	widths := make([]float64, len(columns))
	for i, c := range columns {
		widths[i] = c.share / total * s.bodyWidth()
	}
	titles := make([]laid, len(columns))
	for i, c := range columns {
		titles[i] = s.lay(cell{{text: c.title, look: lookHead}}, widths[i])
	}
	head := func() {
		s.row(titles, widths)
		s.rule(0.35, 0)
	}
	headHeight := tallest(titles) + 2*cellPad
	first := s.layRow(rows[0], widths)
	s.room(headHeight + min(tallest(first)+2*cellPad, 60))
	head()
	for _, cells := range rows {
		rest := s.layRow(cells, widths)
		for {
			left := s.bodyEnd() - s.y - 2*cellPad
			if tallest(rest) <= left {
				s.row(rest, widths)
				break
			}
			full := s.bodyEnd() - s.paper.top - headHeight - 2*cellPad
			if tallest(rest) > full && left > 30 {
				var now []laid
				now, rest = split(rest, left)
				s.row(now, widths)
			}
			s.page()
			head()
		}
		s.rule(0.1, 150)
	}
	s.y += 2
}

func (s *sheet) layRow(cells []cell, widths []float64) []laid {
	out := make([]laid, len(widths))
	for i, c := range cells {
		out[i] = s.lay(c, widths[i])
	}
	return out
}

func (s *sheet) lay(c cell, width float64) laid {
	var out laid
	for _, p := range c {
		if p.text == "" {
			continue
		}
		for _, text := range s.broken(p, width-2*cellPad) {
			out = append(out, piece{text, p.look, true})
		}
	}
	return out
}

func tallest(cells []laid) float64 {
	h := 0.0
	for _, c := range cells {
		h = max(h, c.height())
	}
	return h
}

// split takes from each cell the lines that fit into a height. At least one
// line is taken, so that it always comes to an end.
func split(cells []laid, height float64) (now, rest []laid) {
	for _, c := range cells {
		n, h := 0, c.drop()
		for n < len(c) && h+c[n].look.height() <= height {
			h += c[n].look.height()
			n++
		}
		if n == 0 && len(c) > 0 {
			n = 1
		}
		now, rest = append(now, c[:n]), append(rest, c[n:])
	}
	return now, rest
}

// row sets one row at the current place.
func (s *sheet) row(cells []laid, widths []float64) {
	x := s.paper.side
	for i, c := range cells {
		y := s.y + cellPad + c.drop()
		for _, p := range c {
			s.line(x+cellPad, y, p.look, p.text)
			y += p.look.height()
		}
		x += widths[i]
	}
	s.y += tallest(cells) + 2*cellPad
}
