package mqtt

import (
	"time"

	"benchtally/mqtt/broker"
)

// cargo says what a flight carries.
type cargo int

const (
	status cargo = iota
	shelf
	event
	repeat
	clearing // of a retained topic of a former base
)

// flight is a message on its way to being acknowledged.
type flight struct {
	token broker.Token
	cargo cargo
	seq   uint64 // of an event
	index int    // of a retained topic
	topic string
	size  int // of its payload, bytes
	due   time.Time
}

// publish hands a message to the client library.
func (l *link) publish(f flight, retain bool, payload []byte) {
	f.size = len(payload)
	f.token = l.session.Publish(broker.Message{Topic: f.topic, Payload: payload, QoS: 1, Retain: retain})
	f.due = time.Now().Add(l.p.s.AckTimeout)
	l.air = append(l.air, f)
	switch f.cargo {
	case event:
		l.unsent++
	case repeat:
		l.again++
	case status, shelf, clearing:
	}
}

// head is ready when the oldest message is acknowledged or lost; nil if none
// is in flight.
func (l *link) head() <-chan struct{} {
	if len(l.air) == 0 {
		return nil
	}
	return l.air[0].token.Done()
}

// land takes the acknowledged messages out of the air, oldest first, and tells
// the outbox. An error is that of a message that was lost.
func (l *link) land() error {
	var sent uint64
	defer func() { l.settle(sent) }()
	for len(l.air) > 0 {
		f := l.air[0]
		select {
		case <-f.token.Done():
		default:
			return nil
		}
		if err := f.token.Error(); err != nil {
			return err
		}
		l.air = l.air[1:]
		switch f.cargo {
		case status:
		case shelf:
			l.flies[f.index] = false
		case event:
			l.unsent--
			sent = f.seq
		case repeat:
			l.again--
			l.settleRepeat(f.seq)
		case clearing:
			l.p.cleared()
		}
	}
	return nil
}

// settle tells the outbox that all events up to seq are acknowledged; 0 none.
func (l *link) settle(seq uint64) {
	if seq == 0 {
		return
	}
	l.p.outbox("sent", l.p.out.Sent(seq))
	l.acknowledged()
}

// settleRepeat does so for an event that was sent again.
func (l *link) settleRepeat(seq uint64) {
	err := l.p.out.Resent(seq)
	l.p.outbox("resent", err)
	l.acknowledged()
	if err == nil && l.again == 0 && len(l.repeats) == 0 {
		l.look = true // there may be more of them
	}
}

func (l *link) acknowledged() {
	l.p.lastAck.Store(int64(max(time.Since(l.p.made), 1)))
	l.p.progress()
}

// oldest is the oldest event in flight.
func (l *link) oldest() (flight, bool) {
	for _, f := range l.air {
		if f.cargo == event || f.cargo == repeat {
			return f, true
		}
	}
	return flight{}, false
}
