package language

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTemplateTexts(t *testing.T) {
	for _, c := range []struct {
		source string
		want   []string
	}{
		{`<p>One of {{len .}} parts.</p>`, []string{"One of {1} parts."}},
		{`<p>{{if .A}}Yes, {{.B}}{{else}}No{{end}}</p>`, []string{"Yes, {1}", "No"}},
		{`<p>See <a href="/x">the list</a>, or <code>{{.C}}</code>.</p>`, []string{"See <1>the list</1>, or <2>{1}</2>."}},
		{`<a href="/a"{{if .X}} aria-current="page"{{end}}>One</a> <a>Two</a>`, []string{"One", "Two"}},
		{`{{if .A}}<a href="/">{{end}}Name{{if .A}}</a>{{end}}`, []string{"Name"}},
		{`<img alt="A picture of {{.What}}">`, []string{"A picture of {1}"}},
		{`<code translate="no">asfound <b>show</b> it</code><p>Then</p>`, []string{"Then"}},
		{`<script>let a = "text <p>"</script><p>` + "a\n  b" + `</p>`, []string{"a b"}},
		{`<textarea>{{.Typed}} typed</textarea><p>x</p>`, []string{"x"}},
		{`<p>{{plural .N "gap }}" "gaps"}}</p>`, nil},
		{`<p>{{.A}}, {{.B}}</p>`, nil},
	} {
		assert.Equal(t, c.want, TemplateTexts(c.source), c.source)
	}
}

// TestTemplateIsWhole holds the pieces of every template of the program against
// its source: nothing may be lost when there is no translation.
func TestTemplateIsWhole(t *testing.T) {
	files, err := filepath.Glob("../server/templates/*.html")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		source, err := os.ReadFile(f)
		require.NoError(t, err)
		same := rewrite(string(source), func(string) (string, bool) { return "", false }, false)
		assert.Equal(t, string(source), same, f)
	}
}

func TestRewrite(t *testing.T) {
	say := func(s string) (string, bool) {
		said, ok := map[string]string{"{1} of {2} <1>parts</1> seen": "Von {2} <1>Teilen</1> sind {1} gesehen", "Close": "Schließen"}[s]
		return said, ok
	}
	got := rewrite(`<p aria-label="Close"> {{.A}} of {{ .B -}} <b class="{{.C}}">parts</b> seen</p>`, say, true)
	assert.Equal(t, `<p aria-label="Schließen"> Von {{ .B | say -}} <b class="{{.C}}">Teilen</b> sind {{.A | say}} gesehen</p>`, got)
}
