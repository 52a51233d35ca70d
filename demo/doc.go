// Package demo is the demonstration: an invented machine with its whole story,
// the same machine without its papers, and a restored one for contrast. It
// holds the files that the story imports, draws its pictures, and lists the
// commands that tell it. It does nothing itself: cli runs the commands, as a
// person would type them.
//
// Everything in it is invented: no such maker, machine or person exists.
package demo

import (
	"embed"
	"io/fs"
)

//go:embed files
var files embed.FS

// Files are the sheets and records that the story imports, by the names that
// the commands use.
func Files() fs.FS {
	sub, err := fs.Sub(files, "files")
	if err != nil {
		panic("demo: the embedded files are not where they were: " + err.Error())
	}
	return sub
}
