package rehearsal

import (
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"sync"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Broker is a plant's broker that can be switched off and on. It lets everybody
// on this machine in, and nobody else. Its methods may be called at any time.
type Broker struct {
	addr string

	mu     sync.Mutex
	server *mqtt.Server // nil: off
	tally  tally
	hear   func(topic string, payload []byte)
}

// StartBroker begins to listen, on a loopback address such as 127.0.0.1:0.
func StartBroker(addr string) (*Broker, error) {
	b := &Broker{addr: addr, tally: tally{topics: map[string]int{}}}
	if err := b.Start(); err != nil {
		return nil, err
	}
	return b, nil
}

// Addr is host:port, the same for the broker's whole life.
func (b *Broker) Addr() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.addr
}

// Hear has each message told from the next Start on, one at a time for each client;
// the payload is valid during the call only.
func (b *Broker) Hear(hear func(topic string, payload []byte)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hear = hear
}

// Received is how many messages have come on each topic, all times on together.
func (b *Broker) Received() map[string]int { return b.tally.copy() }

// Start switches the broker on; it has forgotten its sessions and retained
// messages. It may be on already.
func (b *Broker) Start() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.server != nil {
		return nil
	}
	l, err := net.Listen("tcp", b.addr)
	if err != nil {
		return fmt.Errorf("start the broker: %w", err)
	}
	if tcp, ok := l.Addr().(*net.TCPAddr); !ok || !tcp.IP.IsLoopback() {
		return errors.Join(fmt.Errorf("start the broker: %s can be reached from other machines and it has no password: use 127.0.0.1", b.addr), l.Close())
	}
	// The library logs every client that leaves as trouble.
	server := mqtt.New(&mqtt.Options{Logger: slog.New(slog.DiscardHandler)})
	err = errors.Join(
		server.AddHook(&porter{tally: &b.tally, hear: b.hear}, nil),
		server.AddListener(listeners.NewNet("loopback", l)))
	if err == nil {
		err = server.Serve()
	}
	if err != nil {
		return errors.Join(fmt.Errorf("start the broker: %w", err), server.Close(), ignoreClosed(l.Close()))
	}
	b.addr, b.server = l.Addr().String(), server
	return nil
}

// Stop switches the broker off: connections end without a word. It may be off
// already.
func (b *Broker) Stop() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.server == nil {
		return nil
	}
	server := b.server
	b.server = nil
	if err := server.Close(); err != nil {
		return fmt.Errorf("stop the broker: %w", err)
	}
	return nil
}

// Close ends the broker.
func (b *Broker) Close() error { return b.Stop() }

// ignoreClosed takes an error of closing twice for none.
func ignoreClosed(err error) error {
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

// tally counts messages by topic.
type tally struct {
	mu     sync.Mutex
	topics map[string]int
}

func (t *tally) count(topic string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.topics[topic]++
}

func (t *tally) copy() map[string]int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return maps.Clone(t.topics)
}

// porter is the broker's hook that lets every client do everything and counts
// what they publish.
type porter struct {
	mqtt.HookBase
	tally *tally
	hear  func(topic string, payload []byte) // nil: nobody listens
}

// ID names the hook.
func (p *porter) ID() string { return "porter" }

// Provides says of what the hook wants to hear.
func (p *porter) Provides(b byte) bool {
	return b == mqtt.OnConnectAuthenticate || b == mqtt.OnACLCheck || b == mqtt.OnPublished
}

// OnConnectAuthenticate lets a client in.
func (p *porter) OnConnectAuthenticate(*mqtt.Client, packets.Packet) bool { return true }

// OnACLCheck lets a client use a topic.
func (p *porter) OnACLCheck(*mqtt.Client, string, bool) bool { return true }

// OnPublished counts a message.
func (p *porter) OnPublished(_ *mqtt.Client, m packets.Packet) {
	p.tally.count(m.TopicName)
	if p.hear != nil {
		p.hear(m.TopicName, m.Payload)
	}
}
