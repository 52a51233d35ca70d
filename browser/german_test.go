package browser

import (
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// english are words that German does not have, and that hardly an English
// sentence does without.
var english = regexp.MustCompile(`(?i)\b(the|and|of|with|which|is|are|was|were|not|for|from|has|have|this|that|it|its|by|to|be|on|only|what|how|or|at|as|than|each)\b`)

// TestGermanIsWhole reads every page in German and looks for what is still
// English. What people typed stays as they wrote it: it is all in the files of
// the demonstration.
func TestGermanIsWhole(t *testing.T) {
	if testing.Short() {
		t.Skip("reads every page")
	}
	typed := typedWords(t)
	s := serve(t, demoRegistry(t))
	client := &http.Client{Transport: inGerman{}}
	left := map[string]string{}
	paths := crawlWith(t, client, s.url, "/")
	for _, path := range paths {
		answer, err := client.Get(s.url + path)
		require.NoError(t, err)
		root, err := html.Parse(answer.Body)
		answer.Body.Close()
		require.NoError(t, err)
		texts(root, func(text string) {
			if words := english.FindAllString(text, -1); len(words) > 1 && !typed.has(text) && left[text] == "" {
				left[text] = path
			}
		})
	}
	for text, path := range left {
		t.Errorf("%s says in English: %q", path, text)
	}
	t.Logf("%d pages read, %d texts are English", len(paths), len(left))
}

// inGerman asks for German.
type inGerman struct{}

func (inGerman) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	r.Header.Set("Accept-Language", "de")
	return http.DefaultTransport.RoundTrip(r)
}

// texts calls fn for every text that people see or hear.
func texts(n *html.Node, fn func(string)) {
	if n.Type == html.ElementNode {
		for _, a := range n.Attr {
			if a.Key == "translate" && a.Val == "no" {
				return
			}
			if a.Key == "alt" || a.Key == "aria-label" || a.Key == "title" || a.Key == "placeholder" {
				fn(strings.Join(strings.Fields(a.Val), " "))
			}
		}
		switch n.Data {
		case "script", "style", "code", "pre", "textarea":
			return
		}
	}
	if n.Type == html.TextNode {
		if text := strings.Join(strings.Fields(n.Data), " "); text != "" {
			fn(text)
		}
	}
	for c := range n.ChildNodes() {
		texts(c, fn)
	}
}

// corpus is what people typed in the demonstration, as runs of words.
type corpus string

// has says whether a text is made of what people typed: no run of five of its
// words stands nowhere in it.
func (c corpus) has(text string) bool {
	words := letters.FindAllString(strings.ToLower(text), -1)
	n := min(5, len(words))
	strange := 0
	for i := 0; i+n <= len(words); i++ {
		if !strings.Contains(string(c), " "+strings.Join(words[i:i+n], " ")+" ") {
			strange++
		}
	}
	return strange <= (len(words)-n+1)/2
}

var letters = regexp.MustCompile(`[\p{L}\p{N}]+`)

func typedWords(t *testing.T) corpus {
	t.Helper()
	var b strings.Builder
	for _, dir := range []string{"../demo"} {
		require.NoError(t, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() || strings.HasSuffix(path, ".png") {
				return err
			}
			text, err := os.ReadFile(path)
			b.WriteString(" " + strings.Join(letters.FindAllString(strings.ToLower(string(text)), -1), " "))
			return err
		}))
	}
	return corpus(b.String() + " ")
}
