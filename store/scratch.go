package store

import (
	"errors"
	"io"
	"os"
)

// scratch is a file without a name on the ledger's disk: it is gone when it is
// closed, and when the program ends in any other way.
type scratch struct {
	*os.File
	space space
}

// Scratch makes room, beside the ledger, for what need not last. Writing to it is
// refused, with CodeBusy, where the ledger too would not be written to.
func (s *Store) Scratch() (interface {
	io.ReadWriteSeeker
	io.Closer
}, error) {
	f, err := os.CreateTemp(s.dir, "scratch-*")
	if err != nil {
		return nil, err
	}
	if err := os.Remove(f.Name()); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return scratch{f, s.space}, nil
}

// Write writes if the reserve of the disk stays.
func (s scratch) Write(p []byte) (int, error) {
	if err := s.space.check(int64(len(p))); err != nil {
		return 0, err
	}
	return s.File.Write(p)
}
