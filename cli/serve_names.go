package cli

import (
	"net"
	"net/netip"
	"os"
	"strings"

	"example.org/asfound/certs"
)

// thisMachine finds the names under which others reach this machine: its own,
// and the address that it listens on, or else the one that its traffic leaves
// by. Nothing is sent to find out.
func thisMachine(bound netip.Addr) certs.Names {
	host, err := os.Hostname()
	if err != nil {
		host = ""
	}
	if bound.IsUnspecified() {
		bound = outward()
	}
	var nets []netip.Prefix
	if addrs, err := net.InterfaceAddrs(); err == nil {
		for _, a := range addrs {
			if p, err := netip.ParsePrefix(a.String()); err == nil {
				nets = append(nets, p)
			}
		}
	}
	return machineNames(host, bound, nets)
}

// outward is the address of the interface that leads out of this machine: the
// kernel picks it for a packet that is never sent, to an address that RFC 5737
// keeps for documentation.
func outward() netip.Addr {
	c, err := net.Dial("udp", "192.0.2.1:9")
	if err != nil {
		return netip.Addr{}
	}
	defer c.Close()
	return c.LocalAddr().(*net.UDPAddr).AddrPort().Addr().Unmap()
}

// machineNames puts the names together. A private network around the address is
// named with it, because its router may give this machine another address of it
// tomorrow; 16 bits of room are as much as a garage needs.
func machineNames(host string, main netip.Addr, nets []netip.Prefix) certs.Names {
	var n certs.Names
	host = strings.ToLower(strings.TrimSuffix(host, "."))
	label, _, _ := strings.Cut(host, ".")
	for _, name := range []string{label + ".local", host} {
		if parsed, err := certs.ParseNames([]string{name}); err == nil && label != "localhost" && (len(n.Hosts) == 0 || n.Hosts[0] != name) {
			n.Hosts = append(n.Hosts, parsed.Hosts...)
		}
	}
	if !main.IsValid() || main.IsLoopback() || main.IsUnspecified() {
		main = netip.Addr{}
		for _, p := range nets {
			if a := p.Addr().Unmap(); a.Is4() && a.IsPrivate() {
				main = a
				break
			}
		}
	}
	if !main.IsValid() {
		return n
	}
	n.Addresses = []netip.Addr{main}
	for _, p := range nets {
		if p.Addr() == main && main.Is4() && main.IsPrivate() {
			n.Networks = append(n.Networks, netip.PrefixFrom(main, max(p.Bits(), 16)).Masked())
		}
	}
	return n
}
