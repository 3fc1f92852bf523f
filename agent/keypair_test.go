package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// authority signs certificates of the tests.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	made int64
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	plan := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "the shop's own authority"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(400 * 24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, plan, plan, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return &authority{cert: cert, key: key, made: 1}
}

// sign writes a certificate for localhost, good until then, and its key, and
// returns its number.
func (a *authority) sign(t *testing.T, cert, key string, until time.Time) int64 {
	t.Helper()
	a.made++
	own, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	plan := &x509.Certificate{
		SerialNumber: big.NewInt(a.made), DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: until.Add(-24 * time.Hour), NotAfter: until, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, plan, a.cert, own.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(own)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]*pem.Block{
		cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: private},
	} {
		if err := errors.Join(os.WriteFile(name+".new", pem.EncodeToMemory(block), 0o600), os.Rename(name+".new", name)); err != nil {
			t.Fatal(err)
		}
	}
	return a.made
}

// browser trusts the authority, and makes a new connection for each request.
func (a *authority) browser(settings *tls.Config) *http.Client {
	settings.RootCAs = x509.NewCertPool()
	settings.RootCAs.AddCert(a.cert)
	return &http.Client{Transport: &http.Transport{TLSClientConfig: settings, DisableKeepAlives: true, ForceAttemptHTTP2: true}}
}

// served serves a handler with this certificate until the test ends.
func served(t *testing.T, k *keyPair, h http.Handler) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- serveHTTP(ctx, tls.NewListener(l, k.config()), h) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return l.Addr().String()
}

// TestCertificateIsReplaced: a certificate that is put in the place of the old one
// is shown from the next connection on, and a broken one is not.
func TestCertificateIsReplaced(t *testing.T) {
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "page.pem"), filepath.Join(dir, "page.key")
	ca := newAuthority(t)
	k := &keyPair{cert: cert, key: key, now: time.Now}
	address := served(t, k, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { _, _ = io.WriteString(w, r.Proto) }))
	browser := ca.browser(&tls.Config{})
	shown := func() int64 {
		t.Helper()
		answer, err := browser.Get("https://" + address)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(answer.Body)
		if err = errors.Join(err, answer.Body.Close()); err != nil || string(body) != "HTTP/2.0" {
			t.Errorf("it answers by %q, %v", body, err)
		}
		return answer.TLS.PeerCertificates[0].SerialNumber.Int64()
	}
	tomorrow := time.Now().Add(24 * time.Hour)

	if _, err := browser.Get("https://" + address); err == nil {
		t.Error("without a certificate it answers")
	}
	if got := k.trouble(); !strings.Contains(got, cert) || !strings.Contains(got, "no such file") {
		t.Errorf("without a certificate the trouble is %q", got)
	}
	first := ca.sign(t, cert, key, tomorrow)
	if got := shown(); got != first || k.trouble() != "" {
		t.Errorf("certificate %d is shown, want %d; trouble %q", got, first, k.trouble())
	}
	second := ca.sign(t, cert, key, tomorrow)
	if got := shown(); got != second {
		t.Errorf("certificate %d is shown, want %d", got, second)
	}
	// The key of another: between two renames it is like this for a moment.
	ca.sign(t, filepath.Join(dir, "other.pem"), key, tomorrow)
	if got := shown(); got != second || !strings.Contains(k.trouble(), "private key does not match") {
		t.Errorf("certificate %d is shown, want %d; trouble %q", got, second, k.trouble())
	}
	if err := os.Remove(cert); err != nil {
		t.Fatal(err)
	}
	if got := shown(); got != second || !strings.Contains(k.trouble(), "no such file") {
		t.Errorf("certificate %d is shown, want %d; trouble %q", got, second, k.trouble())
	}
	third := ca.sign(t, cert, key, tomorrow)
	if got := shown(); got != third || k.trouble() != "" {
		t.Errorf("certificate %d is shown, want %d; trouble %q", got, third, k.trouble())
	}
}

// TestOldTLS: what is older than TLS 1.2 is not spoken.
func TestOldTLS(t *testing.T) {
	dir := t.TempDir()
	ca := newAuthority(t)
	k := &keyPair{cert: filepath.Join(dir, "page.pem"), key: filepath.Join(dir, "page.key"), now: time.Now}
	ca.sign(t, k.cert, k.key, time.Now().Add(time.Hour))
	address := served(t, k, http.NotFoundHandler())
	for version, want := range map[uint16]bool{tls.VersionTLS11: false, tls.VersionTLS12: true, tls.VersionTLS13: true} {
		answer, err := ca.browser(&tls.Config{MinVersion: tls.VersionTLS10, MaxVersion: version}).Get("https://" + address)
		if (err == nil) != want {
			t.Errorf("%s: %v, want an answer: %v", tls.VersionName(version), err, want)
		}
		if err == nil {
			_ = answer.Body.Close()
		}
	}
	answer, err := http.Get("http://" + address)
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	if answer.StatusCode != http.StatusBadRequest {
		t.Errorf("without TLS it answers %s", answer.Status)
	}
}

// TestCertificateRunsOut: it is told, and that it is not good yet, as of a clock
// that was not set.
func TestCertificateRunsOut(t *testing.T) {
	dir := t.TempDir()
	until := time.Date(2026, 3, 2, 6, 40, 0, 0, time.Local)
	at := until
	k := &keyPair{cert: filepath.Join(dir, "page.pem"), key: filepath.Join(dir, "page.key"), now: func() time.Time { return at }}
	newAuthority(t).sign(t, k.cert, k.key, until)
	for _, c := range []struct {
		at   time.Time
		want string
	}{
		{until, ""},
		{until.Add(time.Second), "the page's certificate " + k.cert + " ran out on 2 March 2026 06:40, so browsers do not trust it: put a new one in its place, the page takes it up by itself"},
		{until.Add(-24 * time.Hour), ""},
		{until.Add(-25 * time.Hour), "the page's certificate " + k.cert + " is good from 1 March 2026 06:40 on, and the clock here shows 1 March 2026 05:40: set the clock, or look at the certificate"},
	} {
		if at = c.at; k.trouble() != c.want {
			t.Errorf("at %s the trouble is %q, want %q", c.at, k.trouble(), c.want)
		}
	}
}
