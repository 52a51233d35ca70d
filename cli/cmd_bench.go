package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

type threadCommand struct {
	OD    string   `name:"od" required:"" placeholder:"6.27mm" help:"outside diameter over the crests, with its unit: 6.27mm, 0.247in or 1/4in"`
	Pitch string   `required:"" placeholder:"26tpi" help:"pitch, with its unit: 26tpi or 0.98mm"`
	Angle *float64 `placeholder:"55" help:"angle between the flanks in degrees, if it was gauged"`
	Hand  string   `enum:",right,left" default:"" help:"right or left, if somebody looked"`
}

// Run says which threads have been measured.
func (x *threadCommand) Run(c *call) error {
	in := map[string]any{}
	if err := x.read(in); err != nil {
		return err
	}
	raw, err := json.Marshal(in)
	if err != nil {
		return err
	}
	printed, err := c.calculate(scoring.MethodThread, raw)
	if err != nil {
		return err
	}
	if c.json {
		return printJSON(c.Stdout, json.RawMessage(printed))
	}
	var out scoring.ThreadResult
	if err := json.Unmarshal(printed, &out); err != nil {
		return err
	}
	return c.print(out, func(w io.Writer) { writeThread(w, &out) })
}

// read turns the arguments into keys of the input.
func (x *threadCommand) read(in map[string]any) error {
	var fields []registry.Field
	for _, a := range []struct {
		name, text, key string
		units           map[string]string
	}{
		{"--od", x.OD, "od", map[string]string{"mm": "od_mm", "in": "od_in"}},
		{"--pitch", x.Pitch, "pitch", map[string]string{"mm": "pitch_mm", "tpi": "tpi"}},
	} {
		value, unit, err := quantity(a.text)
		key, known := a.units[unit]
		switch {
		case err != nil:
			fields = append(fields, registry.Field{Pointer: "/" + a.key, Found: strconv.Quote(a.text), Message: "This is no number with a unit", Fix: "Write it such as 6.27mm or 1/4in."})
		case unit == "":
			fields = append(fields, registry.Field{Pointer: "/" + a.key, Found: strconv.Quote(a.text), Allowed: unitsOf(a.key), Message: "The unit of " + a.name + " is missing", Fix: "Write it behind the number: nothing is guessed."})
		case !known:
			fields = append(fields, registry.Field{Pointer: "/" + a.key, Found: strconv.Quote(unit), Allowed: unitsOf(a.key), Message: "This is no unit of " + a.name, Fix: "Use one of those."})
		default:
			in[key] = value
		}
	}
	if len(fields) > 0 {
		return &registry.Error{Code: registry.CodeInvalid, Message: strings.TrimSuffix(fields[0].String(), "."), Fields: fields}
	}
	if x.Angle != nil {
		in["angle_deg"] = *x.Angle
	}
	if x.Hand != "" {
		in["hand"] = x.Hand
	}
	return nil
}

func unitsOf(key string) string {
	if key == "od" {
		return "mm, in"
	}
	return "tpi, mm"
}

var quantityForm = regexp.MustCompile(`^(?:([0-9]+)[ -])?([0-9]*\.?[0-9]+|[0-9]+\.)(?:/([0-9]+))? *([a-z"]*)$`)

// quantity reads a number with a unit, such as 6.27mm, 1/4in or "1 1/8 in".
func quantity(text string) (value float64, unit string, err error) {
	m := quantityForm.FindStringSubmatch(strings.ToLower(strings.TrimSpace(text)))
	if m == nil || m[1] != "" && m[3] == "" {
		return 0, "", fmt.Errorf("%q is no quantity", text)
	}
	if value, err = strconv.ParseFloat(m[2], 64); err != nil {
		return 0, "", err
	}
	if m[3] != "" {
		below, err := strconv.ParseFloat(m[3], 64)
		whole, wholeErr := strconv.ParseFloat("0"+m[1], 64)
		if err != nil || wholeErr != nil || below == 0 || value != math.Trunc(value) {
			return 0, "", fmt.Errorf("%q is no fraction", text)
		}
		value = whole + value/below
	}
	unit = m[4]
	if unit == `"` {
		unit = "in"
	}
	return value, unit, nil
}

// writeThread prints what a thread may be.
func writeThread(w io.Writer, r *scoring.ThreadResult) {
	switch r.Verdict {
	case "one thread":
		fmt.Fprintln(w, "It fits one thread:")
	case "cannot tell":
		fmt.Fprintln(w, "These readings cannot tell which it is:")
	default:
		fmt.Fprintf(w, "Nothing fits. Nearest is %s, and it is no match (fit %.1f, where a match is above -8).\n", r.Nearest.ThreadName, r.Fit)
	}
	for _, c := range r.Candidates {
		names := []string{c.String()}
		for _, also := range c.Also {
			names = append(names, also.String())
		}
		fmt.Fprintf(w, "  %6s  %s: %.4g mm, pitch %.4g mm (%.4g tpi), %g degrees, core %.4g mm; fit %.1f\n",
			scoring.Percent(c.Probability), strings.Join(names, " = "), c.Major, c.Pitch, 25.4/c.Pitch, c.Angle, c.Core, math.Round(c.Fit*10)/10+0)
	}
	for _, t := range r.Tell {
		fmt.Fprintf(w, "To tell them apart: %s (settles %s of the doubt).\n", t.Measure, scoring.Percent(t.Settles))
	}
	for _, x := range r.Confusions {
		wrap(w, "Beware: "+x.Text, "  ")
	}
	for _, n := range r.Notes {
		wrap(w, n, "  ")
	}
	fmt.Fprintln(w, r.Then)
}
