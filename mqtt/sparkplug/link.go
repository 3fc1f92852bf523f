package sparkplug

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"benchtally/agent/record"
	"benchtally/mqtt/broker"
)

// hearing bounds what a node listens to: commands and states are small, and few
// are of use.
var hearing = broker.Hearing{Longest: 16 << 10, Most: 20}

// link is one connection, from CONNECT to its end. Only Run's goroutine uses it,
// but for what is heard.
type link struct {
	n       *Node
	bdSeq   int64
	session *broker.Session
	seq     Sequence
	born    bool      // NBIRTH was published
	shown   bool      // the press's DBIRTH was published, and no DDEATH since
	hidden  uint64    // last record that hosts can know of a press that is not shown; 0 while it is
	asked   time.Time // births of a rebirth last

	mu      sync.Mutex
	rebirth bool       // a host asks for all births once more
	host    *HostState // newest valid state of the primary host; nil: none yet
	gone    bool       // the primary host was offline since the node waited for it last
	heard   chan struct{}
}

func newLink(n *Node, bdSeq int64) *link {
	return &link{n: n, bdSeq: bdSeq, heard: make(chan struct{}, 1)}
}

func (l *link) topic(t MessageType) string {
	topic := Topic{Type: t, Group: l.n.s.Group, Node: l.n.s.Node}
	if t == DBIRTH || t == DDATA || t == DDEATH {
		topic.Device = l.n.s.Device
	}
	return topic.String()
}

func (l *link) command() Topic { return Topic{Type: NCMD, Group: l.n.s.Group, Node: l.n.s.Node} }

func (l *link) hostTopic() Topic { return Topic{Type: STATE, Host: l.n.s.Host} }

// hello is what the node says of itself. Its death is its will.
func (l *link) hello() broker.Hello {
	return broker.Hello{
		ClientID: l.n.s.ClientID, Keepalive: l.n.s.Keepalive,
		Will:    broker.Message{Topic: l.topic(NDEATH), Payload: l.death(time.Now()), QoS: 1},
		Hearing: hearing, Hear: l.hear,
	}
}

func (l *link) bdMetric(now time.Time) Metric {
	return Metric{Name: BdSeq, At: now, Value: Int64(l.bdSeq)}
}

// death is the payload of NDEATH: bdSeq and nothing else
// (tck-id-topics-ndeath-payload, tck-id-topics-ndeath-seq).
func (l *link) death(now time.Time) []byte {
	return AppendBirth(nil, Payload{At: now, Metrics: []Metric{l.bdMetric(now)}})
}

// hear takes in a command or a state. It is called by the library's goroutine.
// Of commands it obeys the rebirth and nothing else; what is retained is no
// command (tck-id-topics-ncmd-mqtt).
func (l *link) hear(topic string, payload []byte, retained bool) {
	t, err := ParseTopic(topic)
	var taken bool
	switch {
	case err != nil:
	case t == l.command() && !retained && asksRebirth(payload):
		taken = true
		l.askRebirth()
	case l.n.s.Host != "" && t == l.hostTopic():
		taken = l.hearHost(payload)
	}
	if !taken {
		l.n.mu.Lock()
		l.n.state.Ignored++
		l.n.mu.Unlock()
		return
	}
	select {
	case l.heard <- struct{}{}:
	default: // already told
	}
}

// hearHost takes in a state of the primary host, unless it is older than what is
// known (tck-id-message-flow-edge-node-birth-publish-phid-wait-timestamp).
func (l *link) hearHost(payload []byte) bool {
	s, err := ParseHostState(payload)
	if err != nil {
		return false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.host != nil && s.At.Before(l.host.At) {
		return false
	}
	l.host = &s
	l.gone = l.gone || !s.Online
	return true
}

// asksRebirth reports whether a command asks for all births once more
// (tck-id-operational-behavior-data-commands-ncmd-rebirth-name, -value).
func asksRebirth(payload []byte) bool {
	p, err := Decode(payload)
	if err != nil {
		return false
	}
	for _, m := range p.Metrics {
		if v, ok := m.Value.As(TypeBoolean); ok && m.Name == Rebirth {
			if yes, _ := v.Bool(); yes {
				return true
			}
		}
	}
	return false
}

// arrived reports whether the primary host is online; without one the node waits
// for nobody.
func (l *link) arrived() bool {
	if l.n.s.Host == "" {
		return true
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.host == nil || !l.host.Online {
		return false
	}
	l.gone = false
	return true
}

// hostLeft reports whether the primary host was offline since it arrived, even
// if it is back already: it may have forgotten what it knew
// (tck-id-message-flow-edge-node-birth-publish-phid-offline).
func (l *link) hostLeft() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.gone
}

// askRebirth makes the next births due.
func (l *link) askRebirth() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rebirth = true
}

