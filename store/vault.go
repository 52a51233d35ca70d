package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"example.org/asfound/registry"
)

// Vault keeps private values. Each lies in private/ under the SHA-256 of its
// plain bytes, sealed with the key of its holder, which lies in keys/: so the
// digests in a record stay what they are, and destroying one key makes every
// copy of what it sealed unreadable, wherever that copy is. Values from before
// there were keys lie there plain and are read as they are.
//
// A holder is "MACHINE/PERSON" for what is withheld of a person, and "MACHINE"
// for everything else that is withheld of a machine.
type Vault struct {
	files SealedFiles
	keys  keyring
	scrub func() error // notes that views held what is erased
	close func() error
}

// allSealed stands in keys/ once nothing that a record names lies there plain,
// erasingPrefix and a machine's name while something of it is being erased. No
// machine's folder of keys begins as they do.
const (
	allSealed     = "_complete"
	erasingPrefix = "_erasing."
)

// largestSealed bounds a stored private value in bytes; the workshop allows far less.
const largestSealed = 4 << 20

// NewVault makes a Vault of where its values and keys are. scrub notes that
// something is erased of which views may hold what was read; nil where none do.
func NewVault(files SealedFiles, keys KeyFiles, scrub func() error) *Vault {
	if scrub == nil {
		scrub = func() error { return nil }
	}
	return &Vault{files: files, keys: keyring{files: keys}, scrub: scrub, close: func() error { return nil }}
}

// OpenVault opens the folders private and keys in a directory, making them when
// there are none. Of the options it uses what OpenBlobs does.
func OpenVault(dir string, o Options) (*Vault, error) {
	files, err := OpenBlobs(dir, "private", o)
	if err != nil {
		return nil, err
	}
	keys := &keyFolder{dir: filepath.Join(dir, KeysFolder), shared: o.Shared}
	v := NewVault(sealedFolder{files}, keys, nil)
	v.scrub = func() error { return v.note(context.Background(), scrubName) }
	v.close, v.keys.alone = files.Close, !o.Shared
	if err := v.begin(dir, keys.dir); err != nil {
		return nil, internal("making "+keys.dir, errors.Join(err, files.Close()))
	}
	return v, nil
}

// begin makes the folder of keys. A registry that holds no private value yet
// will never hold a plain one.
func (v *Vault) begin(dir, keys string) error {
	if err := os.Mkdir(keys, 0o700); err != nil {
		if os.IsExist(err) {
			return nil
		}
		return err
	}
	if err := syncDirectory(dir); err != nil {
		return err
	}
	empty := true
	if err := v.files.Each(context.Background(), func(string, int64) error { empty = false; return nil }); err != nil || !empty {
		return err
	}
	return v.MarkSealed()
}

// Parts gives where the values and the keys are, for a Vault of which this one is
// a copy, and what notes that views held something of them.
func (v *Vault) Parts() (SealedFiles, KeyFiles, func() error) { return v.files, v.keys.files, v.scrub }

// Close lets go of the folder.
func (v *Vault) Close() error { return v.close() }

// PutFor seals what r gives, at most limit bytes, with the holder's key, which
// is made at the first use. When it returns, key and value are on stable
// storage. Codes as of Blobs.Put.
func (v *Vault) PutFor(ctx context.Context, holder string, r io.Reader, limit int64) (digest string, size int64, err error) {
	doc, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return "", 0, internal("receiving a private value", err)
	}
	if int64(len(doc)) > limit {
		return "", 0, registry.Refuse(registry.CodeTooLarge, "Give a smaller file.", "The file is larger than %d bytes", limit)
	}
	digest = digestOf(doc)
	return digest, int64(len(doc)), v.seal(ctx, holder, digest, doc)
}

func (v *Vault) seal(ctx context.Context, holder, digest string, doc []byte) error {
	k, err := v.keys.own(ctx, holder)
	if err != nil {
		return err
	}
	return v.files.Set(ctx, digest, k.seal(holder, digest, doc))
}

// Seal seals a value that lies there plain. What is sealed, or not there, stays
// as it is.
func (v *Vault) Seal(ctx context.Context, digest, holder string) error {
	raw, err := v.files.Raw(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return nil
	}
	if err != nil {
		return err
	}
	if _, _, sealed := splitSealed(raw); sealed {
		return nil
	}
	if digestOf(raw) != digest {
		return changed(digest)
	}
	return v.seal(ctx, holder, digest, raw)
}

// Unsealed says whether values may still lie there plain.
func (v *Vault) Unsealed() bool {
	_, err := v.keys.files.Load(context.Background(), allSealed, "")
	return registry.CodeOf(err) == registry.CodeNotFound
}

