package broker

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/asn1"
	"encoding/pem"
	"fmt"
	"os"
	"time"
)

// revocations are an authority's lists of the certificates that it has revoked,
// as one file has them.
type revocations struct {
	file  string
	lists []*x509.RevocationList

	of os.FileInfo // the file as it was read
}

// renewed is what the file says now. A long list takes a small machine's time, so
// one that has not changed is not read again.
func (r *revocations) renewed(file string) (*revocations, error) {
	is, err := os.Stat(file)
	if err == nil && r != nil && r.of != nil && os.SameFile(is, r.of) && is.ModTime().Equal(r.of.ModTime()) && is.Size() == r.of.Size() {
		return r, nil
	}
	fresh, err := readRevoked(file)
	if err != nil {
		return nil, err
	}
	fresh.of = is // nil if it came in between: then it is read again
	return fresh, nil
}

// readRevoked reads a file of one list in DER form, or of one or more in PEM
// form.
func readRevoked(file string) (*revocations, error) {
	text, err := readFile(file, false)
	if err != nil {
		return nil, fmt.Errorf("list of revoked certificates: %w: put the authority's list there", err)
	}
	r := &revocations{file: file}
	var ders [][]byte
	for rest := text; ; {
		var block *pem.Block
		if block, rest = pem.Decode(rest); block == nil {
			break
		}
		if block.Type == "X509 CRL" {
			ders = append(ders, block.Bytes)
		}
	}
	if ders == nil {
		ders = [][]byte{text}
	}
	for _, der := range ders {
		list, err := x509.ParseRevocationList(der)
		if err != nil {
			return nil, fmt.Errorf("list of revoked certificates: %s holds none in PEM or DER form: put the authority's list there", file)
		}
		r.lists = append(r.lists, list)
	}
	return r, nil
}

// errRevoked is why the broker's certificate does not count although its chain
// of trust is in order: a sentence for a person.
type errRevoked string

func (e errRevoked) Error() string { return string(e) }

// check refuses a broker unless one of its chains of trust is in order by the
// lists.
func (r *revocations) check(s tls.ConnectionState) error {
	err := error(x509.UnknownAuthorityError{}) // crypto/tls has refused a broker without a chain
	for _, chain := range s.VerifiedChains {
		if err = r.checkChain(chain, time.Now()); err == nil {
			return nil
		}
	}
	return err
}

// checkChain looks every certificate up in the list of its issuer. For the
// broker's own there must be one; for an authority in between there may.
func (r *revocations) checkChain(chain []*x509.Certificate, now time.Time) error {
	for i, c := range chain[:len(chain)-1] {
		list, err := r.by(chain[i+1], now)
		switch {
		case err != nil:
			return err
		case list == nil && i == 0:
			return errRevoked(fmt.Sprintf("the list of revoked certificates in %s is not by the authority of the broker's certificate (%s): put that authority's list there",
				r.file, chain[1].Subject))
		case list == nil:
			continue
		}
		for _, e := range list.RevokedCertificateEntries {
			if e.SerialNumber.Cmp(c.SerialNumber) != 0 {
				continue
			}
			if i == 0 {
				return errRevoked(fmt.Sprintf("the broker's certificate was revoked on %s: it needs a new one, do not trust this broker until then", day(e.RevocationTime)))
			}
			return errRevoked(fmt.Sprintf("the certificate of the broker's authority %s was revoked on %s: do not trust this broker", c.Subject, day(e.RevocationTime)))
		}
	}
	return nil
}

// by is the newest list by an issuer, nil if there is none, or why it does not
// count (RFC 5280, section 5).
func (r *revocations) by(issuer *x509.Certificate, now time.Time) (newest *x509.RevocationList, err error) {
	for _, l := range r.lists {
		if bytes.Equal(l.RawIssuer, issuer.RawSubject) && (newest == nil || l.ThisUpdate.After(newest.ThisUpdate)) {
			newest = l
		}
	}
	if newest == nil {
		return nil, nil
	}
	if newest.CheckSignatureFrom(issuer) != nil {
		return nil, errRevoked(fmt.Sprintf("the list of revoked certificates in %s is not signed by the authority whose name it bears (%s): put that authority's list there", r.file, issuer.Subject))
	}
	if id := mustKnow(newest); id != nil {
		return nil, errRevoked(fmt.Sprintf("the list of revoked certificates in %s is of a kind that is not understood here (critical extension %s): put a complete list there", r.file, id))
	}
	if now.Before(newest.ThisUpdate) {
		return nil, errRevoked(fmt.Sprintf("the list of revoked certificates in %s is not valid before %s: is this machine's clock right?", r.file, day(newest.ThisUpdate)))
	}
	if !newest.NextUpdate.IsZero() && now.After(newest.NextUpdate) {
		return nil, errRevoked(fmt.Sprintf("the list of revoked certificates in %s is out of date since %s: put the authority's latest there", r.file, day(newest.NextUpdate)))
	}
	return newest, nil
}

// mustKnow is a critical extension of a list or of one of its entries, nil if
// there is none. Such a list says less than, or something else than, what its
// entries seem to say, and must not be used by who does not know the extension
// (RFC 5280, sections 5.2 and 5.3).
func mustKnow(l *x509.RevocationList) asn1.ObjectIdentifier {
	for _, x := range l.Extensions {
		if x.Critical {
			return x.Id
		}
	}
	for _, e := range l.RevokedCertificateEntries {
		for _, x := range e.Extensions {
			if x.Critical {
				return x.Id
			}
		}
	}
	return nil
}
