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
	streamRow  = 16                     // frames in a row, evenly apart, that are no presses
	uneven     = 10 * time.Millisecond  // by which the times between them may differ, besides a third
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
	RowBegan  time.Duration `json:"row_began"`      // when the first of them was whole
	Least     time.Duration `json:"least"`          // time between two of them
	Most      time.Duration `json:"most"`
	Run       int           `json:"run"`   // frames without a pause, up to longRun
	Began     time.Duration `json:"began"` // when that run began
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
	s.row(first, since, r.Now)
	s.Prev, s.At = append(s.Prev[:0], line...), r.Now
	switch {
	case s.Streaming:
		s.Seen = r.Now
	case !r.settings.Pushed && s.Row >= streamRow:
		r.streams(line, s.RowBegan)
	case !r.settings.Pushed && s.Run >= longRun && r.Now-s.Began >= longTime:
		r.streams(line, s.Began)
	case same:
		r.told(Event{Kind: Refused, Raw: frame.Raw(line), Reason: "the same frame within 0.3 s: it was sent twice and is counted once"})
	default:
		r.emit(measured(line, rd))
	}
}

// row counts the frames that come evenly apart, as no thumb sends them.
func (s *sendState) row(first bool, since, now time.Duration) {
	switch {
	case first || since > farthest:
		s.Row, s.RowBegan = 1, now
	case since < closest:
	case s.Row >= 2 && max(s.Most, since) <= min(s.Least, since)*4/3+uneven:
		s.Row = min(s.Row+1, streamRow)
		s.Least, s.Most = min(s.Least, since), max(s.Most, since)
	default:
		s.Row, s.RowBegan, s.Least, s.Most = 2, now-since, since, since
	}
}

// streams tells that the caliper sends by itself, since when.
func (r *Reader) streams(line []byte, began time.Duration) {
	r.Send.Streaming, r.Send.Seen = true, r.Now
	r.emit(Event{Kind: Fault, Cause: Streaming, Raw: frame.Raw(line), Reason: streamNote, Since: r.baseAt.Add(began - r.base)})
}

// streamEnds tells that nothing more came for a while.
func (r *Reader) streamEnds() {
	r.Send.Streaming, r.Send.Row, r.Send.Run = false, 0, 0
	r.emit(Event{Kind: Clear, Cause: Streaming, Reason: "no frame for a second: presses of the button count again"})
}
