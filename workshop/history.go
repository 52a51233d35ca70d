package workshop

import (
	"context"
	"errors"
	"reflect"
	"strings"
	"sync"
	"sync/atomic"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// heldHistories is how many machines' histories are held in memory, and
// heldEvents of how many events together: a workshop has many small ones in hand
// at once, and a few of thousands.
const (
	heldHistories = 256
	heldEvents    = 60_000
)

// histories holds histories that were read lately, so that only what was
// appended since is read and decoded. Events never change, so what is held
// never goes stale.
type histories struct {
	mu   sync.Mutex
	held map[string]*heldHistory
	use  uint64
}

type heldHistory struct {
	mu       sync.Mutex
	replayer *registry.Replayer
	events   atomic.Uint64 // in it
	used     uint64
	// answers are what questions came to, by component and proposition. One
	// holds as long as the same evidence bears on the question.
	answers map[string]heldAnswer
	// indices are what indices came to, by name and whether with every kept
	// part back. One holds as long as it is asked of the same input.
	indices map[string]heldIndex
}

type heldIndex struct {
	input  scoring.IndexInput
	result scoring.IndexResult
}

type heldAnswer struct {
	evidence string
	result   scoring.OriginResult
}

// replay gives a machine's dossier as it stands, its withheld values opened;
// empty for a machine that nothing is known of.
func (w *Workshop) replay(ctx context.Context, machine string) (*registry.Dossier, error) {
	d, err := w.replayHeld(ctx, machine)
	if errors.Is(err, errErasedElsewhere) {
		w.histories.drop(machine)
		d, err = w.replayHeld(ctx, machine)
	}
	return d, err
}

func (w *Workshop) replayHeld(ctx context.Context, machine string) (*registry.Dossier, error) {
	h := w.histories.get(machine)
	h.mu.Lock()
	defer h.mu.Unlock()
	var events [][]byte
	known := h.replayer.Version()
	err := w.Ledger.Read(ctx, machine, known, func(r registry.Record) error {
		skip := 0
		if r.First <= known {
			skip = int(known - r.First + 1)
		}
		events = append(events, r.Events[min(skip, len(r.Events)):]...)
		return nil
	})
	if err == nil {
		err = h.replayer.Add(events...)
	}
	if err != nil {
		w.histories.drop(machine)
		return nil, err
	}
	h.events.Store(h.replayer.Version())
	d := h.replayer.Dossier()
	return d, w.reveal(ctx, d)
}

// events is how many are held. The caller holds the lock.
func (h *histories) events() (n uint64) {
	for _, x := range h.held {
		n += x.events.Load()
	}
	return n
}

// get finds or begins a history, and lets go of those that were used longest ago
// when there are too many.
func (h *histories) get(machine string) *heldHistory {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.use++
	if h.held == nil {
		h.held = map[string]*heldHistory{}
	}
	if h.held[machine] == nil {
		for len(h.held) >= heldHistories || len(h.held) > 1 && h.events() > heldEvents {
			oldest := ""
			for name, x := range h.held {
				if oldest == "" || x.used < h.held[oldest].used {
					oldest = name
				}
			}
			delete(h.held, oldest)
		}
		h.held[machine] = &heldHistory{replayer: registry.NewReplayer(machine), answers: map[string]heldAnswer{}, indices: map[string]heldIndex{}}
	}
	h.held[machine].used = h.use
	return h.held[machine]
}

func (h *histories) drop(machine string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.held, machine)
}

// origin is scoring.Origin, remembered: records never change under their id, so
// the ids of what bears on a question say what its input is.
func (w *Workshop) origin(machine, subject string, q question) (scoring.OriginResult, error) {
	evidence := strings.Join(q.items, "\n")
	if q.claim != nil {
		evidence += "\nclaim " + q.claim.ID
	}
	h := w.histories.get(machine)
	h.mu.Lock()
	known, ok := h.answers[subject]
	h.mu.Unlock()
	if ok && known.evidence == evidence {
		return known.result, nil
	}
	result, err := scoring.Origin(q.input)
	if err != nil {
		return result, err
	}
	h.mu.Lock()
	h.answers[subject] = heldAnswer{evidence, result}
	h.mu.Unlock()
	return result, nil
}

// scale is scoring.Index, remembered: both editions of a dossier ask it of the
// same input, and most records change none of it.
func (w *Workshop) scale(machine, which string, in scoring.IndexInput) (scoring.IndexResult, error) {
	h := w.histories.get(machine)
	h.mu.Lock()
	known, ok := h.indices[which]
	h.mu.Unlock()
	if ok && reflect.DeepEqual(known.input, in) {
		return known.result, nil
	}
	result, err := scoring.Index(in)
	if err != nil {
		return result, err
	}
	h.mu.Lock()
	h.indices[which] = heldIndex{in, result}
	h.mu.Unlock()
	return result, nil
}
