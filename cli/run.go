// Package cli is the command line: it reads arguments, opens the registry,
// calls the application and prints what comes back. It is where everything is
// wired together, and the only package that touches files, the clock and the
// terminal. Commands are functions of their arguments and an Env, so that a
// test, and the demonstration, can run them without a process.
package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
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
}

// errDone ends a run that has said all it had to say.
var errDone = errors.New("done")

func (a *app) run(ctx context.Context, args []string) (err error) {
	a.usage = false
	a.json = wantsJSON(args)
	var line commandLine
	parser, err := kong.New(&line,
		kong.Name("asfound"),
		kong.Description(description),
		kong.Writers(a.Stdout, a.Stderr),
		kong.Exit(func(int) { panic(errDone) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}),
		kong.Vars(optionVars(a.Getenv)),
	)
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
		if a == "--json" {
			return true
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
		for _, f := range e.Fields {
			if line := f.String(); len(e.Fields) > 1 || !strings.Contains(e.Message, line) {
				fmt.Fprintf(a.Stderr, "  - %s\n", line)
			}
		}
		if e.Fix != "" {
			fmt.Fprintf(a.Stderr, "  %s\n", e.Fix)
		}
	case a.usage:
		fmt.Fprintf(a.Stderr, "asfound: %v. Run \"asfound --help\" to see the commands.\n", err)
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.Stderr, "asfound: stopped before it was done; nothing is half written.")
	default:
		fmt.Fprintf(a.Stderr, "asfound: %v\n", err)
	}
	return status
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
	text(c.Stdout)
	return nil
}
