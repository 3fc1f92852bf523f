package mqtt

import (
	"bytes"
	"context"
	"crypto/pbkdf2"
	"crypto/sha512"
	"encoding/base64"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"os/user"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// mosquitto is a broker of its own process, on a loopback port.
type mosquitto struct {
	t      testing.TB
	binary string
	within []string // command that runs it elsewhere; nil here
	dir    string
	addr   string
	cmd    *exec.Cmd
	log    bytes.Buffer
}

// newMosquitto starts the broker with a config to which the listener is added.
// Without the broker on this machine the test is skipped, or fails where the
// variable CI is set.
func newMosquitto(t testing.TB, config string) *mosquitto {
	t.Helper()
	m := &mosquitto{t: t, binary: mosquittoBinary(t), dir: t.TempDir(), addr: freePort(t)}
	if _, port, _ := net.SplitHostPort(m.addr); !strings.Contains(config, "listener ") {
		config += "\nlistener " + port + " 127.0.0.1\n"
	} else {
		config = strings.ReplaceAll(config, "listener 8883", "listener "+port+" 127.0.0.1")
	}
	m.begin(config)
	return m
}

// begin starts the broker with that config until the test ends.
func (m *mosquitto) begin(config string) {
	m.t.Helper()
	if me, err := user.Current(); err == nil && me.Uid == "0" {
		config += "\nuser root\n" // it would leave the test's folder out of its reach
	}
	put(m.t, m.dir, "mosquitto.conf", []byte(config))
	m.start()
	m.t.Cleanup(m.kill)
}

// mosquittoBinary is the path of the broker.
func mosquittoBinary(t testing.TB) string {
	t.Helper()
	for _, candidate := range []string{"mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"} {
		if path, err := exec.LookPath(candidate); err == nil {
			return path
		}
	}
	if os.Getenv("CI") != "" {
		t.Fatal("mosquitto is not installed; it is needed where CI is set")
	}
	t.Skip("mosquitto is not installed")
	return ""
}

// ports counts those given away, from anywhere.
var ports atomic.Uint32

func init() { ports.Store(rand.Uint32N(12000)) }

// freePort is a loopback address where nothing listens just now. It lies below
// the ports that the kernel gives to who asks for any (32768 and up, Linux), so
// that it stays free while its broker is down, and is given away once.
func freePort(t testing.TB) string {
	t.Helper()
	for range 100 {
		l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", 20000+ports.Add(1)%12000))
		if err == nil {
			defer l.Close() //nolint:errcheck // test
			return l.Addr().String()
		}
	}
	t.Fatal("no port is free")
	return ""
}

// start starts the process and waits until it listens.
func (m *mosquitto) start() {
	m.t.Helper()
	command := append(slices.Clone(m.within), m.binary, "-c", filepath.Join(m.dir, "mosquitto.conf"))
	m.cmd = exec.Command(command[0], command[1:]...)
	m.cmd.Stdout, m.cmd.Stderr = &m.log, &m.log
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		conn, err := net.Dial("tcp", m.addr)
		if err == nil {
			_ = conn.Close()
			return
		}
		if time.Now().After(end) {
			m.kill()
			m.t.Fatalf("mosquitto does not listen: %v\n%s", err, m.log.String())
		}
	}
}

// config is the file that the process reads at its start.
func (m *mosquitto) config() []byte {
	m.t.Helper()
	b, err := os.ReadFile(filepath.Join(m.dir, "mosquitto.conf"))
	if err != nil {
		m.t.Fatal(err)
	}
	return b
}

// kill ends the process as a power cut would.
func (m *mosquitto) kill() {
	if m.cmd != nil {
		_ = m.cmd.Process.Kill()
		_ = m.cmd.Wait()
		m.cmd = nil
	}
}

// eager hands everything on at once and keeps nothing: what a killed broker has
// acknowledged is nearly always already with its subscriber.
const eager = "allow_anonymous true\npersistence false\nmax_inflight_messages 0\nmax_queued_messages 0\nset_tcp_nodelay true\nlog_type none\n"

