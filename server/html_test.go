package server

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// parsed is a page as a browser would read it.
type parsed struct {
	t    testing.TB
	root *html.Node
}

func readPage(t testing.TB, body string) parsed {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	require.NoError(t, err)
	return parsed{t, root}
}

// all finds the elements of a name whose attributes hold the given pairs.
func (p parsed) all(name string, attrs ...string) []*html.Node {
	var out []*html.Node
	for n := range p.root.Descendants() {
		if n.Type != html.ElementNode || n.Data != name {
			continue
		}
		fits := true
		for i := 0; i+1 < len(attrs); i += 2 {
			fits = fits && attr(n, attrs[i]) == attrs[i+1]
		}
		if fits {
			out = append(out, n)
		}
	}
	return out
}

func (p parsed) one(name string, attrs ...string) *html.Node {
	p.t.Helper()
	found := p.all(name, attrs...)
	require.Len(p.t, found, 1, "%s %v", name, attrs)
	return found[0]
}

func attr(n *html.Node, name string) string {
	v, _ := attrOf(n, name)
	return v
}

func attrOf(n *html.Node, name string) (value string, ok bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// title is the page's own, not that of a drawing.
func (p parsed) title() string {
	p.t.Helper()
	for _, n := range p.all("title") {
		if n.Parent.Data == "head" {
			return textOf(n)
		}
	}
	return ""
}

// textOf is all text below a node, with single spaces.
func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
			b.WriteByte(' ')
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func (p parsed) text() string { return textOf(p.one("body")) }

// landmarks checks what every page owes its readers.
func (p parsed) landmarks() {
	p.t.Helper()
	require.Equal(p.t, "en-GB", attr(p.one("html"), "lang"))
	require.NotEmpty(p.t, p.title())
	p.one("main")
	p.one("header")
	p.one("footer")
	require.Len(p.t, p.all("h1"), 1)
	for _, script := range p.all("script") {
		require.NotEmpty(p.t, attr(script, "src"), "inline scripts are refused by the browser")
		_, deferred := attrOf(script, "defer")
		require.True(p.t, deferred || attr(script, "type") == "module", "it runs when the page is there")
	}
	require.Empty(p.t, p.all("style"))
	ids, styled := map[string]bool{}, 0
	for n := range p.root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if attr(n, "style") != "" {
			styled++
		}
		if id := attr(n, "id"); id != "" {
			require.False(p.t, ids[id], "the id %q stands twice", id)
			ids[id] = true
		}
	}
	require.Zero(p.t, styled, "inline styles are refused by the browser")
	for _, label := range p.all("label") {
		require.True(p.t, ids[attr(label, "for")], "a label points at %q", attr(label, "for"))
	}
	for _, kind := range []string{"input", "select", "textarea"} {
		for _, n := range p.all(kind) {
			if attr(n, "type") != "hidden" {
				require.NotEmpty(p.t, p.all("label", "for", attr(n, "id")), "%s %s has no label", kind, attr(n, "name"))
			}
		}
	}
	for n := range p.root.Descendants() {
		for _, name := range []string{"aria-describedby", "aria-labelledby"} {
			for _, id := range strings.Fields(attr(n, name)) {
				require.True(p.t, ids[id], "%s points at %q", name, id)
			}
		}
		if href := attr(n, "href"); n.Data == "a" && strings.HasPrefix(href, "#") {
			require.True(p.t, ids[href[1:]], "a link leads to %q", href)
		}
	}
}

func hasAttr(n *html.Node, name string) bool {
	for _, a := range n.Attr {
		if a.Key == name {
			return true
		}
	}
	return false
}
