package mqtt

import "time"

// burst is how many events may go at once under a rate limit: the records of
// one judged crimp belong together.
const burst = 8

// pace holds events to a rate: the generic cell rate algorithm (ITU-T I.371,
// from memory). The zero pace has no limit.
type pace struct {
	every time.Duration // between two events in the long run
	next  time.Time     // when the next event would be due at an even rate
}

func newPace(rate float64) pace {
	if rate == 0 {
		return pace{}
	}
	return pace{every: time.Duration(float64(time.Second) / rate)}
}

// wait is how long the next event must wait, 0 if it may go now.
func (p *pace) wait(now time.Time) time.Duration {
	if p.every == 0 || p.next.Before(now) {
		return 0
	}
	return max(0, p.next.Sub(now)-(burst-1)*p.every)
}

// take counts an event that goes now.
func (p *pace) take(now time.Time) {
	if p.every == 0 {
		return
	}
	if p.next.Before(now) {
		p.next = now
	}
	p.next = p.next.Add(p.every)
}
