package main

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/sensors"
)

// gate is what a hanging part stands before: open at first, and shut from a
// moment on.
type gate struct {
	mu   sync.Mutex
	shut chan struct{} // nil: open
}

func (g *gate) close() { g.mu.Lock(); g.shut = make(chan struct{}); g.mu.Unlock() }

func (g *gate) open() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.shut != nil {
		close(g.shut)
		g.shut = nil
	}
}

// pass waits while the gate is shut.
func (g *gate) pass() {
	g.mu.Lock()
	shut := g.shut
	g.mu.Unlock()
	if shut != nil {
		<-shut
	}
}

// gatedLog is a store whose calls hang, take their time or fail.
type gatedLog struct {
	station.Memory
	gate *gate
	slow time.Duration
	bad  atomic.Bool
}

func (l *gatedLog) Append(b station.Batch) error {
	l.gate.pass()
	time.Sleep(l.slow)
	if l.bad.Load() {
		return errors.New("input/output error")
	}
	return l.Memory.Append(b)
}

// gatedContacts are contacts of which each call may hang, or fail.
type gatedContacts struct {
	levels, wait gate
	bad          atomic.Bool
}

func (c *gatedContacts) Levels() (sensors.Levels, error) {
	c.levels.pass()
	if c.bad.Load() {
		return sensors.Levels{}, errors.New("no such device")
	}
	return sensors.Levels{}, nil
}

func (c *gatedContacts) Wait(ctx context.Context, d time.Duration) error {
	c.wait.pass()
	time.Sleep(d)
	return nil
}

func (c *gatedContacts) Close() error { return nil }

// watchedAgent is an agent with the parts that bring inputs, on fakes that hang
// when they are told to, before a service manager.
type watchedAgent struct {
	*agent
	log      *gatedLog
	opening  gate
	contacts gatedContacts
	clock    gate // the caliper's: its loop looks at it in each turn
	told     []heardState
	logged   bytes.Buffer
	said     string // what was logged until the end
}

type heardState struct {
	at    time.Time
	state string
}

// runWatched runs one within a bubble of synctest, lets during happen, and ends
// it. The caliper of the configuration is not there.
func runWatched(t *testing.T, cfg *config.Config, during func(*watchedAgent)) *watchedAgent {
	t.Helper()
	w := &watchedAgent{log: &gatedLog{gate: &gate{}}}
	usual := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(&w.logged, nil)))
	defer slog.SetDefault(usual)

	s, err := station.Open(w.log, station.Rules{Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Places: 3})
	if err != nil {
		t.Fatal(err)
	}
	a := &agent{cfg: cfg, now: time.Now, watchdog: newWatchdog()}
	a.bench = newBench(s, a.now, func([]record.Record, station.View) {})
	a.watchdog.every, a.watchdog.fed = lookEvery, true
	a.watchdog.tell = func(states ...string) {
		w.told = append(w.told, heardState{time.Now(), strings.Join(states, "\n")})
	}
	a.watchParts()
	a.parts.house.end()
	w.agent = a
	open := func() (sensors.Contacts, error) { w.opening.pass(); return &w.contacts, nil }
	sources := []func(context.Context) error{a.watchSwitch(open, a.now)}
	a.now = func() time.Time { w.clock.pass(); return time.Now() }
	sources = append(sources, a.watchCaliper())

	ctx, stop := context.WithCancel(t.Context())
	var work sync.WaitGroup
	work.Go(func() { _ = a.bench.run(ctx) }) // that it could not keep all is part of the test
	for _, source := range sources {
		work.Go(func() {
			if err := source(ctx); err != nil {
				t.Error(err)
			}
		})
	}
	a.parts.house.beat()
	work.Go(func() { a.watchdog.run(ctx) })
	during(w)
	synctest.Wait()
	before, logged := slices.Clone(w.told), w.logged.String() // what comes now comes of the end
	stop()
	for _, g := range []*gate{w.log.gate, &w.opening, &w.contacts.levels, &w.contacts.wait, &w.clock} {
		g.open()
	}
	a.bench.end()
	work.Wait()
	w.told, w.said = before, logged
	return w
}

// fed is when the service manager was fed first and last.
func (w *watchedAgent) fed() (first, last time.Time, n int) {
	for _, s := range w.told {
		if strings.HasPrefix(s.state, "WATCHDOG=1") {
			if n++; n == 1 {
				first = s.at
			}
			last = s.at
		}
	}
	return first, last, n
}

func (w *watchedAgent) triggered() (at time.Time) {
	for _, s := range w.told {
		if s.state == "WATCHDOG=trigger" {
			return s.at
		}
	}
	return at
}

