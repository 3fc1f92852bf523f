package broker

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"time"
)

// Way is an open way to the broker, before any word of MQTT.
type Way struct {
	net.Conn
	Expires time.Time // the earliest end of a certificate in use; zero without TLS

	address string // host:port
}

// Dial reads the certificates anew and opens a way to the address whose turn it
// is. It takes at most the timeout for the network and once more for TLS.
func (b *Broker) Dial(ctx context.Context) (Way, *Ending) {
	var config *tls.Config
	var expires time.Time
	here := b.all[b.at]
	if here.tls {
		var err error
		if config, expires, err = b.certificates(); err != nil {
			return Way{}, &Ending{Class: Absent, Reason: err.Error(), Err: err}
		}
	}
	attempt, cancel := context.WithTimeout(ctx, b.access.Timeout)
	defer cancel()
	conn, err := b.Network(attempt, "tcp", here.String())
	if err != nil {
		return Way{}, &Ending{Class: Absent, Reason: b.whyNoNetwork(err), Err: err}
	}
	if config == nil {
		return Way{Conn: conn, address: here.String()}, nil
	}
	handshake, cancel := context.WithTimeout(ctx, b.access.Timeout)
	defer cancel()
	secure := tls.Client(conn, config)
	if err := secure.HandshakeContext(handshake); err != nil {
		_ = conn.Close() // the handshake's error is the one that matters
		return Way{}, &Ending{Class: Refused, Reason: b.whyNoTLS(err), Err: err}
	}
	for _, c := range secure.ConnectionState().PeerCertificates[:1] {
		expires = earlier(expires, c.NotAfter)
	}
	return Way{Conn: secure, Expires: expires, address: here.String()}, nil
}

// certificates reads the authority and the press's own certificate, if named,
// and tells when the latter ends.
func (b *Broker) certificates() (*tls.Config, time.Time, error) {
	config := &tls.Config{ServerName: b.all[b.at].host, MinVersion: tls.VersionTLS12}
	var expires time.Time
	if b.access.CA != "" {
		pem, err := readFile(b.access.CA, false)
		if err != nil {
			return nil, expires, fmt.Errorf("authority's certificate: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, expires, fmt.Errorf("authority's certificate: %s holds no certificate in PEM form", b.access.CA)
		}
	}
	if b.access.Cert != "" {
		cert, err := readFile(b.access.Cert, false)
		if err != nil {
			return nil, expires, fmt.Errorf("own certificate: %w", err)
		}
		key, err := readFile(b.access.Key, true)
		if err != nil {
			return nil, expires, fmt.Errorf("own key: %w", err)
		}
		pair, err := tls.X509KeyPair(cert, key)
		if err != nil {
			return nil, expires, fmt.Errorf("own certificate %s with key %s: %w", b.access.Cert, b.access.Key, err)
		}
		config.Certificates = []tls.Certificate{pair}
		expires = pair.Leaf.NotAfter
	}
	return config, expires, nil
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

// maxFile bounds certificates, keys and passwords, so that a wrong path costs
// no memory; MQTT 3.1.1, section 3.1.3.5, allows passwords of 65,535 bytes.
const maxFile = 1 << 20

// readFile reads a small file. A secret one must not be readable by everybody.
func readFile(path string, secret bool) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if secret && info.Mode().Perm()&0o007 != 0 {
		return nil, fmt.Errorf("%s can be read by everybody on this machine: run chmod o-rwx on it", path)
	}
	b, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err == nil && len(b) > maxFile {
		err = errors.New("larger than 1 MiB")
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	return b, nil
}

// earlier is the earlier of two times that are not zero.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || b.Before(a) {
		return b
	}
	return a
}
