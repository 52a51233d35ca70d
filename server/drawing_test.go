package server

import (
	"context"
	"encoding/xml"
	"errors"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.org/asfound/drawing"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// wellFormed reads a drawing as XML and counts its links.
func wellFormed(t *testing.T, svg string) (links int) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return links
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "a" {
			links++
		}
	}
}

// The drawing, the tags beside it and the table carry the same figures and the
// same patterns, for every question and from either side, and each leads to a
// page of the group.
func TestDrawingAndTableSayTheSame(t *testing.T) {
	b := worked(t)
	for _, show := range workshop.Shades() {
		for _, side := range []string{drawing.Left, drawing.Right} {
			rec := b.get("/machines/drover-1957/drawing?show=" + show + "&side=" + side + "&option=rewind")
			require.Equal(t, http.StatusOK, rec.Code)
			require.Less(t, rec.Body.Len(), 150_000)
			p := readPage(t, rec.Body.String())
			p.landmarks()
			found := map[string][]string{} // address → figure and pattern, as drawn or tagged
			for _, a := range p.all("a") {
				to := attr(a, "href")
				switch {
				case attr(a, "aria-label") != "":
					_, figure, ok := strings.Cut(attr(a, "aria-label"), ": ")
					require.True(t, ok)
					found[to] = append(found[to], figure, patternIn(a, "g"))
				case a.Parent.Parent.Data == "ul" && attr(a.Parent.Parent, "class") == "shade-tags":
					_, figure, _ := strings.Cut(textOf(a), ": ")
					found[to] = append(found[to], figure, patternIn(a, "rect"))
				}
			}
			require.Len(t, found, 17, "%s %s", show, side)
			rows := 0
			for _, tr := range p.all("tr") {
				a := first(tr, "a")
				if a == nil || found[attr(a, "href")] == nil {
					continue
				}
				rows++
				drawn := found[attr(a, "href")]
				require.Len(t, drawn, 2, "%s stands more than once", attr(a, "href"))
				cell := ""
				for n := range tr.Descendants() {
					if n.Data == "td" && attr(n, "class") == "chance" && cell == "" {
						cell = textOf(n)
					}
				}
				require.True(t, strings.HasPrefix(drawn[0], cell), "%s %s: %q is drawn and %q stands in the table", show, attr(a, "href"), drawn[0], cell)
				require.Equal(t, patternIn(tr, "rect"), drawn[1])
			}
			require.Equal(t, 17, rows)
			for to := range found {
				require.Equal(t, http.StatusOK, b.get(to).Code, to)
			}
		}
	}
}

// patternIn is the pattern of the first such element below a node.
func patternIn(n *html.Node, name string) string {
	for d := range n.Descendants() {
		if d.Type == html.ElementNode && d.Data == name && attr(d, "fill") != "" {
			return attr(d, "fill")
		}
	}
	return ""
}

func first(n *html.Node, name string) *html.Node {
	for d := range n.Descendants() {
		if d.Type == html.ElementNode && d.Data == name {
			return d
		}
	}
	return nil
}

// A loss that was weighed is seen in the group of its component, and the
// witness of the joint beside it.
func TestDrawingOfALoss(t *testing.T) {
	b := drover(t)
	rec := b.get("/machines/drover-1957/drawing?show=loss&option=rewind")
	p := readPage(t, rec.Body.String())
	require.Contains(t, p.text(), "Options: Rewind the armature.")
	report, err := b.w.Report(context.Background(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	shading, err := report.Shade(workshop.ShadeLoss, []string{"rewind"})
	require.NoError(t, err)
	for _, g := range shading.Groups {
		require.Equal(t, g.Group == "ignition", g.Value > 0, g.Group)
		if g.Group == "ignition" {
			require.Contains(t, p.text(), "Ignition: "+g.Shown)
			require.Contains(t, p.text(), g.Range)
		}
	}
	require.Contains(t, p.text(), "Take the magneto off")
	require.Equal(t, "checked", attrKey(p.one("input", "value", "rewind", "type", "checkbox"), "checked"))
	// Without an option it is what was recommended.
	require.Contains(t, readPage(t, b.get("/machines/drover-1957/drawing?show=loss").Body.String()).text(), "Options: Set a condenser outside, the armature untouched.")
}

// attrKey gives the name of an attribute that is there, whatever it holds.
func attrKey(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Key
		}
	}
	return ""
}

