package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"hash/maphash"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// collector is who collects the records of a fleet: one subscriber at QoS 1 with a
// session that the broker is to keep, which comes back as soon as it can and
// subscribes anew each time. It keeps what it needs to judge completeness.
type collector struct {
	dial func() (net.Conn, error)
	seed maphash.Seed
	end  chan struct{}
	done chan struct{}

	mu       sync.Mutex
	conn     net.Conn
	visits   int // subscriptions acknowledged
	resumed  int // of them to a session that the broker still knew
	marks    int // messages of no press: the highest number seen
	bare     int // messages of bare publishers
	events   int // with repeats
	bytes    int // of their payloads
	faults   []string
	trays    map[string]*intray // by source
	arrivals []time.Time        // of every event
	bares    []time.Time        // of every message of a bare publisher
}

// intray is what came from one press.
type intray struct {
	first    []arrival         // in the order of their arrival
	sums     map[uint64]uint64 // of the payload, by sequence
	repeats  []arrival         //
	statuses []statusMessage   //
}

type arrival struct {
	seq   uint64
	at    time.Time
	visit int
}

// statusMessage is what a press says on its status topic.
type statusMessage struct {
	Online  bool   `json:"online"`
	Session uint64 `json:"session"`
	Reason  string `json:"reason"`
}

// Topics beside those of the presses.
const (
	markTopic = "riverside/fleet/mark"
	bareTopic = "riverside/fleet/bare"
)

// newCollector subscribes and returns once that is acknowledged.
func newCollector(t *testing.T, b *plantBroker) *collector {
	t.Helper()
	c := &collector{
		dial: b.dial, seed: maphash.MakeSeed(), trays: map[string]*intray{},
		end: make(chan struct{}), done: make(chan struct{}),
	}
	go func() {
		defer close(c.done)
		for {
			c.visit()
			select {
			case <-c.end:
				return
			case <-time.After(20 * time.Millisecond): // the broker is not there at once
			}
		}
	}()
	t.Cleanup(func() {
		close(c.end)
		c.mu.Lock()
		if c.conn != nil {
			_ = c.conn.Close() // ends its reading
		}
		c.mu.Unlock()
		<-c.done
	})
	waitFor(t, "the collector's subscription", func() bool { return c.count(&c.visits) == 1 })
	return c
}

