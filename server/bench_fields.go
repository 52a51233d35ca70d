package server

import (
	"strings"
	"time"

	"example.org/asfound/catalog"
)

// brief asks for a number or a few words.
func brief(name, label, unit, hint string, pointers ...string) Field {
	return Field{Name: name, Label: label, Kind: "short", Unit: unit, Hint: hint, Pointers: pointers}
}

// unitOf asks for the unit of the field before it.
func unitOf(name, label string, units ...Choice) Field {
	return Field{Name: name + "_unit", Label: label, Kind: "radios", Value: units[0].Value, Choices: units}
}

var (
	millimetres = Choice{"mm", "mm", ""}
	inches      = Choice{"in", "inch", ""}
	toTheInch   = Choice{"tpi", "threads to the inch", ""}
	newtons     = Choice{"nm", "N·m", ""}
	pounds      = Choice{"lbf_ft", "lbf·ft", ""}
	whites      = []Choice{{"D50", "D50", ""}, {"D65", "D65", ""}}
)

func lengthFields(name, label, hint string) []Field {
	return []Field{brief(name, label, "", hint, "/"+name, "/"+name+"_mm", "/"+name+"_in"), unitOf(name, "Unit of it", millimetres, inches)}
}

func readLength(t *typed, in benchInput, name string) {
	in.measured(t, name, "/"+name, map[string]string{"mm": name + "_mm", "in": name + "_in"})
}

func one(fields ...Field) []FormPart { return []FormPart{{Fields: fields}} }

func yes(name, label, hint string) Field {
	return Field{Name: name, Label: label, Kind: "checks", Choices: []Choice{{"yes", "Yes", hint}}}
}

func pitchFields(first, second Choice) []Field {
	return []Field{brief("pitch", "Pitch", "", "By a leaf gauge, or over ten turns with a rule.", "/pitch", "/pitch_mm", "/tpi"), unitOf("pitch", "Unit of the pitch", first, second)}
}

func readPitch(t *typed, in benchInput) {
	in.measured(t, "pitch", "/pitch", map[string]string{"mm": "pitch_mm", "tpi": "tpi"})
}

func threadFields(*Server, *typed) []FormPart {
	fields := append(lengthFields("od", "Outside diameter over the crests", "Such as 6.27 or 1/4."), pitchFields(toTheInch, millimetres)...)
	return one(append(fields, brief("angle", "Angle between the flanks", "degrees", "Only if it was gauged.", "/angle_deg"),
		Field{Name: "hand", Label: "Hand", Kind: "radios", Pointers: []string{"/hand"}, Choices: []Choice{{"", "Not looked at", ""}, {"right", "Right", ""}, {"left", "Left", ""}}})...)
}

func readThread(_ *Server, t *typed, in benchInput) {
	readLength(t, in, "od")
	readPitch(t, in)
	if v, ok := t.amount("angle", "/angle_deg"); ok {
		in["angle_deg"] = v
	}
	if hand := t.text("hand"); hand != "" {
		in["hand"] = hand
	}
}

func stampFields(s *Server, _ *typed) []FormPart {
	scheme := Field{Name: "scheme", Label: "How it is written", Kind: "select", Pointers: []string{"/stamps/0/scheme"}}
	for _, x := range s.Workshop.Catalog.StampSchemes() {
		scheme.Choices = append(scheme.Choices, Choice{x.ID, upperFirst(x.Title), ""})
	}
	return one(brief("id", "What is stamped", "", "Such as dynamo.", "/stamps/0/id"), brief("code", "The stamp as it was read", "", "Such as 3/57.", "/stamps/0/code"), scheme,
		yes("worn", "Characters may be misread", "3 for 8, 5 for 6, 1 for 7"), brief("build", "When the machine was built", "", "Year and month, such as 1957-06.", "/build"))
}

func readStamp(_ *Server, t *typed, in benchInput) {
	id := t.text("id")
	if id == "" {
		id = "the part"
	}
	in["build"] = t.text("build")
	in["stamps"] = []any{map[string]any{"id": id, "code": t.text("code"), "scheme": t.text("scheme"), "worn": t.text("worn") == "yes"}}
}

func tyreFields(s *Server, _ *typed) []FormPart {
	return one(brief("code", "The last group of figures", "", "Three figures, or four since 2000, such as 127 or 2316.", "/code"), yes("triangle", "A triangle stands after three figures", ""),
		Field{Name: "on", Label: "Read on", Kind: "date", Value: s.Now().UTC().Format(time.DateOnly), Pointers: []string{"/on"}, Hint: "To count its age."})
}

