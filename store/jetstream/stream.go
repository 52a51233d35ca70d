package jetstream

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/synadia-io/orbit.go/jetstreamext"

	"example.org/asfound/registry"
)

// stream reads one stream: what must be current from its leader, what is many
// in batches from whichever copy is near.
type stream struct {
	s    *Store
	name string
}

// Times of one question, of one batch or append, and between two tries.
const (
	questionWithin = time.Second
	requestWithin  = 3 * time.Second
	firstPause     = 5 * time.Millisecond
	longestPause   = 250 * time.Millisecond
)

// message is one message of a stream.
type message struct {
	subject  string
	sequence uint64
	header   nats.Header
	data     []byte
}

// errNone says that the stream holds no such message.
var errNone = errors.New("no such message")

// Numbers by which the servers name what is wrong (errors.json of the server).
const (
	apiNotFound       = 10037 // no message found
	apiNoStream       = 10059 // stream not found
	apiTooLarge       = 10054 // message size exceeds maximum allowed
	apiWrongLast      = 10071 // wrong last sequence
	apiNoResources    = 10023 // insufficient resources
	apiStoreFailed    = 10077 // the stream could not store
	apiIDInFlight     = 10158 // duplicate message id is in process
	apiSubjectInFligh = 10164 // expected sequence, subject in process
)

// request asks the servers something and reads the answer into out.
func (m *stream) request(ctx context.Context, subject string, body, out any) error {
	raw, err := json.Marshal(body)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, questionWithin)
	defer cancel()
	answer, err := m.s.nc.RequestWithContext(ctx, subject, raw)
	if err != nil {
		return err
	}
	return json.Unmarshal(answer.Data, out)
}

// leader gives one message as the stream's leader has it, or errNone.
func (m *stream) leader(ctx context.Context, which any) (out message, err error) {
	err = m.s.persist(ctx, func(ctx context.Context) error {
		out, err = m.leaderOnce(ctx, which)
		return err
	})
	return out, err
}

func (m *stream) leaderOnce(ctx context.Context, which any) (message, error) {
	var answer struct {
		Error   *jetstream.APIError `json:"error"`
		Message struct {
			Subject string `json:"subject"`
			Seq     uint64 `json:"seq"`
			Hdrs    []byte `json:"hdrs"`
			Data    []byte `json:"data"`
		} `json:"message"`
	}
	err := m.request(ctx, "$JS.API.STREAM.MSG.GET."+m.name, which, &answer)
	if err == nil {
		err = m.said(answer.Error)
	}
	if err != nil {
		return message{}, err
	}
	out := message{subject: answer.Message.Subject, sequence: answer.Message.Seq, data: answer.Message.Data}
	if len(answer.Message.Hdrs) > 0 {
		out.header, err = nats.DecodeHeadersMsg(answer.Message.Hdrs)
	}
	return out, err
}

// said turns a server's answer into an error; those that another try may change
// stay what they are.
func (m *stream) said(e *jetstream.APIError) error {
	switch {
	case e == nil:
		return nil
	case e.ErrorCode == apiNotFound:
		return errNone
	case e.ErrorCode == apiNoStream:
		return registry.Refuse(registry.CodeNotFound, "If it is new, let an administrator say \"asfound ledger init\". If it held a registry, write nothing: its servers have lost it, so bring it back from a backup or a node's folder.",
			"The cluster holds no stream %s", m.name)
	}
	return e
}

func last(subject string) any { return map[string]any{"last_by_subj": subject} }
func at(sequence uint64) any  { return map[string]any{"seq": sequence} }

