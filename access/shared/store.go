package shared

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

// Bucket is the key-value bucket of the people, and key the one key in it.
const (
	Bucket = "PEOPLE"
	key    = "people"

	stream = "KV_" + Bucket
)

// StaleLimit is how long a node that hears nothing of the cluster goes on
// letting in the people that it knew last. Nobody's rights outlive it.
const StaleLimit = 5 * time.Minute

// askEvery is how often a node asks for the list without being told of a
// change, and patience how long it tries to change it: longer than the servers
// take to choose another leader.
const (
	askEvery = 5 * time.Second
	patience = 12 * time.Second
	oneTry   = 3 * time.Second
	between  = 50 * time.Millisecond
)

// Store is an access.Store in a cluster.
type Store struct {
	kv   jetstream.KeyValue
	now  func() time.Time
	ctx  context.Context
	stop context.CancelFunc
	work sync.WaitGroup

	mu       sync.Mutex
	state    *access.State
	packed   []byte // state as the cluster holds it, nil for none
	revision uint64
	heard    time.Time // when the cluster last said that this is how it stands
	fault    error     // why what the cluster holds cannot be used
}

// Init makes the bucket on so many servers, and never alters one that is there.
// It needs the rights of an administrator. CodeConflict when it is there and set
// up in another way.
func Init(ctx context.Context, js jetstream.JetStream, replicas int) error {
	// Every read goes to the leader, so direct reads are off; deleting is off,
	// purging is not, because a bucket drops what was replaced.
	_, err := js.CreateStream(ctx, jetstream.StreamConfig{Name: stream, Subjects: []string{"$KV." + Bucket + ".>"},
		Storage: jetstream.FileStorage, Replicas: replicas, MaxMsgsPerSubject: 1, Discard: jetstream.DiscardNew, DenyDelete: true, AllowRollup: true})
	if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
		return registry.Refuse(registry.CodeConflict, "Use it as it is; nothing was altered.", "The cluster holds a list of people already, which is kept in another way")
	}
	if err != nil {
		return registry.Refuse(registry.CodeBusy, "See that as many servers run as copies are wanted, and that the address names an administrator.", "The list of people cannot be made in the cluster: %v", err)
	}
	return nil
}

// Open attaches to the people of a cluster. now is the clock. It makes nothing:
// CodeNotFound when the cluster holds no list, CodeTampered when it is damaged
// or was taken away, CodeBusy when nobody leads. The caller closes the Store
// before the connection.
func Open(ctx context.Context, js jetstream.JetStream, now func() time.Time) (*Store, error) {
	kv, err := js.KeyValue(ctx, Bucket)
	if errors.Is(err, jetstream.ErrBucketNotFound) {
		return nil, registry.Refuse(registry.CodeNotFound, "An administrator makes it with \"asfound ledger init\".", "The cluster holds no list of people")
	}
	if err != nil {
		return nil, unreachable()
	}
	s := &Store{kv: kv, now: now}
	if err := s.ask(ctx); err != nil {
		return nil, err
	}
	s.ctx, s.stop = context.WithCancel(context.WithoutCancel(ctx))
	watcher, err := kv.Watch(s.ctx, key)
	if err != nil {
		s.stop()
		return nil, unreachable()
	}
	s.work.Go(func() { s.listen(watcher) })
	return s, nil
}

// Close ends listening. What was read stays as it was.
func (s *Store) Close() error {
	s.stop()
	s.work.Wait()
	return nil
}

// unreachable is every failure to reach the list. What the servers said of it is
// nothing for the page of somebody who wants to sign in.
func unreachable() error {
	return registry.Refuse(registry.CodeBusy, "Try again when the cluster has a majority of its servers.", "The cluster cannot be asked for the list of people")
}

// listen takes what others write, and asks now and then.
func (s *Store) listen(w jetstream.KeyWatcher) {
	defer w.Stop()
	tick := time.NewTicker(askEvery)
	defer tick.Stop()
	updates := w.Updates()
	for {
		select {
		case <-s.ctx.Done():
			return
		case e, ok := <-updates:
			if !ok {
				updates = nil // asking goes on
			} else if e != nil && e.Operation() == jetstream.KeyValuePut {
				s.take(e.Value(), e.Revision())
			}
		case <-tick.C:
			ctx, cancel := context.WithTimeout(s.ctx, oneTry)
			_ = s.ask(ctx) // a failure shows in what Read says, when it lasts
			cancel()
		}
	}
}

// ask reads the list from the leader.
func (s *Store) ask(ctx context.Context) error {
	e, err := s.kv.Get(ctx, key)
	if errors.Is(err, jetstream.ErrKeyNotFound) {
		return s.none(ctx)
	}
	if err != nil {
		return unreachable()
	}
	return s.take(e.Value(), e.Revision())
}

