package mqtt

import (
	"fmt"
	"math/rand/v2"
	"time"
)

// Limits of trying again; our own figures, no source.
const (
	probe     = 4 * time.Second  // longest wait while nothing answers, or after a connection that worked
	soon      = 10 * time.Second // a connection lost within this after CONNACK counts towards a rival
	memory    = time.Minute      // for which such losses count; a connection that stands as long clears them
	maxSoon   = 5                // more such losses than this are a rival
	maxAtHead = 5                // so many losses at one event are the event's fault
)

// retry is the memory of what went wrong before. Only Run's goroutine uses it.
type retry struct {
	class    class       // of the latest ending
	failures int         // endings of that class in a row
	soon     []time.Time // of connections lost soon after CONNACK, at most maxSoon+1
	head     uint64      // oldest event in flight when a connection was lost
	losses   int         // losses in a row at that event
}

// weigh takes note of an ending and says how long to wait before the next
// attempt. l is nil if CONNECT was not answered.
func (p *Publisher) weigh(end *ending, l *link, now time.Time) time.Duration {
	r := &p.retry
	if end.class != r.class {
		r.class, r.failures = end.class, 0
	}
	r.failures++
	if l != nil {
		p.weighHead(l)
		if p.trouble.dropped != "" {
			p.noRival() // the event explains the losses
		} else {
			p.weighRival(now.Sub(l.begun), now)
		}
	}
	longest := p.s.BackoffMax
	if p.trouble.dropped != "" || p.trouble.rival != "" {
		return longest/2 + rand.N(longest/2+1)
	}
	steps := r.failures - 1
	switch end.class {
	case refused:
	case absent:
		longest = min(longest, max(probe, p.s.BackoffMin))
	case lost:
		longest = min(longest, max(probe, p.s.BackoffMin))
		steps = len(r.soon)
	}
	bound := min(longest, p.s.BackoffMin)
	for ; steps > 0 && bound < longest; steps-- {
		bound = min(longest, 2*bound)
	}
	return rand.N(bound) + 1
}

// weighHead counts losses at the same event: a broker that cuts the connection
// each time it sees one will do so for ever.
func (p *Publisher) weighHead(l *link) {
	r := &p.retry
	f, ok := l.oldest()
	if !ok {
		return
	}
	if f.seq != r.head {
		r.head, r.losses = f.seq, 0
	}
	r.losses++
	if r.losses >= maxAtHead {
		p.trouble.droppedAt = f.seq
		p.trouble.dropped = fmt.Sprintf("the broker drops the connection each time at event %d (%d bytes on %s): check its largest message and its access list; the events behind wait",
			f.seq, f.size, f.topic)
	}
}

// progress forgets the losses at an event: the broker has taken one.
func (p *Publisher) progress() {
	p.retry.head, p.retry.losses = 0, 0
	if p.trouble.dropped != "" {
		p.trouble.dropped, p.trouble.droppedAt = "", 0
		p.refresh()
	}
}

// weighRival counts connections lost soon after CONNACK: a broker ends a
// connection when another client comes with the same id (MQTT 3.1.1, section
// 3.1.4), and two such clients would push each other out for ever.
func (p *Publisher) weighRival(lived time.Duration, now time.Time) {
	r := &p.retry
	if lived >= memory {
		p.noRival()
	}
	if lived >= soon {
		return
	}
	kept := r.soon[:0]
	for _, t := range append(r.soon, now) {
		if now.Sub(t) < memory {
			kept = append(kept, t)
		}
	}
	r.soon = kept
	if len(r.soon) > maxSoon {
		p.trouble.rival = fmt.Sprintf("the broker ends each connection soon after it is made: is another client of it using the id %s?", p.s.ClientID)
		r.soon = r.soon[1:]
	}
}

// noRival forgets such losses.
func (p *Publisher) noRival() {
	p.retry.soon = nil
	p.trouble.rival = ""
}
