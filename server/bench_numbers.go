package server

import (
	"slices"
	"strings"
)

// places of numbers that the page asks for.
var numberPlaces = []string{"frame", "engine", "gearbox"}

func numberFields(_ *Server, t *typed) []FormPart {
	numbers, recorded := 0, 0 // those that were typed, in their order
	read := FormPart{Title: "As it was read on the machine"}
	record := FormPart{Title: "What a record says", Hint: "May stay empty."}
	for _, p := range numberPlaces {
		read.Fields = append(read.Fields, brief("read_"+p, upperFirst(p), "", "", "/numbers/"+itoa(numbers)), yes("altered_"+p, "The number of the "+p+" looks restamped, ground or moved", ""))
		record.Fields = append(record.Fields, brief("record_"+p, upperFirst(p), "", "", "/record/numbers/"+itoa(recorded)))
		if t.text("read_"+p) != "" {
			numbers++
		}
		if t.text("record_"+p) != "" {
			recorded++
		}
	}
	record.Fields = append(record.Fields, Field{Name: "authentic", Label: "Is the record itself what it seems?", Kind: "radios", Value: "unknown", Choices: []Choice{{"unknown", "Not known", ""}, {"yes", "Yes", ""}, {"no", "No", ""}}, Pointers: []string{"/record/authentic"}},
		brief("basis", "How that is known", "", "", "/record/basis"))
	return []FormPart{read, record, {Title: "What it is said to be", Hint: "A pack that knows the maker’s numbers is asked by these.", Fields: []Field{brief("make", "Make", "", "", "/make"), brief("type", "Type", "", "", "/type"), brief("year", "Year", "", "", "/year")}}}
}

func readNumber(_ *Server, t *typed, in benchInput) {
	numbers, recorded := []any{}, []any{}
	for _, p := range numberPlaces {
		if n := t.text("read_" + p); n != "" {
			row := map[string]any{"where": p, "read": n}
			if t.text("altered_"+p) == "yes" {
				row["altered"] = true
			}
			numbers = append(numbers, row)
		}
		if n := t.text("record_" + p); n != "" {
			recorded = append(recorded, map[string]any{"where": p, "number": n})
		}
	}
	in["numbers"] = numbers
	if len(recorded) > 0 {
		in["record"] = map[string]any{"numbers": recorded, "authentic": t.text("authentic"), "basis": t.text("basis")}
	}
	for _, key := range []string{"make", "type"} {
		if v := t.text(key); v != "" {
			in[key] = v
		}
	}
	in.number(t, "year", "year")
}

func vinFields(*Server, *typed) []FormPart {
	return one(brief("number", "The number", "", "Seventeen characters; a doubtful one in brackets, such as [38].", "/number"),
		Field{Name: "check_digit", Label: "The market uses a check digit", Kind: "radios", Value: "unknown", Choices: []Choice{{"unknown", "Not known", ""}, {"used", "Yes", "North America"}, {"not-used", "No", ""}}, Pointers: []string{"/check_digit"}})
}

func readVIN(_ *Server, t *typed, in benchInput) {
	in["number"], in["check_digit"] = t.text("number"), t.text("check_digit")
}

func serialFields(*Server, *typed) []FormPart {
	return one(brief("serial", "The number, figures alone", "", "", "/serial"),
		Field{Name: "anchors", Label: "Numbers of the same run that are dated", Kind: "area", Hint: "One a line, number and day: 6049 1957-04-08. At least two, of which one lies on each side.", Pointers: []string{"/anchors"}},
		Field{Name: "kind", Label: "What the days are of", Kind: "radios", Value: "dispatch", Choices: []Choice{{"dispatch", "Dispatch", ""}, {"build", "Building", ""}, {"registration", "Registration", "these lie weeks or months later, and are refused"}}},
		brief("batch", "Machines built together", "", "Left empty, the house’s assumption.", "/batch"))
}

func readSerial(_ *Server, t *typed, in benchInput) {
	in.number(t, "serial", "serial")
	in.number(t, "batch", "batch")
	anchors := []any{}
	for i, line := range t.lines("anchors") {
		number, day, _ := strings.Cut(line, " ")
		v, err := t.fraction(number)
		if err != nil {
			t.fault("/anchors", line, "Line "+itoa(i+1)+" cannot be read", "Write a number, a space and a day such as 1957-04-08.")
			continue
		}
		anchors = append(anchors, map[string]any{"serial": v, "date": strings.TrimSpace(day), "kind": t.text("kind")})
	}
	in["anchors"] = anchors
}

func survivorsFields(*Server, *typed) []FormPart {
	list := func(key, title string) FormPart {
		return FormPart{Title: title, Fields: []Field{brief(key+"_name", "Name of the list", "", "Such as club register.", "/lists/"+key+"/name"), brief(key+"_count", "Machines on it, each once", "", "", "/lists/"+key+"/count"),
			{Name: key + "_sources", Label: "Where its entries come from", Kind: "area", Hint: "One a line. Lists that share a source feed each other.", Pointers: []string{"/lists/" + key + "/sources", "/lists/" + key}}}}
	}
	return []FormPart{list("first", "One list"), list("second", "Another list"), {Title: "Both", Fields: []Field{brief("both", "Machines that stand in both", "", "", "/lists/both", "/lists")}},
		{Title: "Or by their numbers", Fields: []Field{{Name: "numbers", Label: "Numbers of survivors of one run", Kind: "area", Hint: "Figures alone, apart by spaces.", Pointers: []string{"/built/numbers", "/built"}},
			brief("first", "Number of the first machine built", "", "", "/built/first"), yes("gaps", "Numbers were left out, by type or for export", "")}}}
}

func readSurvivors(_ *Server, t *typed, in benchInput) {
	given := func(names ...string) bool {
		return slices.ContainsFunc(names, func(n string) bool { return t.text(n) != "" })
	}
	if given("first_count", "second_count", "both") {
		lists := benchInput{}
		for _, key := range []string{"first", "second"} {
			row := map[string]any{"name": t.text(key + "_name"), "sources": append([]string{}, t.lines(key+"_sources")...)}
			if v, ok := t.amount(key+"_count", "/lists/"+key+"/count"); ok {
				row["count"] = v
			}
			lists[key] = row
		}
		if v, ok := t.amount("both", "/lists/both"); ok {
			lists["both"] = v
		}
		in["lists"] = lists
	}
	if given("numbers", "first") {
		built := benchInput{"numbers": t.numbers("numbers", "/built/numbers"), "gaps": t.text("gaps") == "yes"}
		if v, ok := t.amount("first", "/built/first"); ok {
			built["first"] = v
		}
		in["built"] = built
	}
}
