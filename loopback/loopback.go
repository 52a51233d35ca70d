// Package loopback hands out addresses for the servers of tests, which must be
// known before the server listens and stay its own while it is down.
//
// Only tests import it.
package loopback

import (
	"fmt"
	"net"
	"os"
	"sync/atomic"
)

// The ports lie below those that systems lend to outgoing connections and to
// listeners at port 0 (from 32768 on Linux, from 49152 by RFC 6335), so that
// nothing takes one between two runs of a server. Each process has a block of
// its own: tests of several packages run side by side.
const (
	lowest = 10_000
	blocks = 110
	size   = 200
)

var given atomic.Int64

// Address is an address of loopback, "127.0.0.1:PORT", on which nothing listens.
// No two calls of a process give the same one, until it has used up its block.
func Address() (string, error) {
	first := lowest + os.Getpid()%blocks*size
	var last error
	for range size {
		address := fmt.Sprintf("127.0.0.1:%d", first+int((given.Add(1)-1)%size))
		l, err := net.Listen("tcp", address)
		if err != nil {
			last = err
			continue
		}
		return address, l.Close()
	}
	return "", fmt.Errorf("no port from %d to %d is free: %w", first, first+size-1, last)
}
