package port

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"
)

// How long a read may wait. While nothing has come for a while the longer one
// saves wake-ups; a device that is unplugged ends a read at once.
const (
	shortRead = 200 * time.Millisecond
	longRead  = time.Second
	lively    = 2 * time.Second // after the latest byte, reads are short
)

// atOnce is how much is read at once, and breath how long the next read is put off
// behind bytes. Together they let 200 kB/s through, far more than any caliper or
// scanner sends (115200 baud are 11.5 kB/s), and keep one that has gone mad, on a
// port that knows no baud rate, from taking the processor (own choice, no source).
const (
	atOnce = 1024
	breath = 5 * time.Millisecond
)

// User is who a port is kept open for. All calls come from the goroutine of Run,
// each with the time at which it is made. An error ends Run.
type User interface {
	// Restart tells that the port was opened or closed: what was half received
	// is worth nothing.
	Restart(at time.Time)
	// Feed takes bytes that arrived; without any, time has passed. They are the
	// user's until it returns.
	Feed(b []byte, at time.Time) error
	// Wait is how long after the time at a Feed is wanted even if nothing
	// arrives; 0: none is.
	Wait(at time.Time) time.Duration
	// Away tells that the port is not there or cannot be opened, and what to do,
	// as a sentence for a person: once until it is Back, and anew when something
	// else keeps it away.
	Away(reason string, at time.Time) error
	// Back tells that the port was away and is open again, by the name path.
	Back(path string, at time.Time) error
}

// Link is a port kept open for a user.
type Link struct {
	Port Port
	Of   string // what hangs on the port, for people: "caliper"
	User User
	Now  func() time.Time

	// Ask may write to the open port, and says how long after the time at it
	// wants to be called again, 0 never. Nil: nothing is ever written.
	Ask func(d Device, at time.Time) (time.Duration, error)

	// Between attempts to open: the first pause and the longest. 0: half a
	// second and ten seconds.
	First, Most time.Duration

	// Calm is how long a port that comes and goes must stay until it is told to be
	// back. 0: a minute.
	Calm time.Duration

	find finder
	coming
}

// Run keeps the port open until ctx is done, which it notices within a second, and
// then returns nil. Only one goroutine may run it.
//
// A port that is not there, cannot be opened or goes away is no error: it is told
// as Away. It is looked for after half a second, then at growing distances: up to
// two seconds while it is not there, up to ten while it cannot be opened. An error
// is one of the user's, or means that Port is wrong and names all that is.
func (l *Link) Run(ctx context.Context) error { return l.run(ctx, thisMachine) }

func (l *Link) run(ctx context.Context, m machine) (err error) {
	if l.Port, err = l.Port.Checked(l.Of); err != nil {
		return err
	}
	if l.First == 0 {
		l.First = 500 * time.Millisecond
	}
	if l.Most == 0 {
		l.Most = 10 * time.Second
	}
	if l.Calm == 0 {
		l.Calm = time.Minute
	}
	l.find = finder{m: m, name: l.Port.Name}
	return l.keep(ctx)
}

// lostError is what keeps the port away. Errors of the user are none.
type lostError struct {
	path   string
	opened bool // it was open
	cause  error
}

func (e lostError) Error() string { return e.path + ": " + e.cause.Error() }
func (e lostError) Unwrap() error { return e.cause }

// reason says what happened and what to do, for a person.
func (l *Link) reason(e lostError) string {
	if e.opened && l.restless(l.Now(), l.Calm) {
		return fmt.Sprintf("%s comes and goes: look at the %s's cable and plug; it counts as back once it has stayed", e.path, l.Of)
	}
	if e.opened {
		return fmt.Sprintf("%s is gone: plug the %s's cable in again, the port is found by itself", e.path, l.Of)
	}
	return l.find.m.trouble(l.Of, e.path, e.cause).Error()
}

