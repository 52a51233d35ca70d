package server

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
)

// keyHeader makes a repeated POST harmless. Forms carry it as the field "key",
// and in the header too when a script sends them.
const keyHeader = "Idempotency-Key"

// rememberFor is how long the answer to a key is kept in memory. The record
// itself is protected by its commit for ever.
const rememberFor = 10 * time.Minute

// maxRemembered bounds what is kept.
const maxRemembered = 512

// remembered holds the answers to recent keys, so that a double click or a
// retry after a lost answer gets the first answer again.
type remembered struct {
	now func() time.Time
	mu  sync.Mutex
	by  map[string]*rememberedAnswer
}

type rememberedAnswer struct {
	body  string // digest of the request's body
	until time.Time
	done  chan struct{} // closed when answer and err are set
	answer
	err error
}

func newRemembered(now func() time.Time) *remembered {
	return &remembered{now: now, by: map[string]*rememberedAnswer{}}
}

// do runs fn once for a key. Others with the same key wait for it and get the
// same answer; another body under the key is refused. A failure is forgotten,
// so that it can be mended under the same key.
func (m *remembered) do(key, body string, fn func() (answer, error)) (answer, error) {
	m.mu.Lock()
	m.drop()
	if old, ok := m.by[key]; ok {
		m.mu.Unlock()
		if old.body != body {
			return nil, registry.Refuse(codeKeyReused, "", "The key was used for a request with another body")
		}
		<-old.done
		if old.err != nil && rowOf(codeOf(old.err)).status >= 500 {
			return m.do(key, body, fn) // whoever asked first may have left in the middle
		}
		return old.answer, old.err
	}
	mine := &rememberedAnswer{body: body, until: m.now().Add(rememberFor), done: make(chan struct{}),
		err: registry.Refuse(registry.CodeUnknown, "", "The first request under this key was cut short")}
	m.by[key] = mine
	m.mu.Unlock()
	defer func() {
		if mine.err != nil || failed(mine.answer) {
			m.mu.Lock()
			delete(m.by, key)
			m.mu.Unlock()
		}
		close(mine.done)
	}()
	mine.answer, mine.err = fn()
	return mine.answer, mine.err
}

// drop forgets what is old, and the oldest when there is too much. The caller
// holds the lock.
func (m *remembered) drop() {
	now := m.now()
	var oldest string
	for k, a := range m.by {
		if now.After(a.until) {
			delete(m.by, k)
		} else if oldest == "" || a.until.Before(m.by[oldest].until) {
			oldest = k
		}
	}
	if len(m.by) >= maxRemembered {
		delete(m.by, oldest)
	}
}

// failed says whether an answer is a form that has to be mended.
func failed(a answer) bool {
	page, ok := a.(htmlAnswer)
	return ok && page.status >= 400
}

// once answers a request, and a repeated POST with what the first one got.
func (s *Server) once(rt route, r *http.Request) (answer, error) {
	if !rt.once {
		return rt.do(s, r)
	}
	sent, err := readSent(rt, r)
	if err != nil {
		return nil, err
	}
	if r.MultipartForm != nil {
		defer r.MultipartForm.RemoveAll()
	}
	if sent.key == "" {
		return rt.do(s, r)
	}
	if len(sent.key) > 200 {
		return nil, registry.Refuse(codeMalformed, "Use up to 200 characters.", "The key is too long")
	}
	whose := sent.key
	if who := infoOf(r).who; who != nil {
		whose = who.Account + " " + sent.key // nobody gets the answer to another's request
	}
	return s.answers.do(r.Method+" "+r.URL.Path+" "+whose, sent.digest, func() (answer, error) {
		if rt.api == nil && isCourier(r) {
			// What waited for long may have been recorded long ago, and no longer
			// fit the record that it made.
			if a, err := s.recordedEarlier(r, sent.key); a != nil || err != nil {
				return a, err
			}
		}
		return rt.do(s, r)
	})
}

// sent is what makes a request the same as an earlier one.
type sent struct{ key, digest string }

// readSent reads the body of a request once, and leaves it to be read again.
func readSent(rt route, r *http.Request) (sent, error) {
	if rt.takes == multipartType {
		return readSentParts(r)
	}
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return sent{}, readFailed(err)
	}
	r.Body = io.NopCloser(bytes.NewReader(body))
	if rt.api == nil {
		if form, err := url.ParseQuery(string(body)); err == nil {
			return sentForm(r, form, nil)
		}
		return sent{}, nil // the form itself says what is wrong with it
	}
	sum := sha256.Sum256(append(body, []byte("\n"+r.Header.Get("If-Match"))...))
	return sent{r.Header.Get(keyHeader), hex.EncodeToString(sum[:])}, nil
}

// readSentParts reads a form with files. Their bytes lie in a file of their own
// when they are many; the boundary between parts, which is drawn anew for each
// try, counts for nothing.
func readSentParts(r *http.Request) (sent, error) {
	if err := r.ParseMultipartForm(8 << 20); err != nil {
		return sent{}, readFailed(err)
	}
	return sentForm(r, r.MultipartForm.Value, r.MultipartForm.File)
}

// sentForm digests the fields and files of a form. The version that the person
// had seen is left out: what waited on a phone is sent again without it.
func sentForm(r *http.Request, values url.Values, files map[string][]*multipart.FileHeader) (sent, error) {
	key := cmp.Or(r.Header.Get(keyHeader), values.Get("key"))
	sum := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if name != "version" {
			fmt.Fprintf(sum, "%q %q\n", name, values[name])
		}
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		for _, head := range files[name] {
			fmt.Fprintf(sum, "%q %q %d\n", name, head.Filename, head.Size)
			f, err := head.Open()
			if err != nil {
				return sent{}, err
			}
			_, err = io.Copy(sum, f)
			f.Close()
			if err != nil {
				return sent{}, err
			}
		}
	}
	return sent{key, hex.EncodeToString(sum.Sum(nil))}, nil
}

// isCourier says whether a form was sent by the script that keeps it until this
// server has said yes: it asks for a yes that cannot be mistaken for a page.
func isCourier(r *http.Request) bool {
	return r.Header.Get(keyHeader) != "" && strings.Contains(r.Header.Get("Accept"), jsonType)
}

// recordedEarlier answers for what was recorded under the key before, nil when
// nothing was.
func (s *Server) recordedEarlier(r *http.Request, key string) (answer, error) {
	machine := chi.URLParam(r, "id")
	if machine == "" {
		return nil, nil
	}
	_, found, err := s.Workshop.Recorded(r.Context(), machine, key)
	if err != nil || !found {
		return nil, err
	}
	return seeOther("/machines/" + machine), nil
}

// readFailed keeps a size limit's error and calls any other malformed.
func readFailed(err error) error {
	if codeOf(err) == registry.CodeTooLarge {
		return err
	}
	return registry.Refuse(codeMalformed, "Send it again.", "The request ended before it was complete")
}
