package main

import (
	"sync/atomic"
	"time"
)

// How long a part may show no sign of life before it hangs. Our own figures, each
// with what it must bear; a device that is away, a broker that refuses and a store
// that returns errors all let their part go on, and are no hang.
const (
	// The contacts are looked at every quarter of a second, and lines that cannot
	// be opened every ten seconds. A stroke that is not seen is lost for good.
	contactsLimit = 30 * time.Second

	// One commit may sync three times, and a worn card was reported to take 20 s
	// for one (from memory). What hangs longer comes back more surely by a new
	// start; the inputs that wait for it are lost with that.
	benchLimit = 90 * time.Second

	// Closing a serial port waits up to 30 s for bytes that the other side does not
	// take (closing_wait of the kernel's serial ports, from memory), opening a
	// wedged adapter some 5 s for each of its control messages (likewise).
	portLimit = 90 * time.Second

	// It keeps the sent cursor and drops old records: two commits of its own,
	// behind one of the bench.
	houseLimit = 4 * time.Minute

	// A connection that stands says each minute that it does, an attempt may take
	// half a minute, and a session number is one commit behind the bench's.
	outputLimit = 5 * time.Minute
)

// pulse is one part of the agent that shows again and again that it is alive.
type pulse struct {
	name  string // for the log
	limit time.Duration
	waits func() bool // the part stands still because another does; nil: never
	begun func()      // at the first beat

	beats atomic.Uint64
	ended atomic.Bool
}

// beat says that the part is alive; it costs nothing.
func (p *pulse) beat() {
	if p.beats.Add(1) == 1 {
		p.begun()
	}
}

// end says that the part has come to its end.
func (p *pulse) end() { p.ended.Store(true) }

// through is a clock that beats each time it is looked at, for loops that look at
// it in each turn.
func (p *pulse) through(now func() time.Time) func() time.Time {
	return func() time.Time {
		p.beat()
		return now()
	}
}

// parts are those of the agent that are watched; its sources have theirs for
// themselves.
type parts struct {
	bench, house    *pulse
	publisher, node *pulse // nil: there is no such output
}

// watchParts makes the parts that every agent has. The page and the answers to
// other commands have none: each request has a goroutine of its own, and what they
// share hangs the house as well, which shows each snapshot.
func (a *agent) watchParts() {
	a.parts.bench = a.watchdog.part("bench", benchLimit)
	a.parts.house = a.watchdog.part("house", houseLimit)
	a.parts.house.waits = a.benchHoldsUp
	a.bench.beat = a.parts.bench.beat
}

// source is a part that brings inputs to the bench.
func (a *agent) source(name string, limit time.Duration) *pulse {
	p := a.watchdog.part(name, limit)
	p.waits = a.benchHoldsUp
	return p
}

// benchHoldsUp says whether who hands inputs in may have to wait for the bench:
// then it is the bench that hangs, or the store that takes nothing.
func (a *agent) benchHoldsUp() bool {
	return a.bench.full.Load() || a.watchdog.stalls(a.parts.bench, 2*benchBeat)
}
