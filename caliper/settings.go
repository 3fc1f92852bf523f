package caliper

import (
	"fmt"

	"benchtally/agent/crimp"
)

// The triggers: what makes the caliper send.
const (
	TriggerSend    = "send"    // its button; each frame is a reading
	TriggerStream  = "stream"  // it sends all the time; a reading is a value that came to rest
	TriggerRequest = "request" // it is asked again and again; a reading as with stream
)

// Settings are how frames are read and which of them count.
type Settings struct {
	Format    string     // "auto" (also "") or a name of caliper/frame
	Unit      crimp.Unit // of frames that carry none; "" refuses such frames
	Trigger   string     // "send" (also ""), "stream" or "request"
	Pushed    bool       // every frame was sent on purpose: no stream is looked for, and each that cannot be read is told
	SevenBits bool       // the line has 7 data bits: bit 8, which some adapters leave as parity, is dropped
}

// checked fills in defaults and refuses unknown triggers; the format and the
// unit are checked by frame.New.
func (s Settings) checked() (Settings, error) {
	if s.Format == "" {
		s.Format = "auto"
	}
	switch s.Trigger {
	case "":
		s.Trigger = TriggerSend
	case TriggerSend, TriggerStream, TriggerRequest:
	default:
		return s, fmt.Errorf("caliper trigger %q is not known: want one of send, stream, request", s.Trigger)
	}
	return s, nil
}