// watchedConfig is a configuration whose caliper is not there.
func watchedConfig(t *testing.T) *config.Config {
	t.Helper()
	_, file := shop(t, "")
	cfg, err := loadConfig(file)
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

// TestHungPartStopsTheFeeding: whichever part hangs, the service manager is fed no
// more within the part's limit and a little, is asked to end the agent, and the
// status line and the log name that part and no other.
func TestHungPartStopsTheFeeding(t *testing.T) {
	cfg := watchedConfig(t)
	for _, c := range []struct {
		name, part string
		limit      time.Duration
		hang       func(*watchedAgent)
	}{
		{"a store call that never returns", "bench", benchLimit, func(w *watchedAgent) { w.log.gate.close() }},
		{"contacts that are read for ever", "contacts", contactsLimit, func(w *watchedAgent) { w.contacts.levels.close() }},
		{"contacts that are waited for for ever", "contacts", contactsLimit, func(w *watchedAgent) { w.contacts.wait.close() }},
		{"lines that are opened for ever", "contacts", contactsLimit, func(w *watchedAgent) { w.opening.close(); w.contacts.bad.Store(true) }},
		{"a caliper's port that never comes back", "caliper", portLimit, func(w *watchedAgent) { w.clock.close() }},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var began time.Time
				w := runWatched(t, cfg, func(w *watchedAgent) {
					time.Sleep(10 * time.Minute)
					began = time.Now()
					c.hang(w)
					for range 300 { // work goes on around it
						w.bench.put(t.Context(), station.Action{At: time.Now(), Do: station.DoLoad, Cage: "C-21"})
						time.Sleep(time.Second)
					}
				})
				first, last, n := w.fed()
				if n < 60 || first.After(began) {
					t.Errorf("fed %d times before", n)
				}
				if late := last.Sub(began); late < c.limit-lookEvery || late > c.limit+2*lookEvery {
					t.Errorf("fed for %v, want about %v", late, c.limit)
				}
				if late := w.triggered().Sub(began); late < c.limit || late > c.limit+3*lookEvery {
					t.Errorf("asked to be ended after %v, want %v and a little", late, c.limit)
				}
				if got := w.said; strings.Count(got, "a part hangs") != 1 || !strings.Contains(got, "part="+c.part+" limit=") {
					t.Errorf("logged %q", got)
				}
				status := ""
				for _, s := range w.told {
					if strings.HasPrefix(s.state, "STATUS=") {
						status = s.state
					}
				}
				if !strings.HasPrefix(status, "STATUS=hangs: "+c.part+" for ") || strings.Contains(status, ",") {
					t.Errorf("the status line is %q", status)
				}
			})
		})
	}
}

// TestWhatIsNoHang: a caliper that is not there, contacts that cannot be read, a
// store that returns errors and one that takes a minute for each commit all let
// the service manager be fed, without a gap.
func TestWhatIsNoHang(t *testing.T) {
	cfg := watchedConfig(t)
	for name, trouble := range map[string]func(*watchedAgent){
		"nothing happens":              func(*watchedAgent) {},
		"contacts that cannot be read": func(w *watchedAgent) { w.contacts.bad.Store(true) },
		"a store that returns errors":  func(w *watchedAgent) { w.log.bad.Store(true) },
		"a bench that holds its fill": func(w *watchedAgent) {
			w.log.bad.Store(true)
			for !w.bench.full.Load() {
				ctx, end := context.WithTimeout(context.Background(), time.Second) // of the bubble
				w.bench.put(ctx, station.Action{At: time.Now(), Do: station.DoLoad, Cage: "C-21"})
				end()
			}
			w.contacts.levels.close() // as if it waited for the bench
		},
		"a card that takes a minute": func(w *watchedAgent) { w.log.slow = time.Minute },
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				const goes = 30 * time.Minute
				var began time.Time
				w := runWatched(t, cfg, func(w *watchedAgent) {
					began = time.Now()
					trouble(w)
					for range int(goes / time.Second) {
						if name != "nothing happens" && !w.bench.full.Load() {
							w.bench.put(t.Context(), station.Action{At: time.Now(), Do: station.DoLoad, Cage: "C-21"})
						}
						time.Sleep(time.Second)
					}
				})
				_, last, n := w.fed()
				if want := int(goes / lookEvery); n < want-1 || last.Sub(began) < goes-lookEvery {
					t.Errorf("fed %d times, the last after %v, want %d", n, last.Sub(began), want)
				}
				if got := w.said; strings.Contains(got, "hangs") {
					t.Errorf("logged %q", got)
				}
			})
		})
	}
}

// TestReadyComesWithTheInputs: the service manager hears READY when every part has
// begun, and not before.
func TestReadyComesWithTheInputs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var heard []string
		w := newWatchdog()
		w.every = lookEvery
		w.tell = func(states ...string) { heard = append(heard, states...) }
		w.status = func() string { return "north-bench: no fault" }
		first, second := w.part("first", time.Minute), w.part("second", time.Minute)
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); w.run(ctx) }()
		first.beat()
		first.beat()
		time.Sleep(time.Hour)
		if len(heard) > 0 {
			t.Errorf("heard %q while a part has not begun", heard)
		}
		second.beat()
		synctest.Wait()
		if len(heard) != 2 || heard[0] != "READY=1" || heard[1] != "STATUS=north-bench: no fault" {
			t.Errorf("heard %q", heard)
		}
		stop()
		<-done
	})
}

// TestStoppedProcessFindsNoPartHanging: a process that stood still as a whole,
// however long, counts one look.
func TestStoppedProcessFindsNoPartHanging(t *testing.T) {
	w := newWatchdog()
	w.every, w.fed = lookEvery, true
	var heard []string
	w.tell = func(states ...string) { heard = append(heard, states...) }
	p := w.part("bench", contactsLimit)
	p.beat()
	w.look()
	w.look() // hours later, before the part had its turn
	p.beat()
	w.look()
	if strings.Join(heard, " ") != "WATCHDOG=1 WATCHDOG=1 WATCHDOG=1" {
		t.Errorf("heard %q", heard)
	}
}
