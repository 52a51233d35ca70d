package dossier

import (
	"fmt"
	"io"
	"net/url"
	"strings"
	"time"

	"rsc.io/qr"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// LabelInput is what labels for removed parts are made of.
type LabelInput struct {
	// Language is what the document is said in.
	Language Language
	Machine  workshop.MachineReport
	Parts    []workshop.RemovedReport
	Changed  time.Time
	// Base is how people reach the server, such as "http://bench.example";
	// without it a code holds the path alone.
	Base string
	// Layout is LayoutA4, a sheet to be cut, or LayoutRoll, a label a page.
	Layout  string
	Program string
}

// Layouts of labels.
const (
	LayoutA4   = "a4"
	LayoutRoll = "roll"
)

// A label is 62 by 29 mm, a common size of label rolls. Modules are never
// smaller than leastModule, so that a code can still be read when it is printed
// at 203 dots to the inch and scratched; four modules around it stay empty, as
// ISO/IEC 18004 asks.
const (
	labelWidth  = 62.0
	labelHeight = 29.0
	leastModule = 0.4
	mostModule  = 0.6
	quietZone   = 4
)

// LabelPath is the path under which a removed part's record opens. It names the
// record and gives nobody any right to it.
func LabelPath(machine, part string) string {
	return "/t/" + url.PathEscape(machine) + "/" + url.PathEscape(part)
}

// WriteLabels writes labels for removed parts, each with a QR code of error
// correction level M that holds the address of the record. Codes: CodeNotFound
// when there is no removed part, CodeInvalid for a layout that is not known or
// an address that is too long for a label.
func WriteLabels(w io.Writer, in LabelInput) error {
	if len(in.Parts) == 0 {
		return registry.Refuse(registry.CodeNotFound, "Record what came off with its tag first.", "%q has no removed parts to label", in.Machine.ID)
	}
	p := &labels{in: in}
	columns, rows, left, top := 3, 9, 12.0, 18.0
	switch in.Layout {
	case LayoutA4, "":
		p.sheet = newSheet(paperA4, in.Language)
	case LayoutRoll:
		p.sheet, columns, rows, left, top = newSheet(paper{labelWidth, labelHeight, 1, 1, 1}, in.Language), 1, 1, 0, 0
	default:
		return registry.Refuse(registry.CodeInvalid, "Ask for a4 or roll.", "There is no layout %q", in.Layout)
	}
	p.f.SetTitle(oneLine(p.filled("Labels: %s", in.Machine.Name)), true)
	p.f.SetCreator(oneLine(in.Program), true)
	p.f.SetProducer("asfound", true)
	p.f.SetCreationDate(in.Changed.UTC())
	p.f.SetModificationDate(in.Changed.UTC())
	for i, part := range in.Parts {
		place := i % (columns * rows)
		if place == 0 {
			p.f.AddPage()
			p.current = look{}
		}
		x, y := left+float64(place%columns)*labelWidth, top+float64(place/columns)*labelHeight
		if columns > 1 {
			p.f.SetDrawColor(170, 170, 170)
			p.f.SetLineWidth(0.1)
			p.f.Rect(x, y, labelWidth, labelHeight, "D")
		}
		if err := p.label(x, y, part); err != nil {
			return err
		}
	}
	if err := p.f.Error(); err != nil {
		return fmt.Errorf("make the labels: %w", err)
	}
	return p.f.Output(w)
}

type labels struct {
	*sheet
	in LabelInput
}

func (p *labels) label(x, y float64, part workshop.RemovedReport) error {
	path := LabelPath(p.in.Machine.ID, part.ID)
	code, err := qr.Encode(strings.TrimSuffix(p.in.Base, "/")+path, qr.M)
	if err != nil || float64(code.Size+2*quietZone)*leastModule > labelHeight {
		return registry.Refuse(registry.CodeInvalid, "Give the server a shorter address, or the part a shorter id.", "The address of %q is too long for a label", part.ID)
	}
	module := min(mostModule, (labelHeight-0.6)/float64(code.Size+2*quietZone))
	side := module * float64(code.Size+2*quietZone)
	p.code(code, x, y+(labelHeight-side)/2, module)

	at, width := x+side+0.5, labelWidth-side-1.8
	yy := y + 1.6
	put := func(l look, text string, most int) {
		for i, line := range p.broken(piece{text: text, look: l}, width) {
			if i == most || yy+l.height() > y+labelHeight-0.8 {
				return
			}
			p.line(at, yy, l, line)
			yy += l.height()
		}
	}
	put(look{faceBold, 13, 0}, part.Tag, 1)
	put(look{faceBold, 7.5, 0}, part.What, 2)
	put(look{faceText, 6.3, 0}, custodyWords(part.Custody), 1)
	put(look{faceText, 6.3, 0}, p.joined(" · ", part.Component, string(part.Valid)), 2)
	if part.Fasteners != "" {
		put(look{faceText, 6.3, 0}, p.filled("with %s", part.Fasteners), 1)
	}
	put(look{faceText, 6.3, 0}, part.Reason, 1)
	put(look{faceMono, 5.4, 0}, path, 3)
	if p.in.Machine.Invented {
		put(look{faceText, 5, 0}, word("invented"), 1)
	}
	return nil
}

// custodyWords warns of a part that is kept as evidence alone.
func custodyWords(custody string) string {
	if custody == "evidence-only" {
		return "EVIDENCE ONLY, NOT FOR USE"
	}
	return words(custody)
}

// code draws a QR code in runs of dark modules, its quiet zone first.
func (p *labels) code(code *qr.Code, x, y, module float64) {
	p.f.SetFillColor(0, 0, 0)
	for row := range code.Size {
		for column := 0; column < code.Size; {
			run := 0
			for column+run < code.Size && code.Black(column+run, row) {
				run++
			}
			if run > 0 {
				p.f.Rect(x+float64(quietZone+column)*module, y+float64(quietZone+row)*module, float64(run)*module, module, "F")
			}
			column += max(run, 1)
		}
	}
	p.neutral()
	p.current = look{}
}