// none tells a list that was never written from one that was taken away.
func (s *Store) none(ctx context.Context) error {
	status, err := s.kv.Status(ctx)
	if err != nil {
		return unreachable()
	}
	if b, ok := status.(*jetstream.KeyValueBucketStatus); !ok || b.StreamInfo().State.LastSeq > 0 {
		// Somebody may have written the first one since it was asked for.
		if e, err := s.kv.Get(ctx, key); err == nil {
			return s.take(e.Value(), e.Revision())
		} else if !errors.Is(err, jetstream.ErrKeyNotFound) {
			return unreachable()
		}
		return s.broken(registry.Refuse(registry.CodeTampered, "Bring it back from a copy; nobody gets in until then.", "The list of people was taken away from the cluster"))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.state, s.heard, s.fault = &access.State{Format: access.StateFormat}, s.now(), nil
	return nil
}

// broken keeps everybody out while what the cluster holds cannot be used.
func (s *Store) broken(err error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fault = err
	return err
}

// take keeps a list that the cluster gave, unless a later one is known.
func (s *Store) take(packed []byte, revision uint64) error {
	s.mu.Lock()
	known := s.revision
	if revision == known && s.state != nil {
		s.heard = s.now()
	}
	s.mu.Unlock()
	if revision <= known {
		return nil
	}
	state, err := unpack(packed)
	if err != nil {
		return s.broken(registry.Refuse(registry.CodeTampered, "Bring it back from a copy; nobody gets in until then.", "The list of people in the cluster is damaged"))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if revision > s.revision {
		s.state, s.packed, s.revision, s.heard, s.fault = state, packed, revision, s.now(), nil
	}
	return nil
}

// Read gives the people as this node knows them. CodeBusy when nothing was heard
// of the cluster for StaleLimit, CodeTampered when its list cannot be used.
func (s *Store) Read() (*access.State, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fault != nil {
		return nil, s.fault
	}
	if s.now().Sub(s.heard) > StaleLimit {
		return nil, registry.Refuse(registry.CodeBusy, "Try again when the cluster has a majority of its servers, or sign in at another node.",
			"This node has heard nothing of the cluster for %d minutes, so it cannot tell any more who may come in", int(StaleLimit/time.Minute))
	}
	return s.state, nil
}

// Update changes the people: it reads them from the leader and writes them over
// that revision alone, so fn may be called more than once. Codes: CodeBusy when
// nobody leads, CodeTooLarge when the list outgrew a message, CodeUnknown when
// the answer was lost and others wrote meanwhile.
func (s *Store) Update(fn func(*access.State) error) error {
	ctx, cancel := context.WithTimeout(s.ctx, patience)
	defer cancel()
	c := change{fn: fn}
	for {
		done, err := s.try(ctx, &c)
		if done {
			return err
		}
		select {
		case <-ctx.Done():
			if c.unclear {
				return unknown()
			}
			return unreachable()
		case <-time.After(between):
		}
	}
}

// change is a change of the list under way.
type change struct {
	fn      func(*access.State) error
	packed  []byte // as it was sent, nil before
	over    uint64 // revision over which it was sent
	unclear bool   // it was sent, and no answer came
}

func unknown() error {
	return registry.Refuse(registry.CodeUnknown, "Look whether it was done, and do it again if not.", "The answer of the cluster was lost, so the change to the list of people was perhaps made and perhaps not")
}

// try makes a change, or says that it is worth another try. What was sent
// without an answer is sent again as it was, over the same revision.
func (s *Store) try(ctx context.Context, c *change) (done bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, oneTry)
	defer cancel()
	if err := s.ask(ctx); err != nil {
		return registry.CodeOf(err) != registry.CodeBusy, err
	}
	s.mu.Lock()
	old, revision, packed := s.state, s.revision, s.packed
	s.mu.Unlock()
	if c.packed != nil && bytes.Equal(c.packed, packed) {
		return true, nil
	}
	if c.unclear && c.over != revision {
		return true, unknown()
	}
	if !c.unclear {
		next, err := access.Edit(old, c.fn)
		if err != nil {
			return true, err
		}
		if c.packed, err = pack(next); err != nil {
			return true, err
		}
		c.over = revision
	}
	written, err := s.kv.Update(ctx, key, c.packed, c.over)
	switch {
	case err == nil:
		return true, s.take(c.packed, written)
	case errors.Is(err, nats.ErrMaxPayload):
		return true, registry.Refuse(registry.CodeTooLarge, "Take back links, tokens and invitations that are not needed any more, or let the servers take larger messages.",
			"The list of people takes %d bytes, which is more than one message of the cluster", len(c.packed))
	case !errors.As(err, new(*jetstream.APIError)) && !errors.Is(err, jetstream.ErrNoStreamResponse):
		c.unclear = true // a refusal means that somebody else was first, or is being so
	}
	return false, err
}

// pack writes a list for the cluster. Compressed, a thousand accounts with
// their sessions fit into one message.
func pack(s *access.State) ([]byte, error) {
	raw, err := access.Encode(s)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write(raw); err != nil {
		return nil, err
	}
	err = w.Close()
	return b.Bytes(), err
}

// largest is how long an unpacked list may be, in bytes.
const largest = 64 << 20

func unpack(packed []byte) (*access.State, error) {
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	raw, err := io.ReadAll(io.LimitReader(r, largest+1))
	if err == nil && len(raw) > largest {
		err = fmt.Errorf("it is longer than %d bytes", largest)
	}
	if err != nil {
		return nil, err
	}
	return access.Decode(raw)
}
