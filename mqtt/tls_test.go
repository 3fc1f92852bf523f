package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"benchtally/mqtt/broker"
)

// authority signs certificates for one test.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	pem  []byte
	made int64 // serial of the latest certificate
}

func newAuthority(t *testing.T, name string) *authority {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
	}
	return selfSigned(t, template, key)
}

func selfSigned(t *testing.T, template *x509.Certificate, key *ecdsa.PrivateKey) *authority {
	t.Helper()
	return signedBy(t, template, key, &authority{cert: template, key: key})
}

func signedBy(t *testing.T, template *x509.Certificate, key *ecdsa.PrivateKey, above *authority) *authority {
	t.Helper()
	der, err := x509.CreateCertificate(rand.Reader, template, above.cert, &key.PublicKey, above.key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return &authority{cert: cert, key: key, pem: pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), made: 1}
}

// below is an authority that this one has signed.
func (a *authority) below(t *testing.T, name string) *authority {
	t.Helper()
	sub := newAuthority(t, name)
	a.made++
	template := *sub.cert
	template.SerialNumber = big.NewInt(a.made)
	return signedBy(t, &template, sub.key, a)
}

// list is the authority's list of what it has revoked, in DER form.
func (a *authority) list(t *testing.T, from, to time.Time, entries ...x509.RevocationListEntry) []byte {
	t.Helper()
	der, err := x509.CreateRevocationList(rand.Reader, &x509.RevocationList{
		Number: big.NewInt(7), ThisUpdate: from, NextUpdate: to, RevokedCertificateEntries: entries,
	}, a.cert, a.key)
	if err != nil {
		t.Fatal(err)
	}
	return der
}

// listed is an entry for the certificate of that serial.
func listed(serial int64, at time.Time) x509.RevocationListEntry {
	return x509.RevocationListEntry{SerialNumber: big.NewInt(serial), RevocationTime: at}
}

// asPEM is a list in PEM form.
func asPEM(list []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "X509 CRL", Bytes: list})
}

// issue makes a certificate, of the serial made, and its key, for the machine of
// that name or address, or for the client of that name.
func (a *authority) issue(t *testing.T, name string, from, to time.Time) (cert, key []byte) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	a.made++
	template := &x509.Certificate{
		SerialNumber: big.NewInt(a.made), Subject: pkix.Name{CommonName: name}, NotBefore: from, NotAfter: to,
		KeyUsage:    x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	if ip := net.ParseIP(name); ip != nil {
		template.IPAddresses = []net.IP{ip}
	} else {
		template.DNSNames = []string{name}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &k.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER})
}

// put writes a file that only its owner can read.
func put(t testing.TB, dir, name string, b []byte) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// secureBroker is an in-process broker with a certificate.
func secureBroker(t *testing.T, cert, key []byte, clients *authority) string {
	t.Helper()
	pair, err := tls.X509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	config := &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	if clients != nil {
		config.ClientAuth = tls.RequireAndVerifyClientCert
		config.ClientCAs = x509.NewCertPool()
		config.ClientCAs.AddCert(clients.cert)
	}
	return mochiBroker(t, config, nil)
}

// relay passes bytes on to a broker; cut ends the connections that stand.
func relay(t *testing.T, broker string) (addr string, cut func()) {
	t.Helper()
	var mu sync.Mutex
	var conns []net.Conn
	cut = func() {
		mu.Lock()
		defer mu.Unlock()
		for _, c := range conns {
			_ = c.Close()
		}
		conns = nil
	}
	addr = listen(t, func(near net.Conn) {
		far, err := net.Dial("tcp", broker)
		if err != nil {
			t.Error(err)
			return
		}
		mu.Lock()
		conns = append(conns, near, far)
		mu.Unlock()
		var both sync.WaitGroup
		for _, way := range [][2]net.Conn{{near, far}, {far, near}} {
			both.Go(func() {
				_, _ = io.Copy(way[1], way[0])
				_ = near.Close()
				_ = far.Close()
			})
		}
		both.Wait()
	})
	t.Cleanup(cut)
	return addr, cut
}

func secureSettings(addr string) Settings {
	s := settings(addr)
	s.Address = "ssl://" + addr
	return s
}

