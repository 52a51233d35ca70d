package importers

import (
	"strings"

	"example.org/asfound/registry"
)

// surveyTable is the as-found survey: one row a component, and beside it, when
// the row tells of a joint, the joint.
func surveyTable() Table {
	return Table{Name: "survey", Title: "As-found survey", Record: "survey", Prefill: true, Columns: []Column{
		machineColumn(),
		componentColumn("/component"),
		nameColumn(),
		idColumn("sv-<component>"),
		example(termColumn("origin", "/origin", registry.Origins(), "where from", "provenance"), "original"),
		example(termColumn("finish", "/finish", registry.Finishes(), "surface", "finish state"), "worn"),
		example(termColumn("specification", "/specification", registry.Specifications(), "spec"), "to-catalogue"),
		{Heading: "condition", Also: []string{"state"}, Pointer: "/condition", Choices: []string{"0", "1", "2", "3", "4", "5"},
			Takes: "a whole number from 0 to 5 on the worded scale; empty when it was not judged", Example: "3"},
		example(termColumn("function", "/function", registry.Functions(), "works"), "not-tested"),
		example(termColumn("custody", "/custody", registry.Custodies(), "where is it"), "fitted"),
		{Heading: "signs", Also: []string{"sign seen", "signs seen"}, Pointer: "/signs",
			Takes: "the catalog's signs that were seen, with a space, ; or | between them; :0.8 behind one says how far it is to be trusted", Example: "tide-line:0.9"},
		{Heading: "read", Also: []string{"numbers and marks", "stamped"}, Pointer: "/read",
			Takes: "what stands on the part, exactly as read; kept out of public copies", Example: "12/56, the 6 may be an 8"},
		byColumn("looked"),
		{Heading: "second", Also: []string{"second person", "second by", "seconded by"}, Pointer: "/second", Says: true,
			Takes: "the id of a second person who judged on their own", Example: "per-second"},
		dateColumn("when it was so"),
		{Heading: "joint", Also: []string{"joint id"}, Pointer: "/joint", Record: "joint",
			Takes: "the short name of a joint of this component, when the row tells of one", Example: "tank-rear-bolt"},
		witnessColumn(false),
		{Heading: "sign of joint", Also: []string{"joint sign", "witness sign"}, Pointer: "/sign", Record: "joint",
			Takes: "what is seen at the joint, in words", Example: "dirt line unbroken"},
		{Heading: "joint with", Also: []string{"other side of joint"}, Pointer: "/components", Record: "joint", Seldom: true,
			Takes: "the other components that meet at the joint, with ; between them", Example: "frame.main"},
		photosColumn(),
		noteColumn(),
	},
		identify: func(l *line) []identity {
			c := l.position("component")
			return []identity{{c, "component", "two rows speak of one component, and two parts cannot take one position"},
				{l.recordKey(l.id("sv-", c)), "id", "two rows would become records of one id"}}
		},
		build: buildSurvey,
	}
}

func witnessColumn(need bool) Column {
	c := example(termColumn("witness", "/witness", registry.Witnesses(), "joint witness"), "undisturbed")
	c.Record, c.Needed = "joint", need
	return c
}

func buildSurvey(l *line) []registry.Body {
	s := &registry.Survey{Component: l.component("component")}
	s.ID = l.id("sv-", s.Component)
	s.Valid = l.date("date")
	s.Origin = l.term("origin", registry.Origins(), "undetermined")
	s.Finish = l.term("finish", registry.Finishes(), "undetermined")
	s.Specification = l.term("specification", registry.Specifications(), "undetermined")
	s.Condition = l.count("condition", 0, 5)
	s.Function = l.term("function", registry.Functions(), "")
	s.Custody = l.term("custody", registry.Custodies(), "")
	s.Signs = l.signs("signs")
	s.Read = registry.Private{Value: l.text("read")}
	s.By, s.Second = l.person("by"), l.text("second")
	s.Photos, s.Note = l.list("photos"), l.text("note")
	bodies := []registry.Body{s}
	if j := l.jointBeside(s); j != nil {
		bodies = append(bodies, j)
	}
	return bodies
}