// visit is one connection.
func (c *collector) visit() {
	conn, err := c.dial()
	if err != nil {
		return
	}
	defer conn.Close() //nolint:errcheck // test
	c.mu.Lock()
	c.conn = conn
	c.mu.Unlock()
	select {
	case <-c.end:
		return
	default:
	}
	if hello(conn, "collector", false) != nil || subscribeTo(conn, "riverside/+/+/event/+", "riverside/+/+/status", markTopic, bareTopic) != nil {
		return
	}
	in := bufio.NewReaderSize(conn, 1<<16)
	resumed := false
	for {
		packet, err := packets.ReadPacket(in)
		if err != nil {
			return
		}
		switch p := packet.(type) {
		case *packets.ConnackPacket:
			resumed = p.SessionPresent
		case *packets.SubackPacket:
			c.mu.Lock()
			c.visits++
			if resumed {
				c.resumed++
			}
			c.mu.Unlock()
		case *packets.PublishPacket:
			c.take(p, time.Now())
			if p.Qos == 1 {
				_, _ = conn.Write([]byte{packets.Puback << 4, 2, byte(p.MessageID >> 8), byte(p.MessageID)}) // reading tells that it is lost
			}
		}
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

// take notes one message.
func (c *collector) take(p *packets.PublishPacket, now time.Time) {
	base, topic, known := strings.Cut(p.TopicName, "/event/")
	if !known {
		base, topic, known = strings.Cut(p.TopicName, "/status")
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case p.TopicName == markTopic:
		n, _ := strconv.Atoi(string(p.Payload)) // none is a mark never waited for
		c.marks = max(c.marks, n)
		return
	case p.TopicName == bareTopic:
		c.bare++
		c.bares = append(c.bares, now)
		return
	case !known:
		return
	}
	tray := c.trays["/"+base]
	if tray == nil {
		tray = &intray{sums: map[uint64]uint64{}}
		c.trays["/"+base] = tray
	}
	if topic == "" {
		var s statusMessage
		if err := json.Unmarshal(p.Payload, &s); err != nil {
			c.fault("%s: %v", p.TopicName, err)
		}
		if !p.Retain {
			tray.statuses = append(tray.statuses, s)
		}
		return
	}
	c.events++
	c.bytes += len(p.Payload)
	c.arrivals = append(c.arrivals, now)
	var e struct{ ID, Source, Sequence string }
	if err := json.Unmarshal(p.Payload, &e); err != nil {
		c.fault("%s: %v", p.TopicName, err)
		return
	}
	seq, err := strconv.ParseUint(e.Sequence, 10, 64)
	if err != nil || e.Source != "/"+base || p.Retain {
		c.fault("%s: retained %t, source %q, sequence %q", p.TopicName, p.Retain, e.Source, e.Sequence)
		return
	}
	sum := maphash.String(c.seed, p.TopicName) ^ maphash.Bytes(c.seed, p.Payload)
	a := arrival{seq, now, c.visits}
	if before, again := tray.sums[seq]; again {
		if before != sum {
			c.fault("%s: the repeat of %d differs", e.Source, seq)
		}
		tray.repeats = append(tray.repeats, a)
		return
	}
	tray.sums[seq] = sum
	tray.first = append(tray.first, a)
}

func (c *collector) fault(format string, args ...any) {
	if len(c.faults) < 20 {
		c.faults = append(c.faults, fmt.Sprintf(format, args...))
	}
}

func (c *collector) count(n *int) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return *n
}

// missing are the sequences up to the last that have not come from a press, as
// ranges with both ends.
func (c *collector) missing(source string, last uint64) (gaps [][2]uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	tray := c.trays[source]
	if tray == nil {
		tray = &intray{}
	}
	if uint64(len(tray.sums)) == last {
		return nil // checked later: none is beyond the last
	}
	for seq := uint64(1); seq <= last; seq++ {
		if _, there := tray.sums[seq]; there {
			continue
		}
		if n := len(gaps); n > 0 && gaps[n-1][1] == seq-1 {
			gaps[n-1][1] = seq
		} else {
			gaps = append(gaps, [2]uint64{seq, seq})
		}
	}
	return gaps
}

// catchUp returns when all that the broker had for the collector so far has come:
// a message sent now stands behind it.
func (c *collector) catchUp(t *testing.T) {
	t.Helper()
	mark := c.count(&c.marks) + 1
	waitFor(t, "a mark behind the events", func() bool {
		conn, err := c.dial()
		if err != nil {
			return false
		}
		defer conn.Close() //nolint:errcheck // test
		return hello(conn, "marker", true) == nil && answered(conn) == nil &&
			publishTo(conn, markTopic, 1, []byte(strconv.Itoa(mark))) == nil && answered(conn) == nil
	})
	waitFor(t, "the mark at the collector", func() bool { return c.count(&c.marks) >= mark })
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

// retainedStates are what a newcomer finds at the broker: the newest of each topic.
func retainedStates(t *testing.T, b *plantBroker, want int) map[string]string {
	t.Helper()
	conn, err := b.dial()
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // test
	if err := hello(conn, "newcomer", true); err != nil {
		t.Fatal(err)
	}
	if err := subscribeTo(conn, "riverside/#"); err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	in := bufio.NewReader(conn)
	for len(found) < want {
		if err := conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
			t.Fatal(err)
		}
		packet, err := packets.ReadPacket(in)
		if err != nil {
			t.Fatalf("%d of %d retained topics were found: %v", len(found), want, err)
		}
		p, ok := packet.(*packets.PublishPacket)
		if !ok {
			continue
		}
		if p.Retain {
			found[p.TopicName] = string(p.Payload)
		}
		if p.Qos == 1 {
			if _, err := conn.Write([]byte{packets.Puback << 4, 2, byte(p.MessageID >> 8), byte(p.MessageID)}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return found
}
