package server

import (
	"crypto/rand"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// Form is a form as it is shown: what it asks, what was typed, and what is
// wrong with it.
type Form struct {
	Action string
	Button string
	Kind   string // "multipart" for files
	Intro  string
	Parts  []FormPart
	// Errors are those without a field of their own.
	Errors []FormError
	// Key makes sending it twice harmless; Version is what the person saw.
	Key     string
	Version string
	Hidden  []Hidden
	// Keep names the form to the script that keeps it on the phone while there is
	// no signal, "" for one that is only sent at once. Thing is what the form is
	// about: what waits behind a refused form about the same thing waits too.
	Keep, Thing string
	// Page is where the form is opened, when that is not where it was shown.
	Page string
	// Cautions belong to the step that the form records.
	Cautions []workshop.CautionReport
}

// Hidden is a value that travels with the form unseen.
type Hidden struct{ Name, Value string }

// FormPart is a part of a form under its own heading.
type FormPart struct {
	Title  string
	Hint   string
	Fields []Field
}

// Field is one question of a form.
type Field struct {
	Name, Label, Hint string
	// Kind is text, short, password, area, code, select, radios, checks, date or file.
	Kind    string
	Value   string
	Values  []string // of checks
	Choices []Choice
	Error   string
	// Pointers are the places of the record that the field fills; a fault at or
	// below one of them is shown beside it.
	Pointers []string
	Unit     string
	List     string // id of a datalist
	Accept   string
	Multiple bool
	// Of tells fields of one name apart in their ids.
	Of string
	// Auto is what a browser or a password manager may fill in.
	Auto string
}

// Choice is one answer to choose.
type Choice struct{ Value, Label, Hint string }

// FormError is one line of the summary; Field is the id that it leads to.
type FormError struct{ Field, Text string }

// ID is the field's id in the page.
func (f Field) ID() string {
	if f.Of != "" {
		return "f-" + f.Name + "-" + f.Of
	}
	return "f-" + f.Name
}

// Chosen says whether a choice is chosen.
func (f Field) Chosen(value string) bool {
	if f.Kind == "checks" {
		for _, v := range f.Values {
			if v == value {
				return true
			}
		}
		return false
	}
	return f.Value == value
}

// First is the id of the field's first control, where its error leads.
func (f Field) First() string {
	if (f.Kind == "radios" || f.Kind == "checks") && len(f.Choices) > 0 {
		return f.ID() + "-0"
	}
	return f.ID()
}

// Summary lists every error of the form in order.
func (f Form) Summary() []FormError {
	out := append([]FormError{}, f.Errors...)
	for _, p := range f.Parts {
		for _, field := range p.Fields {
			if field.Error != "" {
				out = append(out, FormError{field.First(), field.Error})
			}
		}
	}
	return out
}

// newKey makes the hidden key of a fresh form.
func newKey() string { return rand.Text() }

// fill puts typed values into the form.
func (f *Form) fill(values url.Values) {
	for i := range f.Parts {
		for j := range f.Parts[i].Fields {
			field := &f.Parts[i].Fields[j]
			if field.Kind == "password" {
				continue // typed again, and never sent back
			}
			if given, ok := values[field.Name]; ok || field.Kind == "checks" {
				field.Values = given
				field.Value = ""
				if len(given) > 0 {
					field.Value = given[0]
				}
			}
		}
	}
	if key := values.Get("key"); key != "" {
		f.Key = key
	}
}

// refuse puts an error into the form: beside its fields where it names any.
func (f *Form) refuse(err error) {
	var e *registry.Error
	if !errors.As(err, &e) {
		return
	}
	if len(e.Fields) == 0 {
		f.Errors = append(f.Errors, FormError{"", sentence(e.Message, e.Fix)})
		return
	}
	for _, fault := range e.Fields {
		text := sentence(fault.Message, fault.Fix)
		if fault.Found != "" && fault.Found != `""` {
			text = sentence(fault.Message+" (found "+fault.Found+")", fault.Fix)
		}
		if field := f.at(fault.Pointer); field != nil {
			if field.Error == "" {
				field.Error = text
			}
			continue
		}
		if fault.Pointer != "" {
			text = fault.Pointer + ": " + text
		}
		f.Errors = append(f.Errors, FormError{"", text})
	}
}

func (f *Form) at(pointer string) *Field {
	for i := range f.Parts {
		for j := range f.Parts[i].Fields {
			for _, p := range f.Parts[i].Fields[j].Pointers {
				if pointer == p || strings.HasPrefix(pointer, p+"/") {
					return &f.Parts[i].Fields[j]
				}
			}
		}
	}
	return nil
}

// sentence joins what happened and what to do.
func sentence(message, fix string) string {
	message = strings.TrimSuffix(message, ".")
	if fix == "" {
		return message + "."
	}
	return message + ". " + fix
}

// typed reads the fields of a posted form.
type typed struct {
	url.Values
	comma  bool // decimalComma of the request
	faults []registry.Field
}

// maxFormFields is how many fields a form may send.
const maxFormFields = 2000

func readForm(r *http.Request) (*typed, error) {
	if err := r.ParseForm(); err != nil {
		return nil, readFailed(err)
	}
	if len(r.PostForm) > maxFormFields {
		return nil, registry.Refuse(registry.CodeTooLarge, "", "The form has more than %d fields", maxFormFields)
	}
	return &typed{Values: r.PostForm, comma: decimalComma(r)}, nil
}

// text gives a value without space around it; line ends are made one.
func (t *typed) text(name string) string {
	return strings.TrimSpace(strings.ReplaceAll(t.Get(name), "\r\n", "\n"))
}

// lines gives the non-empty lines of a value.
func (t *typed) lines(name string) []string {
	var out []string
	for _, line := range strings.Split(t.text(name), "\n") {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// list gives the values of checks.
func (t *typed) list(name string) []string {
	var out []string
	for _, v := range t.Values[name] {
		if v != "" {
			out = append(out, v)
		}
	}
	return out
}

func (t *typed) fault(pointer, found, message, fix string) {
	f := registry.Field{Pointer: pointer, Message: message, Fix: fix}
	if found != "" {
		f.Found = quoted(found)
	}
	t.faults = append(t.faults, f)
}

// number reads a number; empty is 0.
func (t *typed) number(name, pointer, unit string) float64 {
	given := t.text(name)
	if given == "" {
		return 0
	}
	v, err := t.figure(given)
	if err != nil {
		t.noFigure(pointer, given, "Write it in "+unit+", such as 1.5.", err)
	}
	return v
}

// given is number where a number must be given.
func (t *typed) given(name, pointer, unit string) float64 {
	if t.text(name) == "" {
		t.fault(pointer, "", "There is no number here", "Write one, in "+unit+".")
		return 0
	}
	return t.number(name, pointer, unit)
}

// money reads an amount and its currency from two fields; empty is none.
func (t *typed) money(name, pointer string) registry.Money {
	amount, currency := t.text(name), strings.ToUpper(t.text(name+"_currency"))
	if amount == "" {
		return registry.Money{}
	}
	plain, err := pointed(amount, t.comma)
	var m registry.Money
	if err == nil {
		m, err = registry.ParseMoney(plain, currency)
	}
	var two twoReadings
	if errors.As(err, &two) {
		t.fault(pointer, amount, two.Error(), two.fix())
	} else if err != nil {
		t.fault(pointer, amount, "This is not an amount of money", "Write it such as 110.50.")
	} else if currency == "" {
		t.fault(pointer, amount, "The amount has no currency", "Write three letters, such as GBP.")
	}
	return m
}

// seen is the version that the person saw when the form was opened.
func (t *typed) seen() *uint64 {
	v, err := strconv.ParseUint(t.Get("version"), 10, 64)
	if err != nil {
		return nil
	}
	return &v
}

// err gives what was wrong with the typed values themselves.
func (t *typed) err() error {
	if len(t.faults) == 0 {
		return nil
	}
	return &registry.Error{Code: registry.CodeInvalid, Message: "Some fields cannot be read", Fields: t.faults}
}

// mendable says whether an error is shown in the form rather than on a page of
// its own.
func mendable(err error) bool {
	switch codeOf(err) {
	case registry.CodeInvalid, registry.CodeConflict, registry.CodeRefused, registry.CodeNotApproved, registry.CodeInsufficient, codeMalformed, registry.CodeUnsupported:
		return true
	}
	return false
}

func quoted(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return "“" + s + "”"
}

func itoa[T ~int | ~int64 | ~uint64](v T) string { return strconv.FormatInt(int64(v), 10) }
