package backup

import (
	"bufio"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"filippo.io/age"

	"example.org/asfound/registry"
)

// Target is where a backup is brought back to.
type Target struct {
	Ledger registry.Ledger
	Photos interface {
		Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
	}
	// Private takes private values as they lay on the disk, sealed or plain.
	Private interface {
		PutStored(ctx context.Context, digest string, r io.Reader, size int64) error
	}
}

// Restore brings a whole chain back, oldest piece first, and says what it held.
// What is there already is not stored twice, so a restore that was stopped can
// be started again. Codes: CodeNotFound without a backup, CodeRefused when no
// identity opens it, CodeTampered when a piece was changed, is missing or does
// not follow on the one before.
func Restore(ctx context.Context, folder Folder, to Target, identities []age.Identity, progress func(piece, of int, so Count)) (*Index, Count, error) {
	x, err := ReadIndex(folder)
	if err != nil {
		return nil, Count{}, err
	}
	if x == nil || len(x.Pieces) == 0 {
		return nil, Count{}, registry.Refuse(registry.CodeNotFound, "Name the folder that \"asfound backup\" wrote to.", "There is no backup in that folder")
	}
	var all Count
	last := ""
	for i, p := range x.Pieces {
		want := Begin{Format: p.format(), Chain: x.Chain, Piece: i + 1, Registry: x.Registry, After: last}
		count, err := open(ctx, folder, p.File, p.SHA256, identities, func(f frame, r *bufio.Reader) error {
			return to.take(ctx, f, r, want)
		})
		if err != nil {
			return nil, all, p.refused(err)
		}
		if count != p.Holds {
			return nil, all, p.refused(errors.New("it does not hold what the index says"))
		}
		all.Commits, all.Events, all.Photos, all.Private = all.Commits+count.Commits, all.Events+count.Events, all.Photos+count.Photos, all.Private+count.Private
		last = p.Last
		if progress != nil {
			progress(i+1, len(x.Pieces), all)
		}
	}
	return x, all, nil
}

// RestorePresent gives fn each file of the present part. What it says of the
// pieces stays true without it: they are then there, and shut. Codes:
// CodeNotFound for a backup of before there was one, otherwise as Restore.
func RestorePresent(ctx context.Context, folder Folder, x *Index, identities []age.Identity, fn func(name string, content []byte) error) error {
	if x.Present == nil {
		return registry.Refuse(registry.CodeNotFound, "", "The backup holds no keys, people and settings")
	}
	want := Begin{Format: format, Chain: x.Chain, Registry: x.Registry}
	count, err := open(ctx, folder, x.Present.File, x.Present.SHA256, identities, func(f frame, r *bufio.Reader) error {
		switch {
		case f.Kind == "begin" && *f.Begin == want:
			return nil
		case f.Kind != "file" || f.Size > largestFile:
			return errors.New("it is another part than that with the keys")
		}
		content := make([]byte, f.Size)
		if _, err := io.ReadFull(r, content); err != nil {
			return err
		}
		return fn(f.Name, content)
	})
	if err == nil && count != x.Present.Holds {
		err = errors.New("it does not hold what the index says")
	}
	if err != nil {
		return x.Present.refused(err)
	}
	return nil
}

// largestFile bounds a file of the present part in bytes.
const largestFile = 64 << 20

func (p Part) refused(err error) error {
	var known *registry.Error
	var wrong *age.NoIdentityMatchError
	switch {
	case errors.As(err, &wrong):
		return registry.Refuse(registry.CodeRefused, "Give the identity of one of them with --identity.", "The key does not open %s: it was written to %v", p.File, p.Recipients)
	case errors.As(err, &known), errors.Is(err, context.Canceled):
		return err
	}
	return registry.Refuse(registry.CodeTampered, "Put the file back from a copy; what came before it has been restored.", "%s of the backup is damaged: %v", p.File, err)
}

// take stores one thing of a piece.
func (t Target) take(ctx context.Context, f frame, r *bufio.Reader, want Begin) error {
	switch f.Kind {
	case "begin":
		if *f.Begin != want {
			return errors.New("it does not follow on the piece before")
		}
	case "commit":
		events, err := f.events(r)
		if err != nil {
			return err
		}
		_, err = t.Ledger.Append(ctx, registry.Commit{ID: string(f.ID), Machine: f.Machine, Expect: f.First - 1, Events: events})
		return err
	case "private":
		return t.Private.PutStored(ctx, f.Digest, io.LimitReader(r, f.Size), f.Size)
	case "photo":
		digest, _, err := t.Photos.Put(ctx, io.LimitReader(r, f.Size), f.Size)
		if err == nil && digest != f.Digest {
			err = fmt.Errorf("%s has another content", f.Digest)
		}
		return err
	}
	return nil
}

// open decrypts a piece and gives each frame to fn, which reads what follows.
// The file's digest is checked before anything of it is used.
func open(ctx context.Context, folder Folder, name, digest string, identities []age.Identity, fn func(frame, *bufio.Reader) error) (Count, error) {
	if err := sameDigest(folder, name, digest); err != nil {
		return Count{}, err
	}
	f, err := folder.Open(name)
	if err != nil {
		return Count{}, err
	}
	defer f.Close()
	plain, err := age.Decrypt(f, identities...)
	if err != nil {
		return Count{}, err
	}
	packed, err := gzip.NewReader(plain)
	if err != nil {
		return Count{}, err
	}
	return things(ctx, bufio.NewReaderSize(packed, 64<<10), fn)
}

// things gives each frame of a piece to fn, to the end of the piece.
func things(ctx context.Context, r *bufio.Reader, fn func(frame, *bufio.Reader) error) (Count, error) {
	var count Count
	for first := true; ; first = false {
		if err := ctx.Err(); err != nil {
			return count, err
		}
		f, err := readFrame(r)
		if err != nil {
			return count, err
		}
		if first != (f.Kind == "begin") || first && f.Begin == nil {
			return count, errors.New("it does not begin as a piece does")
		}
		switch f.Kind {
		case "begin":
		case "commit":
			count.Commits++
			count.Events += len(f.Lengths)
		case "photo":
			count.Photos++
		case "private":
			count.Private++
		case "file":
			count.Files++
		case "end":
			if f.Count == nil || *f.Count != count {
				return count, errors.New("it does not hold what its end says")
			}
			// Reading to the end lets the encryption say that nothing was cut off.
			if _, err := io.Copy(io.Discard, r); err != nil {
				return count, err
			}
			return count, nil
		default:
			return count, fmt.Errorf("it holds a %q, which is not known here", f.Kind)
		}
		if err := fn(f, r); err != nil {
			return count, err
		}
	}
}

func sameDigest(folder Folder, name, digest string) error {
	f, err := folder.Open(name)
	if err != nil {
		return err
	}
	sum := sha256.New()
	_, err = io.Copy(sum, f)
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != digest {
		return errors.New("it was changed")
	}
	return nil
}
