// Package crimp is the arithmetic of the trade: lengths, settings,
// specifications, verdicts, corrections of the setting and die-cage care.
//
// It has no clock, no input or output and starts nothing.
package crimp
