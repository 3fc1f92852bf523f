package mqtt

import (
	"net"
	"sync"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// tap stands between a press and its broker and notes what is acknowledged. It
// can cut the connection and keep the press out.
type tap struct {
	addr string

	mu     sync.Mutex
	closed bool
	conns  map[net.Conn]bool
	acked  map[uint64]bool // sequences of events
}

func newTap(t testing.TB, broker string) *tap {
	t.Helper()
	p := &tap{conns: map[net.Conn]bool{}, acked: map[uint64]bool{}}
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
	far, err := net.Dial("tcp", broker)
	if err != nil {
		return
	}
	defer far.Close() //nolint:errcheck // test
	p.mu.Lock()
	p.conns[press], p.conns[far] = true, true
	p.mu.Unlock()
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
				if m := (message{topic: cp.TopicName, payload: string(cp.Payload)}); m.isEvent() {
					ids.Store(cp.MessageID, m.seq())
				} else {
					ids.Delete(cp.MessageID)
				}
			case *packets.PubackPacket:
				if seq, ok := ids.Load(cp.MessageID); ok {
					p.mu.Lock()
					p.acked[seq.(uint64)] = true
					p.mu.Unlock()
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

// checkSent fails the test if an event is marked sent that was not
// acknowledged.
func (p *tap) checkSent(t *testing.T, b *box) {
	t.Helper()
	var before uint64
	b.onSent = func(seq uint64) {
		p.mu.Lock()
		defer p.mu.Unlock()
		for s := before + 1; s <= seq; s++ {
			if !p.acked[s] {
				t.Errorf("event %d is marked sent, the broker has not acknowledged it", s)
			}
		}
		before = max(before, seq)
	}
}

// acknowledged reports whether the broker has ever acknowledged an event.
func (p *tap) acknowledged(seq uint64) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.acked[seq]
}
