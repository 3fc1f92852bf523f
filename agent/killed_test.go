package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"benchtally/agent/record"
)

// mosquitto starts a real broker on a free loopback port and returns its address.
func mosquitto(t testing.TB) string {
	t.Helper()
	return mosquittoBy(t, "allow_anonymous true\n")
}

// mosquittoBy does so with a configuration of who is let in.
func mosquittoBy(t testing.TB, config string) string {
	t.Helper()
	path := mosquittoPath(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	_, port, _ := net.SplitHostPort(address)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	write(t, conf, "listener "+port+" 127.0.0.1\n"+config+"max_queued_messages 0\nmax_inflight_messages 1\n")
	cmd := exec.Command(path, "-c", conf)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	for range 200 {
		if c, err := net.Dial("tcp", address); err == nil {
			_ = c.Close()
			return address
		}
		time.Sleep(25 * time.Millisecond) // a process of its own has no other way to say that it listens
	}
	t.Fatal("mosquitto does not listen")
	return ""
}

// arrivals are the events that a subscriber saw, in the order of their arrival.
type arrivals struct {
	mu   sync.Mutex
	seen []cloudEvent
}

// cloudEvent is an event as a subscriber has it.
type cloudEvent struct {
	ID       string          `json:"id"`
	Source   string          `json:"source"`
	Type     string          `json:"type"`
	Sequence string          `json:"sequence"`
	Data     json.RawMessage `json:"data"`
	payload  string
	topic    string
}

func subscribe(t testing.TB, broker, topic string) *arrivals {
	t.Helper()
	var a arrivals
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("watcher").SetOrderMatters(true))
	if token := c.Connect(); token.Wait() && token.Error() != nil {
		t.Fatal(token.Error())
	}
	t.Cleanup(func() { c.Disconnect(100) })
	token := c.Subscribe(topic, 1, func(_ paho.Client, m paho.Message) {
		e := cloudEvent{payload: string(m.Payload()), topic: m.Topic()}
		if err := json.Unmarshal(m.Payload(), &e); err != nil {
			t.Errorf("%s: %v", m.Topic(), err)
		}
		a.mu.Lock()
		a.seen = append(a.seen, e)
		a.mu.Unlock()
	})
	if token.Wait() && token.Error() != nil {
		t.Fatal(token.Error())
	}
	return &a
}

// TestRunKilled kills the agent at random moments under load. No record that it
// printed is lost, none stands twice in the store, and a subscriber sees every
// sequence number at least once and in order.
func TestRunKilled(t *testing.T) {
	t.Parallel() // it waits for other processes
	kills := 200
	if testing.Short() {
		kills = 20
	}
	broker := mosquitto(t)
	seen := subscribe(t, broker, "riverside/hose-shop/north-bench/event/#")
	_, config := shop(t, "[mqtt]\nbroker = \"tcp://"+broker+"\"\n")
	printed := map[uint64]string{}
	rnd := rand.New(rand.NewPCG(3, 3))
	for n := range kills + 1 {
		last := n == kills
		cmd := program(t, "run", "--config", config, "--inputs", "-")
		stdin, err1 := cmd.StdinPipe()
		stdout, err2 := cmd.StdoutPipe()
		if err := errors.Join(err1, err2, cmd.Start()); err != nil {
			t.Fatal(err)
		}
		stop := make(chan struct{})
		var loading sync.WaitGroup
		loading.Go(func() {
			load(stdin, n, stop)
			_ = stdin.Close()
		})
		if last {
			time.AfterFunc(time.Second, func() { close(stop) })
		} else {
			time.AfterFunc(time.Duration(30+rnd.IntN(170))*time.Millisecond, func() {
				_ = cmd.Process.Kill()
				close(stop)
			})
		}
		lines := bufio.NewScanner(stdout)
		for lines.Scan() {
			var r struct{ Seq uint64 }
			if err := json.Unmarshal(lines.Bytes(), &r); err != nil {
				continue // the kill cut the line off
			}
			if _, twice := printed[r.Seq]; twice {
				t.Fatalf("run %d: record %d was printed twice", n, r.Seq)
			}
			printed[r.Seq] = lines.Text()
		}
		loading.Wait()
		if err := cmd.Wait(); last && err != nil {
			t.Fatalf("the last run: %v", err)
		}
	}
	for range 12 { // each run without inputs sends what waits, for up to ten seconds
		if n := waiting(t, config); n == 0 {
			break
		}
		if err := program(t, "run", "--config", config, "--inputs", "-").Run(); err != nil {
			t.Fatalf("a run to send what waits: %v", err)
		}
	}
	_, log, errs := command(t, "", "log", "--config", config, "--json")
	kept := map[uint64]string{}
	next := uint64(1)
	for line := range strings.Lines(log) {
		var r record.Record
		if err := json.Unmarshal([]byte(line), &r); err != nil {
			t.Fatal(err)
		}
		if r.Seq != next {
			t.Fatalf("record %d follows record %d: %s", r.Seq, next-1, errs)
		}
		kept[r.Seq] = strings.TrimSpace(line)
		next++
	}
	for seq, line := range printed {
		if kept[seq] != line {
			t.Errorf("record %d was printed as\n%s\nand is kept as\n%s", seq, line, kept[seq])
		}
	}
	t.Logf("%d kills, %d records, %d of them printed", kills, len(kept), len(printed))
	checkArrivals(t, seen, kept)
}

