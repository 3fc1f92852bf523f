// Package panel is the page beside the press: what is in work, what to do next,
// and the few touches that a technician makes.
//
// The board, at /, is read from two metres and follows the station. Every other
// view is one noun behind the key More: a few large touches, each of which is one
// form and ends in one record.
//
// # Caveats
//
// Without a door (see Desk) nobody signs in: bind the page to the loopback
// address then, or to a network in which everyone who can reach it may use it.
// The page is drawn by the server and works without script; the script only keeps
// it fresh, and brings a keypad and a scanner's keys.
package panel

import (
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// Snapshot is all that the page shows. What it points to must not change once
// it was published.
type Snapshot struct {
	Press string    // "": the board's press
	At    time.Time // of the station's clock; zero: nothing is known yet
	View  station.View
	Links []Link // switch, caliper, broker, store, clock and scanner, in this order; those that are there
	Queue uint64 // events that the broker has not yet acknowledged
	Held  *Held  // nil: what comes in is kept
	Demo  bool   // no real press: shown as practice on every view
}

// Held is what the station has taken and the store does not: it waits in memory, and
// a power cut loses it.
type Held struct {
	Why            string
	Strokes, Other int
}

// Link is something that the station depends on.
type Link struct {
	Name string // switch, caliper, broker, store, clock or scanner
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

// Shop is what the page offers for choosing. All of it may be empty: then the
// page asks for a name instead.
type Shop struct {
	Specs     []crimp.Spec
	Standards []crimp.Standard // gauge blocks and rings that calipers are checked against
	Reasons   []string         // why an end or an assembly is given up
	Operators []string         // for choosing where nobody signs in
	Language  string           // of a browser that has not chosen; "": English
}

// spec is a specification by its id; nil: there is none.
func (s Shop) spec(id string) *crimp.Spec {
	for i := range s.Specs {
		if s.Specs[i].ID == id {
			return &s.Specs[i]
		}
	}
	return nil
}
