package server

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// keptPages are the pages that follow from nothing but the record of the machine
// in the address, the address itself, the reader and the quarter of an hour, but
// for the first, which also says how many of its numbers other machines have.
// Whoever asks again gets the same bytes, packed already. A page with a form
// that records something is not kept, whether it stands here or not: its key is
// for one reader. The machine for programs follows in the same way.
var keptPages = []string{"/machines/{id}", "/api/v1/machines/{id}", "/machines/{id}/drawing", "/machines/{id}/groups/{group}", "/machines/{id}/components/{component}",
	"/machines/{id}/story", "/machines/{id}/work", "/machines/{id}/plan", "/machines/{id}/criteria", "/machines/{id}/sum/{figure}"}

// keptOfAll are the pages that follow in the same way from the records of every
// machine.
var keptOfAll = []string{"/", "/find", "/compare"}

// keptBytes is how much of finished pages is held, in bytes, and keptAddress how
// long an address may be for its page to be among them.
const (
	keptBytes   = 32 << 20
	keptAddress = 512
)

// freshFor is for how long a page may speak of what runs out, such as an
// approval, before it is made again.
const freshFor = 15 * time.Minute

// freshUntil changes when pages are to be made again though nothing was recorded.
func (s *Server) freshUntil() string { return itoa(s.Now().UnixNano() / int64(freshFor)) }

// finishedAnswer is a finished page, or a finished value for programs, with its
// packed bytes where it is kept or was asked for so.
type finishedAnswer struct {
	mediaType    string
	status       int
	body, packed []byte
	etag         string
	aged         bool // it says how old it is, so it is for now alone
}

// finished makes the bytes of an answer, while its maker still has their turn;
// sending them takes as long as the line is slow.
func (s *Server) finished(r *http.Request, a answer) (answer, error) {
	switch a := a.(type) {
	case htmlAnswer:
		arrival := s.arrivalOf(r)
		body, err := s.pages.render(languageOf(r), a.name, arrival.onto(a.page))
		if err != nil {
			return nil, err
		}
		page := finishedAnswer{mediaType: htmlType, status: statusOr200(a.status), body: body, etag: a.etag, aged: arrival.Behind != nil}
		if page.aged {
			page.etag = ""
		}
		if packs(r, htmlType) {
			page.packed = packed(body)
		}
		return page, nil
	case jsonAnswer:
		if a.etag == "" || a.status != 0 || a.location != "" || a.link != "" || a.secret {
			break // it says more than a value that has a version
		}
		body, err := encodeJSON(a.value)
		return finishedAnswer{mediaType: jsonType, status: http.StatusOK, body: body, etag: a.etag}, err
	}
	return a, nil
}

func (a finishedAnswer) write(_ *Server, w http.ResponseWriter, r *http.Request) error {
	if a.etag != "" && hasTag(r, a.etag) {
		return notModified(a.etag).write(nil, w, r)
	}
	h := w.Header()
	h.Set("Content-Type", a.mediaType)
	if a.mediaType == htmlType {
		h.Add("Vary", "Accept-Language, Cookie")
	}
	if a.aged {
		h.Set("Cache-Control", "no-store")
	} else if a.etag != "" {
		h.Set("ETag", a.etag)
		h.Set("Cache-Control", "private, no-cache")
	}
	send(w, r, a.status, a.body, a.packed)
	return nil
}

// size is what a kept answer takes, in bytes.
func (a finishedAnswer) size() int { return len(a.body) + len(a.packed) }

// mayKeep says whether a finished answer is the same for everybody under its key.
func mayKeep(a answer) bool {
	page, ok := a.(finishedAnswer)
	return ok && page.status == http.StatusOK && !page.aged && !bytes.Contains(page.body, []byte(`name="key"`))
}

// keptKey says all that a page follows from; "" where the page is not kept.
func (s *Server) keptKey(rt route, r *http.Request) string {
	address := r.URL.RequestURI()
	arrival := s.arrivalOf(r)
	if rt.method != http.MethodGet || len(address) > keptAddress || arrival.Behind != nil {
		return ""
	}
	var machine string
	var version uint64
	var shared int // numbers that other machines have too
	var err error
	switch {
	case slices.Contains(keptPages, rt.pattern):
		if machine, version, err = s.machineHead(r); err == nil && rt.pattern == "/machines/{id}" {
			shared, err = s.sharedNumbers(r, machine, workshop.ReportOptions{})
		}
	case slices.Contains(keptOfAll, rt.pattern):
		var end registry.Position
		end, err = s.Workshop.Ledger.End(r.Context())
		version = uint64(end)
	default:
		return ""
	}
	if err != nil {
		return "" // the handler says what is wrong
	}
	info := infoOf(r)
	arrival.who = nil // another one for each request; what counts of it is said here
	var grants any
	if info.who != nil {
		grants = info.who.Grants
	}
	return fmt.Sprintf("%s\n%d %d %s %s %t %+v %q %v", address, version, shared, s.freshUntil(), languageOf(r).Tag, machine != "" && publicOnly(r, machine), arrival, info.persons, grants)
}

// answerTo answers a request: with what is kept, or by its handler.
func (s *Server) answerTo(rt route, r *http.Request) (answer, error) {
	key := s.keptKey(rt, r)
	if key == "" {
		return s.made(rt, r)
	}
	mine := false
	a, err := s.kept.find(key, func() (answer, bool, error) {
		mine = true
		// Whoever asked first may leave: others wait for the same page.
		a, err := s.made(rt, r.WithContext(context.WithoutCancel(r.Context())))
		if err != nil || !mayKeep(a) {
			return a, false, err
		}
		page := a.(finishedAnswer)
		page.body = bytes.Clone(page.body) // without the room that it grew into
		if page.packed == nil && page.mediaType == htmlType {
			page.packed = packed(page.body)
		}
		return page, true, nil
	})
	if err == nil && !mine && !mayKeep(a) {
		return s.made(rt, r)
	}
	return a, err
}

// made is the answer of the handler, finished.
func (s *Server) made(rt route, r *http.Request) (answer, error) {
	leave, err := s.turn(rt, r)
	if err != nil {
		return nil, err
	}
	defer leave()
	a, err := s.once(rt, r)
	if err != nil {
		return nil, err
	}
	return s.finished(r, a)
}
