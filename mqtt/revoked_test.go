package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestListOfRevokedCertificates: a broker whose certificate is on the list is
// refused, and so is a list that says nothing about it (RFC 5280, sections 5 and
// 6.3).
func TestListOfRevokedCertificates(t *testing.T) {
	now := time.Now()
	hour := time.Hour
	dir := t.TempDir()
	ours, theirs := newAuthority(t, "shop"), newAuthority(t, "other")
	twin := newAuthority(t, "shop") // another key under the same name
	cert, key := ours.issue(t, "127.0.0.1", now.Add(-hour), now.Add(hour))
	serial := ours.made
	addr := secureBroker(t, cert, key, nil)
	revoked := time.Date(2026, 3, 2, 6, 40, 0, 0, time.UTC)

	file := filepath.Join(dir, "revoked.crl")
	in := "the list of revoked certificates in " + file + " "
	was := "the broker's certificate was revoked on 2026-03-02: it needs a new one, do not trust this broker until then"
	critical := func(oid ...int) pkix.Extension {
		return pkix.Extension{Id: oid, Critical: true, Value: []byte{0x30, 0x00}}
	}
	partial := func() []byte { // RFC 5280, section 5.2.5
		return withExtensions(t, ours, []pkix.Extension{critical(2, 5, 29, 28)}, listed(99, revoked))
	}
	indirect := func() []byte { // RFC 5280, section 5.3.3
		e := listed(99, revoked)
		e.ExtraExtensions = []pkix.Extension{critical(2, 5, 29, 29)}
		return withExtensions(t, ours, nil, e)
	}
	for _, tc := range []struct {
		name string
		list []byte
		want string // reason; "" connects
	}{
		{"empty list, DER", ours.list(t, now.Add(-hour), now.Add(hour)), ""},
		{"empty list, PEM", asPEM(ours.list(t, now.Add(-hour), now.Add(hour))), ""},
		{"others are revoked", asPEM(ours.list(t, now.Add(-hour), now.Add(hour), listed(serial+1, revoked), listed(serial-1, revoked))), ""},
		{"revoked, DER", ours.list(t, now.Add(-hour), now.Add(hour), listed(77, revoked), listed(serial, revoked)), was},
		{"revoked, PEM", asPEM(ours.list(t, now.Add(-hour), now.Add(hour), listed(serial, revoked))), was},
		{"revoked by the second list", slices.Concat(asPEM(theirs.list(t, now.Add(-hour), now.Add(hour))), asPEM(ours.list(t, now.Add(-hour), now.Add(hour), listed(serial, revoked)))), was},
		{"revoked by the newer list, the older comes last", slices.Concat(
			asPEM(ours.list(t, now.Add(-hour/2), now.Add(hour), listed(serial, revoked))), asPEM(ours.list(t, now.Add(-hour), now.Add(hour)))), was},
		{"out of date", asPEM(ours.list(t, now.Add(-72*hour), now.Add(-48*hour))),
			in + "is out of date since " + date(now.Add(-48*hour)) + ": put the authority's latest there"},
		{"out of date and revoked", asPEM(ours.list(t, now.Add(-72*hour), now.Add(-48*hour), listed(serial, revoked))), in + "is out of date since " + date(now.Add(-48*hour)) + ": put the authority's latest there"},
		{"of tomorrow", asPEM(ours.list(t, now.Add(24*hour), now.Add(48*hour))), in + "is not valid before " + date(now.Add(24*hour)) + ": is this machine's clock right?"},
		{"of another authority", asPEM(theirs.list(t, now.Add(-hour), now.Add(hour), listed(serial, revoked))),
			in + "is not by the authority of the broker's certificate (CN=shop): put that authority's list there"},
		{"of another key under its name", asPEM(twin.list(t, now.Add(-hour), now.Add(hour))), in + "is not signed by the authority whose name it bears (CN=shop): put that authority's list there"},
		{"of a part of the certificates", partial(), in + "is of a kind that is not understood here (critical extension 2.5.29.28): put a complete list there"},
		{"of several authorities", indirect(), in + "is of a kind that is not understood here (critical extension 2.5.29.29): put a complete list there"},
		{"a certificate", ours.pem, "list of revoked certificates: " + file + " holds none in PEM or DER form: put the authority's list there"},
		{"cut off", ours.list(t, now.Add(-hour), now.Add(hour))[:100], "list of revoked certificates: " + file + " holds none in PEM or DER form: put the authority's list there"},
		{"empty file", nil, "list of revoked certificates: " + file + " holds none in PEM or DER form: put the authority's list there"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			put(t, dir, "revoked.crl", tc.list)
			s := secureSettings(addr)
			s.CA, s.CRL = put(t, dir, "ca.pem", ours.pem), file
			b := newBox(2)
			p := start(t, s, b, nil)
			if tc.want == "" {
				drain(t, p)
				return
			}
			until(t, "a reason", func() bool { return p.State().Reason != "" })
			if got := p.State().Reason; got != tc.want {
				t.Errorf("reason %q\nwant   %q", got, tc.want)
			}
			if b.cursor() != 0 || p.State().Session != 0 {
				t.Errorf("sent up to %d, session %d: something was said to such a broker", b.cursor(), p.State().Session)
			}
		})
	}
	t.Run("missing, then put there", func(t *testing.T) {
		if err := os.Remove(file); err != nil {
			t.Fatal(err)
		}
		s := secureSettings(addr)
		s.CA, s.CRL = put(t, dir, "ca.pem", ours.pem), file
		p := start(t, s, newBox(1), nil)
		until(t, "a reason", func() bool { return p.State().Reason != "" })
		if got, want := p.State().Reason, "list of revoked certificates: open "+file+": no such file or directory: put the authority's list there"; got != want {
			t.Errorf("reason %q\nwant   %q", got, want)
		}
		put(t, dir, "revoked.crl", ours.list(t, now.Add(-hour), now.Add(hour)))
		drain(t, p)
	})
}