func readTyre(_ *Server, t *typed, in benchInput) {
	in["code"] = t.text("code")
	if t.text("triangle") == "yes" {
		in["triangle"] = true
	}
	if on := t.text("on"); on != "" {
		in["on"] = on
	}
}

func filmFields(*Server, *typed) []FormPart {
	readings := func(name, label string, pointers ...string) Field {
		return Field{Name: name, Label: label, Kind: "area", Hint: "Apart by spaces: 78 84 91. At least three; the result says how many are needed.", Pointers: pointers}
	}
	return []FormPart{{Fields: []Field{{Name: "unit", Label: "What the gauge shows", Kind: "radios", Value: "µm", Choices: []Choice{{"µm", "µm", ""}, {"mil", "mil", "thousandths of an inch"}}, Pointers: []string{"/unit"}},
		brief("instrument", "The gauge", "", "One gauge for both places. A magnetic one reads on iron alone.", "/reference/instrument", "/areas/0/instrument")}},
		{Title: "The sheltered reference", Fields: []Field{brief("reference_id", "Where", "", "Such as under the saddle.", "/reference/id"), readings("reference", "Readings", "/reference/readings", "/reference")}},
		{Title: "The area in question", Fields: []Field{brief("area_id", "Where", "", "Such as rear mudguard.", "/areas/0/id"), readings("area", "Readings", "/areas/0/readings", "/areas")}}}
}

func readFilm(_ *Server, t *typed, in benchInput) {
	in["unit"] = t.text("unit")
	in["reference"] = map[string]any{"id": t.text("reference_id"), "instrument": t.text("instrument"), "readings": t.numbers("reference", "/reference/readings")}
	in["areas"] = []any{map[string]any{"id": t.text("area_id"), "instrument": t.text("instrument"), "readings": t.numbers("area", "/areas/0/readings")}}
}

func colourFields(*Server, *typed) []FormPart {
	set := func(title, key, example string) FormPart {
		return FormPart{Title: title, Fields: []Field{brief(key+"_id", "Where", "", example, "/"+key+"/id"),
			{Name: key, Label: "L, a and b", Kind: "area", Hint: "One reading a line: 32.1 20.4 9.8. Three lines show how they scatter.", Pointers: []string{"/" + key + "/readings", "/" + key}},
			brief(key+"_sd", "Shared uncertainty of L, a and b", "", "Three numbers, such as a photograph with a card gives. May stay empty.", "/"+key+"/uncertainty")}}
	}
	return []FormPart{{Fields: []Field{{Name: "white", Label: "White that L is counted from", Kind: "radios", Value: "D50", Choices: whites, Pointers: []string{"/reference/white", "/area/white"}},
		brief("instrument", "The instrument", "", "One for both places.", "/reference/instrument", "/area/instrument")}}, set("The sheltered reference", "reference", "Such as under the knee grip."), set("The area in question", "area", "Such as top of the tank.")}
}

func readColour(_ *Server, t *typed, in benchInput) {
	for _, key := range []string{"reference", "area"} {
		_, rows := t.rows(key, "/"+key+"/readings", 3, false)
		readings := []any{}
		for _, r := range rows {
			readings = append(readings, labOf(r))
		}
		set := map[string]any{"id": t.text(key + "_id"), "instrument": t.text("instrument"), "white": t.text("white"), "readings": readings}
		if t.text(key+"_sd") != "" {
			if _, u := t.rows(key+"_sd", "/"+key+"/uncertainty", 3, false); len(u) == 1 {
				set["uncertainty"] = labOf(u[0])
			}
		}
		in[key] = set
	}
}

func labOf(v []float64) map[string]any { return map[string]any{"L": v[0], "a": v[1], "b": v[2]} }

func capacityFields(*Server, *typed) []FormPart {
	fields := append(lengthFields("bore", "Bore", ""), lengthFields("stroke", "Stroke", "")...)
	cylinders := brief("cylinders", "Cylinders", "", "", "/cylinders")
	cylinders.Value = "1"
	return one(append(fields, cylinders, brief("clearance", "Space above the piston", "cm³", "To reckon the compression. May stay empty.", "/clearance_cm3"), brief("ratio", "Or the compression", "to 1", "", "/ratio"))...)
}

func readCapacity(_ *Server, t *typed, in benchInput) {
	readLength(t, in, "bore")
	readLength(t, in, "stroke")
	in.number(t, "cylinders", "cylinders")
	in.number(t, "clearance", "clearance_cm3")
	in.number(t, "ratio", "ratio")
}

