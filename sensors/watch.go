package sensors

import (
	"context"
	"errors"
	"time"
)

// How long Watch waits before it opens the contacts anew.
const (
	leastBackOff = 500 * time.Millisecond
	mostBackOff  = 10 * time.Second
)

// Watch reads contacts into a filter, and sends what the filter makes of them,
// until ctx ends; it then returns nil, and it returns nothing else. It is the
// only goroutine that reads the contacts and, while it runs, the only one that
// may use f. It does not close out.
//
// An edge only wakes it up: it reads all levels after that, and whenever f wants
// to be stepped. Times are what now says just before the levels are read.
//
// When the contacts cannot be opened or read, that is a fault of the filter, and
// Watch opens them anew: after 0.5 s, then 1 s, up to 10 s. Contacts that were
// good for 10 s begin again with 0.5 s.
//
// # Caveats
//
// Watch sends each event before it reads again. While out is full it reads
// nothing, and the level that was read last is taken to have lasted: give out a
// buffer that covers the longest time its receiver may be away. 64 events are a
// minute of strokes at one a second, more than a press can make.
func Watch(ctx context.Context, open func() (Contacts, error), f *Filter, now func() time.Time, out chan<- Event) error {
	w := watcher{f: f, now: now, out: out}
	backOff := leastBackOff
	for ctx.Err() == nil {
		began := now()
		if err := w.watch(ctx, open); err != nil {
			w.send(ctx, f.Fail(err, now()))
		}
		if now().Sub(began) >= mostBackOff {
			backOff = leastBackOff
		}
		pause(ctx, backOff)
		backOff = min(2*backOff, mostBackOff)
	}
	return nil
}

type watcher struct {
	f   *Filter
	now func() time.Time
	out chan<- Event
}

// watch opens the contacts and reads them until ctx ends, returning nil, or
// until they fail.
func (w *watcher) watch(ctx context.Context, open func() (Contacts, error)) error {
	c, err := open()
	if err != nil {
		return err
	}
	if c == nil {
		return errors.New("nothing was opened")
	}
	defer func() {
		_ = c.Close() // whatever it says, they are not used again
	}()
	for ctx.Err() == nil {
		at := w.now()
		levels, err := c.Levels()
		if err != nil {
			return err
		}
		if !w.send(ctx, w.f.Step(levels, at)) {
			return nil
		}
		if err := c.Wait(ctx, w.f.Wait(at)); err != nil && ctx.Err() == nil {
			return err
		}
	}
	return nil
}

// send sends events, and reports false when ctx ended before all were sent.
func (w *watcher) send(ctx context.Context, es []Event) bool {
	for _, e := range es {
		select {
		case w.out <- e:
		case <-ctx.Done():
			return false
		}
	}
	return true
}

// pause waits for d or until ctx ends.
func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
