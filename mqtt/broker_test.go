package mqtt

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	mochi "github.com/mochi-mqtt/server/v2"
	mochipackets "github.com/mochi-mqtt/server/v2/packets"

	"benchtally/mqtt/broker"
)

const testBase = "riverside/hose-shop/north-bench"

// message is a PUBLISH as a broker or a subscriber saw it.
type message struct {
	nth      int // connection that it came by, from 1
	topic    string
	payload  string
	retained bool
	qos      byte
}

// seq is the sequence in the payload of an event, 0 for any other message.
func (m message) seq() uint64 {
	var e struct{ Sequence string }
	if json.Unmarshal([]byte(m.payload), &e) != nil {
		return 0
	}
	n, _ := strconv.ParseUint(e.Sequence, 10, 64)
	return n
}

func (m message) isEvent() bool { return strings.Contains(m.topic, "/event/") }

// reaction is what a fake broker does with a PUBLISH.
type reaction int

const (
	acknowledge reaction = iota
	ignore
	cut // the connection
)

// fake is a broker made for one test. It notes what it sees.
type fake struct {
	code   func(nth int) byte // of CONNACK; nil accepts
	mute   func(nth int) bool // no CONNACK at all; nil answers
	onPub  func(m message) reaction
	onOpen func(nth int, conn net.Conn) // after CONNACK

	mu       sync.Mutex
	connects []*packets.ConnectPacket
	seen     []message
	acked    map[uint64]bool // sequences
	left     int             // DISCONNECTs
	others   []packets.ControlPacket
}

func (f *fake) serve(conn net.Conn) {
	defer conn.Close() //nolint:errcheck // test
	first, err := packets.ReadPacket(conn)
	if err != nil {
		return
	}
	connect, ok := first.(*packets.ConnectPacket)
	if !ok {
		return
	}
	f.mu.Lock()
	f.connects = append(f.connects, connect)
	nth := len(f.connects)
	f.mu.Unlock()
	if f.mute != nil && f.mute(nth) {
		_, _ = io.Copy(io.Discard, conn)
		return
	}
	answer := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
	if f.code != nil {
		answer.ReturnCode = f.code(nth)
	}
	if answer.Write(conn) != nil || answer.ReturnCode != 0 {
		return
	}
	if f.onOpen != nil {
		f.onOpen(nth, conn)
	}
	for f.one(conn, nth) {
	}
}

// one deals with one packet.
func (f *fake) one(conn net.Conn, nth int) bool {
	cp, err := packets.ReadPacket(conn)
	if err != nil {
		return false
	}
	switch cp := cp.(type) {
	case *packets.PublishPacket:
		m := message{nth: nth, topic: cp.TopicName, payload: string(cp.Payload), retained: cp.Retain, qos: cp.Qos}
		r := acknowledge
		if f.onPub != nil {
			r = f.onPub(m)
		}
		f.mu.Lock()
		f.seen = append(f.seen, m)
		if r == acknowledge && m.isEvent() {
			if f.acked == nil {
				f.acked = map[uint64]bool{}
			}
			f.acked[m.seq()] = true
		}
		f.mu.Unlock()
		switch r {
		case acknowledge:
			ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
			ack.MessageID = cp.MessageID
			return ack.Write(conn) == nil
		case ignore:
			return true
		case cut:
			return false
		}
	case *packets.PingreqPacket:
		return packets.NewControlPacket(packets.Pingresp).Write(conn) == nil
	case *packets.DisconnectPacket:
		f.mu.Lock()
		f.left++
		f.mu.Unlock()
		return false
	}
	f.mu.Lock()
	f.others = append(f.others, cp)
	f.mu.Unlock()
	return true
}

// messages are those seen so far that the filter takes; nil takes all.
func (f *fake) messages(filter func(message) bool) []message {
	f.mu.Lock()
	defer f.mu.Unlock()
	var found []message
	for _, m := range f.seen {
		if filter == nil || filter(m) {
			found = append(found, m)
		}
	}
	return found
}

// ended are the DISCONNECTs and the packets that it has no answer to.
func (f *fake) ended() (disconnects int, others []packets.ControlPacket) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.left, slices.Clone(f.others)
}

func (f *fake) connections() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.connects)
}

// checkSent fails the test if an event is marked sent that was not
// acknowledged.
func (f *fake) checkSent(t *testing.T, b *box) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	var before uint64
	b.onSent = func(seq uint64) {
		f.mu.Lock()
		defer f.mu.Unlock()
		for s := before + 1; s <= seq; s++ {
			if !f.acked[s] {
				t.Errorf("event %d is marked sent, the broker has not acknowledged it", s)
			}
		}
		before = max(before, seq)
	}
}

