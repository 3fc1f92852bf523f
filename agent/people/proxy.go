package people

import (
	"errors"
	"net/http"
	"net/netip"
	"strings"
)

// Proxy is the one machine whose word counts on who asks and how: a reverse proxy
// that stands before the page. The zero Proxy is none. It must write the headers
// X-Forwarded-For and X-Forwarded-Proto, or add to them at the end.
type Proxy struct{ address netip.Addr }

// ParseProxy reads the address of a proxy; "" is none.
func ParseProxy(address string) (Proxy, error) {
	if address == "" {
		return Proxy{}, nil
	}
	ip, err := netip.ParseAddr(address)
	if err != nil || ip.IsUnspecified() {
		return Proxy{}, errors.New("want the address of one machine, such as 127.0.0.1")
	}
	return Proxy{plain(ip)}, nil
}

// From is the address of who asks: the peer's, or the one that the proxy names.
func (p Proxy) From(r *http.Request) string {
	peer, known := peer(r)
	if !known {
		return r.RemoteAddr
	}
	if p.speaks(peer) {
		if ip, err := netip.ParseAddr(last(r, "X-Forwarded-For")); err == nil {
			return plain(ip).String()
		}
	}
	return peer.String()
}

// Secure says whether who asks came by TLS, to the page or to the proxy.
func (p Proxy) Secure(r *http.Request) bool {
	if r.TLS != nil {
		return true
	}
	peer, known := peer(r)
	return known && p.speaks(peer) && strings.EqualFold(last(r, "X-Forwarded-Proto"), "https")
}

// Unannounced says whether a request came through a proxy that this is not.
func (p Proxy) Unannounced(r *http.Request) bool {
	peer, known := peer(r)
	if known && p.speaks(peer) {
		return false
	}
	for _, name := range []string{"X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "Forwarded"} {
		if r.Header.Get(name) != "" {
			return true
		}
	}
	return false
}

func (p Proxy) speaks(peer netip.Addr) bool { return p.address.IsValid() && p.address == peer }

// peer is the address of the machine at the other end of the connection.
func peer(r *http.Request) (netip.Addr, bool) {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	return plain(at.Addr()), err == nil
}

// plain is an address as it is compared: IPv4 as itself, no zone.
func plain(ip netip.Addr) netip.Addr { return ip.Unmap().WithZone("") }

// last is the last entry of a header that proxies add to: what came before it
// may be anybody's.
func last(r *http.Request, name string) string {
	values := r.Header.Values(name)
	if len(values) == 0 {
		return ""
	}
	list := values[len(values)-1]
	return strings.TrimSpace(list[strings.LastIndexByte(list, ',')+1:])
}
