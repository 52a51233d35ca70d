// Package docs carries the pages of this folder that the program itself shows,
// so that what is explained on a page is what is written here.
package docs

import _ "embed"

// Scoring is scoring.md: every method with its input, its formula, what it
// refuses, and an example.
//
//go:embed scoring.md
var Scoring string
