package caliper

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"benchtally/caliper/frame"
	"benchtally/caliper/port"
)

// state is everything that a Reader knows besides its settings.
type state struct {
	At         time.Time     `json:"at"`                   // wall time of the latest call
	Now        time.Duration `json:"now"`                  // own clock, never falls; all times below are on it
	Line       []byte        `json:"line,omitempty"`       // the frame as far as it has come
	Over       int           `json:"over,omitempty"`       // bytes dropped of a frame that was too long, 0: none
	Last       time.Duration `json:"last"`                 // the latest byte, or the port's opening
	Synced     bool          `json:"synced,omitempty"`     // the next byte begins a frame or continues a whole one
	Terminated bool          `json:"terminated,omitempty"` // this caliper ends its frames with CR or LF
	Broken     bool          `json:"broken,omitempty"`     // a frame broke off: what comes now may be its rest
	Format     string        `json:"format,omitempty"`
	LowBattery bool          `json:"low_battery,omitempty"`
	Bad        refusals      `json:"refusals"`
	Ration     port.Ration   `json:"ration"`
	Send       sendState     `json:"send"`
	Rest       rest          `json:"rest"`
}

// MarshalJSON writes the state, not the settings, so that a Reader made with the
// same settings can go on from it.
func (r *Reader) MarshalJSON() ([]byte, error) { return json.Marshal(r.state) }

// UnmarshalJSON takes over a state. On an error the Reader is as before.
func (r *Reader) UnmarshalJSON(b []byte) error {
	var s state
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("state of the caliper's reader: %w", err)
	}
	if err := s.check(); err != nil {
		return fmt.Errorf("state of the caliper's reader: %w", err)
	}
	r.state = s
	return nil
}

// check refuses what no Reader can have come to, so that limits hold on.
func (s *state) check() error {
	if s.Now < 0 || s.Now > 1<<62 {
		return errors.New("its clock is out of range")
	}
	times := append(s.Bad.Times[:], s.Last, s.Bad.Last, s.Send.At, s.Send.Seen, s.Send.Began, s.Rest.Since, s.Rest.Last)
	for _, t := range times {
		if t < 0 || t > s.Now {
			return errors.New("a time lies outside its clock")
		}
	}
	switch {
	case len(s.Line) > frame.MaxLen || len(s.Send.Prev) > frame.MaxLen:
		return errors.New("a frame is too long")
	case s.Over < 0 || s.Over > frame.MaxLen,
		s.Bad.InRow < 0 || s.Bad.InRow > trickle,
		s.Send.Row < 0 || s.Send.Row > streamRow,
		s.Send.Run < 0 || s.Send.Run > longRun,
		s.Rest.Frames < 0 || s.Rest.Frames > restFrames,
		!s.Ration.Valid(s.Now):
		return errors.New("a count is out of range")
	}
	return nil
}
