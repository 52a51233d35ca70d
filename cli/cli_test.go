package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// noon is when every command of these tests runs.
var noon = time.Date(2026, 3, 9, 12, 0, 0, 0, time.UTC)

// world is an Env of a test: settings, and what was said.
type world struct {
	settings map[string]string
	in       string
	random   io.Reader // the same again for each command when nil
	out, err bytes.Buffer
}

func newWorld(t *testing.T) *world {
	t.Helper()
	return &world{settings: map[string]string{"ASFOUND_DIR": filepath.Join(t.TempDir(), "registry")}}
}

// run runs one command line and gives its exit status.
func (w *world) run(ctx context.Context, args ...string) int {
	w.out.Reset()
	w.err.Reset()
	random := w.random
	if random == nil {
		random = rand.NewChaCha8([32]byte{3})
	}
	return Run(ctx, args, Env{Stdin: strings.NewReader(w.in), Stdout: &w.out, Stderr: &w.err,
		Getenv: func(name string) string { return w.settings[name] }, Now: func() time.Time { return noon }, Random: random})
}

func (w *world) do(t *testing.T, args ...string) string {
	t.Helper()
	require.Zero(t, w.run(context.Background(), args...), "%s: %s", args, &w.err)
	return w.out.String()
}

func takeIn(t *testing.T, w *world) {
	t.Helper()
	w.do(t, "take-in", "drover", "--make", "Skerrow Engineering", "--model", "Drover 350", "--year", "1957", "--invented",
		"--owner", "Imogen Aske", "--custodian", "Tamsin Orde", "--authority", "registration")
}

func TestEveryRefusalHasAnExitStatus(t *testing.T) {
	known := map[registry.Code]bool{}
	for _, code := range registry.AllCodes() {
		known[code] = true
		status, ok := exitStatuses[code]
		require.True(t, ok, "no exit status for %q", code)
		require.NotContains(t, []int{exitDone, exitUsage}, status, "%q", code)
		require.Less(t, status, 126, "a shell takes the rest for itself")
		require.Equal(t, status, exitStatus(registry.Refuse(code, "", "x")))
		require.Equal(t, status, exitStatus(fmt.Errorf("wrapped: %w", registry.Refuse(code, "", "x"))))
		require.Regexp(t, fmt.Sprintf(`(^|[\s;])%d `, status), exitHelp, "the help does not tell of %d", status)
	}
	for code := range exitStatuses {
		require.True(t, known[code], "%q is no code", code)
	}
	require.Equal(t, exitDone, exitStatus(nil))
	require.Equal(t, 1, exitStatus(errors.New("anything else")))
}

// parser is the command line as it is understood.
func parser(t *testing.T) *kong.Kong {
	t.Helper()
	var line commandLine
	p, err := newParser(&line, nil, func(string) string { return "" })
	require.NoError(t, err)
	return p
}

func TestEveryCommandFlagAndArgumentHasHelp(t *testing.T) {
	sentence := func(what, help string) {
		require.NotEmpty(t, help, "%s has no help", what)
		require.NotContains(t, help, "${", what)
		require.False(t, strings.HasSuffix(help, "."), "%s: help is a phrase", what)
	}
	commands := 0
	for _, leaf := range parser(t).Model.Leaves(false) {
		commands++
		sentence(leaf.Name, leaf.Help)
		name := strings.TrimPrefix(leaf.FullPath(), "asfound ") // with the command above it
		require.NotNil(t, leaf.ClosestGroup(), "%s stands under no heading", name)
		for _, f := range leaf.Flags {
			sentence(leaf.Name+" --"+f.Name, f.Help)
		}
		for _, p := range leaf.Positional {
			sentence(leaf.Name+" "+p.Name, p.Help)
		}
		w := newWorld(t)
		text := w.do(t, append(strings.Fields(name), "--help")...)
		require.Contains(t, text, "Usage: asfound "+name)
		_, err := os.Stat(w.settings["ASFOUND_DIR"])
		require.ErrorIs(t, err, os.ErrNotExist, "asking for help made a registry")
	}
	require.Greater(t, commands, 20)
	// Nobody is told that anything is safe: the program says what was checked.
	w := newWorld(t)
	require.NotRegexp(t, regexp.MustCompile(`(?i)\bsafe(ly)?\b`), strings.ReplaceAll(w.do(t, "--help"), "make safe", ""))
}

