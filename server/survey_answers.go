package server

import (
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// cannotTell is an answer of its own: somebody looked.
const cannotTell = "cannot-tell"

// SurveyForm asks about one component. Its fields are shown one by one, each
// where the hand expects it.
type SurveyForm struct {
	There, Condition, Function, Finish Field
	Origin, Specification, Read, Note  Field
	By, Camera, Pictures, Withhold     Field
	Joints                             []JointForm
	Key, Seen                          string
	Errors                             []FormError // without a field of their own
}

// JointForm asks about one joint of the component.
type JointForm struct {
	Joint, Seen   string // its name, which its fields bear, and the record that was seen
	Witness, Sign Field
}

// fields lists every field in the order in which it is asked.
func (f *SurveyForm) fields() []*Field {
	list := []*Field{&f.Camera, &f.Pictures, &f.Withhold, &f.There, &f.Condition, &f.Function, &f.Finish}
	for i := range f.Joints {
		list = append(list, &f.Joints[i].Witness, &f.Joints[i].Sign)
	}
	return append(list, &f.Read, &f.Note, &f.Origin, &f.Specification, &f.By)
}

// Summary lists every error in order.
func (f *SurveyForm) Summary() []FormError {
	form := Form{Errors: f.Errors, Parts: []FormPart{{}}}
	for _, field := range f.fields() {
		form.Parts[0].Fields = append(form.Parts[0].Fields, *field)
	}
	return form.Summary()
}

// pictureTypes are named one by one, so that a phone hands over a picture that
// can be read.
const pictureTypes = "image/jpeg,image/png,image/webp"

// surveyForm asks about a component, with nothing filled in.
func surveyForm(report *workshop.Report, c catalog.Component, conditions []catalog.Condition, joints []string) *SurveyForm {
	f := &SurveyForm{Key: newKey(),
		There: Field{Name: "there", Label: "Is it there?", Kind: "radios", Pointers: []string{"/there", "/component"}, Choices: []Choice{
			{"there", "There", ""}, {"missing", "Missing", ""}, {cannotTell, "Cannot tell", ""}}},
		Condition: Field{Name: "condition", Label: "Condition", Kind: "radios", Hint: "Of the part as an object. A rusty part may still be the first one.", Pointers: []string{"/condition"}},
		Function:  Field{Name: "function", Label: "Does it do its job?", Kind: "radios", Hint: "Only as far as it can be told without running, opening or forcing anything.", Pointers: []string{"/function"}},
		Finish: Field{Name: "finish", Label: "What surface does it wear?", Kind: "select", Choices: told(registry.Finishes()),
			Pointers: []string{"/finish"}},
		Origin: Field{Name: "origin", Label: "Where does it seem to come from?", Kind: "select", Hint: "Only if you can say. Proof is recorded apart, as evidence.",
			Choices: told(registry.Origins(), "missing"), Pointers: []string{"/origin"}},
		Specification: Field{Name: "specification", Label: "Is it as the maker's catalogue says?", Kind: "select", Choices: told(registry.Specifications()), Pointers: []string{"/specification"}},
		Read: Field{Name: "read", Label: "What stands on it", Kind: "text", Hint: markingHint(c.Marking) + " Write it exactly as it stands, and say which characters are doubtful. It is kept out of public copies.",
			Pointers: []string{"/read"}},
		Note:   Field{Name: "note", Label: "Notes", Kind: "area", Pointers: []string{"/note"}},
		By:     byField(report, "Who looks"),
		Camera: Field{Name: "camera", Label: "Take a picture", Kind: "file", Accept: "image/*", Pointers: []string{"/camera"}},
		Pictures: Field{Name: "pictures", Label: "Or choose pictures", Kind: "file", Accept: pictureTypes, Multiple: true, Pointers: []string{"/pictures"},
			Hint: "JPEG, PNG or WebP, up to " + bytesWords(workshop.MaxPhotoBytes) + " each."},
	}
	if !withholds(c) {
		f.Withhold = Field{Name: "withhold", Label: "Public copies", Kind: "checks", Choices: []Choice{{"yes", "Keep these pictures out of public copies", "For numbers, papers and people."}}}
	}
	for _, step := range conditions {
		f.Condition.Choices = append(f.Condition.Choices, Choice{strconv.Itoa(step.Step), strconv.Itoa(step.Step) + " – " + step.Title, step.Sentence})
	}
	f.Condition.Choices = append(f.Condition.Choices, Choice{cannotTell, "Cannot tell", ""})
	for _, t := range registry.Functions() {
		label := upperFirst(plainWords(t.ID))
		if t.ID == "not-tested" {
			label = "Not tested, or cannot tell"
		}
		f.Function.Choices = append(f.Function.Choices, Choice{t.ID, label, t.Meaning})
	}
	for _, name := range joints {
		f.Joints = append(f.Joints, JointForm{Joint: name,
			Witness: Field{Name: "witness-" + name, Label: upperFirst(plainWords(name)) + ": has it been apart?", Kind: "radios", Choices: choices(registry.Witnesses()), Pointers: []string{"/witness-" + name}},
			Sign:    Field{Name: "sign-" + name, Label: "By what sign", Kind: "text", Hint: "Paint bridge, dirt line, folded tab, shine in a screw slot.", Pointers: []string{"/sign-" + name}}})
	}
	return f
}

// told offers the words of the vocabulary in lists, "undetermined" as what it is.
func told(terms []registry.Term, without ...string) []Choice {
	var out []Choice
	for _, t := range terms {
		switch {
		case contains(without, t.ID):
		case t.ID == "undetermined":
			out = append(out, Choice{t.ID, "Cannot tell", ""})
		default:
			out = append(out, Choice{t.ID, upperFirst(plainWords(t.ID)) + " – " + t.Meaning, ""})
		}
	}
	return out
}

// markingHint says what the works usually put on a part.
func markingHint(marking string) string {
	switch marking {
	case "number":
		return "The works put a number on it. Look in raking light; do not rub, scrape or chalk it first."
	case "date":
		return "It usually carries a date. Look for a stamp, a transfer or figures in the moulding."
	case "part":
		return "It often carries a part number or a maker's mark."
	case "cast":
		return "Look for figures and marks in the casting."
	}
	return "Usually nothing; look all the same."
}

// withholds says whether pictures of a component are kept out of public copies
// without asking: a whole number may be read from them.
func withholds(c catalog.Component) bool { return c.Marking == "number" || c.Station == "papers" }

// record fills the form with what stands on record.
func (f *SurveyForm) record(s *registry.Survey, reader workshop.Reader) {
	f.Seen, f.There.Value = s.ID, thereOf(s)
	if f.There.Value == "there" {
		f.Origin.Value = s.Origin
	}
	if s.Condition != nil {
		f.Condition.Value = strconv.Itoa(*s.Condition)
	}
	f.Function.Value, f.Finish.Value, f.Specification.Value = s.Function, s.Finish, s.Specification
	f.Read.Value, f.Note.Value = s.Read.Value, reader.Text(s.Note)
}

// thereOf reads from an entry whether the part is there. An origin that cannot
// be told says that even this cannot be, unless something else was seen of it.
func thereOf(s *registry.Survey) string {
	switch {
	case s.Origin == "missing":
		return "missing"
	case s.Origin == "undetermined" && s.Condition == nil && (s.Finish == "" || s.Finish == "undetermined") && (s.Function == "" || s.Function == "not-tested"):
		return cannotTell
	}
	return "there"
}

// typed fills the form with what was sent.
func (f *SurveyForm) typed(t *typed) {
	for _, field := range f.fields() {
		if field.Kind == "file" {
			continue // a browser sends files once, and never gets them back
		}
		field.Values, field.Value = t.Values[field.Name], t.text(field.Name)
	}
	if key := t.text("key"); key != "" {
		f.Key = key
	}
	f.Seen = t.text("seen")
	for i := range f.Joints {
		f.Joints[i].Seen = t.text("seen-" + f.Joints[i].Joint)
	}
}

// complete fills questions that were left open with what stands on record, and
// keeps the note of the record before one's own: sending the form then takes
// nothing away that it does not answer.
func (f *SurveyForm) complete(on *SurveyForm) {
	for i, field := range f.fields() {
		if from := on.fields()[i]; field.Value == "" && field.Kind != "file" && field.Kind != "checks" {
			field.Value = from.Value
		}
	}
	if note := on.Note.Value; note != "" && !strings.Contains(f.Note.Value, note) {
		f.Note.Value = note + "\n" + f.Note.Value
	}
}

// refuse puts an error into the form: beside its field where it names one.
func (f *SurveyForm) refuse(err error) {
	form := Form{Parts: []FormPart{{}}}
	for _, field := range f.fields() {
		form.Parts[0].Fields = append(form.Parts[0].Fields, *field)
	}
	form.refuse(err)
	for i, field := range f.fields() {
		*field = form.Parts[0].Fields[i]
	}
	f.Errors = append(f.Errors, form.Errors...)
}

// answers reads what the form says of the component; nil when it says nothing
// of it, as when only a picture was taken.
func (f *SurveyForm) answers(t *typed, component string) *registry.Survey {
	there := t.text("there")
	if there == "" && !f.said(t) {
		return nil
	}
	s := &registry.Survey{Common: registry.Common{Supersedes: f.Seen, Note: t.text("note")}, Component: component, Function: t.text("function"),
		Finish: t.text("finish"), Specification: t.text("specification"), Read: registry.Private{Value: t.text("read")}, By: t.text("by")}
	if given := t.text("condition"); given != "" && given != cannotTell {
		n, err := strconv.Atoi(given)
		if err != nil {
			t.fault("/condition", given, "This is no step of the scale", "Choose one of the steps, or Cannot tell.")
		}
		s.Condition = &n
	}
	switch there {
	case "there":
		s.Origin = t.text("origin")
	case "missing":
		s.Origin = "missing"
		if s.Condition != nil && *s.Condition > 0 || s.Function != "" && s.Function != "not-tested" || s.Finish != "" && s.Finish != "undetermined" {
			t.fault("/there", "", "You say that it is missing, and also what it looks like or does", "Choose There, or choose Cannot tell in the questions below.")
		}
	case cannotTell:
		s.Origin = "undetermined"
	case "":
		t.fault("/there", "", "It is not said whether the part is there", "Choose There, Missing or Cannot tell.")
	default:
		t.fault("/there", there, "This is none of the answers", "Choose There, Missing or Cannot tell.")
	}
	return s
}

// said says whether anything was answered besides whether the part is there.
func (f *SurveyForm) said(t *typed) bool {
	names := []string{"condition", "function", "finish", "origin", "specification", "read", "note"}
	for _, j := range f.Joints {
		names = append(names, j.Witness.Name, j.Sign.Name)
	}
	return slices.ContainsFunc(names, func(n string) bool { return t.text(n) != "" })
}

// joints reads what the form says of the joints. One without an answer is left
// for later.
func (f *SurveyForm) joints(t *typed, component string, meetAt func(joint string) []string) []*registry.Joint {
	var out []*registry.Joint
	for _, j := range f.Joints {
		witness, sign := t.text(j.Witness.Name), t.text(j.Sign.Name)
		switch {
		case witness == "" && sign == "":
			continue
		case witness == "":
			t.fault("/witness-"+j.Joint, "", "A sign is given, and not what it tells", "Choose whether the joint has been apart.")
			continue
		case sign == "" && witness == cannotTell:
			sign = "no sign either way"
		case sign == "":
			t.fault("/sign-"+j.Joint, "", "It is not said by what sign", "Write what is seen: paint bridge, dirt line, slot shine.")
			continue
		}
		components := meetAt(j.Joint)
		if !contains(components, component) {
			components = append(components, component)
		}
		out = append(out, &registry.Joint{Common: registry.Common{Supersedes: j.Seen}, Joint: j.Joint, Components: components, Witness: witness, Sign: sign, By: t.text("by")})
	}
	return out
}

// Answer is one question with what was said to it.
type Answer struct{ Asks, Says string }

// answersOf puts an entry into words, question by question.
func answersOf(s *registry.Survey, conditions []catalog.Condition, note string) []Answer {
	var out []Answer
	say := func(asks, says string) {
		if says != "" {
			out = append(out, Answer{asks, says})
		}
	}
	word := func(w string) string {
		if w == "undetermined" {
			w = cannotTell
		}
		return plainWords(w)
	}
	say("Is it there", word(thereOf(s)))
	if s.Condition != nil && *s.Condition >= 0 && *s.Condition < len(conditions) {
		say("Condition", strconv.Itoa(*s.Condition)+" of 5: "+conditions[*s.Condition].Title)
	}
	say("Function", word(s.Function))
	say("Surface", word(s.Finish))
	if thereOf(s) == "there" {
		say("Where from", word(s.Origin))
	}
	say("As the catalogue says", word(s.Specification))
	say("Stands on it", s.Read.Value)
	say("Notes", note)
	return out
}

// Difference is one question that two people answered in two ways; "" is no
// answer.
type Difference struct{ Asks, OnRecord, Yours string }

func differences(on, yours []Answer) []Difference {
	var out []Difference
	says := func(list []Answer, asks string) string {
		for _, a := range list {
			if a.Asks == asks {
				return a.Says
			}
		}
		return ""
	}
	var asks []string
	for _, a := range append(slices.Clone(on), yours...) {
		if !contains(asks, a.Asks) {
			asks = append(asks, a.Asks)
		}
	}
	for _, q := range asks {
		if a, b := says(on, q), says(yours, q); a != b {
			out = append(out, Difference{q, a, b})
		}
	}
	return out
}
