package mqtt

import (
	"context"
	"errors"
	"fmt"
	"time"

	"benchtally/agent/record"
	"benchtally/mqtt/broker"
)

// reread is how long before an outbox that failed is asked again; our own figure,
// no source.
const reread = 5 * time.Second

// chunk is how many events are read from the outbox at a time.
const chunk = 256

// forever is the end of validity of an offline status: only a later session
// can make it untrue.
const forever = "9999-12-31T23:59:59.000000Z"

// link is one connection, from CONNECT to its end. Only Run's goroutine uses it.
type link struct {
	p       *Publisher
	number  uint64 // of the session
	session *broker.Session

	air     []flight // published, not acknowledged; oldest first
	unsent  int      // of air: events for the first time
	again   int      // of air: events sent again
	greeted bool     // status and retained topics are acknowledged: events may go

	beat  time.Time             // when status is due
	beats int                   // how often it was said
	shown [len(retained)]uint64 // version published
	flies [len(retained)]bool   // its acknowledgement is outstanding

	look    bool           // the outbox may hold more
	retryAt time.Time      // when an outbox that failed is asked again; zero it did not
	after   uint64         // latest event read
	batch   []record.Event // read, not yet published
	repeats []record.Event // the same of events sent again
	held    bool           // the next event cannot be put into a message; tried again at the next look
	pace    pace
}

func newLink(p *Publisher, number uint64) *link {
	return &link{p: p, number: number, look: true, pace: newPace(p.s.Rate)}
}

// hello is what the press says of itself. It hears nothing.
func (l *link) hello() broker.Hello {
	return broker.Hello{
		ClientID: l.p.s.ClientID, Keepalive: l.p.s.Keepalive,
		Will: broker.Message{
			Topic: Status.Under(l.p.s.Base), Payload: l.statusJSON(false, "connection lost", time.Now()),
			QoS: 1, Retain: true,
		},
	}
}

// run publishes until the connection or ctx ends. It returns nil after an
// orderly stop.
func (l *link) run(ctx context.Context) *broker.Ending {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		l.p.turn()
		if err := l.land(); err != nil {
			return l.broken(err)
		}
		now := time.Now()
		if len(l.air) > 0 && !now.Before(l.air[0].due) {
			return l.overdue()
		}
		l.fill(now)
		timer.Reset(l.idle(now))
		select {
		case <-ctx.Done():
			return l.stop()
		case <-l.session.Lost():
			_ = l.land() // what was acknowledged before counts
			return l.broken(nil)
		case <-l.head():
		case <-l.p.wake:
			l.lookAgain()
		case <-timer.C:
		}
	}
}

// idle is how long nothing needs doing if nothing happens.
func (l *link) idle(now time.Time) time.Duration {
	next := l.beat
	if len(l.air) > 0 {
		next = earlier(next, l.air[0].due)
	}
	ready := l.greeted && !l.held && l.room()
	if ready && !l.retryAt.IsZero() {
		next = earlier(next, l.retryAt)
	}
	d := next.Sub(now)
	if ready && (len(l.batch) > 0 || len(l.repeats) > 0) {
		d = min(d, l.pace.wait(now))
	}
	return max(d, 0)
}

// sayStatus publishes that the press is online, or not.
func (l *link) sayStatus(online bool, reason string, now time.Time) {
	l.publish(flight{cargo: status, topic: Status.Under(l.p.s.Base)}, true, l.statusJSON(online, reason, now))
}

// statusJSON is the payload of the status topic. An online status is to be read
// as unknown after two and a half heartbeats.
func (l *link) statusJSON(online bool, reason string, now time.Time) []byte {
	expires := forever
	if online {
		expires = now.Add(l.p.s.Heartbeat * 5 / 2).UTC().Format(record.TimeLayout)
	}
	b := fmt.Appendf(nil, `{"online":%t,"session":%d,"time":"%s","expires":"%s","reason":`,
		online, l.number, now.UTC().Format(record.TimeLayout), expires)
	b = record.AppendString(b, reason)
	if l.p.s.ClockState != nil {
		if clock := l.p.s.ClockState(); clock != "" {
			b = record.AppendString(append(b, `,"clock":`...), clock)
		}
	}
	return append(b, '}')
}

// broken ends a connection that the library has lost, or that lost a message
// with err.
func (l *link) broken(err error) *broker.Ending {
	end := l.session.Broken(err)
	if !l.greeted {
		end.Class = broker.Refused
	}
	return end
}

// errOverdue is why a connection is ended that stands.
var errOverdue = errors.New("no PUBACK")

// overdue ends a connection on which nothing is acknowledged any more.
func (l *link) overdue() *broker.Ending {
	f := l.air[0]
	end := &broker.Ending{Class: broker.Lost, Err: fmt.Errorf("%w for %s", errOverdue, f.topic)}
	switch {
	case !l.greeted:
		end.Class = broker.Refused
		end.Reason = fmt.Sprintf("connected to %s, but it acknowledges nothing within %v", l.p.broker.Here(), l.p.s.AckTimeout)
	case f.cargo == event || f.cargo == repeat:
		end.Reason = fmt.Sprintf("the broker does not acknowledge event %d within %v", f.seq, l.p.s.AckTimeout)
	default:
		end.Reason = fmt.Sprintf("the broker does not acknowledge %s within %v", f.topic, l.p.s.AckTimeout)
	}
	_ = l.session.Cut()
	return end
}

// stop shows what changed last, says on the status topic that the press stops,
// waits for what is in flight, and leaves.
func (l *link) stop() *broker.Ending {
	if l.greeted {
		for i := range retained {
			l.show(i)
		}
	}
	l.sayStatus(false, "stopped", time.Now())
	late := time.NewTimer(broker.Farewell)
	defer late.Stop()
	for len(l.air) > 0 {
		select {
		case <-l.head():
			if err := l.land(); err != nil {
				return l.broken(err)
			}
		case <-l.session.Lost():
			_ = l.land()
			return l.broken(nil)
		case <-late.C:
			_ = l.session.Cut() // the will says that this press is offline
			return nil
		}
	}
	l.session.Leave()
	return nil
}

// earlier is the earlier of two times.
func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}
