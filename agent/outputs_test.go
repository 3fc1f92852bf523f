package main

import (
	"encoding/json"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"benchtally/agent/record"
	"benchtally/mqtt/sparkplug"
	"benchtally/store"
)

var (
	_ sparkplug.Log = (*store.Store)(nil)
)

// TestNodeBesideTheEvents: the press is an edge node too, with a connection of its
// own, and both outputs tell of the same record.
func TestNodeBesideTheEvents(t *testing.T) {
	addr := newPlant(t)
	_, config := shop(t, "[mqtt]\nbroker = \"tcp://127.0.0.1:1 tcp://"+addr+"\"\n[sparkplug]\ngroup = \"riverside-hose-shop\"\n")
	var mu sync.Mutex
	heard := map[string][]sparkplug.Payload{}
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("host"))
	token := c.Connect()
	if token.Wait(); token.Error() != nil {
		t.Fatal(token.Error())
	}
	defer c.Disconnect(100)
	token = c.Subscribe("spBv1.0/#", 1, func(_ paho.Client, m paho.Message) {
		p, err := sparkplug.Decode(m.Payload())
		if err != nil {
			t.Errorf("%s: %v", m.Topic(), err)
		}
		mu.Lock()
		defer mu.Unlock()
		heard[m.Topic()] = append(heard[m.Topic()], p)
	})
	if token.Wait(); token.Error() != nil {
		t.Fatal(token.Error())
	}
	got := func(kind string) []sparkplug.Payload {
		mu.Lock()
		defer mu.Unlock()
		return heard["spBv1.0/riverside-hose-shop/"+kind]
	}
	await := func(what string, ok func() bool) {
		t.Helper()
		for end := time.Now().Add(15 * time.Second); !ok(); time.Sleep(5 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("waited in vain: %s; heard %v", what, heard)
			}
		}
	}

	a := startAgent(t, config)
	await("births", func() bool { return len(got("NBIRTH/north-bench")) == 1 && len(got("DBIRTH/north-bench/press")) == 1 })
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	start := a.next(record.Start)
	await("the start", func() bool {
		for _, p := range got("DDATA/north-bench/press") {
			for _, m := range p.Metrics {
				if n, ok := m.Value.As(sparkplug.TypeInt64); ok && m.Name == "Record/Sequence" && n == sparkplug.Int64(int64(start.Seq)) {
					return true
				}
			}
		}
		return false
	})
	code, out, errs := command(t, "", "status", "--config", config, "--json")
	var st status
	if code != exitDone || json.Unmarshal([]byte(out), &st) != nil {
		t.Fatalf("exit %d, %s", code, errs)
	}
	link := statusLink{}
	for _, l := range st.Links {
		if l.Name == "sparkplug" {
			link = l
		}
	}
	if !link.OK || link.Text != "connected to tcp://"+addr {
		t.Errorf("link %+v", link)
	}
	await("the node in the health topic", func() bool { // it may be told a moment after the connection
		return strings.Contains(standing(t, addr)["riverside/hose-shop/north-bench/state/health"], `"sparkplug":"ok"`)
	})
	a.end()
	await("the death", func() bool { return len(got("NDEATH/north-bench")) == 1 })

	a = startAgent(t, config)
	await("births again", func() bool { return len(got("NBIRTH/north-bench")) == 2 })
	a.end()
	for i, p := range got("NBIRTH/north-bench") {
		for _, m := range p.Metrics {
			if m.Name == sparkplug.BdSeq && m.Value != sparkplug.Int64(int64(i)) {
				t.Errorf("birth %d has bdSeq %+v", i, m.Value)
			}
		}
	}
}

// TestNodeAlone: with a broker of its own the node works without the events, and
// one that is away is shown.
func TestNodeAlone(t *testing.T) {
	_, config := shop(t, "[sparkplug]\ngroup = \"riverside-hose-shop\"\nbroker = \"tcp://127.0.0.1:1\"\n")
	a := startAgent(t, config)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.next(record.Start)
	var out string
	for end := time.Now().Add(15 * time.Second); !strings.Contains(out, "nothing listens at 127.0.0.1:1"); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("the reason is not shown: %s", out)
		}
		_, out, _ = command(t, "", "status", "--config", config)
	}
	a.end()
}
