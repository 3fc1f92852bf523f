//go:build linux

package machine

import (
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// An event is a record as a broker got it.
type event struct {
	ID       string
	Sequence string
	Data     json.RawMessage
}

// A plant is a broker, and who hears what it gets: each event and each retained
// state once it has come, one at a time.
type plant struct {
	mochi.HookBase
	address string
	server  *mochi.Server
	closed  sync.Once
	mu      sync.Mutex
	event   func(event)
	state   func(topic string, payload []byte)
}

// ID is the hook's name.
func (p *plant) ID() string { return "plant" }

// Provides says that everybody is let in, and published messages are heard.
func (p *plant) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck || b == mochi.OnPublish
}

// OnConnectAuthenticate lets everybody in.
func (p *plant) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }

// OnACLCheck lets everybody publish.
func (p *plant) OnACLCheck(*mochi.Client, string, bool) bool { return true }

// OnPublish hears a message before it is acknowledged.
func (p *plant) OnPublish(_ *mochi.Client, m packets.Packet) (packets.Packet, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !strings.Contains(m.TopicName, "/event/") {
		if p.state != nil {
			p.state(m.TopicName, m.Payload)
		}
		return m, nil
	}
	var e event
	if err := json.Unmarshal(m.Payload, &e); err != nil {
		return m, err
	}
	p.event(e)
	return m, nil
}

// anywhere is a port of the loopback that is free.
const anywhere = "127.0.0.1:0"

// newPlant begins a broker at an address; it ends with the test.
func newPlant(t *testing.T, address string, heard func(event), state func(string, []byte)) *plant {
	t.Helper()
	p := &plant{event: heard, state: state}
	server := mochi.New(&mochi.Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	l, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	p.address = l.Addr().String()
	for _, err := range []error{
		server.AddHook(p, nil),
		server.AddListener(listeners.NewNet("plant", l)), server.Serve(),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	p.server = server
	t.Cleanup(p.close)
	return p
}

// inside is the broker's address as the machine sees it: its gateway is this
// machine's loopback.
func (p *plant) inside() string {
	_, port, _ := net.SplitHostPort(p.address)
	return "tcp://10.0.2.2:" + port
}

// close ends the broker; once is enough.
func (p *plant) close() { p.closed.Do(func() { _ = p.server.Close() }) }
