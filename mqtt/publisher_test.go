package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"benchtally/agent/record"
)

func TestEventsArriveInOrder(t *testing.T) {
	for _, window := range []int{1, 2, 16, 64} {
		t.Run(fmt.Sprintf("window %d", window), func(t *testing.T) {
			addr := mochiBroker(t, nil, nil)
			sub := subscribe(t, addr, "", "", testBase+"/event/#")
			b := newBox(700) // more than two chunks
			s := settings(addr)
			s.Window = window
			p := start(t, s, b, nil)
			drain(t, p)
			if got := b.cursor(); got != 700 {
				t.Errorf("sent up to %d, want 700", got)
			}
			b.add(1)
			p.Wake()
			drain(t, p)
			until(t, "701 events", func() bool { return len(sub.messages(nil)) >= 701 })
			if repeats := checkOrder(t, sub.messages(nil), 701); repeats != 0 {
				t.Errorf("%d repeats without a lost connection", repeats)
			}
			for _, m := range sub.messages(nil) {
				if m.topic != testBase+"/event/stroke" || m.qos != 1 || m.retained {
					t.Fatalf("event on %s, QoS %d, retained %t", m.topic, m.qos, m.retained)
				}
			}
			if s := p.State(); !s.Connected || s.Reason != "" || s.Session != 1 || time.Since(s.LastAck) > time.Minute {
				t.Errorf("state %+v", s)
			}
		})
	}
}

// statusOf reads a status payload.
func statusOf(t *testing.T, m message) (s struct {
	Online        bool
	Session       uint64
	Time, Expires time.Time
	Reason        string
}) {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(m.payload))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		t.Fatalf("status %q: %v", m.payload, err)
	}
	return s
}

func TestRetainedTopics(t *testing.T) {
	addr := mochiBroker(t, nil, nil)
	b := newBox(0)
	early := subscribe(t, addr, "", "", testBase+"/#")
	p := start(t, settings(addr), b, nil)
	p.Retain(Info, []byte(`{"version":"test"}`))
	p.Retain(Work, []byte(`{"order":"A-1001"}`))
	p.Retain(Work, []byte(`{"order":"A-1002"}`))
	p.Retain(Work, []byte(`{"order":"A-1002"}`)) // the same again
	// Whoever subscribes while a message is on its way gets it twice.
	until(t, "live messages", func() bool { return len(early.messages(nil)) >= 3 })
	late := subscribe(t, addr, "", "", testBase+"/#")
	until(t, "retained messages", func() bool { return len(late.messages(nil)) >= 3 })
	for topic, want := range map[string]string{
		testBase + "/info":       `{"version":"test"}`,
		testBase + "/state/work": `{"order":"A-1002"}`,
	} {
		got := late.messages(on(topic))
		if len(got) != 1 || got[0].payload != want || !got[0].retained || got[0].qos != 1 {
			t.Errorf("%s: got %+v, want %s retained at QoS 1", topic, got, want)
		}
	}
	status := late.messages(on(testBase + "/status"))
	if len(status) != 1 || !status[0].retained {
		t.Fatalf("status %+v, want one retained", status)
	}
	if s := statusOf(t, status[0]); !s.Online || s.Session != 1 || s.Expires.Sub(s.Time) != 150*time.Second || s.Reason != "" {
		t.Errorf("status %+v, want online for two and a half minutes in session 1", s)
	}

	p.Retain(Work, nil) // nothing in work: the topic goes
	until(t, "the topic's removal", func() bool {
		got := late.messages(on(testBase + "/state/work"))
		return len(got) == 2 && got[1].payload == ""
	})

	p.stop()
	until(t, "the farewell", func() bool { return len(late.messages(on(testBase+"/status"))) == 2 })
	if s := statusOf(t, late.messages(on(testBase + "/status"))[1]); s.Online || s.Session != 1 || s.Reason != "stopped" || s.Expires.Year() != 9999 {
		t.Errorf("status after a stop %+v", s)
	}
	if s := p.State(); s.Connected || s.Reason != "" {
		t.Errorf("state after a stop %+v", s)
	}

	start(t, settings(addr), b, nil)
	until(t, "the next session", func() bool { return len(late.messages(on(testBase+"/status"))) == 3 })
	if s := statusOf(t, late.messages(on(testBase + "/status"))[2]); !s.Online || s.Session != 2 {
		t.Errorf("status of the next session %+v, want online in session 2", s)
	}
}

