package store

import (
	"errors"
	"fmt"

	"example.org/asfound/registry"
)

const fixDamage = "Stop using this directory, keep a copy of it as it is, and bring the registry back from a backup."

// damaged says that stored bytes are not what was written.
func damaged(format string, args ...any) *registry.Error {
	return registry.Refuse(registry.CodeTampered, fixDamage, format, args...)
}

// errClosed is the answer of a store that was closed.
var errClosed = registry.Refuse(registry.CodeBusy, "Open it again.", "The registry is closed")

// internal wraps an unexpected error of the disk or of Badger.
func internal(doing string, err error) error {
	var known *registry.Error
	if err == nil || errors.As(err, &known) {
		return err
	}
	return fmt.Errorf("%s: %w", doing, err)
}

// guarded runs fn and turns a panic into a finding of damage: Badger panics on
// tables that were cut short or changed.
func guarded(doing string, fn func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = broke(doing, p)
		}
	}()
	return fn()
}

// broke makes a finding of damage of a panic.
func broke(doing string, p any) error {
	return damaged("%s failed, because stored files are damaged: %s", doing, firstLine(p))
}

// firstLine shortens what a panic says.
func firstLine(p any) string {
	s := fmt.Sprint(p)
	for i, r := range s {
		if (r == '\n' && i > 0) || i > 160 {
			return s[:i]
		}
	}
	return s
}

// describe names a key for a reader.
func describe(key []byte) string {
	if machine, first, part, ok := splitCommitKey(key); ok {
		if part > 0 {
			return fmt.Sprintf("of %s from version %d, part %d", machine, first, part)
		}
		return fmt.Sprintf("of %s from version %d", machine, first)
	}
	for _, f := range families {
		if len(key) > 0 && key[0] == f.prefix {
			if f.prefix == prefixPosition && len(key) == 9 {
				return fmt.Sprintf("of position %x", key[1:])
			}
			return fmt.Sprintf("%s %q", f.name, key[1:])
		}
	}
	return fmt.Sprintf("%q", key)
}
