package main

import (
	"encoding/json"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/mqtt"
	"benchtally/store"
)

var (
	_ mqtt.Outbox = (*store.Store)(nil)
	_ station.Log = (*keeper)(nil)
)

// TestNotify: the service manager hears of readiness and of beats (sd_notify(3)).
func TestNotify(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = manager.Close() }()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "30000000")
	heard := func() string {
		b := make([]byte, 64)
		if err := manager.SetReadDeadline(time.Now().Add(5 * time.Second)); err != nil {
			t.Fatal(err)
		}
		n, err := manager.Read(b)
		if err != nil {
			t.Fatal(err)
		}
		return string(b[:n])
	}
	notify("READY=1")
	if got := heard(); got != "READY=1" {
		t.Errorf("heard %q", got)
	}
	if every, ok := fedEvery(); every != 10*time.Second || !ok {
		t.Errorf("fed every %v, %v", every, ok)
	}
	w := newWatchdog()
	w.status = func() string { return "north-bench:\n no order" }
	w.look()
	w.look() // the same status is not told twice
	notify("STOPPING=1")
	if got := []string{heard(), heard(), heard()}; got[0] != "WATCHDOG=1\nSTATUS=north-bench: no order" || got[1] != "WATCHDOG=1" || got[2] != "STOPPING=1" {
		t.Errorf("heard %q", got)
	}
	end := hold(time.Minute)
	if got := heard(); got != "EXTEND_TIMEOUT_USEC=30000000" {
		t.Errorf("heard %q", got)
	}
	end()
	end()
}

// TestRetainedTopics: a subscriber that comes late finds every state, flat, on a
// real broker.
func TestRetainedTopics(t *testing.T) {
	broker := mosquitto(t)
	_, config := shop(t, "[mqtt]\nbroker = \"tcp://"+broker+"\"\n[measure]\nplaces = 1\n")
	a := startAgent(t, config)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.say(`{"level":0}`)
	time.Sleep(time.Second) // a stroke takes its time, on a busy machine too
	a.say(`{"level":1}`)
	a.next(record.Stroke)
	a.say(`{"text":"+1.2030\r\n"}`)
	a.next(record.Correction)
	got := map[string]map[string]any{}
	messages := make(chan paho.Message, 100)
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("late"))
	if token := c.Connect(); token.Wait() && token.Error() != nil {
		t.Fatal(token.Error())
	}
	defer c.Disconnect(100)
	const base = "riverside/hose-shop/north-bench/"
	wanted := map[string]map[string]any{
		"status":       {"online": true, "session": 1.0},
		"info":         {"base": "riverside/hose-shop/north-bench", "unit_of_length": "mm"},
		"state/work":   {"order": "A-1001", "spec": "hs-08", "pieces": 1.0, "setting": 120.0, "target_mm": 30.48, "upper_mm": 30.607, "pass": 1.0},
		"state/cage":   {"cage": "C-21", "lubricate_strokes": 1.0, "lubricate_limit": 50.0, "lubricate_due": false, "teardown_limit": 1000.0},
		"state/last":   {"piece": "A-1001/1", "outcome": "pass", "deviation_mm": 0.0762, "next_setting": 117.0, "change": -3.0},
		"state/health": {"switch": "ok", "caliper": "ok", "store": "ok", "broker": "ok"},
	}
	missing := func() (names []string) {
		for name, keys := range wanted {
			for key, want := range keys {
				if got[name][key] != want {
					names = append(names, name+" "+key)
				}
			}
		}
		return names
	}
	c.Subscribe(base+"#", 1, func(_ paho.Client, m paho.Message) { messages <- m })
	for deadline := time.After(20 * time.Second); len(missing()) > 0; {
		select {
		case m := <-messages:
			name := strings.TrimPrefix(m.Topic(), base)
			if strings.HasPrefix(name, "event/") {
				if m.Retained() {
					t.Errorf("%s is retained", m.Topic())
				}
				continue
			}
			var state map[string]any
			if err := json.Unmarshal(m.Payload(), &state); err != nil {
				t.Fatalf("%s: %v", m.Payload(), err)
			}
			for key, v := range state {
				switch v.(type) {
				case map[string]any, []any:
					t.Errorf("%s: %s is not flat", name, key)
				}
			}
			got[name] = state
		case <-deadline:
			t.Fatalf("not as wanted: %v\n%v", missing(), got)
		}
	}
	a.end()
	for deadline := time.After(10 * time.Second); got["status"]["online"] != false; {
		select {
		case m := <-messages:
			var state map[string]any
			if err := json.Unmarshal(m.Payload(), &state); err != nil {
				t.Fatal(err)
			}
			got[strings.TrimPrefix(m.Topic(), base)] = state
		case <-deadline:
			t.Fatalf("the goodbye is missing: %v", got["status"])
		}
	}
}
