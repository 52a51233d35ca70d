package server

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

type contextKey int

const requestKey contextKey = iota

// requestInfo is what is known of a request for its log line.
type requestInfo struct {
	id    string
	route string // the pattern, never the path: a path may hold a token
	err   error
	https bool // it came encrypted, here or to a trusted proxy
	who   *access.Who
	// admitted says that the table of permissions let the visitor in as who they
	// are; at an owner's link, which asks for nobody, it does not.
	admitted bool
	// persons are whom the visitor stands for on the machine in the address.
	persons []string
}

func infoOf(r *http.Request) *requestInfo {
	if info, ok := r.Context().Value(requestKey).(*requestInfo); ok {
		return info
	}
	return &requestInfo{}
}

// recorder notes the status and size of an answer.
type recorder struct {
	http.ResponseWriter
	status int
	bytes  int64
}

func (w *recorder) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

func (w *recorder) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	n, err := w.ResponseWriter.Write(b)
	w.bytes += int64(n)
	return n, err
}

func (w *recorder) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// observe numbers a request, logs it without path, query or person, and turns
// a panic into an answer.
func (s *Server) observe(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		info := &requestInfo{id: fmt.Sprintf("%s-%d", s.prefix, s.count.Add(1))}
		r = r.WithContext(context.WithValue(r.Context(), requestKey, info))
		rec := &recorder{ResponseWriter: w}
		rec.Header().Set("X-Request-Id", info.id)
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				s.Logger.Error("panic", "request", info.id, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
				if rec.status == 0 {
					s.fail(rec, r, fmt.Errorf("panic"))
				}
			}
			if s.Watch != nil {
				s.Watch.Request(info.route, r.Method, statusOr200(rec.status), time.Since(began), rec.bytes)
			}
			level := slog.LevelInfo
			attrs := []any{"request", info.id, "method", r.Method, "route", info.route, "status", rec.status, "bytes", rec.bytes, "ms", float64(time.Since(began).Microseconds()) / 1000}
			if info.err != nil {
				code := codeOf(info.err)
				attrs = append(attrs, "code", string(code))
				if row := rowOf(code); row.status >= 500 && row.status != http.StatusNotImplemented {
					level = slog.LevelError
					attrs = append(attrs, "error", info.err.Error())
				}
			}
			s.Logger.Log(r.Context(), level, "request", attrs...)
		}()
		next.ServeHTTP(rec, r)
	})
}

// pageCSP allows our own stylesheet, scripts, pictures and forms, and nothing
// else. A picture that waits on the phone has an address under blob.
const pageCSP = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; img-src 'self' blob:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// secure sets the headers that every answer carries.
func secure(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", pageCSP)
		h.Set("X-Content-Type-Options", "nosniff")
		// Not "no-referrer": a browser then sends the Origin "null" with our own
		// forms, and on plain http, where it sends no Sec-Fetch-Site, nothing
		// would tell them from another site's. Other sites learn nothing of ours
		// either way.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("X-Robots-Tag", "noindex")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(self), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// knownHost refuses requests for a name that is not ours: a strange page could
// otherwise point its own name at this machine and read the registry.
func (s *Server) knownHost(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !s.isOurHost(r.Host) {
			s.fail(w, r, registry.Refuse(codeOtherHost, "", "This server does not answer under the name it was asked for"))
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) isOurHost(hostPort string) bool {
	host := hostOf(hostPort)
	if host == "" {
		return false
	}
	if isLoopback(host) || host == strings.ToLower(s.host) {
		return true
	}
	for _, h := range s.Hosts {
		if host == strings.ToLower(h) {
			return true
		}
	}
	return false
}

// sameOrigin refuses acts that another site's page sends through the browser.
func (s *Server) sameOrigin(next http.Handler) http.Handler {
	protect := http.NewCrossOriginProtection()
	protect.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, registry.Refuse(codeCrossOrigin, "", "The request was sent from a page of another site"))
	}))
	return protect.Handler(next)
}

// fail answers with an error, as a page or as a problem document.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	info := infoOf(r)
	info.err = err
	if isAPI(r.URL.Path) {
		writeProblem(w, err, info.id)
		return
	}
	s.writeErrorPage(w, r, err, info.id)
}

func isAPI(path string) bool { return path == "/api" || strings.HasPrefix(path, "/api/") }

// serve is a route as http.Handler.
func (s *Server) serve(rt route) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		infoOf(r).route = rt.pattern
		r, instead, err := s.admit(rt, r)
		if err == nil && instead == nil {
			if err = s.spend(rt, r); err != nil {
				instead, err = s.again(rt, r, err)
			}
		}
		if err == nil && instead != nil {
			err = instead.write(s, w, r)
		}
		if err != nil {
			s.fail(w, r, err)
		}
		if err != nil || instead != nil {
			return
		}
		if err := s.checkRequest(rt, r); err != nil {
			s.fail(w, r, err)
			return
		}
		if rt.limit > 0 {
			r.Body = http.MaxBytesReader(w, r.Body, rt.limit)
		}
		a, err := s.answerTo(rt, r)
		if err == nil {
			err = a.write(s, w, r)
		}
		if err != nil {
			s.guessed(rt, r, err)
			s.fail(w, r, err)
		}
	}
}

func allowedMethods(r *http.Request) string {
	var out []string
	ctx := chi.RouteContext(r.Context())
	for _, m := range []string{http.MethodGet, http.MethodHead, http.MethodPost} {
		probe := m
		if m == http.MethodHead {
			probe = http.MethodGet
		}
		if ctx.Routes.Match(chi.NewRouteContext(), probe, r.URL.Path) {
			out = append(out, m)
		}
	}
	return strings.Join(out, ", ")
}
