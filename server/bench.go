package server

import (
	"encoding/json"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// benchKind is one page of the bench: what it asks and how that becomes the
// input of a method.
type benchKind struct {
	id, title, lead, group string
	method                 string
	// private questions hold whole numbers and are posted, so that these do not
	// stand in an address.
	private bool
	fields  func(s *Server, t *typed) []FormPart
	read    func(s *Server, t *typed, in benchInput)
}

// benchInput is the input of a method as it grows.
type benchInput map[string]any

// benchKinds lists the pages of the bench in the order of the index.
var benchKinds = append([]benchKind{
	{"thread", "Which thread is it?", "From the outside diameter, the pitch and, if it was gauged, the angle.", "On the bench", scoring.MethodThread, false, threadFields, readThread},
	{"stamp", "Is the date stamp right for the machine?", "From the stamp as it was read and the month in which the machine was built.", "On the bench", scoring.MethodStamp, false, stampFields, readStamp},
	{"tyre", "When was the tyre made?", "From the last three or four figures on its wall.", "On the bench", scoring.MethodTyre, false, tyreFields, readTyre},
	{"film", "Was it painted again?", "By comparing the film with a sheltered place of the same machine. No thickness by itself says original or repainted.", "Surface", scoring.MethodFilm, false, filmFields, readFilm},
	{"colour", "How has the colour changed?", "By comparing L, a and b with a sheltered place. Equal differences may mean opposite things, so the direction is given too.", "Surface", scoring.MethodColour, false, colourFields, readColour},
	{"number", "Do the numbers bear each other out?", "Look by raking light, and do not polish. A doubtful figure stands in brackets, such as 6[38]49, and one that cannot be read is a question mark.", "Numbers", scoring.MethodIdentity, true, numberFields, readNumber},
	{"vin", "What does a number of seventeen characters say?", "Its check digit and the years that it may mean. For numbers from before 1980 ask about frame and engine instead.", "Numbers", scoring.MethodVIN, true, vinFields, readVIN},
	{"serial", "When was this number built?", "Between two numbers of the same run that are dated. Beyond them nothing is said.", "Numbers", scoring.MethodSerial, true, serialFields, readSerial},
	{"survivors", "How many are left, and how many were built?", "From two lists that do not feed each other, or from the numbers of survivors of one unbroken run.", "Numbers", scoring.MethodSurvivors, true, survivorsFields, readSurvivors},
	{"capacity", "How large is the engine?", "From bore and stroke.", "Geometry", scoring.MethodCapacity, false, capacityFields, readCapacity},
	{"piston", "Where does the piston stand?", "From stroke, rod and either the angle of the crank or the drop below top dead centre.", "Geometry", scoring.MethodPiston, false, pistonFields, readPiston},
	{"gearing", "How is it geared?", "From the teeth, the ratios of the gearbox and the tyre.", "Geometry", scoring.MethodGearing, false, gearingFields, readGearing},
	{"torque", "What may a fastener bear?", "A ceiling and what a torque would do, never a torque to tighten to: that is the maker’s to say.", "Geometry", scoring.MethodTorque, false, torqueFields, readTorque},
	{"criteria", "Which criteria of a published class does the evidence support?", "Only the body that publishes a rule awards it.", "Published rules", scoring.MethodCriteria, false, criteriaFields, readCriteria},
	{"points", "Do the points of what is kept reach what a rule asks for?", "Only the body that publishes a rule awards it.", "Published rules", scoring.MethodPoints, false, pointsFields, readPoints},
}, rulesKinds...)

func benchKindOf(id string) (benchKind, error) {
	for _, k := range benchKinds {
		if k.id == id {
			return k, nil
		}
	}
	return benchKind{}, registry.Refuse(registry.CodeNotFound, "Choose one from the bench.", "The bench has no page %s", quoted(id))
}

// amount reads a number or a fraction such as 1 1/8; ok is false when nothing
// was typed or it cannot be read, which is then a fault.
func (t *typed) amount(name, pointer string) (float64, bool) {
	given := t.text(name)
	if given == "" {
		return 0, false
	}
	v, err := t.fraction(given)
	if err != nil {
		t.noFigure(pointer, given, "Write it such as 6.27 or 1/4.", err)
		return 0, false
	}
	return v, true
}

// fraction reads 6.27, 6,27, 1/4, 1 1/8 or 1-1/8.
func (t *typed) fraction(s string) (float64, error) {
	above, below, is := strings.Cut(s, "/")
	if !is {
		return t.figure(s)
	}
	whole := 0.0
	if i := strings.LastIndexAny(strings.TrimSpace(above), " -"); i > 0 {
		n, err := strconv.ParseUint(strings.TrimSpace(above[:i]), 10, 32)
		if err != nil {
			return 0, err
		}
		whole, above = float64(n), above[i+1:]
	}
	a, err := strconv.ParseUint(strings.TrimSpace(above), 10, 32)
	if err != nil {
		return 0, err
	}
	b, err := strconv.ParseUint(strings.TrimSpace(below), 10, 32)
	if err != nil || b == 0 {
		return 0, strconv.ErrSyntax
	}
	return whole + float64(a)/float64(b), nil
}

// number puts a typed number into the input; an empty one stays out.
func (in benchInput) number(t *typed, name, key string) {
	if v, ok := t.amount(name, "/"+key); ok {
		in[key] = v
	}
}

// measured puts a number with its unit into the input: the key is that of the
// unit chosen.
func (in benchInput) measured(t *typed, name, pointer string, keys map[string]string) {
	v, ok := t.amount(name, pointer)
	if !ok {
		return
	}
	key, known := keys[t.text(name+"_unit")]
	if !known {
		t.fault(pointer, t.text(name+"_unit"), "The unit is missing", "Choose one: nothing is guessed.")
		return
	}
	in[key] = v
}

// numbers reads figures that stand apart by spaces, semicolons or lines.
func (t *typed) numbers(name, pointer string) []float64 {
	out := []float64{}
	for i, s := range strings.FieldsFunc(t.text(name), func(r rune) bool { return r == ' ' || r == ';' || r == '\n' || r == '\t' }) {
		v, err := t.fraction(s)
		if err != nil {
			t.noFigure(pointer, s, "Write numbers with a point, apart by spaces; it is the "+itoa(i+1)+". of the list.", err)
			continue
		}
		out = append(out, v)
	}
	return out
}

// rows reads lines of so many figures, after a name where named is set.
func (t *typed) rows(name, pointer string, figures int, named bool) (names []string, out [][]float64) {
	what := ""
	if named {
		what = "a name and "
	}
	for i, line := range t.lines(name) {
		parts := strings.Fields(strings.ReplaceAll(line, ";", " "))
		first := ""
		if cut := len(parts) - figures; named && cut > 0 {
			first, parts = strings.Join(parts[:cut], " "), parts[cut:]
		}
		row := make([]float64, len(parts))
		bad := len(parts) != figures || named && first == ""
		for j, p := range parts {
			v, err := t.fraction(p)
			row[j], bad = v, bad || err != nil
		}
		if bad {
			t.fault(pointer, line, "Line "+itoa(i+1)+" cannot be read", "Write "+what+itoa(figures)+" numbers on each line, apart by spaces.")
			continue
		}
		names, out = append(names, first), append(out, row)
	}
	return names, out
}

// json is the input as text.
func (in benchInput) json() string {
	raw, err := json.Marshal(in)
	if err != nil {
		return "{}" // numbers that are none were refused where they were read
	}
	return string(raw)
}
