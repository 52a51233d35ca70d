package server

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"path"
	"regexp"
	"slices"
	"sync"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/language"
	"example.org/asfound/registry"
)

//go:embed static
var staticFiles embed.FS

// assetTypes are the kinds of files that pages are made of. A file of another
// kind in the folder is not served.
var assetTypes = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
	".png": "image/png", ".webmanifest": "application/manifest+json",
}

// workerName is the script that runs beside the pages. It is served at the
// root, because a worker answers only for addresses at or below its own.
const workerName = "worker.js"

// asset is one file that pages are made of.
type asset struct {
	mediaType string
	body      []byte
	hash      string // of the body, in hexadecimal
	packed    []byte // nil where packing is of no use
}

// assets are the files by name, read once.
var assets = sync.OnceValue(func() map[string]asset {
	out := map[string]asset{}
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		panic(err) // the folder is part of the program
	}
	for _, e := range entries {
		addAsset(out, e.Name())
	}
	for _, l := range language.All() {
		out[wordsName(l)] = newAsset(".js", wordsScript(l))
	}
	return out
})

var scriptImport = regexp.MustCompile(`"\./([a-z-]+\.js)"`)

// addAsset reads a file, and before it those that it imports: their hashes
// become part of their addresses in it.
func addAsset(out map[string]asset, name string) {
	_, ok := assetTypes[path.Ext(name)]
	if _, done := out[name]; done || !ok {
		return
	}
	body, err := staticFiles.ReadFile("static/" + name)
	if err != nil {
		panic(fmt.Errorf("a script imports what is not there: %w", err))
	}
	if path.Ext(name) == ".js" {
		body = scriptImport.ReplaceAllFunc(body, func(found []byte) []byte {
			imported := string(scriptImport.FindSubmatch(found)[1])
			addAsset(out, imported)
			return []byte(`"` + "./" + imported + "?v=" + out[imported].hash + `"`)
		})
	}
	out[name] = newAsset(path.Ext(name), body)
}

func newAsset(ext string, body []byte) asset {
	sum := sha256.Sum256(body)
	a := asset{mediaType: assetTypes[ext], body: body, hash: hex.EncodeToString(sum[:8])}
	if ext != ".png" {
		a.packed = packed(body)
	}
	return a
}

// assetAddress is where a file of the pages is found, with the hash of its
// content, so that a browser may keep it for good.
func assetAddress(name string) (string, error) {
	a, ok := assets()[name]
	if !ok {
		return "", fmt.Errorf("there is no file %q for pages", name)
	}
	return "/static/" + name + "?v=" + a.hash, nil
}

func pageAsset(_ *Server, r *http.Request) (answer, error) {
	name := chi.URLParam(r, "asset")
	a, ok := assets()[name]
	if !ok || name == workerName {
		return nil, registry.Refuse(registry.CodeNotFound, "", "There is no file of that name")
	}
	tag := `"` + a.hash + `"`
	if r.URL.Query().Get("v") == a.hash {
		return bytesAnswer{mediaType: a.mediaType, body: a.body, packed: a.packed, forever: true}, nil
	}
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	return bytesAnswer{mediaType: a.mediaType, body: a.body, packed: a.packed, etag: tag}, nil
}

// workerPages are the pages that a browser keeps with the program's own files,
// to show them with no signal.
var workerPages = []string{"/offline", "/waiting"}

// pageWorker sends the script that runs beside the pages, with what it keeps
// from the start. Its bytes change with the program, by which a browser sees
// that there is a newer one.
func pageWorker(s *Server, r *http.Request) (answer, error) {
	shell := slices.Clone(workerPages)
	for name := range assets() {
		if name != workerName {
			at, err := assetAddress(name)
			if err != nil {
				return nil, err
			}
			shell = append(shell, at)
		}
	}
	slices.Sort(shell)
	list, err := json.Marshal(shell)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "const build = %q;\nconst shell = %s;\n", s.build, list)
	b.Write(assets()[workerName].body)
	sum := sha256.Sum256(b.Bytes())
	// A worker is held to the policy that it comes with: that of a page, or it
	// could fetch nothing.
	return bytesAnswer{mediaType: assetTypes[".js"], body: b.Bytes(), etag: `"` + hex.EncodeToString(sum[:8]) + `"`,
		header: map[string]string{"Content-Security-Policy": pageCSP}}, nil
}