// waiting is how many events wait for the broker.
func waiting(t *testing.T, config string) uint64 {
	t.Helper()
	_, out, errs := command(t, "", "status", "--config", config, "--json")
	var st status
	if err := json.Unmarshal([]byte(out), &st); err != nil {
		t.Fatalf("%v: %s", err, errs)
	}
	return st.Queue
}

// checkArrivals wants every kept record to have arrived, first arrivals in
// order, repeats byte for byte the same.
func checkArrivals(t *testing.T, seen *arrivals, kept map[uint64]string) {
	t.Helper()
	deadline := time.Now().Add(10 * time.Second)
	for {
		seen.mu.Lock()
		n := len(seen.seen)
		done := n > 0 && seen.seen[n-1].Sequence == fmt.Sprintf("%020d", len(kept))
		seen.mu.Unlock()
		if done || time.Now().After(deadline) {
			break
		}
		time.Sleep(20 * time.Millisecond) // the broker's last messages are on their way
	}
	seen.mu.Lock()
	defer seen.mu.Unlock()
	first := map[uint64]cloudEvent{}
	next, before := uint64(1), uint64(0)
	for _, e := range seen.seen {
		seq, err := strconv.ParseUint(e.Sequence, 10, 64)
		if err != nil || len(e.Sequence) != 20 {
			t.Fatalf("sequence %q", e.Sequence)
		}
		if old, repeat := first[seq]; repeat {
			if old.payload != e.payload {
				t.Errorf("the repeat of %d differs:\n%s\n%s", seq, old.payload, e.payload)
			}
		} else {
			if seq != next {
				t.Fatalf("sequence %d arrived, want %d", seq, next)
			}
			first[seq], next = e, next+1
			if string(e.Data) != kept[seq] {
				t.Errorf("sequence %d carries\n%s\nkept is\n%s", seq, e.Data, kept[seq])
			}
		}
		if seq > before+1 {
			t.Errorf("sequence %d came after %d", seq, before)
		}
		before = seq
	}
	if int(next-1) != len(kept) {
		t.Errorf("%d of %d records arrived", next-1, len(kept))
	}
	t.Logf("%d events arrived, %d of them repeats", len(seen.seen), len(seen.seen)-len(first))
}

// load is a bench in a hurry: an order, readings, actions that are refused, and
// now and then a stroke.
func load(w io.Writer, run int, stop <-chan struct{}) {
	say := func(format string, args ...any) bool {
		_, err := fmt.Fprintf(w, format+"\n", args...)
		return err == nil
	}
	if !say(`{"do":"start","order":"A-%d","spec":"hs-08","quantity":6,"setting":120}`, 1001+run%5) {
		return
	}
	for i := 0; ; i++ {
		select {
		case <-stop:
			return
		default:
		}
		var ok bool
		switch i % 8 {
		case 0:
			ok = say(`{"level":0}`)
		case 5:
			ok = say(`{"do":"same"}`)
		case 6:
			ok = say(`{"level":1}`)
		default:
			ok = say(`{"text":"+1.%04d\r\n"}`, 1990+i%30)
		}
		if !ok {
			return
		}
		if i%8 == 7 {
			time.Sleep(2 * time.Millisecond) // a bench in a hurry, not a flood
		}
	}
}
