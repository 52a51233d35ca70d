package jetstream

import (
	"context"
	"encoding/base32"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// firstHeader of a message is the version of the commit's first event.
const firstHeader = "Asfound-First"

// ledger is the registry.Ledger of a cluster. One commit is one message, whose
// sequence is its position.
type ledger struct {
	s      *Store
	stream *stream
}

var _ registry.Ledger = (*ledger)(nil)

// token writes any text so that it can stand in a subject or a header.
var token = base32.HexEncoding.WithPadding(base32.NoPadding)

func subjectOf(machine string) string { return subjectPrefix + token.EncodeToString([]byte(machine)) }

// record reads a message.
func record(subject string, sequence uint64, header nats.Header, data []byte) (registry.Record, error) {
	machine, err := token.DecodeString(strings.TrimPrefix(subject, subjectPrefix))
	first, numberErr := strconv.ParseUint(header.Get(firstHeader), 10, 64)
	if err != nil || numberErr != nil || first == 0 {
		return registry.Record{}, registry.Refuse(registry.CodeTampered, "Compare with a backup or a node's folder.",
			"The message at position %d of the cluster's ledger was not written by asfound", sequence)
	}
	r, err := store.DecodeCommit(string(machine), first, data)
	r.Position = registry.Position(sequence)
	return r, err
}

// after is a machine's head just after a commit.
func after(r registry.Record) registry.Head {
	return registry.Head{Position: r.Position, Version: r.First + uint64(len(r.Events)) - 1}
}

// Head implements registry.Ledger.
func (l *ledger) Head(ctx context.Context, machine string) (registry.Head, error) {
	if err := l.s.alive(ctx); err != nil || registry.CheckID("", machine) != nil {
		return registry.Head{}, err
	}
	return l.head(ctx, machine)
}

func (l *ledger) head(ctx context.Context, machine string) (registry.Head, error) {
	m, err := l.stream.leader(ctx, last(subjectOf(machine)))
	if errors.Is(err, errNone) {
		return registry.Head{}, nil
	}
	if err != nil {
		return registry.Head{}, err
	}
	r, err := record(m.subject, m.sequence, m.header, m.data)
	if err != nil {
		return registry.Head{}, err
	}
	return after(r), nil
}

// End implements registry.Ledger.
func (l *ledger) End(ctx context.Context) (registry.Position, error) {
	info, err := l.stream.info(ctx)
	if err != nil {
		return 0, err
	}
	return registry.Position(info.State.LastSeq), nil
}

// Read implements registry.Ledger. Versions that are missing are an error of
// CodeTampered, never a shorter history.
func (l *ledger) Read(ctx context.Context, machine string, version uint64, fn func(registry.Record) error) error {
	head, err := l.Head(ctx, machine)
	if err != nil || version >= head.Version {
		return err
	}
	next := uint64(1)
	return l.stream.walk(ctx, subjectOf(machine), 0, uint64(head.Position), func(m *jetstream.RawStreamMsg) error {
		r, err := record(m.Subject, m.Sequence, m.Header, m.Data)
		if err != nil {
			return err
		}
		if r.First != next {
			return missing("Version %d of %s is missing in the cluster", next, machine)
		}
		if next = after(r).Version + 1; next <= version+1 {
			return nil
		}
		return fn(r)
	})
}

func missing(format string, args ...any) error {
	return registry.Refuse(registry.CodeTampered, "Compare with a backup or a node's folder.", format, args...)
}

// ReadAll implements registry.Ledger. A position that is missing is an error of
// CodeTampered.
func (l *ledger) ReadAll(ctx context.Context, position registry.Position, fn func(registry.Record) error) error {
	end, err := l.End(ctx)
	if err != nil {
		return err
	}
	return l.readTo(ctx, position, end, fn)
}

func (l *ledger) readTo(ctx context.Context, position, end registry.Position, fn func(registry.Record) error) error {
	return l.stream.walk(ctx, subjectPrefix+"*", uint64(position), uint64(end), func(m *jetstream.RawStreamMsg) error {
		return l.deliver(m, &position, fn)
	})
}

// deliver gives a message to a reader of the whole ledger, which stands at a
// position.
func (l *ledger) deliver(m *jetstream.RawStreamMsg, position *registry.Position, fn func(registry.Record) error) error {
	r, err := record(m.Subject, m.Sequence, m.Header, m.Data)
	if err != nil {
		return err
	}
	if r.Position != *position+1 {
		return missing("Position %d of the cluster's ledger is missing", *position+1)
	}
	*position = r.Position
	return fn(r)
}

// followEvery is how long a follower waits before it looks again.
const followEvery = 200 * time.Millisecond

// Follow implements registry.Ledger. It asks any copy of the stream, so it goes
// on while there is no leader, and needs nothing of the servers that a change of
// leader could lose. A copy may lag behind by moments.
func (l *ledger) Follow(ctx context.Context, position registry.Position, fn func(registry.Record) error) error {
	for {
		if err := l.s.alive(ctx); err != nil {
			return err
		}
		some, _ := l.stream.batch(ctx, uint64(position)+1, subjectPrefix+"*") // what fails is tried again
		for _, m := range some {
			if err := l.s.alive(ctx); err != nil {
				return err
			}
			if err := l.deliver(m, &position, fn); err != nil {
				return err
			}
		}
		if len(some) == 0 {
			if err := l.s.pause(ctx, followEvery); err != nil {
				return err
			}
		}
	}
}

// Close implements registry.Ledger.
func (l *ledger) Close() error { return l.s.Close() }

// Append implements registry.Ledger.
func (l *ledger) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if err := c.Check(); err != nil {
		return registry.Receipt{}, err
	}
	if err := l.s.alive(ctx); err != nil {
		return registry.Receipt{}, err
	}
	a := appending{ledger: l, commit: c, data: store.EncodeCommit(c.ID, c.Events)}
	if err := store.CheckEncoded(len(c.Events), a.data); err != nil {
		return registry.Receipt{}, err
	}
	patient, cancel := context.WithTimeout(ctx, l.s.patience)
	defer cancel()
	for wait := firstPause; ; wait = min(2*wait, longestPause) {
		r, err := a.try(patient)
		if err == nil || !errors.As(err, new(again)) {
			return r, a.certain(ctx, err)
		}
		if l.s.pause(patient, wait) != nil {
			return registry.Receipt{}, a.certain(ctx, err)
		}
	}
}

