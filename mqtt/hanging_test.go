package mqtt

import (
	"strings"
	"syscall"
	"testing"
	"time"
)

// Tests of a broker that is there and does not do its part.

// A stopped process: the kernel goes on accepting connections for it.
func TestMosquittoHangs(t *testing.T) {
	t.Parallel()
	const window = 16
	m := keepingMosquitto(t, "", t.TempDir())
	between := newTap(t, m.addr)
	sub := subscribeAs(t, "collector", testBase+"/event/#", m.addr)
	s := settings(between.addr)
	s.Window, s.AckTimeout, s.Timeout = window, time.Second, time.Second
	var told history
	s.OnChange = told.note
	b := newBox(0)
	between.checkSent(t, b)
	p := start(t, s, b, nil)
	end := feed(t, p, b, 2*time.Millisecond)
	for range 2 {
		was, states := b.cursor(), len(told.all())
		until(t, "the next part of the load", func() bool { return b.cursor() >= was+200 })
		m.signal(syscall.SIGSTOP)
		until(t, "a stalled event noticed", func() bool {
			for _, s := range told.all()[states:] {
				if !s.Connected && strings.HasPrefix(s.Reason, "the broker does not acknowledge ") {
					return true
				}
			}
			return false
		})
		until(t, "a CONNECT without an answer", func() bool {
			return !p.State().Connected && strings.Contains(p.State().Reason, "does not answer with MQTT within 1s")
		})
		m.signal(syscall.SIGCONT)
	}
	n := end()
	drain(t, p)
	between.checkRepeats(t, n, window)
	until(t, "the last event", func() bool { return len(sub.messages(nil)) > 0 && sub.latest().seq() == n })
	checkOrder(t, sub.messages(nil), n)
	if got := p.State(); !got.Connected || got.Reason != "" {
		t.Errorf("state %+v", got)
	}
	// What the broker still held of the connections that were given up, wills
	// among them, must not have the last word.
	late := subscribe(t, m.addr, "", "", testBase+"/status")
	until(t, "the retained status", func() bool { return len(late.messages(nil)) == 1 })
	if got := statusOf(t, late.messages(nil)[0]); !got.Online || got.Session != p.State().Session {
		t.Errorf("retained %+v, want online in session %d", got, p.State().Session)
	}
}

func TestMosquittoAcknowledgesLate(t *testing.T) {
	t.Parallel()
	const events, window, patience = 60, 4, 600 * time.Millisecond
	for _, tc := range []struct {
		name  string
		late  func(nth int, seq uint64) time.Duration
		check func(t *testing.T, repeats int, sessions uint64)
	}{
		{"well in time", func(_ int, seq uint64) time.Duration { return time.Duration(seq%3) * patience / 20 },
			func(t *testing.T, repeats int, sessions uint64) {
				if repeats != 0 || sessions != 1 {
					t.Errorf("%d repeats in %d sessions, want one session and no repeats", repeats, sessions)
				}
			}},
		{"at the limit", func(nth int, seq uint64) time.Duration { // each side of it, as it comes
			if seq%20 == 7 && nth < 6 {
				return patience - time.Duration(nth)*time.Millisecond
			}
			return 0
		}, func(*testing.T, int, uint64) {}},
		{"too late the first three times", func(nth int, seq uint64) time.Duration {
			if seq == 10 && nth <= 3 {
				return patience * 3 / 2
			}
			return 0
		}, func(t *testing.T, repeats int, sessions uint64) {
			if sessions != 4 || repeats < 3 || repeats > window+2 { // the window once, then the event alone
				t.Errorf("%d repeats in %d sessions, want 4 sessions", repeats, sessions)
			}
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			m := newMosquitto(t, eager)
			between := newTap(t, m.addr)
			between.late = tc.late
			sub := subscribe(t, m.addr, "", "", testBase+"/event/#")
			s := settings(between.addr)
			s.Window, s.AckTimeout = window, patience
			b := newBox(events)
			p := start(t, s, b, nil)
			drain(t, p)
			session := p.State().Session
			p.stop()
			if got := b.cursor(); got != events {
				t.Errorf("sent up to %d, want %d", got, events)
			}
			tc.check(t, between.checkRepeats(t, events, window), session)
			until(t, "the last event", func() bool { return len(sub.messages(nil)) > 0 && sub.latest().seq() == events })
			checkOrder(t, sub.messages(nil), events)
		})
	}
}
