package mqtt

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"benchtally/mqtt/broker"
)

// Publisher publishes the events of one press. Make it with New and call Run;
// the other methods are safe for concurrent use.
type Publisher struct {
	s       Settings
	broker  *broker.Broker
	out     Outbox
	log     *slog.Logger
	wake    chan struct{}
	made    time.Time
	lastAck atomic.Int64 // since made; 0: none yet

	mu     sync.Mutex
	state  State
	shelf  [len(retained)]shelved
	drains []chan struct{}

	// Of Run's goroutine alone.
	waiting []chan struct{} // drains that the next look at an empty outbox answers
	trouble trouble
	retry   broker.Retry
	head    head
	former  former
	handing sync.WaitGroup // calls of the client library that may outlive their connection
}

// shelved is the newest payload of a retained topic, nil if there is none.
type shelved struct {
	payload []byte
	version uint64
}

// New checks the settings and returns a publisher that has not yet begun. The
// error names all that is wrong with the settings.
func New(s Settings, out Outbox) (*Publisher, error) {
	s, way, err := s.checked()
	if err != nil {
		return nil, err
	}
	log := s.Log
	if log == nil {
		log = slog.Default()
	}
	return &Publisher{
		s: s, broker: way, out: out,
		log:   log.With("broker", way.String()),
		wake:  make(chan struct{}, 1),
		state: State{Since: time.Now()}, made: time.Now(),
		retry: broker.Retry{Min: s.BackoffMin, Max: s.BackoffMax}, former: former{bases: s.Former},
	}, nil
}

// Run connects, publishes and connects again until ctx ends; then it tells the
// broker that the press stops, waits at most some seconds for what is under
// way, and returns nil. A broker that is away is a state, not an error. Run may
// be called once.
func (p *Publisher) Run(ctx context.Context) error {
	defer p.handing.Wait()
	defer p.report(func(s *State) { s.Connected = false })
	for ctx.Err() == nil {
		p.turn()
		l, end := p.attempt(ctx)
		if end == nil {
			break
		}
		if ctx.Err() != nil {
			break // the end of ctx is the cause of this ending
		}
		pause, round := p.weigh(end, l, time.Now())
		p.report(func(s *State) {
			s.Connected = false
			s.Reason = p.trouble.away(end, round, s.Reason)
			s.Stuck = p.trouble.stuck()
		})
		p.log.Debug("attempt ended", "class", string(end.Class), "reason", end.Reason, "err", end.Err, "pause", pause)
		sleep(ctx, pause)
	}
	return nil
}

// turn says that Run goes on.
func (p *Publisher) turn() {
	if p.s.OnTurn != nil {
		p.s.OnTurn()
	}
}

// attempt makes one connection and lives with it until it ends. It returns the
// link, if CONNECT was answered, and why there is none any more; nil after an
// orderly stop.
func (p *Publisher) attempt(ctx context.Context) (*link, *broker.Ending) {
	password, err := p.broker.Password()
	if err != nil {
		return nil, &broker.Ending{Class: broker.Absent, Reason: err.Error(), Err: err}
	}
	way, end := p.broker.Dial(ctx)
	if end != nil {
		return nil, end
	}
	number, err := p.out.NextSession()
	if err != nil {
		_ = way.Close() // nothing was said yet
		return nil, &broker.Ending{Class: broker.Absent, Reason: fmt.Sprintf("the store gives no session number: %v", err), Err: err}
	}
	p.report(func(s *State) { s.Session, s.Expires, s.At = number, way.Expires, p.broker.Here() })
	l := newLink(p, number)
	if l.session, end = p.broker.Connect(ctx, way, l.hello(), password); end != nil {
		return nil, end
	}
	end = l.run(ctx)
	p.handing.Go(l.session.Wait) // not before: nothing is handed over any more
	return l, end
}

// Wake says that the outbox may hold new events, or events to be sent again.
func (p *Publisher) Wake() {
	select {
	case p.wake <- struct{}{}:
	default: // already told
	}
}

// Retain makes payload the newest of a retained topic: it is published when
// connected, again after every CONNACK, and only the newest if several came in
// between. The same bytes again change nothing; an empty payload removes the
// topic from the broker. t is Info, Work, Cage, Last or Health; payload is
// copied.
func (p *Publisher) Retain(t Topic, payload []byte) {
	for i, topic := range retained {
		if topic != t {
			continue
		}
		p.mu.Lock()
		s := &p.shelf[i]
		fresh := s.payload == nil || !bytes.Equal(s.payload, payload)
		if fresh {
			s.payload = append(make([]byte, 0, len(payload)), payload...) // never nil
			s.version++
		}
		p.mu.Unlock()
		if fresh {
			p.Wake()
		}
		return
	}
	panic(fmt.Sprintf("mqtt: Retain of topic %q", t))
}

// Drain waits until the broker has acknowledged every event that the outbox
// held when it was called, and returns the cause of ctx if that comes first.
// Events to be sent again are not waited for. Run must be running.
func (p *Publisher) Drain(ctx context.Context) error {
	done := make(chan struct{})
	p.mu.Lock()
	p.drains = append(p.drains, done)
	p.mu.Unlock()
	p.Wake()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("events are left unsent: %w", context.Cause(ctx))
	}
}

// newest is what is to be shown on the retained topic of that index.
func (p *Publisher) newest(i int) shelved {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.shelf[i]
}

// collect takes over the drains asked for since, and reports whether there are
// any.
func (p *Publisher) collect() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	fresh := len(p.drains) > 0
	p.waiting = append(p.waiting, p.drains...)
	p.drains = nil
	return fresh
}

// answer ends the drains taken over.
func (p *Publisher) answer() {
	for _, done := range p.waiting {
		close(done)
	}
	p.waiting = nil
}

// sleep waits for d or the end of ctx.
func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
