package schema

import (
	"fmt"
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// wording says in words what a definition of common.v1.schema.json allows.
type wording struct {
	allowed string
	fault   string // goes on after the subject: "The date …"
	fix     string
}

// wordings has a row for every definition that is told by a pattern, so that
// nobody is shown one.
var wordings = map[string]wording{
	"id": {"1 to 64 of a–z, 0–9, '-', '.', '_', beginning with a letter or digit, no '..'",
		"cannot be used as an identifier", "Choose a short name in small letters, such as drover-1957."},
	"eventID": {"1 to 64 letters, digits, '-', '.', '_', beginning with a letter or digit",
		"cannot be used as an event's identifier", "Take it from the event."},
	"date": {"a date: 1957, 1957-06, 1957-06-14, 195X, 1957~, 1988/.., 1957-06/1957-09",
		"cannot be read as a date", "Write only as much as is known, the year first."},
	"timestamp": {"a date with time and zone, such as 2026-03-11T09:30:00Z",
		"is not a moment", "Write the date, T, the time and Z or the offset from UTC."},
	"utcTimestamp": {"a date with time in UTC, such as 2026-03-11T09:30:00Z",
		"is not a moment in UTC", "Write the date, T, the time and Z."},
	"digest": {"sha256: and 64 hex figures in small letters",
		"is not a digest", "Copy it whole from where it was shown."},
	"hex64":    {"64 hex figures in small letters", "is not a hash", "Copy it whole."},
	"leafHash": {"64 hex figures in small letters, or nothing for the first event", "is not a leaf hash", "Copy it whole."},
	"line":     {"1 to 500 characters of text", "is empty", "Write it as a text."},
	"text":     {"1 to 20,000 characters of text", "is empty", "Write it as a text."},
	"name":     {"1 to 200 characters", "is empty", "Give a short one."},
	"mediaType": {"a media type, such as image/jpeg",
		"is not a media type", "Write the type, a slash and the subtype in small letters."},
	"amount": {"0 or more, with a point and at most 4 decimals, such as \"110.50\"",
		"is not an amount of money", "Write it with a point and no spaces, such as 110.50."},
	"positiveAmount": {"more than 0, with a point and at most 4 decimals, such as \"110.50\"",
		"is not an amount of money above 0", "Write it with a point and no spaces, such as 110.50."},
	"bytes": {allowed: "base64url without padding", fault: "is not the bytes of a passkey", fix: "Let the program read them from the device."},
	"currency": {"three capital letters of ISO 4217, such as GBP",
		"is not a currency", "Write its three letters."},
	"money": {"an amount with its currency, such as {\"amount\": \"110.50\", \"currency\": \"GBP\"}",
		"is not an amount of money", "Give the amount and the currency apart."},
	"private": {"1 to 5,000 characters of text, or {\"withheld\": digest}",
		"is empty", "Write it as a text."},
}

// told says what is wrong with a value of a shared definition.
func (w wording) told(who, title string) string {
	if strings.Contains(w.fault, " "+title) {
		return who + " cannot be used" // "The date cannot be read as a date" says nothing twice
	}
	return who + " " + w.fault
}

// because puts a reason behind a message.
func because(message, reason string) string {
	if reason == "" {
		return message
	}
	return message + ": " + strings.ToLower(reason[:1]) + reason[1:]
}

// quoteShort quotes what was found, cut to 60 characters.
func quoteShort(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return strconv.Quote(s)
}

// shown is a value as a refusal shows it: never a whole body.
func shown(value any) string {
	switch v := value.(type) {
	case nil:
		return "null"
	case string:
		return quoteShort(v)
	case []any:
		return fmt.Sprintf("a list of %d", len(v))
	case map[string]any:
		return "an object"
	}
	s := fmt.Sprint(value)
	if len(s) > 60 {
		s = s[:60] + "…"
	}
	return s
}

// kindOf names the kind of a value.
func kindOf(value any) string {
	switch value.(type) {
	case nil:
		return "nothing (null)"
	case string:
		return "a text"
	case bool:
		return "true or false"
	case []any:
		return "a list"
	case map[string]any:
		return "an object"
	}
	return "a number"
}

var typeNames = map[string]string{
	"string": "a text", "number": "a number", "integer": "a whole number", "boolean": "true or false",
	"array": "a list", "object": "an object", "null": "null",
}

// typesOf lists what the "type" of a schema names.
func typesOf(node map[string]any) []string {
	switch t := node["type"].(type) {
	case string:
		return []string{t}
	case []any:
		return texts(t)
	}
	return nil
}

func typesInWords(node map[string]any) string {
	var names []string
	for _, t := range typesOf(node) {
		names = append(names, typeNames[t])
	}
	return strings.Join(names, " or ")
}

// endless bounds what has no bound of its own, such as hours; it is told only
// to who goes beyond it.
const endless = "1000000000000"

// rangeInWords says what the bounds of a number allow, with its unit.
func rangeInWords(node map[string]any, unit string) string {
	low, above := textOf(node, "minimum"), textOf(node, "exclusiveMinimum")
	high, below := textOf(node, "maximum"), textOf(node, "exclusiveMaximum")
	if below == endless {
		below = ""
	}
	words := "any number"
	switch {
	case low != "" && high != "":
		words = grouped(low) + " to " + grouped(high)
	case low != "" && below != "":
		words = grouped(low) + " to below " + grouped(below)
	case low != "":
		words = grouped(low) + " or more"
	case above != "" && high != "":
		words = "above " + grouped(above) + ", up to " + grouped(high)
	case above != "":
		words = "above " + grouped(above)
	case high != "":
		words = "at most " + grouped(high)
	case below != "":
		words = "below " + grouped(below)
	}
	return withUnit(words, unit)
}

func withUnit(words, unit string) string {
	switch {
	case unit == "" || unit == "1":
		return words
	case strings.HasPrefix(unit, "the "):
		return words + ", in " + unit
	}
	return words + " " + unit
}

// grouped writes a number with a comma between thousands.
func grouped(number string) string {
	if strings.ContainsAny(number, "eE") {
		return number
	}
	whole, rest, hasRest := strings.Cut(number, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if hasRest {
		whole += "." + rest
	}
	return sign + whole
}

// textOf gives a string or number of a schema as text, "" when there is none.
func textOf(node map[string]any, key string) string {
	switch v := node[key].(type) {
	case string:
		return v
	case fmt.Stringer: // json.Number
		return v.String()
	}
	return ""
}

func texts(list []any) []string {
	var out []string
	for _, v := range list {
		if s, ok := v.(string); ok {
			out = append(out, s)
		}
	}
	return out
}

// suggestID turns what was found into an identifier, "" when it is none then.
func suggestID(found string) string {
	id := plain(found)
	if id == found || registry.CheckID("", id) != nil {
		return ""
	}
	return id
}
