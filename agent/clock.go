package main

import (
	"fmt"
	"time"

	"golang.org/x/sys/unix"
)

// clockUnset marks records that were written before the clock was set.
const clockUnset = "unset"

// clockSlack is how far behind the latest record the clock may be.
const clockSlack = 5 * time.Second

// built is before any time at which this program can run.
var built = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// clockState asks the kernel whether something keeps the clock right:
// adjtimex(2) needs no privilege when it changes nothing.
func clockState() string {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	if err != nil || state == unix.TIME_ERROR || t.Status&unix.STA_UNSYNC != 0 {
		return clockUnset
	}
	return ""
}

// clockFault says why a time cannot be right, given the latest record's; "": it can.
func clockFault(now, latest time.Time) string {
	switch {
	case now.Before(built):
		return fmt.Sprintf("it shows %s, before this program was made: set it, or let the network set it", now.UTC().Format(time.DateTime))
	case now.Before(latest.Add(-clockSlack)):
		return fmt.Sprintf("it shows %s, but records go up to %s: set it, or let the network set it", now.UTC().Format(time.DateTime), latest.UTC().Format(time.DateTime))
	default:
		return ""
	}
}