// A machine of which nothing was surveyed is drawn, and claims nothing.
func TestDrawingOfAMachineThatNobodyLookedAt(t *testing.T) {
	b := newBench(t)
	b.record(&registry.Machine{Common: id("machine"), Make: "unknown", Model: "unknown", Year: "195X", Invented: true})
	for _, show := range workshop.Shades() {
		rec := b.get("/machines/drover-1957/drawing?show=" + show)
		require.Equal(t, http.StatusOK, rec.Code, show)
		p := readPage(t, rec.Body.String())
		p.landmarks()
		drawn := 0
		for _, g := range p.all("g") {
			require.Contains(t, []string{"url(#shade-0)", "url(#shade-none)"}, attr(g, "fill"), show)
			drawn++
		}
		require.Greater(t, drawn, 10)
		require.Contains(t, p.text(), "a rigid frame the record does not say")
	}
	require.Equal(t, http.StatusOK, b.get("/machines/drover-1957/groups/finishes").Code)
}

func TestDrawingIsRefusedInWords(t *testing.T) {
	b := drover(t)
	for query, code := range map[string]int{"show=beauty": 422, "side=above": 422, "engine=six": 422, "rear=none": 422, "front=none": 422, "show=loss&option=nothing": 404, "side=&engine=&option=": 200} {
		rec := b.get("/machines/drover-1957/drawing?" + query)
		require.Equal(t, code, rec.Code, query)
		readPage(t, rec.Body.String()).landmarks()
	}
	require.Equal(t, http.StatusNotFound, b.get("/machines/drover-1957/groups/wings").Code)
	require.Equal(t, http.StatusNotFound, b.get("/machines/nobody/drawing").Code)
}

// Turning to another question or side keeps what was chosen.
func TestTurnsKeepWhatWasChosen(t *testing.T) {
	p := readPage(t, drover(t).get("/machines/drover-1957/drawing?show=finish&side=left&engine=twin&rear=plunger&front=girder").Body.String())
	turns := 0
	for _, a := range p.all("a", "class", "target") {
		to, err := url.Parse(attr(a, "href"))
		require.NoError(t, err)
		q := to.Query()
		if q.Get("show") == "" {
			continue
		}
		turns++
		require.Equal(t, "twin plunger girder", q.Get("engine")+" "+q.Get("rear")+" "+q.Get("front"))
		require.NotEmpty(t, q.Get("side"))
	}
	require.Equal(t, len(workshop.Shades())+2, turns)
	require.Contains(t, p.text(), "plungers as chosen here")
	for _, name := range []string{"twin", "plunger", "girder"} {
		require.Equal(t, "checked", attrKey(p.one("input", "value", name, "type", "radio"), "checked"))
	}
}

// shadingOf is one level for every group.
func shadingOf(level int) *workshop.Shading {
	s := &workshop.Shading{Show: "known", Title: "t", Question: `Is <it> "known" & sure?`, Figure: "f", Levels: [5]string{"a", "b", "c", "d", "e"}}
	for i, r := range drawing.Draw(drawing.Layout{}) {
		l := level
		if level > 4 {
			l = i % 6
		}
		s.Groups = append(s.Groups, workshop.GroupShade{Group: r.Group, Name: `<b>"` + r.Group + `"&`, Shown: "1 < 2", Level: l})
	}
	return s
}

// Every drawing is well-formed, whatever the names in a catalog, and all 17
// groups are drawn or tagged.
func TestDrawingsAreWellFormed(t *testing.T) {
	for _, side := range []string{drawing.Left, drawing.Right} {
		for _, engine := range []string{drawing.Single, drawing.Twin} {
			for _, rear := range []string{drawing.Rigid, drawing.Plunger, drawing.Swinging} {
				for _, front := range []string{drawing.Telescopic, drawing.Girder} {
					for _, level := range []int{workshop.LevelNothing, 0, 5} {
						d := drawMachine("m", drawing.Layout{Side: side, Engine: engine, Rear: rear, Front: front}, shadingOf(level))
						links := wellFormed(t, string(d.SVG))
						require.Equal(t, 17, links+len(d.Tags))
						require.GreaterOrEqual(t, links, 11)
						require.NotContains(t, string(d.SVG), "<b>")
						for _, key := range d.Legend {
							require.Contains(t, string(d.SVG), `id="`+key.Pattern+`"`)
						}
					}
				}
			}
		}
	}
	// A catalog with groups of its own: what is not in it is drawn, not linked.
	d := drawMachine("m", drawing.Layout{}, &workshop.Shading{Groups: []workshop.GroupShade{{Group: "sidecar", Name: "Sidecar", Shown: "not known"}}})
	require.Zero(t, wellFormed(t, string(d.SVG)))
	require.Len(t, d.Tags, 1)
}