// MarkSealed notes that nothing lies there plain any more.
func (v *Vault) MarkSealed() error {
	return v.note(context.Background(), allSealed)
}

// PutStored stores a value under its digest as Stored gave it, sealed or plain.
// It is for bringing a backup back. CodeTampered when a plain one has another
// digest; of a sealed one the key will tell.
func (v *Vault) PutStored(ctx context.Context, digest string, r io.Reader, size int64) error {
	if size > largestSealed {
		return registry.Refuse(registry.CodeTooLarge, "", "A private value has %d bytes", size)
	}
	raw := make([]byte, size)
	if _, err := io.ReadFull(r, raw); err != nil {
		return err
	}
	if _, _, sealed := splitSealed(raw); !sealed {
		if digestOf(raw) != digest {
			return changed(digest)
		}
		if err := v.keys.files.Remove(ctx, allSealed); err != nil {
			return err
		}
	}
	return v.files.Set(ctx, digest, raw)
}

// Get gives a value as it was put. Codes: CodeNotFound when it is not stored or
// its key is gone, CodeTampered when value or key was changed.
func (v *Vault) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	raw, err := v.files.Raw(ctx, digest)
	if err != nil {
		return nil, 0, err
	}
	doc, err := v.unseal(ctx, digest, raw)
	if err != nil {
		return nil, 0, err
	}
	return io.NopCloser(bytes.NewReader(doc)), int64(len(doc)), nil
}

func (v *Vault) unseal(ctx context.Context, digest string, raw []byte) ([]byte, error) {
	head, box, sealed := splitSealed(raw)
	if !sealed {
		if digestOf(raw) != digest {
			return nil, changed(digest)
		}
		return raw, nil
	}
	k, state, err := v.keys.find(ctx, head)
	switch {
	case err != nil:
		return nil, err
	case state == KeyDestroyed:
		return nil, registry.Refuse(registry.CodeNotFound, "", "The key of the private value %s was destroyed, so that nobody can read it", digest)
	case state == KeyMissing:
		return nil, registry.Refuse(registry.CodeNotFound, "Put the folder keys back from a copy or a backup.", "The key of the private value %s is missing", digest)
	}
	doc, err := k.open(digest, box)
	if err != nil || digestOf(doc) != digest {
		return nil, changed(digest)
	}
	return doc, nil
}

func changed(digest string) error {
	return registry.Refuse(registry.CodeTampered, "Put the file, or the folder keys, back from a copy.", "The stored file %s or its key was changed", digest)
}

// Has says whether the value is stored, be it readable or not.
func (v *Vault) Has(ctx context.Context, digest string) (bool, error) {
	return v.files.Has(ctx, digest)
}

// Each calls fn for every stored value in the order of the digests, with its
// size as it is stored.
func (v *Vault) Each(ctx context.Context, fn func(digest string, size int64) error) error {
	return v.files.Each(ctx, fn)
}

// State is what can be said of a private value without showing it.
type State int

// The states of a private value.
const (
	Readable     State = iota
	NotStored          // removed, or lost
	KeyDestroyed       // sealed with a key that was destroyed on purpose
	KeyMissing         // sealed with a key that is not there
)

// Look says how a value is kept, and by which holder's key. The holder is empty
// of a plain value and of one that is not stored.
func (v *Vault) Look(ctx context.Context, digest string) (state State, holder string, err error) {
	raw, err := v.files.Raw(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return NotStored, "", nil
	}
	if err != nil {
		return NotStored, "", err
	}
	head, _, sealed := splitSealed(raw)
	if !sealed {
		return Readable, "", nil
	}
	_, state, err = v.keys.find(ctx, head)
	return state, head.holder, err
}

// Destroy destroys the keys that seal these values, for good, and then removes
// the values. When the store is closed, what the views held of them goes too. What is not there any more is no error, so what was stopped half
// way can be done again.
func (v *Vault) Destroy(ctx context.Context, digests []string) error {
	if err := v.scrub(); err != nil {
		return err
	}
	for _, digest := range digests {
		raw, err := v.files.Raw(ctx, digest)
		if registry.CodeOf(err) == registry.CodeNotFound {
			continue
		}
		if err != nil {
			return err
		}
		if head, _, sealed := splitSealed(raw); sealed {
			if err := v.keys.destroy(ctx, head); err != nil {
				return internal("destroying a key", err)
			}
		}
	}
	for _, digest := range digests {
		if err := v.files.Remove(ctx, digest); err != nil {
			return err
		}
	}
	return nil
}

