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
	"fmt"
	"html"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"benchtally/mqtt/broker"
)

func TestCertificatesThatEndSoon(t *testing.T) {
	const day = 24 * time.Hour
	now := time.Date(2026, 3, 2, 6, 40, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		end  broker.End
		want string
		days int
	}{
		{"without TLS", broker.End{}, "", 0},
		{"in a year", broker.End{Time: now.Add(365 * day), Whose: broker.OfPress}, "", 365},
		{"just not soon", broker.End{Time: now.Add(30*day + time.Second), Whose: broker.OfPress}, "", 31},
		{"soon", broker.End{Time: now.Add(30 * day), Whose: broker.OfPress}, "this press's certificate for the broker is good until 2026-04-01: put a new one in its place, it is taken up by itself", 30},
		{"the broker's", broker.End{Time: now.Add(36 * time.Hour), Whose: broker.OfBroker}, "the broker's certificate is good until 2026-03-03: tell who runs the broker", 2},
		{"its authority's, today", broker.End{Time: now.Add(time.Second), Whose: broker.OfAuthority},
			"the certificate of the broker's authority is good until 2026-03-02: tell who runs the broker, and put the new one in its place here", 1},
		{"since an hour", broker.End{Time: now.Add(-time.Hour), Whose: broker.OfBroker}, "the broker's certificate is good until 2026-03-02: tell who runs the broker", -1},
		{"since two days", broker.End{Time: now.Add(-2 * day), Whose: broker.OfBroker}, "the broker's certificate is good until 2026-02-28: tell who runs the broker", -3},
	} {
		if got := endingText(c.end, now); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
		if got := daysLeft(c.end, now); got != c.days {
			t.Errorf("%s: %d days, want %d", c.name, got, c.days)
		}
	}
}

