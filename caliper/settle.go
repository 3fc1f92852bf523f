package caliper

import (
	"time"

	"benchtally/agent/crimp"
	"benchtally/caliper/frame"
)

// Limits of what is a value at rest (own choice, no source).
const (
	restTime   = 600 * time.Millisecond
	restFrames = 3           // at least so many frames
	restGap    = time.Second // a longer silence begins anew
	leaves     = 500 * crimp.Micrometre
	closed     = 250 * crimp.Micrometre // jaws closed: so near to nothing
)

// rest follows a stream of values until one stays.
type rest struct {
	Anchor   crimp.Length  `json:"anchor"` // value at the start of the rest
	Since    time.Duration `json:"since"`
	Last     time.Duration `json:"last"`
	Frames   int           `json:"frames"` // 0: no rest has begun; up to restFrames
	Taken    crimp.Length  `json:"taken"`  // the latest value that counted
	HasTaken bool          `json:"has_taken,omitempty"`
	Held     bool          `json:"held,omitempty"` // the jaws have not left Taken yet
}

// settle takes a value of a stream once it has stayed within one step for 600 ms,
// and the next only after the jaws have left it: by more than half a millimetre,
// or by closing.
func (r *Reader) settle(line []byte, rd frame.Reading) {
	s, v := &r.Rest, rd.Value
	if s.Frames == 0 || r.Now-s.Last > restGap || (v-s.Anchor).Abs() > rd.Step {
		s.Anchor, s.Since, s.Frames = v, r.Now, 0
	}
	s.Frames = min(s.Frames+1, restFrames)
	s.Last = r.Now
	if (v-s.Taken).Abs() > leaves || v.Abs() <= closed && s.Taken.Abs() > closed {
		s.Held = false
	}
	if s.Held && s.HasTaken || s.Frames < restFrames || r.Now-s.Since < restTime {
		return
	}
	s.Taken, s.HasTaken, s.Held = v, true, true
	r.emit(measured(line, rd))
}
