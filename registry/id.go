package registry

// MaxIDLength is the longest identifier of a machine or record, in bytes.
const MaxIDLength = 64

// CheckID refuses an identifier that could not be printed on a label, put in a
// path or typed without doubt: lower-case letters, digits, '-', '.' and '_',
// beginning with a letter or digit, at most MaxIDLength bytes, without "..".
func CheckID(pointer, id string) error {
	bad := id == "" || len(id) > MaxIDLength
	for i := 0; i < len(id) && !bad; i++ {
		c := id[i]
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
		case c == '-' || c == '.' || c == '_':
			bad = i == 0 || c == '.' && id[i-1] == '.'
		default:
			bad = true
		}
	}
	if !bad {
		return nil
	}
	return &Error{Code: CodeInvalid, Message: "The identifier cannot be used",
		Fields: []Field{{Pointer: pointer, Found: quoteShort(id),
			Allowed: "1 to 64 of a–z, 0–9, '-', '.', '_', beginning with a letter or digit, no '..'",
			Message: "The identifier cannot be used",
			Fix:     "Choose a short name in small letters, such as drover-1957."}}}
}

// quoteShort quotes what was found, cut to 60 characters.
func quoteShort(s string) string {
	r := []rune(s)
	if len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return `"` + s + `"`
}
