package store

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"

	"example.org/asfound/registry"
)

// lock takes the directory for this process. The kernel gives it back when the
// process ends in any way, so a lock is never left behind.
func lock(dir, path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, internal("opening the lock file", err)
	}
	for {
		err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if !errors.Is(err, unix.EINTR) {
			break
		}
	}
	if err == nil {
		return f, nil
	}
	f.Close()
	if errors.Is(err, unix.EWOULDBLOCK) {
		return nil, registry.Refuse(registry.CodeBusy, "Stop it, or use --dir for another one.",
			"Another asfound process is using the registry in %s", dir)
	}
	return nil, internal("locking the registry", err)
}
