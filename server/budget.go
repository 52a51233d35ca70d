package server

import (
	"errors"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"example.org/asfound/registry"
)

// codeTooOften says that a visitor must wait before the next request.
const codeTooOften registry.Code = "too-often"

// Limit is how much one visitor may ask: so much at once, and then so much a
// minute. A negative AtOnce is no limit.
type Limit struct{ AtOnce, PerMinute int }

// Limits are the budgets of one account, or of one address where nobody is
// signed in. A zero one is that of DefaultLimits.
type Limits struct {
	Writes  Limit // forms and records
	Costly  Limit // documents, lists, long computations, and bundles to check
	Guesses Limit // links that do not exist
}

// DefaultLimits are far from what a person does: a day's pictures that waited
// for a signal, all documents of a dozen machines, an address mistyped again and
// again.
var DefaultLimits = Limits{Writes: Limit{1200, 600}, Costly: Limit{120, 60}, Guesses: Limit{30, 6}}

// costly are the routes whose answer takes long to make, or is large.
var costly = []string{"/machines/{id}/dossier.pdf", "/machines/{id}/bundle.zip", "/machines/{id}/condition.pdf",
	"/machines/{id}/work/card/{option}/card.pdf", "/machines/{id}/work/labels.pdf", "/o/{token}/q/{offer}/receipt.pdf",
	"/machines/{id}/exchange/{format}", "/lists/{file}", "/machines/{id}/lists/{file}", "/machines/{id}/plan", "/verify",
	"/api/v1/machines/{id}/dossier.pdf", "/api/v1/machines/{id}/bundle.zip", "/api/v1/machines/{id}/plan", "/api/v1/machines/{id}/exchange/prov",
	"/api/v1/machines/{id}/exchange/jsonld", "/api/v1/verify", "/api/v1/survivors", "/survivors", "/import",
	"/machines/{id}/handed-over.zip", "/take-over", "/machines/{id}/decide/q/{offer}/receipt.pdf"}

// formsOfCostly are costly routes that only show a form when they are read.
var formsOfCostly = []string{"/verify", "/survivors", "/import", "/take-over"}

func isCostly(rt route) bool {
	return slices.Contains(costly, rt.pattern) && (rt.method != http.MethodGet || !slices.Contains(formsOfCostly, rt.pattern))
}

// guessable are the beginnings of routes that a secret opens.
func guessable(rt route) bool {
	return strings.HasPrefix(rt.pattern, "/o/{token}") || strings.HasPrefix(rt.pattern, "/r/{token}") || strings.HasPrefix(rt.pattern, "/join/{token}")
}

// maxVisitors is how many visitors a budget remembers.
const maxVisitors = 10000

// budget is what each visitor has left.
type budget struct {
	limit Limit
	now   func() time.Time

	mu sync.Mutex
	by map[string]*rate.Limiter
}

// budgets are those of one server.
type budgets struct{ writes, costly, guesses *budget }

func newBudgets(l Limits, now func() time.Time) (b budgets, err error) {
	for _, x := range []struct {
		to           **budget
		given, usual Limit
	}{{&b.writes, l.Writes, DefaultLimits.Writes}, {&b.costly, l.Costly, DefaultLimits.Costly}, {&b.guesses, l.Guesses, DefaultLimits.Guesses}} {
		if x.given == (Limit{}) {
			x.given = x.usual
		}
		if x.given.AtOnce >= 0 && (x.given.AtOnce == 0 || x.given.PerMinute <= 0) {
			return b, registry.Refuse(registry.CodeInvalid, "Give two numbers above 0.", "A limit of %d at once and %d a minute would let nobody in", x.given.AtOnce, x.given.PerMinute)
		}
		*x.to = &budget{limit: x.given, now: now, by: map[string]*rate.Limiter{}}
	}
	return b, nil
}

// of is a visitor's own budget. The caller holds the lock.
func (b *budget) of(visitor string, now time.Time) *rate.Limiter {
	l := b.by[visitor]
	if l != nil {
		return l
	}
	if len(b.by) >= maxVisitors {
		b.forget(now)
	}
	l = rate.NewLimiter(rate.Limit(float64(b.limit.PerMinute)/60), b.limit.AtOnce)
	b.by[visitor] = l
	return l
}

