package certs

import (
	"crypto/tls"
	"fmt"
	"net/netip"
	"os"
	"strings"
	"sync"
	"time"

	"example.org/asfound/registry"
)

// lookEvery is how often the files are looked at for a change.
const lookEvery = time.Minute

// Files is a certificate with its key in two files, read again when they change.
type Files struct {
	cert, key string
	now       func() time.Time
	warn      func(string)

	mu      sync.Mutex
	looked  time.Time
	stamp   string
	current *tls.Certificate
}

// OpenFiles reads a certificate and its key, both in PEM. CodeInvalid when they
// cannot be used. warn hears of a later change that cannot be used; the
// certificate from before then stays in use.
func OpenFiles(cert, key string, now func() time.Time, warn func(string)) (*Files, error) {
	f := &Files{cert: cert, key: key, now: now, warn: warn, looked: now(), stamp: stampOf(cert, key)}
	var err error
	if f.current, err = f.load(); err != nil {
		return nil, err
	}
	return f, nil
}

// GetCertificate gives the certificate in use, for a tls.Config.
func (f *Files) GetCertificate(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if now := f.now(); now.Sub(f.looked) >= lookEvery || now.Before(f.looked) {
		f.looked = now
		f.reload()
	}
	return f.current, nil
}

func (f *Files) reload() {
	stamp := stampOf(f.cert, f.key)
	if stamp == f.stamp {
		return
	}
	f.stamp = stamp
	next, err := f.load()
	if err != nil {
		f.warn(err.Error() + "; the certificate from before stays in use")
		return
	}
	f.current = next
}

func (f *Files) load() (*tls.Certificate, error) {
	c, err := tls.LoadX509KeyPair(f.cert, f.key)
	if err != nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Give the certificate with its chain, and its own key, both in PEM.", "The certificate %s with the key %s cannot be used: %v", f.cert, f.key, err)
	}
	return &c, nil
}

// Names are what the certificate says it is for, without wildcards.
func (f *Files) Names() Names {
	f.mu.Lock()
	defer f.mu.Unlock()
	var n Names
	for _, h := range f.current.Leaf.DNSNames {
		if !strings.Contains(h, "*") {
			n.Hosts = append(n.Hosts, strings.ToLower(h))
		}
	}
	for _, ip := range f.current.Leaf.IPAddresses {
		if a, ok := netip.AddrFromSlice(ip); ok {
			n.Addresses = append(n.Addresses, a.Unmap())
		}
	}
	return n
}

// stampOf changes when a file does.
func stampOf(names ...string) string {
	out := ""
	for _, name := range names {
		if info, err := os.Stat(name); err == nil {
			out += fmt.Sprintln(info.ModTime().UnixNano(), info.Size())
		}
	}
	return out
}
