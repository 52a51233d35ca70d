package store

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"

	"example.org/asfound/registry"
)

// Options are the choices at opening. The zero Options are right for use.
type Options struct {
	// Reserve is the free space in bytes below which nothing is written;
	// 0 means DefaultReserve.
	Reserve int64
	// Warn gets the storage engine's warnings; nil drops them.
	Warn func(message string)
	// Rescue opens a ledger that is behind or beside its head file, so that it
	// can be checked and what is left exported. Nothing can be appended to it.
	Rescue bool
	// Shared says, for OpenBlobs, that other processes have the folder open too,
	// perhaps on other machines.
	Shared bool

	// In tests: instead of asking the disk, and instead of verifyTablesBelow.
	free         func(dir string) (int64, error)
	verifyTables int64
}

// Store is an open data directory. All methods may be used by several
// goroutines at once. It is a registry.Ledger itself.
type Store struct {
	dir     string
	db      *badger.DB
	lock    *os.File
	space   space
	warn    func(string)
	photos  *Blobs
	private *Vault
	views   *Views

	jobs      chan *job
	committed sync.WaitGroup // the committer

	mu      sync.Mutex // guards what follows
	closing bool
	calls   sync.WaitGroup // calls that are being answered
	gone    chan struct{}  // closed when closing begins
	grown   chan struct{}  // closed and replaced after each write
	totals  totals
	broken  error // why nothing more may be written

	// The committer's own; Close uses the head file after it has ended.
	head  *headFile
	heads map[string]*machineHead

	behind bool // at opening: the head file is behind the ledger
}

// Sizes. Badger makes its write-ahead file twice the memory table and its value
// log twice the value log size, as sparse files; these keep an open directory
// under 30 MB. A transaction may hold 15 % of the memory table, which is more
// than the largest commit.
//
// Opening looks into every table, so they are four times as large as the engine
// makes them: the lowest level has those of 16 to 32 MB.
//
// Most of what a busy ledger writes is tables that are written again, sorted
// together: newTables of them at once into a level of baseLevelSize. Larger
// numbers write less (by two fifths, against the engine's 5 tables and 10 MB, after
// 400 MB of commits), and need more room for it on the disk; see DefaultReserve.
//
// A block holds a few long commits. In blocks of the engine's own size each of
// those takes three times its room while a table is made: the block that it does
// not fit into, one of its length, and one twice as long for the end mark.
const (
	memTableSize  = 8 << 20
	tableSize     = 8 << 20
	blockSize     = 64 << 10
	valueLogSize  = 1 << 20
	newTables     = 8
	baseLevelSize = 64 << 20
)

func badgerOptions(folder string, warn func(string)) badger.Options {
	return badger.DefaultOptions(folder).
		WithSyncWrites(syncWrites).
		WithExternalMagic(FormatNumber).
		WithMemTableSize(memTableSize).
		WithBaseTableSize(tableSize).
		WithNumMemtables(2).
		WithValueLogFileSize(valueLogSize).
		WithValueThreshold(1 << 20). // nothing that is written reaches it
		WithNumCompactors(2).
		WithNumLevelZeroTables(newTables).
		WithBaseLevelSize(baseLevelSize).
		WithBlockSize(blockSize).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithIndexCacheSize(0).
		WithDetectConflicts(false). // one goroutine writes
		WithNumVersionsToKeep(1).
		WithMetricsEnabled(false).
		WithLogger(engineLog{warn})
}

// engineLog passes Badger's warnings on and drops its chatter.
type engineLog struct{ warn func(string) }

func (l engineLog) Errorf(format string, args ...any)   { l.say(format, args) }
func (l engineLog) Warningf(format string, args ...any) { l.say(format, args) }
func (l engineLog) Infof(string, ...any)                {}
func (l engineLog) Debugf(string, ...any)               {}
func (l engineLog) say(format string, args []any) {
	l.warn("storage engine: " + strings.TrimSpace(fmt.Sprintf(format, args...)))
}