func pistonFields(*Server, *typed) []FormPart {
	fields := append(lengthFields("stroke", "Stroke", ""), lengthFields("rod", "Length of the rod between its eyes", "")...)
	fields = append(fields, brief("crank", "Angle of the crank before top dead centre", "degrees", "This, or the drop.", "/crank_deg", "/crank"))
	fields = append(fields, lengthFields("drop", "Or the drop of the piston", "")...)
	return one(append(fields, brief("error", "How far the stick may be out", "mm", "May stay empty.", "/error_mm"))...)
}

func readPiston(_ *Server, t *typed, in benchInput) {
	readLength(t, in, "stroke")
	readLength(t, in, "rod")
	in.number(t, "crank", "crank_deg")
	readLength(t, in, "drop")
	in.number(t, "error", "error_mm")
}

func gearingFields(*Server, *typed) []FormPart {
	pair := func(title, key, driving, driven string) FormPart {
		return FormPart{Title: title, Fields: []Field{brief(key+"_driving", driving, "teeth", "", "/"+key+"/driving"), brief(key+"_driven", driven, "teeth", "", "/"+key+"/driven", "/"+key)}}
	}
	return []FormPart{pair("Primary drive", "primary", "Engine sprocket", "Clutch"),
		{Title: "Gearbox", Fields: []Field{{Name: "gearbox", Label: "Gears and their ratios", Kind: "area", Hint: "One a line: 1 3.15. Direct drive is 1.", Pointers: []string{"/gearbox"}}}},
		pair("Final drive", "final", "Gearbox sprocket", "Wheel sprocket"),
		{Title: "Tyre and speed", Fields: append(lengthFields("diameter", "Diameter of the tyre", "Or the rolling circumference, measured over one turn, below."), brief("rolling", "Rolling circumference", "mm", "", "/tyre/rolling_mm", "/tyre"),
			brief("rpm", "Revolutions", "a minute", "This, or a speed.", "/rpm"), brief("speed", "Or a speed", "", "", "/kmh", "/mph"), unitOf("speed", "Unit of the speed", Choice{"mph", "mph", ""}, Choice{"kmh", "km/h", ""}))}}
}

func readGearing(_ *Server, t *typed, in benchInput) {
	for _, key := range []string{"primary", "final"} {
		pair := map[string]any{}
		for _, side := range []string{"driving", "driven"} {
			if v, ok := t.amount(key+"_"+side, "/"+key+"/"+side); ok {
				pair[side] = v
			}
		}
		in[key] = pair
	}
	names, rows := t.rows("gearbox", "/gearbox", 1, true)
	gears := []any{}
	for i := range rows {
		gears = append(gears, map[string]any{"id": names[i], "ratio": rows[i][0]})
	}
	in["gearbox"] = gears
	tyre := benchInput{}
	readLength(t, tyre, "diameter")
	tyre.number(t, "rolling", "rolling_mm")
	in["tyre"] = tyre
	in.number(t, "rpm", "rpm")
	in.measured(t, "speed", "/kmh", map[string]string{"mph": "mph", "kmh": "kmh"})
}

func torqueFields(s *Server, _ *typed) []FormPart {
	lubrication := Field{Name: "lubrication", Label: "Thread and head are", Kind: "select", Pointers: []string{"/lubrication"}}
	for _, l := range s.Workshop.Catalog.Lubrications() {
		lubrication.Choices = append(lubrication.Choices, Choice{l.ID, upperFirst(plainWords(l.ID)), ""})
	}
	form := Field{Name: "form", Label: "Form of the thread", Kind: "select", Pointers: []string{"/form"},
		Choices: []Choice{{"metric", "Metric", ""}, {"unified", "Unified", ""}, {"whitworth", "Whitworth", "BSW, BSF"}, {"cycle", "Cycle", ""}, {"ba", "BA", ""}}}
	grade := Field{Name: "grade", Label: "Grade, as it stands on the head", Kind: "select", Hint: "Without one no ceiling is known.", Pointers: []string{"/grade"}}
	for _, g := range s.Workshop.Catalog.FastenerGrades() {
		grade.Choices = append(grade.Choices, Choice{g.ID, gradeWords(g), ""})
	}
	fields := append(lengthFields("diameter", "Nominal diameter", ""), pitchFields(millimetres, toTheInch)...)
	return one(append(fields, form, grade, lubrication, brief("torque", "A torque to look at", "", "May stay empty.", "/torque_nm", "/torque_lbf_ft", "/torque"), unitOf("torque", "Unit of the torque", newtons, pounds))...)
}

