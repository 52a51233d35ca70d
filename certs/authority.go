package certs

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"fmt"
	"io"
	"net"
	"net/netip"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
)

const (
	// authorityLife is longer than a phone is kept, so that each phone is set
	// up once.
	authorityLife = 10 * 365 * 24 * time.Hour
	// backdate is how far a phone's clock may be behind.
	backdate = 24 * time.Hour
	// noHost and noAddress are kept from ever being used, by RFC 2606 and RFC
	// 5737. They shut a kind of name of which none is given: without any limit
	// of its kind, all would be allowed.
	noHost    = "asfound.invalid"
	noAddress = "192.0.2.0"
)

// Authority vouches for the names of one machine.
//
// It is a chain of two. The root is what a phone installs; its key signs one
// certificate, the issuer, and is then forgotten without being written
// anywhere. The issuer is limited to the machine's names (RFC 5280, section
// 4.2.1.10), and its key is the one that is kept. Whoever steals that key can
// stand in for this machine and for no bank, also towards a program that
// overlooks limits in a root.
type Authority struct {
	root, issuer *x509.Certificate
	key          *ecdsa.PrivateKey
	now          func() time.Time
	random       io.Reader
}

// makeAuthority makes an authority for the names, which must not be empty.
func makeAuthority(names Names, now func() time.Time, random io.Reader) (*Authority, error) {
	if names.Empty() {
		return nil, registry.Refuse(registry.CodeInvalid, "Name at least one host or address.", "There is no name that certificates could be made for")
	}
	rootKey, err := ecdsa.GenerateKey(elliptic.P256(), random)
	if err != nil {
		return nil, err
	}
	a := &Authority{now: now, random: random}
	if a.key, err = ecdsa.GenerateKey(elliptic.P256(), random); err != nil {
		return nil, err
	}
	made := now().UTC().Truncate(time.Second)
	title := "asfound on " + names.All()[0] + ", " + made.Format("2 January 2006")
	root := limited(title, names, made)
	root.MaxPathLen = 1
	if a.root, err = sign(random, root, root, rootKey, rootKey); err != nil {
		return nil, err
	}
	issuer := limited(title+", issuer", names, made)
	issuer.MaxPathLenZero = true
	a.issuer, err = sign(random, issuer, a.root, a.key, rootKey)
	return a, err
}

// limited is a certificate of an authority that may vouch for servers of these
// names alone.
func limited(title string, names Names, made time.Time) *x509.Certificate {
	c := &x509.Certificate{Subject: pkix.Name{CommonName: title, Organization: []string{"asfound registry"}},
		NotBefore: made.Add(-backdate), NotAfter: made.Add(authorityLife),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: names.Hosts}
	if len(names.Hosts) == 0 {
		c.PermittedDNSDomains = []string{noHost}
	}
	networks := slices.Clone(names.Networks)
	for _, a := range names.Addresses {
		networks = append(networks, netip.PrefixFrom(a, a.BitLen()))
	}
	if len(networks) == 0 {
		networks = []netip.Prefix{netip.MustParsePrefix(noAddress + "/32")}
	}
	for _, p := range networks {
		c.PermittedIPRanges = append(c.PermittedIPRanges, &net.IPNet{IP: p.Masked().Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen())})
	}
	return c
}

// sign makes a certificate for a key and reads it back.
func sign(random io.Reader, c, parent *x509.Certificate, key, by *ecdsa.PrivateKey) (*x509.Certificate, error) {
	der, err := x509.CreateCertificate(random, c, parent, key.Public(), by)
	if err != nil {
		return nil, err
	}
	return x509.ParseCertificate(der)
}

// Root is the certificate that a phone installs, as DER.
func (a *Authority) Root() []byte { return a.root.Raw }

// Until is when the authority ends.
func (a *Authority) Until() time.Time { return a.issuer.NotAfter }

// Limits lists the names and networks that the authority can vouch for.
func (a *Authority) Limits() []string {
	out := slices.Clone(a.issuer.PermittedDNSDomains)
	for _, n := range a.issuer.PermittedIPRanges {
		if ones, bits := n.Mask.Size(); ones == bits {
			out = append(out, n.IP.String())
		} else {
			out = append(out, n.String())
		}
	}
	return slices.DeleteFunc(out, func(name string) bool { return name == noHost || name == noAddress })
}

// Split parts names into those that the authority can vouch for and the others.
func (a *Authority) Split(n Names) (within, outside Names) {
	for _, h := range n.Hosts {
		to := &outside
		if covers(a.issuer.PermittedDNSDomains, h) {
			to = &within
		}
		to.Hosts = append(to.Hosts, h)
	}
	for _, ip := range n.Addresses {
		to := &outside
		for _, p := range a.issuer.PermittedIPRanges {
			if p.Contains(ip.AsSlice()) {
				to = &within
			}
		}
		to.Addresses = append(to.Addresses, ip)
	}
	return within, outside
}

// Fingerprint is the SHA-256 digest of a certificate, as phones show it, in
// blocks of four figures that can be read aloud.
func Fingerprint(der []byte) string {
	sum := fmt.Sprintf("%X", sha256.Sum256(der))
	var blocks []string
	for ; sum != ""; sum = sum[4:] {
		blocks = append(blocks, sum[:4])
	}
	return strings.Join(blocks, " ")
}
