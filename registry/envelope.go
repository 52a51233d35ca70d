package registry

import (
	"bytes"
	"strconv"
)

// quickEnvelope reads an event that is written as Extend writes it: canonical
// JSON, so that the keys come in one order, with plain texts. It gives false for
// anything else, which DecodeEvent then judges, and whenever it is in doubt. The
// body is cut out and not read: whoever asks must decode it, and ask DecodeEvent
// when that fails. It saves half of the time that reading a history takes.
func quickEnvelope(data []byte) (e Envelope, ok bool) {
	rest := data
	skip := func(literal string) bool {
		var found bool
		rest, found = bytes.CutPrefix(rest, []byte(literal))
		return found
	}
	text := func(key string) string {
		if !ok || !skip(key) {
			ok = false
			return ""
		}
		end := bytes.IndexByte(rest, '"')
		if ok = end >= 0 && plainText(rest[:end]); !ok {
			return ""
		}
		s := string(rest[:end])
		rest = rest[end+1:]
		return s
	}
	number := func(key string) uint64 {
		if !ok || !skip(key) {
			ok = false
			return 0
		}
		end := 0
		for end < len(rest) && '0' <= rest[end] && rest[end] <= '9' {
			end++
		}
		n, err := strconv.ParseUint(string(rest[:end]), 10, 31)
		ok = err == nil && (rest[0] != '0' || end == 1)
		rest = rest[end:]
		return n
	}
	ok = true
	e.Actor = text(`{"actor":"`)
	// No text holds these bytes: a quotation mark within one is escaped.
	end := bytes.LastIndex(rest, []byte(`,"format":`))
	if !ok || !skip(`,"body":`) || end < len(`,"body":{}`) {
		return Envelope{}, false
	}
	end -= len(`,"body":`)
	e.Body, rest = rest[:end:end], rest[end:]
	e.Format = int(number(`,"format":`))
	e.ID = text(`,"id":"`)
	e.Kind = Kind(text(`,"kind":"`))
	e.Machine = text(`,"machine":"`)
	e.Previous = text(`,"previous":"`)
	recorded := text(`,"recorded":"`)
	e.Schema = int(number(`,"schema":`))
	e.Version = number(`,"version":`)
	if !ok || string(rest) != "}" || e.Format != EnvelopeFormat || e.Recorded.UnmarshalText([]byte(recorded)) != nil {
		return Envelope{}, false
	}
	return e, true
}

// plainText says that a text stands in JSON as it is.
func plainText(s []byte) bool {
	for _, b := range s {
		if b < ' ' || b > '~' || b == '\\' {
			return false
		}
	}
	return true
}