// gradeWords is a grade as people call it: a property class by its figures, a
// grade of SAE J429 by its number.
func gradeWords(g catalog.FastenerGrade) string {
	if n, ok := strings.CutPrefix(g.ID, "sae-"); ok {
		return "SAE grade " + n + ", " + g.Form
	}
	return "Property class " + g.ID + ", " + g.Form
}

func readTorque(_ *Server, t *typed, in benchInput) {
	readLength(t, in, "diameter")
	readPitch(t, in)
	in["form"], in["lubrication"] = t.text("form"), t.text("lubrication")
	if g := t.text("grade"); g != "" {
		in["grade"] = g
	}
	in.measured(t, "torque", "/torque", map[string]string{"nm": "torque_nm", "lbf_ft": "torque_lbf_ft"})
}

// ruleField offers the published rules of a kind; the rest of the page follows
// from the one that is chosen.
func ruleField(s *Server, kind string) Field {
	f := Field{Name: "rule", Label: "Rule", Kind: "select", Hint: "Choose one and press “Work it out”: what the rule asks for then appears here.", Pointers: []string{"/rule"}}
	for _, r := range s.Workshop.Catalog.PublishedRules() {
		if r.Kind == kind {
			f.Choices = append(f.Choices, Choice{r.ID, r.Title + ", " + r.Edition, ""})
		}
	}
	return f
}

// chosenRule is the rule that the query names.
func chosenRule(s *Server, t *typed, kind string) (catalog.PublishedRule, bool) {
	for _, r := range s.Workshop.Catalog.PublishedRules() {
		if r.ID == t.text("rule") && r.Kind == kind {
			return r, true
		}
	}
	return catalog.PublishedRule{}, false
}

// readRule puts the chosen rule of a kind into the input, or says that none was
// chosen.
func readRule(s *Server, t *typed, in benchInput, kind string) (catalog.PublishedRule, bool) {
	r, ok := chosenRule(s, t, kind)
	if !ok {
		t.fault("/rule", t.text("rule"), "No rule was chosen", "Choose one.")
		return r, false
	}
	ruleInput(in, r)
	return r, true
}

func ruleInput(in benchInput, r catalog.PublishedRule) {
	source := r.Source
	if source == "" {
		source = r.Assumption
	}
	in["rule"] = map[string]any{"title": r.Title, "source": source, "edition": r.Edition}
}

func criteriaFields(s *Server, t *typed) []FormPart {
	fields := []Field{ruleField(s, catalog.PublishedCriteria)}
	if r, ok := chosenRule(s, t, catalog.PublishedCriteria); ok {
		for i, c := range r.Criteria {
			fields = append(fields, brief("c-"+c.ID, c.Sentence, "%", "How likely it is met, by the evidence. Empty means not known.", "/criteria/"+itoa(i)+"/probability", "/criteria/"+itoa(i)))
		}
	}
	return one(fields...)
}

func readCriteria(s *Server, t *typed, in benchInput) {
	r, ok := readRule(s, t, in, catalog.PublishedCriteria)
	if !ok {
		return
	}
	list := []any{}
	for i, c := range r.Criteria {
		row := map[string]any{"id": c.ID, "sentence": c.Sentence}
		if v, ok := t.amount("c-"+c.ID, "/criteria/"+itoa(i)+"/probability"); ok {
			row["probability"] = v / 100
		}
		list = append(list, row)
	}
	in["criteria"] = list
}

func pointsFields(s *Server, t *typed) []FormPart {
	fields := []Field{ruleField(s, catalog.PublishedPoints)}
	if r, ok := chosenRule(s, t, catalog.PublishedPoints); ok {
		for _, x := range r.Items {
			fields = append(fields, Field{Name: "p-" + x.ID, Label: upperFirst(x.Title) + ", " + numberWords(x.Points) + " points", Kind: "radios", Choices: []Choice{{"", "Not known", ""}, {"yes", "Kept", ""}, {"no", "Not kept", ""}}})
		}
	}
	return one(fields...)
}

func readPoints(s *Server, t *typed, in benchInput) {
	r, ok := readRule(s, t, in, catalog.PublishedPoints)
	if !ok {
		return
	}
	list := []any{}
	for _, x := range r.Items {
		row := map[string]any{"id": x.ID, "points": x.Points}
		if kept := t.text("p-" + x.ID); kept != "" {
			row["kept"] = kept == "yes"
		}
		list = append(list, row)
	}
	in["items"], in["least"], in["must"] = list, r.Least, append([]string{}, r.Must...)
}
