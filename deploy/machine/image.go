//go:build linux

package machine

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// copyFile copies a disk's image; what is empty stays without blocks.
func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	size, err := in.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	if err := out.Truncate(size); err != nil {
		return err
	}
	for at := int64(0); at < size; {
		data, err := unix.Seek(int(in.Fd()), at, unix.SEEK_DATA)
		if errors.Is(err, unix.ENXIO) {
			break // nothing more
		}
		if err != nil {
			return err
		}
		hole, err := unix.Seek(int(in.Fd()), data, unix.SEEK_HOLE)
		if err != nil {
			return err
		}
		if _, err := io.Copy(io.NewOffsetWriter(out, data), io.NewSectionReader(in, data, hole-data)); err != nil {
			return err
		}
		at = hole
	}
	return nil
}
