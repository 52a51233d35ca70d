package access

import (
	"sync"
	"time"

	"example.org/asfound/registry"
)

// How often somebody may be wrong before having to wait. Whoever guesses from
// elsewhere makes nobody wait who has been let in from an address before.
const (
	freePair    = 5  // one name from one address
	freeAddress = 20 // any names from one address
	freeName    = 50 // one name from all unknown addresses
	longestWait = 15 * time.Minute
	forgetAfter = time.Hour
	maxTries    = 10000 // remembered at once
)

type tries struct {
	wrong int
	last  time.Time
}

// throttle makes those wait who were wrong too often. It forgets with the
// process.
type throttle struct {
	mu    sync.Mutex
	by    map[string]*tries
	known map[string]time.Time // name and address that were let in
}

// limitsOf are what an attempt counts against.
func (t *throttle) limitsOf(name, address string) map[string]int {
	pair := name + "\n" + address
	out := map[string]int{"pair " + pair: freePair, "address " + address: freeAddress}
	if _, ok := t.known[pair]; !ok {
		out["name "+name] = freeName
	}
	return out
}

// begin counts an attempt as wrong until success says otherwise, so that many
// at once do not slip through. CodeTooMany with the seconds to wait.
func (t *throttle) begin(name, address string, now time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.by == nil {
		t.by, t.known = map[string]*tries{}, map[string]time.Time{}
	}
	t.forget(now)
	limits := t.limitsOf(name, address)
	for key, free := range limits {
		e := t.by[key]
		if e == nil {
			continue
		}
		if wait := e.last.Add(waitAfter(e.wrong - free)).Sub(now); wait > 0 {
			return &TooMany{Wait: wait}
		}
	}
	for key := range limits {
		if t.by[key] == nil {
			t.by[key] = &tries{}
		}
		t.by[key].wrong++
		t.by[key].last = now
	}
	return nil
}

// waitAfter is how long to wait after so many wrong ones beyond the free ones:
// 2 s, 4 s, 8 s and so on.
func waitAfter(over int) time.Duration {
	if over < 0 {
		return 0
	}
	if over > 9 {
		return longestWait
	}
	return min(longestWait, 2*time.Second<<over)
}

// success takes back what begin counted.
func (t *throttle) success(name, address string, now time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for key := range t.limitsOf(name, address) {
		if e := t.by[key]; e != nil {
			e.wrong--
		}
	}
	delete(t.by, "pair "+name+"\n"+address)
	t.known[name+"\n"+address] = now
}

func (t *throttle) forget(now time.Time) {
	if len(t.by) < maxTries && len(t.known) < maxTries {
		return
	}
	for k, e := range t.by {
		if now.Sub(e.last) > forgetAfter {
			delete(t.by, k)
		}
	}
	if len(t.by) >= maxTries {
		clear(t.by)
	}
	if len(t.known) >= maxTries {
		clear(t.known)
	}
}

// TooMany says that somebody must wait before trying again.
type TooMany struct{ Wait time.Duration }

// Seconds is the time to wait, rounded up.
func (t *TooMany) Seconds() int { return int((t.Wait + time.Second - 1) / time.Second) }

func (t *TooMany) Error() string { return t.Unwrap().Error() }

// Unwrap gives the refusal in words.
func (t *TooMany) Unwrap() error {
	return registry.Refuse(CodeTooMany, "Wait, and try again. Nobody is locked out for good.", "There were too many wrong attempts; the next one is possible in %d s", t.Seconds())
}
