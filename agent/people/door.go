package people

import (
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"
)

// Settings of a Door; what is zero is taken from the defaults.
type Settings struct {
	Idle     time.Duration // a session ends when its operator has done nothing for so long
	Longest  time.Duration // and in any case so long after it began
	Sessions int           // so many at once

	Now func() time.Time // the clock; must be set
}

// Defaults: a tablet on the wall that somebody walked away from; longer than a
// shift; more than a shop has people.
const (
	defaultIdle     = 30 * time.Minute
	defaultLongest  = 12 * time.Hour
	defaultSessions = 64
)

// mostRemembered is of how many operators wrong PINs are remembered, and of how
// many addresses, and of how many signs that nobody has.
const mostRemembered = 1024

// Door lets operators in and knows who is in. Its methods may be called at the
// same time.
type Door struct {
	now   func() time.Time
	queue queue

	mu        sync.Mutex
	file      watched
	sessions  sessions
	operators tally // wrong PINs of those who are in the file
	strangers tally // wrong PINs of those who are not
	addresses tally
}

// NewDoor opens a door for the people of an operators file. A file with faults,
// or none, lets nobody in until it is mended; Trouble tells it.
func NewDoor(file string, s Settings) *Door {
	d := &Door{
		now: s.Now, queue: newQueue(), file: watched{path: file},
		sessions:  sessions{idle: s.Idle, longest: s.Longest, most: s.Sessions, open: map[ticket]*session{}},
		operators: newTally(mostRemembered), strangers: newTally(mostRemembered), addresses: newTally(mostRemembered),
	}
	if d.sessions.idle == 0 {
		d.sessions.idle = defaultIdle
	}
	if d.sessions.longest == 0 {
		d.sessions.longest = defaultLongest
	}
	if d.sessions.most == 0 {
		d.sessions.most = defaultSessions
	}
	return d
}

// enter locks the door's state, with the file as it is now.
func (d *Door) enter() (now time.Time) {
	now = d.now()
	d.mu.Lock()
	d.file.look(now)
	return now
}

// PIN signs an operator in by PIN. From is the address of who asks, as From
// returns it. The error is a *Refused.
func (d *Door) PIN(id, pin, from string) (token string, p Person, err error) {
	from = place(from)
	now := d.enter()
	refused := d.shut(id, from, now)
	d.mu.Unlock()
	if refused != nil {
		return "", Person{}, refused
	}
	leave, ok := d.queue.enter()
	if !ok {
		return "", Person{}, busy()
	}
	defer leave()
	now = d.enter()
	refused = d.shut(id, from, now) // those in front may have locked it
	var e entry
	if i := d.file.roll.index(id); i >= 0 {
		e = d.file.roll[i]
	}
	d.mu.Unlock()
	if refused != nil {
		return "", Person{}, refused
	}
	good := e.pin.is(pin)
	now = d.enter()
	defer d.mu.Unlock()
	if !good {
		d.wrong(id).add(clip(id), now)
		d.addresses.add(from, now)
		if refused := d.shut(id, from, now); refused != nil {
			return "", Person{}, refused
		}
		return "", Person{}, wrongPIN()
	}
	d.operators.clear(id)
	d.addresses.clear(from)
	return d.sessions.begin(e, now), e.Person, nil
}

// Badge signs in who has a badge, by the token on it. A token cannot be guessed,
// so wrong ones lock nothing, and a lock does not keep a badge out. The error is
// a *Refused.
func (d *Door) Badge(badge string) (token string, p Person, err error) {
	h := hashBadge(badge)
	now := d.enter()
	defer d.mu.Unlock()
	e, ok := d.file.roll.holder(h)
	if !ok {
		return "", Person{}, wrongBadge()
	}
	return d.sessions.begin(e, now), e.Person, nil
}

// Holder is who has a badge, by the token on it. Nobody is signed in by it.
func (d *Door) Holder(badge string) (Person, bool) {
	h := hashBadge(badge)
	d.enter()
	defer d.mu.Unlock()
	e, ok := d.file.roll.holder(h)
	return e.Person, ok
}

// Who is signed in under a token. Asking keeps no session alive, so a page may
// renew itself without anybody before it.
func (d *Door) Who(token string) (Person, bool) { return d.who(token, false) }

// Touch is Who for what a person does: it keeps the session alive.
func (d *Door) Touch(token string) (Person, bool) { return d.who(token, true) }

func (d *Door) who(token string, touch bool) (Person, bool) {
	if token == "" {
		return Person{}, false
	}
	now := d.enter()
	defer d.mu.Unlock()
	s := d.sessions.of(token, now)
	if s == nil {
		return Person{}, false
	}
	i := d.file.roll.index(s.entry.ID)
	if i < 0 || d.file.roll[i].pin != s.entry.pin || d.file.roll[i].badge != s.entry.badge {
		d.sessions.end(token)
		return Person{}, false
	}
	if touch {
		s.used = now
	}
	return d.file.roll[i].Person, true
}

// Leave signs out who is signed in under a token.
func (d *Door) Leave(token string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.sessions.end(token)
}

// People are the operators as the file has them, by their signs.
func (d *Door) People() []Person {
	d.enter()
	defer d.mu.Unlock()
	list := d.file.roll.People()
	slices.SortFunc(list, func(a, b Person) int { return strings.Compare(a.ID, b.ID) })
	return list
}

// Trouble says what is wrong with the operators file, "" for nothing.
func (d *Door) Trouble() string {
	d.enter()
	defer d.mu.Unlock()
	return d.file.trouble
}

// wrong is where an operator's wrong PINs are counted. Signs that nobody has
// cannot push out those of the people that there are.
func (d *Door) wrong(id string) tally {
	if d.file.roll.index(id) >= 0 {
		return d.operators
	}
	return d.strangers
}

// shut says why no PIN is looked at now; nil: one is.
func (d *Door) shut(id, from string, now time.Time) *Refused {
	id = clip(id)
	theirs, here := d.wrong(id).of(id, now), d.addresses.of(from, now)
	told := func(until time.Time) time.Time { return now.Add(until.Sub(now)) } // by the clock as it is now
	switch {
	case !now.Before(theirs.until()) && !now.Before(here.until()):
		return nil
	case theirs.until().Before(here.until()):
		return lockedHere(here.n, told(here.until()))
	}
	return locked(id, theirs.n, told(theirs.until()))
}

// clip keeps a sign to the length that one can have.
func clip(id string) string { return id[:min(len(id), mostName)] }

// place is the name under which an address's wrong PINs are counted.
func place(from string) string {
	ip, err := netip.ParseAddr(from)
	if err != nil {
		return clip(from)
	}
	return Machine(ip).String()
}