// forget lets those go whose budget is whole again, and as many others as make
// a tenth free.
func (b *budget) forget(now time.Time) {
	for visitor, l := range b.by {
		if l.TokensAt(now) >= float64(b.limit.AtOnce) {
			delete(b.by, visitor)
		}
	}
	for visitor := range b.by {
		if len(b.by) <= maxVisitors*9/10 {
			return
		}
		delete(b.by, visitor)
	}
}

// wait is how long a visitor must wait for the next request; 0 when it may come
// now. take counts it then.
func (b *budget) wait(visitor string, take bool) time.Duration {
	if b.limit.AtOnce < 0 {
		return 0
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.now()
	l := b.of(visitor, now)
	if missing := 1 - l.TokensAt(now); missing > 0 {
		return time.Duration(missing / float64(l.Limit()) * float64(time.Second))
	}
	if take {
		l.AllowN(now, 1)
	}
	return 0
}

// spend counts a request against the budgets of its visitor. codeTooOften when
// one is used up.
func (s *Server) spend(rt route, r *http.Request) error {
	if s.local(r) {
		return nil
	}
	wait, visitor := time.Duration(0), s.visitorOf(r)
	if guessable(rt) {
		wait = s.budgets.guesses.wait(addressOf(r), false)
	}
	switch {
	case wait > 0:
	case isCostly(rt):
		wait = s.budgets.costly.wait(visitor, true)
	case rt.method == http.MethodPost:
		wait = s.budgets.writes.wait(visitor, true)
	}
	if wait <= 0 {
		return nil
	}
	s.security(r, "too-often")
	return tooOften(wait)
}

// guessed counts a link that does not exist.
func (s *Server) guessed(rt route, r *http.Request, err error) {
	if guessable(rt) && !s.local(r) && rowOf(codeOf(err)).status == http.StatusNotFound {
		s.budgets.guesses.wait(addressOf(r), true)
	}
}

// local says whether somebody at this very computer uses a registry without
// accounts: who could stop the program need not be kept from anything. Behind a
// proxy nobody is.
func (s *Server) local(r *http.Request) bool {
	return len(s.Proxies) == 0 && !s.accounts() && isLoopback(hostOf(r.RemoteAddr))
}

// visitorOf is whose budget a request is counted against.
func (s *Server) visitorOf(r *http.Request) string {
	if who := infoOf(r).who; who != nil {
		return "account/" + who.Account
	}
	return "address/" + addressOf(r)
}

// tooOftenError is the refusal with the time to wait.
type tooOftenError struct {
	error
	wait time.Duration
}

func (e *tooOftenError) Unwrap() error { return e.error }

// Seconds is the time to wait, rounded up; see retryAfter.
func (e *tooOftenError) Seconds() int { return int((e.wait + time.Second - 1) / time.Second) }

func tooOften(wait time.Duration) error {
	e := &tooOftenError{wait: wait}
	e.error = registry.Refuse(codeTooOften, "", "More was asked in a short time than this server gives to one visitor; the next request is possible in %d s", e.Seconds())
	return e
}

// AgainPage keeps what was typed into a form that came too soon.
type AgainPage struct {
	Base
	Problem   Problem
	To        string
	Carried   []Hidden
	Files     int
	Multipart bool
}

// again answers a form that came too soon: what was typed travels on through the
// page, to be sent later.
func (s *Server) again(rt route, r *http.Request, err error) (answer, error) {
	var wait *tooOftenError
	if rt.api != nil || rt.takes != formType && rt.takes != multipartType || isCourier(r) || !errors.As(err, &wait) {
		return nil, err
	}
	carried, files, readErr := keptFields(rt, r)
	if readErr != nil {
		return nil, err
	}
	infoOf(r).err = err
	p := problemOf(err, infoOf(r).id)
	return headed{header: map[string]string{"Retry-After": itoa(wait.Seconds())}, answer: htmlAnswer{status: p.Status, name: "again",
		page: AgainPage{Base: Base{Title: p.Title, Version: s.Version, Owner: strings.HasPrefix(rt.pattern, "/o/")}, Problem: p, To: r.URL.RequestURI(), Carried: carried, Files: files, Multipart: rt.takes == multipartType}}}, nil
}
