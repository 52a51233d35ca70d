package cli

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/server"
	"example.org/asfound/workshop"
)

type serveCommand struct {
	Addr        string   `help:"${addr_help}" default:"${addr}"`
	BaseURL     string   `help:"${base_url_help}" default:"${base_url}"`
	Host        []string `help:"${host_help}" default:"${host}" sep:","`
	PlainHTTP   bool     `name:"plain-http" help:"${plain_http_help}" default:"${plain_http}"`
	Cert        string   `help:"${cert_help}" default:"${cert}"`
	Key         string   `help:"${key_help}" default:"${key}"`
	BehindProxy []string `help:"${behind_proxy_help}" default:"${behind_proxy}" sep:","`
	Everyone    bool     `name:"everyone-on-this-network" help:"${everyone_on_this_network_help}" default:"${everyone_on_this_network}"`
	Accounts    bool     `help:"${accounts_help}" default:"${accounts}"`
	Limits      []string `help:"${limits_help}" default:"${limits}" sep:","`
	MetricsAddr string   `name:"metrics-addr" help:"${metrics_addr_help}" default:"${metrics_addr}"`
}

// stopWithin is how long requests under way may take to end.
const stopWithin = 10 * time.Second

// hstsOwn and hstsGiven are for how long a browser must come encrypted again.
// The demand holds for every port of the host and outlives a removed
// authority, so it is short where the authority is the registry's own.
const (
	hstsOwn   = 24 * time.Hour
	hstsGiven = 365 * 24 * time.Hour
)

// Run serves until the program is told to stop.
func (s *serveCommand) Run(c *call) error {
	people := c.people()
	people.Required = s.Accounts
	accounts, err := people.On()
	if err != nil {
		return err
	}
	w, err := s.way(accounts)
	if err != nil {
		return err
	}
	w.people = people
	o, err := c.open()
	if err != nil {
		return err
	}
	if stop, err := o.control(c.ctx); err != nil {
		fmt.Fprintf(c.Stderr, "asfound: backup and audit must wait until the server ends: %v\n", err)
	} else {
		defer stop()
	}
	defer c.tellHooks(o)()
	listener, err := net.Listen("tcp", s.Addr)
	if err != nil {
		return cannotListen(s.Addr, err)
	}
	defer listener.Close()
	if err := w.prepare(c, listener.Addr().(*net.TCPAddr).Port); err != nil {
		return err
	}
	log := slog.NewJSONHandler(c.Stderr, nil)
	unwatch, err := c.watched(o, w, s.MetricsAddr, log)
	if err != nil {
		return err
	}
	defer unwatch()
	handler, err := c.handler(o, w, log)
	if err != nil {
		return err
	}
	quiet := slog.NewLogLogger(log, slog.LevelDebug) // which phone failed to shake hands is nobody's business
	main := server.NewHTTPServer(s.Addr, handler)
	main.ErrorLog = quiet
	if w.certificate == nil {
		return c.serveUntilStopped(w, listener, func(l net.Listener) error { return main.Serve(l) }, main)
	}
	beside, err := w.beside(handler)
	if err != nil {
		return err
	}
	second := server.NewHTTPServer(s.Addr, beside)
	second.ErrorLog = quiet
	main.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: w.certificate}
	return c.serveUntilStopped(w, listener, func(l net.Listener) error {
		encrypted, plain := server.SplitTLS(l)
		failed := make(chan error, 2)
		go func() { failed <- second.Serve(plain) }()
		go func() { failed <- main.ServeTLS(encrypted, "", "") }()
		return <-failed
	}, main, second)
}

func cannotListen(addr string, err error) error {
	return registry.Refuse(registry.CodeBusy, "Choose another address with --addr.", "The address %s cannot be listened on: %v", addr, errors.Unwrap(err))
}

// serveUntilStopped says where it serves, serves, and lets requests under way
// end when the program is told to stop.
func (c *call) serveUntilStopped(w *way, l net.Listener, serve func(net.Listener) error, servers ...*http.Server) error {
	if err := c.announce(w.started(l.Addr())); err != nil {
		return err
	}
	if err := c.setUpCode(w); err != nil {
		return err
	}
	failed := make(chan error, 1)
	go func() { failed <- serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-c.ctx.Done():
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(c.ctx), stopWithin)
	defer cancel()
	for _, s := range servers {
		if err := s.Shutdown(ctx); err != nil {
			return err
		}
	}
	if err := <-failed; !errors.Is(err, http.ErrServerClosed) && !errors.Is(err, net.ErrClosed) {
		return err
	}
	if !c.json {
		fmt.Fprintln(c.Stdout, "Stopped.")
	}
	return nil
}

// started is what a program is told, in one line, when the pages are served.
type started struct {
	Listening    string   `json:"listening"`
	Addresses    []string `json:"addresses"`               // the best first
	ThisComputer string   `json:"this_computer,omitempty"` // without setting anything up
	Encryption   string   `json:"encryption"`              // own, given or none
	Everyone     bool     `json:"everyone"`                // other machines reach it, without accounts
	Accounts     bool     `json:"accounts"`                // visitors must sign in
	Install      string   `json:"install,omitempty"`       // where a phone learns to trust it
	Fingerprint  string   `json:"fingerprint_sha256,omitempty"`
	Limits       []string `json:"limits,omitempty"`
	Until        string   `json:"until,omitempty"`
	Metrics      string   `json:"metrics,omitempty"`  // address that a monitor reads
	LeftOut      []string `json:"left_out,omitempty"` // names that the authority cannot vouch for
	Open         bool     `json:"-"`                  // other machines reach it
}

