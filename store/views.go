package store

import (
	"bytes"
	"context"
	"errors"
	"sync"

	"github.com/dgraph-io/badger/v4"

	"example.org/asfound/registry"
)

// ViewTx is what the function given to Update works on. It is an alias, so that
// any package may write the same method set and name the same type.
type ViewTx = interface {
	// Get gives an entry as this update has left it.
	Get(key string) ([]byte, bool, error)
	Put(key string, value []byte)
	Delete(key string)
}

// Views keeps what is computed from the ledger: pages, lists, an index to
// search in. It may be dropped and computed again at any time, so its only
// promise is that the entries and the checkpoint always belong together.
type Views struct {
	store *Store
	turn  sync.Mutex // one update at a time
}

// MaxViewBytes is the largest value of one view entry, in bytes.
const MaxViewBytes = 1<<20 - 1<<10

// Checkpoint gives the position up to which the views hold the ledger, and the
// version of the code that wrote them; both are 0 in a new directory.
func (v *Views) Checkpoint(ctx context.Context) (position registry.Position, version int, err error) {
	err = v.store.view(ctx, "reading the views", func(txn *badger.Txn) error {
		position, version, err = getCheckpoint(txn)
		return err
	})
	return position, version, err
}

func getCheckpoint(txn *badger.Txn) (registry.Position, int, error) {
	value, err := get(txn, checkpointKey)
	if errors.Is(err, errNoEntry) {
		return 0, 0, nil
	}
	if err != nil {
		return 0, 0, rebuild(err)
	}
	position, version, ok := splitPair(value)
	if !ok {
		return 0, 0, rebuild(damaged("The checkpoint of the views has %d bytes", len(value)))
	}
	return registry.Position(position), int(version), nil
}

// rebuild puts the right advice on damage of the views: nothing is lost.
func rebuild(err error) error {
	var known *registry.Error
	if errors.As(err, &known) && known.Code == registry.CodeTampered {
		return &registry.Error{Code: known.Code, Message: known.Message, Fix: "Compute the views again; the ledger itself is not touched by this."}
	}
	return err
}

// Update calls fn and stores what it changed together with the new checkpoint,
// or, when fn gives an error, nothing. Updates run one after the other. Codes:
// CodeConflict for a position before the checkpoint, CodeTooLarge for more than
// one transaction or MaxViewBytes, CodeBusy on a nearly full disk.
func (v *Views) Update(ctx context.Context, position registry.Position, fn func(tx ViewTx) error) error {
	v.turn.Lock()
	defer v.turn.Unlock()
	s := v.store
	if err := s.begin(ctx); err != nil {
		return err
	}
	defer s.end()
	if err := s.refuseBroken(); err != nil {
		return err
	}
	txn := s.db.NewTransaction(false)
	defer txn.Discard()
	at, version, err := getCheckpoint(txn)
	if err != nil {
		return err
	}
	if position < at {
		return registry.Refuse(registry.CodeConflict, "Read the checkpoint again.",
			"The views stand at position %d, not before %d", at, position)
	}
	tx := &viewTx{txn: txn, at: map[string]int{}}
	if err := fn(tx); err != nil {
		return err
	}
	for i := range tx.changes {
		e := &tx.changes[i]
		if len(e.value) > MaxViewBytes || len(e.key) > 1+maxViewKey {
			return registry.Refuse(registry.CodeTooLarge, "Split the entry.",
				"The view entry %.60q has %d bytes under a key of %d; it may have %d under %d",
				e.key[1:], len(e.value), len(e.key)-1, MaxViewBytes, maxViewKey)
		}
		if !e.remove {
			e.value = seal(e.key, e.value)
		}
	}
	return v.send(ctx, append(tx.changes, sealed(checkpointKey, pair(uint64(position), uint64(version)))))
}

// maxViewKey is the longest key of a view entry, in bytes.
const maxViewKey = 1024

// send lets the committer write. A context that ends meanwhile is not obeyed:
// the views would no longer know what they hold.
func (v *Views) send(ctx context.Context, entries []entry) error {
	a, _ := v.store.submit(context.WithoutCancel(ctx), &job{view: entries})
	return a.err
}

