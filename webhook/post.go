package webhook

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"example.org/asfound/registry"
)

// waits are how long after each failed try the next one comes. After the last
// the notice is given up.
var waits = []time.Duration{30 * time.Second, 2 * time.Minute, 10 * time.Minute, time.Hour, 6 * time.Hour}

// maxLog is how long the log of deliveries grows before it is put aside; one
// older log is kept.
const maxLog = 1 << 20

// Post keeps the addresses, what waits to be sent, and the log, in one folder.
type Post struct {
	Folder string
	Now    func() time.Time

	mu sync.Mutex
}

// Delivery is one line of the log: one try to tell one address.
type Delivery struct {
	At     time.Time `json:"at"`
	Hook   string    `json:"hook"`
	Notice string    `json:"notice"`
	Try    int       `json:"try"` // counted from 1
	// Status is the receiver's, 0 when none came.
	Status  int    `json:"status,omitempty"`
	Outcome string `json:"outcome"` // delivered, failed, given-up
	Why     string `json:"why,omitempty"`
}

// waiting is a notice on its way to one address.
type waiting struct {
	Hook   string    `json:"hook"`
	Notice Notice    `json:"notice"`
	Tries  int       `json:"tries"`
	Next   time.Time `json:"next"`
}

func (p *Post) file(name ...string) string {
	return filepath.Join(append([]string{p.Folder}, name...)...)
}

// read reads a file that keep wrote; found is false when there is none.
// CodeTampered when it is not as it was written.
func (p *Post) read(name string, v any) (found bool, err error) {
	raw, err := os.ReadFile(p.file(name))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if json.Unmarshal(raw, v) != nil {
		return false, registry.Refuse(registry.CodeTampered, "Put it back from a copy, or move it away: what it told is then to be said again.", "The file %s of the webhooks is not as it was written", name)
	}
	return true, nil
}

// Hooks lists the addresses in order of adding. CodeTampered when their file is
// damaged.
func (p *Post) Hooks() (out []Hook, err error) {
	_, err = p.read("hooks.json", &out)
	return out, err
}

// Add keeps an address. CodeInvalid for one that must not be told, CodeConflict
// when it is told already.
func (p *Post) Add(h Hook) error {
	if err := CheckURL(h.URL, h.PrivateNetwork); err != nil {
		return err
	}
	hooks, err := p.Hooks()
	if err != nil {
		return err
	}
	for _, x := range hooks {
		if x.URL == h.URL || x.ID == h.ID {
			return registry.Refuse(registry.CodeConflict, "Remove it first to get a new secret.", "This address is told already, as %s", x.ID)
		}
	}
	if _, begun, err := p.After(); err != nil || !begun {
		// From the beginning of the ledger: what is older than Added is passed over.
		if err := errors.Join(err, p.SetAfter(0)); err != nil {
			return err
		}
	}
	return p.keep("hooks.json", append(hooks, h))
}

// Remove forgets an address and what waits for it. CodeNotFound when there is
// none of that name.
func (p *Post) Remove(id string) error {
	hooks, err := p.Hooks()
	if err != nil {
		return err
	}
	left := slices.DeleteFunc(slices.Clone(hooks), func(h Hook) bool { return h.ID == id })
	if len(left) == len(hooks) {
		return registry.Refuse(registry.CodeNotFound, "List them with \"asfound hook list\".", "There is no webhook %q", id)
	}
	return p.keep("hooks.json", left)
}

// keep writes a file whole or not at all; nobody else may read it.
func (p *Post) keep(name string, v any) error {
	raw, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		return err
	}
	path := p.file(name)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path+".part", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(append(raw, '\n'))
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(path+".part", path)
}

// After is the place in the ledger up to which decisions are on their way; ok
// is false before the first.
func (p *Post) After() (at registry.Position, ok bool, err error) {
	ok, err = p.read("after.json", &at)
	return at, ok, err
}

// SetAfter remembers the place.
func (p *Post) SetAfter(at registry.Position) error { return p.keep("after.json", at) }

// Take puts the decisions of a commit on their way to each address that was
// added before they were recorded, and remembers the place. It says how many.
func (p *Post) Take(r registry.Record) (n int, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	hooks, err := p.Hooks()
	if err != nil || len(hooks) == 0 {
		return 0, err
	}
	notices, err := Notices(r)
	if err != nil {
		return 0, err
	}
	for _, notice := range notices {
		for _, h := range hooks {
			if notice.Recorded.Before(h.Added.Truncate(time.Millisecond)) {
				continue
			}
			if err := p.keep(waitingName(h.ID, notice.ID), waiting{Hook: h.ID, Notice: notice, Next: p.Now()}); err != nil {
				return n, err
			}
			n++
		}
	}
	if len(notices) > 0 {
		err = p.SetAfter(r.Position)
	}
	return n, err
}

func waitingName(hook, notice string) string {
	return filepath.Join("waiting", notice+"."+hook+".json")
}

// Send tries what is due, oldest first, and says when the next is; zero when
// nothing waits. A failed try is no error: it is logged. A notice that cannot be
// read keeps no other one waiting.
func (p *Post) Send(ctx context.Context) (next time.Time, err error) {
	names, err := filepath.Glob(p.file("waiting", "*.json"))
	if err != nil {
		return next, err
	}
	hooks, err := p.Hooks()
	if err != nil {
		return next, err
	}
	var unread error
	for _, name := range names {
		var w waiting
		if found, err := p.read(filepath.Join("waiting", filepath.Base(name)), &w); err != nil || !found {
			unread = errors.Join(unread, err)
			continue
		}
		again, err := p.try(ctx, hooks, w)
		if err != nil {
			return next, err
		}
		if !again.IsZero() && (next.IsZero() || again.Before(next)) {
			next = again
		}
	}
	return next, unread
}

