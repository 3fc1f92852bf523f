package sensors

import "time"

// due is something that falls due when the levels stay as they are.
type due uint8

const (
	nothing    due = iota
	settles        // the limit switch has held for Settle
	retracts       // the retract switch has held for Settle
	holds          // a closure has lasted long enough to be told before it ends
	shorts         // both contacts are made
	breaks         // neither contact is made
	contradict     // limit and retract switch are both made
	sticks         // the limit switch is made for too long
	chatters       // the limit switch does not settle
)

// next is what falls due first, and when. Of two at once it is the one that
// comes first above.
func (f *Filter) next() (time.Duration, due) {
	l, r := &f.limit, &f.retract
	if l.quiet && r.quiet && l.settled == open {
		return forever, nothing // at rest, the usual case
	}
	first, what := forever, nothing
	earliest := func(m time.Duration, d due) {
		if m < first {
			first, what = m, d
		}
	}
	if l.contact.valid() && !l.quiet && !f.stormy {
		earliest(l.since+f.s.Settle, settles)
	}
	if r.contact != unread && !r.quiet {
		earliest(r.since+f.s.Settle, retracts)
	}
	closed := l.settled == made && l.contact == made
	if closed && !f.barred && !f.told {
		earliest(l.edge+holdLimit, holds)
	}
	if l.contact == both && f.may(short) {
		earliest(l.since+bothLimit, shorts)
	}
	if l.contact == neither && f.may(wire) {
		earliest(l.since+neitherLimit, breaks)
	}
	if closed && r.settled == made && r.contact == made && f.may(ends) {
		earliest(max(l.edge, r.edge)+f.s.Shortest, contradict)
	}
	if closed && f.may(stuck) {
		earliest(l.edge+f.s.Stuck, sticks)
	}
	if l.contact != unread && !l.quiet && f.may(noisy) {
		earliest(f.restless+noisyLimit, chatters)
	}
	return first, what
}

// pass lets the time of this call pass, with the levels as they are. What could not
// fall due at its time, because the level was away just then, does so now.
func (f *Filter) pass() {
	for {
		m, what := f.next()
		if what == nothing || m > f.passed {
			f.now = f.passed
			return
		}
		f.now = max(m, f.now)
		f.fall(what)
	}
}

// fall does what has fallen due now.
func (f *Filter) fall(what due) {
	switch what {
	case nothing:
	case settles:
		f.settle()
	case retracts:
		f.settleRetract()
	case holds:
		f.count(0)
	case shorts:
		f.lose(short)
	case breaks:
		f.lose(wire)
	case contradict:
		f.raise(ends, ends.reason(f.s))
	case sticks:
		f.raise(stuck, stuck.reason(f.s))
	case chatters:
		if f.limit.settled == made && f.restless-f.limit.edge < f.s.Shortest {
			f.barred = true
		}
		f.raise(noisy, noisy.reason(f.s))
	}
}

// settle takes the level of the limit switch as settled.
func (f *Filter) settle() {
	l := &f.limit
	was, edge := l.settles(f.s.Settle)
	switch {
	case was == l.settled: // noise, and over
	case l.settled == made:
		f.told = false
		f.barred = was == unread || f.retract.settled == made
	case was == made && !f.barred && !f.told && l.edge-edge >= f.s.Shortest:
		f.countFrom(edge, l.edge-edge)
	}
	switch f.fault {
	case none:
	case lines, short, wire, noisy:
		f.clear()
	case ends, stuck:
		if l.settled == open {
			f.clear()
		}
	}
}

// settleRetract takes the level of the retract switch as settled.
func (f *Filter) settleRetract() {
	r := &f.retract
	was, _ := r.settles(f.s.Settle)
	switch {
	case r.settled == made && was == open:
		f.emit(Event{Kind: Retract}, r.edge)
	case r.settled == open && f.fault == ends:
		f.clear()
	}
}

// claim counts the closure now if it has lasted long enough.
func (f *Filter) claim() {
	l := &f.limit
	if l.settled != made || f.barred || f.told {
		return
	}
	end, held := f.now, time.Duration(0)
	switch l.contact {
	case open:
		end = l.began(f.s.Settle)
		held = end - l.edge
	case neither, both:
		end = l.since
	case made, unread:
	}
	if end-l.edge >= f.s.Shortest {
		f.count(held)
	}
}

func (f *Filter) count(held time.Duration) {
	f.told = true
	f.countFrom(f.limit.edge, held)
}

// countFrom counts a closure, unless it belongs to the stroke before it.
func (f *Filter) countFrom(start, held time.Duration) {
	if start-f.counted < f.s.Cycle {
		return
	}
	f.counted = start
	f.emit(Event{Kind: Stroke, Held: held}, start)
}
