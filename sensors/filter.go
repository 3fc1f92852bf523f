package sensors

import (
	"math"
	"time"
)

// Times of the filter that no setting changes. Common practice, no source.
const (
	holdLimit    = 10 * time.Second       // a closure this long is told before it ends
	noisyLimit   = 2 * time.Second        // never settled for so long is chatter
	neitherLimit = 500 * time.Millisecond // a changeover switch is never in flight so long
	bothLimit    = 50 * time.Millisecond  // nor does it make both contacts so long
	stuckDefault = 120 * time.Second

	idlePoll = 250 * time.Millisecond // the longest wait
	busyPoll = 20 * time.Millisecond  // the longest wait while a level has not settled
	leastDue = time.Millisecond       // the shortest wait
)

// Settings are a filter's times. They are taken as they are: 0 is 0, below 0 is
// 0, and only Stuck has a default.
type Settings struct {
	Settle     time.Duration // a level counts once it has held this long; usually 20 ms
	Shortest   time.Duration // a closure shorter than this is no stroke; usually 150 ms
	Cycle      time.Duration // a closure that starts sooner than this after a stroke's start joins it; usually 1 s
	Changeover bool          // Levels.Rest is wired
	Stuck      time.Duration // a closure of this long is a fault; 0 = 120 s
}

// Filter turns levels into strokes. It is a pure function of the levels and
// times given to it: it reads no clock, and extra calls with the same levels
// change nothing. One goroutine uses it; make it with [NewFilter] or
// [NewFilterAtRest].
//
// # Levels
//
// A level counts once it has held for Settle. Anything shorter, in either
// direction, is ignored. It counts from its first edge: of a contact that
// bounced for no longer than Settle, from the first touch; of one that did for
// longer, from the edge after which it held. Of a changeover switch a level is the one contact made
// and the other not; in flight, and while both are made, nothing settles, so the
// state changes only when the opposite contact is made.
//
// # States
//
//	unknown -- settles open --> rest
//	unknown -- settles made --> held         never counted: it may have begun at any time
//	rest    -- settles made --> closure      or held, while the retract switch is settled made
//	held    -- settles open --> rest
//	closure -- settles open --> rest         counted if it lasted Shortest
//	closure -- lasts 10 s, or is claimed     counted at once, and not again when it ends
//	closure -- chatters for 2 s, and had not lasted Shortest before --> held
//	any     -- cannot be read, neither contact, both contacts --> unknown
//	                                         a closure that had lasted Shortest is counted
//
// While [Levels] say that the limit switch changes faster than it is read, nothing
// settles; a closure that had not lasted Shortest by then is not counted.
//
// A counted closure is a stroke, unless it began less than Cycle after the start
// of the last stroke: then it belongs to that one (inching).
//
// A ring is never up and all the way back at once. A closure that begins while
// the retract switch is made, as when somebody pushes the lever during a change
// of cage, is therefore no stroke; should both last, it is a fault.
//
// # Faults
//
// From the most serious: the lines cannot be read; both contacts made for 50 ms;
// neither made for 500 ms; limit and retract switch both made for Shortest;
// made for Stuck; not settled for 2 s. One is active at a time. A more serious
// one takes the place of a lesser one, and any one takes the place of one of the
// first three that is no longer there but has not cleared for want of a settled
// level: a clear and a fault. Each clears with a settled level, the fourth and
// fifth with an open one.
//
// # Time
//
// A time before the last one counts as no time passed, and the filter goes on
// from there. Give it times with a monotonic reading where there is one: then
// a clock that is set meanwhile changes nothing but the events' times.
type Filter struct {
	s   Settings
	out []Event
	state
}

// state is all that a filter remembers. Its times are counted from at, so those
// that have passed are not above 0.
type state struct {
	at       time.Time     // of the last call
	limit    line          // the limit switch
	retract  line          // the full-retract switch
	restless time.Duration // when limit was last quiet
	barred   bool          // the closure is not to be counted: state held
	told     bool          // the closure has been counted
	counted  time.Duration // start of the last stroke, or never
	fault    fault         // the active one
	stormy   bool          // limit changes faster than it is read

	// Within a call only: how much time has passed since the one before, from which
	// times count until the end of this one, and how much of it is dealt with.
	passed, now time.Duration
}

const (
	never   = time.Duration(math.MinInt64 / 2) // longer ago than any time
	forever = -never
)