func TestCertificatesOfTheBroker(t *testing.T) {
	now := time.Now()
	dir := t.TempDir()
	ours, theirs := newAuthority(t, "shop"), newAuthority(t, "other")
	ca := put(t, dir, "ca.pem", ours.pem)
	for _, tc := range []struct {
		name     string
		signer   *authority
		host     string
		from, to time.Time
		ca       string
		want     string // reason; "" connects
	}{
		{"good", ours, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour), ca, ""},
		{"other host", ours, "broker.example", now.Add(-time.Hour), now.Add(time.Hour), ca, "the broker's certificate is not for the name 127.0.0.1"},
		{"expired", ours, "127.0.0.1", now.Add(-48 * time.Hour), now.Add(-24 * time.Hour), ca,
			"the broker's certificate expired on " + date(now.Add(-24*time.Hour)) + " (or this machine's clock is wrong)"},
		{"not yet valid", ours, "127.0.0.1", now.Add(24 * time.Hour), now.Add(48 * time.Hour), ca,
			"the broker's certificate is not valid before " + date(now.Add(24*time.Hour)) + ": is this machine's clock right?"},
		{"other authority", theirs, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour), ca, "the broker's certificate is not from the authority in " + ca},
		{"private authority not named", ours, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour), "", "the broker's certificate is from an unknown authority: name the authority's certificate (key ca)"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			cert, key := tc.signer.issue(t, tc.host, tc.from, tc.to)
			s := secureSettings(secureBroker(t, cert, key, nil))
			s.CA = tc.ca
			b := newBox(3)
			p := start(t, s, b, nil)
			if tc.want == "" {
				drain(t, p)
				if got := p.State().Expires.First(); !got.Equal(tc.to.Truncate(time.Second)) || got.Whose != broker.OfBroker {
					t.Errorf("the certificate ends at %v, want %v", got, tc.to)
				}
				return
			}
			until(t, "a reason", func() bool { return p.State().Reason != "" })
			if got := p.State().Reason; got != tc.want {
				t.Errorf("reason %q\nwant   %q", got, tc.want)
			}
			if b.cursor() != 0 {
				t.Errorf("sent up to %d", b.cursor())
			}
		})
	}
}

// TestCertificateIsReplaced: other files in the place of the old ones serve the
// next connection, without a restart.
func TestCertificateIsReplaced(t *testing.T) {
	now := time.Now()
	dir := t.TempDir()
	ours := newAuthority(t, "shop")
	cert, key := ours.issue(t, "127.0.0.1", now.Add(-time.Hour), now.Add(2*time.Hour))
	pair, err := tls.X509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	clients := x509.NewCertPool()
	clients.AddCert(ours.cert)
	var shown atomic.Int64 // serial of the press's latest certificate
	var hands atomic.Int64
	config := &tls.Config{
		Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12,
		ClientAuth: tls.RequireAndVerifyClientCert, ClientCAs: clients,
		VerifyConnection: func(c tls.ConnectionState) error {
			hands.Add(1)
			shown.Store(c.PeerCertificates[0].SerialNumber.Int64())
			return nil
		},
	}
	addr, cut := relay(t, mochiBroker(t, config, nil))
	s := secureSettings(addr)
	s.CA = put(t, dir, "ca.pem", ours.pem)
	replace := func(to time.Time) int64 {
		c, k := ours.issue(t, "north-bench", now.Add(-time.Hour), to)
		s.Cert, s.Key = put(t, dir, "press.pem", c), put(t, dir, "press.key", k)
		return ours.made
	}
	first := replace(now.Add(time.Hour))
	p := start(t, s, newBox(1), nil)
	drain(t, p)
	if got := p.State().Expires.First(); shown.Load() != first || !got.Equal(now.Add(time.Hour).Truncate(time.Second)) || got.Whose != broker.OfPress {
		t.Errorf("the press shows certificate %d, want %d; the first one ends at %v (%s)", shown.Load(), first, got, got.Whose)
	}
	second := replace(now.Add(3 * time.Hour))
	if shown.Load() != first || !p.State().Connected {
		t.Error("a standing connection is touched")
	}
	cut()
	until(t, "the new certificate", func() bool { return shown.Load() == second && p.State().Connected })
	if got := p.State().Expires.First(); !got.Equal(now.Add(2*time.Hour).Truncate(time.Second)) || got.Whose != broker.OfBroker {
		t.Errorf("the first one ends at %v (%s), want the broker's", got, got.Whose)
	}

	// Between two renames key and certificate do not fit.
	other, otherKey := ours.issue(t, "north-bench", now.Add(-time.Hour), now.Add(time.Hour))
	put(t, dir, "press.pem", other)
	before := hands.Load()
	cut()
	until(t, "key and certificate do not fit", func() bool {
		return strings.HasPrefix(p.State().Reason, "own certificate "+s.Cert+" with key "+s.Key)
	})
	if hands.Load() != before {
		t.Error("the broker has been shown something")
	}
	put(t, dir, "press.key", otherKey)
	until(t, "the third certificate", func() bool { return shown.Load() == ours.made && p.State().Connected })
	if got := p.State().Session; hands.Load() != int64(got) {
		t.Errorf("%d handshakes for %d connections", hands.Load(), got)
	}
}

