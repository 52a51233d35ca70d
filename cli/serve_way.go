package cli

import (
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/asfound/access"
	"example.org/asfound/certs"
	"example.org/asfound/metrics"
	"example.org/asfound/registry"
	"example.org/asfound/server"
)

// authorityFolder holds the certificate authority, beside the ledger.
const authorityFolder = "tls"

const (
	encryptionNone  = "none"
	encryptionOwn   = "own"
	encryptionGiven = "given"
)

// way is how the pages are served: to whom, under which names, and with which
// certificate.
type way struct {
	bound      netip.Addr // listened on; unspecified for every address
	encryption string
	everyone   bool // other machines reach it
	accounts   bool // visitors must sign in
	people     *access.Book
	named      bool // the names were given, not found
	names      certs.Names
	base       string // how people reach it
	proxies    []netip.Prefix
	limits     server.Limits
	watch      *metrics.Metrics // nil where no monitor reads
	watchedAt  string           // its address
	cert, key  string

	port        string
	certificate func(*tls.ClientHelloInfo) (*tls.Certificate, error) // nil without encryption
	authority   *certs.Authority
	leftOut     certs.Names
	hsts        time.Duration
}

// way settles what the flags ask for, and refuses before anything is opened.
func (s *serveCommand) way(accounts bool) (*way, error) {
	if _, _, err := net.SplitHostPort(s.Addr); err != nil {
		return nil, badFlag("--addr", s.Addr, "127.0.0.1:8350")
	}
	tcp, err := net.ResolveTCPAddr("tcp", s.Addr)
	if err != nil {
		return nil, registry.Refuse(registry.CodeBusy, "Choose another address with --addr.", "The address %s cannot be listened on: %v", s.Addr, err)
	}
	w := &way{bound: netip.IPv4Unspecified(), base: s.BaseURL, cert: s.Cert, key: s.Key, accounts: accounts}
	if a, ok := netip.AddrFromSlice(tcp.IP); ok {
		w.bound = a.Unmap()
	}
	if w.proxies, err = prefixes(s.BehindProxy); err != nil {
		return nil, err
	}
	if w.limits, err = limits(s.Limits); err != nil {
		return nil, err
	}
	w.everyone = !w.bound.IsLoopback() || len(w.proxies) > 0
	if err := s.consent(w); err != nil {
		return nil, err
	}
	if w.names, err = certs.ParseNames(given(s.Host)); err != nil {
		return nil, err
	}
	w.named = !w.names.Empty()
	if w.encryption, err = s.encryption(w); err != nil {
		return nil, err
	}
	return w, s.checkBase(w)
}

// consent asks for a word before the pages are put where others can reach them
// and nobody would be asked who they are.
func (s *serveCommand) consent(w *way) error {
	if !w.everyone || w.accounts || s.Everyone {
		return nil
	}
	return registry.Refuse(registry.CodeRefused, "Listen on 127.0.0.1, as it does unasked; or say --accounts, and everybody must sign in; or say --everyone-on-this-network if that is what you want.",
		"%s can be reached from other machines, and there are no accounts: everybody there could read and record", s.Addr)
}

// encryption is own beyond this computer and wherever names were given, unless
// the flags say otherwise. Behind a proxy on this computer, the proxy encrypts.
func (s *serveCommand) encryption(w *way) (string, error) {
	switch {
	case (s.Cert == "") != (s.Key == ""):
		return "", registry.Refuse(registry.CodeInvalid, "Give both, or neither to use the registry's own authority.", "A certificate needs its key: --cert and --key belong together")
	case s.Cert != "" && s.PlainHTTP:
		return "", registry.Refuse(registry.CodeInvalid, "Leave one of them out.", "--cert asks for encryption and --plain-http for none")
	case s.Cert != "":
		return encryptionGiven, nil
	case s.PlainHTTP, w.bound.IsLoopback() && (!w.named || len(w.proxies) > 0):
		return encryptionNone, nil
	}
	return encryptionOwn, nil
}

// checkBase refuses to hand out addresses that lead nowhere.
func (s *serveCommand) checkBase(w *way) error {
	if s.BaseURL == "" && len(w.proxies) > 0 {
		return registry.Refuse(registry.CodeInvalid, "Give it with --base-url, such as https://machines.example.", "Behind a proxy it is not known under which address people reach the pages")
	}
	if s.BaseURL == "" {
		return nil
	}
	u, err := url.Parse(s.BaseURL)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return badFlag("--base-url", s.BaseURL, "https://garage.local:8350")
	}
	ip, _ := netip.ParseAddr(u.Hostname())
	if u.Scheme == "http" && w.everyone && w.encryption != encryptionNone && !ip.IsLoopback() && len(w.proxies) == 0 {
		return registry.Refuse(registry.CodeRefused, "Write it with https; or say --plain-http, and others on the network can read along.",
			"The base address %s is plain http, which is not served beyond this computer without being asked for", s.BaseURL)
	}
	return nil
}

