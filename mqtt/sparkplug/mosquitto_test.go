package sparkplug

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"benchtally/agent/record"
)

// newMosquitto starts a broker of its own process and gives its address. Without
// the broker on this machine the test is skipped, or fails where the variable CI
// is set.
func newMosquitto(t testing.TB) string {
	t.Helper()
	binary := ""
	for _, candidate := range []string{"mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"} {
		if path, err := exec.LookPath(candidate); err == nil {
			binary = path
			break
		}
	}
	if binary == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("mosquitto is not installed; it is needed where CI is set")
		}
		t.Skip("mosquitto is not installed")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	_ = l.Close()
	_, port, _ := net.SplitHostPort(addr)
	config := "allow_anonymous true\npersistence false\nlog_type none\nlistener " + port + " 127.0.0.1\n"
	if me, err := user.Current(); err == nil && me.Uid == "0" {
		config += "user root\n" // it would leave the test's folder out of its reach
	}
	file := filepath.Join(t.TempDir(), "mosquitto.conf")
	if err := os.WriteFile(file, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	cmd := exec.Command(binary, "-c", file)
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	eventually(t, "mosquitto listens", func() bool {
		conn, err := net.Dial("tcp", addr)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	})
	return addr
}

// eventually waits for a condition.
func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !ok(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain: %s", what)
		}
	}
}

// host is a host application as the specification has it, by its rules
// tck-id-operational-behavior-host-reordering-… and
// tck-id-operational-behavior-edge-node-termination-host-action-…: it holds the
// sequence against what it expects, takes a death only of the birth it knows,
// and takes metrics as stale from then on.
type host struct {
	mu     sync.Mutex
	births int  // of the press
	online bool // the node
	shown  bool // the press
	bdSeq  int64
	next   uint8
	known  view
	past   map[int64]bool // sequences of records told as historical, or as they happened
	faults []string
}

func (h *host) hear(topic string, payload []byte, retained bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	fault := func(format string, args ...any) { h.faults = append(h.faults, fmt.Sprintf(format, args...)) }
	t, err := ParseTopic(topic)
	if err != nil || t.Type == STATE || t.Type == NCMD {
		return
	}
	p, err := Decode(payload)
	if err != nil {
		fault("%s: %v", topic, err)
		return
	}
	if retained {
		fault("%s is retained", topic)
	}
	switch t.Type { //nolint:exhaustive // others have left already
	case NBIRTH:
		h.bdSeq, _ = bdSeqOf(payload)
		h.online, h.shown, h.next = true, false, 0
	case NDEATH:
		if n, ok := bdSeqOf(payload); !ok || n != h.bdSeq {
			return // of a birth that is over
		}
		h.online, h.shown = false, false
		return
	}
	if !h.online {
		fault("%s of a node that is not born", t.Type)
		return
	}
	if !p.HasSeq || p.Seq != h.next {
		fault("%s with seq %d, want %d: a host asks for a rebirth now", t.Type, p.Seq, h.next)
	}
	h.next = p.Seq + 1
	switch t.Type { //nolint:exhaustive // others say nothing of the press
	case DBIRTH:
		h.shown = true
		h.births++
	case DDEATH:
		h.shown = false
	case DDATA:
		if !h.shown {
			fault("DDATA of a press that is not born")
		}
	}
	m := &sent{Topic: t, Payload: p}
	h.known.hear(m)
	if k, ok := value(p, "Record/Sequence"); ok {
		if v, ok := k.Value.As(TypeInt64); ok {
			n, _ := v.Int()
			h.past[n] = true
		}
	}
}

func (h *host) is(ok func() bool) func() bool {
	return func() bool {
		h.mu.Lock()
		defer h.mu.Unlock()
		return ok()
	}
}

