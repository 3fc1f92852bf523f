//go:build linux

package sensors

import (
	"bufio"
	"context"
	"encoding/binary"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// A chatter is a set of one line that changes evenly during a time, and that a press
// moves before and after it. The kernel keeps an edge until it is waited for.
type chatter struct {
	start    time.Time
	from, to time.Duration // of the chatter
	period   time.Duration
	high     time.Duration // of each period
	strokes  []time.Duration
	waited   time.Duration // up to which edges are known
	reads    int
}

func (c *chatter) now() time.Duration { return time.Since(c.start) }

func (c *chatter) level(at time.Duration) bool {
	if at >= c.from && at < c.to {
		return (at-c.from)%c.period < c.high
	}
	for i := 0; i+1 < len(c.strokes); i += 2 {
		if at >= c.strokes[i] && at < c.strokes[i+1] {
			return true
		}
	}
	return false
}

// next is the next edge after a time.
func (c *chatter) next(after time.Duration) time.Duration {
	first := time.Duration(1 << 62)
	take := func(at time.Duration) {
		if at > after {
			first = min(first, at)
		}
	}
	for _, at := range c.strokes {
		take(at)
	}
	take(c.from)
	if n := (after - c.from) / c.period; after >= c.from && after < c.to {
		for _, at := range []time.Duration{n*c.period + c.high, (n + 1) * c.period} {
			take(min(c.from+at, c.to))
		}
	}
	return first
}

func (c *chatter) Read(gpio.GPIOValue) (gpio.GPIOValue, error) {
	c.reads++
	if c.level(c.now()) {
		return 1, nil
	}
	return 0, nil
}

func (c *chatter) WaitForEdge(d time.Duration) (int, gpio.Edge, error) {
	edge := c.next(c.waited)
	if wait := edge - c.now(); wait > d {
		time.Sleep(d)
		c.waited = c.now()
		return 0, gpio.NoEdge, os.ErrDeadlineExceeded
	} else if wait > 0 {
		time.Sleep(wait)
	}
	c.waited = c.now() // those that were kept meanwhile are one wake-up
	return 17, gpio.BothEdges, nil
}

func (c *chatter) Close() error { return nil }

// A contact that chatters for a minute is a fault after two seconds and until it is
// steady; nothing is counted meanwhile, and the strokes before and after are. The
// reader is woken two hundred times a second, not as often as the contact changes.
func TestChatter(t *testing.T) {
	const us = time.Microsecond
	for _, tc := range []struct {
		name         string
		period, high time.Duration
	}{
		{"10 kHz", 100 * us, 50 * us},
		{"10 kHz, high most of the time", 100 * us, 90 * us},
		{"10 kHz, spikes", 100 * us, 2 * us},
		{"1 kHz, as often as it is read", time.Millisecond, 500 * us},
		{"995 Hz, a beat with the reading", 1005 * us, 500 * us},
		{"100 Hz", 10 * time.Millisecond, 5 * time.Millisecond},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				const s = time.Second
				c := &chatter{
					start: time.Now(), from: 5 * s, to: 65 * s, period: tc.period, high: tc.high,
					strokes: []time.Duration{2 * s, 2*s + 400*ms, 70 * s, 70*s + 300*ms},
				}
				out := make(chan Event, 64)
				ctx, cancel := context.WithTimeout(t.Context(), 75*s)
				defer cancel()
				lines := &contacts{set: c, lines: Lines{Up: "GPIO17"}, aside: -1}
				if err := Watch(ctx, func() (Contacts, error) { return lines, nil }, NewFilter(usual), time.Now, out); err != nil {
					t.Fatal(err)
				}
				close(out)
				var got []string
				for e := range out {
					at := e.At.Sub(c.start).Round(200 * ms).String()
					got = append(got, at+" "+string(e.Kind)+" "+strings.SplitN(e.Reason, ":", 2)[0])
				}
				want := []string{
					"2s stroke ", "7s fault the limit switch has not been steady for 2 s",
					"1m5s clear the limit switch is steady again", "1m10s stroke ",
				}
				if g, w := strings.Join(got, "\n"), strings.Join(want, "\n"); g != w {
					t.Errorf("got\n%s\nwant\n%s", g, w)
				}
				if most := 60*205 + 60*50; c.reads > most {
					t.Errorf("%d reads, want no more than %d", c.reads, most)
				}
			})
		})
	}
}

// A spring is a set whose edges never cease, each read from a pipe with a deadline as
// the driver reads it from the kernel.
type spring struct {
	edges *os.File
	high  bool
}

func (s *spring) Read(gpio.GPIOValue) (gpio.GPIOValue, error) {
	if s.high = !s.high; s.high {
		return 1, nil
	}
	return 0, nil
}

func (s *spring) WaitForEdge(d time.Duration) (int, gpio.Edge, error) {
	if err := s.edges.SetReadDeadline(time.Now().Add(d)); err != nil {
		return 0, gpio.NoEdge, err
	}
	var event struct{ Raw [6]uint64 } // 48 bytes, as struct gpio_v2_line_event
	return 17, gpio.BothEdges, binary.Read(s.edges, binary.LittleEndian, &event)
}

func (s *spring) Close() error { return nil }

// What a storm of edges takes of the processor, as the operating system counts it.
func BenchmarkStorm(b *testing.B) {
	source := exec.Command("cat", "/dev/zero")
	out, err := source.StdoutPipe()
	if err == nil {
		err = source.Start()
	}
	if err != nil {
		b.Skip(err)
	}
	defer func() {
		_ = source.Process.Kill()
		_ = source.Wait()
	}()
	if _, err := bufio.NewReaderSize(io.LimitReader(out, 16), 16).ReadByte(); err != nil {
		b.Fatal(err)
	}
	lines := &contacts{set: &spring{edges: out.(*os.File)}, lines: Lines{Up: "GPIO17"}, aside: -1}
	for b.Loop() {
		const d = 5 * time.Second
		before := used(b)
		ctx, cancel := context.WithTimeout(b.Context(), d)
		if err := Watch(ctx, func() (Contacts, error) { return lines, nil }, NewFilter(usual), time.Now, make(chan Event, 64)); err != nil {
			b.Fatal(err)
		}
		cancel()
		b.ReportMetric(100*float64(used(b)-before)/float64(d), "%core")
	}
}

// used is the processor's time that this process took.
func used(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// The rest of a bounce that the kernel kept is no storm, nor are edges far apart, nor
// those of the retract switch.
func TestNoStorm(t *testing.T) {
	for _, tc := range []struct {
		name   string
		edges  int
		waited time.Duration // for each
		number int
		want   bool
	}{
		{"all that the kernel keeps of three lines", 48, 0, 17, false},
		{"200 Hz without end", 1000, 5 * time.Millisecond, 17, false},
		{"of the retract switch", 1000, 0, 22, false},
		{"without end", 1000, 100 * time.Microsecond, 17, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				set := &fakeSet{after: tc.waited, number: tc.number}
				c := &contacts{set: set, lines: Lines{Up: "GPIO17", Retracted: "GPIO22"}, aside: 22}
				for range tc.edges {
					if err := c.Wait(t.Context(), 20*ms); err != nil {
						t.Fatal(err)
					}
				}
				if l, err := c.Levels(); err != nil || l.Storm != tc.want {
					t.Errorf("%+v, %v", l, err)
				}
				set.after = time.Hour
				if err := c.Wait(t.Context(), 20*ms); err != nil {
					t.Fatal(err)
				}
				if l, _ := c.Levels(); l.Storm {
					t.Error("silence does not end it")
				}
			})
		})
	}
}