// Erasing notes, on stable storage, that something of a machine is being
// erased, or no longer.
func (v *Vault) Erasing(machine string, on bool) error {
	if err := registry.CheckID("/machine", machine); err != nil {
		return err
	}
	if on {
		return v.note(context.Background(), erasingPrefix+machine)
	}
	return v.keys.files.Remove(context.Background(), erasingPrefix+machine)
}

// note makes an empty file whose name says something.
func (v *Vault) note(ctx context.Context, name string) error {
	return v.keys.files.Change(ctx, name, false, func([]byte) ([]byte, error) { return []byte{}, nil })
}

// Interrupted lists the machines of which something was being erased when the
// process ended.
func (v *Vault) Interrupted() (machines []string, err error) {
	notes, err := v.keys.files.Names(context.Background(), erasingPrefix)
	for _, note := range notes {
		if machine := strings.TrimPrefix(note, erasingPrefix); registry.CheckID("/machine", machine) == nil {
			machines = append(machines, machine)
		}
	}
	return machines, internal("looking for erasures that were interrupted", err)
}

// Stored gives the values as they lie on the disk, for backups.
func (v *Vault) Stored() StoredValues { return StoredValues{v} }

// StoredValues are private values as they lie on the disk: sealed ones sealed.
type StoredValues struct{ vault *Vault }

// Get is Vault.GetStored.
func (s StoredValues) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	return s.vault.GetStored(ctx, digest)
}

// GetStored gives a value's stored bytes. One that can be read is read first:
// CodeTampered when it was changed.
func (v *Vault) GetStored(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	raw, err := v.files.Raw(ctx, digest)
	if err != nil {
		return nil, 0, err
	}
	if _, err := v.unseal(ctx, digest, raw); err != nil && registry.CodeOf(err) != registry.CodeNotFound {
		return nil, 0, err
	}
	return io.NopCloser(bytes.NewReader(raw)), int64(len(raw)), nil
}

// Each is Vault.Each.
func (s StoredValues) Each(ctx context.Context, fn func(digest string, size int64) error) error {
	return s.vault.Each(ctx, fn)
}

// Forget lets go of the keys that are at hand, as after one was destroyed
// elsewhere.
func (v *Vault) Forget() {
	v.keys.forget("")
}

// EachKey calls fn for every file of keys, those of destroyed ones too.
func (v *Vault) EachKey(ctx context.Context, fn func(name string, raw []byte) error) error {
	names, err := v.keys.files.Names(ctx, "")
	if err != nil {
		return err
	}
	for _, name := range names {
		if strings.HasPrefix(name, "_") {
			continue
		}
		raw, err := v.keys.files.Load(ctx, name, "")
		if registry.CodeOf(err) == registry.CodeNotFound {
			continue // removed meanwhile
		}
		if err == nil {
			err = fn(name, raw)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// PutKey takes a file of keys of another copy of this registry: what was
// destroyed in either is so in both. CodeConflict when each has its own key.
func (v *Vault) PutKey(ctx context.Context, name string, raw []byte) error {
	return v.keys.bring(ctx, name, raw)
}

// readRaw reads the stored bytes of a value.
func readRaw(digest string, r io.Reader, size int64) ([]byte, error) {
	if size > largestSealed {
		return nil, changed(digest)
	}
	raw, err := io.ReadAll(r)
	return raw, internal("reading a private value", err)
}

func digestOf(doc []byte) string {
	sum := sha256.Sum256(doc)
	return algorithm + hex.EncodeToString(sum[:])
}

// makeSynced makes a folder, and its name last, when there is none.
func makeSynced(path string) error {
	if err := os.Mkdir(path, 0o700); err != nil {
		if os.IsExist(err) {
			return nil
		}
		return err
	}
	return syncDirectory(filepath.Dir(path))
}

// sealedHead is the first line of a sealed value: whose key opens it.
type sealedHead struct{ holder, id string }

const sealedWord = "asfound-sealed 1 "

func (h sealedHead) line() string { return fmt.Sprintf("%s%s %s\n", sealedWord, h.holder, h.id) }

// splitSealed takes a stored value apart; ok is false of a plain one, which
// begins with "{".
func splitSealed(raw []byte) (head sealedHead, box []byte, ok bool) {
	line, box, found := bytes.Cut(raw, []byte("\n"))
	rest, marked := strings.CutPrefix(string(line), sealedWord)
	holder, id, two := strings.Cut(rest, " ")
	return sealedHead{holder, id}, box, found && marked && two
}