// withExtensions is a list with extensions that CreateRevocationList has no
// field for.
func withExtensions(t *testing.T, a *authority, list []pkix.Extension, entries ...x509.RevocationListEntry) []byte {
	t.Helper()
	der, err := x509.CreateRevocationList(rand.Reader, &x509.RevocationList{
		Number: big.NewInt(7), ThisUpdate: time.Now().Add(-time.Hour), NextUpdate: time.Now().Add(time.Hour),
		RevokedCertificateEntries: entries, ExtraExtensions: list,
	}, a.cert, a.key)
	if err != nil {
		t.Fatal(err)
	}
	return der
}

// TestListsAlongAChain: an authority between the broker and the plant's may be
// revoked as well, and of an authority in between no list need be there.
func TestListsAlongAChain(t *testing.T) {
	now := time.Now()
	hour := time.Hour
	dir := t.TempDir()
	root := newAuthority(t, "plant")
	sub := root.below(t, "shop")
	subSerial := root.made
	cert, key := sub.issue(t, "127.0.0.1", now.Add(-hour), now.Add(hour))
	addr := secureBroker(t, slices.Concat(cert, sub.pem), key, nil)
	subList := asPEM(sub.list(t, now.Add(-hour), now.Add(hour)))
	revoked := time.Date(2026, 3, 2, 6, 40, 0, 0, time.UTC)
	for _, tc := range []struct {
		name string
		list []byte
		want string // begin of the reason; "" connects
	}{
		{"lists of both", slices.Concat(subList, asPEM(root.list(t, now.Add(-hour), now.Add(hour)))), ""},
		{"list of the issuer alone", subList, ""},
		{"list of the plant's alone", asPEM(root.list(t, now.Add(-hour), now.Add(hour))), "the list of revoked certificates in "},
		{"the issuer is revoked", slices.Concat(subList, asPEM(root.list(t, now.Add(-hour), now.Add(hour), listed(subSerial, revoked)))),
			"the certificate of the broker's authority CN=shop was revoked on 2026-03-02: do not trust this broker"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := secureSettings(addr)
			s.CA, s.CRL = put(t, dir, "ca.pem", root.pem), put(t, dir, "revoked.crl", tc.list)
			p := start(t, s, newBox(2), nil)
			if tc.want == "" {
				drain(t, p)
				return
			}
			until(t, "a reason", func() bool { return p.State().Reason != "" })
			if got := p.State().Reason; !strings.HasPrefix(got, tc.want) {
				t.Errorf("reason %q\nwant   %q", got, tc.want)
			}
		})
	}
}

// TestListByAnAuthorityThatMayNot: the authority's certificate says what its key
// is for (RFC 5280, section 4.2.1.3).
func TestListByAnAuthorityThatMayNot(t *testing.T) {
	now := time.Now()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "shop"}, NotBefore: now.Add(-time.Hour), NotAfter: now.Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	ours := selfSigned(t, template, key)
	cert, certKey := ours.issue(t, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour))
	s := secureSettings(secureBroker(t, cert, certKey, nil))
	dir := t.TempDir()
	may := *ours
	allowed := *ours.cert
	allowed.KeyUsage |= x509.KeyUsageCRLSign // so that package x509 makes the list
	may.cert = &allowed
	s.CA, s.CRL = put(t, dir, "ca.pem", ours.pem), put(t, dir, "revoked.crl", may.list(t, now.Add(-time.Hour), now.Add(time.Hour)))
	p := start(t, s, newBox(1), nil)
	until(t, "a reason", func() bool {
		return strings.Contains(p.State().Reason, "is not signed by the authority whose name it bears (CN=shop)")
	})
}
