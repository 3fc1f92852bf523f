//go:build linux || darwin || freebsd || netbsd || openbsd

package store

import (
	"errors"
	"os"
	"syscall"
	"time"
)

// lock takes the lock that bbolt takes, before bbolt maps the file, so that the
// file can be looked at first and nobody changes it meanwhile. bbolt takes it
// once more on the same descriptor, which changes nothing.
func lock(f *os.File, exclusive bool, wait time.Duration) error {
	how := syscall.LOCK_SH
	if exclusive {
		how = syscall.LOCK_EX
	}
	for end := time.Now().Add(wait); ; time.Sleep(20 * time.Millisecond) {
		err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
		switch {
		case err == nil:
			return nil
		case errors.Is(err, syscall.EINTR):
		case !errors.Is(err, syscall.EWOULDBLOCK):
			return err
		case !time.Now().Before(end):
			return ErrLocked
		}
	}
}

// unlock gives the lock back although a mapping may keep the file open.
func unlock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }
