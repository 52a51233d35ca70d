package server

import (
	"bufio"
	"errors"
	"net"
	"sync"
	"time"
)

const (
	// helloWithin is how long a peer may take to send its first byte.
	helloWithin = 10 * time.Second
	// handshake is the first byte of every TLS connection (RFC 8446, 5.1).
	handshake = 0x16
)

// SplitTLS parts the connections of a listener by their first byte into those
// that begin a TLS handshake and the others, so that one address answers both
// "https" and "http". The listener is closed with the first of the two.
func SplitTLS(l net.Listener) (encrypted, plain net.Listener) {
	s := &splitter{Listener: l, done: make(chan struct{})}
	e, p := &half{s, make(chan net.Conn)}, &half{s, make(chan net.Conn)}
	go s.run(e, p)
	return e, p
}

// splitter accepts for both halves.
type splitter struct {
	net.Listener
	once sync.Once
	done chan struct{}
}

func (s *splitter) run(encrypted, plain *half) {
	for {
		c, err := s.Listener.Accept()
		switch {
		case errors.Is(err, net.ErrClosed):
			return
		case err != nil: // out of files or memory, for a while
			select {
			case <-s.done:
				return
			case <-time.After(100 * time.Millisecond):
			}
			continue
		}
		go func() {
			peeked := &peekedConn{Conn: c, r: bufio.NewReaderSize(c, 16)}
			to := plain
			c.SetReadDeadline(time.Now().Add(helloWithin))
			first, err := peeked.r.Peek(1)
			c.SetReadDeadline(time.Time{})
			if err != nil {
				c.Close()
				return
			}
			if first[0] == handshake {
				to = encrypted
			}
			select {
			case to.conns <- peeked:
			case <-s.done:
				c.Close()
			}
		}()
	}
}

// half is one side of a splitter.
type half struct {
	*splitter
	conns chan net.Conn
}

// Accept gives the next connection of this side.
func (h *half) Accept() (net.Conn, error) {
	select {
	case c := <-h.conns:
		return c, nil
	case <-h.done:
		return nil, net.ErrClosed
	}
}

// Close ends both sides.
func (h *half) Close() (err error) {
	h.once.Do(func() {
		close(h.done)
		err = h.Listener.Close()
	})
	return err
}

// peekedConn is a connection whose first bytes were looked at.
type peekedConn struct {
	net.Conn
	r *bufio.Reader
}

// Read gives the bytes that were looked at once more.
func (c *peekedConn) Read(b []byte) (int, error) { return c.r.Read(b) }