// issue writes a certificate for a machine or a press of that name, and its key,
// and returns its number.
func (a *authority) issue(t *testing.T, cert, key, name string, from, until time.Time) int64 {
	t.Helper()
	a.made++
	own, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	plan := &x509.Certificate{
		SerialNumber: big.NewInt(a.made), Subject: pkix.Name{CommonName: name}, NotBefore: from, NotAfter: until, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	if ip := net.ParseIP(name); ip != nil {
		plan.IPAddresses = []net.IP{ip}
	} else {
		plan.DNSNames = []string{name}
	}
	der, err := x509.CreateCertificate(rand.Reader, plan, a.cert, own.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(own)
	if err != nil {
		t.Fatal(err)
	}
	writePEM(t, cert, "CERTIFICATE", der)
	writePEM(t, key, "PRIVATE KEY", private)
	return a.made
}

// list writes the authority's list, with the certificates of these numbers as
// revoked.
func (a *authority) list(t *testing.T, name string, revoked ...int64) {
	t.Helper()
	plan := &x509.RevocationList{Number: big.NewInt(1), ThisUpdate: time.Now().Add(-time.Hour), NextUpdate: time.Now().Add(time.Hour)}
	for _, n := range revoked {
		plan.RevokedCertificateEntries = append(plan.RevokedCertificateEntries, x509.RevocationListEntry{SerialNumber: big.NewInt(n), RevocationTime: revokedOn})
	}
	der, err := x509.CreateRevocationList(rand.Reader, plan, a.cert, a.key)
	if err != nil {
		t.Fatal(err)
	}
	writePEM(t, name, "X509 CRL", der)
}

var revokedOn = time.Date(2026, 3, 2, 6, 40, 0, 0, time.UTC)

// writePEM puts a file in the place of another in one step.
func writePEM(t *testing.T, name, kind string, der []byte) {
	t.Helper()
	err := os.WriteFile(name+".new", pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600)
	if err = errors.Join(err, os.Rename(name+".new", name)); err != nil {
		t.Fatal(err)
	}
}

// secured is a press and its broker with certificates, and a way in for whoever
// collects.
type secured struct {
	t      *testing.T
	ca     *authority
	dir    string // of all certificates
	config string
	page   string
}

// newSecured is a press that is to reach the broker at address.
func newSecured(t *testing.T, ca *authority, dir, address string) *secured {
	t.Helper()
	s := &secured{t: t, ca: ca, dir: dir, page: freeAddress(t)}
	writePEM(t, s.file("ca.pem"), "CERTIFICATE", ca.cert.Raw)
	_, s.config = shop(t, fmt.Sprintf("[mqtt]\nbroker = %q\nca = %q\ncrl = %q\ncert = %q\nkey = %q\n[page]\nlisten = %q\n",
		"ssl://"+address, s.file("ca.pem"), s.file("revoked.crl"), s.file("press.pem"), s.file("press.key"), s.page))
	return s
}

func (s *secured) file(name string) string { return filepath.Join(s.dir, name) }

// shows waits until the page and status show a text.
func (s *secured) shows(text string) {
	s.t.Helper()
	var page, status string
	for end := time.Now().Add(15 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if answer, err := http.Get("http://" + s.page + "/"); err == nil {
			body, _ := io.ReadAll(answer.Body)
			_ = answer.Body.Close()
			page = html.UnescapeString(string(body))
		}
		if _, out, _ := command(s.t, "", "status", "--config", s.config); out != "" {
			status = out
		}
		if strings.Contains(page, text) && strings.Contains(status, text) {
			return
		}
		if time.Now().After(end) {
			s.t.Fatalf("waited in vain for %q; on the page: %v; in status:\n%s", text, strings.Contains(page, text), status)
		}
	}
}

// strict is what makes a real broker want certificates.
func strict(dir string) string {
	as := ""
	if me, err := user.Current(); err == nil {
		as = "user " + me.Username + "\n" // as another user it could not read the files
	}
	return as + "cafile " + filepath.Join(dir, "ca.pem") + "\ncertfile " + filepath.Join(dir, "broker.pem") + "\nkeyfile " + filepath.Join(dir, "broker.key") +
		"\ncrlfile " + filepath.Join(dir, "revoked.crl") + "\nrequire_certificate true\nuse_identity_as_username true\nallow_anonymous false\n"
}

// while runs the agent for as long as do takes, and returns its log.
func (s *secured) while(do func()) string {
	s.t.Helper()
	ctx, stop := context.WithCancel(s.t.Context())
	inputs, end := io.Pipe()
	var log strings.Builder
	done := make(chan int)
	go func() {
		done <- run(env{ctx, inputs, io.Discard, &log}, []string{"run", "--config", s.config, "--inputs", "-"})
	}()
	do()
	stop()
	_ = end.Close()
	if code := <-done; code != exitDone {
		s.t.Errorf("exit %d: %s", code, log.String())
	}
	return log.String()
}

// onceIn wants a sentence once in the log, however often it was tried again.
func onceIn(t *testing.T, log, text string) {
	t.Helper()
	if n := strings.Count(log, text); n != 1 {
		t.Errorf("the log tells %d times %q:\n%s", n, text, log)
	}
}

// TestRefusedByItsCertificate: what a real broker has against the press's
// certificate is on the page, in status, once in the log, and, once the press is
// let in, in the records that arrive.
func TestRefusedByItsCertificate(t *testing.T) {
	now := time.Now()
	const day = 24 * time.Hour
	date := func(d time.Duration) string { return now.Add(d).UTC().Format(time.DateOnly) }
	dir := t.TempDir()
	ca := newAuthority(t)
	in := func(name string) string { return filepath.Join(dir, name) }
	cert, key := in("press.pem"), in("press.key")
	ca.issue(t, in("broker.pem"), in("broker.key"), "127.0.0.1", now.Add(-day), now.Add(60*day))
	revoked := ca.issue(t, in("revoked.pem"), in("revoked.key"), "north-bench", now.Add(-day), now.Add(60*day))
	ca.list(t, in("revoked.crl"), revoked)
	writePEM(t, in("ca.pem"), "CERTIFICATE", ca.cert.Raw)
	address := mosquittoBy(t, strict(dir))
	s := newSecured(t, ca, dir, address)

	const refuses = "the broker refuses this press's certificate"
	for _, c := range []struct {
		name string
		make func()
		want string
	}{
		{"expired", func() { ca.issue(t, cert, key, "north-bench", now.Add(-3*day), now.Add(-2*day)) },
			refuses + ", it expired on " + date(-2*day) + ": put a new one into " + cert},
		{"not yet valid", func() { ca.issue(t, cert, key, "north-bench", now.Add(2*day), now.Add(3*day)) },
			refuses + ", it is not valid before " + date(2*day) + ": is this machine's clock right?"},
		{"another authority", func() { newAuthority(t).issue(t, cert, key, "north-bench", now.Add(-day), now.Add(day)) },
			refuses + " in " + cert + ", it does not know the authority that signed it"},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.make()
			onceIn(t, s.while(func() { s.shows(c.want) }), c.want)
		})
	}

	// Revoked for longer than a moment, which is a record.
	for from, to := range map[string]string{"revoked.pem": cert, "revoked.key": key} {
		if err := os.Rename(in(from), to); err != nil {
			t.Fatal(err)
		}
	}
	why := refuses + ", it was revoked: ask who runs the broker, and put a new one into " + cert
	onceIn(t, s.while(func() {
		s.shows(why)
		s.logs(why)
	}), why)

	// Let in, with a certificate that ends soon.
	ca.issue(t, cert, key, "north-bench", now.Add(-day), now.Add(10*day-time.Hour))
	soon := "this press's certificate for the broker is good until " + date(10*day-time.Hour)
	collected := s.collect(address)
	log := s.while(func() {
		s.shows(soon)
		collected("/event/fault", why)
		health := collected("/state/health", `"certificate_days":10,`)
		for _, want := range []string{`"broker":"ok"`, `"certificate":"` + soon} {
			if !strings.Contains(health, want) {
				t.Errorf("%s lacks %s", health, want)
			}
		}
		// A new one in its place is known before it is used.
		ca.issue(t, cert, key, "north-bench", now.Add(-day), now.Add(70*day))
		collected("/state/health", `"certificate_days":60,`) // those of the broker's
	})
	onceIn(t, log, soon)
	onceIn(t, log, "certificates are good for longer than a month again")
	private, err := os.ReadFile(key)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(log, strings.Split(string(private), "\n")[1]) {
		t.Error("the log holds the key")
	}
}

