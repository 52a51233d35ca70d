package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"

	"example.org/asfound/access"
	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// presentFiles are what a backup holds besides the ledger, in the one part that
// each run replaces: names in the registry's folder, and whether they are those
// of the list of people, which is kept without its sessions and invitations. The
// signing key is not among them, nor is the authority of the certificates.
var presentFiles = regexp.MustCompile(`^(keys/[a-z0-9][a-z0-9._-]{0,63}/(machine|person-[a-z0-9][a-z0-9._-]{0,63})\.key|mappings/[a-z0-9][a-z0-9_-]{0,63}\.json|hooks/hooks\.json|` +
	regexp.QuoteMeta(peopleFile) + `|` + regexp.QuoteMeta(witnessedFile) + `)$`)

// present calls fn with each of them. The keys of the private values come last,
// so that no value which a piece holds lacks its key.
func (o *opened) present(ctx context.Context, fn func(name string, content []byte) error) error {
	dir := o.store.Dir()
	if o.node != nil {
		if err := o.presentPeople(fn); err != nil {
			return err
		}
	}
	for _, pattern := range []string{witnessedFile, peopleFile, "hooks/hooks.json", "mappings/*.json"} {
		names, err := fs.Glob(os.DirFS(dir), pattern)
		if err != nil {
			return err
		}
		for _, name := range names {
			if !presentFiles.MatchString(name) {
				continue
			}
			content, err := os.ReadFile(filepath.Join(dir, name))
			if errors.Is(err, fs.ErrNotExist) {
				continue // removed meanwhile
			}
			if err == nil && name == peopleFile {
				var all *access.State
				if all, err = access.Decode(content); err == nil {
					content, err = lastingPeople(all)
				}
			}
			if err != nil {
				return registry.Refuse(registry.CodeTampered, "See what is wrong with it: \"asfound audit\" or \"asfound people\" says so. Nothing was added to the backup.", "%s cannot be taken into the backup: %v", name, err)
			}
			if err := fn(name, content); err != nil {
				return err
			}
		}
	}
	return o.vault.EachKey(ctx, func(name string, raw []byte) error {
		if name = store.KeysFolder + "/" + name; !presentFiles.MatchString(name) {
			return nil
		}
		return fn(name, raw)
	})
}

// presentPeople calls fn with the list of people where the nodes of a cluster
// share it, as the file that a folder has.
func (o *opened) presentPeople(fn func(name string, content []byte) error) error {
	all, err := o.people.Read()
	if err != nil || len(all.Accounts) == 0 {
		return err
	}
	content, err := lastingPeople(all)
	if err != nil {
		return err
	}
	return fn(peopleFile, content)
}

// lastingPeople is the list of people without what must not come back: sessions
// and invitations that may have been used since.
func lastingPeople(all *access.State) ([]byte, error) {
	lasting := *all
	lasting.Sessions, lasting.Invites = nil, nil
	return access.Encode(&lasting)
}

// takePresent puts one of them back into a folder.
func takePresent(dir, name string, content []byte) error {
	if !presentFiles.MatchString(name) || path.Clean(name) != name {
		return fmt.Errorf("it holds a file %.80q, which does not belong there", name)
	}
	dir = filepath.Clean(dir)
	file := filepath.Join(dir, filepath.FromSlash(name))
	write := func(file string, content []byte) error {
		err := os.MkdirAll(filepath.Dir(file), 0o700)
		if err == nil {
			err = writeFile(file, func(w io.Writer) error { _, err := w.Write(content); return err })
		}
		for at := file; err == nil && at != dir; { // every folder that was made
			at = filepath.Dir(at)
			err = syncDir(at)
		}
		if err != nil {
			return registry.Refuse(registry.CodeBusy, "See that the disk is there and has room, and start the restore again: it goes on.", "%s cannot be written: %v", file, err)
		}
		return nil
	}
	if name == peopleFile {
		if err := write(filepath.Join(dir, peopleLock), []byte(therePeople)); err != nil {
			return err
		}
	}
	return write(file, content)
}

// settleVault finishes what an end of the program interrupted: erasures that
// are on record, and the sealing of private values from before there were keys.
// What cannot be done now is said, and tried again at the next opening.
func (o *opened) settleVault(ctx context.Context) error {
	machines, err := o.vault.Interrupted()
	if err != nil {
		return err
	}
	for _, machine := range machines {
		if failed := o.FinishErasures(ctx, machine, true); failed != nil {
			err = errors.Join(err, fmt.Errorf("an erasure on the record of %s waits to be finished: %w", machine, failed))
		}
	}
	if err != nil || !o.vault.Unsealed() {
		return err
	}
	if machines, err = o.machinesInLedger(ctx); err != nil {
		return err
	}
	for _, machine := range machines {
		if failed := o.SealPrivate(ctx, machine); failed != nil {
			err = errors.Join(err, fmt.Errorf("private values of %s wait to be sealed: %w", machine, failed))
		}
	}
	if err != nil {
		return err
	}
	return o.vault.MarkSealed()
}
