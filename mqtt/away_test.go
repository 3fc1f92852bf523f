package mqtt

import (
	"context"
	"fmt"
	"net"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

// Tests of what happens from one connection to the next.

func TestEventThatTheBrokerWillNotTake(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mended atomic.Bool
		f := &fake{}
		f.onPub = func(m message) reaction {
			if m.seq() == 4 && !mended.Load() {
				return cut
			}
			return acknowledge
		}
		b := newBox(8)
		f.checkSent(t, b)
		s := slow()
		s.Window = 8
		var told history
		s.OnChange = told.note
		p := start(t, s, b, f.pipe)
		time.Sleep(30 * time.Second)
		payload, _, _ := AppendEvent(nil, testBase, testEvent(4))
		want := fmt.Sprintf("the broker drops the connection each time at event 4 (%d bytes on riverside/hose-shop/north-bench/event/stroke): "+
			"check its largest message and its access list; the events behind wait", len(payload))
		if s := p.State(); s.Stuck != 4 || s.Reason != want {
			t.Errorf("state %+v\nwant stuck at 4: %s", s, want)
		}
		if b.cursor() != 3 {
			t.Errorf("sent up to %d, want 3", b.cursor())
		}
		for _, m := range f.messages(message.isEvent) {
			if m.nth > 1 && m.seq() > 4 {
				t.Fatalf("event %d passes event 4", m.seq())
			}
		}
		before := f.connections()
		time.Sleep(10 * time.Minute)
		if n := f.connections() - before; n < 9 || n > 21 {
			t.Errorf("%d attempts in ten minutes, want one each 30 s to 1 min", n)
		}
		mended.Store(true)
		time.Sleep(time.Minute + time.Second)
		if s := p.State(); b.cursor() != 8 || !s.Connected || s.Stuck != 0 || s.Reason != "" {
			t.Errorf("sent up to %d, state %+v; want all and no trouble", b.cursor(), s)
		}
		p.stop()
		checkOrder(t, f.messages(message.isEvent), 8)
		if !slices.ContainsFunc(told.all(), func(s State) bool { return s.Connected && s.Stuck == 4 }) {
			t.Errorf("never told: connected, but stuck at event 4")
		}
	})
}

func TestRivalWithTheSameClientID(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var peace atomic.Bool
		f := &fake{}
		f.onOpen = func(_ int, conn net.Conn) {
			if !peace.Load() {
				time.AfterFunc(time.Second, func() { _ = conn.Close() })
			}
		}
		p := start(t, slow(), newBox(2), f.pipe)
		time.Sleep(50 * time.Second)
		if s := p.State(); !strings.Contains(s.Reason, "is another client of it using the id north-bench-7f3a?") {
			t.Errorf("after 50 s: %+v", s)
		}
		before := f.connections()
		time.Sleep(10 * time.Minute)
		if n := f.connections() - before; n < 9 || n > 20 {
			t.Errorf("%d attempts in ten minutes, want one each 30 s to 1 min", n)
		}
		peace.Store(true)
		time.Sleep(time.Minute)
		if s := p.State(); !s.Connected || s.Reason == "" {
			t.Errorf("just connected again: %+v; the trouble may come back any moment", s)
		}
		time.Sleep(2 * time.Minute)
		if s := p.State(); !s.Connected || s.Reason != "" {
			t.Errorf("after two minutes of peace: %+v", s)
		}
		p.stop()
	})
}

// nobody is a network without a broker.
func nobody(context.Context, string, string) (net.Conn, error) {
	return nil, &net.OpError{Op: "dial", Net: "tcp", Err: syscall.ECONNREFUSED}
}

func TestBrokerAwayForAMonth(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBox(1000)
		s := slow()
		s.BackoffMin = 30 * time.Second // fewer attempts than by default, so that the test is short
		var told history
		s.OnChange = told.note
		var attempts atomic.Int64
		p := start(t, s, b, func(ctx context.Context, n, a string) (net.Conn, error) {
			attempts.Add(1)
			return nobody(ctx, n, a)
		})
		time.Sleep(24 * time.Hour)
		heap := func() int64 {
			var m runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&m)
			return int64(m.HeapAlloc)
		}
		before, goroutines := heap(), runtime.NumGoroutine()
		time.Sleep(30 * 24 * time.Hour)
		if grown := heap() - before; grown > 256<<10 {
			t.Errorf("the heap has grown by %d bytes in a month", grown)
		}
		if n := runtime.NumGoroutine(); n > goroutines {
			t.Errorf("%d goroutines, before %d", n, goroutines)
		}
		if b.session != 0 || b.reads != 0 {
			t.Errorf("without a CONNECT the store was asked for %d session numbers and %d times for events", b.session, b.reads)
		}
		if all := told.all(); len(all) != 1 || all[0].Reason != "nothing listens at broker.example:1883: is the broker running?" {
			t.Errorf("told %+v; want once, and why", all)
		}
		if n := attempts.Load(); n < 170_000 || n > 190_000 { // 31 days at 15 s on average
			t.Errorf("%d attempts in a month", n)
		}
		p.stop()
	})
}

func TestEventsComeSoonAfterTheBroker(t *testing.T) {
	for _, outage := range []time.Duration{time.Second, 15 * time.Second, 5 * time.Minute, time.Hour} {
		synctest.Test(t, func(t *testing.T) {
			f := &fake{}
			b := newBox(0)
			var there atomic.Bool
			p := start(t, slow(), b, func(ctx context.Context, n, a string) (net.Conn, error) {
				if there.Load() {
					return f.pipe(ctx, n, a)
				}
				return nobody(ctx, n, a)
			})
			time.Sleep(outage)
			b.add(1000)
			there.Store(true)
			began := time.Now()
			drain(t, p)
			if d := time.Since(began); d > 4*time.Second {
				t.Errorf("events are sent %v after the broker is back from %v, want within 4 s", d, outage)
			}
			p.stop()
			checkOrder(t, f.messages(message.isEvent), 1000)
		})
	}
}
