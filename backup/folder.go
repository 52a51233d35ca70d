package backup

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Folder is where a backup lies. Its calls are those in which a disk can fail.
type Folder interface {
	// Create makes a new file for writing; fs.ErrExist when there is one.
	Create(name string) (File, error)
	// Open opens a file to read it; fs.ErrNotExist when there is none.
	Open(name string) (io.ReadCloser, error)
	// Rename gives a file another name, replacing what has it.
	Rename(from, to string) error
	// Remove deletes a file; fs.ErrNotExist when there is none.
	Remove(name string) error
	// Sync brings the folder's own entries to the disk.
	Sync() error
}

// File is a file that is being written.
type File interface {
	io.WriteCloser
	Sync() error
}

// Directory is a Folder on a disk. Nothing that is asked for leads out of it.
type Directory struct{ root *os.Root }

// OpenDirectory opens a folder, making it when there is none.
func OpenDirectory(path string) (*Directory, error) {
	if err := os.MkdirAll(path, 0o700); err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, err
	}
	// The folder's own entry must last too.
	if parent, err := os.Open(filepath.Dir(path)); err == nil {
		err = errors.Join(parent.Sync(), parent.Close())
		if err != nil {
			return nil, errors.Join(err, root.Close())
		}
	}
	return &Directory{root}, nil
}

// Close lets go of the folder.
func (d *Directory) Close() error { return d.root.Close() }

// Create implements Folder.
func (d *Directory) Create(name string) (File, error) {
	return d.root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
}

// Open implements Folder.
func (d *Directory) Open(name string) (io.ReadCloser, error) { return d.root.Open(name) }

// Rename implements Folder.
func (d *Directory) Rename(from, to string) error { return d.root.Rename(from, to) }

// Remove implements Folder.
func (d *Directory) Remove(name string) error { return d.root.Remove(name) }

// Sync implements Folder.
func (d *Directory) Sync() error {
	f, err := d.root.Open(".")
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// replace writes a whole file anew: under another name first, so that either
// the old or the new one is there whatever happens.
func replace(folder Folder, name string, content []byte) error {
	temp := name + ".new"
	if err := folder.Remove(temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	f, err := folder.Create(temp)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return errors.Join(folder.Rename(temp, name), folder.Sync())
}

func readAll(folder Folder, name string, most int64) ([]byte, error) {
	f, err := folder.Open(name)
	if err != nil {
		return nil, err
	}
	text, err := io.ReadAll(io.LimitReader(f, most))
	return text, errors.Join(err, f.Close())
}
