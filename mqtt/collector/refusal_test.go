package main

import (
	"log/slog"
	"net"
	"strings"
	"testing"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// writers lets nobody read.
type writers struct{ mochi.HookBase }

func (writers) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}
func (writers) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }
func (writers) OnACLCheck(_ *mochi.Client, _ string, write bool) bool    { return write }

// A database in which nothing was created.
func TestDatabaseWithoutTables(t *testing.T) {
	newDatabase(t) // starts the server
	c := collect(t, "127.0.0.1:1", shared.url("postgres"), nil)
	until(t, "what to do", func() bool { return strings.Contains(c.logs.String(), "run the collector once with --create") })
}

// A broker that says so; Mosquitto grants the subscription and sends nothing.
func TestBrokerThatLetsNobodyRead(t *testing.T) {
	url, _ := newDatabase(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)})
	t.Cleanup(func() { _ = server.Close() })
	if err := server.AddHook(new(writers), nil); err != nil {
		t.Fatal(err)
	}
	if err := server.AddListener(listeners.NewNet("loopback", l)); err != nil {
		t.Fatal(err)
	}
	if err := server.Serve(); err != nil {
		t.Fatal(err)
	}
	c := collect(t, l.Addr().String(), url, nil)
	until(t, "the refusal", func() bool {
		return strings.Contains(c.logs.String(), "does not let this user read riverside/hose-shop/+/")
	})
}
