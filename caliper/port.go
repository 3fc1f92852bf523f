package caliper

import (
	"errors"
	"fmt"

	"benchtally/caliper/port"
)

// Port says where the caliper is, how its line is set, and how it is asked.
type Port struct {
	port.Port

	// Request is what asks the caliper for one reading, with the trigger
	// "request". It must be a command that only asks.
	Request string
}

// maxRequest is more than any request for a reading needs (own limit).
const maxRequest = 16

// checked fills in the defaults and tells all faults at once.
func (p Port) checked() (Port, error) {
	var err error
	if p.Port, err = p.Checked("caliper"); len(p.Request) > maxRequest {
		err = errors.Join(err, fmt.Errorf("caliper port: request of %d bytes: want at most %d", len(p.Request), maxRequest))
	}
	return p, err
}