func TestMosquittoKilledDuringADrain(t *testing.T) {
	const events, kills = 3000, 3
	for _, window := range []int{1, 16} {
		t.Run(fmt.Sprintf("window %d", window), func(t *testing.T) {
			m := newMosquitto(t, eager)
			between := newTap(t, m.addr)
			sub := subscribe(t, m.addr, "", "", testBase+"/event/#")
			b := newBox(events)
			s := settings(between.addr)
			s.Window = window
			between.checkSent(t, b)
			p := start(t, s, b, nil)
			for k := 1; k <= kills; k++ {
				until(t, "the next part of the drain", func() bool { return len(sub.messages(nil)) >= k*events/(kills+1) })
				between.shut(true) // the press stays out until the subscriber is back
				m.kill()
				m.start()
				sub.awaitSession(t, k+1)
				between.shut(false)
			}
			drain(t, p)
			until(t, "the last event", func() bool { return len(sub.messages(nil)) > 0 && sub.latest().seq() == events })
			missing, repeats := gaps(t, sub.messages(nil), events)
			if repeats > kills*window {
				t.Errorf("%d repeats, want at most %d for each kill", repeats, window)
			}
			// A broker may die between its acknowledgement and the subscriber:
			// then the event was not ours to lose, and can be sent again.
			for _, seq := range missing {
				if !between.acknowledged(seq) {
					t.Errorf("event %d is lost, and the broker has never acknowledged it", seq)
				}
			}
			b.again(missing)
			p.Wake()
			until(t, "what the broker has lost", func() bool {
				seen := map[uint64]bool{}
				for _, m := range sub.messages(nil) {
					seen[m.seq()] = true
				}
				return len(seen) == events
			})
			if got := b.cursor(); got != events {
				t.Errorf("sent up to %d, want %d", got, events)
			}
			if got := p.State().Session; got < kills+1 {
				t.Errorf("session %d after %d kills", got, kills)
			}
		})
	}
}

func TestMosquittoPublishesTheWill(t *testing.T) {
	m := newMosquitto(t, eager)
	between := newTap(t, m.addr)
	sub := subscribe(t, m.addr, "", "", testBase+"/status")
	p := start(t, settings(between.addr), newBox(1), nil)
	drain(t, p)
	between.cut()
	until(t, "the will and the next session", func() bool { return len(sub.messages(nil)) >= 3 })
	p.stop()
	until(t, "the farewell", func() bool { return len(sub.messages(nil)) >= 4 })
	for i, want := range []struct {
		online  bool
		session uint64
		reason  string
	}{{true, 1, ""}, {false, 1, "connection lost"}, {true, 2, ""}, {false, 2, "stopped"}} {
		s := statusOf(t, sub.messages(nil)[i])
		if s.Online != want.online || s.Session != want.session || s.Reason != want.reason {
			t.Errorf("status %d: %+v, want %+v", i, s, want)
		}
	}
	late := subscribe(t, m.addr, "", "", testBase+"/status")
	until(t, "the retained status", func() bool { return len(late.messages(nil)) == 1 })
	if got := late.messages(nil)[0]; !got.retained || statusOf(t, got).Reason != "stopped" {
		t.Errorf("retained %+v, want the farewell", got)
	}
}

// An event larger than this broker takes: it closes the connection each time.
func TestMosquittoThatTakesNoLargeEvent(t *testing.T) {
	m := newMosquitto(t, eager+"max_packet_size 600\n")
	sub := subscribe(t, m.addr, "", "", testBase+"/event/#")
	b := newBox(6)
	large := b.events[3].Record
	b.events[3].Record = append(large[:len(large)-1:len(large)-1], `,"raw":"`+strings.Repeat("x", 600)+`"}`...)
	p := start(t, settings(m.addr), b, nil)
	until(t, "the event that is stuck", func() bool { return p.State().Stuck == 4 })
	if got := p.State().Reason; !strings.HasPrefix(got, "the broker drops the connection each time at event 4 (") {
		t.Errorf("reason %q", got)
	}
	if got := b.cursor(); got != 3 {
		t.Errorf("sent up to %d, want 3", got)
	}
	put(t, m.dir, "mosquitto.conf", bytes.ReplaceAll(m.config(), []byte("max_packet_size 600"), []byte("max_packet_size 65536")))
	m.kill()
	m.start()
	sub.awaitSession(t, 2)
	drain(t, p)
	if got := p.State(); got.Stuck != 0 || got.Reason != "" {
		t.Errorf("state %+v", got)
	}
}