// Exists says whether a folder holds a registry.
func Exists(dir string) bool {
	_, err := os.Stat(headPath(dir))
	return err == nil
}

// Open opens the data directory, making it when there is none, for this process
// alone. It looks for damage as far as that is cheap. Codes: CodeBusy when
// another process holds the directory or the disk is nearly full,
// CodeUnsupported for another format, CodeTampered for damage. The caller
// closes the Store.
func Open(dir string, o Options) (_ *Store, err error) {
	if o.Warn == nil {
		o.Warn = func(string) {}
	}
	if o.free == nil {
		o.free = freeLately()
	}
	if o.Reserve == 0 {
		o.Reserve = DefaultReserve
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, internal("making the data directory", err)
	}
	s := &Store{dir: dir, warn: o.Warn, jobs: make(chan *job, batchLimit), gone: make(chan struct{}),
		grown: make(chan struct{}), heads: map[string]*machineHead{}, space: space{dir, o.Reserve, o.free}}
	if s.lock, err = lock(dir, filepath.Join(dir, "LOCK")); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.abandon()
		}
	}()
	// A kill may have left the name of a scratch behind.
	left, _ := filepath.Glob(filepath.Join(dir, scratchName))
	for _, name := range left {
		_ = os.Remove(name)
	}
	// Badger needs room to recover; see space.
	if err := s.space.checkAbove(o.Reserve / 2); err != nil {
		return nil, err
	}
	bo := badgerOptions(filepath.Join(dir, ledgerFolder), o.Warn)
	if o.verifyTables == 0 {
		o.verifyTables = verifyTablesBelow
	}
	found, err := look(dir, bo, o.verifyTables)
	if err != nil {
		return nil, err
	}
	if !found.fresh && !found.sealed {
		if err := dropEmptyLogs(dir); err != nil {
			return nil, err
		}
		if err := setAside(dir, bo); err != nil {
			return nil, err
		}
	}
	if err := breakSeal(dir); err != nil {
		return nil, internal("removing "+sealName, err)
	}
	err = guarded("Opening the ledger", func() error {
		s.db, err = badger.Open(bo)
		return err
	})
	if err != nil {
		s.db = nil
		return nil, s.openError(err)
	}
	if err := s.compare(found); err != nil {
		if !o.Rescue {
			return nil, err
		}
		s.broken = err
	}
	if s.broken == nil {
		if s.head, err = openHead(headPath(dir), headLine{}); err != nil {
			return nil, err
		}
		if s.behind {
			if err := s.catchUp(); err != nil {
				return nil, err
			}
		}
		if err := os.RemoveAll(filepath.Join(dir, setAsideFolder)); err != nil {
			return nil, internal("removing "+setAsideFolder, err)
		}
	}
	if s.photos, err = OpenBlobs(dir, "photos", o); err != nil {
		return nil, err
	}
	if s.private, err = OpenVault(dir, o); err != nil {
		return nil, err
	}
	s.views = &Views{store: s}
	s.committed.Go(s.committer)
	return s, nil
}

// openError names what Badger could not open. The checks before have excluded
// every cause that has words of its own.
func (s *Store) openError(err error) error {
	var known *registry.Error
	if errors.As(err, &known) {
		return err
	}
	if errors.Is(err, os.ErrPermission) {
		return registry.Refuse(registry.CodeInternal, "Let the user who runs asfound own the directory.",
			"The registry in %s cannot be opened: %s", s.dir, firstLine(err))
	}
	return damaged("The ledger in %s cannot be opened: %s", s.dir, firstLine(err))
}