// logs waits until a record tells a text.
func (s *secured) logs(text string) {
	s.t.Helper()
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if _, out, _ := command(s.t, "", "log", "--config", s.config, "--json"); strings.Contains(out, text) {
			return
		}
		if time.Now().After(end) {
			s.t.Fatalf("no record of %q", text)
		}
	}
}

// collect subscribes to all of the press with a certificate of its own. What it
// returns waits for a message that holds a text.
func (s *secured) collect(address string) func(topic, text string) (payload string) {
	s.t.Helper()
	cert, key := s.file("collector.pem"), s.file("collector.key")
	s.ca.issue(s.t, cert, key, "collector", time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		s.t.Fatal(err)
	}
	trust := x509.NewCertPool()
	trust.AddCert(s.ca.cert)
	messages := make(chan paho.Message, 100)
	c := paho.NewClient(paho.NewClientOptions().AddBroker("ssl://" + address).SetClientID("collector").
		SetTLSConfig(&tls.Config{RootCAs: trust, Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}))
	if token := c.Connect(); token.Wait() && token.Error() != nil {
		s.t.Fatal(token.Error())
	}
	s.t.Cleanup(func() { c.Disconnect(100) })
	token := c.Subscribe("riverside/hose-shop/north-bench/#", 1, func(_ paho.Client, m paho.Message) { messages <- m })
	if token.Wait() && token.Error() != nil {
		s.t.Fatal(token.Error())
	}
	var seen []paho.Message
	return func(topic, text string) string {
		s.t.Helper()
		of := func(m paho.Message) bool {
			return strings.HasSuffix(m.Topic(), topic) && strings.Contains(string(m.Payload()), text)
		}
		if i := slices.IndexFunc(seen, of); i >= 0 {
			return string(seen[i].Payload())
		}
		for deadline := time.After(20 * time.Second); ; {
			select {
			case m := <-messages:
				seen = append(seen, m)
				if of(m) {
					return string(m.Payload())
				}
			case <-deadline:
				s.t.Fatalf("no %s with %q has come", topic, text)
			}
		}
	}
}

