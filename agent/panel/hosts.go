package panel

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// hosts are the names under which the page answers, with any port. A name that
// an outsider's web page could make point here is refused.
type hosts struct {
	names map[string]bool
	any   bool // every numeric address: the page listens on all of this machine's
}

func newHosts(allowed []string) hosts {
	h := hosts{names: map[string]bool{"localhost": true, "127.0.0.1": true, "::1": true}}
	for _, a := range allowed {
		name := hostname(a)
		if ip, err := netip.ParseAddr(name); name == "" || err == nil && ip.IsUnspecified() {
			h.any = true
			continue
		}
		h.names[name] = true
	}
	return h
}

func (h hosts) has(host string) bool {
	name := hostname(host)
	if h.names[name] {
		return true
	}
	_, err := netip.ParseAddr(name)
	return h.any && err == nil
}

// hostname is the host of "host", "host:port", "[::1]" or "[::1]:port".
func hostname(hostport string) string {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = strings.TrimSuffix(strings.TrimPrefix(hostport, "["), "]")
	}
	return strings.ToLower(host)
}

// only lets requests to these hosts through.
func (h hosts) only(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !h.has(r.Host) {
			http.Error(w, fmt.Sprintf("This page does not answer to the name %q. Use http://localhost with its port, or the address it listens on.", r.Host), http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}
