//go:build linux

// Command inside works within an emulated machine: as its first process it
// brings the machine up; as a service of a Debian system it does only what is
// asked for. It stands for the world around the agent: it closes the press's
// switch, and runs commands as a person would.
package main

import (
	"fmt"
	"os"
)

func main() {
	fmt.Fprintln(os.Stderr, "inside:", work())
	if os.Getpid() == 1 {
		powerOff()
	}
	os.Exit(1)
}

// work boots as the kernel's parameters say, then answers until it
// cannot any more.
func work() error {
	if os.Getpid() == 1 {
		if err := boot(); err != nil {
			return err
		}
	}
	if err := bringUp("eth0"); err != nil {
		return fmt.Errorf("network: %w", err)
	}
	if err := makeLines(); err != nil {
		return fmt.Errorf("input lines: %w", err)
	}
	return serve()
}
