package store

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strings"
	"sync"

	"example.org/asfound/registry"
)

// keyring finds, makes and destroys the keys of holders.
type keyring struct {
	files KeyFiles
	alone bool // nobody else changes the files

	// changing is held while a file is changed, which in a cluster takes as long
	// as it has no leader; reading goes on meanwhile.
	changing sync.Mutex

	mu      sync.Mutex     // guards what follows
	held    map[string]key // by holder; let go of when there are too many
	changes int            // so that nothing is held that was read before one
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

// keyName is what a holder's file is called: MACHINE/machine.key, or
// MACHINE/person-PERSON.key.
func keyName(holder string) (string, error) {
	machine, person, one := strings.Cut(holder, "/")
	if err := registry.CheckID("/machine", machine); err != nil {
		return "", err
	}
	if !one {
		return machine + "/machine.key", nil
	}
	if err := registry.CheckID("/person", person); err != nil {
		return "", err
	}
	return machine + "/person-" + person + ".key", nil
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

// decodeKeyFile reads a holder's file. CodeTampered when it is not as it was
// written.
func decodeKeyFile(name, holder string, raw []byte) (f keyFile, err error) {
	if raw == nil {
		return keyFile{Format: 1, Holder: holder}, nil
	}
	if err := json.Unmarshal(raw, &f); err != nil || f.Format != 1 || f.Holder != holder || f.ID != "" && len(f.Key) != 32 {
		return keyFile{Format: 1, Holder: holder}, registry.Refuse(registry.CodeTampered, "Put it back from a copy or a backup.", "The key in %s is not as it was written", name)
	}
	return f, nil
}

func (f keyFile) encode() ([]byte, error) {
	raw, err := json.Marshal(f)
	return append(raw, '\n'), err
}

// change replaces a holder's file by what fn makes of it, and keeps nothing of it
// at hand.
func (r *keyring) change(ctx context.Context, holder string, shred bool, fn func(*keyFile, error) error) error {
	name, err := keyName(holder)
	if err != nil {
		return err
	}
	r.forget(holder)
	defer r.forget(holder)
	return r.files.Change(ctx, name, shred, func(old []byte) ([]byte, error) {
		f, err := decodeKeyFile(name, holder, old)
		if err := fn(&f, err); err != nil {
			return nil, err
		}
		return f.encode()
	})
}

// forget lets go of a holder's key; "" of all.
func (r *keyring) forget(holder string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.changes++
	if delete(r.held, holder); holder == "" {
		r.held = nil
	}
}

// own gives the key that seals what is new of a holder, making it when there is
// none.
func (r *keyring) own(ctx context.Context, holder string) (key, error) {
	r.changing.Lock()
	defer r.changing.Unlock()
	if k, _, ok := r.atHand(holder); ok && r.alone {
		return k, nil
	}
	var own keyFile
	if err := r.change(ctx, holder, false, func(f *keyFile, err error) error {
		if err != nil {
			return err
		}
		if f.ID == "" {
			id := make([]byte, 16)
			f.Key = make([]byte, 32)
			_, _ = rand.Read(id) // never fails
			_, _ = rand.Read(f.Key)
			f.ID = hex.EncodeToString(id)
		}
		own = *f
		return nil
	}); err != nil {
		return key{}, err
	}
	_, read, _ := r.atHand(holder)
	return r.hold(own, read)
}

// atHand gives a holder's key if it is held, and how many changes were made yet.
func (r *keyring) atHand(holder string) (k key, changes int, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	k, ok = r.held[holder]
	return k, r.changes, ok
}

// hold keeps a key at hand, unless something was changed since it was read.
func (r *keyring) hold(f keyFile, read int) (key, error) {
	k, err := newKey(f)
	r.mu.Lock()
	defer r.mu.Unlock()
	if err == nil && read == r.changes {
		if r.held == nil || len(r.held) >= mostKeys {
			r.held = map[string]key{}
		}
		r.held[f.Holder] = k
	}
	return k, err
}

// find gives the key that a sealed value names, when it is there, and says
// whether it was destroyed when it is not.
func (r *keyring) find(ctx context.Context, head sealedHead) (key, State, error) {
	k, read, ok := r.atHand(head.holder)
	if ok && k.id == head.id {
		return k, Readable, nil
	}
	name, err := keyName(head.holder)
	if err != nil {
		return key{}, KeyMissing, err
	}
	raw, err := r.files.Load(ctx, name, head.id)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return key{}, KeyMissing, nil
	}
	f := keyFile{}
	if err == nil {
		f, err = decodeKeyFile(name, head.holder, raw)
	}
	switch {
	case err != nil:
		return key{}, KeyMissing, err
	case slices.Contains(f.Destroyed, head.id):
		return key{}, KeyDestroyed, nil
	case f.ID != head.id:
		return key{}, KeyMissing, nil
	}
	k, err = r.hold(f, read)
	return k, Readable, err
}

// destroy destroys a key for good, or notes that one which is not there was to
// be: its file is replaced by one that says so. A damaged file stands in nobody's
// way.
func (r *keyring) destroy(ctx context.Context, head sealedHead) error {
	r.changing.Lock()
	defer r.changing.Unlock()
	gone := []string{head.id}
	return r.change(ctx, head.holder, true, func(f *keyFile, err error) error {
		if err != nil && registry.CodeOf(err) != registry.CodeTampered {
			return err
		}
		for _, id := range f.Destroyed {
			if !slices.Contains(gone, id) {
				gone = append(gone, id)
			}
		}
		f.destroyed(gone)
		return nil
	})
}

// destroyed notes that keys are gone for good.
func (f *keyFile) destroyed(ids []string) {
	for _, id := range ids {
		if !slices.Contains(f.Destroyed, id) {
			f.Destroyed = append(f.Destroyed, id)
		}
		if f.ID == id {
			f.ID, f.Key = "", nil
		}
	}
}

// bring takes a holder's file of another copy of the registry: what was destroyed
// in either is so in both. CodeConflict when each has a key of its own.
func (r *keyring) bring(ctx context.Context, name string, raw []byte) error {
	var theirs keyFile
	if err := json.Unmarshal(raw, &theirs); err != nil {
		return registry.Refuse(registry.CodeTampered, "Put it back from a copy or a backup.", "The key in %s is not as it was written", name)
	}
	if own, err := keyName(theirs.Holder); err != nil || own != name {
		return registry.Refuse(registry.CodeTampered, "Put it back from a copy or a backup.", "The key in %s is not as it was written", name)
	}
	theirs, err := decodeKeyFile(name, theirs.Holder, raw)
	if err != nil {
		return err
	}
	r.changing.Lock()
	defer r.changing.Unlock()
	shred := len(theirs.Destroyed) > 0
	return r.change(ctx, theirs.Holder, shred, func(f *keyFile, err error) error {
		if err != nil && registry.CodeOf(err) != registry.CodeTampered {
			return err
		}
		f.destroyed(theirs.Destroyed)
		switch {
		case theirs.ID == "" || theirs.ID == f.ID || slices.Contains(f.Destroyed, theirs.ID):
		case f.ID != "":
			return registry.Refuse(registry.CodeConflict, "Begin in an empty place, or destroy neither and find out which of the two is in use.", "%s holds two different keys in the two places", name)
		default:
			f.ID, f.Key = theirs.ID, theirs.Key
		}
		return nil
	})
}
