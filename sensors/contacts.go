package sensors

import (
	"context"
	"time"
)

// Levels are the contacts' logical states at one moment, true = active.
// What is not wired stays false.
type Levels struct {
	Up        bool // limit switch: the ring is up
	Rest      bool // the second contact of a changeover switch: the ring is not up
	Retracted bool // full-retract switch: the ring is all the way back

	// Storm says that the limit switch changes faster than it is read: its level is
	// that of a moment and does not settle.
	Storm bool
}

// Contacts reads; it has no way to drive a line. One goroutine uses it.
type Contacts interface {
	// Levels reads all contacts at once. An error means nothing was read, and
	// that the contacts are to be closed and opened anew.
	Levels() (Levels, error)

	// Wait returns nil after an edge on any contact or after d (more than 0),
	// whichever comes first; it may return sooner. An edge is only a wake-up:
	// edges may be lost, merged or invented, so read Levels to know. When ctx
	// ends, it returns within d.
	Wait(ctx context.Context, d time.Duration) error

	// Close gives the lines back.
	Close() error
}

// A contact is what the contact or contacts of one switch say.
type contact uint8

const (
	unread  contact = iota // nothing was read yet, or it could not be read
	open                   // not active; of a changeover switch: the rest contact is made
	made                   // active
	neither                // of a changeover switch: in flight, or a wire is broken
	both                   // of a changeover switch: shorted
)

// valid reports whether the contact says where the switch is.
func (c contact) valid() bool { return c == open || c == made }

// limit is what the limit switch says.
func (l Levels) limit(changeover bool) contact {
	switch {
	case !changeover && l.Up:
		return made
	case !changeover:
		return open
	case l.Up && l.Rest:
		return both
	case l.Up:
		return made
	case l.Rest:
		return open
	}
	return neither
}

// retract is what the full-retract switch says.
func (l Levels) retract() contact {
	if l.Retracted {
		return made
	}
	return open
}

// A line follows one switch. Its times are as in [state]. An unread line that
// is not quiet waits for nothing.
type line struct {
	contact contact       // as it was last read
	since   time.Duration // when contact was first read
	quiet   bool          // contact is valid and has held for Settle
	settled contact       // the last that held: open, made, or unread while unknown
	edge    time.Duration // when settled began
	touch   time.Duration // when the level opposite to settled was first seen since it was last quiet, or never
}

// read takes in what the switch says now.
func (l *line) read(c contact, now time.Duration) {
	if c == l.contact {
		return
	}
	l.contact, l.since, l.quiet = c, now, false
	if l.touch == never && c.valid() && c != l.settled {
		l.touch = now
	}
}

// began is when the present contact began, bounce included if there was no more
// of it than a contact needs to settle.
func (l *line) began(settle time.Duration) time.Duration {
	if l.since-l.touch <= settle {
		return l.touch
	}
	return l.since
}

// settles takes the contact as settled. It returns what was settled before, and
// when that had begun.
func (l *line) settles(settle time.Duration) (was contact, edge time.Duration) {
	was, edge = l.settled, l.edge
	if l.settled != l.contact {
		l.settled, l.edge = l.contact, l.began(settle)
	}
	l.quiet, l.touch = true, never
	return was, edge
}

// lose forgets where the switch is.
func (l *line) lose() { l.quiet, l.settled, l.touch = false, unread, never }

// age moves the moment that times are counted from.
func (l *line) age(passed time.Duration) {
	l.since = before(l.since, passed)
	l.edge = before(l.edge, passed)
	l.touch = before(l.touch, passed)
}
