package workshop

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// SurvivorsQuestion asks how many machines of a model survive and were built,
// by the numbers of those on record here.
type SurvivorsQuestion struct {
	Make  string `json:"make"`
	Model string `json:"model"`
	Where string `json:"where,omitempty"` // where the number stands; frame when left out
	// First is the number of the first machine built, figures alone; without it
	// nothing is said of how many were built. Gaps says that numbers were left
	// out, by type or for export.
	First *float64 `json:"first,omitempty"`
	Gaps  bool     `json:"gaps,omitempty"`
	// KnownBy are the sources by which the machines of this register became
	// known, and List is another list of numbers; both are needed to estimate
	// how many survive.
	KnownBy []string    `json:"known_by,omitempty"`
	List    *NumberList `json:"list,omitempty"`
}

// NumberList is somebody else's list of numbers.
type NumberList struct {
	Name    string   `json:"name"`
	Sources []string `json:"sources"`
	Numbers []string `json:"numbers"`
}

// SurvivorsReport answers in counts alone: no number of any machine is in it,
// and estimates that follow from the largest number are rounded so coarsely
// that it cannot be worked out from them.
type SurvivorsReport struct {
	Make  string `json:"make"`
	Model string `json:"model"`
	Where string `json:"where"`
	// Machines are those of the model on record here; Read those with a number
	// that can be read without doubt, each number once; Twice those left out
	// because another has the same number.
	Machines int `json:"machines"`
	Read     int `json:"read"`
	Twice    int `json:"twice"`
	// Listed are the numbers of the other list that can be read, each once;
	// Unlisted those that cannot; Both those that stand in both.
	Listed   int `json:"listed,omitempty"`
	Unlisted int `json:"unlisted,omitempty"`
	Both     int `json:"both,omitempty"`

	Method    string                  `json:"method"`
	Survivors *scoring.SurvivorsCount `json:"survivors,omitempty"`
	Built     *BuiltEstimate          `json:"built,omitempty"`
	// Warnings go with the estimates; Refused says which there is none of, why,
	// and what would help.
	Warnings []string `json:"warnings"`
	Refused  []string `json:"refused"`
}

// BuiltEstimate is how many were built, by the largest number found, in machines
// and rounded to tens or to two figures.
type BuiltEstimate struct {
	Found  int     `json:"found"`
	Count  float64 `json:"count"`
	Bound  float64 `json:"bound95"` // exceeded in one case of 20
	Median float64 `json:"median"`  // with a flat prior, as is High
	High   float64 `json:"high95"`
}

// runNumber is a number in two parts: what stands before its last figures, and
// these.
type runNumber struct{ before, figures string }

// readRun reads a number in normalised form: capitals and figures alone. ok is
// false when it does not end in figures, or in more than nine.
func readRun(s string) (n runNumber, ok bool) {
	s = strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, s)
	cut := len(strings.TrimRight(s, "0123456789"))
	n = runNumber{s[:cut], strings.TrimLeft(s[cut:], "0")}
	return n, n.figures != "" && len(n.figures) <= 9
}

// runNumbers are numbers, each once: what stands before the figures, by these.
type runNumbers map[string][]string

// has says whether a number is among them; a list often leaves out what stands
// before the figures.
func (r runNumbers) has(n runNumber) bool {
	return slices.ContainsFunc(r[n.figures], func(before string) bool { return n.before == before || n.before == "" || before == "" })
}

// add puts a number to them, and gives false for one that is there.
func (r runNumbers) add(n runNumber) bool {
	if r.has(n) {
		return false
	}
	r[n.figures] = append(r[n.figures], n.before)
	return true
}

