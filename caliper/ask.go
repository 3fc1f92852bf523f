package caliper

import (
	"time"

	"benchtally/caliper/port"
)

// How often a caliper is asked with the trigger "request" (own choice, no source).
const (
	askAgain = 200 * time.Millisecond // after the previous request, once it was answered
	patience = 500 * time.Millisecond // for the answer
)

// asker asks the caliper for readings, one request at a time. An answer that
// comes too late is thrown away with the next request.
type asker struct {
	request string
	asked   time.Time // latest request; at first the opening, so that silence comes before the first answer
	lines   uint64    // lines that had come when asked
}

// ask sends the request when it is time, and says when it will be time again.
// lines counts the lines that have come.
func (a *asker) ask(d port.Device, lines uint64, at time.Time) (time.Duration, error) {
	wait := patience
	if lines != a.lines {
		wait = askAgain
	}
	since := at.Sub(a.asked)
	if since >= 0 && since < wait {
		return wait - since, nil
	}
	if err := d.Ask(a.request); err != nil {
		return 0, err
	}
	a.asked, a.lines = at, lines
	return askAgain, nil
}
