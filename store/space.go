package store

import (
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"example.org/asfound/registry"
)

// space guards against a full disk. Badger writes through memory maps: when a
// page cannot be backed by the disk the kernel kills the process. So writing
// stops, with an error, well before that.
type space struct {
	dir     string
	reserve int64
	free    func(dir string) (int64, error)
}

// DefaultReserve is the free space in bytes below which nothing is written: room
// for Badger to sort its newest tables into the level below, which is written
// before what it replaces is removed.
const DefaultReserve = newTables*memTableSize + baseLevelSize

// freeBytes is what an ordinary user may still write to the disk of dir.
func freeBytes(dir string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}

// freeLately is freeBytes for one folder, with an answer that may be 10 ms old. Not
// even a fast disk fills the reserve in that time, and asking takes a fiftieth of a
// small commit.
func freeLately() func(dir string) (int64, error) {
	var mu sync.Mutex
	var asked time.Time
	var free int64
	return func(dir string) (_ int64, err error) {
		mu.Lock()
		defer mu.Unlock()
		if time.Since(asked) >= 10*time.Millisecond {
			if free, err = freeBytes(dir); err == nil {
				asked = time.Now()
			}
		}
		return free, err
	}
}

// check refuses when less than the reserve would remain after need more bytes.
func (s space) check(need int64) error {
	return s.checkAbove(s.reserve + need)
}

func (s space) checkAbove(limit int64) error {
	free, err := s.free(s.dir)
	if err != nil {
		return internal("asking for the free space", err)
	}
	if free >= limit {
		return nil
	}
	return registry.Refuse(registry.CodeBusy, "Free space and try again.",
		"The disk holding %s has only %d MB free; nothing was written", s.dir, free/1_000_000)
}

// Room is the free space on the disk of the ledger, and the reserve below which
// nothing is written, in bytes.
func (s *Store) Room() (free, reserve int64, err error) {
	free, err = s.space.free(s.dir)
	return free, s.space.reserve, internal("asking for the free space", err)
}

// Totals counts what the ledger holds: commits, machines and events.
func (s *Store) Totals() (commits, machines, events uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return uint64(s.totals.Position), s.totals.Machines, s.totals.Events
}
