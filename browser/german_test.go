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
var english = regexp.MustCompile(`(?i)\b(the|and|of|with|which|is|are|were|not|for|from|has|have|this|that|it|its|by|to|be|on|only|what|how|or|at|as|than|each)\b`)

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
			if words := english.FindAllString(typed.rest(text), -1); len(words) > 1 && left[text] == "" && !titles.MatchString(text) {
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

// rest are the words of a text that nobody typed: those in no run of three that
// stands in the corpus.
func (c corpus) rest(text string) string {
	words := letters.FindAllString(roles.ReplaceAllString(text, ""), -1)
	typed := make([]bool, len(words))
	for i := 0; i+3 <= len(words); i++ {
		if strings.Contains(string(c), " "+strings.ToLower(strings.Join(words[i:i+3], " "))+" ") {
			typed[i], typed[i+1], typed[i+2] = true, true, true
		}
	}
	var out []string
	for i, w := range words {
		if !typed[i] {
			out = append(out, w)
		}
	}
	return strings.Join(out, " ")
}

// titles of publications stay as they were published.
var titles = regexp.MustCompile(`Best Practices for Preventing Asbestos Exposure`)

// roles stand where a name is masked.
var roles = regexp.MustCompile(`(?i)\bthe (previous owner|executor|mechanic|owner|second signature)\b`)

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
