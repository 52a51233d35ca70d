package certs

import (
	"net/netip"
	"regexp"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// Names are the names and addresses under which a machine is reached.
type Names struct {
	Hosts     []string // such as "garage.local", in small letters
	Addresses []netip.Addr
	// Networks is what an authority that is made for these names may vouch for
	// besides the addresses: a router gives a machine another address of the
	// same network from one day to the next.
	Networks []netip.Prefix
}

// hostName is a name by RFC 1123: letters, digits and inner hyphens.
var hostName = regexp.MustCompile(`^([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?\.)*[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// ParseNames reads host names and addresses. CodeInvalid when one is neither.
func ParseNames(given []string) (Names, error) {
	var n Names
	for _, text := range given {
		text = strings.ToLower(strings.TrimSuffix(strings.TrimSpace(text), "."))
		if a, err := netip.ParseAddr(text); err == nil {
			n.Addresses = append(n.Addresses, a.Unmap().WithZone(""))
			continue
		}
		if len(text) > 253 || !hostName.MatchString(text) {
			return Names{}, registry.Refuse(registry.CodeInvalid, "Give a name such as garage.local or an address such as 192.168.1.20, without scheme and port.", "%q is not a name of a machine", text)
		}
		n.Hosts = append(n.Hosts, text)
	}
	return n, nil
}

// All lists hosts and addresses, hosts first.
func (n Names) All() []string {
	out := slices.Clone(n.Hosts)
	for _, a := range n.Addresses {
		out = append(out, a.String())
	}
	return out
}

// Empty says that nothing is named.
func (n Names) Empty() bool { return len(n.Hosts)+len(n.Addresses) == 0 }

// covers says whether a host is one of the names or lies below one, as RFC 5280
// reads a constraint on names.
func covers(permitted []string, host string) bool {
	return slices.ContainsFunc(permitted, func(p string) bool { return host == p || strings.HasSuffix(host, "."+p) })
}