// NewFilter is a filter at power-up: it knows nothing yet, and a switch that is
// made at first is not counted until it has been released.
func NewFilter(s Settings) *Filter {
	if s.Stuck == 0 {
		s.Stuck = stuckDefault
	}
	for _, d := range []*time.Duration{&s.Settle, &s.Shortest, &s.Cycle, &s.Stuck} {
		*d = min(max(*d, 0), 100*365*24*time.Hour)
	}
	unknown := line{touch: never}
	return &Filter{s: s, out: make([]Event, 0, 8), state: state{limit: unknown, retract: unknown, counted: never, fault: none}}
}

// NewFilterAtRest is a filter that knows that all was at rest before at: the
// first closure counts.
func NewFilterAtRest(s Settings, at time.Time) *Filter {
	f := NewFilter(s)
	rest := line{contact: open, since: never, quiet: true, settled: open, edge: never, touch: never}
	f.at, f.limit, f.retract = at, rest, rest
	return f
}

// Step takes in the levels at a time. It first lets the time since the last call
// pass with the levels of that call, and then returns all that fell due, in
// order. The slice is valid until the next call.
func (f *Filter) Step(l Levels, at time.Time) []Event {
	f.begin(at)

	c, r := l.limit(f.s.Changeover), l.retract()
	if c != f.limit.contact || r != f.retract.contact {
		f.read(c, r)
		f.pass()
	}
	if f.stormy = l.Storm; l.Storm {
		f.blow()
	}
	return f.end()
}

// read takes in what the switches say now.
func (f *Filter) read(limit, retract contact) {
	l := &f.limit
	if limit != l.contact && (l.quiet || f.seen(f.fault)) {
		f.restless = f.now
	}
	l.read(limit, f.now)
	f.retract.read(retract, f.now)
}

// Claim is for a caller with another input, a reading, that must come after the
// stroke it belongs to. A closure that has lasted Shortest by now is counted at
// once, with Held if it has opened already, settled or not; not again later.
// Returns like Step.
func (f *Filter) Claim(at time.Time) []Event {
	f.begin(at)
	f.claim()
	return f.end()
}

// Fail says that the contacts could not be read: a fault, once, until they have
// been read and have settled again. Returns like Step.
func (f *Filter) Fail(err error, at time.Time) []Event {
	f.begin(at)
	f.claim()
	for _, l := range [...]*line{&f.limit, &f.retract} {
		l.lose()
		l.contact = unread
	}
	if f.fault != lines {
		f.raise(lines, lines.reason(f.s)+err.Error())
	}
	return f.end()
}

// Wait is how long after at the filter wants its next Step: more than 0, at most
// 250 ms, at most 20 ms while a level has not settled. A later Step loses
// nothing but what happened unread meanwhile.
func (f *Filter) Wait(at time.Time) time.Duration {
	d := idlePoll
	if f.unsettled() {
		d = busyPoll
	}
	if m, what := f.next(); what != nothing {
		d = min(d, m-f.since(at))
	}
	return max(d, leastDue)
}

// since is how much time has passed from the last call to at, not below 0.
func (f *Filter) since(at time.Time) time.Duration {
	return min(max(at.Sub(f.at), 0), forever)
}

// unsettled reports whether a level may settle soon. A fault that lasts is not
// worth looking at more often.
func (f *Filter) unsettled() bool {
	return f.limit.contact != unread && !f.limit.quiet && !f.seen(f.fault) ||
		f.retract.contact != unread && !f.retract.quiet
}

// begin opens a call and lets the time pass since the one before.
func (f *Filter) begin(at time.Time) {
	f.passed, f.now = 0, 0
	if !f.at.IsZero() { // not the first call
		f.passed = f.since(at)
	}
	f.at = at
	f.out = f.out[:0]
	f.pass()
}

// end closes a call: from here on, times count from it.
func (f *Filter) end() []Event {
	if f.passed > 0 {
		f.limit.age(f.passed)
		f.retract.age(f.passed)
		f.restless = before(f.restless, f.passed)
		f.counted = before(f.counted, f.passed)
	}
	f.passed, f.now = 0, 0
	return f.out
}

// before is the moment m as counted from a moment that is later by passed.
func before(m, passed time.Duration) time.Duration { return max(m-passed, never) }

func (f *Filter) emit(e Event, m time.Duration) {
	e.At = f.at.Add(m - f.passed)
	f.out = append(f.out, e)
}
