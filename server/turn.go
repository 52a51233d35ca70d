package server

import (
	"context"
	"io"
	"net/http"
	"runtime"
	"slices"
	"sync/atomic"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// codeCrowded says that more is asked at once than can be answered soon.
const codeCrowded registry.Code = "crowded"

// turns lets so many work at once and so many wait for it, up to a time. Who
// would wait in vain is told at once: under too much load some are refused, and
// the others are answered in good time.
type turns struct {
	slots   chan struct{}
	waiting atomic.Int64
	queue   int64
	upTo    time.Duration
}

func newTurns(atOnce, queue int, upTo time.Duration) *turns {
	return &turns{slots: make(chan struct{}, atOnce), queue: int64(queue), upTo: upTo}
}

// take waits for a turn, which leave ends. codeCrowded when there is none.
func (t *turns) take(ctx context.Context) (leave func(), err error) {
	leave = func() { <-t.slots }
	select {
	case t.slots <- struct{}{}:
		return leave, nil
	default:
	}
	defer t.waiting.Add(-1)
	if t.waiting.Add(1) > t.queue {
		return nil, crowded()
	}
	late := time.NewTimer(t.upTo)
	defer late.Stop()
	select {
	case t.slots <- struct{}{}:
		return leave, nil
	case <-late.C:
		return nil, crowded()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func crowded() error {
	return registry.Refuse(codeCrowded, "", "More is asked of this server at once than it can answer soon")
}

// inTurn runs fn in a turn.
func inTurn[T any](ctx context.Context, t *turns, fn func() (T, error)) (T, error) {
	leave, err := t.take(ctx)
	if err != nil {
		var none T
		return none, err
	}
	defer leave()
	return fn()
}

// turnless are the pages that are not made but found.
var turnless = []string{"/static/{asset}", "/worker.js", "/robots.txt", "/healthz", "/readyz", "/waiting", "/offline", "/r/{token}",
	"/machines/{id}/photos/{digest}", "/o/{token}/photos/{digest}", "/api/v1/photos/{digest}"}

// turn waits until a page or a document may be made. What records does not wait
// here: its body comes over a slow line, and the ledger takes many at once.
func (s *Server) turn(rt route, r *http.Request) (leave func(), err error) {
	switch {
	case rt.method != http.MethodGet || slices.Contains(turnless, rt.pattern):
		return func() {}, nil
	case isCostly(rt):
		return s.building.take(r.Context())
	}
	return s.reading.take(r.Context())
}

// setTurns bounds what is made at once: pages by what the processors can do,
// documents and pictures so that readers are still answered beside them.
func (s *Server) setTurns() {
	processors := runtime.GOMAXPROCS(0)
	few := max(1, processors/2)
	s.reading = newTurns(8*processors, 256, 2*time.Second) // some of them wait for the views
	s.building = newTurns(few, 16, 20*time.Second)
	s.decoding = newTurns(few, 200, 30*time.Second)
	if decode := s.ReadPhoto; decode != nil {
		s.ReadPhoto = func(ctx context.Context, original io.ReadSeeker, name string) (Picture, error) {
			return inTurn(ctx, s.decoding, func() (Picture, error) { return decode(ctx, original, name) })
		}
	}
	if light := s.ReadLight; light != nil {
		s.ReadLight = func(original io.ReadSeeker, name string, marks []Mark) ([]scoring.CardSample, error) {
			return inTurn(context.Background(), s.decoding, func() ([]scoring.CardSample, error) { return light(original, name, marks) })
		}
	}
	if verify := s.Verify; verify != nil {
		s.Verify = func(ctx context.Context, bundle io.ReaderAt, size int64) (any, error) {
			return inTurn(ctx, s.building, func() (any, error) { return verify(ctx, bundle, size) })
		}
	}
	if check := s.CheckBundle; check != nil {
		s.CheckBundle = func(ctx context.Context, q BundleQuestion) (*BundleAnswer, error) {
			return inTurn(ctx, s.building, func() (*BundleAnswer, error) { return check(ctx, q) })
		}
	}
	if take := s.TakeOver; take != nil {
		s.TakeOver = func(ctx context.Context, q TakeOverQuestion) (*TakeOverAnswer, error) {
			return inTurn(ctx, s.building, func() (*TakeOverAnswer, error) { return take(ctx, q) })
		}
	}
}
