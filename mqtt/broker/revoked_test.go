package broker

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"math/big"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TestListIsReadAnewOnlyWhenItChanged: a long list costs a small machine time, at
// each attempt to connect.
func TestListIsReadAnewOnlyWhenItChanged(t *testing.T) {
	file := filepath.Join(t.TempDir(), "crl.pem")
	put := func(number int64) {
		t.Helper()
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		issuer := &x509.Certificate{Subject: pkix.Name{CommonName: "shop"}, KeyUsage: x509.KeyUsageCRLSign, SubjectKeyId: []byte{1}}
		der, err := x509.CreateRevocationList(rand.Reader, &x509.RevocationList{
			Number: big.NewInt(number), ThisUpdate: time.Now(), NextUpdate: time.Now().Add(time.Hour),
		}, issuer, key)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, der, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put(1)
	first, err := (*revocations)(nil).renewed(file)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := first.renewed(file); err != nil || again != first {
		t.Errorf("a list that has not changed: %v, %v; want the same one", again, err)
	}
	put(2)
	other, err := first.renewed(file)
	if err != nil || other == first || other.lists[0].Number.Int64() != 2 {
		t.Errorf("a list that has changed: %+v, %v; want the new one", other, err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if gone, err := other.renewed(file); err == nil {
		t.Errorf("a list that is gone: %+v", gone)
	}
}