// The one table of settings, and the flags that read it.
func TestSettingsAndFlagsAgree(t *testing.T) {
	flags := map[string]*kong.Flag{}
	model := parser(t).Model
	for _, f := range model.Flags {
		flags[f.Name] = f
	}
	for _, leaf := range model.Leaves(false) {
		if leaf.Name == "serve" || leaf.Name == "dossier" {
			for _, f := range leaf.Flags {
				flags[f.Name] = f
			}
		}
	}
	for _, o := range options {
		f, ok := flags[o.Flag]
		require.True(t, ok, "no flag --%s", o.Flag)
		require.Contains(t, f.Help, o.Variable, "--%s does not name its variable", o.Flag)
		if o.Flag != "dir" {
			require.Equal(t, o.Default, f.Default, "--%s", o.Flag)
		}
		require.Regexp(t, `^ASFOUND_[A-Z_]+$`, o.Variable)
	}

	w := newWorld(t)
	type row struct{ Flag, Variable, Value, From string }
	settings := func(args ...string) map[string]row {
		var rows []row
		require.NoError(t, json.Unmarshal([]byte(w.do(t, append([]string{"config", "--json"}, args...)...)), &rows))
		out := map[string]row{}
		for _, r := range rows {
			out[r.Flag] = r
		}
		require.Len(t, out, len(options))
		return out
	}
	// Default, environment, flag: each beats the one before.
	require.Equal(t, row{"as", "ASFOUND_PERSON", "mechanic", "default"}, settings()["as"])
	w.settings["ASFOUND_PERSON"] = "second"
	require.Equal(t, row{"as", "ASFOUND_PERSON", "second", "environment"}, settings()["as"])
	require.Equal(t, row{"as", "ASFOUND_PERSON", "owner", "flag"}, settings("--as", "owner")["as"])
	w.settings["ASFOUND_ADDR"] = "127.0.0.1:9"
	require.Equal(t, row{"addr", "ASFOUND_ADDR", "127.0.0.1:9", "environment"}, settings()["addr"])
	require.Equal(t, "environment", settings()["dir"].From)
	require.Equal(t, "environment", settings("--packs", "")["dir"].From)
}

func TestWhereARegistryLivesWhenNobodySays(t *testing.T) {
	data := map[string]string{"XDG_DATA_HOME": "/data"}
	require.Equal(t, "/data/asfound", defaultDir(func(n string) string { return data[n] }))
	require.True(t, strings.HasSuffix(defaultDir(func(string) string { return "" }), "asfound"))
}

func TestParseReading(t *testing.T) {
	for text, want := range map[string]registry.Reading{
		"stopping distance=9.1±0.2 m": {Quantity: "stopping distance", Value: 9.1, Uncertainty: 0.2, Unit: "m"},
		"gap=5.5 mm":                  {Quantity: "gap", Value: 5.5, Unit: "mm"},
		"turns=2 1":                   {Quantity: "turns", Value: 2, Unit: "1"},
		" front pressure = 1.5±0 bar": {Quantity: "front pressure", Value: 1.5, Unit: "bar"},
		"torque=-3±1 N m":             {Quantity: "torque", Value: -3, Uncertainty: 1, Unit: "N m"},
	} {
		got, err := parseReading(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "gap", "gap=5.5", "gap=5,5 mm", "gap=wide mm", "gap=5±x mm", "=", "gap=5.5 ", "=5 mm", "gap=NaN mm", "gap=Inf mm", "gap=5±NaN mm"} {
		_, err := parseReading(text)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), "%q was read", text)
	}
	rapid.Check(t, func(t *rapid.T) {
		want := registry.Reading{Quantity: rapid.StringMatching(`[a-z]{1,8}( [a-z]{1,8})?`).Draw(t, "quantity"), Unit: rapid.StringMatching(`[a-zA-Z%°/]{1,4}`).Draw(t, "unit"),
			Value: rapid.Float64Range(-1e9, 1e9).Draw(t, "value"), Uncertainty: rapid.Float64Range(0, 1e6).Draw(t, "uncertainty")}
		got, err := parseReading(fmt.Sprintf("%s=%v±%v %s", want.Quantity, want.Value, want.Uncertainty, want.Unit))
		require.NoError(t, err)
		require.Equal(t, want, got)
	})
}