// RegisterSurvivors estimates how many machines of a model survive (by this
// register against another list) and how many were built (by the largest
// number), by survivors/1 and its refusals. Nothing is recorded, and numbers
// stay here. CodeInvalid when the question cannot be read; CodeNotFound when
// the register has no machine of the model.
func (w *Workshop) RegisterSurvivors(ctx context.Context, q SurvivorsQuestion) (*SurvivorsReport, error) {
	out := &SurvivorsReport{Make: q.Make, Model: q.Model, Where: q.Where, Method: scoring.MethodSurvivors, Warnings: []string{}, Refused: []string{}}
	if out.Where == "" {
		out.Where = "frame"
	}
	if strings.TrimSpace(q.Make) == "" || strings.TrimSpace(q.Model) == "" {
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: "It is not said which machines are counted", Fix: "Name make and model.",
			Fields: []registry.Field{{Pointer: "/model", Message: "It is not said which machines are counted", Fix: "Name make and model, as they stand on record."}}}
	}
	numbers, err := w.numbersOf(ctx, q, out)
	if err != nil {
		return nil, err
	}
	if q.First != nil || q.Gaps {
		if err := w.built(q, numbers, out); err != nil {
			return nil, err
		}
	}
	if q.List != nil {
		if err := w.surviving(q, numbers, out); err != nil {
			return nil, err
		}
	}
	if q.First == nil && q.List == nil && !q.Gaps {
		out.Refused = append(out.Refused, "Nothing was asked that a count alone does not answer. Give the number of the first machine built, or another list, or both.")
	}
	return out, nil
}

// numbersOf are the numbers of the machines of a model, each once.
func (w *Workshop) numbersOf(ctx context.Context, q SurvivorsQuestion, out *SurvivorsReport) ([]runNumber, error) {
	machines, err := w.Machines(ctx, "", 0)
	if err != nil {
		return nil, err
	}
	var numbers []runNumber
	once := runNumbers{}
	for _, m := range machines {
		if modelKeyOf(m.Make, m.Model) != modelKeyOf(q.Make, q.Model) {
			continue
		}
		out.Machines++
		read, err := w.numberAtPlace(ctx, m, out.Where)
		if err != nil {
			return nil, err
		}
		n, ok := readRun(read)
		switch {
		case !ok:
		case !once.add(n):
			out.Twice++
		default:
			numbers = append(numbers, n)
		}
	}
	if out.Machines == 0 {
		return nil, registry.Refuse(registry.CodeNotFound, "Write make and model as they stand on record; \"asfound machines\" lists them.", "There is no machine %s %s in this registry", q.Make, q.Model)
	}
	out.Read = len(numbers)
	if out.Twice > 0 {
		out.Warnings = append(out.Warnings, fmt.Sprintf("Machines on record with a number that another has too: %d. Each number is counted once; look which of them is right.", out.Twice))
	}
	if left := out.Machines - out.Read - out.Twice; left > 0 {
		out.Warnings = append(out.Warnings, fmt.Sprintf("Machines on record without a number at this place that can be read without doubt: %d. They are not counted.", left))
	}
	return numbers, nil
}

// numberAtPlace is a machine's number at a place as it was read without doubt,
// "" where there is none. The views know it of most machines; the record is
// read where they do not, or where a number at the place is in doubt.
func (w *Workshop) numberAtPlace(ctx context.Context, m Summary, where string) (string, error) {
	if !m.Elsewhere {
		kept, err := w.keptNumbers(ctx, m.ID)
		if err != nil {
			return "", err
		}
		var found []bearer
		for key, list := range kept {
			if whereOf(key) == lookup.Plain(where) {
				found = append(found, list...)
			}
		}
		switch {
		case len(found) == 0:
			return "", nil
		case len(found) == 1 && !found[0].Doubtful:
			return found[0].Read, nil
		}
	}
	d, err := w.Load(ctx, m.ID, At{})
	if err != nil {
		return "", err
	}
	record, _ := d.MachineRecord()
	i := slices.IndexFunc(record.Numbers, func(n registry.Number) bool {
		return lookup.Plain(n.Where) == lookup.Plain(where) && len(n.Doubtful) == 0
	})
	if i < 0 {
		return "", nil
	}
	return record.Numbers[i].AsRead.Value, nil
}

// refused notes that an estimate is refused; any other error comes back.
func (r *SurvivorsReport) refused(what string, err error) error {
	if registry.CodeOf(err) != registry.CodeInsufficient {
		return err
	}
	message, fix := err.Error(), ""
	if e, ok := err.(*registry.Error); ok {
		message, fix = e.Message, e.Fix
	}
	r.Refused = append(r.Refused, fmt.Sprintf("%s: %s. %s", what, strings.TrimSuffix(message, "."), fix))
	return nil
}

const howManyBuilt, howManySurvive = "How many were built", "How many survive"

