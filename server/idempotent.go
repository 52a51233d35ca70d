package server

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"net/url"
	"sync"
	"time"

	"example.org/asfound/registry"
)

// keyHeader makes a repeated POST harmless. Forms carry it as the field "key".
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
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, readFailed(err)
	}
	r.Body = io.NopCloser(bytes.NewReader(body))
	key := r.Header.Get(keyHeader)
	if rt.api == nil {
		if form, err := url.ParseQuery(string(body)); err == nil {
			key = form.Get("key")
		}
	}
	if key == "" {
		return rt.do(s, r)
	}
	if len(key) > 200 {
		return nil, registry.Refuse(codeMalformed, "Use up to 200 characters.", "The key is too long")
	}
	sum := sha256.Sum256(append(body, []byte("\n"+r.Header.Get("If-Match"))...))
	if who := infoOf(r).who; who != nil {
		key = who.Account + " " + key // nobody gets the answer to another's request
	}
	return s.answers.do(r.Method+" "+r.URL.Path+" "+key, hex.EncodeToString(sum[:]), func() (answer, error) { return rt.do(s, r) })
}

// readFailed keeps a size limit's error and calls any other malformed.
func readFailed(err error) error {
	if codeOf(err) == registry.CodeTooLarge {
		return err
	}
	return registry.Refuse(codeMalformed, "Send it again.", "The request ended before it was complete")
}