func TestParseAt(t *testing.T) {
	at, err := parseAt("1965-06-01", "2026-04-30")
	require.NoError(t, err)
	require.Equal(t, time.Date(1965, 6, 1, 0, 0, 0, 0, time.UTC), at.AsOf)
	// All of the day, to the last moment that a record can have.
	require.Equal(t, time.Date(2026, 4, 30, 23, 59, 59, 999e6, time.UTC), at.KnownAt)
	at, err = parseAt("", "2026-04-30T10:00:00+02:00")
	require.NoError(t, err)
	require.True(t, at.KnownAt.Equal(time.Date(2026, 4, 30, 8, 0, 0, 0, time.UTC)))
	at, err = parseAt("", "")
	require.NoError(t, err)
	require.True(t, at.IsZero())
	for _, bad := range []string{"1965", "yesterday", "2026-02-30", "30/04/2026"} {
		_, err := parseAt(bad, "")
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), bad)
		_, err = parseAt("", bad)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), bad)
	}
}

func TestFailures(t *testing.T) {
	w := newWorld(t)
	require.Equal(t, 4, w.run(context.Background(), "show", "nobody"))
	require.Equal(t, "asfound: There is no machine \"nobody\" in this registry.\n  List the machines to see their names.\n", w.err.String())
	require.Empty(t, w.out.String())

	// Every field that is wrong is told, on a line of its own.
	require.Equal(t, 3, w.run(context.Background(), "take-in", "drover", "--model", "Drover 350"))
	require.Equal(t, 2, strings.Count(w.err.String(), "\n  - "), w.err.String())
	require.Contains(t, w.err.String(), "/make: The make is missing")

	for _, args := range [][]string{{"show", "nobody", "--json"}, {"--json", "show", "nobody"}} {
		require.Equal(t, 4, w.run(context.Background(), args...))
		var failure map[string]any
		require.NoError(t, json.Unmarshal(w.err.Bytes(), &failure))
		require.Equal(t, map[string]any{"code": "not-found", "exit_status": 4.0, "message": `There is no machine "nobody" in this registry`, "fix": "List the machines to see their names."}, failure)
		require.Empty(t, w.out.String())
	}
	require.Equal(t, 3, w.run(context.Background(), "take-in", "drover", "--model", "Drover 350", "--json"))
	var failure struct{ Fields []registry.Field }
	require.NoError(t, json.Unmarshal(w.err.Bytes(), &failure))
	require.Len(t, failure.Fields, 2)

	require.Equal(t, 2, w.run(context.Background(), "show", "--json"))
	require.Contains(t, w.err.String(), `"code": "usage"`)
	require.Equal(t, 2, w.run(context.Background(), "wrok"))
	require.Contains(t, w.err.String(), `Run "asfound --help"`)

	// A program that was stopped says so, and leaves nothing half done.
	stopped, stop := context.WithCancel(context.Background())
	stop()
	require.Equal(t, 1, w.run(stopped, "machines"))
	require.Contains(t, w.err.String(), "stopped before it was done")
}

// What is printed for people ends in words, and without control characters.
func TestTextForPeople(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	for _, args := range [][]string{{"show", "drover"}, {"show", "drover", "fuel.tank"}, {"machines"}, {"config"}, {"version"}, {"--help"}} {
		text := w.do(t, args...)
		require.True(t, utf8.ValidString(text))
		require.NotRegexp(t, regexp.MustCompile(`[\x00-\x08\x0b-\x1f\x7f]`), text, "%s", args)
		require.NotContains(t, text, "%!")
		require.NotContains(t, text, "<nil>")
		require.NotContains(t, text, "[[")
	}
	// The same commands speak JSON.
	for _, args := range [][]string{{"show", "drover"}, {"show", "drover", "fuel.tank"}, {"machines"}, {"config"}, {"version"}, {"rebuild"}} {
		require.True(t, json.Valid([]byte(w.do(t, append(args, "--json")...))), "%s", args)
	}
}

