package mqtt

import (
	"crypto/tls"
	"crypto/x509"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"benchtally/mqtt/broker"
)

// strict is a config of a broker that wants certificates.
func strict(dir string) string {
	return "listener 8883\ncafile " + filepath.Join(dir, "ca.pem") + "\ncertfile " + filepath.Join(dir, "broker.pem") + "\nkeyfile " + filepath.Join(dir, "broker.key") +
		"\ncrlfile " + filepath.Join(dir, "revoked.crl") + "\nrequire_certificate true\nuse_identity_as_username true\nallow_anonymous false\n"
}

// cases are certificates of a press, and what the press says when a broker does
// not take them.
type refusedCase struct {
	name      string
	cert, key []byte // nil: none
	want      string
}

// refusedCases are certificates that a broker that trusts ours refuses, and the
// list by which the last one is revoked.
func refusedCases(t *testing.T, ours *authority, certFile string) (cases []refusedCase, list []byte) {
	t.Helper()
	now := time.Now()
	day := 24 * time.Hour
	add := func(name string, by *authority, from, to time.Time, want string) {
		c := refusedCase{name: name, want: want}
		if by != nil {
			c.cert, c.key = by.issue(t, "north-bench", from, to)
		}
		cases = append(cases, c)
	}
	add("none", nil, now, now, "the broker wants a certificate of this press: name it and its key (keys cert and key)")
	add("of another authority", newAuthority(t, "other"), now.Add(-day), now.Add(day),
		"the broker refuses this press's certificate in "+certFile+", it does not know the authority that signed it")
	add("expired", ours, now.Add(-3*day), now.Add(-2*day), "the broker refuses this press's certificate, it expired on "+date(now.Add(-2*day))+": put a new one into "+certFile)
	add("not yet valid", ours, now.Add(2*day), now.Add(3*day), "the broker refuses this press's certificate, it is not valid before "+date(now.Add(2*day))+": is this machine's clock right?")
	add("revoked", ours, now.Add(-day), now.Add(day), "the broker refuses this press's certificate, it was revoked: ask who runs the broker, and put a new one into "+certFile)
	return cases, ours.list(t, now.Add(-day), now.Add(day), listed(ours.made, now.Add(-time.Hour)))
}

// TestMosquittoRefusesThePress: whatever is wrong with the press's certificate, a
// real broker says so in an alert and resets the connection behind it. The reason
// is the same each time, whether the alert or the reset is first.
func TestMosquittoRefusesThePress(t *testing.T) {
	now := time.Now()
	dir := t.TempDir()
	ours := newAuthority(t, "shop")
	certFile := filepath.Join(dir, "press.pem")
	cases, list := refusedCases(t, ours, certFile)
	brokerCert, brokerKey := ours.issue(t, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour))
	ca := put(t, dir, "ca.pem", ours.pem)
	put(t, dir, "broker.pem", brokerCert)
	put(t, dir, "broker.key", brokerKey)
	put(t, dir, "revoked.crl", asPEM(list))
	m := newMosquitto(t, strict(dir)+"log_type none\n")
	const times = 6
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			s := secureSettings(m.addr)
			s.CA = ca
			if tc.cert != nil {
				s.Cert, s.Key = put(t, dir, "press.pem", tc.cert), put(t, dir, "press.key", tc.key)
			}
			for range times {
				b := newBox(1)
				p := start(t, s, b, nil)
				until(t, "a reason", func() bool { return p.State().Reason != "" })
				if got := p.State().Reason; got != tc.want {
					t.Errorf("reason %q\nwant   %q", got, tc.want)
				}
				p.stop()
				if b.cursor() != 0 {
					t.Errorf("sent up to %d", b.cursor())
				}
			}
			// When the reset is here before CONNECT, which cannot be seen without reading.
			way, err := broker.New(s.Access)
			if err != nil {
				t.Fatal(err)
			}
			w, end := way.Dial(t.Context())
			if end == nil {
				time.Sleep(50 * time.Millisecond)
				_, end = way.Connect(t.Context(), w, broker.Hello{ClientID: "late", Keepalive: time.Minute}, "")
			}
			if end == nil || end.Reason != tc.want || end.Class != broker.Refused {
				t.Errorf("CONNECT behind the reset: %+v, want %q", end, tc.want)
			}
		})
	}
	t.Run("good", func(t *testing.T) {
		cert, key := ours.issue(t, "north-bench", now.Add(-time.Hour), now.Add(time.Hour))
		s := secureSettings(m.addr)
		s.CA, s.Cert, s.Key = ca, put(t, dir, "press.pem", cert), put(t, dir, "press.key", key)
		drain(t, start(t, s, newBox(1), nil))
	})
}

