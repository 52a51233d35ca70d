package cli

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

// peopleFile holds the accounts, beside the ledger and not in it. peopleLock
// lets one process at a time change them; once there were people, it says so,
// and a missing list is then a loss and no beginning.
const (
	peopleFile = "people.json"
	peopleLock = "people.lock"
)

const therePeople = "There are accounts, in " + peopleFile + ".\n"

// peopleStore keeps people in a file. The running server and commands use it at
// the same time: what another process wrote is read anew.
type peopleStore struct {
	dir   string
	mu    sync.Mutex
	state *access.State
	stamp os.FileInfo // of the file that state was read from
}

func (p *peopleStore) path() string { return filepath.Join(p.dir, peopleFile) }

// Read gives the people as they stand. CodeTampered when the file is damaged,
// missing though there were people, or open to other users.
func (p *peopleStore) Read() (*access.State, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.read()
}

func (p *peopleStore) read() (*access.State, error) {
	info, err := os.Stat(p.path())
	if errors.Is(err, fs.ErrNotExist) {
		p.state, p.stamp = nil, nil
		if text, err := os.ReadFile(filepath.Join(p.dir, peopleLock)); err == nil && string(text) == therePeople {
			return nil, registry.Refuse(registry.CodeTampered, "Put it back from a copy; or, to begin without people, take "+peopleLock+" away too.", "The list of people, %s, is missing from %s", peopleFile, p.dir)
		}
		return &access.State{Format: access.StateFormat}, nil
	}
	if err != nil {
		return nil, err
	}
	if p.state != nil && os.SameFile(p.stamp, info) && p.stamp.ModTime().Equal(info.ModTime()) && p.stamp.Size() == info.Size() {
		return p.state, nil
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, registry.Refuse(registry.CodeTampered, "Say \"chmod 600\" to it, and give everybody a new password if somebody else may have read it.", "%s is open to other users of this machine", p.path())
	}
	raw, err := os.ReadFile(p.path())
	if err != nil {
		return nil, err
	}
	state, err := access.Decode(raw)
	if err != nil {
		return nil, registry.Refuse(registry.CodeTampered, "Put it back from a copy. Nothing was changed, and nobody gets in until then.", "The list of people, %s, is damaged", p.path())
	}
	p.state, p.stamp = state, info
	return state, nil
}

// Update changes the people: whole, synced, under a lock that other processes
// respect.
func (p *peopleStore) Update(fn func(*access.State) error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := os.MkdirAll(p.dir, 0o700); err != nil {
		return err
	}
	lock, err := os.OpenFile(filepath.Join(p.dir, peopleLock), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	defer lock.Close()
	if err := flock(lock); err != nil {
		return err
	}
	old, err := p.read()
	if err != nil {
		return err
	}
	next, err := access.Edit(old, fn)
	if err != nil {
		return err
	}
	raw, err := access.Encode(next)
	if err != nil {
		return err
	}
	if err := writeFile(p.path(), func(w io.Writer) error { _, err := w.Write(raw); return err }); err != nil {
		return err
	}
	if err := syncDir(p.dir); err != nil {
		return err
	}
	p.state = nil
	if info, err := lock.Stat(); err == nil && info.Size() == 0 {
		if _, err := lock.WriteString(therePeople); err != nil {
			return err
		}
		return lock.Sync()
	}
	return nil
}

// flock waits for the lock a little while. The kernel gives it back with the
// process.
func flock(f *os.File) error {
	for range 100 {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			return nil
		}
		if !errors.Is(err, syscall.EWOULDBLOCK) && !errors.Is(err, syscall.EINTR) {
			return err
		}
		time.Sleep(20 * time.Millisecond)
	}
	return registry.Refuse(registry.CodeBusy, "Try again.", "Another process is changing the list of people")
}

// syncDir makes the renaming of a file last.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// people are the accounts of the registry.
func (c *call) people() *access.Book {
	return &access.Book{Store: c.peopleIn(c.line.Dir, c.line.Ledger), Now: c.Now, Random: c.Random}
}
