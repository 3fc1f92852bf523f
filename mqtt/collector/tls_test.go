package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// certificates writes an authority, and a certificate and key of 127.0.0.1 and
// of the client collector, into a folder.
func certificates(t *testing.T, dir string) {
	t.Helper()
	var ca *x509.Certificate
	var caKey *ecdsa.PrivateKey
	for i, name := range []string{"ca", "broker", "collector"} {
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		c := &x509.Certificate{
			SerialNumber: big.NewInt(int64(i + 1)), Subject: pkix.Name{CommonName: name},
			NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
			KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
		}
		switch name {
		case "ca":
			c.IsCA, c.BasicConstraintsValid, c.KeyUsage, c.ExtKeyUsage = true, true, x509.KeyUsageCertSign, nil
			ca, caKey = c, key
		case "broker":
			c.IPAddresses = []net.IP{net.IPv4(127, 0, 0, 1)}
		}
		der, err := x509.CreateCertificate(rand.Reader, c, ca, &key.PublicKey, caKey)
		if err != nil {
			t.Fatal(err)
		}
		secret, err := x509.MarshalPKCS8PrivateKey(key)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range []struct {
			end, kind string
			der       []byte
		}{{".crt", "CERTIFICATE", der}, {".key", "PRIVATE KEY", secret}} {
			if err := os.WriteFile(filepath.Join(dir, name+f.end), pem.EncodeToMemory(&pem.Block{Type: f.kind, Bytes: f.der}), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// The broker as deploy/mosquitto has it: TLS, an account for each, one message
// in flight.
func TestWithTheSampleConfig(t *testing.T) {
	if _, err := exec.LookPath("mosquitto_passwd"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("mosquitto_passwd is not installed; it is needed where CI is set")
		}
		t.Skip("mosquitto_passwd is not installed")
	}
	for _, row := range []struct {
		name, more string // of the configuration
		alter      func(*collector)
		want       string // "": it collects
	}{
		{"with a password", "", nil, ""},
		{"with a certificate as well", "require_certificate true\n", func(*collector) {}, ""},
		{"without the certificate", "require_certificate true\n", func(c *collector) { c.cert, c.key = "", "" }, "broker:"},
		{"a wrong password", "", func(c *collector) { c.passwordFile = c.ca }, "not Authorized"},
		{"no such user", "", func(c *collector) { c.user = "somebody" }, "not Authorized"},
		{"a broker that is not certified", "", func(c *collector) { c.ca = "" }, "certificate"},
		{"a file that is not there", "", func(c *collector) { c.passwordFile = "none" }, "no such file"},
		{"a file without certificates", "", func(c *collector) { c.ca = c.passwordFile }, "no certificate in it"},
	} {
		t.Run(row.name, func(t *testing.T) {
			url, db := newDatabase(t)
			dir := t.TempDir()
			certificates(t, dir)
			passwords := filepath.Join(dir, "passwords")
			if err := os.WriteFile(passwords, []byte("north-bench:n-secret\ncollector:c-secret\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			if out, err := exec.Command("mosquitto_passwd", "-U", passwords).CombinedOutput(); err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			if err := os.WriteFile(filepath.Join(dir, "c-password"), []byte("c-secret\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			sample, err := os.ReadFile("../../deploy/mosquitto/mosquitto.conf")
			if err != nil {
				t.Fatal(err)
			}
			acl, err := filepath.Abs("../../deploy/mosquitto/presses.acl")
			if err != nil {
				t.Fatal(err)
			}
			config := strings.NewReplacer("/etc/mosquitto/certs/", dir+"/", "/etc/mosquitto/passwords", passwords, "/etc/mosquitto/presses.acl", acl,
				"/var/lib/mosquitto/", dir+"/", "max_queued_messages 100000\n", "").Replace(string(sample))
			_, port, _ := net.SplitHostPort(freePort(t))
			config = strings.Replace(config, "listener 8883", "listener "+port+" 127.0.0.1", 1)
			m := newMosquitto(t, config+row.more) // with a listener more, without TLS, for nobody
			c := collect(t, "", url, func(c *collector) {
				c.broker, c.user, c.passwordFile, c.ca = "ssl://127.0.0.1:"+port, "collector", filepath.Join(dir, "c-password"), filepath.Join(dir, "ca.crt")
				if row.more != "" {
					c.cert, c.key = filepath.Join(dir, "collector.crt"), filepath.Join(dir, "collector.key")
				}
				if row.alter != nil {
					row.alter(c)
				}
			})
			if row.want != "" {
				until(t, row.want, func() bool { return strings.Contains(c.logs.String(), row.want) })
				if strings.Contains(c.logs.String(), "msg=collecting") {
					t.Error("it collects all the same")
				}
				return
			}
			subscribed(t, c)
			north := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + m.addr).SetClientID("north").SetUsername("north-bench").SetPassword("n-secret"))
			if token := north.Connect(); token.Wait() && token.Error() != nil {
				t.Fatal(token.Error())
			}
			defer north.Disconnect(0)
			for seq := range 5 {
				north.Publish(base+"/event/stroke", 1, false, event("s1", "r1", seq+1, "stroke", noon, "")).Wait()
			}
			number(t, db, 5)
		})
	}
}
