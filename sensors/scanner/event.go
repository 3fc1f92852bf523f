package scanner

import "time"

// Kind says what an event is.
type Kind string

// The kinds of event.
const (
	Code    Kind = "code"    // a code was scanned
	Refused Kind = "refused" // something arrived that cannot be read; Reason says why
	Fault   Kind = "fault"   // trouble began, or is another now; it lasts until the next Clear
	Clear   Kind = "clear"   // trouble ended
)

// Event is one thing that the scanner or its port did.
type Event struct {
	Kind   Kind
	At     time.Time // when the code was whole, or the trouble began or ended
	Text   string    // of a Code: up to 256 bytes of UTF-8, without its terminator
	Raw    string    // of what was Refused: its beginning in printable form; "" where that is not known
	Reason string    // of everything but a Code, a sentence for a person
}
