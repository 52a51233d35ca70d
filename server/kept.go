package server

import (
	"fmt"
	"net/http"
)

// keptAnswer is a finished page or document. The next reader of the same
// version gets the same bytes.
type keptAnswer struct {
	html bool
	body []byte
	etag string
}

func (a keptAnswer) write(_ *Server, w http.ResponseWriter, _ *http.Request) error {
	tag(w.Header(), a.etag)
	writeFinished(w, a.html, 0, a.body)
	return nil
}

// tag marks an answer that a browser may keep and must ask about again; "" is
// no mark.
func tag(h http.Header, etag string) {
	if etag != "" {
		h.Set("ETag", etag)
		h.Set("Cache-Control", "private, no-cache")
	}
}

// writeFinished sends a page or a JSON document.
func writeFinished(w http.ResponseWriter, html bool, status int, body []byte) {
	h := w.Header()
	if h.Set("Content-Type", "application/json"); html {
		h.Set("Content-Type", "text/html; charset=utf-8")
		h.Add("Vary", "Accept-Language, Cookie")
	}
	w.WriteHeader(statusOr200(status))
	_, _ = w.Write(body) // nothing can be told to those who have left
}

// keep gives the answer that was made under the same tag for the same address,
// or makes it. Only what everybody gets alike is kept: where visitors sign in,
// or came by a reading link, each answer is made for its reader.
func (s *Server) keep(r *http.Request, tag string, made func() (answer, error)) (answer, error) {
	if s.accounts() || infoOf(r).who != nil || tag == "" {
		return made()
	}
	key := fmt.Sprintf("%s %s %+v", r.URL.RequestURI(), tag, s.arrivalOf(r))
	if kept, ok := s.finished.get(key); ok {
		return kept, nil
	}
	a, err := made()
	if err != nil {
		return nil, err
	}
	kept := keptAnswer{etag: tag}
	switch a := a.(type) {
	case htmlAnswer:
		if a.etag != tag || statusOr200(a.status) != http.StatusOK {
			return a, nil
		}
		kept.html = true
		kept.body, err = a.render(s, r)
	case jsonAnswer:
		if a.etag != tag || statusOr200(a.status) != http.StatusOK || a.secret || a.location != "" || a.link != "" {
			return a, nil
		}
		kept.body, err = encodeJSON(a.value)
	default:
		return a, nil
	}
	if err != nil {
		return nil, err
	}
	s.finished.put(key, kept)
	return kept, nil
}
