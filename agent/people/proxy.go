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
	if p.Speaks(r) {
		if ip, err := netip.ParseAddr(last(r, "X-Forwarded-For")); err == nil {
			return plain(ip).String()
		}
	}
	if ip, known := Peer(r.RemoteAddr); known {
		return ip.String()
	}
	return r.RemoteAddr
}

// Secure says whether who asks came by TLS, to the page or to the proxy.
func (p Proxy) Secure(r *http.Request) bool {
	return r.TLS != nil || p.Speaks(r) && strings.EqualFold(last(r, "X-Forwarded-Proto"), "https")
}

// Speaks says whether a request comes from the proxy.
func (p Proxy) Speaks(r *http.Request) bool {
	ip, known := Peer(r.RemoteAddr)
	return known && p.Is(ip)
}

// Is says whether this is the proxy's address.
func (p Proxy) Is(ip netip.Addr) bool { return p.address.IsValid() && p.address == plain(ip) }

// Unannounced says whether a request came through a proxy that this is not.
func (p Proxy) Unannounced(r *http.Request) bool {
	if p.Speaks(r) {
		return false
	}
	for _, name := range []string{"X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "Forwarded"} {
		if r.Header.Get(name) != "" {
			return true
		}
	}
	return false
}

// Peer is the machine at the other end of a connection, of an address with a
// port; false: it is none, such as that of a socket.
func Peer(address string) (netip.Addr, bool) {
	at, err := netip.ParseAddrPort(address)
	return plain(at.Addr()), err == nil
}

// Machine is all that an address can stand for: itself, and of IPv6 its network,
// because one machine may take any address there.
func Machine(ip netip.Addr) netip.Prefix {
	ip, bits := plain(ip), 64
	if ip.Is4() {
		bits = 32
	}
	return netip.PrefixFrom(ip, bits).Masked()
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