// due reports whether a rebirth was asked for and may be, or how long it has to
// wait. The first is answered at once
// (tck-id-operational-behavior-data-commands-rebirth-action-1); while more come
// the data goes on, or who asks without end would stop it.
func (l *link) due(now time.Time) (yes bool, wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.rebirth {
		return false, lookEvery
	}
	wait = rebirthEvery - now.Sub(l.asked)
	return wait <= 0, wait
}

// errHostLeft is why a node leaves in order though nobody stopped it.
var errHostLeft = errors.New("the primary host is offline")

// run listens, waits for the primary host, is born and publishes until the
// connection or ctx ends. It returns nil after an orderly stop.
func (l *link) run(ctx context.Context) *broker.Ending {
	if end := l.subscribe(ctx); end != nil {
		return end
	}
	if end := l.await(ctx); end != nil || ctx.Err() != nil {
		if end == nil {
			l.session.Leave() // nobody was told of a birth
		}
		return end
	}
	err := l.births()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for err == nil {
		l.n.turn()
		if l.hostLeft() {
			return l.leave(errHostLeft)
		}
		now := time.Now()
		again, next := l.due(now)
		if again {
			l.asked, next = now, lookEvery
			if err = l.births(); err != nil {
				break
			}
		}
		var more time.Duration
		if more, err = l.data(ctx); err != nil {
			break
		}
		l.n.noteImage(now)
		l.n.past.note(l.n, now)
		timer.Reset(min(next, more))
		select {
		case <-ctx.Done():
			return l.leave(nil)
		case <-l.session.Lost():
			return l.session.Broken(nil)
		case <-l.heard:
		case <-l.n.wake:
		case <-timer.C:
		}
	}
	return l.session.Broken(err)
}

// subscribe asks for the node's own commands, and for the primary host's state.
// There is no subscription to device commands: nothing here can be commanded.
func (l *link) subscribe(ctx context.Context) *broker.Ending {
	limit, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	topics := []string{l.command().String()}
	if l.n.s.Host != "" {
		topics = append(topics, l.hostTopic().String())
	}
	for _, topic := range topics {
		err := l.session.Subscribe(limit, topic)
		if err == nil {
			continue
		}
		if ctx.Err() != nil {
			l.session.Leave() // nobody was told of a birth
			return nil
		}
		why := "the broker ends the connection when this press asks to listen to %s: check its access list"
		switch {
		case errors.Is(err, broker.ErrDenied):
			why = "the broker does not let this press listen to %s: check its access list"
		case limit.Err() != nil:
			why = "the broker does not answer when this press asks to listen to %s: is it a broker?"
		}
		end := l.session.Broken(err)
		end.Class, end.Reason = broker.Refused, fmt.Sprintf(why, topic)
		return end
	}
	return nil
}

// await waits until the primary host is online; nil when it is, or when ctx has
// ended.
func (l *link) await(ctx context.Context) *broker.Ending {
	if l.arrived() {
		return nil
	}
	why := fmt.Sprintf("the primary host %s is not online at %s", l.n.s.Host, l.n.broker.Here())
	l.n.report(func(s *State) { s.Connected, s.Reason = false, why })
	var late <-chan time.Time // at one of several brokers the host is not waited for without end
	if l.n.broker.Several() {
		timer := time.NewTimer(hostWait)
		defer timer.Stop()
		late = timer.C
	}
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		l.n.turn()
		select {
		case <-ctx.Done():
			return nil
		case <-l.session.Lost():
			return l.session.Broken(nil)
		case <-l.n.wake:
			l.n.catchUp(ctx)
		case <-look.C:
			l.n.catchUp(ctx)
		case <-l.heard:
			if l.arrived() {
				return nil
			}
		case <-late:
			l.session.Leave()
			return &broker.Ending{Class: broker.Absent, Reason: why, Err: errHostLeft}
		}
	}
}

// leave publishes the death and leaves in order
// (tck-id-operational-behavior-edge-node-intentional-disconnect-ndeath); nil
// where nobody is to come back.
func (l *link) leave(why error) *broker.Ending {
	err := l.publish(NDEATH, l.death(time.Now()))
	if err != nil {
		return l.session.Broken(err)
	}
	l.session.Leave()
	if why == nil {
		return nil
	}
	reason := fmt.Sprintf("the primary host %s is not online at %s", l.n.s.Host, l.n.broker.Here())
	return &broker.Ending{Class: broker.Absent, Reason: reason, Err: why}
}

// publish sends one message and waits until it is on its way: deaths at QoS 1,
// all others at QoS 0, none retained. Where a death is not acknowledged the
// connection has to be cut, so that the broker publishes the will instead.
func (l *link) publish(t MessageType, payload []byte) error {
	m := broker.Message{Topic: l.topic(t), Payload: payload}
	var late <-chan time.Time
	if t == NDEATH {
		m.QoS = 1
		timer := time.NewTimer(broker.Farewell)
		defer timer.Stop()
		late = timer.C
	}
	token := l.session.Publish(m)
	select {
	case <-token.Done():
		return token.Error()
	case <-l.session.Lost():
		return errLost
	case <-late:
		return errUnheard
	}
}

