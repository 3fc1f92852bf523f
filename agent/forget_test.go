package main

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"benchtally/agent/record"
	"benchtally/agent/rehearsal"
	"benchtally/store"
)

// standing is what a newcomer gets from a broker at once: the retained topics.
func standing(t *testing.T, addr string) map[string]string {
	t.Helper()
	var mu sync.Mutex
	found := map[string]string{}
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("newcomer"))
	token := c.Connect()
	if token.Wait(); token.Error() != nil {
		t.Fatal(token.Error())
	}
	token = c.Subscribe("#", 1, func(_ paho.Client, m paho.Message) {
		mu.Lock()
		defer mu.Unlock()
		if m.Retained() {
			found[m.Topic()] = string(m.Payload())
		}
	})
	if token.Wait(); token.Error() != nil {
		t.Fatal(token.Error())
	}
	time.Sleep(100 * time.Millisecond) // they come right behind the subscription's answer
	c.Disconnect(100)
	mu.Lock()
	defer mu.Unlock()
	return maps.Clone(found)
}

// leave puts a retained message at a broker.
func leave(t *testing.T, addr, topic string) {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("former"))
	for _, token := range []func() paho.Token{c.Connect, func() paho.Token { return c.Publish(topic, 1, true, "{}") }} {
		if t0 := token(); !t0.WaitTimeout(10*time.Second) || t0.Error() != nil {
			t.Fatal(t0.Error())
		}
	}
	c.Disconnect(100)
}

func newPlant(t *testing.T) string {
	t.Helper()
	plant, err := rehearsal.StartBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := plant.Close(); err != nil {
			t.Error(err)
		}
	})
	return plant.Addr()
}

// workOnce runs the agent for one order.
func workOnce(t *testing.T, config string) {
	t.Helper()
	a := startAgent(t, config)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.next(record.Start)
	a.end()
}

var sixTopics = []string{"info", "state/cage", "state/health", "state/last", "state/work", "status"}

func under(base string) (topics []string) {
	for _, t := range sixTopics {
		topics = append(topics, base+"/"+t)
	}
	return topics
}

func wantStanding(t *testing.T, addr string, want []string) map[string]string {
	t.Helper()
	found := standing(t, addr)
	if got := slices.Sorted(maps.Keys(found)); !slices.Equal(got, want) {
		t.Errorf("standing at the broker:\n got %v\nwant %v", got, want)
	}
	return found
}

// TestPressMoves: a press that gets another name or another place leaves nothing
// behind, even if it could not reach the broker in between.
func TestPressMoves(t *testing.T) {
	addr := newPlant(t)
	dir, config := shop(t, "[mqtt]\nbroker = \"tcp://"+addr+"\"\n")
	text, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	rename := func(name string) {
		t.Helper()
		changed := strings.Replace(string(text), `name = "north-bench"`, `name = "`+name+`"`, 1)
		if changed == string(text) && name != "north-bench" {
			t.Fatalf("there is no name in %s", text)
		}
		write(t, config, changed)
	}
	workOnce(t, config)
	wantStanding(t, addr, under("riverside/hose-shop/north-bench"))

	kept, err := store.Open(filepath.Join(dir, "bench.db"), store.Options{}) // a start while the broker is away
	if err != nil {
		t.Fatal(err)
	}
	if former, err := formerBases(kept, "riverside/hose-shop/hall-two"); err != nil || !slices.Equal(former, []string{"riverside/hose-shop/north-bench"}) {
		t.Errorf("former bases %v, %v", former, err)
	}
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}

	rename("hall-three")
	workOnce(t, config)
	wantStanding(t, addr, under("riverside/hose-shop/hall-three"))

	rename("north-bench") // and back
	workOnce(t, config)
	wantStanding(t, addr, under("riverside/hose-shop/north-bench"))
}

// TestForgetCommand: a press that is taken out of service leaves nothing behind,
// and not while it runs.
func TestForgetCommand(t *testing.T) {
	addr := newPlant(t)
	dir, config := shop(t, "[mqtt]\nbroker = \"tcp://"+addr+"\"\n")
	a := startAgent(t, config)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.next(record.Start)
	if code, _, errs := command(t, "", "forget", "--config", config); code != exitFault || !strings.Contains(errs, "stop it first") {
		t.Errorf("while the agent runs: exit %d, %s", code, errs)
	}
	leave(t, addr, "riverside/hose-shop/old-bench/info")
	if code, out, errs := command(t, "", "forget", "--config", config, "--base", "riverside/hose-shop/old-bench"); code != exitDone || !strings.Contains(out, "old-bench/info") {
		t.Errorf("another base while the agent runs: exit %d, %s%s", code, out, errs)
	}
	if s := standing(t, addr); s["riverside/hose-shop/old-bench/info"] != "" || s["riverside/hose-shop/north-bench/info"] == "" {
		t.Errorf("while the agent runs another base was forgotten, and there stands %v", s)
	}
	a.end()
	wantStanding(t, addr, under("riverside/hose-shop/north-bench"))
	code, out, errs := command(t, "", "forget", "--config", config)
	if code != exitDone || errs != "" {
		t.Fatalf("exit %d, %s", code, errs)
	}
	for _, topic := range under("riverside/hose-shop/north-bench") {
		if !strings.Contains(out, topic) {
			t.Errorf("%s is not told: %s", topic, out)
		}
	}
	wantStanding(t, addr, nil)

	// The card is lost: from another machine, with the same configuration.
	workOnce(t, config)
	if err := os.Rename(filepath.Join(dir, "bench.db"), filepath.Join(dir, "lost.db")); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := command(t, "", "forget", "--config", config, "--base", "riverside/hose-shop/north-bench", "--json"); code != exitDone || !strings.Contains(out, `"riverside/hose-shop/north-bench/state/work"`) {
		t.Errorf("without a store: exit %d, %s%s", code, out, errs)
	}
	wantStanding(t, addr, nil)
}

// TestReplacedCard: with a new card a press begins anew under a new store id, so
// that nobody takes its records for repeats.
func TestReplacedCard(t *testing.T) {
	addr := newPlant(t)
	dir, config := shop(t, "[mqtt]\nbroker = \"tcp://"+addr+"\"\n")
	workOnce(t, config)
	before := standing(t, addr)["riverside/hose-shop/north-bench/info"]
	if err := os.Remove(filepath.Join(dir, "bench.db")); err != nil {
		t.Fatal(err)
	}
	workOnce(t, config)
	after := standing(t, addr)["riverside/hose-shop/north-bench/info"]
	kept, err := store.Open(filepath.Join(dir, "bench.db"), store.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close() //nolint:errcheck // read only
	if !strings.Contains(after, `"store_id":"`+kept.ID()+`"`) || before == after {
		t.Errorf("info before %s, after %s; the new store is %s", before, after, kept.ID())
	}
}

// TestForgetFaults: each says what to do.
func TestForgetFaults(t *testing.T) {
	_, none := shop(t, "")
	_, away := shop(t, "[mqtt]\nbroker = \"tcp://127.0.0.1:1\"\n")
	for _, c := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no broker", []string{"--config", none}, exitUsage, "names no broker"},
		{"a base that is none", []string{"--config", away, "--base", "A/b"}, exitUsage, "may hold only a-z"},
		{"nobody there", []string{"--config", away}, exitFault, "nothing listens at 127.0.0.1:1"},
	} {
		if code, _, errs := command(t, "", append([]string{"forget"}, c.args...)...); code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("%s: exit %d, %s; want %d and %q", c.name, code, errs, c.code, c.says)
		}
	}
}
