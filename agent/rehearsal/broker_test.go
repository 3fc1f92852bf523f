package rehearsal

import (
	"net"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// connect connects a client and tells when it loses the broker.
func connect(t *testing.T, addr string) (paho.Client, <-chan error) {
	t.Helper()
	lost := make(chan error, 1)
	o := paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("bench").SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectTimeout(5 * time.Second).
		SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	c := paho.NewClient(o)
	done(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(0) })
	return c, lost
}

func done(t *testing.T, token paho.Token) {
	t.Helper()
	if !token.WaitTimeout(5 * time.Second) {
		t.Fatal("the broker does not answer")
	}
	if err := token.Error(); err != nil {
		t.Fatal(err)
	}
}

// settle waits until the broker has counted what the client published: it takes
// a client's packets one after another, and acknowledges a message before that.
func settle(t *testing.T, c paho.Client) {
	t.Helper()
	done(t, c.Subscribe("z", 0, nil))
}

func TestBrokerOffAndOn(t *testing.T) {
	b, err := StartBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	addr := b.Addr()
	c, lost := connect(t, addr)
	done(t, c.Publish("a/b", 1, false, "1"))
	done(t, c.Publish("a/b", 1, true, "2"))
	done(t, c.Publish("a/c", 0, false, "3"))
	settle(t, c)

	for range 2 {
		if err := b.Stop(); err != nil {
			t.Fatal(err)
		}
	}
	select {
	case err := <-lost:
		if err == nil {
			t.Error("the client lost its broker without a reason")
		}
	case <-time.After(5 * time.Second):
		t.Fatal("the client has not noticed")
	}
	if conn, err := net.Dial("tcp", addr); err == nil {
		_ = conn.Close()
		t.Error("the port still answers")
	}

	for range 2 {
		if err := b.Start(); err != nil {
			t.Fatal(err)
		}
	}
	if b.Addr() != addr {
		t.Errorf("it is on %s now, was on %s", b.Addr(), addr)
	}
	c, _ = connect(t, addr)
	got := make(chan string, 1)
	done(t, c.Subscribe("a/b", 1, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }))
	done(t, c.Publish("a/b", 1, false, "4"))
	select {
	case m := <-got:
		if m != "4" {
			t.Errorf("got %q, want 4: it should have forgotten the retained message", m)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("the message did not come back")
	}
	settle(t, c)
	if n := b.Received(); n["a/b"] != 3 || n["a/c"] != 1 || len(n) != 2 {
		t.Errorf("received %v, want three on a/b and one on a/c", n)
	}
}

func TestBrokerRefusesToStart(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = taken.Close() }()
	for _, tt := range []struct{ name, addr, want string }{
		{"a port in use", taken.Addr().String(), "address already in use"},
		{"all of the network", "0.0.0.0:0", "can be reached from other machines"},
		{"no address", "nowhere", "missing port"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b, err := StartBroker(tt.addr)
			if err == nil {
				_ = b.Close()
				t.Fatal("it started")
			}
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %q, want one with %q", err, tt.want)
			}
		})
	}
}
