package mqtt

import (
	"fmt"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// subscriber sees what a broker hands out. It comes back whenever it can.
type subscriber struct {
	id string // of a session that the broker is to keep; "" it keeps none

	mu       sync.Mutex
	got      []message
	sessions int // subscriptions acknowledged
	end      chan struct{}
	leave    func() // ends it and waits
}

// subscribe subscribes to a filter at QoS 1 and returns when that is
// acknowledged.
func subscribe(t testing.TB, addr, user, password, filter string) *subscriber {
	t.Helper()
	return subscribeBy(t, func() (net.Conn, error) { return net.Dial("tcp", addr) }, user, password, filter)
}

// subscribeBy does so over connections made by dial.
func subscribeBy(t testing.TB, dial func() (net.Conn, error), user, password, filter string) *subscriber {
	t.Helper()
	s := &subscriber{end: make(chan struct{})}
	s.stay(t, dial, user, password, filter)
	s.awaitSession(t, 1)
	return s
}

// subscribeAs does so for a subscriber whose session the broker keeps while it
// is away. It goes round the addresses until one takes it.
func subscribeAs(t testing.TB, id, filter string, addrs ...string) *subscriber {
	t.Helper()
	s := &subscriber{id: id, end: make(chan struct{})}
	turn := -1
	s.stay(t, func() (net.Conn, error) {
		turn++
		return net.DialTimeout("tcp", addrs[turn%len(addrs)], time.Second)
	}, "", "", filter)
	s.awaitSession(t, 1)
	return s
}

// stay visits the broker until the test ends or leave is called.
func (s *subscriber) stay(t testing.TB, dial func() (net.Conn, error), user, password, filter string) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			s.visit(dial, user, password, filter)
			select {
			case <-s.end:
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	}()
	s.leave = sync.OnceFunc(func() {
		close(s.end)
		<-done
	})
	t.Cleanup(s.leave)
}

func (s *subscriber) awaitSession(t testing.TB, n int) {
	t.Helper()
	until(t, "subscription acknowledged", func() bool {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.sessions >= n
	})
}

// visit is one connection of the subscriber.
func (s *subscriber) visit(dial func() (net.Conn, error), user, password, filter string) {
	conn, err := dial()
	if err != nil {
		return
	}
	defer conn.Close() //nolint:errcheck // test
	gone := make(chan struct{})
	defer close(gone)
	go func() {
		select {
		case <-s.end:
			_ = conn.Close()
		case <-gone:
		}
	}()
	c := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	c.ProtocolName, c.ProtocolVersion, c.CleanSession, c.ClientIdentifier = "MQTT", 4, true, fmt.Sprintf("subscriber-%p", s)
	if s.id != "" {
		c.CleanSession, c.ClientIdentifier = false, s.id
		go ping(conn, gone)
	}
	if user != "" {
		c.UsernameFlag, c.PasswordFlag, c.Username, c.Password = true, true, user, []byte(password)
	}
	sub := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	sub.MessageID, sub.Topics, sub.Qoss = 1, []string{filter}, []byte{1}
	if c.Write(conn) != nil || sub.Write(conn) != nil {
		return
	}
	for {
		if s.id != "" && conn.SetReadDeadline(time.Now().Add(silence)) != nil {
			return
		}
		cp, err := packets.ReadPacket(conn)
		if err != nil {
			return
		}
		switch cp := cp.(type) {
		case *packets.SubackPacket:
			if cp.ReturnCodes[0] > 1 {
				return // denied; a cluster that has lost a node does so for a while
			}
			s.mu.Lock()
			s.sessions++
			s.mu.Unlock()
		case *packets.PublishPacket:
			s.mu.Lock()
			s.got = append(s.got, message{topic: cp.TopicName, payload: string(cp.Payload), retained: cp.Retain, qos: cp.Qos})
			s.mu.Unlock()
			if cp.Qos == 1 {
				ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
				ack.MessageID = cp.MessageID
				_ = ack.Write(conn) // what has come from a broker that has died is still to be read
			}
		}
	}
}

// silence is how long a broker that says nothing is waited for, by a subscriber
// that comes back: NATS may take 5 s to find a session.
const silence = 6 * time.Second

// ping keeps a connection from being silent.
func ping(conn net.Conn, gone <-chan struct{}) {
	for {
		select {
		case <-time.After(silence / 4):
			_ = packets.NewControlPacket(packets.Pingreq).Write(conn)
		case <-gone:
			return
		}
	}
}

// messages are those received so far that the filter takes; nil takes all.
func (s *subscriber) messages(filter func(message) bool) []message {
	s.mu.Lock()
	defer s.mu.Unlock()
	var found []message
	for _, m := range s.got {
		if filter == nil || filter(m) {
			found = append(found, m)
		}
	}
	return found
}

// on takes messages of one topic.
func on(topic string) func(message) bool {
	return func(m message) bool { return m.topic == topic }
}

// latest is the message received last.
func (s *subscriber) latest() message {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.got[len(s.got)-1]
}

// distinct is how many different events there are among messages.
func distinct(all []message) int {
	seen := map[uint64]bool{}
	for _, m := range all {
		if m.isEvent() {
			seen[m.seq()] = true
		}
	}
	return len(seen)
}
