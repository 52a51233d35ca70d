package certs

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"net"
	"sync"
	"time"

	"example.org/asfound/registry"
)

const (
	// leafLife is how long one certificate is good for, and renewBefore how
	// long before its end the next one is made.
	leafLife    = 30 * 24 * time.Hour
	renewBefore = 10 * 24 * time.Hour
)

// Leaf is the certificate that the machine shows, renewed by itself. It lives
// in memory alone: each start makes another.
type Leaf struct {
	authority *Authority
	names     Names
	mu        sync.Mutex
	current   *tls.Certificate
}

// Leaf makes a certificate for the names. CodeRefused when the authority cannot
// vouch for one of them.
func (a *Authority) Leaf(names Names) (*Leaf, error) {
	if _, outside := a.Split(names); !outside.Empty() || names.Empty() {
		return nil, registry.Refuse(registry.CodeRefused, "", "The authority cannot vouch for all of these names")
	}
	l := &Leaf{authority: a, names: names}
	_, err := l.GetCertificate(nil)
	return l, err
}

// GetCertificate gives the certificate in use, for a tls.Config. CodeExpired
// when the authority itself has ended.
func (l *Leaf) GetCertificate(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.authority.now()
	if l.current != nil && now.Before(l.current.Leaf.NotAfter.Add(-renewBefore)) && now.After(l.current.Leaf.NotBefore) {
		return l.current, nil
	}
	next, err := l.authority.issue(l.names, now)
	if err != nil {
		return nil, err
	}
	l.current = next
	return next, nil
}

// issue makes one certificate.
func (a *Authority) issue(names Names, now time.Time) (*tls.Certificate, error) {
	if err := a.goodAt(now); err != nil {
		return nil, err
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), a.random)
	if err != nil {
		return nil, err
	}
	c := &x509.Certificate{Subject: pkix.Name{CommonName: names.All()[0]}, NotBefore: now.Add(-backdate), NotAfter: now.Add(leafLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, DNSNames: names.Hosts}
	if c.NotAfter.After(a.issuer.NotAfter) {
		c.NotAfter = a.issuer.NotAfter
	}
	for _, ip := range names.Addresses {
		c.IPAddresses = append(c.IPAddresses, net.IP(ip.AsSlice()))
	}
	leaf, err := sign(a.random, c, a.issuer, key, a.key)
	if err != nil {
		return nil, err
	}
	return &tls.Certificate{Certificate: [][]byte{leaf.Raw, a.issuer.Raw}, PrivateKey: key, Leaf: leaf}, nil
}

// goodAt refuses when the authority does not hold at a time.
func (a *Authority) goodAt(now time.Time) error {
	if now.After(a.issuer.NotAfter) || now.Before(a.issuer.NotBefore) {
		return registry.Refuse(registry.CodeExpired, "Look at this machine's clock. If it is right, move the authority's folder away: the next start makes a new one, which every phone must install.",
			"The registry's own certificate authority is good from %s to %s, and the clock says %s", day(a.issuer.NotBefore), day(a.issuer.NotAfter), day(now))
	}
	return nil
}

func day(t time.Time) string { return t.UTC().Format("2 January 2006") }
