package sparkplug

import (
	"context"
	"errors"
	"io"
	"iter"
	"log/slog"
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"benchtally/agent/record"
	"benchtally/mqtt/broker"
)

// heardMessage is a message that the stub got, and by which connection.
type heardMessage struct {
	nth      int
	topic    string
	raw      []byte
	payload  Payload
	qos      byte
	retained bool
}

// kind is the message type in the topic.
func (m heardMessage) kind() MessageType {
	t, _ := ParseTopic(m.topic)
	return t.Type
}

// stub is a broker made for one test: it notes all that a node says, and says
// what the test wants said.
type stub struct {
	host   string // whose STATE it retains
	code   func(topic string) byte
	absent map[string]bool                                 // addresses where nothing answers
	states map[string]string                               // what is retained under STATE, by address; nil: state everywhere
	odd    func(net.Conn, packets.ControlPacket) (ok bool) // answers a packet in place of the stub; nil: none

	mu       sync.Mutex
	state    string // payload retained under STATE; "" none
	connects []*packets.ConnectPacket
	asked    []*packets.SubscribePacket
	heard    []heardMessage
	left     int // DISCONNECTs
	conn     net.Conn
	at       string // address of conn
	noted    []happening
}

// note writes down what happens.
func (s *stub) note(h happening) {
	h.at = time.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	if h.broker == "" {
		h.broker, h.nth = s.at, len(s.connects)
	}
	s.noted = append(s.noted, h)
}

// locked changes what the stub looks at.
func (s *stub) locked(change func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	change()
}

// attempts is how many CONNECTs there were.
func (s *stub) attempts() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.connects)
}

// errAbsent is what a network without a broker gives.
var errAbsent = errors.New("nothing listens")

// network is a connection to the stub without a network.
func (s *stub) network(_ context.Context, _, address string) (net.Conn, error) {
	s.mu.Lock()
	absent := s.absent[address]
	s.mu.Unlock()
	if absent {
		return nil, errAbsent
	}
	here, there := net.Pipe()
	s.note(happening{what: opened, broker: address})
	go s.serve(patient(there), address)
	return patient(here), nil
}

// patientConn is a pipe whose writers wait for each other on a channel. Those of
// package net wait on a mutex, on which a bubble's clock stands still.
type patientConn struct {
	net.Conn
	turn chan struct{}
}

func patient(c net.Conn) net.Conn { return patientConn{c, make(chan struct{}, 1)} }

func (c patientConn) Write(b []byte) (int, error) {
	c.turn <- struct{}{}
	defer func() { <-c.turn }()
	return c.Conn.Write(b)
}

func (s *stub) write(conn net.Conn, p packets.ControlPacket) {
	_ = p.Write(conn) // in one piece
}

func (s *stub) serve(conn net.Conn, address string) {
	nth := 0
	defer func() { s.note(happening{what: closed, broker: address, nth: nth}) }()
	defer conn.Close() //nolint:errcheck // test
	first, err := packets.ReadPacket(conn)
	connect, ok := first.(*packets.ConnectPacket)
	if err != nil || !ok {
		return
	}
	s.mu.Lock()
	s.connects = append(s.connects, connect)
	nth = len(s.connects)
	s.conn, s.at = conn, address
	s.mu.Unlock()
	s.note(happening{what: connected, broker: address, nth: nth, connect: connect})
	s.write(conn, packets.NewControlPacket(packets.Connack))
	for {
		cp, err := packets.ReadPacket(conn)
		if err != nil {
			return
		}
		if s.odd != nil && s.odd(conn, cp) {
			continue
		}
		switch cp := cp.(type) {
		case *packets.SubscribePacket:
			s.note(happening{what: subscribed, broker: address, nth: nth, topics: cp.Topics, qoss: cp.Qoss})
			s.subscribed(conn, cp)
		case *packets.PublishPacket:
			p, err := Decode(cp.Payload)
			if err != nil {
				panic(err)
			}
			s.mu.Lock()
			s.heard = append(s.heard, heardMessage{nth, cp.TopicName, cp.Payload, p, cp.Qos, cp.Retain})
			s.mu.Unlock()
			s.note(happening{what: published, broker: address, nth: nth, topic: cp.TopicName, raw: cp.Payload, qos: cp.Qos, retained: cp.Retain})
			if cp.Qos == 1 {
				ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
				ack.MessageID = cp.MessageID
				s.write(conn, ack)
			}
		case *packets.PingreqPacket:
			s.write(conn, packets.NewControlPacket(packets.Pingresp))
		case *packets.DisconnectPacket:
			s.mu.Lock()
			s.left++
			s.mu.Unlock()
			s.note(happening{what: disconnected, broker: address, nth: nth})
			return
		}
	}
}

