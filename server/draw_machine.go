package server

import (
	"html"
	"html/template"
	"strconv"
	"strings"

	"example.org/asfound/drawing"
	"example.org/asfound/workshop"
)

// MachineDrawing is the side view of a machine with its groups shaded. The same
// stands beside it in words.
type MachineDrawing struct {
	SVG template.HTML
	*workshop.Shading
	Legend []ShadeKey
	// Tags are the groups that have no place of their own on this side.
	Tags []ShadeTag
	Rows []ShadeRow
	// As says what is drawn, and where that comes from.
	As []workshop.DrawnAs
}

// ShadeKey is one line of the legend.
type ShadeKey struct{ Pattern, Words string }

// ShadeTag is a group beside the drawing.
type ShadeTag struct {
	ShadeRow
	Why string // it has no place on this side
}

// ShadeRow is one group as a row of the table.
type ShadeRow struct {
	workshop.GroupShade
	Pattern string // id of its pattern
	Words   string // what the pattern stands for
	To      string // address of the group's page
}

// shadePattern is the id of the pattern of a level.
func shadePattern(level int) string {
	if level == workshop.LevelNothing {
		return "shade-none"
	}
	return "shade-" + itoa(level)
}

func shadeWords(s *workshop.Shading, level int) string {
	switch level {
	case workshop.LevelNothing:
		return workshop.NothingWords
	case workshop.LevelUnknown:
		return workshop.UnknownWords
	}
	return s.Levels[level-1]
}

// drawMachine draws a machine from one side, shaded.
func drawMachine(machine string, l drawing.Layout, s *workshop.Shading) *MachineDrawing {
	l = l.Settled()
	out := &MachineDrawing{Shading: s}
	rows := map[string]ShadeRow{}
	levels := map[int]bool{}
	for _, g := range s.Groups {
		row := ShadeRow{GroupShade: g, Pattern: shadePattern(g.Level), Words: shadeWords(s, g.Level), To: "/machines/" + machine + "/groups/" + g.Group}
		out.Rows = append(out.Rows, row)
		rows[g.Group] = row
		levels[g.Level] = true
	}
	for level := range s.Levels {
		out.Legend = append(out.Legend, ShadeKey{shadePattern(level + 1), s.Levels[level]})
	}
	out.Legend = append(out.Legend, ShadeKey{shadePattern(workshop.LevelUnknown), workshop.UnknownWords})
	if levels[workshop.LevelNothing] {
		out.Legend = append(out.Legend, ShadeKey{shadePattern(workshop.LevelNothing), shadeWords(s, workshop.LevelNothing)})
	}
	w := svgWriter{}
	w.begin(l, s)
	placed := map[string]bool{}
	for _, r := range drawing.Draw(l) {
		row, ok := rows[r.Group]
		if !ok {
			row = ShadeRow{Pattern: shadePattern(0)} // a catalog without this group
		}
		placed[r.Group] = ok && len(r.Touch) > 0
		w.region(r, row, placed[r.Group])
	}
	w.b.WriteString("</svg>")
	out.SVG = template.HTML(w.b.String())
	other := l
	other.Side = map[string]string{drawing.Left: drawing.Right, drawing.Right: drawing.Left}[l.Side]
	beyond := map[string]bool{}
	for _, r := range drawing.Draw(other) {
		beyond[r.Group] = len(r.Touch) > 0
	}
	for _, row := range out.Rows {
		if placed[row.Group] {
			continue
		}
		tag := ShadeTag{row, "has no one place"}
		switch {
		case beyond[row.Group]:
			tag.Why = "is on the " + other.Side + " side"
		case row.Group == "rear-suspension":
			tag.Why = "is not drawn"
		}
		out.Tags = append(out.Tags, tag)
	}
	return out
}

// svgWriter writes the drawing. Colours and widths are the style sheet's.
type svgWriter struct{ b strings.Builder }

func (w *svgWriter) add(parts ...string) {
	for _, p := range parts {
		w.b.WriteString(p)
	}
}

func shortNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// shadePatterns are the fills of the levels: told apart by their lines, so that
// no colour is needed. Their size is in millimetres of the machine.
const shadePatterns = `<defs>` +
	`<pattern id="shade-none" width="44" height="30" patternUnits="userSpaceOnUse"><rect class="tone0" width="44" height="30"/><path class="weft" d="M4 8h14M26 23h14"/></pattern>` +
	`<pattern id="shade-0" width="38" height="38" patternUnits="userSpaceOnUse"><rect class="tone0" width="38" height="38"/><circle class="weft" cx="10" cy="10" r="6"/><circle class="weft" cx="29" cy="29" r="6"/></pattern>` +
	`<pattern id="shade-1" width="9" height="9" patternUnits="userSpaceOnUse"><rect class="tone1" width="9" height="9"/></pattern>` +
	`<pattern id="shade-2" width="30" height="30" patternUnits="userSpaceOnUse"><rect class="tone2" width="30" height="30"/><circle class="knot" cx="8" cy="8" r="4"/><circle class="knot" cx="23" cy="23" r="4"/></pattern>` +
	`<pattern id="shade-3" width="24" height="24" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect class="tone3" width="24" height="24"/><path class="weft" d="M12 0v24"/></pattern>` +
	`<pattern id="shade-4" width="26" height="26" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect class="tone4" width="26" height="26"/><path class="weft" d="M13 0v26M0 13h26"/></pattern>` +
	`<pattern id="shade-5" width="9" height="9" patternUnits="userSpaceOnUse"><rect class="tone5" width="9" height="9"/></pattern>` +
	`</defs>`

// sideViews name the drawing.
var sideViews = map[string]string{drawing.Left: "The machine from its left side", drawing.Right: "The machine from its right side"}

func (w *svgWriter) begin(l drawing.Layout, s *workshop.Shading) {
	v := drawing.View
	w.add(`<svg class="side" viewBox="`, shortNumber(v.X), " ", shortNumber(v.Y), " ", shortNumber(v.W), " ", shortNumber(v.H),
		`" role="group" aria-labelledby="side-t side-d"><title id="side-t">`, sideViews[l.Side], `</title><desc id="side-d">`, html.EscapeString(s.Question), `</desc>`, shadePatterns)
}

// region writes one group: a link, unless it has no place on this side.
func (w *svgWriter) region(r drawing.Region, row ShadeRow, linked bool) {
	if len(r.Shapes) == 0 {
		return
	}
	if linked {
		name := html.EscapeString(row.Name + ": " + row.Shown)
		w.add(`<a href="`, html.EscapeString(row.To), `" aria-label="`, name, `"><title>`, name, `</title>`)
	}
	w.add(`<g fill="url(#`, row.Pattern, `)">`)
	for i := 0; i < len(r.Shapes); i++ {
		s := r.Shapes[i]
		class, data := [...]string{"", ` class="l"`, ` class="f"`}[s.Kind], s.Path.Data()
		// Lines in a row are one path.
		for s.Kind != drawing.Area && i+1 < len(r.Shapes) && r.Shapes[i+1].Kind == s.Kind {
			i++
			data += r.Shapes[i].Path.Data()
		}
		w.add(`<path`, class, ` d="`, data, `"/>`)
	}
	w.add(`</g>`)
	if !linked {
		return
	}
	for _, t := range r.Touch {
		w.add(`<rect class="touch" x="`, shortNumber(t.X), `" y="`, shortNumber(t.Y), `" width="`, shortNumber(t.W), `" height="`, shortNumber(t.H), `"/>`)
	}
	w.add(`</a>`)
}

// layoutOf is how a machine is drawn, and where that comes from.
func layoutOf(report *workshop.Report, chosen drawing.Layout) (drawing.Layout, []workshop.DrawnAs) {
	d, as := report.DrawnAs(workshop.Drawn{Engine: chosen.Engine, Rear: chosen.Rear, Front: chosen.Front})
	return drawing.Layout{Side: chosen.Side, Engine: d.Engine, Rear: d.Rear, Front: d.Front}.Settled(), as
}