// TestBrokerThatIsNotTrusted: what the press has against the broker's certificate
// is on the page, in status and once in the log.
func TestBrokerThatIsNotTrusted(t *testing.T) {
	now := time.Now()
	const day = 24 * time.Hour
	date := func(d time.Duration) string { return now.Add(d).UTC().Format(time.DateOnly) }
	dir := t.TempDir()
	ca := newAuthority(t)
	in := func(name string) string { return filepath.Join(dir, name) }
	shown := &keyPair{cert: in("broker.pem"), key: in("broker.key"), now: time.Now}
	l, err := tls.Listen("tcp", "127.0.0.1:0", shown.config())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			_ = conn.(*tls.Conn).Handshake() // the press ends it
			_ = conn.Close()
		}
	}()
	s := newSecured(t, ca, dir, l.Addr().String())
	ca.issue(t, in("press.pem"), in("press.key"), "north-bench", now.Add(-day), now.Add(60*day))
	issue := func(by *authority, name string, from, to time.Duration) int64 {
		return by.issue(t, shown.cert, shown.key, name, now.Add(from), now.Add(to))
	}
	for _, c := range []struct {
		name string
		make func()
		want string
	}{
		{"another authority", func() { issue(newAuthority(t), "127.0.0.1", -day, day) }, "the broker's certificate is not from the authority in " + in("ca.pem")},
		{"expired", func() { issue(ca, "127.0.0.1", -3*day, -2*day) }, "the broker's certificate expired on " + date(-2*day) + " (or this machine's clock is wrong)"},
		{"not yet valid", func() { issue(ca, "127.0.0.1", 2*day, 3*day) }, "the broker's certificate is not valid before " + date(2*day) + ": is this machine's clock right?"},
		{"another name", func() { issue(ca, "broker.example", -day, day) }, "the broker's certificate is not for the name 127.0.0.1"},
		{"revoked", func() { ca.list(t, in("revoked.crl"), issue(ca, "127.0.0.1", -day, day)) },
			"the broker's certificate was revoked on 2026-03-02: it needs a new one, do not trust this broker until then"},
		{"list of another authority", func() {
			issue(ca, "127.0.0.1", -day, day)
			other := newAuthority(t)
			other.cert.RawSubject, other.cert.Subject = nil, pkix.Name{CommonName: "another"}
			other.list(t, in("revoked.crl"))
		}, "the list of revoked certificates in " + in("revoked.crl") + " is not by the authority of the broker's certificate (CN=the shop's own authority): put that authority's list there"},
	} {
		t.Run(c.name, func(t *testing.T) {
			ca.list(t, in("revoked.crl"))
			c.make()
			onceIn(t, s.while(func() { s.shows(c.want) }), c.want)
		})
	}
}