func TestWrap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-zé…]{1,20}`), 1, 40).Draw(t, "words")
		var out bytes.Buffer
		wrap(&out, strings.Join(words, " "), "  ")
		require.Equal(t, words, strings.Fields(out.String()))
		for _, line := range strings.Split(out.String(), "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(line), lineWidth)
		}
	})
	require.Equal(t, "abcd…", clip("abcdefgh", 5))
	require.Equal(t, "abcde", clip("abcde", 5))
}

// A file is written whole or not at all.
func TestWriteFile(t *testing.T) {
	name := filepath.Join(t.TempDir(), "dossier.zip")
	write := func(text string, err error) error {
		return writeFile(name, func(w io.Writer) error { _, _ = io.WriteString(w, text); return err })
	}
	require.NoError(t, write("first", nil))
	broken := errors.New("no room")
	require.ErrorIs(t, write("sec", broken), broken)
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Equal(t, "first", string(data))
	_, err = os.Stat(name + ".part")
	require.ErrorIs(t, err, os.ErrNotExist)
	info, err := os.Stat(name)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	err = writeFile(filepath.Join(t.TempDir(), "no", "such", "folder"), func(io.Writer) error { return nil })
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}

func TestTheKeyIsKeptFromOthers(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	dir := w.settings["ASFOUND_DIR"]
	info, err := os.Stat(dir)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o700), info.Mode().Perm())
	info, err = os.Stat(filepath.Join(dir, keyFile))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	before, err := os.ReadFile(filepath.Join(dir, keyFile))
	require.NoError(t, err)
	w.do(t, "machines")
	after, err := os.ReadFile(filepath.Join(dir, keyFile))
	require.NoError(t, err)
	require.Equal(t, before, after, "one registry has one key")
	require.NotContains(t, string(before), "Aske")

	// A key that cannot be read is a fault, not a reason for a new one.
	require.NoError(t, os.WriteFile(filepath.Join(dir, keyFile), []byte("scribble"), 0o600))
	require.NotZero(t, w.run(context.Background(), "machines"))
	kept, err := os.ReadFile(filepath.Join(dir, keyFile))
	require.NoError(t, err)
	require.Equal(t, "scribble", string(kept))
}

func TestIdentifiers(t *testing.T) {
	now := noon
	next := newIDs(func() time.Time { return now }, rand.NewChaCha8([32]byte{4}))
	last, seen := "", map[string]bool{}
	for i := range 2000 {
		if i%500 == 499 {
			now = now.Add(time.Millisecond)
		}
		id := next()
		require.NoError(t, registry.CheckID("/id", id))
		require.Greater(t, id, last, "identifiers rise with time")
		require.False(t, seen[id])
		seen[id], last = true, id
	}
	// A clock that is set back makes no identifier twice.
	now = now.Add(-time.Hour)
	for range 100 {
		id := next()
		require.False(t, seen[id])
		seen[id] = true
	}
}

// The server is on this machine alone unless it is told otherwise; these tests
// themselves talk to nobody.
func TestServeStaysOnLoopback(t *testing.T) {
	w := newWorld(t)
	for _, addr := range []string{"0.0.0.0:0", "[::]:0", ":0"} {
		require.Equal(t, 5, w.run(context.Background(), "serve", "--addr", addr), "%s: %s", addr, &w.err)
		require.Contains(t, w.err.String(), "can be reached from other machines")
		require.NotContains(t, w.out.String(), "Serving")
	}
	require.Equal(t, 12, w.run(context.Background(), "serve", "--addr", "127.0.0.1:99999"))

	ctx, stop := context.WithCancel(context.Background())
	time.AfterFunc(300*time.Millisecond, stop)
	require.Zero(t, w.run(ctx, "serve", "--addr", "127.0.0.1:0"), "%s", &w.err)
	require.Regexp(t, `^Serving on http://127\.0\.0\.1:\d+ — for this machine alone, without accounts`, w.out.String())
	require.Contains(t, w.out.String(), "Stopped.")
	for _, o := range options {
		if o.Flag == "addr" {
			require.True(t, strings.HasPrefix(o.Default, "127.0.0.1:"), "the default is beyond loopback")
		}
		if o.Flag == "everyone-on-this-network" || o.Flag == "plain-http" {
			require.Equal(t, "false", o.Default)
		}
	}
}

func TestPing(t *testing.T) {
	w := newWorld(t)
	require.Equal(t, 12, w.run(context.Background(), "ping", "http://127.0.0.1:1"))
	require.Contains(t, w.err.String(), "No server answers at http://127.0.0.1:1")
	require.Equal(t, 3, w.run(context.Background(), "ping", "http://[::1"))
}

