// Package broker makes single connections to MQTT 3.1.1 brokers and says in
// sentences why there is none.
//
// A connection never comes back by itself: who uses it dials anew, with a pause
// that Retry knows. That keeps acknowledgements honest. A client library that
// reconnects completes the tokens of the former connection without an error
// though nothing was acknowledged.
package broker

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"
	"unicode/utf8"
)

// Access says where brokers are and how a press is let in. Files are read anew
// for each connection, so that a renewed certificate or password needs no
// restart.
type Access struct {
	Address string // one or more, parted by blanks: tcp://host[:1883] or ssl://host[:8883]; mqtt:// and mqtts:// mean the same

	User         string
	PasswordFile string // a line break at its end does not belong to the password
	CA           string // PEM; "" takes the system's authorities
	CRL          string // PEM or DER, the authority's list of revoked certificates; "" none
	Cert, Key    string // PEM; the press's own certificate

	Timeout time.Duration // for the network, TLS and CONNACK, each; 0: 10 s
}

// Network opens a connection to "host:port", as net.Dialer's DialContext does.
type Network func(ctx context.Context, network, address string) (net.Conn, error)

// Broker is a way to be let in at one of several brokers, one at a time. It is
// for one goroutine, but for String.
type Broker struct {
	Network Network // net.Dialer's, unless set before the first Dial

	access Access
	all    []address
	at     int // of all: the one in use or to be tried next

	lists *revocations // as they were read last
}

// New checks how brokers are to be reached. The error names all that is wrong;
// it never repeats an address that may hold a password.
func New(a Access) (*Broker, error) {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	all, err := parse(a.Address)
	if err != nil {
		faults = append(faults, err)
	}
	if a.User == "" && a.PasswordFile != "" {
		fault("a password file without a user: name the user, or leave the file out")
	}
	if !utf8.ValidString(a.User) || strings.ContainsFunc(a.User, Control) || len(a.User) > 1024 {
		fault("user %.40q: want at most 1,024 bytes without control characters", a.User)
	}
	if (a.Cert == "") != (a.Key == "") {
		fault("the press's certificate and its key go together: name both files or none")
	}
	if err == nil && !all[0].tls && (a.CA != "" || a.Cert != "" || a.CRL != "") {
		fault("certificates are named, but tcp:// does not use them: write ssl:// in the broker's address")
	}
	if a.Timeout == 0 {
		a.Timeout = 10 * time.Second
	}
	if a.Timeout < time.Millisecond || a.Timeout > 12*time.Hour {
		fault("connect timeout %v: want 1ms to 12 h", a.Timeout)
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return &Broker{Network: (&net.Dialer{}).DialContext, access: a, all: all}, nil
}

// Control reports whether r may not stand in a name that MQTT carries (MQTT
// 3.1.1, section 1.5.3).
func Control(r rune) bool { return r < ' ' || r >= 0x7f && r < 0xa0 }

// String is the addresses, as host:port parted by blanks.
func (b *Broker) String() string {
	names := make([]string, len(b.all))
	for i, a := range b.all {
		names[i] = a.String()
	}
	return strings.Join(names, " ")
}

// Here is the address in use or to be tried next, as host:port.
func (b *Broker) Here() string { return b.all[b.at].String() }

// Next turns to the next address. It reports whether that is the first one
// again: all have had their turn.
func (b *Broker) Next() bool {
	b.at = (b.at + 1) % len(b.all)
	return b.at == 0
}

// Several reports whether there is more than one address.
func (b *Broker) Several() bool { return len(b.all) > 1 }
