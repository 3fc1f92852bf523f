package store

import (
	"os"

	"golang.org/x/sys/unix"
)

// syncData waits until what was written is on disk: data alone, since the journal
// changes neither the file's size nor where its blocks are.
func syncData(f *os.File) error {
	for {
		if err := unix.Fdatasync(int(f.Fd())); err != unix.EINTR {
			return err
		}
	}
}
