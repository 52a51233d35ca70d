package store

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"example.org/asfound/registry"
)

// keysFolder holds the keys of the private values, a file a holder.
const keysFolder = "keys"

// keyring finds, makes and destroys the keys of holders.
type keyring struct {
	dir  string
	mu   sync.Mutex
	held map[string]key // by holder; let go of when there are too many
}

// mostKeys is how many keys are kept at hand.
const mostKeys = 4096

// key opens and seals what belongs to one holder: AES-256-GCM (NIST SP
// 800-38D) with a random nonce of 96 bits before each box. What is sealed
// beside the value is its digest.
type key struct {
	id     string
	cipher cipher.AEAD
}

// keyFile is a holder's file.
type keyFile struct {
	Format int    `json:"format"`
	Holder string `json:"holder"`
	// ID names the key in the values that it seals: 128 random bits in hex.
	ID  string `json:"id,omitempty"`
	Key []byte `json:"key,omitempty"` // 32 random bytes
	// Destroyed are the IDs of the keys that were destroyed on purpose, so that
	// a value which cannot be read for that reason is told from a loss.
	Destroyed []string `json:"destroyed,omitempty"`
}

// keyPath is where a holder's key lies: DIR/MACHINE/machine.key, or
// DIR/MACHINE/person-PERSON.key.
func keyPath(dir, holder string) (string, error) {
	machine, person, one := strings.Cut(holder, "/")
	if err := registry.CheckID("/machine", machine); err != nil {
		return "", err
	}
	if !one {
		return filepath.Join(dir, machine, "machine.key"), nil
	}
	if err := registry.CheckID("/person", person); err != nil {
		return "", err
	}
	return filepath.Join(dir, machine, "person-"+person+".key"), nil
}

func newKey(f keyFile) (key, error) {
	block, err := aes.NewCipher(f.Key)
	if err != nil {
		return key{}, err
	}
	c, err := cipher.NewGCMWithRandomNonce(block)
	return key{f.ID, c}, err
}

func (k key) seal(holder, digest string, doc []byte) []byte {
	return k.cipher.Seal([]byte(sealedHead{holder, k.id}.line()), nil, doc, []byte(digest))
}

func (k key) open(digest string, box []byte) ([]byte, error) {
	return k.cipher.Open(nil, nil, box, []byte(digest))
}

// read reads a holder's file; without one there is no key. CodeTampered when it
// is not as it was written.
func (r *keyring) read(holder string) (path string, f keyFile, err error) {
	path, err = keyPath(r.dir, holder)
	if err != nil {
		return "", f, err
	}
	raw, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return path, keyFile{Format: 1, Holder: holder}, nil
	}
	if err != nil {
		return path, f, internal("reading a key", err)
	}
	if err := json.Unmarshal(raw, &f); err != nil || f.Format != 1 || f.Holder != holder || f.ID != "" && len(f.Key) != 32 {
		return path, keyFile{Format: 1, Holder: holder}, registry.Refuse(registry.CodeTampered, "Put it back from a copy or a backup.", "The key in %s is not as it was written", path)
	}
	return path, f, nil
}

func (f keyFile) write(path string) error {
	raw, err := json.Marshal(f)
	if err != nil {
		return err
	}
	return errors.Join(makeSynced(filepath.Dir(path)), writeAtomically(path, append(raw, '\n')))
}

// own gives the key that seals what is new of a holder, making it when there is
// none.
func (r *keyring) own(holder string) (key, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if k, ok := r.held[holder]; ok {
		return k, nil
	}
	path, f, err := r.read(holder)
	if err != nil {
		return key{}, err
	}
	if f.ID == "" {
		id := make([]byte, 16)
		f.Key = make([]byte, 32)
		_, _ = rand.Read(id) // never fails
		_, _ = rand.Read(f.Key)
		f.ID = hex.EncodeToString(id)
		if err := f.write(path); err != nil {
			return key{}, internal("writing a key", err)
		}
	}
	return r.hold(f)
}

func (r *keyring) hold(f keyFile) (key, error) {
	k, err := newKey(f)
	if err == nil {
		if r.held == nil || len(r.held) >= mostKeys {
			r.held = map[string]key{}
		}
		r.held[f.Holder] = k
	}
	return k, err
}

// find gives the key that a sealed value names, when it is there, and says
// whether it was destroyed when it is not.
func (r *keyring) find(head sealedHead) (key, State, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if k, ok := r.held[head.holder]; ok && k.id == head.id {
		return k, Readable, nil
	}
	_, f, err := r.read(head.holder)
	switch {
	case err != nil:
		return key{}, KeyMissing, err
	case slices.Contains(f.Destroyed, head.id):
		return key{}, KeyDestroyed, nil
	case f.ID != head.id:
		return key{}, KeyMissing, nil
	}
	k, err := r.hold(f)
	return k, Readable, err
}

// destroy destroys a key for good, or notes that one which is not there was to
// be: its file is replaced by one that says so, and the bytes of the old one are
// overwritten where the file system lets them be. A damaged file stands in
// nobody's way.
func (r *keyring) destroy(head sealedHead) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	path, f, err := r.read(head.holder)
	if err != nil && registry.CodeOf(err) != registry.CodeTampered {
		return err
	}
	if slices.Contains(f.Destroyed, head.id) {
		return nil
	}
	delete(r.held, head.holder)
	old, openErr := os.OpenFile(path, os.O_WRONLY, 0)
	if f.Destroyed = append(f.Destroyed, head.id); f.ID == head.id {
		f.ID, f.Key = "", nil
	}
	err = f.write(path)
	if openErr == nil {
		if info, statErr := old.Stat(); err == nil && statErr == nil {
			_, _ = old.WriteAt(make([]byte, info.Size()), 0) // its name is gone already
			_ = old.Sync()
		}
		_ = old.Close()
	}
	return err
}
