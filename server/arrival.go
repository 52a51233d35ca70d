package server

import (
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"time"

	"example.org/asfound/access"
)

// Arrival is how a request came here, for what a page says about it.
type Arrival struct {
	// Secure says that the browser takes the page for a secure context: it came
	// encrypted, or from this computer. Without it a browser keeps nothing for
	// a page, and refuses cookies marked Secure.
	Secure bool
	// Everyone says that other machines reach the registry and that nobody asks
	// who they are.
	Everyone bool
	// Accounts says that visitors are asked who they are, Name who this one is,
	// "" for somebody unknown, and Keeper that they keep the registry.
	Accounts bool
	Name     string
	Keeper   bool
	Account  string // of this one, "" for somebody unknown
	// Reading says that a reading link let them in.
	Reading bool
	// Behind says that a copy is shown, because the ledger cannot be reached.
	Behind *Behind

	who *access.Who
}

func (s *Server) arrivalOf(r *http.Request) Arrival {
	a := Arrival{Secure: infoOf(r).https || isLoopback(hostOf(r.Host)), Accounts: s.accounts()}
	a.Everyone = s.Everyone && !a.Accounts
	a.Behind, _ = s.behindNow()
	a.who = infoOf(r).who
	if who := a.who; who != nil && who.Session == "" {
		a.Reading = true
	} else if who != nil {
		a.Name, a.Keeper, a.Account = who.Name, who.Has("", access.Keeper), who.Account
	}
	return a
}

// arrive notes how a request came, and believes a proxy that is trusted.
func (s *Server) arrive(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		info := infoOf(r)
		info.https = r.TLS != nil
		if r.TLS != nil && s.HSTS > 0 {
			w.Header().Set("Strict-Transport-Security", "max-age="+itoa(int(s.HSTS/time.Second)))
		}
		if s.fromProxy(r.RemoteAddr) {
			r, info.https = s.forwarded(r)
		}
		next.ServeHTTP(w, r)
	})
}

// forwarded is the request as it reached the proxy, and whether that was over
// https. A proxy appends what it has seen to what it was told, so the last
// entry of a list is its own.
func (s *Server) forwarded(r *http.Request) (_ *http.Request, https bool) {
	seen := r.WithContext(r.Context())
	if hosts := listed(r, "X-Forwarded-Host"); len(hosts) > 0 {
		seen.Host = hosts[len(hosts)-1]
	}
	for _, peer := range slices.Backward(listed(r, "X-Forwarded-For")) {
		seen.RemoteAddr = peer
		if !s.fromProxy(peer) {
			break
		}
	}
	protos := listed(r, "X-Forwarded-Proto")
	return seen, r.TLS != nil || len(protos) > 0 && strings.EqualFold(protos[len(protos)-1], "https")
}

func listed(r *http.Request, header string) []string {
	var out []string
	for _, part := range strings.Split(strings.Join(r.Header.Values(header), ","), ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

// fromProxy says whether a peer, with or without port, is a trusted proxy.
func (s *Server) fromProxy(peer string) bool {
	ip, err := netip.ParseAddr(hostOf(peer))
	return err == nil && slices.ContainsFunc(s.Proxies, func(p netip.Prefix) bool { return p.Contains(ip.Unmap()) })
}

// hostOf is a host without port, brackets and the dot of the root.
func hostOf(hostPort string) string {
	host := hostPort
	if h, _, err := net.SplitHostPort(hostPort); err == nil {
		host = h
	}
	return strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
}

// isLoopback says whether a host leads a browser to its own computer.
func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}
