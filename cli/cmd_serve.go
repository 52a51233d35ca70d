package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"time"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/server"
)

type serveCommand struct {
	Addr    string `help:"${addr_help}" default:"${addr}"`
	BaseURL string `help:"${base_url_help}" default:"${base_url}"`
	// BeyondLoopback is for a container, or behind a proxy that encrypts and
	// asks who is there.
	BeyondLoopback bool `help:"listen on an address that other machines can reach, without encryption or accounts: only behind a proxy, or in a container whose port is published on loopback (ASFOUND_BEYOND_LOOPBACK)" default:"${beyond_loopback}"`
}

// Run serves until the program is told to stop.
func (s *serveCommand) Run(c *call) error {
	return c.serve(s.Addr, s.BaseURL, s.BeyondLoopback)
}

// stopWithin is how long requests under way may take to end.
const stopWithin = 10 * time.Second

func (c *call) serve(addr, baseURL string, beyondLoopback bool) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	if stop, err := o.control(c.ctx); err != nil {
		fmt.Fprintf(c.Stderr, "asfound: backup and audit must wait until the server ends: %v\n", err)
	} else {
		defer stop()
	}
	handler, err := server.New(server.Config{Workshop: o.Workshop,
		ReadSheet: c.readSheet, ReadPhoto: readPhoto, ReadLight: readLight,
		PDF: o.writePDF, Card: o.writeCard, Labels: o.writeLabels,
		Bundle: func(ctx context.Context, w io.Writer, machine string, public bool) error {
			return o.writeBundle(ctx, w, machine, public, false)
		},
		Verify: func(_ context.Context, r io.ReaderAt, size int64) (any, error) {
			return dossier.Verify(r, size, dossier.VerifyOptions{})
		},
		BaseURL: baseURL, Version: Version, Logger: slog.New(slog.NewJSONHandler(c.Stderr, nil)), Now: c.Now})
	if err != nil {
		return err
	}
	if _, _, err := net.SplitHostPort(addr); err != nil {
		return badFlag("--addr", addr, "127.0.0.1:8350")
	}
	listener, err := net.Listen("tcp", addr)
	if err != nil {
		return registry.Refuse(registry.CodeBusy, "Choose another address with --addr.", "The address %s cannot be listened on: %v", addr, errors.Unwrap(err))
	}
	loopback := listener.Addr().(*net.TCPAddr).IP.IsLoopback()
	if !loopback && !beyondLoopback {
		return errors.Join(registry.Refuse(registry.CodeRefused, "Listen on 127.0.0.1; or say --beyond-loopback, behind a proxy that encrypts and asks who is there.",
			"%s can be reached from other machines, and this server knows neither encryption nor accounts", addr), listener.Close())
	}
	h := server.NewHTTPServer(addr, handler)
	whom := "for this machine alone, without accounts"
	if !loopback {
		whom = "for EVERYBODY who can reach it, without encryption or accounts"
	}
	fmt.Fprintf(c.Stdout, "Serving on http://%s — %s. Stop with Ctrl-C.\n", listener.Addr(), whom)
	failed := make(chan error, 1)
	go func() { failed <- h.Serve(listener) }()
	select {
	case err := <-failed:
		return err
	case <-c.ctx.Done():
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(c.ctx), stopWithin)
	defer cancel()
	if err := h.Shutdown(ctx); err != nil {
		return err
	}
	if err := <-failed; !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	fmt.Fprintln(c.Stdout, "Stopped.")
	return nil
}

type pingCommand struct {
	URL string `arg:"" optional:"" default:"http://127.0.0.1:8350" help:"address of the server"`
}

// Run asks a running server whether it is well; for health checks.
func (p *pingCommand) Run(c *call) error {
	ctx, cancel := context.WithTimeout(c.ctx, 3*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, p.URL+"/healthz", nil)
	if err != nil {
		return badFlag("the address", p.URL, "http://127.0.0.1:8350")
	}
	answer, err := http.DefaultClient.Do(req)
	if err != nil {
		return registry.Refuse(registry.CodeBusy, "Start it with \"asfound serve\".", "No server answers at %s", p.URL)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return registry.Refuse(registry.CodeBusy, "Look at its log.", "The server at %s answers %s", p.URL, answer.Status)
	}
	return c.print(map[string]bool{"well": true}, printer("The server is well."))
}