// compare holds the opened ledger against its own totals and the head file.
func (s *Store) compare(found preflight) error {
	return guarded("Comparing the ledger with its head file", func() error {
		want, _, ok, err := readHead(headPath(s.dir))
		if err != nil {
			return err
		}
		return s.db.View(func(txn *badger.Txn) error {
			t, err := getTotals(txn)
			if err != nil {
				return err
			}
			s.totals = t
			if last, err := lastPosition(txn); err != nil {
				return err
			} else if last != t.Position {
				return damaged("The last commit in %s stands at position %d, but the ledger counts %d", s.dir, last, t.Position)
			}
			if !ok {
				if t.Position > 0 {
					return damaged("The file %s is missing, so it cannot be told whether the ledger is whole", headPath(s.dir))
				}
				return nil
			}
			if t.Position < want.Position || t.Events < want.Events || t.Machines < want.Machines {
				return damaged("The ledger in %s ends at position %d with %d events; it had reached position %d with %d events",
					s.dir, t.Position, t.Events, want.Position, want.Events)
			}
			s.behind = want.Position < t.Position
			if want.Position > 0 {
				r, err := recordAt(txn, want.Position)
				if err != nil {
					return err
				}
				if hex.EncodeToString([]byte(r.ID)) != want.Commit {
					return damaged("The commit at position %d in %s is not the one that was written there", want.Position, s.dir)
				}
			}
			if found.orphans > 0 {
				return countAll(context.Background(), txn, t)
			}
			return nil
		})
	})
}

// catchUp brings the head file up to the ledger: after a power cut its last
// lines may be missing.
func (s *Store) catchUp() error {
	txn := s.db.NewTransaction(false)
	defer txn.Discard()
	r, err := recordAt(txn, s.totals.Position)
	if err != nil {
		return err
	}
	s.head.write(s.totals, r.ID)
	return internal("writing "+headName, s.head.sync())
}

// abandon lets go of a store that did not open.
func (s *Store) abandon() {
	if s.db != nil {
		_ = guarded("closing", s.db.Close)
	}
	if s.photos != nil {
		_ = s.photos.Close()
	}
	if s.private != nil {
		_ = s.private.Close()
	}
	if s.head != nil {
		_ = s.head.close()
	}
	_ = s.lock.Close()
}

// Ledger gives the ledger. Closing it closes the store.
func (s *Store) Ledger() registry.Ledger { return s }

// Photos gives the store of photographs and documents.
func (s *Store) Photos() *Blobs { return s.photos }

// Private gives the store of private values, which may be destroyed.
func (s *Store) Private() *Vault { return s.private }

// Views gives the store of derived data.
func (s *Store) Views() *Views { return s.views }

// Dir is the data directory.
func (s *Store) Dir() string { return s.dir }

// begin notes that a call is being answered; end must follow when it gives no error.
func (s *Store) begin(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closing {
		return errClosed
	}
	s.calls.Add(1)
	return nil
}

func (s *Store) end() { s.calls.Done() }

// Close waits for the calls that are being answered, ends the ledger in good
// order and releases the directory. It must not be called from inside a
// function that was given to Read, ReadAll, Follow, Scan or Update.
func (s *Store) Close() error {
	s.mu.Lock()
	if s.closing {
		s.mu.Unlock()
		return errClosed
	}
	s.closing = true
	close(s.gone)
	s.mu.Unlock()
	s.calls.Wait()
	close(s.jobs)
	s.committed.Wait()
	if s.broken == nil {
		if err := s.scrub(); err != nil {
			s.warn("what was erased may still stand in the engine's tables, until the next end: " + err.Error())
		}
	}
	err := guarded("Closing the ledger", s.db.Close)
	err = errors.Join(err, s.photos.Close(), s.private.Close())
	if s.head != nil {
		err = errors.Join(err, s.head.sync(), s.head.close())
	}
	// A ledger that failed, or does not agree with its head file, is not sealed.
	if err == nil && s.broken == nil {
		err = writeSeal(s.dir)
	}
	return internal("closing the registry", errors.Join(err, s.lock.Close()))
}

// headSyncEvery is the longest that the head file waits for stable storage
// while commits come in.
const headSyncEvery = 5 * time.Second