func (s *stub) subscribed(conn net.Conn, p *packets.SubscribePacket) {
	s.mu.Lock()
	s.asked = append(s.asked, p)
	state := s.state
	if s.states != nil {
		state = s.states[s.at]
	}
	s.mu.Unlock()
	ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
	ack.MessageID = p.MessageID
	for _, topic := range p.Topics {
		code := byte(1)
		if s.code != nil {
			code = s.code(topic)
		}
		ack.ReturnCodes = append(ack.ReturnCodes, code)
	}
	s.write(conn, ack)
	if state != "" && p.Topics[0] == (Topic{Type: STATE, Host: s.host}).String() {
		s.say(p.Topics[0], []byte(state), true)
	}
}

// say sends a message to the node.
func (s *stub) say(topic string, payload []byte, retained bool) {
	s.sayAt(0, topic, payload, retained)
}

func (s *stub) sayAt(qos byte, topic string, payload []byte, retained bool) {
	m := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	m.Qos, m.MessageID = qos, 7
	m.TopicName, m.Payload, m.Retain = topic, payload, retained
	s.mu.Lock()
	conn := s.conn
	s.mu.Unlock()
	s.note(happening{what: spoken, topic: topic, raw: payload, retained: retained})
	s.write(conn, m)
}

// setState is what the primary host says of itself.
func (s *stub) setState(payload string) {
	s.mu.Lock()
	s.state = payload
	connected := s.conn != nil
	s.mu.Unlock()
	if connected {
		s.say(Topic{Type: STATE, Host: s.host}.String(), []byte(payload), false)
	}
}

// cut ends the connection without a word.
func (s *stub) cut() {
	s.mu.Lock()
	defer s.mu.Unlock()
	_ = s.conn.Close()
}

// messages are those heard of some types; of all without any.
func (s *stub) messages(types ...MessageType) (all []heardMessage) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, m := range s.heard {
		if len(types) == 0 || slices.Contains(types, m.kind()) {
			all = append(all, m)
		}
	}
	return all
}

// logbook is a log in memory.
type logbook struct {
	mu      sync.Mutex
	records []record.Record
	marks   map[string]logMark
	flushed map[string]logMark // what a power cut would leave
	flushes int
	fail    error                          // of SetMark and FlushSent
	blind   error                          // of Mark
	broken  func(seq uint64) (error, bool) // of Records; true: the walk ends with it. nil: none
}

type logMark struct {
	seq  uint64
	note []byte
}

func newLogbook() *logbook {
	return &logbook{marks: map[string]logMark{}, flushed: map[string]logMark{}}
}

// add keeps a record, and gives it its sequence.
func (l *logbook) add(rs ...record.Record) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, r := range rs {
		r.Seq = uint64(len(l.records) + 1)
		if r.At.IsZero() {
			r.At = time.Now()
		}
		l.records = append(l.records, r)
	}
}

func (l *logbook) Last() uint64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return uint64(len(l.records))
}

func (l *logbook) Records(after uint64) iter.Seq2[record.Record, error] {
	return func(yield func(record.Record, error) bool) {
		l.mu.Lock()
		all := l.records[min(after, uint64(len(l.records))):]
		l.mu.Unlock()
		for _, r := range all {
			if l.broken != nil {
				if err, end := l.broken(r.Seq); end {
					yield(record.Record{}, err)
					return
				} else if err != nil {
					if !yield(record.Record{Seq: r.Seq}, err) {
						return
					}
					continue
				}
			}
			if !yield(r, nil) {
				return
			}
		}
	}
}

func (l *logbook) Mark(name string) (uint64, []byte, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	m := l.marks[name]
	if l.blind != nil {
		return 0, nil, l.blind
	}
	return m.seq, m.note, nil
}

func (l *logbook) SetMark(name string, seq uint64, note []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fail == nil {
		l.marks[name] = logMark{seq, note}
	}
	return l.fail
}

func (l *logbook) FlushSent() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fail == nil {
		l.flushes++
		for name, m := range l.marks {
			l.flushed[name] = m
		}
	}
	return l.fail
}

// settings are those of a test.
func settings() Settings {
	return Settings{
		Access:   broker.Access{Address: "tcp://broker.example"},
		ClientID: "north-bench-7f3a-s", Group: "riverside-hose-shop", Node: "north-bench", Device: "press",
		Version: "1.2.3", Store: "7f3a9c1e00000000",
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
	}
}

// running is a node under test.
type running struct {
	*Node
	stop func() // ends it and waits
}

func start(t testing.TB, s Settings, log Log, network broker.Network) *running {
	t.Helper()
	n, err := New(s, log)
	if err != nil {
		t.Fatal(err)
	}
	if network != nil {
		n.broker.Network = network
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := n.Run(ctx); err != nil {
			t.Errorf("Run: %v", err)
		}
	}()
	stop := func() {
		cancel()
		<-done
	}
	t.Cleanup(stop)
	return &running{Node: n, stop: stop}
}

// value is what a payload says of a metric.
func value(p Payload, name string) (Metric, bool) {
	for _, m := range p.Metrics {
		if m.Name == name {
			return m, true
		}
	}
	return Metric{}, false
}
