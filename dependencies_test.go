package main

import (
	"os"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/modfile"
)

// TestEveryModuleHasAReason holds the list of dependencies against go.mod.
func TestEveryModuleHasAReason(t *testing.T) {
	text, err := os.ReadFile("go.mod")
	require.NoError(t, err)
	file, err := modfile.Parse("go.mod", text, nil)
	require.NoError(t, err)
	var direct []string
	for _, r := range file.Require {
		if !r.Indirect {
			direct = append(direct, r.Mod.Path)
		}
	}
	page, err := os.ReadFile("docs/dependencies.md")
	require.NoError(t, err)
	var listed []string
	for _, m := range regexp.MustCompile(`(?m)^\| (\S+\.\S+) \| \S[^|]* \| \S[^|]* \|$`).FindAllStringSubmatch(string(page), -1) {
		listed = append(listed, m[1])
	}
	require.ElementsMatch(t, direct, listed)
}
