package rehearsal

import (
	"context"
	"time"

	"benchtally/sensors"
)

// Now is the time at which Levels reads the contacts: the shop's time, unless
// the reader is late and a change of the contacts is still before it. Only the
// reader's goroutine asks.
func (p *Press) Now() time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.reader()
}

// Levels reads the contacts as they are at Now. It gives no error.
func (p *Press) Levels() (sensors.Levels, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.course.at(p.reader()), nil
}

// Wait returns at the next change of a contact or after d of the shop's time. No
// change is passed over, however late the reader comes: it comes to the next one
// at once then. Where nothing has changed, a late reader goes straight to the
// present. The error is that of ctx.
func (p *Press) Wait(ctx context.Context, d time.Duration) error {
	for {
		wait := p.advance(d)
		if wait <= 0 {
			return ctx.Err()
		}
		t := time.NewTimer(wait)
		select {
		case <-t.C:
		case <-p.moved:
		case <-ctx.Done():
		}
		t.Stop()
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
}

// Close ends the reading; a later reader begins with the present.
func (p *Press) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.read = time.Time{}
	return nil
}

// reader is up to where the reader has come.
func (p *Press) reader() time.Time {
	if p.read.IsZero() {
		p.read = p.clock.Now()
	}
	return p.read
}

// advance takes the reader to the next change, or further by d. If that is still
// to come it does not, and returns how long to wait on the wall.
func (p *Press) advance(d time.Duration) time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	now, to := p.clock.Now(), p.reader().Add(d)
	if now.After(to) {
		to = now
	}
	if change, ok := p.course.next(p.read); ok && !change.After(to) {
		to = change
	}
	if to.After(now) {
		return p.clock.real(to.Sub(now))
	}
	p.read = to
	p.course.forget(to)
	return 0
}
