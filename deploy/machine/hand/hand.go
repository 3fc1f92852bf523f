// Package hand is what the test outside of an emulated machine and the program
// inside of it say to each other: JSON, one message a line, over a virtual serial
// port. Questions may overlap; answers carry their number.
package hand

import "time"

// Port is the virtual serial port's device inside, as a pattern: its number
// depends on the machine's other devices.
const Port = "/dev/vport*p1"

// What may be asked for.
const (
	Run    = "run"    // Args, to its end
	Start  = "start"  // Args, under the name Name, and let it work
	Signal = "signal" // Number to what was started as Name
	Wait   = "wait"   // for the end of what was started as Name
	Press  = "press"  // Course on Line
	Append = "append" // Count lines to Path, each told when it is done; Sync: on disk
	Off    = "off"    // end the machine at once, as a power cut does
)

// A Question asks for something to be done inside.
type Question struct {
	ID     int      `json:"id"`
	Do     string   `json:"do"`
	Name   string   `json:"name,omitempty"`
	Args   []string `json:"args,omitempty"`
	Number int      `json:"number,omitempty"`
	Line   string   `json:"line,omitempty"`
	Course []Level  `json:"course,omitempty"`
	Path   string   `json:"path,omitempty"`
	Count  int      `json:"count,omitempty"`
	Sync   bool     `json:"sync,omitempty"`
}

// A Level is put on a line once After has passed since the level before.
type Level struct {
	After time.Duration `json:"after"` // ns
	High  bool          `json:"high,omitempty"`
}

// An Answer ends what was asked for, unless More.
type Answer struct {
	ID   int    `json:"id"`
	Code int    `json:"code,omitempty"` // the exit code of Run and Wait; -1: ended by a signal
	Out  string `json:"out,omitempty"`
	Err  string `json:"err,omitempty"`   // what a program wrote to standard error
	Bad  string `json:"bad,omitempty"`   // why nothing was done
	More bool   `json:"more,omitempty"`  // Count more follow
	Done int    `json:"count,omitempty"` // with More: so many are done
}