// built estimates how many were built.
func (w *Workshop) built(q SurvivorsQuestion, numbers []runNumber, out *SurvivorsReport) error {
	in := scoring.BuiltSerial{Gaps: q.Gaps, Numbers: []float64{}, First: 1}
	if q.First != nil {
		in.First = *q.First
	}
	before := map[string]bool{}
	early := false
	for _, n := range numbers {
		before[n.before] = true
		v, err := strconv.ParseFloat(n.figures, 64)
		if err != nil {
			return err
		}
		early = early || v < in.First
		in.Numbers = append(in.Numbers, v)
	}
	switch {
	case len(before) > 1:
		out.Refused = append(out.Refused, fmt.Sprintf("%s: The numbers begin in %d ways, so that they are of more than one run, and the largest says nothing of them together. Ask about a closer model.", howManyBuilt, len(before)))
		return nil
	case early:
		// Which number it is stays here; scoring would name it.
		return &registry.Error{Code: registry.CodeInvalid, Message: "A machine on record has a number before that of the first machine built", Fix: "Correct the number of the first.",
			Fields: []registry.Field{{Pointer: "/first", Message: "A machine on record has a number before this one", Fix: "Correct it, or look at the record."}}}
	}
	result, err := w.survivors(scoring.SurvivorsInput{Built: &in})
	if err != nil {
		return out.refused(howManyBuilt, err)
	}
	b := result.Built
	out.Built = &BuiltEstimate{Found: b.Found, Count: coarse(b.Count), Bound: coarse(b.Bound), Median: coarse(b.Median), High: coarse(b.High)}
	out.Warnings = append(out.Warnings, result.Warnings...)
	return nil
}

// coarse rounds a count to two figures, and to tens below a hundred: the
// largest number must not follow from what it gives.
func coarse(v float64) float64 {
	step := 10.0
	for v >= 100*step {
		step *= 10
	}
	return math.Round(v/step) * step
}

// surviving estimates how many survive.
func (w *Workshop) surviving(q SurvivorsQuestion, numbers []runNumber, out *SurvivorsReport) error {
	here, listed := runNumbers{}, runNumbers{}
	for _, n := range numbers {
		here.add(n)
	}
	for _, s := range q.List.Numbers {
		n, ok := readRun(s)
		switch {
		case !ok:
			out.Unlisted++
		case listed.add(n):
			out.Listed++
			if here.has(n) {
				out.Both++
			}
		}
	}
	if out.Unlisted > 0 {
		out.Warnings = append(out.Warnings, fmt.Sprintf("Entries of the other list that are no number: %d. They are not counted.", out.Unlisted))
	}
	name := q.List.Name
	if name == "" {
		name = "the other list"
	}
	result, err := w.survivors(scoring.SurvivorsInput{Lists: &scoring.TwoLists{First: scoring.SurvivorList{Name: "this register", Count: float64(len(numbers)), Sources: given(q.KnownBy)},
		Second: scoring.SurvivorList{Name: name, Count: float64(out.Listed), Sources: given(q.List.Sources)}, Both: float64(out.Both)}})
	if err != nil {
		return out.refused(howManySurvive, err)
	}
	out.Survivors = result.Survivors
	out.Warnings = append(out.Warnings, result.Warnings...)
	return nil
}

func given(list []string) []string { return append([]string{}, list...) }

// survivors runs the method as calc does.
func (w *Workshop) survivors(in scoring.SurvivorsInput) (out scoring.SurvivorsResult, err error) {
	raw, err := json.Marshal(in)
	if err != nil {
		return out, err
	}
	a, err := w.Ask(scoring.MethodSurvivors, raw)
	if err != nil {
		return out, err
	}
	return out, json.Unmarshal(a.Result, &out)
}

// Says is the answer in sentences.
func (r *SurvivorsReport) Says() []string {
	out := []string{fmt.Sprintf("This register has %d of the model, and %d of them with a number that can be read without doubt.", r.Machines, r.Read)}
	if s := r.Survivors; s != nil {
		out = append(out, fmt.Sprintf("About %.0f survive, between %.0f and %.0f machines with a chance of 95 %%. %d stand in this register, %d in the other list, %d in both.", s.Count, s.Low, s.High, r.Read, r.Listed, r.Both))
	}
	if b := r.Built; b != nil {
		out = append(out, fmt.Sprintf("About %.0f were built, and hardly more than %.0f; with a flat prior the middle is %.0f, and 95 %% lie below %.0f. These are rounded, so that no number follows from them.", b.Count, b.Bound, b.Median, b.High))
	}
	return out
}
