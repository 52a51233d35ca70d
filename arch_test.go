package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "example.org/asfound"

// layer says what a package may import: of this module, of other modules, and
// whether it must be pure (no I/O, no clock, no randomness of its own).
type layer struct {
	ours    []string
	modules []string
	pure    bool
}

// layers is the table of who may import whom. Sub-packages share the row of
// their nearest parent that has one.
var layers = map[string]layer{
	"": {ours: []string{"cli"}},
	"registry": {pure: true, modules: []string{"golang.org/x/mod/sumdb/tlog", "github.com/gowebpki/jcs",
		"github.com/govalues/decimal"}},
	"registry/ledgertest": {ours: []string{"registry"}},
	"scoring":             {pure: true, ours: []string{"registry"}, modules: []string{"golang.org/x/sys/cpu"}},
	"schema":              {ours: []string{"registry"}, modules: []string{"github.com/santhosh-tekuri/jsonschema/v5"}},
	"catalog":             {ours: []string{"registry"}, modules: []string{"github.com/santhosh-tekuri/jsonschema/v5"}},
	"store": {ours: []string{"registry"}, modules: []string{"github.com/dgraph-io/badger/v4", "golang.org/x/mod/sumdb/tlog",
		"github.com/dgraph-io/ristretto/v2/z", "github.com/klauspost/compress/zstd", "golang.org/x/sys/unix"}},
	"store/jetstream":             {ours: []string{"registry", "store"}, modules: []string{"github.com/nats-io/nats.go", "github.com/synadia-io/orbit.go/jetstreamext"}},
	"store/node":                  {ours: []string{"registry", "store"}},
	"store/jetstream/clustertest": {ours: []string{"loopback"}, modules: []string{"github.com/nats-io/nats-server/v2/server"}},
	"importers": {ours: []string{"registry", "importers"}, modules: []string{"github.com/xuri/excelize/v2", "github.com/bep/imagemeta",
		"golang.org/x/image", "golang.org/x/text"}},
	"lookup":        {pure: true, ours: []string{"registry"}, modules: []string{"golang.org/x/text"}},
	"tabular":       {ours: []string{"importers", "registry", "workshop"}, modules: []string{"github.com/xuri/excelize/v2"}},
	"access":        {ours: []string{"registry"}, modules: []string{"github.com/go-webauthn/webauthn", "github.com/santhosh-tekuri/jsonschema/v5", "golang.org/x/crypto/argon2", "golang.org/x/text"}},
	"access/shared": {ours: []string{"access", "registry"}, modules: []string{"github.com/nats-io/nats.go"}},
	"workshop":      {ours: []string{"registry", "scoring", "schema", "catalog", "lookup"}, modules: []string{"github.com/govalues/decimal", "github.com/klauspost/compress/flate", "golang.org/x/sync/semaphore"}},
	"dossier": {ours: []string{"drawing", "figure", "registry", "scoring", "workshop"}, modules: []string{"codeberg.org/go-pdf/fpdf", "github.com/go-fonts/dejavu",
		"golang.org/x/mod/sumdb", "rsc.io/qr"}},
	"webhook":  {ours: []string{"registry"}},
	"exchange": {pure: true, ours: []string{"registry", "workshop"}},
	"backup":   {ours: []string{"registry"}, modules: []string{"filippo.io/age"}},
	"certs":    {ours: []string{"registry"}},
	"move":     {ours: []string{"registry"}, pure: true},
	"metrics":  {ours: []string{"registry"}, modules: []string{"github.com/prometheus/client_golang/prometheus", "github.com/prometheus/common/expfmt"}},
	"drawing":  {pure: true},
	"docs":     {},
	"figure":   {ours: []string{"scoring"}},
	"server":   {ours: []string{"access", "docs", "drawing", "exchange", "figure", "language", "registry", "scoring", "schema", "catalog", "tabular", "workshop", "server"}, modules: []string{"github.com/go-chi/chi/v5", "golang.org/x/sync/singleflight", "golang.org/x/time/rate", "rsc.io/qr"}},
	"demo":     {ours: []string{"registry"}, modules: []string{"golang.org/x/image"}},
	"faults":   {},
	"browser":  {},
	"bench":    {},
	"language": {modules: []string{"golang.org/x/text/language"}},
	"cli": {ours: []string{"access", "access/shared", "backup", "exchange", "registry", "scoring", "schema", "catalog", "store", "importers", "workshop", "tabular", "dossier", "server", "demo", "certs", "language", "metrics", "webhook", "move"},
		modules: []string{"github.com/alecthomas/kong", "github.com/oklog/ulid/v2", "filippo.io/age"}},
	"cli/clitest": {ours: []string{"cli"}},
	"loopback":    {},
}

