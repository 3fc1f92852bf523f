// Package panel is the page beside the press: what is in work, what to do next,
// and the few touches that a technician makes.
//
// # Caveats
//
// The page has no log-in. Bind it to the loopback address, or to a network in
// which everyone who can reach it may use it. It is drawn by the server and
// works without script; the script only keeps it fresh.
package panel

import (
	"time"

	"benchtally/agent/station"
)

// Snapshot is all that the page shows. What it points to must not change once
// it was published.
type Snapshot struct {
	Press string    // "": the board's press
	At    time.Time // of the station's clock; zero: nothing is known yet
	View  station.View
	Links []Link // switch, caliper, broker, store and clock, in this order
	Queue uint64 // events that the broker has not yet acknowledged
	Demo  bool   // no real press: shown as practice on every view
}

// Link is something that the station depends on.
type Link struct {
	Name string // switch, caliper, broker, store or clock
	OK   bool
	Text string // for a person: "on /dev/…, signed decimal lines", or what is wrong and what to look at
}

// The names of links that decide what comes next.
const (
	linkSwitch  = "switch"
	linkCaliper = "caliper"
	linkBroker  = "broker"
	linkStore   = "store"
)

// trouble is what is wrong with a link; "": nothing that is known of.
func (s Snapshot) trouble(name string) string {
	for _, l := range s.Links {
		if l.Name != name || l.OK {
			continue
		}
		if l.Text == "" {
			return "does not work"
		}
		return l.Text
	}
	return ""
}
