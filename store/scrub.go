package store

import (
	"os"
	"path/filepath"

	"github.com/dgraph-io/badger/v4"
)

// scrubName stands in keys/ while the engine's tables may still hold, as
// versions that nobody can ask for, views with what was erased.
const scrubName = "_scrub"

// scrub writes the engine's tables anew without what was overwritten or removed
// in them, if something was erased. It runs at the end, when nobody writes. The
// engine does the same in its own time; an erasure does not wait for it.
func (s *Store) scrub() error {
	folder := filepath.Join(s.dir, KeysFolder)
	note := filepath.Join(folder, scrubName)
	if _, err := os.Stat(note); err != nil {
		return nil
	}
	tables, vlog := s.db.Size()
	if err := s.space.check(tables + vlog); err != nil {
		return err
	}
	err := guarded("Writing the tables anew", func() error {
		// Dropping an entry brings what is in memory into the tables first. It is
		// a view, so it does no harm if it stays.
		mark := viewKey(scrubName)
		if err := s.db.Update(func(txn *badger.Txn) error { return txn.Set(mark, seal(mark, nil)) }); err != nil {
			return err
		}
		if err := s.db.DropPrefix(mark); err != nil {
			return err
		}
		return s.db.Flatten(2)
	})
	if err == nil {
		err = os.Remove(note)
	}
	if err == nil {
		err = syncDirectory(folder)
	}
	return internal("writing the tables anew", err)
}
