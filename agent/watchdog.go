package main

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// lookEvery is how often the parts are looked at where no service manager says.
const lookEvery = 10 * time.Second

// watchdog tells the service manager that the agent is alive, for as long as each
// of its parts is. Looks are counted and not time, so that a machine that slept,
// or a process that was stopped for a while, finds no part hanging.
type watchdog struct {
	every  time.Duration          // between two looks
	fed    bool                   // a service manager wants to hear
	tell   func(states ...string) // it
	status func() string          // one line on how the agent stands; nil: none

	mu    sync.Mutex
	parts []*observed
	await int           // parts that have not begun
	begun chan struct{} // closed once all have
	close func()

	said string // status that was told last
	hung atomic.Pointer[string]
}

// observed is a part as it was seen at the latest look.
type observed struct {
	*pulse
	beats uint64
	still int // looks in a row that found no beat
	hangs bool
}

func newWatchdog() *watchdog {
	every, fed := fedEvery()
	if !fed {
		every = lookEvery
	}
	w := &watchdog{every: every, fed: fed, tell: notify, begun: make(chan struct{})}
	w.close = sync.OnceFunc(func() { close(w.begun) })
	return w
}

// part is a new part that is watched from its first beat on.
func (w *watchdog) part(name string, limit time.Duration) *pulse {
	w.mu.Lock()
	defer w.mu.Unlock()
	p := &pulse{name: name, limit: limit, begun: w.oneBegan}
	w.parts = append(w.parts, &observed{pulse: p})
	w.await++
	return p
}

func (w *watchdog) oneBegan() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.await--; w.await == 0 {
		w.close()
	}
}

// run says READY once all parts have begun, and looks after them until ctx ends.
func (w *watchdog) run(ctx context.Context) {
	tick := time.NewTicker(w.every)
	defer tick.Stop()
	begun := (<-chan struct{})(w.begun)
	for {
		select {
		case <-ctx.Done():
			return
		case <-begun:
			begun = nil
			w.tell(append([]string{"READY=1"}, w.news()...)...)
		case <-tick.C:
			w.look()
		}
	}
}

// news is the status line for the service manager, if it is another than before.
func (w *watchdog) news() []string {
	if w.status == nil {
		return nil
	}
	now := strings.Join(strings.Fields(w.status()), " ") // a line break would begin another state
	if now == w.said {
		return nil
	}
	w.said = now
	return []string{"STATUS=" + now}
}

// look finds out which parts hang, and feeds the service manager if none does.
// The manager is told before the log: writing a log may be what hangs.
func (w *watchdog) look() {
	var hung, names []string
	var fresh []*observed
	w.mu.Lock()
	for _, p := range w.parts {
		if p.moves() {
			if p.hangs {
				p.hangs = false
				slog.Info("a part goes on again", "part", p.name)
			}
			continue
		}
		// The first of the looks may have come right behind the last beat.
		quiet := time.Duration(p.still-1) * w.every
		if quiet < p.limit {
			continue
		}
		hung = append(hung, p.name+" for "+quiet.Round(time.Second).String())
		names = append(names, p.name)
		if !p.hangs {
			p.hangs = true
			fresh = append(fresh, p)
		}
	}
	w.mu.Unlock()
	if len(hung) == 0 {
		w.hung.Store(nil)
		if w.fed {
			w.tell(append([]string{"WATCHDOG=1"}, w.news()...)...)
		}
		return
	}
	all := strings.Join(names, ", ")
	w.hung.Store(&all)
	if len(fresh) == 0 {
		return
	}
	w.said = "hangs: " + strings.Join(hung, ", ")
	if !w.fed {
		for _, p := range fresh {
			slog.Error("a part hangs; stop the agent and start it again", "part", p.name, "limit", p.limit)
		}
		return
	}
	w.tell("STATUS=" + w.said)
	for _, p := range fresh {
		slog.Error("a part hangs; the service manager is asked to end the agent and to start it again", "part", p.name, "limit", p.limit)
	}
	w.tell("WATCHDOG=trigger") // an older manager sees that no beat comes
}

// moves notes what the part has done since the latest look.
func (p *observed) moves() bool {
	beats := p.pulse.beats.Load()
	if beats != p.beats || p.ended.Load() || beats == 0 || p.waits != nil && p.waits() {
		p.beats, p.still = beats, 0
		return true
	}
	p.still++
	return false
}

// stalls says whether a part has shown no sign of life for so long. Only what is
// called from look may ask.
func (w *watchdog) stalls(p *pulse, so time.Duration) bool {
	for _, other := range w.parts {
		if other.pulse == p {
			return time.Duration(other.still)*w.every > so
		}
	}
	return false
}

// trouble names the parts that hang; "": none does.
func (w *watchdog) trouble() string {
	if all := w.hung.Load(); all != nil {
		return *all
	}
	return ""
}