// announce tells where the pages are, and how a phone gets to them.
func (c *call) announce(s started) error {
	if c.json {
		line, err := json.Marshal(s)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.Stdout, "%s\n", line)
		return err
	}
	if err := c.print(nil, s.write); err != nil {
		return err
	}
	if s.Install == "" || !c.Terminal {
		return nil
	}
	code, err := server.NewQRCode(s.Install)
	if err != nil {
		return err
	}
	_, err = io.WriteString(c.Stderr, blocks(code))
	return err
}

func (s started) write(w io.Writer) {
	if s.Accounts {
		fmt.Fprintf(w, "Serving on %s — for those who have an account. Stop with Ctrl-C.\n", s.Addresses[0])
	} else if !s.Everyone {
		fmt.Fprintf(w, "Serving on %s — for this machine alone, without accounts. Stop with Ctrl-C.\n", s.Addresses[0])
	} else {
		fmt.Fprintf(w, "Serving on %s — for EVERYBODY who can reach it: there are no accounts, so whoever opens the pages can read and record. Stop with Ctrl-C.\n", s.Addresses[0])
	}
	if len(s.Addresses) > 1 {
		fmt.Fprintf(w, "It answers at %s too.\n", strings.Join(s.Addresses[1:], ", "))
	}
	if s.ThisComputer != "" {
		fmt.Fprintf(w, "On this computer, open %s: nothing has to be set up for it.\n", s.ThisComputer)
	}
	if s.Metrics != "" {
		fmt.Fprintf(w, "A monitor reads http://%s/metrics, without signing in.\n", s.Metrics)
	}
	if s.Accounts && s.Open && s.Encryption == encryptionNone {
		fmt.Fprintln(w, "WITHOUT encryption: others on the network can read along, passwords too, and the cookie of a session is not marked Secure, because a browser would refuse it.")
	}
	if s.Everyone && s.Encryption == encryptionNone {
		fmt.Fprintln(w, "WITHOUT encryption: others on the network can read along, and phones keep no photo that could not be sent.")
	}
	if len(s.LeftOut) > 0 {
		fmt.Fprintf(w, "Not under %s: the registry's certificate authority was made for other names. See docs/serving.md.\n", strings.Join(s.LeftOut, ", "))
	}
	if s.Install == "" {
		return
	}
	fmt.Fprintf(w, "\nA phone is set up once: open %s on it and follow the page.\nThe SHA-256 fingerprint that the phone shows must be this, block by block:\n", s.Install)
	for words := strings.Fields(s.Fingerprint); len(words) > 0; words = words[4:] {
		fmt.Fprintf(w, "    %s\n", strings.Join(words[:4], "  "))
	}
	fmt.Fprintf(w, "The certificate can vouch for %s and for nothing else, until %s.\n", strings.Join(s.Limits, ", "), s.Until)
}

// blocks draws a code with half blocks, black on white whatever the terminal's
// colours are.
func blocks(q server.QRCode) string {
	var b strings.Builder
	for y := 0; y < q.Size; y += 2 {
		b.WriteString("\x1b[38;5;16m\x1b[48;5;231m")
		for x := range q.Size {
			switch top, bottom := q.Dark(x, y), q.Dark(x, y+1); {
			case top && bottom:
				b.WriteString("█")
			case top:
				b.WriteString("▀")
			case bottom:
				b.WriteString("▄")
			default:
				b.WriteString(" ")
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String()
}

// handler is the server of an open registry, reached in some way.
func (c *call) handler(o *opened, w *way, log slog.Handler) (http.Handler, error) {
	var watch server.Watch
	if w.watch != nil {
		watch = w.watch
	}
	return server.New(server.Config{Workshop: o.Workshop, Watch: watch,
		ReadSheet: c.readSheet, ReadPhoto: readPhoto, ReadLight: readLight, Mappings: c.mappingsForPages(),
		PDF: o.writePDF, Card: o.writeCard, Labels: o.writeLabels, Receipt: writeReceipt,
		Bundle: func(ctx context.Context, w io.Writer, machine string, public bool) error {
			return o.writeBundle(ctx, w, machine, public, false)
		},
		Verify: func(_ context.Context, r io.ReaderAt, size int64) (any, error) {
			return dossier.Verify(r, size, dossier.VerifyOptions{})
		},
		HandOver: func(ctx context.Context, w io.Writer, machine string) error {
			return o.writeBundle(ctx, w, machine, false, true)
		},
		TakeOver: o.takeOverOnPage, TransferReceipt: o.writeTransferReceipt,
		ConfirmTransfer: func(ctx context.Context, machine string, receipt []byte, trust string) (workshop.Receipt, error) {
			r, _, err := o.confirmTransfer(ctx, machine, receipt, trust)
			return r, err
		},
		CheckBundle: checkBundle(o.Workshop), Condition: o.writeCondition,
		People:         w.people,
		Behind:         o.behind(),
		KeyFingerprint: dossier.Fingerprint(o.verifier), PublicKey: o.verifier,
		BaseURL: w.base, Hosts: w.names.All(), Proxies: w.proxies, Everyone: w.everyone, HSTS: w.hsts, Limits: w.limits,
		Version: Version, Logger: slog.New(log), Now: c.Now})
}

// setUpCode prints the code that makes the first keeper, on the terminal alone:
// who starts the program is who may.
func (c *call) setUpCode(w *way) error {
	if w.people == nil || !w.people.NeedsSetUp() {
		return nil
	}
	code, err := w.people.OpenSetUp()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.Stderr, "asfound: there is no account yet. Open /set-up on the address above, and make the keeper with this code, which works once:\n    %s\n", code)
	return err
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