type viewTx struct {
	txn     *badger.Txn
	changes []entry
	at      map[string]int // of the changes, by the view's key
}

func (t *viewTx) Get(key string) ([]byte, bool, error) {
	if i, ok := t.at[key]; ok {
		return bytes.Clone(t.changes[i].value), !t.changes[i].remove, nil
	}
	return getView(t.txn, key)
}

func (t *viewTx) Put(key string, value []byte) {
	sealable := append(make([]byte, 0, len(value)+4), value...) // with room for the checksum
	t.change(key, entry{key: viewKey(key), value: sealable})
}

func (t *viewTx) Delete(key string) { t.change(key, entry{key: viewKey(key), remove: true}) }

func (t *viewTx) change(key string, e entry) {
	if i, ok := t.at[key]; ok {
		t.changes[i] = e
		return
	}
	t.at[key] = len(t.changes)
	t.changes = append(t.changes, e)
}

func getView(txn *badger.Txn, key string) ([]byte, bool, error) {
	if len(key) > maxViewKey {
		return nil, false, nil
	}
	value, err := get(txn, viewKey(key))
	if errors.Is(err, errNoEntry) {
		return nil, false, nil
	}
	return value, err == nil, rebuild(err)
}

// Get gives one entry and whether there is one.
func (v *Views) Get(ctx context.Context, key string) (value []byte, ok bool, err error) {
	err = v.store.view(ctx, "reading the views", func(txn *badger.Txn) error {
		value, ok, err = getView(txn, key)
		return err
	})
	return value, ok, err
}

// Scan calls fn for at most limit entries whose key begins with prefix and
// comes after the given key, in the order of the keys' bytes. A limit of 0 or
// less means no limit.
func (v *Views) Scan(ctx context.Context, prefix, after string, limit int, fn func(key string, value []byte) error) error {
	return v.store.view(ctx, "reading the views", func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: viewKey(prefix)})
		defer it.Close()
		begun := false
		for n := 0; limit <= 0 || n < limit; n++ {
			if err := v.store.goOn(ctx); err != nil {
				return err
			}
			var key string
			var value []byte
			err := guarded("Reading the views", func() error {
				switch {
				case begun:
					it.Next()
				case after > prefix:
					it.Seek(append(viewKey(after), 0)) // the next possible key
				default:
					it.Seek(viewKey(prefix))
				}
				begun = true
				// A key equal to the prefix does not come after it.
				if it.Valid() && after != "" && string(it.Item().Key()[1:]) == after {
					it.Next()
				}
				if !it.Valid() {
					return errNoEntry
				}
				full := it.Item().KeyCopy(nil)
				key = string(full[1:])
				sealed, err := it.Item().ValueCopy(nil)
				if err == nil {
					value, err = unseal(full, sealed)
				}
				return err
			})
			if errors.Is(err, errNoEntry) {
				return nil
			}
			if err != nil {
				return rebuild(err)
			}
			if err := fn(key, value); err != nil {
				return err
			}
		}
		return nil
	})
}

// Reset forgets every entry and begins again at position 0 with a new version.
// When it is cut off, the views hold version 0 and some entries: the version
// differs, so the caller resets again.
func (v *Views) Reset(ctx context.Context, version int) error {
	v.turn.Lock()
	defer v.turn.Unlock()
	s := v.store
	if err := s.begin(ctx); err != nil {
		return err
	}
	defer s.end()
	if err := s.refuseBroken(); err != nil {
		return err
	}
	if err := v.send(ctx, []entry{sealed(checkpointKey, pair(0, 0))}); err != nil {
		return err
	}
	// Plain removals in small steps: the ledger's tables are left alone, and
	// appends go on in between.
	txn := s.db.NewTransaction(false)
	defer txn.Discard()
	var step []entry
	err := eachKey(ctx, txn, []byte{prefixView}, func(key []byte) error {
		if step = append(step, entry{key: key, remove: true}); len(step) < 2000 {
			return s.goOn(ctx)
		}
		err := v.send(ctx, step)
		step = nil
		return err
	})
	if err != nil {
		return rebuild(err)
	}
	return v.send(ctx, append(step, sealed(checkpointKey, pair(0, uint64(version)))))
}
