package main

import (
	"bufio"
	"encoding/gob"
	"encoding/json"
	"errors"
	"fmt"
	"hash/maphash"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// collector is who collects the records of a fleet: one subscriber at QoS 1 with a
// session that the broker is to keep, which comes back as soon as it can and
// subscribes anew each time. It listens in a process of its own, so that it does not
// wait for its turn among the agents, and keeps here what it needs to judge
// completeness. The same process times acknowledgements.
type collector struct {
	broker *plantBroker
	seed   maphash.Seed

	mu       sync.Mutex
	visits   int // subscriptions acknowledged
	resumed  int // of them to a session that the broker still knew
	marks    int // the highest number of a mark
	events   int // with repeats
	bytes    int // of their payloads
	faults   []string
	trays    map[string]*intray // by source
	arrivals []time.Time        // of every event
	bares    []time.Time        // of every message of a bare publisher
	acks     []news             // of the probe
}

// intray is what came from one press.
type intray struct {
	first    []arrival         // in the order of their arrival
	sums     map[uint64]uint64 // of the payload, by sequence
	repeats  []arrival
	statuses []statusMessage // without what was retained
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
	c := &collector{broker: b, seed: maphash.MakeSeed(), trays: map[string]*intray{}}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	child := exec.Command(self)
	child.Env = append(os.Environ(), asListener+"="+b.address, asListener+"_CA="+b.ca)
	child.Stderr = os.Stderr
	stdin, err1 := child.StdinPipe()
	stdout, err2 := child.StdoutPipe()
	if err := errors.Join(err1, err2, child.Start()); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for in := gob.NewDecoder(bufio.NewReaderSize(stdout, 1<<20)); ; {
			var n news
			if err := in.Decode(&n); err != nil {
				return // it was ended
			}
			c.note(n)
		}
	}()
	t.Cleanup(func() {
		_ = stdin.Close() // ends it
		<-done
		_ = child.Wait() // its exit tells nothing
	})
	waitFor(t, "the collector's subscription", func() bool { return c.count(&c.visits) == 1 })
	return c
}

// note takes what the listening process tells.
func (c *collector) note(n news) {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch n.Kind {
	case newsVisit:
		c.visits++
		if n.Resumed {
			c.resumed++
		}
	case newsAck:
		c.acks = append(c.acks, n)
	case newsMessage:
		c.take(n)
	}
}

// take notes one message.
func (c *collector) take(p news) {
	base, topic, known := strings.Cut(p.Topic, "/event/")
	if !known {
		base, topic, known = strings.Cut(p.Topic, "/status")
	}
	switch {
	case p.Topic == markTopic:
		n, _ := strconv.Atoi(string(p.Payload)) // none is a mark never waited for
		c.marks = max(c.marks, n)
		return
	case p.Topic == bareTopic:
		c.bares = append(c.bares, p.At)
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
			c.fault("%s: %v", p.Topic, err)
		}
		if !p.Retain {
			tray.statuses = append(tray.statuses, s)
		}
		return
	}
	c.events++
	c.bytes += len(p.Payload)
	c.arrivals = append(c.arrivals, p.At)
	var e struct{ ID, Source, Sequence string }
	if err := json.Unmarshal(p.Payload, &e); err != nil {
		c.fault("%s: %v", p.Topic, err)
		return
	}
	seq, err := strconv.ParseUint(e.Sequence, 10, 64)
	if err != nil || e.Source != "/"+base || p.Retain {
		c.fault("%s: retained %t, source %q, sequence %q", p.Topic, p.Retain, e.Source, e.Sequence)
		return
	}
	sum := maphash.String(c.seed, p.Topic) ^ maphash.Bytes(c.seed, p.Payload)
	a := arrival{seq, p.At, c.visits}
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

// acknowledged is how long the acknowledgements of the probe's messages of a time
// took.
func (c *collector) acknowledged(from, to time.Time) (took spans) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, n := range c.acks {
		if !n.At.Before(from) && n.At.Before(to) {
			took = append(took, n.Took)
		}
	}
	return took
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
		conn, err := c.broker.dial()
		if err != nil {
			return false
		}
		defer conn.Close() //nolint:errcheck // test
		return hello(conn, "marker", true) == nil && answered(conn) == nil &&
			publishTo(conn, markTopic, 1, []byte(strconv.Itoa(mark))) == nil && answered(conn) == nil
	})
	waitFor(t, "the mark at the collector", func() bool { return c.count(&c.marks) >= mark })
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
			if err := puback(conn, p.MessageID); err != nil {
				t.Fatal(err)
			}
		}
	}
	return found
}
