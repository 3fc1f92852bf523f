package panel

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/station"
	"benchtally/agent/words"
)

// wire is a network without buffers, so that who does not read is seen at once.
type wire struct {
	calls chan net.Conn
	done  chan struct{}
}

func (w *wire) Accept() (net.Conn, error) {
	select {
	case c := <-w.calls:
		return c, nil
	case <-w.done:
		return nil, net.ErrClosed
	}
}
func (w *wire) Close() error   { close(w.done); return nil }
func (w *wire) Addr() net.Addr { return &net.TCPAddr{} }

// serve serves a board on a wire inside a synctest bubble and returns how to call it.
func serve(t *testing.T, b *Board) (dial func() net.Conn, stop func()) {
	w := &wire{make(chan net.Conn), make(chan struct{})}
	ctx, cancel := context.WithCancel(t.Context())
	s := &http.Server{
		Handler:     b.Handler(Desk{Act: func(context.Context, station.Action) (string, error) { return "", nil }}, Options{}),
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Serve(w) }()
	dial = func() net.Conn {
		near, far := net.Pipe()
		w.calls <- far
		return near
	}
	return dial, func() {
		cancel()
		if err := s.Shutdown(context.Background()); err != nil {
			t.Errorf("shut down: %v", err)
		}
		<-done
	}
}

// event is one server-sent event.
type event struct{ name, data string }

// watcher reads events.
type watcher struct {
	t    *testing.T
	conn net.Conn
	in   *bufio.Reader
}

func watch(t *testing.T, conn net.Conn) *watcher {
	t.Helper()
	if _, err := io.WriteString(conn, "GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	got, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	if got.StatusCode != http.StatusOK || got.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("got %s, %s", got.Status, got.Header.Get("Content-Type"))
	}
	return &watcher{t, conn, bufio.NewReader(got.Body)}
}

func (w *watcher) next() event {
	w.t.Helper()
	var e event
	var data []string
	for {
		line, err := w.in.ReadString('\n')
		if err != nil {
			w.t.Fatalf("the stream ended: %v", err)
		}
		key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
		switch key {
		case "":
			e.data = strings.Join(data, "\n")
			return e
		case "event":
			e.name = value
		case "data":
			data = append(data, value)
		}
	}
}

func (w *watcher) want(name, data string) event {
	w.t.Helper()
	e := w.next()
	if e.name != name || !strings.Contains(e.data, data) {
		w.t.Fatalf("got event %s %q, want %s with %q", e.name, e.data, name, data)
	}
	return e
}

func TestEventsBringTheNewestState(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard("north-bench", Shop{})
		dial, stop := serve(t, b)
		w := watch(t, dial())
		w.want("build", build)
		w.want("live", "Waiting for the station")
		w.want("beat", "0")

		p := newShop(t).start(6)
		b.Publish(p.snapshot())
		w.want("live", "Stroke: piece 1")
		w.want("beat", "0")

		// Two at once: the first may be passed over, the newest never.
		b.Publish(p.stroke().snapshot())
		b.Publish(p.read("1.2010").snapshot())
		live := w.want("live", "Measure place 2 of 3")
		if !strings.Contains(live.data, "\n<div id=\"step\"") {
			t.Error("the lines of the fragment were lost")
		}
		w.want("beat", "0")

		// The same again looks the same: a beat is enough.
		b.Publish(p.snapshot())
		w.want("beat", "0")
		_ = w.conn.Close()
		synctest.Wait()
		time.Sleep(2 * time.Second)
		stop()
		if n := b.watchers.Load(); n != 0 {
			t.Errorf("%d watchers are left", n)
		}
	})
}

// What changes after a rest is shown at once; what follows it closely waits until a
// page may be drawn again.
func TestChangesAreShownAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard("north-bench", Shop{})
		dial, stop := serve(t, b)
		w := watch(t, dial())
		w.want("build", "")
		w.want("live", "Waiting for the station")
		w.want("beat", "0")
		time.Sleep(beatEvery / 2)

		p, began := newShop(t).start(6), time.Now()
		b.Publish(p.snapshot())
		w.want("live", "Stroke: piece 1")
		if took := time.Since(began); took != 0 {
			t.Errorf("the first change was shown after %s", took)
		}
		w.want("beat", "0")
		b.Publish(p.stroke().snapshot())
		w.want("live", "Measure place 1 of 3")
		if took := time.Since(began); took != drawEvery {
			t.Errorf("the next change was shown after %s, want %s", took, drawEvery)
		}
		_ = w.conn.Close()
		stop()
	})
}

