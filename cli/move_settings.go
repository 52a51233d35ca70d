package cli

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"

	"example.org/asfound/access"
	"example.org/asfound/registry"
	"example.org/asfound/store"
	"example.org/asfound/store/node"
)

// notSettings is what lies in a registry's folder and is not copied as a file:
// what the move carries over itself, the signing key, which may lie elsewhere,
// what belongs to the engine or to a running program, and places in the ledger,
// which differ in another engine.
var notSettings = []string{"ledger", "photos", "private", store.KeysFolder, "set-aside", "set-aside.new", "LOCK", "head.jsonl", "head.jsonl.new", "sealed.json", "sealed.json.new",
	keyFile, publicKeyFile, controlName, controlName + ".new", node.MarkName, peopleFile, peopleLock, movingFile, leftFile, restoringFile, hookFolder + "/after.json"}

// settingsIn lists the files of a folder that are no part of the ledger, by
// their paths within it.
func settingsIn(folder string) (out []string, err error) {
	root := os.DirFS(folder)
	err = fs.WalkDir(root, ".", func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case slices.Contains(notSettings, path) && e.IsDir():
			return fs.SkipDir
		case e.Type().IsRegular() && !slices.Contains(notSettings, path):
			out = append(out, path)
		}
		return nil
	})
	return out, err
}

// settings copies what lies beside the ledger, where the target has a folder.
// What is there under the same name and is another is left alone.
func (m *moved) settings(from, to *side) error {
	if from.folder != "" {
		files, err := settingsIn(from.folder)
		if err != nil {
			return err
		}
		for _, name := range files {
			if err := m.file(from.folder, to.folder, name); err != nil {
				return err
			}
		}
	}
	for _, name := range []string{keyFile, publicKeyFile} {
		if from.key == "" || !exists(filepath.Join(from.key, name)) {
			continue
		}
		if err := m.file(from.key, to.key, name); err != nil {
			return err
		}
	}
	m.NoKey = from.key != "" && to.key != "" && !exists(filepath.Join(to.key, keyFile))
	slices.Sort(m.Copied)
	return nil
}

// file copies one file that is no part of the ledger; to is "" where it has no
// place.
func (m *moved) file(from, to, name string) error {
	if to == "" {
		m.Left = append(m.Left, name)
		return nil
	}
	data, err := os.ReadFile(filepath.Join(from, name))
	if err != nil {
		return err
	}
	target := filepath.Join(to, name)
	switch there, err := os.ReadFile(target); {
	case err == nil && bytes.Equal(there, data):
		m.Copied = append(m.Copied, name)
		return nil
	case err == nil:
		m.Left = append(m.Left, name)
		return nil
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	if err := os.MkdirAll(filepath.Dir(target), 0o700); err != nil {
		return err
	}
	if err := writeFile(target, func(w io.Writer) error { _, err := w.Write(data); return err }); err != nil {
		return err
	}
	m.Copied = append(m.Copied, name)
	return nil
}

// people copies the accounts, which lie beside the ledger in a folder and in the
// cluster otherwise. Where the target has others, they are left alone.
func (m *moved) people(from, to *side) error {
	ours, err := from.people.Read()
	if err != nil || len(ours.Accounts) == 0 && len(ours.Invites) == 0 {
		return err
	}
	theirs, err := to.people.Read()
	if err != nil {
		return err
	}
	switch {
	case len(theirs.Accounts) == 0 && len(theirs.Invites) == 0:
		err = to.people.Update(func(s *access.State) error { *s = *ours; return nil })
	case !reflect.DeepEqual(ours, theirs):
		m.OtherPeople = true
		return nil
	}
	m.Copied = append(m.Copied, peopleFile)
	slices.Sort(m.Copied)
	return err
}

// sameKey refuses, before anything is written, a target that signs with another
// key: it is another registry.
func sameKey(from, to *side) error {
	if from.key == "" || to.key == "" {
		return nil
	}
	ours, err := os.ReadFile(filepath.Join(from.key, publicKeyFile))
	if err != nil {
		return nil // a registry without a key yet
	}
	theirs, err := os.ReadFile(filepath.Join(to.key, publicKeyFile))
	if err == nil && !bytes.Equal(ours, theirs) {
		return registry.Refuse(registry.CodeConflict, "Choose a new folder. What is there belongs to another registry, or to one that was begun by mistake.",
			"%s signs with another key than %s", to.key, from.key)
	}
	return nil
}
