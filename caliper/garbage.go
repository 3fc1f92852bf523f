package caliper

import (
	"time"

	"benchtally/caliper/frame"
)

// Limits of what is told frame by frame (own choice, no source): so many frames
// in a row that cannot be read, within floodTime, or so many more however slow,
// are one fault.
const (
	flood     = 5
	floodTime = time.Second
	trickle   = 30
)

// refusals counts frames in a row that could not be read.
type refusals struct {
	InRow int                  `json:"in_row,omitempty"` // up to trickle
	Times [flood]time.Duration `json:"times"`            // of the latest, at InRow mod flood
	Quiet bool                 `json:"quiet,omitempty"`  // told as a fault
	Last  time.Duration        `json:"last,omitempty"`   // when the latest was met
}

// refuse tells that a frame does not count because it cannot be read.
func (r *Reader) refuse(line []byte, why string) {
	if r.Send.Streaming {
		r.Send.Seen = r.Now
	}
	b := &r.Bad
	b.Last = r.Now
	b.Times[b.InRow%flood] = r.Now
	b.InRow++
	first := b.Times[b.InRow%flood] // the oldest once there are so many
	many := !r.settings.Pushed && (b.InRow >= flood && r.Now-first <= floodTime || b.InRow >= trickle)
	if b.InRow >= trickle {
		b.InRow -= flood // keeps its place among the times
	}
	if b.Quiet || r.Send.Streaming {
		return
	}
	raw := frame.Raw(line)
	if !r.told(Event{Kind: Refused, Raw: raw, Reason: why}) || many {
		b.Quiet = true
		r.emit(Event{Kind: Fault, Cause: Garbage, Raw: raw,
			Reason: "frame after frame is no reading: check baud rate, parity, data bits and format; the latest: " + why})
	}
}

// told tells of what is not counted, as long as there is not too much of it.
func (r *Reader) told(e Event) bool {
	if !r.settings.Pushed && !r.Ration.Take(r.Now) {
		return false
	}
	r.emit(e)
	return true
}

// drowned tells that a frame which can be read came in the middle of a flood: with no
// silence between it and what could not be read. Bytes without sense look like a
// short number now and then, and nobody pushes a button into a flood.
func (r *Reader) drowned() bool { return r.Bad.Quiet && r.Now-r.Bad.Last < gap }

// legible tells that a frame could be read. The fault goes on while so much was told
// of late that its next beginning could not be.
func (r *Reader) legible() {
	switch {
	case !r.Bad.Quiet:
		r.Bad = refusals{}
	case r.Ration.Left(r.Now):
		r.Bad = refusals{}
		r.emit(Event{Kind: Clear, Cause: Garbage, Reason: "the caliper's frames can be read again"})
	}
}
