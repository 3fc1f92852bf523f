package mqtt

import (
	"fmt"
	"os"
	"syscall"
	"testing"
	"time"
)

// Tests of a broker that goes and comes while a press works.

// feed adds an event every so often, as a press does, until end is called; that
// returns how many there are.
func feed(t testing.TB, p *running, b *box, every time.Duration) (end func() uint64) {
	t.Helper()
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				b.add(1)
				p.Wake()
			case <-stop:
				return
			}
		}
	}()
	var ended bool
	end = func() uint64 {
		if !ended {
			ended = true
			close(stop)
			<-done
		}
		b.mu.Lock()
		defer b.mu.Unlock()
		return uint64(len(b.events))
	}
	t.Cleanup(func() { end() })
	return end
}

// signal sends one to the process.
func (m *mosquitto) signal(s os.Signal) {
	m.t.Helper()
	if err := m.cmd.Process.Signal(s); err != nil {
		m.t.Fatal(err)
	}
}

// stop ends the process as a service is stopped.
func (m *mosquitto) stop() {
	m.t.Helper()
	m.signal(syscall.SIGTERM)
	_ = m.cmd.Wait()
	m.cmd = nil
}

// keeping is a config that keeps what is queued in the broker's folder.
const keeping = "allow_anonymous true\npersistence true\nmax_queued_messages 0\nset_tcp_nodelay true\nlog_type none\n"

// keepingMosquitto is a broker that keeps what is queued in a folder.
func keepingMosquitto(t testing.TB, config, folder string) *mosquitto {
	t.Helper()
	return newMosquitto(t, keeping+"persistence_location "+folder+"/\n"+config)
}

func TestMosquittoKilledUnderLoad(t *testing.T) {
	t.Parallel()
	const kills, part = 5, 250
	for _, window := range []int{1, 16} {
		t.Run(fmt.Sprintf("window %d", window), func(t *testing.T) {
			t.Parallel()
			m := newMosquitto(t, eager)
			between := newTap(t, m.addr)
			sub := subscribe(t, m.addr, "", "", testBase+"/event/#")
			s := settings(between.addr)
			s.Window = window
			b := newBox(0)
			between.checkSent(t, b)
			p := start(t, s, b, nil)
			end := feed(t, p, b, time.Millisecond)
			for k := range kills {
				until(t, "the next part of the load", func() bool { return b.cursor() >= uint64(k+1)*part })
				m.kill()
				m.start()
			}
			n := end()
			drain(t, p)
			if got := b.cursor(); got != n {
				t.Errorf("sent up to %d, want %d", got, n)
			}
			if repeats := between.checkRepeats(t, n, window); repeats > kills*window {
				t.Errorf("%d repeats, want at most %d for each kill", repeats, window)
			}
			if got := p.State(); !got.Connected || got.Reason != "" || got.Session < kills+1 {
				t.Errorf("state %+v after %d kills", got, kills)
			}
			// This broker keeps nothing, and the subscriber was away at times.
			missing, _ := gaps(t, sub.messages(nil), n)
			for _, seq := range missing {
				if !between.acknowledged(seq) {
					t.Errorf("event %d is lost, and the broker has never acknowledged it", seq)
				}
			}
		})
	}
}

func TestMosquittoRestartedInOrder(t *testing.T) {
	t.Parallel()
	const restarts, part, window = 3, 250, 16
	m := keepingMosquitto(t, "", t.TempDir())
	between := newTap(t, m.addr)
	sub := subscribeAs(t, "collector", testBase+"/event/#", m.addr)
	statuses := subscribeAs(t, "watch", testBase+"/status", m.addr)
	s := settings(between.addr)
	s.Window = window
	b := newBox(0)
	between.checkSent(t, b)
	p := start(t, s, b, nil)
	end := feed(t, p, b, time.Millisecond)
	for k := range restarts {
		until(t, "the next part of the load", func() bool { return b.cursor() >= uint64(k+1)*part })
		m.stop()
		m.start()
	}
	n := end()
	drain(t, p)
	between.checkRepeats(t, n, window)
	// What was acknowledged while the collector was away was kept for it.
	until(t, "the last event", func() bool { return len(sub.messages(nil)) > 0 && sub.latest().seq() == n })
	checkOrder(t, sub.messages(nil), n)
	session := p.State().Session
	until(t, "the status of the last session", func() bool {
		all := statuses.messages(nil)
		return len(all) > 0 && statusOf(t, all[len(all)-1]).Session == session
	})
	late := subscribe(t, m.addr, "", "", testBase+"/status")
	until(t, "the retained status", func() bool { return len(late.messages(nil)) == 1 })
	if got := statusOf(t, late.messages(nil)[0]); !got.Online || got.Session != session {
		t.Errorf("retained %+v, want online in session %d", got, session)
	}
}