// newHost has a host listen to all there is.
func newHost(t testing.TB, addr string) (*host, paho.Client) {
	t.Helper()
	h := &host{known: view{}, past: map[int64]bool{}}
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("control-room").SetOrderMatters(true).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { h.hear(m.Topic(), m.Payload(), m.Retained()) }))
	for _, step := range []func() paho.Token{c.Connect, func() paho.Token { return c.Subscribe("#", 1, nil) }} {
		if token := step(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
			t.Fatalf("host: %v", token.Error())
		}
	}
	t.Cleanup(func() { c.Disconnect(100) })
	return h, c
}

// cutter is a network whose connections can be cut.
type cutter struct {
	mu   sync.Mutex
	last net.Conn
}

func (c *cutter) dial(ctx context.Context, network, address string) (net.Conn, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, network, address)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.last = conn
	return conn, err
}

func (c *cutter) cut() {
	c.mu.Lock()
	defer c.mu.Unlock()
	_ = c.last.Close()
}

// TestMosquitto has a node live at a real broker, in front of a host that goes by
// the specification: born, cut again and again, asked for a rebirth, without its
// press, and stopped.
func TestMosquitto(t *testing.T) {
	addr := newMosquitto(t)
	h, client := newHost(t, addr)
	log, wire := newLogbook(), &cutter{}
	set := settings()
	set.Address, set.Host, set.BackoffMin = "tcp://"+addr, "control-room", 10*time.Millisecond
	n := start(t, set, log, wire.dial)
	say := func(rs ...record.Record) {
		log.add(rs...)
		n.Wake()
	}
	say(stroke("A-1/1")) // before the host is there
	state := func(text string) {
		if token := client.Publish("spBv1.0/STATE/control-room", 1, true, text); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
			t.Fatalf("state: %v", token.Error())
		}
	}
	state(`{"online":true,"timestamp":1000}`)
	eventually(t, "born", h.is(func() bool { return h.online && h.shown }))

	const rounds, each = 5, 60
	for round := range rounds {
		for i := range each {
			say(reading(20 + float64(round) + float64(i)/100))
			if i%20 == 19 {
				time.Sleep(time.Millisecond)
			}
		}
		h.mu.Lock()
		before := h.bdSeq
		h.mu.Unlock()
		wire.cut()
		eventually(t, "the will, then a new birth", h.is(func() bool { return h.online && h.shown && h.bdSeq == (before+1)%256 }))
	}
	for range 300 { // past 255
		say(stroke("A-1/7"))
	}
	eventually(t, "all is told", h.is(func() bool { return h.known["Record/Sequence"].Value == Int64(int64(log.Last())) }))
	h.mu.Lock()
	born := h.births
	h.mu.Unlock()
	client.Publish(commands, 0, false, rebirthCommand()).Wait()
	eventually(t, "a rebirth", h.is(func() bool { return h.births > born }))
	say(fault(record.Switch, true), fault(record.Caliper, true))
	eventually(t, "the press dies", h.is(func() bool { return h.online && !h.shown }))
	say(fault(record.Caliper, false), reading(31.5))
	eventually(t, "the press is back", h.is(func() bool { return h.shown && h.known["Reading/Diameter"].Value == Double(31.5) }))
	state(`{"online":false,"timestamp":2000}`)
	eventually(t, "the node leaves with its host", h.is(func() bool { return !h.online }))
	say(reading(32.5))
	state(`{"online":true,"timestamp":3000}`)
	eventually(t, "the node is back with its host", h.is(func() bool { return h.shown && len(h.past) == int(log.Last()) }))
	n.stop()
	eventually(t, "the death", h.is(func() bool { return !h.online }))

	h.mu.Lock()
	defer h.mu.Unlock()
	for _, f := range h.faults {
		t.Error(f)
	}
	if h.known["Reading/Diameter"].Value != Double(32.5) || h.known["Stroke/Piece"].Value != String("A-1/7") {
		t.Errorf("the host knows %v and %v", h.known["Reading/Diameter"].Value, h.known["Stroke/Piece"].Value)
	}
	for seq := range int64(log.Last()) {
		if !h.past[seq+1] {
			t.Errorf("the host was never told record %d", seq+1)
		}
	}
}
