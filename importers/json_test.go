package importers_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
)

const oneSurvey = `{"record":"survey","machine":"drover-1957","id":"sv-1","component":"fuel.tank","by":"per-a"}`

func TestJSONInItsFourShapes(t *testing.T) {
	joint := `{"record":"joint","id":"jt-1","joint":"b","components":["fuel.tank"],"witness":"disturbed","sign":"slot shine","by":"per-a"}`
	for name, c := range map[string]struct {
		text string
		rows []int
	}{
		"one":        {oneSurvey, []int{1}},
		"over lines": {"\n" + strings.ReplaceAll(oneSurvey, ",", ",\n  "), []int{2}},
		"list":       {"[" + oneSurvey + ",\n\n" + joint + "]", []int{1, 2}},
		"wrapped":    {`{"records": [` + oneSurvey + "," + joint + "]}", []int{1, 2}},
		"lines":      {"\ufeff" + oneSurvey + "\n\n" + joint + "\r\n", []int{1, 3}},
	} {
		drafts, report := load(t, "json", []byte(c.text), options("r.json"))
		var rows []int
		for _, d := range drafts {
			require.Empty(t, messages(d), name)
			rows = append(rows, d.Row)
		}
		require.Equal(t, c.rows, rows, name)
		require.Equal(t, "drover-1957", drafts[0].Machine, name)
		require.Equal(t, registry.Kind("survey"), drafts[0].Body.Kind(), name)
		require.Equal(t, len(c.rows), report.Records, name)
	}
}

func TestABadLineDoesNotEndTheImport(t *testing.T) {
	text := oneSurvey + "\n{\"record\":\"survey\",\n" + strings.Replace(oneSurvey, "sv-1", "sv-2", 1) + "\n"
	drafts, _ := load(t, "json", []byte(text), options("r.jsonl"))
	require.Len(t, drafts, 3)
	require.True(t, drafts[0].Good() && drafts[2].Good())
	require.Contains(t, messages(drafts[1])[0], "r.jsonl, row 2")
	require.Contains(t, messages(drafts[1])[0], "not JSON")
}

func TestJSONFaults(t *testing.T) {
	set, err := schema.Compile()
	require.NoError(t, err)
	o := options("r.json")
	o.Validator = set
	for text, want := range map[string]string{
		`{"record":"survye","id":"x"}`: "Did you mean survey?",
		`{"id":"x"}`:                   "which kind of record",
		`7`:                            "An object",
		strings.Replace(oneSurvey, `"id"`, `"id":"a","id"`, 1):                                "/id: The key stands twice",
		strings.Replace(oneSurvey, `"id"`, `"colour":"red","id"`, 1):                          "/colour",
		strings.Replace(oneSurvey, `"id"`, `"schema":9,"id"`, 1):                              "version 9",
		strings.Replace(oneSurvey, `"id"`, `"schema":"x","id"`, 1):                            "whole number",
		strings.Replace(oneSurvey, `"fuel.tank"`, `7`, 1):                                     "/component",
		strings.Replace(oneSurvey, "per-a", "Per A", 1):                                       "/by",
		`{"record":"withdrawal","id":"w","why":"x","by":"per-a"}`:                             `"body"`,
		`{"record":"survey","body":{},"id":"x"}`:                                              "beside the body",
		strings.Replace(oneSurvey, "fuel.tank", "fuel\xff", 1):                                "not UTF-8",
		`{"record":"survey","x":` + strings.Repeat("[", 100) + strings.Repeat("]", 100) + "}": "deeper",
	} {
		drafts, _ := load(t, "json", []byte("["+text+"]"), o)
		require.Len(t, drafts, 1)
		require.Contains(t, strings.ToLower(strings.Join(messages(drafts[0]), "\n")), strings.ToLower(want), text)
		require.Equal(t, []string{text}, drafts[0].Cells)
	}
	drafts, _ := load(t, "json", []byte(`{"record":"withdrawal","body":{"id":"w","record":"sv-1","why":"typed twice","by":"per-a"}}`), o)
	require.Equal(t, "sv-1", body[*registry.Withdrawal](t, drafts[0]).Record)
}

func TestOlderSchemaVersionsAreBroughtUpToDate(t *testing.T) {
	set, err := schema.Compile()
	require.NoError(t, err)
	o := options("r.json")
	o.Validator = set
	drafts, _ := load(t, "json", []byte(`{"record":"check","schema":1,"id":"ch-1","what":"spark","components":["fuel.tank"],"passed":true,"reading":"6 mm","by":"per-a"}`), o)
	c := body[*registry.Check](t, drafts[0])
	require.Equal(t, "passed", c.Outcome)
	require.Contains(t, c.Note, "6 mm")
}

func TestJSONThatCannotBeReadAtAll(t *testing.T) {
	for text, want := range map[string]string{
		"":                               "empty",
		"hello":                          "not JSON that holds records",
		`[{"record":"survey"},`:          "",
		`[{"record":"survey"} {}]`:       "not JSON near record",
		`{"records":[],"more":1}`:        "more beside its records",
		`[] []`:                          "goes on after the end",
		`{"record":"survey",` + "\n\n x": "not JSON",
	} {
		e := refusal(t, "json", []byte(text), options("r.json"))
		require.Contains(t, e.Message, want, text)
		require.NotEqual(t, registry.CodeInternal, e.Code)
		require.NotEmpty(t, e.Fix)
	}
	o := options("r.json")
	o.MaxBytes = 50
	require.Equal(t, registry.CodeTooLarge, refusal(t, "json", []byte("["+oneSurvey+"]"), o).Code)
	require.Equal(t, registry.CodeTooLarge, refusal(t, "json", []byte(oneSurvey), o).Code)
	long := `[{"record":"survey","note":"` + strings.Repeat("x", importers.MaxRecordBytes+1) + `"}]`
	require.Equal(t, registry.CodeTooLarge, refusal(t, "json", []byte(long), options("r.json")).Code)
	require.Equal(t, registry.CodeTooLarge, refusal(t, "json", []byte(long[1:len(long)-1]), options("r.json")).Code)
}