// try sends one notice if it is due, and says when it is to be tried again.
func (p *Post) try(ctx context.Context, hooks []Hook, w waiting) (time.Time, error) {
	now := p.Now()
	if w.Next.After(now) {
		return w.Next, nil
	}
	file := p.file(waitingName(w.Hook, w.Notice.ID))
	i := slices.IndexFunc(hooks, func(h Hook) bool { return h.ID == w.Hook })
	if i < 0 {
		return time.Time{}, os.Remove(file) // the address was removed
	}
	status, sendErr := send(ctx, hooks[i], w.Notice, now)
	if ctx.Err() != nil {
		return time.Time{}, ctx.Err() // told to stop: no try
	}
	w.Tries++
	line := Delivery{At: now.UTC(), Hook: w.Hook, Notice: w.Notice.ID, Try: w.Tries, Status: status, Outcome: "delivered"}
	again := time.Time{}
	if sendErr != nil {
		line.Outcome, line.Why = "given-up", sendErr.Error()
		if w.Tries <= len(waits) && status != http.StatusGone {
			line.Outcome = "failed"
			again = now.Add(waits[w.Tries-1])
		}
	}
	if err := p.log(line); err != nil {
		return again, err
	}
	if again.IsZero() {
		return again, os.Remove(file)
	}
	w.Next = again
	return again, p.keep(waitingName(w.Hook, w.Notice.ID), w)
}

// send posts a notice once. Any status from 200 to 299 means that it arrived.
func send(ctx context.Context, h Hook, n Notice, now time.Time) (status int, err error) {
	body, err := json.Marshal(n)
	if err != nil {
		return 0, err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, h.URL, bytes.NewReader(body))
	if err != nil {
		return 0, err
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "asfound")
	sign(r, body, h.ID, h.Secret, now)
	answer, err := client(h).Do(r)
	if err != nil {
		var refused *registry.Error
		if errors.As(err, &refused) {
			return 0, errors.New(refused.Message)
		}
		var inner *url.Error // whose text would tell the address with its query
		if errors.As(err, &inner) {
			err = inner.Err
		}
		return 0, fmt.Errorf("no answer came: %w", err)
	}
	defer answer.Body.Close()
	io.Copy(io.Discard, io.LimitReader(answer.Body, 64<<10)) // of no interest, but lets the receiver finish
	if answer.StatusCode < 200 || answer.StatusCode > 299 {
		return answer.StatusCode, fmt.Errorf("the receiver answered %d", answer.StatusCode)
	}
	return answer.StatusCode, nil
}

func (p *Post) log(line Delivery) error {
	name := p.file("deliveries.jsonl")
	if info, err := os.Stat(name); err == nil && info.Size() > maxLog {
		if err := os.Rename(name, name+".old"); err != nil {
			return err
		}
	}
	raw, err := json.Marshal(line)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(append(raw, '\n'))
	return errors.Join(err, f.Close())
}

// Log reads the latest lines of the log, at most n, oldest first. A line that
// was cut off is left out.
func (p *Post) Log(n int) ([]Delivery, error) {
	out := []Delivery{}
	for _, name := range []string{"deliveries.jsonl.old", "deliveries.jsonl"} {
		raw, err := os.ReadFile(p.file(name))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
		for line := range bytes.Lines(raw) {
			var d Delivery
			if json.Unmarshal(line, &d) == nil {
				out = append(out, d)
			}
		}
	}
	return out[max(0, len(out)-n):], nil
}

// Run puts decisions on their way as they are recorded, and sends them, until
// ctx ends. report is told what goes wrong; nothing here stops the registry.
func (p *Post) Run(ctx context.Context, ledger registry.Ledger, report func(error)) {
	news := make(chan struct{}, 1)
	news <- struct{}{}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			if err := p.follow(ctx, ledger, news); err != nil && ctx.Err() == nil {
				report(err)
				select {
				case <-ctx.Done():
				case <-time.After(waits[0]):
				}
			}
		}
	}()
	p.sendAsDue(ctx, news, report)
	<-done
}

// begin is the place from which the ledger is read: where it was left, or its
// end where nobody has asked to be told yet.
func (p *Post) begin(ctx context.Context, ledger registry.Ledger) (registry.Position, error) {
	end, err := ledger.End(ctx)
	if err != nil {
		return 0, err
	}
	after, begun, err := p.After()
	if err != nil || begun && after <= end {
		return after, err
	}
	return end, nil // or left in another ledger
}

func (p *Post) follow(ctx context.Context, ledger registry.Ledger, news chan<- struct{}) error {
	after, err := p.begin(ctx, ledger)
	if err != nil {
		return err
	}
	return ledger.Follow(ctx, after, func(r registry.Record) error {
		n, err := p.Take(r)
		if n > 0 {
			select {
			case news <- struct{}{}:
			default:
			}
		}
		return err
	})
}

// Once puts on their way the decisions that were recorded while nobody served,
// and tries once what is due.
func (p *Post) Once(ctx context.Context, ledger registry.Ledger) error {
	after, err := p.begin(ctx, ledger)
	if err != nil {
		return err
	}
	if err := ledger.ReadAll(ctx, after, func(r registry.Record) error { _, err := p.Take(r); return err }); err != nil {
		return err
	}
	_, err = p.Send(ctx)
	return err
}

func (p *Post) sendAsDue(ctx context.Context, news <-chan struct{}, report func(error)) {
	var timer <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case <-news:
		case <-timer:
		}
		next, err := p.Send(ctx)
		if err != nil && ctx.Err() == nil {
			report(err)
			next = p.Now().Add(waits[0])
		}
		timer = nil
		if !next.IsZero() {
			timer = time.After(max(time.Second, next.Sub(p.Now())))
		}
	}
}