// A beat comes each second and says how old the data is.
func TestBeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard("north-bench", Shop{})
		b.Publish(newShop(t).snapshot())
		dial, stop := serve(t, b)
		w := watch(t, dial())
		w.want("build", "")
		w.want("live", "No order. Start one")
		began := time.Now()
		for second := range 5 {
			w.want("beat", fmt.Sprint(1000*second))
			if got := time.Since(began); got != time.Duration(second)*time.Second {
				t.Errorf("beat %d came after %s", second, got)
			}
		}
		stop()
		_ = w.conn.Close()
	})
}

// Who takes nothing is dropped and never holds up a Publish.
func TestSlowWatcherIsDropped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard("north-bench", Shop{})
		dial, stop := serve(t, b)
		slow, quick := watch(t, dial()), watch(t, dial())
		quick.want("build", "")
		quick.want("live", "Waiting for the station")
		quick.want("beat", "0")

		began := time.Now()
		p := newShop(t).start(6)
		for range 100 {
			b.Publish(p.snapshot())
		}
		if took := time.Since(began); took != 0 {
			t.Errorf("publishing took %s", took)
		}
		quick.want("live", "Stroke: piece 1")
		if n := b.watchers.Load(); n != 2 {
			t.Errorf("%d watchers, want 2", n)
		}
		for time.Since(began) < writeWithin+beatEvery {
			quick.want("beat", "")
		}
		synctest.Wait()
		if n := b.watchers.Load(); n != 1 {
			t.Errorf("%d watchers after %s, want the quick one", n, time.Since(began))
		}
		stop()
		_, _ = slow.conn.Close(), quick.conn.Close()
	})
}

func TestWatchersAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard("north-bench", Shop{})
		dial, stop := serve(t, b)
		var all []*watcher
		for range maxWatchers {
			w := watch(t, dial())
			go func() { _, _ = io.Copy(io.Discard, w.in) }()
			all = append(all, w)
		}
		refused := dial()
		_, _ = io.WriteString(refused, "GET /events HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
		got, err := http.ReadResponse(bufio.NewReader(refused), nil)
		if err != nil {
			t.Fatal(err)
		}
		text, _ := io.ReadAll(got.Body)
		if got.StatusCode != http.StatusServiceUnavailable || !strings.HasPrefix(string(text), "64 pages are open already.") {
			t.Errorf("got %s %q", got.Status, text)
		}
		_ = all[0].conn.Close()
		time.Sleep(2 * time.Second)
		one := watch(t, dial()) // there is room again
		stop()
		for _, w := range append(all, one) {
			_ = w.conn.Close()
		}
	})
}

// Pages that come and go leave nothing behind.
func TestNothingIsLeftRunning(t *testing.T) {
	handlers := func() int {
		all := make([]byte, 1<<20)
		return strings.Count(string(all[:runtime.Stack(all, true)]), "panel.(*server).events(")
	}
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard("north-bench", Shop{})
		dial, stop := serve(t, b)
		p := newShop(t).start(6)
		for range 200 {
			w := watch(t, dial())
			w.want("build", "")
			if n := handlers(); n < 1 {
				t.Fatal("a page that watches is not seen")
			}
			b.Publish(p.snapshot())
			_ = w.conn.Close()
		}
		time.Sleep(2 * writeWithin)
		synctest.Wait()
		if n := b.watchers.Load(); n != 0 {
			t.Errorf("%d watchers are left", n)
		}
		if n := handlers(); n != 0 {
			t.Errorf("%d handlers are left", n)
		}
		stop()
	}) // which fails, too, if any goroutine of the server is left
}

// Without script the page itself says how old its data is.
func TestOldDataLooksOld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard("north-bench", Shop{})
		h := b.Handler(Desk{Act: func(context.Context, station.Action) (string, error) { return "", nil }}, Options{})
		b.Publish(newShop(t).start(6).snapshot())
		for _, c := range []struct {
			after time.Duration
			want  string
		}{
			{0, `<body class="board" data-age="0"`},
			{2900 * time.Millisecond, `<body class="board" data-age="2900"`},
			{3 * time.Second, `<body class="board stale" data-age="3000"`},
			{75 * time.Second, "No data for 75 s"},
		} {
			time.Sleep(c.after - b.age())
			if page := get(t, h, "/").Body.String(); !strings.Contains(page, c.want) {
				t.Errorf("after %s: no %s in\n%s", c.after, c.want, page)
			}
		}
	})
}

func BenchmarkLive(b *testing.B) {
	board := NewBoard("north-bench", Shop{})
	s := newShop(b).start(6).stroke().read("1.2010", "1.2020", "1.2000").snapshot()
	for b.Loop() {
		board.Publish(s)
		if _, _, err := board.live(words.English); err != nil {
			b.Fatal(err)
		}
	}
}
