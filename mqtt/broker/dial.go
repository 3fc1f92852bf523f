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
	Expires Ends // zero without TLS

	address string // host:port
	own     *own   // nil without TLS
}

// Ends are when the certificates in use end; zero: none is in use.
type Ends struct {
	Press     time.Time
	Broker    time.Time
	Authority time.Time // of those that sign the broker's certificate the first
}

// First is the first of them, zero if none is in use.
func (e Ends) First() (first End) {
	for _, end := range []End{{e.Press, OfPress}, {e.Broker, OfBroker}, {e.Authority, OfAuthority}} {
		first = first.Sooner(end)
	}
	return first
}

// End is when a certificate ends.
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
	way.Conn, way.Expires = secure, endsOf(way.own, secure.ConnectionState())
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
	if config.RootCAs, err = readAuthorities(b.access.CA); err != nil {
		return nil, nil, err
	}
	if b.access.CRL != "" {
		var err error
		if b.lists, err = b.lists.renewed(b.access.CRL); err != nil {
			return nil, nil, err
		}
		config.VerifyConnection = b.lists.check
	}
	return config, mine, nil
}

// readAuthorities reads who may sign the broker's certificate; nil, the system's,
// if no file is named.
func readAuthorities(file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	pem, err := readFile(file, false)
	if err != nil {
		return nil, fmt.Errorf("authority's certificate: %w", err)
	}
	all := x509.NewCertPool()
	if !all.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("authority's certificate: %s holds no certificate in PEM form", file)
	}
	return all, nil
}

// Files tells what is wrong with the files that a connection would read now, by
// the names of their keys: ca, crl, cert.
func (a Access) Files() map[string]error {
	faults := map[string]error{}
	note := func(key string, err error) {
		if err != nil {
			faults[key] = err
		}
	}
	_, err := readAuthorities(a.CA)
	note("ca", err)
	if a.CRL != "" {
		_, err = readRevoked(a.CRL)
		note("crl", err)
	}
	_, err = readOwn(a.Cert, a.Key)
	note("cert", err)
	return faults
}

// endsOf are the ends of the certificates that a connection was made with. Of
// several chains of trust the one that holds longest counts.
func endsOf(mine *own, s tls.ConnectionState) (ends Ends) {
	for _, chain := range s.VerifiedChains {
		of := Ends{Broker: chain[0].NotAfter}
		for _, c := range chain[1:] {
			if of.Authority.IsZero() || c.NotAfter.Before(of.Authority) {
				of.Authority = c.NotAfter
			}
		}
		if ends.First().Before(of.First().Time) {
			ends = of
		}
	}
	if mine.pair != nil && mine.asked {
		ends.Press = mine.pair.Leaf.NotAfter
	}
	return ends
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