// info gives the stream's settings and state as its leader has them.
func (m *stream) info(ctx context.Context) (*jetstream.StreamInfo, error) {
	var answer struct {
		Error *jetstream.APIError `json:"error"`
		jetstream.StreamInfo
	}
	err := m.s.persist(ctx, func(ctx context.Context) error {
		answer.Error = nil
		answer.StreamInfo = jetstream.StreamInfo{}
		if err := m.request(ctx, "$JS.API.STREAM.INFO."+m.name, map[string]any{}, &answer); err != nil {
			return err
		}
		// Where nobody leads, any server answers with what it has.
		if answer.Error == nil && answer.Cluster != nil && answer.Cluster.Leader == "" {
			return errors.New("no server leads")
		}
		return m.said(answer.Error)
	})
	return &answer.StreamInfo, err
}

// persist repeats what fails because no server leads, for as long as the
// store's patience lasts.
func (s *Store) persist(ctx context.Context, try func(context.Context) error) error {
	return s.persistFor(ctx, s.patience, try)
}

func (s *Store) persistFor(ctx context.Context, patience time.Duration, try func(context.Context) error) error {
	if err := s.alive(ctx); err != nil {
		return err
	}
	patient, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for wait := firstPause; ; wait = min(2*wait, longestPause) {
		err := try(patient)
		var known *registry.Error
		if err == nil || errors.Is(err, errNone) || errors.As(err, &known) {
			return err
		}
		if s.pause(patient, wait) == nil {
			continue
		}
		if gone := s.alive(ctx); gone != nil {
			return gone
		}
		return noMajority(err)
	}
}

// batchSize and batchBytes bound what one request brings.
const (
	batchSize  = 256
	batchBytes = 4 << 20
)

// batch reads some messages from a sequence on, from any copy of the stream. It
// may bring fewer than there are, and none.
func (m *stream) batch(ctx context.Context, from uint64, subject string) (out []*jetstream.RawStreamMsg, err error) {
	ctx, cancel := context.WithTimeout(ctx, requestWithin)
	defer cancel()
	messages, err := jetstreamext.GetBatch(ctx, m.s.js, m.name, batchSize, jetstreamext.GetBatchSeq(from),
		jetstreamext.GetBatchSubject(subject), jetstreamext.GetBatchMaxBytes(batchBytes))
	if err != nil {
		return nil, err
	}
	for message, err := range messages {
		if errors.Is(err, jetstreamext.ErrNoMessages) {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		out = append(out, message)
	}
	return out, nil
}

// changes calls fn for every message of a subject after a place, and gives the
// place that it came to. What came a moment ago may come with the next call.
func (m *stream) changes(ctx context.Context, place uint64, subject string, fn func(*jetstream.RawStreamMsg) error) (uint64, error) {
	for {
		var some []*jetstream.RawStreamMsg
		if err := m.s.persist(ctx, func(ctx context.Context) (err error) {
			some, err = m.batch(ctx, place+1, subject)
			return err
		}); err != nil || len(some) == 0 {
			return place, err
		}
		for _, one := range some {
			if err := fn(one); err != nil {
				return place, err
			}
			place = one.Sequence
		}
	}
}

// walk calls fn for each message of a subject after one sequence and up to
// another, which must be there: a copy that lags behind is asked again.
func (m *stream) walk(ctx context.Context, subject string, after, end uint64, fn func(*jetstream.RawStreamMsg) error) error {
	deadline := time.Now().Add(m.s.patience)
	for wait := firstPause; after < end; {
		some, err := m.batch(ctx, after+1, subject)
		if gone := m.s.alive(ctx); gone != nil {
			return gone
		}
		for _, message := range some {
			if message.Sequence <= after || message.Sequence > end {
				break
			}
			if err := fn(message); err != nil {
				return err
			}
			after = message.Sequence
			if err := m.s.alive(ctx); err != nil {
				return err
			}
		}
		if len(some) > 0 {
			wait, deadline = firstPause, time.Now().Add(m.s.patience)
			continue
		}
		if time.Now().After(deadline) {
			if err == nil {
				err = fmt.Errorf("nothing was found between %d and %d", after, end)
			}
			return noMajority(err)
		}
		if err := m.s.pause(ctx, wait); err != nil {
			return err
		}
		wait = min(2*wait, longestPause)
	}
	return nil
}
