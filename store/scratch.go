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
	space   space
	written int64
}

// scratchName is the pattern of the names that such files have for a moment.
const scratchName = "scratch-*"

// Scratch makes room, beside the ledger, for what need not last. Writing to it is
// refused, with CodeBusy, unless there stays room for as much again above the
// reserve: it must not keep the ledger from being written to.
func (s *Store) Scratch() (interface {
	io.ReadWriteSeeker
	io.Closer
}, error) {
	f, err := os.CreateTemp(s.dir, scratchName)
	if err != nil {
		return nil, err
	}
	if err := os.Remove(f.Name()); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &scratch{File: f, space: s.space}, nil
}

// Write writes if the disk has the room.
func (s *scratch) Write(p []byte) (int, error) {
	if err := s.space.check(s.written + 2*int64(len(p))); err != nil {
		return 0, err
	}
	n, err := s.File.Write(p)
	s.written += int64(n)
	return n, err
}
