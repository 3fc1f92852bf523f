package mqtt

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

// way is an open way to the broker, before any word of MQTT.
type way struct {
	net.Conn
	expires time.Time // the earliest end of a certificate in use; zero without TLS
}

// dial reads the certificates anew and opens the way. It takes at most the
// connect timeout for the network and once more for TLS.
func (p *Publisher) dial(ctx context.Context) (way, *ending) {
	var config *tls.Config
	var expires time.Time
	if p.broker.tls {
		var err error
		if config, expires, err = p.certificates(); err != nil {
			return way{}, &ending{class: absent, reason: err.Error(), err: err}
		}
	}
	attempt, cancel := context.WithTimeout(ctx, p.s.ConnectTimeout)
	defer cancel()
	conn, err := p.network(attempt, "tcp", p.broker.String())
	if err != nil {
		return way{}, &ending{class: absent, reason: p.whyNoNetwork(err), err: err}
	}
	if config == nil {
		return way{Conn: conn}, nil
	}
	handshake, cancel := context.WithTimeout(ctx, p.s.ConnectTimeout)
	defer cancel()
	secure := tls.Client(conn, config)
	if err := secure.HandshakeContext(handshake); err != nil {
		_ = conn.Close() // the handshake's error is the one that matters
		return way{}, &ending{class: refused, reason: p.whyNoTLS(err), err: err}
	}
	for _, c := range secure.ConnectionState().PeerCertificates[:1] {
		expires = earlier(expires, c.NotAfter)
	}
	return way{Conn: secure, expires: expires}, nil
}

// certificates reads the authority and the press's own certificate, if named,
// and tells when the latter ends.
func (p *Publisher) certificates() (*tls.Config, time.Time, error) {
	config := &tls.Config{ServerName: p.broker.host, MinVersion: tls.VersionTLS12}
	var expires time.Time
	if p.s.CA != "" {
		pem, err := readFile(p.s.CA, false)
		if err != nil {
			return nil, expires, fmt.Errorf("authority's certificate: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, expires, fmt.Errorf("authority's certificate: %s holds no certificate in PEM form", p.s.CA)
		}
	}
	if p.s.Cert != "" {
		cert, err := readFile(p.s.Cert, false)
		if err != nil {
			return nil, expires, fmt.Errorf("own certificate: %w", err)
		}
		key, err := readFile(p.s.Key, true)
		if err != nil {
			return nil, expires, fmt.Errorf("own key: %w", err)
		}
		pair, err := tls.X509KeyPair(cert, key)
		if err != nil {
			return nil, expires, fmt.Errorf("own certificate %s with key %s: %w", p.s.Cert, p.s.Key, err)
		}
		config.Certificates = []tls.Certificate{pair}
		expires = pair.Leaf.NotAfter
	}
	return config, expires, nil
}

// password reads the password, "" without a password file.
func (p *Publisher) password() (string, error) {
	if p.s.PasswordFile == "" {
		return "", nil
	}
	b, err := readFile(p.s.PasswordFile, true)
	if err != nil {
		return "", fmt.Errorf("password: %w", err)
	}
	return strings.TrimRight(string(b), "\r\n"), nil
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
