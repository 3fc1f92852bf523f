package caliper

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"

	"benchtally/agent/crimp"
	"benchtally/caliper/port"
)

// running is a link at work.
type running struct {
	t      *testing.T
	events chan Event
	stop   context.CancelFunc
	done   chan error
}

func runLink(t *testing.T, name string, s Settings) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	w := &running{t, make(chan Event, 64), cancel, make(chan error, 1)}
	l := newLink(Port{Port: port.Port{Name: name}}, mustReader(t, s), time.Now, func(e Event) error {
		select {
		case w.events <- e:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	})
	l.First, l.Most = 2*time.Millisecond, 10*time.Millisecond
	go func() { w.done <- l.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-w.done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	return w
}

// next waits for an event and checks what it is.
func (w *running) next(kind Kind, cause Cause) Event {
	w.t.Helper()
	select {
	case e := <-w.events:
		if e.Kind != kind || e.Cause != cause {
			w.t.Fatalf("got %+v, want %s %s", e, kind, cause)
		}
		return e
	case <-time.After(5 * time.Second):
		w.t.Fatalf("no %s %s within 5 s", kind, cause)
		return Event{}
	}
}

// reading waits for the next reading. On a busy machine the silence behind half a
// frame may be noticed before the cable is out.
func (w *running) reading() Event {
	w.t.Helper()
	e := <-w.events
	if e.Kind == Refused && e.Reason == brokeOff {
		return w.next(Reading, "")
	}
	if e.Kind != Reading {
		w.t.Fatalf("got %+v, want a reading", e)
	}
	return e
}

// gone waits until the cable is out.
func (w *running) gone() Event {
	w.t.Helper()
	e := <-w.events
	if e.Kind == Refused && e.Reason == brokeOff {
		e = <-w.events
	}
	if e.Kind != Fault || e.Cause != Away {
		w.t.Fatalf("got %+v, want %s %s", e, Fault, Away)
	}
	return e
}

// terminal makes a pseudo terminal. Closing the master is pulling the cable.
func terminal(t *testing.T) (master *os.File, name string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo terminals here: %v", err)
	}
	name = slave.Name()
	t.Cleanup(func() { _ = master.Close() }) // closed by most tests
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	return master, name
}

// link lets name lead to another device from now on.
func link(t *testing.T, target, name string) {
	t.Helper()
	if err := os.Symlink(target, name+".new"); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, f *os.File, text string) {
	t.Helper()
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

// The cable goes in and out a hundred times; the link to the device leads to
// another one each time. No frame is lost, doubled or made of two halves. That the
// port comes and goes is told five times, and then is one fault.
func TestInAndOut(t *testing.T) {
	name := filepath.Join(t.TempDir(), "usb-adapter-if00-port0")
	w := runLink(t, name, Settings{Unit: crimp.Inches})
	if e := w.next(Fault, Away); !strings.Contains(e.Reason, name) || !strings.Contains(e.Reason, "plug the caliper's cable in") {
		t.Errorf("reason %q", e.Reason)
	}
	for i := range 100 {
		master, slave := terminal(t)
		link(t, slave, name)
		if i < 4 { // at first it was not there, so this is the fifth time
			w.next(Clear, Away)
		}
		write(t, master, fmt.Sprintf("\r\n+1.%04d\r\n+9.9", i)) // half a frame at the end
		want := crimp.Inch + crimp.Length(i)*2540
		if e := w.reading(); e.Value != want {
			t.Fatalf("round %d: %s, want %s", i, e.Value, want)
		}
		if err := master.Close(); err != nil {
			t.Fatal(err)
		}
		if i >= 4 {
			continue
		}
		if e := w.gone(); i == 0 && !strings.Contains(e.Reason, "is gone") && !strings.Contains(e.Reason, "not there") {
			t.Errorf("reason %q", e.Reason)
		}
	}
}

func TestRun(t *testing.T) {
	master, slave := terminal(t)
	ctx, cancel := context.WithCancel(t.Context())
	out, done := make(chan Event), make(chan error, 1)
	r := mustReader(t, Settings{Unit: crimp.Inches, Trigger: TriggerRequest})
	go func() {
		done <- Run(ctx, Port{port.Port{Name: slave, Baud: 4800, DataBits: 7, Parity: "even", StopBits: "2"}, "R\r"}, r, time.Now, out)
	}()
	// The caliper answers each request; a reading needs 600 ms at rest.
	answered := make(chan int, 1)
	go func() {
		n := 0
		defer func() { answered <- n }()
		buf := make([]byte, 16)
		for {
			k, err := master.Read(buf)
			switch {
			case ctx.Err() != nil:
				return
			case err != nil: // not open yet
				time.Sleep(time.Millisecond)
				continue
			}
			if string(buf[:k]) == "R\r" {
				n++
				if _, err := master.WriteString("+1.2040\r\n"); err != nil {
					return
				}
			}
		}
	}()
	select {
	case e := <-out:
		if e.Kind != Reading || e.Value != 30_581_600 {
			t.Errorf("got %+v", e)
		}
	case <-time.After(5 * time.Second):
		t.Error("no reading within 5 s")
	}
	cancel()
	if err := <-done; err != nil {
		t.Errorf("run: %v", err)
	}
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	if n := <-answered; n < 4 || n > 8 {
		t.Errorf("%d requests for one reading, want 4 to 8", n)
	}
}

func TestRunRefusesSettings(t *testing.T) {
	r := mustReader(t, Settings{})
	err := Run(t.Context(), Port{port.Port{Baud: 3, DataBits: 9, Parity: "some", StopBits: "1.5", DTR: "up"}, strings.Repeat("R", 17)}, r, time.Now, nil)
	for _, part := range []string{"no port is named", "baud rate 3", "9 data bits", `parity "some"`, `stop bits "1.5"`, `dtr "up"`, "request of 17 bytes"} {
		if err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%q is not in: %v", part, err)
		}
	}
	r = mustReader(t, Settings{Trigger: TriggerRequest})
	if err := Run(t.Context(), Port{Port: port.Port{Name: "/dev/null"}}, r, time.Now, nil); err == nil || !strings.Contains(err.Error(), "needs the request") {
		t.Errorf("no request: %v", err)
	}
}

// Listen tries line settings until the frames make sense. The terminal passes
// the parity bit on like an adapter that reads 7 data bits as 8.
func TestListenFindsTheLine(t *testing.T) {
	master, slave := terminal(t)
	began := time.Now()
	fast := func() time.Time { return start.Add(20 * time.Since(began)) }
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for ctx.Err() == nil {
			if _, err := master.WriteString("\x2b\xb1\x2e\xb2\x30\xb4\x30\x8d\x0a"); err != nil {
				return
			}
			time.Sleep(60 * time.Millisecond)
		}
	}()
	var line, format string
	err := Listen(ctx, Port{Port: port.Port{Name: slave}}, Settings{Unit: crimp.Inches}, fast, func(p Port, e Event) {
		if e.Kind == Reading {
			line, format = p.Line(), e.Format
			cancel()
		}
	})
	<-stopped
	if err != nil || line != "4800 7E2" || format != "decimal" {
		t.Errorf("line %q, format %q, %v", line, format, err)
	}
}
