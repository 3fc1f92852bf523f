// Package crimp is the arithmetic of the trade: lengths, settings,
// specifications, verdicts, corrections of the setting, die-cage care, job cards
// and what is checked on an assembly.
//
// It has no clock, no input or output and starts nothing.
package crimp