func TestFilesForTLS(t *testing.T) {
	now := time.Now()
	dir := t.TempDir()
	ours := newAuthority(t, "shop")
	cert, key := ours.issue(t, "north-bench", now.Add(-time.Hour), now.Add(time.Hour))
	ca, good, goodKey := put(t, dir, "ca.pem", ours.pem), put(t, dir, "press.pem", cert), put(t, dir, "press.key", key)
	open := put(t, dir, "open.key", key)
	if err := os.Chmod(open, 0o644); err != nil {
		t.Fatal(err)
	}
	large := put(t, dir, "large.pem", make([]byte, 1<<20+1))
	for _, tc := range []struct{ name, ca, cert, key, want string }{
		{"authority missing", filepath.Join(dir, "none"), "", "", "authority's certificate: open "},
		{"authority is no certificate", goodKey, "", "", "holds no certificate in PEM form"},
		{"authority too large", large, "", "", "larger than 1 MiB"},
		{"authority is a folder", dir, "", "", "is a directory"},
		{"certificate missing", ca, filepath.Join(dir, "none"), goodKey, "own certificate: open "},
		{"key missing", ca, good, filepath.Join(dir, "none"), "own key: open "},
		{"key open to all", ca, good, open, "can be read by everybody on this machine: run chmod o-rwx on it"},
		{"key is a certificate", ca, good, good, "own certificate " + good + " with key " + good},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := secureSettings("127.0.0.1:1")
			s.CA, s.Cert, s.Key = tc.ca, tc.cert, tc.key
			p, err := New(s, newBox(0))
			if err != nil {
				t.Fatal(err)
			}
			_, end := p.broker.Dial(t.Context())
			if end == nil || !strings.Contains(end.Reason, tc.want) {
				t.Errorf("got %+v, want %q", end, tc.want)
			}
		})
	}
}

func TestTLSWithSomethingElse(t *testing.T) {
	now := time.Now()
	ours := newAuthority(t, "shop")
	ca := put(t, t.TempDir(), "ca.pem", ours.pem)
	cert, key := ours.issue(t, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour))
	pair, err := tls.X509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name  string
		serve func(net.Conn)
		want  string
	}{
		{"speaks without TLS", func(c net.Conn) {
			_, _ = c.Write([]byte("220 this is something else\r\n"))
			_, _ = c.Read(make([]byte, 512))
			_ = c.Close()
		}, "does not speak TLS: write tcp://"},
		{"ends the connection", func(c net.Conn) {
			_, _ = c.Read(make([]byte, 4096))
			_ = c.Close()
		}, "ends the connection instead of TLS"},
		{"says nothing", func(c net.Conn) {
			b := make([]byte, 4096)
			for {
				if _, err := c.Read(b); err != nil {
					_ = c.Close()
					return
				}
			}
		}, "does not answer with TLS within 50ms"},
		{"only old TLS", func(c net.Conn) {
			_ = tls.Server(c, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11}).Handshake() //nolint:gosec // old on purpose
			_ = c.Close()
		}, "the broker refuses TLS with this press, it says"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := secureSettings(listen(t, tc.serve))
			s.CA, s.Timeout = ca, 50*time.Millisecond
			p := start(t, s, newBox(1), nil)
			until(t, tc.want, func() bool { return strings.Contains(p.State().Reason, tc.want) })
		})
	}
}

func TestPlainToAPortWithTLS(t *testing.T) {
	now := time.Now()
	ours := newAuthority(t, "shop")
	cert, key := ours.issue(t, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour))
	p := start(t, settings(secureBroker(t, cert, key, nil)), newBox(1), nil)
	until(t, "a reason", func() bool { return p.State().Reason != "" })
	if got := p.State().Reason; !strings.Contains(got, "does it want ssl://") && !strings.Contains(got, "does not answer with MQTT") {
		t.Errorf("reason %q", got)
	}
}

func date(t time.Time) string { return t.UTC().Format(time.DateOnly) }
