package webhook

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"syscall"
	"time"

	"example.org/asfound/registry"
)

// notPublic are the networks that nobody outside can mean, besides those that
// netip knows: IANA's registries of special-purpose addresses (RFC 6890).
var notPublic = func() (out []netip.Prefix) {
	for _, p := range []string{"0.0.0.0/8", "100.64.0.0/10", "192.0.0.0/24", "192.0.2.0/24", "192.88.99.0/24", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "240.0.0.0/4",
		"64:ff9b::/96", "64:ff9b:1::/48", "100::/64", "2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20", "fec0::/10"} {
		out = append(out, netip.MustParsePrefix(p))
	}
	return out
}()

// reach is how near an address lies.
type reach int

const (
	everywhere reach = iota
	privateNetwork
	loopback
	nowhere
)

func reachOf(a netip.Addr) reach {
	a = a.Unmap().WithZone("")
	switch {
	case a.IsLoopback():
		return loopback
	case a.IsPrivate():
		return privateNetwork
	case !a.IsValid() || !a.IsGlobalUnicast():
		return nowhere
	}
	for _, p := range notPublic {
		if p.Contains(a) {
			return nowhere
		}
	}
	return everywhere
}

// isLocal says whether a host names this computer outright.
func isLocal(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && reachOf(a) == loopback
}

// CheckURL refuses an address that is not told: one that is neither https nor
// this computer, one with a name and password in it, or one that is written out
// and lies in a network that was not allowed. CodeInvalid.
func CheckURL(raw string, private bool) error {
	u, err := url.Parse(raw)
	sent := strings.IndexFunc(raw, func(r rune) bool { return r <= ' ' || r > '~' }) < 0 // RFC 3986, 2: other characters are never sent as they are
	if err != nil || u.Host == "" || u.Hostname() == "" || !sent {
		return registry.Refuse(registry.CodeInvalid, "Write it like https://example.org/asfound.", "The address cannot be read")
	}
	host := strings.ToLower(u.Hostname())
	switch {
	case u.User != nil:
		return registry.Refuse(registry.CodeInvalid, "Leave name and password out: what is sent is signed.", "The address holds a name and password")
	case u.Fragment != "":
		return registry.Refuse(registry.CodeInvalid, "Leave out what stands after #.", "The address ends in a part that is never sent")
	case u.Scheme != "https" && !(u.Scheme == "http" && isLocal(host)):
		return registry.Refuse(registry.CodeInvalid, "Use https, or http to this computer alone.", "Others could read along on the way to this address")
	}
	if a, err := netip.ParseAddr(host); err == nil {
		return allowed(a, isLocal(host), private)
	}
	return nil
}

// allowed refuses to connect to an address. local says that this computer was
// meant, private that a private network is allowed.
func allowed(a netip.Addr, local, private bool) error {
	switch r := reachOf(a); {
	case r == everywhere, r == loopback && local, r == privateNetwork && private:
		return nil
	case r == privateNetwork:
		return registry.Refuse(registry.CodeInvalid, "Add it with --private-network if you mean it.", "The address %s lies in a private network", a)
	default:
		return registry.Refuse(registry.CodeInvalid, "Use an address that is reached from everywhere.", "The address %s is not one that notices are sent to", a)
	}
}

// client makes the client for one hook. It looks at the address that a name was
// resolved to, just before connecting, so that a name cannot be turned towards
// an inner network; it follows no redirection and uses no proxy.
func client(h Hook) *http.Client {
	u, _ := url.Parse(h.URL)
	local := u != nil && isLocal(strings.ToLower(u.Hostname()))
	dialer := &net.Dialer{Timeout: 10 * time.Second, Control: func(_, address string, _ syscall.RawConn) error {
		to, err := netip.ParseAddrPort(address)
		if err != nil {
			return fmt.Errorf("connect to %s: %w", address, err)
		}
		return allowed(to.Addr(), local, h.PrivateNetwork)
	}}
	return &http.Client{
		Timeout:       15 * time.Second,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{DisableKeepAlives: true, TLSHandshakeTimeout: 10 * time.Second, MaxResponseHeaderBytes: 64 << 10,
			DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
				return dialer.DialContext(ctx, network, address)
			}},
	}
}
