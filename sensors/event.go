package sensors

import "time"

// Kind says what an [Event] is.
type Kind string

// The kinds of events.
const (
	Stroke  Kind = "stroke"  // the ring came up for a crimp
	Fault   Kind = "fault"   // the switch cannot be trusted; Reason says where to look
	Clear   Kind = "clear"   // the fault before it is over
	Retract Kind = "retract" // the ring went all the way back, as for a change of cage
)

// Event is what a [Filter] makes of the contacts. Faults and clears alternate,
// beginning with a fault.
type Event struct {
	Kind Kind

	// At is when the closure of a stroke began, the edge of a retract, and of a
	// fault or a clear the moment it was certain.
	At time.Time

	// Held is how long the closure of a stroke lasted, 0 = not known.
	Held time.Duration

	// Reason is a sentence for a technician, with a fault and a clear.
	Reason string
}
