package caliper

import (
	"context"
	"errors"
	"time"

	"benchtally/caliper/port"
)

// Run reads the caliper at p until ctx is done, which it notices within a
// second, and then returns nil. It owns the port and r; only one goroutine may
// run it. What happens goes to out, which it never closes.
//
// A port that is not there, cannot be opened or goes away is no error: it is a
// Fault of the cause Away, told once, until it is back. An error means that p is
// wrong, and names all that is.
//
// now gives the time of events, time.Now in all but tests.
func Run(ctx context.Context, p Port, r *Reader, now func() time.Time, out chan<- Event) error {
	p, err := p.checked()
	if err != nil {
		return err
	}
	if r.settings.Trigger == TriggerRequest && p.Request == "" {
		return errors.New(`caliper port: the trigger "request" needs the request that asks for a reading, such as "R\r"`)
	}
	l := newLink(p, r, now, func(e Event) error {
		select {
		case out <- e:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	})
	return l.Run(ctx)
}

// newLink is a port kept open for a Reader; an error of emit ends it.
func newLink(p Port, r *Reader, now func() time.Time, emit func(Event) error) *port.Link {
	u := &user{r: r, emit: emit}
	l := &port.Link{Port: p.Port, Of: "caliper", User: u, Now: now}
	if r.settings.Trigger == TriggerRequest {
		u.asker.request = p.Request
		l.Ask = func(d port.Device, at time.Time) (time.Duration, error) { return u.asker.ask(d, r.lines, at) }
	}
	return l
}

// user feeds a Reader from a port.
type user struct {
	r     *Reader
	asker asker
	emit  func(Event) error
}

func (u *user) Restart(at time.Time) {
	u.r.Restart(at)
	u.asker.asked, u.asker.lines = at, u.r.lines
}

func (u *user) Feed(b []byte, at time.Time) error {
	for _, e := range u.r.Feed(b, at) {
		if err := u.emit(e); err != nil {
			return err
		}
	}
	return nil
}

func (u *user) Wait(at time.Time) time.Duration { return u.r.Wait(at) }

func (u *user) Away(reason string, at time.Time) error {
	return u.emit(Event{Kind: Fault, Cause: Away, At: at, Reason: reason})
}

func (u *user) Back(path string, at time.Time) error {
	return u.emit(Event{Kind: Clear, Cause: Away, At: at, Reason: "the caliper's port is back: " + path})
}