// TestPasswordIsNowhere: the password is in nothing that the program says, to
// whomever, whether it is right or wrong.
func TestPasswordIsNowhere(t *testing.T) {
	const password = "q7-Kestrel-unlikely-41"
	dir := t.TempDir()
	passwords := filepath.Join(dir, "passwords")
	if out, err := exec.Command("mosquitto_passwd", "-b", "-c", passwords, "north-bench", password).CombinedOutput(); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("mosquitto_passwd, which comes with mosquitto: %v, %s", err, out)
		}
		t.Skipf("mosquitto_passwd is missing: %v", err)
	}
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	address := mosquittoBy(t, "user "+me.Username+"\npassword_file "+passwords+"\nallow_anonymous false\n") // as another user it could not read the file
	page := freeAddress(t)
	file := filepath.Join(dir, "password")
	write(t, file, "wrong-"+password+"\n")
	_, config := shop(t, fmt.Sprintf("[mqtt]\nbroker = %q\nuser = \"north-bench\"\npassword_file = %q\n[page]\nlisten = %q\n", "tcp://"+address, file, page))
	s := &secured{t: t, config: config, page: page}
	var said strings.Builder
	hear := func(args ...string) {
		_, out, errs := command(t, "", args...)
		said.WriteString(out + errs)
	}
	hear("check", config)
	a := startAgent(t, config)
	s.shows("the broker does not let this press in: check user, password and certificate, there and here")
	hear("status", "--config", config, "--json")
	write(t, file, password+"\n")
	var retained strings.Builder
	messages := make(chan paho.Message, 100)
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("collector").SetUsername("north-bench").SetPassword(password))
	if token := c.Connect(); token.Wait() && token.Error() != nil {
		t.Fatal(token.Error())
	}
	defer c.Disconnect(100)
	c.Subscribe("#", 1, func(_ paho.Client, m paho.Message) { messages <- m })
	for deadline := time.After(30 * time.Second); !strings.Contains(retained.String(), "/info") || !strings.Contains(retained.String(), "/state/health"); {
		select {
		case m := <-messages:
			retained.WriteString(m.Topic() + " " + string(m.Payload()) + "\n")
		case <-deadline:
			t.Fatalf("the press is not let in: %s", retained.String())
		}
	}
	s.shows("connected to tcp://" + address)
	hear("status", "--config", config)
	hear("log", "--config", config, "--json")
	answer, err := http.Get("http://" + page + "/")
	if err != nil {
		t.Fatal(err)
	}
	_, _ = io.Copy(&said, answer.Body)
	_ = answer.Body.Close()
	a.end()
	for where, text := range map[string]string{"the log": a.errs.String(), "the topics": retained.String(), "the commands and the page": said.String()} {
		if text == "" || strings.Contains(text, "Kestrel") {
			t.Errorf("%s: the password is in %d bytes", where, len(text))
		}
	}
}

// TestSecretsOfTheServiceManager: a password that the service manager hands over
// lets the press in. Where it is not handed over run and forget say what the unit
// needs, and check takes it for no fault.
func TestSecretsOfTheServiceManager(t *testing.T) {
	address := mosquitto(t)
	_, config := shop(t, fmt.Sprintf("[mqtt]\nbroker = %q\nuser = \"north-bench\"\npassword_file = \"$CREDENTIALS_DIRECTORY/mqtt-password\"\n", "tcp://"+address))
	const want = "[mqtt] password_file: systemd hands this file to the service alone, here it is not: the service's unit needs LoadCredential=mqtt-password:FILE\n"
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	for _, c := range []struct {
		args []string
		code int
	}{
		{[]string{"check", config}, exitDone},
		{[]string{"run", "--config", config, "--inputs", "-"}, exitUsage},
		{[]string{"forget", "--config", config}, exitUsage},
	} {
		if code, _, errs := command(t, "", c.args...); code != c.code || !strings.Contains(errs, want) {
			t.Errorf("%v: exit %d, want %d: %s", c.args, code, c.code, errs)
		}
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, "mqtt-password"), "secret")
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	a := startAgent(t, config)
	a.say(`{"do":"load","cage":"C-21"}`)
	a.end() // waits until the record is acknowledged
	if !strings.Contains(a.errs.String(), "broker connected") {
		t.Errorf("the log: %s", a.errs.String())
	}
	// Asked from a shell, without the variable, the store answers.
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	if code, out, errs := command(t, "", "status", "--config", config); code != exitDone || !strings.Contains(out, "1 kept, 0 not yet sent") {
		t.Errorf("status: exit %d, %s%s", code, out, errs)
	}
}
