//go:build !linux

package sensors

import "errors"

var errNotLinux = errors.New("input lines need Linux; on this system the demo, replay and tapes work")

// Init looks for GPIO chips, which only Linux has.
func Init() error { return errNotLinux }

// Available are the lines of all chips found here.
func Available() ([]Line, error) { return nil, errNotLinux }

// Open opens the lines as inputs.
func Open(Lines) (Contacts, error) { return nil, errNotLinux }

// OpenBoard opens lines as inputs, to find the one that a switch is on.
func OpenBoard([]string, bool) (Board, []Line, error) { return nil, nil, errNotLinux }
