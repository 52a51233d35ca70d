package cli

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/demo"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// typed runs one command line on a registry and gives what it says.
func typed(dir, stdin string, args ...string) (status int, out, failed string) {
	var stdout, stderr bytes.Buffer
	status = Run(context.Background(), append(args, "--dir", dir), Env{Stdin: strings.NewReader(stdin), Stdout: &stdout, Stderr: &stderr,
		Getenv: func(string) string { return "" }, Random: rand.Reader,
		Now: func() time.Time { return time.Date(2026, 3, 18, 15, 0, 0, 0, time.UTC) }})
	return status, stdout.String(), stderr.String()
}

// A valuation as a mechanic would type it.
func TestValueCommand(t *testing.T) {
	files, dir := t.TempDir(), filepath.Join(t.TempDir(), "registry")
	require.NoError(t, os.CopyFS(files, demo.Files()))
	at := func(name string) string { return filepath.Join(files, "drover", name) }
	for _, args := range [][]string{{"take-in", "drover", at("take-in.json")},
		{"import", "--machine", "drover", at("openings.json"), at("survey.csv"), at("faults-and-options.json"), at("refinish-all.json")},
		{"import", "--machine", "drover", "--sheet", "sales", at("sales.csv")}} {
		status, _, failed := typed(dir, "", args...)
		require.Zero(t, status, failed)
	}
	ask := []string{"value", "drover", "--condition", "2", "--distance", "21000mi", "--plan", "run=condenser-outside+tank-solder", "--option", "refinish-all",
		"--condition-after", "3", "--condition-after", "refinish-all=4", "--running-after", "run=yes"}
	status, out, failed := typed(dir, "", ask...)
	require.Zero(t, status, failed)
	for _, said := range []string{"As it stands about ", `The plan "run" multiplies it by `, "even at the upper end", "after ", "chance of loss", "By 14 sales; the others foretold 12 of 14",
		"- without sale-06 the level would be ", "Sales left out", "sale-15: it is an asking price", "What it rests on", "two times in three"} {
		require.Contains(t, strings.Join(strings.Fields(out), " "), strings.TrimSpace(said))
	}
	require.Equal(t, 3, strings.Count(out, "- without "))
	_, brief, _ := typed(dir, "", append(ask, "--brief")...)
	require.True(t, strings.HasPrefix(out, brief))
	require.NotContains(t, brief, "What it rests on")

	// The input that is printed gives the result that is printed.
	_, out, _ = typed(dir, "", append(ask, "--json")...)
	var printed struct{ Input, Result json.RawMessage }
	require.NoError(t, json.Unmarshal([]byte(out), &printed))
	status, again, failed := typed(dir, string(printed.Input), "calc", "value")
	require.Zero(t, status, failed)
	require.JSONEq(t, again, string(printed.Result))

	series := func(text string) string {
		name := filepath.Join(files, "series.csv")
		require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
		return name
	}
	status, out, failed = typed(dir, "", append(ask, "--index", series("\ufeffDate, Value\n2024,100\n2026,110\n"))...)
	require.Zero(t, status, failed)
	require.Contains(t, out, "carried to today along the series")
	for _, c := range []struct {
		status int
		word   string
		args   []string
	}{
		{9, "does not reach: today", []string{"--index", series("date,value\n2024,100\n2025,110\n")}},
		{2, "--distance", []string{"value", "drover"}},
		{3, "--distance", []string{"value", "drover", "--distance", "21000"}},
		{3, "--distance", []string{"value", "drover", "--distance", "NaNkm"}},
		{3, "--plan", []string{"value", "drover", "--distance", "1mi", "--plan", "run"}},
		{3, "--condition-after", []string{"value", "drover", "--distance", "1mi", "--condition-after", "good"}},
		{3, "--condition-after", []string{"value", "drover", "--distance", "1mi", "--condition-after", "NaN"}},
		{3, "not asked for", []string{"value", "drover", "--distance", "1mi", "--running-after", "walk=yes"}},
		{3, "--running-after", []string{"value", "drover", "--distance", "1mi", "--running-after", "perhaps"}},
		{4, "nobody", []string{"value", "nobody", "--distance", "1mi"}},
	} {
		if c.args[0] == "--index" {
			c.args = append(ask, c.args...)
		}
		status, _, failed := typed(dir, "", c.args...)
		require.Equal(t, c.status, status, "%s: %s", c.args, failed)
		require.Contains(t, failed, c.word)
	}

	status, out, failed = typed(dir, "", "propose", "drover", "condenser-outside", "tank-solder", "--recommend", "condenser-outside", "--id", "proposal-1",
		"--value-distance", "21000mi", "--value-condition", "2", "--value-condition-after", "3")
	require.Zero(t, status, failed)
	require.Contains(t, strings.Join(strings.Fields(out), " "), "This plan multiplies it by")
}

func TestReadSeries(t *testing.T) {
	name := filepath.Join(t.TempDir(), "series.csv")
	for text, word := range map[string]string{
		"": "row 1", "when,how much\n": "the headings are when, how much", "date,value\n2024\n": "row 2", "date,value\n2024,ten\n": "\"ten\" is no number",
	} {
		require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
		_, err := readSeries(name)
		require.ErrorContains(t, err, word)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	}
	require.NoError(t, os.WriteFile(name, []byte("value,note,date\n101.5,x,2024-03\n"), 0o600))
	got, err := readSeries(name)
	require.NoError(t, err)
	require.Equal(t, []workshop.PricePoint{{Date: "2024-03", Value: 101.5}}, got)
}

func TestMilesOf(t *testing.T) {
	for text, want := range map[string]float64{"21000mi": 21000, " 40 mi": 40, "1609.344km": 1000} {
		got, err := milesOf(text)
		require.NoError(t, err)
		require.InDelta(t, want, *got, 1e-9, text)
	}
}
