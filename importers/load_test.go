package importers_test

import (
	"bytes"
	"errors"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
)

// anatomy is a small one, with a name that holds commas.
func anatomy() *importers.Anatomy {
	return importers.NewAnatomy([]importers.Component{
		{ID: "frame.main", Code: "ident-001", Name: "main frame"},
		{ID: "fuel.tank", Code: "fuel-033", Name: "petrol tank"},
		{ID: "fuel.carburettor.slide", Code: "fuel-041", Name: "carburettor slide, needle and jet"},
		{ID: "brakes.front.linings", Code: "brake-113", Name: "front brake shoes and linings"},
		{ID: "wheels.front.rim", Code: "wheel-103", Name: "rim"},
		{ID: "wheels.rear.rim", Code: "wheel-104", Name: "rim"},
	}, []string{"magneto-condenser"}, map[string]registry.Proposition{
		"tide-line": "origin", "fret-marks-fit": "origin", "layers-complete": "finish",
	})
}

func options(file string) importers.Options {
	return importers.Options{File: file, By: "per-mechanic", Anatomy: anatomy()}
}

// load reads a whole file with one importer.
func load(t testing.TB, importer string, data []byte, o importers.Options) ([]importers.Draft, importers.Report) {
	t.Helper()
	i, err := importers.Named(importer)
	require.NoError(t, err)
	s, err := i.Open(bytes.NewReader(data), o)
	require.NoError(t, err)
	var drafts []importers.Draft
	require.NoError(t, s.Each(func(d importers.Draft) error { drafts = append(drafts, d); return nil }))
	require.NoError(t, s.Close())
	return drafts, s.Report()
}

// refusal is the error of a file that cannot be read at all.
func refusal(t testing.TB, importer string, data []byte, o importers.Options) *registry.Error {
	t.Helper()
	i, err := importers.Named(importer)
	require.NoError(t, err)
	s, err := i.Open(bytes.NewReader(data), o)
	if err == nil {
		err = s.Each(func(importers.Draft) error { return nil })
	}
	var e *registry.Error
	require.ErrorAs(t, err, &e)
	return e
}

func body[T registry.Body](t testing.TB, d importers.Draft) T {
	t.Helper()
	require.Empty(t, d.Faults)
	b, ok := d.Body.(T)
	require.True(t, ok, "%T", d.Body)
	return b
}

// messages lists the faults of a draft as a person reads them.
func messages(d importers.Draft) []string {
	var out []string
	for _, f := range d.Faults {
		out = append(out, f.String())
	}
	return out
}

// validator is a Validator made of a function.
type validator func(kind registry.Kind, version int, data []byte) error

func (v validator) Validate(kind registry.Kind, version int, data []byte) error {
	return v(kind, version, data)
}

var errStop = errors.New("stop")

var _ io.ReadSeeker = (*bytes.Reader)(nil)