// TestBrokerRefusesThePress: the same with a broker of Go's library, under either
// version of TLS; it knows no list.
func TestBrokerRefusesThePress(t *testing.T) {
	now := time.Now()
	for _, version := range []uint16{tls.VersionTLS12, tls.VersionTLS13} {
		t.Run(tls.VersionName(version), func(t *testing.T) {
			dir := t.TempDir()
			ours := newAuthority(t, "shop")
			cases, _ := refusedCases(t, ours, filepath.Join(dir, "press.pem"))
			cert, key := ours.issue(t, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour))
			pair, err := tls.X509KeyPair(cert, key)
			if err != nil {
				t.Fatal(err)
			}
			clients := x509.NewCertPool()
			clients.AddCert(ours.cert)
			addr := mochiBroker(t, &tls.Config{
				Certificates: []tls.Certificate{pair}, MinVersion: version, MaxVersion: version,
				ClientAuth: tls.RequireAndVerifyClientCert, ClientCAs: clients,
			}, nil)
			for _, tc := range cases[:len(cases)-1] {
				t.Run(tc.name, func(t *testing.T) {
					s := secureSettings(addr)
					s.CA = put(t, dir, "ca.pem", ours.pem)
					if tc.cert != nil {
						s.Cert, s.Key = put(t, dir, "press.pem", tc.cert), put(t, dir, "press.key", tc.key)
					}
					p := start(t, s, newBox(1), nil)
					until(t, "a reason", func() bool { return p.State().Reason != "" })
					if got := p.State().Reason; got != tc.want {
						t.Errorf("reason %q\nwant   %q", got, tc.want)
					}
				})
			}
		})
	}
}

// TestMosquittoTakesARenewedList: on SIGHUP this broker reads the list anew for
// new connections, and leaves those that stand. The notes on revoking a press rest
// on it.
func TestMosquittoTakesARenewedList(t *testing.T) {
	now := time.Now()
	dir := t.TempDir()
	ours := newAuthority(t, "shop")
	brokerCert, brokerKey := ours.issue(t, "127.0.0.1", now.Add(-time.Hour), now.Add(time.Hour))
	ca := put(t, dir, "ca.pem", ours.pem)
	put(t, dir, "broker.pem", brokerCert)
	put(t, dir, "broker.key", brokerKey)
	put(t, dir, "revoked.crl", asPEM(ours.list(t, now.Add(-time.Hour), now.Add(time.Hour))))
	m := newMosquitto(t, strict(dir)+"log_type none\n")
	cert, key := ours.issue(t, "north-bench", now.Add(-time.Hour), now.Add(time.Hour))
	s := secureSettings(m.addr)
	s.CA, s.Cert, s.Key = ca, put(t, dir, "press.pem", cert), put(t, dir, "press.key", key)
	p := start(t, s, newBox(1), nil)
	drain(t, p)
	put(t, dir, "revoked.crl", asPEM(ours.list(t, now.Add(-time.Minute), now.Add(time.Hour), listed(ours.made, now))))
	if err := m.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	until(t, "a new connection is refused", func() bool {
		thief := s
		thief.ClientID += "-thief"
		q := start(t, thief, newBox(0), nil)
		defer q.stop()
		until(t, "an answer", func() bool { return q.State().Connected || q.State().Reason != "" })
		return strings.Contains(q.State().Reason, "it was revoked")
	})
	if !p.State().Connected {
		t.Error("the standing connection has ended: then the notes need not name a restart")
	}
	m.kill()
	m.start()
	until(t, "the revoked press is refused", func() bool { return strings.Contains(p.State().Reason, "it was revoked") })
}
