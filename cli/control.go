package cli

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"time"

	"example.org/asfound/registry"
)

// A server has its registry to itself. What the keeper must be able to do
// meanwhile, a second process asks for on a socket in the registry's folder,
// which nobody but the folder's owner can open. One request and one answer a
// connection, each a line of JSON.

const controlName = "control.sock"

// controlRequest asks a running server for an act of the keeper.
type controlRequest struct {
	Act    string   `json:"act"` // backup, audit
	Folder string   `json:"folder,omitempty"`
	To     []string `json:"to,omitempty"`
}

// controlAnswer is the answer: one of the two.
type controlAnswer struct {
	Done   json.RawMessage `json:"done,omitempty"`
	Failed *registry.Error `json:"failed,omitempty"`
}

// control listens for the keeper's requests until ctx ends. The socket is for
// convenience: without one, the server serves all the same.
func (o *opened) control(ctx context.Context) (stop func(), err error) {
	path := filepath.Join(o.store.Dir(), controlName)
	// Under its name it is never open to anybody else, not for a moment.
	made := path + ".new"
	if err := os.Remove(made); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: made, Net: "unix"})
	if err != nil {
		return nil, err
	}
	l.SetUnlinkOnClose(false)
	if err := errors.Join(os.Chmod(made, 0o600), os.Rename(made, path)); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			// One after the other: they are long and few.
			o.answerControl(ctx, conn)
		}
	}()
	return func() { cancel(); l.Close(); os.Remove(path); <-done }, nil
}

func (o *opened) answerControl(ctx context.Context, conn net.Conn) {
	defer conn.Close()
	conn.SetReadDeadline(time.Now().Add(5 * time.Second))
	var ask controlRequest
	if err := json.NewDecoder(io.LimitReader(conn, 64<<10)).Decode(&ask); err != nil {
		return
	}
	var out any
	var err error
	switch ask.Act {
	case "backup":
		recipients, names, readErr := readRecipients(ask.To)
		if err = readErr; err == nil {
			out, err = o.backup(ctx, ask.Folder, recipients, names, nil)
		}
	case "audit":
		out, err = o.audit(ctx, func(int) {})
	default:
		err = registry.Refuse(registry.CodeUnsupported, "Use the same program for both.", "The running server does not know %.40q", ask.Act)
	}
	var answer controlAnswer
	if err == nil {
		answer.Done, err = json.Marshal(out)
	}
	if err != nil && !errors.As(err, &answer.Failed) {
		answer.Failed = &registry.Error{Code: registry.CodeInternal, Message: err.Error()}
	}
	json.NewEncoder(conn).Encode(answer)
}

// askServer asks the server that has the registry open. asked says whether one
// answered.
func askServer[T any](c *call, ask controlRequest) (out T, asked bool, err error) {
	conn, err := net.Dial("unix", filepath.Join(c.line.Dir, controlName))
	if err != nil {
		return out, false, err
	}
	defer conn.Close()
	stop := context.AfterFunc(c.ctx, func() { conn.Close() })
	defer stop()
	if err := json.NewEncoder(conn).Encode(ask); err != nil {
		return out, false, err
	}
	var answer controlAnswer
	if err := json.NewDecoder(conn).Decode(&answer); err != nil {
		return out, true, registry.Refuse(registry.CodeUnknown, "Look at its log, and ask again.", "The running server ended before it answered")
	}
	if answer.Failed != nil {
		return out, true, answer.Failed
	}
	return out, true, json.Unmarshal(answer.Done, &out)
}