// keep opens the port, reads it until it is lost, and begins anew.
func (l *Link) keep(ctx context.Context) error {
	wait := l.First
	for {
		began := l.Now()
		err := l.connect(ctx)
		var lost lostError
		switch {
		case ctx.Err() != nil:
			return nil
		case !errors.As(err, &lost):
			return err
		}
		if l.Now().Sub(began) > 2*l.First {
			wait = l.First // it was open for a while, so this is news
		}
		l.goes(l.Now(), lost.opened)
		gone := lost.opened || errors.Is(lost, fs.ErrNotExist)
		if why := l.reason(lost); l.news(why, gone, l.Now(), l.Calm) {
			if err := l.User.Away(why, l.Now()); err != nil {
				return ended(ctx, err)
			}
		}
		if err := l.sleep(ctx, wait); err != nil {
			return ended(ctx, err)
		}
		most := l.Most
		if errors.Is(lost, fs.ErrNotExist) {
			most = min(most, 4*l.First) // looking costs little
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
func (l *Link) connect(ctx context.Context) (err error) {
	path, err := l.find.find()
	if err != nil {
		return lostError{path: l.Port.Name, cause: err}
	}
	var d Device
	if l.find.m.isInput(path) {
		grab := l.find.m.grab
		if l.Port.Shared {
			grab = func(*os.File) error { return nil }
		}
		d, err = openWedge(path, grab)
	} else {
		d, err = l.find.m.openSerial(path, l.Port)
	}
	if err != nil {
		return lostError{path: path, cause: err}
	}
	// An unplugged device gives an error here that says nothing new; it must be
	// closed all the same, or its name stays taken.
	defer func() { _ = d.Close() }()
	l.find.opened(path)
	l.User.Restart(l.Now())
	l.comes(l.Now(), l.Calm)
	err = l.read(ctx, d, path)
	l.User.Restart(l.Now()) // what is half received is worth nothing
	var lost lostError
	if errors.As(err, &lost) {
		l.find.lost()
		lost.path = path
		return lost
	}
	return err
}

// read feeds the user until the context is done or the device at path is lost.
func (l *Link) read(ctx context.Context, d Device, path string) error {
	var buf [atOnce]byte
	last := l.Now()
	for ctx.Err() == nil {
		at := l.Now()
		due := l.due(at)
		if l.away && due <= 0 {
			l.away = false
			if err := l.User.Back(path, at); err != nil {
				return err
			}
		}
		timeout := longRead
		if since := at.Sub(last); since >= 0 && since < lively {
			timeout = shortRead
		}
		if due > 0 {
			timeout = min(timeout, due)
		}
		if wait := l.User.Wait(at); wait > 0 {
			timeout = min(timeout, wait)
		}
		if l.Ask != nil {
			wait, err := l.Ask(d, at)
			if err != nil {
				return lostError{opened: true, cause: err}
			}
			if wait > 0 {
				timeout = min(timeout, wait)
			}
		}
		if err := d.SetReadTimeout(max(timeout, time.Millisecond)); err != nil {
			return lostError{opened: true, cause: err}
		}
		n, readErr := d.Read(buf[:])
		if at = l.Now(); n > 0 {
			last = at
		}
		if err := l.User.Feed(buf[:n], at); err != nil {
			return err
		}
		if readErr != nil {
			return lostError{opened: true, cause: readErr}
		}
		if n > 0 {
			time.Sleep(breath)
		}
	}
	return nil
}

// sleep waits while the port is away, and tells the user what time it is.
func (l *Link) sleep(ctx context.Context, d time.Duration) error {
	until := l.Now().Add(d)
	for {
		at := l.Now()
		if err := l.User.Feed(nil, at); err != nil {
			return err
		}
		left := until.Sub(at)
		if left <= 0 || left > d { // the clock may have been set back
			return ctx.Err()
		}
		if wait := l.User.Wait(at); wait > 0 {
			left = min(left, wait)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(left):
		}
	}
}
