package mqtt_test

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net"

	paho "github.com/eclipse/paho.mqtt.golang"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"benchtally/agent/record"
	"benchtally/mqtt"
)

// A subscriber needs three things: a session that the broker keeps, an
// acknowledgement after the event is kept and not before, and a memory of source
// and id, because an event may come more than once. Here the memory is a map;
// benchtally/mqtt/collector does it with a database, and looks for gaps too.
func Example_subscriber() {
	const base = "riverside/hose-shop/north-bench"
	addr, stop := broker()
	defer stop()

	seen := map[string]bool{}
	came := make(chan string, 8)
	handle := func(_ paho.Client, m paho.Message) {
		var e struct {
			Source, ID string
			Data       struct {
				Seq  uint64
				Kind string
				Cage string
			}
		}
		switch err := json.Unmarshal(m.Payload(), &e); {
		case err != nil:
			came <- "no event"
		case seen[e.Source+" "+e.ID]:
			came <- "again"
		default:
			seen[e.Source+" "+e.ID] = true // commit it to a database here
			came <- fmt.Sprintf("%s: %s %d with cage %s", e.Source, e.Data.Kind, e.Data.Seq, e.Data.Cage)
		}
		m.Ack() // also what is no event: it would come again and again
	}
	subscriber := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).
		SetClientID("collector").SetCleanSession(false).SetAutoAckDisabled(true).SetAutoReconnect(false).
		SetDefaultPublishHandler(handle)) // of all messages, those that waited at the broker as well
	if t := subscriber.Connect(); t.Wait() && t.Error() != nil {
		panic(t.Error())
	}
	defer subscriber.Disconnect(100)
	subscriber.Subscribe(base+"/event/#", 1, nil).Wait()

	press := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("north-bench"))
	if t := press.Connect(); t.Wait() && t.Error() != nil {
		panic(t.Error())
	}
	defer press.Disconnect(100)
	for _, seq := range []uint64{1, 2, 2} { // the second one twice
		payload, topic, err := mqtt.AppendEvent(nil, base, record.Event{
			Seq: seq, ID: fmt.Sprintf("11bc173b9bf7c0b5-ec20f94267b3b6aa-%d", seq),
			Record: fmt.Appendf(nil, `{"seq":%d,"at":"2026-03-02T06:00:05.000000Z","kind":"stroke","cage":"C-21","crimp":1}`, seq),
		})
		if err != nil {
			panic(err)
		}
		press.Publish(topic, 1, false, payload).Wait()
		fmt.Println(<-came)
	}
	// Output:
	// /riverside/hose-shop/north-bench: stroke 1 with cage C-21
	// /riverside/hose-shop/north-bench: stroke 2 with cage C-21
	// again
}

// broker is one in this process, for the example alone.
func broker() (addr string, stop func()) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		panic(err)
	}
	server := mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)})
	if err := server.AddHook(new(everybody), nil); err != nil {
		panic(err)
	}
	if err := server.AddListener(listeners.NewNet("loopback", l)); err != nil {
		panic(err)
	}
	if err := server.Serve(); err != nil {
		panic(err)
	}
	return l.Addr().String(), func() { _ = server.Close() }
}

// everybody may do everything.
type everybody struct{ mochi.HookBase }

func (everybody) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}
func (everybody) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }
func (everybody) OnACLCheck(*mochi.Client, string, bool) bool              { return true }
