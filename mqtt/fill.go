package mqtt

import (
	"fmt"
	"time"

	"benchtally/agent/record"
	"benchtally/mqtt/broker"
)

// envelope is more than AppendEvent puts around a record, but for very long
// bases.
const envelope = 384

// fill publishes what may go now: status when due, retained topics that have
// changed, and events while the window has room. Events wait for the greeting:
// a connection that takes none of it takes no event either.
func (l *link) fill(now time.Time) {
	if !l.greeted && len(l.air) == 0 && !l.beat.IsZero() {
		l.greeted = true
		l.p.report(func(s *State) {
			s.Connected = true
			s.Reason = l.p.trouble.connected()
			s.Stuck = l.p.trouble.stuck()
		})
	}
	if !now.Before(l.beat) {
		l.beat = now.Add(l.p.s.Heartbeat)
		l.sayStatus(true, "", now)
		l.renew()
		l.lookAgain() // should a wake-up have been forgotten
		if now.Sub(l.session.Begun) >= broker.Memory && l.p.trouble.rival != "" {
			l.p.retry.NoRival()
			l.p.noteRival()
			l.p.refresh()
		}
	}
	for i := range retained {
		l.show(i)
	}
	if l.p.collect() {
		l.look = true // what was unsent when the drain was asked for must be seen
	}
	if !l.greeted {
		return
	}
	l.clearFormer()
	for l.room() {
		e, c, ok := l.next(now)
		if !ok || l.pace.wait(now) > 0 || !l.send(e, c) {
			break
		}
		l.pace.take(now)
	}
	if len(l.batch) == 0 && l.unsent == 0 && !l.look && l.retryAt.IsZero() {
		l.p.answer()
	}
}

// renewEvery is after how many heartbeats the retained topics are published anew:
// somebody may have cleared or overwritten them. Our own figure, no source.
const renewEvery = 5

// renew has the retained topics published anew now and then.
func (l *link) renew() {
	if l.beats++; l.beats%renewEvery == 0 {
		l.shown = [len(retained)]uint64{}
	}
}

// show publishes a retained topic if it has changed and its former payload is
// acknowledged.
func (l *link) show(i int) {
	if l.flies[i] {
		return
	}
	s := l.p.newest(i)
	if s.version == l.shown[i] {
		return
	}
	l.shown[i], l.flies[i] = s.version, true
	l.publish(flight{cargo: shelf, index: i, topic: retained[i].Under(l.p.s.Base)}, true, s.payload)
}

// room reports whether another event may be in flight. After a connection was
// lost with events in flight they go one by one until one is acknowledged, so
// that the event at which the broker breaks off is known.
func (l *link) room() bool {
	window := l.p.s.Window
	if l.p.head.losses > 0 {
		window = 1
	}
	return l.unsent+l.again < window
}

// next is the event that goes next: the oldest unsent one, or one to be sent
// again while none is unsent.
func (l *link) next(now time.Time) (record.Event, cargo, bool) {
	if l.held {
		return record.Event{}, 0, false
	}
	if l.look && len(l.batch) == 0 && !now.Before(l.retryAt) {
		l.read(now)
	}
	switch {
	case len(l.batch) > 0:
		return l.batch[0], event, true
	case len(l.repeats) > 0:
		return l.repeats[0], repeat, true
	default:
		return record.Event{}, 0, false
	}
}

// read asks the outbox for events, and for events to be sent again when there
// are no others.
func (l *link) read(now time.Time) {
	var err error
	l.batch, err = l.p.out.Unsent(l.after, chunk)
	l.p.outbox("unsent", err)
	l.look, l.retryAt = true, time.Time{}
	if err == nil && len(l.batch) == 0 {
		l.look = false
		if len(l.repeats) == 0 && l.again == 0 {
			l.repeats, err = l.p.out.Resends(chunk)
			l.p.outbox("resends", err)
		}
	}
	if err != nil && len(l.batch) == 0 && len(l.repeats) == 0 {
		l.look, l.retryAt = true, now.Add(reread)
	}
}

// lookAgain has the outbox read again; what could not be put into a message may
// have been mended.
func (l *link) lookAgain() {
	l.look = true
	if l.held {
		l.held, l.batch, l.repeats = false, nil, nil
	}
}

// send publishes an event that next gave. It reports false if the event cannot
// be put into a message; then everything behind it waits, until the next look.
func (l *link) send(e record.Event, c cargo) bool {
	payload, topic, err := AppendEvent(make([]byte, 0, len(e.Record)+envelope), l.p.s.Base, e)
	if err != nil {
		l.hold(e.Seq, fmt.Sprintf("%v: it is kept, but it and the events behind it cannot be sent", err))
		return false
	}
	if c == event {
		l.batch = l.batch[1:]
		l.after = e.Seq
	} else {
		l.repeats = l.repeats[1:]
	}
	l.hold(0, "")
	l.publish(flight{cargo: c, seq: e.Seq, topic: topic}, false, payload)
	return true
}

// hold notes the event that cannot be put into a message; 0 none.
func (l *link) hold(seq uint64, why string) {
	l.held = seq != 0
	if t := &l.p.trouble; t.held != why {
		t.held, t.heldAt = why, seq
		l.p.refresh()
	}
}
