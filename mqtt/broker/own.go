package broker

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"time"
)

// own is the press's own certificate in one handshake.
type own struct {
	file    string           // "": none is named
	pair    *tls.Certificate // nil: none is named
	asked   bool             // the broker wants one
	foreign bool             // the broker names authorities, and none of them has signed it
}

// readOwn reads the press's certificate and its key, if they are named.
func readOwn(certFile, keyFile string) (*own, error) {
	if certFile == "" {
		return &own{}, nil
	}
	cert, err := readFile(certFile, false)
	if err != nil {
		return nil, fmt.Errorf("own certificate: %w", err)
	}
	key, err := readFile(keyFile, true)
	if err != nil {
		return nil, fmt.Errorf("own key: %w", err)
	}
	pair, err := tls.X509KeyPair(cert, key)
	if err != nil {
		return nil, fmt.Errorf("own certificate %s with key %s: %w", certFile, keyFile, err)
	}
	return &own{file: certFile, pair: &pair}, nil
}

// CertificateEnd is when the certificate in a PEM file ends, the first one if there
// are several.
func CertificateEnd(file string) (time.Time, error) {
	text, err := readFile(file, false)
	if err != nil {
		return time.Time{}, err
	}
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if block.Type != "CERTIFICATE" {
			continue
		}
		c, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			return time.Time{}, err
		}
		return c.NotAfter, nil
	}
	return time.Time{}, io.ErrUnexpectedEOF
}

// answer shows the certificate to a broker that asks for one, whatever
// authorities it names: then it can say what it has against it.
func (o *own) answer(r *tls.CertificateRequestInfo) (*tls.Certificate, error) {
	o.asked = true
	if o.pair == nil {
		return &tls.Certificate{}, nil
	}
	o.foreign = r.SupportsCertificate(o.pair) != nil
	return o.pair, nil
}

// What a broker says against a certificate (RFC 8446, section 6.2).
const (
	revoked   = tls.AlertError(44)
	unknownCA = tls.AlertError(48)
)

// why explains by the press's certificate that a broker has ended a connection.
// said is its word for it, "" if it went without one; ok is false if the
// certificate does not explain it. What the broker says comes last: brokers
// reset the connection behind their word, and it may be lost.
func (o *own) why(said string) (reason string, ok bool) {
	if o == nil || !o.asked {
		return "", false
	}
	if o.pair == nil {
		return "the broker wants a certificate of this press: name it and its key (keys cert and key)", true
	}
	switch leaf, now := o.pair.Leaf, time.Now(); {
	case now.After(leaf.NotAfter):
		return fmt.Sprintf("the broker refuses this press's certificate, it expired on %s: put a new one into %s", day(leaf.NotAfter), o.file), true
	case now.Before(leaf.NotBefore):
		return fmt.Sprintf("the broker refuses this press's certificate, it is not valid before %s: is this machine's clock right?", day(leaf.NotBefore)), true
	case said == revoked.Error():
		return fmt.Sprintf("the broker refuses this press's certificate, it was revoked: ask who runs the broker, and put a new one into %s", o.file), true
	case o.foreign, said == unknownCA.Error():
		return fmt.Sprintf("the broker refuses this press's certificate in %s, it does not know the authority that signed it", o.file), true
	}
	return "", false
}
