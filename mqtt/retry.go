package mqtt

import (
	"errors"
	"fmt"
	"time"

	"benchtally/mqtt/broker"
)

// maxAtHead is how many losses in a row at one event are the event's fault; our
// own figure, no source.
const maxAtHead = 5

// head is the memory of losses at the same event. Only Run's goroutine uses it.
type head struct {
	seq    uint64 // oldest event in flight when a connection was lost
	losses int    // losses in a row at that event
}

// weigh takes note of an ending and says how long to wait before the next
// attempt, and whether all brokers have had their turn. l is nil if CONNECT was
// not answered.
func (p *Publisher) weigh(end *broker.Ending, l *link, now time.Time) (pause time.Duration, round bool) {
	if p.former.unclear() {
		p.log.Warn("the topics of the press's former place cannot be cleared: the broker ends the connection at them; run benchtally forget with an account that may", "bases", p.s.Former)
	}
	if l != nil {
		p.weighHead(l, errors.Is(end.Err, errOverdue))
		if p.trouble.dropped != "" {
			p.retry.NoRival() // the event explains the losses
		} else {
			p.retry.Lived(now.Sub(l.session.Begun), now)
		}
		p.noteRival()
	}
	round = p.broker.Next()
	return p.retry.Pause(end.Class, round, p.trouble.dropped != ""), round
}

// noteRival puts the rival, if there is one, into words.
func (p *Publisher) noteRival() {
	p.trouble.rival = ""
	if p.retry.Rival() {
		p.trouble.rival = broker.RivalOf(p.s.ClientID)
	}
}

// weighHead counts losses at the same event: a broker that cuts the connection
// each time it sees one, or does not acknowledge it, will do so for ever.
func (p *Publisher) weighHead(l *link, overdue bool) {
	f, ok := l.oldest()
	if !ok {
		return
	}
	if f.seq != p.head.seq {
		p.head = head{seq: f.seq}
	}
	p.head.losses++
	if p.head.losses < maxAtHead {
		return
	}
	p.trouble.droppedAt = f.seq
	if overdue {
		p.trouble.dropped = fmt.Sprintf("the broker acknowledges other messages and never event %d (%d bytes on %s): check its disk and its access list; the events behind wait",
			f.seq, f.size, f.topic)
	} else {
		p.trouble.dropped = fmt.Sprintf("the broker drops the connection each time at event %d (%d bytes on %s): check its largest message and its access list; the events behind wait",
			f.seq, f.size, f.topic)
	}
}

// progress forgets the losses at an event: the broker has taken one.
func (p *Publisher) progress() {
	p.head = head{}
	if p.trouble.dropped != "" {
		p.trouble.dropped, p.trouble.droppedAt = "", 0
		p.refresh()
	}
}
