package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// FuzzArguments: what is typed behind a flag is read as a figure that is one,
// and as the same when it is written again, or refused with an example.
func FuzzArguments(f *testing.F) {
	for _, s := range []string{"stopping distance=9.1±0.2 m", "a=NaN x", "a=1e999 m", "=1 m", "3=4", "3=new:cheese head:42", "3=new:x:Inf", "3=none", "3=new", "5mi", "8 km", "-0km", "1 1/8 in", "6.27mm", `1/4"`, "1/0in",
		strings.Repeat("9", 400) + " 1/8in", "1965-06-01", "2026-04-30T10:00:00+02:00", "9999-12-31", "21000mi", "Infmi"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		shown := func(err error) {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
			var e *registry.Error
			require.True(t, errors.As(err, &e))
			require.NotEmpty(t, e.Fix)
		}
		if r, err := parseReading(text); err == nil {
			require.True(t, finite(r.Value) && finite(r.Uncertainty))
			again, err := parseReading(fmt.Sprintf("%s=%g±%g %s", r.Quantity, r.Value, r.Uncertainty, r.Unit))
			require.NoError(t, err)
			require.Equal(t, r, again)
		} else {
			shown(err)
		}
		if b, none, err := readHole(text); err == nil {
			require.NotEmpty(t, b.Hole)
			require.True(t, none || b.From != "" || b.New != "" && b.Length > 0 && finite(b.Length))
		} else {
			shown(err)
		}
		if v, unit, err := parseDistance("--distance", text); err == nil {
			require.True(t, finite(v))
			again, same, err := parseDistance("--distance", fmt.Sprintf("%g%s", v, unit))
			require.NoError(t, err)
			require.Equal(t, v, again)
			require.Equal(t, unit, same)
		} else {
			shown(err)
		}
		if v, err := milesOf(text); err == nil {
			require.True(t, finite(*v))
		} else {
			shown(err)
		}
		if v, _, err := quantity(text); err == nil {
			require.True(t, finite(v) && v >= 0, "%v", v)
		}
		if at, err := parseAt("", text); err == nil && text != "" {
			require.False(t, at.KnownAt.IsZero() && !strings.HasPrefix(text, "0001"))
			again, err := parseAt("", at.KnownAt.Format(time.RFC3339Nano))
			require.NoError(t, err)
			require.True(t, at.KnownAt.Equal(again.KnownAt))
		} else if err != nil {
			shown(err)
		}
	})
}

// FuzzKept: whatever stands in a file that the command line reads, it is read
// or refused with a code, and not changed.
func FuzzKept(f *testing.F) {
	for _, s := range []string{"date,value\n1957-06,100\n1958,1.5\n", "value,date\n1,a\"b\n", "date,value\n\"", "date,value\na\"b,1\n", "date,value\n1957,NaN\n", `{"origin":"a/b","size":3}` + "\n{cut", "{}\n\n", "", "\x00",
		`{"name":"x","sheet":"film","columns":[]}`, `{"format":1,"accounts":[]}`} {
		f.Add([]byte(s))
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		c := &call{line: &commandLine{}}
		c.line.Dir = dir
		require.NoError(t, os.MkdirAll(filepath.Join(dir, mappingFolder), 0o700))
		files := []string{filepath.Join(dir, "series.csv"), filepath.Join(dir, witnessedFile), filepath.Join(dir, keyChangesFile), filepath.Join(dir, peopleFile), filepath.Join(dir, mappingFolder, "x.json")}
		for _, name := range files {
			require.NoError(t, os.WriteFile(name, text, 0o600))
		}
		coded := func(err error) {
			require.NotEqual(t, registry.CodeInternal, registry.CodeOf(err), "%v", err)
		}
		points, err := readSeries(files[0])
		if err != nil {
			coded(err)
		}
		for _, p := range points {
			require.True(t, finite(p.Value))
		}
		if _, err = c.witnessedBefore(); err != nil {
			coded(err)
		}
		_, err = c.keyChanges()
		require.NoError(t, err)
		if _, err = (&peopleStore{dir: dir}).Read(); err != nil {
			coded(err)
		}
		if _, err = c.mapping("x"); err != nil {
			coded(err)
		}
		if _, err = readMappingFile(files[4]); err != nil {
			coded(err)
		}
		if _, _, err = readRecipients(files[2:3]); err != nil {
			coded(err)
		}
		for _, name := range files {
			kept, err := os.ReadFile(name)
			require.NoError(t, err)
			require.Equal(t, string(text), string(kept))
		}
	})
}