// again marks an error after which the same commit is tried once more.
type again struct{ error }

// appending is one commit on its way into the stream.
type appending struct {
	*ledger
	commit registry.Commit
	data   []byte
	// perhaps says that a try went out whose answer never came.
	perhaps bool
}

// certain puts an error so that it says whether the commit was stored.
func (a *appending) certain(ctx context.Context, err error) error {
	code := registry.CodeOf(err)
	switch {
	case err == nil, code == registry.CodeConflict, code == registry.CodeTooLarge:
		return err
	case a.perhaps:
		return unconfirmed()
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.As(err, new(again)), code == registry.CodeBusy, errors.Is(err, context.DeadlineExceeded):
		if gone := a.s.alive(ctx); gone != nil {
			return gone
		}
		return nobodyWrites()
	}
	return err
}

// try sends the commit once, on the head that the leader shows.
func (a *appending) try(ctx context.Context) (registry.Receipt, error) {
	c := a.commit
	head, err := a.head(ctx, c.Machine)
	if err != nil {
		return registry.Receipt{}, err
	}
	if head.Version != c.Expect {
		return a.passed(ctx, head)
	}
	m := nats.NewMsg(subjectOf(c.Machine))
	m.Data = a.data
	m.Header.Set(nats.MsgIdHdr, token.EncodeToString([]byte(c.ID)))
	m.Header.Set(nats.ExpectedStreamHdr, Stream)
	m.Header.Set(nats.ExpectedLastSubjSeqHdr, strconv.FormatUint(uint64(head.Position), 10))
	m.Header.Set(firstHeader, strconv.FormatUint(c.Expect+1, 10))
	once, cancel := context.WithTimeout(ctx, requestWithin)
	defer cancel()
	raw, err := a.s.nc.RequestMsgWithContext(once, m)
	switch {
	case errors.Is(err, nats.ErrNoResponders), errors.Is(err, nats.ErrReconnectBufExceeded):
		return registry.Receipt{}, again{err} // it was not even sent
	case errors.Is(err, nats.ErrMaxPayload):
		return registry.Receipt{}, a.tooLarge()
	case err != nil:
		a.perhaps = true
		return registry.Receipt{}, again{err}
	}
	var ack struct {
		Error     *jetstream.APIError `json:"error"`
		Sequence  uint64              `json:"seq"`
		Duplicate bool                `json:"duplicate"`
	}
	if err := json.Unmarshal(raw.Data, &ack); err != nil {
		a.perhaps = true
		return registry.Receipt{}, again{err}
	}
	switch {
	case ack.Error == nil && ack.Duplicate:
		return a.duplicate(ctx, ack.Sequence)
	case ack.Error == nil && ack.Sequence > 0:
		return registry.Receipt{Head: registry.Head{Position: registry.Position(ack.Sequence), Version: c.Expect + uint64(len(c.Events))}}, nil
	case ack.Error == nil:
		a.perhaps = true
		return registry.Receipt{}, again{errors.New("an answer that says nothing")}
	}
	switch ack.Error.ErrorCode {
	case apiTooLarge:
		return registry.Receipt{}, a.tooLarge()
	case apiNoResources, apiStoreFailed:
		return registry.Receipt{}, noRoom(ack.Error.Description)
	case apiIDInFlight:
		a.perhaps = true
	case apiWrongLast, apiSubjectInFligh:
		// Somebody else was quicker, or is being so: look again.
	}
	return registry.Receipt{}, again{ack.Error}
}

func (a *appending) tooLarge() error {
	return registry.Refuse(registry.CodeTooLarge, "Spread the events over several commits, or let the servers take larger messages (max_payload).",
		"The commit takes %d bytes, which is more than the cluster takes at once", len(a.data))
}

// duplicate answers from what is stored at a sequence.
func (a *appending) duplicate(ctx context.Context, sequence uint64) (registry.Receipt, error) {
	m, err := a.stream.leader(ctx, at(sequence))
	if err != nil {
		a.perhaps = true
		return registry.Receipt{}, again{err}
	}
	r, err := record(m.subject, m.sequence, m.header, m.data)
	if err != nil {
		return registry.Receipt{}, err
	}
	return registry.Receipt{Head: after(r), Duplicate: true}, nil
}

// passed answers when the machine does not stand where the commit expects it:
// the commit itself may be among what came since.
func (a *appending) passed(ctx context.Context, head registry.Head) (out registry.Receipt, err error) {
	if a.perhaps && head.Version < a.commit.Expect {
		return out, again{errors.New("a server that lags behind answered")}
	}
	found := errors.New("found")
	err = a.Read(ctx, a.commit.Machine, 0, func(r registry.Record) error {
		if r.ID != a.commit.ID {
			return nil
		}
		out = registry.Receipt{Head: after(r), Duplicate: true}
		return found
	})
	if errors.Is(err, found) {
		return out, nil
	}
	if err != nil {
		return registry.Receipt{}, again{err}
	}
	return registry.Receipt{}, store.MovedOn(a.commit, head.Version)
}
