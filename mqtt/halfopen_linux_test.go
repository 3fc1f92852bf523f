package mqtt

import (
	"math/rand/v2"
	"net"
	"strings"
	"testing"
	"time"
)

// mosquittoAt is a broker at a site of a lab.
func mosquittoAt(t testing.TB, s site, config string) *mosquitto {
	t.Helper()
	m := &mosquitto{t: t, binary: mosquittoBinary(t), within: s.within, dir: t.TempDir(), addr: net.JoinHostPort(s.addr, "1883")}
	m.begin(config + "\npersistence_location " + m.dir + "/\nlistener 1883 " + s.addr + "\n")
	return m
}

// A link on which nothing comes through and nothing says so, in the middle of
// work. One press notices by an event that is not acknowledged, the other, which
// has nothing to send, by its keepalive.
func TestHalfOpenLink(t *testing.T) {
	t.Parallel()
	const window = 16
	l := newLab(t)
	far := l.site()
	m := mosquittoAt(t, far, keeping)
	sub := subscribeAs(t, "collector", testBase+"/event/#", m.addr)

	var told history
	s := settings(m.addr)
	s.Window, s.AckTimeout, s.Timeout, s.OnChange = window, 2*time.Second, 2*time.Second, told.note
	b := newBox(0)
	p := start(t, s, b, nil)
	end := feed(t, p, b, 2*time.Millisecond)

	var idleTold history
	idle := settings(m.addr)
	idle.Base, idle.ClientID = "riverside/hose-shop/south-bench", "south-bench-11c0"
	idle.Keepalive, idle.AckTimeout, idle.Timeout, idle.OnChange = time.Second, time.Hour, 2*time.Second, idleTold.note
	q := start(t, idle, newBox(1), nil)
	drain(t, q)

	until(t, "some events", func() bool { return b.cursor() >= 200 })
	began := time.Now()
	far.part(l.here())
	const lost = "the broker no longer answers: check the network"
	within(t, 40*time.Second, "the idle press notices", func() bool { return idleTold.reason(lost) })
	took := time.Since(began)
	// Keepalive 1 s, and 10 s for the answer to a ping; the client library looks
	// at both once a second or so.
	if took < 9*time.Second || took > 30*time.Second {
		t.Errorf("the idle press noticed after %v, want some 11 s", took)
	}
	t.Logf("the idle press noticed after %v", took.Round(100*time.Millisecond))
	const silent = "the broker does not acknowledge event "
	var early State
	for _, s := range told.all() {
		if !s.Connected && strings.HasPrefix(s.Reason, silent) {
			early = s
		}
	}
	if d := early.Since.Sub(began); d < time.Second || d > took {
		t.Errorf("the press at work noticed after %v, want some 2 s: %+v", d, told.all())
	}
	for _, p := range []*running{q, p} {
		within(t, 20*time.Second, "no way to the broker", func() bool {
			s := p.State()
			return !s.Connected && strings.Contains(s.Reason, "does not answer within 2s")
		})
	}

	far.join(l.here())
	n := end()
	drain(t, p)
	until(t, "the last event", func() bool { return distinct(sub.messages(nil)) == int(n) })
	if repeats := checkOrder(t, sub.messages(nil), n); repeats > 2*window+20 { // ours, and what the broker has in flight to the collector
		t.Errorf("%d repeats for one loss with a window of %d", repeats, window)
	}
	until(t, "the idle press is back", func() bool { return q.State().Connected })
}

// A link that comes and goes.
func TestShakyLink(t *testing.T) {
	t.Parallel()
	const shakes, window = 8, 4
	l := newLab(t)
	far := l.site()
	m := mosquittoAt(t, far, keeping)
	between := newTap(t, m.addr)
	sub := subscribeAs(t, "collector", testBase+"/event/#", m.addr)
	s := settings(between.addr)
	s.Window, s.AckTimeout, s.Timeout = window, 300*time.Millisecond, 300*time.Millisecond
	b := newBox(0)
	between.checkSent(t, b)
	p := start(t, s, b, nil)
	end := feed(t, p, b, 2*time.Millisecond)
	for range shakes {
		was := b.cursor()
		until(t, "some events", func() bool { return b.cursor() > was+20 })
		far.part(l.here())
		time.Sleep(rand.N(900 * time.Millisecond)) // below and above what the press bears
		far.join(l.here())
	}
	n := end()
	drain(t, p)
	repeats := between.checkRepeats(t, n, window)
	within(t, 30*time.Second, "the last event", func() bool { return distinct(sub.messages(nil)) == int(n) })
	checkOrder(t, sub.messages(nil), n)
	t.Logf("%d events, %d repeats, %d sessions", n, repeats, p.State().Session)
}
