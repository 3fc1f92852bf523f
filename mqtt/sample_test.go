package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"benchtally/mqtt/broker"
)

// sample is a broker by one of the sample files of deploy/mosquitto, and how each
// user of it is let in.
type sample struct {
	*mosquitto
	t         *testing.T
	dir       string // of the trial's certificates
	passwords bool   // users have them, and no certificates
}

const samples = "../deploy/mosquitto/"

// sampleUsers are the presses, the collector, the host of the sample's comment,
// and one whom the test adds, who sees all that the broker hands out.
var sampleUsers = []string{"north-bench", "south-bench", "collector", "plant-host", "observer"}

func sampleFile(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(samples + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// certificates runs the sample's script for certificates.
func certificates(t *testing.T, dir string, args ...string) {
	t.Helper()
	if _, err := exec.LookPath("openssl"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("openssl is not installed; it is needed where CI is set")
		}
		t.Skip("openssl is not installed")
	}
	out, err := exec.Command(samples+"trial-certificates.sh", append([]string{dir}, args...)...).CombinedOutput()
	if err != nil || len(out) > 0 {
		t.Fatalf("trial-certificates.sh %v: %v\n%s", args, err, out)
	}
}

// newSample starts a broker with a sample file, whose paths alone are changed.
func newSample(t *testing.T, name string) *sample {
	t.Helper()
	s := &sample{t: t, dir: filepath.Join(t.TempDir(), "trial"), passwords: name == "mosquitto.conf"}
	certificates(t, s.dir, "broker", "127.0.0.1")
	var users string
	for _, u := range sampleUsers {
		certificates(t, s.dir, "client", u)
		users += passwordLine(t, u, "secret of "+u)
	}
	acl := strings.NewReplacer("#user", "user", "#topic", "topic").Replace(sampleFile(t, "presses.acl")) + "\nuser observer\ntopic read #\ntopic read $SYS/#\n"
	text := sampleFile(t, name)
	in := func(name string) string { return filepath.Join(s.dir, name) }
	paths := map[string]string{
		"/etc/mosquitto/certs/ca.crt":     in("ca.crt"),
		"/etc/mosquitto/certs/broker.crt": in("broker.crt"),
		"/etc/mosquitto/certs/broker.key": in("broker.key"),
		"/etc/mosquitto/presses.acl":      put(t, s.dir, "presses.acl", []byte(acl)),
		"/var/lib/mosquitto/":             s.dir + "/",
	}
	if s.passwords {
		paths["/etc/mosquitto/passwords"] = put(t, s.dir, "passwords", []byte(users))
	} else {
		paths["/etc/mosquitto/certs/revoked.crl"] = in("revoked.crl")
	}
	for there, here := range paths {
		if !strings.Contains(text, there) {
			t.Fatalf("the sample does not name %s", there)
		}
		text = strings.ReplaceAll(text, there, here)
	}
	s.mosquitto = newMosquitto(t, text)
	return s
}

// access is how a user is let in. No list is asked of the presses with passwords.
func (s *sample) access(user string) broker.Access {
	in := func(name string) string { return filepath.Join(s.dir, name) }
	a := broker.Access{Address: "ssl://" + s.addr, CA: in("ca.crt"), CRL: in("revoked.crl")}
	if s.passwords {
		a.User, a.PasswordFile = user, put(s.t, s.dir, "password-"+user, []byte("secret of "+user))
	} else {
		a.Cert, a.Key = in(user+".crt"), in(user+".key")
	}
	return a
}

// subscriber subscribes as that user and returns once the broker has granted it.
func (s *sample) subscriber(user, filter string) *subscriber {
	s.t.Helper()
	a := s.access(user)
	config := &tls.Config{RootCAs: x509.NewCertPool(), MinVersion: tls.VersionTLS12}
	ca, err := os.ReadFile(a.CA)
	if err != nil || !config.RootCAs.AppendCertsFromPEM(ca) {
		s.t.Fatal(err)
	}
	var password string
	if s.passwords {
		password = "secret of " + user
	} else {
		pair, err := tls.LoadX509KeyPair(a.Cert, a.Key)
		if err != nil {
			s.t.Fatal(err)
		}
		config.Certificates, user = []tls.Certificate{pair}, ""
	}
	return subscribeBy(s.t, func() (net.Conn, error) { return tls.Dial("tcp", s.addr, config) }, user, password, filter)
}

// connect is a session of that user.
func (s *sample) connect(a broker.Access, id string, will broker.Message) *broker.Session {
	s.t.Helper()
	way, err := broker.New(a)
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(s.t.Context(), 10*time.Second)
	defer cancel()
	password, err := way.Password()
	if err != nil {
		s.t.Fatal(err)
	}
	w, end := way.Dial(ctx)
	if end == nil {
		var session *broker.Session
		if session, end = way.Connect(ctx, w, broker.Hello{ClientID: id, Keepalive: time.Minute, Will: will}, password); end == nil {
			return session
		}
	}
	s.t.Fatal(end.Reason)
	return nil
}

// writes publishes on topics as that user, and wants each acknowledged.
func (s *sample) writes(a broker.Access, id string, topics ...string) {
	s.t.Helper()
	session := s.connect(a, id, broker.Message{})
	defer session.Wait()
	defer session.Leave()
	for _, topic := range topics {
		token := session.Publish(broker.Message{Topic: topic, Payload: []byte(id), QoS: 1})
		select {
		case <-token.Done():
		case <-time.After(10 * time.Second):
			s.t.Fatalf("%s is not acknowledged", topic)
		}
		if err := token.Error(); err != nil {
			s.t.Errorf("%s: %v: this broker was expected to acknowledge what it drops", topic, err)
		}
	}
}

// TestSampleBrokers: under either sample file a press writes below its own base and
// as its own edge node, reads nothing but what is said to its node and the states
// of hosts, and a collector reads all and writes nothing.
func TestSampleBrokers(t *testing.T) {
	const shop, group = "riverside/hose-shop/", "spBv1.0/riverside-hose-shop/"
	for _, name := range []string{"mosquitto.conf", "mosquitto-certificates.conf"} {
		t.Run(name, func(t *testing.T) {
			s := newSample(t, name)
			observer, system := s.subscriber("observer", "#"), s.subscriber("observer", "$SYS/broker/hello")
			collector := s.subscriber("collector", "#")
			snoop, narrow, own := s.subscriber("north-bench", "#"), s.subscriber("north-bench", shop+"south-bench/#"), s.subscriber("north-bench", shop+"north-bench/#")

			may := []string{
				shop + "north-bench/event/stroke", shop + "north-bench/status",
				group + "NBIRTH/north-bench", group + "NDATA/north-bench", group + "NDEATH/north-bench",
				group + "DBIRTH/north-bench/press", group + "DDATA/north-bench/press", group + "DDEATH/north-bench/press",
			}
			s.writes(s.access("north-bench"), "north", may...)
			s.writes(s.access("north-bench"), "north",
				shop+"south-bench/event/stroke", shop+"south-bench/status", shop+"south-bench", shop+"north-bench2/status", "riverside/hose-shop", "riverside/other/north-bench/status",
				"$SYS/broker/hello",
				group+"NBIRTH/south-bench", group+"NDATA/OTHER", group+"NDEATH/south-bench", group+"DDATA/south-bench/press", group+"DDEATH/OTHER/press",
				group+"NCMD/north-bench", group+"NCMD/south-bench", group+"DCMD/north-bench/press", "spBv1.0/other/NBIRTH/north-bench", "spBv1.0/STATE/plant-host",
			)
			s.writes(s.access("collector"), "collector", shop+"north-bench/event/stroke", shop+"collector/status", shop+"collector", "collector", group+"NBIRTH/collector", group+"DDATA/collector/press", group+"NCMD/north-bench")
			told := []string{"spBv1.0/STATE/plant-host", group + "NCMD/north-bench"}
			s.writes(s.access("plant-host"), "host", append(told, group+"NCMD/south-bench", shop+"north-bench/status", group+"NDATA/north-bench")...)

			// A will is a message too: it is not published in another's name.
			thief := s.connect(s.access("north-bench"), "thief", broker.Message{Topic: shop + "south-bench/status", Payload: []byte("thief"), QoS: 1, Retain: true})
			if thief.Cut() == nil {
				t.Error("the connection has not ended")
			}
			thief.Wait()

			arrived := append(slices.Concat(may, told), group+"NCMD/south-bench")
			last := shop + "south-bench/event/last"
			s.writes(s.access("south-bench"), "south", last)
			arrived = append(arrived, last)
			topics := func(s *subscriber) []string {
				all := []string{}
				for _, m := range s.messages(nil) {
					all = append(all, m.topic)
				}
				return all
			}
			for name, who := range map[string]*subscriber{"the observer": observer, "the collector": collector} {
				until(t, "the last message", func() bool { return slices.Contains(topics(who), last) })
				if diff := cmp.Diff(topics(who), arrived); diff != "" {
					t.Errorf("%s: got -, want +\n%s", name, diff)
				}
			}
			until(t, "what is said to the press", func() bool { return len(snoop.messages(nil)) >= len(told) })
			if diff := cmp.Diff(topics(snoop), told); diff != "" {
				t.Errorf("a press reads: got -, want +\n%s", diff)
			}
			for _, who := range []*subscriber{narrow, own, system} {
				if got := topics(who); len(got) > 0 {
					t.Errorf("%v is read", got)
				}
			}
		})
	}
}

// TestSampleBrokersRefuse: who has no account, the wrong password or certificate,
// or speaks without TLS is not let in, and the press says why.
func TestSampleBrokersRefuse(t *testing.T) {
	brokers := map[string]*sample{}
	for _, name := range []string{"mosquitto.conf", "mosquitto-certificates.conf"} {
		brokers[name] = newSample(t, name)
	}
	for _, tc := range []struct {
		sample, name string
		change       func(*sample, *broker.Access)
		want         string
	}{
		{"mosquitto.conf", "nobody", func(_ *sample, a *broker.Access) { a.User, a.PasswordFile = "", "" }, "the broker does not let this press in"},
		{"mosquitto.conf", "wrong password", func(s *sample, a *broker.Access) {
			a.PasswordFile = put(s.t, s.dir, "wrong", []byte("secret of south-bench"))
		}, "the broker does not let this press in"},
		{"mosquitto.conf", "unknown user", func(_ *sample, a *broker.Access) { a.User = "west-bench" }, "the broker does not let this press in"},
		{"mosquitto.conf", "without TLS", func(s *sample, a *broker.Access) { a.Address, a.CA, a.CRL = "tcp://"+s.addr, "", "" }, "does it want ssl://"},
		{"mosquitto-certificates.conf", "nobody", func(_ *sample, a *broker.Access) { a.Cert, a.Key = "", "" }, "the broker wants a certificate of this press"},
		{"mosquitto-certificates.conf", "a password alone", func(s *sample, a *broker.Access) {
			a.Cert, a.Key, a.User, a.PasswordFile = "", "", "north-bench", put(s.t, s.dir, "password", []byte("secret of north-bench"))
		}, "the broker wants a certificate of this press"},
		{"mosquitto-certificates.conf", "another authority", func(s *sample, a *broker.Access) {
			other := filepath.Join(s.t.TempDir(), "other")
			certificates(s.t, other, "client", "north-bench")
			a.Cert, a.Key = filepath.Join(other, "north-bench.crt"), filepath.Join(other, "north-bench.key")
		}, "it does not know the authority that signed it"},
		{"mosquitto-certificates.conf", "without TLS", func(s *sample, a *broker.Access) {
			a.Address, a.CA, a.CRL, a.Cert, a.Key = "tcp://"+s.addr, "", "", "", ""
		}, "does it want ssl://"},
	} {
		t.Run(tc.sample+" "+tc.name, func(t *testing.T) {
			s := brokers[tc.sample]
			settings := settings(s.addr)
			settings.Access = s.access("north-bench")
			tc.change(s, &settings.Access)
			b := newBox(1)
			p := start(t, settings, b, nil)
			until(t, "a reason", func() bool { return p.State().Reason != "" || p.State().Connected })
			if got := p.State(); got.Connected || !strings.Contains(got.Reason, tc.want) || b.cursor() != 0 {
				t.Errorf("state %+v, sent up to %d; want not connected, %s", got, b.cursor(), tc.want)
			}
		})
	}
}

// TestSampleTakesAPressOut: the steps that the notes name for a press that is sold
// or stolen.
func TestSampleTakesAPressOut(t *testing.T) {
	t.Run("certificate", func(t *testing.T) {
		s := newSample(t, "mosquitto-certificates.conf")
		settings := settings(s.addr)
		settings.Access = s.access("south-bench")
		p := start(t, settings, newBox(1), nil)
		drain(t, p)
		certificates(t, s.dir, "revoke", "south-bench")
		s.kill()
		s.start()
		until(t, "it is refused", func() bool { return strings.Contains(p.State().Reason, "it was revoked") })
		other := settings
		other.Access, other.ClientID = s.access("north-bench"), "north-bench-1"
		drain(t, start(t, other, newBox(1), nil))
	})
	t.Run("password", func(t *testing.T) {
		s := newSample(t, "mosquitto.conf")
		settings := settings(s.addr)
		settings.Access = s.access("south-bench")
		p := start(t, settings, newBox(1), nil)
		drain(t, p)
		users, err := os.ReadFile(filepath.Join(s.dir, "passwords"))
		if err != nil {
			t.Fatal(err)
		}
		put(t, s.dir, "passwords", regexp.MustCompile(`(?m)^south-bench:.*\n`).ReplaceAll(users, nil))
		if err := s.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		until(t, "it is refused", func() bool { return strings.Contains(p.State().Reason, "does not let this press in") })
	})
}

// TestSamplesSayTheSame: the two files differ in who is let in, and in nothing
// else.
func TestSamplesSayTheSame(t *testing.T) {
	settings := func(name string) (all []string) {
		for line := range strings.Lines(sampleFile(t, name)) {
			if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
				all = append(all, line)
			}
		}
		return all
	}
	door := []string{"password_file /etc/mosquitto/passwords", "require_certificate true", "use_identity_as_username true", "crlfile /etc/mosquitto/certs/revoked.crl"}
	without := func(name string) []string {
		return slices.DeleteFunc(settings(name), func(line string) bool { return slices.Contains(door, line) })
	}
	if diff := cmp.Diff(without("mosquitto.conf"), without("mosquitto-certificates.conf")); diff != "" {
		t.Errorf("passwords -, certificates +\n%s", diff)
	}
}