func testPublisher(t *testing.T) *Publisher {
	t.Helper()
	p, err := New(settings("127.0.0.1:1"), newBox(0))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestRetainOfAnUnknownTopicIsABug(t *testing.T) {
	p := testPublisher(t)
	defer func() {
		if r := recover(); r != `mqtt: Retain of topic "status"` {
			t.Errorf("recovered %v", r)
		}
	}()
	p.Retain(Status, nil)
}

func TestRetainCopies(t *testing.T) {
	p := testPublisher(t)
	payload := []byte(`{"a":1}`)
	p.Retain(Last, payload)
	payload[1] = 'x'
	if got := string(p.newest(3).payload); got != `{"a":1}` {
		t.Errorf("kept %q", got)
	}
}

func TestResendsGoWhenNothingElseWaits(t *testing.T) {
	f := &fake{}
	b := newBox(300)
	b.sent = 290
	for seq := uint64(1); seq <= 280; seq++ { // more than a chunk
		b.resends = append(b.resends, seq)
	}
	s := settings(f.listen(t))
	s.Window = 4
	p := start(t, s, b, nil)
	until(t, "all sent again", func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		return len(b.resends) == 0
	})
	drain(t, p)
	events := f.messages(message.isEvent)
	if len(events) != 290 {
		t.Fatalf("%d events, want 10 new ones and 280 again", len(events))
	}
	for i, m := range events {
		want := uint64(291 + i)
		if i >= 10 {
			want = uint64(i - 9)
		}
		if m.seq() != want {
			t.Fatalf("event %d is %d, want %d", i, m.seq(), want)
		}
	}
	before, _, _ := AppendEvent(nil, testBase, testEvent(5))
	if events[14].payload != string(before) {
		t.Errorf("the repeat has other bytes:\n%s\n%s", events[14].payload, before)
	}
	if b.cursor() != 300 {
		t.Errorf("cursor at %d, want 300", b.cursor())
	}
}

func TestDrain(t *testing.T) {
	f := &fake{onPub: func(m message) reaction {
		if m.seq() == 3 {
			return ignore
		}
		return acknowledge
	}}
	b := newBox(3)
	p := start(t, settings(f.listen(t)), b, nil)
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	err := p.Drain(ctx)
	if !errors.Is(err, context.DeadlineExceeded) || !strings.Contains(err.Error(), "left unsent") {
		t.Errorf("an event is not acknowledged: got %v, want the deadline", err)
	}
	until(t, "two events sent", func() bool { return b.cursor() == 2 })
}

func TestDrainOfAnEmptyOutbox(t *testing.T) {
	p := start(t, settings(mochiBroker(t, nil, nil)), newBox(0), nil)
	for range 100 {
		drain(t, p)
	}
}

func TestEventThatCannotBeSentHoldsTheRest(t *testing.T) {
	f := &fake{}
	b := newBox(5)
	good := b.events[2].Record
	b.events[2].Record = []byte(`{"seq":3`)
	p := start(t, settings(f.listen(t)), b, nil)
	until(t, "the trouble", func() bool { return p.State().Reason != "" })
	s := p.State()
	if !s.Connected || s.Stuck != 3 || !strings.HasPrefix(s.Reason, "event 3: its record is not JSON") {
		t.Errorf("state %+v, want connected and stuck at 3", s)
	}
	if b.cursor() != 2 || len(f.messages(message.isEvent)) != 2 {
		t.Errorf("cursor at %d, %d events; want 2", b.cursor(), len(f.messages(message.isEvent)))
	}
	p.Retain(Health, []byte(`{"stuck":3}`)) // the rest of the topics live on
	until(t, "health", func() bool { return len(f.messages(on(testBase+"/state/health"))) == 1 })

	b.mu.Lock()
	b.events[2].Record = good
	b.mu.Unlock()
	p.Wake()
	drain(t, p)
	checkOrder(t, f.messages(message.isEvent), 5)
	if s := p.State(); s.Reason != "" || s.Stuck != 0 {
		t.Errorf("state %+v, want no trouble left", s)
	}
}

