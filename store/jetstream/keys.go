package jetstream

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/asfound/store"
)

// KeysBucket is the key-value bucket of the keys of private values.
const KeysBucket = "KEYS"

// Keys are the keys of the private values and the notes beside them, as
// store.KeyFiles: one value a file, written only over the one that was read.
type Keys struct {
	s      *Store
	stream *stream
}

var _ store.KeyFiles = (*Keys)(nil)

const keysSubject = "$KV." + KeysBucket + "."

func keySubject(name string) string { return keysSubject + token.EncodeToString([]byte(name)) }

// keysConfig keeps the last value of each, and lets one be overwritten: a key
// that is destroyed must be nowhere.
func keysConfig(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{Name: "KV_" + KeysBucket, Description: "asfound keys of private values", Subjects: []string{keysSubject + ">"},
		Storage: jetstream.FileStorage, Replicas: replicas, MaxMsgsPerSubject: 1, Discard: jetstream.DiscardNew, AllowDirect: true}
}

// Load implements store.KeyFiles. Every read goes to the leader.
func (k *Keys) Load(ctx context.Context, name, _ string) ([]byte, error) {
	m, err := k.stream.leader(ctx, last(keySubject(name)))
	if errors.Is(err, errNone) {
		return nil, store.NoKeyFile(name)
	}
	return m.data, err
}

// Change implements store.KeyFiles. A value that is to be shredded is overwritten
// on every server before the next one is written; until then nobody reads it.
func (k *Keys) Change(ctx context.Context, name string, shred bool, fn func(old []byte) ([]byte, error)) error {
	return k.s.persist(ctx, func(ctx context.Context) error {
		was, err := k.stream.leaderOnce(ctx, last(keySubject(name)))
		there := err == nil
		if err != nil && !errors.Is(err, errNone) {
			return err
		}
		if !there {
			was = message{}
		} else if was.data == nil {
			was.data = []byte{}
		}
		next, err := fn(was.data)
		if err != nil || there && bytes.Equal(was.data, next) {
			return err
		}
		if there && shred {
			if err := k.shred(ctx, was.sequence); err != nil {
				return err
			}
			was.sequence = 0
		}
		return k.write(ctx, name, was.sequence, next)
	})
}

// write writes a value over the one of a sequence, 0 for none.
func (k *Keys) write(ctx context.Context, name string, over uint64, value []byte) error {
	m := nats.NewMsg(keySubject(name))
	m.Data = value
	m.Header.Set(nats.ExpectedStreamHdr, k.stream.name)
	m.Header.Set(nats.ExpectedLastSubjSeqHdr, strconv.FormatUint(over, 10))
	once, cancel := context.WithTimeout(ctx, requestWithin)
	defer cancel()
	answer, err := k.s.nc.RequestMsgWithContext(once, m)
	if err != nil {
		return err
	}
	var ack struct {
		Error    *jetstream.APIError `json:"error"`
		Sequence uint64              `json:"seq"`
	}
	if err := json.Unmarshal(answer.Data, &ack); err != nil {
		return err
	}
	if ack.Error == nil && ack.Sequence == 0 {
		return errors.New("an answer that says nothing")
	}
	return k.stream.said(ack.Error)
}

// shred overwrites one message on every server.
func (k *Keys) shred(ctx context.Context, sequence uint64) error {
	all, err := k.s.js.Stream(ctx, k.stream.name)
	if err == nil {
		err = all.SecureDeleteMsg(ctx, sequence)
	}
	return err // also when somebody else was first; the next try sees that
}

// Remove implements store.KeyFiles.
func (k *Keys) Remove(ctx context.Context, name string) error {
	return k.s.persist(ctx, func(ctx context.Context) error {
		m, err := k.stream.leaderOnce(ctx, last(keySubject(name)))
		if errors.Is(err, errNone) {
			return nil
		}
		if err == nil {
			err = k.shred(ctx, m.sequence)
		}
		return err
	})
}

// Names implements store.KeyFiles.
func (k *Keys) Names(ctx context.Context, prefix string) ([]string, error) {
	var out []string
	_, err := k.Changes(ctx, 0, func(name string, _ []byte) error {
		if strings.HasPrefix(name, prefix) && !slices.Contains(out, name) {
			out = append(out, name)
		}
		return nil
	})
	slices.Sort(out)
	return out, err
}

// Changes calls fn for every file that was written after a place in the order of
// the writes, 0 for all, as it is now, and gives the place that it came to. What
// was written a moment ago may come with the next call.
func (k *Keys) Changes(ctx context.Context, place uint64, fn func(name string, raw []byte) error) (uint64, error) {
	return k.stream.changes(ctx, place, keysSubject+">", func(m *jetstream.RawStreamMsg) error {
		name, err := token.DecodeString(strings.TrimPrefix(m.Subject, keysSubject))
		if err != nil {
			return nil // none of ours
		}
		return fn(string(name), m.Data)
	})
}
