package broker

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"strings"
	"time"
)

// Way is an open way to the broker, before any word of MQTT.
type Way struct {
	net.Conn
	Expires End // zero without TLS

	address string // host:port
	own     *own   // nil without TLS
}

// End is when the first of the certificates in use ends.
type End struct {
	time.Time
	Whose Holder
}

// Holder is whom a certificate belongs to.
type Holder string

// The holders of certificates.
const (
	OfPress     Holder = "press"
	OfBroker    Holder = "broker"
	OfAuthority Holder = "authority" // that signs the broker's certificate
)

// Dial reads the certificates anew and opens a way to the address whose turn it
// is. It takes at most the timeout for the network and once more for TLS.
func (b *Broker) Dial(ctx context.Context) (Way, *Ending) {
	way := Way{address: b.all[b.at].String()}
	var config *tls.Config
	if b.all[b.at].tls {
		var err error
		if config, way.own, err = b.certificates(); err != nil {
			return Way{}, &Ending{Class: Absent, Reason: err.Error(), Err: err}
		}
	}
	attempt, cancel := context.WithTimeout(ctx, b.access.Timeout)
	defer cancel()
	conn, err := b.Network(attempt, "tcp", way.address)
	if err != nil {
		return Way{}, &Ending{Class: Absent, Reason: b.whyNoNetwork(err), Err: err}
	}
	way.Conn = conn
	if config == nil {
		return way, nil
	}
	handshake, cancel := context.WithTimeout(ctx, b.access.Timeout)
	defer cancel()
	secure := tls.Client(conn, config)
	if err := secure.HandshakeContext(handshake); err != nil {
		_ = conn.Close() // the handshake's error is the one that matters
		return Way{}, &Ending{Class: Refused, Reason: b.whyNoTLS(way.own, err), Err: err}
	}
	way.Conn, way.Expires = secure, firstEnd(way.own, secure.ConnectionState())
	return way, nil
}

// certificates reads the authority, its list of revoked certificates and the
// press's own certificate, those that are named. The client shakes hands once
// for each connection (crypto/tls: no renegotiation unless it is allowed), so
// that files that were replaced serve the next one.
func (b *Broker) certificates() (*tls.Config, *own, error) {
	mine, err := readOwn(b.access.Cert, b.access.Key)
	if err != nil {
		return nil, nil, err
	}
	config := &tls.Config{
		ServerName: b.all[b.at].host, MinVersion: tls.VersionTLS12,
		GetClientCertificate: mine.answer,
	}
	if b.access.CA != "" {
		pem, err := readFile(b.access.CA, false)
		if err != nil {
			return nil, nil, fmt.Errorf("authority's certificate: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, nil, fmt.Errorf("authority's certificate: %s holds no certificate in PEM form", b.access.CA)
		}
	}
	if b.access.CRL != "" {
		lists, err := readRevoked(b.access.CRL)
		if err != nil {
			return nil, nil, err
		}
		config.VerifyConnection = lists.check
	}
	return config, mine, nil
}

// firstEnd is the earliest end of the certificates in use. Of several chains of
// trust the one that holds longest counts.
func firstEnd(mine *own, s tls.ConnectionState) (first End) {
	for _, chain := range s.VerifiedChains {
		var end End
		for i, c := range chain {
			whose := OfAuthority
			if i == 0 {
				whose = OfBroker
			}
			end = end.Sooner(End{c.NotAfter, whose})
		}
		if first.Before(end.Time) {
			first = end
		}
	}
	if mine.pair != nil && mine.asked {
		first = first.Sooner(End{mine.pair.Leaf.NotAfter, OfPress})
	}
	return first
}

// Sooner is the earlier of two ends; one that is zero does not count.
func (e End) Sooner(other End) End {
	if e.IsZero() || !other.IsZero() && other.Before(e.Time) {
		return other
	}
	return e
}

// Password reads the password, "" without a password file.
func (b *Broker) Password() (string, error) {
	if b.access.PasswordFile == "" {
		return "", nil
	}
	text, err := readFile(b.access.PasswordFile, true)
	if err != nil {
		return "", fmt.Errorf("password: %w", err)
	}
	return strings.TrimRight(string(text), "\r\n"), nil
}
