package mqtt

import (
	"log/slog"
	"strings"
	"testing"
	"time"
)

func TestAnotherBrokerWhenOneDies(t *testing.T) {
	first, second := &fake{}, &fake{}
	a, b := first.listen(t), second.listen(t)
	s := settings("")
	s.Address = "tcp://127.0.0.1:1 tcp://" + a + " tcp://" + b // nobody, one that dies, one that lives
	first.onPub = func(m message) reaction {
		if m.seq() > 3 {
			return cut
		}
		return acknowledge
	}
	var said strings.Builder
	s.Log = slog.New(slog.NewTextHandler(&said, nil))
	box := newBox(20)
	p := start(t, s, box, nil)
	drain(t, p)
	if n := len(first.messages(message.isEvent)); n != 4 {
		t.Errorf("the first broker saw %d events, want 3 and the one at which it died", n)
	}
	seen := append(first.messages(message.isEvent), second.messages(message.isEvent)...)
	if missing, _ := gaps(t, seen, 20); len(missing) > 0 {
		t.Errorf("events %v came to neither broker", missing)
	}
	if first.connections() != 1 || second.connections() != 1 {
		t.Errorf("%d and %d connections, want one each", first.connections(), second.connections())
	}
	if s := p.State(); !s.Connected || s.At != b {
		t.Errorf("state %+v, want it connected to %s", s, b)
	}
	p.stop()
	if s := p.State(); s.Connected {
		t.Errorf("state after a stop %+v", s)
	}
	for _, at := range []string{a, b} { // of several the log says which
		if !strings.Contains(said.String(), `msg="broker connected" broker="127.0.0.1:1 `+a+" "+b+`" at=`+at+" ") {
			t.Errorf("the connection to %s is not in the log:\n%s", at, said.String())
		}
	}
}

func TestOnlyOneBrokerAtATime(t *testing.T) {
	first, second := &fake{}, &fake{}
	s := settings(first.listen(t))
	s.Address += " tcp://" + second.listen(t)
	p := start(t, s, newBox(5), nil)
	drain(t, p)
	time.Sleep(10 * time.Millisecond) // long against the pauses of this test's settings
	if first.connections() != 1 || second.connections() != 0 {
		t.Errorf("%d and %d connections, want one to the first alone", first.connections(), second.connections())
	}
}

func TestReasonNamesAllBrokersOnce(t *testing.T) {
	s := settings("")
	s.Address = "tcp://127.0.0.1:1 tcp://127.0.0.1:2"
	h := &history{}
	s.OnChange = h.note
	start(t, s, newBox(1), nil)
	const want = "nothing listens at 127.0.0.1:1: is the broker running?; nothing listens at 127.0.0.1:2: is the broker running?"
	until(t, want, func() bool { return h.reason(want) })
	time.Sleep(50 * time.Millisecond) // several rounds in this test's settings
	if all := h.all(); len(all) != 1 {
		t.Errorf("told %d times: %+v; want once", len(all), all)
	}
}

// What a broker had against the press before another took it in is no reason for
// the loss of that one.
func TestReasonForgetsWhatWasBeforeTheConnection(t *testing.T) {
	second := &fake{onPub: func(m message) reaction {
		if m.isEvent() {
			return cut
		}
		return acknowledge
	}}
	s := settings("")
	s.Address = "tcp://127.0.0.1:1 tcp://" + second.listen(t) // nobody, one that ends the connection
	h := &history{}
	s.OnChange = h.note
	start(t, s, newBox(1), nil)
	lost := func() (reasons []string) {
		connected := false
		for _, state := range h.all() {
			if connected && !state.Connected {
				reasons = append(reasons, state.Reason)
			}
			connected = state.Connected
		}
		return reasons
	}
	until(t, "a connection lost", func() bool { return len(lost()) > 0 })
	if got, want := lost()[0], "the broker has ended the connection"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
