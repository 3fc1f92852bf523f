package caliper

import (
	"time"

	"benchtally/agent/crimp"
)

// Kind says what an event is.
type Kind string

// The kinds of event.
const (
	Reading Kind = "reading" // a measurement to be counted
	Refused Kind = "refused" // something arrived that is not counted; Reason says why
	Fault   Kind = "fault"   // a condition began; it lasts until the Clear of the same Cause
	Clear   Kind = "clear"   // a condition ended
)

// Cause names the condition of a Fault and of the Clear that ends it. Each is
// told at most once until it is cleared.
type Cause string

// The causes of faults.
const (
	Away      Cause = "away"      // the port is not there or cannot be opened
	Streaming Cause = "streaming" // frames come by themselves where button presses are expected
	Garbage   Cause = "garbage"   // nothing that arrives can be read
	Battery   Cause = "battery"   // the caliper says that its battery is low; readings still count
)

// Event is one thing that the caliper or its port did.
type Event struct {
	Kind   Kind
	Cause  Cause        // of a Fault or Clear
	At     time.Time    // when the frame was whole, or the condition began or ended
	Value  crimp.Length // of a Reading
	Step   crimp.Length // of a Reading: one in the last digit sent
	Unit   crimp.Unit   // of a Reading: as sent, or as configured where the frame has none
	Raw    string       // the frame in printable form, without its terminator
	Reason string       // of everything but a Reading, a sentence for a person
	Format string       // of a Reading: the format found, never "auto"
	Since  time.Time    // of a Fault by Streaming: when the first frame of the stream was whole
}
