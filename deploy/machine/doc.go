// Package machine tests the agent on an emulated machine: a Debian kernel in QEMU,
// whose input lines, serial cable, network and disk are the test's own. The disk
// keeps a log of every write and flush, of which this package rebuilds the disk as
// it would have been after a power cut at any moment.
//
// The tests need QEMU, a kernel and root's rights, and are skipped without
// -machine; the command run beside them brings all that. Nothing of it is part of
// the agent.
package machine
