package store

import (
	"bytes"
	"errors"

	"github.com/dgraph-io/badger/v4"

	"example.org/asfound/registry"
)

// get gives an entry's value without its checksum, or errNoEntry. The value is
// the caller's own.
func get(txn *badger.Txn, key []byte) (value []byte, err error) {
	err = guarded("Reading the entry "+describe(key), func() error {
		item, err := txn.Get(key)
		if errors.Is(err, badger.ErrKeyNotFound) {
			return errNoEntry
		}
		if err != nil {
			return err
		}
		value, err = item.ValueCopy(nil)
		return err
	})
	if err != nil {
		return nil, err
	}
	return unseal(key, value)
}

func getTotals(txn *badger.Txn) (totals, error) {
	v, err := get(txn, totalsKey)
	if errors.Is(err, errNoEntry) {
		return totals{}, nil
	}
	if err != nil {
		return totals{}, err
	}
	return decodeTotals(v)
}

// getHead gives a machine's head, the zero head when it has no history. A name
// that no machine can have has no history.
func getHead(txn *badger.Txn, machine string) (machineHead, error) {
	if registry.CheckID("", machine) != nil {
		return machineHead{}, nil
	}
	v, err := get(txn, headKey(machine))
	if errors.Is(err, errNoEntry) {
		return machineHead{}, nil
	}
	if err != nil {
		return machineHead{}, err
	}
	return decodeHead(machine, v)
}

func getID(txn *badger.Txn, id string) (registry.Head, bool, error) {
	v, err := get(txn, idKey(id))
	if errors.Is(err, errNoEntry) {
		return registry.Head{}, false, nil
	}
	if err != nil {
		return registry.Head{}, false, err
	}
	position, version, ok := splitPair(v)
	if !ok {
		return registry.Head{}, false, damaged("The entry of the commit ID %q has %d bytes", id, len(v))
	}
	return registry.Head{Position: registry.Position(position), Version: version}, true, nil
}

// placeAt gives the machine and the first version of the commit at a position
// that must be there.
func placeAt(txn *badger.Txn, p registry.Position) (machine string, first uint64, err error) {
	v, err := get(txn, positionKey(p))
	if errors.Is(err, errNoEntry) {
		return "", 0, damaged("The commit at position %d is missing", p)
	}
	if err != nil {
		return "", 0, err
	}
	machine, first, ok := splitPositionValue(v)
	if !ok {
		return "", 0, damaged("The entry of position %d cannot be read", p)
	}
	return machine, first, nil
}

// recordAt gives the commit at a position that must be there.
func recordAt(txn *badger.Txn, p registry.Position) (registry.Record, error) {
	machine, first, err := placeAt(txn, p)
	if err != nil {
		return registry.Record{}, err
	}
	var whole []byte
	for part := 0; ; part++ {
		v, err := get(txn, commitKey(machine, first, byte(part)))
		if errors.Is(err, errNoEntry) {
			return registry.Record{}, damaged("The commit of %s from version %d, at position %d, is missing", machine, first, p)
		}
		if err != nil {
			return registry.Record{}, err
		}
		if whole = append(whole, v...); len(v) < partBytes {
			break
		}
	}
	r, err := decodeRecord(machine, first, whole)
	if err == nil && r.Position != p {
		err = damaged("The commit of %s from version %d says that it stands at position %d, not %d", machine, first, r.Position, p)
	}
	return r, err
}

// walk goes through one machine's commits in order.
type walk struct {
	it      *badger.Iterator
	machine string
}

// startWalk begins at the commit that holds the version.
func startWalk(txn *badger.Txn, machine string, version uint64) (*walk, error) {
	prefix := commitPrefix(machine)
	first := uint64(1)
	w := &walk{machine: machine}
	err := guarded("Reading "+machine, func() error {
		o := badger.IteratorOptions{Prefix: prefix, Reverse: true}
		if version > 1 {
			back := txn.NewIterator(o)
			defer back.Close()
			back.Seek(commitKey(machine, version, 0xff))
			if back.Valid() {
				_, first, _, _ = splitCommitKey(back.Item().Key())
			}
		}
		o.Reverse = false
		w.it = txn.NewIterator(o)
		w.it.Seek(commitKey(machine, first, 0))
		return nil
	})
	return w, err
}

func (w *walk) close() {
	_ = guarded("closing", func() error { w.it.Close(); return nil })
}

// next gives the next commit, or errNoEntry after the last.
func (w *walk) next() (r registry.Record, err error) {
	err = guarded("Reading "+w.machine, func() error {
		var first uint64
		var whole []byte
		for part := 0; ; part++ {
			if !w.it.Valid() {
				if part > 0 {
					return damaged("The commit of %s from version %d lacks its part %d", w.machine, first, part)
				}
				return errNoEntry
			}
			key := w.it.Item().Key()
			_, f, p, ok := splitCommitKey(key)
			if !ok || int(p) != part || part > 0 && f != first {
				return damaged("An unexpected entry %s stands in the record of %s", describe(bytes.Clone(key)), w.machine)
			}
			first = f
			last := false
			err := w.it.Item().Value(func(v []byte) error {
				v, err := unseal(key, v)
				if err != nil {
					return err
				}
				last = len(v) < partBytes
				if last && part == 0 {
					r, err = decodeRecord(w.machine, first, v) // copies
					return err
				}
				whole = append(whole, v...)
				return nil
			})
			if err != nil {
				return err
			}
			w.it.Next()
			if last {
				if part > 0 {
					r, err = decodeRecord(w.machine, first, whole)
				}
				return err
			}
		}
	})
	return r, err
}

// lastPosition is the position of the last entry in the order of the ledger.
func lastPosition(txn *badger.Txn) (p registry.Position, err error) {
	err = guarded("Looking for the end of the ledger", func() error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte{prefixPosition}, Reverse: true})
		defer it.Close()
		it.Seek(append([]byte{prefixPosition}, bytes.Repeat([]byte{0xff}, 8)...))
		if !it.Valid() {
			return nil
		}
		key := it.Item().Key()
		if len(key) != 9 {
			return damaged("An unexpected entry %s stands in the order of the ledger", describe(bytes.Clone(key)))
		}
		for _, b := range key[1:] {
			p = p<<8 | registry.Position(b)
		}
		return nil
	})
	return p, err
}