// TestDrawingGolden holds one drawing to the byte; look at the new one before
// it is kept.
func TestDrawingGolden(t *testing.T) {
	got := string(drawMachine("drover", drawing.Layout{Side: drawing.Right, Engine: drawing.Single, Rear: drawing.Rigid, Front: drawing.Telescopic}, shadingOf(5)).SVG)
	name := filepath.Join("testdata", "drawing-right-single-rigid.svg")
	if os.Getenv("UPDATE_GOLDEN") != "" {
		require.NoError(t, os.WriteFile(name, []byte(got), 0o644))
	}
	want, err := os.ReadFile(name)
	require.NoError(t, err)
	require.True(t, string(want) == got, "the drawing has changed; run UPDATE_GOLDEN=1 go test ./server and look at the file")
}

// The groups that are drawn are those of the anatomy.
func TestDrawnGroupsAreTheAnatomys(t *testing.T) {
	var drawn, known []string
	for _, r := range drawing.Draw(drawing.Layout{}) {
		drawn = append(drawn, r.Group)
	}
	c, err := loadCatalog()
	require.NoError(t, err)
	for _, g := range c.Groups() {
		known = append(known, g.ID)
	}
	require.ElementsMatch(t, known, drawn)
}

// Whatever the record tells is one of the layouts that are drawn.
func TestDrawnLayoutsAreKnown(t *testing.T) {
	for _, way := range []string{drawing.Single, drawing.Twin, drawing.Rigid, drawing.Plunger, drawing.Swinging, drawing.Telescopic, drawing.Girder} {
		require.NotEmpty(t, workshop.DrawnWords(way), way)
	}
	never := func(ids ...string) *workshop.Report {
		g := workshop.GroupReport{}
		for _, id := range ids {
			g.Components = append(g.Components, workshop.ComponentReport{ID: id, NotFitted: true})
		}
		return &workshop.Report{Groups: []workshop.GroupReport{g}}
	}
	l, _ := layoutOf(never("fork.legs", "suspension.units", "suspension.bushes"), drawing.Layout{Side: drawing.Left})
	require.Equal(t, drawing.Layout{Side: drawing.Left, Engine: drawing.Single, Rear: drawing.Rigid, Front: drawing.Girder}, l)
}

// The machine page leads into the drawing, and each part of it to its group.
func TestMachinePageShowsTheDrawing(t *testing.T) {
	b := worked(t)
	rec := b.get("/machines/drover-1957")
	require.Less(t, rec.Body.Len(), 150_000)
	p := readPage(t, rec.Body.String())
	p.landmarks()
	p.one("svg", "class", "side")
	require.NotEmpty(t, p.all("a", "href", "/machines/drover-1957/drawing"))
	require.NotEmpty(t, p.all("a", "href", "/machines/drover-1957/groups/fuel"))
	group := readPage(t, b.get("/machines/drover-1957/groups/fuel").Body.String())
	group.landmarks()
	require.NotEmpty(t, group.all("a", "href", "/machines/drover-1957/components/fuel.tank"))
}

func BenchmarkDrawingPage(b *testing.B) {
	x := worked(b)
	for _, show := range workshop.Shades() {
		b.Run(show, func(b *testing.B) {
			for b.Loop() {
				x.get("/machines/drover-1957/drawing?show=" + show)
			}
		})
	}
}

func BenchmarkDrawMachine(b *testing.B) {
	s := shadingOf(5)
	for b.Loop() {
		drawMachine("drover", drawing.Layout{}, s)
	}
}
