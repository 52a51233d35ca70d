package server

import (
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestAGeneratedClientWorks generates a client from the OpenAPI document with
// another program, compiles it and drives the registry by it. It needs
// ASFOUND_OAPI_CODEGEN=…/oapi-codegen (github.com/oapi-codegen/oapi-codegen/v2)
// and the modules that what it generates imports; see docs/api.md.
func TestAGeneratedClientWorks(t *testing.T) {
	tool := os.Getenv("ASFOUND_OAPI_CODEGEN")
	if tool == "" {
		t.Skip("ASFOUND_OAPI_CODEGEN names no generator of clients")
	}
	b := newBench(t)
	served := httptest.NewServer(b.handler)
	defer served.Close()
	dir := t.TempDir()
	write := func(name, text string) {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	run := func(name string, args ...string) string {
		t.Helper()
		c := exec.Command(name, args...)
		c.Dir = dir
		c.Env = append(os.Environ(), "GOFLAGS=-mod=mod", "GOWORK=off")
		var failed strings.Builder
		c.Stderr = &failed
		out, err := c.Output()
		require.NoError(t, err, failed.String())
		return string(out)
	}
	main, err := os.ReadFile("../testdata/openapi-client/main.go.txt")
	require.NoError(t, err)
	write("main.go", string(main))
	write("go.mod", "module example.org/client\n\ngo 1.26\n")
	write("openapi.json", b.get("/api/v1/openapi.json").Body.String())
	write("client/client.go", run(tool, "-generate", "types,client", "-package", "client", "openapi.json"))
	run("go", "mod", "tidy")
	require.Equal(t, `taken in: 201 true
taken in: 201 true
machines: 1
shown: Élan Brüder 193X true
recorded: 201
stale: 412
object: Élan Brüder public
none: 404 true
`, run("go", "run", ".", served.URL))
}
