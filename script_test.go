package main

import (
	"context"
	"crypto/rand"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"example.org/asfound/cli"
)

// TestMain lets the scripts call the program in this process, as the command
// asfound.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"asfound": func() {
		os.Exit(cli.Run(context.Background(), os.Args[1:], cli.Env{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr,
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
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){"exits": exits},
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
