package mqtt

import (
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// tap stands between a press and its broker and notes what goes by. It can cut
// the connection and keep the press out, and it can be slow to hand on what is
// acknowledged.
type tap struct {
	*trail
	addr string
	late func(nth int, seq uint64) time.Duration // of the PUBACK of an event; nil at once

	mu     sync.Mutex
	closed bool
	conns  map[net.Conn]bool
}

// trail is what has gone by one tap, or by the taps before several brokers.
type trail struct {
	mu     sync.Mutex
	nth    int             // connections so far
	events []message       // published, each with its connection
	acked  map[uint64]bool // sequences of events
}

func newTap(t testing.TB, broker string) *tap {
	t.Helper()
	return newTapOn(t, broker, &trail{acked: map[uint64]bool{}})
}

// newTapOn is a tap that shares a trail with others.
func newTapOn(t testing.TB, broker string, shared *trail) *tap {
	t.Helper()
	p := &tap{trail: shared, conns: map[net.Conn]bool{}}
	p.addr = listen(t, func(press net.Conn) { p.join(press, broker) })
	return p
}

// join passes packets both ways until one side ends.
func (p *tap) join(press net.Conn, broker string) {
	defer press.Close() //nolint:errcheck // test
	p.mu.Lock()
	closed := p.closed
	p.mu.Unlock()
	if closed {
		return
	}
	far, err := net.DialTimeout("tcp", broker, 5*time.Second)
	if err != nil {
		return
	}
	defer far.Close() //nolint:errcheck // test
	p.mu.Lock()
	p.conns[press], p.conns[far] = true, true
	p.mu.Unlock()
	nth := p.trail.connection()
	var ids sync.Map // packet id to sequence
	var both sync.WaitGroup
	pass := func(from, to net.Conn) {
		defer from.Close() //nolint:errcheck // test
		defer to.Close()   //nolint:errcheck // test
		for {
			cp, err := packets.ReadPacket(from)
			if err != nil {
				return
			}
			switch cp := cp.(type) {
			case *packets.PublishPacket:
				m := message{nth: nth, topic: cp.TopicName, payload: string(cp.Payload)}
				if m.isEvent() {
					ids.Store(cp.MessageID, m.seq())
					p.trail.published(m)
				} else {
					ids.Delete(cp.MessageID)
				}
			case *packets.PubackPacket:
				if seq, ok := ids.Load(cp.MessageID); ok {
					if p.late != nil {
						time.Sleep(p.late(nth, seq.(uint64)))
					}
					p.trail.acknowledge(seq.(uint64))
				}
			}
			if cp.Write(to) != nil {
				return
			}
		}
	}
	both.Go(func() { pass(press, far) })
	both.Go(func() { pass(far, press) })
	both.Wait()
	p.mu.Lock()
	delete(p.conns, press)
	delete(p.conns, far)
	p.mu.Unlock()
}

// shut keeps the press out, or lets it in again.
func (p *tap) shut(closed bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = closed
}

// cut ends all connections.
func (p *tap) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.Close()
	}
}

// standing is how many connections stand.
func (p *tap) standing() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.conns) / 2
}

func (tr *trail) connection() int {
	tr.mu.Lock()
	defer tr.mu.Unlock()
	tr.nth++
	return tr.nth
}

func (tr *trail) published(m message) {
	tr.mu.Lock()
	defer tr.mu.Unlock()
	tr.events = append(tr.events, m)
}

func (tr *trail) acknowledge(seq uint64) {
	tr.mu.Lock()
	defer tr.mu.Unlock()
	tr.acked[seq] = true
}

// checkSent fails the test if an event is marked sent that was not
// acknowledged.
func (tr *trail) checkSent(t *testing.T, b *box) {
	t.Helper()
	var before uint64
	b.mu.Lock()
	defer b.mu.Unlock()
	b.onSent = func(seq uint64) {
		tr.mu.Lock()
		defer tr.mu.Unlock()
		for s := before + 1; s <= seq; s++ {
			if !tr.acked[s] {
				t.Errorf("event %d is marked sent, the broker has not acknowledged it", s)
			}
		}
		before = max(before, seq)
	}
}

// acknowledged reports whether the broker has ever acknowledged an event.
func (tr *trail) acknowledged(seq uint64) bool {
	tr.mu.Lock()
	defer tr.mu.Unlock()
	return tr.acked[seq]
}

// checkRepeats fails the test unless the events up to n went by, on each
// connection one after the other, and each connection began with one of the
// window that was in flight when the former one ended, or with the next. So an
// event is repeated only just after a reconnect, and none was passed over. It
// returns how many were repeated.
func (tr *trail) checkRepeats(t testing.TB, n uint64, window int) (repeats int) {
	t.Helper()
	tr.mu.Lock()
	events := slices.Clone(tr.events)
	tr.mu.Unlock()
	// What is still on its way out of an old connection is noted late.
	slices.SortStableFunc(events, func(a, b message) int { return a.nth - b.nth })
	var latest, before uint64
	nth := 0
	for _, m := range events {
		s := m.seq()
		switch {
		case m.nth != nth && (s > latest+1 || s+uint64(window) <= latest):
			t.Errorf("connection %d begins with event %d after event %d, with a window of %d", m.nth, s, latest, window)
		case m.nth == nth && s != before+1:
			t.Errorf("on connection %d event %d follows event %d", nth, s, before)
		}
		if s <= latest {
			repeats++
		}
		nth, before, latest = m.nth, s, max(latest, s)
	}
	if latest != n {
		t.Errorf("published up to %d, want %d", latest, n)
	}
	return repeats
}
