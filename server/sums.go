package server

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// SumView opens one figure of an offer: what went in, what came out, by which
// method, and how to get it again.
type SumView struct {
	Title      string
	Says       []string // with interval and unit; nil where they stand above it
	Inputs     []string
	More       int // further inputs, which the file holds
	Method     string
	Short      string // the method without its version
	Catalog    string
	Standpoint string
	File       string // address of the input
	Command    string
}

// Assumption is what the figures of one method rest on.
type Assumption struct{ Short, Asks, Rests string }

// assumptions are those of the methods that an offer uses, each once.
func assumptions(o workshop.OfferReport) []Assumption {
	var out []Assumption
	for _, e := range o.Offer.Shown {
		short, _, _ := strings.Cut(e.Method, "/")
		if slices.ContainsFunc(out, func(a Assumption) bool { return a.Short == short }) {
			continue
		}
		a := Assumption{Short: short, Rests: assumed[e.Method]}
		for _, m := range scoring.Methods() {
			if m.Name == e.Method {
				a.Asks = m.Question
			}
		}
		out = append(out, a)
	}
	return out
}

// assumed says of each method what its figure rests on.
var assumed = map[string]string{
	scoring.MethodEffect: "What a part counts and what a state is worth are conventions of the standpoint. How likely each state is follows from the evidence on record and the catalog’s tables. The witness of an opening is lost once, for good; a removed part counts as kept only as far as it is likely to be found and to go back.",
	scoring.MethodCost:   "Each piece of work lies between the mechanic’s least and most, likeliest at the likeliest. What may be found comes or does not, each by itself. The sums are exact; nothing is sampled.",
	scoring.MethodValue:  "The logarithm of a price is taken to follow condition, distance, originality and the year of the sale in straight lines; what was thought of prices beforehand counts as a few sales would. It holds for machines like those that were sold.",
	scoring.MethodLeave:  "What has gone on until now is taken to go on at the same pace, within the range that is given for it.",
	scoring.MethodRisk:   "The chances of the outcomes are those of the source that is named; a loss of the index is turned into money at the rate that the valuation gives.",
	scoring.MethodIndex:  "What a part counts and what a state is worth are conventions of the standpoint; how likely each state is follows from the evidence on record and the catalog’s tables.",
}

// inputsShown is how many lines of an input a page lists; the file holds all.
const inputsShown = 12

// sumViews opens every figure that an offer froze, under what it is of.
func sumViews(o workshop.OfferReport, machine, base string, n names) map[string][]SumView {
	out := map[string][]SumView{}
	for i, e := range o.Offer.Shown {
		v := SumView{Method: e.Method, Catalog: e.Catalog, Standpoint: e.Standpoint, File: base + "/sums/" + strconv.Itoa(i) + ".json",
			Command: "asfound calc " + e.Method + " < " + ownerSumFile(machine, o.ID, i)}
		v.Short, _, _ = strings.Cut(e.Method, "/")
		of := e.Of
		switch option, index, isEffect := strings.Cut(e.Of, "/"); {
		case isEffect:
			of, v.Title = option, fmt.Sprintf("What it does to the %s", index)
		case e.Of == "cost":
			v.Title = "How the cost was added up"
		case e.Of == "value":
			v.Title = "How the value was compared"
		case strings.HasPrefix(e.Of, "leaving:"):
			v.Title = "What leaving it was reckoned from"
		case strings.HasPrefix(e.Of, "risk:"):
			v.Title = "What the ending was reckoned from"
		default:
			of, v.Title = "indices", fmt.Sprintf("The %s of the machine as it stood", e.Of)
		}
		v.Says = sumSays(o, e)
		v.Inputs = sumInputs(e, o.Offer.Ceiling.Currency, n)
		if len(v.Inputs) > inputsShown {
			v.More = len(v.Inputs) - inputsShown
			v.Inputs = v.Inputs[:inputsShown]
		}
		out[of] = append(out[of], v)
	}
	return out
}

// sumFile names the downloaded input of a figure.
func ownerSumFile(machine, offer string, i int) string {
	return machine + "-" + offer + "-" + strconv.Itoa(i) + ".json"
}