// jointBeside makes the joint that a survey row tells of.
func (l *line) jointBeside(s *registry.Survey) *registry.Joint {
	name := l.text("joint")
	if name == "" {
		for _, heading := range []string{"witness", "sign of joint", "joint with"} {
			if l.text(heading) != "" {
				l.fault("joint", "a short name", "The row tells of a joint and does not name it", "Name the joint, such as tank-rear-bolt, or empty the column "+heading+".")
				break
			}
		}
		return nil
	}
	j := &registry.Joint{Joint: name, Components: append([]string{s.Component}, l.components("joint with", false)...)}
	j.ID = makeID("jt-", s.Component, name)
	j.Valid = s.Valid
	j.Witness = l.witness()
	j.Sign = l.text("sign of joint")
	j.By = s.By
	if s.Component == "" {
		return nil // the row has a fault already, and this one would repeat it
	}
	return j
}

func (l *line) witness() string {
	w := l.term("witness", registry.Witnesses(), "cannot-tell")
	if w == "" && l.text("witness") == "" {
		l.fault("witness", strings.Join(registry.TermIDs(registry.Witnesses()), ", "), "It is not said whether the joint has been apart", "Write cannot tell when there is no sign either way.")
	}
	return w
}

// signs reads signs of the catalog, each with a reliability behind a colon if
// the row gives one.
func (l *line) signs(heading string) []registry.SignSeen {
	text := l.text(heading)
	if text == "" || cannotTell(text) {
		return nil
	}
	var out []registry.SignSeen
	for _, piece := range l.signPieces(text) {
		name, trust, has := strings.Cut(piece, ":")
		seen := registry.SignSeen{Sign: l.sign(heading, name)}
		if has {
			v, err := parseNumber(strings.TrimSpace(trust), l.layout.decimal)
			if err != nil || v < 0 || v > 1 {
				l.fault(heading, "sign:0 to sign:1", "The reliability of "+quoted(name)+" is not a number from 0 to 1: "+quoted(trust), "Write "+foldTerm(name)+":0.8, or leave the number out.")
				continue
			}
			seen.Reliability = &v
		}
		if seen.Sign != "" {
			out = append(out, seen)
		}
	}
	return out
}

// signPieces cuts a cell of signs. A comma cuts unless figures stand on both
// sides of it, and a space unless the words together are a known sign.
func (l *line) signPieces(text string) []string {
	if strings.Contains(text, " :") || strings.Contains(text, ": ") || strings.Contains(text, "=") {
		text = aroundColon.ReplaceAllString(text, ":")
	}
	var out []string
	for _, piece := range split(text, ";|\r\n") {
		for _, part := range splitCommas(piece) {
			name, _, _ := strings.Cut(part, ":")
			if _, _, ok := l.o.Anatomy.sign(name); ok {
				out = append(out, part)
			} else {
				out = append(out, strings.Fields(part)...)
			}
		}
	}
	return out
}

func splitCommas(s string) []string {
	var out []string
	start := 0
	figure := func(i int) bool { return i >= 0 && i < len(s) && s[i] >= '0' && s[i] <= '9' }
	for i := range len(s) {
		if s[i] == ',' && !(figure(i-1) && figure(i+1)) {
			out = append(out, s[start:i])
			start = i + 1
		}
	}
	return split(strings.Join(append(out, s[start:]), "\n"), "\n")
}

// sign finds a sign of the catalog.
func (l *line) sign(heading, text string) string {
	id, _, ok := l.o.Anatomy.sign(text)
	if !ok {
		l.fault(heading, "a sign of the catalog", "There is no such sign: "+quoted(text), didYouMean(foldTerm(text), l.o.Anatomy.signIDs, "Look it up in the list of signs, or say it in the note."))
		return ""
	}
	return id
}

// position is a component across machines, by id when it is known and by its
// spelling when it is not; "" when the row names none.
func (l *line) position(heading string) string {
	text := l.text(heading)
	if text == "" {
		return ""
	}
	if ids := l.o.Anatomy.find(text); len(ids) == 1 {
		return ids[0]
	}
	return foldName(text)
}

// recordKey is a record's id across machines.
func (l *line) recordKey(id string) string { return "id\x00" + id }
