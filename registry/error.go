package registry

import (
	"errors"
	"fmt"
	"strings"
)

// Code is one of a closed list of reasons for which the program says no. The
// tables that turn a code into an HTTP status or an exit code live in server
// and cli; a test there walks AllCodes so that no code is without an answer.
type Code string

// The reasons. Act on the code, never on the message.
const (
	// CodeInvalid: what was given is malformed, out of range or contradicts
	// the vocabulary. The caller can mend it.
	CodeInvalid Code = "invalid"
	// CodeNotFound: no such machine, record, photo or link.
	CodeNotFound Code = "not-found"
	// CodeConflict: the record has moved on since the caller read it.
	CodeConflict Code = "conflict"
	// CodeRefused: well formed, but a rule of the registry forbids it now: no
	// picture before an opening, a gate out of order, a sealed survey.
	CodeRefused Code = "refused"
	// CodeNotApproved: the act needs the owner's standing approval.
	CodeNotApproved Code = "not-approved"
	// CodeExpired: a link or an approval has run out or was withdrawn.
	CodeExpired Code = "expired"
	// CodeTooLarge: larger than a stated limit.
	CodeTooLarge Code = "too-large"
	// CodeUnsupported: a file type, format or version that is not read here.
	CodeUnsupported Code = "unsupported"
	// CodeInsufficient: too little evidence for a figure; says what would help.
	CodeInsufficient Code = "insufficient-evidence"
	// CodeTampered: stored or exported bytes do not match their digests.
	CodeTampered Code = "tampered"
	// CodeBusy: another process holds the registry, or the disk is nearly
	// full. Nothing was written; trying later may succeed.
	CodeBusy Code = "busy"
	// CodeUnknown: the answer of the ledger was lost: perhaps stored, perhaps
	// not. Repeat the same commit.
	CodeUnknown Code = "unknown-outcome"
	// CodeInternal: everything else; the message is not shown to strangers.
	CodeInternal Code = "internal"
)

// AllCodes lists every code, for tables that must be complete.
func AllCodes() []Code {
	return []Code{CodeInvalid, CodeNotFound, CodeConflict, CodeRefused, CodeNotApproved,
		CodeExpired, CodeTooLarge, CodeUnsupported, CodeInsufficient, CodeTampered,
		CodeBusy, CodeUnknown, CodeInternal}
}

// Error is a refusal in plain words: what happened, and what to do about it.
type Error struct {
	Code    Code    `json:"code"`
	Message string  `json:"message"`
	Fix     string  `json:"fix,omitempty"`
	Fields  []Field `json:"fields,omitempty"`
}

// Field places one fault in what was given.
type Field struct {
	// File and Row say where it stood, when it came out of a file. Row counts
	// from 1 as a spreadsheet shows it; 0 means that it has no row.
	File string `json:"file,omitempty"`
	Row  int    `json:"row,omitempty"`
	// Pointer is a JSON Pointer (RFC 6901) into the record; "" is the whole.
	Pointer string `json:"pointer"`
	// Found is what stood there, shortened; Allowed says what may stand there.
	Found   string `json:"found,omitempty"`
	Allowed string `json:"allowed,omitempty"`
	// Message is the fault in one sentence.
	Message string `json:"message"`
	// Fix says what to do.
	Fix string `json:"fix,omitempty"`
}

// String writes the field on one line: file, row, pointer, message, found,
// allowed and fix, leaving out what is empty.
func (f Field) String() string {
	var where []string
	if f.File != "" {
		where = append(where, f.File)
	}
	if f.Row > 0 {
		where = append(where, fmt.Sprintf("row %d", f.Row))
	}
	if f.Pointer != "" {
		where = append(where, f.Pointer)
	}
	var b strings.Builder
	if len(where) > 0 {
		b.WriteString(strings.Join(where, ", "))
		b.WriteString(": ")
	}
	b.WriteString(f.Message)
	if f.Found != "" {
		fmt.Fprintf(&b, " (found %s)", f.Found)
	}
	if f.Allowed != "" {
		fmt.Fprintf(&b, "; allowed: %s", f.Allowed)
	}
	if f.Fix != "" {
		fmt.Fprintf(&b, ". %s", f.Fix)
	}
	return b.String()
}

// Error gives the message and the fix; the fields are listed by whoever prints.
func (e *Error) Error() string {
	if e.Fix == "" {
		return e.Message
	}
	return e.Message + ". " + e.Fix
}

// Refuse makes an Error.
func Refuse(code Code, fix, format string, args ...any) *Error {
	return &Error{Code: code, Message: fmt.Sprintf(format, args...), Fix: fix}
}

// CodeOf returns the code of the first *Error in err's chain, CodeInternal for
// any other error, and "" for nil.
func CodeOf(err error) Code {
	if err == nil {
		return ""
	}
	var e *Error
	if errors.As(err, &e) {
		return e.Code
	}
	return CodeInternal
}

// as is errors.As, named so that the files of this package need not import it.
func as(err error, target any) bool { return errors.As(err, target) }