// sumSays gives the result in words, with its interval.
func sumSays(o workshop.OfferReport, e registry.NamedEstimate) []string {
	currency := o.Offer.Ceiling.Currency
	switch e.Method {
	case scoring.MethodIndex:
		var r scoring.IndexResult
		if json.Unmarshal(e.Result, &r) == nil {
			return []string{fmt.Sprintf("About %s of 1, with a chance of 80 %% from %s to %s.", indexWords(r.Median), indexWords(r.Low80), indexWords(r.High80))}
		}
	case scoring.MethodCost:
		if o.Cost != nil {
			return []string{fmt.Sprintf("Half of the time at most %s, with a chance of 80 %% at most %s, of 95 %% at most %s. The average is %s.",
				moneyWords(math.Round(o.Cost.P50), currency), moneyWords(math.Ceil(o.Cost.P80), currency), moneyWords(math.Ceil(o.Cost.P95), currency), moneyWords(math.Round(o.Cost.ExactMean), currency))}
		}
	case scoring.MethodValue:
		var out []string
		if o.Value != nil {
			for _, a := range o.Value.Afters {
				out = append(out, ratioSaid(a))
			}
		}
		return out
	}
	for _, x := range o.Options {
		if x.Leaving != nil && e.Of == "leaving:"+x.Leaving.ID {
			return []string{x.Leaving.Words}
		}
		if x.Risk != nil && e.Of == "risk:"+x.Risk.ID {
			return []string{x.Risk.Words}
		}
	}
	return nil
}

// sumInputs lists what went into a figure: in words where the method has words
// for it, else name by name.
func sumInputs(e registry.NamedEstimate, currency string, n names) []string {
	switch e.Method {
	case scoring.MethodEffect:
		var in scoring.EffectInput
		if json.Unmarshal(e.Input, &in) != nil {
			return nil
		}
		var out []string
		for _, p := range in.Parts {
			out = append(out, fmt.Sprintf("%s counts %s of %s points. Before: %s. Afterwards: %s.", upperFirst(n.Of(p.ID)), numberWords(p.Weight), numberWords(in.TotalWeight), likeliest(p.Before), likeliest(p.After)))
		}
		for _, x := range in.Openings {
			out = append(out, fmt.Sprintf("Opening %s: its witness counts %s points.", x.ID, numberWords(x.WitnessPoints)))
		}
		return out
	case scoring.MethodCost:
		var in scoring.CostInput
		if json.Unmarshal(e.Input, &in) != nil {
			return nil
		}
		var out []string
		for _, t := range in.Tasks {
			out = append(out, fmt.Sprintf("%s: least %s, likeliest %s, most %s.", upperFirst(plainWords(t.ID)), moneyWords(t.Low, currency), moneyWords(t.Likely, currency), moneyWords(t.High, currency)))
		}
		for _, f := range in.Finds {
			out = append(out, fmt.Sprintf("%s: found with a chance of %s, then %s more.", upperFirst(f.ID), percentWords(f.Chance), moneyWords(f.Cost, currency)))
		}
		return out
	}
	if e.Method == scoring.MethodIndex {
		var in scoring.IndexInput
		if json.Unmarshal(e.Input, &in) != nil {
			return nil
		}
		parts := 0
		for _, a := range in.Assemblies {
			parts += len(a.Parts)
		}
		return []string{fmt.Sprintf("%s, each with what it counts, what each state is worth and how likely each is; the file holds them all.", plural(parts, "component", "components"))}
	}
	var tree any
	dec := json.NewDecoder(bytes.NewReader(e.Input))
	dec.UseNumber()
	if dec.Decode(&tree) != nil {
		return nil
	}
	return flat("", tree, nil)
}

// likeliest lists the states of a part, the three likeliest by name.
func likeliest(d scoring.Distribution) string {
	list := slices.Clone(d)
	slices.SortStableFunc(list, func(a, b scoring.Entry[float64]) int {
		switch {
		case a.Value > b.Value:
			return -1
		case a.Value < b.Value:
			return 1
		}
		return 0
	})
	var out []string
	for i, x := range list {
		if i == 3 {
			return strings.Join(out, ", ") + " …"
		}
		out = append(out, strings.TrimSuffix(plainWords(x.Key), ", afterwards")+" "+percentWords(x.Value))
	}
	return strings.Join(out, ", ")
}

// flat lists the values of a JSON tree, each behind its place.
func flat(at string, v any, out []string) []string {
	switch v := v.(type) {
	case map[string]any:
		for _, k := range sortedNames(v) {
			out = flat(strings.TrimPrefix(at+" › "+strings.ReplaceAll(k, "_", " "), " › "), v[k], out)
		}
	case []any:
		for i, x := range v {
			out = flat(at+" "+strconv.Itoa(i+1), x, out)
		}
	default:
		out = append(out, fmt.Sprintf("%s: %v", at, v))
	}
	return out
}

func sortedNames(m map[string]any) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
