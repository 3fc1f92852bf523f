package caliper

import (
	"bytes"
	"time"

	"benchtally/caliper/frame"
)

// Limits of what a thumb on a button can do (own choice, no source).
const (
	twice      = 300 * time.Millisecond // an identical frame so soon is the same press
	closest    = 20 * time.Millisecond  // closer frames had been waiting somewhere
	farthest   = 400 * time.Millisecond // frames farther apart are presses
	streamRow  = 5                      // frames in a row that are no presses
	longRun    = 50                     // frames of any distance that are no presses,
	longTime   = 2 * time.Second        // when they go on for so long
	streamEnd  = time.Second            // silence that ends a stream
	streamNote = "frames come by themselves, so none of them is taken: switch continuous sending off at the caliper, or set trigger to \"stream\""
)

// sendState is what tells presses of the button from repeats and streams.
type sendState struct {
	Prev      []byte        `json:"prev,omitempty"` // the previous frame
	At        time.Duration `json:"at"`             // when it was whole
	Row       int           `json:"row"`            // frames in a row that could be a stream, up to streamRow
	Run       int           `json:"run"`            // frames without a pause, up to longRun
	Began     time.Duration `json:"began"`          // when that run began
	Streaming bool          `json:"streaming,omitempty"`
	Seen      time.Duration `json:"seen"` // the latest frame of the stream, readable or not
}

// send decides whether a frame is a press of the button. Frames that had been
// waiting come at once; they neither make a stream nor break one. Only when
// frames so close go on for seconds were they not waiting.
func (r *Reader) send(line []byte, rd frame.Reading) {
	s := &r.Send
	since, first := r.Now-s.At, len(s.Prev) == 0
	same := !first && since <= twice && bytes.Equal(line, s.Prev)
	if s.Run == 0 || since > farthest {
		s.Run, s.Began = 0, r.Now
	}
	s.Run = min(s.Run+1, longRun)
	switch {
	case first || since > farthest:
		s.Row = 1
	case since >= closest || s.Run >= longRun && r.Now-s.Began >= longTime:
		s.Row = min(s.Row+1, streamRow)
	}
	s.Prev, s.At = append(s.Prev[:0], line...), r.Now
	switch {
	case s.Streaming:
		s.Seen = r.Now
	case s.Row >= streamRow:
		s.Streaming, s.Seen = true, r.Now
		r.emit(Event{Kind: Fault, Cause: Streaming, Raw: frame.Raw(line), Reason: streamNote})
	case same:
		r.emit(Event{Kind: Refused, Raw: frame.Raw(line), Reason: "the same frame within 0.3 s: it was sent twice and is counted once"})
	default:
		r.emit(measured(line, rd))
	}
}

// streamEnds tells that nothing more came for a while.
func (r *Reader) streamEnds() {
	r.Send.Streaming, r.Send.Row, r.Send.Run = false, 0, 0
	r.emit(Event{Kind: Clear, Cause: Streaming, Reason: "no frame for a second: presses of the button count again"})
}
