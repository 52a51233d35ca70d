package server

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

// Codes that only arise between a browser or program and this server.
const (
	codeMalformed     registry.Code = "malformed"
	codeStale         registry.Code = "stale"
	codeNeedsVersion  registry.Code = "version-required"
	codeMethod        registry.Code = "method-not-allowed"
	codeNotAcceptable registry.Code = "not-acceptable"
	codeCrossOrigin   registry.Code = "cross-origin"
	codeOtherHost     registry.Code = "other-host"
	codeKeyReused     registry.Code = "key-reused"
	codeNotOffered    registry.Code = "not-offered"
	codeSignIn        registry.Code = "sign-in"
	codeForbidden     registry.Code = "forbidden"
)

// problemBase begins the type of every problem; docs/api.md describes each.
const problemBase = "https://example.org/asfound/problems/"

// problemRow is how one code is answered.
type problemRow struct {
	status int
	title  string // constant for the code
	fix    string // when the error itself names none
	retry  int    // seconds, for Retry-After; 0 for none
}

// problemTable is the only place where codes become HTTP statuses.
var problemTable = map[registry.Code]problemRow{
	registry.CodeInvalid:      {422, "What was given cannot be recorded", "Mend the fields that are named and send it again.", 0},
	registry.CodeNotFound:     {404, "There is nothing here", "Begin at the list of machines.", 0},
	registry.CodeConflict:     {409, "The record says otherwise", "Read it again and repeat what you want on what stands there now.", 0},
	registry.CodeRefused:      {409, "A rule of the registry forbids this now", "Do first what the message names.", 0},
	registry.CodeNotApproved:  {409, "The owner has not approved this", "Ask the owner with a proposal, or record it as already done.", 0},
	registry.CodeExpired:      {410, "This has run out", "Ask the workshop for a new link.", 0},
	registry.CodeTooLarge:     {413, "Too large", "Send less at once.", 0},
	registry.CodeUnsupported:  {415, "This kind of file or text is not read here", "Use one of the kinds that the documentation lists.", 0},
	registry.CodeInsufficient: {422, "Too little evidence for a figure", "Record more evidence first.", 0},
	registry.CodeTampered:     {500, "Stored bytes are not what was written", "Trust no figure of this machine; compare with a backup.", 0},
	registry.CodeBusy:         {503, "The registry cannot write just now", "Nothing was recorded. Try again in a little while.", 5},
	registry.CodeUnknown:      {503, "It is not known whether this was recorded", "Send the very same request again: it will be recorded once.", 2},
	registry.CodeInternal:     {500, "Something went wrong here", "Try again; if it happens again, give the workshop the request number.", 0},
	codeMalformed:             {400, "The request cannot be read", "Compare it with the documentation.", 0},
	codeStale:                 {412, "The record has moved on", "Read the machine again and send the new ETag in If-Match.", 0},
	codeNeedsVersion:          {428, "It is not said which version was seen", "Send the machine's ETag in If-Match.", 0},
	codeMethod:                {405, "This cannot be done here", "Use one of the methods that Allow lists.", 0},
	codeNotAcceptable:         {406, "There is no such form of the answer", "Accept application/json.", 0},
	codeCrossOrigin:           {403, "The request came from another site", "Open the page here and send it from there.", 0},
	codeOtherHost:             {421, "This server does not answer under that name", "Use the address that the program printed when it started.", 0},
	codeKeyReused:             {422, "The key belongs to another request", "Use a fresh Idempotency-Key for each new request.", 0},
	codeSignIn:                {401, "It is not known who asks", "Sign in; a program sends a token as \"Authorization: Bearer …\".", 0},
	codeForbidden:             {403, "This is not yours to do", "Ask the keeper of the registry, who gives the roles.", 0},
	access.CodeWrong:          {401, "This does not let anybody in", "Type it again.", 0},
	access.CodeTooMany:        {429, "Too many wrong attempts", "Wait, and try again.", 0},
	codeTooOften:              {429, "Too much was asked in a short time", "Wait, and send it again.", 0},
	codeCrowded:               {503, "Too many ask at once", "Wait a few seconds, and send it again.", 3},
	codeNotOffered:            {501, "This is not offered here", "Use the command line for it.", 0},
}

// rowOf finds how a code is answered; an unknown one like an internal error.
func rowOf(code registry.Code) problemRow {
	if row, ok := problemTable[code]; ok {
		return row
	}
	return problemTable[registry.CodeInternal]
}

// Problem is the body of every error under /api, by RFC 9457.
type Problem struct {
	Type     string         `json:"type"`
	Title    string         `json:"title"`
	Status   int            `json:"status"`
	Detail   string         `json:"detail"`
	Fix      string         `json:"fix"`
	Instance string         `json:"instance"` // the request's number
	Errors   []ProblemField `json:"errors,omitempty"`
}

// ProblemField places one fault.
type ProblemField struct {
	Pointer string `json:"pointer"`
	Detail  string `json:"detail"`
	Found   string `json:"found,omitempty"`
	Allowed string `json:"allowed,omitempty"`
	Fix     string `json:"fix,omitempty"`
	File    string `json:"file,omitempty"`
	Row     int    `json:"row,omitempty"`
}

// maxProblemFields is how many faults one answer lists.
const maxProblemFields = 200

// codeOf is registry.CodeOf with what net/http itself reports.
func codeOf(err error) registry.Code {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return registry.CodeTooLarge
	}
	return registry.CodeOf(err)
}

// problemOf puts an error in words. The message of an internal error, which
// might name a path or a value, is not shown.
func problemOf(err error, instance string) Problem {
	code := codeOf(err)
	row := rowOf(code)
	p := Problem{Type: problemBase + string(code), Title: row.title, Status: row.status, Detail: row.title + ".", Fix: row.fix, Instance: instance}
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		p.Detail = "The request is larger than " + bytesWords(tooLarge.Limit) + "."
		return p
	}
	var e *registry.Error
	if !errors.As(err, &e) || code == registry.CodeInternal {
		return p
	}
	p.Detail = e.Message
	if e.Fix != "" {
		p.Fix = e.Fix
	}
	for i, f := range e.Fields {
		if i == maxProblemFields {
			break
		}
		p.Errors = append(p.Errors, ProblemField{Pointer: f.Pointer, Detail: f.Message, Found: f.Found, Allowed: f.Allowed, Fix: f.Fix, File: f.File, Row: f.Row})
	}
	return p
}

// writeProblem answers with a problem document.
func writeProblem(w http.ResponseWriter, err error, instance string) {
	p := problemOf(err, instance)
	body, encodeErr := json.Marshal(p)
	if encodeErr != nil {
		body = []byte(`{"type":"` + problemBase + `internal","status":500}`)
	}
	h := w.Header()
	h.Set("Content-Type", "application/problem+json")
	h.Set("Cache-Control", "no-store")
	h.Del("ETag")
	setRetryAfter(h, err)
	w.WriteHeader(p.Status)
	w.Write(append(body, '\n'))
}

// setRetryAfter says after how many seconds to try again, where that is known.
func setRetryAfter(h http.Header, err error) {
	after := rowOf(codeOf(err)).retry
	var waits interface{ Seconds() int }
	if errors.As(err, &waits) {
		after = waits.Seconds()
	}
	if after > 0 {
		h.Set("Retry-After", strconv.Itoa(after))
	}
}

func notOffered(what string) error {
	return registry.Refuse(codeNotOffered, "", "%s is not offered by this server", what)
}
