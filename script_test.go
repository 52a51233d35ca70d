package main

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"image"
	"image/color"
	"image/png"
	"io"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/text/encoding/charmap"

	"example.org/asfound/cli"
)

// TestMain lets the scripts call the program in this process, as the command
// asfound.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"asfound": func() {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
		defer stop()
		os.Exit(cli.Run(ctx, os.Args[1:], cli.Env{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr,
			Getenv: os.Getenv, Now: clock, Random: rand.Reader}))
	}})
}

// clock is the time, or what ASFOUND_TEST_NOW says it is, so that a transcript
// can tell a story over months.
func clock() time.Time {
	if t, err := time.Parse(time.RFC3339, os.Getenv("ASFOUND_TEST_NOW")); err == nil {
		return t
	}
	return time.Now()
}

// TestScripts runs the transcripts: whole jobs through the built command,
// refusals included. They double as a tutorial.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("ASFOUND_DIR", e.WorkDir+"/registry")
			e.Setenv("XDG_CACHE_HOME", e.WorkDir+"/cache")
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits": exits, "pick": pick, "picture": picture, "sheet": sheet, "encode": encode, "mkzip": mkzip, "unpack": unpack, "tamper": tamper, "bomb": bomb, "sparse": sparse, "waitfor": waitFor,
		},
	})
}

// exits runs the program and holds its exit status against the first argument.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS command…")
	}
	err := ts.Exec(args[1], args[2:]...)
	status := "0"
	if e, ok := err.(interface{ ExitCode() int }); ok {
		status = strconv.Itoa(e.ExitCode())
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if status != args[0] {
		ts.Fatalf("exit status %s, want %s", status, args[0])
	}
}

// pick writes one member of a JSON file, so that it can be compared:
// pick MEMBER FROM TO.
func pick(ts *testscript.TestScript, _ bool, args []string) {
	var whole map[string]json.RawMessage
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &whole))
	if whole[args[0]] == nil {
		ts.Fatalf("%s has no %q", args[1], args[0])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), append(whole[args[0]], '\n'), 0o600))
}

// picture draws a small picture in each of the files.
func picture(ts *testscript.TestScript, _ bool, args []string) {
	for i, name := range args {
		img := image.NewGray(image.Rect(0, 0, 48, 32))
		for x := range 48 {
			img.SetGray(x, 16, color.Gray{uint8(40*i + x)})
		}
		f, err := os.Create(ts.MkAbs(name))
		ts.Check(err)
		ts.Check(png.Encode(f, img))
		ts.Check(f.Close())
	}
}

// sheet writes a long CSV file: sheet FILE HEADINGS N ROW EXTRA…, with {n} in
// ROW counting from 1, and rows that are not like the others at the end.
func sheet(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	lines := []string{args[1]}
	for i := range n {
		lines = append(lines, strings.ReplaceAll(args[3], "{n}", strconv.Itoa(i+1)))
	}
	lines = append(lines, args[4:]...)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Join(lines, "\n")+"\n"), 0o600))
}

// encode writes a text file as another program might save it: encode FROM TO
// windows-1252, utf-8-bom, or broken (bytes that are no text at all).
func encode(ts *testscript.TestScript, _ bool, args []string) {
	text := ts.ReadFile(args[0])
	switch args[2] {
	case "windows-1252":
		var err error
		text, err = charmap.Windows1252.NewEncoder().String(text)
		ts.Check(err)
	case "utf-8-bom":
		text = "\ufeff" + text
	case "broken":
		text = strings.ReplaceAll(text, "~", "\x81\x8d\x00")
	default:
		ts.Fatalf("unknown encoding %s", args[2])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(text), 0o600))
}

// mkzip writes a ZIP archive: mkzip FILE NAME=TEXT…, whatever the names are.
func mkzip(ts *testscript.TestScript, _ bool, args []string) {
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	z := zip.NewWriter(f)
	for _, entry := range args[1:] {
		name, text, _ := strings.Cut(entry, "=")
		w, err := z.Create(name)
		ts.Check(err)
		_, err = io.WriteString(w, text)
		ts.Check(err)
	}
	ts.Check(z.Close())
	ts.Check(f.Close())
}

// unpack lays the files of a ZIP archive into a folder: unpack FILE FOLDER.
func unpack(ts *testscript.TestScript, _ bool, args []string) {
	eachEntry(ts, args[0], func(name string, data []byte) {
		to := filepath.Join(ts.MkAbs(args[1]), name)
		ts.Check(os.MkdirAll(filepath.Dir(to), 0o700))
		ts.Check(os.WriteFile(to, data, 0o600))
	})
}

// tamper copies a ZIP archive and changes a text in one of its files:
// tamper FROM TO NAME OLD NEW.
func tamper(ts *testscript.TestScript, _ bool, args []string) {
	f, err := os.Create(ts.MkAbs(args[1]))
	ts.Check(err)
	z := zip.NewWriter(f)
	changed := false
	eachEntry(ts, args[0], func(name string, data []byte) {
		if name == args[2] {
			changed = bytes.Contains(data, []byte(args[3]))
			data = bytes.ReplaceAll(data, []byte(args[3]), []byte(args[4]))
		}
		w, err := z.Create(name)
		ts.Check(err)
		_, err = w.Write(data)
		ts.Check(err)
	})
	ts.Check(z.Close())
	ts.Check(f.Close())
	if !changed {
		ts.Fatalf("%s holds no %q", args[2], args[3])
	}
}

func eachEntry(ts *testscript.TestScript, archive string, fn func(name string, data []byte)) {
	z, err := zip.OpenReader(ts.MkAbs(archive))
	ts.Check(err)
	defer z.Close()
	for _, entry := range z.File {
		r, err := entry.Open()
		ts.Check(err)
		data, err := io.ReadAll(r)
		ts.Check(err)
		fn(entry.Name, data)
	}
}

// bomb writes a small ZIP archive that unpacks to many megabytes.
func bomb(ts *testscript.TestScript, _ bool, args []string) {
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	z := zip.NewWriter(f)
	w, err := z.Create("events.jsonl")
	ts.Check(err)
	for range 64 {
		_, err = w.Write(make([]byte, 1<<20))
		ts.Check(err)
	}
	ts.Check(z.Close())
	ts.Check(f.Close())
}

// sparse makes a file of many bytes that takes no room: sparse FILE BYTES.
func sparse(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), nil, 0o600))
	ts.Check(os.Truncate(ts.MkAbs(args[0]), n))
}

// waitFor waits until somebody listens at an address of this machine.
func waitFor(ts *testscript.TestScript, _ bool, args []string) {
	for range 200 {
		if c, err := net.Dial("tcp", args[0]); err == nil {
			ts.Check(c.Close())
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	ts.Fatalf("nobody listens at %s", args[0])
}
