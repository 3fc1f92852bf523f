package caliper

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"
)

// How long a read may wait. While nothing has come for a while the longer one
// saves wake-ups; a caliper that is unplugged ends a read at once.
const (
	shortRead = 200 * time.Millisecond
	longRead  = time.Second
	lively    = 2 * time.Second // after the latest byte, reads are short
)

// Run reads the caliper at p until ctx is done, which it notices within a
// second, and then returns nil. It owns the port and r; only one goroutine may
// run it. What happens goes to out, which it never closes.
//
// A port that is not there, cannot be opened or goes away is no error: it is a
// Fault of the cause Away, told once, until it is back. It is looked for after
// half a second, then at growing distances: up to two seconds while it is not
// there, up to ten while it cannot be opened. An error means
// that p is wrong, and names all that is.
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
	l := newLink(thisMachine, p, r, now, func(e Event) error {
		select {
		case out <- e:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	})
	return l.run(ctx)
}

// link is a port kept open.
type link struct {
	port  Port
	r     *Reader
	now   func() time.Time
	emit  func(Event) error // an error ends run
	find  finder
	away  bool
	first time.Duration // between attempts to open: the first
	most  time.Duration // and the longest
}

func newLink(m machine, p Port, r *Reader, now func() time.Time, emit func(Event) error) *link {
	return &link{port: p, r: r, now: now, emit: emit, find: finder{m: m, name: p.Name},
		first: 500 * time.Millisecond, most: 10 * time.Second}
}

// lostError is what keeps the port away. Errors of emit are none.
type lostError struct {
	path   string
	opened bool // it was open
	cause  error
}

func (e lostError) Error() string { return e.path + ": " + e.cause.Error() }
func (e lostError) Unwrap() error { return e.cause }

// reason says what happened and what to do, for a person.
func (l *link) reason(e lostError) string {
	if e.opened {
		return fmt.Sprintf("%s is gone: plug the caliper's cable in again, the port is found by itself", e.path)
	}
	return l.find.m.trouble(e.path, e.cause).Error()
}

// run opens the port, reads it until it is lost, and begins anew.
func (l *link) run(ctx context.Context) error {
	wait := l.first
	for {
		began := l.now()
		err := l.connect(ctx)
		var lost lostError
		switch {
		case ctx.Err() != nil:
			return nil
		case !errors.As(err, &lost):
			return err
		}
		if l.now().Sub(began) > 2*l.first {
			wait = l.first // it was open for a while, so this is news
		}
		if !l.away {
			l.away = true
			if err := l.emit(Event{Kind: Fault, Cause: Away, At: l.now(), Reason: l.reason(lost)}); err != nil {
				return ended(ctx, err)
			}
		}
		if err := l.sleep(ctx, wait); err != nil {
			return ended(ctx, err)
		}
		most := l.most
		if errors.Is(lost, fs.ErrNotExist) {
			most = min(most, 4*l.first) // looking costs little
		}
		wait = min(2*wait, most)
	}
}

// ended hides the error of a context that is done.
func ended(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// connect opens the port and reads it until it is lost, a lostError.
func (l *link) connect(ctx context.Context) (err error) {
	path, err := l.find.find()
	if err != nil {
		return lostError{path: l.port.Name, cause: err}
	}
	var d device
	if l.find.m.isInput(path) {
		d, err = openWedge(path, l.find.m.grab)
	} else {
		d, err = openSerial(path, l.port)
	}
	if err != nil {
		return lostError{path: path, cause: err}
	}
	// An unplugged device gives an error here that says nothing new; it must be
	// closed all the same, or its name stays taken.
	defer func() { _ = d.Close() }()
	l.find.opened(path)
	l.r.Restart(l.now())
	if l.away {
		l.away = false
		if err := l.emit(Event{Kind: Clear, Cause: Away, At: l.now(), Reason: "the caliper's port is back: " + path}); err != nil {
			return err
		}
	}
	err = l.read(ctx, d)
	l.r.Restart(l.now()) // half a frame is worth nothing
	var lost lostError
	if errors.As(err, &lost) {
		lost.path = path
		return lost
	}
	return err
}

// read feeds the Reader until the context is done or the device is lost.
func (l *link) read(ctx context.Context, d device) error {
	var buf [256]byte
	last := l.now()
	asker := asker{asked: last, lines: l.r.lines}
	if l.r.settings.Trigger == TriggerRequest {
		asker.request = l.port.Request
	}
	for ctx.Err() == nil {
		at := l.now()
		timeout := longRead
		if since := at.Sub(last); since >= 0 && since < lively {
			timeout = shortRead
		}
		if wait := l.r.Wait(at); wait > 0 {
			timeout = min(timeout, wait)
		}
		wait, err := asker.ask(d, l.r.lines, at)
		if err != nil {
			return lostError{opened: true, cause: err}
		}
		if wait > 0 {
			timeout = min(timeout, wait)
		}
		if err := d.SetReadTimeout(max(timeout, time.Millisecond)); err != nil {
			return lostError{opened: true, cause: err}
		}
		n, readErr := d.Read(buf[:])
		if at = l.now(); n > 0 {
			last = at
		}
		for _, e := range l.r.Feed(buf[:n], at) {
			if err := l.emit(e); err != nil {
				return err
			}
		}
		if readErr != nil {
			return lostError{opened: true, cause: readErr}
		}
	}
	return nil
}

// sleep waits while the port is away and tells what time brings about meanwhile.
func (l *link) sleep(ctx context.Context, d time.Duration) error {
	until := l.now().Add(d)
	for {
		at := l.now()
		for _, e := range l.r.Tick(at) {
			if err := l.emit(e); err != nil {
				return err
			}
		}
		left := until.Sub(at)
		if left <= 0 || left > d { // the clock may have been set back
			return ctx.Err()
		}
		if wait := l.r.Wait(at); wait > 0 {
			left = min(left, wait)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(left):
		}
	}
}
