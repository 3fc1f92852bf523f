package main

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/gob"
	"io"
	"net"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// asListener is the variable that makes this binary the listening process of a
// collector at the broker that it names.
const asListener = "BENCHTALLY_AS_LISTENER"

// news is what the listening process tells.
type news struct {
	Kind    newsKind
	At      time.Time
	Topic   string
	Payload []byte
	Retain  bool
	Resumed bool          // the broker still knew the session
	Took    time.Duration // until the broker acknowledged
}

type newsKind string

const (
	newsMessage newsKind = "message" // one has come
	newsVisit   newsKind = "visit"   // a subscription is acknowledged
	newsAck     newsKind = "ack"     // a message of the probe is acknowledged
)

// listener listens to a broker. It acknowledges each message at once, whoever waits
// for its news.
type listener struct {
	dial func() (net.Conn, error)

	mu    sync.Mutex
	more  *sync.Cond
	queue []news
}

// listen is the listening process. It ends with its standard input.
func listen(address, ca string) {
	l := &listener{dial: dialer(address, ca)}
	l.more = sync.NewCond(&l.mu)
	go l.print()
	go l.again(l.visit)
	go l.again(l.probe)
	_, _ = io.Copy(io.Discard, os.Stdin) // its end is what is waited for
}

// dialer opens ways to a broker, by TLS if an authority is named.
func dialer(address, ca string) func() (net.Conn, error) {
	if ca == "" {
		return func() (net.Conn, error) { return net.Dial("tcp", address) }
	}
	secure := &tls.Config{RootCAs: x509.NewCertPool(), ServerName: "127.0.0.1", MinVersion: tls.VersionTLS12}
	if pem, err := os.ReadFile(ca); err == nil { // without it no way is opened
		secure.RootCAs.AppendCertsFromPEM(pem)
	}
	return func() (net.Conn, error) { return tls.Dial("tcp", address, secure) }
}

func (l *listener) tell(n news) {
	l.mu.Lock()
	l.queue = append(l.queue, n)
	l.mu.Unlock()
	l.more.Signal()
}

func (l *listener) print() {
	buffered := bufio.NewWriterSize(os.Stdout, 1<<16)
	for out := gob.NewEncoder(buffered); ; {
		l.mu.Lock()
		for len(l.queue) == 0 {
			l.more.Wait()
		}
		told := l.queue
		l.queue = nil
		l.mu.Unlock()
		for _, n := range told {
			if out.Encode(n) != nil {
				return // nobody reads any more
			}
		}
		if buffered.Flush() != nil {
			return
		}
	}
}

// again makes one connection after the other for someone.
func (l *listener) again(one func(net.Conn)) {
	for ; ; time.Sleep(20 * time.Millisecond) { // the broker is not there at once
		if conn, err := l.dial(); err == nil {
			one(conn)
			_ = conn.Close()
		}
	}
}

// visit is one connection of the collector.
func (l *listener) visit(conn net.Conn) {
	if hello(conn, "collector", false) != nil || subscribeTo(conn, "riverside/+/+/event/+", "riverside/+/+/status", markTopic, bareTopic) != nil {
		return
	}
	resumed := false
	for in := bufio.NewReaderSize(conn, 1<<16); ; {
		packet, err := packets.ReadPacket(in)
		if err != nil {
			return
		}
		switch p := packet.(type) {
		case *packets.ConnackPacket:
			resumed = p.SessionPresent
		case *packets.SubackPacket:
			l.tell(news{Kind: newsVisit, At: time.Now(), Resumed: resumed})
		case *packets.PublishPacket:
			if p.Qos == 1 {
				_ = puback(conn, p.MessageID) // reading tells that the connection is lost
			}
			l.tell(news{Kind: newsMessage, At: time.Now(), Topic: p.TopicName, Payload: p.Payload, Retain: p.Retain})
		}
	}
}

// probe is one connection of a bare publisher that sends a message of the size of an
// event every 20 ms, if the one before is acknowledged, and times that.
func (l *listener) probe(conn net.Conn) {
	if hello(conn, "probe", true) != nil || answered(conn) != nil {
		return
	}
	payload := []byte(strings.Repeat("x", 490))
	for id := uint16(1); ; id = max(1, id+1) {
		begun := time.Now()
		if publishTo(conn, "probe", id, payload) != nil || answered(conn) != nil {
			return
		}
		l.tell(news{Kind: newsAck, At: begun, Took: time.Since(begun)})
		time.Sleep(20 * time.Millisecond)
	}
}

// hello says CONNECT. Without a will and a keepalive; the broker is on this machine.
func hello(conn net.Conn, id string, clean bool) error {
	p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	p.ProtocolName, p.ProtocolVersion, p.CleanSession, p.ClientIdentifier = "MQTT", 4, clean, id
	return p.Write(conn)
}

func subscribeTo(conn net.Conn, filters ...string) error {
	p := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	p.MessageID, p.Topics, p.Qoss = 1, filters, bytes.Repeat([]byte{1}, len(filters))
	return p.Write(conn)
}

// publishTo publishes at QoS 1.
func publishTo(conn net.Conn, topic string, id uint16, payload []byte) error {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Qos, p.MessageID, p.Payload = topic, 1, id, payload
	return p.Write(conn)
}

// answered waits for a packet of the broker, such as CONNACK or PUBACK.
func answered(conn net.Conn) error {
	if err := conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
		return err
	}
	_, err := packets.ReadPacket(conn)
	return err
}

func puback(conn net.Conn, id uint16) error {
	_, err := conn.Write([]byte{packets.Puback << 4, 2, byte(id >> 8), byte(id)})
	return err
}
