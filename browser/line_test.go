package browser

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// line is the poor connection between a phone and the registry: it can be
// dead, break in the middle of an upload, or lose the answer to one.
type line struct {
	url string
	to  http.Handler

	mu    sync.Mutex
	dead  bool
	cut   int64 // break the next upload after so many bytes; 0 for none
	lose  int   // of how many uploads the answer is lost
	posts []string
}

// lay puts a line before a server. It ends with the test.
func lay(t *testing.T, s *site) *line {
	t.Helper()
	to, err := url.Parse(s.url)
	require.NoError(t, err)
	l := &line{to: &httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) { r.Out.URL.Scheme, r.Out.URL.Host = to.Scheme, to.Host },
		ErrorHandler: func(http.ResponseWriter, *http.Request, error) { panic(http.ErrAbortHandler) }}}
	server := httptest.NewServer(l)
	t.Cleanup(server.Close)
	l.url = server.URL
	return l
}

func (l *line) set(change func(l *line)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	change(l)
}

// sent gives the keys under which something was sent, each time that it was.
func (l *line) sent() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]string(nil), l.posts...)
}

func (l *line) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	l.mu.Lock()
	dead, cut, lose := l.dead, int64(0), false
	if r.Method == http.MethodPost && !dead {
		l.posts = append(l.posts, r.Header.Get("Idempotency-Key"))
		cut, l.cut = l.cut, 0
		if lose = l.lose > 0; lose {
			l.lose--
		}
	}
	l.mu.Unlock()
	switch {
	case dead:
		panic(http.ErrAbortHandler)
	case cut > 0:
		io.CopyN(io.Discard, r.Body, cut)
		l.set(func(l *line) { l.dead = true })
		panic(http.ErrAbortHandler)
	case lose:
		l.to.ServeHTTP(httptest.NewRecorder(), r)
		panic(http.ErrAbortHandler)
	}
	l.to.ServeHTTP(w, r)
}
