package sensors

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A press has contacts that change at given times. An edge that is missed wakes
// nobody; the others are kept until they are waited for, as a kernel does.
type press struct {
	t       *testing.T
	start   time.Time
	changes []change
	missed  func(i int) bool
	broken  func(d time.Duration) bool // the lines cannot be read, d after start
	closed  func(d time.Duration) bool // nor opened

	next   int // change that is waited for
	isOpen bool
	opened []time.Duration // every try
	reads  int
}

type change struct {
	at     time.Duration
	levels Levels
}

// closures are changes of a single contact: up and down again, and so on.
func closures(at ...time.Duration) []change {
	cs := []change{{}}
	for i, d := range at {
		cs = append(cs, change{d, Levels{Up: i%2 == 0}})
	}
	return cs
}

func newPress(t *testing.T, cs []change) *press {
	no := func(time.Duration) bool { return false }
	return &press{t: t, start: time.Now(), changes: cs, broken: no, closed: no, missed: func(int) bool { return false }}
}

func (p *press) now() time.Duration { return time.Since(p.start) }

func (p *press) open() (Contacts, error) {
	p.opened = append(p.opened, p.now())
	if p.closed(p.now()) {
		return nil, errors.New("no such device")
	}
	if p.isOpen {
		p.t.Error("opened twice")
	}
	p.isOpen = true
	return p, nil
}

func (p *press) Levels() (Levels, error) {
	if !p.isOpen {
		p.t.Error("read while closed")
	}
	p.reads++
	if p.broken(p.now()) {
		return Levels{}, errors.New("input/output error")
	}
	var l Levels
	for _, c := range p.changes {
		if c.at <= p.now() {
			l = c.levels
		}
	}
	return l, nil
}

func (p *press) Wait(ctx context.Context, d time.Duration) error {
	if d <= 0 || d > 250*ms {
		p.t.Errorf("waits for %v", d)
	}
	end := p.now() + d
	for p.next < len(p.changes) && p.changes[p.next].at <= end {
		i := p.next
		p.next++
		if !p.missed(i) {
			end = max(p.changes[i].at, p.now())
			break
		}
	}
	if end > p.now() {
		pause(ctx, end-p.now())
	}
	return nil
}

func (p *press) Close() error {
	if !p.isOpen {
		p.t.Error("closed twice")
	}
	p.isOpen = false
	return nil
}

// run watches the press for a time, and returns the events as told since its
// start.
func (p *press) run(f *Filter, d time.Duration) (es []Event) {
	out := make(chan Event, 64)
	ctx, cancel := context.WithTimeout(p.t.Context(), d)
	defer cancel()
	if err := Watch(ctx, p.open, f, time.Now, out); err != nil {
		p.t.Errorf("watch: %v", err)
	}
	if p.isOpen {
		p.t.Error("left open")
	}
	close(out)
	for e := range out {
		e.At = day.Add(e.At.Sub(p.start))
		es = append(es, e)
	}
	return es
}

func TestWatch(t *testing.T) {
	const s = time.Second
	three := closures(s, 2*s, 5*s, 5400*ms, 8*s, 9*s)
	bouncing := closures(
		s, s+ms, s+3*ms, s+4*ms, s+9*ms, // up at s, steady from s+9
		2*s, 2*s+2*ms, 2*s+2500*time.Microsecond, 2*s+6*ms, 2*s+11*ms)
	for _, tc := range []struct {
		name  string
		press func(p *press)
		cs    []change
		want  string
	}{
		{
			name: "three strokes", cs: three,
			want: "1000000 stroke held 1000000\n5000000 stroke held 400000\n8000000 stroke held 1000000\n",
		},
		{
			name: "bounce", cs: bouncing,
			want: "1000000 stroke held 1000000\n",
		},
		{
			// Read at each idle poll only: every 250 ms, and 20 ms after a new level.
			name: "every edge missed", cs: three,
			press: func(p *press) { p.missed = func(int) bool { return true } },
			want:  "1020000 stroke held 1020000\n5060000 stroke held 520000\n8100000 stroke held 1020000\n",
		},
		{
			name: "the opening missed", cs: three,
			press: func(p *press) { p.missed = func(i int) bool { return i%2 == 0 } },
			want:  "1000000 stroke held 1020000\n5000000 stroke held 520000\n8000000 stroke held 1020000\n",
		},
		{
			name: "a read error at rest", cs: three,
			press: func(p *press) { p.broken = func(d time.Duration) bool { return d >= 3*s && d < 4*s } },
			want: "1000000 stroke held 1000000\n" +
				"3020000 fault the switch cannot be read: input/output error\n" +
				"4540000 clear the switch can be read again\n" +
				"5000000 stroke held 400000\n8000000 stroke held 1000000\n",
		},
		{
			name: "a read error in a closure", cs: three,
			press: func(p *press) { p.broken = func(d time.Duration) bool { return d >= 1500*ms && d < 1600*ms } },
			want: "1000000 stroke held unknown\n" +
				"1520000 fault the switch cannot be read: input/output error\n" +
				"2040000 clear the switch can be read again\n" +
				"5000000 stroke held 400000\n8000000 stroke held 1000000\n",
		},
		{
			name: "not there at first", cs: three,
			press: func(p *press) { p.closed = func(d time.Duration) bool { return d < 3*s } },
			want: "0 fault the switch cannot be read: no such device\n" +
				"3520000 clear the switch can be read again\n" +
				"5000000 stroke held 400000\n8000000 stroke held 1000000\n",
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				p := newPress(t, tc.cs)
				if tc.press != nil {
					tc.press(p)
				}
				if d := cmp.Diff(tc.want, text(p.run(NewFilter(usual), 12*s))); d != "" {
					t.Errorf("events (-want +got):\n%s", d)
				}
			})
		})
	}
}

func TestWatchBacksOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPress(t, closures())
		p.closed = func(d time.Duration) bool { return d < time.Minute || d > 80*time.Second }
		p.broken = func(d time.Duration) bool { return d > 80*time.Second }
		es := p.run(NewFilter(usual), 84*time.Second)
		// Tries after 0.5, 1, 2, 4, 8, 10 s and so on; good for more than 10 s from
		// the one at 65.5 s; then from the beginning.
		want := []time.Duration{
			0, 500 * ms, 1500 * ms, 3500 * ms, 7500 * ms, 15500 * ms, 25500 * ms, 35500 * ms, 45500 * ms, 55500 * ms, 65500 * ms,
			80520 * ms, 81520 * ms, 83520 * ms,
		}
		got := p.opened
		// The poll that finds the lines unreadable comes up to 250 ms after 80 s.
		last := got[11]
		if last < 80500*ms || last > 80750*ms {
			t.Errorf("opened again at %v, want within 250 ms of 80.5 s", last)
		}
		for i := 11; i < len(want); i++ {
			want[i] += last - 80520*ms
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("opened at (-want +got):\n%s", d)
		}
		if len(es) != 3 || es[0].Kind != Fault || es[1].Kind != Clear || es[2].Kind != Fault {
			t.Errorf("events:\n%s", text(es))
		}
	})
}

func TestWatchIsIdleAtRest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPress(t, closures())
		p.run(NewFilter(usual), time.Hour)
		if want := 4*3600 + 2; p.reads > want {
			t.Errorf("%d reads an hour, want no more than %d", p.reads, want)
		}
	})
}

// A receiver that is away for a while loses nothing as long as the buffer holds.
func TestWatchSlowReceiver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var at []time.Duration
		for i := range 60 {
			at = append(at, time.Duration(2*i+1)*time.Second, time.Duration(2*i+2)*time.Second)
		}
		p := newPress(t, closures(at...))
		out := make(chan Event, 64)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- Watch(ctx, p.open, NewFilter(usual), time.Now, out) }()
		time.Sleep(3 * time.Minute)
		if len(out) != 60 {
			t.Errorf("%d events are waiting, want 60", len(out))
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

// With nobody to receive, Watch still ends with its context.
func TestWatchEndsWhileBlocked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPress(t, closures(time.Second, 2*time.Second))
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- Watch(ctx, p.open, NewFilter(usual), time.Now, make(chan Event)) }()
		time.Sleep(time.Minute)
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if p.isOpen {
			t.Error("left open")
		}
	})
}

func TestWatchTakesNothingForAFault(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		out := make(chan Event, 1)
		none := func() (Contacts, error) { return nil, nil }
		if err := Watch(ctx, none, NewFilter(usual), time.Now, out); err != nil {
			t.Error(err)
		}
		if e := <-out; e.Kind != Fault || e.Reason != "the switch cannot be read: nothing was opened" {
			t.Errorf("%+v", e)
		}
	})
}

// What happens when the wait fails, not the reading.
func TestWatchWaitFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &failingWait{newPress(t, closures())}
		out := make(chan Event, 4)
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		open := func() (Contacts, error) { _, err := p.open(); return p, err }
		if err := Watch(ctx, open, NewFilter(usual), time.Now, out); err != nil {
			t.Error(err)
		}
		if len(p.opened) != 4 || p.isOpen || len(out) != 1 {
			t.Errorf("opened %d times, open %v, %d events", len(p.opened), p.isOpen, len(out))
		}
		if e := <-out; e.Reason != "the switch cannot be read: bad file descriptor" {
			t.Errorf("%+v", e)
		}
	})
}

type failingWait struct{ *press }

func (*failingWait) Wait(context.Context, time.Duration) error {
	return errors.New("bad file descriptor")
}
