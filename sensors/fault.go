package sensors

import (
	"strconv"
	"time"
)

// fault is what can be wrong with the switches, the most serious first.
type fault uint8

const (
	lines fault = iota // the lines cannot be read
	short              // both contacts are made
	wire               // neither contact is made
	ends               // the ring would be up and all the way back
	stuck              // the limit switch stays made
	noisy              // the limit switch does not settle
	none
)

func (k fault) reason(s Settings) string {
	switch k {
	case lines:
		return "the switch cannot be read: " // and the error
	case short:
		return "both contacts of the limit switch are made at once: look for wires that touch, water in the plug, a contact that is welded"
	case wire:
		return "neither contact of the limit switch is made: look for a broken wire, a loose plug, a missing supply"
	case ends:
		return "the limit switch and the full-retract switch are made at once: look for the one that sticks; a closure that begins so is not counted"
	case stuck:
		return "the limit switch has been made for " + seconds(s.Stuck) + " s: look for a jammed lever, swarf under it, a ring that was left up"
	case noisy:
		return "the limit switch has not been steady for " + seconds(noisyLimit) + " s: look for a loose terminal, a worn contact, a cable that runs beside the motor's"
	case none:
	}
	return ""
}

// over is the reason of a clear.
func (k fault) over() string {
	switch k {
	case lines:
		return "the switch can be read again"
	case short, wire:
		return "exactly one contact of the limit switch is made again"
	case ends:
		return "the limit switch and the full-retract switch are no longer made at once"
	case stuck:
		return "the limit switch was released"
	case noisy:
		return "the limit switch is steady again"
	case none:
	}
	return ""
}

func seconds(d time.Duration) string {
	return strconv.FormatFloat(d.Seconds(), 'f', -1, 64)
}

// seen reports whether what was last read of the limit switch is itself the
// fault k.
func (f *Filter) seen(k fault) bool {
	switch k {
	case lines:
		return f.limit.contact == unread
	case short:
		return f.limit.contact == both
	case wire:
		return f.limit.contact == neither
	case none, ends, stuck, noisy:
	}
	return false
}

// lost reports whether the fault k leaves the position of the switch unknown.
func (k fault) lost() bool { return k <= wire }

// may reports whether the fault k may become the active one.
func (f *Filter) may(k fault) bool {
	a := f.fault
	return k < a || k > a && a.lost() && !f.seen(a)
}

// raise makes the fault k the active one, now.
func (f *Filter) raise(k fault, reason string) {
	if f.fault != none {
		f.emit(Event{Kind: Clear, Reason: "another fault takes its place"}, f.now)
	}
	f.fault = k
	f.emit(Event{Kind: Fault, Reason: reason}, f.now)
}

// clear ends the active fault, now.
func (f *Filter) clear() {
	f.emit(Event{Kind: Clear, Reason: f.fault.over()}, f.now)
	f.fault = none
}

// lose raises a fault of a changeover switch: where it is, is not known.
func (f *Filter) lose(k fault) {
	f.claim()
	f.limit.lose()
	f.raise(k, k.reason(f.s))
}