func TestCalc(t *testing.T) {
	w := newWorld(t)
	// The textbook screening question: 1 % have it, the test finds 90 % of them
	// and 9 % of the others. P(has it | found) = 0.0917.
	w.in = `{"states":["has","has-not"],"prior":[0.01,0.99],"other":0,"evidence":[{"id":"test","cluster":"test","likelihood":[0.9,0.09]}]}`
	var out scoring.OriginResult
	require.NoError(t, json.Unmarshal([]byte(w.do(t, "calc", "origin")), &out))
	p, _ := out.Posterior.Get("has")
	require.InDelta(t, 0.0917, p, 0.00005)
	first := w.out.String()
	require.Equal(t, first, w.do(t, "calc", "origin/1"), "the version may be named")
	_, err := os.Stat(w.settings["ASFOUND_DIR"])
	require.ErrorIs(t, err, os.ErrNotExist, "a computation needs no registry")

	w.in = strings.Repeat(" ", scoring.MaxInputBytes+1)
	require.NotZero(t, w.run(context.Background(), "calc", "origin"))
	w.in = ""
	require.Equal(t, 3, w.run(context.Background(), "calc", "origin"))
}

func TestWantsJSON(t *testing.T) {
	require.True(t, wantsJSON([]string{"show", "--json"}))
	require.False(t, wantsJSON([]string{"show", "json"}))
	require.False(t, wantsJSON([]string{"show", "--", "--json"}), "what stands behind -- is no flag")
}

// What a stranger gets wrong first: each is refused with the status of the
// table, in words that say what to do.
func TestRefusalsOfWhatWasNamed(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		name = filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
		return name
	}
	empty, text, absent := file("empty.json", "[]"), file("text.json", "no record"), filepath.Join(dir, "absent")
	w := newWorld(t)
	takeIn(t, w)
	for _, x := range []struct {
		status int
		says   string
		args   []string
	}{
		{3, "There is no record in", []string{"take-in", "other", empty}},
		{8, "text.json is not JSON", []string{"take-in", "other", text}},
		{4, "There is no file", []string{"take-in", "other", absent}},
		{3, "is a folder", []string{"take-in", "other", dir}},
		{4, "There is no file", []string{"hand-back", "drover", absent}},
		{4, "There is no file", []string{"verify", absent}},
		{3, "is a folder", []string{"verify", dir}},
		{4, "There is no file", []string{"value", "drover", "--distance", "21000mi", "--index", absent}},
		{3, "--key cannot be read", []string{"verify", text, "--key", "nothing"}},
		{10, "not as it was made", []string{"verify", text}},
		{4, `There is no option "nothing"`, []string{"work", "drover", "--option", "nothing", "--did", "x"}},
		{3, "private bundle alone", []string{"dossier", "drover", "--public", "--originals", "--bundle", absent}},
		{3, "private bundle alone", []string{"dossier", "drover", "--originals", "--pdf", absent}},
		{3, "--addr cannot be read", []string{"serve", "--addr", "nonsense"}},
		{3, absent, []string{"show", "drover", "--packs", absent}},
	} {
		require.Equal(t, x.status, w.run(context.Background(), x.args...), "%s: %s", x.args, &w.err)
		require.Contains(t, w.err.String(), x.says, "%s", x.args)
		require.NotRegexp(t, `stat |open |0001`, w.err.String()+w.out.String(), "%s", x.args)
	}
	require.NoFileExists(t, absent)
	require.Contains(t, w.do(t, "machines"), "drover")
	require.NotContains(t, w.do(t, "machines"), "other")
	require.Equal(t, "There is nothing to weigh: no option is on record.\n", w.do(t, "weigh", "drover"))
}

// A template has the name under which it is filled in and imported: it never
// takes the place of a sheet.
func TestTemplateLeavesASheetAlone(t *testing.T) {
	w := newWorld(t)
	name := filepath.Join(t.TempDir(), "survey.csv")
	w.do(t, "import", "--template", name)
	require.NoError(t, os.WriteFile(name, []byte("component\nfuel.tank\n"), 0o600))
	require.Equal(t, 3, w.run(context.Background(), "import", "--template", name))
	require.Contains(t, w.err.String(), "is there already")
	kept, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Equal(t, "component\nfuel.tank\n", string(kept))
}

// full is a standard output with no room left.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room is left") }

// Who redirects the output to a full disk is told that it is not whole.
func TestOutputThatCannotBeWrittenIsAFault(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	for _, args := range [][]string{{"show", "drover"}, {"show", "drover", "--json"}, {"machines"}, {"config"}} {
		var said bytes.Buffer
		status := Run(context.Background(), args, Env{Stdin: strings.NewReader(""), Stdout: full{}, Stderr: &said,
			Getenv: func(name string) string { return w.settings[name] }, Now: func() time.Time { return noon }, Random: rand.NewChaCha8([32]byte{3})})
		require.Equal(t, 1, status, "%s", args)
		require.NotEmpty(t, said.String(), "%s", args)
	}
}
