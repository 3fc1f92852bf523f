package caliper

import (
	"time"

	"benchtally/caliper/frame"
)

// gap is the silence that ends a frame without a terminator. At 4800 baud a
// character takes 2.3 ms and a USB adapter holds bytes back for 16 ms at most
// (from memory), so a whole frame has no such gap.
const gap = 100 * time.Millisecond

// longest bounds how far one call moves the Reader's own clock, so that a clock
// set right by years cannot overflow it; every rule here is about seconds.
const longest = time.Hour

// Reader turns bytes and times into events. It holds at most two frames of
// bytes whatever comes. Ticks may come late or not at all: what time brings
// about is stamped with the moment at which it was due, and how bytes are cut
// into Feeds of the same moment makes no difference.
//
// A Reader belongs to one goroutine. Make it with NewReader.
type Reader struct {
	settings Settings
	decoder  frame.Decoder
	state
	baseAt  time.Time     // wall time at which the clock read base
	base    time.Duration // set for the length of one call
	pending []Event
	lines   uint64 // whole lines so far, readable or not
}

// NewReader makes a Reader that takes the first frame to be whole, as on a tape
// that begins before the caliper sends. Unknown formats and triggers give an
// error that lists the known ones.
func NewReader(s Settings) (*Reader, error) {
	s, err := s.checked()
	if err != nil {
		return nil, err
	}
	d, err := frame.New(s.Format, s.Unit)
	if err != nil {
		return nil, err
	}
	return &Reader{settings: s, decoder: d, state: state{Synced: true}}, nil
}

// Feed takes bytes that arrived at the time at. The bytes are not kept.
func (r *Reader) Feed(b []byte, at time.Time) []Event {
	r.advance(at)
	for _, c := range b {
		r.take(c)
	}
	return r.flush()
}

// Tick tells that time has passed without bytes.
func (r *Reader) Tick(at time.Time) []Event {
	r.advance(at)
	return r.flush()
}

// Wait is how long after the time at a Tick is wanted, 0 when nothing is
// pending. An overdue Tick gives the shortest time.
func (r *Reader) Wait(at time.Time) time.Duration {
	due, ok := r.due()
	if !ok {
		return 0
	}
	return max(due-r.Now-r.elapsed(at), 1)
}

// Restart tells that the port was closed or opened: bytes of a frame that had
// begun are thrown away, and the next frame may have lost its beginning, so that
// it is refused unless silence or a terminator comes first. What was due before
// comes out of the next Feed or Tick.
func (r *Reader) Restart(at time.Time) {
	r.advance(at)
	r.Line, r.Over, r.Synced, r.Broken = r.Line[:0], 0, false, false
	r.Last = r.Now
	r.Send.Row, r.Send.Run = 0, 0 // what the cable did is no rhythm of the caliper
	r.Rest = rest{Taken: r.Rest.Taken, HasTaken: r.Rest.HasTaken, Held: r.Rest.Held}
}

// Detected is the format of the latest frame that could be read, "" before the
// first. It belongs to the Reader's goroutine; others find it in the events.
func (r *Reader) Detected() string { return r.Format }

// elapsed is the time since the latest call. A clock that was set back counts as
// standing still.
func (r *Reader) elapsed(at time.Time) time.Duration {
	if r.At.IsZero() {
		return 0
	}
	return min(max(at.Sub(r.At), 0), longest)
}

// due is when on the own clock the next thing happens by time alone.
func (r *Reader) due() (at time.Duration, ok bool) {
	if len(r.Line) > 0 || r.Over > 0 {
		at, ok = r.Last+gap, true
	}
	if r.Send.Streaming {
		if end := r.Send.Seen + streamEnd; !ok || end < at {
			at, ok = end, true
		}
	}
	return at, ok
}

// advance lets everything happen that is due up to and including the time at.
func (r *Reader) advance(at time.Time) {
	target := r.Now + r.elapsed(at)
	r.baseAt, r.base = r.At, r.Now
	for {
		due, ok := r.due()
		if !ok || due > target {
			break
		}
		r.Now = due
		if r.Send.Streaming && due == r.Send.Seen+streamEnd {
			r.streamEnds()
		} else {
			r.end(false)
		}
	}
	r.Now, r.At = target, at
	r.baseAt, r.base = at, target
}

// emit adds an event, stamped with the moment that the own clock shows.
func (r *Reader) emit(e Event) {
	e.At = r.baseAt.Add(r.Now - r.base)
	r.pending = append(r.pending, e)
}

func (r *Reader) flush() []Event {
	out := r.pending
	r.pending = nil
	return out
}
