package server

import (
	"net/http"
	"time"
)

// Behind is what a page says while the ledger cannot be reached and a copy is
// shown.
type Behind struct {
	Since   time.Time // when the copy was the whole ledger; zero when that is not known
	Minutes int       // ago, whole ones
}

// behindNow asks the configuration.
func (s *Server) behindNow() (*Behind, error) {
	if s.Behind == nil {
		return nil, nil
	}
	since, why := s.Config.Behind()
	if why == nil {
		return nil, nil
	}
	return &Behind{Since: since, Minutes: max(int(s.Now().Sub(since)/time.Minute), 0)}, why
}

// aged marks what is answered from a copy with its age in seconds, in the header
// that HTTP has for it (RFC 9111, section 5.1). A page that says so is made anew
// each time.
func (s *Server) aged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if b, _ := s.behindNow(); b != nil {
			if !b.Since.IsZero() {
				w.Header().Set("Age", itoa(max(int(s.Now().Sub(b.Since)/time.Second), 0)))
			}
			if !isAPI(r.URL.Path) {
				r.Header.Del("If-None-Match")
			}
		}
		next.ServeHTTP(w, r)
	})
}
