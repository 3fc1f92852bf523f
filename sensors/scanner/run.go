package scanner

import (
	"context"
	"time"

	"benchtally/caliper/port"
)

// Run reads the scanner at p until ctx is done, which it notices within a second,
// and then returns nil. It owns the port; what happens goes to out, which it never
// closes.
//
// A port that is not there, cannot be opened or goes away is no error: it is a
// Fault, told once, until it is back. An error means that p is wrong, and names all
// that is.
//
// now gives the time of events, time.Now in all but tests.
func Run(ctx context.Context, p port.Port, now func() time.Time, out chan<- Event) error {
	u := &user{Reader: NewReader(p.DataBits == 7, now()), emit: func(e Event) error {
		select {
		case out <- e:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}}
	return (&port.Link{Port: p, Of: "scanner", User: u, Now: now}).Run(ctx)
}

// user feeds a Reader from a port.
type user struct {
	*Reader
	emit func(Event) error
}

func (u *user) Feed(b []byte, at time.Time) error {
	for _, e := range u.Reader.Feed(b, at) {
		if err := u.emit(e); err != nil {
			return err
		}
	}
	return nil
}

func (u *user) Away(reason string, at time.Time) error {
	return u.emit(Event{Kind: Fault, At: at, Reason: reason})
}

func (u *user) Back(path string, at time.Time) error {
	return u.emit(Event{Kind: Clear, At: at, Reason: "the scanner's port is back: " + path})
}