func TestOutboxThatFails(t *testing.T) {
	f := &fake{}
	b := newBox(1)
	b.noSess = errors.New("disk full")
	p := start(t, settings(f.listen(t)), b, nil)
	until(t, "the trouble", func() bool { return p.State().Reason != "" })
	if s := p.State(); s.Connected || s.Reason != "the store gives no session number: disk full" {
		t.Errorf("state %+v", s)
	}
	if n := f.connections(); n != 0 {
		t.Errorf("%d CONNECTs without a session number", n)
	}
	b.mu.Lock()
	b.noSess, b.err = nil, errors.New("unreadable")
	b.mu.Unlock()
	until(t, "connected with trouble", func() bool { return p.State().Connected && p.State().Reason != "" })
	if s := p.State(); s.Reason != "the store fails (unsent): unreadable" {
		t.Errorf("state %+v", s)
	}
	b.mu.Lock()
	reads := b.reads
	b.mu.Unlock()
	if reads > 20 {
		t.Errorf("%d reads of an outbox that fails", reads)
	}
	b.fail(nil)
	p.stop()
	p = start(t, settings(f.listen(t)), b, nil)
	drain(t, p)
	if s := p.State(); s.Reason != "" {
		t.Errorf("state %+v", s)
	}
}

// halfBad is an outbox with a record that it can no longer read.
type halfBad struct{ *box }

func (h halfBad) Unsent(after uint64, limit int) ([]record.Event, error) {
	events, err := h.box.Unsent(after, limit)
	for i, e := range events {
		if e.Seq == 2 {
			return append(events[:i:i], events[i+1:]...), errors.New("record 2 is damaged")
		}
	}
	return events, err
}

func TestEventsBesideADamagedOneGo(t *testing.T) {
	f := &fake{}
	b := newBox(4)
	p := start(t, settings(f.listen(t)), halfBad{b}, nil)
	drain(t, p)
	var got []uint64
	for _, m := range f.messages(message.isEvent) {
		got = append(got, m.seq())
	}
	if fmt.Sprint(got) != "[1 3 4]" || b.cursor() != 4 {
		t.Errorf("events %v, cursor %d; want [1 3 4] and 4", got, b.cursor())
	}
}

func TestUserAndPassword(t *testing.T) {
	addr := mochiBroker(t, nil, map[string]string{"north-bench": "hose-and-ferrule"})
	file := filepath.Join(t.TempDir(), "password")
	write := func(password string, mode os.FileMode) {
		t.Helper()
		if err := os.WriteFile(file, []byte(password), mode); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(file, mode); err != nil {
			t.Fatal(err)
		}
	}
	var log strings.Builder
	s := settings(addr)
	s.User, s.PasswordFile = "north-bench", file
	s.Log = debugLog(&log)
	b := newBox(3)
	p := start(t, s, b, nil)
	reason := func(part string) {
		t.Helper()
		until(t, part, func() bool { return strings.Contains(p.State().Reason, part) })
	}
	reason("password: open " + file + ": no such file")
	write("hose-and-ferrule", 0o644)
	reason("can be read by everybody on this machine")
	write("wrong-secret\n", 0o600)
	reason("does not let this press in: check user, password")
	if b.cursor() != 0 {
		t.Errorf("events are sent without a connection")
	}
	write("hose-and-ferrule\r\n", 0o640)
	drain(t, p) // read anew, no restart
	p.stop()
	for _, secret := range []string{"hose-and-ferrule", "wrong-secret"} {
		if strings.Contains(log.String(), secret) {
			t.Errorf("the log shows the password:\n%s", log.String())
		}
	}
	if n := strings.Count(log.String(), "level=WARN"); n != 3 {
		t.Errorf("%d warnings, want one for each of three reasons:\n%s", n, log.String())
	}
}

func TestNoGoroutineIsLeft(t *testing.T) {
	before := runtime.NumGoroutine()
	f := &fake{onPub: func(m message) reaction {
		if m.nth%2 == 1 && m.isEvent() {
			return cut
		}
		return acknowledge
	}}
	addr := f.listen(t)
	for range 10 {
		b := newBox(4)
		s := settings(addr)
		s.Window = 2
		p := start(t, s, b, nil)
		drain(t, p)
		p.stop()
	}
	if n := f.connections(); n < 20 {
		t.Fatalf("%d connections, want 20 at least", n)
	}
	until(t, "the goroutines' end", func() bool { return runtime.NumGoroutine() <= before+1 }) // the listener's
}
