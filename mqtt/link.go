package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"benchtally/agent/record"
)

// Waits of one connection; our own figures, no source.
const (
	patience = 10 * time.Second       // of a write, a ping, and of the library's own ending
	handing  = 3 * time.Second        // for the library to take a message, writes before it included
	farewell = 2 * time.Second        // for the last acknowledgements of an orderly stop
	reread   = 5 * time.Second        // before an outbox that failed is asked again
	moment   = 100 * time.Millisecond // between a lost message and the word of its cause
)

// chunk is how many events are read from the outbox at a time.
const chunk = 256

// forever is the end of validity of an offline status: only a later session
// can make it untrue.
const forever = "9999-12-31T23:59:59.000000Z"

// link is one connection, from CONNECT to its end. Only Run's goroutine uses it.
type link struct {
	p       *Publisher
	way     way
	session uint64
	client  paho.Client
	lost    chan struct{} // closed when the library says that the connection has ended
	cause   error         // why; to be read once lost is closed
	begun   time.Time     // CONNACK

	air     []flight // published, not acknowledged; oldest first
	unsent  int      // of air: events for the first time
	again   int      // of air: events sent again
	greeted bool     // status and retained topics are acknowledged: events may go

	beat  time.Time             // when status is due
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

func newLink(p *Publisher, w way, session uint64) *link {
	return &link{p: p, way: w, session: session, lost: make(chan struct{}), look: true, pace: newPace(p.s.Rate)}
}

// connect says CONNECT and waits for CONNACK. Every connection has its own
// client that never reconnects: a client that does completes the tokens of the
// former connection without an error though nothing was acknowledged, and only
// a clean session ends them all when the connection is lost.
func (l *link) connect(ctx context.Context, password string) *ending {
	s := l.p.s
	will := l.statusJSON(false, "connection lost", time.Now())
	o := paho.NewClientOptions().
		AddBroker("tcp://"+l.p.broker.String()). // only a name here, the way is open
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return newEar(l.way, patience), nil }).
		SetClientID(s.ClientID).SetUsername(s.User).SetPassword(password).
		SetProtocolVersion(4).SetCleanSession(true).SetOrderMatters(true).
		SetAutoReconnect(false).SetConnectRetry(false).SetStore(paho.NewMemoryStore()).
		SetKeepAlive(s.Keepalive).SetPingTimeout(patience).SetWriteTimeout(handing).SetConnectTimeout(s.ConnectTimeout).
		SetBinaryWill(Status.Under(s.Base), will, 1, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) {
			l.cause = err // once: this client never reconnects
			close(l.lost)
		})
	l.client = paho.NewClient(o)
	cut := context.AfterFunc(ctx, func() { _ = l.way.Close() })
	token := l.client.Connect()
	<-token.Done()
	cut()
	if err := token.Error(); err != nil {
		_ = l.way.Close()
		return &ending{class: refused, reason: l.p.whyNoMQTT(err), err: err}
	}
	l.begun = time.Now()
	return nil
}

// run publishes until the connection or ctx ends. It returns nil after an
// orderly stop.
func (l *link) run(ctx context.Context) *ending {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
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
		case <-l.lost:
			_ = l.land() // what was acknowledged before counts
			return l.broken(l.cause)
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
		online, l.session, now.UTC().Format(record.TimeLayout), expires)
	return append(record.AppendString(b, reason), '}')
}

// broken ends a connection that the library has lost or that lost a message.
func (l *link) broken(err error) *ending {
	if cause := l.close(); cause != nil && !errors.Is(cause, errGivenUp) {
		err = cause
	}
	end := &ending{class: lost, reason: l.p.whyLost(err), err: err}
	if !l.greeted {
		end.class = refused
	}
	return end
}

// overdue ends a connection on which nothing is acknowledged any more.
func (l *link) overdue() *ending {
	f := l.air[0]
	end := &ending{class: lost, err: fmt.Errorf("no PUBACK for %s", f.topic)}
	switch {
	case !l.greeted:
		end.class = refused
		end.reason = fmt.Sprintf("connected to %s, but it acknowledges nothing within %v", l.p.broker, l.p.s.AckTimeout)
	case f.cargo == event || f.cargo == repeat:
		end.reason = fmt.Sprintf("the broker does not acknowledge event %d within %v", f.seq, l.p.s.AckTimeout)
	default:
		end.reason = fmt.Sprintf("the broker does not acknowledge %s within %v", f.topic, l.p.s.AckTimeout)
	}
	_ = l.close()
	return end
}

// close cuts the connection without DISCONNECT, so that the broker publishes
// the will, and waits until the library is done with it. It returns the
// library's word for the cause, nil if it has none.
func (l *link) close() error {
	for _, wait := range []time.Duration{moment, patience} {
		timer := time.NewTimer(wait)
		select {
		case <-l.lost:
			timer.Stop()
			_ = l.way.Close() // closed already
			return l.cause
		case <-timer.C:
			_ = l.way.Close() // makes the library lose it
		}
	}
	return nil
}

// stop shows what changed last, says on the status topic that the press stops,
// waits for what is in flight, and leaves.
func (l *link) stop() *ending {
	if l.greeted {
		for i := range retained {
			l.show(i)
		}
	}
	l.sayStatus(false, "stopped", time.Now())
	late := time.NewTimer(farewell)
	defer late.Stop()
	for len(l.air) > 0 {
		select {
		case <-l.head():
			if err := l.land(); err != nil {
				return l.broken(err)
			}
		case <-l.lost:
			_ = l.land()
			return l.broken(l.cause)
		case <-late.C:
			_ = l.close() // the will says that this press is offline
			return nil
		}
	}
	l.client.Disconnect(uint(farewell.Milliseconds()))
	_ = l.way.Close() // closed already, unless the library had to give up
	return nil
}