// prefixes reads addresses and networks of proxies.
func prefixes(list []string) ([]netip.Prefix, error) {
	var out []netip.Prefix
	for _, text := range given(list) {
		p, err := netip.ParsePrefix(text)
		if a, addrErr := netip.ParseAddr(text); addrErr == nil {
			p, err = netip.PrefixFrom(a, a.BitLen()), nil
		}
		if err != nil {
			return nil, badFlag("--behind-proxy", text, "127.0.0.1 or 10.0.0.0/24")
		}
		out = append(out, p)
	}
	return out, nil
}

// given is a list without what is empty.
func given(list []string) []string {
	var out []string
	for _, text := range list {
		if text = strings.TrimSpace(text); text != "" {
			out = append(out, text)
		}
	}
	return out
}

// prepare finds the names and the certificate, once the port is known.
func (w *way) prepare(c *call, port int) (err error) {
	w.port = strconv.Itoa(port)
	if !w.named && !w.bound.IsLoopback() && w.encryption != encryptionGiven {
		w.names = thisMachine(w.bound)
	} else if !w.bound.IsLoopback() && !w.bound.IsUnspecified() {
		w.names.Addresses = append(w.names.Addresses, w.bound)
	}
	switch w.encryption {
	case encryptionOwn:
		err = w.prepareOwn(c)
	case encryptionGiven:
		err = w.prepareGiven(c)
	}
	if err != nil {
		return err
	}
	if w.everyone && w.names.Empty() && w.base == "" {
		return registry.Refuse(registry.CodeInvalid, "Give it with --host.", "It is not known under which name or address this machine is reached")
	}
	if addresses := w.addresses(); w.base == "" && len(addresses) > 0 {
		w.base = addresses[0]
	}
	return nil
}

func (w *way) prepareOwn(c *call) (err error) {
	folder := filepath.Join(c.line.Dir, authorityFolder)
	if w.authority, err = certs.Open(folder, w.names, c.Now, c.Random); err != nil {
		return err
	}
	within, outside := w.authority.Split(w.names)
	if within.Empty() || w.named && !outside.Empty() {
		return registry.Refuse(registry.CodeRefused, fmt.Sprintf("Serve under one of those names with --host; or move the folder %s away, and the next start makes a new authority, which every phone must install.", folder),
			"The registry's certificate authority cannot vouch for %s: it was made for %s", strings.Join(outside.All(), ", "), strings.Join(w.authority.Limits(), ", "))
	}
	w.names, w.leftOut, w.hsts = within, outside, hstsOwn
	leaf, err := w.authority.Leaf(within)
	if err != nil {
		return err
	}
	w.certificate = leaf.GetCertificate
	return nil
}

func (w *way) prepareGiven(c *call) error {
	files, err := certs.OpenFiles(w.cert, w.key, c.Now, func(m string) { fmt.Fprintf(c.Stderr, "asfound: %s\n", m) })
	if err != nil {
		return err
	}
	w.certificate, w.hsts = files.GetCertificate, hstsGiven
	if !w.named {
		w.names = files.Names()
	}
	return nil
}

// addresses are those of the registry, the best first: as they were given, or
// the number before the names, because not every phone finds a name.
func (w *way) addresses() []string { return w.under("https") }

func (w *way) under(scheme string) []string {
	if w.encryption == encryptionNone {
		scheme = "http"
	}
	names := w.names.All()
	if n := len(w.names.Hosts); !w.named {
		names = append(names[n:], names[:n]...)
	}
	var out []string
	for _, name := range names {
		out = append(out, scheme+"://"+net.JoinHostPort(name, w.port))
	}
	return out
}

// started says what is served at the listener's address.
func (w *way) started(listening net.Addr) started {
	s := started{Metrics: w.watchedAt, Listening: listening.String(), Addresses: w.addresses(), Encryption: w.encryption, Everyone: w.everyone && !w.accounts, Accounts: w.accounts, Open: w.everyone, LeftOut: w.leftOut.All()}
	if w.base != "" && !slices.Contains(s.Addresses, w.base) {
		s.Addresses = append([]string{w.base}, s.Addresses...)
	}
	if len(s.Addresses) == 0 {
		s.Addresses = []string{"http://" + listening.String()}
	}
	if w.bound.IsUnspecified() || w.bound.IsLoopback() && s.Addresses[0] != "http://"+listening.String() {
		s.ThisComputer = "http://" + net.JoinHostPort("127.0.0.1", w.port)
	}
	if w.authority != nil {
		s.Install, s.Fingerprint = w.under("http")[0], certs.Fingerprint(w.authority.Root())
		s.Limits, s.Until = w.authority.Limits(), w.authority.Until().Format("2 January 2006")
	}
	return s
}

// beside answers what comes to the same address without encryption.
func (w *way) beside(pages http.Handler) (http.Handler, error) {
	if w.authority == nil {
		return server.OnPlain(pages, http.RedirectHandler(w.base+"/", http.StatusSeeOther)), nil
	}
	in := server.Install{Root: w.authority.Root(), Fingerprint: certs.Fingerprint(w.authority.Root()), Limits: w.authority.Limits(),
		Until: w.authority.Until().Format("2 January 2006"), Addresses: w.addresses(), Here: w.under("http")[0]}
	page, err := server.NewInstall(in, Version)
	return server.OnPlain(pages, page), err
}
