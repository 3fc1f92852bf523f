// Package sensors turns the contacts at a press into strokes.
//
// Contacts are read and never driven: nothing here can set a line, and a test
// over the whole module keeps it so. A [Filter] decides, as a pure function of
// levels and times, what is a stroke; [Watch] reads live contacts into one.
// The package knows switches and time; pieces, orders and cages it does not.
//
// # Caveats
//
// A stroke is a closure of the limit switch, no more: it does not say that a
// fitting was crimped.
//
// With a single contact a broken wire looks like a ring that never comes up.
// Only a changeover switch with both contacts wired tells them apart.
//
// Call [Init] first in a program that uses input lines: the driver beneath it
// may close files of others while it looks for chips (see there).
package sensors