// The other limit of this broker is a trap, the sample config warns of it.
func TestMosquittoDropsWhatItAcknowledges(t *testing.T) {
	m := newMosquitto(t, eager+"message_size_limit 300\n")
	sub := subscribe(t, m.addr, "", "", testBase+"/#")
	b := newBox(2)
	p := start(t, settings(m.addr), b, nil)
	drain(t, p)
	p.stop()
	// This broker also ends the connection after each, so that two wills follow.
	until(t, "the second will", func() bool { return len(sub.messages(on(testBase+"/status"))) >= 4 })
	if got := len(sub.messages(message.isEvent)); got != 0 || b.cursor() != 2 {
		t.Errorf("%d events arrived, sent up to %d; want 0 and 2: then the caveat and the sample's comment can go", got, b.cursor())
	}
}

// TestRivals: two presses with one client id, as from a copied card, push each
// other out of a real broker (MQTT 3.1.1, section 3.1.4). Both say so.
func TestRivals(t *testing.T) {
	m := newMosquitto(t, eager)
	const want = "the broker ends each connection soon after it is made: is another client of it using the id north-bench-7f3a? " +
		"If this card is a copy of another press's, move its store aside and give this press its own name"
	one, two := start(t, settings(m.addr), newBox(1), nil), start(t, settings(m.addr), newBox(1), nil)
	for _, p := range []*running{one, two} {
		until(t, "the rival", func() bool { return p.State().Reason == want })
	}
	two.stop()
	until(t, "the one that stays", func() bool { return one.State().Connected })
}

// childBroker tells this test binary to be a press that publishes there until
// it is killed.
const childBroker = "BENCHTALLY_TEST_CHILD_BROKER"

func TestMain(m *testing.M) {
	if addr := os.Getenv(childBroker); addr != "" {
		p, err := New(settings(addr), newBox(1))
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
		defer stop()
		_ = p.Run(ctx)
		os.Exit(0)
	}
	// Tests that run side by side wait for brokers more than they compute.
	if runtime.GOMAXPROCS(0) < 4 {
		_ = flag.Set("test.parallel", "4") // cannot fail: it is defined, and a number
	}
	os.Exit(m.Run())
}

func TestMosquittoPublishesTheWillOfAKilledProcess(t *testing.T) {
	for _, tc := range []struct {
		name   string
		signal syscall.Signal
		want   string
	}{
		{"killed", syscall.SIGKILL, "connection lost"},
		{"stopped", syscall.SIGTERM, "stopped"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			m := newMosquitto(t, eager)
			sub := subscribe(t, m.addr, "", "", testBase+"/#")
			child := exec.Command(os.Args[0], "-test.run=^$")
			child.Env = append(os.Environ(), childBroker+"="+m.addr)
			if err := child.Start(); err != nil {
				t.Fatal(err)
			}
			until(t, "the event", func() bool { return len(sub.messages(message.isEvent)) == 1 })
			if err := child.Process.Signal(tc.signal); err != nil {
				t.Error(err)
			}
			_ = child.Wait()
			until(t, "offline", func() bool { return len(sub.messages(on(testBase+"/status"))) == 2 })
			if s := statusOf(t, sub.messages(on(testBase + "/status"))[1]); s.Online || s.Session != 1 || s.Reason != tc.want {
				t.Errorf("status %+v, want offline: %s", s, tc.want)
			}
		})
	}
}

// passwordLine is a line of mosquitto's password file: PBKDF2 with SHA-512, as
// mosquitto_passwd writes it.
func passwordLine(t *testing.T, user, password string) string {
	t.Helper()
	salt := []byte("twelve bytes")
	hash, err := pbkdf2.Key(sha512.New, password, salt, 101, 64)
	if err != nil {
		t.Fatal(err)
	}
	b64 := base64.StdEncoding.EncodeToString
	return fmt.Sprintf("%s:$7$101$%s$%s\n", user, b64(salt), b64(hash))
}
