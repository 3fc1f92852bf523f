package broker

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
)

// address is where one broker listens.
type address struct {
	host string // without brackets
	port string
	tls  bool
}

func (a address) String() string { return net.JoinHostPort(a.host, a.port) }

// mostAddresses bounds the brokers of one press; our own limit.
const mostAddresses = 16

// parse reads brokers' addresses, parted by blanks: all with TLS or all without.
// It never repeats an address that may hold a password.
func parse(s string) ([]address, error) {
	if strings.Contains(s, "@") {
		return nil, errors.New("broker: a user or password does not belong in the address: use the keys made for them")
	}
	fields := strings.Split(s, " ")
	if len(fields) > mostAddresses {
		return nil, fmt.Errorf("broker: %d addresses, at most %d are allowed", len(fields), mostAddresses)
	}
	all := make([]address, len(fields))
	for i, f := range fields {
		var err error
		if all[i], err = parseOne(f); err != nil {
			return nil, err
		}
		if all[i].tls != all[0].tls {
			return nil, fmt.Errorf("broker %.140q: some addresses are with TLS and some without: write ssl:// for all", s)
		}
		for _, other := range all[:i] {
			if other == all[i] {
				return nil, fmt.Errorf("broker %.140q: %s stands there twice", s, other)
			}
		}
	}
	return all, nil
}

func parseOne(s string) (address, error) {
	const want = "want tcp://host:1883 or ssl://host:8883, several parted by one blank"
	u, err := url.Parse(s)
	if err != nil {
		return address{}, fmt.Errorf("broker %.140q: %s", s, want)
	}
	a := address{host: u.Hostname(), port: u.Port()}
	switch u.Scheme {
	case "tcp", "mqtt":
		if a.port == "" {
			a.port = "1883"
		}
	case "ssl", "tls", "mqtts":
		a.tls = true
		if a.port == "" {
			a.port = "8883"
		}
	default:
		return address{}, fmt.Errorf("broker %.140q: %s", s, want)
	}
	if a.host == "" || u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.Fragment != "" {
		return address{}, fmt.Errorf("broker %.140q: %s", s, want)
	}
	if _, err := net.LookupPort("tcp", a.port); err != nil || a.port == "0" {
		return address{}, fmt.Errorf("broker %.140q: the port must be 1 to 65535", s)
	}
	return a, nil
}

// Plain reports whether passwords and records go to another machine without
// TLS.
func (a Access) Plain() bool {
	all, err := parse(a.Address)
	for _, a := range all {
		ip := net.ParseIP(a.host)
		if err == nil && !a.tls && a.host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			return true
		}
	}
	return false
}

// Hosts are the brokers of an address, each host:port, and whether they are
// reached with TLS.
func (a Access) Hosts() (hosts []string, tls bool, err error) {
	all, err := parse(a.Address)
	for _, b := range all {
		hosts, tls = append(hosts, b.String()), b.tls
	}
	return hosts, tls, err
}
