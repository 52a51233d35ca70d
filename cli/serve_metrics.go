package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"example.org/asfound/metrics"
	"example.org/asfound/server"
)

// lastBackup names the file, in the registry's folder, that says when the last
// backup ended.
const lastBackup = "last-backup"

// backedUpAt notes that a backup ended.
func (o *opened) backedUpAt(t time.Time) error {
	return writeFile(filepath.Join(o.store.Dir(), lastBackup), func(w io.Writer) error {
		_, err := fmt.Fprintln(w, t.UTC().Format(time.RFC3339))
		return err
	})
}

// standing is how the registry stands, for a monitor.
func (o *opened) standing(ctx context.Context) (out metrics.State, err error) {
	out.Position, out.Machines, out.Events = o.store.Totals()
	derived, _, err := o.store.Views().Checkpoint(ctx)
	if err != nil {
		return out, err
	}
	if at := uint64(derived); at < out.Position {
		out.Lag = out.Position - at
	}
	if out.Free, out.Reserve, err = o.store.Room(); err != nil {
		return out, err
	}
	text, err := os.ReadFile(filepath.Join(o.store.Dir(), lastBackup))
	if errors.Is(err, os.ErrNotExist) {
		return out, nil
	}
	if err == nil {
		out.Backup, err = time.Parse(time.RFC3339, strings.TrimSpace(string(text)))
	}
	return out, err
}

// watched counts what an open registry does, and serves the counts at an address
// of their own, never at that of the pages.
func (c *call) watched(o *opened, w *way, addr string, log slog.Handler) (stop func(), err error) {
	if addr == "" {
		return func() {}, nil
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, cannotListen(addr, err)
	}
	w.watch = metrics.New(Version, o.standing)
	w.watchedAt = l.Addr().String()
	o.Ledger, o.Photos = w.watch.Ledger(o.Ledger), w.watch.Photos(o.Photos)
	s := server.NewHTTPServer(addr, w.watch.Handler(w.answersTo))
	s.ErrorLog = slog.NewLogLogger(log, slog.LevelDebug)
	go func() {
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			fmt.Fprintf(c.Stderr, "asfound: the figures for a monitor are not served any more: %v\n", err)
		}
	}()
	return func() { s.Close() }, nil
}

// answersTo says whether a host is an address, this computer or one of our
// names.
func (w *way) answersTo(hostPort string) bool {
	host, _, err := net.SplitHostPort(hostPort)
	if err != nil {
		host = hostPort
	}
	return net.ParseIP(strings.Trim(host, "[]")) != nil || strings.EqualFold(host, "localhost") || slices.ContainsFunc(w.names.Hosts, func(n string) bool { return strings.EqualFold(n, host) })
}