// listen serves on a loopback port and returns its address.
func (f *fake) listen(t testing.TB) string {
	t.Helper()
	return listen(t, f.serve)
}

// listen accepts on a loopback port until the test ends, then waits for all
// connections to end.
func listen(t testing.TB, serve func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	t.Cleanup(func() {
		_ = l.Close()
		wg.Wait()
	})
	wg.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() { serve(conn) })
		}
	})
	return l.Addr().String()
}

// pipe is a network in memory that leads to the broker, for tests in a bubble
// of fake time.
func (f *fake) pipe(context.Context, string, string) (net.Conn, error) {
	here, there := net.Pipe()
	go f.serve(there)
	return here, nil
}

// door lets users into the in-process broker: all of them, or those with the
// right password.
type door struct {
	mochi.HookBase
	passwords map[string]string // nil lets all in
}

func (d *door) ID() string { return "door" }

func (d *door) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}

func (d *door) OnConnectAuthenticate(_ *mochi.Client, pk mochipackets.Packet) bool {
	want, known := d.passwords[string(pk.Connect.Username)]
	return d.passwords == nil || known && want == string(pk.Connect.Password)
}

func (d *door) OnACLCheck(*mochi.Client, string, bool) bool { return true }

// mochiBroker starts an in-process broker and returns its address.
func mochiBroker(t testing.TB, secure *tls.Config, passwords map[string]string) string {
	t.Helper()
	s := mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)})
	if err := s.AddHook(&door{passwords: passwords}, nil); err != nil {
		t.Fatal(err)
	}
	if err := s.Serve(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return listen(t, func(conn net.Conn) { // not the broker's own listener: this one ends before the broker
		if secure != nil {
			conn = tls.Server(conn, secure)
		}
		_ = s.EstablishConnection("test", conn)
		_ = conn.Close()
	})
}

// settings are those of a test.
func settings(addr string) Settings {
	return Settings{
		Access: broker.Access{Address: "tcp://" + addr}, Base: testBase, ClientID: "north-bench-7f3a",
		BackoffMin: time.Millisecond, BackoffMax: 20 * time.Millisecond,
		Log: slog.New(slog.DiscardHandler),
	}
}

// running is a publisher under test.
type running struct {
	*Publisher
	stop func() // ends it and waits
}

// start makes a publisher and runs it until the test ends or stop is called.
func start(t testing.TB, s Settings, out Outbox, network func(context.Context, string, string) (net.Conn, error)) *running {
	t.Helper()
	p, err := New(s, out)
	if err != nil {
		t.Fatal(err)
	}
	if network != nil {
		p.broker.Network = network
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := p.Run(ctx); err != nil {
			t.Errorf("Run: %v", err)
		}
	}()
	stop := func() {
		cancel()
		<-done
	}
	t.Cleanup(stop)
	return &running{Publisher: p, stop: stop}
}

// drain waits until all is acknowledged.
func drain(t testing.TB, p *running) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := p.Drain(ctx); err != nil {
		t.Fatalf("%v; state %+v", err, p.State())
	}
}

// until waits for a condition that other goroutines bring about.
func until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(15 * time.Second); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain: %s", what)
		}
	}
}

// checkOrder fails the test unless every sequence from 1 to n is there and each
// is seen for the first time in order.
func checkOrder(t testing.TB, seen []message, n uint64) (repeats int) {
	t.Helper()
	missing, repeats := gaps(t, seen, n)
	if len(missing) > 0 {
		t.Fatalf("of %d sequences %d are missing or late, the first is %d", n, len(missing), missing[0])
	}
	return repeats
}

// gaps are the sequences from 1 to n that were not seen before a higher one.
func gaps(t testing.TB, seen []message, n uint64) (missing []uint64, repeats int) {
	t.Helper()
	var last uint64
	for _, m := range seen {
		s := m.seq()
		if s == 0 || s > n {
			t.Fatalf("a message with the sequence %d, want 1 to %d", s, n)
		}
		if s <= last {
			repeats++
			continue
		}
		for last++; last < s; last++ {
			missing = append(missing, last)
		}
	}
	for last++; last <= n; last++ {
		missing = append(missing, last)
	}
	return missing, repeats
}

// debugLog is a log that a test reads once the publisher has ended.
func debugLog(w io.Writer) *slog.Logger {
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: slog.LevelDebug}))
}
