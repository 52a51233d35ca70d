package workshop

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// Half a window around the nearest thread, in mm of diameter and of pitch: what
// lies outside is so far off that its share is lost in the last digit. Whether
// it is, is seen by computing once more.
const (
	nearMajor = 1.0
	nearPitch = 0.15
)

// nearThreads leaves out the threads of the table that lie far from what was
// measured, so that not every record carries the whole table. It does so only
// where the rest gives the same result, to the last digit; left is how many
// threads were left out.
func nearThreads(a BenchAnswer) (out BenchAnswer, left int, err error) {
	var in scoring.ThreadInput
	var result scoring.ThreadResult
	if err := json.Unmarshal(a.Input, &in); err != nil {
		return a, 0, err
	}
	if err := json.Unmarshal(a.Result, &result); err != nil {
		return a, 0, err
	}
	if len(result.Candidates) == 0 {
		return a, 0, nil
	}
	all := len(in.Table)
	near := func(t scoring.Thread) bool {
		pitch := 0.0
		switch {
		case t.TPI != nil:
			pitch = 25.4 / *t.TPI
		case t.Pitch != nil:
			pitch = *t.Pitch
		}
		return slices.ContainsFunc(result.Candidates, func(c scoring.ThreadCandidate) bool {
			return math.Abs(t.Major-c.Major) <= nearMajor && math.Abs(pitch-c.Pitch) <= nearPitch
		})
	}
	in.Table = slices.DeleteFunc(in.Table, func(t scoring.Thread) bool { return !near(t) })
	in.Confusions = slices.DeleteFunc(in.Confusions, func(c scoring.ThreadConfusion) bool {
		return slices.ContainsFunc(c.Threads, func(id string) bool {
			return !slices.ContainsFunc(in.Table, func(t scoring.Thread) bool { return t.ID == id })
		})
	})
	raw, err := registry.CanonicalJSON(in)
	if err != nil {
		return a, 0, err
	}
	again, err := scoring.Run(a.Method, raw)
	if err != nil || !bytes.Equal(again, a.Result) {
		return a, 0, nil // the whole table stays
	}
	a.Input = raw
	return a, all - len(in.Table), nil
}

// leftOutWords says that the record carries a part of the table.
func leftOutWords(left int) string {
	if left == 0 {
		return ""
	}
	return fmt.Sprintf(" %d threads of the catalog’s table that lie far from these readings are not kept with it; without them the figures are the same to the last digit.", left)
}