// errUnheard is the error of a death that is not acknowledged.
var errUnheard = errors.New("the broker does not acknowledge the death of the node")

// errLost is the error of a message whose connection was lost; the session knows
// why.
var errLost = errors.New("connection lost")

// births publishes the birth of the node, and of the press if it can be seen
// (tck-id-topics-nbirth-seq-num, tck-id-payloads-dbirth-order). A second time in
// one connection they have the same bdSeq
// (tck-id-operational-behavior-data-commands-rebirth-action-3).
func (l *link) births() error {
	n := l.n
	now := time.Now()
	l.mu.Lock()
	l.rebirth = false // what is asked for until now is answered by these
	l.mu.Unlock()
	n.image.until(now)
	l.seq.Restart()
	metrics := append(n.image.metrics(nodeMetrics, nil),
		l.bdMetric(now), Metric{Name: Rebirth, At: now, Value: Boolean(false)})
	p := Payload{At: now, HasSeq: true, Seq: l.seq.Next(), Metrics: inOrder(metrics)}
	if err := l.publish(NBIRTH, AppendBirth(nil, p)); err != nil {
		return err
	}
	first := !l.born
	l.born, l.shown, n.turns = true, false, nil
	if first {
		n.past.begin(n.image.seq)
	}
	if err := l.showDevice(); err != nil {
		return err
	}
	if !l.shown && l.hidden == 0 {
		l.hidden = n.image.seq // not 0: it was faults that hid it
	}
	n.report(func(s *State) {
		s.Connected, s.Reason = true, ""
		s.Births++
	})
	return nil
}

// showDevice publishes the birth of the press if it can be seen and hosts do not
// know it.
func (l *link) showDevice() error {
	if l.shown || !l.n.image.alive() {
		return nil
	}
	now := time.Now()
	p := Payload{At: now, HasSeq: true, Seq: l.seq.Next(), Metrics: inOrder(l.n.image.metrics(deviceMetrics, nil))}
	l.shown = true
	if l.hidden > 0 {
		l.n.past.missed(l.hidden, l.n.image.seq)
		l.hidden = 0
	}
	return l.publish(DBIRTH, AppendBirth(nil, p))
}

// hideDevice publishes the death of the press if it cannot be seen any more
// (tck-id-operational-behavior-device-ddeath).
func (l *link) hideDevice() error {
	if !l.shown || l.n.image.alive() {
		return nil
	}
	l.shown, l.hidden = false, l.n.image.seq-1
	return l.publish(DDEATH, AppendData(nil, Payload{At: time.Now(), HasSeq: true, Seq: l.seq.Next()}))
}

// chunk is how many records are told before anything else is looked at.
const chunk = 64

// pastEvery is the time from one chunk of the past to the next: brokers throw
// away what a slow host cannot take, and nobody waits for the past. Our own
// figure, no source.
const pastEvery = 100 * time.Millisecond

// data tells new records, and while there are none, those that a primary host
// has missed. It returns after what time there may be more, and early if a host
// wants something else.
func (l *link) data(ctx context.Context) (more time.Duration, err error) {
	told := 0
	for r, err := range l.n.log.Records(l.n.image.seq) {
		if err != nil {
			if l.n.unreadable(r, err); r.Seq == 0 {
				break
			}
			continue
		}
		if err := l.tellNow(&r); err != nil {
			return 0, err
		}
		if told++; told == chunk || ctx.Err() != nil || l.interrupted() {
			return 0, nil
		}
	}
	return l.n.past.tell(l, time.Now())
}

// interrupted reports whether data has to stop for a rebirth or because the
// primary host has left.
func (l *link) interrupted() bool {
	again, _ := l.due(time.Now())
	return again || l.hostLeft()
}

// tellNow takes in a record and publishes what it changes.
func (l *link) tellNow(r *record.Record) error {
	if l.n.image.at.Sub(r.At) > setBack {
		l.askRebirth()
	}
	press, agent := l.n.image.fold(r)
	if len(agent) > 0 {
		if err := l.tellMetrics(NDATA, l.n.image.metrics(nodeMetrics, agent)); err != nil {
			return err
		}
	}
	if err := l.hideDevice(); err != nil {
		return err
	}
	if !l.shown { // it cannot be seen, or its birth says what is now
		return l.showDevice()
	}
	l.n.past.told(r.Seq, time.Now())
	return l.tellMetrics(DDATA, l.n.image.metrics(deviceMetrics, press))
}

func (l *link) tellMetrics(t MessageType, metrics []Metric) error {
	return l.publish(t, AppendData(nil, Payload{At: time.Now(), HasSeq: true, Seq: l.seq.Next(), Metrics: inOrder(metrics)}))
}