// pureStd are the packages of the standard library that a pure package may use.
var pureStd = []string{"bytes", "cmp", "context", "crypto", "crypto/ecdsa", "crypto/ed25519", "crypto/elliptic", "crypto/rsa", "crypto/sha256", "crypto/x509", "encoding/base64", "encoding/hex", "encoding/json", "errors", "fmt", "io",
	"iter", "maps", "math", "math/big", "math/bits", "net/url", "slices", "sort", "strconv", "strings", "time", "unicode", "unicode/utf8"}

// impureCalls must not be called in a pure package, which may import their
// packages for other things.
var impureCalls = []string{"time.Now", "time.Since", "time.Until", "time.Sleep", "time.After", "time.Tick", "fmt.Print", "fmt.Println", "fmt.Printf"}

// TestLayers reads every source file of the module in this process: the test
// cache sees what it reads, as it would not with a child process.
func TestLayers(t *testing.T) {
	seen := map[string]bool{}
	err := filepath.WalkDir(".", func(name string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && (e.Name() == "testdata" || strings.HasPrefix(e.Name(), ".") && name != "."):
			return filepath.SkipDir
		case e.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go"):
			return nil
		}
		pkg := path.Dir(filepath.ToSlash(name))
		if pkg == "." {
			pkg = ""
		}
		row, ok := rowOf(pkg)
		if !ok {
			t.Errorf("%s: the package has no row in the table of layers", name)
			return nil
		}
		seen[pkg] = true
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		checkImports(t, name, pkg, row, file)
		if row.pure {
			checkPure(t, name, file)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for pkg := range layers {
		if !seen[pkg] {
			t.Errorf("the table of layers has a row for %q, and there is no such package", pkg)
		}
	}
}

func rowOf(pkg string) (layer, bool) {
	for {
		if row, ok := layers[pkg]; ok {
			return row, true
		}
		i := strings.LastIndexByte(pkg, '/')
		if i < 0 {
			return layer{}, false
		}
		pkg = pkg[:i]
	}
}

func checkImports(t *testing.T, name, pkg string, row layer, file *ast.File) {
	for _, spec := range file.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			t.Fatal(err)
		}
		if spec.Name != nil && spec.Name.Name != "_" && row.pure {
			t.Errorf("%s: %s is imported under another name, which hides what is called", name, imported)
		}
		switch ours, isOurs := strings.CutPrefix(imported, module+"/"); {
		case imported == "testing":
			if pkg != "registry/ledgertest" {
				t.Errorf("%s imports testing outside a test", name)
			}
		case imported == module:
			t.Errorf("%s imports the main package", name)
		case isOurs:
			if !slices.ContainsFunc(row.ours, func(o string) bool {
				return ours == o || o == pkg && strings.HasPrefix(ours, o+"/") || parent(ours) == o
			}) {
				t.Errorf("%s imports %s, which its layer may not", name, ours)
			}
		case strings.Contains(strings.SplitN(imported, "/", 2)[0], "."):
			if !slices.ContainsFunc(row.modules, func(m string) bool { return imported == m || strings.HasPrefix(imported, m+"/") }) && pkg != "registry/ledgertest" {
				t.Errorf("%s imports the module %s, which its layer may not", name, imported)
			}
		case row.pure && !slices.Contains(pureStd, imported):
			t.Errorf("%s imports %s, and its package is pure", name, imported)
		}
	}
}

// forTests are packages that nothing but tests imports, unless a row names them.
var forTests = []string{"registry/ledgertest", "store/jetstream/clustertest", "cli/clitest", "loopback"}

// parent is the package that a sub-package belongs to.
func parent(pkg string) string {
	if i := strings.IndexByte(pkg, '/'); i >= 0 && !slices.Contains(forTests, pkg) {
		return pkg[:i]
	}
	return pkg
}

func checkPure(t *testing.T, name string, file *ast.File) {
	ast.Inspect(file, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if x, ok := sel.X.(*ast.Ident); ok && slices.Contains(impureCalls, x.Name+"."+sel.Sel.Name) {
			t.Errorf("%s calls %s.%s, and its package is pure", name, x.Name, sel.Sel.Name)
		}
		return true
	})
}
