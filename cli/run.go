// Package cli is the command line: it reads arguments, opens the registry,
// calls the application and prints what comes back. It is where everything is
// wired together, and the only package that touches files, the clock and the
// terminal. Commands are functions of their arguments and an Env, so that a
// test, and the demonstration, can run them without a process.
package cli

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"example.org/asfound/registry"
)

// Version of the program.
const Version = "0.1.0"

// Env is the world that a command runs in.
type Env struct {
	Stdin          io.Reader
	Stdout, Stderr io.Writer
	Getenv         func(string) string
	Now            func() time.Time
	Random         io.Reader
	// Terminal says that a person looks at Stderr, who may be shown progress.
	Terminal bool
}

// Run runs one command line, without the program's name, and gives its exit
// status.
func Run(ctx context.Context, args []string, env Env) int {
	a := &app{Env: env}
	defer a.close()
	err := a.run(ctx, args)
	return a.finish(err)
}

// app is one run of the program. The demonstration runs many commands on one.
type app struct {
	Env
	opened *opened
	json   bool
	// usage says that the command line was not understood.
	usage bool
	// noNewKey is why no signing key may be made for the registry; nil when one may.
	noNewKey error
	// atEnd lets go of what a command used.
	atEnd []func() error
}

// errDone ends a run that has said all it had to say.
var errDone = errors.New("done")

func (a *app) run(ctx context.Context, args []string) (err error) {
	a.usage = false
	a.json = wantsJSON(args)
	var line commandLine
	parser, err := newParser(&line, args, a.Getenv, kong.Writers(a.Stdout, a.Stderr), kong.Exit(func(int) { panic(errDone) }))
	if err != nil {
		return err
	}
	defer func() {
		switch r := recover(); r {
		case nil:
		case errDone:
			err = nil
		default:
			panic(r)
		}
	}()
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if err != nil {
		a.usage = true
		return err
	}
	a.json = line.JSON
	return parsed.Run(&call{app: a, ctx: ctx, line: &line})
}

// wantsJSON looks for --json before the arguments are understood, so that a
// misunderstanding can be told in JSON too.
func wantsJSON(args []string) bool {
	for _, a := range args {
		switch a {
		case "--json":
			return true
		case "--":
			return false
		}
	}
	return false
}

// finish prints an error and gives the exit status.
func (a *app) finish(err error) int {
	if err == nil {
		return exitDone
	}
	status := exitStatus(err)
	if a.usage {
		status = exitUsage
	}
	if a.json {
		a.printFailure(err, status)
		return status
	}
	var e *registry.Error
	switch {
	case errors.As(err, &e):
		fmt.Fprintf(a.Stderr, "asfound: %s\n", sentence(e.Message))
		for _, line := range fieldLines(e.Fields) {
			if len(e.Fields) > 1 || !strings.Contains(e.Message, line) {
				fmt.Fprintf(a.Stderr, "  - %s\n", line)
			}
		}
		if e.Fix != "" {
			fmt.Fprintf(a.Stderr, "  %s\n", e.Fix)
		}
	case a.usage:
		fmt.Fprintf(a.Stderr, "asfound: %v. Run \"asfound --help\" to see the commands.\n", err)
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.Stderr, "asfound: stopped before it was done; nothing is half written, and the same command can be given again.")
	default:
		fmt.Fprintf(a.Stderr, "asfound: %v\n", err)
	}
	return status
}

// fieldLines writes faults one a line; the same fault in several rows is one
// line that names them all.
func fieldLines(fields []registry.Field) []string {
	var lines []string
	var rows [][]int
	at := map[string]int{}
	var files []string
	for _, f := range fields {
		file, row := f.File, f.Row
		f.File, f.Row = "", 0
		text := f.String()
		i, ok := at[file+"\n"+text]
		if !ok {
			i = len(lines)
			at[file+"\n"+text] = i
			lines, rows, files = append(lines, text), append(rows, nil), append(files, file)
		}
		if row > 0 {
			rows[i] = append(rows[i], row)
		}
	}
	for i, line := range lines {
		var where []string
		if files[i] != "" {
			where = append(where, files[i])
		}
		if len(rows[i]) > 0 {
			where = append(where, rowRanges(rows[i]))
		}
		if len(where) > 0 {
			lines[i] = strings.Join(where, ", ") + ": " + line
		}
	}
	return lines
}

// rowRanges writes row numbers as "row 7" or "rows 2–153, 160".
func rowRanges(rows []int) string {
	slices.Sort(rows)
	rows = slices.Compact(rows)
	if len(rows) == 1 {
		return fmt.Sprintf("row %d", rows[0])
	}
	var parts []string
	for i := 0; i < len(rows); {
		j := i
		for j+1 < len(rows) && rows[j+1] == rows[j]+1 {
			j++
		}
		if j == i {
			parts = append(parts, fmt.Sprint(rows[i]))
		} else {
			parts = append(parts, fmt.Sprintf("%d–%d", rows[i], rows[j]))
		}
		i = j + 1
	}
	return "rows " + strings.Join(parts, ", ")
}

func sentence(s string) string {
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?") {
		return s
	}
	return s + "."
}

func (a *app) printFailure(err error, status int) {
	out := struct {
		Code    registry.Code    `json:"code"`
		Status  int              `json:"exit_status"`
		Message string           `json:"message"`
		Fix     string           `json:"fix,omitempty"`
		Fields  []registry.Field `json:"fields,omitempty"`
	}{Code: registry.CodeOf(err), Status: status, Message: err.Error()}
	var e *registry.Error
	if errors.As(err, &e) {
		out.Message, out.Fix, out.Fields = e.Message, e.Fix, e.Fields
	} else if a.usage {
		out.Code = "usage"
	}
	printJSON(a.Stderr, out)
}

func printJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// call is what a command gets besides its own arguments.
type call struct {
	*app
	ctx  context.Context
	line *commandLine
}

// print writes v as JSON when that was asked for, and text otherwise.
func (c *call) print(v any, text func(w io.Writer)) error {
	if c.json {
		return printJSON(c.Stdout, v)
	}
	// What could not be printed whole was not done: a full disk is told.
	b := bufio.NewWriter(c.Stdout)
	text(b)
	return b.Flush()
}
