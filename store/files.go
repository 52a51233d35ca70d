package store

import (
	"errors"
	"io"
	"os"
	"path/filepath"
)

// writeAtomically replaces a file with data so that after a power cut either
// the old or the new content is there, never a mixture.
func writeAtomically(path string, data []byte) (err error) {
	temp := path + ".new"
	f, err := os.OpenFile(temp, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync())
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	return syncDirectory(filepath.Dir(path))
}

// syncDirectory brings the names in a directory to stable storage.
func syncDirectory(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// copySparse copies a file and leaves holes where it holds only zeros: Badger's
// write-ahead files are far longer than what is written in them.
func copySparse(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	zeros, block := make([]byte, 64<<10), make([]byte, 64<<10)
	var at int64
	for {
		n, rerr := io.ReadFull(in, block)
		if string(block[:n]) != string(zeros[:n]) {
			if _, err := out.WriteAt(block[:n], at); err != nil {
				return err
			}
		}
		at += int64(n)
		if rerr == io.EOF || rerr == io.ErrUnexpectedEOF {
			return errors.Join(out.Truncate(at), out.Sync())
		}
		if rerr != nil {
			return rerr
		}
	}
}
